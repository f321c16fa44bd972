"""A small invented district for the ledger's tests."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

from sideoats.ledger import NewEntry

ZONE = timezone(timedelta(hours=-6))


def at(day: str, hour: int = 9) -> datetime:
    """An hour of a day at six hours behind UTC."""
    return datetime.fromisoformat(day).replace(hour=hour, tzinfo=ZONE)


def farm(farm_id: str = "two-elms", name: str = "Two Elms", **more: object) -> NewEntry:
    return NewEntry("farm", {"name": name, **more}, farm=farm_id, seen_at=at("2026-01-02"))


def place(place_id: str, kind: str = "field", owner: str | None = "two-elms", **more: object) -> NewEntry:
    body = {"name": place_id.replace("-", " "), "kind": kind, **more}
    return NewEntry("place", body, place=place_id, farm=owner, seen_at=at("2026-01-02"))


def note(text: str, place_id: str | None = "north", day: str = "2026-06-01", **more: object) -> NewEntry:
    return NewEntry("note", {"text": text}, place=place_id, seen_at=at(day), **more)  # type: ignore[arg-type]


def start() -> list[NewEntry]:
    """A farm with a field and a pen, a market and a station of no farm."""
    return [
        farm(),
        place("north", acres="80 ac", crop="grain sorghum"),
        place("pen-1", "pen", head=120),
        place("elevator", "market", None),
        place("ridge", "station", None),
    ]
