"""Ground short of water: how rain, soil and forage stand from today on, and whether feed is secured now.

Two published lines for rain are held side by side, the percentile of the station's own past and the percent of normal,
and the range's trigger dates beside them. Grass that is made stays made: forage is counted from today.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.crops import crop_of
from sideoats.decide.laws import median, quantile
from sideoats.problem import Barred, Choice, Look
from sideoats.question import Context, Table
from sideoats.weather import drought
from sideoats.weather.cases.rain_ground import (
    AHEAD,
    INCH,
    MAIN,
    SPANS,
    Ground,
    Key,
    Standing,
    days_since_day,
    grounds_of,
    standing_at,
)
from sideoats.weather.cases.record import lack_said
from sideoats.weather.rainfall import percent_of_normal
from sideoats.weather.root_zone import root_zone
from sideoats.words import Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
UNIT = "USD/ac"
UNTOLD = -2  # the published percents of normal say nothing of it
OPTIONS = (
    Choice("buy-now", say("option.rain_buy_now"), trouble="pass"),
    Choice("wait", say("option.rain_wait"), passive=True),
)
_FACTS = "weather/drought."
RECHECK, LATEST, WITHIN = 14, 14, 7  # days
_NEAR = 10  # days by which a told span may miss the day that a trigger counts from
_RANGE = ("native grass", "rotated pasture", "")
_GRASS = (*_RANGE, "bermudagrass")


@dataclass(frozen=True)
class Row:
    """Everything found for one place; `standing` and `ground` absent without a station, `ground` also where the record
    lacks too many of the last days to keep a balance by; `lack` says so then.

    `percent` of normal over `days`; `by_percent` its class, -1 for none, UNTOLD; `trigger` the row of the range's
    trigger dates that is crossed, -1 for none, and `share` the rain since its day over the normal.
    """

    standing: Standing | None
    ground: Ground | None
    growth: Floats  # (draw,), 1 is usual; NaN where not known
    percent: float
    days: float
    percentile: float
    by_percent: int
    trigger: int
    share: float
    lack: Said | None = None


def _rows(table: Table, context: Context) -> list[Row]:
    out = context.outlook
    none = np.full(out.draws, np.nan)
    told = percent_of_normal(table.number("rain"), table.number("normal"))
    span = table.number("span")
    if out.windows is None:
        return [_bare(table, context, i, none, float(told[i]), float(span[i])) for i in range(len(table))]
    stations, at = out.windows.stations, out.station_rows(table.text("station"))
    standing = {k: standing_at(context, stations[k]) for k in dict.fromkeys(at.tolist())}
    keys = _keys(table, context, at)
    grounds = grounds_of(context, list(dict.fromkeys(keys)))
    soil_draw, years = out.uniform("water held by the soil"), out.year_of_draw
    rows = []
    for i, key in enumerate(keys):
        rain = standing[key[0]]
        main = rain.spans[MAIN]
        by_told = bool(np.isfinite(told[i]))
        percent, days = (told[i], span[i]) if by_told else (main.stands.percent, float(MAIN))
        record = out.records[stations[key[0]]]
        lack = None if np.isfinite(main.stands.amount) else lack_said(record, context.on, main.days, main.missing)
        ground = None if lack and key[4] < 0 else grounds[key]  # without the last days a balance needs a probe
        growth = none if ground is None else _between_soils(ground.growth[:, years], soil_draw)
        shares = {float(days): s.stands.percent / 100 for days, s in rain.spans.items()}
        since = {day: s.stands.percent / 100 for day, s in rain.since.items()}
        trigger, share = _trigger(context, str(table.text("crop")[i]), since)
        classed = _by_percent(context, {span[i]: told[i] / 100} if by_told else shares)
        rows.append(
            Row(
                rain,
                ground,
                growth,
                float(percent),
                float(days),
                float(drought.percentile_of(main.index)),
                classed,
                trigger,
                share,
                lack,
            )
        )
    return rows


def _bare(table: Table, context: Context, i: int, none: Floats, percent: float, days: float) -> Row:
    """Without a station: what was told of the rain, where its normal says anything."""
    little = table.number("normal")[i] < context.facts.value(_FACTS + "least_normal")
    share = np.nan if little else percent / 100
    table_of = context.facts[_FACTS + "range_triggers"].column("since")
    near = {day: share for day in table_of if abs(days_since_day(context.on, day) - days) <= _NEAR}
    trigger, of = _trigger(context, str(table.text("crop")[i]), near)
    return Row(None, None, none, percent, days, np.nan, _by_percent(context, {days: share}), trigger, of)


def _keys(table: Table, context: Context, at: NDArray[np.int64]) -> list[Key]:
    """What the balance of each row depends on."""
    planted = [None if np.isnat(d) else d.item() for d in table.date("planting_date")]
    left = np.nan_to_num(table.number("soil_water"), nan=-1.0)
    return [
        (int(k), str(c), str(s), p if root_zone(context.facts, str(c)).stages else None, float(w))
        for k, c, s, p, w in zip(at, table.text("crop"), table.text("soil"), planted, left, strict=True)
    ]


def _between_soils(growth: Floats, draw: Floats) -> Floats:
    """(draw,) growth between that on the soil holding least, the middle one and the one holding most, by a draw."""
    lower, upper = growth[0] + 2 * draw * (growth[1] - growth[0]), growth[1] + (2 * draw - 1) * (growth[2] - growth[1])
    return np.asarray(np.where(draw < 0.5, lower, upper), dtype=np.float64)


def _by_percent(context: Context, shares: dict[float, float]) -> int:
    """Class of the published percents of normal; -1 for none, UNTOLD where no line is printed for spans so short.

    A class counts over its own span of days, or longer.
    """
    rows = context.facts[_FACTS + "percent_classes"].rows
    least = min(float(row[2]) for row in rows)
    found = -1 if any(span >= least and np.isfinite(share) for span, share in shares.items()) else UNTOLD
    for at, (_, below, days) in enumerate(rows):
        if any(span >= days and share < below for span, share in shares.items()):
            found = at
    return found


def _trigger(context: Context, crop: str, shares: dict[str, float]) -> tuple[int, float]:
    """The trigger of the range that today's rain crosses, and the rain since its day as a share of normal."""
    if crop_of(crop) not in _RANGE:
        return -1, np.nan
    for at, row in enumerate(context.facts[_FACTS + "range_triggers"].rows):
        share = shares.get(str(row[2]), np.nan)
        if _within(context.on, str(row[0]), str(row[1])) and share < float(row[3]):
            return at, share
    return -1, np.nan


