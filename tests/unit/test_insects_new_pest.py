"""A new pest is a fact file and a few lines: an invented one, asked with invented figures."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from sideoats.asking import table_of
from sideoats.facts import Facts, load, parse_file
from sideoats.insects.questions._tables import Sampled, TablePest, counted_by, needs_count, table_question
from sideoats.outlook import make_outlook
from sideoats.question import Context, Question, Table
from sideoats.schema import Field, read_all

FACTS = """
[reed_hopper.threshold.east]
columns = ["stage", "per", "low", "high"]
rows = [["young", "row-ft", 4, 4], ["old", "row-ft", 9, 9]]
unit = "hoppers"
conditions = "invented"
source = "invented for this test"
provenance = "practice"
[reed_hopper.threshold.west]
columns = ["stage", "per", "low", "high"]
rows = [["young", "row-ft", 6, 6], ["young", "20 sweeps", 5, 5]]
unit = "hoppers"
conditions = "invented"
source = "invented for this test"
provenance = "practice"
[choices.reed_hopper_threshold]
about = "hoppers at which control pays"
among = { east = "reed_hopper.threshold.east", west = "reed_hopper.threshold.west" }
default = "east"
[reed_hopper.injury_days]
low = 7
high = 14
unit = "day"
conditions = "invented"
source = "invented for this test"
provenance = "practice"
[reed_hopper.most_lost]
value = 0.4
unit = "1"
conditions = "invented"
source = "invented for this test"
provenance = "practice"
"""


def sampled(table: Table, context: Context, units: Sequence[str]) -> Sampled:
    return counted_by(table, context, "reed hopper", "counts")


def reed_hopper() -> Question:
    return table_question(
        TablePest(
            name="reed-hopper", facts="insects/reed_hopper", title="Treat these reeds for hoppers?", about="Invented.",
            limits="Invented.", crop="reed", yield_unit="ton/ac", price_unit="USD/ton", commodity="hay", what="hoppers",
            inputs=(
                Field("counts", "counts", "hoppers in each sample"),
                Field("mean", "number", "mean a sample"),
                Field("n", "number", "samples"),
                Field("method", "choice", "how", choices=("cloth", "sweep"), default="cloth"),
                Field("row_feet", "number", "feet of row a cloth", unit="ft"),
                Field("sweeps", "number", "sweeps a set"),
                Field("stage", "choice", "stage", choices=("young", "old", "dry"), required=True),
            ),
            choice="insects/reed_hopper_threshold", sampled=sampled, over_stages=("dry",),
            check=needs_count("reed-hopper", "beat at ten places"),
        )
    )  # fmt: skip


def test_an_invented_pest_is_answered_from_its_fact_file(tmp_path: Path) -> None:
    path = tmp_path / "reed_hopper.toml"
    path.write_text(FACTS, encoding="utf-8")
    facts, choices = parse_file("insects", path)
    published = load()
    own = Facts({**published.by_id, **facts}, {**published.choices, **choices})
    on, question = date(2026, 7, 1), reed_hopper()
    common = {"mean": "20", "n": "40", "cost": "12 USD/ac", "yield": "3 ton/ac", "price": "90 USD/ton"}
    rows = [
        {"stage": "young", **common},
        {"stage": "young", "method": "sweep", "sweeps": "20", **common},
        {"stage": "young", **common, "mean": "0.5"},
        {"stage": "dry", **common},
        {"stage": "old", "method": "sweep", **common},
    ]
    table = table_of(question, [read_all(question.inputs, row) for row in rows])
    calls = list(question.ask(table, Context(on, own, make_outlook(on, draws=100))).calls())
    assert [c.verdict for c in calls] == ["act", "act", "wait", "wait", "look"]
    assert [calls[i].quantities["threshold_low"].value for i in (0, 1)] == [4, 5]
    assert any("East: 4 hoppers per row-foot" in line for line in calls[0].because)
    assert any("West prints 6 per row-ft" in line for line in calls[0].because)
    assert any("West: 5 hoppers per 20 sweeps" in line for line in calls[1].because)
    assert "past the stage" in calls[3].headline
    assert "No published threshold" in calls[4].headline
    assert {"insects/reed_hopper.threshold.east"} <= {s["id"] for s in calls[0].sources}
