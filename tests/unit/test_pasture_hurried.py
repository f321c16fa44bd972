"""Turnout told in a hurry: what kills is never cleared, however it is told; what is calm is not cried over.

What should be stopped or asked is typed here from the sources: prussic acid by height (18 to 30 in), frost (to 14
days), drought and new shoots; nitrate by stress, nitrogen and test; bloat by growth, front and hunger; tetany by
K/(Ca+Mg) over 2.2, magnesium under 0.1 % and what a cow eats of it.
"""

from __future__ import annotations

from datetime import date
from itertools import product

import pytest

from sideoats.asking import ask
from sideoats.errors import InputError

ON = date(2026, 11, 10)
SAFE = {"new_shoots": "no", "frost": "no", "drought_rain": "no", "stress": "no", "nitrogen": "usual"}
EASY = {"signs": "no", "lush": "no", "front": "no", "hungry": "no", "stress": "no", "nitrogen": "usual"}
AT_RISK = {"potassium": "3.2%", "calcium": "0.32%", "magnesium": "0.15%"}
Told = dict[str, str]


def answered(question: str, told: Told) -> tuple[str, bool]:
    """The verdict, and whether it bears the day that it needs."""
    try:
        call = ask(question, told, on=ON, draws=20)
    except InputError as refusal:
        assert "\n" not in str(refusal)
        return "refused", True
    dated = call["act_by"] if call["verdict"] in ("stop", "act") else call["look_by"]
    return str(call["verdict"]), bool(dated)


def _standing() -> list[Told]:
    sorghums = ("sudan", "haygrazer", "cane", "johnson grass", "milo", "shattercane", "Columbus grass")
    tall = {"height": "40 in", **SAFE}
    out: list[Told] = [
        {"species": s, **{k: v for k, v in tall.items() if k != gone}} for s, gone in product(sorghums, tall)
    ]
    bad = (
        {"height": "6 in"}, {"height": "1 ft"}, {"height": "15"}, {"height": "45 cm"}, {"frost": "yes"},
        {"frost": "", "days_since_frost": "2"}, {"frost": "", "frost_date": "2026-11-09"}, {"new_shoots": "yes"},
        {"frost": "", "frost_date": "2025-11-01"}, {"frost": "", "frost_date": "2026-12-01"}, {"stress": "yes"},
        {"drought_rain": "yes"}, {"drought_rain": "", "days_since_rain": "3"}, {"class": "mare"}, {"class": "goats"},
        {"nitrogen": "manure"}, {"hcn": "900 ppm", "hcn_basis": "wet", "moisture": "75%"}, {"hcn": "900 ppm"},
        {"hcn": "190 ppm", "hcn_basis": "wet", "moisture": "25%"}, {"hcn_basis": "wet", "moisture": "75%"},
        {"nitrate": "1.2 %", "nitrate_form": "NO3", "nitrate_basis": "dry"}, {"nitrate": "3000 ppm"},
    )  # fmt: skip
    return out + [{"species": s, **tall, **more} for s, more in product(("sudan", "johnson grass", "milo"), bad)]


def _accumulators() -> list[Told]:
    plants = ("corn", "pearl millet", "hay millet", "oats", "wheat", "rye")
    rest = {k: v for k, v in SAFE.items() if k in ("drought_rain", "stress", "nitrogen")}
    out: list[Told] = [
        {"species": p, **{k: v for k, v in rest.items() if k != gone}} for p, gone in product(plants, rest)
    ]
    bad = (
        {"stress": "yes"}, {"nitrogen": "heavy"}, {"drought_rain": "", "days_since_rain": "4"},
        {"nitrate": "9,800 ppm", "nitrate_form": "NO3", "nitrate_basis": "dry"},
        {"nitrate_form": "NO3", "nitrate_basis": "dry"},
    )  # fmt: skip
    return out + [{"species": p, **rest, **more} for p, more in product(plants, bad)]


