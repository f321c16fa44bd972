"""Phone-in: every question's form, refusals beside their boxes, answers equal to those of the command line."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_forms import form_of
from running_desk import DAY, RunningDesk

import sideoats.desk
from sideoats.asking import call_for
from sideoats.call import call_from
from sideoats.desk.forms import MARK
from sideoats.ledger import evidence_kinds
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
        assert f'name="{MARK}{stem}"' in text, f.name
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
    assert f'name="{MARK}{f.name}.5.{f.fields[0].name}"' in answer.text
    assert f'name="{MARK}{f.name}.6.' not in answer.text


def test_the_names_that_the_page_sends_are_read(desk: RunningDesk) -> None:
    marked = {k if k == "asked_on" else MARK + k: v for k, v in APHIDS.items()}
    with desk.launched() as client:
        sent, bare = (client.post("/phone-in/sorghum-aphid", data=form) for form in (marked, APHIDS))
        filled = client.get("/phone-in/sorghum-aphid", params={MARK + "stage": "boot"}).text
    headline = re.search(r'call-line">([^<]+)', bare.text)
    assert sent.status_code == 200 and headline is not None and headline.group(1) in sent.text
    assert "<option selected>boot</option>" in filled


TRIAL = "variety,yield (bu/ac),site,year\n" + "".join(
    f"{v},{44 + at + extra},North,{year}\n" for year, extra in ((2023, 0), (2024, 3), (2025, -2))
    for at, v in enumerate("ABC")
)  # fmt: skip
MILL = """
buyer = "Mill"
commodity = "wheat"
effective = 2026-06-15
bid = "5.60 USD/bu"
"""


def test_a_form_takes_what_is_in_a_file_and_never_its_path(desk: RunningDesk, tmp_path: Path) -> None:
    """A path typed into a form opens nothing; the same file chosen in the form is read."""
    trial, moths, mill = tmp_path / "trial.csv", tmp_path / "moths.csv", tmp_path / "mill.toml"
    trial.write_text(TRIAL)
    moths.write_text("date,moths\n2026-08-01,3\n2026-08-02,5\n2026-08-03,9\n")
    mill.write_text(MILL)
    asked: list[tuple[str, dict[str, str], str, Path]] = [
        ("variety-choice", {"yield": "40 bu/ac", "price": "5.50 USD/bu"}, "trials", trial),
        ("trap-flight", {"species": "corn earworm"}, "catches", moths),
        ("load-price", {"gross": "60000 lb", "dockage": "1 %"}, "buyers.0.schedule", mill),
    ]
    for name, form, box, path in asked:
        question = find(name)
        form = {**{f.name: f.choices[0] for f in question.inputs if f.choices and f.required}, **form}
        with desk.launched() as client:
            typed = client.post(f"/phone-in/{name}", data={**form, box: str(path)})
            missing = client.post(f"/phone-in/{name}", data={**form, box: str(tmp_path / "not-there" / path.name)})
            chosen = client.post(
                f"/phone-in/{name}", data=form, files={f"{MARK}{box}.file": (path.name, path.read_bytes())}
            )
        assert typed.status_code == 422 and missing.status_code == 422, name
        refused, unknown = (re.findall(r'role="alert".*?</div>', a.text, re.DOTALL) for a in (typed, missing))
        assert refused and refused == unknown  # whether there is such a file cannot be told from the answer
        assert str(tmp_path) not in str(refused)
        assert chosen.status_code == 200, (name, re.findall(r'wrong-line"[^>]*>([^<]*)|<p>([^<]*)', chosen.text)[:6])
        again = form_of(chosen.text, f"/phone-in/{name}")
        assert path.read_text().split()[0] in again[box]  # what the file holds stands in its box, to be asked again


def test_a_file_too_large_or_no_text_is_one_line(desk: RunningDesk) -> None:
    for content in (b"x" * 400_000, b"\xff\xfe\x00nonsense", b"a\x00b"):
        with desk.launched() as client:
            answer = client.post("/phone-in/variety-choice", files={f"{MARK}trials.file": ("t.csv", content)})
        assert answer.status_code == 422 and 'role="alert"' in answer.text


def test_no_control_of_a_page_has_a_name_that_a_box_could_have() -> None:
    """Boxes are marked; what a page adds by itself may not be mistaken for one, nor be a word that forms own."""
    templates = Path(sideoats.desk.__file__).parent / "templates"
    for page in ("phone_in_question.html", "by_hand.html", "what_if.html", "correct.html", "file.html"):
        own = set(re.findall(r'name="([\w.]+)"', (templates / page).read_text(encoding="utf-8")))
        fields = {f.name for q in every() for f in q.inputs} | {f for k in evidence_kinds().values() for f in k.fields}
        assert not own & fields and not own & {"form", "action", "method", "submit", "elements", "id"}, page
