"""Texts that stand in English where they arise, told in Spanish: help, refusals, help of commands, quantities."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest
from tools.untranslated import KINDS, lacking

from sideoats.words import Reader, languages
from sideoats.words.catalogue import parsed
from sideoats.words.texts import _FOLDER, refusal, translated

ES = Reader("es")
# Refusals of files, accounts and databases still speak English; the lists may only shrink.
MOST = {"help": 0, "refusals": 8, "commands": 0, "quantities": 0}


@pytest.mark.parametrize("kind", KINDS)
def test_what_still_speaks_english(kind: str) -> None:
    found = lacking(kind, "es")
    assert len(found) <= MOST[kind], [text for text, _ in found][:20]


@pytest.mark.parametrize("path", sorted(_FOLDER.glob("*/texts/*.po")), ids=lambda path: path.name)
def test_a_translation_has_the_slots_of_its_text(path) -> None:
    found = parsed(path)["messages"]
    assert found and path.parent.parent.name in languages()
    for text, (said,) in found.items():
        assert sorted(re.findall(r"{(\w+)}", text)) == sorted(re.findall(r"{(\w+)}", said)), text


def test_help_and_refusals_are_told_part_by_part() -> None:
    assert translated("growth stage; today if absent", ES) == "etapa de crecimiento; si no se da, hoy"
    line = "hay-nitrate: n: 'x' does not begin with a number; expected a number, then its unit | cost, n: are missing"
    told = "hay-nitrate: n: 'x' no empieza con un número; se espera un número y luego su unidad | cost, n: faltan"
    assert refusal(line, ES) == told and refusal(line, Reader()) == line
    assert translated("nobody has words for this", ES) == "nobody has words for this"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("ask", "--help"), "Contesta QUESTION"),
        (("--help",), "Comandos:"),
        (("ask", "sorghum-aphid", "mean=abc"), "no empieza con un número"),
        (("ask", "sorgum-aphid"), "¿quiso decir sorghum-aphid"),
        (("frob",), "no hay comando 'frob'"),
        (("questions", "sorghum-aphid"), "pulgones en cada hoja revisada"),
    ],
)
def test_the_command_line_speaks_spanish(words: tuple[str, ...], said: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "sideoats", "--language", "es", *words], capture_output=True, text=True, check=False
    )
    assert said in done.stdout + done.stderr
    assert "Traceback" not in done.stderr
