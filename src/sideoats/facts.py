"""Published numbers, each with unit, conditions, source and provenance; a district chooses among them and may override.

A room keeps its numbers in ``<room>/facts/*.toml``::

    [sources.ruppel1983]
    citation = "Ruppel, R.F., J. Econ. Entomol. 76:375-377, 1983"
    address = "https://..."                     # where known

    [sorghum_aphid.injury_level.fast]           # the fact "insects/sorghum_aphid.injury_level.fast"
    value = 37                                  # or low/mid/high (mid may be left out), or columns + rows, or text
    unit = "aphids/leaf"
    conditions = "fast-growing populations, 15 site-years"
    source = "gordy2019"
    provenance = "read"                         # read | derived | memory | practice

    [choices.wheat_aphid_threshold]             # rival tables side by side: "insects/wheat_aphid_threshold"
    about = "aphids per stem at which control pays"
    among = { nebraska = "wheat_aphid.threshold.nebraska", kansas = "wheat_aphid.threshold.kansas" }
    default = "nebraska"

A district file (TOML) may hold ``[choose]`` (choice id = key), ``[override."fact id"]`` (the same keys as a fact, with
its own source and provenance) and ``[settings]`` (prices, costs and the like, as text with units).
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats.errors import FactError

PROVENANCE = ("read", "derived", "memory", "practice")
PROVENANCE_WORDS = {
    "read": "read in the source",
    "derived": "derived from the source",
    "memory": "from memory, source not read",
    "practice": "common practice, no source",
}


@dataclass(frozen=True)
class Fact:
    """One published number, range, table or statement."""

    id: str
    unit: str
    conditions: str
    citation: str
    address: str
    provenance: str
    low: float = math.nan
    mid: float = math.nan
    high: float = math.nan
    text: str = ""
    columns: tuple[str, ...] = ()
    rows: tuple[tuple[Any, ...], ...] = ()
    overridden: bool = False

    @property
    def value(self) -> float:
        """The single value, or the middle of a range."""
        return self.mid

    @property
    def span(self) -> tuple[float, float]:
        """Low and high of the range; equal for a single value."""
        return self.low, self.high

    def column(self, name: str) -> list[Any]:
        """One column of a table fact, top to bottom."""
        try:
            at = self.columns.index(name)
        except ValueError:
            raise FactError(f"fact {self.id} has no column {name!r}; it has {', '.join(self.columns)}") from None
        return [row[at] for row in self.rows]

    def source(self) -> dict[str, str]:
        """As printed with a call: id, citation, provenance."""
        citation = f"{self.citation} {self.address}".strip()
        return {"id": self.id, "citation": citation, "provenance": self.provenance}


@dataclass(frozen=True)
class Choice:
    """Rival facts under their publishers, one of which the district follows."""

    id: str
    about: str
    among: dict[str, str]
    default: str


@dataclass
class Facts:
    """All facts of the program as one district sees them; remembers which were read, so that a call can cite them."""

    by_id: dict[str, Fact]
    choices: dict[str, Choice]
    chosen: dict[str, str] = field(default_factory=dict)
    settings: dict[str, str] = field(default_factory=dict)
    read: dict[str, None] = field(default_factory=dict)

    def reader(self) -> Facts:
        """The same facts with an empty list of what has been read (one reader a call)."""
        return replace(self, read={})

    def __getitem__(self, fact_id: str) -> Fact:
        try:
            fact = self.by_id[fact_id]
        except KeyError:
            raise FactError(f"no fact {fact_id!r} on file") from None
        self.read[fact_id] = None
        return fact

    def value(self, fact_id: str) -> float:
        """The fact's value (the middle of a range), in the fact's own unit."""
        return self[fact_id].value

    def span(self, fact_id: str) -> tuple[float, float]:
        """Low and high of the fact."""
        return self[fact_id].span

    def under(self, prefix: str) -> dict[str, Fact]:
        """Facts whose id begins with `prefix` and a dot, by the rest of the id; all count as read."""
        found = {i[len(prefix) + 1 :]: self[i] for i in self.by_id if i.startswith(prefix + ".")}
        if not found:
            raise FactError(f"no facts under {prefix!r}")
        return found

    def choose(self, choice_id: str, key: str | None = None) -> tuple[str, Fact]:
        """The publisher followed and its fact; `key` overrules the district for this once."""
        try:
            choice = self.choices[choice_id]
        except KeyError:
            raise FactError(f"no choice {choice_id!r} on file") from None
        picked = key or self.chosen.get(choice_id, choice.default)
        if picked not in choice.among:
            raise FactError(f"choice {choice_id}: {picked!r} is not on file; expected one of {', '.join(choice.among)}")
        return picked, self[choice.among[picked]]

    def cited(self) -> list[dict[str, str]]:
        """Sources of every fact read so far, in order of first use."""
        return [self.by_id[i].source() for i in self.read]


def _package_files() -> Iterator[tuple[str, Path]]:
    for path in sorted(Path(__file__).parent.glob("*/facts/*.toml")):
        yield path.parent.parent.name, path


def _leaves(table: dict[str, Any], prefix: str) -> Iterator[tuple[str, dict[str, Any]]]:
    for key, entry in table.items():
        name = f"{prefix}.{key}" if prefix else key
        if not isinstance(entry, dict):
            raise FactError(f"{name}: expected a table with unit, conditions, source and provenance")
        if "provenance" in entry or "source" in entry or "unit" in entry:
            yield name, entry
        else:
            yield from _leaves(entry, name)


def _number(entry: dict[str, Any], key: str, where: str) -> float:
    given = entry.get(key, math.nan)
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise FactError(f"{where}: {key} = {given!r}; expected a number")
    return float(given)


def fact_from(fact_id: str, entry: dict[str, Any], sources: dict[str, Any], where: str) -> Fact:
    """A fact from its TOML table. Raises FactError naming what is missing."""
    here = f"{where}: fact {fact_id}"
    for key in ("unit", "conditions", "source", "provenance"):
        if not isinstance(entry.get(key), str):
            raise FactError(f"{here} has no {key}; every fact states unit, conditions, source and provenance")
    if entry["provenance"] not in PROVENANCE:
        raise FactError(f"{here}: provenance {entry['provenance']!r}; expected one of {', '.join(PROVENANCE)}")
    named = sources.get(entry["source"])
    citation = named["citation"] if named else entry["source"]
    if not named and " " not in citation.strip():
        raise FactError(f"{here}: source {citation!r} is neither under [sources] nor a citation")
    if not citation.strip():
        raise FactError(f"{here} has an empty source")
    low, mid, high = (_number(entry, key, here) for key in ("low", "mid", "high"))
    if "value" in entry:
        low = mid = high = _number(entry, "value", here)
    elif math.isnan(mid):
        mid = (low + high) / 2
    columns, rows = tuple(entry.get("columns", ())), tuple(tuple(r) for r in entry.get("rows", ()))
    if any(len(row) != len(columns) for row in rows):
        raise FactError(f"{here}: a row does not have {len(columns)} cells")
    if math.isnan(mid) and not rows and not entry.get("text"):
        raise FactError(f"{here} has neither value, range, rows nor text")
    if not math.isnan(mid) and not low <= mid <= high:
        raise FactError(f"{here}: low {low}, mid {mid}, high {high} are out of order")
    return Fact(
        id=fact_id, unit=entry["unit"], conditions=entry["conditions"], citation=citation,
        address=(named or {}).get("address", ""), provenance=entry["provenance"], low=low, mid=mid, high=high,
        text=entry.get("text", ""), columns=columns, rows=rows,
    )  # fmt: skip


def parse_file(room: str, path: Path) -> tuple[dict[str, Fact], dict[str, Choice]]:
    """Facts and choices of one file, ids led by the room's name."""
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FactError(f"{path.name}: not readable as TOML ({error})") from None
    sources, choices = tables.pop("sources", {}), tables.pop("choices", {})
    facts = {
        f"{room}/{name}": fact_from(f"{room}/{name}", entry, sources, path.name) for name, entry in _leaves(tables, "")
    }
    picked = {}
    for key, entry in choices.items():
        among = {k: f"{room}/{v}" for k, v in entry["among"].items()}
        picked[f"{room}/{key}"] = Choice(f"{room}/{key}", entry["about"], among, entry["default"])
    return facts, picked


