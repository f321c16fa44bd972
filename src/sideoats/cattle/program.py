"""Dates of a calf health program, counted back from the sale.

All dates are ``datetime64[D]`` arrays (place,), NaT where not known; all intervals are whole days. The intervals
themselves (how long weaned, how long before weaning, how long between rounds) are facts or come from the buyer; this
module only counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Dates = NDArray[np.datetime64]
Masks = NDArray[np.bool_]
NEVER = np.datetime64("NaT", "D")


def as_days(dates: ArrayLike) -> Dates:
    """Dates, ISO text or None as ``datetime64[D]``; None becomes NaT."""
    return np.asarray(dates, dtype="datetime64[D]")


def shifted(dates: ArrayLike, days: ArrayLike) -> Dates:
    """`dates` moved by whole `days` [d]; NaT where either is unknown. Fractions of a day are cut off toward minus."""
    base, step = np.broadcast_arrays(as_days(dates), np.asarray(days, dtype=np.float64))
    known = np.isfinite(step)
    moved = base + np.where(known, np.floor(np.where(known, step, 0.0)), 0.0).astype("timedelta64[D]")
    return np.where(known, moved, NEVER).astype("datetime64[D]")


def days_between(first: ArrayLike, last: ArrayLike) -> NDArray[np.float64]:
    """Days from `first` to `last` [d], NaN where either is unknown."""
    span = (as_days(last) - as_days(first)).astype("timedelta64[D]")
    return np.where(np.isnat(span), np.nan, span.astype(np.float64))


@dataclass(frozen=True)
class ProgramDates:
    """What a program asks, as dates (place,).

    Attributes
    ----------
    wean_by : last day to wean so that the calves are weaned long enough on the day of sale
    first_from, first_to : window of the first vaccine round
    booster_from, booster_to : window of the second round
    treat_by : last day of any treatment whose label asks for the withdrawal given
    castrate_by : last day to castrate so that calves are healed on the day of sale
    """

    wean_by: Dates
    first_from: Dates
    first_to: Dates
    booster_from: Dates
    booster_to: Dates
    treat_by: Dates
    castrate_by: Dates


def program_dates(
    sale: ArrayLike,
    *,
    program_days: ArrayLike,
    first_before_weaning: tuple[ArrayLike, ArrayLike],
    booster_after_first: tuple[ArrayLike, ArrayLike],
    withdrawal_days: ArrayLike = 0,
    healing_days: ArrayLike = 0,
    weaned: ArrayLike = NEVER,
    first_round: ArrayLike = NEVER,
) -> ProgramDates:
    """Count a program back from the day of sale.

    Parameters
    ----------
    sale : day of sale
    program_days : days weaned that the sale asks for [d]
    first_before_weaning : least and most days from the first round to weaning [d]
    booster_after_first : least and most days from the first round to the second [d], as the label allows
    withdrawal_days : longest label withdrawal over all products given [d]
    healing_days : days that a castration wound needs [d]
    weaned, first_round : days on which these were done, NaT where they are still to come

    Returns
    -------
    ProgramDates
        Where calves are weaned already the first-round window still counts back from that day; where the first round is
        done the booster window counts from it. The second round never falls after the last day for treatments.
    """
    sale_day, wean_day = as_days(sale), as_days(weaned)
    wean_by = shifted(sale_day, -np.asarray(program_days, dtype=np.float64))
    anchor = np.where(np.isnat(wean_day), wean_by, wean_day).astype("datetime64[D]")
    least_before, most_before = (np.asarray(x, dtype=np.float64) for x in first_before_weaning)
    first_from, first_to = shifted(anchor, -most_before), shifted(anchor, -least_before)
    done = as_days(first_round)
    least_gap, most_gap = booster_after_first
    treat_by = shifted(sale_day, -np.asarray(withdrawal_days, dtype=np.float64))
    booster_from = shifted(np.where(np.isnat(done), first_from, done), least_gap)
    booster_to = np.fmin(shifted(np.where(np.isnat(done), first_to, done), most_gap), treat_by)
    return ProgramDates(
        wean_by=wean_by,
        first_from=first_from,
        first_to=first_to,
        booster_from=booster_from,
        booster_to=booster_to,
        treat_by=treat_by,
        castrate_by=shifted(sale_day, -np.asarray(healing_days, dtype=np.float64)),
    )


def program_conflicts(
    dates: ProgramDates,
    *,
    sale: ArrayLike,
    on: ArrayLike,
    program_days: ArrayLike,
    least_gap: ArrayLike,
    most_gap: ArrayLike,
    weaned: ArrayLike = NEVER,
    first_round: ArrayLike = NEVER,
    booster: ArrayLike = NEVER,
    castrated: ArrayLike = NEVER,
    needs_castration: ArrayLike = False,
    clear: ArrayLike = NEVER,
) -> dict[str, Masks]:
    """What cannot be met any more, or was done at the wrong time, by name; masks (place,).

    Parameters
    ----------
    dates : the program counted back
    sale, on : day of sale and the day of asking
    program_days, least_gap, most_gap : days weaned asked for, and least and most days between the rounds [d]
    weaned, first_round, booster, castrated : days on which these were done, NaT where not yet
    needs_castration : bulls are still to be castrated
    clear : first day on which every treatment's withdrawal is over (`withdrawal_clear`)
    """
    sale_day, today = as_days(sale), as_days(on)
    wean_day, first_day, second_day, cut = (as_days(x) for x in (weaned, first_round, booster, castrated))
    gap = days_between(first_day, second_day)
    no_first, no_second = np.isnat(first_day), np.isnat(second_day)
    first_last = shifted(dates.treat_by, -np.asarray(least_gap, dtype=np.float64))
    return {
        "sale is past": sale_day < today,
        "weaned too few days": days_between(wean_day, sale_day) < np.asarray(program_days, dtype=np.float64),
        "weaning date is past": np.isnat(wean_day) & (dates.wean_by < today),
        "first round window is past": no_first & (dates.first_to < today),
        "no time for two rounds": no_first & (first_last < today),
        "booster window is past": no_second & (dates.booster_to < today),
        "rounds too close together": gap < np.asarray(least_gap, dtype=np.float64),
        "rounds too far apart": gap > np.asarray(most_gap, dtype=np.float64),
        "booster before first round": gap < 0,
        "booster would be after the last day for treatments": no_second & (dates.booster_from > dates.treat_by),
        "castration date is past": np.asarray(needs_castration, bool) & np.isnat(cut) & (dates.castrate_by < today),
        "castration wound not healed at sale": cut > dates.castrate_by,
        "withdrawal runs past the sale": as_days(clear) > sale_day,
    }


def withdrawal_clear(treated: ArrayLike, withdrawal_days: ArrayLike) -> Dates:
    """First day on which no animal of the lot is inside a withdrawal: the LATEST of last treatment + label withdrawal.

    Parameters
    ----------
    treated : (..., product) day of the last treatment with each product, NaT for none
    withdrawal_days : (..., product) the label's withdrawal, whole days [d]; a fraction counts as a whole day more

    Returns
    -------
    (...,) dates, NaT where nothing was given
    """
    days, wait = np.broadcast_arrays(as_days(treated), np.ceil(np.asarray(withdrawal_days, dtype=np.float64)))
    ends = shifted(days, wait)
    known = ~np.isnat(ends)
    latest = np.where(known, ends, np.datetime64("0001-01-01", "D")).max(axis=-1)
    return np.where(known.any(axis=-1), latest, NEVER).astype("datetime64[D]")


def first_qualifying_sale(weaned: ArrayLike, on: ArrayLike, program_days: ArrayLike) -> Dates:
    """Earliest sale day that meets the days weaned, if weaning is done on the day given or else today."""
    wean_day, today = as_days(weaned), as_days(on)
    start = np.where(np.isnat(wean_day), today, wean_day).astype("datetime64[D]")
    return shifted(start, program_days)
