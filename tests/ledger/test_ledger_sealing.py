"""Sealing a farm's entries, and forgetting the farm: its entries cannot be read, and the chain holds."""

from __future__ import annotations

import base64
import io
import json
import sqlite3
import stat
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import hypothesis.strategies as st
import pytest
import sqlalchemy as sa
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from district import at, farm, note, place, start
from hypothesis import given, settings

from sideoats.cli import main
from sideoats.errors import InputError, LedgerDamaged, LedgerError
from sideoats.ledger import Ledger, NewEntry, evidence_kinds, move, open_ledger, queries, restore
from sideoats.ledger.clients import export_client, records
from sideoats.ledger.copies import copy_keys
from sideoats.ledger.keys import KeyStore, keys_address
from sideoats.ledger.seals import Seals

ON = NewEntry("sealing", {"on": True}, seen_at=at("2026-01-01"))
SECRET = "the north field was late"


@pytest.fixture
def keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    store = tmp_path / "apart" / "office.keys"
    monkeypatch.setenv("SIDEOATS_KEYS", str(store))
    return store


@pytest.fixture
def sealed(address: str, keys: Path) -> Iterator[Ledger]:
    """A sealed farm, and one that is not."""
    with open_ledger(address) as ledger:
        ledger.append([farm("far", "Far"), place("south", owner="far"), note("in the clear", "south")])
        ledger.append([ON, *start(), note(SECRET), note("later", day="2026-06-02")])
        yield ledger


def stored(ledger: Ledger) -> list[tuple[str, str, str, str]]:
    """Farm, kind, seal and body of every row as the database holds them."""
    with ledger.reading() as connection:
        found = connection.execute(sa.text("SELECT farm, kind, seal, body FROM entries ORDER BY seq"))
        return [tuple(row) for row in found]


def test_bodies_of_a_sealed_farm_are_unreadable_where_they_lie_and_read_as_any_other(sealed: Ledger) -> None:
    rows = stored(sealed)
    assert {row[0] for row in rows if row[2]} == {"two-elms"}
    assert all(row[2] for row in rows if row[0] == "two-elms")
    assert not any("Two Elms" in row[3] or SECRET in row[3] for row in rows)
    assert {f.id: f.name for f in sealed.farms()} == {"far": "Far", "two-elms": "Two Elms"}
    assert next(p for p in sealed.places() if p.id == "north").attributes == {"acres": 80.0, "crop": "grain sorghum"}
    assert sealed.latest(["note"], None)["note"]["north"].body == {"text": "later"}
    assert [e.body["text"] for e in sealed.history(farm="two-elms", kind="note")] == [SECRET, "later"]
    report = sealed.check()
    assert report.ok and report.notes == ()


def test_a_sealed_body_opens_by_the_published_construction(sealed: Ledger, keys: Path) -> None:
    """By the library alone: AES-GCM, NIST SP 800-38D, 96-bit nonce in front, 128-bit tag behind."""
    with sqlite3.connect(keys) as connection:
        key = dict(connection.execute("SELECT seal, key FROM keys"))
    connection.close()
    entry = next(sealed.history(kind="note", farm="two-elms"))
    with sealed.reading() as connection:
        row = queries.by_ids(connection, [entry.id])[entry.id]
    raw = base64.b64decode(row.body)
    about = f"{sealed.id}\n{row.id}\n{row.seal}".encode()
    plain = AESGCM(base64.b64decode(key[row.seal])).decrypt(raw[:12], raw[12:], about)
    assert json.loads(plain) == {"text": SECRET} and len(raw) == 12 + len(plain) + 16
    assert stat.S_IMODE(keys.stat().st_mode) == 0o600


def test_sealing_begins_when_it_is_switched_on_and_ends_for_farms_yet_to_come(keys: Path, ledger: Ledger) -> None:
    off = NewEntry("sealing", {"on": False}, seen_at=at("2026-01-03"))
    ledger.append([farm("a", "A"), ON, farm("b", "B"), off, farm("c", "C")])
    ledger.append([farm("a", "A2"), farm("b", "B2"), farm("d", "D")])
    assert {(row[0], bool(row[2])) for row in stored(ledger) if row[1] == "farm"} == {
        ("a", False), ("b", True), ("c", False), ("d", False),
    }  # fmt: skip
    ledger.append([NewEntry("sealing", {"on": True}, farm="a")])
    ledger.append([farm("a", "A3")])
    assert [bool(row[2]) for row in stored(ledger) if row[0] == "a"] == [False, False, True, True]
    with pytest.raises(InputError, match="go on being sealed"):
        ledger.append([NewEntry("sealing", {"on": False}, farm="a")])
    with pytest.raises(InputError, match="not about one place"):
        ledger.append([NewEntry("sealing", {"on": True}, place="x")])


