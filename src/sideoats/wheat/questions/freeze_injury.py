"""Did the freeze hurt this wheat, and what is it still worth?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide, value_of_information
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import freeze, stages
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
KEEP, HAY, OUT = range(3)
OPTIONS = (
    Option("keep", "Keep it for grain", passive=True), Option("hay", "Cut it for hay"),
    Option("graze-out", "Graze it out"),
)  # fmt: skip
BEFORE_BOOT = ("seedling", "tillering", "jointing")
IN_HEAD = ("heading", "flowering", "milk", "dough")  # what a freeze kills is then in the florets, not in the stem
MEMORY_DAYS = 12  # nights looked back on
INPUTS = (
    Field("stage", "choice", "growth stage of most plants", choices=w.STAGES, aliases=w.STAGE_WORDS, fresh_days=21,
          found_in=("evidence:wheat_check.stage", "place:stage")),
    Field("low", "number", "lowest temperature at the canopy; the station's nights if absent", unit="degF", low=-60,
          high=60, example="21 F", fresh_days=15, found_in=("evidence:freeze_night.low",)),
    Field("hours", "number", "hours at or near the lowest", unit="hour", bare=True, low=0, high=48, fresh_days=15,
          found_in=("evidence:freeze_night.hours",)),
    Field("night", "date", "morning after the freeze", fresh_days=15, found_in=("evidence:freeze_night.night",)),
    Field("crown_low", "number", "lowest crown temperature in winter, from a soil probe", unit="degF", low=-60,
          high=60),
    Field("split", "number", "stems split (or heads opened) since", bare=True, low=1, high=2000, fresh_days=15,
          found_in=("evidence:stem_split.split",)),
    Field("dead", "number", "of them dead (growing point, or florets)", bare=True, low=0, high=2000,
          fresh_days=15, found_in=("evidence:stem_split.dead",)),
    w.YIELD, w.PRICE, w.HARVEST_COST,
    *w.HAY,
    w.HEAD, w.STOCKING, w.GAIN, w.VALUE_OF_GAIN, w.PLANTING, w.STATION, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Freeze:
    """What is known of the freeze, (place,) unless said."""

    stage: NDArray[np.object_]
    low: Floats  # degF
    line: Floats  # degF at which the stage is at risk; NaN where the table has no such stage
    days_ago: Floats
    exposed: Bools
    from_station: Bools
    sketched: Bools  # stage by heat units, not observed
    gaps: Bools  # the station lacks so many of the last nights that no freeze among the rest says nothing
    gone: Floats  # nights that it lacks


def _station_nights(table: Table, context: Context) -> tuple[Floats, Floats, Floats, Floats]:
    """Lowest of the station's last nights [degF], how many days ago it was, that day's highest [degF], (place,).

    Last, how many of these nights the record lacks: nothing is known of them, and one night is enough.
    """
    found = {}
    for name in dict.fromkeys(str(s) for s in table.text("station")):
        record = context.outlook.records.get(name)
        found[name] = (np.nan, np.nan, np.nan, np.nan)
        if record is None:
            continue
        back = max(0, record.index(context.on))
        first = max(0, back - MEMORY_DAYS)
        nights = record.usable("tmin")[first:back]
        gone = float(record.lacking(("tmin",), context.on, MEMORY_DAYS))
        found[name] = (np.nan, np.nan, np.nan, gone)
        if nights.size and np.isfinite(nights).any():
            at = int(np.nanargmin(nights))
            day = record.usable("tmax")[first:back][at]
            found[name] = (nights[at] * 1.8 + 32, float(back - first - at), day * 1.8 + 32, gone)
    rows = np.array([found[str(s)] for s in table.text("station")], dtype=np.float64).reshape(len(table), 4)
    return rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3]


def _sketched_stage(table: Table, context: Context) -> NDArray[np.object_]:
    """The freeze table's stage by heat units since planting, "" where the record does not reach back."""
    since = -table.days_until("planting_date", context.on)
    month, day = (int(p) for p in context.facts["wheat/stages.usual_sowing"].text.split("-"))
    usual = 365.0 - w.days_ahead(context.on, month, day)
    since = np.where((since > 0) & (since < 330), since, usual)
    constants = stages.calendar(context.facts)
    pairs = list(zip((str(s) for s in table.text("station")), since.tolist(), strict=True))
    found = {pair: _sketch(context, *pair, constants) for pair in dict.fromkeys(pairs)}
    return np.array([found[pair] for pair in pairs], dtype=object)


