"""Markets: each commodity's quotes, how far they may move, and what its past seasons did."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
from starlette.responses import Response

from sideoats import units
from sideoats.desk.pages.weather import made, room_calls
from sideoats.desk.shown import figure
from sideoats.desk.visit import READ, Page, Visit
from sideoats.outlook.draws import Outlook
from sideoats.outlook.seasonal import monthly_means, seasonal_index
from sideoats.pictures import Line, Picture, date_ticks, lines

AHEAD_DAYS = (30, 60, 90, 120, 150, 180, 210, 240, 270)
HISTORY_DAYS = 730
LISTED = 24
FEWEST_DAYS = 3 * 366  # of quotes, for a seasonal mean


def price_picture(commodity: str, unit: str, outlook: Outlook) -> Picture:
    """Quotes of two years, then the range that the outlook's draws give; the range is not a forecast."""
    days, prices = outlook.price_history[commodity]
    recent = days >= np.datetime64(outlook.on - timedelta(days=HISTORY_DAYS))
    days, prices = days[recent][-250:], prices[recent][-250:]
    last = float(prices[-1])
    draws = last * outlook.price_ratio(commodity, AHEAD_DAYS)
    low, middle, high = np.quantile(draws, (0.1, 0.5, 0.9), axis=0)
    ahead = [outlook.on + timedelta(days=d) for d in AHEAD_DAYS]
    when = [d.astype(object) for d in days] + ahead
    blank_past, blank_ahead = np.full(len(days), np.nan), np.full(len(ahead), np.nan)
    title = f"{commodity} at {figure(last, 2)} {unit}; in nine months {figure(low[-1], 2)} to {figure(high[-1], 2)}"
    summary = (
        f"Last quote {figure(last, 2)} {unit} on {when[len(days) - 1]:%d %B %Y}. From past moves, in 180 days 1 in 10 "
        f"futures is below {figure(low[5], 2)} and 1 in 10 above {figure(high[5], 2)}. A range from the past is not a "
        "forecast."
    )
    series = (
        Line("quoted", np.concatenate([prices, blank_ahead])),
        Line("range ahead", np.concatenate([blank_past, middle]), np.concatenate([blank_past, low]),
             np.concatenate([blank_past, high])),
    )  # fmt: skip
    return lines(
        title[:1].upper() + title[1:], summary, [float(d.toordinal()) for d in when], series, x_label="date",
        y_label=unit, x_ticks=date_ticks(when[0], when[-1]), x_names=[d.isoformat() for d in when], marks=False,
    )  # fmt: skip


def season_picture(commodity: str, outlook: Outlook) -> Picture | None:
    """Mean of past seasons by month with its spread; None where the record is short."""
    from sideoats.cattle.pictures import seasonal_band

    days, prices = outlook.price_history[commodity]
    if (days[-1] - days[0]).astype(int) < FEWEST_DAYS:
        return None
    first, _, monthly = monthly_means(days, prices)
    return seasonal_band(seasonal_index(first, monthly), what=commodity.capitalize())


def latest_quotes(visit: Visit) -> list[dict[str, Any]]:
    """The newest quote of every commodity and market."""
    snapshot = visit.desk.districts.on(visit.on).snapshot
    places = visit.desk.places(visit.person)
    rows = [
        {
            "commodity": commodity, "market": places[market].name if market in places else "any market",
            "price": str(entry.body.get("price", "")), "day": entry.seen_on, "id": entry.id,
        }
        for (market, commodity), entry in snapshot.quotes.items()
    ]  # fmt: skip
    return sorted(rows, key=lambda r: (str(r["commodity"]), str(r["market"])))


def markets_page(visit: Visit) -> Response:
    """One commodity's pictures, and every newest quote."""
    district = visit.desk.districts.on(visit.on)
    outlook, series = district.outlook, district.snapshot.quote_series
    known = sorted(outlook.price_history)
    chosen = visit.query("commodity").lower() or next(iter(known), "")
    makers: list[Callable[[], Picture | None]] = []
    if chosen in outlook.price_history:
        unit = units.split(series[chosen][-1][1])[1]
        makers = [lambda: price_picture(chosen, unit, outlook), lambda: season_picture(chosen, outlook)]
    pictures, problems = made(makers)
    calls = room_calls(visit, "grain") + room_calls(visit, "cattle")
    return visit.page(
        "markets.html", on=visit.on, commodities=known, chosen=chosen, pictures=pictures, lines=problems,
        quotes=latest_quotes(visit), calls=calls[:LISTED], places=visit.desk.places(visit.person),
    )  # fmt: skip


PAGES = (Page("/markets", READ, markets_page),)
