"""Weekly paths of log prices on the shared draw index."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats import facts as fact_files
from sideoats.errors import InputError
from sideoats.outlook.prices import (
    BLOCK_DAYS,
    Calendar,
    History,
    block_log_paths,
    block_starts,
    history_log_paths,
    long_enough,
    shared_span,
)
from sideoats.outlook.spread import recent_spread, reverting_spread, season_spread, with_spread

if TYPE_CHECKING:
    from sideoats.facts import Facts
    from sideoats.outlook.draws import Outlook

Floats = NDArray[np.float64]
_JOINT = "outlook/joint"
_TRIES = 24  # of a block's first day; a series of the least length then finds a day of its own all but always


def log_price_paths(outlook: Outlook, commodity: str, weeks: int) -> Floats:
    """Log of price over today's price, (draw, week), column 0 all zero; mean ratio 1 (no drift).

    From the newest years of the commodity's own quotes where there are enough, else a lognormal walk.
    """
    name = commodity.strip().lower()
    from_quotes = _from_quotes(outlook, name, weeks)
    return _lognormal(outlook, name, weeks) if from_quotes is None else from_quotes


def _from_quotes(outlook: Outlook, name: str, weeks: int) -> Floats | None:
    """Paths from a commodity's own quotes; None where fewer than three years of them are on file."""
    quoted = {key.lower(): series for key, series in outlook.price_history.items() if key.lower() == name}
    if name not in quoted:
        return None
    facts, days = _facts(outlook), np.arange(weeks) * 7.0
    years = facts.value("outlook/history_years")
    blocks = int(-(-days[-1] // BLOCK_DAYS)) + 1
    uniform = outlook.generator("price blocks").random((outlook.draws, blocks))
    late = newest(quoted, years)
    try:
        paths = history_log_paths(late, name, uniform, days, _calendar(outlook, blocks, years))
    except InputError:
        return None
    return with_spread(paths, coming_spread(facts, *late[name], days))


def own_log_ratios(
    outlook: Outlook,
    series: Sequence[tuple[date, float]],
    days: Floats,
    *,
    years: float,
    facts: Facts | None = None,
) -> Floats | None:
    """Log price over today's from blocks of a history's newest years, (draw, k); None where it is too short to use.

    `facts` : for `coming_spread`; the spread of all those years where None
    """
    when = np.array([d for d, _ in series], dtype="datetime64[D]")
    price = np.array([p for _, p in series], dtype=np.float64)
    recent = when >= when.max() - np.timedelta64(round(years * 365.25), "D")
    usable = long_enough({"own": (when[recent], price[recent])})
    if not usable:
        return None
    try:
        first, last = shared_span(usable)
    except InputError:
        return None
    blocks = int(np.ceil(days.max() / BLOCK_DAYS))
    uniform = outlook.generator("grain price blocks").random((outlook.draws, blocks))
    paths = block_log_paths(*usable["own"], block_starts(uniform, first, last), days)
    return paths if facts is None else with_spread(paths, coming_spread(facts, *usable["own"], days))


def coming_spread(facts: Facts, dates: ArrayLike, prices: ArrayLike, at_days: ArrayLike) -> Floats:
    """Factor on a record's log moves for the time ahead: newest years, season, return and doubt, (k,)."""
    how = {name: facts.value(f"outlook/recent.{name}") for name in ("years", "weight", "reverts")}
    season = season_spread(dates, prices, at_days, weight=facts.value("outlook/season_weight"))
    back = reverting_spread(at_days, a_year=facts.value("outlook/spread_reverts"), from_days=BLOCK_DAYS)
    doubt = facts.value("outlook/unsure_spread")
    return np.asarray(recent_spread(dates, prices, at_days, **how) * season * back * doubt)


def _calendar(outlook: Outlook, blocks: int, years: float) -> Calendar:
    """Days of the last years, drawn one after another for every block, alike for every commodity."""
    rng, last = outlook.generator("price block days"), np.datetime64(outlook.on, "D")
    first = last - np.timedelta64(round(365.25 * (years + 1)), "D")  # a series may end up to a year ago
    tries = (block_starts(rng.random((outlook.draws, blocks)), first, last) for _ in range(_TRIES))
    return Calendar(first, last, tries)


def newest(history: History, years: float) -> dict[str, tuple[NDArray[np.datetime64], Floats]]:
    """Each series cut to its newest `years`: older moves belong to other markets (see docs/grain.md, trial)."""
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
    """A walk of the stated volatility; what it shares with others it shares through the factors of the joint table."""
    facts = _facts(outlook)
    sd_week = facts.value(volatility_fact(facts, commodity)) / np.sqrt(365.25 / 7)
    loadings = {factor: float(x) for name, factor, x in facts[_JOINT].rows if name == commodity}
    own = np.sqrt(1.0 - sum(x * x for x in loadings.values()))
    step = own * outlook.generator("price shocks", commodity).standard_normal((outlook.draws, weeks - 1))
    for factor, loading in loadings.items():
        step += loading * _factor(outlook, factor, weeks)
    step = sd_week * step - sd_week**2 / 2
    return np.concatenate([np.zeros((outlook.draws, 1)), np.cumsum(step, axis=1)], axis=1)


def _factor(outlook: Outlook, factor: str, weeks: int) -> Floats:
    """(draw, week) standard normal shocks of a factor.

    Where a commodity of the factor has quotes on file, its own draws move the factor as far as they belong to it, so
    that prices with a record and prices without one still move together.
    """
    noise = outlook.generator("price shocks of a factor", factor).standard_normal((outlook.draws, weeks - 1))
    members = [(abs(float(x)), name, float(x)) for name, of, x in _facts(outlook)[_JOINT].rows if of == factor]
    for _, name, loading in sorted(members, reverse=True):
        paths = _from_quotes(outlook, name, weeks)
        if paths is not None:
            moved = np.diff(paths, axis=1)
            spread = moved.std(axis=0)
            shown = (moved - moved.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
            return np.asarray(loading * shown + np.sqrt(1.0 - loading**2) * noise)
    return noise
