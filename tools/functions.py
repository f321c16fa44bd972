"""The functions of the trade, as a page of the documentation; and public functions that nobody names.

python -m tools.functions          writes docs/functions.md
python -m tools.functions --unnamed  lists functions that no module, template or page names beside their own

A function without a caller stays where it belongs to the trade and stands on that page; any other goes.
"""

from __future__ import annotations

import ast
import re
import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parent.parent
SOURCES = ROOT / "src" / "sideoats"
PAGE = ROOT / "docs" / "functions.md"
ROOMS = {
    "weather": "Weather", "insects": "Insects and diseases", "forage": "Forage and hay", "cattle": "Cattle",
    "wheat": "Wheat", "grain": "Grain and selling",
}  # fmt: skip
# A module that imports any of these makes answers of functions; it is none of them itself.
_MORE = {
    "outlook/prices.py": "Prices", "week/scoring.py": "Scores", "intake/grid.py": "Weather grids",
    "week/cells.py": "Weather grids",
}  # fmt: skip
_ANSWERS = {"question", "problem", "words", "families", "ruling", "replies", "pictures", "asking", "vocabulary"}
_HEAD = """# Functions of the trade

Arrays in, arrays out: no file, no clock, no ledger. Import them from their module, `from sideoats.weather.freeze import
last_freeze`; `help()` gives shapes, units, validity and source. They are public: a name here is kept or renamed with a
note. The page is made by `python -m tools.functions`.
"""


def parsed() -> dict[Path, ast.Module]:
    """Every module of the program."""
    return {path: ast.parse(path.read_text("utf-8")) for path in sorted(SOURCES.rglob("*.py"))}


def public(tree: ast.Module) -> list[ast.FunctionDef]:
    """Public functions of a module, in their order."""
    return [node for node in tree.body if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")]


def of_the_trade(path: Path, tree: ast.Module) -> bool:
    """Whether a module of a room holds functions only: it imports nothing that answers are made of."""
    inside = path.relative_to(SOURCES).parts
    if "/".join(inside) in _MORE:
        return True
    if inside[0] not in ROOMS or "questions" in inside or inside[-1].startswith("_"):
        return False
    taken = {
        part
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sideoats")
        for part in ((node.module or "").split(".")[1:2] or [alias.name for alias in node.names])
    }
    return not taken & _ANSWERS


def unnamed(trees: dict[Path, ast.Module]) -> list[tuple[Path, str]]:
    """(module, function) of public functions that nothing of the program names beside themselves."""
    said = {path: Counter(re.findall(r"\w+", path.read_text("utf-8"))) for path in trees}
    pages = Counter(re.findall(r"\w+", " ".join(p.read_text("utf-8") for p in SOURCES.rglob("*.html"))))
    tools = Counter(re.findall(r"\w+", " ".join(p.read_text("utf-8") for p in (ROOT / "tools").glob("*.py"))))
    total = sum(said.values(), Counter()) + pages + tools
    out = []
    for path, tree in trees.items():
        names = Counter(node.name for node in public(tree))
        out += [(path, name) for name in names if total[name] == 1]
    return out


def _sentence(node: ast.FunctionDef) -> str:
    first = (ast.get_docstring(node) or "").split("\n\n")[0]
    return " ".join(first.split())


def page(trees: dict[Path, ast.Module]) -> str:
    """The page, room by room and module by module."""
    parts = [_HEAD]
    for title in (*ROOMS.values(), *dict.fromkeys(_MORE.values())):
        parts.append(f"## {title}\n")
        for path, tree in trees.items():
            inside = path.relative_to(SOURCES)
            if (
                title == _MORE.get(inside.as_posix(), ROOMS.get(inside.parts[0]))
                and of_the_trade(path, tree)
                and (found := public(tree))
            ):
                about = (ast.get_docstring(tree) or "").split("\n\n")[0]
                module = "sideoats." + ".".join(inside.with_suffix("").parts)
                rows = [f"- `{node.name}`: {_sentence(node)}" for node in found]
                parts.append(f"### `{module}`\n\n{' '.join(about.split())}\n\n" + "\n".join(rows) + "\n")
    return "\n".join(parts)


def main() -> None:
    """Write the page, or list what nobody names."""
    trees = parsed()
    if "--unnamed" in sys.argv[1:]:
        for path, name in unnamed(trees):
            kind = "of the trade" if of_the_trade(path, trees[path]) else "named nowhere"
            print(f"{path.relative_to(SOURCES)} {name}: {kind}")
    else:
        PAGE.write_text(page(trees), encoding="utf-8")


if __name__ == "__main__":
    main()
