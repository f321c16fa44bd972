"""Flights in nightly catches, by hand and by a camera that miscounts; timing after the flight."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

import sideoats
from sideoats.asking import table_of
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.insects.flight import camera_catch, event_days, find_flight, from_its_beginning
from sideoats.outlook import make_outlook
from sideoats.question import Context, find

ON = date(2026, 9, 14)
NIGHTS = 60


def seasons(count: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Aggregated nightly catches of bell-shaped flights over a low background: catches, true peak night, true width."""
    rng = np.random.default_rng(seed)
    peak, width = rng.uniform(18, 42, count), rng.uniform(2.0, 4.0, count)
    height = rng.uniform(15, 40, count)
    night = np.arange(NIGHTS)
    mean = 0.6 + height[:, None] * np.exp(-0.5 * ((night - peak[:, None]) / width[:, None]) ** 2)
    return rng.poisson(rng.gamma(4.0, mean / 4.0)).astype(float), peak, width


def test_the_peak_is_found_within_a_day_and_a_doubling_camera_finds_the_same() -> None:
    catches, peak, _ = seasons(500, 1)
    by_hand = find_flight(catches)
    doubled = find_flight(2 * catches)
    miss = np.abs(by_hand.peak - peak)
    assert np.median(miss) < 0.5 and np.mean(miss <= 1.0) >= 0.9
    assert np.array_equal(by_hand.onset, doubled.onset) and np.allclose(by_hand.peak, doubled.peak)
    assert (by_hand.evidence >= load().value("insects/trap_flight.evidence")).mean() > 0.99


def test_a_camera_with_false_counts_and_misses_still_finds_the_flight_within_a_day() -> None:
    """Every moth is seen with chance 0.95, each night has false counts of its own, and every count is doubled."""
    catches, peak, _ = seasons(400, 2)
    rng = np.random.default_rng(3)
    seen = 2 * (rng.binomial(catches.astype(int), 0.95) + rng.poisson(2.0, catches.shape))
    found = find_flight(seen.astype(float))
    assert np.mean(np.abs(found.peak - peak) <= 1.0) >= 0.9


def test_a_sudden_flight_begins_on_its_night() -> None:
    rng = np.random.default_rng(4)
    start = rng.integers(12, 45, 300)
    night = np.arange(NIGHTS)
    mean = np.where((night >= start[:, None]) & (night < start[:, None] + 9), 15.0, 1.0)
    found = find_flight(rng.poisson(rng.gamma(4.0, mean / 4.0)).astype(float))
    assert np.mean(np.abs(found.onset - start) <= 1) >= 0.95


@pytest.mark.parametrize(("mean", "k"), [(1.0, 4.0), (3.0, 4.0), (10.0, 4.0), (3.0, 1e9), (3.0, 1.5)])
def test_quiet_seasons_rarely_show_a_flight(mean: float, k: float) -> None:
    """The evidence asked for is about the 95th percentile of the best stretch among nights without a flight."""
    rng = np.random.default_rng(5)
    quiet = rng.poisson(rng.gamma(k, mean / k, size=(600, NIGHTS))).astype(float)
    false = (find_flight(quiet).evidence >= load().value("insects/trap_flight.evidence")).mean()
    assert false <= 0.10


def test_a_flight_behind_one_great_catch_begins_on_its_own_first_night() -> None:
    rng = np.random.default_rng(9)
    start, night = rng.integers(14, 40, 300), np.arange(NIGHTS)
    mean = np.where(night >= start[:, None], 15.0, 1.0)
    catches = rng.poisson(rng.gamma(4.0, mean / 4.0)).astype(float)
    catches[:, -1] = 600.0
    enough = load().value("insects/trap_flight.evidence")
    alone = find_flight(catches)
    whole = from_its_beginning(catches, alone, 1.0, enough)
    assert np.mean(np.abs(alone.onset - start) <= 1) < 0.2 and np.mean(np.abs(whole.onset - start) <= 1) >= 0.95
    assert (whole.onset <= alone.onset).all() and np.array_equal(whole.end, alone.end)


def test_a_sudden_flight_is_not_made_longer() -> None:
    catches, _, _ = seasons(200, 10)
    catches[:, :18] = np.random.default_rng(11).poisson(0.5, (200, 18))
    found = find_flight(catches)
    whole = from_its_beginning(catches, found, 1.0, 15.0)
    assert np.median(found.onset - whole.onset) <= 1


