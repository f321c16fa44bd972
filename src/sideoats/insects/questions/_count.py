"""The engine behind every "count, threshold, price" question: a pest brings its case, this weighs treating on each day.

A pest's file turns evidence into a `Case`: density draws, money at stake, how the injury is spread over coming days.
The rest is the same for all: options treat on day 0 to 14 and never (and one more where there is another way out),
intervals that bar days, verdict, dates, worth of another look, stop lines for that look, words.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, decide, value_of_information
from sideoats.insects.dispersion import mean_draws, summarise
from sideoats.insects.harm import treatment_payoffs
from sideoats.insects.sampling import wald_plan
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Bar, Context, Option, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DAYS = 15
NEVER = DAYS
_C, _T = "insects/counting.", "insects/treatment."
OPTIONS = (
    *(
        Option(f"treat-day-{d}", "Treat today" if d == 0 else f"Treat in {d} day{'s' * (d > 1)}", day=d)
        for d in range(DAYS)
    ),
    Option("never", "Do not treat", passive=True),
)
_TIMED = np.array([-1 if o.day is None else o.day for o in OPTIONS])


def harvest_told(days: float) -> str:
    """How far away the harvest is, in words; a day that is past is a slip, or a crop that is gone."""
    if days < 0:
        return f"the harvest day given is past by {_days(-days)}; correct it if the crop stands"
    return "harvest is today" if days == 0 else f"harvest is {_days(days)} away"


def _days(count: float) -> str:
    return "a day" if count == 1 else f"{count:.0f} days"


@dataclass(frozen=True)
class Counted:
    """Density of each place as counted: mean and units (place,), draws of the true mean (place, draw), k (place,).

    `plan_k` is the k that stop lines are drawn with, before the field's own counts are looked at; `sample` (place,)
    times a density is what one sample holds, where the density is in another unit than the sample.
    """

    mean: Floats
    units: Floats
    density: Floats
    k: Floats
    plan_k: float
    sample: Floats

    def per(self, divisor: ArrayLike) -> Counted:
        """The same count in another sample unit: everything divided by `divisor` (place,)."""
        by = np.broadcast_to(np.asarray(divisor, float), self.mean.shape)
        return replace(self, mean=self.mean / by, density=self.density / by[:, None], sample=self.sample * by)

    @property
    def unknown(self) -> Bools:
        """(place,) True where nothing was counted."""
        return np.isnan(self.mean)


@dataclass(frozen=True)
class Case:
    """What a pest says about every place of a table.

    Attributes
    ----------
    counted : the count, in the unit of the threshold
    low, high : (place,) published threshold or injury level, in the same unit; NaN where there is none
    unit : (place,) sample unit in words, such as "larvae per foot of row"
    publisher : (place,) whose threshold it is; "" where none
    at_stake : (place, draw) USD/ac the injury ahead would cost, uncapped
    progress : (day, place or 1, draw or 1) share of that injury done by each day
    cap : (place,) the most that can be lost [USD/ac], infinite where the crop's value is not known
    missing : (place,) True where the row cannot be answered, with `missing_headline`
    control : (day or 1, place or 1, draw or 1) multiple of usual efficacy, as pests outgrow the treatment
    over : (place,) True where the stage is past and no yield is left to save
    hold : (place,) True where a recount comes before any treatment, with the reason in `reasons`: a count over the
        threshold then answers look, even where natural enemies make leaving it the better bet
    next_look : (place,) days to the next look where nothing is to be done
    nominal : (place,) True where the threshold moves with neither price nor cost
    reasons, cautions : row -> further lines
    quantities : further named numbers
    extra : another way out: option, payoff (place, draw), barred (place,), reason of the bar
    """

    counted: Counted
    low: Floats
    high: Floats
    unit: NDArray[np.object_]
    publisher: NDArray[np.object_]
    at_stake: Floats
    progress: Floats
    cap: Floats
    missing: Bools
    missing_headline: Callable[[int], str]
    nominal: Bools
    control: Floats = field(default_factory=lambda: np.ones((1, 1, 1)))
    over: Bools | None = None
    hold: Bools | None = None
    next_look: Floats | None = None
    missing_look: Floats | None = None
    reasons: Callable[[int], list[str]] = lambda i: []
    cautions: Callable[[int], list[str]] = lambda i: []
    quantities: Mapping[str, tuple[Any, str]] = field(default_factory=dict)
    extra: tuple[Option, Floats, Bools, str] | None = None


def common_inputs(name: str, yield_unit: str, price_unit: str, commodity: str) -> tuple[Field, ...]:
    """Fields that every pest asks for beside its own; `name` is the question's, for the district's settings."""
    return (
        Field("yield", "number", "yield expected without the pest", unit=yield_unit, low=0, high=5000,
              found_in=("place:expected_yield",)),
        Field("price", "number", "price at harvest", unit=price_unit, low=0, high=5000,
              found_in=("place:price", f"quote:{commodity}")),
        Field("crop_value", "number", "value of the crop per acre, instead of yield and price", unit="USD/ac", low=0,
              high=20_000),
        Field("cost", "number", "product and application; the usual cost on file if absent", unit="USD/ac", low=0,
              high=300, found_in=(f"setting:cost.{name}", "setting:cost.insecticide")),
        Field("efficacy", "share", "share of the injury ahead that one treatment prevents; the range on file if absent",
              found_in=(f"setting:efficacy.{name}",)),
        Field("harvest_date", "date", "harvest, cutting or turn-out expected",
              found_in=("place:cutting_date", "place:harvest_date")),
        Field("phi_days", "number", "pre-harvest (or grazing) interval of the label in hand", unit="day", bare=True,
              low=0, high=365, found_in=(f"setting:phi.{name}", "setting:phi.insecticide")),
        Field("entry_date", "date", "day on which people have to work in the field"),
        Field("rei_hours", "number", "re-entry interval of the label in hand", unit="hour", bare=True, low=0, high=720,
              found_in=(f"setting:rei.{name}", "setting:rei.insecticide")),
        Field("acres", "number", "field size", unit="ac", bare=True, low=0.01, high=1_000_000,
              found_in=("place:acres",)),
        Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",)),
    )  # fmt: skip


def count_draws(
    table: Table, context: Context, name: str, *, counts: str = "", mean: str = "", n: str = "n", k_fact: str = ""
) -> Counted:
    """Draws of the true mean from counts unit by unit, else from a mean with its number of units.

    A mean without the number of units is taken as it stands: nothing is known of its error.
    """
    facts = context.facts
    k_known = facts.value(k_fact or _C + "k_unknown")
    sizes, means, variances = summarise(list(table.rows(counts))) if counts else (np.zeros(len(table)),) * 3
    counted = sizes > 0
    average = np.where(counted, means, table.number(mean) if mean else np.nan)
    units = np.where(counted, sizes, table.number(n) if n else np.nan)
    own = counted & (sizes >= facts.value(_C + "own_k_from")) & (means > 0)
    bounds = facts.span(_C + "k_bounds")
    with np.errstate(invalid="ignore", divide="ignore"):
        moment = np.where(variances > means, (means**2 - variances / sizes) / (variances - means), np.inf)
    k = np.where(own, np.clip(np.where(own, moment, k_known), *bounds), k_known)
    exact = np.isnan(units)
    drawn = mean_draws(average, np.where(exact, 1.0, units), k, context.outlook.normal(f"{name} count", table.keys))
    density = np.where(exact[:, None], average[:, None], drawn)
    return Counted(average, units, density, k, k_known, np.ones(len(table)))


def cost_of(table: Table, context: Context) -> Floats:
    """(place,) cost of one treatment [USD/ac], the usual one where none is given."""
    given = table.number("cost")
    return np.where(np.isnan(given), context.facts.value(_T + "usual_cost"), given) if np.isnan(given).any() else given


def crop_value(table: Table) -> Floats:
    """(place,) USD/ac: the value given, else yield times price; NaN where neither is known."""
    return np.where(
        table.known("crop_value"), table.number("crop_value"), table.number("yield") * table.number("price")
    )


def price_moves(table: Table, context: Context, commodity: str) -> Floats:
    """(place, draw) price at harvest over today's; one month and a half ahead where no harvest date is known."""
    days = np.clip(np.nan_to_num(table.days_until("harvest_date", context.on), nan=45.0), 0, 365)
    distinct, at = np.unique(days, return_inverse=True)
    return np.asarray(context.outlook.price_ratio(commodity, distinct)[:, at].T)