def _sketch(context: Context, station: str, since: float, constants: stages.Calendar) -> str:
    from sideoats.weather.radiation import daylight_hours

    record = context.outlook.records.get(station)
    if record is None or np.isnan(record.latitude) or not 0 < since < 330:
        return ""
    back = record.index(context.on)
    first = back - int(since)
    if first < 0 or back > len(record):
        return ""
    day_of_year = (np.arange(first, back) + record.start.timetuple().tm_yday - 1) % 365 + 1
    hours = daylight_hours(np.deg2rad(record.latitude), day_of_year)
    codes = stages.zadoks_by_day(
        _bridged(record.usable("tmax")[first:back]), _bridged(record.usable("tmin")[first:back]), hours, constants
    )
    return stages.freeze_stage(float(codes[-1])) if np.isfinite(codes[-1]) else ""


def _bridged(values: Floats) -> Floats:
    """Gaps filled straight between their neighbours: a stage sketch needs every day."""
    good = np.isfinite(values)
    if good.sum() < 0.9 * len(values):
        return values
    return np.interp(np.arange(len(values)), np.flatnonzero(good), values[good])


def _check(values: dict[str, Any]) -> None:
    split, dead = values["split"], values["dead"]
    if split is not None and dead is not None and dead > split:
        raise InputError(
            f"{dead:g} stems dead are more than the {split:g} split", where="freeze-injury dead",
            expected="dead stems among those split",
        )  # fmt: skip


def _freeze(table: Table, context: Context) -> _Freeze:
    facts = context.facts
    _, lines = facts.choose("wheat/freeze_table")
    stage = table.text("stage").copy()
    sketched = np.zeros(len(table), bool)
    if (stage == "").any() and context.outlook.records:
        guess = _sketched_stage(table, context)
        sketched = (stage == "") & (guess != "")
        stage = np.where(sketched, guess, stage).astype(object)
    fallback = facts["wheat/freeze.kansas_c646"]
    line = np.array([freeze.threshold_of(lines, str(s)) for s in stage])
    line = np.where(np.isnan(line), [freeze.threshold_of(fallback, str(s)) for s in stage], line)
    low, hours = table.number("low"), table.number("hours")
    night = -table.days_until("night", context.on)
    by_station, ago, high, gone = _station_nights(table, context)
    use = np.isnan(low) & ~np.isnan(by_station)
    low = np.where(use, by_station, low)
    days_ago = np.where(use, ago, np.where(np.isnan(night), 0.0, night))
    below = freeze.night_hours_below(high, by_station, line)
    hours = np.where(use, below, hours)
    hit = freeze.exposed(low, hours, line, facts.value("wheat/freeze.hours"))
    crown = table.number("crown_low")
    if np.isfinite(crown).any():
        hit |= crown < facts.value("wheat/winterkill.crown")
    told = table.known("low") | table.known("crown_low")
    gaps = ~told & ~hit & (gone > facts.value("wheat/freeze.nights_missing"))
    return _Freeze(stage, low, line, days_ago, hit, use, sketched, gaps, gone)


def _dead_draws(table: Table, context: Context, night: _Freeze) -> Floats:
    """Share of stems dead (place, draw): from stems split with their sampling error, else from the table's words."""
    facts, out = context.facts, context.outlook
    split, dead = table.number("split")[:, None], table.number("dead")[:, None]
    seen = (dead + 0.5) / (split + 1.0)
    counted = np.clip(seen + np.sqrt(seen * (1 - seen) / split) * out.normal("stems split", table.keys), 0.0, 1.0)
    words = {str(r[0]): str(r[2]) for r in facts["wheat/freeze.kansas_c646"].rows}
    spans = {str(r[0]): (float(r[1]), float(r[2])) for r in facts["wheat/freeze.effect"].rows}
    span = np.array([spans.get(words.get(str(s), ""), (np.nan, np.nan)) for s in night.stage])
    drawn = span[:, :1] + (span[:, 1:] - span[:, :1]) * out.uniform("freeze effect", table.keys)
    drawn = np.where(night.exposed[:, None], drawn, 0.0)
    return np.where(np.isnan(split), drawn, counted)


