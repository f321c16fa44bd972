"""A call's page and what leads from it: evidence, facts, last week, one value moved, what was done, how it held up."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from pathlib import Path

import httpx
import pytest
from page_forms import form_of
from running_desk import DAY, FIELD, RunningDesk, running

from sideoats.call import Call, OptionResult, call_from
from sideoats.ledger import NewEntry
from sideoats.pictures import Picture
from sideoats.timed import grouped
from sideoats.week.option_picture import option_picture
from sideoats.words import Reader

CALL = f"/call/sorghum-aphid/{FIELD}"


@pytest.fixture(scope="module")
def counted(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """A district in which one sorghum field was counted a week ago and today."""
    with running(tmp_path_factory.mktemp("counted"), demo_ledger) as found:
        old = found.desk.places(None)[FIELD]
        seen = datetime.combine(DAY, time(9), tzinfo=UTC)
        about = {"name": old.name, "kind": "field", **old.attributes, "price": "4.30 USD/bu"}
        found.desk.ledger.append(
            [
                NewEntry("place", about, place=FIELD, farm=old.farm, seen_at=seen - timedelta(days=9)),
                NewEntry("setting", {"name": "cost.sorghum_aphid", "value": "14 USD/ac"},
                         seen_at=seen - timedelta(days=9)),
                NewEntry("leaf_counts", {"counts": [2, 0, 5, 1, 0, 3] * 5, "stage": "boot"}, place=FIELD,
                         observer="sam", seen_at=seen - timedelta(days=8)),
                NewEntry("leaf_counts", {"counts": [90, 160, 40, 300, 12, 220] * 5, "stage": "boot"}, place=FIELD,
                         observer="sam", seen_at=seen),
            ]
        )  # fmt: skip
        yield found


@pytest.fixture
def client(counted: RunningDesk) -> Iterator[httpx.Client]:
    with counted.launched() as found:
        yield found


def call_of(client: httpx.Client) -> Call:
    return call_from(client.get(CALL + "/json").json())


def test_everything_in_a_call_is_on_its_page(client: httpx.Client) -> None:
    call = call_of(client)
    text = re.sub(r"\s+", " ", client.get(CALL).text)
    assert call.verdict == "act" and call.options and call.sources and call.evidence
    for line in (call.headline, *call.because, *call.cautions):
        assert line.replace("&", "&amp;").replace("'", "&#39;").replace(">", "&gt;").replace("<", "&lt;") in text
    for source in call.sources:
        assert f'/fact/{source["id"]}"' in text
    for entry in call.evidence:
        assert f'/entry/{entry}"' in text
    for option in grouped(call, Reader()):
        assert option.label in text
    assert sum(option.label in text for option in call.options) < len(call.options)  # not every day of one act


def test_each_fact_leads_to_its_value_and_source(client: httpx.Client) -> None:
    for source in call_of(client).sources:
        page = client.get(f"/fact/{source['id']}")
        assert page.status_code == 200 and "Source" in page.text and "How it came here" in page.text
    assert client.get("/fact/insects/none").status_code == 404


def test_evidence_leads_to_its_entry_and_a_correction_keeps_both(counted: RunningDesk, client: httpx.Client) -> None:
    entry = call_of(client).evidence[0]
    page = client.get(f"/entry/{entry}")
    assert "90, 160, 40" in page.text and "sam" in page.text
    blank = client.get(f"/entry/{entry}/correct").text
    assert 'value="90, 160, 40' in blank
    done = client.post(f"/entry/{entry}/correct", data={"counts": "1, 2, 3", "stage": "boot"})
    assert done.status_code == 303
    new = done.headers["location"].split("?")[0]
    assert "1, 2, 3" in client.get(new).text and "an earlier entry" in client.get(new).text
    old = client.get(f"/entry/{entry}").text
    assert "This entry was corrected" in old and "90, 160, 40" in old
    again = client.post(f"/entry/{entry}/correct", data={"counts": "4", "stage": "boot"})
    assert again.status_code == 503 and "already corrected" in again.text
    wrong = client.post(f"{new}/correct", data={"counts": "many", "stage": "boot"})
    assert wrong.status_code == 422 and 'value="many"' in wrong.text
    fixed = NewEntry("leaf_counts", {"counts": [90, 160, 40, 300, 12, 220] * 5, "stage": "boot"}, place=FIELD,
                     observer="sam", corrects=new.rsplit("/", 1)[1],
                     seen_at=datetime.combine(DAY, time(9), tzinfo=UTC))  # fmt: skip
    counted.desk.ledger.append([fixed])


def test_moving_one_value_moves_the_call_and_keeps_nothing(counted: RunningDesk, client: httpx.Client) -> None:
    before = counted.desk.ledger.head()
    page = client.get(CALL).text
    form = form_of(page, CALL + "/what-if")
    assert form["price"] == "4.3" and form["counts"].startswith("90, 160")
    same = client.post(CALL + "/what-if", data=form)
    assert "No value is different" in same.text, re.findall(r"With [^<]*changed", same.text)
    few = client.post(CALL + "/what-if", data={**form, "counts": "0, 1, 0, 2, 0, 0, 1, 0, 0, 0"})
    assert few.status_code == 200 and "With counts changed" in few.text and "Act by" in few.text
    assert re.search(r"With counts changed.*call-verdict[^>]*>(Wait|Look)", few.text, re.S)
    wrong = client.post(CALL + "/what-if", data={**form, "price": "cheap"})
    assert wrong.status_code == 422 and "begin with a number" in wrong.text and 'value="cheap"' in wrong.text
    assert counted.desk.ledger.head() == before


def test_a_unit_chosen_beside_the_box_counts(client: httpx.Client) -> None:
    page = client.get(CALL).text
    form = form_of(page, CALL + "/what-if")
    same = client.post(CALL + "/what-if", data={**form, "cost": "34.5946829", "cost.unit": "USD/ha"})  # 14 USD/ac
    assert same.status_code == 200 and "With cost changed" in same.text
    lines = re.findall(r'class="call-line">([^<]*)<', same.text)
    assert len(lines) == 2 and lines[0] == lines[1]


def test_last_week_is_asked_from_what_was_known_then(client: httpx.Client) -> None:
    text = client.get(CALL + "/last-week").text
    assert "On <time" in text and "it said <b>" in text
    assert "Today it says <b>act</b>" in text
    assert "Mean aphids per leaf" in text


def test_a_call_that_is_not_asked_says_so(client: httpx.Client) -> None:
    answer = client.get("/call/hay-nitrate/" + FIELD)
    assert answer.status_code == 404 and "does not ask this" in answer.text
    for path in ("/call/no-such/" + FIELD, "/call/sorghum-aphid/nowhere"):
        assert client.get(path).status_code == 404


def test_an_action_keeps_the_call_and_an_outcome_scores_it(counted: RunningDesk, client: httpx.Client) -> None:
    counted.wait_for_week()
    page = client.get(f"/done/new?question=sorghum-aphid&place={FIELD}").text
    assert "Treat today" in page and "The label governs" in page
    form = {"question": "sorghum-aphid", "place_of": FIELD, "option": "treat-day-0", "on": DAY.isoformat(),
            "cost": "15", "cost.unit": "USD/ac"}  # fmt: skip
    done = client.post("/done/new", data=form)
    assert done.status_code == 303, done.text
    action = next(e for e in counted.desk.ledger.history(kind="action"))
    kept = counted.desk.ledger.get(action.body["call"])
    assert kept is not None and kept.kind == "call" and action.body["option"] == "treat-day-0"
    assert action.body["what"] == "Treat today" and action.body["cost"] == "15.0 USD/ac"
    assert "how it turned out" in client.get("/done").text
    blank = client.get(f"/done/outcome?call={kept.id}").text
    assert "Treat today" in blank and "chance treating pays" in blank
    nothing = client.post("/done/outcome", data={"call": kept.id, "what": "treat-day-0"})
    assert nothing.status_code == 422
    amount = client.post(
        "/done/outcome", data={"call": kept.id, "what": "treat-day-0", "value": "322", "unit": "USD/ac"}
    )
    assert amount.status_code == 303, amount.text
    happened = client.post("/done/outcome", data={"call": kept.id, "what": "chance_treating_pays", "happened": "yes"})
    assert happened.status_code == 303
    score = client.get("/done").text
    assert "2 outcomes recorded" in score and "too few to speak of reliability" in score and "Brier score" in score
    assert "Options taken came to 322.00 USD/ac on the mean of 1; " in score
    wrong = client.post("/done/outcome", data={"call": "not there", "what": "x", "happened": "yes"})
    assert wrong.status_code == 404


def test_keeping_the_week_does_not_make_it_old(counted: RunningDesk, client: httpx.Client) -> None:
    week = counted.wait_for_week()
    head = counted.desk.evidence_head()
    assert client.post("/week/keep").status_code == 303
    assert counted.desk.evidence_head() == head
    kept = [e for e in counted.desk.ledger.history(kind="call") if e.place]
    assert len(kept) >= len(week.calls)
    assert client.post("/week/keep").status_code == 303  # the same calls are kept once
    assert len([e for e in counted.desk.ledger.history(kind="call") if e.place]) == len(kept)


def test_places_show_their_season(client: httpx.Client) -> None:
    text = client.get("/places/" + FIELD).text
    assert "of rain fell at marrow north" in text and "Upright strokes run from the lowest" in text
    assert "leaf counts" in text and "Treat today" in text
    assert '<time datetime="2025-09-14">Sun 14 Sep 2025</time>' in text  # last year's counts are not taken for today's
    assert client.get("/places").text.count("<tr>") > 60


def options(**figures: tuple[float, float, float]) -> Call:
    found = tuple(OptionResult(k, k.title(), e, lo, hi, "USD/ac", 0.5) for k, (lo, e, hi) in figures.items())
    return Call("q", DAY, "act", None, None, "", options=found)


def ranges(picture: Picture) -> list[tuple[float, float]]:
    """The ends of each range as drawn."""
    drawn = re.findall(r'M([\d.]+) [\d.]+L([\d.]+) [\d.]+" stroke="currentColor" stroke-width="3"', picture.svg)
    return [(float(a), float(b)) for a, b in drawn]


def test_options_stand_on_one_scale_with_what_they_pay() -> None:
    found = option_picture(options(treat=(-10.0, 30.0, 90.0), hold=(-5.0, 10.0, 45.0), leave=(0.0, 0.0, 0.0)))
    assert found is not None and found.title == "Treat pays $30/ac on average, $20/ac more than the next best: hold"
    (low, high), (other_low, other_high), _ = ranges(found)
    assert (high - low) / (other_high - other_low) == pytest.approx(100 / 50, rel=0.01)
    assert "best in 50 %" in found.rows[0][-1] and "Treat: $30/ac (-$10/ac to $90/ac); best in 50 %" in found.svg


def test_a_scale_far_from_zero_does_not_reach_back_to_it() -> None:
    far = option_picture(options(treat=(290.0, 305.0, 320.0), leave=(280.0, 299.0, 318.0)))
    near = option_picture(options(treat=(-10.0, 30.0, 90.0), leave=(0.0, 0.0, 0.0)))
    assert far is not None and near is not None
    assert ">$300<" in far.svg and ">0<" not in far.svg and ">0<" in near.svg
    assert min(high - low for low, high in ranges(far)) > 200, "the ranges fill the scale"


def test_barred_and_unknown_options_are_not_drawn() -> None:
    nan = float("nan")
    call = Call("q", DAY, "stop", None, None, "", options=(
        OptionResult("a", "A", nan, nan, nan, "USD/ac", nan, "inside the pre-harvest interval"),
        OptionResult("b", "B", nan, nan, nan, "USD/ac", nan),
    ))  # fmt: skip
    found = option_picture(call)
    assert found is not None and found.title == "No money is put on these options" and ranges(found) == []
    assert "inside the pre-harvest interval" in found.svg
    alone = option_picture(replace(call, options=call.options[:1]))
    assert alone is not None and alone.title == "Every option is ruled out"
    assert option_picture(replace(call, options=())) is None


def test_many_options_are_cut_to_those_that_matter() -> None:
    figures = {f"day{i:02d}": (0.0, 100.0 - i, 120.0) for i in range(15)} | {"never": (0.0, 0.0, 0.0)}
    found = option_picture(options(**figures))
    assert found is not None and len(ranges(found)) <= 9
    assert ">Day00<" in found.svg and ">Never<" in found.svg and ">Day10<" not in found.svg
    assert len(found.rows) == 16, "the table has them all"


def test_pictures_of_the_answer_stand_on_its_pages(client: httpx.Client) -> None:
    """Drawn with a sentence and a table: on the call, where a value is changed, and on the telephone."""
    path = "/call/cull-cows/lone-gate.cow-herd-3"
    page = client.get(path).text
    assert page.count('<figure class="picture"') == 3
    assert "Feeding the cull cows pays at no day" in page and "breaks even at" in page
    changed = client.post(path + "/what-if", data={**form_of(page, path + "/what-if"), "later_price": "60"}).text
    assert changed.count('<figure class="picture"') == 3 and "Feeding the cull cows pays at no day" in changed
    told = {"weight": "1150 lb", "price": "70 USD/cwt", "cost_per_day": "2.35 USD/day", "asked_on": "2026-11-05"}
    answer = client.post("/phone-in/cull-cows", data=told)
    assert answer.status_code == 200 and answer.text.count('<figure class="picture"') == 3
    hauled = client.post("/phone-in/cull-cows", data={**told, "fit_to_travel": "no"}).text
    assert "Do not haul" in hauled and "breaks even at" not in hauled
