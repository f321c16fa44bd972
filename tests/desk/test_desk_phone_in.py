"""Phone-in: every question's form, refusals beside their boxes, answers equal to those of the command line."""

from __future__ import annotations

import re
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_forms import form_of
from running_desk import DAY, RunningDesk

from sideoats.asking import call_for
from sideoats.call import call_from
from sideoats.question import Question, every, find, registry

APHIDS = {
    "counts": "90, 160, 40, 300, 12, 220, 80, 130", "stage": "boot", "yield": "80", "yield.unit": "bu/ac",
    "price": "4.50 USD/bu", "cost": "14", "cost.unit": "USD/ac", "asked_on": "2026-08-10",
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(registry()))
def test_every_question_has_its_form(desk: RunningDesk, name: str) -> None:
    question = find(name)
    with desk.launched() as client:
        text = client.get(f"/phone-in/{name}").text
        blank = client.post(f"/phone-in/{name}", data={"asked_on": DAY.isoformat()})
    for f in question.inputs:
        stem = f.name if f.kind != "records" else f"{f.name}.0.{f.fields[0].name}"
        assert f'name="{stem}"' in text, f.name
    needed = [f.name for f in question.inputs if f.required]
    if needed:
        assert blank.status_code == 422
        assert set(needed) <= set(re.findall(r'href="#f-([a-z_]+)"', blank.text))
    else:
        assert blank.status_code in (200, 422)


def test_the_list_holds_every_question(desk: RunningDesk) -> None:
    with desk.launched() as client:
        text = client.get("/phone-in").text
    assert set(re.findall(r'href="/phone-in/([a-z0-9-]+)"', text)) == set(registry())


def test_an_answer_is_that_of_the_command_line(desk: RunningDesk) -> None:
    with desk.launched() as client:
        answer = client.post("/phone-in/sorghum-aphid", data=APHIDS)
    assert answer.status_code == 200
    district = desk.desk.districts.on(call_day := DAY.replace(month=8, day=10))
    values = {k: v for k, v in APHIDS.items() if "." not in k and k != "asked_on"}
    values |= {"yield": "80 bu/ac", "cost": "14 USD/ac"}
    call = call_for("sorghum-aphid", values, on=call_day, facts=district.facts, outlook=district.outlook)
    assert call.headline in answer.text and call.verdict == "act"
    for option in call.options[:1]:
        assert option.label in answer.text
    assert "sorghum-aphid, 10 August 2026" in answer.text  # the plain text to copy


def test_a_refusal_names_the_box_and_loses_nothing(desk: RunningDesk) -> None:
    wrong = {**APHIDS, "price": "cheap", "counts": "1, two, 3", "yield": "80", "yield.unit": "bu/ac"}
    with desk.launched() as client:
        answer = client.post("/phone-in/sorghum-aphid", data=wrong)
    assert answer.status_code == 422
    assert "2 things to mend" in answer.text
    for kept in ('value="cheap"', 'value="1, two, 3"', 'value="80"'):
        assert kept in answer.text
    assert 'aria-invalid="true"' in answer.text.replace("aria-invalid=true", 'aria-invalid="true"')
    assert 'id="f-price-wrong"' in answer.text and 'aria-describedby="f-price-hint f-price-wrong"' in answer.text


def test_a_result_without_its_unit_and_basis_is_refused(desk: RunningDesk) -> None:
    """A nitrate figure means nothing without ion, basis and unit: no unit stands preselected, and none is guessed."""
    if "hay-nitrate" not in registry():
        pytest.skip("the forage room has no nitrate question")
    with desk.launched() as client:
        blank = client.get("/phone-in/hay-nitrate").text
        form = form_of(blank, "/phone-in/hay-nitrate")
        assert form["result.unit"] == ""
        bare = client.post("/phone-in/hay-nitrate", data={**form, "result": "3000"})
        assert bare.status_code == 422 and "no unit" in bare.text
        half = client.post("/phone-in/hay-nitrate", data={**form, "result": "3000", "result.unit": "ppm"})
        assert half.status_code == 422
    assert desk.desk.ledger.head()[0] > 0


def test_a_hazard_answers_stop_at_any_price(desk: RunningDesk) -> None:
    if "hay-nitrate" not in registry():
        pytest.skip("the forage room has no nitrate question")
    with desk.launched() as client:
        form = form_of(client.get("/phone-in/hay-nitrate").text, "/phone-in/hay-nitrate")
        told = {**form, "result": "11400", "result.unit": "ppm", "form": "NO3", "basis": "dry", "class": "pregnant-cow"}
        prices = [k for k in form if "price" in k and not k.endswith(".unit")]
        for money in ({}, dict.fromkeys(prices, "1"), dict.fromkeys(prices, "1999")):
            answer = client.post("/phone-in/hay-nitrate", data={**told, **money})
            assert answer.status_code == 200, re.findall(r'wrong-line"[^>]*>([^<]*)', answer.text)
            assert re.search(r"call-verdict[^>]*>Stop", answer.text)
            assert "veterinarian" in answer.text


