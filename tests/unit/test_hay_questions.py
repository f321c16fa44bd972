"""Hay: single bales, blends and the day to grind by; the supply of a herd."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from sideoats.asking import ask
from sideoats.errors import InputError

ON = date(2026, 9, 14)


def told(question: str, **values: Any) -> dict[str, Any]:
    return ask(question, {k.removeprefix("_"): v for k, v in values.items()}, on=ON, draws=50)


def by_key(call: dict[str, Any]) -> dict[str, Any]:
    return {o["key"]: o for o in call["options"]}


SINGLE = {"form": "NO3-N", "basis": "dry", "_class": "open-cow"}
LOW = "name=prairie hay, nitrate=150 ppm, form=NO3-N, basis=dry"


def test_a_bale_tested_over_the_line_is_not_ground_into_the_lot() -> None:
    # the trade rule's 10,000 ppm NO3 is 2,259 ppm NO3-N by hand: one of these two bales is over it
    call = told("hay-nitrate", single_bales="500, 2300 ppm", feeds=LOW, **SINGLE)
    assert call["verdict"] == "stop" and "a bale tested at 2,300" in call["headline"]
    assert all("blended or not" in by_key(call)[k]["barred"] for k in ("straight", "grind", "blend"))
    under = told("hay-nitrate", single_bales="500, 2200 ppm", feeds=LOW, **SINGLE)
    assert under["verdict"] != "stop" and not by_key(under)["grind"]["barred"]
    # Montana gives pregnant animals none from 5,000 ppm NO3 (1,130 NO3-N); other cattle may have that bale
    pregnant = told("hay-nitrate", **{**SINGLE, "_class": "pregnant-cow"}, single_bales="100, 1200 ppm", feeds=LOW)
    assert pregnant["verdict"] == "stop" and by_key(pregnant)["blend"]["barred"]
    assert not by_key(pregnant)["other-class"]["barred"]
    worse = told("hay-nitrate", **{**SINGLE, "_class": "pregnant-cow"}, single_bales="100, 2300 ppm")
    assert "over what any cattle may have" in by_key(worse)["other-class"]["barred"]


def test_the_class_of_single_bales_is_read_from_their_mean() -> None:
    # mean 1,600 is in Clemson's 1,500 to 2,000; the geometric mean, 1,327, would be under it
    call = told("hay-nitrate", single_bales="700, 2200, 1900 ppm", **SINGLE)
    assert call["quantities"]["nitrate_nitrogen_dry"]["value"] == pytest.approx(1600.0)
    assert call["verdict"] == "stop" and call["quantities"]["class_clemson"]["value"] == "limit to half"


def test_a_lot_of_which_every_bale_was_tested_has_no_hotter_one() -> None:
    call = told("hay-nitrate", single_bales="1050, 1200, 1300 ppm", bales="3", **SINGLE)
    assert call["quantities"]["hottest_credible_bale"]["value"] == 1300.0 and call["verdict"] == "wait"
    assert "Every bale was tested" in " ".join(call["because"])
    assert told("hay-nitrate", single_bales="1050, 1200, 1300 ppm", bales="9", **SINGLE)["verdict"] != "wait"


def test_a_feed_over_the_ceiling_is_not_a_low_feed_to_blend_with() -> None:
    hot = "name=sudan hay, nitrate=6000 ppm, form=NO3-N, basis=dry"
    call = told(
        "hay-nitrate", result="200 ppm", form="NO3-N", basis="dry", _class="growing", cores="20", feeds=hot, share="20%"
    )
    assert call["verdict"] == "wait" and "keeps the ration under" in by_key(call)["blend"]["barred"]


def test_grinding_is_due_before_any_of_it_is_fed() -> None:
    lot = {"result": "1130 ppm", "form": "NO3-N", "basis": "dry", "_class": "growing", "cores": "1", "bales": "100"}
    today = told("hay-nitrate", **lot)
    assert (today["verdict"], today["act_by"]) == ("act", ON.isoformat())
    assert "before any of it is fed" in today["headline"] and "grind by is today" in " ".join(today["because"])
    later = told("hay-nitrate", **lot, fed_from="2026-11-20")
    assert (later["verdict"], later["act_by"]) == ("act", "2026-11-20")
    assert told("hay-nitrate", **lot, fed_from="2026-01-20")["act_by"] == ON.isoformat()


def test_hay_supply_counts_losses_and_weighs_three_ways() -> None:
    short = told("hay-supply", head="100", hay="120 ton", days="150", price="110 USD/ton", cow_price="1400 USD/head")
    assert set(by_key(short)) == {"buy-now", "buy-later", "sell-cows"}
    assert short["quantities"]["chance_of_shortage"]["value"] == 1.0
    # by hand: 100 x 1,200 x 2.5 % x 150 / 0.88 / (1 - 0.061) / 2,000
    assert short["quantities"]["hay_needed"]["value"] == pytest.approx(272.29, abs=0.01)
    plenty = told("hay-supply", head="10", hay="400 ton", days="150")
    assert plenty["verdict"] != "act" and plenty["quantities"]["chance_of_shortage"]["value"] == 0.0
    assert by_key(plenty)["sell-cows"]["barred"]
    for values in (
        {"head": "10"},
        {"head": "10", "hay": "5 ton"},
        {"head": "10", "hay": "5 ton", "bales": "3", "days": "9"},
    ):
        with pytest.raises(InputError):
            told("hay-supply", **values)


def test_dearer_late_hay_never_makes_waiting_more_attractive() -> None:
    def gap(later: str) -> float:
        options = by_key(told("hay-supply", head="100", hay="120 ton", days="150", price="110 USD/ton", later=later))
        return float(options["buy-now"]["expected"] - options["buy-later"]["expected"])

    gaps = [gap(x) for x in ("0.9", "1.1", "1.4", "2")]
    assert gaps == sorted(gaps)
