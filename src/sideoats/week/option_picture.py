"""What the options of a call pay, as a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from sideoats.call import Call, OptionResult
from sideoats.pictures import Axis, Level, Picture, Row, Rows
from sideoats.replies import READER, told
from sideoats.timed import grouped
from sideoats.words import Measured, Money, Reader, Said, Share, say

MOST_OPTIONS = 8
_SAME = 0.5  # dollars a unit: below it nobody could tell them apart


def option_picture(call: Call, reader: Reader = READER) -> Picture | None:
    """What each option pays: the best, those next to it, and what is ruled out; the table has them all.

    None for a call without options, and where nothing of them could be drawn.
    """
    if not call.options:
        return None
    call = told(call, reader)
    options = grouped(call, reader)
    allowed = [o for o in options if not o.barred and math.isfinite(o.expected)]
    best = max(allowed, key=lambda o: o.expected, default=None)
    unit = call.options[0].unit
    kind = Money if unit.startswith("USD") else Measured
    rows = {o.key: _row(o, kind, o is best) for o in options}
    short = {o.key: o.label for o in grouped(call, reader, dated=False)}
    base = next((o.label for o in call.options if call.baseline and o.key == call.baseline), "")
    name = say("picture.options.axis", baseline=_small(base)) if base else say("picture.options.pays")
    saying = say("picture.options.says_nothing")
    if best is not None and math.isfinite(best.chance_best):
        saying = say("picture.options.says", chance=Share(best.chance_best))
    return Rows(
        finding=_finding(options, allowed, best, kind),
        saying=saying,
        kept=[replace(rows[o.key], name=short[o.key]) for o in _chosen(options, best)],
        listed=list(rows.values()),
        axis=Axis(name, unit, kind),
        level=Level(0.0, _small(base), base=True),
        zero=True,
        heads=("picture.options.tenth", "picture.options.expected", "picture.options.ninetieth"),
    )


def _row(o: OptionResult, kind: type[Money] | type[Measured], best: bool) -> Row:
    if o.barred or not math.isfinite(o.expected):
        none = float("nan")
        return Row(o.label, none, none, none, instead=say("picture.options.out", why=o.barred) if o.barred else "")
    more = say("picture.options.chance", chance=Share(o.chance_best)) if math.isfinite(o.chance_best) else ""
    note = say("picture.options.note", pays=kind(o.expected, unit=o.unit))
    worst = o.worst_tenth if math.isfinite(o.worst_tenth) else float("nan")
    return Row(o.label, o.low, o.expected, o.high, note, more, worst, now=best)


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


def _finding(
    options: Sequence[OptionResult],
    allowed: list[OptionResult],
    best: OptionResult | None,
    kind: type[Money] | type[Measured],
) -> Said:
    if best is None:
        return say(f"picture.options.{'unpriced' if any(not o.barred for o in options) else 'barred'}")
    pays = {"best": best.label, "pays": kind(best.expected, unit=best.unit)}
    rest = sorted((o for o in allowed if o is not best), key=lambda o: -o.expected)
    if not rest or best.expected - rest[0].expected < _SAME:
        return say("picture.options.title", **pays)
    gap = kind(best.expected - rest[0].expected, unit=best.unit)
    if best.expected <= 0 < gap.amount:
        return say("picture.options.leads", best=best.label, gap=gap, next=_small(rest[0].label))
    return say("picture.options.over", **pays, gap=gap, next=_small(rest[0].label))


def _small(label: str) -> str:
    return label[:1].lower() + label[1:]
