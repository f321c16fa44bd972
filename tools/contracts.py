"""What question files hold, by the contracts of docs/design.md; what departs from them and what breaks them.

python -m tools.contracts
"""

from __future__ import annotations

import ast
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, every, registry

SOURCES = Path(__file__).parent.parent / "src" / "sideoats"


def measures(path: Path) -> dict[str, int]:
    """Lines, `Field(` literals and English sentences (texts of four words and more, docstrings aside) of one file."""
    text = path.read_text("utf-8")
    tree = ast.parse(text)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.FunctionDef | ast.ClassDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    spoken = [
        n
        for n in ast.walk(tree)
        if isinstance(n, ast.Constant) and isinstance(n.value, str) and id(n) not in docs and len(n.value.split()) > 3
    ]
    fields = sum(isinstance(n, ast.Call) and getattr(n.func, "id", "") == "Field" for n in ast.walk(tree))
    return {"lines": text.count("\n"), "fields": fields, "sentences": len(spoken)}


def departures() -> dict[str, str]:
    """Question -> how its verdict departs from the one rule, for those that declare it (`Problem.departs`)."""
    on, known = date(2026, 9, 14), load()
    context, out = Context(on, known, make_outlook(on, facts=known, draws=8)), {}
    for question in every():
        blank = table_of(question, [{f.name: f.default for f in question.inputs}])
        if how := question.pose(blank, context.fresh()).departs:
            out[question.name] = how
    return out


def broken() -> list[dict[str, Any]]:
    """Rows of the list of invariants that a room still breaks."""
    path = SOURCES.parent.parent / "tests" / "property" / "broken.toml"
    return list(tomllib.loads(path.read_text("utf-8")).get("broken", []))


def main() -> None:
    """Print a line for each question: what its file holds."""
    for question in every():
        path = SOURCES.parent / (registry()[question.name].replace(".", "/") + ".py")
        found = measures(path)
        print(
            f"{question.name:28} {found['lines']:4} lines {found['fields']:3} fields {found['sentences']:3} sentences"
        )
    print("\nDeclared departures from the one rule:")
    for name, how in departures().items():
        print(f"{name:28} {how}")
    print("\nInvariants that a room still breaks (tests/property/broken.toml):")
    for row in sorted(broken(), key=lambda row: (row["room"], row["question"], row["law"])):
        print(f"{row['room']:10} {row['question']:28} {row['law']:12} {row['why']}")


if __name__ == "__main__":
    main()
