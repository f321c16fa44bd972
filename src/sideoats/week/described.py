"""Places that a file describes, laid over what the ledger knows of them: what the file does not say stays as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sideoats.intake.taken import Taken
    from sideoats.ledger import Ledger


def onto_known(taken: Taken, ledger: Ledger) -> Taken:
    """The file with the places that are known described anew as a whole; others, and other files, as they are."""
    if not taken.onto:
        return taken
    known = {p.id: p for p in ledger.places()}
    drafts = []
    for item in taken.drafts:
        place = known.get(item.place or "") if item.kind == "place" else None
        if place is not None:
            before: Mapping[str, Any] = {"name": place.name, "kind": place.kind, **place.attributes}
            item = replace(item, body={**before, **item.body}, farm=item.farm or place.farm or None)
        drafts.append(item)
    return replace(taken, drafts=tuple(drafts))
