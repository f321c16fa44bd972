"""Slips read out in a hurry: hot hay is never cleared, however it is written; clean hay is not cried over.

Levels are typed here from the tables that were read: Clemson feeds pregnant animals none from 2,000 ppm NO3-N dry and
any animal none from 4,000; ServiTech holds pregnant ones to half from 700; South Dakota cautions of water from 100.
"""

from __future__ import annotations

from datetime import date
from itertools import product
from typing import Any

import pytest

from sideoats.asking import ask
from sideoats.errors import InputError

ON = date(2026, 11, 10)
DRY = {"form": "NO3-N", "basis": "dry"}
WELL = {"cores": "20", "bales": "60"}
FIRST = "on=2026-08-12, result={}, form={}, basis=dry, cores=12"


def verdict(on: date, **values: str) -> str:
    try:
        return str(ask("hay-nitrate", {k.removeprefix("_"): v for k, v in values.items()}, on=on, draws=20)["verdict"])
    except InputError as refusal:
        assert "\n" not in str(refusal)
        return "refused"


def _written_hot() -> list[dict[str, str]]:
    words = (
        "4500 ppm", "4,500 ppm", "0.45 %", "4500 mg/kg", "4.5 g/kg", "4.500 ppm", "4.5 ppm", "4500ppm", "4500 PPM",
        ".45 percent", "45e2 ppm", "4500", "0.45", "4,5 ppm", "4 500 ppm", "45O0 ppm", "4500 ppb", "4'500 ppm",
    )  # fmt: skip
    lists = (
        "4,500, 6,250 ppm", "2,300 ppm", "2,300, 4,100 ppm", "4500, 6,250 ppm", "4,500,6,250 ppm", "4.500, 6.250 ppm",
        "0.45, 0.62 %", "4,500 6,250 ppm", "12,400 ppm, 11,900 ppm", "11, 400, 9500 ppm", "1,1,1,4500 ppm",
        "<100, <100, 4500 ppm", "ND, ND, 4500 ppm",
    )  # fmt: skip
    ions = (("2 %", "NO3"), ("20,000 ppm", "nitrate ion"), ("3.3 %", "potassium nitrate"), ("33,000 ppm", "KNO3"))
    animals = ("pregnant-cow", "open-cow", "growing")
    out = [{"result": w, "_class": a, **DRY, **WELL} for w, a in product(words, animals)]
    out += [{"single_bales": w, "_class": a, **DRY, "bales": "3"} for w, a in product(lists, animals)]
    out += [{"result": w, "form": f, "basis": "dry", "_class": a, **WELL} for (w, f), a in product(ions, animals)]
    return out


def _averaged_or_unsaid() -> list[dict[str, str]]:
    cow = {**DRY, "_class": "pregnant-cow"}
    out = []
    for many, hot in product((2, 5, 10, 19), ("700", "900", "1100", "2100")):
        out.append({**cow, "single_bales": ", ".join(["100"] * many + [hot]) + " ppm", "bales": "100"})
    for many, hot in product((2, 5, 10, 19), ("1600", "2200", "3500", "4100")):
        out.append({**cow, "_class": "open-cow", "single_bales": ", ".join(["150"] * many + [hot]) + " ppm"})
    for level, cores in product(("300 ppm", "500 ppm", "650 ppm"), ({}, {"cores": "1"}, {"cores": "3"})):
        out += [{**cow, "result": level, **cores}, {**cow, "result": level, **cores, "bales": "80"}]
    out += [{"result": r, **DRY, **WELL} for r in ("700 ppm", "1900 ppm", "3000 ppm")]
    out += [{"result": "700 ppm", "form": "NO3-N", **WELL}, {"result": "700 ppm", "basis": "dry", **WELL}]
    return out


