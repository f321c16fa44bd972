"""The hour of the sun as an hour of the clock on the wall."""

from __future__ import annotations

from sideoats.question import Context


def solar_noon(context: Context, *, sure: bool) -> float:
    """Clock hour of solar noon in the middle of a time zone.

    Parameters
    ----------
    sure : summer time only where it holds in any year by this date; else also where it may hold already
    """
    window = "summer-time-sure" if sure else "summer-time-possible"
    key = "solar_noon" if context.region.holds(window, context.on) else "solar_noon_winter"
    return context.facts.value(f"weather/spraying.{key}")
