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
from sideoats.insects.flight import camera_catch, event_days, find_flight
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
        q["flight_began"] < q["flight_peak"] < q["hatch_likely"] < q["large_larvae_early"] <= q["large_larvae_likely"]
    )
    assert answer["look_by"] <= q["large_larvae_likely"]
    assert abs((date.fromisoformat(q["flight_peak"]) - (ON - timedelta(days=10))).days) <= 1
    assert any("never to treat" in c for c in answer["cautions"])


def test_a_species_without_sourced_degree_days_says_so() -> None:
    answer = ask(species="armyworm", catches=series(40, 18))
    assert answer["verdict"] == "look" and "no sourced degree-days" in answer["headline"]
    assert "hatch_likely" not in answer["quantities"]


def test_a_quiet_trap_waits_and_a_short_one_goes_on() -> None:
    assert ask(species="corn earworm", catches=series(34, 0.0))["verdict"] == "wait"
    short = ask(species="corn earworm", catches="2026-09-12 3; 2026-09-13 9")
    assert short["verdict"] == "wait" and "too few" in short["headline"]


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
