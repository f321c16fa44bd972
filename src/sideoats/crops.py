"""The one list of crops, stock and trapped insects (``vocabulary/crops.toml``): every word for a thing, read alike.

A place keeps the word that was typed; whatever asks what grows there compares `crop_of` the word. A question that
has its own short list of choices takes the synonyms from here too (`synonyms`), so that no word is known in one
place and not in another.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats import shipped, units
from sideoats.errors import InputError


def spelling(text: str) -> str:
    """A word as it is compared: in small letters, with one space for each run of spaces, hyphens and underscores."""
    return " ".join(text.lower().replace("_", " ").replace("-", " ").split())


@lru_cache(maxsize=1)
def _list() -> Mapping[str, Mapping[str, Any]]:
    return shipped.tables("crops", [Path(__file__).parent / "vocabulary" / "crops.toml"])[0]


@lru_cache(maxsize=1)
def _names() -> Mapping[str, str]:
    """Every word of the list, by its spelling, and the name that it stands for."""
    found: dict[str, str] = {}
    for name, entry in _list().items():
        for word in (name, *entry["words"]):
            if found.setdefault(spelling(word), name) != name:
                raise ValueError(f"crops: {word!r} stands for {found[spelling(word)]} and for {name}")
    return found


def crop_names() -> tuple[str, ...]:
    """The names of the list, in its order."""
    return tuple(_list())


@lru_cache(maxsize=4096)
def crop_of(word: str) -> str:
    """The name that `word` stands for; a word that is not in the list (in an old ledger) stays what it is."""
    text = spelling(word)
    names = _names()
    return names.get(text) or names.get(text.removesuffix("s")) or text


def known_crop(word: str) -> str:
    """`word` as it is to be kept. Raises InputError with the nearest words where the list does not have it."""
    if crop_of(word) in _list():
        return " ".join(word.split())
    import difflib

    near = difflib.get_close_matches(spelling(word), _names(), 3, 0.7)
    raise InputError(
        f"{word.strip()[:60]!r} is not in the list of crops",
        expected="a crop's usual name, such as winter wheat, grain sorghum or native grass; or other",
        todo=f"did you mean {' or '.join(near)}?" if near else "say other, and name it in a note",
    )


def market_word(word: str) -> str:
    """What the price of `word` is quoted under; what has no one word for it is quoted under its own."""
    return str(_list().get(crop_of(word), {}).get("market", " ".join(word.lower().split())))


def bushel_pounds(word: str) -> float:
    """Pounds of a bushel of `word` in the trade, NaN for what is not sold by it (customary weights, United States
    Department of Agriculture).
    """
    return float(_list().get(crop_of(word), {}).get("bushel", math.nan))


def by_the_bushel(price: Any, word: str) -> Any:
    """A price by weight ("9.50 USD/cwt") of a crop that is sold by the bushel, in USD/bu; anything else as it is."""
    pounds = bushel_pounds(word)
    if math.isnan(pounds) or not isinstance(price, str):
        return price
    try:
        value, unit = units.split(price)
        factor, offset = units.conversion(unit, "USD/lb")
    except InputError:
        return price
    return f"{(value * factor + offset) * pounds!r} USD/bu"


def synonyms(choices: Iterable[str]) -> dict[str, str]:
    """Every word of the list that stands for one of `choices`, for a field that takes only those."""
    meant = {crop_of(choice): choice for choice in choices}
    own = {spelling(choice) for choice in meant.values()}
    return {word: meant[name] for word, name in _names().items() if name in meant and word not in own}