def _wheat() -> list[Told]:
    out: list[Told] = []
    for animal, gone in product(("stockers", "calves", "pairs", "cow", "bulls", ""), EASY):
        out.append({"class": animal, **AT_RISK, **{k: v for k, v in EASY.items() if k != gone}})
    bad = (
        {"signs": "yes"}, {"lush": "yes"}, {"front": "yes"}, {"hungry": "yes"}, {"hungry": "yes", "hay_first": "yes"},
        {"stress": "yes"}, {"nitrogen": "litter"},
        {"nitrate": "0.9 %", "nitrate_form": "NO3-N", "nitrate_basis": "dry"},
    )  # fmt: skip
    out += [{"class": animal, **EASY, **more} for animal, more in product(("stockers", "pairs", "cow", "bulls"), bad)]
    cows = (
        {}, AT_RISK, {**AT_RISK, "mineral": "yes"}, {**AT_RISK, "mineral": "yes", "mineral_magnesium": "5%"},
        {"magnesium": "0.08%"}, {"potassium": "3.2%", "calcium": "3.2%", "magnesium": "0.15%"},
        {"potassium": "3.2%", "calcium": "0.6%", "magnesium": "0.3%"}, {"mineral": "yes"},
        {**AT_RISK, "magnesium": "0.09%", "mineral_magnesium": "2%", "mineral_eaten": "2 oz/day"},
    )  # fmt: skip
    return out + [{"class": animal, **EASY, **more} for animal, more in product(("pairs", "cow", "heifers", ""), cows)]


HURRIED = [
    *(("graze-prussic", told) for told in (*_standing(), *_accumulators())),
    *(("wheat-pasture-hazard", told) for told in _wheat()),
]


def test_nothing_that_kills_is_cleared_however_it_is_told() -> None:
    assert len(HURRIED) > 200
    found = [(question, told, *answered(question, told)) for question, told in HURRIED]
    assert [row for row in found if row[2] in ("wait", "act") or not row[3]] == []


def _calm() -> list[tuple[str, Told]]:
    out: list[tuple[str, Told]] = []
    for species, height in product(("sudan", "haygrazer", "cane", "johnson grass", "milo"), ("31 in", "40 in", "4 ft")):
        out.append(("graze-prussic", {"species": species, "height": height, "class": "cow", **SAFE}))
    for species in ("sudan", "haygrazer", "cane"):
        out.append(
            (
                "graze-prussic",
                {
                    "species": species,
                    "height": "5 ft",
                    "class": "stockers",
                    **SAFE,
                    "frost": "",
                    "days_since_frost": "20",
                },
            )
        )
    for species, nitrogen in product(("corn", "pearl millet", "hay millet", "silage corn"), ("none", "recommended")):
        out.append(("graze-prussic", {"species": species, **SAFE, "nitrogen": nitrogen}))
    clean = {"nitrate": "400 ppm", "nitrate_form": "NO3-N", "nitrate_basis": "dry", "tested": "2026-11-04"}
    for species in ("corn", "hay millet", "silage corn"):
        out.append(("graze-prussic", {"species": species, "drought_rain": "no", "stress": "yes", **clean}))
    for animal, protein in product(("stockers", "calves", "steers", "bulls"), ("", "18%", "24%", "28%")):
        out.append(("wheat-pasture-hazard", {"class": animal, **EASY, "protein": protein}))
    fine = {"potassium": "2.2%", "calcium": "0.45%", "magnesium": "0.22%", "tested": "2026-11-04"}
    strong = {"mineral": "yes", "mineral_magnesium": "14%", "mineral_eaten": "4 oz/day"}
    for animal, more in product(("pairs", "dry-cow", "heifers"), (fine, strong)):
        out.append(("wheat-pasture-hazard", {"class": animal, **EASY, **more}))
    return out


@pytest.mark.parametrize(("question", "told"), _calm())
def test_what_is_calm_is_cleared_with_its_day(question: str, told: Told) -> None:
    assert answered(question, told) == ("act" if question == "graze-prussic" else "wait", True)


def test_there_are_fifty_calm_ones() -> None:
    assert len(_calm()) >= 50
