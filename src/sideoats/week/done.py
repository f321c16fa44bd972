"""Calls whose act was recorded as done: closed until something newer is seen, or a look once a recount falls due.

What was done is evidence of the kind ``action`` that names the call's question (``sideoats record action place=PLACE
question=QUESTION what="sprayed"``, or "record what was done" at the desk). Money worked out from a count made before
the act would invite doing it again, so the call shows none. A hazard stands whatever was done: only a newer test, count
or look clears it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, timedelta
from typing import TYPE_CHECKING, Any

from sideoats.call import Call, Quantity
from sideoats.facts import Facts
from sideoats.question import Question, find
from sideoats.week.snapshot import HISTORY

if TYPE_CHECKING:
    from sideoats.ledger import Entry

ACTIONS = HISTORY + "action"
Evidence = Mapping[str, Mapping[str, "Entry"]]  # kind -> place -> newest entry


def kinds_read(questions: Iterable[Question]) -> set[str]:
    """Evidence kinds that the questions' fields are found in; ``history:KIND`` where all of a kind is wanted."""
    sources = {s for q in questions for f in q.inputs for s in f.found_in}
    newest = {s.partition(":")[2].partition(".")[0] for s in sources if s.startswith("evidence:")}
    return newest | {s.partition(".")[0] for s in sources if s.startswith(HISTORY)}


def settled(call: Call, evidence: Evidence, facts: Facts) -> Call:
    """The call as it stands after what was done about it; the same call where nothing was, or something newer is seen.

    Parameters
    ----------
    evidence : of the call's place: what its question reads, and `ACTIONS`
    """
    entry = evidence.get(ACTIONS, {}).get(call.place)
    rows = [
        row
        for row in (entry.body["rows"] if entry else ())
        if _about(row) == call.question and row["on"] <= call.on.isoformat()
    ]
    if not rows:
        return call
    deed = max(rows, key=_moment)
    seen = [
        at[call.place]
        for kind in kinds_read([find(call.question)])
        if (at := evidence.get(kind, {})) and call.place in at
    ]
    if any((e.seen_on.isoformat(), e.seen_at.astimezone(UTC).isoformat(), e.seq) > _moment(deed) for e in seen):
        return call
    return _closed(call, deed, facts.reader())


def _about(row: Mapping[str, Any]) -> str:
    return str(row.get("question", "")).strip().replace("_", "-")


def _moment(row: Mapping[str, Any]) -> tuple[str, str, int]:
    """The day it was done, then when the entry was seen and stored: what is seen later that day is newer."""
    return (row["on"], *row["seen"])


def _closed(call: Call, deed: Mapping[str, Any], facts: Facts) -> Call:
    day = date.fromisoformat(deed["on"])
    who = f" by {deed['by']}" if deed.get("by") else ""
    what = f"{str(deed['what']).strip().rstrip('.')} ({_day(day)}{who})"
    done = {"what": deed["what"], "on": deed["on"], "by": deed.get("by", ""), "entry": deed["entry"]}
    kept = replace(call, done=done, evidence=(*call.evidence, deed["entry"]))
    if call.verdict == "stop":
        more = f"Recorded as done: {what}. The hazard stands until a newer test or look clears it."
        return replace(kept, because=(more, *call.because), cost_of_waiting=0.0)
    bare = replace(
        kept,
        verdict="wait",
        act_by=None,
        look_by=None,
        options=(),
        quantities={},
        cost_of_waiting=0.0,
        said={},
        missing=(),
        worth_of_a_look=Quantity(0.0, call.worth_of_a_look.unit),
    )
    if not _counted(find(call.question)):
        line = "It comes up again when something newer is seen here and recorded."
        return replace(bare, headline=f"Done: {what}.", because=(line,))
    due = max(day + timedelta(days=int(facts.value("insects/recount.days"))), call.on)
    return replace(
        bare,
        verdict="look",
        look_by=due,
        sources=(*call.sources, *facts.cited()),
        headline=f"Done: {what}. Count again by {_day(due)} to see whether it worked.",
        because=("A count made before it says nothing of what is left, so nothing more is advised until a new one.",),
    )


def _counted(question: Question) -> bool:
    """Whether the question rests on insects counted, which are counted again after a treatment."""
    return question.room == "insects" and any(f.kind == "counts" for f in question.inputs)


def _day(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b}"
