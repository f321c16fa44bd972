"""Enter: the page that a phone keeps. Its shell holds nothing about anyone; places and stop lines come as data."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from starlette.responses import Response

from sideoats.bulletin.field_card import forecast_said
from sideoats.desk import permits, tongue
from sideoats.desk.forms import label_of, units_for
from sideoats.desk.grants import OPEN, RECORD
from sideoats.desk.pages.by_hand import kinds_by_hand, typed_fields
from sideoats.desk.shown import STATIC, asset
from sideoats.desk.visit import Page, Visit
from sideoats.ledger.evidence import QuantityField
from sideoats.schema import Field
from sideoats.week.outlines import for_phone
from sideoats.words import Reader, Said, Term, languages, say, sentence

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


def shell(visit: Visit) -> Response:
    """The page itself, the same for everyone."""
    return visit.page("enter.html", version=version(), words=tongue.all_of("phone"))


@lru_cache(maxsize=4)
def _version_of(stamp: tuple[float, ...]) -> str:
    templates = Path(__file__).parents[1] / "templates"
    total = hashlib.sha256()
    for path in [*(STATIC / name for name in SHELL_FILES), templates / "enter.html", templates / "worker.js"]:
        total.update(path.read_bytes())
    total.update(json.dumps(tongue.all_of("phone"), sort_keys=True).encode())
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
    title = tongue.plain("phone.title")
    content = {
        "name": f"Sideoats: {title.lower()}", "short_name": title, "start_url": "/enter/", "scope": "/enter/",
        "display": "standalone",
        "background_color": "#fbf9f3", "theme_color": "#fbf9f3", "lang": tongue.reader().language,
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


def _said(kinds: list[dict[str, Any]], places: list[Any]) -> dict[str, dict[str, dict[str, str]]]:
    """What kinds, fields, choices and units are called in every language but English, as far as there are words."""
    fields = [f for kind in kinds for f in kind["fields"]]
    words = {c for f in fields for c in f.get("choices", ())}
    words |= {w for p in places for w in (p.kind, str(p.attributes.get("crop", ""))) if w}
    asked = {
        "kinds": {k["name"]: f"kind.{k['name']}" for k in kinds}, 
        "labels": {f["name"]: f"label.{f['name']}" for f in fields},
        "terms": {w: f"term.{w}" for w in words},
        "units": {u: f"term.unit.{u}" for f in fields for u in f.get("units", ())},
    }  # fmt: skip
    return {
        language: {of: tongue.named_in(language, codes) for of, codes in asked.items()}
        for language, _ in tongue.choices()
        if language != "en"
    }


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
    tongue.read_by(Reader())  # the phone keeps the English and, beside it, the words of every other language
    kinds = []
    phoned = permits.open_to(visit.who, "phone")
    for name, kind in kinds_by_hand(visit.who).items():
        if name not in phoned:
            continue
        fields = [f for f in typed_fields(kind) if f.kind not in ("records", "series")]
        if any(f.kind in ("records", "series") and f.required for f in kind.fields.values()):
            continue
        nouns = {f.name: _unit_noun(kind.title, f.help) for f in fields if f.kind == "counts"}
        kinds.append(
            {
                "name": name,
                "title": kind.title,
                "places": list(kind.places),
                "fields": [_field(f) for f in fields],
                "nouns": nouns,
            }
        )
    own = visit.who.farms  # an account for some farms records at their places only
    places = [
        p
        for p in visit.desk.places(visit.person).values()
        if not p.attributes.get("closed") and (not own or p.farm in own)
    ]
    seen = {p.id for p in places}
    return visit.json(
        {
            "version": version(),
            "me": visit.who.name,
            "day": _fixed_day(visit),
            "office": visit.desk.settings.office,
            "farms": {k: f.name for k, f in visit.desk.farms(visit.person).items()},
            "places": for_phone(places),
            "kinds": kinds,
            "said": _said(kinds, places),
            "notes": _notes(visit, seen),
            "lines": [line for line in visit.desk.stop_lines(visit.desk.settings.today()) if line["place"] in seen],
        }
    )


def _notes(visit: Visit, seen: set[str]) -> dict[str, dict[str, list[str]]]:
    """Place -> language -> what is to be sprayed there in one pass, and what it likely holds where nobody counted.

    Only from a week that is worked out already: a phone that opens in a field does not wait for one.
    """
    day = visit.desk.settings.today()
    asked = visit.desk.weeks.ready(day)
    if asked is None:
        return {}
    told: dict[str, list[Said]] = {}
    for made in getattr(asked.week, "passes", ()):
        told.setdefault(made.place, []).append(made.line())
    for found in visit.desk.forecasts(day):
        told.setdefault(found.place, []).append(
            say("forecast.of", pest=Term(found.question, of="pest"), said=forecast_said(found))
        )
    return {
        place: {one: [sentence(each, Reader(language=one)) for each in rows] for one in languages()}
        for place, rows in told.items()
        if place in seen
    }


def _fixed_day(visit: Visit) -> str | None:
    """The day that this desk was told to speak of, so that what is entered in a demonstration belongs to its season."""
    day = visit.desk.settings.day
    return day.isoformat() if day else None


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
