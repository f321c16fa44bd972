"""Treat this sorghum for aphids, and by when?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import decide, value_of_information
from sideoats.errors import InputError
from sideoats.insects.dispersion import mean_draws, mean_draws_from_share, summarise
from sideoats.insects.growth import day_response, field_growth
from sideoats.insects.questions._sorghum_aphid_reply import COUNTING, DAYS, FACTS, OPTIONS, Futures, Reply
from sideoats.insects.treatment import loss_per_pest_day, losses, pest_days_by_day, triangular
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_TALLY = 50.0  # the published tally line of `infested_over_50`
STAGES = ("pre-boot", "boot", "flowering", "milk", "soft dough", "dough", "hard dough", "black layer")

INPUTS = (
    Field(
        "crop",
        "choice",
        "grain or forage sorghum",
        choices=("grain sorghum", "forage sorghum"),
        default="grain sorghum",
        found_in=("place:crop",),
    ),
    Field(
        "counts",
        "counts",
        "aphids on each leaf looked at, leaf by leaf",
        high=100_000,
        example="12,40,7",
        fresh_days=21,
        found_in=("evidence:leaf_counts.counts",),
    ),
    Field(
        "mean",
        "number",
        "mean aphids per leaf, with n, where single counts were not kept",
        low=0,
        high=100_000,
        fresh_days=21,
        found_in=("evidence:leaf_counts.mean",),
    ),
    Field("n", "number", "leaves looked at", low=1, high=100_000, fresh_days=21, found_in=("evidence:leaf_counts.n",)),
    Field(
        "infested_over_50",
        "share",
        "share of leaves with more than 50 aphids, with n",
        fresh_days=21,
        found_in=("evidence:leaf_counts.infested_over_50",),
    ),
    Field(
        "stage",
        "choice",
        "growth stage of most plants",
        choices=STAGES,
        required=True,
        aliases={"preboot": "pre-boot", "whorl": "pre-boot", "bloom": "flowering", "heading": "flowering"},
        fresh_days=21,
        found_in=("evidence:leaf_counts.stage", "place:stage"),
    ),
    Field(
        "yield",
        "number",
        "yield expected without aphids",
        unit="bu/ac",
        low=0,
        high=300,
        required=True,
        example="80 bu/ac",
        found_in=("place:expected_yield",),
    ),
    Field(
        "price",
        "number",
        "price at harvest",
        unit="USD/bu",
        low=0,
        high=100,
        required=True,
        example="4.50 USD/bu",
        found_in=("place:price", "quote:grain sorghum", "setting:price.grain_sorghum"),
    ),
    Field(
        "cost",
        "number",
        "insecticide and application",
        unit="USD/ac",
        low=0,
        high=200,
        required=True,
        example="14 USD/ac",
        found_in=("setting:cost.aphid_treatment",),
    ),
    Field(
        "efficacy",
        "share",
        "share of remaining injury that one application prevents; the published range if absent",
        found_in=("setting:efficacy.aphid_treatment",),
    ),
    Field(
        "honeydew",
        "choice",
        "honeydew on the leaves",
        choices=("none", "light", "heavy"),
        fresh_days=21,
        found_in=("evidence:leaf_counts.honeydew",),
    ),
    Field(
        "predators",
        "choice",
        "lady beetles, lacewings, hover flies and the like",
        choices=("none", "few", "many"),
        fresh_days=21,
        found_in=("evidence:leaf_counts.predators",),
    ),
    Field(
        "parasitized",
        "share",
        "share of aphids that are mummies",
        fresh_days=21,
        found_in=("evidence:leaf_counts.parasitized",),
    ),
    Field("harvest_date", "date", "harvest or swathing expected", found_in=("place:harvest_date",)),
    Field(
        "phi_days",
        "number",
        "pre-harvest interval of the label in hand, days",
        unit="day",
        bare=True,
        low=0,
        high=120,
        found_in=("setting:phi.aphid_treatment",),
    ),
    Field("rain_forecast", "number", "rain expected within two days", unit="mm", low=0, high=500, example="0.5 in"),
    Field("acres", "number", "field size", unit="ac", bare=True, low=0.01, high=100_000, found_in=("place:acres",)),
    Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",)),
    Field(
        "planting_date", "date", "tells the week whether the crop is in the field", found_in=("place:planting_date",)
    ),
)


def _check(values: dict[str, Any]) -> None:
    given = [name for name in ("counts", "mean", "infested_over_50") if values[name] is not None]
    if values["crop"] == "forage sorghum":
        return
    if len(given) != 1:
        raise InputError(
            f"{' and '.join(given) if given else 'no count'} given",
            where="sorghum-aphid",
            expected="one of counts=12,40,7,... or mean= with n= or infested_over_50= with n=",
            todo="count aphids on at least 20 leaves, low and high on the plant",
        )
    if given != ["counts"] and values["n"] is None:
        raise InputError(
            f"{given[0]} without the number of leaves",
            where="sorghum-aphid n",
            expected="n=40",
            todo="a mean says little without how many leaves it rests on",
        )


def _futures(context: Context) -> Futures:
    facts, out = context.facts, context.outlook
    u = {name: out.uniform(f"sorghum aphid {name}") for name in ("rate", "ceiling", "days", "gain", "cap", "efficacy")}
    rate_fact, gain_fact, cap_fact = (
        facts[FACTS + "field_rate"],
        facts[FACTS + "gain_at_injury_level"],
        facts[FACTS + "loss_cap"],
    )
    rate = triangular(u["rate"], rate_fact.low, rate_fact.mid, rate_fact.high)
    ceiling = np.asarray(_scale(u["ceiling"], *facts.span(FACTS + "ceiling")))
    infestation = np.asarray(_scale(u["days"], *facts.span(FACTS + "infestation_days")))
    efficacy = facts[FACTS + "efficacy"]
    prevented = triangular(u["efficacy"], efficacy.low, efficacy.mid, efficacy.high)
    fast, slow = facts.value(FACTS + "injury_level.fast"), facts.value(FACTS + "injury_level.slow")
    speed = (rate - rate_fact.low) / (rate_fact.high - rate_fact.low)
    level = np.exp(np.log(slow) + speed * (np.log(fast) - np.log(slow)))  # quick growers have the low injury level
    gain = triangular(u["gain"], gain_fact.low, gain_fact.mid, gain_fact.high) / efficacy.mid
    slope = loss_per_pest_day(level, gain, rate, ceiling, infestation)
    cap = triangular(u["cap"], cap_fact.low, cap_fact.mid, cap_fact.high)
    scaling = _scaling(context)
    daily = rate[None, :, None] * scaling
    cumulative = np.zeros((DAYS, *daily.shape[:2]))
    np.cumsum(np.moveaxis(daily[:, :, : DAYS - 1], 2, 0), axis=0, out=cumulative[1:])
    return Futures(
        rate,
        ceiling,
        infestation,
        slope,
        cap,
        prevented,
        cumulative,
        daily[:, :, DAYS - 1 :].mean(axis=2),
        scaling[:, :, :7].mean(axis=2),
    )


def _scale(u: Floats, low: float, high: float) -> Floats:
    return low + (high - low) * u


def _scaling(context: Context) -> Floats:
    """(station, draw, day) by which each day's temperature scales the field rate; all 1 without a station."""
    facts, out = context.facts, context.outlook
    horizon = DAYS + 21
    if not out.has_weather:
        return np.ones((1, out.draws, horizon))
    lower, optimum, upper = facts[FACTS + "development"].rows[0]
    warm_low, warm_high = facts[FACTS + "reference_day"].rows[0]
    suits = day_response(out.daily("tmin")[..., :horizon], out.daily("tmax")[..., :horizon], lower, optimum, upper)
    reference = float(day_response(warm_low, warm_high, lower, optimum, upper))
    scaled = field_growth(1.0, suits, reference, most=facts.value(FACTS + "most_warming"))
    return np.asarray(scaled[:, out.year_of_draw, :])


