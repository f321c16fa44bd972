"""What a phone-in about grazing is refused for: all that is wrong, in one line that says what to do."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.forage import grazed_nitrate, grazing, minerals, prussic
from sideoats.forage.wheat_pasture import TESTED, slipped


def check_standing(values: dict[str, Any]) -> None:
    """Refuse what contradicts itself, lacks its basis, or cannot be: all of it in one line."""
    wrong = [*_contradictions(values), *_impossible(values), *_samples(values)]
    if wrong:
        raise InputError("; ".join(wrong), where="graze-prussic", todo="keep them off until it is right")


def _contradictions(values: dict[str, Any]) -> list[str]:
    out = [
        f"{name} is given although {flag} is no, expected {flag}=yes with it, or no {name}"
        for flag, dates in grazing.TOLD.items()
        for name in dates
        if values[flag] is False and values[name] is not None
    ]
    if values["shoot_height"] is not None and values["new_shoots"] is False:
        out.append(
            "shoot_height is given although new_shoots is no, expected new_shoots=yes with it, or no shoot_height"
        )
    return out


def _impossible(values: dict[str, Any]) -> list[str]:
    """Heights that the plant cannot reach: feet told for inches, most often."""
    out = []
    for name in ("height", "shoot_height"):
        told = values[name]
        if told is not None and np.isnan(grazing.possible_height(load(), [values["species"]], np.array([told]))[0]):
            out.append(
                f"{name} {told:g} in ({told / 12:.3g} ft) is more than {values['species']} reaches, expected"
                " inches such as '22 in'"
            )
    if None not in (values["height"], values["shoot_height"]) and values["shoot_height"] > values["height"]:
        out.append(
            f"shoot_height {values['shoot_height']:g} in is more than the height of {values['height']:g} in,"
            " expected the height of the new shoots themselves"
        )
    return out


def _samples(values: dict[str, Any]) -> list[str]:
    """Results without form, basis or moisture, and samples that were not fresh."""
    band = load().by_id["forage/moisture.standing"]
    between = f"expected {100 * band.low:.0f} to {100 * band.high:.0f} %"
    wrong = "a drier sample was dried and tells nothing of its {what}, or its dry matter was written for its moisture"
    out = []
    if values["hcn"] is not None:
        if values["hcn_basis"] is None:
            out.append(f"hcn_basis is missing, expected wet or dry: {prussic.WHY}")
        if values["moisture"] is None:
            out.append(f"moisture is missing, expected that of the fresh sample, such as 75%: {prussic.WHY}")
        elif not grazed_nitrate.fresh_sample(load(), values["moisture"]):
            out.append(
                f"moisture {100 * values['moisture']:.3g} % is not that of green forage, {between}: "
                + wrong.format(what="prussic acid")
            )
    return out + grazed_nitrate.slips(values)


def check_wheat(values: dict[str, Any]) -> None:
    """Refuse what wheat cannot hold, a mineral both eaten and not, a nitrate result that cannot be read."""
    wrong = grazed_nitrate.slips(values)
    for name in TESTED:
        if values[name] is not None:
            out, low, high = slipped(load(), name, values[name])
            if out:
                wrong.append(
                    f"{name} {100 * values[name]:.3g} % is not what growing wheat holds, expected {low:g} to {high:g} %"
                )
    amounts = [name for name in ("mineral_magnesium", "mineral_eaten") if values[name]]
    if values["mineral"] is False and amounts:
        wrong.append(f"{' and '.join(amounts)} given although mineral is no, expected mineral=yes with it")
    wrong += _too_much(values)
    if wrong:
        raise InputError(
            "; ".join(wrong), where="wheat-pasture-hazard", todo="look at the slip again: a decimal point?"
        )


def _too_much(values: dict[str, Any]) -> list[str]:
    """Magnesium that no animal takes from a mineral: the tag's figure or the ounces have lost their point."""
    if values["mineral_magnesium"] is None or values["mineral_eaten"] is None:
        return []
    grams = float(minerals.magnesium_supplied(values["mineral_eaten"], 100 * values["mineral_magnesium"]))
    most = load().value("forage/tetany.mineral.most")
    if grams <= most:
        return []
    return [
        f"mineral_magnesium {100 * values['mineral_magnesium']:.3g} % of {values['mineral_eaten']:g} oz is"
        f" {grams:.0f} g of magnesium a day, more than cattle eat, expected at most {most:g} g"
    ]
