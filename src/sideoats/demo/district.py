"""The invented district: twelve farms, sixty places, two stations with twenty-five years of weather, one market.

The demo's "today" is fixed, so that the first week a newcomer sees is full and the same everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from importlib import import_module
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from sideoats.demo.climate import Climate, daily_weather
from sideoats.ledger import NewEntry

TODAY = date(2026, 9, 14)
ZONE = ZoneInfo("America/Chicago")
SEED = 71
FIRST_WEATHER = date(2001, 1, 1)
MARKET = "marrow-flats-market"
STATIONS = {
    "marrow-north": (38.31, -99.12, Climate()),
    "marrow-south": (38.02, -98.87, Climate(mean=14.1, wet_amount=9.3)),
}
FARMS = {
    "two-elms": "Two Elms", "long-ditch": "Long Ditch", "kestrel-bend": "Kestrel Bend", "saltgrass": "Saltgrass",
    "lone-gate": "Lone Gate", "harrow-hill": "Harrow Hill", "wren-hollow": "Wren Hollow", "dry-fork": "Dry Fork",
    "clover-ridge": "Clover Ridge", "ninebark": "Ninebark", "stone-post": "Stone Post", "thistledown": "Thistledown",
}  # fmt: skip
# Price today and how it moves: USD, yearly volatility, height of the seasonal swing.
QUOTES = {
    "wheat": ("USD/bu", 5.60, 0.28, 0.05), "grain sorghum": ("USD/bu", 4.30, 0.26, 0.05),
    "corn": ("USD/bu", 4.40, 0.26, 0.05), "soybean": ("USD/bu", 10.60, 0.22, 0.04),
    "cotton": ("USD/lb", 0.72, 0.24, 0.03), "alfalfa hay": ("USD/ton", 185.0, 0.16, 0.04),
    "grass hay": ("USD/ton", 95.0, 0.18, 0.06), "feeder steer 500 lb": ("USD/cwt", 340.0, 0.15, 0.05),
    "feeder steer 750 lb": ("USD/cwt", 290.0, 0.13, 0.04), "cull cow": ("USD/cwt", 128.0, 0.15, 0.08),
    "bred heifer": ("USD/head", 2900.0, 0.14, 0.02),
}  # fmt: skip


# Costs and habits of the invented office, kept in the ledger; each room's season may add its own.
SETTINGS = {
    "district.name": "Marrow Flats",
    "cost.aphid_treatment": "14 USD/ac",
    "phi.aphid_treatment": "14 day",
    "interest": "8 %",
}


@dataclass
class Site:
    """One invented place; `attributes` is what its ledger entry will hold."""

    id: str
    farm: str
    name: str
    kind: str
    attributes: dict[str, Any] = field(default_factory=dict)


@dataclass
class District:
    """What a season module may read and extend before everything is written."""

    today: date
    sites: dict[str, Site]
    weather: dict[str, dict[str, Any]]
    settings: dict[str, str] = field(default_factory=lambda: dict(SETTINGS))

    def of(self, kind: str, crop: str | None = None) -> list[Site]:
        """Places of a kind (and crop), in a fixed order."""
        return [s for s in self.sites.values() if s.kind == kind and (crop is None or s.attributes.get("crop") == crop)]

    def extend(self, site_id: str, **attributes: Any) -> None:
        """Add attributes to a place, in the units or with the unit text that the `place` kind states."""
        self.sites[site_id].attributes.update(attributes)

    def seen(self, site: Site, kind: str, days_ago: float, observer: str = "demo scout", **body: Any) -> NewEntry:
        """An observation at a place some days before the demo's today (mid-morning, with its zone)."""
        when = datetime.combine(self.today - timedelta(days=int(days_ago)), time(9, 30), tzinfo=ZONE)
        return NewEntry(kind, body, place=site.id, farm=site.farm or None, seen_at=when, observer=observer)


