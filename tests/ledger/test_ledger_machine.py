"""A random walk over a ledger, beside a plain list that does the same."""

from __future__ import annotations

import tempfile
import uuid
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import hypothesis.strategies as st
import pytest
from district import ZONE, farm, place
from hypothesis import settings
from hypothesis.stateful import Bundle, RuleBasedStateMachine, initialize, invariant, multiple, rule

from sideoats.errors import LedgerError
from sideoats.ledger import NewEntry, open_ledger

PLACES = ("north", "south")
FIRST = date(2026, 5, 1)
days = st.integers(0, 9)
texts = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1, max_size=20)


class Walk(RuleBasedStateMachine):
    """The model: a list of [id, place, day, text, corrected-by], in the order stored."""

    entries = Bundle("entries")

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "a.sqlite"
        self.ledger = open_ledger(self.path)
        self.ledger.append([farm(), *(place(p) for p in PLACES)])
        self.model: list[list[Any]] = []
        self.noted = self.ledger.head()

    def teardown(self) -> None:
        if hasattr(self, "ledger"):
            assert self.ledger.check(anchor=self.noted).ok
            self.ledger.close()
            self.folder.cleanup()

    def entry(self, entry_id: str, where: str, day: int, text: str, corrects: str | None = None) -> NewEntry:
        seen = datetime(FIRST.year, FIRST.month, FIRST.day, 12, tzinfo=ZONE) + timedelta(days=day)
        return NewEntry("note", {"text": text}, place=where, seen_at=seen, id=entry_id, corrects=corrects)

    @rule(
        target=entries,
        batch=st.lists(st.tuples(st.uuids(), st.sampled_from(PLACES), days, texts), min_size=1, max_size=4),
    )
    def append(self, batch: list[tuple[uuid.UUID, str, int, str]]) -> Any:
        fresh = {str(b[0]): b for b in batch if str(b[0]) not in {m[0] for m in self.model}}
        new = [self.entry(i, where, day, text) for i, (_, where, day, text) in fresh.items()]
        receipts = self.ledger.append(new)
        assert all(r.stored for r in receipts)
        self.model += [[i, where, day, text, None] for i, (_, where, day, text) in fresh.items()]
        return multiple(*fresh)

    @rule(target=entries, old=entries, new_id=st.uuids(), day=days, text=texts)
    def correct(self, old: str, new_id: uuid.UUID, day: int, text: str) -> Any:
        known = next(m for m in self.model if m[0] == old)
        if str(new_id) in {m[0] for m in self.model}:
            return multiple()
        correction = self.entry(str(new_id), known[1], day, text, old)
        if known[4] is not None:
            with pytest.raises(LedgerError, match="already corrected"):
                self.ledger.append([correction])
            return multiple()
        self.ledger.append([correction])
        known[4] = str(new_id)
        self.model.append([str(new_id), known[1], day, text, None])
        return multiple(str(new_id))

    @rule(old=entries, other=texts)
    def send_again(self, old: str, other: str) -> None:
        index, (entry_id, where, day, text, _) = next((i, m) for i, m in enumerate(self.model) if m[0] == old)
        corrects = next((m[0] for m in self.model if m[4] == old), None)
        receipt = self.ledger.append([self.entry(entry_id, where, day, text, corrects)])[0]
        assert not receipt.stored and receipt.seq == index + 4
        if other != text:
            with pytest.raises(LedgerError, match="another body"):
                self.ledger.append([self.entry(entry_id, where, day, other, corrects)])

    @rule()
    def close_and_open(self) -> None:
        self.ledger.close()
        self.ledger = open_ledger(self.path, create=False)

    @rule()
    def note_the_head(self) -> None:
        assert self.ledger.check(anchor=self.noted).ok
        self.noted = self.ledger.head()

    @rule(day=days)
    def latest(self, day: int) -> None:
        found = self.ledger.latest(["note"], FIRST + timedelta(days=day))["note"]
        for where in PLACES:
            seen = [(m[2], i, m[0]) for i, m in enumerate(self.model) if m[1] == where and m[2] <= day and m[4] is None]
            assert (found[where].id if where in found else None) == (max(seen)[2] if seen else None)

    @invariant()
    def same_history(self) -> None:
        if not hasattr(self, "ledger"):
            return
        assert self.ledger.head()[0] == len(self.model) + 3
        wanted = sorted((m[2], i, m[0], m[3]) for i, m in enumerate(self.model) if m[4] is None)
        found = [(e.id, e.body["text"]) for e in self.ledger.history(kind="note")]
        assert found == [(entry_id, " ".join(text.split())) for _, _, entry_id, text in wanted]


TestWalk = Walk.TestCase
TestWalk.settings = settings(max_examples=25, stateful_step_count=20, deadline=None)
