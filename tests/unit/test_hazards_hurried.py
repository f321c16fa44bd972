"""Hay, standing forage, wheat pasture and water told in a hurry, with what may be used to clear them: the day of other
hay, an edge, a state of growth, a forecast, a class that is spared, a bound. What kills is never cleared.

What should be stopped or asked is typed here from the sources: Clemson, ServiTech, Dairyland and Manitoba for nitrate,
18 to 30 in and 14 days for prussic acid, South Dakota, North Dakota and Montana for water.
"""

from __future__ import annotations

from itertools import product

import pytest

from sideoats.asking import ask
from sideoats.errors import InputError

Told = dict[str, str]
Asked = tuple[str, str, Told]
LOT = {"form": "NO3-N", "basis": "dry", "class": "pregnant-cow", "cores": "20", "bales": "60"}
FIRST = "on={}, result=2575 ppm, form=NO3-N, basis=dry, cores=12"
STAND = {"new_shoots": "no", "frost": "no", "drought_rain": "no", "stress": "no", "nitrogen": "usual",
         "class": "stockers", "height": "40 in"}  # fmt: skip
WHEAT = {"signs": "no", "lush": "no", "front": "no", "hungry": "no", "stress": "no", "nitrogen": "usual"}
WATER = {"nitrate": "10 ppm", "nitrate_form": "NO3-N", "sulfate": "200 ppm", "salts": "1900 ppm", "source": "pond",
         "algae": "no", "feed_sulfur": "0.15%", "class": "cow"}  # fmt: skip


def verdict(question: str, on: str, told: Told) -> str:
    try:
        return str(ask(question, {k: v for k, v in told.items() if v}, on=on, draws=20)["verdict"])
    except InputError as refusal:
        assert "\n" not in str(refusal)
        return "refused"


def _hay() -> list[Told]:
    """(tested, baled, day of the hot test): it may be of this hay."""
    days = (
        ("2026-11-01", "2026-10-20", "2026-10-01"), ("2026-11-01", "2026-10-20", "2026-09-20"),
        ("2026-11-01", "2026-10-20", "2026-10-21"), ("2026-11-01", "", "2026-08-12"), ("", "2026-10-20", "2026-08-12"),
        ("2026-10-01", "2026-10-20", "2026-08-12"), ("2026-11-01", "2027-10-20", "2026-08-12"),
        ("2026-11-01", "2026-11-09", "2026-08-12"), ("2025-11-01", "2025-10-20", "2025-10-10"),
        ("2026-11-01", "2026-09-15", "2026-08-12"),
    )  # fmt: skip
    out: list[Told] = [
        {**LOT, "result": low, "tested": tested, "baled": baled, "tests": FIRST.format(first)}
        for (tested, baled, first), low in product(days, ("300 ppm", "90 ppm", "ND"))
    ]
    new = {**LOT, "tested": "2026-11-01", "baled": "2026-10-20"}
    out += [{**new, "result": low, "tests": FIRST.format("2027-08-12")} for low in ("300 ppm", "ND")]
    out += [{**new, "result": low, "tests": FIRST.partition(", ")[2]} for low in ("300 ppm", "ND")]
    for one in ("1100", "1400", "1900"):  # nineteen clean cores and one hot one, or a hot bale among them
        out.append(
            {
                **new,
                "result": "300 ppm",
                "cores": "19",
                "tests": f"on=2026-11-01, result={one} ppm, form=NO3-N, basis=dry",
            }
        )
        bales = f"on=2026-11-01, single_bales={one} 4100 ppm, form=NO3-N, basis=dry"
        out.append({**new, "class": "open-cow", "result": "200 ppm", "cores": "40", "tests": bales})
    edges = ("1001 ppm NO3-N", "3001 ppm NO3", "700 ppm NO3-N", "5000 ppm NO3", "6001 ppm NO3", "0.31 % NO3",
             "0.5 % KNO3", "2100 ppm NO3-N", "0.0678 % NO3-N", "1000 ppm NO3-N")  # fmt: skip
    out += [{**new, "result": edge.rpartition(" ")[0], "form": edge.rpartition(" ")[2]} for edge in edges]
    out += [{**new, "class": "open-cow", "result": f"{v} ppm"} for v in (1501, 2000, 3500, 4000, 4001)]
    standing = {**LOT, "state": "standing", "hay": "sudan", "cores": "12", "result": "300 ppm"}
    more = (
        {"tested": "2026-10-20"}, {"tested": "2025-11-01"}, {"cores": "3"}, {"result": "680 ppm"},
        {"tested": "2026-11-05", "tests": FIRST.format("2026-11-01")},
    )  # fmt: skip
    return out + [{**standing, **each} for each in more]