def _fields(farms: list[str]) -> list[Site]:
    rows: list[tuple[str, int, dict[str, Any]]] = [
        (
            "grain sorghum",
            8,
            {"expected_yield": "75 bu/ac", "planting_date": "2026-06-28", "harvest_date": "2026-10-28"},
        ),
        (
            "forage sorghum",
            2,
            {"expected_yield": "4 ton/ac", "planting_date": "2026-06-20", "harvest_date": "2026-10-05"},
        ),
        (
            "winter wheat",
            11,
            {"expected_yield": "42 bu/ac", "planting_date": "2026-09-26", "harvest_date": "2027-06-18"},
        ),
        ("soybean", 6, {"expected_yield": "34 bu/ac", "planting_date": "2026-06-12", "harvest_date": "2026-10-20"}),
        ("cotton", 4, {"expected_yield": "620 lb/ac", "planting_date": "2026-05-24", "harvest_date": "2026-11-10"}),
        ("alfalfa", 3, {"expected_yield": "1.1 ton/ac", "planting_date": "2023-09-05"}),
    ]
    sites, at = [], 0
    for crop, count, attributes in rows:
        for number in range(count):
            farm = farms[at % len(farms)]
            shift = timedelta(days=(number % 5) * 3 - 6)
            own = dict(attributes)
            for key in ("planting_date", "harvest_date"):
                if key in own:
                    own[key] = (date.fromisoformat(own[key]) + shift).isoformat()
            own |= {"crop": crop, "acres": 40 + 20 * ((at * 7) % 8), "variety": "ABCDE"[number % 5]}
            own["outline"] = _square(at, own["acres"])
            name = f"{crop} {number + 1}".replace("winter ", "").replace("grain ", "")
            sites.append(Site(f"{farm}.{name.replace(' ', '-')}", farm, name, "field", own))
            at += 1
    return sites


def _square(number: int, acres: float) -> dict[str, Any]:
    """A square GeoJSON polygon (RFC 7946, counterclockwise) of about `acres`, on an invented grid."""
    west, south = -99.2 + 0.035 * (number % 9), 37.98 + 0.04 * (number // 9)
    side_m = (acres * 4046.86) ** 0.5
    east, north = west + side_m / 87_500, south + side_m / 111_100
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "coordinates": [[[round(x, 6), round(y, 6)] for x, y in ring]]}


