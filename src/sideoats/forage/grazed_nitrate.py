"""Nitrate of forage that is grazed: what a laboratory found, and whether stress or nitrogen makes an untested one
suspect.

No level is published for forage that is grazed: the lines for hay are used, the strictest of those that were read. A
clean result speaks for the plants and the days of its sample; a hot one is asked for again while the growth stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.facts import Facts, load
from sideoats.forage import nitrate, stock
from sideoats.forage.drought import dry_by_place
from sideoats.forage.nitrate_tables import tables
from sideoats.question import Context, Table
from sideoats.records import dataclass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
HEAVY = "heavy"
FIELDS = ("nitrate", "nitrate_form", "nitrate_basis", "nitrate_moisture", "tested")


@dataclass(frozen=True)
class GrazedNitrate:
    """(n,) each.

    Attributes
    ----------
    level : [ppm NO3-N dry] of the result; NaN unknown or unreadable
    over : over a line for hay, in a sample of these days
    unread : a result without its ion, basis or moisture
    torn : a part of a slip is told, and not its number
    low : under every line that binds, in a sample that is known to be of these days: nitrate is cleared
    undated : the same, but its day is not told or not to be believed, so that it clears nothing
    hot_before : an older sample of this growth was over a line
    stressed : short of water, hailed or stunted, told or by the station's dry record
    by_record : stressed by that record alone
    stress_untold, nitrogen_untold : nobody has said, and no test clears it
    suspect : stressed, heavily fertilized or hot before, and no test clears it
    """

    level: Floats
    over: Bools
    unread: Bools
    torn: Bools
    low: Bools
    undated: Bools
    hot_before: Bools
    stressed: Bools
    by_record: Bools
    stress_untold: Bools
    nitrogen_untold: Bools
    suspect: Bools


def fresh_sample(facts: Facts, moisture: Any) -> Bools:
    """True where a sample of green forage can hold that moisture [share]: neither dried nor its dry matter."""
    band = facts["forage/moisture.standing"]
    shares = np.asarray(moisture, dtype=np.float64)
    return np.asarray((shares >= band.low - 1e-9) & (shares <= band.high + 1e-9))


def torn(table: Table, number: str, *parts: str) -> Bools:
    """(n,) True where a form, basis or moisture is told and not the number that it belongs to."""
    told = np.logical_or.reduce([table.known(part) for part in parts])
    return np.asarray(told & ~table.known(number))


def speaks(facts: Facts) -> tuple[float, float]:
    """Days for which a sample of a standing crop speaks, and days back to which its growth goes."""
    sample, season = facts["forage/standing.days"].column("days")
    return float(sample), float(season)


def sample_age(table: Table, context: Context, name: str) -> Floats:
    """(n,) days since the sample behind a laboratory's result, the older of what is told and on file; NaN where nobody
    says, or where the day told is still to come."""
    filed = table.age_days(name) if name in table.ages else np.full(len(table), np.nan)
    told = -table.days_until("tested", context.on)
    return np.where(told < 0, np.nan, np.fmax(filed, told))


def kept(table: Table, context: Context, name: str) -> Bools:
    """(n,) True where a result is not known to be older than the days for which its sample speaks: a hot one counts."""
    return np.asarray(~(sample_age(table, context, name) > speaks(context.facts)[0]))


def dated(table: Table, context: Context, name: str) -> Bools:
    """(n,) True where a result is known to be of the days for which its sample speaks: a clean one counts."""
    return np.asarray(sample_age(table, context, name) <= speaks(context.facts)[0])


def grazed_nitrate(table: Table, context: Context, accumulates: Bools) -> GrazedNitrate:
    """All of it, for forage that builds up nitrate where `accumulates`; stress is read from a station where there is
    one.
    """
    level, readable = _levels(table, context.facts)
    known = table.known("nitrate")
    allowed = _allowed(level, list(table.text("class")), context.facts)
    now = kept(table, context, "nitrate")
    low, hot = readable & allowed & dated(table, context, "nitrate"), readable & ~allowed
    undated = readable & allowed & np.isnan(sample_age(table, context, "nitrate"))
    told, dry = table.known("stress"), np.zeros(len(table), dtype=bool)
    if "station" in table.columns:
        dry = dry_by_place(table.text("station"), context.outlook.records, context.on, context.facts)
    stressed = table.flag("stress") | (~told & dry)
    heavy = np.asarray(table.text("nitrogen") == HEAVY)
    over, unread = hot & now, known & ~readable
    open_ = accumulates & ~low & ~over & ~unread
    suspect = open_ & (stressed | heavy | (hot & ~now))
    needed = suspect | (open_ & (~(told | stressed) | ~table.known("nitrogen")))  # what the sample would clear
    return GrazedNitrate(
        level,
        over,
        unread,
        torn(table, *FIELDS[:4]),
        low,
        undated & needed,
        hot & ~now,
        stressed,
        stressed & ~told,
        stress_untold=open_ & ~told & ~stressed,
        nitrogen_untold=open_ & ~table.known("nitrogen"),
        suspect=suspect,
    )


def _levels(table: Table, facts: Facts) -> tuple[Floats, Bools]:
    """The results as ppm NO3-N of dry matter, and where they can be read."""
    value, moisture = table.number("nitrate"), table.number("nitrate_moisture")
    forms, bases = table.text("nitrate_form"), table.text("nitrate_basis")
    stated = np.array([f in nitrate.IONS and b in nitrate.BASES for f, b in zip(forms, bases, strict=True)], dtype=bool)
    wet = np.array([b == "as-fed" for b in bases], dtype=bool)
    usable = ~np.isnan(value) & stated & (~wet | fresh_sample(facts, moisture))
    level = np.full(len(table), np.nan)
    for i in np.flatnonzero(usable):
        try:
            level[i] = nitrate.nitrate_nitrogen_dry(value[i], form=forms[i], basis=bases[i], moisture=moisture[i])
        except InputError:  # more than nitrate can hold: it clears nothing
            usable[i] = False
    return level, usable


def _allowed(level: Floats, animals: Sequence[Any], facts: Facts) -> Bools:
    """Under every line that binds these animals, as their only feed."""
    out = np.ones(len(level), dtype=bool)
    if np.isnan(level).all():  # no table is cited for rows without a result (they are asked apart)
        return out
    _, held = tables(facts)
    risk = stock.risk_of(animals)
    for table in held.values():
        if table.binds:
            out &= table.largest_share(level, risk)[1]
    return out


def slips(values: dict[str, Any]) -> list[str]:
    """What is wrong with a nitrate result of a phone-in: form, basis or moisture lacking, or not of green forage."""
    if values["nitrate"] is None:
        return []
    facts = load()
    out = [
        f"{name} is missing, expected {' or '.join(words)}"
        for name, words in (("nitrate_form", nitrate.IONS), ("nitrate_basis", nitrate.BASES))
        if values[name] is None
    ]
    if values["nitrate_basis"] == "as-fed" and not fresh_sample(facts, values["nitrate_moisture"] or 0.0):
        band = facts.by_id["forage/moisture.standing"]
        between = f"expected {100 * band.low:.0f} to {100 * band.high:.0f} %"
        out.append(f"nitrate_moisture of green forage as fed, {between}; give a dried sample on its dry matter")
    return out
