"""Facts: nothing without source and provenance, bad files refused in one line, a district may choose and override."""

from __future__ import annotations

from pathlib import Path

import pytest

from sideoats import facts
from sideoats.errors import FactError


def test_every_fact_has_unit_conditions_source_and_provenance() -> None:
    known = facts.load()
    assert len(known.by_id) > 20
    for fact in known.by_id.values():
        assert fact.citation.strip() and fact.provenance in facts.PROVENANCE, fact.id
        assert fact.conditions.strip() and (fact.unit.strip() or fact.text), fact.id


GOOD = 'value = 1\nunit = "1"\nconditions = "c"\nsource = "A. Author, Title, 2001"\nprovenance = "read"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (GOOD.replace('source = "A. Author, Title, 2001"\n', ""), "no source"),
        (GOOD.replace('provenance = "read"', 'provenance = "heard"'), "provenance"),
        (GOOD.replace("value = 1", "low = 3\nhigh = 1"), "out of order"),
        (GOOD.replace("value = 1", 'value = "x"'), "expected a number"),
        (GOOD.replace("value = 1\n", ""), "neither value"),
        (GOOD.replace("A. Author, Title, 2001", "nowhere"), "neither under [sources]"),
        ("= broken", "TOML"),
    ],
)
def test_a_malformed_fact_is_refused_in_one_line(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "x.toml"
    path.write_text(text if text.startswith("=") else f"[thing]\n{text}", encoding="utf-8")
    with pytest.raises(FactError) as error:
        facts.parse_file("room", path)
    assert says in str(error.value) and "\n" not in str(error.value)


def test_a_district_overrides_with_its_own_source(tmp_path: Path) -> None:
    file = tmp_path / "district.toml"
    file.write_text(
        '[override."insects/sorghum_aphid.efficacy"]\nvalue = 0.7\nsource = "Our own strip trial, 2025, table 1"\n'
        'provenance = "derived"\n[settings]\n"price.wheat" = "5.50 USD/bu"\n',
        encoding="utf-8",
    )
    known = facts.load(file).reader()
    assert known.value("insects/sorghum_aphid.efficacy") == 0.7
    assert known.cited()[0]["citation"].startswith("Our own strip trial")
    assert known.settings == {"price.wheat": "5.50 USD/bu"}
    assert facts.load().value("insects/sorghum_aphid.efficacy") == 0.9


@pytest.mark.parametrize(
    "text",
    [
        '[override."insects/sorghum_aphid.efficacy"]\nvalue = 0.7\n',
        '[override."insects/nothing"]\nvalue = 1\nsource = "a b"\nprovenance = "read"\n',
        '[choose]\n"insects/nothing" = "x"\n',
    ],
)
def test_a_district_cannot_override_without_source_or_what_is_not_there(tmp_path: Path, text: str) -> None:
    file = tmp_path / "district.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(FactError):
        facts.load(file)


def test_a_reader_remembers_what_was_read() -> None:
    reader = facts.load().reader()
    reader.value("insects/sorghum_aphid.injury_level.fast")
    assert [s["id"] for s in reader.cited()] == ["insects/sorghum_aphid.injury_level.fast"]
    assert facts.load().reader().cited() == []