def _start(table: Table, context: Context) -> tuple[Floats, Floats, Floats]:
    """Drawn density when counted (place, draw), the sample's mean and number of leaves (place,); NaN where no count."""
    k = context.facts.value(FACTS + "dispersion")
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
    fact = context.facts[FACTS + "slowing"]
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
    futures: Futures = context.once(QUESTION.name, _futures)
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

    filling = dict(facts[FACTS + "days_to_black_layer"].rows)
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
    for d in range(DAYS):
        np.multiply(worth, treated[d], out=treated[d])
        np.subtract(clear, treated[d], out=payoff[:, d])
    payoff[:, DAYS] = worth * (1 - never)
    by_draw = payoff.transpose(0, 2, 1)

    interval = np.where(table.known("phi_days"), table.number("phi_days"), facts.value(FACTS + "pre_harvest_interval"))
    days = np.array([-1 if o.day is None else o.day for o in OPTIONS])
    barred = (days >= 0) & (np.nan_to_num(harvest, nan=1e9)[:, None] - days < interval[:, None])
    decision = decide(
        by_draw,
        barred=barred,
        days=days,
        tolerance=facts.value(COUNTING + "act_by_tolerance"),
        risk_aversion=context.risk_aversion,
    )
    more = np.maximum(20.0, np.nan_to_num(leaves, nan=40.0))
    k = facts.value(FACTS + "dispersion")
    noise = np.sqrt((1 / np.maximum(density, 1e-9) + 1 / k) / more[:, None])
    signal = np.log(np.maximum(density, 1e-9)) + noise * context.outlook.normal("sorghum aphid next look", table.keys)
    look = value_of_information(by_draw[:, :, [0, DAYS]], signal, barred=barred[:, [0, DAYS]])
    return Reply(
        table,
        context,
        decision,
        barred,
        missing,
        forage,
        mean,
        leaves,
        density,
        worth.mean(axis=1),
        never,
        look,
        harvest,
        interval,
        futures,
    ).answers()


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    since, until = -table.days_until("planting_date", context.on), table.days_until("harvest_date", context.on)
    return np.asarray((since >= 20) & (since <= 150) & ~(until < 0))


QUESTION = Question(
    name="sorghum-aphid",
    room="insects",
    title="Treat this sorghum for aphids?",
    about="Whether, and by which day, treating sorghum aphid in grain sorghum pays, from leaf counts, stage, crop "
    "value and the weather of past years.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("field",), crops=("grain sorghum", "forage sorghum")),
    size="acres",
    in_season=_in_season,
    check=_check,
    limits="Grain sorghum, susceptible hybrids. No published threshold covers forage sorghum, and no predator "
    "threshold has a source here. The loss slope rests on injury levels averaged over costs and prices of 2014-16.",
)
