"""What the week did not ask of a place, and why: the season, something not on file, or no question about its crop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from sideoats.question import Context, Question, Table, parts
from sideoats.replies import READER
from sideoats.schema import Field
from sideoats.week.gather import chosen_places
from sideoats.words import Reader

if TYPE_CHECKING:
    from sideoats.ledger import Place

_MOST_TOLD = 4
_SILENT = ("station", "market")  # kinds of place of which nothing is ever asked


@dataclass(frozen=True)
class Unasked:
    """A question that was not asked of a place.

    Attributes
    ----------
    question : "" where it is about the place as a whole
    needs : what is not on file and would let it be asked; empty where it is out of season whatever is on file
    why : the same as a sentence
    """

    place: str
    question: str
    needs: tuple[str, ...]
    why: str


class _Noted(dict[str, Any]):
    """Columns that note which of them are read."""

    def __init__(self, columns: Mapping[str, Any]) -> None:
        super().__init__(columns)
        self.read: dict[str, None] = {}

    def __getitem__(self, name: str) -> Any:
        self.read[name] = None
        return super().__getitem__(name)


def out_of_season(question: Question, table: Table, context: Context) -> list[Unasked]:
    """Why the rows of a table, all of them left out by the question's season, were left out.

    A question says in one test whether it makes sense today, so what that test reads and the row does not have may be
    what keeps it from being asked.
    """
    if question.in_season is None:
        return []
    fields = {f.name: f for f in question.inputs}
    found = []
    for rows, here in parts(table, context):
        part = table.take(rows)
        noted = _Noted(part.columns)
        question.in_season(replace(part, columns=noted), here.fresh())
        for row, key in enumerate(part.keys):
            needs = tuple(_named(fields[n]) for n in noted.read if n in fields and not part.known(n)[row])
            lack = ", ".join(needs[:_MOST_TOLD]) + (f" or {len(needs) - _MOST_TOLD} more" if needs[_MOST_TOLD:] else "")
            why = f"needs {lack}, unless it is out of season" if needs else "not in season"
            found.append(Unasked(key, question.name, needs, why))
    return found


def by_crop(places: Sequence[Place], questions: Sequence[Question]) -> list[Unasked]:
    """Places that no question about crops is about: they name no crop, or one that none of their kind is about."""
    found = []
    for place in places:
        about = [q for q in questions if q.places and (not q.places.kinds or place.kind in q.places.kinds)]
        going_by_crop = [q for q in about if q.places and q.places.crops]
        crop = str(place.attributes.get("crop", ""))
        if place.kind in _SILENT or any(chosen_places(q, [place]) for q in going_by_crop):
            continue
        if going_by_crop and not crop:
            why = f"no crop is on file, and {len(going_by_crop)} questions about a {place.kind} go by it"
            found.append(Unasked(place.id, "", ("crop (place crop)",), why))
        elif going_by_crop or not about:
            found.append(Unasked(place.id, "", (), f"no question is about a {place.kind}" + f" of {crop}" * bool(crop)))
    return found


def _named(field: Field) -> str:
    """A field in words, with the kind of evidence and the name under which it is recorded."""
    for source in field.found_in:
        where, _, what = source.partition(":")
        if where in ("evidence", "place", "history"):
            return f"{field.name.replace('_', ' ')} ({what.replace('.', ' ') if where != 'place' else f'place {what}'})"
    return field.name.replace("_", " ")


def shown(unasked: Sequence[Unasked], called: set[str], everything: bool, reader: Reader = READER) -> list[str]:
    """Lines for a terminal: places that got no call at all, then how much else was not asked (all of it if wanted)."""
    from sideoats.words.texts import translated

    by_place: dict[str, list[Unasked]] = {}
    for item in unasked:
        if item.needs or not item.question:
            by_place.setdefault(item.place, []).append(item)
    lines, rest = [], 0
    for place, items in sorted(by_place.items()):
        if place in called and not everything:
            rest += len(items)
            continue
        why = [(i.question, translated(i.why, reader)) for i in items]
        told = "; ".join(f"{question}: {said}" if question else said for question, said in why)
        lines.append(f"{translated(f'Not asked yet, {place}', reader)}: {told}.")
    if rest:
        lines.append(
            translated(
                f"{rest} more questions were not asked: out of season, or for want of something; --all lists them.",
                reader,
            )
        )
    return lines
