"""A disk that is full, cut off or closed to writing."""

from __future__ import annotations

import os
import random
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from child import sent
from district import note, start
from killing import Child

from sideoats.errors import LedgerError
from sideoats.ledger import open_ledger


def prepared(path: Path, count: int = 0) -> Path:
    with open_ledger(path) as ledger:
        ledger.append([*start(), *sent("kept", count)])
    return path


def assert_refused_cleanly(path: Path, said: list[str], before: int) -> None:
    """The last line is the refusal; everything that was acknowledged before it is there, and writing goes on."""
    *acknowledged, refusal = said
    assert refusal.startswith("refused: ledger") and "nothing was stored" in refusal, refusal
    with open_ledger(path) as ledger:
        assert {e.id for e in ledger.history(kind="note")} == set(acknowledged)
        assert ledger.check().ok and ledger.head()[0] == before + len(acknowledged)


@pytest.mark.parametrize("limit", [400_000, 1_000_000, 3_000_000])
def test_a_file_that_may_not_grow_is_refused_in_one_line(tmp_path: Path, limit: int) -> None:
    path = prepared(tmp_path / "a.sqlite")
    said = Child("fill", str(path), str(limit)).finish()
    assert len(said) > 5
    assert_refused_cleanly(path, said, 5)
    with open_ledger(path) as ledger:
        assert ledger.append([note("there is room again")])[0].stored


def test_a_full_disk_loses_nothing(small_disk: Path) -> None:
    path = prepared(small_disk / "a.sqlite")
    said = Child("fill", str(path), "0").finish()
    assert len(said) > 20
    assert_refused_cleanly(path, said, 5)


@pytest.mark.parametrize("name", ["copy.sqlite", "copy.jsonl"])
def test_a_backup_onto_a_full_disk_leaves_the_old_backup(small_disk: Path, tmp_path: Path, name: str) -> None:
    with open_ledger(prepared(tmp_path / "a.sqlite", 20)) as ledger:
        target = ledger.backup(small_disk / name)
        good = target.read_bytes()
        ledger.append([note("y" * 1900) for _ in range(2000)])
        with pytest.raises(LedgerError, match="nothing was changed"):
            ledger.backup(target)
    assert target.read_bytes() == good and os.listdir(small_disk) == [name]


def test_a_write_ahead_log_cut_anywhere_gives_a_whole_beginning(tmp_path: Path, full: bool) -> None:
    """After a power cut the tail of the log may be missing or torn: whole transactions up to there are left."""
    path = prepared(tmp_path / "a.sqlite")
    Child("write", str(path), "cut", "5000").kill_after(40)  # too few for the log to be folded into the file yet
    log = (tmp_path / "a.sqlite-wal").read_bytes()
    assert len(log) > 50_000
    chance, counts = random.Random(1), []
    offsets = sorted(
        {0, 1, 31, 32, 33, len(log) - 1, *(chance.randrange(len(log)) for _ in range(200 if full else 25))}
    )
    for offset in offsets:
        for torn in (False, True):
            cut = tmp_path / f"cut-{offset}-{torn}"
            cut.mkdir()
            shutil.copy(path, cut / "a.sqlite")
            noise = chance.randbytes(len(log) - offset) if torn else b""
            (cut / "a.sqlite-wal").write_bytes(log[:offset] + noise)
            with open_ledger(cut / "a.sqlite") as ledger:
                report = ledger.check()
                assert report.ok, (offset, report.problems)
                texts = [e.body["text"] for e in ledger.history(kind="note")]
                assert texts == [f"cut {i}" for i in range(len(texts))]
                ledger.append([note("goes on")])
            if not torn:
                counts.append(len(texts))
            shutil.rmtree(cut)
    assert counts == sorted(counts) and counts[0] == 0 and counts[-1] >= 39


@contextmanager
def without_rights() -> Iterator[None]:
    """As a user who owns nothing here (root may write everywhere)."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(65534)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


@pytest.fixture
def closed_folder() -> Iterator[Path]:
    """A ledger in a folder that may be read and not written."""
    folder = Path(tempfile.mkdtemp(prefix="sideoats-closed-"))
    prepared(folder / "a.sqlite")
    with open_ledger(folder / "a.sqlite") as ledger:
        ledger.backup(folder / "copy.sqlite")  # everything that is imported late has been imported now
    for file in folder.iterdir():
        file.chmod(0o444)
    folder.chmod(0o555)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.mark.parametrize("name", ["a.sqlite", "new.sqlite", "deeper/new.sqlite"])
def test_a_folder_closed_to_writing_gives_one_line(closed_folder: Path, name: str) -> None:
    with without_rights(), pytest.raises(LedgerError, match=r"must be writable|cannot be made") as caught:
        open_ledger(closed_folder / name)
    assert "\n" not in str(caught.value)
    assert sorted(p.name for p in closed_folder.iterdir()) == ["a.sqlite", "copy.sqlite"]


def test_a_backup_into_a_closed_folder_gives_one_line(closed_folder: Path, tmp_path: Path) -> None:
    with open_ledger(prepared(tmp_path / "a.sqlite")) as ledger:
        with without_rights(), pytest.raises(LedgerError, match=r"cannot take mine.sqlite .*nothing was changed"):
            ledger.backup(closed_folder / "mine.sqlite")
        assert ledger.check().ok
