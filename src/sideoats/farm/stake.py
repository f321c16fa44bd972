"""One call's money in every future, in dollars for the whole place, and what each of its options takes of the farm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT, Answered, Call
from sideoats.facts import Facts
from sideoats.replies import Replies
from sideoats.ruling import WAIT_DAYS
from sideoats.words import Said

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_F = "farm/"
LABOR, SPRAY, STORAGE, PASTURE, PENS = "labor", "spray", "storage", "pasture", "pens"
TREAT = "treat-day-"


@dataclass(frozen=True, eq=False)
class Stake:
    """One call's part in the farm.

    Attributes
    ----------
    call : as answered, told or not
    stake : what its money comes out of; calls of one place that share it count the same money
    keys, labels : of the options
    base : index of the baseline
    money : (option, draw) gain over the baseline [USD for the place]; NaN for an option without money
    luck : (draw,) what the baseline itself wins or loses against today [USD]
    passive, barred : (option,)
    offered : (option,) open, and worth its own trouble over leaving things alone
    days : (option,) days from today, NaN for one that names none
    lead : index of the option that the call alone advises
    uses : limit -> (option,) what an option takes of it
    flows : (days (option,), money (option,)) when its money moves [USD], where that is known
    size : of the place in its unit
    cost : of its treatment, application included [USD/ac]; NaN where it is no pass
    market : the one that prices its place
    """

    call: Call
    stake: str
    keys: tuple[str, ...]
    labels: tuple[Said, ...]
    base: int
    money: Floats
    luck: Floats
    passive: Bools
    barred: Bools
    offered: Bools
    days: Floats
    lead: int
    uses: Mapping[str, Floats] = field(default_factory=dict)
    flows: tuple[tuple[Floats, Floats], ...] = ()
    size: float = 1.0
    cost: float = np.nan
    market: str = ""

    @property
    def ready(self) -> bool:
        """Its acts may be planned: no hazard stands or is uncleared, nothing is missing, no look comes first."""
        return self.call.verdict in ("act", "wait") and not self.call.missing


def unsummed(call: Call, unit: str, size: float) -> str:
    """Why a call's money cannot be summed; "" where it can."""
    if unit.count("/") > 1:
        return "by_day"
    if not np.isfinite(size) or size <= 0:
        return "no_size"
    return "missing" if call.missing else ""


def stake_of(call: Call, answered: Answered, row: int, facts: Facts) -> Stake | str:
    """The row's stake, or why it has none (a code)."""
    found, at = answered.ruled(row)
    replies: Replies = found
    p, r = replies.problem, replies.ruling
    size = 1.0 if p.unit == "USD" else replies.size(at)
    if len(p.options) < 2:
        return "read"
    if why := unsummed(call, p.unit, size):
        return why
    money = np.ascontiguousarray(p.gain[at].T) * size
    luck = np.zeros(money.shape[1]) if p.exposure is None else np.nan_to_num(p.exposure[at]) * size
    passive = np.array([o.passive for o in p.options])
    barred = p.barred[at] | np.isnan(money).any(axis=1)
    days = np.array([np.nan if o.day is None else float(o.day) for o in p.options])
    keys = tuple(o.key for o in p.options)
    base = keys.index(p.baseline)
    told = call.quantities.get("treatment_cost")
    return Stake(
        call,
        replies.question.stake,
        keys,
        tuple(o.label.at(at) for o in p.options),
        base,
        money,
        luck,
        passive,
        barred,
        _offered(r.verdict[at], r.certain[at], passive, barred, r.least, int(r.leads[at])),
        days,
        int(r.leads[at]) if r.leads[at] >= 0 else base,
        _uses(replies, at, size, days, facts),
        tuple((np.broadcast_to(f.days, p.barred.shape)[at], f.money[at] * size) for f in p.flows),
        size,
        float(told.value) if told is not None else np.nan,
        replies.table.markets[at] if replies.table.markets else "",
    )


def _offered(verdict: int, sure: Floats, passive: Bools, barred: Bools, least: Floats, lead: int) -> Bools:
    """(option,) what a farm may choose: all that is left alone, and acts worth their trouble where acts are advised."""
    open_ = ~barred & np.isfinite(sure)
    rest = np.where(open_ & passive, sure, -np.inf).max(initial=-np.inf)
    rest = rest if np.isfinite(rest) else 0.0
    acts = verdict in (ACT, WAIT) and lead >= 0 and not passive[lead]
    if verdict not in (ACT, WAIT, LOOK):
        return np.zeros(len(sure), bool)
    led = np.arange(len(sure)) == lead  # what the call itself advises, for its calm as well as for its money
    return np.asarray(open_ & (passive | (acts & (led | (sure > rest + least)))))


def _uses(replies: Replies, at: int, size: float, days: Floats, facts: Facts) -> dict[str, Floats]:
    """What each option takes: hours by the kind of act, where it falls into the week; and what the question states."""
    p = replies.problem
    week = ~(np.nan_to_num(days) >= WAIT_DAYS)
    hours = {(kind, unit): (each, once) for kind, unit, each, once in facts[_F + "labor.hours"].rows}
    labor = np.array([np.dot(hours.get((o.trouble, p.unit), (0.0, 0.0)), (size, 1.0)) for o in p.options])
    passive = np.array([o.passive for o in p.options])
    sprayed = np.array([o.key.startswith(TREAT) for o in p.options])
    base = np.array([o.key == p.baseline for o in p.options])
    out = {
        LABOR: np.where(week & ~passive & ~base, labor, 0.0),
        SPRAY: np.where(week & sprayed, size / facts.value(_F + "spray.acres_an_hour"), 0.0),
    }
    for name, taken in p.uses.items():
        out[name] = np.nan_to_num(np.asarray(taken, np.float64)[at])
    return {name: taken for name, taken in out.items() if taken.any()}
