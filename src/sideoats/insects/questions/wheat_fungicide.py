"""Spray this wheat with a fungicide: what it has to save, and what it is expected to return?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.insects.disease import rain_multiple, response_return
from sideoats.insects.injury import break_even_chance, gain_threshold
from sideoats.insects.questions._count import price_moves
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_F, _T, _C = "insects/wheat_fungicide.", "insects/treatment.", "insects/counting."
_FRESH = 10
DAYS = 15
NEVER = DAYS
DISEASES = ("leaf rust", "stripe rust", "stem rust", "leaf spots", "powdery mildew")
STAGES = ("jointing", "flag leaf", "boot", "heading", "flowering", "milk", "dough", "ripe")
_EARLY, _LATE = ("jointing",), ("milk", "dough", "ripe")
OPTIONS = (
    *(
        Option(f"spray-day-{d}", "Spray today" if d == 0 else f"Spray in {d} day{'s' * (d > 1)}", day=d)
        for d in range(DAYS)
    ),
    Option("never", "Do not spray", passive=True),
)
_TIMED = np.array([-1 if o.day is None else o.day for o in OPTIONS])
INPUTS = (
    Field("stage", "choice", "growth stage of most plants", choices=STAGES, required=True, example="heading",
          fresh_days=_FRESH, aliases={"joint": "jointing", "flag": "flag leaf", "bloom": "flowering"},
          found_in=("evidence:leaf_disease.stage", "place:stage")),
    Field("disease", "choice", "disease seen most", choices=DISEASES, fresh_days=_FRESH,
          found_in=("evidence:leaf_disease.disease",)),
    Field("flag", "share", "area of the flag leaf covered", example="3%", fresh_days=_FRESH,
          found_in=("evidence:leaf_disease.flag",)),
    Field("below", "share", "area of the leaf below the flag leaf covered", fresh_days=_FRESH,
          found_in=("evidence:leaf_disease.below",)),
    Field("lower", "share", "area of the lower and middle leaves covered", fresh_days=_FRESH,
          found_in=("evidence:leaf_disease.lower",)),
    Field("nearby", "flag", "the disease is spreading in the region", default=False, fresh_days=_FRESH,
          found_in=("evidence:leaf_disease.nearby",)),
    Field("rating", "choice", "the variety's rating against this disease",
          choices=("resistant", "moderate", "susceptible"), aliases={"s": "susceptible", "r": "resistant"},
          found_in=("place:rust_rating",)),
    Field("rain", "choice", "rain expected in three weeks, where no station is on file",
          choices=("dry", "usual", "wet")),
    Field("response", "share", "share of the yield that a spray saves where it answers, if a figure is at hand"),
    Field("chance", "share", "chance that it answers; the published odds if absent"),
    Field("yield", "number", "yield expected without disease", unit="bu/ac", low=0, high=300, required=True,
          example="50 bu/ac", found_in=("place:expected_yield",)),
    Field("price", "number", "price at harvest", unit="USD/bu", low=0, high=100, required=True,
          example="5.60 USD/bu", found_in=("place:price", "quote:wheat", "setting:price.wheat")),
    Field("cost", "number", "fungicide and application; the printed range's middle if absent", unit="USD/ac", low=0,
          high=200, found_in=("setting:cost.wheat-fungicide",)),
    Field("harvest_date", "date", "harvest (or cutting) expected", found_in=("place:harvest_date",)),
    Field("phi_days", "number", "pre-harvest interval of the label in hand", unit="day", bare=True, low=0, high=365,
          found_in=("setting:phi.wheat-fungicide",)),
    Field("acres", "number", "field size", unit="ac", bare=True, low=0.01, high=1_000_000, found_in=("place:acres",)),
    Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",)),
)  # fmt: skip


@dataclass(frozen=True)
class _Outcome:
    """What the answer is made of: odds and response of each place, and what each option pays."""

    odds: Floats
    response: Floats
    cost: Floats
    saved: Floats
    payoff: Floats
    inside: Bools
    outside: Bools
    window: Floats


def _check(values: dict[str, Any]) -> None:
    if values["response"] is not None and not 0 < values["response"] <= 1:
        raise InputError("a spray that saves nothing needs no question", where="wheat-fungicide response",
                         expected="a share above 0, such as response=15%")  # fmt: skip


def _odds(table: Table, context: Context) -> Floats:
    """(place, draw) chance of a response: disease in the canopy, in the region only, or neither."""
    facts, out = context.facts, context.outlook
    n = len(table)
    seen = np.zeros(n, bool)
    for name in ("flag", "below", "lower"):
        seen |= np.nan_to_num(table.number(name)) > 0
    near, clean = facts[_F + "odds.nearby"], facts[_F + "odds.clean"]
    shared = out.uniform("wheat fungicide odds")
    none = triangular(shared, clean.low, clean.mid, clean.high)
    around = triangular(shared, near.low, near.mid, near.high)
    chance = np.where(table.flag("nearby")[:, None], around, none)
    chance = np.where(seen[:, None], facts.value(_F + "odds.disease"), chance)
    given = table.number("chance")
    return np.asarray(np.where(np.isnan(given)[:, None], chance, given[:, None]))


def _response(table: Table, context: Context) -> Floats:
    """(place, draw) share of yield that a timely spray saves where the crop answers, by rating and rain."""
    facts, out = context.facts, context.outlook
    usual, effect = facts[_F + "response_disease"], facts[_F + "rain_effect"]
    share = triangular(out.uniform("wheat fungicide response"), usual.low, usual.mid, usual.high)
    times = {str(name): float(value) for name, value in facts[_F + "variety"].rows}
    variety = np.array([times.get(str(r), 1.0) for r in table.text("rating")])
    if out.has_weather:
        ahead = int(facts.value(_F + "rain_window"))
        wet = rain_multiple(out.daily("rain")[..., :ahead].sum(axis=2), effect.low, effect.high)
        rain = wet[:, out.year_of_draw][out.station_rows(table.text("station"))]
    else:
        words = table.text("rain")[:, None]
        drawn = out.between("wheat fungicide rain", effect.low, effect.high)[None, :]
        rain = np.where(words == "dry", effect.low, np.where(words == "wet", effect.high, drawn))
        rain = np.where(words == "usual", effect.mid, rain)
    given = table.number("response")
    return np.asarray(np.where(np.isnan(given)[:, None], share * variety[:, None] * rain, given[:, None]))


def _lost_already(table: Table, context: Context) -> Floats:
    """(place, draw) share of yield that the severity seen today will cost: never less than two published slopes say."""
    facts, out = context.facts, context.outlook
    flag, below = np.nan_to_num(table.number("flag")), np.nan_to_num(table.number("below"))
    by_flag = facts.value(_F + "flag_loss") * flag
    by_area = facts.value(_F + "leaf_area_loss") * 100.0 * (flag + below) / np.maximum(table.number("yield"), 1.0)
    low, high = np.minimum(by_flag, by_area), np.maximum(by_flag, by_area)
    protects = facts[_F + "protects"]
    kept = triangular(out.uniform("wheat fungicide protects"), protects.low, protects.mid, protects.high)
    return np.asarray((low[:, None] + (high - low)[:, None] * out.uniform("wheat fungicide slope")) * kept)


def _weigh(table: Table, context: Context) -> _Outcome:
    facts, out = context.facts, context.outlook
    stage, n = table.text("stage"), len(table)
    given = table.number("cost")
    cost = np.where(np.isnan(given), facts.value(_F + "usual_cost"), given)
    odds, response = _odds(table, context), _response(table, context)
    answers = out.uniform("wheat fungicide answers", table.keys) < odds
    share = np.where(answers, response, 0.0)
    own = ~np.isnan(table.number("response"))[:, None]
    share = np.where(own, share, np.maximum(share, _lost_already(table, context)))
    saved = np.minimum(share, facts.value(_F + "most_lost"))
    money = (table.number("yield") * table.number("price"))[:, None] * price_moves(table, context, "wheat") * saved
    left = {str(name): float(days) for name, days in facts[_F + "window"].rows}
    window = np.array([left.get(str(s), -1.0) for s in stage])
    late = facts.value(_F + "late")
    fall = (1 - late) * np.arange(DAYS) / np.maximum(window, 1.0)[:, None]
    keeps = np.clip(1.0 - fall, 0.0, 1.0)
    payoff = np.zeros((n, out.draws, DAYS + 1))
    payoff[:, :, :DAYS] = np.nan_to_num(money)[:, :, None] * keeps[:, None, :] - cost[:, None, None]
    timed = _TIMED >= 0
    outside = timed & (window[:, None] < _TIMED)
    harvest = np.nan_to_num(table.days_until("harvest_date", context.on), nan=1e9)
    inside = timed & (harvest[:, None] - _TIMED < np.nan_to_num(_interval(table, context))[:, None])
    return _Outcome(odds, response, cost, saved, payoff, inside, outside, window)


def _interval(table: Table, context: Context) -> Floats:
    """(place,) pre-harvest interval of the label [day]; the longest met where only harvest is known."""
    unread = ~table.known("phi_days") & table.known("harvest_date")
    longest = context.facts.value(_T + "longest_interval") if unread.any() else np.nan
    return np.where(unread, longest, table.number("phi_days"))


def answer(table: Table, context: Context) -> Answers:
    """Spraying on each day left for it against not spraying; break-evens beside the expected return."""
    facts = context.facts
    facts[_T + "entry"], facts[_F + "average_response"], facts[_F + "rain_response"]
    w = _weigh(table, context)
    tolerance = facts.value(_C + "act_by_tolerance")
    decision = decide(
        w.payoff, barred=w.inside | w.outside, days=_TIMED, tolerance=tolerance, risk_aversion=context.risk_aversion
    )
    stage = table.text("stage")
    missing = ~(table.known("yield") & table.known("price")) | (stage == "")
    yields, price = table.number("yield"), table.number("price")
    mean = w.response.mean(axis=1)
    worth = _worth_of_a_look(table, context, w)
    verdict, look_by = _verdict(table, context, w, decision, worth)
    near = facts[_F + "next_look"]
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac", verdict=verdict, act_by=decision.act_by,
        look_by=np.where(missing, near.mid, look_by).astype(np.int64), bars=_bars(table, context, w), missing=missing,
        worth_of_a_look=worth,
        missing_headline="Stage, yield and price are needed: look at the upper leaves and note the stage.",
        headline=_headline(table, w, decision), because=_because(table, context, w, mean),
        quantities={
            "break_even_yield": (gain_threshold(w.cost, price), "bu/ac"),
            "break_even_share": (gain_threshold(w.cost, yields * price), "1"),
            "break_even_chance": (break_even_chance(w.cost, yields * price, mean), "1"),
            "chance_of_response": (w.odds.mean(axis=1), "1"),
            "share_saved_if_it_responds": (mean, "1"),
            "return_if_it_responds": (response_return(yields, price, mean, w.cost), "USD/ac"),
            "expected_return": (decision.expected[:, 0], "USD/ac"),
            "treatment_cost": (w.cost, "USD/ac"),
        },
        cautions=_cautions(table, context),
    )  # fmt: skip


def _unseen(table: Table) -> Bools:
    """(place,) True where nobody has looked at the leaves and no odds were given."""
    seen = table.known("flag") | table.known("below") | table.known("lower")
    return np.asarray(~seen & ~table.known("chance") & ~table.known("response"))


def _worth_of_a_look(table: Table, context: Context, w: _Outcome) -> Floats:
    """(place,) what looking at the leaves is worth where nobody has, by the published odds [USD/ac].

    Disease seen raises the odds to those printed for disease in the canopy; none seen lowers them to nothing.  How
    likely it is to be seen is what makes the odds before the look come out.
    """
    with_disease = context.facts.value(_F + "odds.disease")
    before = w.odds.mean(axis=1)
    saves = table.number("yield") * table.number("price") * w.response.mean(axis=1)
    seen = np.minimum(before / with_disease, 1.0)
    worth = seen * np.maximum(with_disease * saves - w.cost, 0.0) - np.maximum(before * saves - w.cost, 0.0)
    useful = _unseen(table) & (w.window >= 0)
    return np.where(useful, np.maximum(np.nan_to_num(worth), 0.0), 0.0)


def _verdict(
    table: Table, context: Context, w: _Outcome, d: Decision, worth: Floats
) -> tuple[NDArray[np.int8], Floats]:
    """Stop inside the interval where spraying would pay; act while the window lasts; else look until flowering."""
    stage = table.text("stage")
    active = (d.best >= 0) & (d.best != NEVER)
    closed = w.inside[:, :DAYS].all(axis=1) & (d.expected[:, 0] > 0) & (w.window >= 0)
    shut = np.where(table.known("phi_days"), STOP, LOOK)  # nobody has read the label: read it before saying no
    verdict = np.where(active, ACT, np.where(closed, shut, WAIT))
    near = context.facts[_F + "next_look"]
    sick = np.zeros(len(table), bool)
    for name in ("flag", "below", "lower"):
        sick |= np.nan_to_num(table.number(name)) > 0
    sick |= table.flag("nearby")
    look_by = np.where(sick, near.low, near.high)
    acres = np.nan_to_num(table.number("acres"), nan=context.facts.value(_C + "usual_acres"))
    pays = worth > context.facts.value(_C + "look_cost") / acres
    verdict = np.where(((verdict == ACT) & _unseen(table)) | ((verdict == WAIT) & pays), LOOK, verdict)
    quiet = (verdict == ACT) | (verdict == STOP) | np.isin(stage, _LATE)
    look_by = np.where(closed & (verdict == LOOK), 0, look_by)  # the window is short and a label is read in minutes
    return verdict.astype(np.int8), np.where(quiet, -1, look_by)


def _bars(table: Table, context: Context, w: _Outcome) -> tuple[Bar, ...]:
    stage, phi, known = table.text("stage"), _interval(table, context), table.known("phi_days")

    def too_late(i: int) -> str:
        if stage[i] in _EARLY:
            return "before the flag leaf is out there is nothing to protect for grain"
        if stage[i] in _LATE:
            return "past flowering: too late to protect the flag leaf, and past what labels usually allow"
        return f"later than the {w.window[i]:.0f} days in which a spray at {stage[i]} still protects the flag leaf"

    def before_harvest(i: int) -> str:
        whose = "as given" if known[i] else "none given, so the longest on file; read the label"
        return f"inside the pre-harvest interval of {phi[i]:.0f} days ({whose})"

    return (
        Bar(w.outside, too_late),
        Bar(w.inside, before_harvest),
    )


def _headline(table: Table, w: _Outcome, d: Decision) -> Callable[[int], str]:
    stage, price = table.text("stage"), table.number("price")

    def headline(i: int) -> str:
        if stage[i] in _EARLY:
            return "Too early: the flag leaf is not out; look again as it comes."
        if stage[i] in _LATE:
            return f"At {stage[i]} it is too late for a fungicide to pay."
        if w.inside[i, :DAYS].all() and d.expected[i, 0] > 0:
            if not table.known("phi_days")[i]:
                gain = f"Would return {d.expected[i, 0]:.0f} USD/ac"
                return f"{gain}, but harvest is near and no label interval is given: read it."
            return "Do not spray: harvest falls inside the label's interval."
        need = f"it must save {w.cost[i] / price[i]:.1f} bu/ac" if price[i] > 0 else "wheat has no price"
        verb = "is expected to return" if d.expected[i, 0] >= 0 else "is expected to lose"
        return f"Spraying {verb} {abs(d.expected[i, 0]):.0f} USD/ac after its cost; {need}."

    return headline


def _because(table: Table, context: Context, w: _Outcome, mean: Floats) -> Callable[[int], list[str]]:
    facts, disease = context.facts, table.text("disease")
    age = facts[_F + "visible_age"]
    average, by_rain = facts.by_id[_F + "average_response"], facts.by_id[_F + "rain_response"]
    sick, clean, usual = (facts.by_id[_F + key] for key in ("odds.disease", "odds.clean", "response_disease"))
    by_flag, by_area = facts.by_id[_F + "flag_loss"], facts.by_id[_F + "leaf_area_loss"]
    rated = table.text("rating")

    def because(i: int) -> list[str]:
        lines = [
            f"Chance of a response {100 * w.odds[i].mean():.0f} %, saving {100 * mean[i]:.0f} % of the yield where it "
            f"comes (Kansas: {100 * sick.mid:.0f} % chance of {100 * usual.mid:.0f} % with disease in mid-canopy at "
            f"heading, {100 * clean.high:.0f} % at most without).",
            f"An average response of {average.mid:g} bu/ac was found worthwhile over three Kansas sites; eight "
            f"site-years in the Dakotas and Nebraska answered by {by_rain.low:g} to {by_rain.high:g}, more with rain.",
        ]
        if not rated[i]:
            lines.append("The variety's rating is not known: susceptible ones answer at least twice as much.")
        if np.nan_to_num(table.number("flag")[i]) > 0:
            lines.append(
                "Severity seen on the flag leaf counts as loss by two published slopes "
                f"({by_flag.mid:g} % of yield, or {by_area.mid:g} bu/ac, for each 1 % of leaf area); it grows on."
            )
        if disease[i] == "stripe rust":
            lines.append(f"Pustules of stripe rust come from infections {age.mid:g} days old and more.")
        if np.isnan(table.number("cost")[i]):
            lines.append(f"No cost given: {w.cost[i]:.0f} USD/ac is taken.")
        lines.append(context.outlook.notes[0])
        return lines

    return because


def _cautions(table: Table, context: Context) -> Callable[[int], list[str]]:
    entry = context.facts.by_id[_T + "entry"].text
    known = table.known("phi_days")

    def cautions(i: int) -> list[str]:
        lines = [
            "The label governs product, rate, latest stage, intervals and buffers: read it before every application.",
            entry,
            "Change the mode of action between sprays. Fungicides do nothing against bacterial or virus disease.",
        ]
        if not known[i]:
            lines.append("No pre-harvest interval was given: no advice on a product without its label.")
        if not table.known("harvest_date")[i]:
            lines.append("No harvest date was given, so the pre-harvest interval was not checked.")
        return lines

    return cautions


def _in_season(table: Table, context: Context) -> Any:
    """Leaves looked at lately; spring calls for the first look come from the stage on file."""
    return table.known("stage") & (table.known("disease") | table.known("flag") | table.known("lower"))


QUESTION = Question(
    name="wheat-fungicide", room="insects", title="Spray this wheat with a fungicide?",
    about="Whether and by when a foliar fungicide pays, from stage, severity by leaf layer, variety rating, yield, "
    "price and cost, with the rain of past years; break-even yield and chance beside the expected return.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=("wheat", "winter wheat")), size="acres",
    in_season=_in_season, check=_check,
    limits="Flag leaf to flowering. Odds and response are of Kansas years; no published table of loss by severity and "
    "stage is on file; head scab is not covered.",
)  # fmt: skip
