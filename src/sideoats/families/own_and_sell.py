"""Own and sell: animals that could be sold today are kept, fed and sold later.

Money is counted over the baseline, all of them sold today. What belongs to every such question stands here: what one
figure would have to be for the answer to turn, what the answer is when one figure moves, and the risk figures that rest
on the ruling. The family knows no sentence and no publisher.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Choice
from sideoats.words import Measured, Paid, Parts, Said, say

Floats = NDArray[np.float64]
Quantities = dict[str, tuple[Any, Any]]
SALE = "sale"  # the kind of act whose trouble a gain must be worth


def net_worth_of(stated: Floats, stake: Floats, usual: float) -> Floats:
    """(place,) net worth [USD]: as stated, else the `usual` one, or the worth of the animals where that is more.

    Who keeps animals worth more than a usual farm is no usual farm; NaN, the district's own, where their worth is not
    known.
    """
    return np.where(np.isfinite(stated), stated, np.where(stake > usual, stake, np.nan))


def turning_points(result: Callable[..., Floats], base: Mapping[str, Any], inputs: Sequence[str]) -> dict[str, Floats]:
    """Input -> (place,) its value at which `result` is 0, the rest as in `base`; NaN where none above zero turns it.

    Parameters
    ----------
    result : keyword inputs -> (place,) money, linear in each of `inputs`
    base : the inputs
    """
    here, found = result(**base), {}
    for name in inputs:
        now = np.asarray(base[name], float)
        slope = (here - result(**{**base, name: now / 2})) / np.where(now == 0, np.nan, now / 2)
        with np.errstate(divide="ignore", invalid="ignore"):
            turn = now - here / slope
        found[name] = np.where(np.isfinite(turn) & (turn > 0), turn, np.nan)
    return found


def turning_said(
    turns: Mapping[str, Floats], base: Mapping[str, Any], units: Mapping[str, str], here: Floats
) -> Callable[[int], Said]:
    """Row -> what alone would turn the answer: ``turn.INPUT.under`` or ``.over`` for each that does.

    Parameters
    ----------
    turns : from `turning_points`
    base : the inputs as they are
    units : unit of each input
    here : (place,) the result as things are: what gains can be turned to a loss, and the other way about
    """

    def said(row: int) -> Said:
        parts = []
        for name, turn in turns.items():
            if np.isfinite(turn[row]):
                side = "under" if turn[row] < np.broadcast_to(base[name], turn.shape)[row] else "over"
                shown = Paid if units[name].startswith("USD") else Measured
                parts.append(say(f"turn.{name}.{side}", x=shown(float(turn[row]), unit=units[name])))
        way = "loses" if here[row] > 0 else "pays"
        return say(f"turn.one_alone_{way}", parts=Parts(tuple(parts)))

    return said


def sensitivity(
    result: Callable[..., Floats], base: Mapping[str, Any], changes: Mapping[str, tuple[str, float]], unit: str
) -> Quantities:
    """`result` with one input moved and the rest as in `base`, as quantities ``if_CHANGE``.

    Parameters
    ----------
    result : keyword inputs -> (place,) money
    base : the inputs
    changes : name of the change -> (input, factor)
    unit : of `result`
    """
    out: Quantities = {}
    for name, (moved, factor) in changes.items():
        out[f"if_{name}"] = (result(**{**base, moved: np.asarray(base[moved], float) * factor}), unit)
    return out


def risk_figures(
    options: Sequence[Choice], barred: NDArray[np.bool_], unit: str, base: str
) -> Callable[[Any], Quantities]:
    """From the ruling: worst tenth and certainty equivalent of every open option but `base`.

    Parameters
    ----------
    barred : (place, option)
    """

    def of(ruling: Any) -> Quantities:
        out: Quantities = {}
        for at, option in enumerate(options):
            if option.key != base:
                open_ = ~barred[:, at]
                worst = ruling.figures.worst_tenth[:, at]
                out[f"worst_tenth_{option.key}"] = (np.where(open_, worst, np.nan), unit)
                out[f"certainty_equivalent_{option.key}"] = (np.where(open_, ruling.certain[:, at], np.nan), unit)
        return out

    return of


def even_odds(gain: Floats, barred: NDArray[np.bool_], owning: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """(place,) True where the best way of owning brings something on average, but in under a share `least` of draws.

    Parameters
    ----------
    gain : (place, draw, option) over selling today
    barred : (place, option)
    owning : (option,) those that keep the animals
    """
    mean, rows = np.nan_to_num(gain.mean(axis=1), nan=-np.inf), np.arange(len(gain))
    best = np.where(owning & ~barred, mean, -np.inf).argmax(axis=1)
    often = (gain[rows, :, best] > 0).mean(axis=1)
    return np.asarray((mean[rows, best] > 0) & ~barred[rows, best] & owning[best] & (often < least))


def turns_inside(
    least: Floats, most: Floats, span: tuple[float, float], priced: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """(place,) True where nobody gave a later price and the choice turns inside what the published seasons allow.

    Parameters
    ----------
    least, most : (place,) money of the act at the ends of the season's `span` of prices
    priced : (place,) the later price is known
    """
    turns = (least > 0) != (most > 0)
    return np.asarray(turns & ~priced & (span[0] < span[1]))


def without(quantities: Quantities, rows: NDArray[np.bool_]) -> Quantities:
    """`quantities` without those of `rows`, of which nothing can be said yet."""
    return {
        name: (np.where(rows, "" if np.asarray(values).dtype.kind == "U" else np.nan, values), unit)
        for name, (values, unit) in quantities.items()
    }
