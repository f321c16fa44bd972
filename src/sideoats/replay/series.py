"""Monthly price series as public files hold them: a month column, then one column a series.

Months in which a series changed its definition are taken out as steps: moves stay, levels before them do not.
"""

from __future__ import annotations

import csv
import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError

Dates = NDArray[np.datetime64]
Floats = NDArray[np.float64]
Series = tuple[Dates, Floats]
_OWN = Path(__file__).parent


@lru_cache(maxsize=1)
def known() -> dict[str, dict[str, Any]]:
    """What is known of each series: the months in which its definition changed, its measure."""
    found: dict[str, dict[str, Any]] = tomllib.loads((_OWN / "series.toml").read_text("utf-8"))
    return found


@lru_cache(maxsize=4)
def monthly(path: Path) -> dict[str, Series]:
    """Series -> months and prices, without gaps and without the step of a changed definition.

    Raises
    ------
    InputError : no such file, or no month column
    """
    if not path.is_file():
        raise InputError(f"no file {path.name}", where="prices", expected="a CSV with a month column")
    with path.open(encoding="utf-8") as lines:
        head, *rows = csv.reader(lines)
    if head[0] != "month":
        raise InputError(f"the first column is {head[0][:40]!r}", where="prices", expected="month")
    months = np.array([row[0] for row in rows], dtype="datetime64[D]")
    out = {}
    for at, name in enumerate(head[1:], 1):
        price = np.array([float(row[at]) if row[at] else np.nan for row in rows])
        there = np.isfinite(price)
        when, price = months[there], price[there].copy()
        key = name.rsplit("_usd", 1)[0]
        for month in known().get(key, {}).get("breaks", ()):
            step = int(np.searchsorted(when, np.datetime64(f"{month}-01")))
            price[step:] *= price[step - 1] / price[step]
        out[key] = when, price
    return out
