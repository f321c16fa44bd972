"""Grain before the combine and behind it: yield from heads counted, and bushels left on the ground.

Printed shortcuts hide a kernel weight in their constant and are bound to the length of row they were made for. They are
kept as named methods that refuse another length: a reprint of the first one with heads per 5 ft overstates five times.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.wheat.seed import GRAMS_PER_POUND, SQUARE_FEET_PER_ACRE

Floats = NDArray[np.float64]
WHEAT_BUSHEL_LB = 60.0


class Shortcut(NamedTuple):
    """A printed formula: heads counted over `row_ft` x kernels a head x `constant` / row spacing."""

    row_ft: float
    constant: float
    source: str


SHORTCUTS = {
    "florida_2013": Shortcut(1.0, 0.48, "Univ. of Florida IFAS, northwest district, 10 May 2013"),
    "north_dakota_2000": Shortcut(3.0, 0.142, "North Dakota State Univ., Crop & Pest Report, 20 July 2000"),
}


def head_yield(
    heads_per_row_ft: ArrayLike, kernels_per_head: ArrayLike, row_in: ArrayLike, per_pound: ArrayLike
) -> Floats:
    """Wheat yield [bu/ac] from heads a foot of row, kernels a head, row spacing [in] and kernels a pound.

    h k 43,560 x 12 / (row x kernels/lb x 60), exact arithmetic.
    """
    kernels_per_acre = (
        np.asarray(heads_per_row_ft, np.float64)
        * np.asarray(kernels_per_head, np.float64)
        * SQUARE_FEET_PER_ACRE
        * 12.0
        / np.asarray(row_in, np.float64)
    )
    return kernels_per_acre / (np.asarray(per_pound, np.float64) * WHEAT_BUSHEL_LB)


def shortcut_yield(heads: float, row_ft: float, kernels_per_head: float, row_in: float, *, method: str) -> float:
    """Yield [bu/ac] by a printed shortcut.

    Parameters
    ----------
    heads : heads counted over `row_ft` of row
    kernels_per_head : for north_dakota_2000 spikelets x kernels a spikelet
    method : a key of `SHORTCUTS`

    Raises
    ------
    InputError : an unknown method, or another length of row than the formula was made for
    """
    if method not in SHORTCUTS:
        raise InputError(f"method {method!r} is not known", where="yield estimate", expected=", ".join(SHORTCUTS))
    row, constant, source = SHORTCUTS[method]
    if abs(row_ft - row) > 1e-9:
        raise InputError(
            f"heads over {row_ft:g} ft in a formula made for {row:g} ft ({source})",
            where="yield estimate",
            expected=f"heads over {row:g} ft of row",
            todo=f"it would come out {row_ft / row:.2g} times too high: count {row:g} ft, or give heads a foot",
        )
    return heads * kernels_per_head * constant / row_in


def implied_kernels_per_pound(method: str) -> float:
    """Kernels a pound that a printed shortcut takes for granted."""
    row, constant, _ = SHORTCUTS[method]
    return SQUARE_FEET_PER_ACRE * 12.0 / (constant * row * WHEAT_BUSHEL_LB)


def kernels_per_bushel_lost(per_pound: ArrayLike, bushel_lb: float = WHEAT_BUSHEL_LB) -> Floats:
    """Kernels on a square foot that are one bushel an acre, for kernels a pound."""
    return np.asarray(per_pound, np.float64) * bushel_lb / SQUARE_FEET_PER_ACRE


def kernels_per_pound(thousand_kernel_weight: ArrayLike) -> Floats:
    """Kernels a pound from the weight of a thousand [g]."""
    return 1000.0 * GRAMS_PER_POUND / np.asarray(thousand_kernel_weight, np.float64)


class Loss(NamedTuple):
    """Grain on the ground [bu/ac]: through the machine, and before it (shattered or dropped at the header)."""

    machine: Floats
    ahead: Floats

    @property
    def total(self) -> Floats:
        """Both together."""
        return self.machine + self.ahead


def combine_loss(
    behind: ArrayLike, ahead: ArrayLike, header_ft: ArrayLike, windrow_ft: ArrayLike, per_bushel: ArrayLike
) -> Loss:
    """Losses [bu/ac] from kernels on a square foot behind the machine and ahead of its discharge.

    What passes through the machine falls in the windrow only, so its excess is spread back over the header width.

    Parameters
    ----------
    behind : kernels a square foot in the windrow behind the machine
    ahead : kernels a square foot where the header has passed and the discharge has not
    header_ft, windrow_ft : widths [ft]
    per_bushel : kernels a square foot that are one bushel an acre

    References
    ----------
    Small grains loss method, smallgrains.org, June 2003.
    """
    b = np.asarray(ahead, np.float64)
    through = np.maximum(np.asarray(behind, np.float64) - b, 0.0)
    per = np.asarray(per_bushel, np.float64)
    return Loss(through * np.asarray(windrow_ft, np.float64) / np.asarray(header_ft, np.float64) / per, b / per)
