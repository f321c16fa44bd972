"""The machine form of the program's own TOML files says what the files say, and never stands in their way."""

from __future__ import annotations

import tomllib
from pathlib import Path

import platformdirs
import pytest

import sideoats
from sideoats import folders, shipped

OURS = sorted(Path(sideoats.__file__).parent.glob("**/*.toml"))


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setattr(shipped, "cache_folder", lambda: tmp_path / "cache" / "sideoats")
    return tmp_path / "cache" / "sideoats"


def test_the_machine_form_is_what_the_files_say(cache):
    wanted = [tomllib.loads(path.read_text("utf-8")) for path in OURS]
    assert repr(shipped.tables("all", OURS)) == repr(wanted)  # by repr: a nan is not equal to itself
    assert len(list(cache.glob("*.json"))) == 1
    assert repr(shipped.tables("all", OURS)) == repr(wanted)


def test_a_changed_file_is_read_anew_and_old_forms_go(tmp_path, cache):
    path = tmp_path / "a.toml"
    for number in range(12):
        path.write_text(f"x = {number}\n" + "#" * number, "utf-8")
        assert shipped.tables("a", [path]) == [{"x": number}]
    assert len(list(cache.glob("a-*.json"))) <= 9


@pytest.mark.parametrize("rubbish", [b"", b"\xff" * 40, b"\x93\x01\x02\x03"])
def test_a_spoilt_form_is_passed_over(tmp_path, cache, rubbish):
    path = tmp_path / "a.toml"
    path.write_text("x = 1\n", "utf-8")
    shipped.tables("a", [path])
    next(cache.glob("a-*.json")).write_bytes(rubbish)
    assert shipped.tables("a", [path]) == [{"x": 1}]


def test_a_folder_that_cannot_be_written_is_no_hindrance(tmp_path, monkeypatch):
    (tmp_path / "file").write_text("not a folder", "utf-8")
    monkeypatch.setattr(shipped, "cache_folder", lambda: tmp_path / "file" / "sideoats")
    path = tmp_path / "a.toml"
    path.write_text("x = 1\n", "utf-8")
    assert shipped.tables("a", [path]) == [{"x": 1}]


def test_a_file_that_is_not_toml_is_said(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("x = ", "utf-8")
    with pytest.raises(tomllib.TOMLDecodeError):
        shipped.tables("a", [path])


@pytest.mark.parametrize("given", ["", " ", "/elsewhere"])
def test_folders_are_where_platformdirs_says(monkeypatch, given):
    monkeypatch.setenv("XDG_CACHE_HOME", given)
    monkeypatch.setenv("XDG_DATA_HOME", given)
    assert folders.cache_folder() == platformdirs.user_cache_path("sideoats")
    assert folders.data_folder() == platformdirs.user_data_path("sideoats", appauthor=False)
