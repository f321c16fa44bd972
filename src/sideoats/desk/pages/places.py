"""Places: the map of the district, and the season of each place."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from datetime import date

import numpy as np
from starlette.responses import Response

from sideoats.call import VERDICTS, Call
from sideoats.crops import crop_of
from sideoats.desk import tongue
from sideoats.desk.grants import READ
from sideoats.desk.pages.weather import made
from sideoats.desk.pages.week import seen_calls
from sideoats.desk.seasons import season_picture, season_start
from sideoats.desk.shown import VERDICT_WORDS, plain_value, words
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.facts import Facts
from sideoats.ledger import Entry, Place
from sideoats.ledger.amending import told_changes
from sideoats.pictures import Event, Picture
from sideoats.schema import read_date
from sideoats.station import StationDays
from sideoats.week.outlines import OnMap, places_map, where_is

LISTED = 400
GROWTH_DAYS = 290  # sowing to harvest of a winter wheat
ENTRIES_SHOWN = 60


def hardest(calls: Iterable[Call]) -> str:
    """The most pressing verdict among calls; "" where there is none."""
    first = min((VERDICTS.index(c.verdict) for c in calls), default=None)
    return "" if first is None else VERDICTS[first]


def _calls_by_place(visit: Visit) -> dict[str, list[Call]]:
    asked, _ = visit.desk.weeks.on(visit.on, who=visit.who.name)
    out: dict[str, list[Call]] = {}
    for call in seen_calls(visit, asked) if asked.ready else []:
        out.setdefault(call.place, []).append(call)
    return out


def places_page(visit: Visit) -> Response:
    """Map and list."""
    everywhere = visit.desk.places(visit.person)
    farms = visit.desk.farms(visit.person)
    farm, kind = visit.query("farm"), visit.query("kind")
    chosen = [
        p
        for p in everywhere.values()
        if (not farm or p.farm == farm) and (not kind or p.kind == kind) and not p.attributes.get("closed")
    ]
    calls = _calls_by_place(visit)
    spots = []
    for p in chosen:
        verdict = hardest(calls.get(p.id, ()))
        said = VERDICT_WORDS[verdict] if verdict else tongue.plain("places.no_call")
        spots.append(
            OnMap(
                p,
                verdict,
                f"{p.name}, {visit.desk.farm_name(p.farm) or tongue.plain('places.no_farm')}: {said.lower()}",
            )
        )
    without = [s.place.name for s in spots if where_is(s.place) is None]
    first = visit.count("from", 0, 1_000_000)
    return visit.page(
        "places.html",
        on=visit.on,
        map=places_map(spots),
        without=without,
        farms=farms,
        farm=farm,
        kind=kind,
        kinds=sorted({p.kind for p in everywhere.values()}),
        total=len(chosen),
        first=first,
        listed=LISTED,
        spots=spots[first : first + LISTED],
    )


def events_of(entries: Iterable[Entry], calls: Iterable[Call], on: date) -> list[Event]:
    """What was seen, advised and done, the newest first."""
    entries, out = list(entries), []
    described = sorted((e for e in entries if e.kind == "place"), key=lambda e: (e.seen_at, e.seq))
    for before, after in itertools.pairwise(described):
        if told := told_changes(before.body, after.body):
            out.append(
                Event(
                    after.seen_on,
                    "seen",
                    tongue.plain("places.described", how="; ".join(told))[:200],
                    f"/entry/{after.id}",
                )
            )
    for e in entries:
        if e.kind in ("place", "station_days", "audit", "withdrawal"):
            continue
        shape = {"call": "call", "action": "done", "outcome": "done"}.get(e.kind, "seen")
        if e.kind == "call":
            said = e.body.get("call", {})
            text = f"{VERDICT_WORDS.get(said.get('verdict', ''), 'Call')}: {said.get('headline', '')}"
        elif e.kind in ("action", "outcome"):
            parts = [str(e.body.get(name)) for name in ("what", "value", "cost", "note") if e.body.get(name)]
            if e.body.get("answer", "done") != "done":
                parts.append(tongue.term("", e.body["answer"]))
            text = words(", ".join(parts))
        elif e.kind == "photo":
            text = tongue.plain("places.photo", note=e.body.get("note") or tongue.plain("places.no_note"))
        else:
            text = f"{words(e.kind)}: {plain_value(e.body)}"
        out.append(Event(e.seen_on, shape, text[:200], f"/entry/{e.id}"))
    for c in calls:
        if c.verdict != "wait":
            out.append(
                Event(
                    on,
                    "call",
                    f"{VERDICT_WORDS[c.verdict]}: {c.headline}"[:200],
                    f"/call/{c.question}/{c.place}?on={on}",
                )
            )
    return sorted(out, key=lambda e: e.day, reverse=True)


def place_page(visit: Visit) -> Response:
    """One place: what it is, this week's calls, its season, and everything on file about it."""
    place = visit.desk.places(visit.person).get(visit.part("place"))
    if place is None:
        raise Absent
    entries = visit.desk.entries(visit.who, place.id, visit.on)
    calls = _calls_by_place(visit).get(place.id, [])
    events = events_of(entries, calls, visit.on)
    start = season_start(place.attributes, visit.on)
    district = visit.desk.districts.on(visit.on)
    record = district.outlook.records.get(str(place.attributes.get("station", place.id)))
    growth, lines = made([lambda: growth_picture(place, record, district.facts.reader(), visit.on)])
    season = season_picture(record, list(itertools.islice(events, 300)), start, visit.on)
    spots = [OnMap(p, "", p.name, p.id == place.id) for p in _near(visit, place)]
    return visit.page(
        "place.html",
        on=visit.on,
        place=place,
        farm=visit.desk.farm_name(place.farm),
        calls=calls,
        season=season,
        events=events[:ENTRIES_SHOWN],
        more=max(len(events) - ENTRIES_SHOWN, 0),
        map=places_map(spots),
        facts=_facts(place),
        growth=growth,
        lines=lines,
        places=visit.desk.places(visit.person),
        unasked=_unasked(visit, place),
        passes=[p for p in getattr(visit.desk.weeks.on(visit.on)[0].week, "passes", ()) if p.place == place.id],
        unwalked=[f for f in visit.desk.forecasts(visit.on) if f.place == place.id],
    )


