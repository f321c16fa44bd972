"""What money and dates of an answer keep to: costs, worth of the crop, aversion, baseline, figures told, smoothness."""

from __future__ import annotations

import math
import re
from datetime import date
from typing import Any

from hypothesis import strategies as st
from tests.casebook.judging import RESTS
from tests.property.laws import Draw, Proposal, Values, asked, fields, value_in

from sideoats.call import Call
from sideoats.errors import SideoatsError
from sideoats.question import Question, find
from sideoats.schema import Field

_MONEY = re.compile(r"(-?[\d,]+(?:\.\d+)?) (?:USD|dollars)")


def over_rest(call: Call) -> dict[str, float]:
    """What each open option gains over the best that does nothing."""
    open_ = [o for o in call.options if o.barred is None]
    nothing = [o.expected for o in open_ if o.key in (call.baseline, *RESTS) and o.passive]
    rest = nothing or [o.expected for o in open_ if o.passive]
    return {o.key: o.expected - max(rest) for o in open_ if not o.passive} if rest else {}


def dearer(question: Question, values: Values, draw: Draw) -> Proposal | None:
    f = next((f for f in question.inputs if f.name == "cost" and f.unit.startswith("USD/")), None)
    if f is None:
        return None
    low = draw(st.floats(max(f.low, 0.0), 40.0))
    return {**values, "cost": f"{low:.4f} {f.unit}"}, {
        **values,
        "cost": f"{low + draw(st.floats(0.5, 60.0)):.4f} {f.unit}",
    }


def judge_dearer(name: str, before: Values, after: Values, on: date) -> str:
    """Treating gains less by just what it costs more; what is counted in another unit never gains more."""
    first, second = asked(name, before, on), asked(name, after, on)
    if first is None or second is None:
        return ""
    unit = next(f.unit for f in find(name).inputs if f.name == "cost")
    more = float(str(after["cost"]).split()[0]) - float(str(before["cost"]).split()[0])
    one, two = over_rest(first), over_rest(second)
    for key in one.keys() & two.keys():
        fell = one[key] - two[key]
        if fell < -1e-6 * max(1.0, abs(one[key])):
            return f"dearer by {more:.4g} {unit}, {key} gains {-fell:.4g} more"
        if key.startswith("treat") and first.options[0].unit == unit and abs(fell - more) > 1e-3 + 1e-6 * abs(one[key]):
            return f"dearer by {more:.4g} {unit}, {key} loses {fell:.4g}"
    if first.verdict == "wait" and second.verdict == "act":
        return "wait became act by a dearer treatment"
    return ""


def worth_more(question: Question, values: Values, draw: Draw) -> Proposal | None:
    """A dearer or heavier crop, where a treatment protects it: the questions of counted pests and of leaf disease."""
    names = {f.name for f in question.inputs}
    if not {"yield", "price", "cost", "efficacy"} <= names:
        return None
    which = draw(st.sampled_from(["yield", "price"]))
    f = next(f for f in question.inputs if f.name == which)
    found = value_in(question, f, values) if f.name in values else None
    if not found:
        return None
    unit = f.unit
    return {**values, f.name: f"{found!r} {unit}"}, {
        **values,
        f.name: f"{min(found * draw(st.floats(1.05, 3)), f.high)!r} {unit}",
    }


def judge_worth_more(name: str, before: Values, after: Values, on: date) -> str:
    first, second = asked(name, before, on), asked(name, after, on)
    if first is None or second is None:
        return ""
    one, two = over_rest(first), over_rest(second)
    for key in one.keys() & two.keys():
        if key.startswith("treat") and two[key] < one[key] - 0.01 - 1e-4 * abs(one[key]):
            return f"a crop worth more, and {key} gains {one[key] - two[key]:.4g} less"
    return "" if not (first.verdict == "act" and second.verdict == "wait") else "act became wait for a crop worth more"


