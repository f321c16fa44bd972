"""A freeze on wheat: what it took, in draws, and what is done with the field, over keeping it for grain.

Stems split decide. Until they are, depth, hours and stage give a bracket between two publications; it clears or asks
for a look, and moves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import value_of_information
from sideoats.decide.laws import quantile
from sideoats.problem import Barred, Choice, Look, labelled
from sideoats.question import Context, Table
from sideoats.wheat import freeze
from sideoats.wheat.asked import harvest_cost, stocking
from sideoats.wheat.days import DUE_DAYS
from sideoats.wheat.drawn import gain_draws, hay_money, wheat_price, yield_draws
from sideoats.wheat.freeze_night import BELOW_GROUND, Night
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
KEEP, HAY, OUT = range(3)
OPTIONS = (
    Choice("keep", labelled("keep-grain"), passive=True),
    Choice("hay", labelled("wheat-hay"), trouble="pass", kind="hay"),
    Choice("graze-out", labelled("wheat-graze-out"), trouble="pass", kind="out"),
)
BEFORE_BOOT = ("seedling", "tillering", "jointing")
IN_HEAD = ("heading", "flowering", "milk", "dough", "ripe")  # what a freeze kills is then in the head, not in the stem
SOON = 3  # days within which a stage or a temperature that is not known is found out
_FREEZE, _WINTER = "wheat/freeze.", "wheat/winterkill."


@dataclass(frozen=True)
class Injury:
    """What is known of the harm, (place,) unless said."""

    least: Floats  # share of stems dead by the 15-minute pots, where none were split
    most: Floats  # by the two-hour tables
    dead: Floats  # (place, draw) share of stems dead
    kept: Floats  # (place, draw) share of the yield kept
    payoff: Floats  # (place, draw, option) [USD/ac], NaN where not priced
    split: Bools  # stems were split
    absurd: Bools  # more were dead than split
    few: Bools  # so few, or so soon, that they do not clear a night that was cold
    hurt: Bools  # more are dead than is worth keeping without a thought
    heavy: Bools  # no stem was split, and the mildest curve has taken half or more
    lost: Bools  # stems were split, and one future in ten leaves too little to pay the combine
    of_how_many: Bools  # stems are put down as dead, and not of how many
    hayless: Bools  # too short for a usual hay crop, and no hay yield is told
    due: Ints  # days to the look
    first: Ints  # days to the first day on which there is anything to see
    after: int  # days from a freeze to that day

    @cached_property
    def gain(self) -> Floats:
        """(place, draw, option) over keeping it for grain, 0 where not known."""
        return np.asarray(np.nan_to_num(self.payoff - self.payoff[:, :, :1]))

    @cached_property
    def exposure(self) -> Floats:
        """(place, draw) what the grain itself wins or loses against its mean."""
        own = self.payoff[:, :, KEEP]
        return np.asarray(np.nan_to_num(own - own.mean(axis=1, keepdims=True)))

    @cached_property
    def unpriced(self) -> Bools:
        """(place, option) not to be weighed: the grain's figures or its own are not known."""
        lacks = np.asarray(np.isnan(self.payoff).any(axis=1))
        return np.asarray(lacks | lacks[:, :1])


