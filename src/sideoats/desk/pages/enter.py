"""Enter: the page that a phone keeps. Its shell holds nothing about anyone; places and stop lines come as data."""

from __future__ import annotations

import hashlib
import threading
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.responses import Response

from sideoats.desk.forms import label_of, units_for
from sideoats.desk.outlines import for_phone
from sideoats.desk.pages.by_hand import kinds_by_hand, typed_fields
from sideoats.desk.shown import STATIC, asset
from sideoats.desk.visit import OPEN, RECORD, Page, Visit
from sideoats.ledger.evidence import QuantityField
from sideoats.schema import Field
from sideoats.week.stop_lines import stop_lines

SHELL_FILES = (
    "desk.css",
    "enter.css",
    "enter.js",
    "queue.js",
    "tally.js",
    "position.js",
    "mark.svg",
    "icon.svg",
    "icon.png",
)
_NOT_IN_FIELD = frozenset({"place", "farm", "quote", "setting"})
_lock = threading.Lock()


def shell(visit: Visit) -> Response:
    """The page itself, the same for everyone."""
    return visit.page("enter.html", version=version())


@lru_cache(maxsize=4)
def _version_of(stamp: tuple[float, ...]) -> str:
    templates = Path(__file__).parents[1] / "templates"
    total = hashlib.sha256()
    for path in [*(STATIC / name for name in SHELL_FILES), templates / "enter.html", templates / "worker.js"]:
        total.update(path.read_bytes())
    return total.hexdigest()[:12]


def version() -> str:
    """Changes whenever any file of the shell does."""
    return _version_of(tuple((STATIC / name).stat().st_mtime for name in SHELL_FILES))


def worker(visit: Visit) -> Response:
    """The script that keeps the shell on the phone, for addresses under /enter/ only."""
    files = ["/enter/", *(asset(name) for name in SHELL_FILES)]
    text = visit.desk.templates.get_template("worker.js").render(version=version(), files=files)
    return Response(text, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


def manifest(visit: Visit) -> Response:
    """What a phone needs to put the page on its home screen."""
    content = {
        "name": "Sideoats: enter", "short_name": "Enter", "start_url": "/enter/", "scope": "/enter/",
        "display": "standalone",
        "background_color": "#fbf9f3", "theme_color": "#fbf9f3", "lang": "en",
        "icons": [
            {"src": asset("icon.png"), "sizes": "192x192", "type": "image/png"},
            {"src": asset("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
        ],
    }  # fmt: skip
    response = visit.json(content)
    response.headers["Content-Type"] = "application/manifest+json"
    return response


def _field(f: Field) -> dict[str, Any]:
    """A field as the phone's form needs it."""
    units = f.units if isinstance(f, QuantityField) else units_for(f.unit) if f.kind in ("number", "numbers") else ()
    out: dict[str, Any] = {"name": f.name, "label": label_of(f), "kind": f.kind, "help": f.help}
    if f.required:
        out["required"] = True
    if f.choices:
        out["choices"] = list(f.choices)
    if units:
        out["units"] = list(units)
    for key in ("low", "high"):
        bound = getattr(f, key)
        if f.kind == "number" and abs(bound) != float("inf"):
            out[key] = bound
    if f.unit not in ("", "1"):
        out["unit"] = f.unit
    return out


def _unit_noun(title: str, help_text: str) -> str:
    """What is counted one by one: leaf, head, stem, foot of row."""
    import re

    twice = re.search(r"(\w+) by \1\b", title.lower())
    if twice:
        return twice.group(1)
    each = re.search(r"each (?:of the same )?(foot of row|row-foot|\w+)", help_text.lower())
    return each.group(1) if each else "sample"


def data(visit: Visit) -> Response:
    """Places, kinds of evidence and stop lines, for the phone to keep."""
    kinds = []
    for name, kind in kinds_by_hand().items():
        if name in _NOT_IN_FIELD:
            continue
        fields = [f for f in typed_fields(kind) if f.kind not in ("records", "series")]
        if any(f.kind in ("records", "series") and f.required for f in kind.fields.values()):
            continue
        nouns = {f.name: _unit_noun(kind.title, f.help) for f in fields if f.kind == "counts"}
        kinds.append(
            {"name": name, "title": kind.title, "places": list(kind.places), "fields": [_field(f) for f in fields],
             "nouns": nouns}
        )  # fmt: skip
    places = [p for p in visit.desk.places(visit.person).values() if not p.attributes.get("closed")]
    seen = {p.id for p in places}
    return visit.json(
        {
            "version": version(), "me": visit.who.name, "day": _fixed_day(visit), "office": visit.desk.settings.office,
            "farms": {k: f.name for k, f in visit.desk.farms(visit.person).items()}, "places": for_phone(places),
            "kinds": kinds, "lines": [line for line in _lines(visit) if line["place"] in seen],
        }
    )  # fmt: skip


def _fixed_day(visit: Visit) -> str | None:
    """The day that this desk was told to speak of, so that what is entered in a demonstration belongs to its season."""
    day = visit.desk.settings.day
    return day.isoformat() if day else None


def _lines(visit: Visit) -> list[dict[str, Any]]:
    """Stop lines of the day, worked out once for each state of the ledger."""
    desk = visit.desk
    key = (desk.settings.today(), desk.evidence_head())
    with _lock:
        known = desk.kept_lines
        if known is None or known[0] != key:
            known = desk.kept_lines = (key, stop_lines(desk.districts.on(key[0])))
    return known[1]


def without_slash(visit: Visit) -> Response:
    """The address as people type it."""
    return visit.go("/enter/")


PAGES = (
    Page("/enter", RECORD, without_slash),
    Page("/enter/", RECORD, shell),
    Page("/enter/data.json", RECORD, data),
    Page("/enter/worker.js", OPEN, worker),
    Page("/enter/manifest.json", OPEN, manifest),
)
