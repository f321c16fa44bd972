"""A record that ends weeks ago: no drought is made of the days that are missing, and no cool season."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from sideoats import asking
from sideoats.call import Call
from sideoats.desk.pages.weather import heat_picture, map_picture, rain_picture
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.insects.questions.alfalfa_weevil import degree_days_this_year
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import StationDays
from sideoats.weather.rain_standing import rain_standing

ON = date(2026, 9, 14)


def record(until: date, name: str = "north") -> StationDays:
    """Twelve invented years up to the day before `until`."""
    start = date(2013, 1, 1)
    days = (until - start).days
    rng = np.random.default_rng(11)
    warm = -np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25)
    tmax = 22 + 14 * warm + rng.normal(0, 3.5, days)
    values = {"tmax": tmax, "tmin": tmax - 13 + rng.normal(0, 1, days), "rain": rng.gamma(0.25, 7, days)}
    return StationDays(station=name, start=start, values=values, latitude=38.0, longitude=-99.0, elevation_m=500)


def call(question: str, until: date, **given: str) -> Call:
    future = make_outlook(ON, stations={"north": record(until)}, draws=100)
    return asking.call_for(question, {"station": "north", **given}, on=ON, outlook=future)


@pytest.mark.parametrize("behind", [0, 2])
def test_a_record_two_days_behind_is_good_enough(behind: int) -> None:
    until = ON - timedelta(days=behind)
    assert np.isfinite(rain_standing(record(until), ON, 90).stands.percent)
    found = call("rain-deficit", until, crop="native grass")
    assert "of normal" in found.headline and "lacks" not in found.headline
    assert float(found.quantities["missing_days_90"].value) == behind
    assert "chance of a mature boll" in call("cotton-pace", until, bloom_date="2026-08-05").headline


def test_rain_that_nobody_measured_is_no_drought() -> None:
    """90 days without a record stood as '0.0 in, 0 % of normal, D4 (exceptional drought)'."""
    until = ON - timedelta(days=60)
    stands = rain_standing(record(until), ON, 90)
    assert stands.missing == 60 and np.isnan(stands.stands.percent) and np.isnan(stands.index)
    assert np.isfinite(rain_standing(record(until), until, 90).stands.percent)
    found = call("rain-deficit", until, crop="native grass")
    assert found.verdict == "look" and not found.options
    assert found.headline == (
        "Take the newest days of weather in: the record of north, which ends 15 Jul 2026, lacks 60 of the last 90 days."
    )
    assert "drought_class" not in found.quantities or not found.quantities["drought_class"].value
    assert not [line for line in found.because if "nan" in line or "0 %" in line]


def test_what_the_caller_says_is_used_where_the_record_has_ended() -> None:
    until = ON - timedelta(days=60)
    told = call("rain-deficit", until, crop="native grass", rain="2 in", normal="6 in", span="90")
    assert "33 % of normal over 90 days" in told.headline and "ends 15 Jul 2026" in told.headline
    probed = call("rain-deficit", until, crop="native grass", soil_water="40%")
    assert "Rain is not known; 40 % of the root zone's water is left" in probed.headline
    assert "90 days: not known, 60 days are missing." in probed.because and "nan" not in " ".join(probed.because)


def test_heat_that_nobody_measured_makes_no_season_late() -> None:
    """A fortnight without a record took a boll's chance from nine in ten to one in two."""
    until = ON - timedelta(days=14)
    found = call("cotton-pace", until, bloom_date="2026-08-05", late_value="60 USD/ac", cost="12 USD/ac")
    assert found.verdict == "look" and "lacks 14 of the last 40 days" in found.headline
    assert found.cost_of_waiting == 0 and not found.options
    fresh = call("cotton-pace", until, bloom_date=ON.isoformat())
    assert "chance of a mature boll" in fresh.headline  # no heat has come yet: nothing is missing


def test_weevils_stage_is_not_told_from_half_a_record() -> None:
    question, facts, on = find("alfalfa-weevil"), load(), date(2026, 4, 20)
    table = asking.table_of(question, [read_all(question.inputs, {"height": "14 in", "station": "north"})], keys=["x"])
    for behind, known in ((0, True), (3, True), (30, False)):
        future = make_outlook(on, stations={"north": record(on - timedelta(days=behind))}, draws=20)
        assert np.isfinite(degree_days_this_year(table, Context(on, facts, future))[0]) == known


def test_a_freeze_is_dated_by_its_own_night_and_none_is_denied_by_a_record_that_ended() -> None:
    on = date(2026, 4, 24)
    for behind, at in ((0, 6), (2, 6), (5, 6), (5, 0)):
        days = 12 * 365
        start = on - timedelta(days=behind + days)
        low = np.full(days, 8.0)
        if at:
            low[(on - start).days - at] = -6.0
        held = StationDays(station="north", start=start, values={"tmax": low + 12, "tmin": low}, latitude=38.0)
        future = make_outlook(on, stations={"north": held}, draws=30)
        found = asking.call_for("freeze-injury", {"stage": "heading", "station": "north"}, on=on, outlook=future)
        if at:  # seven days after the night, wherever the record ends
            assert found.verdict == "look" and found.look_by == on + timedelta(days=1)
        else:
            assert found.verdict == "look" and "which the station's record lacks" in found.headline
    mild = asking.call_for(
        "freeze-injury", {"stage": "heading", "station": "north", "low": "45 F"}, on=on, outlook=future
    )
    assert mild.verdict == "wait"


@pytest.mark.parametrize(("behind", "said"), [(0, False), (9, True)])
def test_heat_that_stands_in_for_nights_of_a_flight_is_said(behind: int, said: bool) -> None:
    catches = "; ".join(f"{ON - timedelta(days=d)} {40 if d < 12 else 2}" for d in range(34, 0, -1))
    found = call("trap-flight", ON - timedelta(days=behind), species="fall armyworm", catches=catches, station="north")
    words = " ".join(found.because)
    assert "flight since" in found.headline
    assert ("the mean heat of the coming week stands for them" in words) == said
    assert ("which ends 4 Sep 2026, lacks 9 of the last" in words) == said


def test_the_desks_pictures_leave_out_what_is_not_known() -> None:
    old, new, facts = record(ON - timedelta(days=200), "old"), record(ON, "new"), load()
    since = date(2026, 5, 1)
    assert heat_picture(new, facts, since, ON) is not None
    with pytest.raises(InputError, match="heat: is not drawn; expected the newest days; the record of old, which ends"):
        heat_picture(old, facts, since, ON)
    some = rain_picture(record(ON - timedelta(days=15)), facts, ON).summary
    assert "365 days" in some and "90 days" not in some and "nan" not in some
    with pytest.raises(InputError, match=r"the record of old, which ends .* lacks 90 of the last 90 days") as caught:
        rain_picture(old, facts, ON)
    assert "\n" not in str(caught.value)
    assert map_picture([old, new], facts, ON) is None
    both = map_picture([record(ON, "a"), record(ON, "b"), old], facts, ON)
    assert both is not None and "nan" not in both.summary and "old" not in both.summary


def test_days_that_are_not_there_are_counted_at_both_ends() -> None:
    whole = record(ON)
    assert whole.lacking(("tmax", "rain"), ON, 30) == 0
    assert whole.lacking(("tmax",), whole.start + timedelta(days=10), 30) == 20
    assert whole.lacking(("tmax",), ON + timedelta(days=12), 30) == 12
    assert whole.lacking(("tmax",), ON + timedelta(days=400), 30) == 30
    assert whole.lacking(("humidity",), ON, 30) == 30
