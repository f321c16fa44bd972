"""Pictures of wheat from plain numbers: sowing dates, nitrogen response, varieties, the season of a field."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.errors import InputError
from sideoats.pictures import Axis, Course, Level, Line, Picture, Row, Rows
from sideoats.wheat.response import ResponseFit
from sideoats.wheat.trials.analyse import Estimates
from sideoats.wheat.trials.compare import NextSeason
from sideoats.words import Count, Day, Measured, Money, Name, Parts, Said, Share, say

Floats = NDArray[np.float64]
_TEN_PERCENT = 1.2816  # standard normal deviate with a tenth above it
STAGES = ((10, "up"), (21, "tillering"), (30, "elongation"), (39, "flag"), (59, "headed"), (92, "ripe"))
_YIELD = "bu/ac"


def sowing_dates(
    on: date, days: Sequence[int], expected: ArrayLike, low: ArrayLike, high: ArrayLike, *, unit: str = "USD/ac"
) -> Picture:
    """What each sowing day is expected to pay, with its range, from the options of wheat-planting.

    Parameters
    ----------
    on : today; `days` from it
    expected, low, high : (day,) money, the range holding eight futures of ten

    Raises
    ------
    InputError : no sowing day
    """
    middle = np.asarray(expected, np.float64)
    if not len(days) or not np.isfinite(middle).any():
        raise InputError("no sowing day to draw", where="sowing picture")
    dates = [on + timedelta(days=int(d)) for d in days]
    best = int(np.nanargmax(middle))
    told = {
        "best": Day(dates[best]), "pays": Money(float(middle[best]), unit=unit), "first": Day(dates[0]),
        "now": Money(float(middle[0]), unit=unit), "lost": Money(float(middle[best] - middle[0]), unit=unit),
        "last": Day(dates[-1]), "late": Money(float(middle[best] - middle[-1]), unit=unit),
    }  # fmt: skip
    return Course(
        finding=say("picture.sowing.title", **told),
        saying=say("picture.sowing.says", **told),
        x=[float(d.toordinal()) for d in dates],
        across=Axis(say("picture.sown"), "day", Day),
        up=Axis(say("picture.pays"), unit, Money),
        lines=(Line(say("picture.expected"), middle, low, high),),
        stems=True,
    )


def nitrogen_response(
    fits: Sequence[ResponseFit],
    rates: ArrayLike,
    price_ratio: float,
    *,
    seen: tuple[ArrayLike, ArrayLike] | None = None,
    basis: Said | None = None,
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
    series = [Line(_form(fit), fit.predict(x), now=not at) for at, fit in enumerate(fits)]
    if seen is not None:
        tried, got = (np.asarray(v, np.float64) for v in seen)
        means = np.array([got[tried == r].mean() if (tried == r).any() else np.nan for r in x])
        series.append(Line(say("picture.nitrogen.plots"), means))
    best = [float(fit.optimum(price_ratio)) for fit in fits]
    rated = tuple(
        say("picture.nitrogen.rate", form=_form(fit), rate=Measured(round(rate), unit="lb/ac"))
        for fit, rate in zip(fits, best, strict=True)
    )
    told = {"ratio": Measured(price_ratio), "rates": Parts(rated)}
    return Course(
        finding=say("picture.nitrogen.title", rate=Measured(round(best[0]), unit="lb/ac")),
        saying=say("picture.nitrogen.based", **told, basis=basis) if basis else say("picture.nitrogen.says", **told),
        x=x,
        across=Axis(say("picture.nitrogen.put_on"), "lb/ac"),
        up=Axis(say("picture.yield"), _YIELD),
        lines=series,
    )


def _form(fit: ResponseFit) -> Said:
    return say(f"picture.nitrogen.form.{fit.form}")


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
    told = {"name": Name(names[0]), "over": Measured(float(middle[0]), unit=_YIELD), "site": Name(season.site or "-")}
    saying = say("picture.varieties.alone")
    if len(order) > 1:
        chance = float(season.chance_beats()[order[0], order[1]])
        saying = say("picture.varieties.says", name=Name(names[0]), other=Name(names[1]), chance=Share(chance))
    return Rows(
        finding=say("picture.varieties.site" if season.site else "picture.varieties.title", **told),
        saying=saying,
        kept=[
            Row(n, float(m - h), float(m), float(m + h), now=not at)
            for at, (n, m, h) in enumerate(zip(names, middle, half, strict=True))
        ],
        axis=Axis(say("picture.varieties.axis"), _YIELD),
        level=Level(0.0, say("picture.varieties.mean")),
    )


def varieties_ranked(title: str, found: Estimates) -> Picture:
    """Varieties of one table from the best down, each with half the least significant difference either way."""
    order = np.argsort(-found.blue)
    names, blue = [found.varieties[i] for i in order], found.blue[order]
    half = found.lsd() / 2
    apart = int((blue > blue[0] - 2 * half).sum())
    told = {
        "title": Name(title), "name": Name(names[0]), "n": Count(apart), "all": Count(len(names)),
        "top": Measured(float(blue[0]), unit=_YIELD), "lsd": Measured(float(2 * half), unit=_YIELD),
    }  # fmt: skip
    return Rows(
        finding=say("picture.ranked.title", **told),
        saying=say("picture.ranked.says", **told),
        kept=[
            Row(n, float(b - half), float(b), float(b + half), now=not at)
            for at, (n, b) in enumerate(zip(names, blue, strict=True))
        ],
        axis=Axis(say("picture.yield"), _YIELD),
    )


def season_of_a_field(sown: date, codes: Floats, *, station: str = "", today: date | None = None) -> Picture:
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
    stages = []
    for code, name in STAGES:
        at = np.flatnonzero(middle >= code)
        if at.size:
            stages.append(say(f"picture.growth.{name}", day=Day(days[int(at[0])])))
    shown = tuple(stages[2:4]) if len(stages) > 2 else tuple(stages[:1])
    inside = today if today is not None and days[0] <= today <= days[-1] else None
    return Course(
        finding=say("picture.growth.title", sown=Day(sown), stages=Parts(shown)),
        saying=say(
            "picture.growth.at" if station else "picture.growth.says",
            stages=Parts(tuple(stages)),
            station=Name(station or "-"),
        ),
        x=[float(d.toordinal()) for d in days],
        across=Axis(say("picture.day"), "day", Day),
        up=Axis(say("picture.growth.axis")),
        lines=(Line(say("picture.growth.line"), middle, low, high, now=True),),
        today=None if inside is None else float(inside.toordinal()),
    )
