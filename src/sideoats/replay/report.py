"""What many settled calls come to: money by way of choosing, regret, coverage, calibration; figures and a picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from sideoats.pictures import Axis, Course, Level, Line, Picture
from sideoats.replay.settle import NEVER, PERFECT, TOOL, WAYS, Settled
from sideoats.week.scoring import BrierParts, Coverage, Reliability, brier_parts, coverage, reliability
from sideoats.words import Count, Money, Name, say

MATTERS, _CENT = 0.01, 0.01


@dataclass(frozen=True)
class Paid:
    """One way of choosing [unit]: mean, worst, mean regret against perfect knowledge, how often it did something."""

    mean: float
    worst: float
    regret: float
    acted: float
    count: int


@dataclass(frozen=True)
class Report:
    """A question's replay.

    Attributes
    ----------
    ways : way of choosing -> what it was paid, over the calls that all of them could choose in
    over : way -> (mean, low, high) by how much the tool was paid more a call, with a 90 % interval by years drawn anew
    ranges : how often the stated 10th to 90th range held what came
    chances, brier : stated chances; None where none was settled
    crps : mean, by the draws of the act that is watched [unit]
    """

    label: str
    unit: str
    calls: int
    first: int
    last: int
    ways: Mapping[str, Paid]
    over: Mapping[str, tuple[float, float, float]]
    ranges: Coverage | None
    chances: Reliability | None
    brier: BrierParts | None
    crps: float
    verdicts: Mapping[str, int]

    def loses_to(self) -> list[str]:
        """Ways of choosing, other than perfect knowledge, that were paid more than the tool: beyond chance, and by a
        cent and a hundredth of what perfect knowledge is worth.
        """
        least = max(MATTERS * self.ways[PERFECT].mean, _CENT)
        return [way for way, (mean, _, high) in self.over.items() if way != PERFECT and high < 0 and -mean > least]

    def full(self) -> dict[str, Any]:
        """JSON."""
        r, b = self.ranges, self.brier
        return {
            "label": self.label, "unit": self.unit, "calls": self.calls, "from": self.first, "to": self.last,
            "verdicts": dict(self.verdicts),
            "ways": {w: vars(p) for w, p in self.ways.items()},
            "tool_over": {w: {"mean": m, "low": lo, "high": hi} for w, (m, lo, hi) in self.over.items()},
            "ranges": None if r is None else {"share": r.share, "low": r.low, "high": r.high, "count": r.count},
            "brier": None if b is None else {"score": b.score, "reliability": b.reliability, "resolution": b.resolution,
                                             "uncertainty": b.uncertainty, "skill": _number(b.skill), "count": b.count},
            "crps": _number(self.crps),
        }  # fmt: skip


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def report_of(label: str, rows: Sequence[Settled], *, resampled: int = 1000) -> Report:
    """Sum up; every way is counted over the same calls. Raises ValueError without any."""
    if not rows:
        raise ValueError("nothing was settled")
    ways = [w for w in WAYS if all(w in r.paid for r in rows)]
    paid = {w: np.array([r.paid[w] for r in rows]) for w in ways}
    years = np.array([r.on.year for r in rows])
    spans = np.array([r.range for r in rows if r.range])
    # one decision once: places of one station and day are told the same chance of the same thing
    pairs = list({(r.on, name, *pair): pair for r in rows for name, pair in r.chances.items()}.values())
    stated, came = (np.array(x, float) for x in zip(*pairs, strict=True)) if pairs else (np.empty(0), np.empty(0))
    verdicts: dict[str, int] = {}
    for r in rows:
        verdicts[r.verdict] = verdicts.get(r.verdict, 0) + 1
    crps = [r.crps for r in rows if np.isfinite(r.crps)]
    never = {w: np.array([r.took[w] != r.took["never"] for r in rows]) for w in ways}
    return Report(
        label, rows[0].unit, len(rows), int(years.min()), int(years.max()),
        {w: Paid(float(x.mean()), float(x.min()), float((paid[PERFECT] - x).mean()), float(never[w].mean()), len(x))
         for w, x in paid.items()},
        {w: _over(paid[TOOL] - paid[w], years, resampled) for w in ways if w != TOOL},
        coverage(*spans.T) if len(spans) else None,
        reliability(stated, came) if len(pairs) else None,
        brier_parts(stated, came, edges=np.linspace(0, 1, 11)) if len(pairs) else None,
        float(np.mean(crps)) if crps else np.nan, verdicts,
    )  # fmt: skip


def _over(more: Any, years: Any, resampled: int) -> tuple[float, float, float]:
    """Mean and 90 % interval, whole years drawn with replacement: calls of one year share its weather and prices."""
    rng, known = np.random.default_rng(11), np.unique(years)
    sums = np.array([more[years == y].sum() for y in known])
    counts = np.array([(years == y).sum() for y in known])
    drawn = rng.integers(len(known), size=(resampled, len(known)))
    means = sums[drawn].sum(axis=1) / counts[drawn].sum(axis=1)
    low, high = np.quantile(means, [0.05, 0.95]).tolist()
    return float(more.mean()), low, high


def picture_of(report: Report, rows: Sequence[Settled]) -> Picture:
    """What each way was paid, added up year by year."""
    years = np.arange(report.first, report.last + 1)
    by = {w: np.array([sum(r.paid[w] for r in rows if r.on.year == y) for y in years]) for w in report.ways}
    shown = [w for w in report.ways if w != NEVER][:5]  # leaving it alone is the line at 0
    told = {
        "what": Name(report.label),
        "n": Count(report.calls),
        "mean": Money(report.ways[TOOL].mean, unit=report.unit),
        "best": Money(report.ways[PERFECT].mean, unit=report.unit),
    }
    return Course(
        finding=say("replay.picture.title", **told),
        saying=say("replay.picture.says", **told),
        x=years.astype(np.float64),
        x_names=[str(y) for y in years],
        across=Axis(say("replay.picture.year")),
        up=Axis(say("replay.picture.axis"), report.unit, Money),
        lines=tuple(Line(say(f"replay.way.{w}"), np.cumsum(by[w]), now=w == TOOL, ahead=w == PERFECT) for w in shown),
        levels=(Level(0.0, say("replay.way.never"), base=True),),
    )