def _others(farms: list[str]) -> list[Site]:
    rows: list[tuple[str, str, str, dict[str, Any]]] = []
    for number in range(3):
        rows.append(
            (
                farms[number * 3],
                f"pasture {number + 1}",
                "pasture",
                {"crop": "native grass", "acres": 320 + 160 * number},
            )
        )
    lots = [("sudan hay", 60), ("grass hay", 90), ("alfalfa hay", 45), ("sudan hay", 38), ("millet hay", 52)]
    for number, (crop, tons) in enumerate(lots):
        rows.append(
            (
                farms[(number * 2 + 1) % 12],
                f"{crop} lot {number + 1}",
                "hay lot",
                {"crop": crop, "amount": f"{tons} ton"},
            )
        )
    for number, head in enumerate((38, 64, 112, 55, 82, 27)):
        rows.append((farms[number * 2], f"cow herd {number + 1}", "herd", {"crop": "cow-calf", "head": head}))
    for number, head in enumerate((90, 140)):
        rows.append((farms[number * 5 + 1], f"stocker pen {number + 1}", "pen", {"crop": "stockers", "head": head}))
    bins = [("wheat", 12000), ("wheat", 6500), ("grain sorghum", 4200), ("wheat", 20500)]
    for number, (crop, bushels) in enumerate(bins):
        rows.append(
            (farms[number * 3 + 2], f"{crop} bin {number + 1}", "bin", {"crop": crop, "amount": f"{bushels} bu"})
        )
    for number, insect in enumerate(("fall armyworm", "corn earworm", "fall armyworm")):
        rows.append((farms[number * 4], f"{insect} trap {number + 1}", "trap", {"crop": insect}))
    sites = []
    for number, (farm, name, kind, own) in enumerate(rows):
        at = farms.index(farm)  # farmsteads lie about the invented grid of the fields
        own |= {"latitude": 38.0 + 0.04 * (at % 4) + 0.004 * (number % 3), "longitude": -99.17 + 0.08 * (at // 3)}
        sites.append(Site(f"{farm}.{name.replace(' ', '-')}", farm, name, kind, own))
    return sites


def make_district() -> District:
    """Farms' places with stations and market attached, and the stations' weather up to the day before today."""
    farms = list(FARMS)
    names = list(STATIONS)
    sites = {s.id: s for s in [*_fields(farms), *_others(farms)]}
    for site in sites.values():
        north = farms.index(site.farm) % 2 == 0
        site.attributes |= {"station": names[0] if north else names[1], "market": MARKET}
    for name, (latitude, longitude, _) in STATIONS.items():
        sites[name] = Site(
            name,
            "",
            name.replace("-", " "),
            "station",
            {"latitude": latitude, "longitude": longitude, "elevation": "540 m"},
        )
    sites[MARKET] = Site(MARKET, "", "Marrow Flats market", "market", {})
    return District(TODAY, sites, _weather())


def _weather() -> dict[str, dict[str, Any]]:
    days = (TODAY - FIRST_WEATHER).days
    rng = np.random.default_rng(SEED)
    shared = rng.standard_normal((days, 2))
    return {
        name: daily_weather(climate, FIRST_WEATHER, days, rng, shared) for name, (_, _, climate) in STATIONS.items()
    }


def _blocks() -> list[tuple[date, date]]:
    """First day and day after the last of each block of station days: years, then quarters of the last two years.

    A block is seen at its end, so a week of last spring must not have to wait for December to know of a frost.
    """
    recent = TODAY.year - 1
    starts = [date(year, 1, 1) for year in range(FIRST_WEATHER.year, recent)]
    starts += [date(year, month, 1) for year in (recent, TODAY.year) for month in (1, 4, 7, 10)]
    starts = [day for day in starts if day < TODAY]
    return list(zip(starts, [*starts[1:], TODAY], strict=True))


def _weather_entries(district: District) -> list[NewEntry]:
    entries = []
    for name, values in district.weather.items():
        for start, end in _blocks():
            first, last = (start - FIRST_WEATHER).days, (end - FIRST_WEATHER).days
            body: dict[str, Any] = {"start": start.isoformat(), "source": "invented by the demo's generator"}
            body |= {variable: column[first:last].tolist() for variable, column in values.items()}
            seen = datetime.combine(end - timedelta(days=1), time(23, 0), tzinfo=ZONE)
            entries.append(NewEntry("station_days", body, place=name, seen_at=seen, observer="demo station"))
    return entries


def _quote_entries(rng: np.random.Generator) -> list[NewEntry]:
    """Monthly quotes of eight years, ending at the price of today; commodities share a third of their moves."""
    months = 96
    common = rng.standard_normal(months)
    entries = []
    for commodity, (unit, price, volatility, seasonal) in QUOTES.items():
        step = volatility / np.sqrt(12) * (0.57 * common + 0.82 * rng.standard_normal(months))
        path = np.cumsum(step[::-1])[::-1] - step
        for back in range(months):
            day = TODAY - timedelta(days=round(30.4375 * (months - 1 - back)) + 3)
            swing = seasonal * (np.cos(2 * np.pi * (day.month - 4) / 12) - np.cos(2 * np.pi * (TODAY.month - 4) / 12))
            level = price * np.exp(swing - 0.35 * path[back])
            when = datetime.combine(day, time(14, 0), tzinfo=ZONE)
            body = {"commodity": commodity, "price": f"{level:.4g} {unit}", "source": "invented"}
            entries.append(NewEntry("quote", body, place=MARKET, seen_at=when, observer="demo market"))
    return entries


def season_modules() -> list[str]:
    """Modules of demo/seasons, one a room, each with ``entries(district, rng)``."""
    folder = Path(__file__).parent / "seasons"
    return [f"sideoats.demo.seasons.{p.stem}" for p in sorted(folder.glob("*.py")) if not p.stem.startswith("_")]


def all_entries() -> list[NewEntry]:
    """Everything the demo writes, oldest knowledge first: farms, places, weather, quotes, each room's seasons."""
    district = make_district()
    evidence: list[NewEntry] = []
    for number, module in enumerate(season_modules()):
        evidence += import_module(module).entries(district, np.random.default_rng([SEED, number]))
    long_ago = datetime(2024, 3, 1, 8, 0, tzinfo=ZONE)
    farms = [
        NewEntry("farm", {"name": name}, farm=key, seen_at=long_ago, observer="demo") for key, name in FARMS.items()
    ]
    places = [
        NewEntry(
            "place",
            {"name": s.name, "kind": s.kind, **s.attributes},
            place=s.id,
            farm=s.farm or None,
            seen_at=long_ago,
            observer="demo",
        )
        for s in district.sites.values()
    ]
    settings = [
        NewEntry("setting", {"name": name, "value": value}, seen_at=long_ago, observer="demo")
        for name, value in district.settings.items()
    ]
    return [
        *farms,
        *places,
        *settings,
        *_weather_entries(district),
        *_quote_entries(np.random.default_rng(SEED + 1)),
        *evidence,
    ]


DISTRICT_FILE = """\
# The invented district's own choices: see `sideoats questions NAME` for what can be set. An example:
#
# language = "es"     # every command and page answers in it: en or es
# units = "metric"    # us or metric
#
# [choose]
# "forage/hay_nitrate" = "nebraska"
#
# [override."insects/sorghum_aphid.efficacy"]
# value = 0.85
# source = "Our own strips, 2025, table 2"
# provenance = "derived"
#
# [settings]
# "cost.aphid_treatment" = "14 USD/ac"
"""
