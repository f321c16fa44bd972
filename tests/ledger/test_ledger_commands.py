"""The commands around the ledger, as typed."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from district import farm, note, place, start

from sideoats.cli import main
from sideoats.errors import InputError, LedgerError
from sideoats.ledger import open_ledger
from sideoats.ledger.clients import export_client, records
from sideoats.ledger.store import Ledger


@pytest.fixture
def path(tmp_path: Path) -> str:
    with open_ledger(tmp_path / "a.sqlite") as ledger:
        ledger.append([*start(), note("kept")])
        return ledger.address


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def test_check_says_the_head_and_takes_it_back(capsys: pytest.CaptureFixture[str], path: str) -> None:
    status, out, _ = run(capsys, "--ledger", path, "check")
    assert status == 0 and out.startswith("6 entries, all hold; head 6:")
    head = out.split("head ")[1].strip()
    assert run(capsys, "--ledger", path, "check", "--noted", head)[0] == 0
    assert run(capsys, "--ledger", path, "check", "--noted", head.replace("6:", "7:"))[0] == 1
    status, out, _ = run(capsys, "--ledger", path, "check", "--json")
    assert status == 0 and json.loads(out)["ok"] is True


def test_check_of_a_damaged_ledger_ends_with_1(capsys: pytest.CaptureFixture[str], path: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute("DROP TRIGGER entries_no_update")
        connection.execute("UPDATE entries SET observer = 'x' WHERE seq = 6")
    connection.close()
    status, out, _ = run(capsys, "--ledger", path, "check")
    assert status == 1 and out.startswith("entry 6 (") and "NOT all hold" in out


def test_backup_restore_move(capsys: pytest.CaptureFixture[str], path: str, tmp_path: Path) -> None:
    copy, moved = str(tmp_path / "copy.jsonl"), str(tmp_path / "moved.sqlite")
    assert run(capsys, "--ledger", path, "backup", copy)[0] == 0
    status, out, _ = run(capsys, "restore", copy, str(tmp_path / "restored.sqlite"))
    assert status == 0 and out.startswith("6 entries restored")
    assert run(capsys, "--ledger", path, "move", moved)[0] == 0
    heads = {run(capsys, "--ledger", p, "check")[1] for p in (path, moved, str(tmp_path / "restored.sqlite"))}
    assert len(heads) == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["check"], "no ledger at"),
        (["backup", "x.sqlite"], "no ledger at"),
        (["move", "x.sqlite"], "no ledger at"),
        (["restore", "absent.sqlite"], "no backup at"),
        (["check", "--noted", "6"], "is not a head"),
        (["export-client", "x", "x.jsonl"], "no ledger at"),
    ],
)
def test_wrong_use_gets_one_line(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, arguments: list[str], said: str
) -> None:
    status, out, err = run(capsys, "--ledger", str(tmp_path / "none.sqlite"), *arguments)
    assert status == 2 and out == "" and said in err and err.count("\n") == 1


def test_a_client_gets_all_of_the_farm_and_nothing_else(ledger: Ledger, tmp_path: Path) -> None:
    ledger.append([*start(), farm("other", "Other"), place("south", owner="other"), note("theirs", "south")])
    wrong = ledger.append([note("wrong")])[0]
    ledger.append([note("right", corrects=wrong.id)])
    target = tmp_path / "client.jsonl"
    assert export_client(ledger, "two-elms", target) == 5
    found = [json.loads(line) for line in target.read_text(encoding="utf-8").splitlines()]
    assert {(r["kind"], r["farm"]) for r in found} == {
        ("farm", "two-elms"),
        ("place", "two-elms"),
        ("note", "two-elms"),
    }
    assert [r["body"]["text"] for r in found if r["kind"] == "note"] == ["wrong", "right"]
    assert next(r for r in found if r["place"] == "north" and r["kind"] == "place")["units"] == {"acres": "ac"}
    with pytest.raises(LedgerError, match="not overwritten"):
        export_client(ledger, "two-elms", target)
    with pytest.raises(InputError, match="no farm"):
        list(records(ledger, "nobody"))
