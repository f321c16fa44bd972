"""Replay of every shipped scenario on public records: what the advice would have been paid, and whether it came true.

Nothing of it chose anything: phone-ins, days, acts and usual practices stand in sideoats/replay/scenarios.toml. Days
have fifteen years of the record behind them and the time to settle ahead; prices are from 1975 on.

    python -m benchmarks.trial_replay [FOLDER]            # prints the tables of docs/replay.md
    python -m benchmarks.trial_replay [FOLDER] --write    # puts them into docs/replay.md

FOLDER holds ``prices/world_bank_pink_sheet_monthly.csv`` and ``weather/*.dly``; ``../shared/data`` beside the project
where not given. Settled days are kept in ``replay.jsonl`` of the machine's temporary folder: a stopped run goes on.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import date
from pathlib import Path

from benchmarks.page import put
from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.replay.report import Report, report_of
from sideoats.replay.run import Public, public, replay, span_of
from sideoats.replay.scenario import WEATHER, scenarios
from sideoats.replay.series import monthly

ROOT = Path(__file__).parents[1]
FOLDER = ROOT.parent / "shared" / "data"
STATIONS = ("USW00003870", "USC00305816")
FILE = "world_bank_pink_sheet_monthly.csv"
FIRST_PRICES = date(1975, 1, 1)  # free prices; before it many were fixed by law
STORE = Path(tempfile.gettempdir()) / "replay.jsonl"


def commons(folder: Path) -> list[Public]:
    """Every scenario with each of its records."""
    prices = monthly(folder / "prices" / FILE)
    records = [read_ghcn_daily(folder / "weather" / f"{name}.dly") for name in STATIONS]
    return [
        made
        for s in scenarios()
        for made in ([public(s, record=r) for r in records] if s.data == WEATHER else [public(s, prices=prices)])
    ]


def reports(folder: Path) -> list[Report]:
    """One report a scenario and record."""
    out = []
    for common in commons(folder):
        first, last = span_of(common)
        first = max(first, FIRST_PRICES) if common.series is not None else first
        rows = replay(common, common.scenario.dates(first, last), store=STORE)
        if rows:
            out.append(report_of(f"{common.scenario.label}, {common.source}", rows))
        print(common.scenario.label, common.source, len(rows), file=sys.stderr, flush=True)
    return out


def _way(r: Report, way: str) -> str:
    if way not in r.ways:
        return ""
    over = r.over.get(way)
    more = "" if over is None else f" ({over[1]:+.2f} to {over[2]:+.2f})"
    return f"{r.ways[way].mean:.2f}{more}"


def money_table(found: list[Report]) -> list[str]:
    """Mean money a call by way of choosing, and the 90 % interval of what the tool was paid over it."""
    ways = ("tool", "never", "always", "published", "usual", "perfect")
    lines = ["| question, record | calls, years | unit | " + " | ".join(ways) + " | worst of the tool | lost to |",
             "|---" * (len(ways) + 5) + "|"]  # fmt: skip
    for r in found:
        lost = ", ".join(r.loses_to()) or "none"
        cells = " | ".join(_way(r, w) for w in ways)
        worst = r.ways["tool"].worst
        lines.append(f"| {r.label} | {r.calls}, {r.first}-{r.last} | {r.unit} | {cells} | {worst:.2f} | {lost} |")
    return lines


def said_table(found: list[Report]) -> list[str]:
    """Coverage of the 80 % ranges, and the Brier score of the stated chances."""
    lines = ["| question, record | 80 % ranges held | 95 % interval | chances settled | Brier | reliability | skill |",
             "|---" * 7 + "|"]  # fmt: skip
    for r in found:
        c, b = r.ranges, r.brier
        held = "nothing open | " if c is None else f"{c.share:.0%} of {c.count} | {c.low:.0%}-{c.high:.0%}"
        skill = "" if b is None or b.uncertainty <= 0 else f"{b.skill:+.2f}"
        told = "0 | | | " if b is None else f"{b.count} | {b.score:.3f} | {b.reliability:.3f} | {skill}"
        lines.append(f"| {r.label} | {held} | {told} |")
    return lines


def main() -> None:
    """Print the tables, or put them into docs/replay.md; one line where the data are missing."""
    given = [word for word in sys.argv[1:] if not word.startswith("-")]
    folder = Path(given[0]) if given else FOLDER
    if not (folder / "prices" / FILE).exists():
        print(f"skipped: {folder} is not there")
        return
    found = reports(folder)
    put("\n".join([*money_table(found), "", *said_table(found)]), "replay.md")


if __name__ == "__main__":
    main()
