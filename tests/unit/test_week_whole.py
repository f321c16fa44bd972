"""What holds for the week as a whole, every question asked: nothing depends on neighbours, workers or chance."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats.demo.district import TODAY
from sideoats.errors import InputError
from sideoats.question import Table
from sideoats.week import Week, blocks, run_week
from sideoats.week.blocks import sparing
from sideoats.week.engines import Processes
from sideoats.week.gather import _size
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

DRAWS = 40


@pytest.fixture(scope="module")
def week(ledger: Path) -> Week:
    return run_week(ledger, TODAY, draws=DRAWS)


def by_place(week: Week) -> dict[tuple[str, str], dict[str, Any]]:
    return {(c.place, c.question): c.full() for c in week.calls}


def test_no_question_fails_and_all_that_is_on_file_can_be_used(week: Week) -> None:
    assert [p for p in week.problems] == []
    assert len({c.question for c in week.calls}) > 15


def test_no_call_depends_on_which_places_share_its_batch(
    ledger: Path, week: Week, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Figures, words and sources: a place asked again alone, after news, must get what it would get among all."""
    monkeypatch.setattr(blocks, "CHUNK_BYTES", 20_000)
    monkeypatch.setattr(blocks.blocks, "__defaults__", (7,))
    assert by_place(run_week(ledger, TODAY, draws=DRAWS)) == by_place(week)


HASHED = """
import hashlib, json, sys
from datetime import date
from sideoats.week import run_week
week = run_week(sys.argv[1], date.fromisoformat(sys.argv[2]), draws=int(sys.argv[3]))
print(hashlib.sha256(json.dumps([c.full() for c in week.calls]).encode()).hexdigest())
"""


def test_another_process_gives_the_same_week(ledger: Path, week: Week) -> None:
    """Sets of text are walked in another order in each process; nothing may follow from that."""
    done = subprocess.run(
        [sys.executable, "-c", HASHED, str(ledger), TODAY.isoformat(), str(DRAWS)],
        capture_output=True, text=True, check=True, env={**os.environ, "PYTHONHASHSEED": "77"},
    )  # fmt: skip
    here = hashlib.sha256(json.dumps([c.full() for c in week.calls]).encode()).hexdigest()
    assert done.stdout.strip() == here


def test_every_question_gives_the_same_on_processes(ledger: Path, week: Week, tmp_path: Path) -> None:
    run_stored(ledger, TODAY, tmp_path / "w.week", engine=Processes(2), draws=DRAWS)
    with WeekStore(tmp_path / "w.week") as store:
        assert [c.full() for c in store.calls()] == [c.full() for c in week.calls]


def table_of(keys: str) -> Table:
    return Table(keys=tuple(keys), columns={"x": np.arange(float(len(keys)))})


def failing(*bad: str) -> Any:
    def work(table: Table) -> list[str]:
        for key in table.keys:
            if key in bad:
                raise InputError(f"{key} cannot be used")
        return list(table.keys)

    return work


@pytest.mark.parametrize("bad", ["", "d", "a", "h", "ah", "bcg", "abcdefgh"])
def test_a_bad_row_costs_only_itself(bad: str) -> None:
    found, problems = sparing(failing(*bad), table_of("abcdefgh"), "q")
    assert found == [k for k in "abcdefgh" if k not in bad]
    assert [(p.place, p.message) for p in problems] == [(k, f"{k} cannot be used") for k in bad]


def test_what_fails_for_all_is_said_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[int] = []

    def broken(table: Table) -> list[str]:
        asked.append(len(table))
        raise ZeroDivisionError("division by zero")

    monkeypatch.delenv("SIDEOATS_TRACE", raising=False)
    found, problems = sparing(broken, table_of("abcdefgh"), "q")
    assert found == [] and len(asked) == 3 and len(problems) == 1
    assert "fault of the program" in problems[0].message and "8 places" in problems[0].message
    monkeypatch.setenv("SIDEOATS_TRACE", "1")
    with pytest.raises(ZeroDivisionError):
        sparing(broken, table_of("ab"), "q")


@pytest.mark.parametrize(
    ("amount", "size"),
    [("60 ton", 60.0), ("60000 lb", 30.0), ("45 bale", float("nan")), (52, 52.0), (None, 1.0)],
)
def test_the_amount_of_a_lot_scales_money_in_the_unit_that_money_is_counted_in(amount: object, size: float) -> None:
    """60,000 lb of hay at so many USD/ton are 30 tons of it, not 60,000 (short ton of 2,000 lb, NIST Handbook 44)."""
    assert _size(amount, "ton") == pytest.approx(size, nan_ok=True)