def spread(context: Context, name: str, low: Floats, high: Floats) -> Floats:
    """(place, draw) even draws between each place's two ends of a published range."""
    u = context.outlook.uniform(name)
    width = np.where(np.isfinite(high), high, 0.0) - np.where(np.isfinite(low), low, 0.0)
    return np.asarray(low[:, None] + width[:, None] * u)


def weigh(table: Table, context: Context, name: str, case: Case) -> Answers:
    """Weigh treating on day 0 to 14 against not treating for every place."""
    return _Reply(table, context, name, case).answers()


class _Reply:
    """One batch of answers; arrays first, words by row on demand."""

    def __init__(self, table: Table, context: Context, name: str, case: Case) -> None:
        self.table, self.context, self.name, self.case = table, context, name, case
        n = len(table)
        false = np.zeros(n, bool)
        self.over = false if case.over is None else case.over
        self.hold = false if case.hold is None else case.hold
        self.held = self.hold & (case.counted.mean >= case.low)
        facts = context.facts
        self.cost = cost_of(table, context)
        facts[_T + "entry"], facts[_T + "bees"]
        self.options = OPTIONS if case.extra is None else (*OPTIONS, case.extra[0])
        efficacy = facts[_T + "efficacy"]
        drawn = triangular(context.outlook.uniform(f"{name} efficacy"), efficacy.low, efficacy.mid, efficacy.high)
        given = table.number("efficacy")
        self.prevented = np.where(np.isnan(given)[:, None], drawn, given[:, None])
        self.skip = case.missing | self.over
        stake = np.where(self.skip[:, None], 0.0, case.at_stake)
        control = np.clip(case.control * self.prevented[None], 0.0, 1.0)
        self.payoff = treatment_payoffs(stake, case.progress, control, case.cap[:, None], self.cost)
        self.as_counted = self._gain_as_counted(stake, control[0])
        self.harvest = table.days_until("harvest_date", context.on)
        self.interval_known = table.known("phi_days")
        unread = ~self.interval_known & ~np.isnan(self.harvest)
        longest = facts.value(_T + "longest_interval") if unread.any() else np.nan
        self.interval = np.where(self.interval_known, table.number("phi_days"), longest)
        self._bars()
        if case.extra is not None:
            self.payoff = np.concatenate([self.payoff, case.extra[1][:, :, None]], axis=2)
        self.decision = self._decide()
        self.look = self._worth_of_a_look()

    def _gain_as_counted(self, stake: Floats, control: Floats) -> Floats:
        """(place,) what treating today would save if the field were just as counted, after its cost.

        A few units leave a long tail of worse fields.  Where only that tail makes treating pay, counting comes first.
        """
        counted = self.case.counted
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = np.nan_to_num(counted.mean[:, None] / counted.density, posinf=0.0)
        lost = np.minimum(stake * scale, self.case.cap[:, None])
        return np.asarray((lost * control).mean(axis=1) - self.cost)

    def _bars(self) -> None:
        """Days inside the pre-harvest interval, and days whose re-entry interval reaches the day of field work."""
        days = _TIMED
        timed = days >= 0
        inside = timed & (np.nan_to_num(self.harvest, nan=1e9)[:, None] - days < np.nan_to_num(self.interval)[:, None])
        work = self.table.days_until("entry_date", self.context.on)
        wait = np.ceil(np.nan_to_num(self.table.number("rei_hours")) / 24.0)
        gap = np.nan_to_num(work, nan=1e9)[:, None] - days
        entry = timed & (gap >= 0) & (gap < wait[:, None])
        pad = 0 if self.case.extra is None else 1
        closed = np.zeros((len(self.table), pad), bool)
        self.inside = np.concatenate([inside, closed], axis=1)
        self.entry = np.concatenate([entry, closed], axis=1)
        self.closed = np.zeros_like(self.inside)
        if self.case.extra is not None:
            self.closed[:, -1] = self.case.extra[2]
        self.barred = self.inside | self.entry | self.closed
        self.all_barred = self.barred[:, :DAYS].all(axis=1)

    def _decide(self) -> Decision:
        days = np.array([-1 if o.day is None else o.day for o in self.options])
        tolerance = self.context.facts.value(_C + "act_by_tolerance")
        return decide(
            self.payoff, barred=self.barred, days=days, tolerance=tolerance, risk_aversion=self.context.risk_aversion
        )

    def _worth_of_a_look(self) -> Floats:
        """(place,) what the next count would be worth before choosing between today, never and the other way out."""
        case, density = self.case, np.maximum(self.case.counted.density, 1e-9)
        known = ~self.skip & (np.ptp(density, axis=1) > 0)
        units = self.context.facts.value(_C + "next_units")
        one = density * case.counted.sample[:, None]
        noise = np.sqrt((1 / one + 1 / case.counted.k[:, None]) / units)
        signal = np.log(density) + noise * self.context.outlook.normal(f"{self.name} next look", self.table.keys)
        pick = [0, NEVER] if case.extra is None else [0, NEVER, NEVER + 1]
        worth = value_of_information(self.payoff[:, :, pick], np.nan_to_num(signal), barred=self.barred[:, pick])
        return np.where(known, worth, 0.0)

    def answers(self) -> Answers:
        """The batch as the contract wants it."""
        case, d = self.case, self.decision
        self.saved = d.expected[:, 0] - d.expected[:, NEVER]
        self.active = (d.best != NEVER) & (d.best >= 0)
        by_tail = (self.as_counted <= 0) & ~np.isnan(case.counted.units) & (d.best < NEVER)
        self.tail = self.active & by_tail & ~self.skip
        look_by = np.where(self.tail, 1, self._look_by())
        verdict = self._verdict()
        absent = np.where(case.missing, self._missing_look(), -1)
        quiet = (verdict == ACT) | (verdict == STOP)
        return Answers(
            self.table, self.context, headline=self._headline, because=self._because, options=self.options, decision=d,
            unit="USD/ac", bars=self._bar_words(), verdict=verdict, act_by=d.act_by,
            look_by=np.where(case.missing, absent, np.where(quiet, -1, look_by)).astype(np.int64),
            quantities=self._quantities(), worth_of_a_look=self.look, missing=case.missing,
            missing_headline=case.missing_headline, cautions=self._cautions,
            cost_of_waiting=np.where(self.skip | self.all_barred, 0.0, d.cost_of_waiting),
        )  # fmt: skip

    def _verdict(self) -> NDArray[np.int8]:
        d = self.decision
        acres = self.table.number("acres")
        acres = np.where(np.isnan(acres), self.context.facts.value(_C + "usual_acres"), acres)
        self.look_cost = self.context.facts.value(_C + "look_cost") / acres
        soon = (d.act_by < 0) | (d.act_by <= 7)
        verdict = np.where(self.active & soon, ACT, np.where(self.active | (self.look > self.look_cost), LOOK, WAIT))
        verdict = np.where(self.held | ((self.hold | self.tail) & (verdict == ACT)), LOOK, verdict)
        unread = self.inside[:, :DAYS].all(axis=1) & ~self.interval_known
        only_wait = self.all_barred & ~self.active
        verdict = np.where(only_wait, np.where(self.saved > 0, np.where(unread, LOOK, STOP), WAIT), verdict)
        return np.where(self.over, WAIT, verdict).astype(np.int8)

    def _look_by(self) -> NDArray[np.int64]:
        """Near the threshold or on hold in a few days, far below it in a week; nothing once the stage is past."""
        near, _, far = self._next_look_span()
        close = self.case.counted.mean >= 0.5 * np.nan_to_num(self.case.low, nan=np.inf)
        usual = np.where(close | self.hold, near, far)
        given = np.full(len(self.table), np.nan) if self.case.next_look is None else self.case.next_look
        days = np.where(np.isnan(given), usual, given)
        return np.where(self.over, -1, days).astype(np.int64)

    def _missing_look(self) -> Floats:
        given = np.full(len(self.table), np.nan) if self.case.missing_look is None else self.case.missing_look
        return np.where(np.isnan(given), self._next_look_span()[0], given)

    def _next_look_span(self) -> tuple[float, float, float]:
        fact = self.context.facts[_C + "next_look"]
        return fact.low, fact.mid, fact.high

    def _quantities(self) -> dict[str, tuple[Any, Any]]:
        case = self.case
        hidden = case.missing
        units = [str(u) for u in case.unit]
        unit = units[0] if len(set(units)) == 1 else units

        def shown(values: Floats) -> Floats:
            return np.where(hidden, np.nan, values)

        lines = stop_lines(case.low, case.high, self.context, case.counted, hidden)
        gain = self.saved
        pays = np.where(self.active, 1 - self.decision.chance_best[:, NEVER], np.nan)
        pays = np.where(self.active, pays, 1 - self.decision.chance_best[:, NEVER])
        return {
            "count_mean": (shown(case.counted.mean), unit),
            "density_low": (shown(np.quantile(case.counted.density, 0.1, axis=1)), unit),
            "density_high": (shown(np.quantile(case.counted.density, 0.9, axis=1)), unit),
            "threshold_low": (case.low, unit),
            "threshold_high": (case.high, unit),
            "expected_loss_untreated": (shown(-self.decision.expected[:, NEVER]), "USD/ac"),
            "expected_gain_of_treating_today": (shown(gain), "USD/ac"),
            "chance_treating_pays": (shown(np.where(self.all_barred, np.nan, pays)), "1"),
            "treatment_cost": (self.cost, "USD/ac"),
            "stop_line_below": (lines[0], "counted in all"),
            "stop_line_treat": (lines[1], "counted in all"),
            **case.quantities,
        }

    def _headline(self, i: int) -> str:
        case, d = self.case, self.decision
        seen = _amount(case.counted.mean[i], case.unit[i])
        if self.over[i]:
            return f"{seen}, but past the stage in which it costs yield: nothing to treat for."
        if self.all_barred[i] and not self.active[i]:
            left = harvest_told(self.harvest[i])
            if self.saved[i] <= 0:
                return f"{seen}: not worth treating, and {left}."
            if not self.interval_known[i]:
                return f"{seen}: would pay, but {left} and no label interval is given: read it."
            return f"{seen}: do not treat; {left}, inside the {self.interval[i]:.0f}-day interval."
        if self.held[i] or (self.hold[i] and self.active[i]):
            return f"{seen}: over the threshold, but recount before treating."
        if self.tail[i]:
            return (
                f"{seen} on {case.counted.units[i]:.0f} units: only the chance that the field is worse than counted "
                "makes treating pay; count more first."
            )
        if d.best[i] > NEVER:
            gain = d.expected[i, NEVER + 1] - max(d.expected[i, 0], d.expected[i, NEVER])
            return (
                f"{seen}: {self.options[-1].label.lower()}; worth {gain:.0f} USD/ac more than treating or leaving it."
            )
        if self.active[i]:
            best = d.expected[i, d.best[i]] - d.expected[i, NEVER]
            when = "today" if d.best[i] == 0 else f"in {d.best[i]} days"
            return f"{seen}: treating {when} is worth {best:.0f} USD/ac after its cost."
        return f"{seen}: treating today would return {round(self.saved[i]):+d} USD/ac after its cost; not yet."

    def _because(self, i: int) -> list[str]:
        case = self.case
        lines: list[str] = []
        if not case.missing[i]:
            low, high = np.quantile(case.counted.density[i], [0.1, 0.9])
            if np.isnan(case.counted.units[i]) and str(case.unit[i]).startswith("share "):
                lines.append(f"Judged by eye: the true share is likely {range_words(low, high, case.unit[i])}.")
            elif np.isnan(case.counted.units[i]):
                lines.append("How many units were counted was not given: the mean is taken as it stands.")
            else:
                lines.append(
                    f"Counted on {case.counted.units[i]:.0f} units; insects clump, so the true mean is likely "
                    f"{range_words(low, high, case.unit[i])}."
                )
        if np.isfinite(case.low[i]):
            lines.append(self._threshold_words(i))
        elif np.isinf(case.low[i]):
            lines.append("At this cost and value no number of them would pay for control.")
        lines += case.reasons(i)
        if np.isinf(case.cap[i]) and not case.missing[i]:
            lines.append("Yield and price are not known, so the loss is not capped at what the crop is worth.")
        if not self.table.known("cost")[i]:
            lines.append(f"No cost given: {self.cost[i]:.0f} USD/ac is taken as usual.")
        return lines

    def _threshold_words(self, i: int) -> str:
        case = self.case
        span = range_words(case.low[i], case.high[i], case.unit[i])
        whose = case.publisher[i] or "Published"
        if case.nominal[i]:
            return (
                f"{whose}: {span}. This threshold rests on experience and moves with neither price nor "
                "cost; money is reckoned as if control just paid there."
            )
        return f"{whose}: injury level {span} at this cost and value, control taken as complete."

    def _bar_words(self) -> tuple[Bar, ...]:
        def before_harvest(i: int) -> str:
            known = "as given" if self.interval_known[i] else "none given, so the longest on file; read the label"
            return (
                f"inside the pre-harvest interval of {self.interval[i]:.0f} days ({known}): "
                f"{harvest_told(self.harvest[i])}"
            )

        bars = [
            Bar(self.inside, before_harvest),
            Bar(self.entry, "people have to work in the field before the re-entry interval has run"),
        ]
        if self.case.extra is not None:
            bars.append(Bar(self.closed, self.case.extra[3]))
        return tuple(bars)

    def _cautions(self, i: int) -> list[str]:
        facts = self.context.facts
        lines = [
            "The label governs product, rate, crop, stage, intervals and buffers: read it before every application."
        ]
        lines += [facts.by_id[_T + name].text for name in ("entry", "bees")]
        if not self.interval_known[i]:
            lines.append("No pre-harvest or grazing interval was given: no advice on a product without its label.")
        if np.isnan(self.harvest[i]):
            lines.append("No harvest, cutting or turn-out date was given, so no interval before it was checked.")
        return lines + self.case.cautions(i)


