"""What every formula of this room does with its arrays: take anything as float64, and run over large arrays in blocks.

Thirty years of two thousand stations are 22 million values; a formula with twenty intermediate arrays would need 3.5 GB
and spend its time on memory. In blocks the result is the same to the last bit, and the peak is the result itself.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
BLOCK = 8_192  # float64 values of one intermediate array: 64 KiB stay in the cache and below malloc's mmap threshold


def floats(given: ArrayLike) -> Floats:
    """Anything array-like as a float64 array."""
    return np.asarray(given, dtype=np.float64)


def by_blocks(
    function: Callable[..., Floats],
    *arrays: ArrayLike,
    block: int = BLOCK,
    workers: int = 1,
    **fixed: Any,
) -> Floats:
    """``function(*arrays, **fixed)`` for an elementwise function of broadcasting arrays.

    Parameters
    ----------
    function : takes float64 arrays that broadcast together and returns their elementwise result
    arrays : broadcast against each other; only axes along which an array varies are ever expanded
    block : elements a block
    workers : threads; the result does not depend on it

    Returns
    -------
    float64 array of the broadcast shape (a 0-d array for scalars)
    """
    given = [np.asarray(a, dtype=np.float64) for a in arrays]
    shape = np.broadcast_shapes(*(a.shape for a in given))
    size = int(np.prod(shape, dtype=np.int64))
    if size <= block or not shape:
        return np.asarray(np.broadcast_to(function(*given, **fixed), shape), dtype=np.float64)
    out = np.empty(shape)
    cuts = _cuts(shape, block)

    def one(cut: tuple[slice, ...]) -> None:
        out[cut] = function(*(_part(a, cut, len(shape)) for a in given), **fixed)

    if workers > 1:
        from concurrent.futures import ThreadPoolExecutor  # takes longer to import than most answers take

        with ThreadPoolExecutor(workers) as pool:
            for _ in pool.map(one, cuts):
                pass
    else:
        for cut in cuts:
            one(cut)
    return out


def _cuts(shape: Sequence[int], block: int) -> list[tuple[slice, ...]]:
    """Slices that tile `shape` with at most about `block` elements each, cutting leading axes first."""
    inner = 1
    axis = len(shape) - 1
    while axis > 0 and inner * shape[axis] <= block:
        inner *= shape[axis]
        axis -= 1
    step = max(1, block // inner)
    cuts: list[tuple[slice, ...]] = [()]
    for at in range(axis):
        cuts = [(*c, slice(i, i + 1)) for c in cuts for i in range(shape[at])]
    return [(*c, slice(i, min(i + step, shape[axis]))) for c in cuts for i in range(0, shape[axis], step)]


def _part(array: Floats, cut: tuple[slice, ...], axes: int) -> Floats:
    lead = axes - array.ndim
    own = tuple(
        slice(None) if array.shape[at] == 1 else cut[lead + at] for at in range(array.ndim) if lead + at < len(cut)
    )
    return array[own]
