"""The feed table: feeds by the names they go by, with what they usually hold."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.facts import Facts

PARTS = ("dry_matter", "tdn", "protein", "calcium", "phosphorus", "sulfur")
BOOKED = (*PARTS, "starch", "fat")
_CUBES = frozenset({"cube", "cubes", "cake"})
_TAGS = (10.0, 50.0)  # % of protein that a tag of cubes can say; another number in the name is none


@dataclass(frozen=True, eq=False)
class Book:
    """The feed table by name: shares of dry matter, USD/ton as fed, ppm NO3-N."""

    rows: Mapping[str, Mapping[str, Any]]
    largest_share: Mapping[str, float]
    names: Mapping[frozenset[str], str]
    plain: frozenset[str]
    most: Mapping[str, float]
    rich: float
    forage_words: frozenset[str]
    largest_named: Mapping[str, float]
    most_of_forage: Mapping[str, float]
    described: Mapping[str, tuple[float, float]]
    dear: float
    cube_words: frozenset[str]
    cubes: tuple[str, str]

    @classmethod
    def of(cls, facts: Facts) -> Book:
        """Read from ``cattle/feeds``."""
        fact = facts["cattle/feeds.composition"]
        names = fact.columns[1:]
        rows = {str(r[0]): dict(zip(names, r[1:], strict=True)) for r in fact.rows}
        for feed, row in rows.items():
            row["feed"] = feed
            for part in BOOKED:
                row[part] = float(row[part]) / 100.0
        limits = {str(k): float(v) for k, v in facts["cattle/feeds.largest_share"].rows}
        known = {frozenset(feed.split()): feed for feed in rows}
        for name, feed in facts["cattle/feeds.other_names"].rows:
            known[frozenset(str(name).split())] = str(feed)
        most, of_forage = (
            {str(part): float(share) for of, part, share in facts["cattle/feeds.most"].rows if of == kind}
            for kind in ("feed", "forage")
        )
        kept = (*facts["cattle/feeds.largest_named"].rows, *facts["cattle/feeds.largest_coarse"].rows)
        named = {str(k): float(v) for k, v in kept}
        words = {str(kind): frozenset(str(held).split()) for kind, held in facts["cattle/feeds.words"].rows}
        plain, forages, cube = (words[kind] for kind in ("plain", "forage", "cube"))
        # range cubes of the table lie between the one of least and the one of most protein
        cubes = sorted((row["protein"], feed) for feed, row in rows.items() if _CUBES & set(feed.split()))
        low, high = cubes[0][1], cubes[-1][1]
        described = {
            str(k): (float(starch) / 100, float(fat) / 100) for k, starch, fat in facts["cattle/feeds.described"].rows
        }
        rich, dear = (facts.value(f"cattle/feeds.{k}") for k in ("rich", "dear"))
        return cls(
            rows, limits, known, plain, most, rich, forages, named, of_forage, described, dear, cube, (low, high)
        )

    def find(self, name: str) -> Mapping[str, Any] | None:
        """The row that goes by this name, plain words and numbers left out; None where there is none.

        Corn stalks, corn silage and corn gluten feed are not corn: a word that is not plain makes another feed, so that
        no hot roughage is taken for a clean grain.
        """
        words = frozenset(re.split(r"[^a-z0-9%]+", _closed(name))) - {""}
        bare = frozenset(w for w in words - self.plain if not any(c.isdigit() for c in w))
        feed = self.names.get(words) or self.names.get(bare)
        return None if feed is None else self.rows[feed]

    def cube(self, name: str, protein: float) -> tuple[Mapping[str, Any], str] | None:
        """The usual make of range cubes of this protein, and what it rests on; None for a feed that is no range cube.

        Protein is the record's (of dry matter), else that on the tag (as fed) in the name; `usual` where neither is
        told. The rest lies between the two cubes of the table by protein.
        """
        words = frozenset(re.split(r"[^a-z]+", name.lower())) - {"", "percent"}
        if not words or not words <= self.cube_words | self.plain or not words & _CUBES:
            return None
        low, high = (self.rows[feed] for feed in self.cubes)
        tag = re.search(r"(\d+(?:\.\d+)?)", name)
        if not np.isnan(protein):
            told = "record"
        elif tag is not None and _TAGS[0] <= float(tag[1]) <= _TAGS[1]:
            protein, told = float(tag[1]) / 100 / low["dry_matter"], "tag"
        else:
            protein, told = low["protein"], "usual"
        at = float(np.clip((protein - low["protein"]) / (high["protein"] - low["protein"]), 0.0, 1.0))
        row: dict[str, Any] = {
            part: low[part] + at * (high[part] - low[part]) for part in (*BOOKED, "price", "nitrate")
        }
        return row | {"protein": protein, "kind": (high if at > 0.5 else low)["kind"], "feed": low["feed"]}, told


def _closed(name: str) -> str:
    """A name in small letters, "20 %" written "20%"."""
    return re.sub(r"(\d)\s+%", r"\1%", name.lower())
