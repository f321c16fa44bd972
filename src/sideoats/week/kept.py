"""Calls kept in the ledger as they were given, and how they held up once the outcome was recorded.

A call keeps its stated chances and ranges. Two kinds of outcome score it, both recorded as `outcome` at the call's
place with `call` (the kept call's id) or `question` (then they are of its newest call kept by that day):

* `happened` yes or no, with `what` naming one of the call's chances (a quantity whose name begins with "chance"):
  Brier score and reliability;
* `value`, with `what` naming an option's key: what that option came to, in the option's unit. It scores whether the
  10th to 90th range held it, the pinball losses of both ends, and the money against what the best option was expected
  to pay.
"""

from __future__ import annotations

import json
import uuid
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import units
from sideoats.call import Call, call_from
from sideoats.errors import InputError
from sideoats.ledger import NewEntry
from sideoats.week.scoring import Coverage, Reliability, brier_parts, coverage, pinball, reliability

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger, Receipt

_NAMESPACE = uuid.UUID("0b5b0f64-5a7c-5f0a-8f0c-6f3f4e1f7a90")


def call_id(call: Call) -> str:
    """UUID version 5 of the call's content: keeping the same call twice stores it once."""
    return str(uuid.uuid5(_NAMESPACE, json.dumps(call.full(), sort_keys=True)))


def keep_calls(ledger: Ledger, calls: Iterable[Call], *, observer: str = "week") -> list[Receipt]:
    """Write calls into the ledger as given, in one transaction. Calls without a place on file are left out."""
    entries = []
    for call in calls:
        if not call.place:
            continue
        seen = datetime.combine(call.on, time(12, 0), tzinfo=UTC)
        body = {"call": call.full()}
        entries.append(NewEntry("call", body, place=call.place, seen_at=seen, observer=observer, id=call_id(call)))
    return ledger.append(entries)


@dataclass(frozen=True)
class Money:
    """Means over the options taken, in one unit: money an acre or a head does not add up over places of other sizes.

    Attributes
    ----------
    came, said, best : what they came to, what was expected of them, and what of the best option of each call
    count : options taken
    """

    came: float
    said: float
    best: float
    count: int


@dataclass(frozen=True)
class HeldUp:
    """How past calls held up.

    Attributes
    ----------
    calls, outcomes : kept calls, and outcomes recorded for them
    verdicts : how many of each
    chances : stated chances against what happened; None where no outcome scores one
    brier : mean squared error of those chances, and its parts
    ranges : how often the stated 10th to 90th range held the value; None where no outcome scores one
    pinball : mean loss of the 10th and 90th percentile by unit
    money : by unit, what the options taken came to beside what was said of them
    unused : outcomes that could not be used, with the reason
    """

    calls: int
    outcomes: int
    verdicts: dict[str, int]
    chances: Reliability | None
    brier: Any
    ranges: Coverage | None
    pinball: dict[str, float]
    money: dict[str, Money]
    unused: tuple[str, ...]

    def money_lines(self) -> list[str]:
        """`money` in words, a sentence a unit."""
        return [
            f"Options taken came to {m.came:,.2f} {unit} on the mean of {m.count}; {m.said:,.2f} was expected of them "
            f"and {m.best:,.2f} of the best."
            for unit, m in self.money.items()
        ]


