"""Options as a person reads them: of the days on which one act could be done, those he would choose between.

Options that are days of one act have keys that end in ``day-N``. The JSON of a call holds every one of them; printed
text and the desk show the first day, the last good one, the last that was reckoned, and leaving it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import timedelta
from itertools import groupby

from sideoats.call import Call, OptionResult
from sideoats.words import Count, Day, Name, Reader, say, sentence

_TIMED = re.compile(r"(.*)day-(\d+)")
_FEW = 3  # days of one act that are listed one by one


def grouped(call: Call, reader: Reader, *, dated: bool = True) -> tuple[OptionResult, ...]:
    """The options of a call told to `reader`, the days of an act drawn together.

    How often the act comes out best stands with its best day, NaN with its other days. Where `dated` is False the
    labels name no day of the calendar, for a drawing with little room.
    """
    acts: dict[str, list[tuple[int, OptionResult]]] = {}
    for o in call.options:
        match = _TIMED.fullmatch(o.key)
        name, day = (f"{match[1]}day", int(match[2])) if match else (o.key, 0)
        acts.setdefault(name, []).append((day, o))
    out: list[OptionResult] = []
    for days in acts.values():
        out.extend(_few_days(call, days, reader, dated) if len(days) > _FEW else (o for _, o in days))
    return tuple(o._replace(chance_best=math.nan) for o in out) if _sure(acts) else tuple(out)


def _sure(acts: Mapping[str, Sequence[tuple[int, OptionResult]]]) -> bool:
    """One act on one of several days is all that can be done, and it is best in every future or in none: that it comes
    out best so many times in a hundred says nothing.
    """
    does = [[o for _, o in days] for days in acts.values() if not all(o.passive for _, o in days)]
    if len(does) != 1 or len(does[0]) <= _FEW:
        return False
    chance = math.fsum(o.chance_best for o in does[0] if o.barred is None and math.isfinite(o.chance_best))
    return not 0.005 <= chance <= 0.995


def _few_days(call: Call, days: Sequence[tuple[int, OptionResult]], reader: Reader, dated: bool) -> list[OptionResult]:
    """The best open day, the first, the last good one and the last; and a line for each stretch that is ruled out."""
    open_ = {day: o for day, o in days if o.barred is None and math.isfinite(o.expected)}
    out = []
    if open_:
        first, last, best = min(open_), max(open_), max(open_, key=lambda d: (open_[d].expected, -d))
        kinds = {last: "last_day", best: "on_day", first: "on_day"}
        if call.act_by and call.verdict == "act" and (good := (call.act_by - call.on).days) in open_:
            kinds[good] = "last_good"
        chance = math.fsum(o.chance_best for o in open_.values() if math.isfinite(o.chance_best))
        for day in sorted(kinds):
            label = _dated(call, open_[day].label, day, kinds[day], reader) if dated else open_[day].label
            out.append(open_[day]._replace(label=label, chance_best=chance if day == best else math.nan))
    shut = [o for _, o in days if o.barred is not None]
    for why, run in groupby(shut, key=lambda o: o.barred):
        stretch = list(run)
        more = say("printed.and_after", label=Name(stretch[0].label), n=Count(len(stretch) - 1))
        label = sentence(more, reader) if len(stretch) > 1 else stretch[0].label
        out.append(stretch[0]._replace(label=label, barred=why))
    return out or [days[0][1]]


def _dated(call: Call, label: str, day: int, kind: str, reader: Reader) -> str:
    if day == 0:
        return label
    return sentence(say(f"printed.{kind}", label=Name(label), day=Day(call.on + timedelta(days=day))), reader)
