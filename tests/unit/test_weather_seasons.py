"""Pace, freezes, cotton, spells, root zone: small records whose answers can be counted by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.station import Flag, StationDays
from sideoats.weather import cotton, freeze, rainfall, spraying
from sideoats.weather.herd_days import herd_days
from sideoats.weather.pace import chance_by, date_quantiles, day_reached, heat, pace
from sideoats.weather.quality import check_days, check_neighbours, gaps, spikes, streaks
from sideoats.weather.rain_standing import rain_standing
from sideoats.weather.root_zone import daily_coefficient, forage_ahead, root_zone
from sideoats.weather.station_air import station_air


def station(start: date, **values: object) -> StationDays:
    return StationDays(station="z", start=start, values={k: np.asarray(v, float) for k, v in values.items()})


def test_pace_by_hand() -> None:
    # Every past year gains 10 units a day, this one 12: after 50 days 600 against 500, which they reach on day 60.
    days = (date(2024, 7, 1) - date(2018, 1, 1)).days
    daily = np.full(days, 10.0)
    record = station(date(2018, 1, 1), tmax=np.full(days, 20.0), tmin=np.full(days, 10.0))
    first = record.index(date(2024, 5, 1))
    daily[first : first + 50] = 12.0
    found = pace(record, daily, date(2024, 5, 1), date(2024, 6, 19))
    assert (found.total, found.mean, found.days, found.missing) == (600.0, 500.0, 50, 0)
    assert found.days_ahead == pytest.approx(10.0)
    assert (found.rank, found.years) == (6, (2023, 2022, 2021, 2020, 2019))


def test_pace_counts_missing_days_and_leaves_out_poor_years() -> None:
    days = (date(2024, 7, 1) - date(2018, 1, 1)).days
    daily = np.full(days, 10.0)
    record = station(date(2018, 1, 1), tmax=np.zeros(days), tmin=np.zeros(days))
    daily[record.index(date(2024, 5, 10))] = np.nan
    daily[record.index(date(2022, 5, 1)) : record.index(date(2022, 5, 20))] = np.nan
    found = pace(record, daily, date(2024, 5, 1), date(2024, 6, 19))
    assert (found.total, found.days, found.missing, found.left_out) == (490.0, 49, 1, (2022,))
    with pytest.raises(InputError, match="1 to 366 days"):
        pace(record, daily, date(2024, 5, 2), date(2024, 5, 1))
    with pytest.raises(InputError, match="does not reach"):
        pace(record, daily, date(2016, 5, 2), date(2016, 6, 1))


def test_heat_of_a_record_leaves_doubted_values_out() -> None:
    record = station(date(2024, 5, 1), tmax=[30.0, 95.0, 30.0], tmin=[20.0, 20.0, 20.0])
    found = heat(check_days(record), 60)
    assert found[[0, 2]] == pytest.approx([17.0, 17.0])
    assert np.isnan(found[1])


def test_day_on_which_a_sum_is_reached() -> None:
    ahead = np.array([[5.0, 5.0, 5.0], [1.0, 1.0, 1.0]])
    assert day_reached(ahead, 0.0, 10.0).tolist() == [2, -1]
    assert day_reached(ahead, [10.0, 8.0], 10.0).tolist() == [0, 2]
    assert chance_by(np.array([2, -1, 5, 0]), 3) == 0.5
    on = date(2026, 1, 1)
    assert date_quantiles(np.array([1, 2, 3, -1]), on, (0.5, 0.9)) == [on + timedelta(days=2), None]


def test_freeze_with_a_gap_before_it_is_unknown() -> None:
    table = np.array([[5.0, -1.0, 3.0], [5.0, np.nan, -3.0], [5.0, 4.0, 3.0], [-2.22, np.nan, 9.0]])
    found = freeze.first_freeze(table, -2.2222)
    assert found.unknown.tolist() == [False, True, False, False]
    assert found.none.tolist() == [True, False, True, False]
    assert found.day.tolist()[3] == 0.0
    chances = freeze.freeze_chances(freeze.first_freeze(table, 0.0), (0.1, 0.5))
    assert (chances.years, chances.unknown, chances.chance) == (3, 1, pytest.approx(2 / 3))
    assert freeze.days_until_freeze(table[0], 0.0) == 1
    # 28 degF kept as tenths of degC is -2.2, not -2.222: it must still count as a hard freeze
    assert freeze.days_until_freeze(np.array([4.0, -2.2]), (28 - 32) / 1.8) == 1


def test_last_effective_bloom_by_hand() -> None:
    heat_units = np.full((3, 10), 10.0)
    heat_units[2, 8] = np.nan
    # Freeze on day 8, 9, 9; 30 units are needed: the bloom must come 3 days before the freeze.
    found = cotton.last_effective_bloom(heat_units, np.array([8.0, 9.0, 9.0]), 30.0)
    assert found[:2].tolist() == [5.0, 6.0]
    assert np.isnan(found[2])
    assert cotton.day_with_chance(np.array([5.0, 6.0, np.nan]), 1.0) == 5.0
    assert cotton.day_with_chance(np.array([5.0, 6.0]), 0.5) == 6.0
    in_time, when = cotton.matures_before_freeze(np.full((2, 10), 10.0), np.array([8, 2]), 0.0, 30.0)
    assert (in_time.tolist(), when.tolist()) == ([True, False], [3, 3])


def test_dry_spells_and_days_since() -> None:
    rain = np.array([0.0, 0.0, 12.0, 0.0, np.nan, 0.0, 0.0])
    found = rainfall.dry_spells(rain, dry_below=1.0)
    assert (int(found.current), int(found.longest), int(found.missing)) == (3, 3, 1)
    assert rainfall.days_since(rain, 10.0) == 4
    assert rainfall.days_since(rain, 50.0) == -1
    assert rainfall.against_past(3.0, [1, 2, 3, 4, np.nan]).percentile == pytest.approx(62.5)


def test_rain_standing_leaves_years_with_gaps_out() -> None:
    days = (date(2024, 7, 1) - date(2010, 1, 1)).days
    rain = np.full(days, 1.0)
    record = station(date(2010, 1, 1), tmax=np.zeros(days), tmin=np.zeros(days), rain=rain)
    rain[record.index(date(2015, 6, 1)) : record.index(date(2015, 6, 20))] = np.nan
    rain[record.index(date(2024, 6, 30))] = np.nan
    found = rain_standing(record, date(2024, 7, 1), 30)
    assert (found.stands.amount, found.stands.normal, found.missing) == (29.0, 30.0, 1)
    assert found.stands.years == 13


def test_root_zone_follows_crop_and_season() -> None:
    facts = load()
    zone = root_zone(facts, "sudan hay", "silt loam")
    assert (zone.crop, zone.assumed) == ("sudangrass", ())
    unknown = root_zone(facts, "kenaf")
    assert unknown.crop == "native grass" and len(unknown.assumed) == 2
    grass = daily_coefficient(unknown, np.array([15, 180]))
    assert grass[0] < grass[1]
    sorghum = root_zone(facts, "grain sorghum", "loam")
    curve = daily_coefficient(sorghum, np.array([0, 0, 0, 0]), np.array([-5.0, 5.0, 70.0, 400.0]))
    assert curve.tolist() == [0.30, 0.30, 1.05, 0.30]


def test_forage_of_a_dry_start_is_less_than_usual() -> None:
    days = 365 * 4
    past_et, past_rain = np.full(days, 5.0), np.full(days, 4.0)
    ahead = np.full((2, 60), 5.0)
    rain = np.stack([np.zeros(60), np.full(60, 4.0)])
    starts = np.array([365, 730, 1095])
    found = forage_ahead(
        past_et, past_rain, np.ones(days), ahead, rain, np.ones(60), np.array([150.0, 150.0]), 0.5,
        start_of_window=starts, told_depletion=np.array([140.0, np.nan]),
    )  # fmt: skip
    assert found.growth[0, 0] < found.growth[0, 1]
    assert found.growth[0, 1] < found.growth[1, 1]
    assert found.growth[1, 1] == pytest.approx(1.0, abs=0.02)


def test_spray_hour_faults() -> None:
    rise, sunset = spraying.sun_clock(38.0, 172, noon=13.5)
    assert 5 < rise < 7 < 20 < sunset < 22
    limits = {"calm_below": 3.0, "before_sunset": 2.0, "after_sunrise": 2.0}
    found = spraying.inversion_likely([2.0, 2.0, 6.0, 2.0], [6.0, 13.0, 6.0, 22.0], rise, sunset, **limits)
    assert found.tolist() == [True, False, False, True]
    assert not spraying.inversion_likely(2.0, 6.0, rise, sunset, clear=False, **limits)
    faults = spraying.judge_hours(
        [2.0, 14.0, 6.0, 6.0, np.nan], [5.0, 5.0, 12.0, 5.0, 5.0], False, [False, False, False, True, False],
        wind_low=3.0, wind_high=10.0, too_humid=2.0, too_dry=10.0,
    )  # fmt: skip
    kinds = [spraying.Fault.CALM, spraying.Fault.WINDY, spraying.Fault.DRY, spraying.Fault.RAIN, spraying.Fault.UNKNOWN]
    assert faults.tolist() == [int(k) for k in kinds]
    assert spraying.faults_of(int(faults[1])) == [spraying.Fault.WINDY]


def test_herd_days_see_the_afternoon() -> None:
    found = herd_days(
        [36.0, 24.0], [24.0, 8.0], [2.9, 1.0], 1.0, 26.0, 38.0, 200, bounds=[25, 30, 35, 40, 45], hot=35.0,
        recovery_index=74.0, shade_share=0.2,
    )  # fmt: skip
    assert found.climate_high[0] > 40 > found.climate_high[1]
    assert found.hours.sum(axis=-1).tolist() == [24, 24]
    assert 6 <= found.first_hot_hour[0] <= 11 and np.isnan(found.first_hot_hour[1]) == (found.climate_high[1] < 35)
    assert found.climate_shade[0] < found.climate_high[0]
    assert found.recovery[1] > found.recovery[0]


def test_checks_of_single_values() -> None:
    assert spikes([1.0, 30.0, 2.0, 2.0], 20).tolist() == [False, True, False, False]
    assert streaks([3.0, 3.0, np.nan, 3.0, 1.0], 3).tolist() == [True, True, False, True, False]
    assert streaks([0.0] * 5, 3, ignore=0.0).sum() == 0
    values = np.concatenate([np.linspace(0, 10, 20), [40.0]])
    assert gaps(values, np.zeros(21, np.int64), 10.0).nonzero()[0].tolist() == [20]


def test_neighbours_outvote_one_station() -> None:
    rng = np.random.default_rng(5)
    shared = 15 + 10 * np.sin(np.arange(400) / 365 * 2 * np.pi) + rng.normal(0, 2, 400)
    records = []
    for at in range(4):
        high = shared + at + rng.normal(0, 0.5, 400)
        if at == 2:
            high[200] += 25
        held = station(date(2020, 1, 1), tmax=high, tmin=high - 10)
        records.append(replace(held, latitude=38.0 + 0.1 * at, longitude=-99.0))
    found = check_neighbours(records)
    flagged = [int(((r.flags["tmax"] & int(Flag.NEIGHBOURS)) != 0).sum()) for r in found]
    assert flagged == [0, 0, 1, 0]
    assert check_neighbours(records[:3])[0] is records[0]
    far = [*records[:3], replace(records[3], latitude=48.0)]  # and the fourth lies in another climate
    assert all(kept is given for kept, given in zip(check_neighbours(far), far, strict=True))


def test_station_air_stands_in_where_nothing_was_measured() -> None:
    days = 400
    windy = station(date(2020, 1, 1), tmax=np.zeros(days), tmin=np.zeros(days), wind=np.full(days, 5.0))
    still = station(date(2020, 1, 1), tmax=np.zeros(days), tmin=np.zeros(days))
    air = station_air({"a": windy, "b": still}, ("a", "b"), usual_wind=2.0, usual_latitude=38.0)
    assert air.measured.tolist() == [True, False]
    assert air.wind[0] == pytest.approx(5.0 * 4.87 / np.log(672.58))
    assert (air.wind[1] == 2.0).all() and (air.latitude == 38.0).all()
