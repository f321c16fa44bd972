"""Water in the wheat: what is stored, what the crop has used since sowing, and the published lines to grain."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from sideoats.decide.laws import quantile
from sideoats.facts import Fact, Facts
from sideoats.question import Context, Table
from sideoats.wheat import water
from sideoats.wheat.days import days_ahead, harvest_days
from sideoats.wheat.drawn import INCH_MM

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SLIP = 2.0  # times outside the usual use by a day at which a figure is asked back: a point or a digit is lost


@dataclass(frozen=True)
class Water:
    """A batch; arrays (place,) or (place, draw).

    Attributes
    ----------
    chosen : (place) the line followed: its key and fact
    stored : (place,) water stored now [in]
    rain, used : (place, draw) rain to come, water used since sowing [in]
    known : (place,) the water used is known and not a range by the date
    slip : (place,) more is held now than was at sowing and has fallen since
    usual : low and high of the water used by this day [in]; odd : (place,) what is told lies far outside that
    grain, beside : (place, draw) yield by the line followed and by the other [bu/ac]
    crops : (place, draw) yield of single crops about a line that is a mean, the line itself where it is a boundary
    """

    chosen: list[tuple[str, Fact]]
    stored: Floats
    rain: Floats
    used: Floats
    known: Bools
    slip: Bools
    usual: tuple[float, float]
    odd: Bools
    grain: Floats
    beside: Floats
    crops: Floats

    @property
    def slope(self) -> Floats:
        """(place,) grain for an inch [bu/ac/in]."""
        return np.array([line_of(fact)[0] for _, fact in self.chosen])

    @property
    def start(self) -> Floats:
        """(place,) water used before there is any grain [in]."""
        return np.array([line_of(fact)[1] for _, fact in self.chosen])


def span_of(values: Floats) -> Floats:
    """Low, middle and high (3, place) of eight futures in ten."""
    return np.asarray(quantile(np.nan_to_num(values), [0.1, 0.5, 0.9], axis=1))


def water_of(table: Table, context: Context) -> Water:
    """Grain over the rain of past years, or over the rain given, by one published line, the other beside it."""
    facts, out = context.facts, context.outlook
    followed = [str(line).replace("-", "_") or None for line in table.text("line")]
    chosen = [facts.choose("wheat/water_yield", key) for key in followed]
    rain = table.number("rain")[:, None] + np.zeros((1, out.draws))
    if out.has_weather and np.isnan(rain).any():
        ahead = out.daily("rain")[:, :, : harvest_days(context)].sum(axis=2)[:, out.year_of_draw] / INCH_MM
        rain = np.where(np.isnan(rain), ahead[out.station_rows(table.text("station"))], rain)
    stored = _stored(table, context)
    share = out.between("wheat rain used", *facts.span("wheat/water.rain_used"))
    used, known, slip = _used(table, context, stored, share)
    use = used + water.water_used(stored[:, None], rain, share)
    grain, beside = (
        np.stack([water.yield_from_water(u, *line) for u, line in zip(use, lines, strict=True)])
        for lines in ([line_of(fact) for _, fact in chosen], [_other(facts, key) for key, _ in chosen])
    )
    about = facts.value("wheat/water.scatter") * np.array([key != "french_schultz" for key, _ in chosen], np.float64)
    crops = np.maximum(grain * (1 + about[:, None] * out.normal("yield about the water line", table.keys)), 0.0)
    low, high = _usual_use(context)
    told = table.number("used")
    odd = np.asarray((told < low / SLIP) | (told > np.maximum(SLIP * high, SLIP)))
    return Water(chosen, stored, rain, used, known, slip, (low, high), odd, grain, beside, crops)


def _stored(table: Table, context: Context) -> Floats:
    given, depth = table.number("stored"), table.number("moist_depth")
    if np.isnan(depth).all():
        return given
    holds = {str(row[0]): float(row[1]) for row in context.facts["wheat/water.holding"].rows}
    per_foot = np.array([holds.get(str(t), np.nan) for t in table.text("texture")])
    return np.where(np.isnan(given), water.stored_water(depth, per_foot), given)


def _sown_days_ago(table: Table, context: Context) -> Floats:
    """(place,) days since this crop was sown, by the usual date where the field's own is not known; 0 before it."""
    month, day = (int(p) for p in context.facts["wheat/stages.usual_sowing"].text.split("-"))
    ahead = days_ahead(context.on, month, day)
    usual = float((365 - ahead) % 365) if harvest_days(context) < ahead else 0.0
    own = -table.days_until("planting_date", context.on)
    return np.where(np.isnan(own) | (own > 330), usual, np.maximum(own, 0.0))


def _used(table: Table, context: Context, stored: Floats, share: Floats) -> tuple[Floats, Bools, Bools]:
    """Water used since sowing (place, draw) [in], and whether it was told (place,); a range where it was not.

    Last (place,): more water is held now than there was at sowing and has fallen since, so one of the three is a slip.
    """
    out, since = context.outlook, _sown_days_ago(table, context)
    told, start = table.number("used"), table.number("stored_at_sowing")
    fallen = table.number("rain_since")
    fallen = np.where(np.isnan(fallen), _rain_of(table, context, since), fallen)
    slip = np.isnan(told) & (stored > start + fallen)
    reckoned = water.used_so_far(start[:, None], stored[:, None], fallen[:, None], share)
    used = np.where(np.isnan(told)[:, None], reckoned, told[:, None])
    used = np.where(np.isnan(used) & (since <= 0)[:, None], 0.0, used)
    known = np.isfinite(used[:, 0])
    if known.all():
        return used, known, slip
    low, high = _usual_use(context)
    return np.where(known[:, None], used, out.between("water used since sowing", low, high)), known, slip


def _usual_use(context: Context) -> tuple[float, float]:
    """Low and high of the water that a crop sown at the usual time has used by this day [in]."""
    rows = context.facts["wheat/water.used_by"].rows
    month, day = (int(p) for p in str(rows[0][0]).split("-"))

    def since(on: date) -> int:
        return (365 - days_ahead(on, month, day)) % 365

    at = [since(date(context.on.year, *(int(p) for p in str(row[0]).split("-")))) for row in rows]
    low, high = (np.interp(since(context.on), at, [float(row[k]) for row in rows]) for k in (1, 2))
    return float(low), float(high)


def _rain_of(table: Table, context: Context, since: Floats) -> Floats:
    """(place,) rain [in] that the station has seen since sowing; NaN where its record is not whole enough."""
    most = context.facts.value("weather/pace.most_missing")
    found = []
    for name, days in zip(table.text("station"), since.astype(int).tolist(), strict=True):
        record = context.outlook.records.get(str(name))
        if record is None or days <= 0 or record.lacking(("rain",), context.on, days) > most * days:
            found.append(np.nan)
            continue
        end = record.index(context.on)
        found.append(float(np.nansum(record.usable("rain")[max(end - days, 0) : end]) / INCH_MM))
    return np.array(found, dtype=np.float64)


def line_of(fact: Fact) -> tuple[float, float]:
    """Slope [bu/ac/in] and start [in] of a line."""
    return float(fact.rows[0][0]), float(fact.rows[0][1])


def _other(facts: Facts, key: str) -> tuple[float, float]:
    """The line that is not followed."""
    rival = next(k for k in facts.choices["wheat/water_yield"].among if k != key)
    return line_of(facts.choose("wheat/water_yield", rival)[1])
