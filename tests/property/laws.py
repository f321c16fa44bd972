"""What silence, age, strangers and other spellings may do to an answer: phone-ins changed, and two calls judged."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
from hypothesis import strategies as st

from sideoats import units
from sideoats.asking import answers_for, call_for, table_of
from sideoats.call import Call
from sideoats.errors import SideoatsError
from sideoats.facts import Facts, load
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, Question, find
from sideoats.schema import Field, read_all
from sideoats.station import StationDays
from sideoats.words import Reader

Values = Mapping[str, Any]
Draw = Callable[[Any], Any]
Proposal = tuple[dict[str, Any], dict[str, Any]]  # the inputs before and after
DRAWS, SEED = 60, 11
SEVERITY = {"wait": 0, "act": 1, "look": 2, "stop": 3}
METRIC = {
    "lb": "kg", "ac": "hectare", "ton": "tonne", "in": "cm", "inch": "cm", "ft": "m", "cwt": "kg", "mph": "km/hour",
    "mm": "cm", "cm": "mm", "degF": "degC", "delta_degF": "delta_degC", "gal": "L", "g": "kg", "ppm": "mg/kg",
}  # fmt: skip
_NUMERIC = ("number", "numbers", "share")
_LISTS = ("counts", "numbers", "records", "series")


@lru_cache(maxsize=1)
def facts() -> Facts:
    """The published facts."""
    return load()


def asked(name: str, values: Values, on: date, **options: Any) -> Call | None:
    """The call, or None where the question refuses; a call already made is kept."""
    if options or not all(isinstance(v, str) for v in values.values()):
        return _ask(name, values, on, **options)
    return _kept(name, tuple(values.items()), on)


@lru_cache(maxsize=4096)
def _kept(name: str, values: tuple[tuple[str, Any], ...], on: date) -> Call | None:
    return _ask(name, dict(values), on)


def _ask(name: str, values: Values, on: date, **options: Any) -> Call | None:
    try:
        return call_for(name, values, on=on, **{"facts": facts(), "draws": DRAWS, "seed": SEED, **options})
    except SideoatsError:
        return None


@dataclass(frozen=True)
class Invariant:
    """One law: what it says, how a phone-in is changed to try it, what is wrong with the answers ("" where nothing)."""

    says: str
    propose: Callable[[Question, Values, Draw], Proposal | None]
    judge: Callable[[str, Values, Values, date], str]


def as_it_is(question: Question, values: Values, draw: Draw) -> Proposal:
    return dict(values), dict(values)


def fields(question: Question, values: Values, kinds: tuple[str, ...]) -> list[Field]:
    return [f for f in question.inputs if f.kind in kinds and values.get(f.name) not in (None, "")]


def value_in(question: Question, f: Field, values: Values) -> Any:
    try:
        return f.read(values[f.name])
    except SideoatsError:
        return None


def milder(first: Call, second: Call | None, how: str) -> str:
    """A stop that is no longer one, or a look that has become a wait; a refusal is never milder.

    A look may become an act: what is carried forward to today can have come due.
    """
    if second is None or SEVERITY[second.verdict] >= SEVERITY[first.verdict]:
        return ""
    if (first.verdict == "stop" and second.verdict != "look") or (first.verdict, second.verdict) == ("look", "wait"):
        return f"{how}: {first.verdict} became {second.verdict} | {first.headline[:110]} | {second.headline[:110]}"
    return ""


# --- silence -----------------------------------------------------------------------------------------------------


def evidence(f: Field) -> bool:
    return any(source.startswith(("evidence:", "history:")) for source in f.found_in)


def less_evidence(question: Question, values: Values, draw: Draw) -> Proposal | None:
    seen = [f.name for f in question.inputs if f.name in values and evidence(f)]
    if not seen:
        return None
    gone = draw(st.lists(st.sampled_from(seen), min_size=1, max_size=2, unique=True))
    return dict(values), {k: v for k, v in values.items() if k not in gone}


def judge_silence(name: str, before: Values, after: Values, on: date) -> str:
    """A hazard that stood or was not cleared is not cleared by silence. Looks that only pay are no hazard."""
    first = asked(name, before, on)
    if first is None or first.verdict != "stop":
        return ""
    second = asked(name, after, on)
    return milder(first, second, "without " + ", ".join(sorted(set(before) - set(after))))


def no_need(question: Question, values: Values, draw: Draw) -> Proposal | None:
    needed = [f.name for f in question.inputs if f.required and f.name in values]
    if not needed:
        return None
    gone = draw(st.sampled_from(needed))
    return dict(values), {k: v for k, v in values.items() if k != gone}


def judge_need(name: str, before: Values, after: Values, on: date) -> str:
    """What is needed and not known, as the week meets it: a look that names it, or a stop; by phone a refusal."""
    question = find(name)
    if asked(name, before, on) is None:
        return ""
    if asked(name, after, on) is not None:
        return "answered by phone although it is needed"
    if question.places is None:  # the week asks no such row
        return ""
    loose = tuple(replace(f, required=False) for f in question.inputs)
    try:
        row = read_all(loose, after)
    except SideoatsError:
        return ""
    gone = set(before) - set(after)
    call = question.ask(table_of(question, [row]), _context(on)).call(0)
    if call.verdict in ("wait", "act"):
        return f"{call.verdict} although {', '.join(gone)} is not known | {call.headline[:120]}"
    if call.verdict == "look" and not call.missing:
        return f"a look that does not name {', '.join(gone)} as missing | {call.headline[:120]}"
    return ""


@lru_cache(maxsize=64)
def _context(on: date) -> Context:
    return Context(on, facts(), make_outlook(on, facts=facts(), draws=DRAWS, seed=SEED))


def judge_missing(name: str, before: Values, after: Values, on: date) -> str:
    call = asked(name, before, on)
    if call is None:
        return ""
    read = read_all(find(name).inputs, before)
    inputs = {f.name for f in find(name).inputs}
    known = {k for k in call.missing if k in inputs and read.get(k) not in (None, "")}
    if known:
        return f"named as missing although given: {', '.join(sorted(known))}"
    if call.missing and call.verdict in ("wait", "act"):
        return f"{call.verdict} while {', '.join(call.missing)} is missing"
    return ""


# --- age and strangers -------------------------------------------------------------------------------------------


def judge_age(name: str, before: Values, after: Values, on: date) -> str:
    """Evidence as old as the vocabulary still takes never answers milder than the same seen today."""
    question = find(name)
    if asked(name, before, on) is None:
        return ""
    row = read_all(question.inputs, before)
    table = table_of(question, [row])
    ages = {f.name: np.array([min(f.fresh_days, 300.0)]) for f in question.inputs if f.name in before and evidence(f)}
    first = question.ask(table, _context(on)).call(0)
    second = question.ask(replace(table, ages=ages), _context(on)).call(0)
    return milder(first, second, "seen long ago")


def judge_stranger(name: str, before: Values, after: Values, on: date) -> str:
    """A station that nobody named and the quotes of another market change nothing but the line that says so."""
    first = asked(name, before, on)
    if first is None or before.get("station"):
        return ""
    second = asked(name, before, on, outlook=_elsewhere(on))
    if second is None:
        return "refused for a stranger's record"
    return different(first, second)


@lru_cache(maxsize=64)
def _elsewhere(on: date) -> Any:
    days = np.arange(365 * 6)
    tmax = 20 - 14 * np.cos(2 * np.pi * days / 365.25)
    values = {"tmax": tmax, "tmin": tmax - 30, "rain": np.where(days % 3 == 0, 9.0, 0.0)}
    start = date(max(on.year - 5, 1), 1, 1)
    far = StationDays(station="far", start=start, values=values, latitude=31.0)
    return make_outlook(on, stations={"far": far}, facts=facts(), draws=DRAWS, seed=SEED)


# --- the same said otherwise ---------------------------------------------------------------------------------------


def different(first: Call, second: Call, slack: float = 0.0) -> str:
    """How the second call differs in verdict, dates or figures."""
    one, two = ((c.verdict, c.act_by, c.look_by) for c in (first, second))
    if one != two:
        return f"{one[0]} by {one[1] or one[2]} became {two[0]} by {two[1] or two[2]} | {second.headline[:120]}"
    for a, b in zip(first.options, second.options, strict=False):
        close = slack * max(abs(a.expected), abs(a.low), abs(a.high), 1.0) + 1e-9
        if (a.key, a.barred is None) != (b.key, b.barred is None) or not near(a.expected, b.expected, close):
            return f"option {a.key} {a.expected:.6g} became {b.key} {b.expected:.6g}"
    for key, a in first.quantities.items():
        b = second.quantities.get(key)
        if b is None or (isinstance(a.value, str) and a.value != b.value):
            return f"{key} {a.value} became {b.value if b else None}"
        if isinstance(a.value, float) and not near(a.value, float(b.value), slack * max(abs(a.value), 1.0) + 1e-9):
            return f"{key} {a.value:.6g} became {b.value:.6g}"
    return "" if len(first.quantities) == len(second.quantities) else "another set of quantities"


def near(a: float, b: float, slack: float) -> bool:
    return (math.isnan(a) and math.isnan(b)) or abs(a - b) <= slack


def _metric(unit: str) -> str:
    return re.sub(r"[A-Za-z_]+", lambda word: METRIC.get(word[0], word[0]), unit).replace("USD/bu", "cent/bu")


def _in_metric(value: float, unit: str) -> str:
    other = _metric(unit)
    if unit == "degF":
        return f"{(value - 32) / 1.8:.10g} degC"
    return f"{value / units.parse(f'1 {other}', unit):.10g} {other}"


def other_units(question: Question, values: Values, draw: Draw) -> Proposal | None:
    """Every number with a unit, a little off any round line, in US and then in metric units."""
    before, after = dict(values), dict(values)
    for f in fields(question, values, ("number", "numbers")):
        found = value_in(question, f, values)
        if (
            found is None
            or f.unit in ("", "1", "percent")
            or getattr(found, "below", False)
            or _metric(f.unit) == f.unit
        ):
            continue
        many = list(found) if f.kind == "numbers" else [found]
        # off any round line, and inward from a bound, which the last digit of another unit would overstep
        off = [v if f.whole else v * 1.00371 if f.low <= v * 1.00371 <= f.high else v * 0.99629 for v in many]
        if any(isinstance(v, float) and getattr(v, "below", False) for v in many):
            continue
        before[f.name] = "; ".join(f"{v:.10g} {f.unit}" for v in off)
        after[f.name] = "; ".join(_in_metric(v, f.unit) for v in off)
    return (before, after) if before != after else None


def judge_units(name: str, before: Values, after: Values, on: date) -> str:
    first = asked(name, before, on)
    if first is None:
        return ""
    second = asked(name, after, on)
    return "refused in metric units" if second is None else different(first, second, 1e-5)


def otherwise_spelt(question: Question, values: Values, draw: Draw) -> Proposal | None:
    """Choices in another of their words, in capitals, with blanks; thousands with a comma; flags as y and n."""
    after = dict(values)
    for f in fields(question, values, ("choice", "flag", "number", "share")):
        found = value_in(question, f, values)
        if found is None:
            continue
        if f.kind == "choice":
            words = [w for w, meant in (f.aliases or {}).items() if meant == found] + [str(found)]
            after[f.name] = f"  {draw(st.sampled_from(words)).upper()} "
        elif f.kind == "flag":
            after[f.name] = draw(st.sampled_from(["yes", "y", "YES"] if found else ["no", "n", "No"]))
        elif f.kind == "share":
            after[f.name] = f"{100 * found:.10g} %"
        elif not getattr(found, "below", False) and found >= 1000 and f.unit not in ("", "1"):
            after[f.name] = f"{found:,.10g} {f.unit}"
    return dict(values), after


def judge_spelling(name: str, before: Values, after: Values, on: date) -> str:
    first = asked(name, before, on)
    if first is None:
        return ""
    second = asked(name, after, on)
    return "refused in another spelling" if second is None else different(first, second, 1e-9)


def another_order(question: Question, values: Values, draw: Draw) -> Proposal | None:
    after = dict(values)
    for f in fields(question, values, _LISTS):
        text = values[f.name]
        found = value_in(question, f, values)
        if not isinstance(text, str) or found is None or len(found) < 2 or _in_order(f):
            continue
        if f.kind in ("records", "series"):
            after[f.name] = "; ".join(draw(st.permutations([p.strip() for p in text.split(";") if p.strip()])))
        else:
            unit = "" if f.unit in ("", "1") or f.kind == "counts" else f" {f.unit}"
            shown = [
                f"{v:d}{unit}" if f.kind == "counts" else f"{float(v)!r}{unit}" for v in draw(st.permutations(found))
            ]
            after[f.name] = ",".join(shown)
    return (dict(values), after) if after != dict(values) else None


def _in_order(f: Field) -> bool:
    """Two or three numbers that run from low to high, or counts along a row, have an order of their own."""
    return bool(re.search(r"low.*high|from.*to|in (?:the )?order|lowest|range", f.help))


def judge_order(name: str, before: Values, after: Values, on: date) -> str:
    first, second = asked(name, before, on), asked(name, after, on)
    return "" if first is None or second is None else different(first, second, 1e-3)


def judge_twice(name: str, before: Values, after: Values, on: date) -> str:
    first, second = _ask(name, before, on), _ask(name, before, on)
    if first is None or second is None:
        return "" if first is second else "answered once and refused once"
    return "" if first.contract() == second.contract() else "two answers to the same inputs"


def judge_batch(name: str, before: Values, after: Values, on: date) -> str:
    """A row is answered the same alone and beside another."""
    question = find(name)
    if asked(name, before, on) is None or question.places is None:
        return ""
    row, blank = read_all(question.inputs, before), {f.name: f.default for f in question.inputs}
    both = question.ask(table_of(question, [blank, row, row], keys=["a", "b", "c"]), _context(on)).call(1)
    alone = question.ask(table_of(question, [row], keys=["b"]), _context(on)).call(0)
    return different(alone, both)


def judge_told(name: str, before: Values, after: Values, on: date) -> str:
    """In Spanish and metric units it is the same call, and every sentence is there."""
    from sideoats.replies import told

    call = asked(name, before, on)
    if call is None:
        return ""
    again = told(call, Reader("es", "metric"))
    if (again.verdict, len(again.because), len(again.cautions)) != (
        call.verdict,
        len(call.because),
        len(call.cautions),
    ):
        return "another call in Spanish"
    return "" if again.headline != call.headline and call.said else "its headline is in no other language"


def judge_unknown(name: str, before: Values, after: Values, on: date) -> str:
    try:
        answers_for(name, {**before, "no_such_word": "1"}, on=on, facts=facts(), draws=2)
    except SideoatsError as error:
        return "" if "no_such_word" in str(error) and "\n" not in str(error) else str(error)
    return "an unknown input is taken"
