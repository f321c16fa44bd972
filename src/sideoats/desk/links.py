"""The desk's own table of contents, and the door to the bulletin."""

from __future__ import annotations

from dataclasses import dataclass

from sideoats.desk.accounts import Person
from sideoats.desk.visit import ADVISE, ASK, GOVERN, GRANTS, READ, RECORD


@dataclass(frozen=True)
class Link:
    """One line of the contents."""

    path: str
    word: str
    permission: str


_MENU = (
    Link("/", "This week", READ),
    Link("/phone-in", "Phone-in", ASK),
    Link("/enter/", "Enter", RECORD),
    Link("/places", "Places", READ),
    Link("/round", "Round", READ),
    Link("/weather", "Weather", READ),
    Link("/markets", "Markets", READ),
    Link("/trials", "Trials", READ),
    Link("/done", "Done", READ),
    Link("/files", "Files", ADVISE),
    Link("/bulletin", "Bulletin", READ),
)
_OFFICE = (Link("/people", "People", GOVERN), Link("/audit", "Audit", GOVERN))


def menu(person: Person | None) -> tuple[Link, ...]:
    """The pages that a person may open."""
    if person is None:
        return ()
    return tuple(link for link in _MENU if link.permission in GRANTS[person.role])


def office_menu(person: Person | None) -> tuple[Link, ...]:
    """Pages about the office itself."""
    return tuple(link for link in _OFFICE if person and link.permission in GRANTS[person.role])
