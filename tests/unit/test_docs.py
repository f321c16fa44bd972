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


def test_the_readme_tells_the_true_shares_of_facts() -> None:
    from collections import Counter

    from sideoats.facts import load

    count = Counter(fact.provenance for fact in load().by_id.values())
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    words = {
        "read": "were read",
        "derived": "are derived",
        "practice": "are common practice",
        "memory": "are from memory",
    }
    for provenance, said in words.items():
        match = re.search(rf"(\d+) % {said}", text)
        assert match, said
        share = 100 * count[provenance] / count.total()
        assert abs(int(match[1]) - share) <= 1.5, (provenance, round(share, 1))
