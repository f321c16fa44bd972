"""The week on every engine, stored, killed, resumed: the same calls to the bit."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from sideoats.demo.district import TODAY
from sideoats.errors import InputError, SideoatsError
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week import run_week
from sideoats.week.engines import Engine, Processes, Serial, engine_named
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

QUESTIONS = ["sorghum-aphid", "wean-date"]


def stored(ledger: Path, store: Path, engine: Engine, **options: Any) -> str:
    run_stored(ledger, TODAY, store, engine=engine, questions=QUESTIONS, draws=100, **options)
    week = WeekStore(store)
    try:
        return week.digest()
    finally:
        week.close()


@pytest.mark.parametrize("name", ["processes", "dask"])
def test_every_engine_gives_the_same_calls_to_the_bit(name: str, ledger: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the office extra is not installed") if name == "dask" else None
    serial = stored(ledger, tmp_path / "serial.week", Serial())
    assert stored(ledger, tmp_path / f"{name}.week", engine_named(name, workers=2)) == serial


def test_dask_runs_beside_whoever_holds_its_usual_port(ledger: Path, tmp_path: Path) -> None:
    """Two runs at once on one machine: the second one's status server must not ask for the first one's port."""
    pytest.importorskip("distributed", reason="the office extra is not installed")
    with socket.socket() as held:
        held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with contextlib.suppress(OSError):  # somebody else holds it: as good
            held.bind(("127.0.0.1", 8787))
            held.listen()
        engine = engine_named("dask", workers=1)
        run_stored(ledger, TODAY, tmp_path / "d.week", engine=engine, questions=["wean-date"], draws=20)


def test_the_stored_week_is_the_week(ledger: Path, tmp_path: Path) -> None:
    stored(ledger, tmp_path / "w.week", Serial())
    week = run_week(ledger, TODAY, questions=QUESTIONS, draws=100)
    kept = WeekStore(tmp_path / "w.week")
    shapes = [c.full() for c in kept.calls()]
    kept.close()
    assert shapes == [c.full() for c in week.calls] and len(shapes) == sum(week.asked.values())


def test_cutting_into_other_blocks_changes_nothing(ledger: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sideoats.week import blocks

    whole = run_week(ledger, TODAY, questions=QUESTIONS, draws=100).full()
    monkeypatch.setattr(blocks, "CHUNK_BYTES", 30_000)
    monkeypatch.setattr(blocks.blocks, "__defaults__", (7,))
    assert run_week(ledger, TODAY, questions=QUESTIONS, draws=100).full() == whole


def test_only_changed_places_are_asked_again(ledger: Path, tmp_path: Path) -> None:
    copy = tmp_path / "ledger.sqlite"
    with open_ledger(ledger) as opened:
        opened.backup(copy)
    store = tmp_path / "w.week"
    first = run_stored(copy, TODAY, store, questions=QUESTIONS, draws=100)
    assert first.asked == first.places == 60
    assert run_stored(copy, TODAY, store, questions=QUESTIONS, draws=100).asked == 0
    with open_ledger(copy) as opened:
        seen = next(iter(opened.history(kind="quote"))).seen_at.replace(
            year=TODAY.year, month=TODAY.month, day=TODAY.day
        )
        opened.append(
            [
                NewEntry(
                    "leaf_counts",
                    {"counts": ", ".join(["400", "300", "500"] * 4), "stage": "milk"},
                    place="two-elms.sorghum-1",
                    seen_at=seen,
                )
            ]
        )
    again = run_stored(copy, TODAY, store, questions=QUESTIONS, draws=100)
    assert again.asked == 10  # the field, and the nine whose counts are weighed against its
    week = WeekStore(store)
    call = next(c for c in week.calls(question="sorghum-aphid") if c.place == "two-elms.sorghum-1")
    week.close()
    assert call.verdict == "act"
    assert run_stored(copy, TODAY + timedelta(days=1), store, questions=QUESTIONS, draws=100).asked == 60


KILLED = """
import sys, time
from datetime import date
import sideoats.week.stored_run as store
slow = store.encode_block
def encode(common, block):
    time.sleep(0.15)
    return slow(common, block)
store.encode_block = encode
import sideoats.week.blocks as blocks
blocks.blocks.__defaults__ = (5,)
def shown(done, total):
    print(done, flush=True)
store.run_stored(sys.argv[1], date.fromisoformat(sys.argv[2]), sys.argv[3], questions=["sorghum-aphid", "wean-date"],
                 draws=100, progress=shown)
"""


def test_a_killed_run_goes_on_from_its_store(ledger: Path, tmp_path: Path) -> None:
    whole = stored(ledger, tmp_path / "whole.week", Serial())
    store = tmp_path / "killed.week"
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(ledger), TODAY.isoformat(), str(store)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    finished = 0
    for line in child.stdout:
        finished = int(line)
        if finished >= 15:
            os.kill(child.pid, signal.SIGKILL)
            break
    child.wait()
    child.stdout.close()
    run = run_stored(ledger, TODAY, store, questions=QUESTIONS, draws=100)
    assert finished <= 60 - run.asked <= finished + 5
    week = WeekStore(store)
    assert week.digest() == whole
    week.close()


PIECES = """
import os, signal, time
from sideoats.errors import InputError

def die(common, piece):
    if piece == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.01)
    return piece

def refuse(common, piece):
    if piece == 1:
        raise InputError("bad piece")
    return piece + common
"""


@pytest.fixture
def pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A module that spawned workers can import too: they take over sys.path."""
    from importlib import import_module

    (tmp_path / "pieces_of_work.py").write_text(PIECES, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "pieces_of_work", raising=False)
    return import_module("pieces_of_work")


def test_a_worker_that_dies_is_reported_in_one_line(pieces: Any) -> None:
    with pytest.raises(SideoatsError, match="worker process died"):
        list(Processes(2).run(pieces.die, None, range(50)))


@pytest.mark.parametrize("engine", [Serial(), Processes(2)], ids=["serial", "processes"])
def test_one_bad_piece_does_not_end_the_run(engine: Engine, pieces: Any) -> None:
    results = dict(engine.run(pieces.refuse, 10, range(5)))
    assert isinstance(results.pop(1), InputError)
    assert results == {0: 10, 2: 12, 3: 13, 4: 14}


def test_an_unknown_engine_is_refused() -> None:
    with pytest.raises(InputError, match="serial, processes or dask"):
        engine_named("steam")