def grazed(crop: str) -> bool:
    """Grass that is measured by clipping, and what nobody named; any other crop is judged by its soil and leaves."""
    return crop_of(crop) in _GRASS


def _within(on: date, first: str, last: str) -> bool:
    return days_since_day(on, first) >= 0 >= days_since_day(on, last)


def growth_made(context: Context) -> tuple[float, float, float] | None:
    """Shares of the year's cool-season (low, high) and warm-season growth made by now, where it is published."""
    for first, last, low, high, warm in context.facts[_FACTS + "growth_made"].rows:
        if _within(context.on, str(first), str(last)):
            return float(low), float(high), float(warm)
    return None


@dataclass(frozen=True)
class Case:
    """A batch of ground; arrays (place,) unless said.

    Attributes
    ----------
    rows : what was found, one a place
    growth : (place, draw) of usual
    known : growth is known
    classes : class of the station's percentile, -1 for none
    stress : share of the root zone's water under which the crop stands under stress
    stressed : a probe, and no station, says so
    pressing : forage short and a drought by the percentile: feed is secured now
    hard : forage short, a drought or a trigger crossed: what stands on the ground now is not what it usually is
    dry : something says that it is dry
    """

    table: Table
    context: Context
    rows: list[Row]
    growth: Floats
    known: Bools
    classes: NDArray[np.int64]
    stress: Floats
    stressed: Bools
    pressing: Bools
    hard: Bools
    dry: Bools

    @property
    def bare(self) -> Bools:
        """Something was told, and no station draws the coming weeks."""
        told = np.array([np.isfinite(r.percent) for r in self.rows]) | self.table.known("soil_water")
        return np.asarray(~self.known & told)

    @property
    def nothing(self) -> Bools:
        """Neither a station nor anything told."""
        return np.asarray(~self.known & ~self.bare)


def case_of(table: Table, context: Context) -> Case:
    """Everything that the verdict and the sentences need."""
    facts = context.facts
    rows = _rows(table, context)
    growth = np.stack([r.growth for r in rows])
    known = np.asarray(~np.isnan(growth).any(axis=1))
    classes = drought.drought_class([r.percentile for r in rows], facts[_FACTS + "classes"].column("upper"))
    little = facts.value(_FACTS + "scarce_forage")
    scarce = known & (median(np.where(np.isnan(growth), 1.0, growth), axis=1) < little)
    told = table.number("normal") < facts.value(_FACTS + "least_normal")
    below = (np.array([r.percent for r in rows]) < 100 * little) & ~told
    stress = 1.0 - np.array([root_zone(facts, str(c)).fraction for c in table.text("crop")])
    stressed = np.asarray(~known & (table.number("soil_water") < stress))
    crossed = np.array([r.trigger >= 0 for r in rows])
    pressing = scarce & (classes >= 1)
    dry = scarce | (classes >= 0) | (~known & below) | stressed | crossed
    hard = np.asarray(scarce | (classes >= 1) | crossed)
    return Case(table, context, rows, growth, known, classes, stress, stressed, pressing, hard, np.asarray(dry))


