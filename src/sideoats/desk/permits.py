"""Who may record what: one rule for every way into the desk, from what each evidence kind says of itself.

A kind names the roles that may record it and the doors it may come by (`sideoats.ledger.evidence`). An account for some
farms records only what belongs to one of them. The command line is not asked: whoever runs it has the file itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sideoats.errors import InputError
from sideoats.ledger import EvidenceKind, NewEntry, evidence_kinds

if TYPE_CHECKING:
    from sideoats.desk.accounts import Person
    from sideoats.desk.state import Desk


def open_to(person: Person, *doors: str) -> dict[str, EvidenceKind]:
    """Kinds that the person's role may record by one of these doors."""
    return {k: kind for k, kind in evidence_kinds().items() if person.role in kind.roles and {*doors} & {*kind.doors}}


def check(desk: Desk, person: Person, door: str, new: NewEntry) -> None:
    """Refuse an entry that the person may not record by this door. Raises InputError with one line."""
    if new.kind not in open_to(person, door):
        raise InputError(f"{new.kind[:60]!r} is not entered by this account here", where="kind")
    _check_farms(desk, person, new.place, new.farm, describes=new.kind == "place")
    if new.corrects:
        old = desk.ledger.get(new.corrects)
        if old is None:
            return  # the ledger says so in its own words
        if old.kind not in open_to(person, "phone", "form", "page"):
            raise InputError(f"{old.kind[:60]!r} is not corrected by this account", where="corrects")
        _check_farms(desk, person, old.place, old.farm, describes=False)


def _check_farms(desk: Desk, person: Person, place: str | None, farm: str | None, *, describes: bool) -> None:
    """An account for some farms stays inside them: the place as it stands, and the farm it would come to."""
    if not person.farms:
        return
    known = desk.places(None).get(place or "")
    owners = {known.farm if known else None} if place and (known or not describes) else set()
    if farm or describes or not place:
        owners.add(farm)
    if not owners <= set(person.farms):
        raise InputError("does not belong to a farm of this account", where="place" if place else "farm")
