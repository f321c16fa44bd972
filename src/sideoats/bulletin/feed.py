"""The edition as an Atom feed (RFC 4287): hazards first, then a story an entry; equal editions have equal ids."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, time
from xml.etree import ElementTree

from sideoats.bulletin.public import Bulletin
from sideoats.bulletin.words import Words
from sideoats.words import Name, Reader, say, sentence

ATOM = "http://www.w3.org/2005/Atom"
_NAMESPACE = uuid.UUID("8a0c1f7e-5d0a-5c59-9f43-1f1f2f0f9b52")


def feed(bulletin: Bulletin, words: Words) -> bytes:
    """The feed as UTF-8 XML; equal editions give equal bytes."""
    ElementTree.register_namespace("", ATOM)
    updated = datetime.combine(bulletin.on, time(12), tzinfo=UTC).isoformat()
    root = ElementTree.Element(f"{{{ATOM}}}feed", {"xml:lang": bulletin.language})

    def add(parent: ElementTree.Element, name: str, text: str, **attributes: str) -> ElementTree.Element:
        child = ElementTree.SubElement(parent, f"{{{ATOM}}}{name}", attributes)
        child.text = "".join(c for c in text if c.isprintable() or c in "\n\t")
        return child

    def entry(key: str, title: str, text: str) -> None:
        found = ElementTree.SubElement(root, f"{{{ATOM}}}entry")
        add(found, "id", _id(f"{bulletin.district}|{bulletin.language}|{bulletin.on}|{key}"))
        add(found, "title", title)
        add(found, "updated", updated)
        add(found, "content", text, type="text")

    title = sentence(say("edition.feed.title", district=Name(bulletin.district)), Reader(words.language))
    add(root, "id", _id(f"{bulletin.district}|{bulletin.language}"))
    add(root, "title", title)
    add(root, "updated", updated)
    add(ElementTree.SubElement(root, f"{{{ATOM}}}author"), "name", bulletin.district)
    stop = words.verdict("stop").upper()
    for at, hazard in enumerate(bulletin.hazards):
        entry(f"hazard {at}", f"{stop}: {hazard}", f"{stop}: {hazard}")
    for story in bulletin.stories:
        entry(story.key, story.headline, f"{story.text} {story.caution} {story.source}")
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _id(text: str) -> str:
    return f"urn:uuid:{uuid.uuid5(_NAMESPACE, text)}"
