"""Small drawings made on the server: what options pay, outlines of places, a season. No script, no style sheet inside.

Each comes with a sentence, and the page sets a table beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from sideoats.call import Call, OptionResult
from sideoats.desk.shown import known, money, share

MOST_OPTIONS = 8
AWAY = 0.4  # of the farther end: where the nearer end is beyond that, the scale does not reach back to zero


@dataclass(frozen=True)
class OptionRow:
    """One option with its drawing."""

    label: str
    expected: float
    unit: str
    chance: float
    barred: str
    best: bool
    drawing: Markup


@dataclass(frozen=True)
class OptionBars:
    """The options of a call, drawn to one scale."""

    rows: tuple[OptionRow, ...]
    sentence: str
    unit: str
    begins: str = ""


def option_bars(call: Call) -> OptionBars:
    """What each option pays: the best, those next to it, and what is ruled out (the table has them all)."""
    allowed = [o for o in call.options if not o.barred and known(o.expected)]
    if not call.options:
        return OptionBars((), "", "")
    best = max(allowed, key=lambda o: o.expected, default=None)
    low, high = _scale(allowed)
    shown = _chosen(call.options, best)
    rows = tuple(
        OptionRow(o.label, o.expected, o.unit, o.chance_best, o.barred or "", o is best, _bar(o, low, high))
        for o in shown
    )
    unit = call.options[0].unit
    begins = f"The scale runs from {money(low, unit)} to {money(high, unit)}." if low > 0 or high < 0 else ""
    unpriced = best is None and any(not o.barred for o in call.options)
    said = "No money is put on these options." if unpriced else _sentence(allowed, best)
    return OptionBars(rows, said, unit, begins)


def _scale(allowed: Sequence[OptionResult]) -> tuple[float, float]:
    """Ends of the scale: with zero in it, unless all ranges lie so far from zero that nothing could be told apart."""
    low = min((o.low for o in allowed if known(o.low)), default=0.0)
    high = max((o.high for o in allowed if known(o.high)), default=0.0)
    air = 0.12 * (high - low)
    if low > AWAY * high > 0:
        return max(low - air, 0.0), high + air
    if high < AWAY * low < 0:
        return low - air, min(high + air, 0.0)
    return min(low, 0.0), max(high, 0.0)


def _chosen(options: Sequence[OptionResult], best: OptionResult | None) -> list[OptionResult]:
    """All where they are few; else the best ones, the first, the last (doing nothing stands there), and one per bar."""
    if len(options) <= MOST_OPTIONS:
        return list(options)
    ranked = sorted((o for o in options if not o.barred), key=lambda o: -o.expected)
    kept = {o.key for o in ranked[: MOST_OPTIONS - 3]} | {options[0].key, options[-1].key}
    reasons: set[str] = set()
    for o in options:
        if o.barred and o.barred not in reasons:
            reasons.add(o.barred)
            kept.add(o.key)
    return [o for o in options if o.key in kept]


def _sentence(allowed: list[OptionResult], best: OptionResult | None) -> str:
    if best is None:
        return "Every option is ruled out."
    rest = sorted((o for o in allowed if o is not best), key=lambda o: -o.expected)
    text = f"{best.label} pays {money(best.expected, best.unit)} on average"
    if rest:
        gap = best.expected - rest[0].expected
        text += f", {money(gap, best.unit)} more than {rest[0].label[:1].lower() + rest[0].label[1:]}"
    return f"{text}, and is best in {share(best.chance_best)} of the futures drawn."


def _bar(o: OptionResult, low: float, high: float) -> Markup:
    """A range with its mean on a scale from `low` to `high`; empty where nothing is known or allowed."""
    span = high - low
    if o.barred or not known(o.expected) or span <= 0:
        return Markup('<svg viewBox="0 0 100 12" preserveAspectRatio="none" aria-hidden="true"></svg>')

    def at(value: float) -> str:
        return f"{(value - low) / span * 100:.2f}"

    zero = Markup("")
    if low <= 0 <= high:
        zero = Markup('<line class="bar-zero" x1="{0}" x2="{0}" y1="0" y2="12"/>').format(at(0.0))
    line = Markup('<line class="bar-range" x1="{}" x2="{}" y1="6" y2="6"/>').format(at(o.low), at(o.high))
    ends = Markup("").join(
        Markup('<line class="bar-end" x1="{0}" x2="{0}" y1="3" y2="9"/>').format(at(v)) for v in (o.low, o.high)
    )
    middle = (o.expected - low) / span * 100
    seed = Markup('<path class="bar-mid" d="M{:.2f} 0.5L{:.2f} 6L{:.2f} 11.5L{:.2f} 6Z"/>').format(
        middle, middle + 1.1, middle, middle - 1.1
    )
    return Markup('<svg viewBox="0 0 100 12" preserveAspectRatio="none" aria-hidden="true">{}{}{}{}</svg>').format(
        zero, line, ends, seed
    )


def nice_step(span: float, wanted: int) -> float:
    """A step of 1, 2 or 5 times a power of ten that cuts `span` into about `wanted` parts."""
    if span <= 0 or not math.isfinite(span):
        return 1.0
    raw = span / max(wanted, 1)
    power = 10.0 ** math.floor(math.log10(raw))
    return next(power * m for m in (1, 2, 5, 10) if power * m >= raw)
