"""The bulletin's phrases by language; a number, a date or a unit as that language writes it."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats.errors import InputError

LANGUAGES = ("en", "es")


@dataclass(frozen=True)
class Words:
    """Phrases of one language."""

    language: str
    table: dict[str, Any]

    def phrase(self, key: str, **values: Any) -> str:
        """A phrase with its blanks filled. KeyError where the language lacks it (a test goes through all)."""
        text: str = self.table["phrases"][key]
        return text.format(**values)

    def list(self, key: str) -> Sequence[str]:
        """A list of sentences."""
        found: Sequence[str] = self.table["lists"][key]
        return found

    def question(self, name: str) -> str:
        """The question as the public would put it."""
        return str(self.table["questions"].get(name, name.replace("-", " ")))

    def reminder(self, name: str, *, hazard: bool = False) -> str:
        """What holds for everyone with this question, without a number; of a hazard, if there is one, its warning.

        Common practice, no source: none of these sentences decides anything. "" for a question that is only phoned in.
        """
        kinds = ("hazards", "reminders") if hazard else ("reminders", "hazards")
        return str(next((self.table[kind][name] for kind in kinds if name in self.table[kind]), ""))

    def hazard(self, name: str) -> str:
        """The warning of a question's hazard; "" where it has none that holds for everyone."""
        return str(self.table["hazards"].get(name, ""))

    def verdict(self, verdict: str) -> str:
        """The verdict's word."""
        return str(self.table["verdicts"][verdict])

    def long_day(self, day: date) -> str:
        """With the year."""
        return self.phrase("long_day", day=day.day, month=self.list("months")[day.month - 1], year=day.year)

    def rain(self, millimetres: float) -> str:
        """Rain in inches, as the trade says it, with millimetres."""
        if millimetres != millimetres:
            return self.phrase("unknown")
        return self.phrase("rain", inches=f"{millimetres / 25.4:.1f}", millimetres=f"{millimetres:.0f}")

    def temperature(self, celsius: float) -> str:
        """Degrees Fahrenheit, whole."""
        return f"{celsius * 9 / 5 + 32:.0f} °F"


@lru_cache(maxsize=4)
def words(language: str) -> Words:
    """The phrases of a language. Raises InputError where there is none."""
    if language not in LANGUAGES:
        raise InputError(f"language {language!r} is not there", expected="one of " + ", ".join(LANGUAGES))
    path = Path(__file__).parent / f"{language}.toml"
    return Words(language, tomllib.loads(path.read_text(encoding="utf-8")))
