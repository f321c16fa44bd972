"""Letters at the desk: one to read in either language, its page to print, and the slip that comes back."""

from __future__ import annotations

import re

from page_forms import form_of
from running_desk import RunningDesk


def test_a_letter_is_read_printed_and_answered(desk: RunningDesk) -> None:
    desk.wait_for_week()
    with desk.launched() as client:
        shown = client.get("/letters", params={"farm": "two-elms"}).text
        code = re.search(r"code ([A-Z]{5})", shown)
        assert code and "Two Elms: letter of" in shown and "1. " in shown
        assert "Two Elms: carta del" in client.get("/letters", params={"farm": "two-elms", "language": "es"}).text
        unknown = {**form_of(client.get("/letters").text, "/letters?on="), "slip": f"{code[1]} 2 done"}
        before = client.post("/letters", data=unknown)
        assert before.status_code == 422 and "no letter on file" in before.text  # nothing was printed yet
        made = client.get("/letters/two-elms.pdf")
        assert made.content.startswith(b"%PDF-") and made.headers["content-type"] == "application/pdf"
        assert made.content == client.get("/letters/two-elms.pdf").content
        wrong = client.post("/letters", data={**unknown, "slip": f"{code[1]} 2 perhaps"})
        assert wrong.status_code == 422 and f'value="{code[1]} 2 perhaps"' in wrong.text
        assert client.post("/letters", data=unknown).status_code == 303
        assert client.post("/letters", data=unknown).status_code == 303
        for path in ("/letters/nobody.pdf", "/letters?farm=nobody"):
            assert client.get(path).status_code == 404
    found = [e for e in desk.desk.ledger.history(kind="action") if e.body.get("answer") == "done"]
    assert found and len({e.id for e in found}) == len({(e.place, e.body["question"]) for e in found})
    assert len([e for e in desk.desk.ledger.history(kind="letter")]) == 1
