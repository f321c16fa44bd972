"""The demo's insects and leaf disease: this week's counts, weekly counts of two seasons, and nightly trap catches.

All invented. This week's counts are set so that the fields differ: some far over a threshold, some near, some far
below, one inside its pre-harvest interval, one that nobody has looked at for weeks.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from sideoats.demo.district import District, Site
from sideoats.ledger import NewEntry

SETTINGS = {
    "cost.insecticide": "13 USD/ac", "phi.insecticide": "21 day", "rei.insecticide": "24 hour",
    "phi.alfalfa-weevil": "7 day", "cost.wheat-fungicide": "19 USD/ac", "phi.wheat-fungicide": "30 day",
}  # fmt: skip
_LEAVES, _HEADS, _FEET, _SETS, _STEMS = 40, 30, 20, 10, 30
_FLIGHT_FROM = (date(2025, 7, 10), date(2026, 7, 10))
# Grain sorghum this week: days ago, mean aphids per leaf (None: not counted this year), stage, what else was noted.
APHIDS: tuple[tuple[int, float, str, dict[str, Any]], ...] = (
    (2, 260.0, "milk", {"honeydew": "light", "predators": "few"}),
    (3, 6.0, "flowering", {"honeydew": "none", "predators": "many"}),
    (4, 34.0, "milk", {"honeydew": "none", "predators": "few"}),
    (2, 240.0, "soft dough", {"honeydew": "heavy", "predators": "few"}),  # cut early, see HARVEST_SOON
    (26, 12.0, "boot", {"honeydew": "none"}),
    (3, 70.0, "milk", {"honeydew": "light", "predators": "many", "parasitized": 0.25}),
    (1, 130.0, "flowering", {"honeydew": "light", "predators": "none", "winged": True}),
    (5, 2.0, "flowering", {"honeydew": "none", "predators": "few"}),
)
HARVEST_SOON = {3: "2026-09-24"}
STAGE_BY_GROWER = {4: "flowering"}  # told on the phone for the field that nobody has walked
# Heads of the same fields: days ago, stage, share in flower, mean midges, large, medium and small larvae a head.
HEADS: tuple[tuple[int, int, str, float, float, float, float, float], ...] = (
    (0, 2, "milk", 0.0, 0.0, 0.7, 0.6, 0.2),
    (1, 1, "flowering", 0.6, 2.8, 0.0, 0.1, 0.3),
    (2, 4, "milk", 0.0, 0.0, 0.02, 0.1, 0.9),
    (6, 1, "flowering", 0.5, 0.3, 0.0, 0.1, 0.2),
    (7, 3, "flowering", 0.7, 1.2, 0.1, 0.1, 0.1),
)
# Soybean: days ago, stage, method, mean stink bugs and podworms a sample, share of leaf area eaten.
BEANS: tuple[tuple[int, int, str, str, float, float, float], ...] = (
    (0, 2, "R6", "sweep", 13.0, 1.0, 0.08),
    (1, 3, "R5", "cloth", 1.0, 10.0, 0.12),
    (2, 2, "R5", "sweep", 1.2, 0.8, 0.27),
    (3, 4, "R6", "sweep", 1.0, 0.6, 0.10),
    (4, 3, "R7", "sweep", 8.0, 0.5, 0.30),
)
# Wheat sown early for pasture: field number, day of sowing, and what was found between the rows.
EARLY_WHEAT: tuple[tuple[int, str, dict[str, Any]], ...] = (
    (1, "2026-08-24", {"mean": 3.6, "size": "0.4 in", "windowpane": 0.34}),
    (3, "2026-08-27", {"windowpane": 0.27}),
    (6, "2026-08-29", {"mean": 0.4, "size": "0.25 in", "windowpane": 0.06}),
)
# Flights of each trap in the two seasons: days after 10 July of the peak, its height in moths a night.
FLIGHTS = (((52, 18), (54, 24)), ((44, 14), (48, 20)), ((50, 12), (56, 16)))


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Two seasons of counts in every crop, this week's among them, and three traps read every morning."""
    for name, value in SETTINGS.items():
        district.settings.setdefault(name, value)
    return [
        *_sorghum(district, rng),
        *_soybean(district, rng),
        *_wheat(district, rng),
        *_cotton(district, rng),
        *_alfalfa(district, rng),
        *_traps(district, rng),
    ]


