"""The demo's weather evidence: air at a herd, forecasts, planned sprays, cotton maps, soil water. All invented."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import Any

import numpy as np

from sideoats.demo.district import ZONE, District, Site
from sideoats.ledger import NewEntry

# The weather desk's forecast of today: high, low [degF], humidity, wind [mph], chance of rain, rain [inch].
EXPECTED = (
    (97, 70, 0.38, 9, 0.05, 0.0),
    (99, 72, 0.36, 8, 0.05, 0.0),
    (96, 71, 0.40, 12, 0.15, 0.02),
    (84, 64, 0.55, 15, 0.60, 0.45),
    (76, 55, 0.48, 11, 0.20, 0.05),
    (74, 50, 0.44, 8, 0.05, 0.0),
    (79, 53, 0.42, 7, 0.05, 0.0),
)
KEPT = 60  # days of older forecasts, so that the demo knows how far off they have been
MISS = (1.6, 2.2)  # mean absolute error of a lead of a day and more for each further day [degF]: highs, lows


def entries(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """Forecasts of both stations, a herd read today, three sprays, four cotton maps."""
    found: list[NewEntry] = _forecasts(district, rng)
    for number, site in enumerate(district.of("herd")):
        district.extend(site.id, shelter=bool(number % 2))
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


def _forecasts(district: District, rng: np.random.Generator) -> list[NewEntry]:
    """A forecast of seven days each morning of two months at both stations, today's by the hour too, and a warning."""
    found = []
    for number, site in enumerate(district.of("station")):
        for back in range(KEPT, 0, -1):
            found.append(_noted(district, site, "forecast", back, days=_as_it_came(district, site.id, back, rng)))
        days = [
            {
                "date": (district.today + timedelta(days=at)).isoformat(),
                "high": f"{high + number} degF",
                "low": f"{low + number} degF",
                "humidity": f"{100 * humid:.0f} %",
                "wind": f"{wind} mph",
                "rain_chance": f"{100 * chance:.0f} %",
                "rain": f"{rain} inch",
            }
            for at, (high, low, humid, wind, chance, rain) in enumerate(EXPECTED)
        ]
        found.append(_noted(district, site, "forecast", 0, days=days))
        found.append(_noted(district, site, "forecast_hours", 0, hours=_hours(district)))
        warned = {"begins": district.today.isoformat(), "ends": (district.today + timedelta(days=2)).isoformat()}
        about = {"alert": "demo-heat", "event": "Heat Advisory", "message": "alert", "sender": "demo weather desk"}
        found.append(_noted(district, site, "weather_alert", 0, **about, **warned))
    return found


def _noted(district: District, site: Site, kind: str, back: int, **body: Any) -> NewEntry:
    """What the invented weather desk sent in the morning of a day so far back."""
    when = datetime.combine(district.today - timedelta(days=back), time(5, 0), tzinfo=ZONE)
    told = {} if kind == "weather_alert" else {"issued_at": when.isoformat(), "source": "the demo weather desk"}
    return NewEntry(kind, {**told, **body}, place=site.id, seen_at=when, observer="demo weather desk")


def _as_it_came(district: District, station: str, back: int, rng: np.random.Generator) -> list[dict[str, Any]]:
    """What came, off by an error that grows day by day."""
    days, came = [], district.weather[station]
    for lead in range(7):
        at = len(came["tmax"]) - back + lead
        if at >= len(came["tmax"]):
            break
        off = rng.standard_normal(2) * 1.25 * (1 + 0.3 * lead) * np.array(MISS)
        high, low = came["tmax"][at] * 1.8 + 32 + off[0], came["tmin"][at] * 1.8 + 32 + off[1]
        chance = 0.75 - 0.07 * lead if came["rain"][at] > 0 else 0.05 + 0.03 * lead
        days.append(
            {
                "date": (district.today - timedelta(days=back - lead)).isoformat(),
                "high": round(float(max(high, low)), 1),
                "low": round(float(low), 1),
                "rain_chance": round(float(chance), 2),
            }
        )
    return days


def _hours(district: District) -> list[dict[str, Any]]:
    """Daylight of three days: a windy one, a calm one with a shower, a fit one."""
    hours = []
    for day, (wind, shower) in enumerate(((16.0, None), (5.0, 15), (6.5, None))):
        for hour in range(7, 20):
            warm = 70 + 27 * np.sin(np.pi * (hour - 6) / 16) - day
            hours.append(
                {
                    "date": (district.today + timedelta(days=day)).isoformat(),
                    "hour": hour,
                    "temperature": f"{warm:.0f} degF",
                    "humidity": f"{74 - 1.3 * (warm - 70):.0f} %",
                    "wind": f"{wind + 2 * np.sin(np.pi * (hour - 6) / 14):.0f} mph",
                    "rain": "0.2 inch" if hour == shower else "0 inch",
                }
            )
    return hours


def _sprays(district: District) -> list[NewEntry]:
    """Three jobs that are planned; their hours are those of the stations' forecast."""
    jobs = (
        ("grain sorghum", 2, "flupyradifurone"),
        ("soybean", 0, "lambda-cyhalothrin"),
        ("winter wheat", 4, "glyphosate"),
    )
    found = []
    for crop, at, active in jobs:
        site = district.of("field", crop)[at]
        limits = {"wind_low": "3 mph", "wind_high": "10 mph"} if active != "glyphosate" else {"wind_high": "15 mph"}
        found.append(district.seen(site, "spray_plan", 0, "demo applicator", active=active, needed="3 hour", **limits))
    return found


def _setting(district: District, name: str, value: str) -> NewEntry:
    when = datetime.combine(district.today - timedelta(days=200), time(9, 0), tzinfo=ZONE)
    return NewEntry("setting", {"name": name, "value": value}, seen_at=when, observer="demo adviser")
