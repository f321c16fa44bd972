"""The one rule by which every question's numbers become a verdict, dates and an order of the week.

Precedence, first that fits (docs/design.md, "Ruling"):

stop : a hazard is over its line, whatever the money
look : a hazard is not cleared; or what the money needs is missing; or another look is worth more than it costs, the
    delay of the act counted; or the best act is a coin toss (`Problem.even`)
act : the best option needs doing now and beats the best passive one by more than the trouble of it
wait : a passive option is best, or the gain does not pay for the trouble

Where the money of an open choice is not known and the grower set himself something to meet (a class at a show, the
terms of a sale), the choice that meets it takes the place of the one that gains most, and must meet it clearly more
often.

Options are weighed by certainty equivalent under exponential utility: absolute aversion is the relative aversion over
net worth, times the size of the place, because money is counted per acre, head or bushel. An aversion of 0 gives
expected money.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, decide
from sideoats.decide.information import two_way_information_from_draws
from sideoats.facts import Facts
from sideoats.problem import Look, Problem
from sideoats.records import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.int64]
_FACTS = "decide/"
LONGEST = 14  # days: no act that stays open is named for a later day; quotes and prices are old by then
WAIT_DAYS = 7  # the week: what waiting loses is counted to the next one


@dataclass(frozen=True, eq=False)
class Attitude:
    """How much the grower minds risk.

    Attributes
    ----------
    relative : relative aversion, 0 for none; one for all or (place,)
    net_worth : USD that it is relative to; one for all or (place,)
    """

    relative: float | Floats
    net_worth: float | Floats

    def absolute(self, size: Floats) -> Floats:
        """(place,) absolute aversion per unit of the place [1/(USD per unit)]."""
        return np.asarray(self.relative / self.net_worth * size, dtype=np.float64)


def attitude_of(facts: Facts, relative: float | None = None) -> Attitude:
    """The district's attitude; `relative` overrules its aversion for this once."""
    stated = facts.value(_FACTS + "attitude.relative_aversion") if relative is None else relative
    return Attitude(float(stated), facts.value(_FACTS + "attitude.net_worth"))


@dataclass(frozen=True, eq=False)
class Ruling:
    """What was ruled; arrays (place,) unless said.

    Attributes
    ----------
    verdict : codes of `sideoats.call`
    best : option that is best among those not barred, by certainty equivalent; -1 where all are barred
    toss : nothing is worth doing, and what can be left gains less over the baseline than the baseline's own trouble
    leads : the option that is advised: the best, or the best passive one where the best is not worth its trouble
    act_by : days from today, -1 for none; for a stop the day by which what is to be done instead is done
    look_by : days from today, -1 for none
    look : which of the problem's looks is advised, -1 for none
    gain : of the best option over the best passive one [money per unit], certainty equivalents
    cost_of_waiting : what is lost by waiting a week [money per unit]
    worth_of_a_look : of the best look, before its cost, or of clearing the hazard that asks for it [money per unit]
    risk_cost : what the risk left open with the best option costs: its expected gain less its certainty equivalent
    certain : (place, option) certainty equivalents over the baseline
    hazard : index of the hazard that decided, -1 for none
    least : (option,) the least gain for which somebody sets out [money per unit]
    figures : expected, low, high, chance best (place, option)
    """

    verdict: NDArray[np.int8]
    best: Days
    leads: Days
    toss: Bools
    act_by: Days
    look_by: Days
    look: Days
    gain: Floats
    cost_of_waiting: Floats
    worth_of_a_look: Floats
    risk_cost: Floats
    certain: Floats
    hazard: Days
    least: Floats
    figures: Decision


