"""Trial of the price ranges on public monthly series: coverage and CRPS after calm and rough years, and stored wheat.

Every third month (every month, one month ahead) of each series is stood on with the ten years before it and no more:
the draws are those of the outlook for quotes on file. Held against them: the same blocks without regard to the newest
years' spread, and a random walk without drift of the ten years' standard deviation. Where a series changed its
definition the step of that month is taken out.

    python -m benchmarks.trial_prices [FOLDER]            # prints the tables of docs/grain.md
    python -m benchmarks.trial_prices [FOLDER] --write    # puts them into docs/grain.md

FOLDER holds ``world_bank_pink_sheet_monthly.csv``; ``../shared/data/prices`` beside the project where not given.
"""

from __future__ import annotations

import csv
import sys
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sideoats import facts as fact_files
from sideoats.outlook.paths import recent
from sideoats.outlook.prices import BLOCK_DAYS, block_log_paths, block_starts, recent_spread, with_spread
from sideoats.week.scoring import crps_ensemble, crps_normal

Floats = NDArray[np.float64]
Dates = NDArray[np.datetime64]

ROOT = Path(__file__).parents[1]
FOLDER = ROOT.parent / "shared" / "data" / "prices"
FILE = "world_bank_pink_sheet_monthly.csv"
SERIES = (
    "wheat_hrw", "wheat_srw", "maize", "sorghum", "barley", "soybeans", "soybean_meal", "beef_import", "cotton_a_index",
    "crude_wti", "dap",
)  # fmt: skip
BREAKS = {  # months in which the definition of a series changed
    "soybeans": ("2025-01",), "soybean_meal": ("1999-01", "2021-01", "2025-01"), "cotton_a_index": ("2006-01",),
    "wheat_hrw": ("2020-06",), "beef_import": ("1995-01", "2021-09", "2024-01"), "barley": ("2012-05",),
}  # fmt: skip
HORIZONS = (1, 3, 6, 9)
MEMORY = 120  # months known at each origin
FIRST = np.datetime64("1975-01-01")  # free prices; before it many were fixed by law
MOST_UNCHANGED = 0.1
DRAWS = 500
CALM, ROUGH = 0.8, 1.1  # spread of three years over that of ten
BUSHELS = 36.7437  # of wheat in a tonne
CARRY, RATE = 0.04, 0.07  # USD/bu a month, interest a year
HARVEST, LAST = 6, 2025
DOC = ROOT / "docs" / "grain.md"
BEGIN, END = "<!-- trial begins -->", "<!-- trial ends -->"


@lru_cache(maxsize=4)
def table(folder: Path) -> dict[str, tuple[Dates, Floats]]:
    """Series -> months and prices, without gaps and without the step of a changed definition."""
    with (folder / FILE).open(encoding="utf-8") as lines:
        head, *rows = csv.reader(lines)
    months = np.array([row[0] for row in rows], dtype="datetime64[D]")
    out = {}
    for at, name in enumerate(head[1:], 1):
        price = np.array([float(row[at]) if row[at] else np.nan for row in rows])
        known = np.isfinite(price)
        when, price = months[known], price[known].copy()
        key = name.rsplit("_usd", 1)[0]
        for month in BREAKS.get(key, ()):
            step = int(np.searchsorted(when, np.datetime64(f"{month}-01")))
            price[step:] *= price[step - 1] / price[step]
        out[key] = when, price
    return out


@dataclass(frozen=True)
class Trial:
    """One series at one horizon: arrays (origin, draw) and (origin,).

    Attributes
    ----------
    drawn, plain : log moves as the outlook draws them, and without the newest years' spread
    came : the move that came
    sd : of the ten years' monthly moves
    regime : spread of the newest three years over that of the ten
    """

    drawn: Floats
    plain: Floats
    came: Floats
    sd: Floats
    regime: Floats

    def covered(self) -> NDArray[np.bool_]:
        """(origin,) the 10th to 90th range held what came."""
        low, high = np.quantile(self.drawn, [0.1, 0.9], axis=1)
        return np.asarray((self.came >= low) & (self.came <= high))


