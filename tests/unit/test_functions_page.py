"""Public functions: each has a caller, or belongs to the trade and stands on the page of them."""

from __future__ import annotations

import re

from tools.functions import PAGE, SOURCES, of_the_trade, page, parsed, public, unnamed

TREES = parsed()


def test_a_public_function_has_a_caller_or_a_place_on_the_page_of_the_trade() -> None:
    told = set(re.findall(r"^- `(\w+)`", PAGE.read_text("utf-8"), re.MULTILINE))
    lost = [
        f"{path.relative_to(SOURCES)} {name}"
        for path, name in unnamed(TREES)
        if name not in told or not of_the_trade(path, TREES[path])
    ]
    assert lost == []  # call it, delete it, or run `python -m tools.functions`


def test_every_function_on_the_page_is_there_and_says_what_it_does() -> None:
    told = set(re.findall(r"^- `(\w+)`", PAGE.read_text("utf-8"), re.MULTILINE))
    assert told <= {node.name for tree in TREES.values() for node in public(tree)}
    assert not re.findall(r"^- `\w+`: *$", page(TREES), re.MULTILINE)
    assert len(told) > 250
