"""Forecasts and warnings of a ledger, as the outlook reads them: nothing issued or sent after the day asked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from sideoats.facts import Facts
from sideoats.ledger.evidence import evidence_kinds
from sideoats.outlook.forecasts import Forecast
from sideoats.outlook.standing import Alert, Standing, standings

if TYPE_CHECKING:
    from sideoats.ledger import Entry, Ledger
    from sideoats.station import StationDays

_ALERT_DAYS = 14  # no warning is sent longer before it ends


@dataclass(frozen=True)
class Expected:
    """What a ledger holds of the days ahead: forecasts of days and of hours, oldest first, and warnings by station."""

    days: tuple[Forecast, ...] = ()
    hours: tuple[Forecast, ...] = ()
    alerts: Mapping[str, tuple[Alert, ...]] | None = None

    def standings(self, stations: Mapping[str, StationDays], on: date, facts: Facts) -> dict[str, Standing]:
        """Station -> what stands for it."""
        if not (self.days or self.hours or self.alerts):
            return {}
        return standings(
            stations,
            on,
            forecasts=self.days,
            hours=self.hours,
            alerts=self.alerts or {},
            facts=facts,
            fresh_days=(_fresh("forecast", "days"), _fresh("forecast_hours", "hours")),
        )


def expected_of(ledger: Ledger, on: date, facts: Facts) -> Expected:
    """Everything that may count on that day: forecasts as far back as they say how far off they are."""
    settings = facts["outlook/forecast_fit"]
    kept = dict(zip(settings.column("what"), settings.column("value"), strict=True))["kept"]
    days = tuple(_forecast(e) for e in ledger.history(kind="forecast", since=on - timedelta(days=int(kept)), until=on))
    since = on - timedelta(days=int(_fresh("forecast_hours", "hours")))
    hours = tuple(_hours(e) for e in ledger.history(kind="forecast_hours", since=since, until=on))
    return Expected(days, hours, _alerts(ledger, on))


def _fresh(kind: str, name: str) -> float:
    return evidence_kinds()[kind].fields[name].fresh_days


def _about(entry: Entry) -> dict[str, Any]:
    body = entry.body
    return {
        "issued": _issued(entry),
        "issued_at": str(body.get("issued_at") or entry.seen_at.isoformat(timespec="minutes")),
        "source": str(body.get("source") or entry.observer),
        "place": entry.place or "",
        "latitude": float(body.get("latitude", math.nan)),
        "longitude": float(body.get("longitude", math.nan)),
    }


def _issued(entry: Entry) -> date:
    """Day of issue by the forecast's own clock; when it was noted, where it does not say."""
    try:
        return datetime.fromisoformat(str(entry.body["issued_at"])).date()
    except (KeyError, ValueError):
        return entry.seen_on


def _forecast(entry: Entry) -> Forecast:
    rows = entry.body.get("days") or ()
    days = {date.fromisoformat(row["date"]): {k: v for k, v in row.items() if k != "date"} for row in rows}
    return Forecast(**_about(entry), days=days)


def _hours(entry: Entry) -> Forecast:
    rows = entry.body.get("hours") or ()
    return Forecast(**_about(entry), hours=tuple({**row, "date": date.fromisoformat(row["date"])} for row in rows))


def _alerts(ledger: Ledger, on: date) -> dict[str, tuple[Alert, ...]]:
    """Station -> warnings that no later message has replaced or taken back."""
    entries = list(ledger.history(kind="weather_alert", since=on - timedelta(days=_ALERT_DAYS), until=on))
    gone = {(e.place, old) for e in entries for old in str(e.body.get("replaces", "")).split()}
    newest = {(e.place or "", str(e.body["alert"])): e for e in entries if (e.place, e.body["alert"]) not in gone}
    found: dict[str, tuple[Alert, ...]] = {}
    for (place, _), e in newest.items():
        if e.body.get("message") != "cancel":
            ends = date.fromisoformat(e.body["ends"])
            begins = date.fromisoformat(e.body["begins"]) if "begins" in e.body else ends
            alert = Alert(str(e.body["event"]), begins, ends, str(e.body.get("sender", "")))
            found[place] = (*found.get(place, ()), alert)
    return found
