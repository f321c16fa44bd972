"""Kept calls settled by themselves: what later weather and quotes say of each, without anybody typing.

The chances and ranges are those of the call as it was kept; only what came is worked out, by asking the same day's
question again with what is known now (`sideoats.replay.hindsight`). A decision is counted once: at the first call kept
of it; later calls of the place and question count again when `APART` days have gone by.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import Answered, Call, call_from
from sideoats.outlook import DEFAULT_SEED
from sideoats.outlook.noise import generator
from sideoats.question import find
from sideoats.replay.hindsight import hindsight
from sideoats.replay.run import DRAWS, prices_since
from sideoats.replay.settle import NEVER, PERFECT, TOOL, Settled, chances_of
from sideoats.week.blocks import blocks, common_of, shaped_block
from sideoats.week.district import district_of
from sideoats.week.run import evidence_needed, weekly_questions

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

APART = 28  # days


def settle_kept(
    ledger: Ledger,
    now: date,
    *,
    since: date | None = None,
    until: date | None = None,
    question: str | None = None,
    draws: int = DRAWS,
    seed: int = DEFAULT_SEED,
) -> list[Settled]:
    """Every kept call of a span that what is on file by `now` settles, each decision once, oldest first."""
    by_day: dict[date, list[tuple[Call, str]]] = {}
    known = {q.name for q in weekly_questions()}
    last: dict[tuple[str, str], date] = {}
    for entry in ledger.history(kind="call", since=since, until=until):
        call = call_from(entry.body["call"])
        key = call.place, call.question
        if (
            call.question not in known
            or question not in (None, call.question)
            or (key in last and (call.on - last[key]).days < APART)
        ):
            continue
        last[key] = call.on
        by_day.setdefault(call.on, []).append((call, entry.observer))
    if not by_day:
        return []
    later = district_of(ledger, now, places=False, draws=20)
    out: list[Settled] = []
    for on in sorted(by_day):
        if on < now - timedelta(days=1):
            out += _of_day(ledger, on, by_day[on], later, draws, seed)
    return out


def _of_day(
    ledger: Ledger, on: date, kept: Sequence[tuple[Call, str]], later: Any, draws: int, seed: int
) -> list[Settled]:
    names = sorted({call.question for call, _ in kept})
    chosen = weekly_questions(names)
    district = district_of(ledger, on, kinds=evidence_needed(chosen), draws=draws, seed=seed, pool=True)
    knew = hindsight(district.outlook, later.snapshot.stations, prices_since(district.outlook, later.outlook))
    asked = common_of(replace(district, outlook=knew), names, None)
    wanted = {call.place for call, _ in kept}
    places = [p for p in district.snapshot.places if p.id in wanted]
    truth: dict[tuple[str, str], tuple[Call, Answered, int]] = {}
    for block in blocks(district.snapshot.evidence, places):
        made = shaped_block(asked, block, lambda call, answers, row: (call, answers, row)).calls
        truth |= {(call.place, call.question): (call, answers, row) for call, answers, row in made}
    stations = {s for w in knew.sets for s in w.stations}
    out = []
    for call, adviser in kept:
        there = truth.get((call.place, call.question))
        if there is not None and not (call.station and call.station not in stations):
            out.append(_settled(call, adviser, *there, seed=seed))
    return [row for row in out if row.range or row.chances]  # of the others nothing was open


def _settled(call: Call, adviser: str, true: Call, answers: Answered, row: int, *, seed: int) -> Settled:
    """One kept call against what came."""
    found, at = answers.ruled(row)
    gain = {o.key: found.problem.gain[at][:, i] for i, o in enumerate(found.problem.options)}
    open_ = [o for o in call.options if o.barred is None and o.key in gain and np.isfinite(gain[o.key]).all()]
    came = {o.key: o.expected if o.high - o.low < 1e-9 else float(gain[o.key].mean()) for o in open_}
    sure = [o for o in open_ if math.isfinite(o.certainty_equivalent)]
    led = max(sure, key=lambda o: o.certainty_equivalent, default=None)
    follows = led is not None and call.verdict in ("act", "wait") and not call.missing
    watched = max((o for o in open_ if o.high - o.low > 1e-9), key=lambda o: o.expected, default=None)
    draw = int(generator(seed, "what came", call.place, call.on.isoformat()).integers(found.problem.gain.shape[1]))
    base = call.baseline
    paid: dict[str, float] = {TOOL: came[led.key] if led is not None and follows else 0.0, NEVER: 0.0}
    paid[PERFECT] = max([0.0, *came.values()])
    span: tuple[float, ...] = ()
    if watched is not None:
        span = (watched.low, watched.high, float(gain[watched.key][draw]))
    best = max(came, key=lambda k: came[k], default=base)
    return Settled(
        question=call.question,
        on=call.on,
        place=call.place,
        call=call.full()["id"],
        verdict=call.verdict,
        unit=found.problem.unit,
        paid=paid,
        took={TOOL: led.key if led is not None and follows else base, NEVER: base, PERFECT: best},
        range=span,
        chances=_chances(call, true),
        horizon=_horizon(call),
        adviser=adviser,
    )


def _chances(call: Call, true: Call) -> Mapping[str, tuple[float, float]]:
    return chances_of(call.quantities, true.quantities, find(call.question).settles)


def _horizon(call: Call) -> int:
    """Days to the day that the call names; 0 where it names none."""
    by = call.act_by or call.look_by
    return (by - call.on).days if by else 0
