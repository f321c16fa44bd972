"""docs/building.md is true: its question is pasted into a copy of the project, and what holds for questions holds."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
QUESTION = "hay-cover"
BLOCK = re.compile(r"```(?:python|toml|po|json)\n# (\S+)\n(.*?)```", re.S)
# What holds for every question. `make clone` runs the whole suite in the copy instead.
SUITE = (
    "tests/unit/test_questions_all.py", "tests/unit/test_call_schema.py", "tests/unit/test_words.py",
    "tests/unit/test_facts.py", "tests/unit/test_vocabulary.py", "tests/unit/test_vocabulary_pairs.py",
    "tests/unit/test_region.py", "tests/unit/test_docs.py", "tests/casebook", "tests/fuzz/test_fuzz_ask.py",
    "tests/property/test_invariants.py",
)  # fmt: skip
WHOLE = os.environ.get("SIDEOATS_WHOLE") == "1"
OF_ALL = ("test_words", "test_facts", "test_vocabulary", "test_region")  # not parametrized by question


def blocks() -> list[tuple[str, str]]:
    """File and text of every block of the page."""
    return BLOCK.findall((ROOT / "docs" / "building.md").read_text(encoding="utf-8"))


def paste(into: Path) -> None:
    """Every block of the page where it says: Python files are new, rows go to the end of a file that is there."""
    for name, text in blocks():
        path = into / name
        assert path.exists() is (path.suffix != ".py"), f"{name} {'is there' if path.exists() else 'is not there'}"
        before = "" if path.suffix == ".py" else path.read_text(encoding="utf-8").rstrip("\n") + "\n\n"
        if path.suffix == ".jsonl":
            before = before.rstrip("\n") + "\n"
        path.write_text(before + text, encoding="utf-8")


@pytest.fixture(scope="module")
def clone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A copy of what the project holds, with the page's question pasted in."""
    copy = tmp_path_factory.mktemp("clone") / "project"
    copy.mkdir()
    for part in ("src", "tests", "docs", "tools"):
        shutil.copytree(ROOT / part, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
    for file in ("pyproject.toml", "README.md", "Makefile"):
        shutil.copy(ROOT / file, copy)
    paste(copy)
    yield copy
    shutil.rmtree(copy)


def run(clone: Path, *args: str) -> subprocess.CompletedProcess[str]:
    """A Python command in the copy, with the copy's own sources."""
    told = {**os.environ, "PYTHONPATH": str(clone / "src"), "CI": "1"}
    told.pop("PYTEST_ADDOPTS", None)
    return subprocess.run([sys.executable, *args], cwd=clone, env=told, capture_output=True, text=True, check=False)


def test_the_page_costs_one_python_file_and_rows() -> None:
    suffixes = [Path(name).suffix for name, _ in blocks()]
    assert suffixes.count(".py") == 1 and set(suffixes) == {".py", ".toml", ".po", ".jsonl"}
    python = next(text for name, text in blocks() if name.endswith(".py"))
    assert python.count("\n") <= 120 and "Field(" not in python


def test_the_question_of_the_page_is_asked_like_any_other(clone: Path) -> None:
    found = run(clone, "-m", "sideoats", "ask", QUESTION, "price=90 USD/ton", "cost=6 USD/ton", "heating=no",
                "--on", "2026-09-14")  # fmt: skip
    assert found.returncode == 0 and "Cover the stack by" in found.stdout, found.stderr
    spanish = run(clone, "-m", "sideoats", "--language", "es", "ask", QUESTION, "price=90 USD/ton", "cost=6 USD/ton",
                  "--on", "2026-09-14")  # fmt: skip
    assert "termómetro" in spanish.stdout, spanish.stderr


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_what_holds_for_every_question_holds_for_the_page_s(clone: Path) -> None:
    plain = ("-o", "addopts=--strict-markers -p no:cacheprovider --import-mode=importlib")
    chosen = f"{QUESTION} or cover- or " + " or ".join(OF_ALL)
    which = ("-n", "2", "tests", "--ignore=tests/unit/test_building.py") if WHOLE else ("-n", "0", "-k", chosen, *SUITE)
    found = run(clone, "-m", "pytest", *plain, *which)
    assert found.returncode == 0, found.stdout[-3000:] + found.stderr[-500:]
    passed = re.search(r"(\d+) passed", found.stdout)
    assert passed and int(passed[1]) > 60, found.stdout[-300:]
