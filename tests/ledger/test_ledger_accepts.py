"""Whatever a ledger accepts, check, backup and restore go on working: a random walk of odd entries and corrections."""

from __future__ import annotations

import tempfile
from pathlib import Path

import hypothesis.strategies as st
from district import farm, place
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from sideoats.errors import SideoatsError
from sideoats.ledger import NewEntry, open_ledger, restore

FARMS = ("two-elms", "stone-post")
PLACES = (None, "north", "south", "elevator")
KINDS = st.sampled_from(["note", "leaf_counts", "withdrawal", "setting", "place", "farm", "action"])
BODIES = {
    "note": {"text": "seen"}, "leaf_counts": {"counts": [1, 2, 3]}, "withdrawal": {"reason": "a slip"},
    "setting": {"name": "price.hay", "value": "100 USD/ton"}, "place": {"name": "again", "kind": "field"},
    "farm": {"name": "again"}, "action": {"what": "sprayed"},
}  # fmt: skip


class Accepting(RuleBasedStateMachine):
    """Anything may be tried; what was refused leaves nothing, what was accepted breaks nothing."""

    @initialize()
    def begin(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.ledger = open_ledger(Path(self.folder.name) / "a.sqlite")
        described = [place("north"), place("south", owner="stone-post"), place("elevator", "market", None)]
        self.ledger.append([farm(), farm("stone-post", "Stone Post"), *described])
        self.known = [entry.id for entry in self.ledger.added(0)]

    @rule(
        kind=KINDS, where=st.sampled_from(PLACES), whose=st.sampled_from((None, *FARMS)),
        corrects=st.none() | st.integers(0, 30),
    )  # fmt: skip
    def try_one(self, kind: str, where: str | None, whose: str | None, corrects: int | None) -> None:
        target = None if corrects is None else self.known[corrects % len(self.known)]
        before = self.ledger.head()
        try:
            receipt = self.ledger.append([NewEntry(kind, BODIES[kind], place=where, farm=whose, corrects=target)])[0]
        except SideoatsError:
            assert self.ledger.head() == before
        else:
            self.known.append(receipt.id)

    @invariant()
    def all_holds(self) -> None:
        if hasattr(self, "ledger"):
            report = self.ledger.check()
            assert report.ok and not any("corrects nothing" in line for line in report.notes), report

    def teardown(self) -> None:
        if not hasattr(self, "ledger"):
            return
        folder = Path(self.folder.name)
        for name in ("copy.jsonl", "copy.sqlite"):
            copy = self.ledger.backup(folder / name)
            target = folder / f"{name}.restored.sqlite"
            assert restore(copy, target).ok
            with open_ledger(target, create=False) as again:
                assert again.head() == self.ledger.head()
        self.ledger.close()
        self.folder.cleanup()


TestAccepting = Accepting.TestCase
TestAccepting.settings = settings(max_examples=12, stateful_step_count=15, deadline=None)
