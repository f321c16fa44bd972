"""The code in the documentation runs."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
# building.md is run by test_building.py, in a copy of the project where its rows are added
PAGES = sorted(
    p
    for p in [*ROOT.glob("docs/*.md"), ROOT / "README.md"]
    if p.name != "building.md" and "```python" in p.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_python_blocks_run(page: Path) -> None:
    blocks = re.findall(r"```python\n(.*?)```", page.read_text(encoding="utf-8"), re.S)
    assert blocks
    scope: dict[str, Any] = {"__name__": "docs"}
    for number, block in enumerate(blocks, 1):
        exec(compile(block, f"{page.name} block {number}", "exec"), scope)
