"""Hands where they do not belong: planted rows, changed guards, backups that go backwards, clocks that ran ahead."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa
from district import farm, note, start

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import Ledger, NewEntry, open_ledger, queries, restore


def on_sqlite(ledger: Ledger) -> bool:
    return ledger.engine.dialect.name == "sqlite"


def run(ledger: Ledger, *statements: str) -> None:
    with ledger.engine.begin() as connection:
        for statement in statements:
            connection.execute(sa.text(statement))


def test_a_row_in_a_derived_table_forgets_nobody(ledger: Ledger) -> None:
    """One insert into `series` hid a client and destroyed the keys, and `check` said that all held."""
    ledger.append(start())
    run(ledger, "INSERT INTO series VALUES ('forgotten', 'two-elms', '')")
    assert ledger.places() and all(not e.withheld for e in ledger.added(0))
    report = ledger.check()
    assert not report.ok and any("series lists forgotten at two-elms" in line for line in report.problems)


def test_a_guard_of_the_same_name_with_an_empty_body_is_named(ledger: Ledger) -> None:
    ledger.append(start())
    assert ledger.check().ok
    if on_sqlite(ledger):
        run(
            ledger,
            "DROP TRIGGER entries_no_update",
            "CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries BEGIN SELECT 1; END",
        )
    else:
        run(
            ledger,
            "CREATE OR REPLACE FUNCTION sideoats_refuse() RETURNS trigger LANGUAGE plpgsql "
            "AS $$ BEGIN RETURN NEW; END $$",
        )
    assert any("was changed" in line for line in ledger.check().problems)


def test_a_foreign_trigger_is_named_and_a_receipt_is_never_false(ledger: Ledger) -> None:
    ledger.append(start())
    before = ledger.head()
    if on_sqlite(ledger):
        run(ledger, "CREATE TRIGGER eats BEFORE INSERT ON entries BEGIN SELECT RAISE(IGNORE); END")
    else:
        run(
            ledger,
            "CREATE FUNCTION eats() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$",
            "CREATE TRIGGER eats BEFORE INSERT ON entries FOR EACH ROW EXECUTE FUNCTION eats()",
        )
    with pytest.raises((LedgerDamaged, LedgerError)):
        ledger.append([note("eaten")])
    assert ledger.head() == before
    assert any("trigger eats" in line for line in ledger.check().problems)


def test_a_note_of_one_farm_does_not_correct_the_note_of_another(ledger: Ledger, tmp_path) -> None:
    """It was stored, and check, backup and restore failed ever after."""
    ledger.append([*start(), farm("stone-post", "Stone Post")])
    first = ledger.append([NewEntry("note", {"text": "of two elms"}, farm="two-elms")])[0]
    with pytest.raises(LedgerError, match="cannot correct"):
        ledger.append([NewEntry("note", {"text": "of stone post"}, farm="stone-post", corrects=first.id)])
    assert ledger.check().ok
    ledger.append([NewEntry("note", {"text": "put right"}, farm="two-elms", corrects=first.id)])
    assert ledger.backup(tmp_path / "copy.jsonl").exists() and ledger.check().ok


def test_a_backup_does_not_go_backwards(ledger: Ledger, tmp_path) -> None:
    ledger.append(start())
    old = ledger.backup(tmp_path / "early.jsonl").read_bytes()
    ledger.append([note("later")])
    nightly = ledger.backup(tmp_path / "nightly.jsonl")
    held = nightly.read_bytes()
    ledger.append([note("later still")])
    assert len(ledger.backup(nightly).read_bytes()) > len(held) > len(old)
    longer = nightly.read_bytes()
    other = tmp_path / "put-back.sqlite"
    restore(tmp_path / "early.jsonl", other)
    with open_ledger(other, create=False) as put_back:
        with pytest.raises(LedgerError, match="keep that backup"):
            put_back.backup(nightly)
        assert nightly.read_bytes() == longer
        assert put_back.backup(tmp_path / "another.jsonl").exists()


def test_parts_of_killed_copies_are_swept(ledger: Ledger, tmp_path) -> None:
    ledger.append(start())
    dead = next(p for p in range(2**22 - 1, 1, -1) if not _runs(p))
    left = tmp_path / f".nightly.jsonl.{dead}.abc.part"
    left.write_text("a client's data", "utf-8")
    ours = tmp_path / f".nightly.jsonl.{os.getpid()}.abc.part"
    ours.write_text("being written", "utf-8")
    ledger.backup(tmp_path / "nightly.jsonl")
    assert not left.exists() and ours.exists()


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def test_a_clock_that_ran_ahead_does_not_poison_what_comes_after(ledger: Ledger, monkeypatch) -> None:
    ledger.append(start())
    monkeypatch.setattr(queries, "clock", lambda connection: datetime(2090, 5, 1, tzinfo=UTC))
    ledger.append([NewEntry("note", {"text": "by a wrong clock"}, place="north")])
    later = datetime.now(UTC) + timedelta(days=1)
    monkeypatch.setattr(queries, "clock", lambda connection: later)
    entry_id = ledger.append([NewEntry("note", {"text": "the clock is right again"}, place="north")])[0].id
    found = ledger.get(entry_id)
    assert found is not None and found.recorded_at == later and found.seen_on.year < 2090
    report = ledger.check()
    assert report.ok, report.problems
    assert any("in the future" in line and "2090" in line for line in report.notes), report.notes


def test_an_old_ledger_with_a_correction_gone_astray_can_be_backed_up(ledger: Ledger, tmp_path, monkeypatch) -> None:
    """As an earlier version took it: named by `check`, carried by backup and restore."""
    from sideoats.ledger import drafts

    ledger.append([*start(), farm("stone-post", "Stone Post")])
    first = ledger.append([NewEntry("note", {"text": "of two elms"}, farm="two-elms")])[0]
    monkeypatch.setattr(drafts, "_may_correct", lambda item, around: None)
    ledger.append([NewEntry("note", {"text": "of stone post"}, farm="stone-post", corrects=first.id)])
    report = ledger.check()
    assert report.ok and any("corrects nothing there" in line for line in report.notes)
    copy = ledger.backup(tmp_path / "copy.jsonl")
    target = tmp_path / "restored.sqlite"
    restore(copy, target)
    with open_ledger(target, create=False) as again:
        assert again.head() == ledger.head()