def money_of(case: Case) -> tuple[Floats, Floats]:
    """(place, draw, option) what securing the likely shortage now brings over waiting, and what waiting costs."""
    table, context = case.table, case.context
    short = np.maximum(1 - np.where(np.isnan(case.growth), 1.0, case.growth), 0.0)  # share of usual forage
    tons = np.nan_to_num(table.number("forage"))[:, None] * short / 2000
    price = np.nan_to_num(table.number("price"))[:, None]
    later = price * context.outlook.price_ratio("grass hay", [AHEAD])[:, 0]
    likely = median(tons, axis=1)[:, None]
    left_over = np.maximum(likely - tons, 0.0) * later
    buy = -(likely * price + np.maximum(tons - likely, 0.0) * later - left_over)
    wait = -tons * later
    return np.stack([buy - wait, np.zeros_like(buy)], axis=2), wait


def bars(case: Case) -> tuple[Barred, ...]:
    """In a drought with short forage ahead a shortage is met now, while there is feed and a market."""
    none = np.zeros(len(case.rows), bool)
    return (Barred(np.stack([none, case.pressing], axis=1), say("bar.rain_short")),)


def looks(case: Case) -> tuple[Look, ...]:
    """The grass and the hay on hand, measured: forage is counted from today, and what dry weeks did not grow is gone.

    Its worth is unknown here; it is taken to be worth setting out for.
    """
    rows = case.context.facts["decide/trouble.least"].rows
    least = next(low for kind, money, low in rows if (kind, money) == ("pass", UNIT))
    n = len(case.rows)
    worth = np.where(case.hard & ~case.pressing, float(least), 0.0)
    return (Look(np.zeros((n, 1)), np.zeros(n), np.full(n, WITHIN), worth=worth),)


def needs(case: Case) -> dict[str, Bools]:
    """A station, or its newest days; where it is dry, the grass and the price of feed."""
    ask = case.dry & ~case.pressing & case.known
    lacks = np.array([r.lack is not None for r in case.rows]) & ~case.known
    return {
        "station.days": case.nothing | (lacks & ~case.bare) | (case.bare & case.dry),
        "place.forage": ask & ~case.table.known("forage"),
        "rain-deficit.price": ask & ~case.table.known("price"),
    }


def due(case: Case) -> NDArray[np.int64]:
    """(place,) days until the middle future has used its readily available water, where it presses; -1 elsewhere."""
    found = np.full(len(case.rows), LATEST, dtype=np.int64)
    for i, row in enumerate(case.rows):
        if row.ground is not None:
            zone = row.ground.zone
            dry = median(row.ground.depletion[1], axis=0) > zone.fraction * zone.available
            found[i] = min(int(np.argmax(dry)) if dry.any() else LATEST, LATEST)
    return np.where(case.pressing, found, -1)


def left(row: Row) -> float:
    """Share of the root zone's water that is left, in the middle soil; NaN without a balance."""
    if row.ground is None:
        return np.nan
    return float(1 - row.ground.depletion_today[1] / row.ground.zone.available)


def quantities(case: Case) -> dict[str, tuple[Any, Any]]:
    """Figures of a call."""
    rows, facts = case.rows, case.context.facts

    def of(value: Any) -> Floats:
        return np.array([np.nan if r.standing is None or r.ground is None else float(value(r)) for r in rows])

    found: dict[str, tuple[Any, Any]] = {}
    for days in SPANS:
        found[f"rain_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].stands.amount / INCH), "inch")
        found[f"percent_of_normal_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].stands.percent), "%")
        found[f"precipitation_index_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].index), "1")
    percentile = ~np.isnan([r.percentile for r in rows])
    by_percent = np.array(
        ["" if np.isnan(r.percent) or r.by_percent == UNTOLD else name_of(r.by_percent) for r in rows]
    )
    little = facts.value(_FACTS + "scarce_forage")
    return {
        "percent_of_normal": (np.array([r.percent for r in rows]), "%"),
        **found,
        "drought_class": (np.where(percentile, [name_of(c) for c in case.classes], ""), ""),
        "drought_class_by_percent": (by_percent, ""),
        "departure_90_days": (of(lambda r: r.standing.spans[MAIN].stands.departure / INCH), "inch"),
        "missing_days_90": (of(lambda r: r.standing.spans[MAIN].missing), "day"),
        "dry_days_in_a_row": (of(lambda r: r.standing.dry_now), "day"),
        "days_since_soaking_rain": (of(lambda r: r.standing.since_soaking), "day"),
        "soil_water_left": (np.where(case.known, of(left), case.table.number("soil_water")), "1"),
        "soil_water_capacity": (of(lambda r: r.ground.zone.available / INCH), "inch"),
        "forage_growth_60_days": (of(lambda r: median(r.growth)), "1"),
        "forage_growth_poor_year": (of(lambda r: quantile(r.growth, 0.1)), "1"),
        "chance_of_scarce_forage": (of(lambda r: (r.growth < little).mean()), "1"),
    }


def name_of(index: int) -> str:
    """ "D2", or "none"."""
    return f"D{index}" if index >= 0 else "none"
