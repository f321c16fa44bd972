"""The desk's own table of contents, and the door to the bulletin."""

from __future__ import annotations

from dataclasses import dataclass

from sideoats.desk import tongue
from sideoats.desk.accounts import Person
from sideoats.desk.grants import ADVISE, ASK, GOVERN, GRANTS, READ, RECORD


@dataclass(frozen=True)
class Link:
    """One line of the contents."""

    path: str
    code: str
    permission: str

    @property
    def word(self) -> str:
        """What it is called in the reader's language."""
        return tongue.plain(f"menu.{self.code}")


_MENU = (
    Link("/", "week", READ),
    Link("/phone-in", "phone_in", ASK),
    Link("/enter/", "enter", RECORD),
    Link("/places", "places", READ),
    Link("/round", "round", READ),
    Link("/weather", "weather", READ),
    Link("/markets", "markets", READ),
    Link("/trials", "trials", READ),
    Link("/done", "done", READ),
    Link("/files", "files", ADVISE),
    Link("/bulletin", "bulletin", READ),
    Link("/letters", "letters", READ),
)
_OFFICE = (Link("/people", "people", GOVERN), Link("/audit", "audit", GOVERN))


def menu(person: Person | None) -> tuple[Link, ...]:
    """The pages that a person may open."""
    if person is None:
        return ()
    return tuple(link for link in _MENU if link.permission in GRANTS[person.role])


def office_menu(person: Person | None) -> tuple[Link, ...]:
    """Pages about the office itself."""
    return tuple(link for link in _OFFICE if person and link.permission in GRANTS[person.role])
