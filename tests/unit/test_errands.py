"""Errands: one thing to fetch once, its places, its money once, and no hazard folded out of sight."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sideoats.call import Call, Quantity
from sideoats.ledger.entry import Place
from sideoats.week import run_week
from sideoats.week.errands import errands, folded
from sideoats.words import Reader, languages, sentence

ON = date(2026, 6, 15)
OBSERVABLES = ("bin_bids.cash", "quote:wheat", "station.days", "forecast.days", "leaf_counts.counts",
               "place.stage", "soil_test.organic_matter", "bin-hold.storage", "hay_nitrate.result")  # fmt: skip
PLACES = {
    f"f.{i}": Place(f"f.{i}", "f", f"F {i}", "field", {"acres": 100.0 + i, "crop": "wheat" if i % 2 else "sorghum"})
    for i in range(8)
}


def look(place: str, *missing: str, question: str = "bin-hold", worth: float = 0.0, **more: object) -> Call:
    call = Call(question=question, on=ON, verdict="look", act_by=None, look_by=ON + timedelta(days=3), headline="Look.",
                place=place, missing=missing, cost_of_waiting=worth, worth_of_a_look=Quantity(0.0, "USD"))  # fmt: skip
    from dataclasses import replace

    return replace(call, **more)  # type: ignore[arg-type]


def test_one_price_is_one_errand_for_all_fields_of_a_crop():
    calls = [look(f"f.{i}", "quote:wheat", worth=10.0) for i in (1, 3, 5)]
    (errand,) = errands(calls, PLACES)
    assert errand.places == ("f.1", "f.3", "f.5") and errand.money == 30 and errand.where == "crop:wheat"
    assert errand.size == {"ac": 309.0} and errand.by == ON + timedelta(days=3) and errand.folds
    assert "wheat price, wheat: 3 places wait, 309 acres, about $30 at stake" in sentence(errand.said(), Reader())
    assert all(map(folded([errand]), calls))


def test_a_station_s_newest_days_are_one_errand_by_station():
    north, south = ([look(f"f.{i}", "station.days", station=s) for i in rows] for s, rows in
                    (("north", (0, 1)), ("south", (2, 3, 4))))  # fmt: skip
    made = errands([*north, *south], PLACES)
    assert {(e.where, len(e.places)) for e in made} == {("station:north", 2), ("station:south", 3)}


def test_what_only_one_call_waits_for_stands_in_its_own_line():
    (errand,) = errands([alone := look("f.1", "leaf_counts.counts")], PLACES)
    assert not errand.folds and not folded([errand])(alone)


def test_a_count_and_the_stage_of_one_field_are_one_visit():
    (errand,) = errands([look("f.1", "place.stage", "leaf_counts.counts"), look("f.2", "leaf_counts.counts")], PLACES)
    assert set(errand.what) == {"place.stage", "leaf_counts.counts"} and errand.places == ("f.1", "f.2")


calls = st.lists(
    st.builds(
        look, st.sampled_from(sorted(PLACES)), st.sampled_from(OBSERVABLES), st.sampled_from(OBSERVABLES),
        question=st.sampled_from(("bin-hold", "sorghum-aphid")), worth=st.floats(0, 1e5), hazard=st.booleans(),
        station=st.sampled_from(("", "north")), verdict=st.sampled_from(("look", "look", "stop", "act", "wait")),
    ),
    max_size=25, unique_by=lambda c: (c.question, c.place),
)  # fmt: skip


@given(calls)
def test_no_hazard_is_folded_and_nothing_missing_is_lost(given_calls: list[Call]) -> None:
    made = errands(given_calls, PLACES)
    hidden = folded(made)
    for call in given_calls:
        if call.hazard or call.verdict != "look":
            assert not hidden(call)
        of = [e for e in made if (call.question, call.place) in e.calls]
        if call.verdict == "look":
            for observable in set(call.missing):
                assert sum(observable in e.what for e in of) == 1
        else:
            assert not of
    for errand in made:
        mine = [c for c in given_calls if (c.question, c.place) in errand.calls]
        assert errand.money == pytest.approx(sum(c.cost_of_waiting for c in mine))
        assert len(set(errand.calls)) == len(errand.calls)  # each call's money once
        for language in languages():
            assert "?" not in sentence(errand.said(), Reader(language))
    ranks = [(not e.hazard, -e.money) for e in made]
    assert ranks == sorted(ranks)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    from sideoats.demo.district import all_entries
    from sideoats.ledger import open_ledger

    path = str(tmp_path_factory.mktemp("errands") / "demo.sqlite")
    with open_ledger(path, create=True) as ledger:
        ledger.append(all_entries())
    return path


@pytest.mark.parametrize("on", [date(2026, 1, 10), date(2026, 4, 10), date(2026, 6, 15), date(2026, 10, 10)])
def test_the_demo_s_week_in_every_season(demo, on):
    week = run_week(demo, on, draws=60)
    hidden = folded(week.errands)
    looks = week.of("look")
    assert sum(hidden(c) for c in looks) >= 10, "most looks of a season wait for one of a few things"
    assert not any(hidden(c) for c in week.calls if c.hazard or c.verdict in ("stop", "act"))
    for call in week.calls:
        assert call.act_by or call.verdict != "act", call.headline
        assert call.act_by or call.look_by or call.verdict != "stop", call.headline
        assert call.look_by or call.verdict not in ("look", "wait") or call.done, call.headline
    if on.month in (1, 4, 6):
        assert "cotton-pace" not in {c.question for c in week.calls}, "no cotton blooms now"