def injury_of(table: Table, context: Context, night: Night) -> Injury:
    """The harm from stems split with their sampling error, else by depth and hours."""
    facts, out = context.facts, context.outlook
    count, gone = table.number("split"), table.number("dead")
    absurd = gone > count  # a slip of the pen: neither figure is used
    split = table.known("split") & table.known("dead") & ~absurd
    least, most = brackets(context, night)
    share = np.where(split, (gone + 0.5) / (count + 1.0), np.nan)[:, None]
    spread = np.sqrt(np.maximum(share * (1 - share), 0.0) / count[:, None])
    seen = np.clip(share + spread * out.normal("stems split", table.keys), 0.0, 1.0)
    drawn = least[:, None] + (most - least)[:, None] * out.uniform("freeze effect", table.keys)
    dead = np.where(split[:, None], seen, drawn)
    young = np.isin(night.stage.astype(str), BEFORE_BOOT) | (night.stage == "")
    back = out.between("tillers that make up", *facts.span(_FREEZE + "compensation"))
    kept = freeze.yield_kept(dead, np.where(young[:, None], back[None, :], 0.0))
    after, ago = facts[_FREEZE + "look_after"], np.maximum(np.nan_to_num(night.days_ago), 0.0)
    soon = table.known("night") & (night.days_ago < after.low)
    harmless = np.isfinite(night.low) & ~night.exposed
    return Injury(
        least,
        most,
        dead,
        kept,
        payoff_of(table, context, kept),
        split,
        absurd,
        few=split & ((count < facts.value(_FREEZE + "split_least")) | soon) & ~harmless,
        hurt=split & (gone / count > facts.value(_FREEZE + "slight")),
        heavy=~split & (least >= facts.value(_FREEZE + "heavy")),
        lost=split & (np.asarray(quantile(kept, 0.1, axis=1)) < facts.value(_FREEZE + "lost")),
        of_how_many=(gone > 0) & ~table.known("split"),
        hayless=(night.stage == "jointing") & ~table.known("hay_yield"),
        due=np.maximum(after.mid - ago, 0.0).astype(np.int64),
        first=np.maximum(after.low - ago, 0.0).astype(np.int64),
        after=round(after.low),
    )


def brackets(context: Context, night: Night) -> tuple[Floats, Floats]:
    """Least and most of the stems that the night killed (place,), nothing where it is cleared; NaN where no curve has
    the stage."""
    facts, crown = context.facts, night.crown
    curves = {str(row[0]): row[1:] for row in facts[_FREEZE + "dose"].rows}
    dose = np.array([curves.get(str(s), (np.nan,) * 4) for s in night.stage], dtype=np.float64).reshape(-1, 4)
    air = freeze.yield_lost(night.low, night.hours, dose, most_hours=facts.value(_FREEZE + "most_hours"))
    hard, soft = (np.array(row[1:], dtype=np.float64) for row in facts[_WINTER + "dose"].rows)
    dug = freeze.crown_loss(crown.low, np.where(crown.hardened[:, None], hard, soft))
    by_crown = crown.decides | np.isnan(night.low)
    margin = facts.value(_WINTER + "crown_clear") - facts.value(_WINTER + "crown")
    span = np.where(by_crown, margin, facts.value(_FREEZE + "near"))
    at = np.where(by_crown, crown.low, night.low)
    cleared = np.where(by_crown, crown.clear, night.not_clear)
    low, high = (freeze.tapered(np.where(by_crown, d, a), at, cleared, span) for d, a in zip(dug, air, strict=True))
    return low, high


def payoff_of(table: Table, context: Context, kept: Floats) -> Floats:
    """Grain, hay and grazing out (place, draw, option) [USD/ac]; NaN where one is not priced."""
    facts, out = context.facts, context.outlook
    net = wheat_price(table, context) - harvest_cost(table, context)[:, None]
    grain = yield_draws(table, context) * kept * net
    days = out.between("graze-out days", *facts.span("wheat/grazing.graze_out_days")) / 2  # half the spring is gone
    grazed = stocking(table)[:, None] * days * gain_draws(table, context) * table.number("value_of_gain")[:, None]
    return np.stack([grain, hay_money(table, context, 60), grazed], axis=2)


def bars(night: Night, injury: Injury) -> tuple[Barred, ...]:
    """Uses that cannot be weighed, and hay where there is nothing to cut."""
    acts = np.arange(len(OPTIONS)) != KEEP
    short = np.isin(night.stage.astype(str), BELOW_GROUND)[:, None] & (np.arange(len(OPTIONS)) == HAY)
    unheaded = injury.hayless[:, None] & (np.arange(len(OPTIONS)) == HAY)
    return (
        Barred(injury.unpriced & acts, say("bar.unpriced")),
        Barred(short, say("bar.too_short")),
        Barred(unheaded, say("bar.hay_unheaded")),
    )


