"""Anything at all sent to every address that takes a form: an answer in words, never a fault of ours."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from running_desk import RunningDesk
from test_desk_roles import address

import sideoats.desk
from sideoats.desk.app import every_page

TEMPLATES = Path(sideoats.desk.__file__).parent / "templates"
NAMES = sorted(
    {n for p in TEMPLATES.glob("*.html") for n in re.findall(r'name="([\w.]+)"', p.read_text(encoding="utf-8"))}
)
ODD = (
    "", "0", "-1", "1e309", "NaN", "2026-02-31", "2026-09-14", "yes", "no", "open", "closed", "adviser",
    "../../etc/passwd",
    "<script>alert(1)</script>", "'; DROP TABLE entries; --", "=1+1", "\u202eabc", "x" * 3000, "\N{SNOWMAN}",
    "en", "fr",
    "{{ 7 * 7 }}", "%00", "\r\nSet-Cookie: a=b", "leaf_counts", "place", "two-elms",
    "two-elms.sorghum-1", "station-csv",
)  # fmt: skip
FORMS = sorted(
    {p.path for p in every_page() if "POST" in p.methods and p.accepts == "form" and not p.path.startswith("/session")}
)


@pytest.mark.parametrize("path", FORMS)
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(form=st.dictionaries(st.sampled_from(NAMES), st.sampled_from(ODD) | st.text(max_size=40), max_size=8))
def test_no_form_breaks(office: RunningDesk, path: str, form: dict[str, str]) -> None:
    page = next(p for p in every_page() if p.path == path and "POST" in p.methods)
    sent: dict[str, Any] = {k: v.encode("utf-8", "replace").decode() for k, v in form.items()}
    with office.signed_in("ada") as client:
        answer = client.post(address(page), data=sent)
    assert answer.status_code < 500, (path, sent, re.findall("incident [^<]*", answer.text))
    assert "<script>alert" not in answer.text and ">49<" not in answer.text
    assert "set-cookie" not in {k.lower() for k in answer.headers} or path in ("/sign-in", "/reader")


def test_every_form_is_among_them() -> None:
    assert len(FORMS) >= 14 and len(NAMES) > 30


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    path=st.sampled_from(["/", "/places", "/weather", "/markets", "/trials", "/round", "/done", "/bulletin",
                          "/week.csv"]),
    query=st.dictionaries(
        st.sampled_from(["on", "farm", "room", "order", "act", "kind", "from", "station", "since", "commodity", "trial",
                         "hours", "language", "note"]),
        st.sampled_from(ODD) | st.text(max_size=30), max_size=4,
    ),
)  # fmt: skip
def test_no_address_breaks(office: RunningDesk, path: str, query: dict[str, str]) -> None:
    office.wait_for_week()
    with office.signed_in("rita") as client:
        answer = client.get(path, params={k: v.encode("utf-8", "replace").decode() for k, v in query.items()})
    assert answer.status_code in (200, 404, 422), (path, query, re.findall("incident [^<]*", answer.text))
    assert "<script>alert" not in answer.text