def _unasked(visit: Visit, place: Place) -> list[str]:
    """What the week did not ask of the place for want of something, a line each."""
    asked, _ = visit.desk.weeks.on(visit.on)
    found = [u for u in getattr(asked.week, "unasked", ()) if u.place == place.id and (u.needs or not u.question)]
    told = [(u.question, tongue.in_words(u.why)) for u in found]
    return [f"{words(q).capitalize()}: {why}." if q else f"{why[:1].upper()}{why[1:]}." for q, why in told]


def growth_picture(place: Place, record: StationDays | None, facts: Facts, on: date) -> Picture | None:
    """Growth of a wheat field from its sowing date over the station's past years; None for other places."""
    from sideoats.weather.radiation import daylight_hours
    from sideoats.wheat import stages
    from sideoats.wheat.pictures import season_of_a_field

    sown = str(place.attributes.get("planting_date", ""))
    if crop_of(str(place.attributes.get("crop", ""))) != "winter wheat" or not sown or record is None:
        return None
    start = read_date(sown)
    if not {"tmax", "tmin"} <= set(record.values) or not np.isfinite(record.latitude):
        return None
    high, low = (record.seasons(name, start.month, start.day, GROWTH_DAYS)[1] for name in ("tmax", "tmin"))
    day_of_year = (start.timetuple().tm_yday - 1 + np.arange(GROWTH_DAYS)) % 365 + 1
    hours = daylight_hours(np.deg2rad(record.latitude), day_of_year)
    codes = stages.zadoks_by_day(high, low, hours, stages.calendar(facts))
    whole = ~np.isnan(high).any(axis=1) & ~np.isnan(low).any(axis=1)
    return (
        season_of_a_field(start, codes[whole], station=record.name or record.station, today=on) if whole.any() else None
    )


def _near(visit: Visit, place: Place) -> list[Place]:
    return [p for p in visit.desk.places(visit.person).values() if p.farm == place.farm] if place.farm else [place]


def _facts(place: Place) -> list[tuple[str, str]]:
    from sideoats.ledger import evidence_kinds

    fields = evidence_kinds()["place"].fields
    out = []
    for name, value in place.attributes.items():
        if name in ("outline", "name", "kind", "closed"):
            continue
        f = fields.get(name)
        unit = f.unit if f and f.unit not in ("", "1") and not isinstance(value, str) else ""
        out.append((words(name), f"{plain_value(value)} {unit}".strip()))
    return out


PAGES = (
    Page("/places", READ, places_page),
    Page("/places/{place}", READ, place_page),
)
