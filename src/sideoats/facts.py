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

    [tetany.ratio]
    milder = "higher"                           # a hazard line: which way of moving it lets more through
    ...

    [choices.wheat_aphid_threshold]             # rival tables side by side: "insects/wheat_aphid_threshold"
    about = "aphids per stem at which control pays"
    among = { nebraska = "wheat_aphid.threshold.nebraska", kansas = "wheat_aphid.threshold.kansas" }
    default = "nebraska"

A district file (TOML) may hold ``[choose]`` (choice id = key), ``[override."fact id"]`` (the same keys as a fact, with
its own source and provenance) and ``[settings]`` (prices, costs and the like, as text with units).

A fact that keeps people or animals from harm says which way is ``milder``: "higher" or "lower" (a number or range),
"wider" (a range), "fewer" (a list of words) or "any" (whatever is changed), or a table by column, ``{ from = "higher"
}``, whose other columns count as "any". An override may move it the other way only. One that is milder must say
``loosen = true`` and its ``reason``, and then stands in the headline of every call that read it, beside the figure as
shipped.

A source may have a ``name``, by which sentences call its publisher; an override is called by its own source (or its
own ``publisher``), so that nobody is quoted for a number that is not his.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats import shipped
from sideoats.errors import FactError
from sideoats.records import dataclass
from sideoats.region import DEFAULT as DEFAULT_REGION
from sideoats.region import Region
from sideoats.region import load as load_region
from sideoats.words import Said, say
from sideoats.words.home import district_reader

PROVENANCE = ("read", "derived", "memory", "practice")
MILDER = ("higher", "lower", "wider", "fewer", "any")
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
    publisher: str = ""
    milder: Mapping[str, str] = field(default_factory=dict)
    shipped: Fact | None = None  # these two only of a district's own
    reason: str = ""

    @property
    def overridden(self) -> bool:
        """True where the district set it."""
        return self.shipped is not None

    @property
    def loosened(self) -> bool:
        """True where the district's hazard line lets more through than the one shipped."""
        return self.shipped is not None and looser(self, self.shipped)

    @property
    def title(self) -> str:
        """The fact in words, without its room; a table under a publisher's key goes by what the table is of."""
        parts = self.id.partition("/")[2].split(".")
        return " ".join(parts[:1] if parts[0].endswith("_class") else parts).replace("_", " ")

    def loosening(self) -> dict[str, str]:
        """What the district loosened, the figure as shipped, why, and on whose word: the parts of a sentence."""
        assert self.shipped is not None
        mine, old = differing(self, self.shipped)
        return {"line": self.title, "mine": mine, "shipped": old, "reason": self.reason, "source": self.citation}

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


_STORED = tuple(Fact.__dataclass_fields__)[:-2]  # of a fact that no district has set


def _milder(new: Any, old: Any, way: str) -> bool:
    """True where one cell lets more through than the other, or the two cannot be compared."""
    if way == "fewer":
        return not set(str(old).split()) <= set(str(new).split())
    numbers = all(isinstance(v, int | float) for v in (new, old))
    if way == "any" or not numbers or math.isnan(new) or math.isnan(old):
        return bool(new != old and not (numbers and math.isnan(new) and math.isnan(old)))
    return bool(new > old if way == "higher" else new < old)


def _cells(fact: Fact) -> list[tuple[str, Any]]:
    """What an override can change, each with the column it stands in ("" outside a table)."""
    if fact.rows:
        return [(name, cell) for row in fact.rows for name, cell in zip(fact.columns, row, strict=True)]
    return [("", fact.text)] if fact.text else [("", fact.low), ("", fact.mid), ("", fact.high)]


def looser(new: Fact, old: Fact) -> bool:
    """True where `new` lets more through than the hazard line `old`, or cannot be compared with it."""
    if not old.milder:
        return False
    if old.milder.get("") == "wider":
        return new.low < old.low or new.high > old.high
    mine, shipped = _cells(new), _cells(old)
    if len(mine) != len(shipped):
        return True
    pairs = zip(mine, shipped, strict=True)
    return any(_milder(a, b, old.milder.get(name, "any")) for (name, a), (_, b) in pairs)


_MOST_CELLS = 4  # of a table that are named in a sentence


def differing(new: Fact, old: Fact) -> tuple[str, str]:
    """The figures in which two facts of one shape differ, as text: of the new one, of the old one."""
    mine, shipped = _cells(new), _cells(old)
    if new.text or len(mine) != len(shipped):
        return (new.text or f"{len(new.rows)} rows"), (old.text or f"{len(old.rows)} rows")
    apart = [at for at, pair in enumerate(zip(mine, shipped, strict=True)) if _milder(pair[0][1], pair[1][1], "any")]
    mine_said, shipped_said = (_said(fact, cells, apart) for fact, cells in ((new, mine), (old, shipped)))
    return mine_said + ("" if new.rows else f" {new.unit}"), shipped_said


