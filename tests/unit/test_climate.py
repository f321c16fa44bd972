"""Past years as in today's climate: ranges hold on a warming station, and nothing else is touched."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.outlook.climate import AS_IT_WAS, Climate, drawn_apart, running_mean, shift_to_newest, to_today
from sideoats.outlook.years import year_windows
from sideoats.station import StationDays

FIRST, YEARS = 1930, 96
CLIMATE = Climate.of(None)
DAYS = 90


def station(seed: int, decade: float = 0.0, name: str = "made") -> StationDays:
    """A made station: seasons, odd months and years, showers, and a warming [K a decade]."""
    rng = np.random.default_rng(seed)
    start = date(FIRST, 1, 1)
    days = (date(FIRST + YEARS, 12, 31) - start).days + 1
    at = np.arange(days)
    months = np.repeat(rng.normal(0, 1.5, days // 30 + 1), 30)[:days]
    years = np.repeat(rng.normal(0, 0.4, days // 365 + 1), 365)[:days]
    warm = at / 365.25 * decade / 10
    mean = 14 - 13 * np.cos(2 * np.pi * at / 365.25) + months + years + warm + rng.normal(0, 3, days)
    rain = np.where(rng.random(days) < 0.2, rng.gamma(0.7, 12, days), 0.0)
    swing = 6 + rng.random(days) * 3
    return StationDays(station=name, start=start, values={"tmax": mean + swing, "tmin": mean - swing, "rain": rain})


def means(climate: Climate, record: StationDays, on: date) -> np.ndarray:
    """(year,) mean temperature of the coming days, as drawn."""
    sets, _ = year_windows({record.station: record}, on, horizon=DAYS, seed=1, climate=climate)
    return np.asarray((sets[0].daily("tmax")[0] + sets[0].daily("tmin")[0]).mean(axis=1) / 2)


def held(climate: Climate, decade: float) -> float:
    """How often the 10th to 90th range of the coming 90 days' mean temperature held what came."""
    came = []
    for seed in range(10):
        record = station(seed, decade)
        for year in range(FIRST + YEARS - 12, FIRST + YEARS):
            for month in (2, 6, 10):
                on = date(year, month, 1)
                low, high = np.quantile(means(climate, record, on), [0.1, 0.9])
                first = record.index(on)
                mean = (record.values["tmax"] + record.values["tmin"])[first : first + DAYS].mean() / 2
                came.append(low <= mean <= high)
    return float(np.mean(came))


def test_eight_times_in_ten_the_range_holds_on_a_warming_station_where_all_years_alike_fall_short() -> None:
    assert held(AS_IT_WAS, 0.3) < 0.65
    assert held(CLIMATE, 0.3) == pytest.approx(0.8, abs=0.04)


def test_and_on_one_whose_climate_stands_still() -> None:
    assert held(CLIMATE, 0.0) == pytest.approx(0.8, abs=0.04)


def test_a_step_of_the_thermometer_is_taken_out() -> None:
    record = station(3)
    jump = np.where(np.arange(len(record)) >= len(record) - 365 * 15, 2.0, 0.0)
    moved = replace(record, values={v: x + (0 if v == "rain" else jump) for v, x in record.values.items()})
    on = date(FIRST + YEARS, 1, 1)
    more = means(CLIMATE, moved, on).mean() - means(CLIMATE, record, on).mean()
    assert 1.5 < more < 2.1


def test_nothing_of_the_day_asked_and_later_is_read() -> None:
    record, on = station(4, 0.5), date(2010, 7, 1)
    after = record.index(on)
    other = {v: np.concatenate([x[:after], x[after:] + 30]) for v, x in record.values.items()}
    for climate in (CLIMATE, AS_IT_WAS):
        assert np.array_equal(means(climate, record, on), means(climate, replace(record, values=other), on))
    assert to_today(record, on, CLIMATE).end == date(2010, 6, 30)


