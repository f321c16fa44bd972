"""Treat this sorghum for aphids, and by when?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, decide, value_of_information
from sideoats.errors import InputError
from sideoats.insects.dispersion import mean_draws, mean_draws_from_share, summarise
from sideoats.insects.growth import day_response, field_growth
from sideoats.insects.sampling import wald_plan
from sideoats.insects.treatment import loss_per_pest_day, losses, pest_days_by_day, triangular
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_F = "insects/sorghum_aphid."
_DAYS = 15
_TALLY = 50.0  # the published tally line of `infested_over_50`
OPTIONS = (
    *(
        Option(f"treat-day-{d}", "Treat today" if d == 0 else f"Treat in {d} day{'s' * (d > 1)}", day=d)
        for d in range(_DAYS)
    ),
    Option("never", "Do not treat", passive=True),
)
STAGES = ("pre-boot", "boot", "flowering", "milk", "soft dough", "dough", "hard dough", "black layer")

INPUTS = (
    Field("crop", "choice", "grain or forage sorghum", choices=("grain sorghum", "forage sorghum"),
          default="grain sorghum", found_in=("place:crop",)),
    Field("counts", "counts", "aphids on each leaf looked at, leaf by leaf", high=100_000, example="12,40,7",
          fresh_days=21, found_in=("evidence:leaf_counts.counts",)),
    Field("mean", "number", "mean aphids per leaf, with n, where single counts were not kept", low=0, high=100_000,
          fresh_days=21, found_in=("evidence:leaf_counts.mean",)),
    Field("n", "number", "leaves looked at", low=1, high=100_000, fresh_days=21, found_in=("evidence:leaf_counts.n",)),
    Field("infested_over_50", "share", "share of leaves with more than 50 aphids, with n",
          fresh_days=21, found_in=("evidence:leaf_counts.infested_over_50",)),
    Field("stage", "choice", "growth stage of most plants", choices=STAGES, required=True,
          aliases={"preboot": "pre-boot", "whorl": "pre-boot", "bloom": "flowering", "heading": "flowering"},
          fresh_days=21, found_in=("evidence:leaf_counts.stage", "place:stage")),
    Field("yield", "number", "yield expected without aphids", unit="bu/ac", low=0, high=300, required=True,
          example="80 bu/ac", found_in=("place:expected_yield",)),
    Field("price", "number", "price at harvest", unit="USD/bu", low=0, high=100, required=True, example="4.50 USD/bu",
          found_in=("place:price", "quote:grain sorghum", "setting:price.grain_sorghum")),
    Field("cost", "number", "insecticide and application", unit="USD/ac", low=0, high=200, required=True,
          example="14 USD/ac", found_in=("setting:cost.aphid_treatment",)),
    Field("efficacy", "share", "share of the remaining injury that one application prevents; the published range if absent",
          found_in=("setting:efficacy.aphid_treatment",)),
    Field("honeydew", "choice", "honeydew on the leaves", choices=("none", "light", "heavy"),
          fresh_days=21, found_in=("evidence:leaf_counts.honeydew",)),
    Field("predators", "choice", "lady beetles, lacewings, hover flies and the like", choices=("none", "few", "many"),
          fresh_days=21, found_in=("evidence:leaf_counts.predators",)),
    Field("parasitized", "share", "share of aphids that are mummies", fresh_days=21, found_in=("evidence:leaf_counts.parasitized",)),
    Field("harvest_date", "date", "harvest or swathing expected", found_in=("place:harvest_date",)),
    Field("phi_days", "number", "pre-harvest interval of the label in hand, days", unit="day", bare=True, low=0, high=120,
          found_in=("setting:phi.aphid_treatment",)),
    Field("rain_forecast", "number", "rain expected within two days", unit="mm", low=0, high=500, example="0.5 in"),
    Field("acres", "number", "field size", unit="ac", bare=True, low=0.01, high=100_000, found_in=("place:acres",)),
    Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",)),
    Field("planting_date", "date", "tells the week whether the crop is in the field", found_in=("place:planting_date",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    given = [name for name in ("counts", "mean", "infested_over_50") if values[name] is not None]
    if values["crop"] == "forage sorghum":
        return
    if len(given) != 1:
        raise InputError(
            f"{' and '.join(given) if given else 'no count'} given", where="sorghum-aphid",
            expected="one of counts=12,40,7,... or mean= with n= or infested_over_50= with n=",
            todo="count aphids on at least 20 leaves, low and high on the plant",
        )  # fmt: skip
    if given != ["counts"] and values["n"] is None:
        raise InputError(
            f"{given[0]} without the number of leaves", where="sorghum-aphid n", expected="n=40",
            todo="a mean says little without how many leaves it rests on",
        )  # fmt: skip


@dataclass(frozen=True)
class _Futures:
    """Drawn biology shared by all places: (draw,) unless said."""

    rate: Floats
    ceiling: Floats
    infestation: Floats
    slope: Floats
    cap: Floats
    prevented: Floats
    cumulative: Floats  # (day, station, draw)
    later_rate: Floats  # (station, draw)
    recent: Floats  # (station, draw) scaling of the rate today


def _futures(context: Context) -> _Futures:
    facts, out = context.facts, context.outlook
    u = {name: out.uniform(f"sorghum aphid {name}") for name in ("rate", "ceiling", "days", "gain", "cap", "efficacy")}
    rate_fact, gain_fact, cap_fact = (
        facts[_F + "field_rate"],
        facts[_F + "gain_at_injury_level"],
        facts[_F + "loss_cap"],
    )
    rate = triangular(u["rate"], rate_fact.low, rate_fact.mid, rate_fact.high)
    ceiling = np.asarray(_scale(u["ceiling"], *facts.span(_F + "ceiling")))
    infestation = np.asarray(_scale(u["days"], *facts.span(_F + "infestation_days")))
    efficacy = facts[_F + "efficacy"]
    prevented = triangular(u["efficacy"], efficacy.low, efficacy.mid, efficacy.high)
    fast, slow = facts.value(_F + "injury_level.fast"), facts.value(_F + "injury_level.slow")
    speed = (rate - rate_fact.low) / (rate_fact.high - rate_fact.low)
    level = np.exp(np.log(slow) + speed * (np.log(fast) - np.log(slow)))  # quick growers have the low injury level
    gain = triangular(u["gain"], gain_fact.low, gain_fact.mid, gain_fact.high) / efficacy.mid
    slope = loss_per_pest_day(level, gain, rate, ceiling, infestation)
    cap = triangular(u["cap"], cap_fact.low, cap_fact.mid, cap_fact.high)
    scaling = _scaling(context)
    daily = rate[None, :, None] * scaling
    cumulative = np.zeros((_DAYS, *daily.shape[:2]))
    np.cumsum(np.moveaxis(daily[:, :, : _DAYS - 1], 2, 0), axis=0, out=cumulative[1:])
    return _Futures(
        rate, ceiling, infestation, slope, cap, prevented, cumulative, daily[:, :, _DAYS - 1 :].mean(axis=2),
        scaling[:, :, :7].mean(axis=2),
    )  # fmt: skip


def _scale(u: Floats, low: float, high: float) -> Floats:
    return low + (high - low) * u


def _scaling(context: Context) -> Floats:
    """(station, draw, day) by which each day's temperature scales the field rate; all 1 without a station."""
    facts, out = context.facts, context.outlook
    horizon = _DAYS + 21
    if not out.has_weather:
        return np.ones((1, out.draws, horizon))
    lower, optimum, upper = facts[_F + "development"].rows[0]
    warm_low, warm_high = facts[_F + "reference_day"].rows[0]
    suits = day_response(out.daily("tmin")[..., :horizon], out.daily("tmax")[..., :horizon], lower, optimum, upper)
    reference = float(day_response(warm_low, warm_high, lower, optimum, upper))
    scaled = field_growth(1.0, suits, reference, most=facts.value(_F + "most_warming"))
    return np.asarray(scaled[:, out.year_of_draw, :])