_MOST = 1e6  # insects a unit; a worthless crop has a threshold beyond any count, and no lines to stop at


def stop_lines(low: Floats, high: Floats, context: Context, counted: Counted, hidden: Bools) -> tuple[Floats, Floats]:
    """Totals after the units counted so far at or under which to stop with "no", and at or over which with "treat"."""
    facts = context.facts
    alpha, beta = facts.value(_C + "risk_needless"), facts.value(_C + "risk_missed")
    wide = facts[_C + "indifference"]
    below, above = np.full(len(low), np.nan), np.full(len(low), np.nan)
    low, high = low * counted.sample, high * counted.sample
    usable = ~hidden & (low < _MOST) & (high < _MOST) & (low > 0) & ~np.isnan(counted.units)
    for pair in {(float(a), float(b)) for a, b in zip(low[usable], high[usable])}:
        safe, treat = pair if pair[1] > pair[0] else (pair[0] * wide.low, pair[1] * wide.high)
        rows = usable & (low == pair[0]) & (high == pair[1])
        plan = wald_plan("negative binomial", safe, treat, alpha=alpha, beta=beta, k=counted.plan_k, bounded=True)
        below[rows], above[rows] = plan.lines(counted.units[rows])
    return below, above


def _plain(value: float) -> str:
    return f"{value:.3g}"


def _amount(value: float, unit: str) -> str:
    """A number with its sample unit; a share of something as per cent of it."""
    share = unit.startswith("share ")
    return f"{100 * value:.0f} %{unit.removeprefix('share')}" if share else f"{_plain(value)} {unit}"


def range_words(low: float, high: float, unit: str) -> str:
    if low == high:
        return _amount(low, unit)
    first = f"{100 * low:.0f}" if unit.startswith("share ") else _plain(low)
    return f"{first} to {_amount(high, unit)}"
