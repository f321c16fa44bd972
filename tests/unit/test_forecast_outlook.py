"""Forecasts in the futures: dressed, ranked, faded; their skill; which one stands; what an old one counts for."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.ledger import NewEntry, open_ledger
from sideoats.outlook import make_outlook
from sideoats.outlook.blend import ranks
from sideoats.outlook.forecasts import Forecast, kept_for
from sideoats.outlook.skill import sd_over_mae, skill_of
from sideoats.outlook.standing import Alert, in_force, standings
from sideoats.station import StationDays
from sideoats.week.district import district_of

ON, YEARS = date(2024, 4, 10), 40
FACTS = load()


def station(name: str = "s", seed: int = 1, latitude: float = 38.0) -> StationDays:
    """Forty years with a season, weather that lasts from day to day, and rain on a quarter of the days."""
    rng, start = np.random.default_rng(seed), date(ON.year - YEARS, 1, 1)
    days = (ON - start).days
    shared = np.random.default_rng(99)
    state, off = 0.0, np.empty(days)
    for k, shock in enumerate(0.8 * shared.standard_normal(days) + 0.3 * rng.standard_normal(days)):
        state = 0.6 * state + shock
        off[k] = 4 * state
    mean = 13 - 13 * np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25) + off
    wet = (shared.random(days) < 0.25) & (rng.random(days) < 0.9)
    rain = np.where(wet, rng.gamma(0.75, 10.0, days), 0.0)
    return StationDays(
        station=name,
        start=start,
        latitude=latitude,
        longitude=-99.0,
        elevation_m=500.0,
        values={"tmax": mean + 7, "tmin": mean - 7, "rain": rain},
    )


def forecast(issued: date = ON, lows: float = 28.0, days: int = 7, **more: float) -> Forecast:
    told = {issued + timedelta(days=k): {"high": lows + 20, "low": lows, **more} for k in range(days)}
    return Forecast(issued, issued.isoformat(), "a service", "s", days=told)


def outlook(*kept: Forecast, records: tuple[StationDays, ...] = (), on: date = ON, **alerts):
    held = {r.station: r for r in records or (station(),)}
    stands = standings(held, on, forecasts=kept, hours=(), alerts=alerts, facts=FACTS.reader(), fresh_days=(3, 2))
    return make_outlook(on, stations=held, forecasts=stands, horizon=60)


def test_ranks_are_those_of_the_shuffle_worked_by_hand() -> None:
    # forecast_data.md B3: forecast {10, 14, 12}, history {21, 15, 18} -> {14, 10, 12}
    at = ranks(np.array([[21.0], [15.0], [18.0]]), np.zeros((3, 1)))[:, 0]
    assert np.sort([10.0, 14.0, 12.0])[np.floor(at * 3).astype(int)].tolist() == [14.0, 10.0, 12.0]
    dry = ranks(np.array([[0.0], [0.0], [4.0]]), np.array([[0.9], [0.1], [0.5]]))[:, 0]
    assert dry.tolist() == [0.5, pytest.approx(1 / 6), pytest.approx(5 / 6)]
    assert sd_over_mae(5) == pytest.approx(1.3603, abs=1e-4)  # of Student's t, worked out apart


def test_the_first_days_are_the_forecast_with_its_error_and_the_rest_the_years() -> None:
    plain, held = outlook(), outlook(forecast())
    before, low = plain.daily("tmin")[0] * 1.8 + 32, held.daily("tmin")[0] * 1.8 + 32
    usual = before[:, :7].mean()
    assert usual > 36
    for k in range(7):
        assert 27.5 < low[:, k].mean() < 28 + 0.3 * (usual - 28)  # drawn a little to the usual
        assert 2.5 < low[:, k].std() < 9.5
    assert low[:, 0].std() < low[:, 6].std() < before[:, 6].std()
    assert np.array_equal(low[:, 10:], before[:, 10:])
    gap = [abs(low[:, k].mean() - before[:, k].mean()) for k in (6, 7, 8, 9)]
    assert gap[0] > gap[1] > gap[2] > gap[3] > 0
    assert (held.daily("tmin") <= held.daily("tmax")).all()


def test_a_warm_year_goes_on_from_a_warm_end_of_the_forecast() -> None:
    plain, held = outlook(), outlook(forecast())
    before, now = plain.daily("tmax")[0][:, 6], held.daily("tmax")[0][:, 6]
    assert np.array_equal(np.argsort(before), np.argsort(now))


def test_stations_and_elements_go_together_as_in_the_years() -> None:
    records = (station("s"), station("t", 2))
    told = [forecast(lows=40.0), replace(forecast(lows=40.0), place="t")]
    plain, held = (outlook(*kept, records=records) for kept in ((), told))
    for k in (0, 3, 6):
        was, now = (np.corrcoef(o.daily("tmin")[0][:, k], o.daily("tmin")[1][:, k])[0, 1] for o in (plain, held))
        assert now == pytest.approx(was, abs=0.12) and now > 0.6
    rain = outlook(
        *[replace(f, days={d: {**v, "rain_chance": 0.5} for d, v in f.days.items()}) for f in told], records=records
    )
    both = (rain.daily("rain") > 0).sum(axis=1)[:, :7]
    assert (both == 20).all()  # half of forty years, at either station
    assert ((rain.daily("rain") > 0).all(axis=0)[:, :7].sum(axis=0) > 12).all()  # and mostly the same years


def test_rain_comes_by_its_chance_and_then_its_amount() -> None:
    held = outlook(forecast(rain_chance=0.3, rain=0.3)).daily("rain")[0]
    wet = held[:, 1] > 0
    assert wet.sum() == 12  # 30 % of forty years
    assert held[wet, 1].mean() == pytest.approx(0.3 * 25.4 / 0.3, rel=0.25)
    dry = outlook(forecast(rain_chance=0.0)).daily("rain")[0]
    assert (dry[:, :7] == 0).all() and dry[:, 7:].any()
    silent = outlook(forecast()).daily("rain")
    assert np.array_equal(silent, outlook().daily("rain"))


def test_told_quantiles_are_the_spread() -> None:
    spread = outlook(forecast(lows=40.0, low_10=37.0, low_90=43.0)).daily("tmin")[0][:, 2] * 1.8 + 32
    assert spread.mean() == pytest.approx(40.0, abs=0.1) and spread.std() == pytest.approx(6 / 2.563, rel=0.15)


def test_an_old_forecast_counts_as_none() -> None:
    old, none = outlook(forecast(ON - timedelta(days=4))), outlook()
    assert np.array_equal(old.daily("tmin"), none.daily("tmin"))
    assert not old.forecasts["s"].fresh and old.forecasts["s"].told() is None
    assert outlook(forecast(ON - timedelta(days=3))).forecasts["s"].told()["age_days"] == 3


def test_an_older_one_is_wider() -> None:
    new, old = (outlook(forecast(ON - timedelta(days=back))).daily("tmin")[0][:, 1] for back in (0, 3))
    assert old.std() > new.std()


def kept_season(record: StationDays, bias: float, sd: float, days: int = 90) -> list[Forecast]:
    rng, out = np.random.default_rng(3), []
    for back in range(days, 0, -1):
        issued, told = ON - timedelta(days=back), {}
        for lead in range(8):
            at = record.index(issued) + lead
            if at < len(record):
                error = bias + sd * rng.standard_normal()
                told[issued + timedelta(days=lead)] = {
                    "high": float(record.values["tmax"][at] * 1.8 + 32 + error),
                    "low": float(record.values["tmin"][at] * 1.8 + 32 + error),
                    "rain_chance": 0.5,
                }
        out.append(Forecast(issued, issued.isoformat(), "a service", "s", days=told))
    return out


def test_kept_forecasts_move_the_error_from_the_published_one() -> None:
    record = station()
    bare = skill_of(FACTS.reader(), (), record, ON)
    assert bare.measured("low") is None and bare.published("low", 1) == 3 and bare.published("high", 7) == 5
    good = skill_of(FACTS.reader(), kept_season(record, 0.0, 0.5), record, ON)
    poor = skill_of(FACTS.reader(), kept_season(record, 6.0, 0.5), record, ON)
    mae, n = poor.measured("low") or (0.0, 0)
    assert n == 89 and mae == pytest.approx(6.0, abs=0.2)
    assert good.line("low", 1, 5.0).sd < 0.75 * bare.line("low", 1, 5.0).sd
    assert -3.4 < poor.line("low", 1, 5.0).a < -2.0  # 6 degF too high, three quarters of it taken off
    assert 0.5 < good.rain < 0.8  # told one in two, came one in four: the start of 30 forecasts holds it back
    few = skill_of(FACTS.reader(), kept_season(record, 6.0, 0.5, 5), record, ON)
    assert few.measured("low") is None and abs(few.line("low", 1, 5.0).a) < 1.0


def test_nothing_that_came_on_the_day_asked_or_later_is_read() -> None:
    record = station()
    later = replace(record, values={v: np.concatenate([x, x[-30:] + 40]) for v, x in record.values.items()}, flags={})
    kept = [*kept_season(record, 0.0, 1.0), forecast()]
    for a, b in zip(
        (outlook(*kept, records=(record,)).daily(v) for v in ("tmax", "tmin", "rain")),
        (outlook(*kept, records=(later,)).daily(v) for v in ("tmax", "tmin", "rain")),
        strict=True,
    ):
        assert np.array_equal(a, b)


def test_a_point_within_reach_stands_for_the_station_and_a_far_one_does_not() -> None:
    near, far = (replace(forecast(), place="", latitude=lat, longitude=-99.0) for lat in (38.1, 40.5))
    assert kept_for([near, far], "s", 38.0, -99.0, 50) == [near]
    assert kept_for([far], "s", 38.0, -99.0, 50) == []
    assert kept_for([replace(near, place="t")], "s", 38.0, -99.0, 50) == []
    own = forecast()
    assert kept_for([near, own], "s", 38.0, -99.0, 50) == [own]


def test_warnings_that_are_over_are_not_told() -> None:
    freeze, old = (
        Alert("Freeze Warning", ON, ON + timedelta(1)),
        Alert("Freeze Watch", ON - timedelta(3), ON - timedelta(1)),
    )
    assert in_force([old, freeze], ON) == (freeze,)


@pytest.fixture
def ledger(tmp_path):
    record, zone = station(), timezone(timedelta(hours=-6))
    evening = datetime(ON.year, ON.month, ON.day, 5, tzinfo=zone) - timedelta(hours=10)
    values = {v: x.round(1).tolist() for v, x in record.values.items()}
    with open_ledger(tmp_path / "l.sqlite") as opened:
        long_ago = datetime(2000, 1, 1, tzinfo=zone)
        opened.append(
            [
                NewEntry(
                    "place",
                    {"name": "s", "kind": "station", "latitude": 38.0, "longitude": -99.0},
                    place="s",
                    seen_at=long_ago,
                ),
                NewEntry("farm", {"name": "f"}, farm="f", seen_at=long_ago),
                NewEntry(
                    "place",
                    {"name": "wheat", "kind": "field", "crop": "winter wheat", "station": "s", "acres": 80},
                    place="w",
                    farm="f",
                    seen_at=long_ago,
                ),
                NewEntry("station_days", {"start": record.start.isoformat(), **values}, place="s", seen_at=evening),
            ]
        )
        yield opened


def alert(event: str, key: str, message: str = "alert", **more):
    body = {"alert": key, "event": event, "begins": ON.isoformat(), "ends": ON.isoformat(), "message": message, **more}
    return NewEntry("weather_alert", body, place="s", seen_at=datetime(ON.year, ON.month, ON.day, tzinfo=UTC))


def test_the_ledger_gives_what_stands_and_an_alert_taken_back_is_gone(ledger) -> None:
    when = datetime(ON.year, ON.month, ON.day, 4, tzinfo=timezone(timedelta(hours=-5)))
    days = [{"date": (ON + timedelta(days=k)).isoformat(), "low": 28.0, "high": 50.0} for k in range(7)]
    ledger.append([NewEntry("forecast", {"days": days, "source": "a service"}, place="s", seen_at=when)])
    ledger.append([alert("Freeze Warning", "a"), alert("Freeze Watch", "b")])
    held = district_of(ledger, ON).outlook.forecasts["s"]
    assert held.fresh and held.told()["source"] == "a service" and len(held.alerts) == 2
    ledger.append(
        [alert("Freeze Warning", "c", "update", replaces="a"), alert("Freeze Watch", "d", "cancel", replaces="b")]
    )
    assert [a.event for a in district_of(ledger, ON).outlook.forecasts["s"].alerts] == ["Freeze Warning"]
    assert district_of(ledger, ON - timedelta(days=1)).outlook.forecasts == {}  # it was not known the day before