def test_one_farm_may_be_sealed_from_its_first_entry(keys: Path, ledger: Ledger) -> None:
    ledger.append([NewEntry("sealing", {"on": True}, farm="two-elms")])
    ledger.append([*start(), farm("far", "Far")])
    assert {(row[0], bool(row[2])) for row in stored(ledger)} == {("two-elms", True), ("far", False), ("", False)}


def test_sealing_again_gives_a_new_key_and_old_entries_stay_readable(sealed: Ledger, keys: Path) -> None:
    sealed.append([NewEntry("sealing", {"on": True}, farm="two-elms")])
    sealed.append([note("under the new key")])
    seals = [row[2] for row in stored(sealed) if row[0] == "two-elms"]
    assert len(set(seals)) == 2 and seals[-1] == seals[-2] != seals[0] and len(KeyStore(str(keys)).all()) == 2
    assert len(list(sealed.history(farm="two-elms", kind="note"))) == 3
    sealed.forget("two-elms")
    assert KeyStore(str(keys)).all() == {} and not list(sealed.history(farm="two-elms", kind="note"))


def test_a_resent_entry_is_known_though_its_body_is_sealed(sealed: Ledger) -> None:
    sent = note("once", id=str(uuid.uuid4()))
    assert [r.stored for r in sealed.append([sent, sent])] == [True, False]
    assert not sealed.append([sent])[0].stored
    with pytest.raises(LedgerError, match="with another body"):
        sealed.append([note("other", id=sent.id)])
    sealed.forget("two-elms")
    assert not sealed.append([sent])[0].stored, "a phone that had no answer is told that the entry is there"


def test_a_forgotten_farm_is_withheld_and_all_else_is_as_before(sealed: Ledger, keys: Path) -> None:
    before = sealed.head()
    entry_id = next(sealed.history(kind="note", farm="two-elms")).id
    others = list(sealed.history(farm="far", corrected=True))
    bodies = stored(sealed)
    done = sealed.forget("two-elms", "K. Birch")
    assert (done.sealed, done.clear) == (5, 0)
    assert stored(sealed)[:-1] == bodies and sealed.check(anchor=before).ok
    assert [f.id for f in sealed.farms()] == ["far"]
    assert {p.id for p in sealed.places()} == {"south", "elevator", "ridge"}
    assert set(sealed.latest(["note", "place"], None)["note"]) == {"south"}
    assert list(sealed.history(farm="two-elms", corrected=True)) == list(sealed.history(kind="forgotten"))
    withheld = list(sealed.history(farm="two-elms", corrected=True, withheld=True))
    assert len(withheld) == 6 and all(e.withheld and e.body == {} for e in withheld if e.kind != "forgotten")
    assert sealed.get(entry_id).withheld  # type: ignore[union-attr]
    assert list(sealed.history(farm="far", corrected=True)) == others
    assert any("5 entries are withheld: 1 farms were forgotten" in line for line in sealed.check().notes)
    assert KeyStore(str(keys)).all() == {}
    said = next(sealed.history(kind="forgotten"))
    assert said.body == {"sealed": 5.0, "clear": 0.0} and said.observer == "K. Birch"
    assert sealed.forget("two-elms") == done and sealed.head()[0] == before[0] + 1