def held_up(
    ledger: Ledger, *, since: date | None = None, until: date | None = None, question: str | None = None
) -> HeldUp:
    """Score every kept call of a span that has an outcome on file.

    An outcome names its call, or its question: then it is of the newest call of its place and question kept for the day
    on which it was seen or before. Of several outcomes of one thing said in one call the newest counts.
    """
    calls: dict[str, Call] = {}
    at_place: dict[tuple[str, str], list[str]] = {}
    for entry in ledger.history(kind="call", since=since, until=until):
        call = call_from(entry.body["call"])
        if question is None or call.question == question:
            calls[entry.id] = call
            at_place.setdefault((call.place, call.question), []).append(entry.id)
    tally = _Tally()
    told: dict[tuple[str, str], Entry] = {}
    for entry in ledger.history(kind="outcome"):
        kept = _call_of(entry, calls, at_place)
        if kept is not None:
            told[kept, str(entry.body.get("what", ""))] = entry
        elif entry.body.get("question") and not entry.body.get("call") and not (since or until or question):
            tally.unused.append(f"outcome {entry.id}: no call of {entry.body['question']} was kept there by that day")
    outcomes = len(told)
    for (kept, _), entry in told.items():
        tally.add(calls[kept], entry.body, entry.id)
    enough = len(tally.chance) > 0
    return HeldUp(
        calls=len(calls),
        outcomes=outcomes,
        verdicts=dict(Counter(c.verdict for c in calls.values())),
        chances=reliability(tally.chance, tally.came) if enough else None,
        brier=brier_parts(tally.chance, tally.came, edges=np.linspace(0, 1, 11)) if enough else None,
        ranges=coverage(*np.array(tally.spans).T) if tally.spans else None,
        pinball={unit: float(np.mean(losses)) for unit, losses in tally.losses.items()},
        money={unit: _mean_money(rows) for unit, rows in tally.money.items()},
        unused=tuple(tally.unused),
    )


def _call_of(entry: Entry, calls: Mapping[str, Call], at_place: Mapping[tuple[str, str], Sequence[str]]) -> str | None:
    """Id of the kept call that an outcome is of."""
    named = str(entry.body.get("call", ""))
    if named:
        return named if named in calls else None
    asked = str(entry.body.get("question", "")).strip().replace("_", "-")
    past = [key for key in at_place.get((entry.place or "", asked), ()) if calls[key].on <= entry.seen_on]
    return max(past, key=lambda key: calls[key].on) if past else None


def _mean_money(rows: list[tuple[float, float, float]]) -> Money:
    came, said, best = np.mean(rows, axis=0).tolist()
    return Money(came, said, best, len(rows))


class _Tally:
    """What the outcomes add up to."""

    def __init__(self) -> None:
        self.chance: list[float] = []
        self.came: list[float] = []
        self.spans: list[tuple[float, float, float]] = []  # low, high, what came
        self.losses: dict[str, list[float]] = {}
        self.money: dict[str, list[tuple[float, float, float]]] = {}  # came, said, best
        self.unused: list[str] = []

    def add(self, call: Call, body: dict[str, Any], entry_id: str) -> None:
        what = str(body.get("what", ""))
        try:
            if body.get("happened") is not None:
                self._happened(call, what, bool(body["happened"]))
            if body.get("value") is not None:
                self._value(call, what, str(body["value"]))
        except InputError as error:
            self.unused.append(f"outcome {entry_id}: {error}")

    def _happened(self, call: Call, what: str, happened: bool) -> None:
        stated = call.quantities.get(what)
        if stated is None or not what.startswith("chance"):
            names = [n for n in call.quantities if n.startswith("chance")]
            raise InputError(f"{what!r} is not a chance that this call stated", expected="one of " + ", ".join(names))
        self.chance.append(float(stated.value))
        self.came.append(float(happened))

    def _value(self, call: Call, what: str, text: str) -> None:
        option = next((o for o in call.options if o.key == what), None)
        if option is None:
            raise InputError(f"{what!r} is not an option of this call", expected=", ".join(o.key for o in call.options))
        value = units.parse(text, option.unit)
        self.spans.append((option.low, option.high, value))
        loss = float(pinball(option.low, value, 0.1) + pinball(option.high, value, 0.9)) / 2
        self.losses.setdefault(option.unit, []).append(loss)
        open_options = [o.expected for o in call.options if o.barred is None and o.expected == o.expected]
        best = max(open_options, default=option.expected)
        self.money.setdefault(option.unit, []).append((value, option.expected, best))
