"""Price slides of forward sales of feeder cattle: what is paid when the cattle weigh other than estimated.

A slide of 8 cents means 0.08 USD/cwt per lb, the same as 8 USD/cwt per cwt; all slides here are in USD/cwt per cwt.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
KINDS = ("both", "over", "under")


def slide_price(
    base_price: ArrayLike,
    base_weight: ArrayLike,
    actual_weight: ArrayLike,
    slide: ArrayLike,
    *,
    kind: str = "both",
    window: ArrayLike = 0.0,
) -> Floats:
    """Price paid [USD/cwt] under a straight slide.

    Parameters
    ----------
    base_price : USD/cwt at the base weight
    base_weight, actual_weight : lb, as the contract weighs them (same shrink)
    slide : USD/cwt per cwt
    kind : ``"over"`` lowers the price of heavier cattle only, ``"under"`` raises that of lighter only, ``"both"`` both
    window : lb either side of the base weight within which the price stays; the slide counts from the window's edge

    References
    ----------
    Alabama Cooperative Extension, "Making dollars and sense out of buying and selling feeder cattle using a price
    slide" (read): P = P_base + (W_est - W_actual) / 100 x slide.
    """
    if kind not in KINDS:
        raise ValueError(f"kind {kind!r} is not one of {', '.join(KINDS)}")
    over = np.asarray(actual_weight, float) - np.asarray(base_weight, float)
    beyond = np.sign(over) * np.maximum(np.abs(over) - np.asarray(window, float), 0.0)
    if kind == "over":
        beyond = np.maximum(beyond, 0.0)
    elif kind == "under":
        beyond = np.minimum(beyond, 0.0)
    return np.asarray(np.asarray(base_price, float) - beyond / 100 * np.asarray(slide, float), dtype=np.float64)


def tiered_slide_price(
    base_price: ArrayLike,
    actual_weight: ArrayLike,
    bounds: Sequence[float],
    slides: Sequence[float],
    *,
    retroactive: bool = False,
) -> Floats:
    """Price paid [USD/cwt] where the slide steepens with weight over the base.

    Parameters
    ----------
    base_price : USD/cwt at and below ``bounds[0]``
    actual_weight : lb
    bounds : rising weights [lb]; tier i reaches from ``bounds[i]`` to ``bounds[i + 1]``
    slides : USD/cwt per cwt, one a tier, so one fewer than bounds
    retroactive : charge every pound over the base at the slide of the tier reached, instead of each tier's own pounds

    Returns
    -------
    USD/cwt; NaN above the last bound, where the contract sets no price
    """
    edges, rates = np.asarray(bounds, float), np.asarray(slides, float)
    if edges.size != rates.size + 1 or (np.diff(edges) <= 0).any():
        raise ValueError(f"{edges.size} bounds and {rates.size} slides; expected rising bounds, one more than slides")
    weight = np.asarray(actual_weight, float)[..., None]
    inside = np.clip(np.minimum(weight, edges[1:]) - edges[:-1], 0.0, None)
    if retroactive:
        tier = np.clip((weight > edges[:-1]).sum(axis=-1) - 1, 0, rates.size - 1)
        charge = inside.sum(axis=-1) / 100 * rates[tier]
    else:
        charge = (inside / 100 * rates).sum(axis=-1)
    paid = np.asarray(base_price, float) - charge
    return np.where(weight[..., 0] <= edges[-1], paid, np.nan)


def slide_turning_weight(base_price: ArrayLike, base_weight: ArrayLike, slide: ArrayLike) -> Floats:
    """Weight [lb] above which one more pound lowers the cheque under a straight slide.

    From d(W P(W))/dW = 0 with P(W) = P_base - slide (W - W_base) / 100; inf where the slide is 0.
    """
    price, weight, rate = (np.asarray(x, float) for x in (base_price, base_weight, slide))
    with np.errstate(divide="ignore"):
        turning = (price + rate * weight / 100) * 100 / (2 * rate)
    return np.asarray(turning, dtype=np.float64)