def test_kept_or_thrown_away(desk: RunningDesk) -> None:
    before = desk.desk.ledger.head()
    with desk.launched() as client:
        client.post("/phone-in/sorghum-aphid", data=APHIDS)
        assert desk.desk.ledger.head() == before
        kept = client.post("/phone-in/sorghum-aphid/keep", data={**APHIDS, "whose": "a caller from the river road"})
        assert kept.status_code == 303
        page = client.get(kept.headers["location"])
        assert "Kept in the ledger" in page.text and "aphids a leaf" in page.text
        refused = client.post("/phone-in/sorghum-aphid/keep", data={**APHIDS, "price": "cheap"})
        assert refused.status_code == 422
    entry = desk.desk.ledger.get(kept.headers["location"].split("/")[2].split("?")[0])
    assert entry is not None and call_from(entry.body["call"]).verdict == "act"
    assert entry.body["call"]["whose"] == "a caller from the river road"


def test_a_form_filled_from_the_address(desk: RunningDesk) -> None:
    with desk.launched() as client:
        text = client.get("/phone-in/sorghum-aphid", params={"price": '4"><script>', "stage": "boot"}).text
    assert "<script>" not in text and 'value="4&#34;&gt;&lt;script&gt;"' in text
    assert "<option selected>boot</option>" in text


def typed(question: Question) -> st.SearchStrategy[dict[str, str]]:
    """Anything that a person could send from the question's form."""
    anything = st.text(max_size=30) | st.sampled_from(
        ["", "0", "-1", "1e309", "NaN", "inf", "12", "0.5", "27 %", "80 bu/ac", "4.50 USD/bu", "2026-08-10",
         "yes", "no",
         "1,2,3", "1;2", "=1+1", "<script>", "9" * 400, "٣", "１２", "1,234.5", "$4", "98 F"]
    )  # fmt: skip
    names: dict[str, st.SearchStrategy[str]] = {}
    for f in question.inputs:
        if f.kind == "records":
            names |= {f"{f.name}.{row}.{sub.name}": anything for row in (0, 1) for sub in f.fields}
        else:
            names[f.name] = anything | (st.sampled_from(f.choices) if f.choices else st.just(f.example))
            names[f.name + ".unit"] = st.sampled_from(["", f.unit, "ppm", "%", "nonsense"])
    return st.fixed_dictionaries({}, optional=names)


@pytest.mark.parametrize("name", sorted(registry()))
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_nothing_typed_breaks_a_form(desk: RunningDesk, name: str, data: st.DataObject) -> None:
    form = data.draw(typed(find(name)))
    with desk.launched() as client:
        answer = client.post(f"/phone-in/{name}", data=encodable(form))
    assert answer.status_code in (200, 400, 422), answer.text[-500:]
    assert "<script>" not in answer.text.replace("<script src", "")


def encodable(form: dict[str, Any]) -> dict[str, str]:
    """A form that UTF-8 can hold, as every browser sends it."""
    return {k: v.encode("utf-8", "replace").decode() for k, v in form.items()}


def test_unknown_questions_are_not_there(desk: RunningDesk) -> None:
    with desk.launched() as client:
        for path in ("/phone-in/no-such", "/phone-in/..%2f", "/phone-in/__init__", "/phone-in/_count"):
            assert client.get(path).status_code == 404


def test_questions_exist() -> None:
    assert len(list(every())) >= 10


def test_a_reader_asks_but_does_not_keep(office: RunningDesk) -> None:
    with office.signed_in("rita") as client:
        answer = client.post("/phone-in/sorghum-aphid", data=APHIDS)
        assert answer.status_code == 200 and "Keep it" not in answer.text
        assert client.post("/phone-in/sorghum-aphid/keep", data=APHIDS).status_code == 403


def test_many_lines_of_records_can_be_filled(desk: RunningDesk) -> None:
    question = next((q for q in every() for f in q.inputs if f.kind == "records"), None)
    if question is None:
        pytest.skip("no question takes records")
    f = next(f for f in question.inputs if f.kind == "records")
    form = {f"{f.name}.{row}.{f.fields[0].name}": "x" for row in range(5)}
    with desk.launched() as client:
        answer: httpx.Response = client.post(f"/phone-in/{question.name}", data=form)
    assert f'name="{f.name}.5.{f.fields[0].name}"' in answer.text and f'name="{f.name}.6.' not in answer.text
