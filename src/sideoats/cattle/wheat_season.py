"""The season of wheat pasture: when calves can be on it, and whether it comes. Days are the region's, chances facts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import answering
from sideoats.question import Context, Table
from sideoats.words import Between, Said, Share, say

PASTURE_WINDOW = 60  # days of rain that decide about fall pasture, as the fact states
ENDS = (("pasture_end", "cattle-off-grain-wheat"), ("grazeout_end", "graze-out-ends"))  # field, day of the region


@dataclass(frozen=True)
class Stay:
    """Time owned and time on wheat, (place, end): until wheat kept for grain, and until graze-out ends.

    `days` is NaN for a day that is past. `no_wheat` is True where no wheat stands on the day that pasture is to begin,
    where that day is too far off, or where too few days on wheat are left. `turnout` is the usual turnout of the season
    that an end belongs to, or of the next one where there is no wheat.
    """

    days: NDArray[np.float64]
    pasture_days: NDArray[np.float64]
    no_wheat: NDArray[np.bool_]
    turnout: NDArray[np.datetime64]


def stay(table: Table, context: Context) -> Stay:
    """Days owned and days on pasture. Wheat is grazed in one season: sown in fall, off or grazed out by spring."""
    on, facts, region = context.on, context.facts, context.region
    longest = facts.value("cattle/wheat_pasture.longest_wait")
    least = facts.value("cattle/wheat_pasture.least_stay")
    given = table.days_until("turnout", on)
    n = len(table)
    days, pasture = (np.zeros((n, len(ENDS))) for _ in range(2))
    no_wheat, turnout = np.zeros((n, len(ENDS)), bool), np.full((n, len(ENDS)), np.datetime64(on, "D"))
    for at, (name, usual_end) in enumerate(ENDS):
        asked = table.days_until(name, on)
        end = answering.known_or(asked, float((region.next(usual_end, on) - on).days))
        earliest, usual = (
            np.array([(region.last(what, on + timedelta(days=int(e))) - on).days for e in end])
            for what in ("cattle-on-wheat-earliest", "cattle-on-wheat")
        )
        start = np.maximum(answering.known_or(given, usual), 0.0)
        days[:, at] = np.where(end > 0, end, np.nan)
        pasture[:, at] = np.maximum(end - start, 0.0)
        no_wheat[:, at] = (start > longest) | (start < earliest) | (pasture[:, at] < least)
        turnout[:, at] = np.where(
            no_wheat[:, at],
            np.datetime64(region.next("cattle-on-wheat", on), "D"),
            np.datetime64(on, "D") + usual.astype("timedelta64[D]"),
        )
    return Stay(days, pasture, no_wheat & ~np.isnan(days), turnout)


def pasture_comes(table: Table, context: Context) -> tuple[NDArray[np.bool_], Callable[[int], Said]]:
    """(place, draw) True where fall pasture comes, and how that was judged, by row.

    A stated chance wins; else rain over the next 60 days in the outlook's years against a screening line drawn from its
    published ends; else, while turnout is ahead, the usual share of years; else it is taken to stand already.
    """
    chance = table.number("pasture_chance")
    stated, facts = table.known("pasture_chance"), context.facts
    comes = facts["cattle/wheat_pasture.comes"]
    ahead = stay(table, context).turnout.min(axis=1) > np.datetime64(context.on, "D")
    ahead = np.where(table.known("turnout"), table.days_until("turnout", context.on) > 0, ahead)
    used = np.where(stated, chance, np.where(ahead, comes.value, 1.0))
    drawn = np.ones((len(table), context.outlook.draws), dtype=bool)
    unsure = np.flatnonzero(used < 1)
    if unsure.size:
        noise = context.outlook.uniform("pasture chance", [table.keys[i] for i in unsure])
        # as many futures as the chance says, so that what is told of them is the chance that was given
        order = noise.argsort(axis=1).argsort(axis=1)
        drawn[unsure] = order < np.round(used[unsure, None] * context.outlook.draws)
    if not context.outlook.has_weather:
        shares = {"x": Share(comes.value), "low": Share(comes.low), "high": Share(comes.high)}
        guess, stands = say("pasture.guess", **shares), say("pasture.stands")
        given = say("pasture.given")
        return drawn, lambda i: given if stated[i] else guess if ahead[i] else stands
    fact = facts["cattle/wheat_pasture.rain_needed"]
    rain = context.outlook.daily("rain")[:, :, :PASTURE_WINDOW].sum(axis=2) / 25.4
    rows = context.outlook.station_rows(list(table.text("station")))
    enough = context.outlook.between("pasture rain line", fact.low, fact.high)
    wet = rain[rows][:, context.outlook.year_of_draw] >= enough
    told = say("pasture.by_rain", n=PASTURE_WINDOW, line=Between((fact.low, fact.high), unit="in"))
    return np.where(stated[:, None], drawn, wet), lambda i: told