def look_at(night: Night, injury: Injury) -> Bools:
    """(place,) stems have to be split: none were and the night is not cleared, or those that were settle nothing."""
    told = ~injury.absurd & ~night.summer
    return np.asarray(told & np.where(injury.split, injury.few, night.exposed & _dated(night)))


def needs_of(table: Table, night: Night, injury: Injury, closed: Bools) -> dict[str, Bools]:
    """What is not known and has to be; `closed` (place, option) are the uses that are not open."""
    split, stageless = injury.split, (night.stage == "") & ~night.unfrozen
    no_cold = np.isnan(night.low) & np.isnan(night.crown.low) & ~split & ~injury.absurd
    unweighed = injury.hurt & ~injury.few & closed[:, HAY:].all(axis=1)
    return {
        "wheat_check.stage": stageless & (np.isfinite(night.low) | split | no_cold) & ~night.crown.decides,
        "freeze_night.low": no_cold | (night.gaps & ~split) | night.summer,
        "freeze_night.night": ~_dated(night),
        "stem_split.dead": injury.absurd,
        "stem_split.split": look_at(night, injury) | injury.of_how_many,
        "quote:grass hay": unweighed & ~table.known("hay_price"),
        "setting:value_of_gain": unweighed & ~table.known("value_of_gain"),
        "place.head": unweighed & ~(stocking(table) > 0),
        "quote:wheat": unweighed & ~table.known("price"),
        "place.expected_yield": unweighed & ~table.known("yield"),
    }


def _dated(night: Night) -> Bools:
    """(place,) the freeze does not lie ahead of today."""
    return np.asarray(~(night.days_ago < 0))


def look_of(table: Table, context: Context, night: Night, injury: Injury, closed: Bools) -> Look:
    """Stems split: what knowing the dead is worth where hay or grazing could take the grain's place."""
    shut = closed.copy()  # what is too short for hay today may make hay in a month
    shut[:, HAY] &= ~injury.hayless | injury.unpriced[:, HAY]
    worth = np.where(look_at(night, injury), value_of_information(injury.gain, injury.dead, barred=shut), 0.0)
    none = np.zeros(len(table))
    return Look(injury.dead, none, injury.due, worth=worth, settles="stem_split.split")


def recheck(night: Night, injury: Injury, needs: dict[str, Bools]) -> Ints:
    """(place,) days to the look that is due, sooner for what is only to be found out; a week where nothing is."""
    ask = (
        needs["wheat_check.stage"]
        | needs["freeze_night.low"]
        | needs["freeze_night.night"]
        | injury.absurd
        | injury.of_how_many
    )
    usual = np.where(night.coming.likely, np.nan_to_num(night.coming.day) + injury.after, DUE_DAYS)
    return np.where(ask, SOON, np.where(needs["stem_split.split"], injury.due, usual)).astype(np.int64)


def quantities(night: Night, injury: Injury) -> dict[str, tuple[Floats, str]]:
    """The night against its line, what is dead, and the yield kept with its range."""
    low, high = quantile(injury.kept, [0.1, 0.9], axis=1)
    return {
        "lowest_temperature": (night.low, "degF"),
        "at_risk_below": (np.where(night.crown.decides, np.nan, night.line), "degF"),
        "crown_temperature": (night.crown.low, "degF"),
        "crown_at_risk_below": (np.where(np.isnan(night.crown.low), np.nan, night.crown.clear), "degF"),
        "dead_stems": (np.where(injury.split, injury.dead.mean(axis=1), np.nan), "1"),
        "yield_kept": (injury.kept.mean(axis=1), "1"),
        "yield_kept_low": (low, "1"),
        "yield_kept_high": (high, "1"),
        "lost_at_least": (np.where(injury.split, np.nan, injury.least), "1"),
        "lost_at_most": (np.where(injury.split, np.nan, injury.most), "1"),
    }