@pytest.mark.parametrize("mean", [7, 21, 70])
def test_weeks_without_a_flight_rarely_show_one(mean: float) -> None:
    """Eight weekly readings a trap, aggregated as nights are (k of 4), spread over the nights behind them."""
    weeks = np.random.default_rng(12).poisson(np.random.default_rng(13).gamma(4.0, mean / 4.0, (600, 8))) / 7.0
    enough = load().value("insects/trap_flight.evidence")
    assert (find_flight(np.repeat(weeks, 7, axis=1), 7.0).evidence >= enough).mean() <= 0.10


def test_nights_not_read_are_not_zero() -> None:
    catches, peak, _ = seasons(200, 6)
    holes = catches.copy()
    holes[np.random.default_rng(7).random(holes.shape) < 0.2] = np.nan
    found = find_flight(holes)
    assert np.mean(np.abs(found.peak - peak) <= 1.5) >= 0.9
    assert (found.nights < NIGHTS).all()


def test_camera_arithmetic_by_hand() -> None:
    assert camera_catch(30, 0.5, 0.25) == pytest.approx(20)  # half of 30 are moths; those are three quarters of them


def test_event_days_at_a_constant_temperature() -> None:
    """Ten degree-days a day: 35 after a start four days ago are reached on the eve of today, 100 six days on."""
    past = np.full((1, 10), 10.0)
    ahead = (10.0 * np.arange(30))[:, None, None] * np.ones((1, 1, 3))
    start = np.array([[-4.0, -4.0, 2.5]])
    assert event_days(start, past, ahead, 35)[0] == pytest.approx([-0.5, -0.5, 6.0])
    assert event_days(start, past, ahead, 100)[0] == pytest.approx([6.0, 6.0, 12.5])
    assert np.isnan(event_days(start, past, ahead, 1e6)).all()


def series(peak: int, height: float, nights: int = 45) -> str:
    rng = np.random.default_rng(8)
    night = np.arange(nights)
    moths = rng.poisson(0.8 + height * np.exp(-0.5 * ((night - peak) / 3) ** 2))
    return "; ".join(f"{ON - timedelta(days=int(nights - 1 - i))} {m}" for i, m in enumerate(moths))


def ask(**values: Any) -> dict[str, Any]:
    return sideoats.ask("trap-flight", values, on=ON)


def test_a_flight_asks_for_a_look_before_larvae_are_large() -> None:
    answer = ask(species="corn earworm", catches=series(34, 18))
    assert answer["verdict"] == "look"
    q = {k: v["value"] for k, v in answer["quantities"].items()}
    assert (
        q["flight_began"] < q["flight_peak"] < q["larvae_likely"] < q["large_larvae_early"] <= q["large_larvae_likely"]
    )
    assert answer["look_by"] == max(q["larvae_first"], answer["on"])
    assert abs((date.fromisoformat(q["flight_peak"]) - (ON - timedelta(days=10))).days) <= 1
    assert any("never to treat" in c for c in answer["cautions"])


def test_a_species_without_sourced_degree_days_says_so() -> None:
    answer = ask(species="armyworm", catches=series(40, 18))
    assert answer["verdict"] == "look" and "no sourced degree-days" in answer["headline"]
    assert "larvae_likely" not in answer["quantities"]


def test_a_quiet_trap_waits_and_a_short_one_goes_on() -> None:
    assert ask(species="corn earworm", catches=series(34, 0.0))["verdict"] == "wait"
    short = ask(species="corn earworm", catches="2026-09-12 3; 2026-09-13 9")
    assert short["verdict"] == "wait" and "too few" in short["headline"]


def nightly(*moths: int, until: date = ON) -> str:
    return "; ".join(f"{until - timedelta(days=len(moths) - 1 - i)} {m}" for i, m in enumerate(moths))


@pytest.mark.parametrize(
    "moths", [(300,) * 40, (300,) * 8, (*(0,) * 20, 1000), (40, 35, 50, 45, 38, 60, 44, 52, 47, 39, 58, 41)]
)
def test_a_heavy_catch_is_a_flight_whatever_its_shape(moths: tuple[int, ...]) -> None:
    answer = ask(species="fall armyworm", catches=nightly(*moths))
    assert answer["verdict"] == "look" and "flight since" in answer["headline"]
    assert any("whatever its shape" in b for b in answer["because"]) or len(moths) == 21


