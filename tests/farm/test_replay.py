"""The replay: nothing later than the day is read, what came is what is settled, and it goes on where it stopped."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from sideoats import facts as fact_files
from sideoats.demo.climate import Climate, daily_weather
from sideoats.demo.district import TODAY
from sideoats.replay.hindsight import came, hindsight, known_then
from sideoats.replay.report import picture_of, report_of
from sideoats.replay.run import Own, Public, public, replay
from sideoats.replay.scenario import PRICES, WEATHER, scenarios, scenarios_of
from sideoats.replay.settle import PERFECT, settled_from
from sideoats.station import StationDays
from sideoats.week.engines import Processes


def record(years: int = 40, seed: int = 3, **changed: float) -> StationDays:
    """A made record of so many years, in part changed from a day on."""
    rng, days = np.random.default_rng(seed), round(365.25 * years)
    values = daily_weather(Climate(), date(1960, 1, 1), days, rng, rng.standard_normal((days, 2)))
    return StationDays(
        station="made", start=date(1960, 1, 1), values={k: np.asarray(v, float) for k, v in values.items()}
    )


def series(seed: int = 4) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Made monthly prices of every scenario's series."""
    months = np.arange("1960-01", "2000-01", dtype="datetime64[M]").astype("datetime64[D]")
    rng = np.random.default_rng(seed)
    walk = np.exp(0.03 * rng.standard_normal((3, len(months))).cumsum(axis=1)) * 150
    return {name: (months, row) for name, row in zip(("wheat_hrw", "maize", "soybeans"), walk, strict=True)}


def common(question: str) -> Public:
    scenario = scenarios_of(question)[0]
    return public(scenario, record=record(), prices=series(), draws=40)


def days(run: Public, first: int = 1990, last: int = 1992) -> list[date]:
    return list(run.scenario.dates(date(first, 1, 1), date(last, 12, 31)))


@pytest.mark.parametrize("question", sorted({s.question for s in scenarios()}))
def test_every_scenario_is_settled(question: str) -> None:
    run = common(question)
    rows = replay(run, days(run))
    assert rows and all(r.question == question for r in rows)
    for r in rows:
        assert all(r.paid[PERFECT] >= paid - 1e-9 for paid in r.paid.values())
        assert r.paid["never"] == 0
    report = report_of(question, rows)
    assert report.ways["tool"].regret >= -1e-9
    assert "<svg" in picture_of(report, rows).drawing()


@pytest.mark.parametrize("question", ["cotton-pace", "topdress-nitrogen"])
def test_what_comes_later_changes_what_is_paid_and_nothing_that_was_said(question: str) -> None:
    run, on = common(question), days(common(question))[0]
    assert run.record is not None
    at = run.record.index(on)
    other = {
        k: np.concatenate([v[:at], np.full(len(v) - at, 1.0 if k == "rain" else -5.0)])
        for k, v in run.record.values.items()
    }
    cold = replace(run, record=StationDays(station="made", start=run.record.start, values=other))
    one, two = replay(run, [on])[0], replay(cold, [on])[0]
    assert (one.call, one.took["tool"], one.verdict) == (two.call, two.took["tool"], two.verdict)
    assert one.paid[PERFECT] != two.paid[PERFECT] or one.range != two.range


def test_a_price_replay_knows_no_later_price() -> None:
    run = common("bin-hold")
    assert run.series is not None
    on = date(1990, 7, 1)
    months, price = run.series
    later = np.where(months >= np.datetime64(on), price * 1.5, price)
    dearer = replace(run, series=(months, later))
    one, two = replay(run, [on])[0], replay(dearer, [on])[0]
    assert one.call == two.call
    assert two.paid["always"] > one.paid["always"]


def test_hindsight_holds_the_weather_that_came() -> None:
    whole, on = record(), date(1990, 6, 1)
    from sideoats.outlook import make_outlook

    known = known_then(whole, on)
    assert known.end == on - timedelta(days=1)
    knew = hindsight(make_outlook(on, stations={"made": known}, facts=fact_files.load(), draws=20), {"made": whole})
    weather = came(whole, on)
    assert weather is not None
    assert np.array_equal(knew.daily("rain")[0, 0], weather["rain"])
    assert set(knew.year_of_draw.tolist()) == {0}
    assert came(whole, whole.end - timedelta(days=30)) is None


def test_a_replay_goes_on_where_it_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run, store = common("cotton-pace"), tmp_path / "settled.jsonl"
    wanted = days(run)
    first = replay(run, wanted[:3], store=store)
    with store.open("a") as out:
        out.write('{"key": "half a li')  # a kill in the middle of a line
    from sideoats.replay import run as module

    asked: list[date] = []
    real = module.stood
    monkeypatch.setattr(module, "stood", lambda c, on: asked.append(on) or real(c, on))
    both = replay(run, wanted, store=store)
    assert [r.call for r in both[: len(first)]] == [r.call for r in first]
    assert asked == wanted[3:]
    assert [settled_from(r.full()).full() for r in both] == [r.full() for r in both]


def test_processes_settle_alike() -> None:
    run = common("cotton-pace")
    wanted = days(run, 1990, 1991)
    assert [r.full() for r in replay(run, wanted, engine=Processes(2))] == [r.full() for r in replay(run, wanted)]


def test_a_district_replays_its_own_ledger(ledger: Path) -> None:
    own = Own(str(ledger), "rain-deficit", TODAY, draws=20)
    rows = replay(own, [date(2025, 6, 2), date(2025, 7, 7)])
    assert rows and {r.on for r in rows} <= {date(2025, 6, 2), date(2025, 7, 7)}
    assert all(r.place and r.call for r in rows)


def test_scenarios_name_questions_and_options_that_are_there() -> None:
    from sideoats.question import find

    for s in scenarios():
        assert find(s.question).name == s.question
        assert s.data in (WEATHER, PRICES)
        assert s.series or s.data == WEATHER