def _clumped(rng: np.random.Generator, mean: float, k: float, units: int) -> str:
    """Counts unit by unit as insects scatter: negative binomial."""
    return ", ".join(str(int(v)) for v in rng.poisson(rng.gamma(k, mean / k, units)))


def _sorghum(district: District, rng: np.random.Generator) -> list[NewEntry]:
    found = []
    fields = district.of("field", "grain sorghum")
    for number, site in enumerate(fields):
        _set(site, heads=48_000 + 3_000 * (number % 4), midge_resistant=number % 4 == 3)
        if number in HARVEST_SOON:
            district.extend(site.id, harvest_date=HARVEST_SOON[number])
        if number in STAGE_BY_GROWER:
            district.extend(site.id, stage=STAGE_BY_GROWER[number])
        days, mean, stage, noted = APHIDS[number]
        counts = _clumped(rng, mean, 0.5, _LEAVES)
        found.append(district.seen(site, "leaf_counts", days, counts=counts, stage=stage, **noted))
        for back in (7, 14, 21):  # the weeks before, as aphids doubled in about four days
            counts = _clumped(rng, max(mean * 2.0 ** (-back / 4.5), 0.2), 0.5, _LEAVES)
            found.append(district.seen(site, "leaf_counts", days + back, counts=counts, stage="boot"))
        peak = float(rng.gamma(2.0, 40.0))
        for back in range(5):  # last year's season, which ended in a crash or a treatment
            last = _clumped(rng, max(peak * np.exp(-((back - 2.0) ** 2) / 1.5), 0.2), 0.5, _LEAVES)
            found.append(district.seen(site, "leaf_counts", 365 + 7 * back, counts=last, stage="milk"))
    for number, days, stage, flowering, midges, large, medium, small in HEADS:
        shown: dict[str, Any] = {"stage": stage, "flowering": flowering}
        if stage == "flowering":
            shown["midges"] = _clumped(rng, midges, 1.0, _HEADS)
        means = {"large": large, "medium": medium, "small": small}
        shown |= {size: _clumped(rng, mean, 1.0, _HEADS) for size, mean in means.items()}
        found.append(district.seen(fields[number], "head_counts", days, **shown))
    for site, mean in zip(district.of("field", "forage sorghum"), (55.0, 9.0), strict=True):
        counts = _clumped(rng, mean, 0.5, _LEAVES)
        found.append(district.seen(site, "leaf_counts", 4, counts=counts, stage="boot", predators="few"))
    return found


def _soybean(district: District, rng: np.random.Generator) -> list[NewEntry]:
    found = []
    fields = district.of("field", "soybean")
    _set(fields[3], seed_beans=True)
    for number, days, stage, method, bugs, worms, eaten in BEANS:
        samples: dict[str, Any] = {"sweeps": 25} if method == "sweep" else {"row_feet": "3 ft"}
        for back, share in ((0, 1.0), (8, 0.5), (365, 0.6)):
            body: dict[str, Any] = samples | {
                "method": method,
                "stage": stage if back != 8 else "R5",
                "defoliation": round(eaten * share, 2),
                "stink_bugs": _clumped(rng, bugs * share, 1.5, _SETS),
                "podworms": _clumped(rng, worms * share, 1.5, _SETS),
            }
            found.append(district.seen(fields[number], "canopy_counts", days + back, **body))
    return found