def _standing() -> list[Told]:
    bad: tuple[Told, ...] = (
        {"height": "23 in"}, {"height": "2 ft", "new_shoots": "yes"}, {"new_shoots": "yes", "shoot_height": "23 in"},
        {"forecast": "date=2026-10-11, high=60 F, low=33 F"}, {"forecast": "date=2026-10-11, high=60 F, low=36 F"},
        {"forecast": "date=2026-10-10, high=60 F, low=30 F"}, {"forecast": "date=2026-10-16, high=50 F, low=28 F"},
        {"forecast": "date=2026-10-12, high=10 C, low=1 C"}, {"frost": "yes"}, {"frost": "", "days_since_frost": "13"},
        {"frost": "", "frost_date": "2026-10-01"}, {"turnout": "2026-10-12", "height": ""},
        {"hcn": "200 ppm", "hcn_basis": "wet", "moisture": "75%", "tested": "2026-10-08"},
        {"hcn": "501 ppm", "hcn_basis": "dry", "moisture": "75%", "tested": "2026-10-08"},
        {"drought_rain": "", "rain_date": "2026-09-27"},
        {"stress": "yes", "hcn": "ND", "hcn_basis": "wet", "moisture": "75%", "tested": "2026-10-08"},
    )  # fmt: skip
    out = [{**STAND, "species": s, **each} for s, each in product(("sudan", "haygrazer", "johnson grass", "milo"), bad)]
    return [*out, {**STAND, "species": "haygrazer", "height": "26 in", "new_shoots": "yes", "shoot_height": "26 in"}]


def _wheat() -> list[Told]:
    spared = (
        {"lush": "yes"}, {"front": "yes"}, {"lush": ""}, {"front": ""}, {"signs": ""}, {"signs": "yes"},
        {"potassium": "3.2%", "calcium": "0.32%", "magnesium": "0.15%"}, {"magnesium": "0.08%"}, {"hungry": "yes"},
        {"stress": "yes"}, {"nitrogen": "heavy"},
    )  # fmt: skip
    others = ("cow", "heifers", "pairs", "", "horse", "ewes")
    return [{**WHEAT, "class": "open-cow", **each} for each in spared] + [{**WHEAT, "class": a} for a in others]


def _water() -> list[Told]:
    bad: tuple[Told, ...] = (
        {"algae": "yes"}, {"nitrate": "101 ppm"}, {"nitrate": "450 ppm", "nitrate_form": "NO3"}, {"nitrate": "300 ppm"},
        {"nitrate": "1330 ppm", "nitrate_form": "NO3"}, {"nitrate": ""}, {"nitrate": "", "nitrate_form": ""},
        {"nitrate_form": ""}, {"sulfate": "1200 ppm"}, {"sulfate": "0.2 %", "salts": "0.3 %"},
        {"sulfate": "2000 ppm", "salts": "2600 ppm"}, {"sulfate": "3001 ppm", "salts": "4000 ppm"}, {"sulfate": ""},
        {"salts": ""}, {"salts": "5000 ppm"}, {"salts": "7,000 ppm"}, {"salts": "0.6 %"}, {"salts": "12000 ppm"},
        {"sulfate": "950 ppm", "salts": "100 ppm"}, {"class": "horse"}, {"class": "ewes"}, {"tested": "2026-04-01"},
        {"feed_sulfur": "0.39%"}, {"feed_sulfur": "0.45%"}, {"class": "calves", "sulfate": "600 ppm"},
        {"class": "finishing", "sulfate": "900 ppm", "feed_sulfur": "0.24%"}, {"class": "", "sulfate": "700 ppm"},
        {"nitrate": "100 mg/L"}, {"nitrate": "1.400 ppm", "nitrate_form": "NO3"},
        {"salts": "1500 uS/cm"}, {"sulfate": "250"}, {"sulfate": "1.200 ppm"},
        {"class": "stockers", "grain_fed": "yes", "sulfate": "1000 ppm", "feed_sulfur": "0.22%"}, {"salts": "1,5 ppm"},
    )  # fmt: skip
    return [{**WATER, **each} for each in bad]


