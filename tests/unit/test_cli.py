"""The command line: exit status, one line on bad input, never a traceback, nothing written by half."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

SORGHUM = [
    "ask",
    "sorghum-aphid",
    "n=40",
    "stage=boot",
    "yield=80 bu/ac",
    "price=4.50 USD/bu",
    "cost=14 USD/ac",
    "--on",
    "2026-08-10",
]


def run(
    *words: str,
    ledger: Path | None = None,
    cwd: Path | None = None,
    district: Path | None = None,
    usual_ledger: Path | None = None,
) -> subprocess.CompletedProcess[str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith("SIDEOATS")}
    environment |= {"SIDEOATS_DISTRICT": str(district)} if district else {}
    environment |= {"SIDEOATS_LEDGER": str(usual_ledger)} if usual_ledger else {}
    before = ["--ledger", str(ledger)] if ledger else []
    return subprocess.run(
        [sys.executable, "-m", "sideoats", *before, *words],
        capture_output=True,
        text=True,
        env=environment,
        cwd=cwd,
        timeout=120,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "ledger.sqlite"
    done = run("demo", ledger=path)
    assert done.returncode == 0, done.stderr
    return path


def test_ask_json_is_the_contract() -> None:
    done = run(*SORGHUM, "mean=150", "--json")
    assert done.returncode == 0 and done.stderr == ""
    answer = json.loads(done.stdout)
    assert answer["verdict"] == "act" and answer["on"] == "2026-08-10"


@pytest.mark.parametrize(
    "words",
    [
        ["ask", "no-such-question"],
        ["ask", "sorghum-aphid", "mean"],
        ["ask", "sorghum-aphid", "mean=1", "mean=2"],
        [*SORGHUM, "mean=1e309"],
        [*SORGHUM, "mean=NaN"],
        [*SORGHUM, "mean=3 kg"],
        ["ask", "sorghum-aphid", "--on", "2026-02-31"],
        ["record", "leaf_counts", "place=nowhere", "counts=1,2"],
        ["record", "no_such_kind", "place=nowhere"],
        ["take", "no-such-format", "x.csv"],
        ["take", "ghcn-daily", "no-such-file.dly"],
        ["week", "--farm", "x", "--draws", "1"],
        ["nothing"],
        ["ask", "sorghum-aphid", "mean=\x00\x1b[2J"],
    ],
)
def test_bad_input_is_one_line_and_status_2(words: list[str], demo: Path) -> None:
    clean = [w.replace("\x00", "") for w in words]
    done = run(*clean, ledger=demo)
    assert done.returncode == 2, done.stdout
    assert done.stdout == "" and "Traceback" not in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1 and len(done.stderr) < 700
    assert "\x1b" not in done.stderr


def test_refused_evidence_leaves_the_ledger_as_it_was(demo: Path) -> None:
    from sideoats.ledger import open_ledger

    with open_ledger(demo) as ledger:
        before = ledger.head()
    for bad in ("counts=1,-2", "counts=1,nan", "counts=1 stage=boot", "mean=1e309", "counts=99999999"):
        assert run("record", "leaf_counts", "place=two-elms.sorghum-1", bad, ledger=demo).returncode == 2
    assert (
        run(
            "record", "leaf_counts", "place=two-elms.sorghum-1", "counts=1,2", "seen=2026-99-01", ledger=demo
        ).returncode
        == 2
    )
    with open_ledger(demo) as ledger:
        assert ledger.head() == before and ledger.check().ok


def test_the_same_entry_sent_twice_is_stored_once(demo: Path) -> None:
    words = [
        "record",
        "leaf_counts",
        "place=two-elms.sorghum-1",
        "counts=12,40,7",
        "stage=milk",
        "seen=2026-09-13T09:00-05:00",
        "id=0198c1f0-0000-7000-8000-000000000001",
    ]
    first, second = run(*words, ledger=demo), run(*words, ledger=demo)
    assert first.returncode == second.returncode == 0
    assert "stored" in first.stdout and "already there" in second.stdout


def test_the_week_of_the_demo_lists_calls_by_rank(demo: Path) -> None:
    done = run("week", "--on", "2026-09-14", "--json", "--draws", "100", ledger=demo)
    assert done.returncode == 0, done.stderr
    week = json.loads(done.stdout)
    verdicts = [c["verdict"] for c in week["calls"]]
    assert {"act", "look"} <= set(verdicts)
    stops = [v == "stop" for v in verdicts]
    assert stops == sorted(stops, reverse=True)
    costs = [c["cost_of_waiting"]["value"] for c in week["calls"] if c["verdict"] != "stop"]
    assert costs == sorted(costs, reverse=True)
    assert sum(week["asked"].values()) == len(week["calls"])


def test_an_empty_or_missing_ledger_says_what_to_do(tmp_path: Path) -> None:
    done = run("week", "--on", "2026-09-14", ledger=tmp_path / "none.sqlite")
    assert done.returncode == 2 and "Traceback" not in done.stderr and len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "none.sqlite").exists()


def test_help_lists_every_command_and_every_command_has_help() -> None:
    from click.testing import CliRunner

    from sideoats.cli import group

    names = group.list_commands(None)  # type: ignore[arg-type]
    assert {"ask", "week", "record", "take", "demo", "questions"} <= set(names)
    for name in names:
        shown = CliRunner().invoke(group, [name, "--help"])
        assert shown.exit_code == 0 and "Usage" in shown.output, name


def test_the_districts_choices_hold_on_the_telephone_without_a_ledger(tmp_path: Path) -> None:
    """They were read only where a ledger was named: a stricter district's rule was lost in a phone-in answer."""
    seen = ("new_shoots=no", "frost=no", "drought_rain=no", "stress=no", "nitrogen=none")
    asked = ("ask", "graze-prussic", "species=sudan", "class=open-cow", "height=20 in", *seen)
    assert "STOP" in run(*asked, "--on", "2026-08-12").stdout
    chosen = tmp_path / "ours.toml"
    chosen.write_text('[choose]\n"forage/prussic_preset" = "usual"\n')
    assert "ACT" in run(*asked, "--on", "2026-08-12", district=chosen).stdout
    lost = run(*asked, district=tmp_path / "none.toml")
    assert lost.returncode == 2 and "none.toml: cannot be read" in lost.stderr and lost.stderr.count("\n") == 1


