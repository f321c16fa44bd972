"""Pictures of wheat from plain numbers: sowing dates, nitrogen response, varieties next year, the season of a field.

Each is a `sideoats.pictures.Picture`: a title that says the finding, a sentence, a table, and a drawing in one ink.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.pictures import Line, Picture, date_ticks, intervals, lines
from sideoats.wheat.response import ResponseFit
from sideoats.wheat.trials.compare import NextSeason

Floats = NDArray[np.float64]
_TEN_PERCENT = 1.2816  # standard normal deviate with a tenth above it
STAGES = ((10, "up"), (21, "tillering"), (30, "stem elongation"), (39, "flag leaf"), (59, "headed"), (92, "ripe"))


def sowing_dates(
    on: date, days: Sequence[int], expected: ArrayLike, low: ArrayLike, high: ArrayLike, *, unit: str = "USD/ac"
) -> Picture:
    """What each sowing day is expected to pay, with its range, from the options of wheat-planting.

    Parameters
    ----------
    on : today; `days` from it
    expected, low, high : (day,) money

    Raises
    ------
    InputError : no sowing day
    """
    middle = np.asarray(expected, np.float64)
    if not len(days) or not np.isfinite(middle).any():
        raise InputError("no sowing day to draw", where="sowing picture")
    dates = [on + timedelta(days=int(d)) for d in days]
    best = int(np.nanargmax(middle))
    lost = middle[best] - middle[0]
    title = f"Best sown {dates[best]:%-d %b}: {middle[best]:.0f} {unit}"
    summary = (
        f"Sowing on {dates[0]:%-d %B} is expected to pay {middle[0]:.0f} {unit}, {lost:.0f} less than on the best day; "
        f"on {dates[-1]:%-d %B} {middle[best] - middle[-1]:.0f} less. The band holds eight futures in ten."
    )
    return lines(
        title, summary, [float(d.toordinal()) for d in dates], [Line("expected", middle, low, high)],
        x_label="sown", y_label=unit, x_ticks=date_ticks(dates[0], dates[-1]), x_names=[d.isoformat() for d in dates],
    )  # fmt: skip


def nitrogen_response(
    fits: Sequence[ResponseFit],
    rates: ArrayLike,
    price_ratio: float,
    *,
    seen: tuple[ArrayLike, ArrayLike] | None = None,
    basis: str = "R2 does not choose.",
) -> Picture:
    """Fitted responses side by side with the rate that pays under each.

    Parameters
    ----------
    fits : fitted forms, the one followed first
    rates : (n,) rates to draw at [lb/ac], rising
    price_ratio : price of nitrogen over price of wheat [bu/lb]
    seen : rates and yields of the trial itself, drawn as means at each rate
    basis : a sentence on where the response comes from

    Raises
    ------
    InputError : no fit
    """
    if not fits:
        raise InputError("no response was fitted", where="nitrogen picture")
    x = np.asarray(rates, np.float64)
    series = [Line(fit.form.replace("_", " "), fit.predict(x)) for fit in fits]
    if seen is not None:
        tried, got = (np.asarray(v, np.float64) for v in seen)
        series.append(
            Line("plots, mean", np.array([got[tried == r].mean() if (tried == r).any() else np.nan for r in x]))
        )
    best = [fit.optimum(price_ratio) for fit in fits]
    told = "; ".join(f"{fit.form.replace('_', ' ')} {rate:.0f} lb/ac" for fit, rate in zip(fits, best, strict=True))
    title = f"The last pound of nitrogen pays up to {best[0]:.0f} lb/ac"
    summary = f"At a price ratio of {price_ratio:.2f} bushels a pound the rate that pays is: {told}. {basis}"
    return lines(title, summary, x, series, x_label="nitrogen, lb/ac", y_label="bu/ac", marks=False)


def varieties_next_year(season: NextSeason, most: int = 15) -> Picture:
    """Varieties from the best down on a field next year: the bar holds eight seasons in ten.

    Raises
    ------
    InputError : no variety
    """
    if not season.varieties:
        raise InputError("no variety to draw", where="variety picture")
    order = np.argsort(-season.mean)[:most]
    half = _TEN_PERCENT * np.sqrt(np.maximum(np.diag(season.known), 0.0) + season.season)[order]
    middle = season.mean[order]
    names = [season.varieties[i] for i in order]
    where = f"a field like {season.site}" if season.site else "a field that no trial has seen"
    title = f"{names[0]} leads on {where}, {middle[0]:+.1f} bu/ac against the trial mean"
    summary = title + "."
    if len(order) > 1:
        chance = season.chance_beats()[order[0], order[1]]
        summary = (
            f"{title}. The chance that it beats {names[1]} next year is {100 * chance:.0f} %. Bars hold eight seasons "
            f"in ten, "
            "next year's season included; overlapping bars are no test."
        )
    return intervals(title, summary, names, middle - half, middle, middle + half, unit="bu/ac", reference=0.0)


def season_of_a_field(sown: date, codes: Floats, *, station: str = "") -> Picture:
    """Growth stage (Zadoks) day by day since sowing over past years, with its range: a sketch by heat units.

    Parameters
    ----------
    sown : day of sowing
    codes : (year, day) from `sideoats.wheat.stages.zadoks_by_day`; NaN where a year does not reach

    Raises
    ------
    InputError : no year reaches emergence
    """
    reached = np.isfinite(codes).any(axis=1) & (np.nan_to_num(codes).max(axis=1) >= STAGES[0][0])
    if not reached.any():
        raise InputError("no past year reaches emergence", where="season picture")
    used = codes[reached]
    low, middle, high = (np.nanquantile(used, q, axis=0) for q in (0.1, 0.5, 0.9))
    days = [sown + timedelta(days=i) for i in range(codes.shape[1])]
    told = []
    for code, name in STAGES:
        at = np.flatnonzero(middle >= code)
        if at.size:
            told.append(f"{name} {days[int(at[0])]:%-d %b}")
    title = f"Sown {sown:%-d %b}: " + (", ".join(told[2:4]) if len(told) > 2 else told[0])
    summary = (
        "Middle of past years" + (f" at {station}" if station else "") + ": " + ", ".join(told)
        + ". A sketch by heat units with constants from memory; the field itself overrules it."
    )  # fmt: skip
    return lines(
        title, summary, [float(d.toordinal()) for d in days], [Line("Zadoks stage", middle, low, high)], x_label="day",
        y_label="Zadoks "
        "code", x_ticks=date_ticks(days[0], days[-1]), x_names=[d.isoformat() for d in days], marks=False,
    )  # fmt: skip
