"""Weather on a herd, whatever was phoned in: colder, wetter, windier, hotter, moister is never milder."""

from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.casebook.judging import SEVERITY

import sideoats

JANUARY, JULY = date(2026, 1, 15), date(2026, 7, 15)
COATS = ("heavy winter", "winter", "fall", "wet")  # from the lowest critical temperature up
cold = st.fixed_dictionaries({"temperature": st.integers(-40, 58), "wind": st.integers(0, 45)})
hot = st.fixed_dictionaries({
    "temperature": st.integers(60, 112), "humidity": st.integers(10, 95), "wind": st.integers(0, 25),
    "radiation": st.integers(0, 1000),
})  # fmt: skip
UNITS = {"temperature": "F", "wind": "mph", "humidity": "%", "radiation": "W/m^2"}


def severity(on: date, air: dict[str, int], **more: str) -> int:
    told = {name: f"{value} {UNITS[name]}" for name, value in air.items()}
    return SEVERITY[sideoats.ask("herd-weather", {**told, **more}, on=on, draws=20)["verdict"]]


def more(air: dict[str, int], name: str, by: int) -> dict[str, int]:
    return {**air, name: air[name] + by}


@settings(max_examples=60)
@given(cold, st.integers(1, 15), st.sampled_from(COATS), st.booleans())
def test_colder_and_windier_are_never_milder(air, by, coat, said):
    coats = {"coat": coat} if said else {}
    here = severity(JANUARY, air, **coats)
    assert severity(JANUARY, more(air, "temperature", -by), **coats) >= here
    assert severity(JANUARY, more(air, "wind", by), **coats) >= here
    assert severity(JANUARY, air, susceptible="yes", **coats) >= here
    assert severity(JANUARY, air, shelter="yes", **coats) <= here


@settings(max_examples=60)
@given(cold, st.integers(0, 2))
def test_a_wetter_coat_is_never_milder(air, at):
    assert severity(JANUARY, air, coat=COATS[at + 1]) >= severity(JANUARY, air, coat=COATS[at])
    silent = severity(JANUARY, {**air, "humidity": 97})
    assert silent >= severity(JANUARY, air, coat="winter") and (
        silent > 0 or not severity(JANUARY, air, coat="wet") > 1
    )


@settings(max_examples=80)
@given(hot, st.integers(1, 12), st.sampled_from(["yes", "no"]))
def test_hotter_moister_and_sunnier_are_never_milder(air, by, work):
    here = severity(JULY, air, work=work)
    for name in ("temperature", "radiation"):
        assert severity(JULY, more(air, name, by), work=work) >= here
    if air["temperature"] >= 68 and air["humidity"] + by <= 100:
        assert severity(JULY, more(air, "humidity", by), work=work) >= here
    assert severity(JULY, air) >= here  # nobody said that nothing is worked
    still = {k: v for k, v in air.items() if k != "wind"}
    assert severity(JULY, still, work=work) > 0 or here == 0