def _payoff(table: Table, context: Context, kept: Floats) -> Floats:
    """Grain, hay and grazing out (place, draw, option) [USD/ac]; NaN where one is not priced."""
    facts, out = context.facts, context.outlook
    net = w.wheat_price(table, context) - w.harvest_cost(table, context)[:, None]
    grain = w.yield_draws(table, context) * kept * net
    days = out.between("graze-out days", *facts.span("wheat/grazing.graze_out_days")) / 2  # half the spring is gone
    grazed = w.stocking(table)[:, None] * days * w.gain_draws(table, context) * table.number("value_of_gain")[:, None]
    return np.stack([grain, w.hay_money(table, context, 60), grazed], axis=2)


def answer(table: Table, context: Context) -> Answers:
    """Exposure by stage, a look a week on, and what the wheat is worth for grain, hay or grazing."""
    absurd = table.number("dead") > table.number("split")  # a slip of the pen: neither figure is used
    unknown = {k: np.where(absurd, np.nan, table.number(k)) for k in ("split", "dead")}
    table = replace(table, columns={**table.columns, **unknown})
    night = _freeze(table, context)
    split = table.known("split") & table.known("dead")
    dead = _dead_draws(table, context, night)
    young = np.isin(night.stage.astype(str), BEFORE_BOOT)
    back = context.outlook.between("tillers that make up", *context.facts.span("wheat/freeze.compensation"))
    kept = freeze.yield_kept(dead, np.where(young[:, None], back[None, :], 0.0))
    payoff = _payoff(table, context, kept)
    unpriced = np.asarray(np.isnan(payoff).any(axis=1))
    short = np.zeros_like(unpriced)
    short[:, HAY] = np.isin(night.stage.astype(str), ["seedling", "tillering"])
    decision = decide(np.nan_to_num(payoff), barred=unpriced | short)
    worth = np.where(split, 0.0, value_of_information(np.nan_to_num(payoff), dead, barred=unpriced | short))
    due, first = _look_dates(context, night)
    verdict = np.where(split, np.where(decision.best == KEEP, WAIT, ACT), np.where(night.exposed, LOOK, WAIT))
    no_cold = np.isnan(night.low) & ~table.known("crown_low") & ~split
    lacking = {"growth stage": night.stage == "", "lowest temperature at the canopy": no_cold}
    lacking["stems dead of those split (more are dead than were split)"] = absurd
    gaps = night.gaps & ~no_cold & ~split
    lacking["lowest temperature of the last nights, which the station's record lacks"] = gaps
    missing = w.any_of(lacking)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(
            Bar(unpriced, "not priced: yield, price, or value of gain and head are not known"),
            Bar(short, "too short to cut"),
        ),
        headline=_headline(table, context, night, decision, split, due),
        because=_because(table, context, night, first, kept),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, 7, -1).astype(np.int64),
        look_by=np.where(verdict == LOOK, due, -1).astype(np.int64),
        quantities={
            "lowest_temperature": (night.low, "degF"), "at_risk_below": (night.line, "degF"),
            "dead_stems": (np.where(split, table.number("dead") / table.number("split"), np.nan), "1"),
            "yield_kept": (kept.mean(axis=1), "1"),
        },
        worth_of_a_look=np.where(night.exposed, worth, 0.0), missing=missing,
        missing_headline=w.lacking_text(lacking),
        cautions=(
            "The table is for screening: a shelter's thermometer is warmer than a canopy in a low spot, and a little "
            "warmer for longer does similar harm.",
            "Do not cut, graze or destroy insured wheat before the agent or adjuster has seen it.",
            "Frosted or drought-stressed forage can hold nitrate: test before feeding.",
        ),
    )  # fmt: skip