def rule(problem: Problem, attitude: Attitude, facts: Facts, size: Floats) -> Ruling:
    """Rule on every row.

    Parameters
    ----------
    problem : of n places
    attitude : see `attitude_of`
    facts : for the least gains that are worth the trouble
    size : (place,) acres, head, bushels; NaN where not known (the usual size then)
    """
    barred, days = problem.barred, _days(problem)
    passive = np.array([o.passive for o in problem.options])
    aversion = _own_attitude(problem, attitude).absolute(known_size(problem.unit, _own(problem.size, size), facts))
    figures = decide(problem.gain, barred=barred, days=days, tolerance=problem.tolerance, wait_days=WAIT_DAYS)
    certain = certainty_equivalents(problem.gain, aversion, problem.exposure)
    open_ = np.where(barred | np.isnan(certain), -np.inf, certain)
    least = _least(problem, facts)
    best = _worth_it(problem, open_, passive, least)
    resting = np.where(passive, open_, -np.inf)
    rest = resting.max(axis=1)
    stuck = np.isneginf(rest)  # nothing can be left as it is: the best act is done, whatever it gains
    top = open_[np.arange(len(best)), best]
    with np.errstate(invalid="ignore"):
        gain = np.where(stuck, top, top - rest)
    gain = np.where(best < 0, 0.0, gain)
    needs = problem.missing()
    worthy = (best >= 0) & ~passive[best] & (stuck | (gain > least[best]))
    surer = _surer(problem, figures, open_, passive, least)
    best, gain = np.where(surer >= 0, surer, best), np.where(surer >= 0, np.maximum(gain, 0.0), gain)
    top, worthy = open_[np.arange(len(best)), best], worthy | (surer >= 0)
    aim = _aim(problem, np.isnan(certain) & ~barred, barred, passive, facts.value(_FACTS + "aim.least"))
    best, worthy = np.where(aim.decides, aim.best, best), np.where(aim.decides, aim.worthy, worthy)
    gain = np.where(aim.decides, 0.0, gain)
    even = np.zeros(len(best), bool) if problem.even is None else problem.even & ~stuck
    worthy = worthy & ~even
    act = worthy & _presses(problem, best)
    look, worth, net = _best_look(problem, open_, days, act, least)
    # a look that holds up an act must be worth setting out for, as the act must
    net = net - np.where(act, least[np.maximum(best, 0)], 0.0)
    standing, uncleared = _hazards(problem)

    verdict = np.select(
        [standing >= 0, (uncleared >= 0) | needs | (net > 0) | even, act], [STOP, LOOK, ACT], default=WAIT
    ).astype(np.int8)
    hazard = np.where(standing >= 0, standing, uncleared)
    latest = np.where(act, _put_off(problem, _latest(open_, days, best, problem.tolerance)), -1)
    leads = np.where(worthy | (stuck & ~aim.decides), best, np.where(aim.decides, aim.rest, np.argmax(resting, axis=1)))
    leads = leads.astype(np.int64)
    trouble = least[[o.key for o in problem.options].index(problem.baseline)]
    over = figures.expected[np.arange(len(best)), leads]
    waiting = _week_lost(problem, best, _cost_of_waiting(open_, days, top))
    return Ruling(
        verdict=verdict,
        best=best.astype(np.int64),
        leads=leads,
        toss=np.asarray(~worthy & (over < trouble) & ~aim.decides),
        act_by=_act_by(problem, verdict, standing, latest),
        look_by=_look_by(problem, verdict, hazard, needs, look, latest),
        look=np.where(net > 0, look, -1),
        gain=np.where(needs, 0.0, gain),
        cost_of_waiting=np.where(needs | ~act, 0.0, waiting),
        worth_of_a_look=np.where(
            needs, _worth_of_settling(problem), np.maximum(worth, _worth_of_clearing(problem, verdict, hazard))
        ),
        risk_cost=np.where(
            (best < 0) | aim.decides,
            0.0,
            figures.expected[np.arange(len(best)), best] - np.where(aim.decides, 0.0, top),
        ),
        certain=certain,
        hazard=hazard,
        least=least,
        figures=figures,
    )


def known_size(unit: str, size: Floats, facts: Facts) -> Floats:
    """(place,) sizes, the usual one of that money unit where not known (1 in a table without sizes is not known)."""
    usual = dict(facts[_FACTS + "attitude.usual_size"].rows).get(unit, 1.0)
    return np.where(np.isfinite(size) & (size > 0), size, usual)


def certainty_equivalents(gain: Floats, aversion: Floats, exposure: Floats | None = None) -> Floats:
    """(place, option) certainty equivalents of gains under exponential utility, over the baseline.

    Parameters
    ----------
    gain : (place, draw, option) money per unit over the baseline
    aversion : (place,) absolute aversion per unit of that money; 0 gives the mean
    exposure : (place, draw) the baseline's own luck: an option that offsets it is worth more for it
    """
    if exposure is None:
        return np.stack([_exponential(gain[:, :, at], aversion) for at in range(gain.shape[2])], axis=1)
    alone = _exponential(exposure, aversion)
    out = np.zeros((gain.shape[0], gain.shape[2]))
    for at in range(gain.shape[2]):  # one option at a time keeps the working set in cache
        own = gain[:, :, at]
        if own.any():  # the baseline gains nothing over itself
            out[:, at] = _exponential(own + exposure, aversion) - alone
    return out