def test_no_key_is_left_in_the_bytes_of_the_store(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append([ON, farm("far", "Far"), *start()])
        store = Path(ledger.address + ".keys")
        with ledger.reading() as connection:
            seals = queries.seals_of(connection, ["two-elms"])
        mine, theirs = KeyStore(str(store)).all(), store.read_bytes()
        assert len(seals) == 1 and all(mine[s].encode() in theirs for s in seals)
        ledger.forget("two-elms")
        assert not any(mine[s].encode() in store.read_bytes() for s in seals)
        assert [s for s in mine if mine[s].encode() in store.read_bytes()] == [s for s in mine if s not in seals]
        assert sorted(p.name for p in tmp_path.iterdir() if "keys" in p.name) == ["a.sqlite.keys"]
        everything = b"".join(p.read_bytes() for p in tmp_path.iterdir() if p != store)
        assert not any(key.encode() in everything or base64.b64decode(key) in everything for key in mine.values())


def test_what_was_stored_before_sealing_is_hidden_and_said_to_be_readable(keys: Path, ledger: Ledger) -> None:
    ledger.append([*start(), note("old")])
    ledger.append([NewEntry("sealing", {"on": True}, farm="two-elms")])
    ledger.append([note("new")])
    done = ledger.forget("two-elms")
    assert (done.sealed, done.clear) == (2, 4)
    assert ledger.latest(["note"], None)["note"] == {} and ledger.farms() == []
    assert any("old" in row[3] for row in stored(ledger))


def test_a_forgotten_farm_takes_no_more_and_is_not_taken_back(sealed: Ledger) -> None:
    with pytest.raises(InputError, match="forget-client"):
        sealed.append([NewEntry("forgotten", {}, farm="two-elms")])
    with pytest.raises(InputError, match="no farm 'nobody'"):
        sealed.forget("nobody")
    done = sealed.forget("two-elms")
    for new in (note("more"), farm(), place("east"), NewEntry("sealing", {"on": True}, farm="two-elms")):
        with pytest.raises(InputError, match="was forgotten"):
            sealed.append([new])
    with pytest.raises(LedgerError, match="cannot be taken back"):
        sealed.append([NewEntry("withdrawal", {"reason": "x"}, farm="far", corrects=done.entry)])
    sealed.append([place("north", owner="far"), note("under the new owner", day="2026-06-03")])
    assert sealed.latest(["note"], None)["note"]["north"].body == {"text": "under the new owner"}
    assert sealed.check().ok


def test_a_field_sold_before_keeps_what_its_new_owner_recorded(sealed: Ledger) -> None:
    sealed.append([place("north", owner="far"), note("by the new owner", day="2026-06-03")])
    sealed.forget("two-elms")
    assert [e.body["text"] for e in sealed.history(place="north", kind="note")] == ["by the new owner"]
    assert next(p for p in sealed.places() if p.id == "north").farm == "far"


def test_another_program_that_holds_the_keys_in_memory_withholds_at_once(sealed: Ledger, address: str) -> None:
    with open_ledger(address) as desk:
        assert len(list(desk.history(farm="two-elms", kind="note"))) == 2
        sealed.forget("two-elms")
        assert not list(desk.history(farm="two-elms", kind="note")) and not desk.seals._ciphers
        sealed.append([farm("new", "New"), NewEntry("note", {"text": "hers"}, farm="new")])
        assert [e.body for e in desk.history(farm="new", kind="note")] == [{"text": "hers"}]


def test_keys_put_back_from_a_copy_are_destroyed_when_the_ledger_is_next_read(
    sealed: Ledger, address: str, keys: Path, tmp_path: Path
) -> None:
    copied = KeyStore(str(keys)).all()
    assert copy_keys(sealed, tmp_path / "copy.keys") == len(copied) == 1
    sealed.forget("two-elms")
    KeyStore(str(keys)).add(copied)
    with open_ledger(address) as again:
        assert not list(again.history(farm="two-elms", kind="note"))
    assert KeyStore(str(keys)).all() == {}


def test_forgetting_that_was_cut_off_before_the_keys_went_is_finished_by_the_next_reader(
    sealed: Ledger, address: str, keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cut_off(self: KeyStore, seals: object) -> int:
        raise LedgerError("the disk is gone")

    with monkeypatch.context() as patched:
        patched.setattr(KeyStore, "destroy", cut_off)
        with pytest.raises(LedgerError, match="the disk is gone"):
            sealed.forget("two-elms")
        assert not list(sealed.history(farm="two-elms", kind="note"))
        report = sealed.check()
        assert not report.ok and "1 keys of forgotten farms are still in" in report.problems[0]
    assert len(KeyStore(str(keys)).all()) == 1
    with open_ledger(address) as again:
        assert [f.id for f in again.farms()] == ["far"] and again.check().ok
    assert KeyStore(str(keys)).all() == {}


def test_without_its_keys_a_ledger_is_withheld_and_takes_nothing_for_sealed_farms(
    sealed: Ledger, address: str, tmp_path: Path
) -> None:
    with open_ledger(address, keys=tmp_path / "other.keys") as blind:
        assert [f.id for f in blind.farms()] == ["far"]
        report = blind.check()
        assert report.ok and "5 entries are sealed, and their keys are not in" in report.notes[0]
        for new in (note("x"), farm()):
            with pytest.raises(LedgerError, match=r"key is not in .*other.keys; nothing was stored"):
                blind.append([new])
        with pytest.raises(LedgerError, match="nothing was written"):
            list(records(blind, "two-elms"))
        blind.append([note("others go on", "south")])
    assert not (tmp_path / "other.keys").exists()


def test_backups_carry_sealed_text_bit_for_bit_and_no_key(
    sealed: Ledger, keys: Path, new_address: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ["copy.jsonl"] if sealed.address.startswith("postgresql") else ["copy.sqlite", "copy.jsonl"]
    for name in names:
        (tmp_path / "safe").mkdir(exist_ok=True)
        written = sealed.backup(tmp_path / name, keys=tmp_path / "safe" / "keys")
        key = next(iter(KeyStore(str(keys)).all().values()))
        assert key.encode() not in written.read_bytes() and SECRET.encode() not in written.read_bytes()
        target = new_address()
        monkeypatch.setenv("SIDEOATS_KEYS", str(tmp_path / f"{name}.keys"))
        report = restore(written, target)
        assert report.ok and "5 entries are sealed" in report.notes[0]
        with open_ledger(target) as copy:
            assert copy.head() == sealed.head() and stored(copy) == stored(sealed)
            assert [f.id for f in copy.farms()] == ["far"]
        target = new_address()
        assert restore(written, target, keys=tmp_path / "safe" / "keys").notes == ()
        with open_ledger(target) as copy:
            assert list(copy.history(corrected=True)) == list(sealed.history(corrected=True))
            copy.append([note("goes on")])
            assert copy.check().ok
        monkeypatch.setenv("SIDEOATS_KEYS", str(keys))


def test_a_backup_from_before_does_not_bring_the_client_back(
    sealed: Ledger, keys: Path, new_address: Callable[[], str], tmp_path: Path
) -> None:
    written = sealed.backup(tmp_path / "copy.jsonl")
    sealed.forget("two-elms")
    target = new_address()
    report = restore(written, target)
    assert report.ok and "5 entries are sealed" in report.notes[0]
    with open_ledger(target) as copy:
        assert [f.id for f in copy.farms()] == ["far"]
    (tmp_path / "safe").mkdir()
    sealed.backup(tmp_path / "copy.jsonl", keys=tmp_path / "safe" / "keys")
    assert KeyStore(str(tmp_path / "safe" / "keys")).all() == {}


def test_keys_are_not_copied_beside_a_backup_nor_over_anything_else(sealed: Ledger, keys: Path, tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="in the folder of the backup"):
        sealed.backup(tmp_path / "copy.jsonl", keys=tmp_path / "copy.keys")
    precious = tmp_path / "safe.txt"
    precious.write_text("a thesis")
    with pytest.raises(LedgerError):
        copy_keys(sealed, precious)
    assert precious.read_text() == "a thesis"
    with pytest.raises(LedgerError, match="is the store itself"):
        copy_keys(sealed, keys)
    assert not (tmp_path / "copy.jsonl").exists()


def test_move_takes_the_keys_along(tmp_path: Path, new_address: Callable[[], str]) -> None:
    home, target = tmp_path / "home.sqlite", new_address()
    with open_ledger(home) as ledger:
        ledger.append([ON, *start(), note(SECRET)])
        before = stored(ledger)
    report = move(home, target)
    assert report.ok
    if keys_address(target) is None:
        assert "SIDEOATS_KEYS, which is not set" in report.notes[0]
    with open_ledger(target, keys=keys_address(target) or f"{home}.keys") as copy:
        assert stored(copy) == before
        assert [e.body["text"] for e in copy.history(kind="note")] == [SECRET]
        copy.append([note("with the same key")])
        assert len({row[2] for row in stored(copy) if row[0] == "two-elms"}) == 1


@pytest.mark.postgres
def test_keys_may_be_in_a_database_of_their_own_and_nowhere_in_the_ledgers(server) -> None:  # type: ignore[no-untyped-def]
    address, keys = server.database(), server.database()
    with open_ledger(address, keys=keys) as ledger:
        ledger.append([ON, *start(), note(SECRET)])
        assert len(KeyStore(keys).all()) == 1
        ledger.forget("two-elms")
        assert KeyStore(keys).all() == {} and ledger.check().ok
    for wrong in (server.database(), None):
        with open_ledger(wrong or address, keys=wrong) as ledger, pytest.raises(LedgerError) as caught:
            ledger.append([ON, farm("new", "New")])
        assert ("database of their own" if wrong else "set SIDEOATS_KEYS") in str(caught.value)


def test_the_ledger_itself_is_no_place_for_keys(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with open_ledger(path, keys=path) as ledger:
        with pytest.raises(LedgerError, match="of their own"):
            ledger.append([ON, farm()])
        assert ledger.head()[0] == 0 and ledger.check().ok


def test_turning_sealing_on_makes_the_store_of_keys_or_is_refused(tmp_path: Path) -> None:
    """Whoever turns it on learns at once that keys cannot be kept there, and not when the first farm comes."""
    store = tmp_path / "apart" / "office.keys"
    with open_ledger(tmp_path / "a.sqlite", keys=store) as ledger:
        ledger.append([NewEntry("sealing", {"on": False})])
        assert not store.exists()
        ledger.append([ON])
        assert store.exists() and KeyStore(str(store)).all() == {}
    (tmp_path / "file").write_text("in the way")
    with open_ledger(tmp_path / "b.sqlite", keys=tmp_path / "file" / "office.keys") as ledger:
        with pytest.raises(LedgerError, match="cannot be made"):
            ledger.append([ON])
        assert ledger.head()[0] == 0


def test_check_names_a_sealed_body_that_its_key_does_not_open(tmp_path: Path) -> None:
    """Two sealed bodies changed places and the chain was written anew: the authenticated ids tell."""
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append([ON, *start(), note("one"), note("two")])
        with ledger.reading() as connection:
            rows = queries.page(connection, 0, 100)
    with open_ledger(tmp_path / "b.sqlite", keys=tmp_path / "a.sqlite.keys") as forged, forged.writing() as connection:
        connection.execute(sa.text("DROP TRIGGER about_no_update"))
        connection.execute(sa.text("UPDATE about SET value = :id"), {"id": ledger.id})
    from sideoats.ledger import canon

    last, out = canon.genesis(ledger.id), []
    for row in rows:
        row = row._replace(body=rows[7].body if row.seq == 7 else row.body)
        row = row._replace(body=rows[6].body if row.seq == 8 else row.body, hash="")
        last = canon.chained(last, row)
        out.append(row._replace(hash=last))
    with open_ledger(tmp_path / "b.sqlite", keys=tmp_path / "a.sqlite.keys") as forged:
        with forged.writing() as connection:
            queries.insert(connection, out)
        found = [line for line in forged.check().problems if "guard" not in line]
        assert len(found) == 2 and all("is sealed, and its key does not open it" in line for line in found)
        with pytest.raises(LedgerDamaged, match="does not open it"):
            list(forged.history(kind="note"))


def test_export_hands_over_what_is_sealed_and_says_when_it_was_forgotten(sealed: Ledger, tmp_path: Path) -> None:
    assert export_client(sealed, "two-elms", tmp_path / "theirs.jsonl") == 5
    assert SECRET in (tmp_path / "theirs.jsonl").read_text(encoding="utf-8")
    sealed.forget("two-elms")
    with pytest.raises(LedgerError, match=r"farm two-elms was forgotten on 20\d\d-"):
        export_client(sealed, "two-elms", tmp_path / "again.jsonl")
    assert not (tmp_path / "again.jsonl").exists()


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_as_typed(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, copy, safe = str(tmp_path / "a.sqlite"), str(tmp_path / "copy.sqlite"), str(tmp_path / "safe.keys")
    monkeypatch.delenv("SIDEOATS_KEYS", raising=False)
    for words in (["sealing", "on=yes"], ["farm", "farm=two-elms", "name=Two Elms"]):
        assert run(capsys, "--ledger", path, "record", *words)[0] == 0
    status, _, err = run(capsys, "--ledger", path, "backup", copy, "--keys", safe)
    assert status == 2 and "in the folder of the backup" in err
    (tmp_path / "apart").mkdir()
    safe = str(tmp_path / "apart" / "safe.keys")
    assert run(capsys, "--ledger", path, "backup", copy, "--keys", safe)[0] == 0
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    status, out, err = run(capsys, "--ledger", path, "forget-client", "two-elms")
    assert status == 2 and "1 sealed entries" in out and "nothing was written" in err
    assert run(capsys, "--ledger", path, "forget-client", "nobody", "--yes")[0] == 2
    with open_ledger(path) as ledger:
        assert [f.name for f in ledger.farms()] == ["Two Elms"]
    status, out, _ = run(capsys, "--ledger", path, "forget-client", "two-elms", "--yes")
    assert status == 0 and out.startswith("two-elms is forgotten: 1 entries can no longer be read by anyone\n")
    assert run(capsys, "--ledger", path, "check")[0] == 0
    restored = str(tmp_path / "r.sqlite")
    status, out, _ = run(capsys, "restore", copy, restored)
    assert status == 0 and "1 entries are sealed, and their keys are not in" in out
    status, out, _ = run(capsys, "restore", copy, str(tmp_path / "r2.sqlite"), "--keys", safe)
    assert status == 0 and "sealed" not in out, "the copy of the keys was not replaced: the rule in the docs"
    assert run(capsys, "restore", copy, str(tmp_path / "r3.sqlite"), "--keys", "absent")[0] == 2


def test_a_forgotten_client_is_in_no_week(sealed: Ledger) -> None:
    from datetime import date

    from sideoats.week.snapshot import take_snapshot

    def known() -> tuple[set[str], set[str], set[str]]:
        snapshot = take_snapshot(sealed, date(2026, 6, 30), ["leaf_counts", "history:trap_catch", "note"])
        return {p.farm for p in snapshot.places}, set(snapshot.farm_names), set(snapshot.evidence["note"])

    assert known() == ({"two-elms", "far", ""}, {"two-elms", "far"}, {"north", "south"})
    sealed.forget("two-elms")
    assert known() == ({"far", ""}, {"far"}, {"south"})


def test_a_kept_week_looks_at_all_places_again_once_a_client_was_forgotten(sealed: Ledger, tmp_path: Path) -> None:
    from sideoats.week import stored_run
    from sideoats.week.store import WeekStore

    with WeekStore(tmp_path / "week.sqlite") as week:
        week.note(stored_run._READ_TO, stored_run._read_to(sealed, b"base", sealed.head()))
        sealed.append([note("news")])
        assert stored_run._to_look_at(sealed, week, b"base") == (["north"], False)
        sealed.forget("two-elms")
        assert stored_run._to_look_at(sealed, week, b"base") == (sealed.place_ids(), True)


@settings(max_examples=60, deadline=None)
@given(text=st.text(max_size=300), other=st.binary(max_size=60))
def test_sealed_text_opens_to_itself_in_its_own_entry_and_nothing_else_opens(text: str, other: bytes) -> None:
    text = text.encode("utf-8", "replace").decode()
    seals = Seals("ledger", "/nowhere/keys")
    seal, entry = seals.mint(), str(uuid.uuid4())
    cipher = seals._ciphers[seal]
    closed = seals.seal(seal, entry, text)
    assert closed != seals.seal(seal, entry, text), "a nonce is never used again"

    def opened(body: str, entry_id: str = entry) -> str:
        from datetime import UTC, date, datetime

        now = datetime(2026, 1, 1, tzinfo=UTC)
        row = queries.Row(
            1, entry_id, "note", "", "p", "f", now, "UTC", date(2026, 1, 1), now, 0, "", None, seal, body, ""
        )
        return seals._opened(row, cipher)

    assert opened(closed) == text
    changed = bytearray(base64.b64decode(closed))
    changed[len(changed) // 2] ^= 1
    for body, entry_id in (
        (closed, str(uuid.uuid4())),
        (base64.b64encode(bytes(changed)).decode(), entry),
        (base64.b64encode(other).decode(), entry),
        ("not base64 é", entry),
    ):
        with pytest.raises(LedgerDamaged, match="does not open it"):
            opened(body, entry_id)


def test_the_kinds_are_there() -> None:
    assert {"sealing", "forgotten"} <= set(evidence_kinds())