def test_weekly_readings_are_nights_read() -> None:
    weekly = "; ".join(f"{ON - timedelta(days=7 * (3 - i))} {m}" for i, m in enumerate((10, 40, 120, 250)))
    answer = ask(species="corn earworm", catches=weekly)
    assert answer["quantities"]["nights_read"]["value"] == 28 and answer["verdict"] == "look"
    light = "; ".join(f"{ON - timedelta(days=7 * (3 - i))} {m}" for i, m in enumerate((6, 4, 7, 5)))
    assert ask(species="corn earworm", catches=light)["verdict"] == "wait"


def test_a_trap_left_unread_after_a_flight_sends_to_the_fields_while_its_larvae_are_there() -> None:
    flown = nightly(2, 1, 3, 2, 1, 2, 3, 2, 1, 2, 25, 40, 38, 42, 30, until=ON - timedelta(days=10))
    soon = ask(species="corn earworm", catches=flown)
    assert soon["headline"].startswith("Look at sorghum") and any("read it on the way" in b for b in soon["because"])
    assert soon["quantities"]["flight_began"]["value"] == "2026-08-31"
    old = nightly(2, 1, 3, 2, 1, 2, 3, 2, 1, 2, 25, 40, 38, 42, 30, until=ON - timedelta(days=32))
    late = ask(species="corn earworm", catches=old)
    assert late["verdict"] == "look" and late["headline"].startswith("Read the trap now")
    assert "flight_began" not in late["quantities"]  # the round goes to the trap, not to fields


def test_moths_in_january_are_identified_and_send_nobody_to_a_field() -> None:
    on = date(2027, 1, 15)
    catches = nightly(*(2,) * 20, 60, 80, 70, until=on)
    answer = sideoats.ask("trap-flight", {"species": "corn earworm", "catches": catches}, on=on)
    assert answer["verdict"] == "look" and "identified" in answer["headline"]
    assert "soybean" not in answer["headline"] and "flight_began" not in answer["quantities"]


def test_hosts_go_by_the_season() -> None:
    """The same flight of corn earworm: corn in June, heads, beans and fruit in August, nothing in October."""
    catches = (2, 1, 3, 2, 1, 2, 3, 2, 1, 2, 25, 40, 38, 42, 30)
    heads = {}
    for day in (date(2026, 6, 15), date(2026, 8, 10), date(2026, 9, 10), date(2026, 10, 14)):
        values = {"species": "corn earworm", "catches": nightly(*catches, until=day)}
        found = sideoats.ask("trap-flight", values, on=day)
        heads[day.month] = (found["verdict"], found["headline"], " ".join(found["because"]))
    assert heads[6][0] == "look" and heads[6][1].startswith("Look at corn by") and "bucket" not in heads[6][2]
    assert heads[8][1].startswith("Look at sorghum, soybeans, and cotton by")
    assert "10 heads" in heads[8][2] and "25 sweeps" in heads[8][2] and "25 squares" in heads[8][2]
    assert heads[9][1].startswith("Look at sorghum and soybeans by") and "squares" not in heads[9][2]
    assert heads[10][0] == "wait" and "no crop stands" in heads[10][1]


def test_one_odd_night_is_no_flight_and_a_great_one_is() -> None:
    odd = (*(1, 0, 2) * 4, 30, *(1, 0, 2) * 4)
    found = ask(species="corn earworm", catches=nightly(*odd))
    assert found["verdict"] == "wait" and "odd night" in found["headline"]
    assert ask(species="corn earworm", catches=nightly(*(1, 0, 2) * 4, 30))["verdict"] == "look"  # it may go on
    assert ask(species="corn earworm", catches=nightly(*(1, 0, 2) * 4, 400, 1, 0, 2, 1))["verdict"] == "look"


def test_a_camera_alone_needs_a_person() -> None:
    answer = ask(species="corn earworm", catches=series(34, 18), camera="yes")
    assert any("person" in c for c in answer["cautions"])


def test_no_catches_are_refused_in_a_phone_in() -> None:
    with pytest.raises(InputError, match="no catches given"):
        ask(species="corn earworm")


def test_an_empty_trap_is_asked_about_only_while_its_moth_flies() -> None:
    question, facts = find("trap-flight"), load()
    blank = {f.name: f.default for f in question.inputs}
    read = {"readings": ({"on": date(2027, 1, 18), "caught": 0.0},)}
    rows = [blank | {"species": "fall armyworm"}, blank | {"species": "fall armyworm"} | read]
    for day, asked in ((date(2027, 1, 20), [False, True]), (date(2026, 9, 14), [True, True])):
        context = Context(day, facts, make_outlook(day, facts=facts, draws=20))
        assert question.in_season is not None
        assert question.in_season(table_of(question, rows), context).tolist() == asked