def _start(table: Table, context: Context) -> tuple[Floats, Floats, Floats]:
    """Drawn density when counted (place, draw), the sample's mean and number of leaves (place,); NaN where no count."""
    k = context.facts.value(_F + "dispersion")
    normals = context.outlook.normal("sorghum aphid count", table.keys)
    sizes, mean, _ = summarise(list(table.rows("counts")))
    counted = sizes > 0
    mean = np.where(counted, mean, table.number("mean"))
    leaves = np.where(counted, sizes, table.number("n"))
    share = table.number("infested_over_50")
    density = mean_draws(mean, np.maximum(leaves, 1), np.full(len(table), k), normals)
    by_share = np.isnan(mean) & ~np.isnan(share) & ~np.isnan(leaves)
    if by_share.any():
        drawn = mean_draws_from_share(share[by_share], leaves[by_share], k, _TALLY, normals[by_share])
        density[by_share] = drawn
        mean = np.where(by_share, np.nan, mean)
        mean[by_share] = np.median(drawn, axis=1)
    return density, mean, leaves


def _slowing(table: Table, context: Context) -> Floats:
    """(place, draw) share by which natural enemies slow the rate: an uncertain slowing, no threshold."""
    fact = context.facts[_F + "slowing"]
    bounds = {name: (low, high) for name, low, high in fact.rows}
    spans = np.array([bounds.get(p, bounds["none"]) for p in table.text("predators")], dtype=float).reshape(-1, 2)
    u = context.outlook.uniform("sorghum aphid enemies")
    mummies = np.nan_to_num(table.number("parasitized"), nan=0.0)
    beetles = spans[:, :1] + (spans[:, 1:] - spans[:, :1]) * u
    return np.asarray(1 - (1 - beetles) * (1 - mummies[:, None] * u))


