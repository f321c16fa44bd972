"""Which doors open a file by its path: the command line and a Python program, never a reader by itself."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import sideoats
from sideoats.document import Document, open_document
from sideoats.errors import InputError
from sideoats.question import every
from sideoats.schema import Field, read_all, with_files

MOTHS = "date,moths\n2026-08-01,3\n2026-08-02,5\n"


def test_no_field_opens_a_path_by_itself(tmp_path: Path) -> None:
    """Every input of every question, given a path: the file is not touched (a pipe would hold the reader for ever)."""
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    said: dict[str, str] = {}

    def read() -> None:
        for question in every():
            for f in (*question.inputs, *(sub for g in question.inputs for sub in g.fields)):
                try:
                    f.read(str(pipe))
                    said[f"{question.name} {f.name}"] = "taken as it stands"
                except InputError as error:
                    said[f"{question.name} {f.name}"] = str(error)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    reader.join(timeout=60)
    assert not reader.is_alive()
    opened = [name for name, line in said.items() if "directory" in line or "not a file" in line]
    assert len(said) > 300 and not opened


def test_a_program_may_name_a_file_and_may_refuse_to(tmp_path: Path) -> None:
    path = tmp_path / "moths.csv"
    path.write_text(MOTHS)
    values = {"species": "corn earworm", "catches": str(path)}
    by_path = sideoats.ask("trap-flight", values, on="2026-08-10")
    by_hand = sideoats.ask("trap-flight", {**values, "catches": Document("m", MOTHS.encode())}, on="2026-08-10",
                           files=False)  # fmt: skip
    assert by_path["headline"] == by_hand["headline"]
    with pytest.raises(InputError, match="none is opened here"):
        sideoats.ask("trap-flight", values, on="2026-08-10", files=False)


@pytest.mark.parametrize("what", ["pipe", "folder", "device", "absent", "empty", "large"])
def test_only_an_ordinary_file_is_opened(tmp_path: Path, what: str) -> None:
    path = {"device": Path("/dev/zero")}.get(what, tmp_path / "x.csv")
    if what == "pipe":
        os.mkfifo(path)
    elif what == "folder":
        path.mkdir()
    elif what in ("empty", "large"):
        path.write_text(" \n" if what == "empty" else "a" * 100)
    with pytest.raises(InputError) as refused:
        open_document(path, 50)
    assert "\n" not in str(refused.value)
    if what != "large":
        words = [sys.executable, "-m", "sideoats", "ask", "variety-choice", f"trials={path}"]
        got = subprocess.run(words, capture_output=True, text=True, timeout=120, cwd=tmp_path)
        assert got.returncode == 2 and path.name in got.stderr and len(got.stderr.strip().splitlines()) == 1


def test_paths_inside_records_are_opened_too(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text("x = 1")
    buyers = Field("buyers", "records", "", fields=(Field("schedule", "file", ""), Field("bid", "number", "")))
    typed = {"buyers": f"schedule={tmp_path}/a.toml, bid=3; schedule={tmp_path}/a.toml"}
    read = read_all((buyers,), with_files((buyers,), typed))["buyers"]
    assert read[0]["schedule"].content == b"x = 1" and len(read) == 2
