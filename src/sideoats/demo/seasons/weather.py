"""The demo's weather evidence: air at a herd, forecasts, planned sprays, cotton maps, soil water. All invented."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

import numpy as np

from sideoats.demo.district import ZONE, District
from sideoats.ledger import NewEntry

HEAT_WAVE = ((99, 73, 0.42, 5), (101, 75, 0.40, 4), (102, 76, 0.38, 3), (98, 74, 0.45, 6), (90, 66, 0.50, 12))
MILD = ((84, 60, 0.45, 9), (82, 58, 0.48, 11), (85, 61, 0.44, 10), (80, 57, 0.50, 13), (78, 55, 0.52, 12))


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """One herd in a forecast heat wave, one read today, others left to past years; three sprays; four cotton maps."""
    found: list[NewEntry] = []
    for number, site in enumerate(district.of("herd")):
        district.extend(site.id, shelter=bool(number % 2))
        if number < 3:
            days = HEAT_WAVE if number == 0 else MILD
            found.append(district.seen(site, "forecast", 0, "demo weather desk", days=_days(district, days)))
        if number == 3:
            found.append(
                district.seen(
                    site,
                    "herd_air",
                    0,
                    temperature="91 degF",
                    humidity="52 %",
                    wind="4 mph",
                    radiation="780 W/m**2",
                    work=True,
                )
            )
    for pen in district.of("pen"):
        district.extend(pen.id, daily_gain="2.1 lb/day")
    for number, site in enumerate(district.of("field", "cotton")):
        nodes = round(3.5 + number + 0.3 * float(rng.standard_normal()), 1)
        bloom = (district.today - timedelta(days=28 + 4 * number)).isoformat()
        worth = f"{70 - 12 * number} USD/ac"
        found.append(
            district.seen(site, "cotton_map", 3, nodes_above_white_flower=nodes, bloom_date=bloom, late_value=worth)
        )
    for number, site in enumerate(district.of("pasture")):
        soil = ("silt loam", "sandy loam", "loam")[number % 3]
        district.extend(site.id, forage=f"{700 + 150 * number} lb/ac", soil=soil)
        if number == 0:
            found.append(district.seen(site, "soil_water", 2, left="18 %", depth="36 inch"))
    found += _sprays(district)
    costs = {"cotton.late_cost": "20 USD/ac", "value_of_gain": "1.35 USD/lb", "cost.heat_relief": "0.60 USD/head"}
    return found + [_setting(district, name, value) for name, value in costs.items()]


def _days(district: District, days: tuple[tuple[float, float, float, float], ...]) -> list[dict[str, Any]]:
    return [
        {
            "date": (district.today + timedelta(days=at)).isoformat(),
            "high": f"{high} degF",
            "low": f"{low} degF",
            "humidity": f"{100 * humid:.0f} %",
            "wind": f"{wind} mph",
        }
        for at, (high, low, humid, wind) in enumerate(days)
    ]


def _sprays(district: District) -> list[NewEntry]:
    """Three jobs under one forecast: a windy day, a calm one with a shower, a fit one."""
    jobs = (
        ("grain sorghum", 2, "flupyradifurone"),
        ("soybean", 0, "lambda-cyhalothrin"),
        ("winter wheat", 4, "glyphosate"),
    )
    hours = []
    for day, (wind, shower) in enumerate(((16.0, None), (5.0, 15), (6.5, None))):
        for hour in range(7, 20):
            warm = 62 + 20 * np.sin(np.pi * (hour - 6) / 16) - 2 * day
            hours.append(
                {
                    "date": (district.today + timedelta(days=day)).isoformat(),
                    "hour": hour,
                    "temperature": f"{warm:.0f} degF",
                    "humidity": f"{78 - 1.6 * (warm - 60):.0f} %",
                    "wind": f"{wind + 2 * np.sin(np.pi * (hour - 6) / 14):.0f} mph",
                    "rain": "0.2 inch" if hour == shower else "0 inch",
                }
            )
    found = []
    for crop, at, active in jobs:
        site = district.of("field", crop)[at]
        limits = {"wind_low": "3 mph", "wind_high": "10 mph"} if active != "glyphosate" else {"wind_high": "15 mph"}
        plan = {"active": active, "needed": "3 hour", "hours": hours, **limits}
        found.append(district.seen(site, "spray_plan", 0, "demo applicator", **plan))
    return found


def _setting(district: District, name: str, value: str) -> NewEntry:
    when = datetime.combine(district.today - timedelta(days=200), time(9, 0), tzinfo=ZONE)
    return NewEntry("setting", {"name": name, "value": value}, seen_at=when, observer="demo adviser")
