"""Several programs on one ledger at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from child import sent
from district import start
from killing import Child

from sideoats.ledger import open_ledger


@pytest.mark.parametrize("writers", [2, 10])
def test_writers_at_once_lose_and_double_nothing(new_address: Callable[[], str], writers: int, full: bool) -> None:
    """All send the same entries as one of the others, too, as phones do that share a list."""
    address, count = new_address(), 200 if full else 40
    with open_ledger(address) as ledger:
        ledger.append(start())
    children = [Child("write", address, f"writer {number // 2}", str(count)) for number in range(writers)]
    said = [child.finish() for child in children]
    with open_ledger(address) as ledger:
        assert ledger.check().ok
        stored = [entry.id for entry in ledger.history(kind="note")]
    assert all(len(lines) == count for lines in said)
    assert len(stored) == len(set(stored)) == writers // 2 * count
    assert {line for lines in said for line in lines} == set(stored)


def test_two_programs_make_the_same_ledger(new_address: Callable[[], str], full: bool) -> None:
    for _ in range(10 if full else 2):
        address = new_address()
        children = [Child("open_only", address).ready() for _ in range(2)]
        for child in children:
            child.go()
        assert [child.finish() for child in children] == [["0"], ["0"]]
        with open_ledger(address, create=False) as ledger:
            ledger.append(start())
            assert ledger.check().ok


def test_a_reader_does_not_stop_a_writer(tmp_path: Path) -> None:
    """A half-read history holds no lock and lets the write-ahead log be folded in."""
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append([*start(), *sent("early", 1500)])
        reader = ledger.history(kind="note")
        first = next(reader)
        Child("write", ledger.address, "late", "50").finish()
        rest = [entry.id for entry in reader]
        assert len({first.id, *rest}) == 1550
