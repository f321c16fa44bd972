"""Prussic acid (hydrogen cyanide, HCN) in sorghums: moisture bases, classes, heights and waits.

The height and wait rules of publishers disagree; a preset of the district ("usual" or "cautious") picks one figure for
each rule, and where several rules apply the last date counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.facts import Fact
from sideoats.forage.nitrate import ROUNDING

Floats = NDArray[np.float64]
BASES = ("wet", "dry")
WHY = "200 ppm of fresh forage at 25 % dry matter is 800 ppm of dry matter: the bases are classed apart"


def convert_basis(value: ArrayLike, dry_matter: ArrayLike, *, given: str, wanted: str) -> Floats:
    """HCN between the fresh and the dry-matter basis: ``dry = wet / dry matter``.

    Parameters
    ----------
    value : [ppm]
    dry_matter : share of the fresh weight, above 0 to 1
    given, wanted : "wet" or "dry"

    Raises
    ------
    InputError : a basis that is not stated or not known, dry matter that is not a share where it is needed
    """
    for basis in (given, wanted):
        if basis not in BASES:
            raise InputError(f"{basis!r} is not a basis", where="basis", expected="wet or dry", todo=WHY)
    values = np.asarray(value, dtype=np.float64)
    if given == wanted:
        return values
    share = np.broadcast_to(np.asarray(dry_matter, dtype=np.float64), values.shape)
    held = ~np.isnan(values)
    if (held & ~((share > 0) & (share <= 1))).any():
        raise InputError(
            "is not stated", where="moisture", expected="the moisture of the sample, such as 75%", todo=WHY
        )
    return values / share if wanted == "dry" else values * share


@dataclass(frozen=True)
class Ladder:
    """One publisher's classes of HCN; `basis` is "wet" or "dry"."""

    fact_id: str
    basis: str
    provenance: str
    bounds: Floats
    labels: tuple[str, ...]

    @classmethod
    def of(cls, fact: Fact) -> Ladder:
        """The ladder of a fact under ``forage/prussic_class``, whose unit reads "ppm HCN wet" or "ppm HCN dry"."""
        basis = fact.unit.split()[-1]
        return cls(
            fact.id, basis, fact.provenance, np.array(fact.column("from"), np.float64), tuple(fact.column("label"))
        )

    def classify(self, ppm: ArrayLike) -> NDArray[np.int64]:
        """Class index by half-open bounds [ppm on the ladder's own basis]; -1 where unknown."""
        values = np.asarray(ppm, dtype=np.float64)
        index = np.searchsorted(self.bounds * (1 - ROUNDING), np.nan_to_num(values), side="right") - 1
        return np.where(np.isnan(values), -1, np.maximum(index, 0)).astype(np.int64)


@dataclass(frozen=True)
class Preset:
    """Heights [in] and waits [day] of one preset by height group ("sudan", "sorghum")."""

    height: dict[str, float]
    frost_wait: dict[str, float]
    new_shoot_height: dict[str, float]
    new_shoot_wait: dict[str, float]
    rain_wait: dict[str, float]

    @classmethod
    def of(cls, fact: Fact) -> Preset:
        """The preset of a fact under ``forage/prussic.preset``."""
        held = {row[0]: {"sudan": float(row[1]), "sorghum": float(row[2])} for row in fact.rows}
        return cls(**held)


def by_group(table: dict[str, float], groups: Sequence[Any]) -> Floats:
    """(n,) the figure for each height group; NaN for species without prussic acid ("none")."""
    return np.array([table.get(str(g), np.nan) for g in groups], dtype=np.float64)


@dataclass(frozen=True)
class Standing:
    """What stands against grazing today, (n,) each.

    Attributes
    ----------
    too_short, frost, shoots, rain : True where that rule bars grazing today
    days_left : days until the waits have passed; 0 where none runs, NaN where only height is lacking or nothing is
    known
    height_needed : [in], the taller of the rules that apply
    """

    too_short: NDArray[np.bool_]
    frost: NDArray[np.bool_]
    shoots: NDArray[np.bool_]
    rain: NDArray[np.bool_]
    days_left: Floats
    height_needed: Floats

    @property
    def barred(self) -> NDArray[np.bool_]:
        """True where any rule bars grazing today."""
        return self.too_short | self.frost | self.shoots | self.rain


def standing_forage(
    groups: Sequence[Any],
    preset: Preset,
    height: ArrayLike,
    days_since_frost: ArrayLike,
    days_since_rain: ArrayLike,
    new_shoots: ArrayLike,
    shoot_height: ArrayLike = np.nan,
) -> Standing:
    """Apply the height, frost, new-shoot and drought-breaking-rain rules of one preset.

    Parameters
    ----------
    groups : (n,) "sudan", "sorghum" or "none"
    height : [in] of what will be grazed; NaN counts as too short for a species that carries prussic acid
    days_since_frost : NaN where there was none
    days_since_rain : days since rain that ended a drought; NaN where there was none
    new_shoots : True where new shoots or tillers stand after the frost or rain: grazed first, and the most dangerous
    shoot_height : [in] of those shoots, which tall old growth says nothing about; NaN counts as too short
    """
    tall = np.atleast_1d(np.asarray(height, dtype=np.float64))
    shoots = np.broadcast_to(np.asarray(new_shoots, bool), tall.shape)
    frost_age = np.broadcast_to(np.asarray(days_since_frost, np.float64), tall.shape)
    rain_age = np.broadcast_to(np.asarray(days_since_rain, np.float64), tall.shape)
    risky = np.array([str(g) in preset.height for g in groups], dtype=bool)
    plain, young = by_group(preset.height, groups), by_group(preset.new_shoot_height, groups)
    needed = np.where(shoots, np.fmax(plain, young), plain)
    short = risky & ~(tall >= plain)

    def left(wait: dict[str, float], age: Floats) -> Floats:
        return np.where(risky & ~np.isnan(age), np.maximum(by_group(wait, groups) - age, 0.0), 0.0)

    frost_left = left(preset.frost_wait, frost_age)
    rain_left = left(preset.rain_wait, rain_age)
    # new shoots stay dangerous until they are tall themselves; a frost that kills them starts their own wait
    shoot_bar = risky & shoots & ~(np.broadcast_to(np.asarray(shoot_height, np.float64), tall.shape) >= young)
    frost_left = np.where(shoots, np.fmax(frost_left, left(preset.new_shoot_wait, frost_age)), frost_left)
    days = np.fmax(frost_left, rain_left)
    return Standing(short, frost_left > 0, shoot_bar, rain_left > 0, days, needed)
