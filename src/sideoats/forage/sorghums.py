"""Names of forage as people say them: the sorghum family, by the one list of the vocabulary, and hay known to be none.

The words of ``forage_look.species`` are the list; what carries prussic acid of it is the family. Spaces and hyphens do
not count, so that Johnson grass, hay grazer and S x S are known.
"""

from __future__ import annotations

import re
from functools import lru_cache

from sideoats.facts import Facts
from sideoats.vocabulary import see

_SHORT = 4  # a word of so few letters ends a word of the name (sugarcane), or another may hold it by chance (canary)


def _squashed(name: str) -> str:
    return re.sub(r"[\W_]", "", name.lower())


@lru_cache(maxsize=8)
def _family(species: frozenset[str]) -> tuple[frozenset[str], frozenset[str]]:
    """Short and long words of the family."""
    listed = see("forage_look.species")
    words = species | {word for word, of in (listed.aliases or {}).items() if of in species}
    held = {_squashed(word) for word in words}
    return frozenset(w for w in held if len(w) <= _SHORT), frozenset(w for w in held if len(w) > _SHORT)


def is_sorghum(facts: Facts, name: str) -> bool:
    """Whether the name of a hay is one of the sorghum family."""
    rows = facts["forage/prussic.species"].rows
    short, long = _family(frozenset(str(species) for species, _, group in rows if group != "none"))
    whole = _squashed(name)
    ends = tuple(short)
    tokens = [token for token in re.split(r"[\W_]+", name.lower()) if token]
    stems = [part for token in tokens for part in (token, token.removesuffix("s"), token.removesuffix("hay"))]
    return any(word in whole for word in long) or whole in short or any(stem.endswith(ends) for stem in stems)


def is_other_hay(facts: Facts, name: str) -> bool:
    """Whether the name of a hay is known to be of none of them."""
    words = facts["forage/not_cattle.other_hay"].text.split()
    return not is_sorghum(facts, name) and any(word in _squashed(name) for word in words)