def judge_aversion(name: str, before: Values, after: Values, on: date) -> str:
    own = {k: v for k, v in before.items() if k != "aversion"}  # a grower's own attitude would be kept
    call = asked(name, own, on, risk_aversion=0.0)
    if call is None:
        return ""
    for o in call.options:
        if math.isfinite(o.certainty_equivalent) and abs(o.certainty_equivalent - o.expected) > 1e-6 * max(
            1, abs(o.expected)
        ):
            return f"{o.key} is worth {o.certainty_equivalent:.4g} without aversion, {o.expected:.4g} on average"
    open_ = {o.key: o for o in call.options if o.barred is None and math.isfinite(o.expected)}
    if call.verdict == "act" and call.baseline and open_:
        top = max(open_.values(), key=lambda o: o.expected)
        if top.passive and len(open_) > 1:
            return f"act, although {top.key} has the most money and no aversion is asked for"
    return ""


def judge_baseline(name: str, before: Values, after: Values, on: date) -> str:
    call = asked(name, before, on)
    if call is None or len(call.options) < 2:
        return ""
    if not call.baseline:
        return "no baseline is named"
    base = next(o for o in call.options if o.key == call.baseline)
    return "" if (base.expected, base.low, base.high) == (0.0, 0.0, 0.0) else f"{base.key} gains {base.expected:.4g}"


def judge_dates(name: str, before: Values, after: Values, on: date) -> str:
    call = asked(name, before, on)
    if call is None:
        return ""
    if call.verdict == "act" and not call.act_by:
        return "act without a day"
    if call.verdict == "look" and not call.look_by:
        return "look without a day"
    if call.verdict in ("wait", "look") and call.act_by:
        return f"{call.verdict} with an act-by"
    late = [d for d in (call.act_by, call.look_by) if d and d < on]
    return "by a day that is past" if late else ""


def judge_headline(name: str, before: Values, after: Values, on: date) -> str:
    """Money told in the headline stands among the call's figures, at the precision that is printed."""
    call = asked(name, before, on)
    if call is None:
        return ""
    figures = [q.value for q in (*call.quantities.values(), call.worth_of_a_look) if isinstance(q.value, float)]
    figures += [x for o in call.options for x in (o.expected, o.low, o.high, o.worst_tenth, o.certainty_equivalent)]
    figures += [v for f in find(name).inputs if isinstance(v := typed(f, before), float)] + [call.cost_of_waiting]
    expected = [o.expected for o in call.options]
    figures += [a - b for a in expected for b in expected]
    certain = [o.certainty_equivalent for o in call.options]
    figures += [a - b for a in certain for b in certain]
    for shown in _MONEY.findall(call.headline):
        text = shown.replace(",", "").lstrip("-")
        digits = len(text.partition(".")[2])
        whole = 0.5 * 10.0**-digits if digits or float(text) < 1000 else 50.0
        if not any(abs(abs(x) - float(text)) <= whole * 1.001 + 1e-9 for x in figures if math.isfinite(x)):
            return f"{shown} USD is in no figure of the call | {call.headline[:140]}"
    return ""


def typed(f: Field, values: Values) -> Any:
    try:
        return f.read(values[f.name]) if values.get(f.name) else f.default
    except SideoatsError:
        return None


def a_little_more(question: Question, values: Values, draw: Draw) -> Proposal | None:
    found = [
        f for f in fields(question, values, ("number", "share")) if isinstance(value_in(question, f, values), float)
    ]
    found = [
        f for f in found if not getattr(value_in(question, f, values), "below", False) and value_in(question, f, values)
    ]
    if not found:
        return None
    f = draw(st.sampled_from(found))
    value = value_in(question, f, values)
    unit = "" if f.unit in ("", "1") else f" {f.unit}"
    return {**values, f.name: f"{value!r}{unit}"}, {**values, f.name: f"{min(value * 1.001, f.high)!r}{unit}"}


def judge_smooth(name: str, before: Values, after: Values, on: date) -> str:
    """A thousandth more of one number moves what an option gains by at most a twentieth of the largest figure."""
    first, second = asked(name, before, on), asked(name, after, on)
    if first is None or second is None:
        return ""
    scale = max((abs(x) for o in first.options for x in (o.low, o.high, o.expected) if math.isfinite(x)), default=0.0)
    now = {o.key: o for o in second.options}
    for o in first.options:
        other = now.get(o.key)
        if (
            other
            and o.barred is None
            and other.barred is None
            and abs(o.expected - other.expected) > 0.05 * scale + 0.05
        ):
            return f"{o.key} {o.expected:.4g} became {other.expected:.4g} by a thousandth more"
    return ""
