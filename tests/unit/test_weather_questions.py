"""The four weather questions: verdicts, bars, batches, and refusals of one line."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from sideoats import asking
from sideoats.call import Call
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.outlook import Outlook, make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import StationDays

ON = date(2026, 8, 12)


@lru_cache(maxsize=2)
def outlook(on: date = ON) -> Outlook:
    """Twelve invented years at one station."""
    start = date(2013, 1, 1)
    days = (on - start).days
    rng = np.random.default_rng(11)
    warm = -np.cos(2 * np.pi * (np.arange(days) - 20) / 365.25)
    tmax = 20 + 14 * warm + rng.normal(0, 3.5, days)
    values = {
        "tmax": tmax, "tmin": tmax - 13 + rng.normal(0, 1, days), "rain": rng.gamma(0.25, 7, days),
        "wind": np.full(days, 3.5), "humidity": np.full(days, 0.55),
    }  # fmt: skip
    record = StationDays(station="z", start=start, values=values, latitude=38.0, elevation_m=500)
    return make_outlook(on, stations={"z": record}, draws=200)


def call(question: str, on: date = ON, future: Outlook | None = None, **given: Any) -> Call:
    return asking.call_for(question, given, on=on, outlook=future or make_outlook(on, draws=200))


def value(answer: Call, name: str) -> float:
    return float(answer.quantities[name].value)


HOT = {"temperature": "98 F", "humidity": "60 %", "wind": "4 mph", "radiation": "850 W/m^2"}


def test_herd_weather_of_a_deadly_afternoon() -> None:
    found = call("herd-weather", **HOT)
    assert found.verdict == "stop" and found.act_by == ON  # nobody said that they are not to be worked
    assert call("herd-weather", work="no", **HOT).verdict == "act"
    # 98 degF is 36.667 degC; 0.8 T + RH (T - 14.4) + 46.4, then 4.51 + THI - 1.992 x 1.788 + 0.0068 x 850 (Mader 2006)
    assert value(found, "temperature_humidity_index") == pytest.approx(89.09, abs=0.01)
    assert value(found, "adjusted_temperature_humidity_index") == pytest.approx(95.82, abs=0.01)
    assert value(found, "comprehensive_climate_index") > 45
    assert found.quantities["heat_class"].value == "extreme danger"
    assert found.quantities["temperature_humidity_class"].value == "emergency"
    assert value(found, "heat_index_for_people") == pytest.approx(122.6, abs=0.1)
    told = " ".join(found.cautions)
    assert "veterinarian" in told and "heat stroke" in told


def test_work_in_that_heat_is_stopped_whatever_it_pays() -> None:
    found = call("herd-weather", work="yes", gain="6 lb/day", value_of_gain="10 USD/lb", cost="100 USD/head", **HOT)
    assert found.verdict == "stop"
    barred = {o.key: o.barred for o in found.options}
    assert barred["work"] and "must not be worked" in barred["work"]
    mild = call("herd-weather", temperature="70 F", humidity="40 %", wind="8 mph", radiation="300 W/m^2", work="yes")
    assert mild.verdict == "wait" and {o.key: o.barred for o in mild.options}["work"] is None


def test_cold_asks_for_feed() -> None:
    found = call(
        "herd-weather", on=date(2026, 1, 12), temperature="-5 F", humidity="60 %", wind="20 mph", radiation="0 W/m^2",
        coat="heavy winter", hay="24 lb/day", hay_price="100 USD/ton",
    )  # fmt: skip
    assert found.verdict == "act" and "energy" in found.headline
    chill = value(found, "wind_chill")
    assert value(found, "extra_maintenance_energy") == pytest.approx((18 - chill) * 0.01)
    assert value(found, "extra_hay") == pytest.approx(24 * (18 - chill) * 0.01)
    assert any("freezes bare skin" in c for c in found.cautions)
    behind = call(
        "herd-weather", on=date(2026, 1, 12), temperature="-5 F", humidity="60 %", wind="20 mph", radiation="0 W/m^2",
        coat="heavy winter", shelter="yes",
    )  # fmt: skip
    assert value(behind, "extra_maintenance_energy") == pytest.approx(0.23)
    assert value(call("herd-weather", on=date(2026, 1, 12), temperature="-5 F", humidity="60 %", wind="20 mph",
                      coat="wet"), "extra_maintenance_energy") > 0.8  # fmt: skip


def test_a_forecast_dates_the_act() -> None:
    days = (
        "date=2026-08-12, high=80 F, low=58 F, humidity=40 %, wind=10 mph; "
        "date=2026-08-14, high=104 F, low=79 F, humidity=40 %, wind=3 mph"
    )
    found = call("herd-weather", forecast=days)
    assert (found.verdict, found.act_by) == ("act", date(2026, 8, 14))
    assert value(found, "nights_without_recovery") == 1
    assert 5 <= value(found, "no_work_from_hour") <= 11


def test_past_years_give_a_chance_and_never_an_order() -> None:
    found = call(
        "herd-weather", future=outlook(), station="z", forecast="date=2026-08-12, high=80 F, low=58 F, humidity=40 %"
    )
    assert found.verdict in ("look", "wait")
    assert 0 < value(found, "chance_of_severe_heat") <= 1


@pytest.mark.parametrize(
    ("question", "given", "message"),
    [
        ("herd-weather", {"humidity": "60 %"}, "temperature: is missing"),
        ("herd-weather", {"temperature": "98", "humidity": "60 %"}, "has no unit"),
        ("herd-weather", {"temperature": "980 F", "humidity": "60 %"}, "outside what is possible"),
        ("herd-weather", {"temperature": "98 F", "humidity": "160 %"}, "between 0 and 100"),
        ("spray-hours", {"wind": "5 mph", "humidity": "50 %"}, "temperature: is missing"),
        ("spray-hours", {"hours": "date=2026-02-30, hour=9, temperature=70 F, humidity=50 %, wind=5 mph"}, "calendar"),
        ("rain-deficit", {"rain": "2 in"}, "normal: is missing"),
        ("rain-deficit", {"rain": "2 in", "normal": "0 in"}, "outside what is possible"),
    ],
)
def test_what_cannot_be_answered_is_refused_in_one_line(question: str, given: dict[str, str], message: str) -> None:
    with pytest.raises(InputError) as error:
        call(question, **given)
    assert message in str(error.value) and "\n" not in str(error.value)


def test_hotter_air_never_lowers_the_class() -> None:
    last = -100.0
    for t in range(60, 112, 4):
        found = call("herd-weather", temperature=f"{t} F", humidity="50 %", wind="5 mph", radiation="700 W/m^2")
        now = value(found, "comprehensive_climate_index")
        assert now > last
        last = now


def test_cotton_by_one_rate_and_one_date() -> None:
    """No station, no money spent: heat falls toward winter, and a usual freeze date is a middle, not a promise."""
    money = {"late_value": "80 USD/ac", "cost": "22 USD/ac"}
    early = call("cotton-pace", heat_per_day=24, bloom_date="2026-07-10", freeze_date="2026-11-15", **money)
    late = call("cotton-pace", heat_per_day=18, freeze_date="2026-09-15", **money)
    assert (early.verdict, late.verdict) == ("look", "wait")
    chances = [value(c, "chance_that_a_bloom_matures") for c in (early, late)]
    assert 0.8 < chances[0] < 0.97 and chances[1] < 0.05
    assert early.options[0].chance_best < 0.97 and "without a station" in early.headline
    nothing = call("cotton-pace")
    assert nothing.verdict == "look" and "No station record" in nothing.headline


def test_cotton_with_a_station() -> None:
    found = call("cotton-pace", future=outlook(), station="z", planting_date="2026-05-20", bloom_date="2026-07-25")
    later = call("cotton-pace", future=outlook(), station="z", planting_date="2026-05-20", bloom_date="2026-08-10")
    assert value(found, "chance_that_a_bloom_matures") >= value(later, "chance_that_a_bloom_matures")
    assert value(found, "heat_units_since_planting") > 500
    assert value(found, "missing_days_since_planting") == 0
    even, sure = (str(found.quantities[n].value) for n in ("last_bloom_even_chance", "last_bloom_four_in_five"))
    assert "2026-07-01" <= sure <= even <= "2026-10-30"
    assert any("past years on this date" in b for b in found.because)


def test_dearer_late_bolls_are_never_less_worth_carrying() -> None:
    expected = [
        call("cotton-pace", future=outlook(), station="z", late_value=f"{v} USD/ac", cost="20 USD/ac")
        .options[0]
        .expected
        for v in (0, 20, 60, 200)
    ]
    assert expected == sorted(expected)


def test_rain_deficit_without_and_with_a_station() -> None:
    told = call("rain-deficit", rain="2.1 in", normal="5.4 in")
    assert told.verdict == "look" and value(told, "percent_of_normal") == pytest.approx(100 * 2.1 / 5.4)
    found = call(
        "rain-deficit", future=outlook(), station="z", crop="native grass", forage="1200 lb/ac", price="95 USD/ton"
    )
    assert 0 <= value(found, "soil_water_left") <= 1
    assert value(found, "missing_days_90") == 0
    assert 0.2 < value(found, "forage_growth_60_days") < 2
    dry = call("rain-deficit", future=outlook(), station="z", crop="native grass", soil_water="5 %")
    wet = call("rain-deficit", future=outlook(), station="z", crop="native grass", soil_water="95 %")
    assert value(dry, "forage_growth_60_days") < value(wet, "forage_growth_60_days")
    assert any("soil not known" in b for b in found.because)
    assert any("years on file" in b for b in found.because)


FIT = {"temperature": "75 F", "humidity": "55 %", "wind": "6 mph", "hour": "11", "sensitive": "no"}


def test_spray_now() -> None:
    assert call("spray-hours", **FIT).verdict == "act"
    inversion = call("spray-hours", **(FIT | {"wind": "2 mph", "hour": "6"}))
    assert inversion.verdict == "stop" and "inversion" in (inversion.options[0].barred or "")
    cloudy = call("spray-hours", **(FIT | {"wind": "2 mph", "hour": "6", "sky": "cloudy"}))
    assert cloudy.verdict == "wait" and "below the lower limit" in (cloudy.options[0].barred or "")
    assert call("spray-hours", **FIT, hanging="yes").verdict == "stop"
    windy = call("spray-hours", **(FIT | {"wind": "14 mph"}))
    assert windy.verdict == "wait" and "above the upper limit" in windy.headline
    assert call("spray-hours", **(FIT | {"wind": "14 mph"}), wind_high="15 mph").verdict == "act"
    wet = call("spray-hours", **FIT, rain_in="2", active="dicamba")
    assert wet.verdict == "wait" and value(wet, "rain_free_hours") == 4
    assert call("spray-hours", **FIT, rain_in="4", active="glyphosate").verdict == "act"
    assert all("label" in " ".join(c.cautions) for c in (inversion, windy, wet))


def test_spray_ahead() -> None:
    rows = [
        f"date=2026-08-{12 + d}, hour={h}, temperature=75 F, humidity=55 %, wind={w} mph, rain=0 in"
        for d, w in ((0, 14), (1, 6), (2, 6)) for h in range(9, 18)
    ]  # fmt: skip
    found = call("spray-hours", hours="; ".join(rows), delay_cost="2 USD/ac/day", sensitive="no")
    assert (found.verdict, found.act_by) == ("act", date(2026, 8, 13))
    barred = {o.key: o.barred or "" for o in found.options}
    assert "above the upper limit" in barred["day-0"] and "not known" in barred["day-4"]
    assert value(found, "fit_hours_day_1") == 9
    free = call("spray-hours", hours="; ".join(rows), sensitive="no")
    assert call("spray-hours", hours="; ".join(rows)).verdict == "look"  # neither product nor neighbours were said
    assert free.act_by == date(2026, 8, 14)


@pytest.mark.parametrize("name", ["herd-weather", "cotton-pace", "rain-deficit", "spray-hours"])
def test_a_batch_answers_as_single_rows_do(name: str) -> None:
    question = find(name)
    rows: list[dict[str, Any]] = {
        "herd-weather": [HOT, {"temperature": "30 F", "humidity": "50 %", "wind": "10 mph", "station": "z"}],
        "cotton-pace": [{"station": "z", "planting_date": "2026-05-20"}, {"station": "z", "bloom_date": "2026-08-01"}],
        "rain-deficit": [{"station": "z", "crop": "alfalfa"}, {"station": "z", "soil_water": "20 %"}],
        "spray-hours": [FIT, FIT | {"wind": "20 mph"}],
    }[name]
    values = [read_all(question.inputs, row) for row in rows]
    context = Context(ON, load(), outlook())
    together = question.ask(asking.table_of(question, values, ["a", "b"]), context)
    for at, single in enumerate(values):
        alone = question.ask(asking.table_of(question, [single], ["ab"[at]]), context).call(0)
        batch = together.call(at).contract()
        assert batch == alone.contract() | {"sources": batch["sources"], "id": batch["id"]}  # the id is of all of it
        assert alone.sources and all(s["citation"] for s in alone.sources)


@pytest.mark.parametrize(("share", "verdict"), [(1.0, "wait"), (0.7, "look")])
def test_a_look_at_dry_ground_says_what_to_look_at(share: float, verdict: str) -> None:
    """A part of the rain of the last ninety days: the call asked for a look and did not say at what."""
    record = outlook().records["z"]
    rain = record.values["rain"].copy()
    rain[-90:] *= share
    dry = StationDays(station="z", start=record.start, values={**record.values, "rain": rain}, latitude=38.0)
    found = call(
        "rain-deficit", future=make_outlook(ON, stations={"z": dry}, draws=100), station="z", crop="native grass"
    )
    assert found.verdict == verdict, found.headline
    assert ("measure the grass in ten places" in found.headline) == (verdict == "look")


def at_a_dry_station(on: date, share: float, days: int) -> Outlook:
    """The invented years, with so much of the rain of the last days."""
    record = outlook(on).records["z"]
    rain = record.values["rain"].copy()
    rain[-days:] *= share
    dry = StationDays(station="z", start=record.start, values={**record.values, "rain": rain}, latitude=38.0)
    return make_outlook(on, stations={"z": dry}, draws=100)


def test_a_drought_is_looked_at_whatever_the_price_of_hay() -> None:
    """What dry weeks did not grow is not on the ground: money of the coming sixty days does not make it so."""
    money = {"forage": "1200 lb/ac", "price": "150 USD/ton"}
    found = call("rain-deficit", future=at_a_dry_station(ON, 0.1, 180), station="z", crop="native grass", **money)
    assert found.verdict == "look" and "measure the grass in ten places" in found.headline
    assert (found.quantities["drought_class"].value, found.quantities["drought_class_by_percent"].value) == ("D4", "D4")
    some = call("rain-deficit", future=at_a_dry_station(ON, 0.45, 90), station="z", crop="native grass", **money)
    assert any(line.startswith("Two published lines") for line in some.because)


def test_the_range_s_trigger_dates_count_the_rain_since_their_own_day() -> None:
    on = date(2026, 5, 25)
    dry = call("rain-deficit", on=on, future=at_a_dry_station(on, 0.4, 85), station="z", crop="native grass")
    assert dry.verdict == "act" and "30 to 40 % fewer head" in dry.headline  # forage is short too
    assert any("Rain since Sun 1 Mar" in line and "by Tue 30 Jun" in line for line in dry.because)
    hay = call("rain-deficit", on=on, future=at_a_dry_station(on, 0.4, 85), station="z", crop="alfalfa")
    assert "fewer head" not in hay.headline


def test_past_years_and_a_forecast_say_until_when_cattle_may_be_worked() -> None:
    hot = "date=2026-08-12, high=101 F, low=74 F, humidity=40 %, wind=5 mph"
    cool = {"temperature": "70 F", "humidity": "60 %", "wind": "8 mph", "radiation": "100 W/m^2"}
    early = call("herd-weather", forecast=hot, work="yes", **cool)
    assert (early.verdict, early.act_by) == ("act", ON) and "only before 9 am today" in early.headline
    unread = call("herd-weather", forecast=hot)
    assert unread.verdict == "stop" and "after 9 am today" in unread.headline
    assert call("herd-weather", forecast=hot, work="no").verdict == "act"


def test_wet_coats_that_nobody_looked_at_are_looked_at() -> None:
    rain = {"temperature": "38 F", "humidity": "97 %", "wind": "10 mph"}
    january = date(2026, 1, 15)
    assert call("herd-weather", on=january, **rain).missing == ("herd_air.coat",)
    assert call("herd-weather", on=january, coat="winter", **rain).verdict == "wait"
    assert call("herd-weather", on=january, coat="wet", **rain).verdict == "act"


def test_each_hour_s_wind_is_held_against_what_lies_downwind() -> None:
    rows = "; ".join(
        f"date=2026-08-13, hour={h}, temperature=75 F, humidity=55 %, wind=6 mph, wind_from={way}"
        for h, way in ((9, "west"), (10, "west"), (11, "east"), (12, "NE"), (13, "E"))
    )
    found = call("spray-hours", hours=rows, active="dicamba", sensitive_side="east")
    assert (found.verdict, value(found, "fit_hours_day_1")) == ("act", 3) and "11 am to 2 pm" in found.headline
    assert call("spray-hours", hours=rows, active="dicamba", sensitive="yes").verdict == "stop"


def test_a_bloom_to_come_has_had_no_heat() -> None:
    money = {"late_value": "80 USD/ac", "cost": "22 USD/ac", "station": "z"}
    today, later = (
        value(call("cotton-pace", future=outlook(), bloom_date=day, **money), "chance_that_a_bloom_matures")
        for day in ("2026-08-12", "2026-09-05")
    )
    assert later < today
    future = call("cotton-pace", future=outlook(), bloom_date="2026-09-05", **money)
    assert value(future, "heat_units_since_bloom") == 0 and "5 Sep" in future.headline