def _exponential(money: Floats, aversion: Floats) -> Floats:
    """(place,) certainty equivalent of money (place, draw)."""
    mean = money.mean(axis=1)
    averse = np.flatnonzero(aversion > 0)
    if not averse.size:
        return np.asarray(mean)
    every = averse.size == len(mean)
    x, a = (money, aversion[:, None]) if every else (money[averse], aversion[averse, None])
    floor = x.min(axis=1, keepdims=True)  # shift by the worst outcome so that exp never overflows
    inner = np.subtract(floor, x)
    inner *= a
    sure = floor[:, 0] - np.log1p(np.expm1(inner, out=inner).mean(axis=1)) / a[:, 0]  # exact for next to no aversion
    if every:
        return np.asarray(sure)
    mean[averse] = sure
    return np.asarray(mean)


def _days(problem: Problem) -> Floats:
    return np.array([-1.0 if o.day is None else float(o.day) for o in problem.options])


def _least(problem: Problem, facts: Facts) -> Floats:
    """(option,) the least gain for which somebody sets out."""
    least = {(kind, money): low for kind, money, low in facts[_FACTS + "trouble.least"].rows}
    return np.array([least.get((o.trouble, problem.unit), 0.0) for o in problem.options])


def _hazards(problem: Problem) -> tuple[Days, Days]:
    """Index of the first hazard over its line, and of the first that is not cleared; -1 for none."""
    n = problem.gain.shape[0]
    standing, uncleared = np.full(n, -1), np.full(n, -1)
    for at, hazard in reversed(list(enumerate(problem.hazards))):
        standing[hazard.stands()] = at
        uncleared[hazard.uncleared()] = at
    return standing, uncleared


@dataclass(frozen=True, eq=False)
class _Aim:
    """Rows (place,) in which what the grower set himself to meet decides; there the choice that meets it most often,
    whether it is worth setting about, and the passive choice that meets it most often.
    """

    decides: Bools
    best: Days
    worthy: Bools
    rest: Days


def _aim(problem: Problem, unknown: Bools, barred: Bools, passive: Bools, least: float) -> _Aim:
    n, at = len(unknown), np.arange(len(unknown))
    if problem.aims is None:
        none = np.zeros(n, np.int64)
        return _Aim(np.zeros(n, bool), none, np.zeros(n, bool), none)
    met = np.where(barred, -np.inf, problem.aims)
    best, rest = met.argmax(axis=1), np.where(passive, met, -np.inf).argmax(axis=1)
    resting = np.where(passive[rest] & ~barred[at, rest], met[at, rest], 0.0)
    worthy = ~passive[best] & (met[at, best] - resting >= least)
    return _Aim(np.asarray(unknown.any(axis=1)), best, np.asarray(worthy), rest)


def _best_look(problem: Problem, open_: Floats, days: Floats, act: Bools, least: Floats) -> tuple[Days, Floats, Floats]:
    """The look that nets most: its index, its worth, and its worth less its cost, both money per unit.

    A look delays the act: only options that are still open after it can be chosen on what it shows. One whose worth is
    not known in money is taken where there is no act that it would delay.
    """
    n = problem.gain.shape[0]
    at, worth, net = np.full(n, -1), np.zeros(n), np.full(n, -np.inf)
    for i, look in enumerate(problem.looks):
        found = _worth(problem, look, open_, days, act, least) if look.worth is None else look.worth
        nets = np.where(np.isnan(found), np.where(act, -np.inf, np.finfo(float).tiny), found - look.cost)
        better = nets > net
        at = np.where(better, i, at)
        worth, net = np.where(better, np.nan_to_num(found), worth), np.where(better, nets, net)
    return at, worth, net


def _worth(problem: Problem, look: Look, open_: Floats, days: Floats, act: Bools, least: Floats) -> Floats:
    """(place,) what a look is worth before its cost; the delay costs those who would act.

    An act that gains no more than its trouble is as open as one that gains nothing: a field just worth treating is not
    passed over where one a little cleaner is looked at.
    """
    survives = (days < 0) | (days >= look.delay)
    gone = np.isneginf(open_) | ~survives
    with np.errstate(invalid="ignore"):
        lost = open_.max(axis=1) - np.where(gone, -np.inf, open_).max(axis=1)
    left = np.where(gone, -np.inf, open_)
    passive = np.array([o.passive for o in problem.options])
    at = np.arange(len(left))
    acts, rests = (np.where(side, left, -np.inf) for side in (~passive, passive))
    first, rest = acts.argmax(axis=1), rests.argmax(axis=1)
    both = np.isfinite(acts[at, first]) & np.isfinite(rests[at, rest])
    over = problem.gain[at, :, first] - problem.gain[at, :, rest]
    over = over - np.clip(np.nan_to_num(over.mean(axis=1)), 0.0, least[first])[:, None]
    informed = two_way_information_from_draws(over, look.signal)
    return np.where(np.isfinite(lost) & both, np.maximum(informed - np.where(act, lost, 0.0), 0.0), 0.0)


