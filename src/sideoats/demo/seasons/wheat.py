"""The demo's wheat: seed lots, soil slips, looks before sowing, invented variety trials, and last spring's records."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from sideoats.demo.district import District, Site
from sideoats.ledger import NewEntry
from sideoats.wheat.trials.table import simulate

PURPOSES = ("grain", "dual", "grain", "dual", "grain")
DEVIATIONS = {"variety": 2.6, "site": 5.0, "year": 4.0, "site_year": 4.5, "variety_site": 1.2, "variety_year": 1.6,
              "variety_site_year": 1.8, "error": 1.5}  # fmt: skip
SITES = ("Marrow Flats", "Dry Fork", "Ninebark", "Stone Post")
SETTINGS = {
    "cost.soil_sample": "1.60 USD/ac", "cost.topdress": "7 USD/ac", "price.nitrogen": "0.58 USD/lb",
    "value_of_gain": "1.15 USD/lb", "annual_precipitation": "25 in", "wheat_zone": "3", "price.wheat_hay": "95 USD/ton",
}  # fmt: skip


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Evidence about every wheat field, this fall and last spring; all of it invented."""
    for name, value in SETTINGS.items():
        district.settings.setdefault(name, value)
    trial = _trial(rng)
    found: list[NewEntry] = []
    for number, site in enumerate(district.of("field", "winter wheat")):
        purpose = PURPOSES[number % len(PURPOSES)]
        _set(site, purpose=purpose, row_spacing=7.5, hollow_stem_date=f"2027-03-{8 + number:02d}")
        if purpose != "grain":
            _set(site, head=int(0.55 * site.attributes["acres"]), weight="510 lb")
        found += _fall(district, site, number, rng, trial)
        found += _spring(district, site, number, rng, purpose)
        found += _described(district, site, number)
    return found


def _described(district: District, site: Site, number: int) -> list[NewEntry]:
    """The field as it was known over last season, and as it is known since harvest: a place keeps one crop at a time.

    Cattle leave the file when they left the field, so that a week of last spring is answered as it was then.
    """
    now = site.attributes
    last = {k: v for k, v in now.items() if k not in ("head", "weight")}
    for key in ("planting_date", "harvest_date", "hollow_stem_date"):
        day = date.fromisoformat(now[key])
        last[key] = day.replace(year=day.year - 1).isoformat()
    last["hollow_stem_date"] = f"2026-03-{8 + number:02d}"
    stood = {k: now[k] for k in ("head", "weight") if k in now}
    steps = [(371, last | stood)]
    if stood:
        steps.append((174, last))  # off a fortnight after first hollow stem
    steps.append((56, now))
    return [
        replace(district.seen(site, "place", ago), body={"name": site.name, "kind": site.kind, **body})
        for ago, body in steps
    ]


def _fall(
    district: District, site: Site, number: int, rng: np.random.Generator, trial: list[dict[str, Any]]
) -> list[NewEntry]:
    """What was seen since harvest: seed on hand, soil slips of two fields in three, the top soil, volunteer wheat."""
    found = []
    if number % 4 != 3:
        found.append(
            district.seen(
                site,
                "seed_lot",
                12 + number,
                seeds_per_lb=int(rng.integers(13_200, 16_800)),
                germination="92 %",
                emergence="82 %",
                target=f"{700_000 + 50_000 * (number % 3)} /ac",
                seed_price="0.30 USD/lb",
                treated=number % 2 == 0,
            )
        )
    slip: dict[str, Any] = {
        "organic_matter": f"{1.4 + 0.2 * (number % 4):.1f} %", "phosphorus": 9 + 5 * (number % 4),
        "extractant": "Mehlich-3",
        "potassium": 190 + 30 * (number % 3), "ph": round(5.1 + 0.4 * (number % 4), 1),
    }  # fmt: skip
    if number % 3 == 0:
        slip["profile_nitrogen"] = f"{int(rng.integers(18, 110))} lb/ac"
    found.append(district.seen(site, "soil_test", 25, **slip))
    found.append(district.seen(site, "wheat_check", 2, top_moist=number % 3 != 1, volunteer=number % 5 == 4))
    if number % 3 == 0:
        body: dict[str, Any] = {"title": "invented trials", "like_site": SITES[number % 4], "means": trial}
        found.append(district.seen(site, "variety_trial", 40, **body))
    return found


def _spring(district: District, site: Site, number: int, rng: np.random.Generator, purpose: str) -> list[NewEntry]:
    """Last spring and summer on the same fields: stems, a freeze, stems split, the combine."""
    found = [district.seen(site, "soil_test", 244, organic_matter=f"{1.4 + 0.2 * (number % 4):.1f} %")]
    if purpose == "dual":
        forage = f"{int(rng.integers(8, 15)) * 100} lb/ac"
        found.append(district.seen(site, "wheat_check", 300, stage="tillering", rooted=True, forage=forage))
        for days_ago, mean in ((196, 0.6), (190, 1.2)):
            stems = np.clip(mean + 0.3 * rng.standard_normal(10), 0.1, None)
            text = ", ".join(f"{s:.1f}" for s in stems) + " cm"
            found.append(district.seen(site, "wheat_check", days_ago, stage="tillering", hollow_stem=text))
    found.append(district.seen(site, "wheat_check", 160, stage="jointing"))
    if number % 2 == 0:
        found.append(district.seen(site, "freeze_night", 158, low="23 degF", hours=3, night="2026-04-09"))
        found.append(district.seen(site, "stem_split", 150, dead=int(rng.integers(2, 14)), split=40))
    if number < 4:
        counts = {k: ", ".join(str(int(v)) for v in rng.poisson(m, 4)) for k, m in (("behind", 75), ("ahead", 12))}
        found.append(district.seen(site, "combine_check", 88, header="30 ft", windrow="6 ft", **counts))
    return found


def _trial(rng: np.random.Generator) -> list[dict[str, Any]]:
    """Means of invented varieties A to H at four invented sites over three years, ungrazed and grazed."""
    rows = []
    for management, drop in (("ungrazed", 0.0), ("grazed", 6.0)):
        table = simulate(
            rng, sites=4, years=3, varieties=8, reps=1, deviations=DEVIATIONS, mean=44.0 - drop, missing=0.08
        )
        for i in range(len(table)):
            rows.append(
                {
                    "variety": "ABCDEFGH"[int(table.variety[i][1:])],
                    "site": SITES[int(table.site[i][1:])],
                    "year": str(int(table.year[i]) + 23),
                    "management": management,
                    "yield": f"{max(float(table.yields[i]), 5.0):.1f} bu/ac",
                    "plots": 4,
                }
            )
    return rows


def _set(site: Site, **attributes: Any) -> None:
    """Attributes that no other season has set."""
    for name, value in attributes.items():
        site.attributes.setdefault(name, value)