def test_rain_keeps_its_days_and_its_mean_and_lows_stay_under_highs() -> None:
    record, on = station(5, 1.0), date(2020, 4, 1)
    out, plain = (
        make_outlook(on, stations={"made": record}, horizon=DAYS),
        station(5, 1.0).seasons("rain", 4, 1, DAYS),
    )
    drawn = out.daily("rain")[0]
    came = plain[1][np.isin(plain[0], out.windows.years)]  # type: ignore[union-attr]
    assert np.array_equal(drawn > 0, came > 0)
    assert drawn.mean() == pytest.approx(came.mean(), rel=0.03)
    assert drawn.sum(axis=1).std() > came.sum(axis=1).std()
    assert (out.daily("tmin") <= out.daily("tmax")).all()


def test_drawing_apart_keeps_the_mean_of_every_day_and_widens_by_the_number_of_years() -> None:
    rng = np.random.default_rng(6)
    for years in (5, 40):
        values = {v: rng.normal(size=(years, DAYS)) + up for v, up in (("tmax", 30.0), ("tmin", 0.0))}
        apart = drawn_apart({**values, "rain": np.zeros((years, DAYS))}, CLIMATE)
        assert np.allclose(apart["tmax"].mean(axis=0), values["tmax"].mean(axis=0)) and not apart["rain"].any()
        growth = apart["tmax"].mean(axis=1).std() / values["tmax"].mean(axis=1).std()
        assert growth == pytest.approx(1 + CLIMATE.widening / (years + CLIMATE.widening), rel=0.02)


def test_a_level_cannot_be_told_from_one_year_or_without_highs() -> None:
    times = np.datetime64("2020-01-01") + np.arange(500)
    assert not shift_to_newest(np.arange(500.0), times, 5).any()
    only_rain = StationDays(station="r", start=date(2020, 1, 1), values={"rain": np.ones(500)})
    assert to_today(only_rain, date(2021, 1, 1), CLIMATE) is only_rain
    assert to_today(only_rain, date(2019, 1, 1), CLIMATE) is only_rain
    assert np.allclose(running_mean(np.array([0.0, 3.0, 6.0]), 3), [1.5, 3.0, 4.5])


def test_gaps_do_not_tilt_the_level() -> None:
    """A record whose winters are missing in half its years is moved as if they were there."""
    record = station(7, 0.5)
    at = np.arange(len(record))
    gone = (at % 365 < 60) & (at // 365 % 2 == 0)
    thin = replace(record, values={v: np.where(gone, np.nan, x) for v, x in record.values.items()}, flags={})
    whole, part = (shift_to_newest(r.usable("tmax"), r.times, 5) for r in (record, thin))
    assert np.abs(whole - part).max() < 0.4


def test_a_call_names_the_years_and_how_far_they_were_moved_in_both_languages() -> None:
    from sideoats.outlook.stations import years_said
    from sideoats.words import Reader, sentence

    out = make_outlook(date(2020, 4, 1), stations={"made": station(8, 0.2)}, facts=load())
    said = years_said(out, "made")
    assert said is not None and said.code == "outlook.years.warmer"
    english, spanish = (sentence(said, Reader(language=tongue)) for tongue in ("en", "es"))
    assert "its 90 past years, 1930 to 2019" in english and "°F warmer" in english
    assert "90 años pasados, de 1930 a 2019" in spanish and "más cálido" in spanish
    metric = sentence(said, Reader(language="es", measures="metric"))
    assert "°C" in metric
    assert years_said(out, "elsewhere") is None


def test_a_past_year_is_moved_from_the_level_known_before_it() -> None:
    """Half-life 1, years of 0, 0, 0 and 8: the last one is measured from the noughts, today from the 8 as well."""
    off = np.repeat([0.0, 0.0, 0.0, 8.0], 365)
    times = np.datetime64("2019-01-01") + np.arange(off.size)
    moved = shift_to_newest(off, times, 1.0)
    departure = off - off.reshape(4, 365).mean(axis=0)[0]
    weights = np.array([0.125, 0.25, 0.5, 1.0])
    now = weights @ departure[[100, 500, 800, 1200]] / weights.sum()
    assert moved[1200] == pytest.approx(now - departure[100], abs=0.05)
    assert moved[800] == pytest.approx(now - departure[100], abs=0.05)