def test_a_phone_in_is_answered_where_the_usual_ledger_is_not_there(tmp_path: Path) -> None:
    """SIDEOATS_LEDGER pointing at nothing refused every phone-in; one that is named on the line is still refused."""
    done = run(*SORGHUM, "mean=150", "--json", usual_ledger=tmp_path / "gone.sqlite")
    assert done.returncode == 0 and json.loads(done.stdout)["verdict"] == "act"
    assert "warning" in done.stderr and "gone.sqlite" in done.stderr and done.stderr.count("\n") == 1
    (tmp_path / "district.toml").write_text('[choose]\n"forage/prussic_preset" = "no such"\n')
    strict = run(*SORGHUM, "mean=150", usual_ledger=tmp_path / "gone.sqlite")
    assert strict.returncode == 2 and "prussic_preset" in strict.stderr  # the district's file beside it still holds
    assert run(*SORGHUM, "mean=150", ledger=tmp_path / "gone.sqlite").returncode == 2


def test_all_that_is_wrong_is_told_at_once() -> None:
    done = run("ask", "load-price", "gros=600", "moistur=12%", "test_weight=70000 lb/bu", "odor=perhaps")
    assert done.returncode == 2 and len(done.stderr.strip().splitlines()) == 1
    for named in ("gros", "moistur", "gross for gros", "test_weight: '70000", "odor: 'perhaps", "buyers", "dockage"):
        assert named in done.stderr, named
