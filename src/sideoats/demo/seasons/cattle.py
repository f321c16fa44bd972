"""The demo's cattle: sale plans, calf work, weighings, a treated lot, culls, heifers and a show steer. All invented."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

import numpy as np

from sideoats.demo.district import ZONE, District, Site
from sideoats.ledger import NewEntry

# what each herd has in hand this autumn, in turn: days from today to the sale, days weaned asked for, premium
SALES = ((52, 45, 9.0), (36, 45, 8.0), (80, 60, 11.0), (43, 45, 8.0), (66, 45, 10.0), (95, 45, 8.5))
# per herd: days ago of weaning, first round, second round (None: not yet); bulls still to be castrated
WORK: tuple[tuple[int | None, int | None, int | None, bool], ...] = (
    (None, 11, None, False),
    (None, None, None, False),
    (None, None, None, True),
    (13, 34, 13, False),
    (None, 3, None, False),
    (None, None, None, False),
)
SETTINGS = {
    "cost.calf_feed_day": "2.10 USD/day",
    "cost.calf_labor_day": "0.40 USD/day",
    "cost.calf_health": "22 USD/head",
    "cost.stocker_health": "24 USD/head",
    "cost.pasture_gain": "0.75 USD/lb",
    "cost.lot_day": "3.10 USD/day",
    "cost.cull_cow_day": "2.60 USD/day",
    "cost.heifer_development": "640 USD/head",
    "cost.cow_year": "1050 USD/head",
}


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """This autumn's plans and weighings by herd and pen, and last autumn's to look back on."""
    found: list[NewEntry] = []
    for number, site in enumerate(district.of("herd")):
        head = int(site.attributes["head"])
        culls, heifers = max(2, round(0.12 * head)), max(2, round(0.15 * head))
        district.extend(site.id, calf_head=round(0.86 * head), cull_head=culls, heifer_head=heifers)
        found += _last_year(district, site, rng)
        found += _this_year(district, site, number, rng)
    for number, site in enumerate(district.of("pen")):
        district.extend(site.id, calf_head=site.attributes["head"])
        weight = 545 + 30 * number
        found.append(_calves(district, site, 3, weight, acres=260 + 220 * number, turnout=56))
    found += _special(district)
    return found + [_setting(district, name, value) for name, value in SETTINGS.items()]


def _day(district: District, ahead: int) -> str:
    return (district.today + timedelta(days=ahead)).isoformat()


def _this_year(district: District, site: Site, number: int, rng: np.random.Generator) -> list[NewEntry]:
    sale, asked, premium = SALES[number % len(SALES)]
    weaned, first, second, bulls = WORK[number % len(WORK)]
    weight = round(535 + 25 * float(rng.standard_normal()))
    plan = district.seen(
        site,
        "sale_plan",
        20 - number,
        "demo adviser",
        sale=_day(district, sale),
        program_days=asked,
        premium=f"{premium} USD/cwt",
        weight=f"{weight + 60} lb",
    )
    done = {"weaned": weaned, "first_round": first, "booster": second}
    work: dict[str, Any] = {name: _day(district, -ago) for name, ago in done.items() if ago is not None}
    newest = min((ago for ago in done.values() if ago is not None), default=4)
    found = [plan, district.seen(site, "calf_work", newest, bulls=bulls, **work)]
    if number in (0, 4):
        found.append(_calves(district, site, 5, weight, gain="1.5, 2.0 lb/day", turnout=50))
    if number in (2, 3, 5):
        found.append(
            district.seen(
                site,
                "cull_weighing",
                4,
                weight=f"{round(1160 + 60 * float(rng.standard_normal()))} lb",
                bcs=(4, 5, 4)[number % 3],
                gain="1.6, 2.4 lb/day",
                ailing=number == 5,
            )
        )
    return found


def _calves(
    district: District, site: Site, ago: int, weight: int, *, turnout: int | None = None, **more: Any
) -> NewEntry:
    if turnout is not None:
        more["turnout"] = _day(district, turnout)
    if "acres" in more:
        more["acres"] = f"{more['acres']} ac"
    return district.seen(site, "calf_weighing", ago, weight=f"{weight} lb", **more)


def _last_year(district: District, site: Site, rng: np.random.Generator) -> list[NewEntry]:
    weight = round(520 + 20 * float(rng.standard_normal()))
    return [
        district.seen(site, "sale_plan", 380, "demo adviser", sale=_day(district, -310), program_days=45),
        district.seen(site, "calf_weighing", 312, weight=f"{weight} lb"),
    ]


def _special(district: District) -> list[NewEntry]:
    """A lot still inside a withdrawal on its day of sale, cows of which one must not travel, heifers, a show steer."""
    herds = district.of("herd")
    return [
        district.seen(
            herds[3],
            "calf_treatment",
            6,
            on=_day(district, -6),
            withdrawal_days=54,
            product="as on the label, serial written down",
            animals="four calves of the lot",
        ),
        district.seen(herds[4], "cull_weighing", 2, weight="1090 lb", bcs=3, fit_to_travel=False, ailing=True),
        district.seen(
            herds[1],
            "heifer_plan",
            9,
            "demo adviser",
            weight="515 lb",
            price="318 USD/cwt",
            develop_days=330,
            conception="80, 90 percent",
            open_value="2150 USD/head",
            calf_weight="540 lb",
            cull_value="1450 USD/head",
        ),
        district.seen(
            herds[5],
            "show_weighing",
            1,
            animal="steer",
            weight="905 lb",
            weighed=_day(district, -1),
            last_weight="822 lb",
            last_weighed=_day(district, -29),
            fair=_day(district, 131),
            target="1280, 1380 lb",
        ),
    ]


def _setting(district: District, name: str, value: str) -> NewEntry:
    when = datetime.combine(district.today - timedelta(days=200), time(9, 0), tzinfo=ZONE)
    return NewEntry("setting", {"name": name, "value": value}, seen_at=when, observer="demo adviser")
