"""The demo's forage: tested, untested and hot hay lots, standing sorghum after rain, hay counts, feeds. All
invented."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.demo.district import District, Site
from sideoats.ledger import NewEntry

_BALE_LB = 1100
# what the invented laboratory slip says of each lot in turn; an empty one is a lot that nobody has tested
SLIPS: tuple[dict[str, Any], ...] = (
    {"result": "11400 ppm", "form": "NO3", "basis": "dry", "cores": 12, "class": "pregnant-cow"},
    {"result": "120 ppm", "form": "NO3-N", "basis": "dry", "cores": 20, "class": "pregnant-cow"},
    {"result": "0.45 %", "form": "KNO3", "basis": "as-fed", "moisture": "12 %", "cores": 15, "class": "growing"},
    {},
    {"single_bales": "900, 1500, 1150, 2300, 800 ppm", "form": "NO3-N", "basis": "dry", "class": "growing"},
)
LOW_FEED = {"name": "prairie hay", "nitrate": "120 ppm", "form": "NO3-N", "basis": "dry"}
STORES = ("ground-bare", "wrapped", "covered-raised", "inside", "ground-covered", "ground-bare")
HERD_FEEDS = (
    {"name": "prairie hay", "price": "100 USD/ton", "nitrate": "120 ppm", "form": "NO3-N", "basis": "dry"},
    {"name": "distillers grains", "price": "235 USD/ton"},
    {"name": "limestone"},
)
PEN_FEEDS = (
    {"name": "sudan hay", "price": "85 USD/ton", "nitrate": "1600 ppm", "form": "NO3-N", "basis": "dry", "cores": 20},
    {"name": "sorghum grain"},
    {"name": "distillers grains", "price": "235 USD/ton"},
    {"name": "limestone"},
)


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Slips of four lots in five, a colour test on the last, looks at forage sorghum, hay counts and feeds."""
    found: list[NewEntry] = []
    for number, site in enumerate(district.of("hay lot")):
        found += _lot(district, site, number, int(rng.integers(4, 40)))
    looks: tuple[dict[str, Any], ...] = (
        {"species": "forage sorghum", "height": "17 in", "new_shoots": True, "rain_date": "2026-09-07"},
        {"species": "forage sorghum", "height": "41 in", "new_shoots": False, "stress": False, "nitrogen": "usual"},
    )
    for site, look in zip(district.of("field", "forage sorghum"), looks, strict=False):
        found.append(district.seen(site, "forage_look", 2, **look))
    for number, site in enumerate(district.of("herd")):
        found += _herd(district, site, number, rng)
    for site in district.of("pen"):
        _set(site, **{"class": "growing", "weight": 560})
        found.append(_feeds(district, site, 5, {"class": "growing", "gain": "2 lb/day"}, PEN_FEEDS))
    return found


def _set(site: Site, **attributes: Any) -> None:
    """Attributes that no other season has set."""
    for name, value in attributes.items():
        site.attributes.setdefault(name, value)


def _feeds(
    district: District, site: Site, days: int, known: dict[str, Any], feeds: tuple[dict[str, Any], ...]
) -> NewEntry:
    return district.seen(site, "feeds_on_hand", days, "demo adviser", **known, feeds=[dict(feed) for feed in feeds])


def _lot(district: District, site: Site, number: int, days: int) -> list[NewEntry]:
    tons = float(str(site.attributes["amount"]).split()[0])
    _set(site, bales=round(tons * 2000 / _BALE_LB))
    slip = SLIPS[number % len(SLIPS)]
    if not slip:
        return [district.seen(site, "spot_test", 3, colour="dark blue", form="bales", **{"class": "pregnant-cow"})]
    feeds = {"feeds": [dict(LOW_FEED)]} if slip.get("class") == "growing" else {}
    return [district.seen(site, "hay_nitrate", days, "demo laboratory", laboratory="invented", **slip, **feeds)]


def _herd(district: District, site: Site, number: int, rng: np.random.Generator) -> list[NewEntry]:
    head = int(site.attributes["head"])
    _set(site, **{"class": "pregnant-cow", "weight": 1200, "grass_date": "2027-04-20", "feeding_date": "2026-11-20"})
    bales = round(head * float(rng.uniform(3.2, 6.5)))
    weight = f"{rng.integers(980, 1240)} lb"
    count = district.seen(site, "hay_count", 6, bales=bales, bale_weight=weight, storage=STORES[number % len(STORES)])
    return [count, _feeds(district, site, 8, {"class": "pregnant-cow"}, HERD_FEEDS)]