@lru_cache(maxsize=1)
def _published() -> tuple[dict[str, Fact], dict[str, Choice]]:
    facts: dict[str, Fact] = {}
    choices: dict[str, Choice] = {}
    for room, path in _package_files():
        new_facts, new_choices = parse_file(room, path)
        for fact_id in new_facts:
            if fact_id in facts:
                raise FactError(f"{path.name}: fact {fact_id} stands in another file already")
        facts |= new_facts
        choices |= new_choices
    for choice in choices.values():
        for key, fact_id in choice.among.items():
            if fact_id not in facts:
                raise FactError(f"choice {choice.id}: {key} names {fact_id}, which is not on file")
        if choice.default not in choice.among:
            raise FactError(f"choice {choice.id}: default {choice.default!r} is not among its keys")
    return facts, choices


def load(district: Path | None = None) -> Facts:
    """All published facts, with the district's choices, overrides and settings applied.

    Raises
    ------
    FactError : malformed file, unknown fact or choice, or an override without source and provenance
    """
    facts, choices = _published()
    if district is None:
        return Facts(facts, choices)
    try:
        tables = tomllib.loads(district.read_text(encoding="utf-8"))
    except (OSError, tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise FactError(f"district file {district.name}: cannot be read ({error}); expected TOML") from None
    changed = dict(facts)
    for fact_id, entry in tables.get("override", {}).items():
        if fact_id not in facts:
            raise FactError(f"district file {district.name}: override of {fact_id!r}, which is not on file")
        old = facts[fact_id]
        merged = {"unit": old.unit, "conditions": old.conditions, **entry}
        if merged["unit"] != old.unit:
            raise FactError(f"district file {district.name}: {fact_id} is kept in {old.unit}, not {merged['unit']}")
        changed[fact_id] = replace(fact_from(fact_id, merged, {}, district.name), overridden=True)
    chosen = dict(tables.get("choose", {}))
    for choice_id, key in chosen.items():
        if choice_id not in choices or key not in choices[choice_id].among:
            raise FactError(f"district file {district.name}: choose {choice_id} = {key!r} is not on file")
    settings = {k: str(v) for k, v in tables.get("settings", {}).items()}
    return Facts(changed, choices, chosen, settings)


def missing_sources(facts: Iterable[Fact]) -> list[str]:
    """Ids of facts that lack a source or a provenance (none, if the loader did its work)."""
    return [f.id for f in facts if not f.citation.strip() or f.provenance not in PROVENANCE]
