"""Backup, restore and move: the chain arrives to the bit, and nothing is overwritten."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from district import at, note, place, start

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import Ledger, NewEntry, move, open_ledger, restore


def everything(ledger: Ledger) -> list[object]:
    return [ledger.id, ledger.head(), *ledger.history(corrected=True), *ledger.places(), *ledger.farms()]


@pytest.fixture
def filled(ledger: Ledger) -> Ledger:
    """Awkward content: numbers, zones, corrections, non-ASCII text, more than one page of entries."""
    numbers = [0.1, 1 / 3, 5e-324, 59.99999999999999, -0.0, 2.0**-53, -1e-22]
    days = NewEntry("station_days", {"start": "2026-05-01", "tmax": numbers}, place="ridge", seen_at=at("2026-05-08"))
    receipts = ledger.append([*start(), days, note("wrong"), *(note(f"é 日本 \U0001f33e {i}") for i in range(1500))])
    ledger.append([note("right", corrects=receipts[6].id)])
    return ledger


def backup_name(ledger: Ledger, tmp_path: Path) -> Path:
    return tmp_path / ("copy.jsonl" if ledger.address.startswith("postgresql") else "copy.sqlite")


def test_restored_is_the_same_ledger(filled: Ledger, new_address: Callable[[], str], tmp_path: Path) -> None:
    written = filled.backup(backup_name(filled, tmp_path))
    target = new_address()
    report = restore(written, target)
    assert report.ok and report.head == filled.head()
    with open_ledger(target, create=False) as copy:
        assert everything(copy) == everything(filled)
        copy.append([note("life goes on")])
        assert copy.check(anchor=filled.head()).ok


def test_lines_restore_on_either_engine(filled: Ledger, tmp_path: Path, server) -> None:  # type: ignore[no-untyped-def]
    lines = filled.backup(tmp_path / "copy.jsonl")
    for target in (str(tmp_path / "restored.sqlite"), server.database()):
        restore(lines, target)
        with open_ledger(target) as copy:
            assert everything(copy) == everything(filled)
            again = copy.backup(tmp_path / f"again-{copy.engine.dialect.name}.jsonl")
        assert again.read_bytes() == lines.read_bytes()


def test_move_there_and_back_again(filled: Ledger, tmp_path: Path, server) -> None:  # type: ignore[no-untyped-def]
    office, home = server.database(), str(tmp_path / "home.sqlite")
    assert move(filled.address, office).head == filled.head()
    assert move(office, home).head == filled.head()
    with open_ledger(home) as copy:
        assert everything(copy) == everything(filled)


def test_restore_and_move_never_overwrite(filled: Ledger, new_address: Callable[[], str], tmp_path: Path) -> None:
    written = filled.backup(backup_name(filled, tmp_path))
    target = new_address()
    with open_ledger(target) as other:
        other.append(start())
        head = other.head()
    for attempt in (lambda: restore(written, target), lambda: move(filled.address, target)):
        with pytest.raises(LedgerError, match="not overwritten"):
            attempt()
    with open_ledger(target) as other:
        assert other.head() == head and other.check().ok


def test_backup_replaces_only_a_backup_of_the_same_ledger(filled: Ledger, tmp_path: Path) -> None:
    target = backup_name(filled, tmp_path)
    filled.backup(target)
    filled.append([note("one more")])
    filled.backup(target)
    assert restore(target, tmp_path / "r.sqlite").head == filled.head()
    precious = tmp_path / "thesis.jsonl"
    precious.write_text("{}")
    with pytest.raises(LedgerError, match="not a backup of this ledger"):
        filled.backup(precious)
    assert precious.read_text() == "{}"
    if not filled.address.startswith("postgresql"):
        with pytest.raises(LedgerError, match="not a backup of this ledger"):
            filled.backup(Path(filled.address))


def test_no_half_backup_and_no_litter_stay_behind(filled: Ledger, tmp_path: Path) -> None:
    folder = tmp_path / "backups"
    folder.mkdir()
    filled.backup(folder / backup_name(filled, tmp_path).name)
    assert len(os.listdir(folder)) == 1
    with pytest.raises(LedgerError, match="cannot take"):
        filled.backup(tmp_path / "missing" / "copy.jsonl")


def test_backup_of_a_damaged_ledger_does_not_replace_a_good_one(tmp_path: Path) -> None:
    target = tmp_path / "copy.sqlite"
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append([*start(), note("kept")])
        ledger.backup(target)
        good = target.read_bytes()
        with sqlite3.connect(ledger.address) as connection:
            connection.execute("DROP TRIGGER entries_no_update")
            connection.execute("UPDATE entries SET observer = 'x' WHERE seq = 6")
        connection.close()
        with pytest.raises(LedgerDamaged, match="nothing was changed"):
            ledger.backup(target)
    assert target.read_bytes() == good


CUTS = ["half a line", "without the last line", "one body changed", "one line gone", "one more line"]


@pytest.mark.parametrize("cut", CUTS)
def test_a_damaged_backup_is_refused_and_leaves_nothing(filled: Ledger, tmp_path: Path, cut: str) -> None:
    written = filled.backup(tmp_path / "copy.jsonl")
    lines = written.read_text(encoding="utf-8").splitlines(keepends=True)
    if cut == "half a line":
        lines = [*lines[:800], lines[800][:40]]
    elif cut == "without the last line":
        lines = lines[:-1]
    elif cut == "one body changed":
        lines[900] = lines[900].replace("é", "e")
    elif cut == "one line gone":
        del lines[900]
    else:
        lines.append(lines[5])
    written.write_text("".join(lines), encoding="utf-8")
    target = tmp_path / "restored.sqlite"
    with pytest.raises(LedgerDamaged, match="use an older backup") as caught:
        restore(written, target)
    assert "\n" not in str(caught.value)
    assert sorted(p.name for p in tmp_path.iterdir() if "restored" in p.name) == []


def test_lines_are_plain_json_in_the_order_of_the_chain(filled: Ledger, tmp_path: Path) -> None:
    written = filled.backup(tmp_path / "copy.jsonl")
    lines = [json.loads(line) for line in written.read_text(encoding="utf-8").split("\n")[:-1]]
    assert lines[0]["id"] == filled.id and lines[-1] == {"entries": filled.head()[0], "head": filled.head()[1]}
    assert [line["seq"] for line in lines[1:-1]] == list(range(1, filled.head()[0] + 1))


def test_a_backup_taken_while_another_writes_is_one_state(tmp_path: Path) -> None:
    import threading

    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append(start())
        stop = threading.Event()

        def write() -> None:
            while not stop.is_set():
                ledger.append([note("more")])

        thread = threading.Thread(target=write)
        thread.start()
        try:
            for number in range(5):
                for suffix in ("sqlite", "jsonl"):
                    copy = ledger.backup(tmp_path / f"copy{number}.{suffix}")
                    assert restore(copy, tmp_path / f"r{number}{suffix}.sqlite").ok
        finally:
            stop.set()
            thread.join()


def test_what_is_not_a_backup_is_refused(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.sqlite"
    wrong.write_bytes(b"x" * 5000)
    with pytest.raises(LedgerError):
        restore(wrong, tmp_path / "r.sqlite")
    with pytest.raises(LedgerError, match="no backup at"):
        restore(tmp_path / "absent.sqlite", tmp_path / "r.sqlite")
    other = tmp_path / "other.jsonl"
    other.write_text('{"a": 1}\n')
    with pytest.raises(LedgerError, match="not a backup of a ledger"):
        restore(other, tmp_path / "r.sqlite")
    assert not (tmp_path / "r.sqlite").exists()


def test_places_survive_a_move_with_their_own_topics(ledger: Ledger, tmp_path: Path) -> None:
    ledger.append([*start(), place("market-2", "market", None)])
    quote = {"commodity": "wheat", "price": "5 USD/bu"}
    ledger.append([NewEntry("quote", quote, place=p, seen_at=at("2026-06-01")) for p in ("elevator", "market-2")])
    target = tmp_path / "m.sqlite"
    move(ledger.address, target)
    with open_ledger(target) as copy:
        assert set(copy.latest_topics("quote", None)) == {("elevator", "wheat"), ("market-2", "wheat")}
