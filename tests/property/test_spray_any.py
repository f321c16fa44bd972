"""Spraying weather, whatever was phoned in: never fit in dark, frost, or with vapour toward what is sensitive."""

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

import sideoats

JUNE = date(2026, 6, 10)
air = st.fixed_dictionaries(
    {
        "temperature": st.integers(20, 110).map(lambda t: f"{t} F"),
        "humidity": st.integers(20, 95).map(lambda h: f"{h} %"),
        "wind": st.integers(0, 20).map(lambda w: f"{w} mph"),
        "hour": st.integers(0, 23).map(str),
        "sky": st.sampled_from(["clear", "cloudy"]),
    }
)
sides = st.sampled_from(["north", "east", "south", "west"])


def fit(given_air: dict[str, str], **more: str) -> bool:
    found = sideoats.ask("spray-hours", given_air | more, on=JUNE, draws=20)
    assert (found["verdict"] == "act") == found["headline"].startswith("Fit to spray now")
    return bool(found["verdict"] == "act")


@settings(max_examples=80)
@given(air, st.sampled_from(["", "glyphosate", "dicamba", "2,4-D ester + glyphosate"]))
def test_dark_frost_and_vapour_in_heat_are_never_fit(now, active):
    if fit(now, active=active):
        degrees = int(now["temperature"].split()[0])
        assert 6 <= int(now["hour"]) <= 21 and degrees >= 50
        assert not (degrees > 85 and ("dicamba" in active or "ester" in active))


@settings(max_examples=60)
@given(air, sides, sides)
def test_what_lies_downwind_never_makes_it_fitter(now, wind_from, side):
    beside = fit(now, active="dicamba", wind_from=wind_from, sensitive_side=side)
    away = {"north": "south", "south": "north", "east": "west", "west": "east"}[wind_from] != side
    assert not fit(now, active="dicamba", sensitive="yes")
    assert not beside or (away and fit(now, active="dicamba", sensitive="no"))
    assert not fit(now, active="dicamba") or fit(now, active="glyphosate")