def _swapped_stale_or_retested() -> list[dict[str, str]]:
    cow = {"_class": "pregnant-cow", **WELL}
    wet = {"result": "250 ppm", "form": "NO3-N", "basis": "as-fed", **cow}
    moist = {"silage": ("35%", "30%", "12%", "90%"), "standing": ("10%", "25%", "30%"), "baled": ("88%", "70%", "1%")}
    out = [{**wet, "state": s, "moisture": m} for s, every in moist.items() for m in every]
    hot = (("2575 ppm", "NO3-N"), ("11,400 ppm", "NO3"), ("1.2 %", "NO3"), ("900 ppm", "NO3-N"))
    for (level, ion), later in product(hot, ("300 ppm", "90 ppm", "ND", "<100 ppm", "0 ppm")):
        out.append({**DRY, **cow, "result": later, "tests": FIRST.format(level, ion), "tested": "2026-11-01"})
    for day in ("2025-10-01", "2023-01-01", "2019-05-05", "2027-02-01"):
        out.append({**DRY, **cow, "result": "150 ppm", "tested": day})
    return out


def _other_animals_water_and_standing() -> list[dict[str, str]]:
    others = ("horse", "mare", "donkey", "sheep", "ewes", "lambs", "goat", "nanny", "alpaca", "pigs")
    out = [{"result": r, **DRY, **WELL, "_class": a} for a, r in product(others, ("100 ppm", "1500 ppm"))]
    for water, ion in (("100 ppm", "NO3-N"), ("250 ppm", "NO3-N"), ("400 ppm", "NO3-N"), ("1,330 ppm", "NO3")):
        out += [
            {"result": "100 ppm", **DRY, **WELL, "_class": a, "water": water, "water_form": ion}
            for a in ("pregnant-cow", "open-cow")
        ]
    for level, animal in product(("700 ppm", "1300 ppm", "2500 ppm", "5000 ppm"), ("open-cow", "dry-cow", "growing")):
        out.append({"result": level, **DRY, "cores": "10", "state": "standing", "_class": animal})
    tables = ("nebraska", "south-dakota", "wyoming", "american-ag-lab", "kansas-farney")
    out += [{"result": "1900 ppm", **DRY, **WELL, "_class": "pregnant-cow", "table": t} for t in tables]
    return out


HURRIED = [
    *_written_hot(), *_averaged_or_unsaid(), *_swapped_stale_or_retested(), *_other_animals_water_and_standing()
]  # fmt: skip


def test_nothing_that_kills_is_cleared_however_it_is_told() -> None:
    assert len(HURRIED) > 200
    cleared = [told for told in HURRIED if verdict(ON, **told) == "wait"]
    assert cleared == []


@pytest.mark.parametrize("animal", ["pregnant-cow", "open-cow", "growing"])
def test_clean_hay_that_is_sampled_well_waits(animal: str) -> None:
    calm: list[dict[str, Any]] = [
        {"result": r, **DRY, **WELL}
        for r in ("ND", "<100 ppm", "0 ppm", "50 ppm", "120 ppm", "300 ppm", "500 ppm", "650 ppm")
    ]
    calm += [
        {"result": r, "form": f, "basis": "dry", **WELL}
        for r, f in (("1,000 ppm", "NO3"), ("0.25 %", "NO3"), ("0.3 %", "KNO3"), ("4000 ppm", "potassium nitrate"))
    ]
    calm += [
        {"result": r, "form": "nitrate nitrogen", "basis": "as received", "moisture": m, "state": s, **WELL}
        for r, m, s in (("250 ppm", "12%", "hay"), ("100 ppm", "65%", "silage"), ("60 ppm", "75%", "standing"))
    ]
    calm += [
        {"single_bales": "120, 180, 240 ppm", **DRY, "bales": "3"},
        {"single_bales": ", ".join(["150"] * 20) + " ppm", **DRY, "bales": "100"},
        {"result": "200 ppm", **DRY, **WELL, "tests": FIRST.format("260 ppm", "NO3-N"), "tested": "2026-11-01"},
        {"result": "300 ppm", **DRY, **WELL, "water": "10 ppm", "water_form": "NO3-N"},
    ]
    assert [told for told in calm if verdict(ON, _class=animal, **told) != "wait"] == []
