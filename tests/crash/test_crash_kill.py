"""kill -9 at random moments: nothing acknowledged is lost, nothing is there by half, the chain holds."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from child import sent
from district import start
from killing import Child

from sideoats.errors import LedgerError
from sideoats.ledger import Ledger, NewEntry, open_ledger, restore, tables
from sideoats.ledger import engine as engines
from sideoats.ledger.keys import KeyStore


def ids_in(ledger: Ledger) -> set[str]:
    return {entry.id for entry in ledger.history(kind="note", corrected=True)}


def test_no_acknowledged_entry_is_lost(new_address: Callable[[], str], full: bool) -> None:
    """200 writes a round; afterwards the sender sends everything again, as a phone that had no answer does."""
    address, moment = new_address(), random.Random(20260801)
    with open_ledger(address) as ledger:
        ledger.append(start())
    interrupted = 0
    for round_number in range(60 if full else 6):
        acknowledged = Child("write", address, f"round {round_number}", "200").ready().kill(moment.uniform(0.0, 0.25))
        interrupted += 0 < len(acknowledged) < 200
        with open_ledger(address) as ledger:
            assert set(acknowledged) <= ids_in(ledger)
            assert len(ids_in(ledger)) - 200 * round_number <= len(acknowledged) + 1
            report = ledger.check()
            assert report.ok, report.problems
            receipts = ledger.append(sent(f"round {round_number}", 200))
            assert sum(not r.stored for r in receipts) in (len(acknowledged), len(acknowledged) + 1)
            assert ledger.head()[0] == 5 + 200 * (round_number + 1)
    assert interrupted, "no child was killed while it wrote; the moments are badly chosen"


def test_a_bulk_load_is_there_wholly_or_not_at_all(new_address: Callable[[], str], full: bool) -> None:
    moment, outcomes = random.Random(7), set()
    for after in [0.02, *(moment.uniform(0.05, 0.9) for _ in range(20 if full else 3))]:
        address = new_address()
        with open_ledger(address) as ledger:
            ledger.append(start())
        done = Child("load", address, "bulk", "5000").ready().kill(after)
        with open_ledger(address) as ledger:
            count = ledger.head()[0]
            assert count == 5005 if done else count in (5, 5005)
            assert ledger.check().ok
            ledger.append(sent("bulk", 5000))
            assert ledger.head()[0] == 5005
            outcomes.add(count)
    assert 5 in outcomes, "no load was interrupted; the moments are badly chosen"


def test_a_backup_is_the_old_one_or_the_new_one(tmp_path: Path, full: bool) -> None:
    address, moment = str(tmp_path / "a.sqlite"), random.Random(3)
    with open_ledger(address) as ledger:
        ledger.append([*start(), *sent("kept", 3000)])
        head = ledger.head()
    for number, suffix in enumerate(["sqlite", "jsonl"] * (15 if full else 2)):
        target = tmp_path / f"copy.{suffix}"
        Child("back_up", address, str(target)).ready().kill(moment.uniform(0.0, 0.8))
        if target.exists():
            assert restore(target, tmp_path / f"restored{number}.sqlite").head == head
        with open_ledger(address) as ledger:
            assert ledger.check(anchor=head).ok
            ledger.backup(target)


def old_ledger(address: str, count: int) -> None:
    """A ledger as the first release left it, with entries."""
    with open_ledger(address) as ledger:
        ledger.append([*start(), *sent("old", count)])
        dialect = ledger.engine.dialect.name
        with ledger.writing() as connection:
            for index in ("entries_by_kind", "entries_by_time"):
                connection.execute(sa.text(f"DROP INDEX {index}"))
            connection.execute(sa.text("DROP INDEX seals_by_farm"))
            connection.execute(sa.text("DROP TRIGGER seals_no_update" + (" ON seals" * (dialect == "postgresql"))))
            for column in ("key", "destroyed_at"):
                connection.execute(sa.text(f"ALTER TABLE seals ADD COLUMN {column} TEXT"))
            connection.execute(sa.text("UPDATE alembic_version SET version_num = '0001'"))
            assert dialect in ("sqlite", "postgresql")


def test_an_interrupted_migration_is_taken_up_again(new_address: Callable[[], str], full: bool) -> None:
    moment = random.Random(11)
    for _ in range(20 if full else 3):
        address = new_address()
        old_ledger(address, 4000)
        child = Child("open_only", address).ready()
        child.go()
        child.kill(moment.uniform(0.0, 0.12))
        with open_ledger(address) as ledger:
            with ledger.reading() as connection:
                assert (
                    connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar() == engines.REVISION
                )
                indexes = {i["name"] for i in sa.inspect(connection).get_indexes("entries")}
            assert {i.name for i in tables.entries.indexes} <= indexes
            assert ledger.check().ok and ledger.head()[0] == 4005


def test_an_interrupted_beginning_is_taken_up_again(new_address: Callable[[], str], full: bool) -> None:
    moment = random.Random(12)
    for _ in range(20 if full else 3):
        address = new_address()
        child = Child("open_only", address).ready()
        child.go()
        child.kill(moment.uniform(0.0, 0.15))
        with open_ledger(address) as ledger:
            ledger.append(start())
            assert ledger.check().ok and ledger.head()[0] == 5


@pytest.mark.postgres
def test_a_killed_server_comes_back_with_everything_acknowledged(server, full: bool) -> None:  # type: ignore[no-untyped-def]
    moment = random.Random(5)
    address = server.database()
    with open_ledger(address) as ledger:
        ledger.append(start())
    for round_number in range(10 if full else 1):
        child = Child("write", address, f"server {round_number}", "5000").ready()
        time.sleep(moment.uniform(0.1, 0.6))
        server.kill()
        try:
            acknowledged = child.kill(0.2)
        finally:
            server.start()
        with open_ledger(address) as ledger:
            assert acknowledged and set(acknowledged) <= ids_in(ledger)
            assert ledger.check().ok


@pytest.mark.postgres
def test_a_client_is_told_when_the_server_goes_away_and_can_go_on(server) -> None:  # type: ignore[no-untyped-def]
    with open_ledger(server.database()) as ledger:
        ledger.append(start())
        server.kill()
        try:
            with pytest.raises(LedgerError, match=r"nothing (was stored|is stored twice)") as caught:
                ledger.append(sent("while away", 1))
        finally:
            server.start()
        assert "\n" not in str(caught.value)
        assert ledger.append(sent("while away", 1))[0].stored
        assert ledger.check().ok


@pytest.mark.parametrize(
    ("halt", "expected"), [("commit", (False, True)), ("keys", (True, True)), ("", (True, False)), ("random", None)]
)
def test_forgetting_is_done_or_not_begun(
    new_address: Callable[[], str], tmp_path: Path, full: bool, halt: str, expected: tuple[bool, bool] | None
) -> None:
    """Killed before the entry is committed, between entry and keys, after both, or anywhere: (forgotten, keys left)."""
    moment = random.Random(13)
    for number in range((30 if full else 3) if halt == "random" else 1):
        address, keys = new_address(), tmp_path / f"{number}.keys"
        with open_ledger(address, keys=keys) as ledger:
            ledger.append([NewEntry("sealing", {"on": True}), *start(), *sent("secret", 50)])
            head = ledger.head()
        child = Child("forget", address, str(keys), halt).ready()
        child.go()
        said = child.kill(moment.uniform(0.0, 0.15)) if halt == "random" else child.kill_after(1)
        acknowledged = bool(said) and said != ["halted"]
        left = bool(KeyStore(str(keys)).all())
        with open_ledger(address, keys=keys) as ledger:
            gone = ledger.head()[0] == head[0] + 1
            assert expected in (None, (gone, left))
            assert gone or (left and not acknowledged)
            assert len(list(ledger.history(kind="note"))) == (0 if gone else 50)
            assert bool(KeyStore(str(keys)).all()) is not gone
            assert ledger.check(anchor=head).ok
            assert ledger.forget("two-elms").sealed == 53
            assert not list(ledger.history(kind="note")) and not KeyStore(str(keys)).all()
