"""`check` finds and names what was changed behind the ledger's back."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import psycopg
import pytest
from district import note, place, start

from sideoats.errors import LedgerDamaged, LedgerError
from sideoats.ledger import Ledger, NewEntry, canon, open_ledger
from sideoats.ledger.canon import Row


def tamper(ledger: Ledger, *statements: str) -> None:
    """Change the database as its owner could, with the guards switched off and on again."""
    if ledger.engine.dialect.name == "postgresql":
        with psycopg.connect(ledger.address) as connection:
            connection.execute("SET session_replication_role = replica")
            for statement in statements:
                connection.execute(statement)
        return
    with sqlite3.connect(ledger.address) as connection:
        guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in guards:
            connection.execute(sql)
    connection.close()


@pytest.fixture
def filled(ledger: Ledger) -> Ledger:
    ledger.append([*start(), *(note(f"note {i}") for i in range(20))])
    return ledger


CHANGES: list[tuple[str, str]] = [
    (
        "UPDATE entries SET body = replace(body, 'note 4', 'note 5') WHERE seq = 10",
        r"entry 10 \([0-9a-f-]{36}\) does not match",
    ),
    ("UPDATE entries SET observer = 'someone' WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("UPDATE entries SET seen_zone = 'UTC' WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("UPDATE entries SET clock_behind = 5 WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("UPDATE entries SET hash = '00' WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("UPDATE entries SET body = 'gone' WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("UPDATE entries SET id = 'x' WHERE seq = 10", "entry 10 .* does not match its hash"),
    ("DELETE FROM entries WHERE seq = 10", "entry 10 is missing; the next is entry 11"),
    ("DELETE FROM series WHERE kind = 'note'", "entries of note at north .* not listed"),
]


@pytest.mark.parametrize(("statement", "said"), CHANGES, ids=[said for _, said in CHANGES])
def test_a_change_is_found_and_named(filled: Ledger, statement: str, said: str) -> None:
    assert filled.check().ok
    tamper(filled, statement)
    report = filled.check()
    assert not report.ok
    assert re.search(said, report.problems[0]), report.problems


def test_every_column_is_covered_by_the_hash() -> None:
    """Change each column of a row by itself: the hash changes each time."""
    from datetime import UTC, date, datetime

    row = Row(
        1, "a", "note", "t", "p", "f", datetime(2026, 1, 1, tzinfo=UTC), "UTC", date(2026, 1, 1),
        datetime(2026, 1, 1, tzinfo=UTC), 0, "o", None, "", "{}", "",
    )  # fmt: skip
    other = Row(
        2, "b", "farm", "u", "q", "g", datetime(2026, 1, 2, tzinfo=UTC), "+01:00", date(2026, 1, 2),
        datetime(2026, 1, 2, tzinfo=UTC), 1, "x", "c", "s", "[]", "",
    )  # fmt: skip
    hashes = {canon.chained("00", row), canon.chained("01", row)}
    for column in Row._fields[:-1]:
        hashes.add(canon.chained("00", row._replace(**{column: getattr(other, column)})))
    assert len(hashes) == 2 + len(Row._fields) - 1


def test_two_swapped_bodies_are_both_named(filled: Ledger) -> None:
    one, other = '{"text":"note 5"}', '{"text":"note 6"}'
    assert [e.body["text"] for e in filled.history(kind="note")][5:7] == ["note 5", "note 6"]
    tamper(filled, f"UPDATE entries SET body = CASE seq WHEN 11 THEN '{other}' ELSE '{one}' END WHERE seq IN (11, 12)")
    found = filled.check().problems
    assert "entry 11 " in found[0] and "entry 12 " in found[1] and len(found) == 2


def test_entries_cut_off_at_the_end_are_found_by_a_head_noted_earlier(filled: Ledger) -> None:
    noted = filled.head()
    assert filled.check(anchor=noted).ok
    tamper(filled, "DELETE FROM entries WHERE seq > 20")
    assert filled.check().ok  # the chain alone cannot know
    report = filled.check(anchor=noted)
    assert not report.ok and "ends at entry 20" in report.problems[0]


def test_a_chain_written_anew_is_found_by_a_head_noted_earlier(filled: Ledger, new_address: Callable[[], str]) -> None:
    noted = filled.head()
    with open_ledger(new_address()) as other:
        other.append([*start(), *(note(f"forged {i}") for i in range(20))])
        report = other.check(anchor=noted)
    assert not report.ok and "entry 25" in report.problems[0] and "noted earlier" in report.problems[0]


def test_a_missing_guard_is_a_problem(filled: Ledger) -> None:
    if filled.engine.dialect.name == "postgresql":
        with psycopg.connect(filled.address) as connection:
            connection.execute("ALTER TABLE entries DISABLE TRIGGER entries_no_change")
        assert "entries_no_change is missing" in filled.check().problems[0]
    else:
        with sqlite3.connect(filled.address) as connection:
            connection.execute("DROP TRIGGER entries_no_update")
        connection.close()
        assert "entries_no_update is missing" in filled.check().problems[0]


def test_a_list_of_problems_ends(filled: Ledger) -> None:
    filled.append([note(str(i)) for i in range(100)])
    tamper(filled, "UPDATE entries SET observer = 'x' WHERE seq > 10")
    assert len(filled.check().problems) == 51


def test_bytes_overwritten_in_the_file_are_found_and_the_entry_named(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with open_ledger(path) as ledger:
        ledger.append([*start(), *(note(f"text of note {i:04d}") for i in range(2000))])
    raw = path.read_bytes()
    at = raw.index(b"text of note 1234")
    path.write_bytes(raw[:at] + b"TEXT" + raw[at + 4 :])
    with open_ledger(path) as ledger:
        report = ledger.check()
    assert not report.ok and report.problems[0].startswith("entry 1240 ("), report.problems


def test_a_ruined_page_is_reported_and_the_entries_behind_it_are_still_read(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with open_ledger(path) as ledger:
        ledger.append([*start(), *(note(f"text of note {i:04d}") for i in range(3000))])
    raw = bytearray(path.read_bytes())
    page = raw.index(b"text of note 1234") // 4096 * 4096
    raw[page : page + 4096] = b"\xff" * 4096
    path.write_bytes(raw)
    with open_ledger(path) as ledger:
        report = ledger.check()
    assert not report.ok and report.entries > 2900 and report.head[0] == 3005
    assert any("cannot be read" in line for line in report.problems), report.problems


@pytest.mark.parametrize("content", [b"not a database at all, but text " * 200, b"SQLite format 3\x00" + b"\x00" * 500])
def test_a_file_that_is_no_ledger_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "a.sqlite"
    path.write_bytes(content)
    with pytest.raises(LedgerDamaged) as caught:
        open_ledger(path)
    assert "\n" not in str(caught.value) and path.read_bytes() == content


def test_another_programs_database_is_left_alone(new_address: Callable[[], str]) -> None:
    address = new_address()
    if address.startswith("postgresql"):
        with psycopg.connect(address) as server:
            server.execute("CREATE TABLE theirs (a int)")
    else:
        with sqlite3.connect(address) as file:
            file.execute("CREATE TABLE theirs (a int)")
        file.close()
    with pytest.raises(LedgerError, match=r"belongs to another program .*'theirs'"):
        open_ledger(address)


def test_a_newer_schema_is_refused(ledger: Ledger) -> None:
    tamper(ledger, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(LedgerError, match="newer than this program"):
        open_ledger(ledger.address)


def test_no_ledger_is_made_where_none_is_wanted(new_address: Callable[[], str]) -> None:
    address = new_address()
    with pytest.raises(LedgerError, match="no ledger"):
        open_ledger(address, create=False)
    assert address.startswith("postgresql") or not Path(address).exists()


def test_places_are_checked_for_what_they_correct(filled: Ledger) -> None:
    """A forged correction across places is named even though its own hash was made to fit."""
    rows = list(filled.history(kind="note"))
    filled.append([place("south"), NewEntry("note", {"text": "x"}, place="south")])
    tamper(filled, f"UPDATE entries SET corrects = '{rows[0].id}' WHERE seq = 27")
    found = filled.check().problems
    assert any("at another place" in line for line in found)