def _presses(problem: Problem, best: Days) -> Bools:
    """(place,) putting the best option off a week costs something, as far as is known."""
    if problem.delay is None:
        return np.ones(len(best), bool)
    return np.asarray(~(problem.delay[np.arange(len(best)), best] <= 0))


def _worth_it(problem: Problem, open_: Floats, passive: Bools, least: Floats) -> Days:
    """(place,) the best option, -1 where all are barred.

    Of two acts the one that is worth more after the trouble of each: a price is not locked for a cent or two over grain
    that is simply stored. Where nothing can be left as it is, the baseline is the easy way: another act must beat it by
    its own trouble.
    """
    at, base = np.arange(len(open_)), [o.key for o in problem.options].index(problem.baseline)
    act = np.argmax(np.where(passive, -np.inf, np.round(open_ - least, 9)), axis=1)  # the first of equals
    weighed = np.where(passive | (np.arange(len(passive)) == act[:, None]), open_, -np.inf)
    best = np.where(np.isneginf(open_).all(axis=1), -1, np.argmax(weighed, axis=1))
    stuck = np.isneginf(np.where(passive, open_, -np.inf)).all(axis=1) & np.isfinite(open_[:, base])
    little = stuck & (best != base) & (open_[at, best] <= least[best])
    return np.where(little, base, best)


def _surer(problem: Problem, figures: Any, open_: Floats, passive: Bools, least: Floats) -> Days:
    """(place,) the act that takes the lead from an option which it beats in both mean and risk; -1 where none does.

    The trouble of an act keeps it from being done for a cent, but advice that the table beside it beats twice over is
    none. It must gain more over the baseline than its own trouble, and bring more on average (by a tenth of that
    trouble: less is no difference in the table) than the option that would lead otherwise, with a better worst tenth,
    less between the two, and a better certainty equivalent. Where the averages differ by no more than that tenth, it
    leads by a worst tenth better by the whole trouble and a certainty equivalent better by a tenth of it: the same
    money with less risk is better for who minds risk, and a stake too small to matter may stay open.
    """
    at, base = np.arange(len(open_)), [o.key for o in problem.options].index(problem.baseline)
    mean, worst = np.round(figures.expected, 9), np.round(figures.worst_tenth, 9)
    first = _worth_it(problem, open_, passive, least)
    rest = np.where(passive, open_, -np.inf).argmax(axis=1)
    idle = passive[first] | (open_[at, first] <= open_[at, rest] + least[first])
    leads = np.where(idle & np.isfinite(open_[at, rest]), rest, first)[:, None]
    lead_mean, lead_worst = (np.take_along_axis(of, leads, 1) for of in (mean, worst))
    floor = np.where(np.isfinite(open_[:, [base]]), open_[:, [base]], np.inf)
    over = np.isfinite(open_) & (np.where(np.isfinite(open_), open_, 0.0) > floor + least)
    more = (mean > lead_mean + 0.1 * least) & (worst > lead_worst)
    lead_certain = np.take_along_axis(open_, leads, 1)
    safer = (mean >= lead_mean - 0.1 * least) & (worst > lead_worst + least) & (open_ > lead_certain + 0.1 * least)
    beats = over & ~passive & (more | safer) & (leads != base)
    beats &= (open_ > lead_certain) & (mean - worst < lead_mean - lead_worst - 1e-9)
    found = np.where(beats, open_, -np.inf).argmax(axis=1)
    return np.where((first >= 0) & beats.any(axis=1), found, -1)


def _latest(open_: Floats, days: Floats, best: Days, tolerance: float) -> Days:
    """Last day whose timed option is within tolerance of the best; today for a best option that names no day."""
    timed = days >= 0
    top = open_[np.arange(len(best)), best]
    within = timed & (open_ >= (top - tolerance)[:, None])
    latest = np.where(within, days, -1.0).max(axis=1, initial=-1.0)
    return np.where(timed[best], latest, 0).astype(np.int64)


def _cost_of_waiting(open_: Floats, days: Floats, top: Floats) -> Floats:
    """Best now less best still open after the wait; the whole gain over the baseline where nothing survives."""
    later = np.where((days < 0) | (days >= WAIT_DAYS), open_, -np.inf).max(axis=1)
    later = np.where(np.isneginf(later), 0.0, later)
    with np.errstate(invalid="ignore"):
        return np.where(np.isneginf(top), 0.0, np.maximum(top - later, 0.0))


