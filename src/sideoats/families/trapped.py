"""What a trap has caught night by night, read every day or once a week, and the days on which larvae follow a flight.

The facts: moth_flight.<species> with degree-days by event, moth_flight.<species>_limits, moth_flight.camera.*.
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import median, quantile
from sideoats.families.coming_days import degree_days_ahead
from sideoats.insects.flight import Flight, camera_catch, event_days
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.weather.degree_days import degree_days

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
MOTHS, AHEAD = "insects/moth_flight.", 61  # days of degree-days ahead
WEEKLY = 4  # days between readings from which a typed catch stands for all nights since the last


@dataclass(frozen=True)
class Catches:
    """What was read; arrays (trap, night) or (trap,), the last night being the one that ended this morning.

    `moths` a night, NaN where not read; `camera` True where only a camera counted; `span` nights behind a reading;
    `since` nights since the last one read.
    """

    moths: Floats
    camera: Bools
    span: Floats
    since: Floats


def catches_of(table: Table, context: Context, count: int) -> Catches:
    """The newest `count` nights of every trap: a person's counts, a camera's where nobody counted."""
    facts = context.facts
    people, cameras = np.full((2, len(table), count), np.nan)
    spans = np.ones(len(table))
    for row, readings in enumerate(_readings(table)):
        spans[row] = median([nights for *_, nights in readings]) if readings else 1.0
        for day, caught, reported, nights in readings:
            last = count - (context.on - day).days  # the night that ended on this morning
            span = slice(max(0, last - int(nights)), max(0, last))
            if caught is not None and last <= count:
                people[row, span] = caught / nights
            if reported is not None and last <= count:
                cameras[row, span] = reported / nights
    shares = (
        np.where(table.known(name), table.number(name), facts[f"{MOTHS}camera.{fact}"].mid)[:, None]
        for name, fact in (("false_share", "false_positives"), ("missed_share", "missed"))
    )
    moths = np.where(np.isnan(people), camera_catch(cameras, *shares), people)
    known = ~np.isnan(moths)
    since = np.where(known.any(axis=1), known[:, ::-1].argmax(axis=1), 0).astype(float)
    only = np.isnan(people).all(axis=1) & ~np.isnan(cameras).all(axis=1)
    return Catches(moths, only, spans, since)


def _readings(table: Table) -> list[list[tuple[date, float | None, float | None, float]]]:
    """For each trap (day, moths by a person, moths by a camera, nights behind them), typed or on file."""
    out = []
    for camera, series, kept in zip(table.flag("camera"), table.rows("catches"), table.rows("readings"), strict=True):
        found: list[tuple[date, float | None, float | None, float]] = []
        for (day, moths), nights in zip(series or (), _since_last([day for day, _ in series or ()]), strict=True):
            found.append((day, None, moths, nights) if camera else (day, moths, None, nights))
        for r in kept or ():
            if r.get("working") is not False and r["on"] is not None:
                found.append((r["on"], r.get("caught"), r.get("reported"), r.get("nights") or 1.0))
        out.append(found)
    return out


def _since_last(days: list[date]) -> list[float]:
    """Nights behind each catch: one, but all since the last reading where a trap is read once a week or so."""
    gaps = [(later - earlier).days for earlier, later in pairwise(days)]
    if not gaps or min(gaps) < WEEKLY:
        return [1.0] * len(days)
    return [float(g) for g in (sorted(gaps)[len(gaps) // 2], *gaps)]


def larvae_after(table: Table, context: Context, flight: Flight, sure: Bools, count: int) -> dict[str, Floats]:
    """Days from today of what follows the flight, NaN where there is none or no sourced figure.

    "first" is the first day on which its larvae can be where they do harm: eggs laid as soon as moths of the onset can,
    one in ten of futures earlier. The others count from the peak.
    """
    facts, out = context.facts, context.outlook
    noise = out.normal("trap flight peak", table.keys)
    spans = {str(name): (float(soonest), float(latest)) for name, soonest, latest in facts[MOTHS + "laying"].rows}
    soonest, latest = np.array([spans.get(str(s), (0.0, 0.0)) for s in table.text("species")]).reshape(-1, 2).T
    laid = soonest[:, None] + (latest - soonest)[:, None] * out.uniform("trap flight laying")
    start = np.where(sure[:, None], flight.peak[:, None] + flight.peak_sd[:, None] * noise, 0.0) - (count - 1) + laid
    begun = np.where(sure, flight.onset, 0.0) - (count - 1) + soonest
    first = np.broadcast_to(begun[:, None], start.shape)
    events = {name: np.full(start.shape, np.nan) for name in ("first", "likely", "large")}
    for species in set(table.text("species").tolist()):
        key, rows = MOTHS + str(species).replace(" ", "_"), np.flatnonzero(table.text("species") == species)
        if key not in facts.by_id:
            continue
        limits, part = facts[key + "_limits"], table.take(rows)
        cutoff = "intermediate" if species == "corn earworm" else "horizontal"
        ahead = degree_days_ahead(part, context, limits.low, limits.high, AHEAD, cutoff=cutoff)
        past = _observed(part, context, limits.low, limits.high, count, cutoff, ahead)
        begins, grown, *_ = (float(need) for need in facts[key].column("degree_days"))
        for event, counted, need in (("first", first, begins), ("likely", start, begins), ("large", start, grown)):
            events[event][rows] = event_days(counted[rows], past, ahead, need)

    def at(event: str, q: float) -> Floats:
        """Quantile of an event's day; NaN where most futures do not reach it."""
        filled = np.where(np.isnan(events[event]), 1e6, events[event])
        found = quantile(filled, q, axis=1)
        return np.where(sure & (found < 1e5), found, np.nan)

    return {
        "first": at("first", 0.1),
        "likely": at("likely", 0.5),
        "large early": at("large", 0.1),
        "large": at("large", 0.5),
        "large late": at("large", 0.9),
    }


def _observed(
    table: Table, context: Context, lower: float, upper: float, count: int, cutoff: str, ahead: Floats
) -> Floats:
    """(trap, night) degree-days of past nights at each trap's station; the coming week's mean where not on file."""
    out = np.repeat(ahead[7].mean(axis=1)[:, None] / 7.0, count, axis=1)
    for row, name in enumerate(table.text("station")):
        record = context.outlook.records.get(str(name))
        if record is None:
            continue
        begin = record.index(context.on - timedelta(days=count))
        nights = np.arange(max(0, -begin), max(0, min(count, len(record) - begin)))
        high, low = (record.usable(what)[begin + nights] for what in ("tmax", "tmin"))
        known = np.isfinite(high) & np.isfinite(low)
        heat = degree_days(high[known], low[known], lower, upper, method="single_sine", cutoff=cutoff)
        out[row, nights[known]] = heat
    return out
