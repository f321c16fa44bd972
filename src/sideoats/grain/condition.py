"""Condition of stored grain: how wet it may be, how long it keeps, whether it is heating.

The tables are facts (`grain/moisture_limit...`, `grain/allowable_days...`); these functions only look them up, always
towards the safe side: between two printed cells the shorter time is taken, and nothing is read beyond the printed edge.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.facts import Fact

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

INSIDE, DRIER, BEYOND, UNKNOWN = range(4)


def moisture_limit(table: Fact, months: ArrayLike) -> Floats:
    """Highest moisture [%] at which grain may be held for so many months.

    `table` has columns ``beyond_months`` and ``moisture``: each row holds for storage longer than that many months.
    """
    time = np.asarray(months, np.float64)
    out = np.full(time.shape, np.nan)
    for beyond, limit in sorted(zip(table.column("beyond_months"), table.column("moisture"), strict=True)):
        out = np.where(time > beyond, float(limit), out)
    return out


def allowable_days(moisture: ArrayLike, temperature: ArrayLike, table: Fact) -> tuple[Floats, NDArray[np.int8]]:
    """Days that grain keeps at a moisture [%] and temperature [degF], and where in the table that was found.

    Parameters
    ----------
    moisture, temperature : broadcast against each other
    table : first column ``moisture``, the other columns temperatures [degF]; 999 = longer than the table prints

    Returns
    -------
    days : from the next moister row and the next warmer column; infinite where the cell is printed as longer than the
        table goes; NaN unless the code is INSIDE
    code : INSIDE; DRIER than the first row (the table sets no limit); BEYOND the wettest row or warmest column (off the
        table on the unsafe side); UNKNOWN where moisture or temperature is NaN
    """
    wet, warm = np.broadcast_arrays(np.asarray(moisture, np.float64), np.asarray(temperature, np.float64))
    rows = np.array(table.column("moisture"), np.float64)
    heads = np.array([float(c) for c in table.columns[1:]])
    cells = np.array([row[1:] for row in table.rows], np.float64)
    unknown = np.isnan(wet) | np.isnan(warm)
    row = np.searchsorted(rows, np.where(unknown, rows[0], wet), side="left")
    head = np.searchsorted(heads, np.where(unknown, heads[0], warm), side="left")
    beyond = (row >= rows.size) | (head >= heads.size)
    found = cells[np.minimum(row, rows.size - 1), np.minimum(head, heads.size - 1)]
    drier = wet < rows[0]
    code = np.where(unknown, UNKNOWN, np.where(drier, DRIER, np.where(beyond, BEYOND, INSIDE))).astype(np.int8)
    days = np.where(found >= 999, np.inf, found)
    return np.asarray(np.where(code == INSIDE, days, np.nan)), code


def warm_days(moisture: ArrayLike, temperature: ArrayLike, table: Fact, dry: Fact) -> Floats:
    """Days that grain keeps in heat beyond the warmest column of the table, or drier than its first row and that warm.

    Parameters
    ----------
    moisture, temperature : broadcast against each other [%], [degF]
    table : as for `allowable_days`; its warmest column is halved for each 10 degF above it
    dry : columns ``points_drier`` than the first row of the table and ``days`` at its warmest column; between them the
        logarithm runs straight, and anything drier keeps no longer than the driest

    Returns
    -------
    days : infinite where it is drier than the table and no warmer than its warmest column, where the moisture limit
        alone holds; NaN where moisture or temperature is not known, or it is wetter than the table
    """
    wet, warm = np.broadcast_arrays(np.asarray(moisture, np.float64), np.asarray(temperature, np.float64))
    rows, top = np.array(table.column("moisture"), np.float64), float(table.columns[-1])
    cells = np.array([row[-1] for row in table.rows], np.float64)
    at = np.searchsorted(rows, np.nan_to_num(wet), side="left").clip(0, rows.size - 1)
    points, kept = (np.array(dry.column(name), np.float64) for name in ("points_drier", "days"))
    drier = np.exp(np.interp(rows[0] - wet, points, np.log(kept)))
    base = np.where(wet < rows[0], drier, cells[at])
    days = base * 0.5 ** (np.maximum(warm - top, 0.0) / 10.0)
    free = (wet < rows[0]) & (warm <= top)
    return np.asarray(np.where(wet > rows[-1], np.nan, np.where(free, np.inf, days)))


def is_heating(stated: ArrayLike, temperature: ArrayLike, earlier: ArrayLike, rise: float) -> Bools:
    """True where the grain is said to be heating, or has warmed by `rise` [degF] or more since the earlier reading.

    Warming that the weather explains should be left out by the person who reads it: give no earlier reading then.
    """
    gained = np.asarray(temperature, np.float64) - np.asarray(earlier, np.float64)
    return np.asarray(np.asarray(stated, bool) | (np.nan_to_num(gained, nan=-np.inf) >= rise))


def wheat_grade(
    table: Fact,
    test_weight: ArrayLike,
    *,
    heat_damage: ArrayLike = np.nan,
    damage: ArrayLike = np.nan,
    foreign: ArrayLike = np.nan,
    shrunken: ArrayLike = np.nan,
) -> NDArray[np.int8]:
    """U.S. grade number 1 to 5 of wheat from the factors known; 6 stands for U.S. Sample grade, 0 where none is known.

    Parameters
    ----------
    table : fact `grain/wheat_grade`
    test_weight : [lb/bu]; the others are percent of the sample, NaN where not measured
    """
    given = [np.asarray(x, np.float64) for x in (test_weight, heat_damage, damage, foreign, shrunken)]
    factors = np.broadcast_arrays(*given)
    names = ("test_weight", "heat_damage", "damage_total", "foreign_material", "shrunken_broken")
    limits: dict[str, Sequence[Any]] = {name: table.column(name) for name in (*names, "defects")}
    parts = np.stack([np.nan_to_num(f) for f in factors[2:]])
    any_known = ~np.isnan(np.stack(factors)).all(axis=0)
    grade = np.full(factors[0].shape, 6, np.int8)
    for at in reversed(range(len(table.rows))):
        meets = np.isnan(factors[0]) | (factors[0] >= limits["test_weight"][at])
        for name, values in zip(names[1:], factors[1:], strict=True):
            meets &= np.isnan(values) | (values <= limits[name][at])
        meets &= parts.sum(axis=0) <= limits["defects"][at]
        grade = np.where(meets, np.int8(table.rows[at][0]), grade)
    return np.where(any_known, grade, np.int8(0)).astype(np.int8)
