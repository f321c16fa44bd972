"""Spray this wheat with a fungicide: what is it expected to save, by when, and does the label allow it?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.counting_on import least_of
from sideoats.families.label import Interval, closed_days, interval_of, label_cautions
from sideoats.families.treat_by_count import coin_toss, last_open, said_last, unseasonal
from sideoats.families.treated import price_moves
from sideoats.families.treating import DAYS, UNIT, days_of
from sideoats.insects.disease import mean_response, rain_multiple, response_return
from sideoats.insects.injury import break_even_chance, gain_threshold
from sideoats.insects.treatment import triangular
from sideoats.problem import Barred, Look, Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.ruling import known_size
from sideoats.vocabulary import see
from sideoats.words import Day, Measured, Money, Name, Said, Share, Term, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.int64]
NAME, FACTS = "wheat-fungicide", "insects/wheat_fungicide."
LAYERS = ("flag", "below", "lower")
OPTIONS = days_of("spray")
INPUTS = (
    see("leaf_disease.stage", needed=True, also=("place.stage",)),
    see("leaf_disease.disease"),
    *(see(f"leaf_disease.{layer}") for layer in LAYERS),
    see("leaf_disease.nearby", default=False),
    see("place.rust_rating", name="rating"),
    see("wheat-fungicide.rain"),
    see("wheat-fungicide.hot_spell"),
    see("wheat-fungicide.response"),
    see("wheat-fungicide.chance"),
    see("wheat-fungicide.yield", needed=True),
    see("wheat-fungicide.price", needed=True),
    see("wheat-fungicide.cost"),
    see("place.harvest_date"),
    see("treated.phi_days", also=("setting:phi.wheat-fungicide",)),
    see("wheat-fungicide.latest_stage"),
    see("treated.entry_date"),
    see("treated.rei_hours"),
    see("place.acres"),
    see("place.station"),
)


def pose(table: Table, context: Context) -> Problem:
    """Spraying on each day that still protects the flag leaf against leaving it, by published chances of a response."""
    facts, n = context.facts, len(table)
    yields, price, stage = table.number("yield"), table.number("price"), table.text("stage")
    cost = np.where(table.known("cost"), table.number("cost"), facts.value(FACTS + "usual_cost"))
    saved, chance = _saved(table, context)
    worth = np.nan_to_num(yields * price)[:, None] * price_moves(table, context, "wheat")
    left, ends, late = _window(table, context)
    keeps = np.clip(1.0 - (1.0 - late) * np.arange(DAYS) / np.maximum(left, 1.0)[:, None], 0.0, 1.0)
    by_option = np.zeros((n, len(OPTIONS), context.outlook.draws))
    by_option[:, :DAYS] = keeps[:, :, None] * (worth * saved)[:, None, :] - cost[:, None, None]
    gain, today = by_option.transpose(0, 2, 1), by_option[:, 0].mean(axis=1)
    interval = interval_of(table, context, "wheat_fungicide")
    closed = closed_days(interval, context, DAYS, len(OPTIONS))
    bars = (*_stage_bars(table, left, ends), *closed)
    misplaced = unseasonal(table, context, "wheat") & (left >= 0)
    needs = {
        "season": misplaced,
        "leaf_disease.stage": stage == "",
        "wheat-fungicide.yield": np.isnan(yields),
        "wheat-fungicide.price": np.isnan(price),
    }
    open_ = (left >= 0) & ~np.any([*needs.values()], axis=0)
    shut = np.any([np.broadcast_to(bar.mask, gain.shape[::2])[:, 0] for bar in bars], axis=0)
    even = coin_toss(gain[:, :, 0], cost, facts) & open_ & ~shut
    near = facts["insects/counting.next_look"]
    back = np.where((_sick(table) | table.flag("nearby")) & (left >= 0), near.low, near.high)
    last = np.where(open_, last_open(np.any([bar.mask[:, :DAYS] for bar in closed], axis=0)), -1)
    last = np.where(last < back, last, -1)
    back = np.where(last >= 0, np.maximum(last, 1), back)  # a look after the last day tells nothing
    over = np.array([str(s) not in ("", "jointing") for s in stage]) & (left < 0)
    answers = np.where(table.known("response"), table.number("response"), _where_it_answers(table, context, saved))
    return Problem(
        NAME,
        OPTIONS,
        "never",
        UNIT,
        gain,
        bars=bars,
        looks=_looks(table, context, open_, worth, cost, saved, last),
        needs=needs,
        recheck=np.where(over, -1, np.where(even, np.clip(left, 1, back), back)).astype(np.int64),
        even=even,
        tolerance=least_of(facts),
        size=np.where(table.known("acres"), table.number("acres"), table.size if table.size.size else np.nan),
        values={
            "stage": Term(stage, of="leaf_disease.stage"),
            "crop": Term("wheat", of="host"),
            "asked": Day(np.datetime64(context.on, "D")),
            "latest": Term(table.text("latest_stage"), of="leaf_disease.stage"),
            "short": Money(-today, unit=UNIT),
            "today": Money(today, unit=UNIT),
            "need": Measured(np.round(gain_threshold(cost, price), 1), unit="bu/ac"),
            "odds": Share((gain[:, :, 0] > 0).mean(axis=1)),
            "saves": Measured(np.round(np.nan_to_num(yields) * saved.mean(axis=1), 1), unit="bu/ac"),
            **interval.told(context),
        },
        heads=(
            (misplaced, "treat.season.need"),
            (even & _risen(table, context), f"{NAME}.even-high.look"),
            (even, f"{NAME}.even.look"),
            *_heads(table, context, today, (left, ends), interval),
        ),
        reasons=(*_reasons(table, context, chance, answers, open_, cost), *said_last(interval, context, last)),
        acting=(
            *label_cautions(interval, context, bees=False),
            say(f"{NAME}.caution.latest").where(~table.known("latest_stage")),
            say(f"{NAME}.caution.modes"),
        ),
        quantities={
            "break_even_yield": (gain_threshold(cost, price), "bu/ac"),
            "break_even_share": (gain_threshold(cost, yields * price), "1"),
            "break_even_chance": (break_even_chance(cost, yields * price, answers), "1"),
            "chance_of_response": (chance, "1"),
            "share_saved_if_it_responds": (answers, "1"),
            "return_if_it_responds": (response_return(yields, price, answers, cost), UNIT),
            "expected_return": (np.where(stage == "", np.nan, today), UNIT),
            "treatment_cost": (cost, UNIT),
        },
    )


def _odds(table: Table, context: Context, covered: Mapping[str, Floats]) -> Floats:
    """(place, draw) mean share that a timely spray saves in a susceptible variety with stripe rust.

    The mean at which the published chance of a worthwhile response comes out: none seen, an outbreak near, disease by
    leaf layer and stage. It rises with the part of a layer `covered`, up to where disease counts as established there.
    """
    facts, shared = context.facts, context.outlook.uniform(f"{NAME} odds")
    worthwhile = facts.value(FACTS + "worthwhile") / facts.value(FACTS + "trial_yield")
    spread = facts.value(FACTS + "spread")

    def mean(which: str) -> Floats:
        span = facts[f"{FACTS}odds.{which}"]
        ends = (mean_response(chance, worthwhile, spread) for chance in (span.low, span.mid, span.high))
        return triangular(shared, *ends)[None, :]

    clean, near, lower, upper = (mean(which) for which in ("clean", "nearby", "lower", "upper"))
    headed = np.isin(table.text("stage"), ("heading", "flowering"))[:, None]
    before = np.where(table.flag("nearby")[:, None], near, clean)
    out, established = before, facts.value(FACTS + "established")
    for layer in LAYERS:
        part = np.minimum(covered[layer] / established, 1.0)[:, None]
        there = lower if layer == "lower" else np.where(headed, lower, upper)
        out = np.maximum(out, before + part * (there - before))
    return out


def _saved(table: Table, context: Context) -> tuple[Floats, Floats]:
    """(place, draw) share of yield that a spray today saves, and (place,) the chance of a worthwhile response.

    Normal about the mean by layer, stage, disease, variety and weather; some responses are negative, as in trials.
    Where the caller gives a chance or a response, it answers with that chance by that response or not at all.
    """
    facts, out = context.facts, context.outlook
    ranks = out.uniform(f"{NAME} answers", table.keys).argsort(axis=1).argsort(axis=1)
    mean = _odds(table, context, _covered(table)) * _times(table, context)
    noise = out.normal(f"{NAME} response", table.keys)
    noise = noise - noise.mean(axis=1, keepdims=True)  # chance in the draws makes no money
    saved = mean + facts.value(FACTS + "spread") * noise / np.maximum(noise.std(axis=1, keepdims=True), 1e-9)
    usual = (saved * _bushels(table)[:, None] > facts.value(FACTS + "worthwhile")).mean(axis=1)
    chance = np.where(table.known("chance"), table.number("chance"), usual)
    response, size = table.number("response")[:, None], facts[FACTS + "response_disease"]
    unknown = float(dict(facts[FACTS + "disease"].rows)[""]) * float(dict(facts[FACTS + "variety"].rows)[""])
    drawn = triangular(out.uniform(f"{NAME} size"), size.low, size.mid, size.high) * _times(table, context) / unknown
    told = np.where(np.isnan(response), drawn, response) * (ranks + 0.5 < chance[:, None] * ranks.shape[1])
    given = table.known("response") | table.known("chance")
    return np.where(given[:, None], told, saved), chance


def _bushels(table: Table) -> Floats:
    return np.asarray(np.nan_to_num(table.number("yield")))


def _times(table: Table, context: Context) -> Floats:
    """(place, draw) mean response by disease, variety, rain, heat and leaf that is still green, as a multiple."""
    facts, out = context.facts, context.outlook
    by_disease, by_rating = (dict(facts[FACTS + name].rows) for name in ("disease", "variety"))
    own = [
        float(by_disease[str(disease)]) * float(by_rating[str(rating)])
        for disease, rating in zip(table.text("disease"), table.text("rating"), strict=True)
    ]
    green = 1.0 - np.nan_to_num(table.number("flag"))
    effect, days = facts[FACTS + "rain_effect"], int(facts.value(FACTS + "rain_window"))
    rain = out.between(f"{NAME} rain", effect.low, effect.high)[None, :]
    if out.has_weather:
        wet = rain_multiple(out.daily("rain")[..., :days].sum(axis=2), effect.low, effect.high)
        rain = wet[:, out.year_of_draw][out.station_rows(table.text("station"))]
    words = table.text("rain")[:, None]
    for word, times in (("dry", effect.low), ("usual", effect.mid), ("wet", effect.high)):
        rain = np.where(words == word, times, rain)
    return np.asarray((np.array(own) * green)[:, None] * rain * _heat(table, context))


def _heat(table: Table, context: Context) -> Floats:
    """(place, draw) what hot days leave of the response to stripe rust; 1 where nothing is known of them."""
    facts, out, fact = context.facts, context.outlook, context.facts[FACTS + "heat"]
    stripe = (table.text("disease") == "stripe rust")[:, None]
    times = np.ones((1, out.draws))
    if out.has_weather:
        high, low = facts[FACTS + "hot_day"].rows[0]
        hot = (out.daily("tmax")[..., : DAYS - 1] >= high) & (out.daily("tmin")[..., : DAYS - 1] >= low)
        by_year = np.interp(hot.sum(axis=2), fact.column("days"), fact.column("times"))
        times = by_year[:, out.year_of_draw][out.station_rows(table.text("station"))]
    told = table.number("hot_spell")[:, None]
    least = min(fact.column("times"))
    return np.where(stripe, np.where(np.isnan(told), times, np.where(told > 0, least, 1.0)), 1.0)


def _where_it_answers(table: Table, context: Context, saved: Floats) -> Floats:
    """(place,) mean share saved where the response is worthwhile; NaN where it never is."""
    bushels = saved * _bushels(table)[:, None]
    if_given = table.known("chance")[:, None] & (saved > 0)
    yes = np.where(table.known("chance")[:, None], if_given, bushels > context.facts.value(FACTS + "worthwhile"))
    count = yes.sum(axis=1)
    return np.where(count > 0, (saved * yes).sum(axis=1) / np.maximum(count, 1), np.nan)


def _window(table: Table, context: Context) -> tuple[Floats, Floats, float]:
    """(place,) days in which a spray still protects the flag leaf, and days until the label's latest stage is past.

    Before the flag leaf and after flowering the first is -1; the second is infinite where no stage was given. Also the
    part of a spray's protection that is left on the last of the days.
    """
    rows = context.facts[FACTS + "window"].rows
    left = {str(stage): float(days) for stage, days in rows}
    following = {str(stage): float(rows[at + 1][1]) for at, (stage, _) in enumerate(rows[:-1])}
    here = np.array([left.get(str(stage), -1.0) for stage in table.text("stage")])
    after = np.array([following.get(str(stage), -np.inf) for stage in table.text("latest_stage")])
    return here, here - after - 1.0, context.facts.value(FACTS + "late")


def _stage_bars(table: Table, left: Floats, ends: Floats) -> tuple[Barred, ...]:
    """Days before the flag leaf and past its protection, and those past the latest stage of the label in hand."""
    day = np.append(np.arange(DAYS), -np.inf)  # leaving it is never barred
    early = np.isin(table.text("stage"), ("jointing", ""))
    stage = Term(table.text("stage"), of="leaf_disease.stage")
    past = day > left[:, None]
    return (
        Barred(past & early[:, None] & np.isfinite(day), say(f"{NAME}.barred.early")),
        Barred(past & ~early[:, None] & (left < 0)[:, None], say(f"{NAME}.barred.late")),
        Barred(
            past & ~early[:, None] & (left >= 0)[:, None],
            say(f"{NAME}.barred.window", days=Measured(left, unit="day"), stage=stage),
        ),
        Barred(
            (day > ends[:, None]) & (left >= 0)[:, None],
            say(f"{NAME}.barred.label", latest=Term(table.text("latest_stage"), of="leaf_disease.stage")),
        ),
    )


def _covered(table: Table) -> dict[str, Floats]:
    """Leaf layer -> (place,) part of it that is diseased; 0 where nobody has looked."""
    return {layer: np.nan_to_num(table.number(layer)) for layer in LAYERS}


def _sick(table: Table) -> Bools:
    return np.asarray(np.any([part > 0 for part in _covered(table).values()], axis=0), dtype=bool)


def _risen(table: Table, context: Context) -> Bools:
    """(place,) True where disease is established on the upper leaves: another look would tell nothing more."""
    covered = _covered(table)
    return np.asarray(np.maximum(covered["flag"], covered["below"]) >= context.facts.value(FACTS + "established"))


def _unseen(table: Table) -> Bools:
    """(place,) True where nobody has looked at the leaves and no odds were given."""
    return np.asarray(~np.any([table.known(name) for name in (*LAYERS, "chance", "response")], axis=0), dtype=bool)


def _looks(
    table: Table, context: Context, open_: Bools, worth: Floats, cost: Floats, saved: Floats, last: Days
) -> tuple[Look, Look]:
    """A first look at leaves that nobody has seen, and another in some days where disease may yet come up the plant.

    Worth of the first: disease seen raises the response to that of disease in the canopy, none seen lowers it to
    nothing; how likely it is to be seen makes the response before the look come out.
    """
    facts, out = context.facts, context.outlook
    hours = 2 * facts.value("insects/counting.visit_minutes") / 60
    price = hours * facts.value("decide/look.hour") / known_size(UNIT, table.number("acres"), facts)
    money = (worth * saved).mean(axis=1)
    found = _covered(table) | {"lower": np.ones(len(table))}
    sick = (worth * _odds(table, context, found) * _times(table, context)).mean(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip(np.where(sick > 0, money / sick, 0.0), 0.0, 1.0)
    first = share * np.maximum(sick - cost, 0.0) - np.maximum(money - cost, 0.0)
    first = np.where(_unseen(table) & open_, np.maximum(np.nan_to_num(first), 0.0), 0.0)
    tell = facts.value(FACTS + "next_signs")
    spread = saved - saved.mean(axis=1, keepdims=True)
    noise = out.normal(f"{NAME} next signs", table.keys) * spread.std(axis=1, keepdims=True)
    signal = tell * spread + np.sqrt(1 - tell**2) * noise
    delay = int(facts["insects/counting.next_look"].low)
    again = _sick(table) & ~_risen(table, context) & open_ & ~table.known("chance") & ~table.known("response")
    soon, later = (np.where(last >= 0, np.minimum(days, last), days) for days in (2, delay))
    return (
        Look(first[:, None], cost=price, within=soon, delay=1, worth=first),
        Look(np.where(again[:, None], signal, 0.0), cost=price, within=later, delay=delay),
    )


def _heads(
    table: Table, context: Context, today: Floats, window: tuple[Floats, Floats], interval: Interval
) -> tuple[tuple[Bools, str], ...]:
    """Headlines of crops too early or too late, of what the label closes, and of what gains too little for a pass."""
    left, ends = window
    early, open_ = np.isin(table.text("stage"), ("jointing", "")), left >= 0
    shut = interval.harvest < interval.days
    return (
        (np.ones(len(table), bool), f"{NAME}.asked.need"),
        (early, f"{NAME}.early.wait"),
        (~open_, f"{NAME}.late.wait"),
        (ends < 0, f"{NAME}.label.wait"),
        (interval.harvest < 0, f"{NAME}.past.wait"),
        (shut & ~interval.given, f"{NAME}.unread.wait"),
        (shut, f"{NAME}.inside.wait"),
        (today >= 0, f"{NAME}.little.wait"),
        (_risen(table, context), f"{NAME}.risen.wait"),
        (_unseen(table), f"{NAME}.unseen.look"),
    )


def _reasons(
    table: Table, context: Context, chance: Floats, answers: Floats, open_: Bools, cost: Floats
) -> tuple[Said, ...]:
    facts, disease, rated = context.facts, table.text("disease"), table.text("rating")
    layers = np.stack([*_covered(table).values()])
    least, aged = facts[FACTS + "worthwhile"], FACTS + "visible_age"

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    def span(which: str) -> dict[str, Any]:
        fact = facts[f"{FACTS}odds.{which}"]
        return {f"{which}_low": Share(fact.low, fact=fact.id), f"{which}_high": Share(fact.high)}

    hot = table.flag("hot_spell") & (disease == "stripe rust")
    speck = (layers.max(axis=0) > 0) & (layers.max(axis=0) < facts.value(FACTS + "established"))
    return (
        because(
            "chance", chance=Share(chance), saves=Share(answers), least=Measured(least.mid, unit="bu/ac", fact=least.id)
        ).where(open_),
        because(
            "odds",
            by=Name(facts.by(f"{FACTS}odds.upper")),
            **span("upper"),
            **span("lower"),
            **span("clean"),
        ).where(open_ & ~table.known("chance")),
        because("odds-moved").where(
            open_ & ~table.known("chance") & ~(np.isin(rated, ("susceptible",)) & (disease == "stripe rust"))
        ),
        because("speck", least=Share(facts.value(FACTS + "established"))).where(open_ & speck),
        because("unrated").where(open_ & (rated == "")),
        because("resistant", told=Name(facts[FACTS + "resistant"].text, fact=FACTS + "resistant")).where(
            open_ & (rated == "resistant")
        ),
        because(
            "susceptible",
            mean=Share(facts[FACTS + "susceptible"].mid, fact=FACTS + "susceptible"),
            low=Share(facts[FACTS + "susceptible"].low),
            high=Share(facts[FACTS + "susceptible"].high),
        ).where(open_ & (rated == "susceptible")),
        because("weaker", disease=Term(disease, of="leaf_disease.disease")).where(
            open_ & np.isin(disease, ("leaf spots", "powdery mildew"))
        ),
        because("hot").where(open_ & hot),
        because("covered", covered=Share(table.number("flag"))).where(open_ & (layers[0] > 0)),
        because("older", days=Measured(facts.value(aged), unit="day", fact=aged)).where(
            open_ & (disease == "stripe rust") & _sick(table)
        ),
        say("treat.assumed.cost", cost=Money(cost, unit=UNIT)).where(~table.known("cost")),
    )


def _check(values: dict[str, Any]) -> None:
    if values["response"] is not None and not 0 < values["response"] <= 1:
        raise InputError(
            sentence(say(f"{NAME}.no-response"), READER),
            where=f"{NAME} response",
            expected="response=15%",
        )


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=("winter wheat",)),
    size="acres",
    in_season=lambda table, context: (
        table.known("stage") & (table.known("disease") | table.known("flag") | table.known("lower"))
    ),
    check=_check,
)
