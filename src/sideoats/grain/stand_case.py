"""A stand, fair or kitchen day in many futures of its crowd: what is asked for, made, sold and earned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.grain.stand import (
    break_even_prepared,
    break_even_sales,
    contribution,
    critical_share,
    stand_profit,
    triangular,
)
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
MOST_OVER = 10.0  # a good day has not ten times the people of the likeliest one
MOST_PARTS = (
    20.0  # a poor day keeps a twentieth of the likeliest crowd; food is a twentieth of a portion's price or more
)
STAY, GO, SUGGESTED = range(3)  # places among the options


def check(values: dict[str, Any]) -> None:
    """Refuse crowds that are not in order and portions or days that are not whole."""
    if not values["crowd_low"] <= values["crowd"] <= values["crowd_high"]:
        raise InputError(
            f"crowd {values['crowd']:g} is not between {values['crowd_low']:g} and {values['crowd_high']:g}",
            where="direct-sale crowd",
            expected="crowd_low <= crowd <= crowd_high",
        )
    if values["crowd_high"] > MOST_OVER * max(values["crowd"], 1.0):
        raise InputError(
            f"crowd_high {values['crowd_high']:g} is more than {MOST_OVER:g} times the likeliest {values['crowd']:g}",
            where="direct-sale crowd_high",
            expected="people on a good day",
            todo="is a zero too many?",
        )
    for name, part, whole in (("crowd", "crowd_low", "crowd"), ("food_cost", "food_cost", "price")):
        if values[part] and values[whole] > MOST_PARTS * values[part]:
            raise InputError(
                f"{whole} {values[whole]:g} is more than {MOST_PARTS:g} times {part} {values[part]:g}",
                where=f"direct-sale {name}",
                expected="figures of one day and one portion",
                todo="is a zero too many, or a decimal point misplaced?",
            )
    for name in ("days", "prepared"):
        if values[name] is not None and values[name] != int(values[name]):
            raise InputError(f"{values[name]:g} is not whole", where=f"direct-sale {name}", expected="a whole number")
    if values["buying_low"] > values["buying_high"]:
        raise InputError(
            f"buying_low {values['buying_low']:g} is more than buying_high {values['buying_high']:g}",
            where="direct-sale buying_low",
            todo="swap them",
        )


@dataclass(frozen=True)
class Stand:
    """The event by row, (place,) unless said; `made` and `planned` are portions, the latter a day."""

    price: Floats
    fixed: Floats
    margin: Floats
    level: Floats
    suggested: Floats
    planned: Floats
    made: Floats
    needed: Floats
    with_waste: Floats
    goal: Floats  # (place, option) portions that break even, waste counted; NaN for staying
    sold: Floats  # (place, draw)
    gain: Floats  # (place, draw, option) over staying at home


def stand_of(table: Table, context: Context) -> Stand:
    """What each row's event brings with the portions planned and with those that pay best on average."""
    price, food, fee = table.number("price"), table.number("food_cost"), table.number("fee")
    fixed = table.number("fixed") + table.number("own_hours") * np.nan_to_num(table.number("own_wage"))
    spoilage, margin = table.number("spoilage"), contribution(price, food, fee)
    demand, level = _demand(table, context), critical_share(price, food, spoilage, fee)
    suggested = _quantile(demand, level).round().clip(0)
    planned = np.where(table.known("prepared"), table.number("prepared"), suggested)

    def money(ready: Floats) -> tuple[Floats, Floats]:
        return stand_profit(
            demand,
            ready[:, None],
            price=price[:, None],
            unit_cost=food[:, None],
            fixed_cost=fixed[:, None],
            spoilage=spoilage[:, None],
            fee_share=fee[:, None],
        )

    sold, go = money(planned)
    _, best_go = money(suggested)
    needed, made = break_even_sales(fixed, margin), planned * table.number("days")

    def even(portions: Floats) -> Floats:
        """Portions that break even when so many are made; selling out wastes nothing and is not enough beyond."""
        count = break_even_prepared(fixed, margin, food, portions, spoilage)
        return _whole(np.where(count > portions, needed, count))

    goal = np.stack([np.full_like(needed, np.nan), even(made), even(suggested * table.number("days"))], axis=1)
    return Stand(
        price,
        fixed,
        margin,
        level,
        suggested,
        planned,
        made,
        _whole(needed),
        goal[:, GO],
        goal,
        sold,
        np.stack([np.zeros_like(go), go, best_go], axis=2),
    )


def _demand(table: Table, context: Context) -> Floats:
    """Portions asked for, (place, draw, day), NaN beyond a row's days.

    The share that buys is one number for an event, the crowd and the weather differ from day to day.
    """
    outlook, keys = context.outlook, table.keys
    days = table.number("days").astype(np.int64)
    share = table.number("buying_low")[:, None] + (table.number("buying_high") - table.number("buying_low"))[
        :, None
    ] * outlook.uniform("stand buyers", keys)
    demand = np.full((len(table), outlook.draws, int(days.max())), np.nan)
    for day in range(demand.shape[2]):
        crowd = triangular(
            outlook.uniform(f"stand crowd {day}", keys),
            table.number("crowd_low")[:, None],
            table.number("crowd")[:, None],
            table.number("crowd_high")[:, None],
        )
        open_day = outlook.uniform(f"stand weather {day}", keys) >= table.number("washed_out")[:, None]
        today = np.floor(crowd * share) * open_day
        demand[:, :, day] = np.where((days > day)[:, None], today, np.nan)
    return demand


def _quantile(demand: Floats, level: Floats) -> Floats:
    """Quantile of each place's own level over its draws and open days, (place,); the order statistic at or above it."""
    flat = np.sort(demand.reshape(len(demand), -1), axis=1)  # NaN goes last
    count = (~np.isnan(flat)).sum(axis=1)
    at = np.ceil(level * count).astype(np.int64).clip(1, count) - 1
    return np.asarray(np.take_along_axis(flat, at[:, None], axis=1)[:, 0])


def _whole(portions: Floats) -> Floats:
    """Portions rounded up, never below none."""
    return np.maximum(np.ceil(portions - 1e-9), 0.0)


def quantities(stand: Stand, unplanned: NDArray[np.bool_]) -> dict[str, tuple[Any, Any]]:
    """Figures of every row; `unplanned` (place,) no number of portions was planned."""
    gone = stand.gain[:, :, GO]
    at = np.where(unplanned, SUGGESTED, GO)
    shown = np.take_along_axis(stand.gain, at[:, None, None], axis=2)[:, :, 0]
    worst = np.sort(shown, axis=1)[:, : max(shown.shape[1] // 10, 1)].mean(axis=1)

    def finite(values: Floats) -> Floats:
        return np.where(np.isfinite(values), values, np.nan)

    return {
        "margin": (stand.margin, "USD"),
        "break_even_portions": (finite(stand.needed), "1"),
        "break_even_with_waste": (finite(stand.with_waste), "1"),
        "break_even_takings": (finite(stand.needed * stand.price), "USD"),
        "chance_to_break_even": (np.where(stand.margin <= 0, 0.0, (gone >= 0).mean(axis=1)), "1"),
        "worst_tenth": (worst, "USD"),
        "expected_portions": (stand.sold.mean(axis=1), "1"),
        "suggested_portions": (stand.suggested, "1"),
    }
