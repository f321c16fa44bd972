"""The demo's bins: four lots, one of them heating, with bids for today and later. All figures are invented."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import numpy as np

from sideoats.demo.district import ZONE, District, Site
from sideoats.ledger import NewEntry

# crop -> bid today [USD/bu] and what is bid for three, six and nine months on, over today's [USD/bu]
BIDS = {"wheat": (5.46, (0.34, 0.66, 0.58)), "grain sorghum": (4.12, (0.19, 0.37, 0.50))}
# moisture [%], temperature now and at the check before [degF], days since the check, heating, live insects
CHECKS = (
    (12.1, 74.0, 73.0, 4, False, False),
    (14.6, 96.0, 81.0, 2, True, True),
    (12.8, 77.0, 76.0, 6, False, False),
    (11.6, 79.0, 78.0, 23, False, False),
)


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """A check and a bid for every bin; one bin is heating and has insects, one was last looked at three weeks ago."""
    found: list[NewEntry] = []
    for number, site in enumerate(district.of("bin")):
        moisture, now, before, days, heating, insects = CHECKS[number % len(CHECKS)]
        found.append(
            district.seen(
                site,
                "bin_check",
                days,
                moisture=round(moisture + 0.05 * float(rng.standard_normal()), 1),
                temperature=f"{now:g} degF",
                earlier=f"{before:g} degF",
                heating=heating,
                insects=insects,
            )
        )
        found.append(_bids(district, site))
    costs = {"storage.on_farm": "0.035 USD/bu/month", "storage.elevator": "0.06 USD/bu/month"}
    return found + [_setting(district, name, value) for name, value in costs.items()]


def _setting(district: District, name: str, value: str) -> NewEntry:
    when = datetime.combine(district.today - timedelta(days=200), time(9, 0), tzinfo=ZONE)
    return NewEntry("setting", {"name": name, "value": value}, seen_at=when, observer="demo adviser")


def _bids(district: District, site: Site) -> NewEntry:
    cash, rises = BIDS[str(site.attributes["crop"])]
    later = [district.today + timedelta(days=91 * (at + 1)) for at in range(len(rises))]
    curve = "; ".join(f"{day.isoformat()} {cash + rise:.2f}" for day, rise in zip(later, rises, strict=True))
    return district.seen(
        site, "bin_bids", 1, "demo market", cash=f"{cash} USD/bu", curve=curve, source="invented elevator"
    )