def trial(folder: Path, name: str, months: int) -> Trial:
    """One series at one horizon, from `FIRST` to its end."""
    when, price = table(folder)[name]
    how, rng = recent(fact_files.load()), np.random.default_rng([HORIZONS.index(months), SERIES.index(name)])
    found = []
    for t in range(max(MEMORY, int(np.searchsorted(when, FIRST))), len(price) - months, 1 if months < 3 else 3):
        days, known = when[t - MEMORY : t + 1], price[t - MEMORY : t + 1]
        moves = np.diff(np.log(known))
        if (moves == 0).mean() > MOST_UNCHANGED:
            continue
        ahead = (when[t + months] - when[t]).astype(np.float64).reshape(1)
        uniform = rng.random((DRAWS, int(np.ceil(ahead[0] / BLOCK_DAYS))))
        starts = block_starts(uniform, days[0], days[-1] - np.timedelta64(BLOCK_DAYS, "D"))
        plain = block_log_paths(days, known, starts, ahead)
        drawn = with_spread(plain, recent_spread(days, known, ahead, **how))
        sd = moves.std()
        found.append((drawn[:, 0], plain[:, 0], np.log(price[t + months] / price[t]), sd, moves[-36:].std() / sd))
    return Trial(*(np.array(column) for column in zip(*found, strict=True)))


def coverage_table(folder: Path) -> list[str]:
    """By horizon: coverage of all origins, after calm and after rough years; CRPS over that of a random walk."""
    lines = ["| months ahead | origins | all | after calm years | after rough years | worst and best series | "
             "CRPS over a random walk | the same, spread of ten years alone |", "|---" * 8 + "|"]  # fmt: skip
    for months in HORIZONS:
        tests = [trial(folder, name, months) for name in SERIES]
        held, regime = np.concatenate([t.covered() for t in tests]), np.concatenate([t.regime for t in tests])
        by = [float(t.covered().mean()) for t in tests]
        walk = [float(crps_normal(-(t.sd**2) * months / 2, t.sd * np.sqrt(months), t.came).mean()) for t in tests]
        over = [
            np.mean([float(crps_ensemble(of(t), t.came).mean()) / w for t, w in zip(tests, walk, strict=True)])
            for of in (lambda t: t.drawn, lambda t: t.plain)
        ]
        parts = [(held[rows].mean(), rows.sum()) for rows in (regime < CALM, regime > ROUGH)]
        told = " | ".join(f"{share:.1%} of {count}" for share, count in parts)
        lines.append(
            f"| {months} | {held.size} | {held.mean():.1%} | {told} | {min(by):.0%}, {max(by):.0%} | {over[0]:.3f} | "
            f"{over[1]:.3f} |"
        )
    return lines


def stored(folder: Path, months: tuple[int, ...]) -> Floats:
    """What a bushel of wheat of each harvest from 1995 earned over selling it, sold in equal parts so many months on.

    (year,) USD/bu: storage and interest paid; months of 0 are sold at harvest.
    """
    when, price = table(folder)["wheat_hrw"]
    by = dict(zip(when.astype("datetime64[M]").astype(str).tolist(), (price / BUSHELS).tolist(), strict=True))
    gained = []
    for year in range(1995, LAST):
        now = by[f"{year}-{HARVEST:02d}"]
        then = [by[str(np.datetime64(f"{year}-{HARVEST:02d}", "M") + m)] for m in months]
        paid = [p - now - CARRY * m - now * RATE * m / 12 for p, m in zip(then, months, strict=True)]
        gained.append(np.mean(paid))
    return np.array(gained)


def storing_table(folder: Path) -> list[str]:
    """Stored wheat by the month in which it is sold."""
    ways = {"August": (2,), "October": (4,), "December": (6,), "February": (8,), "April": (10,),
            "thirds: June, October, December": (0, 4, 6)}  # fmt: skip
    lines = ["| sold in | harvests | mean, USD/bu | sd | worst | years that gained |", "|---" * 6 + "|"]
    for name, months in ways.items():
        got = stored(folder, months)
        lines.append(f"| {name} | {got.size} | {got.mean():.3f} | {got.std(ddof=1):.2f} | {got.min():.2f} | "
                     f"{(got > 0).mean():.0%} |")  # fmt: skip
    return lines


def report(folder: Path) -> list[str]:
    """All tables as Markdown."""
    return [
        *coverage_table(folder), "",
        "Wheat of the Gulf stored from June, storage of 4 cents a month and 7 % interest paid:", "",
        *storing_table(folder),
    ]  # fmt: skip


def main() -> None:
    """Print the tables, or put them into docs/grain.md; one line where the data are missing."""
    given = [word for word in sys.argv[1:] if not word.startswith("-")]
    folder = Path(given[0]) if given else FOLDER
    if not (folder / FILE).exists():
        print(f"skipped: {folder / FILE} is not there")
        return
    text = "\n".join(report(folder))
    if "--write" not in sys.argv:
        print(text)
        return
    page = DOC.read_text(encoding="utf-8")
    head, rest = page.split(BEGIN)
    DOC.write_text(f"{head}{BEGIN}\n{text}\n{END}{rest.split(END)[1]}", encoding="utf-8")


if __name__ == "__main__":
    main()