def _put_off(problem: Problem, latest: Days) -> Days:
    """The day on which acts of the question are due, where it has one; else the last day within tolerance of an act
    that stays open while one waits, where what a day costs is known.
    """
    if problem.due is not None:
        latest = np.where(problem.due >= 0, problem.due, latest)
    a_day = _own(problem.a_day, np.full(len(latest), np.nan))
    within = np.floor(problem.tolerance / np.maximum(a_day, 1e-6)).clip(0, LONGEST)
    return np.where(np.isnan(a_day), latest, within).astype(np.int64)


def _week_lost(problem: Problem, best: Days, lost: Floats) -> Floats:
    """What a week's wait costs: the best option's own delay where the question knows it; else never more than a week's
    days do, where the act is still open then.
    """
    if problem.delay is not None:
        return np.maximum(np.nan_to_num(problem.delay[np.arange(len(best)), best]), 0.0)
    a_day = _own(problem.a_day, np.full(len(lost), np.nan))
    return np.where(np.isnan(a_day), lost, np.minimum(lost, np.maximum(WAIT_DAYS * a_day, 0.0)))


def _own(stated: Floats | None, usual: Floats) -> Floats:
    """What a place states for itself, the usual where it states nothing."""
    return usual if stated is None else np.where(np.isnan(stated), usual, stated)


def _own_attitude(problem: Problem, attitude: Attitude) -> Attitude:
    """The attitude of each place: the grower's own where he states it, else the district's."""
    n = problem.gain.shape[0]
    return Attitude(
        _own(problem.aversion, np.full(n, attitude.relative)), _own(problem.net_worth, np.full(n, attitude.net_worth))
    )


def _act_by(problem: Problem, verdict: NDArray[np.int8], standing: Days, latest: Days) -> Days:
    stop = _by_hazard(problem, "act_within", standing)
    return np.where(verdict == STOP, stop, np.where(verdict == ACT, latest, -1)).astype(np.int64)


def _look_by(problem: Problem, verdict: NDArray[np.int8], hazard: Days, needs: Bools, look: Days, latest: Days) -> Days:
    """A hazard's own day first, then the look's, never after the last good day of the act; else the recheck."""
    n = len(verdict)
    within = np.full(n, -1)
    for i, offered in enumerate(problem.looks):
        within = np.where(look == i, offered.within, within)
    within = np.where((latest >= 0) & (within > latest), latest, within)
    recheck = np.full(n, -1) if problem.recheck is None else problem.recheck
    within = np.where(look < 0, recheck, within)  # a coin toss is looked at again as things come on
    asked = np.where(needs, np.where(recheck >= 0, np.minimum(recheck, WAIT_DAYS), WAIT_DAYS), within)
    looked = np.where(hazard >= 0, _by_hazard(problem, "look_within", hazard), asked)
    stands = _by_hazard(problem, "again", hazard)
    later = np.where(verdict == STOP, stands, np.where(verdict == WAIT, recheck, -1))
    return np.where(verdict == LOOK, looked, later).astype(np.int64)


def _worth_of_clearing(problem: Problem, verdict: NDArray[np.int8], hazard: Days) -> Floats:
    """(place,) what clearing the hazard that decided would bring; 0 where that is not known."""
    out = np.zeros(len(verdict))
    for at, each in enumerate(problem.hazards):
        if each.worth is not None:
            out = np.where((hazard == at) & (verdict == LOOK), np.nan_to_num(each.worth), out)
    return out


def _worth_of_settling(problem: Problem) -> Floats:
    """(place,) what a look is worth that supplies what is missing; 0 where no look of the question does."""
    out = np.zeros(problem.gain.shape[0])
    for look in problem.looks:
        if look.settles and look.worth is not None:
            out = np.where(problem.needs[look.settles], np.maximum(np.nan_to_num(look.worth), out), out)
    return out


def _by_hazard(problem: Problem, what: str, index: Days) -> Days:
    out = np.full(len(index), -1)
    for at, hazard in enumerate(problem.hazards):
        out = np.where(index == at, np.asarray(getattr(hazard, what)), out)
    return out


def order(verdicts: Sequence[str], lost: Sequence[float], days: Sequence[int]) -> list[int]:
    """The order of the week as indices: hazards first, then what waiting would cost, then the nearest day."""
    rank = {"stop": 0, "act": 1, "look": 1, "wait": 2}

    def key(at: int) -> tuple[Any, ...]:
        return (rank[verdicts[at]], -lost[at], days[at] if days[at] >= 0 else 10_000, at)

    return sorted(range(len(verdicts)), key=key)
