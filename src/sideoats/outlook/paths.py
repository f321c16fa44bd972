"""Weekly paths of log prices on the shared draw index."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from sideoats.outlook.draws import Outlook

Floats = NDArray[np.float64]


def log_price_paths(outlook: Outlook, commodity: str, weeks: int) -> Floats:
    """Log of price over today's price, (draw, week), column 0 all zero; mean ratio 1 (no drift)."""
    return _lognormal(outlook, commodity, weeks)


def _lognormal(outlook: Outlook, commodity: str, weeks: int) -> Floats:
    from sideoats import facts as fact_files

    facts = outlook.facts or fact_files.load()
    key = commodity.strip().lower().replace(" ", "_").replace("-", "_")
    fact_id = f"outlook/volatility.{key}"
    sd_year = facts.value(fact_id if fact_id in facts.by_id else "outlook/volatility.other")
    shared = facts.value("outlook/common_shock")
    common = outlook.generator("price shocks, common").standard_normal((outlook.draws, weeks - 1))
    own = outlook.generator("price shocks", key).standard_normal((outlook.draws, weeks - 1))
    sd_week = sd_year / np.sqrt(365.25 / 7)
    step = sd_week * (np.sqrt(shared) * common + np.sqrt(1 - shared) * own) - sd_week**2 / 2
    return np.concatenate([np.zeros((outlook.draws, 1)), np.cumsum(step, axis=1)], axis=1)