def _said(fact: Fact, cells: list[tuple[str, Any]], apart: list[int]) -> str:
    out = []
    for at in apart[:_MOST_CELLS]:
        name, value = cells[at]
        row = fact.rows[at // len(fact.columns)][0] if fact.rows else ""
        shown = value if isinstance(value, str) else f"{value:g}"
        out.append(" ".join(w for w in (row if isinstance(row, str) and row != value else "", name, shown) if w))
    more = [f"{len(apart) - _MOST_CELLS} more"] if len(apart) > _MOST_CELLS else []
    out = [words.replace("_", " ") for words in out]
    return ", ".join([*out, *more]) if fact.rows else " to ".join(dict.fromkeys(out))


@dataclass(frozen=True)
class Choice:
    """Rival facts under their publishers, one of which the district follows."""

    id: str
    about: str
    among: dict[str, str]
    default: str


@dataclass
class Facts:
    """All facts of the program as one district sees them; remembers which were read, so that a call can cite them.

    `nearby` is what the district's own counts say of its fields: (pest, place) -> mean and variance of the log of what
    a unit holds there by all other counts, and of how many other fields (`sideoats.week.pooled`).
    `strips` is what its treated and untreated strips say of a question's loss: the factor on the published one, its
    80 % interval, and of how many pairs (`sideoats.week.strips`).
    """

    by_id: Mapping[str, Fact]
    choices: dict[str, Choice]
    chosen: dict[str, str] = field(default_factory=dict)
    settings: dict[str, str] = field(default_factory=dict)
    region: Region = field(default_factory=load_region)
    read: dict[str, None] = field(default_factory=dict)
    nearby: Mapping[tuple[str, str], tuple[float, float, int]] = field(default_factory=dict)
    strips: Mapping[str, tuple[float, float, float, int]] = field(default_factory=dict)

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

    def loosenings(self, fact_ids: Iterable[str]) -> list[Said]:
        """The sentence ``fact.loosened`` for each of these facts that the district loosened."""
        found = (self.by_id.get(i) for i in dict.fromkeys(fact_ids))
        return [say("fact.loosened", **f.loosening()) for f in found if f is not None and f.loosened]

    def whose(self, choice_id: str, key: str) -> str:
        """The rival `key` of a choice for a sentence: by that key, or by the district's own source once overridden."""
        fact = self.by_id.get(self.choices[choice_id].among.get(key, ""))
        title = key.replace("_", " ").title() if key.islower() else key
        return fact.publisher if fact is not None and fact.overridden else title

    def by(self, fact_id: str) -> str:
        """Whose number it is, for a sentence: the publisher, or the district's own source once it is overridden."""
        return self.by_id[fact_id].publisher

    def cited(self) -> list[dict[str, str]]:
        """Sources of every fact read so far, in order of first use."""
        return [self.by_id[i].source() for i in self.read]


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
    ways = _ways(entry.get("milder", {}), columns, here)
    if math.isnan(mid) and not rows and not entry.get("text"):
        raise FactError(f"{here} has neither value, range, rows nor text")
    if not math.isnan(mid) and not low <= mid <= high:
        raise FactError(f"{here}: low {low}, mid {mid}, high {high} are out of order")
    return Fact(
        id=fact_id, unit=entry["unit"], conditions=entry["conditions"], citation=citation,
        address=(named or {}).get("address", ""), provenance=entry["provenance"], low=low, mid=mid, high=high,
        text=entry.get("text", ""), columns=columns, rows=rows, milder=ways,
        publisher=entry.get("publisher") or (named or {}).get("name") or citation.split(",")[0].split(" http")[0],
    )  # fmt: skip


def _ways(given: Any, columns: tuple[str, ...], here: str) -> dict[str, str]:
    """Which way is milder, by column ("" for what is no table)."""
    ways = dict(given) if isinstance(given, dict) else {"": given}
    for name, way in ways.items():
        if way not in MILDER or (name and name not in columns):
            raise FactError(
                f"{here}: milder {name} = {way!r}; expected one of {', '.join(MILDER)}, by column in a table"
            )
    return {name: ways[""] for name in columns} if columns and "" in ways else ways


def parse_file(room: str, path: Path) -> tuple[dict[str, Fact], dict[str, Choice]]:
    """Facts and choices of one file, ids led by the room's name."""
    try:
        tables = shipped.toml(path)
    except ValueError as error:
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


def _checked(path: Path) -> dict[str, Any]:
    """One file in machine form: its facts and choices as lists of their fields, checked once for all answers."""
    facts, choices = parse_file(path.parent.parent.name, path)
    return {
        "facts": [[getattr(fact, name) for name in _STORED] for fact in facts.values()],
        "choices": [[choice.id, choice.about, choice.among, choice.default] for choice in choices.values()],
    }


class Shelf(Mapping[str, Fact]):
    """Facts by id, each made of its row in the machine form when it is first taken: an answer reads thirty of 900."""

    def __init__(self, rows: Mapping[str, list[Any]], own: Mapping[str, Fact] | None = None) -> None:
        self._rows, self._made = rows, dict(own or {})

    def __getitem__(self, fact_id: str) -> Fact:
        if (found := self._made.get(fact_id)) is None:
            made = dict(zip(_STORED, self._rows[fact_id], strict=True))
            columns, rows = tuple(made["columns"]), tuple(map(tuple, made["rows"]))  # JSON made lists of them
            found = self._made[fact_id] = Fact(**made | {"columns": columns, "rows": rows})
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def __contains__(self, fact_id: object) -> bool:
        return fact_id in self._rows

    def set(self, own: Mapping[str, Fact]) -> Shelf:
        """The same facts with some more of them as a district sets them."""
        return Shelf(self._rows, {**{i: f for i, f in self._made.items() if f.overridden}, **own})


@lru_cache(maxsize=1)
def _published() -> tuple[Shelf, dict[str, Choice]]:
    rows: dict[str, list[Any]] = {}
    paths = sorted(Path(__file__).parent.glob("*/facts/*.toml"))
    files = shipped.read_once("facts", paths, _checked)
    for path, file in zip(paths, files, strict=True):
        for row in file["facts"]:
            if row[0] in rows:
                raise FactError(f"{path.name}: fact {row[0]} stands in another file already")
            rows[row[0]] = row
    choices = {row[0]: Choice(*row) for file in files for row in file["choices"]}
    for choice in choices.values():
        for key, fact_id in choice.among.items():
            if fact_id not in rows:
                raise FactError(f"choice {choice.id}: {key} names {fact_id}, which is not on file")
        if choice.default not in choice.among:
            raise FactError(f"choice {choice.id}: default {choice.default!r} is not among its keys")
    return Shelf(rows), choices


def _overridden(old: Fact, entry: Any) -> Fact:
    """The fact as the district sets it. Raises FactError: another unit or shape, or a hazard line loosened unsaid."""
    if not isinstance(entry, dict):
        raise FactError(f"override of {old.id}: expected a table with a value, its source and provenance")
    merged = {"unit": old.unit, "conditions": old.conditions, **entry, "milder": {}}
    if merged["unit"] != old.unit:
        raise FactError(f"{old.id} is kept in {old.unit}, not {merged['unit']}")
    new = fact_from(old.id, merged, {}, "override")
    if (new.columns, bool(new.text), bool(new.rows)) != (old.columns, bool(old.text), bool(old.rows)):
        shape = f"rows of {', '.join(old.columns)}" if old.rows else ("text" if old.text else "a value or a range")
        raise FactError(f"override of {old.id}: expected {shape}, as shipped")
    new = replace(new, milder=old.milder, shipped=old, reason=str(entry.get("reason", "")).strip(),
                  publisher=entry.get("publisher") or new.citation)  # fmt: skip
    if new.loosened and not (entry.get("loosen") is True and new.reason):
        mine, shipped = differing(new, old)
        raise FactError(
            f"override of {old.id}: {mine} lets more through than {shipped} as shipped, and a hazard line may only be"
            " tightened; if it must be, say loosen = true and a reason on that row: every call that rests on it then"
            " says so"
        )
    return new


def load(district: Path | None = None) -> Facts:
    """All published facts, with the district's choices, overrides and settings applied.

    Raises
    ------
    FactError : malformed file, unknown fact or choice, an override without source and provenance, or one that loosens
        a hazard line and does not say so
    """
    facts, choices = _published()
    if district is None:
        return Facts(facts, choices)
    try:
        tables = shipped.toml(district)
    except (OSError, ValueError) as error:
        raise FactError(f"district file {district.name}: cannot be read ({error}); expected TOML") from None
    changed: dict[str, Fact] = {}
    wrong = []
    for fact_id, entry in tables.get("override", {}).items():
        try:
            if fact_id not in facts:
                raise FactError(f"override of {fact_id!r}, which is not on file")
            changed[fact_id] = _overridden(facts[fact_id], entry)
        except FactError as error:
            wrong.append(str(error))
    if wrong:
        raise FactError(f"district file {district.name}: " + "; ".join(wrong))
    chosen = dict(tables.get("choose", {}))
    for choice_id, key in chosen.items():
        if choice_id not in choices or key not in choices[choice_id].among:
            raise FactError(f"district file {district.name}: choose {choice_id} = {key!r} is not on file")
    settings = {k: str(v) for k, v in tables.get("settings", {}).items()}
    region = load_region(str(tables.get("region", DEFAULT_REGION)), district.parent)
    district_reader(tables, district.name)  # a misspelt language is found by whatever reads the file first
    return Facts(facts.set(changed), choices, chosen, settings, region=region)
