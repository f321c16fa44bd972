"""Calves weaned now and not on the usual day: forage and condition saved against the feed of the calf, a head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering, program
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
FACT = "cattle/early."
SPARE = 5.0  # condition score at and above which cows have some to spare, so that grass need not be asked for
A_MONTH = 30.0  # days that a rate of condition is stated for
POUNDS = 2000.0  # a ton


@dataclass(frozen=True)
class Early:
    """An early weaning of each row; arrays (place,) unless said.

    Attributes
    ----------
    asked : cows were scored, or grass was called short
    days : from today to the usual day; NaN where calves are weaned
    usual : the usual day
    short : grass will not last to the usual day
    unscored, ungrazed : condition, or the grass, has to be known before it can be weighed
    young : calves are younger than any that have been weaned
    worth : (place, draw) over weaning on the usual day [USD/head]; NaN where it cannot be weighed
    forage, condition, feed : means of what it saves and costs [USD/head]
    """

    asked: Bools
    days: Floats
    usual: program.Dates
    short: Bools
    unscored: Bools
    ungrazed: Bools
    young: Bools
    worth: Floats
    forage: Floats
    condition: Floats
    feed: Floats

    @property
    def open(self) -> Bools:
        """True where calves can be weaned early."""
        return np.asarray(self.asked & (self.days > 0) & ~self.young & ~self.unscored & ~self.ungrazed)


def early_of(table: Table, context: Context, wean_by: program.Dates, weaned: program.Dates) -> Early:
    """See `Early`.

    Parameters
    ----------
    wean_by : last day to wean for a sale, NaT where none is set: the region's usual day then
    weaned : day on which calves were weaned, NaT where they are not
    """
    on, score, short = np.datetime64(context.on, "D"), table.number("cow_condition"), table.flag("short_grass")
    asked = (np.isfinite(score) | short) & np.isnat(weaned)
    usual = wean_by
    grass, young = table.known("short_grass"), np.zeros(len(table), bool)
    days, worth = np.full(len(table), np.nan), np.full((len(table), context.outlook.draws), np.nan)
    saved = kept = fed = worth[:, :1]
    if asked.any():
        usual = np.where(np.isnat(wean_by) | (wean_by < on), _usual(table, context), wean_by).astype("datetime64[D]")
        (least, most), youngest = context.facts.span(FACT + "days"), context.facts.value(FACT + "youngest")
        days = np.where(asked, program.days_between(on, usual), np.nan)
        days = np.where((days >= least) & (days <= most), days, 0.0)
        young = asked & (table.number("calf_age") < youngest)
        saved, kept, fed = _parts(table, context, days, short, score)
        worth = np.broadcast_to(saved + kept - fed, worth.shape)
    return Early(
        asked,
        days,
        usual,
        short,
        asked & np.isnan(score),
        asked & ~grass & (score < SPARE),
        young,
        worth,
        saved.mean(axis=1),
        kept.mean(axis=1),
        fed.mean(axis=1),
    )


def _usual(table: Table, context: Context) -> program.Dates:
    """(place,) the usual day where no sale sets one: by the age of the calves, else the region's.

    Where that is past the choice is whether they stay on the cows for another month.
    """
    on, most = np.datetime64(context.on, "D"), context.facts.span(FACT + "days")[1]
    by_region = float((context.region.next("weaning", context.on) - context.on).days)
    since = float((context.on - context.region.last("weaning", context.on)).days)
    by_region = A_MONTH if since <= most else by_region
    by_age = np.maximum(context.facts.value(FACT + "usual_age") - table.number("calf_age"), A_MONTH)
    return program.shifted(on, answering.known_or(by_age, by_region))


def _parts(table: Table, context: Context, days: Floats, short: Bools, score: Floats) -> tuple[Floats, Floats, Floats]:
    """(place, draw) forage saved, condition kept, and the calf's feed less what it gains more on it [USD/head]."""
    n, time = len(table), days[:, None]

    def drawn(name: str, given: Floats | None = None) -> Floats:
        low, high = context.facts.span(FACT + name)
        ends = (np.full(n, low), np.full(n, high))
        if given is not None:
            ends = (answering.known_or(given, low), answering.known_or(given, high))
        return answering.spread(context, table, f"early {name}", *ends)

    def by_grass(name: str) -> Floats:
        rows = {row[0]: row[1:] for row in context.facts[FACT + name].rows}
        low, high = (np.where(short, rows["short"][end], rows["enough"][end]) for end in (0, 1))
        return answering.spread(context, table, f"early {name}", low, high)

    dry, eats = context.facts.value(FACT + "hay_dry"), context.facts.value(FACT + "pair_eats")
    hay = drawn("hay_price", table.number("hay_price")) / POUNDS / dry
    saved = time * eats * drawn("forage_saved") * np.where(short[:, None], hay, drawn("grass"))
    body = context.facts[FACT + "pregnant"]
    scores, shares = body.column("score at breeding"), body.column("share pregnant")
    later = score[:, None] + by_grass("score_a_month") * time / A_MONTH
    bred = np.interp(later, scores, shares) - np.interp(score, scores, shares)[:, None]
    kept = bred * drawn("open_cow") * (1.0 - drawn("fed_back"))
    weight = drawn("calf_weight", table.number("calf_weight"))
    gained = weight * drawn("calf_eats") / context.facts.value(FACT + "feed_to_gain") - by_grass("nursing_gain")
    ration = drawn("calf_feed", table.number("feed_per_day")) + drawn("labor")
    return saved, kept, time * (ration - gained * drawn("value_of_gain"))
