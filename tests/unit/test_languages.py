"""The same phone-in in two languages and two systems of units, from the command line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from click.testing import CliRunner

from sideoats.asking import call_for
from sideoats.cli import group
from sideoats.errors import InputError
from sideoats.printed import call_text
from sideoats.words import Reader

APHIDS = [
    "ask", "sorghum-aphid", "mean=150", "n=40", "stage=boot", "yield=80 bu/ac", "price=4.50 USD/bu", "cost=14 USD/ac",
    "--on", "2026-08-10",
]  # fmt: skip


def said(*options: str, args: list[str] = APHIDS) -> str:
    found = CliRunner().invoke(group, [*options, *args], standalone_mode=False, catch_exceptions=False)
    return found.output


def test_the_same_answer_in_english_and_in_spanish():
    english, spanish = said(), said("--language", "es")
    assert english.startswith("▶ ACT  act by Tue 11 Aug 2026") and "Why:" in english
    assert spanish.startswith("▶ ACTUAR  actuar a más tardar el mar 11 ago 2026") and "Por qué:" in spanish
    assert "Money is counted over: Do not treat." in english and "No fumigar" in spanish
    figures = [line.split(":")[1] for line in english.splitlines() if line.startswith("  chance treating pays")]
    assert figures and figures[0] in spanish


def test_acres_or_hectares_are_the_reader_s_choice():
    us, metric = said().splitlines()[1], said("--units", "metric").splitlines()[1]
    assert "/ac" in us and "/ha" in metric and "/ac" not in metric


def test_a_call_without_codes_says_that_it_is_in_english():
    call = call_for("sorghum-aphid", dict(pair.split("=") for pair in APHIDS[2:-2]), on=date(2026, 8, 10))
    assert "todavía contesta en inglés" in call_text(replace(call, said={}), reader=Reader("es"))
    assert "inglés" not in call_text(call, reader=Reader("es"))


def test_a_language_without_words_is_one_clear_line():
    with pytest.raises(Exception, match="no words in 'tlh'; expected one of en, es"):
        said("--language", "tlh")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """A ledger with one farm, one field and one count, in a folder of its own."""
    file = str(tmp_path_factory.mktemp("tongues") / "ledger.sqlite")
    for words in (
        ["farm", "farm=oak", "name=Oak", "seen=2026-05-01"],
        [
            "place",
            "place=oak.sorghum",
            "farm=oak",
            "name=Sorghum",
            "kind=field",
            "crop=grain sorghum",
            "acres=80 ac",
            "seen=2026-05-01",
        ],
        ["leaf_counts", "place=oak.sorghum", "counts=120,300,80,150,200", "stage=boot", "seen=2026-08-09"],
    ):
        said("--ledger", file, args=["record", *words])
    return file


@pytest.mark.parametrize(
    ("args", "english", "spanish"),
    [
        (
            ["week", "--on", "2026-08-10", "--draws", "50"],
            "Week of Monday 10 August 2026",
            "Semana del lunes 10 de ago",
        ),
        (
            ["visits", "--on", "2026-08-10", "--draws", "50"],
            "Round of Monday 10 August",
            "Recorrido del lunes 10 de ag",
        ),
        (["check"], "3 entries, all hold", "3 registros, todos en orden"),
        (["questions", "sorghum-aphid"], "Limits: ", "Límites: "),
        (["questions"], "insects:", "¿Conviene fumigar este sorgo contra el pulgón?"),
        (["score"], "0 calls kept (none)", "0 recomendaciones guardadas (ninguna)"),
        (["record", "leaf_counts", "place=oak.sorghum", "counts=1,2", "seen=2026-08-11"], "stored: ", "guardado: "),
    ],
)
def test_every_command_that_prints_sentences_prints_them_in_spanish(ledger, args, english, spanish):
    at = ["--ledger", ledger]
    assert english in said(*at, args=args)
    before, after = said(*at, "--language", "es", args=args), said(*at, args=[*args, "--language", "es"])
    assert spanish in before and spanish in after
    assert english not in before and english not in after


def test_the_district_says_the_language_and_the_units_and_the_options_say_otherwise(ledger, tmp_path, monkeypatch):
    district = tmp_path / "district.toml"
    district.write_text('language = "es"\nunits = "metric"\n', encoding="utf-8")
    monkeypatch.setenv("SIDEOATS_DISTRICT", str(district))
    home = said()
    assert "ACTUAR" in home and "/ha" in home
    assert "ACT " in said("--language", "en") and "/ha" in said("--language", "en")
    assert "ACTUAR" in said(args=[*APHIDS, "--units", "us"]) and "/ha" not in said(args=[*APHIDS, "--units", "us"])


@pytest.mark.parametrize("args", [APHIDS, ["check"], ["questions"]])
def test_a_wrong_language_in_the_district_is_one_clear_line(ledger, args, tmp_path, monkeypatch):
    district = tmp_path / "district.toml"
    district.write_text('language = "klingon"\nunits = "ells"\n', encoding="utf-8")
    monkeypatch.setenv("SIDEOATS_DISTRICT", str(district))
    with pytest.raises(InputError) as refused:
        said("--ledger", ledger, args=args)
    line = str(refused.value)
    assert (
        "district.toml" in line and "'klingon'" in line and "en, es" in line and "'ells'" in line and "metric" in line
    )
    assert "\n" not in line


def test_the_bulletin_is_written_in_the_language_asked_for_before_the_command(ledger, tmp_path):
    at = ["--ledger", ledger, "--language", "es"]
    printed = said(*at, args=["bulletin", "--on", "2026-08-10", "--draws", "50", "--out", str(tmp_path)])
    assert "archivos públicos" in printed
    assert [folder.name for folder in (tmp_path / "public").iterdir()] == ["es"]
