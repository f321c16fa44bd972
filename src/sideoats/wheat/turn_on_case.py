"""Cattle onto wheat as a case of when to do it: on today or in some weeks, over keeping them off."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Barred, Choice, labelled
from sideoats.question import Context, Table
from sideoats.wheat import grazing
from sideoats.wheat.asked import stocking
from sideoats.wheat.days import spring_close
from sideoats.wheat.drawn import gain_draws
from sideoats.wheat.stages import STAGES
from sideoats.wheat.standing_forage import FACTS, Forage, published_most
from sideoats.words import Count, Measured, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
DAYS = tuple(range(0, 43, 7))
OFF = len(DAYS)
WEEK, FORTNIGHT = 7, 14
OPTIONS = (
    *(
        Choice(f"on-day-{d}", labelled("on-in", n=Count(d)) if d else labelled("on-now"), day=d, kind="on")
        for d in DAYS
    ),
    Choice("off", labelled("cattle-off"), passive=True, kind="off"),
)


def end_of(table: Table, context: Context) -> Floats:
    """(place, draw) days to the end of grazing: first hollow stem, or weeks later where wheat is grazed out."""
    end = spring_close(table, context, "off_date")[:, None] + np.zeros((1, context.outlook.draws))
    out = table.text("purpose") == "graze-out"
    if out.any():
        more = context.outlook.between("graze-out days", *context.facts.span(FACTS + "graze_out_days"))
        end = np.where(out[:, None], end + more, end)
    return end


def past_stem(table: Table, context: Context) -> Bools:
    """(place,) first hollow stem is past, by the stage or the date, of wheat that is not grazed out."""
    late = np.isin(table.text("stage").astype(str), STAGES[STAGES.index("jointing") :])
    past = spring_close(table, context, "off_date") <= 0
    return np.asarray((late | past) & (table.text("purpose") != "graze-out"))


def most_head(table: Table, context: Context) -> Floats:
    """(place,) most head an acre by the live weight published for the season; NaN where no weight was given."""
    return np.asarray(published_most(table, context, "off_date")[0] / table.number("weight"))


def heavy(table: Table, context: Context) -> Bools:
    """(place,) more cattle are named than are published for the season."""
    return np.asarray(stocking(table) > 1.001 * most_head(table, context))


def young(table: Table, context: Context) -> Bools:
    """(place, option) fewer weeks from sowing than grazing is published to begin after."""
    since = -table.days_until("planting_date", context.on)[:, None] + np.array([*DAYS, 0.0])
    first = context.facts.span(FACTS + "turn_on_days")[0]
    return np.asarray((since < first) & (np.arange(len(OPTIONS)) < OFF))


def gain_of(table: Table, forage: Forage, context: Context, end: Floats) -> Floats:
    """(place, draw, option) gain to the end of grazing, or until forage is gone [USD/ac]; 0 where not known.

    Of more cattle than are published for the season only so many go on.
    """
    head, weight = np.fmin(stocking(table), most_head(table, context))[:, None], table.number("weight")[:, None]
    gain, worth = gain_draws(table, context), table.number("value_of_gain")[:, None]
    paid = []
    for wait in DAYS:
        ready = forage.standing + forage.growth * wait
        lasts = grazing.days_lasting(head, ready, forage.left, forage.growth, forage.harvested, forage.intake, weight)
        days = np.maximum(np.minimum(end - wait, lasts), 0.0)
        paid.append(grazing.forage_revenue(head, days, gain, worth))
    return np.nan_to_num(np.stack([*paid, np.zeros_like(paid[0])], axis=2))


def unrooted(table: Table) -> Bools:
    """(place,) plants that pull out, as far as is known."""
    return np.asarray((table.known("rooted") & ~table.flag("rooted")) | (table.text("stage") == "seedling"))


def bars(table: Table, context: Context, forage: Forage, past: Bools) -> tuple[Barred, ...]:
    """Plants that pull out, too little to graze, and wheat past first hollow stem."""
    on = np.arange(len(OPTIONS)) < OFF
    soon = np.append(np.array(DAYS) < context.facts.value(FACTS + "rooting_wait"), False)
    short = np.zeros((len(table), len(OPTIONS)), bool)
    short[:, :OFF] = forage.after(np.array(DAYS)) < forage.least
    least = Measured(forage.least, unit="lb/ac", fact=FACTS + "turn_on_forage")
    weeks = Measured(context.facts.span(FACTS + "turn_on_days")[0] / 7, unit="week", fact=FACTS + "turn_on_days")
    return (
        Barred(past[:, None] & on, say("bar.past_hollow_stem")),
        Barred(young(table, context), say("bar.young_wheat", weeks=weeks)),
        Barred(unrooted(table)[:, None] & soon, say("bar.unrooted")),
        Barred(short, say("bar.short_forage", least=least)),
    )


def first_open(gain: Floats, barred: Bools) -> Ints:
    """(place,) the option that brings most on average of those that are open."""
    return np.asarray(np.where(barred, -np.inf, gain.mean(axis=1)).argmax(axis=1))


def delay(gain: Floats, barred: Bools) -> Floats:
    """(place, option) what going on a week later costs; nothing for a day that lies a week off or more."""
    mean = np.where(barred, -np.inf, gain.mean(axis=1))
    days = np.array([*DAYS, WEEK])
    later = mean[:, days >= WEEK].max(axis=1, keepdims=True)
    with np.errstate(invalid="ignore"):
        lost = np.where(np.isneginf(mean), 0.0, np.maximum(mean - later, 0.0))
    return np.where(days < WEEK, lost, 0.0)


def recheck(best: Ints) -> Ints:
    """(place,) days to the next pull at the plants: the day before they may go on, within a fortnight."""
    days = np.array([WEEK + 1, *DAYS[1:], FORTNIGHT + 1])  # where they may go on now, what is missing is told in a week
    return np.asarray(np.clip(days[best] - 1, 1, FORTNIGHT), dtype=np.int64)


def needs_of(table: Table, standing: dict[str, Bools], past: Bools) -> dict[str, Bools]:
    """What must be known before cattle go on; nothing of wheat that they stay off whatever is told."""
    needs = {"wheat_check.rooted": ~table.known("rooted"), **standing}
    needs["place.head"] = ~(stocking(table) > 0)
    return {of: rows & ~past & ~unrooted(table) for of, rows in needs.items()}


def quantities(table: Table, forage: Forage, end: Floats) -> dict[str, tuple[Floats, str]]:
    """Forage, days left, and how it is stocked."""
    return {
        "forage_now": (forage.standing.mean(axis=1), "lb/ac"),
        "days_to_grazing_end": (end.mean(axis=1), "day"),
        "stocking": (stocking(table), "head/ac"),
        "live_weight": (stocking(table) * table.number("weight"), "lb/ac"),
    }
