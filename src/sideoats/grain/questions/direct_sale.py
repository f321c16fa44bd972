"""direct-sale: is a stand, a fair or a mobile kitchen worth the day? Break-even sales with the crowd as draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sideoats.decide.laws import quantile
from sideoats.grain.stand_case import GO, SUGGESTED, Stand, check, quantities, stand_of
from sideoats.problem import Barred, Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Count, LongDay, Money, Paid, Said, Share, say

NEEDED = ("crowd_low", "crowd", "crowd_high", "buying_low", "buying_high", "price", "food_cost", "fixed")
INPUTS = tuple(
    see(f"direct-sale.{name}", needed=name in NEEDED)
    for name in (
        "event_date",
        "days",
        *NEEDED[:5],
        "washed_out",
        *NEEDED[5:],
        "own_hours",
        "own_wage",
        "fee",
        "prepared",
        "spoilage",
    )
)
OPTIONS = (
    Choice("stay", labelled("stand-stay"), passive=True, kind="stay"),
    Choice("go", labelled("stand-go"), kind="go"),
    Choice("go-suggested", labelled("stand-go-suggested"), kind="suggested"),
)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    stand = stand_of(table, context)
    loss, ahead = stand.margin <= 0, table.days_until("event_date", context.on)
    over, unplanned = ahead < 0, ~table.known("prepared") & ~loss
    stay = np.zeros_like(loss)
    shown = np.where(unplanned, SUGGESTED, GO)
    best = np.fmax(np.where(unplanned, -np.inf, stand.gain[:, :, GO].mean(axis=1)), stand.gain[:, :, 2].mean(axis=1))
    at_home = _chance(stand, shown)
    hours = np.where(table.known("own_wage"), 0.0, np.nan_to_num(table.number("own_hours")))

    def unpaid(i: int) -> Said | None:
        """What is left for an hour of one's own to which no wage was given."""
        if not hours[i] > 0 or not np.isfinite(best[i]):
            return None
        return say("direct-sale.unpaid", n=Count(hours[i]), an_hour=Paid(float(best[i] / hours[i])))

    def after(i: int) -> Said | None:
        """The same, behind a sentence."""
        told = unpaid(i)
        return None if told is None else say("direct-sale.after", said=told)

    return Problem(
        "direct-sale",
        OPTIONS,
        "stay",
        "USD",
        stand.gain,
        bars=(
            Barred(np.stack([stay, loss, loss], axis=1), say("bar.portion_loses")),
            Barred(np.stack([stay, unplanned, stay], axis=1), say("bar.portions_unplanned")),
            Barred(np.stack([stay, over, over], axis=1), say("bar.event_over")),
        ),
        due=(np.nan_to_num(ahead) - 1).clip(0).astype(np.int64),  # food is bought before the day itself
        needs={"direct-sale.event_date": over},
        heads=((over, "direct-sale.over.need"), (loss, "direct-sale.loses.wait")),
        values={
            "gone": LongDay(table.date("event_date")),
            "loss": Paid(-stand.margin),
            "event": lambda i: _event(float(best[i])),
            "at_home": at_home,
            "planned": Count(stand.planned),
            "portions": Count(stand.suggested),
            "even": _chance(stand, stay + GO),
            "even_suggested": _chance(stand, stay + SUGGESTED),
            "after": after,
            "instead": lambda i: None if unplanned[i] else say("direct-sale.instead", n=Count(float(stand.planned[i]))),
        },
        reasons=(unpaid, *_reasons(stand, np.isnan(ahead))),
        cautions=tuple(say(f"direct-sale.care.{of}") for of in ("codes", "hot", "guess")),
        quantities=quantities(stand, unplanned),
    )


def _event(best: float) -> Said:
    """What going brings at best, for a row that is told to stay."""
    return (
        say("direct-sale.loses", loss=Money(-best))
        if np.isfinite(best) and round(-best) > 0
        else say("direct-sale.nothing")
    )


def _chance(stand: Stand, shown: np.ndarray) -> Callable[[int], Said]:
    """How many portions break even and how often that happens, by the way shown for each row."""

    def said(i: int) -> Said:
        at = int(shown[i])
        if not np.isfinite(stand.goal[i, at]):
            return say("direct-sale.because.never")
        goal, often = float(stand.goal[i, at]), float((stand.gain[i, :, at] >= 0).mean())
        if at == GO and goal > stand.made[i]:
            return say("direct-sale.beyond", goal=Count(goal), made=Count(float(stand.made[i])))
        return say("direct-sale.even", goal=Count(goal), often=Share(often))

    return said


def _reasons(stand: Stand, undated: np.ndarray) -> tuple[Said | Callable[[int], Said], ...]:
    low, high = quantile(stand.sold, [0.1, 0.9], axis=1)
    needed = np.where(np.isfinite(stand.needed), stand.needed, np.nan)
    nothing = np.isfinite(stand.needed)
    return (
        say("direct-sale.because.margin", left=Paid(stand.margin), price=Paid(stand.price), fixed=Money(stand.fixed)),
        say(
            "direct-sale.because.waste",
            needed=Count(needed),
            made=Count(stand.planned),
            wasted=Count(np.where(nothing, stand.with_waste, np.nan)),
        ),
        say("direct-sale.because.never").where(~nothing),
        say("direct-sale.because.range", low=Count(low.round()), high=Count(high.round()), futures=stand.sold.shape[1]),
        say("direct-sale.because.prepare", level=Share(stand.level), portions=Count(stand.suggested)),
        say("direct-sale.because.undated").where(undated),
    )


QUESTION = Question(name="direct-sale", room="grain", inputs=INPUTS, pose=pose, options_count=len(OPTIONS), check=check)
