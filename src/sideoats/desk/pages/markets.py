"""Markets: each commodity's quotes, how far they may move, and what its past seasons did."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
from starlette.responses import Response

from sideoats import units
from sideoats.decide.laws import quantile
from sideoats.desk import tongue
from sideoats.desk.grants import READ
from sideoats.desk.pages.weather import made, room_calls
from sideoats.desk.visit import Page, Visit
from sideoats.outlook.draws import Outlook
from sideoats.outlook.seasonal import monthly_means, seasonal_index
from sideoats.pictures import Axis, Course, Line, Picture
from sideoats.words import Day, Name, Paid, say

AHEAD_DAYS = (30, 60, 90, 120, 150, 180, 210, 240, 270)
HISTORY_DAYS = 730
LISTED = 24
_HALF_A_YEAR = AHEAD_DAYS.index(180)
FEWEST_DAYS = 3 * 366  # of quotes, for a seasonal mean


def price_picture(commodity: str, unit: str, outlook: Outlook) -> Picture:
    """Quotes of two years, then the range that the outlook's draws give; the range is not a forecast."""
    days, prices = outlook.price_history[commodity]
    recent = days >= np.datetime64(outlook.on - timedelta(days=HISTORY_DAYS))
    days, prices = days[recent][-250:], prices[recent][-250:]
    last = float(prices[-1])
    draws = last * outlook.price_ratio(commodity, AHEAD_DAYS)
    low, quarter, middle, rest, high = quantile(draws, (0.1, 0.25, 0.5, 0.75, 0.9), axis=0)
    ahead = [outlook.on + timedelta(days=d) for d in AHEAD_DAYS]
    when = [d.astype(object) for d in days]
    blank = np.full(len(days) - 1, np.nan)  # the range begins at the last quote
    told = {"what": Name(commodity[:1].upper() + commodity[1:]), "on": Day(when[-1]), "then": Day(ahead[_HALF_A_YEAR])}
    money = {
        "last": last,
        "quarter": quarter[-1],
        "rest": rest[-1],
        "low": low[_HALF_A_YEAR],
        "high": high[_HALF_A_YEAR],
    }
    told |= {name: Paid(float(value), unit=unit) for name, value in money.items()}

    def from_now(values: np.ndarray) -> np.ndarray:
        return np.concatenate([blank, [last], values])

    return Course(
        finding=say("picture.price.title", **told),
        saying=say("picture.price.says", **told),
        x=[float(d.toordinal()) for d in (*when, *ahead)],
        across=Axis(say("picture.day"), "day", Day),
        up=Axis(say("picture.price.axis"), unit, Paid),
        today=float(outlook.on.toordinal()),
        lines=(
            Line(say("picture.price.quoted"), np.concatenate([prices, np.full(len(ahead), np.nan)])),
            Line(
                say("picture.price.ahead"),
                from_now(middle),
                from_now(low),
                from_now(high),
                inner=(from_now(quarter), from_now(rest)),
                edges=(
                    say("picture.price.below", price=Paid(float(low[-1]), unit=unit)),
                    say("picture.price.above", price=Paid(float(high[-1]), unit=unit)),
                ),
                now=True,
                ahead=True,
            ),
        ),
    )


def season_picture(commodity: str, outlook: Outlook) -> Picture | None:
    """Mean of past seasons by month with its spread; None where the record is short."""
    from sideoats.cattle.pictures import seasonal_band

    days, prices = outlook.price_history[commodity]
    if (days[-1] - days[0]).astype(int) < FEWEST_DAYS:
        return None
    first, _, monthly = monthly_means(days, prices)
    return seasonal_band(seasonal_index(first, monthly), what=tongue.term("commodity", commodity).capitalize())


def latest_quotes(visit: Visit) -> list[dict[str, Any]]:
    """The newest quote of every commodity and market."""
    snapshot = visit.desk.districts.on(visit.on).snapshot
    places = visit.desk.places(visit.person)
    rows = [
        {
            "commodity": commodity,
            "market": places[market].name if market in places else tongue.plain("markets.any"),
            "price": str(entry.body.get("price", "")),
            "day": entry.seen_on,
            "id": entry.id,
        }
        for (market, commodity), entry in snapshot.quotes.items()
    ]
    return sorted(rows, key=lambda r: (str(r["commodity"]), str(r["market"])))


def markets_page(visit: Visit) -> Response:
    """One commodity's pictures, and every newest quote."""
    district = visit.desk.districts.on(visit.on)
    outlook, snapshot = district.outlook, district.snapshot
    known = sorted(outlook.price_history)
    chosen = visit.query("commodity").lower() or next(iter(known), "")
    makers: list[Callable[[], Picture | None]] = []
    if chosen in outlook.price_history:
        unit = units.split(snapshot.quote_series[snapshot.first_market[chosen], chosen][-1][1])[1]
        makers = [lambda: price_picture(chosen, unit, outlook), lambda: season_picture(chosen, outlook)]
    pictures, problems = made(makers)
    calls = room_calls(visit, "grain") + room_calls(visit, "cattle")
    return visit.page(
        "markets.html",
        on=visit.on,
        commodities=known,
        chosen=chosen,
        pictures=pictures,
        lines=problems,
        quotes=latest_quotes(visit),
        calls=calls[:LISTED],
        places=visit.desk.places(visit.person),
    )


PAGES = (Page("/markets", READ, markets_page),)
