"""Treat this alfalfa for weevil, cut it early, or leave it?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.facts import Facts
from sideoats.insects.harm import steady_progress
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    price_moves,
    weigh,
)
from sideoats.insects.thresholds import saved_by_scaled_table, scaled_table
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.weather.degree_days import degree_days

Floats = NDArray[np.float64]
_F = "insects/alfalfa_weevil."
_FRESH = 7
CUT = Option("cut-early", "Cut now instead of treating", day=0)
INPUTS = (
    Field("counts", "counts", "larvae shaken from each stem", high=200, example="2,0,4", fresh_days=_FRESH,
          found_in=("evidence:weevil_counts.counts",)),
    Field("mean", "number", "mean larvae per stem, with n", low=0, high=200),
    Field("n", "number", "stems looked at, with mean", low=1, high=10_000),
    Field("height", "number", "stem height", unit="in", low=1, high=60, required=True, example="18 in",
          fresh_days=_FRESH, found_in=("evidence:weevil_counts.height",)),
    Field("in_bud", "share", "share of plants in bud", fresh_days=_FRESH, found_in=("evidence:weevil_counts.in_bud",)),
    Field("tips_fed", "share", "share of stems with tips fed on", fresh_days=_FRESH,
          found_in=("evidence:weevil_counts.tips_fed",)),
    *common_inputs("alfalfa-weevil", "ton/ac", "USD/ton", "alfalfa hay"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if (values["counts"] is None) == (values["mean"] is None):
        raise InputError("exactly one of counts and mean is needed", where="alfalfa-weevil",
                         expected="counts=2,0,4,... stem by stem, or mean= with n=",
                         todo="shake 10 stems from each of five places into a bucket")  # fmt: skip
    if values["price"] is None:
        raise InputError("the hay's price is not known", where="alfalfa-weevil price",
                         expected="price='180 USD/ton', and yield= to weigh cutting early")  # fmt: skip


def offset_for(height: Floats, facts: Facts) -> tuple[Floats, NDArray[np.object_]]:
    """The table's offset [larvae/stem] and its name of the height class; NaN and "" below its shortest stems."""
    offset, name = np.full(height.shape, np.nan), np.full(height.shape, "", dtype=object)
    for words, low, below, value in facts[_F + "offset"].rows:
        inside = (height >= low) & (height < below)
        offset[inside], name[inside] = value, words
    return offset, name


def degree_days_this_year(table: Table, context: Context) -> Floats:
    """(place,) degree-days from 1 January to today at the place's station [degF day].

    NaN without a record, or where it lacks too many of these days: a sum of the rest would be taken for a late season.
    """
    on, base = context.on, (context.facts.value(_F + "base") - 32.0) / 1.8
    known: dict[str, float] = {}
    days = (on - date(on.year, 1, 1)).days
    most = context.facts.value("weather/pace.most_missing") * days
    for station, record in context.outlook.records.items():
        if record.lacking(("tmax", "tmin"), on, days) > most:
            continue
        year = slice(max(0, record.index(date(on.year, 1, 1))), max(0, record.index(on)))
        daily = degree_days(record.usable("tmax")[year], record.usable("tmin")[year], base)
        known[station] = float(np.nansum(daily)) * 1.8 if daily.size else np.nan
    return np.array([known.get(str(s), np.nan) for s in table.text("station")])


def _stage_words(total: float, facts: Facts) -> str:
    for low, below, words in facts.by_id[_F + "stages"].rows:
        if low <= total < below:
            return str(words)
    return ""


def _cutting(table: Table, context: Context, at_stake: Floats, in_bud: NDArray[np.bool_]) -> tuple[Floats, Any]:
    """What cutting today pays (place, draw), and where it cannot be weighed (place,).

    It gives up the growth of the days until the planned cutting, costs the moving of the work, and ends most of the
    feeding.  That regrowth starts sooner is not counted, so an early cutting is not made to look better than it is.
    """
    facts, out = context.facts, context.outlook
    kills, growth = facts[_F + "cut_kills"], facts[_F + "growth_days"]
    early = np.clip(table.days_until("harvest_date", context.on), 0.0, None)
    early = np.where(in_bud, 0.0, early)
    days = triangular(out.uniform("alfalfa growth"), growth.low, growth.mid, growth.high)
    given_up = np.minimum(np.nan_to_num(early)[:, None] / days, 1.0) * crop_value(table)[:, None]
    moved = out.between("alfalfa moved cutting", *facts.span(_F + "cut_moved"))
    stopped = triangular(out.uniform("alfalfa cutting"), kills.low, kills.mid, kills.high)
    unknown = ~in_bud & (np.isnan(early) | np.isnan(crop_value(table)))
    return -np.nan_to_num(given_up) - moved - at_stake * (1.0 - stopped), unknown