def _wheat(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Seedlings now; aphids and rust of last spring."""
    found = []
    fields = district.of("field", "winter wheat")
    for number, sown, noted in EARLY_WHEAT:
        site, body = fields[number], dict(noted)
        district.extend(site.id, planting_date=sown)
        if "mean" in body:
            body["counts"] = _clumped(rng, body.pop("mean"), 1.2, _FEET)
        found.append(district.seen(site, "row_larvae", 1 if number == 3 else 2, rows="7.5 in", **body))
        found.append(
            district.seen(
                site,
                "stem_counts",
                2,
                species="greenbug",
                stage="seedling",
                predators="few",
                counts=_clumped(rng, 2.0 + number, 0.6, _STEMS),
            )
        )
    for number, site in enumerate(fields):
        _set(site, rust_rating=("susceptible", "moderate", "resistant")[number % 3])
        if number % 2 == 0:
            spring = _clumped(rng, 6.0 + 5.0 * (number % 5), 0.6, _STEMS)
            found.append(
                district.seen(
                    site,
                    "stem_counts",
                    152,
                    species="bird cherry-oat aphid",
                    stage="boot",
                    predators="few",
                    counts=spring,
                )
            )
        found.append(
            district.seen(
                site,
                "leaf_disease",
                138,
                disease="leaf rust",
                stage="heading",
                nearby=True,
                flag=0.0,
                below=0.02 * (2 - number % 3),
                lower=0.05 * (2 - number % 3),
            )
        )
    return found


def _cotton(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Squaring counts of two Julys, and a last look at late cotton."""
    found = []
    for number, site in enumerate(district.of("field", "cotton")):
        for days, stage, mean in ((62 + number, "squaring", 0.10), (427, "squaring", 0.18)):
            counts = _clumped(rng, mean * (1 + number), 1.0, 100)
            found.append(district.seen(site, "cotton_counts", days, fleahoppers=counts, stage=stage, square_set=0.86))
        if number < 2:
            late = {"fleahoppers": _clumped(rng, 0.05, 1.0, 100), "larvae": _clumped(rng, 0.04, 1.0, 100)}
            found.append(district.seen(site, "cotton_counts", 4, stage="boll", damaged_squares=0.03, **late))
    return found


def _alfalfa(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Weevil larvae shaken from stems in two Aprils; the next cutting of each field."""
    found = []
    for number, site in enumerate(district.of("field", "alfalfa")):
        _set(site, cutting_date=f"2026-09-{24 + 2 * number:02d}")
        for days, mean, height in ((153, 0.8, "9 in"), (146, 2.4, "14 in"), (511, 1.4, "13 in")):
            counts = _clumped(rng, mean * (0.5 + 0.6 * number), 0.8, _STEMS)
            body: dict[str, Any] = {"counts": counts, "height": height, "in_bud": 0.05 * number}
            body["tips_fed"] = 0.15 * (1 + number)
            found.append(district.seen(site, "weevil_counts", days, **body))
    return found


def _traps(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Every morning of two seasons: two traps read by hand, one by a camera that counts moths twice and dirt once."""
    found = []
    for number, site in enumerate(district.of("trap")):
        for start, (peak, height) in zip(_FLIGHT_FROM, FLIGHTS[number], strict=True):
            last = district.today if start.year == district.today.year else date(start.year, 9, 30)
            for night in range((last - start).days + 1):
                mean = 0.7 + height * np.exp(-0.5 * ((night - peak) / 3.2) ** 2)
                moths = int(rng.poisson(rng.gamma(4.0, mean / 4.0)))
                body: dict[str, Any] = {"species": site.attributes["crop"]}
                if number == 2:
                    body["reported"] = 2 * moths + int(rng.poisson(0.8))
                else:
                    body["caught"] = moths
                ago, who = (district.today - start).days - night, "demo camera" if number == 2 else "demo trap"
                found.append(district.seen(site, "trap_catch", ago, who, **body))
    return found


def _set(site: Site, **attributes: Any) -> None:
    """Attributes that no other season has set."""
    for name, value in attributes.items():
        site.attributes.setdefault(name, value)
