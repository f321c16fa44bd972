"""The vocabulary's files, read and put together; what an entry means is made of it by whoever needs it.

Each file holds groups of observables. A group with a title is a kind of evidence; a file adds to a group of another
file by giving only ``[group.fields.name]``::

    [leaf_counts]
    title = "Aphids counted leaf by leaf"
    places = ["field"]            # kinds of place it may be recorded at; left out: anywhere, a place is not needed
    roles = ["adviser", "scout"]  # accounts of an office that may record it; the command line may record anything
    doors = ["phone", "form", "file"]  # ways into the desk it may come by; "page" is a page of its own, such as Done
    topic = "commodity"           # optional: the field that keeps entries of one kind at one place apart
    formerly = ["leaf_tally"]     # names under which older ledgers hold it; they can still be typed
    fresh_days = 21               # older entries count as not known; a field may say otherwise
    [leaf_counts.fields.counts]   # the attributes of sideoats.schema.Field
    kind = "counts"
    help = "aphids on each leaf looked at"
    required = true               # of an entry; a question says itself what it needs
    [pasture_test.fields.class]
    like = "place.class"          # all that is said of that one, with what is said here on top
    help = "cattle on the wheat"

What is asked and is no evidence (prices, costs, options of a question) stands in ``asked.toml`` or ``asked_ROOM.toml``,
in the group ``asked`` or in one named after its question; there `found_in` may name settings and quotes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from sideoats import shipped
from sideoats.errors import VocabularyError
from sideoats.records import dataclass

DOORS = ("phone", "form", "file", "page")
_FOLDER = Path(__file__).parent
_LISTS = ("crops", "ranges")  # lists of words and of likely figures, which have readers of their own
_ASKED = "asked"
_GROUP = ("title", "places", "topic", "roles", "doors", "fields", "history_days", "fresh_days", "formerly")


@dataclass(frozen=True)
class Kind:
    """One group of observables as its files have it: `fields` maps a name to attributes, `files` to the file."""

    name: str
    title: str = ""
    places: tuple[str, ...] = ()
    topic: str = ""
    history_days: int = 0
    roles: tuple[str, ...] = ()
    doors: tuple[str, ...] = ()
    fields: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)
    formerly: tuple[str, ...] = ()

    def where(self, name: str) -> str:
        """Where one of the fields stands, for messages."""
        return f"vocabulary {self.files.get(name, '')}, {self.name}"


def read_tables(paths: Iterable[Path]) -> dict[str, Kind]:
    """Every group of `paths`, by name. Raises VocabularyError naming the file and the group.

    A group without a title is refused unless it adds to one that has a title, or stands in a file of what is asked.
    """
    return _joined([(path, _parsed(path)) for path in sorted(paths)])


def _joined(files: Iterable[tuple[Path, dict[str, Any]]]) -> dict[str, Kind]:
    """Every group of files already parsed, by name."""
    kinds: dict[str, Kind] = {}
    added: list[tuple[str, Kind]] = []
    asked: set[str] = set()
    for path, tables in files:
        for name, table in tables.items():
            where = f"vocabulary {path.name}, {name}"
            kind = _kind(name, table, path.name)
            if "title" not in table:
                added.append((where, kind))
                asked |= {name} if path.stem.startswith(_ASKED) else set()
            elif name in kinds:
                raise VocabularyError(f"{where}: the kind is declared twice")
            else:
                kinds[name] = kind
    for where, kind in added:
        if kind.name not in kinds and kind.name not in asked:
            raise VocabularyError(f"{where}: a new kind needs a title")
        known = kinds.get(kind.name, Kind(kind.name))
        if twice := sorted(set(kind.fields) & set(known.fields)):
            raise VocabularyError(f"{where}: field {twice[0]} is declared twice")
        kinds[kind.name] = replace(known, fields={**known.fields, **kind.fields}, files={**known.files, **kind.files})
    return {name: replace(kind, fields=_alike(kind.fields, kinds, name)) for name, kind in kinds.items()}


def _parsed(path: Path) -> dict[str, Any]:
    try:
        return shipped.toml(path)
    except (OSError, ValueError) as error:
        raise VocabularyError(f"vocabulary {path.name}: {error}") from None


def _kind(name: str, table: Mapping[str, Any], file: str) -> Kind:
    where = f"vocabulary {file}, {name}"
    if wrong := sorted(set(table) - set(_GROUP)):
        raise VocabularyError(f"{where}: {wrong[0]!r} is not known; a kind has {', '.join(_GROUP)}")
    if wrong := sorted(set(table.get("doors", ())) - set(DOORS)):
        raise VocabularyError(f"{where}: door {wrong[0]!r} is not one of {', '.join(DOORS)}")
    usual = {"fresh_days": table["fresh_days"]} if "fresh_days" in table else {}
    fields = {k: {**usual, **f} if isinstance(f, dict) else f for k, f in table.get("fields", {}).items()}
    places, roles, doors = (tuple(table.get(key, ())) for key in ("places", "roles", "doors"))
    title, topic, days = table.get("title", ""), table.get("topic", ""), int(table.get("history_days", 0))
    formerly = tuple(table.get("formerly", ()))
    return Kind(name, title, places, topic, days, roles, doors, fields, dict.fromkeys(fields, file), formerly)


def _alike(fields: Mapping[str, Any], kinds: Mapping[str, Kind], where: str) -> dict[str, Any]:
    """`fields` with every ``like`` taken from the field that it names, in records too."""
    out = {}
    for name, attributes in fields.items():
        whole = dict(attributes)
        if (other := whole.pop("like", None)) is not None:
            kind, _, key = str(other).partition(".")
            known = kinds[kind].fields.get(key) if kind in kinds else None
            if known is None or "like" in known:
                raise VocabularyError(f"vocabulary, {where}.{name}: like {other!r}, which says nothing of its own")
            whole = {k: v for k, v in known.items() if k not in ("required", "fresh_days")} | whole
        if "fields" in whole:
            whole["fields"] = _alike(whole["fields"], kinds, f"{where}.{name}")
        out[name] = whole
    return out


@lru_cache(maxsize=1)
def everything() -> Mapping[str, Kind]:
    """All groups of observables of the program: evidence, and what is only asked."""
    paths = sorted(path for path in _FOLDER.glob("*.toml") if path.stem not in _LISTS)
    try:
        tables = shipped.tables("vocabulary", paths)
    except (OSError, ValueError):
        return read_tables(paths)  # which says of the file what is wrong with it
    return _joined(zip(paths, tables, strict=True))


@lru_cache(maxsize=1)
def evidence() -> Mapping[str, Kind]:
    """The kinds of evidence, by name."""
    return {name: kind for name, kind in everything().items() if kind.title}
