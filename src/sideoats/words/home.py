"""The language and the units of a district: what every command and page uses until a reader chooses others."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sideoats import shipped
from sideoats.errors import InputError
from sideoats.words.catalogue import languages
from sideoats.words.reader import METRIC, US, Reader

MEASURES = (US, METRIC)


def chosen_reader(language: str, measures: str, where: str = "") -> Reader:
    """A reader of that language and those units. Raises InputError, one line for all that is wrong."""
    wrong = []
    if language not in languages():
        wrong.append(f"language: no words in {language[:40]!r}; expected one of {', '.join(languages())}")
    if measures not in MEASURES:
        wrong.append(f"units: {measures[:40]!r} is not a way to measure; expected {US} or {METRIC}")
    if wrong:
        raise InputError("; ".join(wrong), where=where)
    return Reader(language, measures)


def district_reader(tables: Mapping[str, Any], where: str) -> Reader:
    """The reader that a district's file names with ``language = "es"`` and ``units = "metric"``; English and US if not.

    Raises InputError where either is not known.
    """
    usual = Reader()
    return chosen_reader(
        str(tables.get("language", usual.language)), str(tables.get("units", usual.measures)), f"district file {where}"
    )


def home_reader(file: Path | None) -> Reader:
    """The reader of the district in `file`; English and US units where there is none, or it is no TOML.

    A file that cannot be read is refused by whatever reads its facts, with the reason.
    """
    if file is None:
        return Reader()
    try:
        tables = shipped.toml(file)
    except (OSError, ValueError):
        return Reader()
    return district_reader(tables, file.name)