def answer(table: Table, context: Context) -> Answers:
    """What the printed table's inverse says larvae cost, against a treatment and against cutting now."""
    facts, n = context.facts, len(table)
    counted = count_draws(table, context, "alfalfa weevil", counts="counts", mean="mean", k_fact=_F + "k")
    given = table.number("price")
    price, cost, value = np.where(given > 0, given, np.nan), cost_of(table, context), crop_value(table)
    offset, rows = offset_for(table.number("height"), facts)
    coefficient, domain = facts.value(_F + "coefficient"), facts[_F + "domain"]
    facts[_F + "table"]
    level = np.maximum(scaled_table(cost, price, coefficient, offset), 0.0)
    saved = saved_by_scaled_table(
        counted.density, price[:, None], coefficient, np.nan_to_num(offset)[:, None], domain.low
    )
    most = facts.value(_F + "most_lost")
    cap = np.where(np.isnan(value), np.inf, value * most)
    stake = np.minimum(saved * price_moves(table, context, "alfalfa hay"), cap[:, None])
    in_bud = np.nan_to_num(table.number("in_bud")) > facts.value(_F + "cut_in_bud")
    missing = counted.unknown | np.isnan(price) | np.isnan(offset)
    pays, unknown = _cutting(table, context, np.where(missing[:, None], 0.0, stake), in_bud)
    feeding = facts[_F + "feeding_days"]
    window = triangular(context.outlook.uniform("alfalfa weevil days"), feeding.low, feeding.mid, feeding.high)
    tips = np.nan_to_num(table.number("tips_fed")) >= facts.value(_F + "tip_feeding")
    total = degree_days_this_year(table, context)
    resistance = facts[_F + "resistance"]
    case = Case(
        counted=counted, low=level, high=level, unit=np.full(n, "larvae per stem", dtype=object),
        publisher=np.array([f"Printed table for stems of {row}" if row else "" for row in rows], dtype=object),
        at_stake=stake, progress=steady_progress(window[None, :], DAYS), cap=cap, missing=missing,
        missing_headline=_missing_headline(table, counted.unknown, price, tips, total, facts),
        missing_look=np.where(tips, 1.0, np.nan), nominal=np.zeros(n, bool),
        reasons=_reasons(context, cost / price, in_bud, unknown, tips, total),
        cautions=lambda i: [
            resistance.text,
            "Shaking stems into a bucket misses some larvae; counts differ from person to person.",
            "After cutting, look at the stubble and regrowth: larvae under the windrow go on feeding.",
        ],
        quantities={
            "injury_level_published": (level, "larvae/stem"),
            "crop_value": (value, "USD/ac"),
            "degree_days_this_year": (total, "degF day"),
        },
        extra=(CUT, pays, unknown, "no planned cutting date, yield or price: cutting early cannot be weighed"),
    )  # fmt: skip
    return weigh(table, context, "alfalfa weevil", case)


def _missing_headline(
    table: Table, uncounted: Any, price: Floats, tips: Any, total: Floats, facts: Facts
) -> Callable[[int], str]:
    fed = table.number("tips_fed")

    def headline(i: int) -> str:
        if not uncounted[i] and np.isnan(price[i]):
            return "No hay price on file: the table goes by it."
        if not uncounted[i] and np.isfinite(table.number("height")[i]):
            return "The table begins at stems of 10 in: look again as they grow."
        if tips[i]:
            return f"{100 * fed[i]:.0f} % of stems with tips fed on: shake stems and count larvae tomorrow."
        stage = _stage_words(total[i], facts)
        season = f" ({total[i]:.0f} degF days since 1 January: {stage})" if stage else ""
        return f"No weevil larvae counted lately{season}: shake 10 stems from each of five places."

    return headline


def _reasons(
    context: Context, ratio: Floats, in_bud: Any, unknown: Any, tips: Any, total: Floats
) -> Callable[[int], list[str]]:
    facts = context.facts
    domain, coefficient = facts.by_id[_F + "domain"], facts.by_id[_F + "coefficient"]
    bud, base = facts[_F + "cut_in_bud"].mid, facts.value(_F + "base")
    whose, hatch = facts.choose("insects/alfalfa_weevil_hatch")

    def reasons(i: int) -> list[str]:
        lines = [f"The table follows {coefficient.mid:g} x cost/price less an offset, which is how money is reckoned."]
        if not domain.low <= ratio[i] <= domain.high:
            lines.append(
                f"Cost over price is {ratio[i]:.3f}, outside what the table prints ({domain.low:g} to "
                f"{domain.high:g}): its straight line is carried on."
            )
        if in_bud[i]:
            lines.append(f"More than {100 * bud:.0f} % of plants are in bud: the table says to cut, not to treat.")
        if unknown[i]:
            lines.append("Give the planned cutting date and the yield to have cutting early weighed.")
        if tips[i]:
            lines.append("Tip feeding has reached the share at which North Dakota would treat before the first cut.")
        stage = _stage_words(total[i], facts)
        if stage:
            lines.append(
                f"{total[i]:.0f} degF days since 1 January, base {base:g} degF: {stage} (Kansas); eggs hatch from "
                f"{hatch.low:g} by {whose.replace('_', ' ').title()}."
            )
        return lines

    return reasons


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Counted lately, or a spring whose degree-days lie between the first look and pupation."""
    seen = table.known("counts") | table.known("tips_fed")
    if context.on.month > 6:
        return np.asarray(seen)
    total, facts = degree_days_this_year(table, context), context.facts
    last = max(float(low) for low, _, words in facts[_F + "stages"].rows if "pupae" in words)
    return np.asarray(seen | ((total >= facts.value(_F + "scout_from")) & (total <= last)))


QUESTION = Question(
    name="alfalfa-weevil", room="insects", title="Treat this alfalfa for weevil, or cut it early?",
    about="Whether treating weevil larvae pays, from larvae per stem, stem height, hay price and cost, against cutting "
    "now and against leaving them.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("alfalfa",)), size="acres",
    in_season=_in_season, check=_check,
    limits="First cutting, stems of 10 in and more. The table's publisher is not named in what was read, and other "
    "published counts are by sweep or by 30 stems; what an early cutting saves is common practice.",
)  # fmt: skip
