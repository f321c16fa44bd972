"""Every question to every place, ranked by the money that waiting until next week would lose."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from sideoats.call import VERDICTS, Call
from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED
from sideoats.question import Question, every, find
from sideoats.week.blocks import BlockAnswers, answer_block, blocks, common_of
from sideoats.week.district import district_of
from sideoats.week.done import ACTIONS, kinds_read
from sideoats.week.engines import Engine, Serial
from sideoats.week.errands import Errand, errands
from sideoats.week.gather import Problem
from sideoats.week.passes import Pass, acres_of, passes, sprayed
from sideoats.week.snapshot import require_places
from sideoats.week.unasked import Unasked

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

_ORDER = {verdict: i for i, verdict in enumerate(VERDICTS)}


@dataclass(frozen=True)
class Week:
    """The ranked calls of one day.

    Attributes
    ----------
    calls : stop first, then by cost of waiting, then by verdict and place
    asked : question -> places asked
    problems : values on file that could not be used, and questions that failed
    unasked : what was not asked of a place, and why
    errands : what the looks wait for, each thing once
    passes : what is to be sprayed, field by field: all pests of a field in one pass
    head : the ledger's head when it was read: (entries, hash)
    """

    on: date
    calls: tuple[Call, ...]
    asked: dict[str, int]
    problems: tuple[Problem, ...]
    head: tuple[int, str]
    seed: int
    draws: int
    unasked: tuple[Unasked, ...] = ()
    errands: tuple[Errand, ...] = ()
    passes: tuple[Pass, ...] = ()

    def of(self, verdict: str) -> tuple[Call, ...]:
        """The calls with one verdict, in rank order."""
        return tuple(c for c in self.calls if c.verdict == verdict)

    def full(self) -> dict[str, Any]:
        """JSON of the week."""
        return {
            "on": self.on.isoformat(),
            "head": {"entries": self.head[0], "hash": self.head[1]},
            "seed": self.seed,
            "draws": self.draws,
            "asked": self.asked,
            "errands": [e.full() for e in self.errands],
            "passes": [p.full() for p in self.passes],
            "calls": [c.full() for c in self.calls],
            "problems": [{"place": p.place, "question": p.question, "message": p.message} for p in self.problems],
            "not_asked": [
                {"place": u.place, "question": u.question, "needs": list(u.needs), "why": u.why} for u in self.unasked
            ],
        }


def evidence_needed(questions: Iterable[Question]) -> set[str]:
    """Evidence kinds that the week reads to ask these questions: those of their fields, and what was done."""
    return kinds_read(questions) | {ACTIONS}


def weekly_questions(names: Sequence[str] | None = None) -> list[Question]:
    """The questions that the week asks (of places on file), all or those named."""
    chosen = [find(name) for name in names] if names else list(every())
    return [q for q in chosen if q.places is not None]


def run_week(
    ledger: Ledger | str | os.PathLike[str],
    on: date,
    *,
    questions: Sequence[str] | None = None,
    farm: str | None = None,
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    risk_aversion: float | None = None,
    engine: Engine | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Week:
    """Ask every question of every place on one day and hold all calls in memory.

    Parameters
    ----------
    ledger : open, or its location
    questions : names; all where None
    farm : only this farm's places
    engine : where the work runs; here, one block after another, where None
    progress : called with (places answered, places in all)

    See `sideoats.week.stored_run.run_stored` for more places than fit in memory.
    """
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return run_week(
                opened,
                on,
                questions=questions,
                farm=farm,
                draws=draws,
                seed=seed,
                risk_aversion=risk_aversion,
                engine=engine,
                progress=progress,
            )
    chosen = weekly_questions(questions)
    district = district_of(ledger, on, kinds=evidence_needed(chosen), draws=draws, seed=seed, pool=True)
    require_places(district.snapshot)
    places = [p for p in district.snapshot.places if farm is None or p.farm == farm]
    cut = list(blocks(district.snapshot.evidence, places))
    common = replace(common_of(district, [q.name for q in chosen], risk_aversion), tell_unasked=True)
    asked = {q.name: 0 for q in chosen}
    calls: list[Call] = []
    problems: list[Problem] = []
    unasked: list[Unasked] = []
    done = 0
    for number, result in (engine or Serial()).run(answer_block, common, cut):
        done += len(cut[number].places)
        if isinstance(result, BlockAnswers):
            calls += result.calls
            problems += result.problems
            unasked += [u for u in result.unasked if u.question or not questions]
            for name, count in result.asked.items():
                asked[name] += count
        else:
            problems.append(Problem(cut[number].places[0].id, "", str(result)))
        if progress:
            progress(done, len(places))
    problems.sort(key=lambda p: (p.question, p.place, p.message))
    unasked.sort(key=lambda u: (u.place, u.question))
    order = ranked(calls)
    fetched = errands(order, {p.id: p for p in places})
    made = passes(order, acres_of(places), sprayed(district.snapshot.evidence, on), district.facts.reader())
    return Week(on, order, asked, tuple(problems), ledger.head(), seed, draws, tuple(unasked), fetched, made)


def ranked(calls: Iterable[Call]) -> tuple[Call, ...]:
    """Bars first, then by the money that waiting loses (for a look: its worth), then verdict, question, place."""

    def key(call: Call) -> tuple[bool, float, int, str, str]:
        return (call.verdict != "stop", -call.cost_of_waiting, _ORDER[call.verdict], call.question, call.place)

    return tuple(sorted(calls, key=key))
