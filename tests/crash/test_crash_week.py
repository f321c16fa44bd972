"""A large week whose workers are killed, whose disk is full, whose store is damaged: it goes on, or says why."""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest
import week_child

from sideoats.demo.district import TODAY
from sideoats.errors import SideoatsError
from sideoats.week.store import StoreError, WeekStore
from sideoats.week.stored_run import StoredRun, run_stored

CHILD = Path(week_child.__file__)


def finish(ledger: Path, store: Path) -> tuple[StoredRun, str]:
    run = run_stored(ledger, TODAY, store, questions=week_child.QUESTIONS, draws=100)
    with WeekStore(store) as week:
        return run, week.digest()


@pytest.fixture(scope="module")
def whole(ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The digest of a week that nothing happened to."""
    return finish(ledger, tmp_path_factory.mktemp("whole") / "w.week")[1]


def start(engine: str, ledger: Path, store: Path, pause: float = 0.15) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(CHILD), engine, str(ledger), str(store)], env={**os.environ, "WEEK_PAUSE": str(pause)},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def when(child: subprocess.Popen[str], places: int, then: Callable[[], None]) -> tuple[str, str]:
    """Do something once so many places are done; what the child said to its end."""
    assert child.stdout is not None
    for line in child.stdout:
        if line.strip().isdigit() and int(line) >= places:
            then()
            break
    try:
        return child.communicate(timeout=100)
    except subprocess.TimeoutExpired:
        for process in psutil.Process(child.pid).children(recursive=True) if child.poll() is None else []:
            process.kill()
        child.kill()
        raise


def workers(child: subprocess.Popen[str]) -> list[psutil.Process]:
    """Processes in which blocks are answered."""
    found = psutil.Process(child.pid).children(recursive=True)
    return [p for p in found if "spawn_main" in " ".join(p.cmdline()) and not p.children()]


def test_a_killed_worker_of_the_pool_ends_the_run_and_the_next_goes_on(
    ledger: Path, whole: str, tmp_path: Path
) -> None:
    child = start("processes", ledger, tmp_path / "w.week")
    _, complained = when(child, 12, lambda: workers(child)[0].kill())
    assert child.returncode == 2
    assert complained.startswith("refused: a worker process died; run the same command again")
    run, digest = finish(ledger, tmp_path / "w.week")
    assert run.asked <= run.places - 12 and digest == whole


def test_dask_goes_on_without_the_worker_that_was_killed(ledger: Path, whole: str, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the office extra is not installed")
    child = start("dask", ledger, tmp_path / "w.week")
    said, complained = when(child, 12, lambda: workers(child)[-1].kill())
    if child.returncode:  # the worker held what is common to all and no other did yet
        assert child.returncode == 2 and "refused:" in complained
    else:
        assert said.endswith("done\n")
    run, digest = finish(ledger, tmp_path / "w.week")
    assert run.asked <= run.places - 12 and digest == whole


@pytest.mark.parametrize("engine", ["serial", "processes", "dask"])
def test_a_run_that_is_killed_whole_goes_on(engine: str, ledger: Path, whole: str, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the office extra is not installed") if engine == "dask" else None
    child = start(engine, ledger, tmp_path / "w.week", 0.1)
    left = psutil.Process(child.pid)
    orphans: list[psutil.Process] = []

    def kill() -> None:
        orphans.extend(left.children(recursive=True))
        os.kill(child.pid, signal.SIGKILL)

    when(child, 12, kill)
    assert child.returncode == -signal.SIGKILL
    run, digest = finish(ledger, tmp_path / "w.week")
    assert run.asked <= run.places - 12 and digest == whole
    _, outliving = psutil.wait_procs(orphans, timeout=60)
    for process in outliving:
        process.kill()
    assert not outliving, "workers outlive the run that started them"


def test_two_runs_into_one_store_agree(ledger: Path, whole: str, tmp_path: Path) -> None:
    both = [start("serial", ledger, tmp_path / "w.week", 0.02) for _ in range(2)]
    ends = [child.communicate(timeout=200) for child in both]
    assert [child.returncode for child in both] == [0, 0], ends
    run, digest = finish(ledger, tmp_path / "w.week")
    assert run.asked == 0 and digest == whole


def test_a_full_disk_says_so_and_the_run_goes_on_when_there_is_room(
    small_disk: Path, ledger: Path, whole: str, tmp_path: Path
) -> None:
    store = small_disk / "w.week"
    with (small_disk / "ballast").open("wb") as ballast:
        ballast.write(b"x" * 2_900_000)
    child = start("serial", ledger, store, 0.0)
    _, complained = child.communicate(timeout=200)
    assert child.returncode == 2
    assert complained.startswith("refused: week store w.week cannot") and complained.count("\n") == 1
    assert "full" in complained
    (small_disk / "ballast").unlink()
    assert finish(ledger, store)[1] == whole


def test_a_damaged_store_is_found_or_does_no_harm(ledger: Path, whole: str, tmp_path: Path, full: bool) -> None:
    """Bytes written over anywhere, and cuts anywhere: an answer, or one line that says what to do; never a trace."""
    store = tmp_path / "good.week"
    finish(ledger, store)
    good, chance, told = store.read_bytes(), random.Random(3), 0
    for number in range(400 if full else 60):
        bad = bytearray(good)
        at = chance.randrange(len(good))
        if number % 3 == 0:
            bad = bad[:at]
        else:
            bad[at : at + 64] = chance.randbytes(min(64, len(good) - at))
        path = tmp_path / f"bad{number}.week"
        path.write_bytes(bad)
        for use in (_look, _go_on):
            try:
                use(path, ledger)
            except SideoatsError as error:
                told += 1
                assert isinstance(error, StoreError) and "\n" not in str(error)
                assert "bad" in str(error) and ("delete" in str(error) or "another file" in str(error)), str(error)
        for part in tmp_path.glob(f"bad{number}.week*"):
            part.unlink()
    assert told > 10


def test_a_store_whose_tables_have_names_that_are_no_text_is_called_damaged(ledger: Path, tmp_path: Path) -> None:
    """SQLite puts the name into its message, and Python cannot read that message."""
    path = tmp_path / "bad.week"
    with WeekStore(path):
        pass
    with contextlib.closing(sqlite3.connect(path)) as raw, raw:
        raw.execute("PRAGMA writable_schema = ON")
        raw.execute("UPDATE sqlite_schema SET name = CAST(x'cd41' AS TEXT), sql = 'nonsense' WHERE name = 'note'")
    for use in (_look, _go_on):
        with pytest.raises(StoreError, match=r"bad\.week is damaged .*delete it and run again"):
            use(path, ledger)


def _look(path: Path, ledger: Path) -> None:
    with WeekStore(path) as week:
        assert sum(1 for _ in week.calls(limit=500)) <= 500


def _go_on(path: Path, ledger: Path) -> None:
    run_stored(ledger, TODAY, path, questions=["wean-date"], draws=20)


def test_what_is_no_week_store_is_left_alone(ledger: Path, tmp_path: Path) -> None:
    copy, text = tmp_path / "ledger.sqlite", tmp_path / "notes.txt"
    shutil.copy(ledger, copy)
    text.write_text("hay, north barn\n" * 100, encoding="utf-8")
    for path in (copy, text):
        before = path.read_bytes()
        with pytest.raises(StoreError) as caught:
            run_stored(ledger, TODAY, path, questions=["wean-date"], draws=20)
        assert "another" in str(caught.value) or "delete" in str(caught.value)
        assert path.read_bytes() == before
    with pytest.raises(StoreError, match="another file"):
        WeekStore(tmp_path / "no folder" / "w.week")
