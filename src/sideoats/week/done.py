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
from sideoats.words import Day, Name, Said, say

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

    Its sentences are changed by their codes: it is told afterwards (`sideoats.replies.told`).

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
    done = {"what": deed["what"], "on": deed["on"], "by": deed.get("by", ""), "entry": deed["entry"]}
    text = {"what": Name(str(deed["what"]).strip().rstrip(".")), "on": Day(day)}
    by = {"by": Name(deed["by"])} if deed.get("by") else {}
    what = say("done.what_by" if by else "done.what", **text, **by)
    kept = replace(call, done=done, evidence=(*call.evidence, deed["entry"]))
    if call.verdict == "stop":
        because = [say("done.stands", what=what).plain(), *call.said["because"]]
        return replace(kept, said={**call.said, "because": because}, cost_of_waiting=0.0)
    bare = replace(
        kept,
        verdict="wait",
        act_by=None,
        look_by=None,
        options=(),
        quantities={},
        cost_of_waiting=0.0,
        missing=(),
        worth_of_a_look=Quantity(0.0, call.worth_of_a_look.unit),
    )
    if not _counted(find(call.question)):
        return replace(bare, said=_said(call, say("done.headline", what=what), say("done.newer")))
    due = max(day + timedelta(days=int(facts.value("insects/recount.days"))), call.on)
    return replace(
        bare,
        verdict="look",
        look_by=due,
        sources=(*call.sources, *facts.cited()),
        said=_said(call, say("done.recount", what=what, look_by=due), say("done.unknown")),
    )


def _said(call: Call, headline: Said, because: Said) -> dict[str, Any]:
    return {**call.said, "headline": headline.plain(), "because": [because.plain()], "labels": [], "bars": []}


def _counted(question: Question) -> bool:
    """Whether the question rests on insects counted, which are counted again after a treatment."""
    return question.room == "insects" and any(f.kind == "counts" for f in question.inputs)