def _look_dates(context: Context, night: _Freeze) -> tuple[Floats, Floats]:
    """Days from today to the look that is due (a week after the freeze), and to the first day it tells anything."""
    fact = context.facts["wheat/freeze.look_after"]
    ago = np.nan_to_num(night.days_ago)
    return np.maximum(fact.mid - ago, 0.0), np.maximum(fact.low - ago, 0.0)


def _headline(
    table: Table, context: Context, night: _Freeze, decision: Decision, split: Bools, due: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        if split[i]:
            share = 100 * table.number("dead")[i] / table.number("split")[i]
            best = OPTIONS[int(max(decision.best[i], 0))].label.lower()
            money = decision.expected[i, max(int(decision.best[i]), 0)]
            what = "heads" if night.stage[i] in IN_HEAD else "stems"
            return f"{share:.0f} % of {what} are dead: {best}, about {money:.0f} USD/ac."
        if night.exposed[i] and np.isnan(night.low[i] + night.line[i]):
            crown = table.number("crown_low")[i]
            return f"{crown:.0f} degF at the crown can kill wheat: split stems by {w.shown_day(context, due[i])}."
        if night.exposed[i]:
            return (
                f"{night.low[i]:.0f} degF at {night.stage[i]} can hurt (line {night.line[i]:.0f} degF for two hours): "
                f"{'open heads' if night.stage[i] in IN_HEAD else 'split stems'} by {w.shown_day(context, due[i])}."
            )
        if np.isnan(night.line[i]) or np.isnan(night.low[i]):
            return f"No injury expected at {night.stage[i]}: the table has no line for this stage and night."
        return (
            f"No injury expected at {night.stage[i]}: lowest {night.low[i]:.0f} degF against {night.line[i]:.0f} degF."
        )

    return text


def _because(table: Table, context: Context, night: _Freeze, first: Floats, kept: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        followed, _ = context.facts.choose("wheat/freeze_table")
        other = context.facts.by_id[
            "wheat/freeze.kansas_2017" if followed == "kansas_c646" else "wheat/freeze.kansas_c646"
        ]
        rival = freeze.threshold_of(other, str(night.stage[i]))
        out = []
        if night.gone[i] > 0:
            out.append(f"The station's record lacks {night.gone[i]:.0f} of the last {MEMORY_DAYS} nights.")
        if night.exposed[i]:
            out.append(
                f"Injury shows only after {w.told(context, 'wheat/freeze.look_after')} days: nothing to see before "
                f"{w.shown_day(context, first[i])}."
            )
        if np.isfinite(rival) and rival != night.line[i]:
            out.append(
                f"Published lines disagree at {night.stage[i]}: {night.line[i]:.0f} here, {rival:.0f} degF in the "
                "other."
            )
        if night.from_station[i]:
            out.append(
                "The temperature is the station's shelter; a canopy in a low spot was likely "
                f"{w.told(context, 'wheat/freeze.shelter_difference')} degF colder."
            )
        if night.sketched[i]:
            out.append(
                "The stage is a sketch by heat units (constants from memory): look at the field, it overrules this."
            )
        if night.exposed[i] and not table.known("split")[i] and np.isfinite(kept[i].mean()):
            out.append(
                f"Until stems are split the table's words stand for wide losses: {100 * (1 - kept[i].mean()):.0f} % "
                "on average."
            )
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    """Fields with a freeze on file; in spring those whose station had a night near or below freezing, or lacks some."""
    on: date = context.on
    spring = on.month in (3, 4, 5) or (on.month == 2 and on.day >= 15)
    low, _, _, gone = _station_nights(table, context)
    coldest = max(float(row[1]) for row in context.facts.by_id["wheat/freeze.kansas_c646"].rows)
    cold = (low <= coldest) | (gone > context.facts.value("wheat/freeze.nights_missing"))
    return np.asarray((spring & cold) | table.known("low") | table.known("split"))


QUESTION = Question(
    name="freeze-injury", room="wheat", title="Did the freeze hurt this wheat?",
    about="Lowest temperature against the published line of the growth stage, a look a week later, and what the wheat "
    "is worth "
    "for grain, hay or grazing once stems have been split.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    check=_check,
    limits="Temperatures at the canopy are rarely known. Losses before stems are split are words turned into wide "
    "ranges.",
)  # fmt: skip
