"""Weekly paths of log prices on the shared draw index."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats import facts as fact_files
from sideoats.errors import InputError
from sideoats.outlook.prices import BLOCK_DAYS, History, history_log_paths

if TYPE_CHECKING:
    from sideoats.facts import Facts
    from sideoats.outlook.draws import Outlook

Floats = NDArray[np.float64]


def log_price_paths(outlook: Outlook, commodity: str, weeks: int) -> Floats:
    """Log of price over today's price, (draw, week), column 0 all zero; mean ratio 1 (no drift).

    From the newest years of the commodity's own quotes where there are enough, else a lognormal walk.
    """
    name = commodity.strip().lower()
    history = newest(outlook.price_history, _facts(outlook).value("outlook/history_years"))
    if name in history:
        days = np.arange(weeks) * 7.0
        blocks = int(-(-days[-1] // BLOCK_DAYS)) + 1
        uniform = outlook.generator("price blocks").random((outlook.draws, blocks))
        try:
            return history_log_paths(history, name, uniform, days)
        except InputError:  # fewer than three years of quotes: fall back on the stated volatility
            pass
    return _lognormal(outlook, name, weeks)


def newest(history: History, years: float) -> dict[str, tuple[NDArray[np.datetime64], Floats]]:
    """Each series cut to its newest `years`: older moves belong to other markets (see docs/grain.md, backtest)."""
    out = {}
    for name, (dates, prices) in history.items():
        days, values = np.asarray(dates, dtype="datetime64[D]"), np.asarray(prices, dtype=np.float64)
        late = days > days[-1] - np.timedelta64(round(365.25 * years), "D")
        out[name.lower()] = (days[late], values[late])
    return out


def volatility_fact(facts: Facts, commodity: str) -> str:
    """Id of the volatility fact that stands in for a commodity without a price history."""
    key = commodity.strip().lower().replace(" ", "_").replace("-", "_")
    fact_id = f"outlook/volatility.{key}"
    return fact_id if fact_id in facts.by_id else "outlook/volatility.other"


def _facts(outlook: Outlook) -> Facts:
    return outlook.facts or fact_files.load()


def _lognormal(outlook: Outlook, commodity: str, weeks: int) -> Floats:
    facts = _facts(outlook)
    sd_year = facts.value(volatility_fact(facts, commodity))
    shared = facts.value("outlook/common_shock")
    common = outlook.generator("price shocks, common").standard_normal((outlook.draws, weeks - 1))
    own = outlook.generator("price shocks", commodity).standard_normal((outlook.draws, weeks - 1))
    sd_week = sd_year / np.sqrt(365.25 / 7)
    step = sd_week * (np.sqrt(shared) * common + np.sqrt(1 - shared) * own) - sd_week**2 / 2
    return np.concatenate([np.zeros((outlook.draws, 1)), np.cumsum(step, axis=1)], axis=1)