def answer(table: Table, context: Context) -> Answers:
    """Weigh treating on day 0 to 14 against not treating, for every field of the table."""
    facts, n = context.facts, len(table)
    forage = table.text("crop") == "forage sorghum"
    futures: _Futures = context.once(QUESTION.name, _futures)
    density, mean, leaves = _start(table, context)
    no_count = np.isnan(density).any(axis=1)
    incomplete = ~(table.known("stage") & table.known("yield") & table.known("price") & table.known("cost"))
    missing = forage | no_count | incomplete
    density = np.where(missing[:, None], 1.0, density)

    station = context.outlook.station_rows(table.text("station")) if context.outlook.has_weather else np.zeros(n, int)
    free = 1 - _slowing(table, context)
    age = np.nan_to_num(np.fmin(table.age_days("counts"), table.age_days("mean")), nan=0.0)
    if age.any():
        grown = np.expm1(np.minimum(age[:, None] * futures.rate * futures.recent[station] * free, 30))
        share = np.minimum(density / futures.ceiling, 1.0)
        density = np.minimum(density * (1 + grown) / (1 + share * grown), np.maximum(futures.ceiling, density))

    filling = dict(facts[_F + "days_to_black_layer"].rows)
    grain_days = np.array([float(filling.get(s, 0.0)) for s in table.text("stage")])
    injury_days = np.minimum(np.maximum(grain_days - age, 0.0)[:, None], futures.infestation)
    beset = np.flatnonzero((free < 1).any(axis=1))  # natural enemies give a place a growth path of its own
    which = station.copy()
    which[beset] = len(futures.later_rate) + np.arange(len(beset))
    slowed = futures.cumulative[:, station[beset]] * free[beset]
    before, whole = pest_days_by_day(
        density,
        np.concatenate([futures.cumulative, slowed], axis=1),
        which,
        np.concatenate([futures.later_rate, futures.later_rate[station[beset]] * free[beset]]),
        futures.ceiling,
        injury_days,
    )
    given = table.number("efficacy")[:, None]
    prevented = np.where(np.isnan(given), futures.prevented, given)
    treated, never = losses(before, whole, futures.slope, futures.cap, prevented)

    harvest = table.days_until("harvest_date", context.on)
    price_days = np.clip(np.nan_to_num(harvest, nan=45.0), 0, 365)
    ratio = context.outlook.price_ratio("grain sorghum", np.unique(price_days))
    ratio = ratio[:, np.searchsorted(np.unique(price_days), price_days)].T
    worth = np.nan_to_num(table.number("yield") * table.number("price"))[:, None] * ratio
    cost = np.nan_to_num(table.number("cost"))[:, None]
    payoff = np.empty((n, len(OPTIONS), context.outlook.draws))
    clear = worth - cost
    for d in range(_DAYS):
        np.multiply(worth, treated[d], out=treated[d])
        np.subtract(clear, treated[d], out=payoff[:, d])
    payoff[:, _DAYS] = worth * (1 - never)
    by_draw = payoff.transpose(0, 2, 1)

    interval = np.where(table.known("phi_days"), table.number("phi_days"), facts.value(_F + "pre_harvest_interval"))
    days = np.array([-1 if o.day is None else o.day for o in OPTIONS])
    barred = (days >= 0) & (np.nan_to_num(harvest, nan=1e9)[:, None] - days < interval[:, None])
    decision = decide(
        by_draw,
        barred=barred,
        days=days,
        tolerance=facts.value(_F + "act_by_tolerance"),
        risk_aversion=context.risk_aversion,
    )
    more = np.maximum(20.0, np.nan_to_num(leaves, nan=40.0))
    k = facts.value(_F + "dispersion")
    noise = np.sqrt((1 / np.maximum(density, 1e-9) + 1 / k) / more[:, None])
    signal = np.log(np.maximum(density, 1e-9)) + noise * context.outlook.normal("sorghum aphid next look", table.keys)
    look = value_of_information(by_draw[:, :, [0, _DAYS]], signal, barred=barred[:, [0, _DAYS]])
    return _Reply(
        table, context, decision, barred, missing, forage, mean, leaves, density, worth.mean(axis=1), never, look, harvest,
        interval, futures,
    ).answers()  # fmt: skip


