"""Hazard lines: tightened freely, loosened only by saying so; nobody is quoted for the number of a district."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import pytest

import sideoats
from sideoats import facts
from sideoats.errors import FactError, SideoatsError
from sideoats.facts import Fact
from sideoats.words import Reader, sentence

OURS = "Notes of the county office, 2026"
HAZARDS = [fact for fact in facts.load().by_id.values() if fact.milder]


def _moved(value: Any, way: str, sign: int) -> Any:
    """A cell one step to the milder side (sign 1) or the stricter one (-1)."""
    if way == "fewer":
        return "" if sign > 0 else f"{value} fescue"
    if isinstance(value, str):
        return f"{value} (changed)" if way == "any" and sign > 0 else value
    if way == "any":
        return value + 1 if sign > 0 else value
    step = (abs(value) or 1.0) * 0.1
    return value + step * sign * (1 if way == "higher" else -1)


def _override(fact: Fact, sign: int, more: str = "", source: str = OURS) -> str:
    """A district file that moves one fact; `sign` 0 repeats it as shipped."""

    def cell(name: str, value: Any) -> str:
        kept = not sign or name not in fact.milder or (fact.rows and value == 0)  # a ladder begins at 0
        moved = value if kept else _moved(value, fact.milder[name], sign)
        if isinstance(moved, str | int):
            return json.dumps(moved)
        return "nan" if math.isnan(moved) else f"{moved!r}"

    if fact.rows:
        rows = ["[" + ", ".join(cell(n, v) for n, v in zip(fact.columns, row, strict=True)) + "]" for row in fact.rows]
        body = f"columns = {json.dumps(fact.columns)}\nrows = [{', '.join(rows)}]\n"
    elif fact.text:
        body = f"text = {cell('', fact.text) if fact.milder else json.dumps(fact.text)}\n"
    elif fact.milder.get("") == "wider":
        body = f"low = {fact.low - sign * 0.1 * abs(fact.low)}\nhigh = {fact.high + sign * 0.05 * abs(fact.high)}\n"
    else:
        body = "".join(f"{key} = {cell('', getattr(fact, key))}\n" for key in ("low", "mid", "high"))
    return f'[override."{fact.id}"]\n{body}source = "{source}"\nprovenance = "practice"\n{more}'


def _district(folder: Path, text: str) -> facts.Facts:
    file = folder / "district.toml"
    file.write_text(text, encoding="utf-8")
    return facts.load(file)


LOOSEN = 'loosen = true\nreason = "Ten years of feeding here"\n'


def test_hazard_lines_are_marked_in_every_table_that_can_clear_a_feed_or_a_pasture() -> None:
    marked = {fact.id for fact in HAZARDS}
    lines = ("forage/nitrate_class.", "forage/prussic_class.", "forage/prussic.preset.", "forage/water_nitrate_class.",
             "forage/sulfur.", "forage/rain_wait.", "forage/ergot.")  # fmt: skip
    for fact_id in facts.load().by_id:
        if fact_id.startswith(lines) or fact_id in ("forage/tetany.ratio", "forage/aflatoxin"):
            assert fact_id in marked, fact_id


@pytest.mark.parametrize("fact", HAZARDS, ids=lambda fact: fact.id)
def test_a_milder_hazard_line_is_refused_unless_the_row_says_so(fact: Fact, tmp_path: Path) -> None:
    if "fewer" in fact.milder.values():
        milder = _override(fact, 1).replace('text = ""', 'text = "sorghum"')
    else:
        milder = _override(fact, 1)
    for more in ("", "loosen = true\n", 'reason = "it has always been so"\n'):
        with pytest.raises(FactError) as refused:
            _district(tmp_path, milder + more)
        assert fact.id in str(refused.value) and "\n" not in str(refused.value)
        assert "loosen = true" in str(refused.value)
    said = [sentence(s, Reader()) for s in _district(tmp_path, milder + LOOSEN).loosenings([fact.id])]
    assert len(said) == 1 and "as shipped" in said[0] and "Ten years of feeding here" in said[0] and OURS in said[0]


@pytest.mark.parametrize("fact", [f for f in HAZARDS if "any" not in f.milder.values()], ids=lambda fact: fact.id)
def test_a_stricter_hazard_line_needs_no_key_and_no_headline(fact: Fact, tmp_path: Path) -> None:
    for sign in (-1, 0):
        known = _district(tmp_path, _override(fact, sign))
        assert known.by_id[fact.id].overridden and known.loosenings([fact.id]) == []


def test_an_override_of_another_shape_is_refused(tmp_path: Path) -> None:
    rest = f'source = "{OURS}"\nprovenance = "practice"\n'
    for body in ('columns = ["a"]\nrows = [[1.0]]\n', 'text = "never mind"\n', "value = inf\n", "value = nan\n"):
        with pytest.raises(FactError):
            _district(tmp_path, f'[override."forage/tetany.ratio"]\n{body}{rest}')


def test_all_overrides_that_are_wrong_are_named_at_once(tmp_path: Path) -> None:
    known = facts.load().by_id
    both = _override(known["forage/tetany.ratio"], 1) + _override(known["forage/sulfur.feedlot"], 1)
    with pytest.raises(FactError) as refused:
        _district(tmp_path, both)
    assert "tetany.ratio" in str(refused.value) and "sulfur.feedlot" in str(refused.value)


TETANY = {"class": "lactating-cow", "potassium": "4.5%", "calcium": "0.25%", "magnesium": "0.21%", "lush": "no"}


def test_a_loosened_line_stands_in_the_headline_of_the_call_that_rests_on_it_with_the_shipped_value(
    tmp_path: Path,
) -> None:
    shipped = sideoats.ask("wheat-pasture-hazard", TETANY, on="2026-11-10")
    assert shipped["verdict"] == "stop" and "Loosened" not in shipped["headline"]
    row = '[override."forage/tetany.ratio"]\nvalue = 9.9\nsource = "coffee shop"\nprovenance = "practice"\n'
    loose = _district(tmp_path, row + LOOSEN)
    call = sideoats.ask("wheat-pasture-hazard", TETANY, on="2026-11-10", facts=loose)
    assert "9.9" in call["headline"] and "2.2 as shipped" in call["headline"] and "coffee shop" in call["headline"]
    others = sideoats.ask("hay-supply", {"head": "50", "bales": "100", "days": "150"}, on="2026-11-10", facts=loose)
    assert "Loosened" not in others["headline"]


def test_a_loosened_line_stands_in_the_headline_of_a_question_that_the_ruling_decides(tmp_path: Path) -> None:
    hay = {"result": "1,200 ppm", "form": "NO3-N", "basis": "dry", "class": "open-cow", "cores": "20", "bales": "20"}
    fact = facts.load().by_id["forage/nitrate_class.clemson"]
    loose = _district(tmp_path, _override(fact, 1, LOOSEN, source="coffee shop"))
    shipped, call = (sideoats.ask("hay-nitrate", hay, on="2026-11-10", facts=f) for f in (None, loose))
    assert "Loosened" not in shipped["headline"]
    assert "Loosened by this district" in call["headline"] and "coffee shop" in call["headline"]


def test_a_publisher_is_not_quoted_for_the_district_s_number(tmp_path: Path) -> None:
    hay = {"result": "1,200 ppm", "form": "NO3-N", "basis": "dry", "class": "open-cow", "cores": "20", "bales": "20"}
    assert "Clemson" in json.dumps(sideoats.ask("hay-nitrate", hay, on="2026-11-10"))
    for sign, more in ((1, LOOSEN), (-1, ""), (0, "")):
        fact = facts.load().by_id["forage/nitrate_class.clemson"]
        known = _district(tmp_path, _override(fact, sign, more, source="our own feeding records"))
        call = sideoats.ask("hay-nitrate", hay, on="2026-11-10", facts=known)
        assert "Clemson" not in json.dumps(call) and "our own feeding records" in json.dumps(call)


CORPUS = Path(__file__).parent.parent / "fuzz" / "corpus" / "answered.jsonl"
# words by which publishers are known in this room and the others; laws and places of trade are not among them
# answered nowhere in the corpus: load-price reads a file, and no sentence of it names a publisher
NOT_IN_CORPUS = ("load-price",)
MORE = {"cotton-fleahopper-bollworm": {"stage": "squaring", "damaged_squares": "2%", "square_set": "85%"}}
NAMES = re.compile(
    r"Clemson|ServiTech|Dairyland|Manitoba|Wyoming|Montana|Nebraska|Kansas|Dakota|Texas|Knutson|Voss|Missouri|Kentucky"
    r"|Colorado|Georgia|Tennessee|Delaware|Wisconsin|Arkansas|Purdue|Illinois|Ohio"
)


def _asks() -> dict[str, list[dict[str, Any]]]:
    """Phone-ins of every question, some of which are answered."""
    asked: dict[str, list[dict[str, Any]]] = {}
    for line in CORPUS.read_text("utf-8").splitlines():
        row = json.loads(line)
        asked.setdefault(row["question"], []).append(row["values"])
    return {question: [*rows, *([MORE[question]] if question in MORE else [])] for question, rows in asked.items()}


@pytest.fixture(scope="module")
def replaced(tmp_path_factory: pytest.TempPathFactory) -> facts.Facts:
    """A district that has replaced every number by its own, each the same as shipped."""
    numbers = [fact for fact in facts.load().by_id.values() if not fact.text]
    return _district(tmp_path_factory.mktemp("ours"), "".join(_override(fact, 0) for fact in numbers))


@pytest.mark.parametrize("question", sorted(_asks()))
def test_no_sentence_names_a_publisher_whose_number_the_district_has_replaced(
    question: str, replaced: facts.Facts
) -> None:
    worded = [fact for fact in facts.load().by_id.values() if fact.text]  # read as they stand: no number of theirs
    words = " ".join(f"{fact.text} {fact.publisher}" for fact in worded)
    answered = 0
    for values in _asks()[question]:
        try:
            call = sideoats.ask(question, values, on="2026-09-14", facts=replaced, draws=40)
        except SideoatsError:
            continue
        answered += 1
        for line in (call["headline"], *call["because"]):
            assert not {name for name in NAMES.findall(line) if name not in words}, line
    assert answered or question in NOT_IN_CORPUS
