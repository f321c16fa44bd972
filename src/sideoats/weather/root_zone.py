"""The root zone of a crop at a station: today's depletion from the past, the coming weeks from past years, forage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.crops import crop_of
from sideoats.facts import Facts
from sideoats.weather.arrays import Floats, floats
from sideoats.weather.crop_water import coefficient_curve, total_available_water, water_balance
from sideoats.words import Between, Name, Said, say

# What the coefficients' table does not have, and the row that stands for it
_STANDS_FOR = {
    "forage sorghum": "sudangrass", "sorghum-sudan": "sudangrass", "johnsongrass": "sudangrass",
    "pearl millet": "millet", "foxtail millet": "millet", "proso millet": "millet",
}  # fmt: skip


@dataclass(frozen=True)
class RootZone:
    """What the balance of one crop on one soil needs. `available` in mm, `fraction` 0 to 1; `assumed` as sentences."""

    crop: str
    coefficients: tuple[float, float, float]
    stages: tuple[float, ...]
    grows: tuple[int, int] | None
    available: float
    available_low: float
    available_high: float
    fraction: float
    assumed: tuple[Said, ...]


def root_zone(facts: Facts, crop: str, texture: str = "", *, root_m: float = np.nan) -> RootZone:
    """The root zone of a crop, from the facts; what is not known is taken and said in `assumed`.

    Parameters
    ----------
    crop : as written on the place; unknown crops are taken as native grass
    texture : soil texture; unknown where it is none of the table's
    root_m : rooting depth [m]; the table's where NaN
    """
    table = facts["weather/crop_water.coefficients"]
    names = [str(n) for n in table.column("crop")]
    assumed = []
    name = _STANDS_FOR.get(crop_of(crop), crop_of(crop))
    if name not in names:
        assumed.append(say("root_zone.crop", crop=Name(crop)) if crop else say("root_zone.no_crop"))
        name = "native grass"
    row = dict(zip(table.columns, table.rows[names.index(name)], strict=True))
    soils = facts["weather/crop_water.available"]
    textures = [str(t) for t in soils.column("texture")]
    if texture.strip().lower() in textures:
        at = textures.index(texture.strip().lower())
        low, high = soils.column("low")[at], soils.column("high")[at]
    else:
        low, high = facts.span("weather/crop_water.available_unknown")
        assumed.append(say("root_zone.no_soil", water=Between((float(low), float(high)), unit="mm/m")))
    depth = float(row["root"]) if np.isnan(root_m) else root_m
    stages = facts["weather/crop_water.stages"]
    crops = [str(c) for c in stages.column("crop")]
    season = facts["weather/crop_water.growth_season"]
    stands = [str(c) for c in season.column("crop")]
    lengths = tuple(float(x) for x in stages.rows[crops.index(name)][1:]) if name in crops else ()
    grows = (
        (int(season.rows[stands.index(name)][1]), int(season.rows[stands.index(name)][2])) if name in stands else None
    )
    spread = [float(total_available_water(w / 1000, 0.0, depth)) for w in (low, (low + high) / 2, high)]
    return RootZone(
        name,
        (float(row["initial"]), float(row["mid"]), float(row["end"])),
        lengths,
        grows,
        spread[1],
        spread[0],
        spread[2],
        float(row["fraction"]),
        tuple(assumed),
    )


def daily_coefficient(zone: RootZone, day_of_year: NDArray[np.int64], since_planting: Floats | None = None) -> Floats:
    """Crop coefficient of each day (day,): by days since planting for a sown crop, by the calendar for a stand.

    Outside a stand's growing season, or before a crop is sown, the initial coefficient holds.
    """
    initial, mid, end = zone.coefficients
    if zone.stages and since_planting is not None:
        curve = coefficient_curve(since_planting, np.array(zone.stages), initial, mid, end)
        over = since_planting > sum(zone.stages) + 30
        return np.where((since_planting < 0) | over, initial, curve)
    if zone.grows is not None:
        return np.where((day_of_year >= zone.grows[0]) & (day_of_year <= zone.grows[1]), mid, initial)
    return np.full(day_of_year.shape, mid)


@dataclass(frozen=True)
class ForageAhead:
    """Water and growth of the coming days; `...` are the axes of the fields.

    Attributes
    ----------
    depletion_today : (...) [mm]
    depletion : (..., year, day) [mm]
    growth : (..., year) transpiration of the coming days over that of the usual year, 1 is usual
    usual : (...) transpiration of the usual year [mm]
    """

    depletion_today: Floats
    depletion: Floats
    growth: Floats
    usual: Floats


def forage_ahead(
    past_et: ArrayLike,
    past_rain: ArrayLike,
    past_coefficient: ArrayLike,
    ahead_et: ArrayLike,
    ahead_rain: ArrayLike,
    ahead_coefficient: ArrayLike,
    available: ArrayLike,
    fraction: ArrayLike,
    *,
    start_of_window: NDArray[np.int64],
    window_counts: ArrayLike = True,
    told_depletion: ArrayLike = np.nan,
) -> ForageAhead:
    """Run the balance up to today, then through each past year's coming days, for many fields at once.

    Growth is taken as proportional to transpiration (a common first approximation for forage short of water).

    Parameters
    ----------
    past_et, past_rain, past_coefficient : (..., day) up to yesterday [mm/day]; days outside a field's own record have
        NaN weather and a coefficient of 0, which leaves its soil as it was
    ahead_et, ahead_rain : (..., year, day) from today [mm/day]; ahead_coefficient (..., day)
    available : (...) total available water [mm]
    fraction : (...) depletion fraction
    start_of_window : (window,) positions in the past series at which the same calendar window began in earlier years
    window_counts : (..., window) False where the window does not lie within the field's own record
    told_depletion : (...) depletion measured today [mm], NaN where not
    """
    taw, share = floats(available), floats(fraction)
    past = water_balance(
        past_et, past_rain, past_coefficient, taw[..., None], share[..., None], start_depletion=taw / 2
    )
    told = np.broadcast_to(floats(told_depletion), taw.shape)
    today = np.where(np.isnan(told), past.depletion[..., -1], np.minimum(told, taw))
    et = floats(ahead_et)
    span = et.shape[-1]
    coming = water_balance(
        et,
        ahead_rain,
        floats(ahead_coefficient)[..., None, :],
        taw[..., None, None],
        share[..., None, None],
        start_depletion=today[..., None],
    )
    usual = _usual(past.crop_et, span, start_of_window, window_counts)
    growth = coming.crop_et.sum(axis=-1) / np.where(usual > 0, usual, np.nan)[..., None]
    return ForageAhead(today, coming.depletion, growth, usual)


def _usual(crop_et: Floats, span: int, starts: NDArray[np.int64], counts: ArrayLike) -> Floats:
    """(...) median over the windows that count of the transpiration in them [mm]; NaN without any."""
    inside = (starts >= 0) & (starts + span <= crop_et.shape[-1])
    sums = [crop_et[..., b : b + span].sum(axis=-1) for b in starts[inside].tolist()]
    if not sums:
        return np.full(crop_et.shape[:-1], np.nan)
    counted = np.broadcast_to(np.asarray(counts, bool), (*crop_et.shape[:-1], len(starts)))[..., inside]
    windows = np.where(counted, np.stack(sums, axis=-1), np.nan)
    none = np.asarray(~counted.any(axis=-1))
    return np.where(none, np.nan, np.nanmedian(np.where(none[..., None], 0.0, windows), axis=-1))