@dataclass(frozen=True)
class _Reply:
    """Verdicts and words from the arrays."""

    table: Table
    context: Context
    decision: Decision
    barred: NDArray[np.bool_]
    missing: NDArray[np.bool_]
    forage: NDArray[np.bool_]
    mean: Floats
    leaves: Floats
    density: Floats
    worth: Floats
    never: Floats
    look: Floats
    harvest: Floats
    interval: Floats
    futures: _Futures

    def answers(self) -> Answers:
        d, facts = self.decision, self.context.facts
        active = d.best < _DAYS
        saved = d.expected[:, 0] - d.expected[:, _DAYS]
        all_barred = self.barred[:, :_DAYS].all(axis=1)
        chance_pays = np.where(active, 1 - d.chance_best[:, _DAYS], d.chance_best[:, :_DAYS].sum(axis=1))
        acres = self.table.number("acres")
        acres = np.where(np.isnan(acres), facts.value(_F + "usual_acres"), acres)
        look_cost = facts.value(_F + "look_cost") / acres
        look_by = self._look_by(saved)
        # A field that pays to treat but may not be treated gets "stop": the interval is law, and residue reaches people.
        verdict = np.where(active & (d.act_by <= 7), ACT, np.where(active | (self.look > look_cost), LOOK, WAIT))
        verdict = np.where(all_barred, np.where(saved > 0, STOP, WAIT), verdict)
        lower, upper, more = self._stop_lines()
        quantities = {
            "mean_aphids_per_leaf": (np.where(self.missing, np.nan, self.mean), "aphids/leaf"),
            "density_low": (self._hide(np.quantile(self.density, 0.1, axis=1)), "aphids/leaf"),
            "density_high": (self._hide(np.quantile(self.density, 0.9, axis=1)), "aphids/leaf"),
            "expected_loss_untreated": (self._hide(self.never.mean(axis=1)), "1"),
            "expected_gain_of_treating_today": (self._hide(saved), "USD/ac"),
            "chance_treating_pays": (self._hide(np.where(all_barred, np.nan, chance_pays)), "1"),
            "doubling_time": (self._hide(np.full(len(self.table), np.log(2) / np.median(self.futures.rate))), "day"),
            "crop_value": (self._hide(self.worth), "USD/ac"),
            "pre_harvest_interval": (self.interval, "day"),
            "leaves_to_count_more": (self._hide(more), "leaf"),
            "stop_line_below": (self._hide(lower), "aphids in all"),
            "stop_line_treat": (self._hide(upper), "aphids in all"),
        }
        return Answers(
            self.table, self.context, headline=self._headline, because=self._because, options=OPTIONS, decision=d,
            unit="USD/ac", bars=(Bar(self.barred, self._bar_reason),), verdict=verdict.astype(np.int8), act_by=d.act_by,
            look_by=np.where(active & ~all_barred, -1, look_by), quantities=quantities,
            worth_of_a_look=self._hide(self.look), missing=self.missing, missing_headline=self._missing,
            cautions=self._cautions,
        )  # fmt: skip

    def _hide(self, values: Floats) -> Floats:
        return np.where(self.missing, np.nan, values)

    def _look_by(self, saved: Floats) -> NDArray[np.int64]:
        """Days until a fast-growing population could make treating pay, less one to act; 2 to 7."""
        cost = np.nan_to_num(self.table.number("cost"))
        ratio = cost / np.maximum(saved + cost, 1e-6)
        days = np.log(np.maximum(ratio, 1.0)) / np.quantile(self.futures.rate, 0.9)
        return np.asarray(np.clip(np.floor(days) - 1, 2, 7), dtype=np.int64)

    def _stop_lines(self) -> tuple[Floats, Floats, Floats]:
        """Running totals at which counting may stop, and about how many more leaves that takes."""
        facts = self.context.facts
        threshold = facts[_F + "threshold"]
        in_vain, miss = facts[_F + "sampling_risks"].rows[0]
        plan = wald_plan(
            "negative binomial",
            threshold.low,
            threshold.mid,
            alpha=in_vain,
            beta=miss,
            k=facts.value(_F + "dispersion"),
        )
        leaves = np.nan_to_num(self.leaves, nan=0.0)
        lower, upper = plan.lines(leaves)
        total = np.nan_to_num(self.mean) * leaves
        pace = self.mean - plan.slope
        gap = np.where(pace >= 0, upper - total, total - lower)
        with np.errstate(divide="ignore", invalid="ignore"):
            more = np.where((total >= upper) | (total <= lower), 0.0, np.ceil(gap / np.abs(pace)))
        return lower, upper, np.minimum(more, 200.0)

    def _missing(self, i: int) -> str:
        if self.forage[i]:
            return (
                "No published threshold covers forage sorghum: look again in a few days for honeydew and dying leaves."
            )
        lacking = [name for name in ("stage", "yield", "price", "cost") if not self.table.known(name)[i]]
        if lacking:
            return f"Cannot be answered without {', '.join(lacking)}: ask the grower."
        return "No aphid count on file: count leaf by leaf, low and high on the plant."

    def _headline(self, i: int) -> str:
        d = self.decision
        saved = d.expected[i, 0] - d.expected[i, _DAYS]
        seen = f"{self.mean[i]:.0f} aphids a leaf"
        if self.barred[i, :_DAYS].all():
            inside = f"harvest in {self.harvest[i]:.0f} days is inside the {self.interval[i]:.0f}-day interval"
            return f"{seen}, but {inside}: do not treat."
        if d.best[i] < _DAYS:
            return f"{seen}: treating today is worth {saved:.0f} USD/ac over leaving it."
        return f"{seen}: treating today would return {saved:+.0f} USD/ac after its cost; not yet."

    def _bar_reason(self, i: int) -> str:
        known = "as given" if self.table.known("phi_days")[i] else "2016 label wording; check the label in hand"
        interval = f"inside the pre-harvest interval of {self.interval[i]:.0f} days ({known})"
        return f"{interval}: harvest is {self.harvest[i]:.0f} days away"

    def _because(self, i: int) -> list[str]:
        facts = self.context.facts
        stage = self.table.text("stage")[i]
        if self.forage[i]:
            return [
                "The published injury levels were measured on grain; forage loses quality and stand, which no source here prices.",
                "Growth and sampling are known: field populations double in about "
                f"{np.log(2) / facts.value(_F + 'field_rate'):.0f} days, and counts are strongly aggregated.",
            ]
        if self.missing[i]:
            days = np.log(10) / facts.value(_F + "field_rate")
            return [f"Aphids can grow tenfold in {days:.0f} days: a field not counted is a field not known."]
        low, high = np.quantile(self.density[i], [0.1, 0.9])
        threshold = facts.by_id[_F + "threshold"]
        rules = dict(facts.by_id[_F + "stage_rules"].rows)
        out = [
            f"Counted {self.mean[i]:.1f} a leaf on {self.leaves[i]:.0f} leaves; aphids clump, so the field's mean is likely "
            f"{low:.0f} to {high:.0f}.",
            f"Left alone it is expected to cost {100 * self.never[i].mean():.1f} % of a crop worth {self.worth[i]:.0f} USD/ac.",
            f"Published economic injury levels: {facts.value(_F + 'injury_level.fast'):.0f} a leaf where aphids grow fast, "
            f"{facts.value(_F + 'injury_level.slow'):.0f} where slowly; general threshold {threshold.mid:.0f} "
            f"({threshold.low:.0f} to {threshold.high:.0f}).",
        ]
        if stage in rules:
            out.append(f"High Plains rule at {stage}: {rules[stage]}.")
        if stage == "black layer":
            out.append("At black layer no grain is left to lose; only honeydew at harvest would be a reason.")
        if self.table.text("predators")[i] in ("few", "many") or self.table.known("parasitized")[i]:
            out.append(
                "Predators and mummies slow growth by an unknown share: carried as a wide range, since no threshold has a source."
            )
        if self.table.text("honeydew")[i] == "heavy":
            out.append("Heavy honeydew means that the injury is under way: the decision is already late.")
        age = self.table.age_days("counts")[i]
        if age > 0:
            out.append(f"The count is {age:.0f} days old and was carried forward at the field rate.")
        out.append(self.context.outlook.notes[0])
        return out

    def _cautions(self, i: int) -> list[str]:
        out = [
            "The label governs rate, crop, stage, intervals, re-entry, bees and buffers; check it before every application.",
            "Do not spray while bees work blooming crops or weeds; keep people out until the re-entry interval has run.",
        ]
        rain = self.table.number("rain_forecast")[i]
        if rain >= 5:
            out.append(
                f"{rain:.0f} mm of rain is expected: heavy rain knocks aphids off and washes sprays away; recount after it."
            )
        if self.table.text("predators")[i] == "many":
            out.append("Many predators: populations can crash within a week; recount before spraying.")
        return out


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    since, until = -table.days_until("planting_date", context.on), table.days_until("harvest_date", context.on)
    return np.asarray((since >= 20) & (since <= 150) & ~(until < 0))


QUESTION = Question(
    name="sorghum-aphid", room="insects", title="Treat this sorghum for aphids?",
    about="Whether, and by which day, treating sorghum aphid in grain sorghum pays, from leaf counts, stage, crop value and "
    "the weather of past years.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("grain sorghum", "forage sorghum")), size="acres",
    in_season=_in_season, check=_check,
    limits="Grain sorghum, susceptible hybrids. No published threshold covers forage sorghum, and no predator threshold has a "
    "source here. The loss slope rests on injury levels that are means over costs and prices of 2014-16.",
)  # fmt: skip