HURRIED: list[Asked] = [
    *(("hay-nitrate", "2026-11-10", told) for told in _hay()),
    *(("graze-prussic", "2026-10-10", told) for told in _standing()),
    *(("wheat-pasture-hazard", "2026-12-05", told) for told in _wheat()),
    *(("stock-water", on, told) for told in _water() for on in ("2026-07-20", "2027-01-20")),
    *(
        ("stock-water", "2026-07-20", {**WATER, "source": source, "algae": ""})
        for source in ("pond", "creek", "well", "")
    ),
    # under the line by themselves, and over it with hay as hay is
    *(
        ("stock-water", "2026-07-20", {**WATER, "nitrate": level, "class": animal})
        for level, animal in (("90 ppm", "pregnant-cow"), ("75 ppm", "heifers"), ("60 ppm", "calf"), ("90 ppm", ""))
    ),
    *(
        (
            "wheat-pasture-hazard",
            "2027-02-20",
            {**WHEAT, "front": "yes", "hay_first": "yes", "class": animal, "lush": lush},
        )
        for animal in ("stockers", "calves", "pairs")
        for lush in ("yes", "no")
    ),
]


def test_nothing_that_kills_is_cleared_however_it_is_told() -> None:
    assert len(HURRIED) >= 200
    assert [asked for asked in HURRIED if verdict(*asked) in ("wait", "act")] == []


def _calm() -> list[Asked]:
    lot = {**LOT, "tested": "2026-09-20", "baled": "2026-09-05", "result": "300 ppm"}
    clean = "on=2026-09-10, result=350 ppm, form=NO3-N, basis=dry, cores=12"
    hay: tuple[Told, ...] = (
        {}, {"result": "ND"}, {"result": "650 ppm"}, {"result": "1,200 ppm", "form": "NO3"},
        {"result": "3000 ppm", "form": "NO3"}, {"result": "677 ppm", "class": ""},
        {"result": "900 ppm", "class": "open-cow", "hay": "brome", "cores": "24"},
        {"tests": FIRST.format("2025-08-12")},
        {"tests": clean}, {"water": "10 ppm", "water_form": "NO3-N"}, {"water": "80 ppm", "water_form": "NO3"},
        {"result": "250 ppm", "basis": "as-fed", "moisture": "12%"}, {"result": "0.03 %"}, {"bales": "8", "cores": "8"},
        {"result": "", "single_bales": "120, 180, 240 ppm", "bales": "3", "cores": ""},
        {"result": "500 ppm", "class": "stockers"}, {"result": "400 ppm", "class": "pairs"}, {"class": "bulls"},
        {"state": "standing", "cores": "12", "tested": "2026-09-28", "baled": "", "hay": "sudan"},
    )  # fmt: skip
    out: list[Asked] = [("hay-nitrate", "2026-10-01", {**lot, **each}) for each in hay]
    for species, height in product(("sudan", "haygrazer", "cane", "johnson grass"), ("24 in", "30 in", "5 ft")):
        out.append(("graze-prussic", "2026-07-20", {**STAND, "species": species, "height": height}))
    mild = "date=2026-09-26, high=80 F, low=58 F; date=2026-09-27, high=80 F, low=55 F"
    shoots = {"new_shoots": "yes", "shoot_height": "31 in", "height": "32 in"}
    out += [
        ("graze-prussic", "2026-07-20", {**STAND, "species": "haygrazer", **shoots}),
        ("graze-prussic", "2026-09-25", {**STAND, "species": "sudan", "forecast": mild}),
        ("graze-prussic", "2026-10-30", {**STAND, "species": "sudan", "frost": "", "frost_date": "2026-10-14"}),
    ]
    strong = {"mineral": "yes", "mineral_magnesium": "14%", "mineral_eaten": "4 oz/day"}
    wheat: tuple[Told, ...] = (
        {"class": "stockers"}, {"class": "calves", "protein": "24%"}, {"class": "bulls"}, {"class": "open-cow"},
        {"class": "open-cow", "hay_first": "yes"}, {"class": "pairs", **strong},
    )  # fmt: skip
    out += [("wheat-pasture-hazard", "2026-12-05", {**WHEAT, **each}) for each in wheat]
    water: tuple[Told, ...] = (
        {}, {"class": "pairs"}, {"class": "stockers", "sulfate": "600 ppm"}, {"source": "well"},
        {"nitrate": "60 ppm"}, {"sulfate": "", "salts": "400 ppm", "nitrate": "", "nitrate_form": ""},
        {"salts": "3,200 ppm"}, {"class": "calf", "sulfate": "250 ppm"},
    )  # fmt: skip
    return out + [("stock-water", on, {**WATER, **each}) for each, on in product(water, ("2026-07-20", "2027-01-20"))]


@pytest.mark.parametrize("asked", _calm(), ids=lambda asked: f"{asked[0]}")
def test_what_is_calm_is_cleared(asked: Asked) -> None:
    assert verdict(*asked) == ("act" if asked[0] == "graze-prussic" else "wait")


def test_there_are_fifty_calm_ones() -> None:
    assert len(_calm()) >= 50
