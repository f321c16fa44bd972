"""Treated and untreated strips: the factor on the published loss, its interval, and the calls that go by it."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

import sideoats
from sideoats.cli import group
from sideoats.facts import load
from sideoats.insects.strips import refit
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week import district_of, run_week
from sideoats.week.run import evidence_needed, weekly_questions

ZONE, ON = ZoneInfo("America/Chicago"), date(2026, 8, 20)


@given(st.floats(0.2, 3.0), st.integers(6, 40), st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_the_factor_lies_between_the_strips_and_the_published_loss(true: float, pairs: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    expected = rng.gamma(2.0, 3.0, pairs)
    seen = true * expected + rng.normal(0, 1.0, pairs)
    fit = refit(expected, seen, spread=0.5, fewest=6)
    assert fit is not None and fit.strips == pairs
    assert min(1.0, fit.alone) - 1e-9 <= fit.factor <= max(1.0, fit.alone) + 1e-9
    assert fit.alone_low < fit.alone < fit.alone_high and fit.low <= fit.factor <= fit.high
    more = refit(np.tile(expected, 4), np.tile(seen, 4), spread=0.5, fewest=6)
    assert more is not None and abs(more.factor - fit.alone) <= abs(fit.factor - fit.alone) + 1e-9


def test_eighty_per_cent_intervals_of_the_strips_alone_hold_eighty_per_cent() -> None:
    rng, held = np.random.default_rng(3), 0
    for _ in range(1500):
        expected = rng.gamma(2.0, 3.0, 8)
        fit = refit(expected, 1.4 * expected + rng.normal(0, 2.0, 8), spread=0.5, fewest=6)
        held += fit is not None and fit.alone_low <= 1.4 <= fit.alone_high
    assert 0.78 <= held / 1500 <= 0.82


def test_few_strips_change_nothing() -> None:
    assert refit([3.0] * 5, [6.0] * 5, spread=0.5, fewest=6) is None
    assert refit([0.0] * 9, [6.0] * 9, spread=0.5, fewest=6) is None


def ledger_with(path: Path, pairs: int, times: float) -> Path:
    """A soybean field, counted, and so many pairs of strips of earlier years that lost `times` what is published."""
    seen = datetime(2026, 8, 19, 9, tzinfo=ZONE)
    rng, slope = (
        np.random.default_rng(1),
        0.2035 * 3.75 * 0.88,
    )  # bu/ac a larva a foot that a spray saves, see the facts
    with open_ledger(path, create=True) as opened:
        body = {"name": "b", "kind": "field", "crop": "soybean", "acres": 80, "expected_yield": "45 bu/ac"}
        opened.append(
            [
                NewEntry("farm", {"name": "F"}, farm="f", seen_at=datetime(2020, 1, 1, tzinfo=ZONE)),
                NewEntry("place", body, place="f.b", farm="f", seen_at=datetime(2020, 1, 2, tzinfo=ZONE)),
                NewEntry(
                    "canopy_counts",
                    {"podworms": "3,1,2,4,2,3,1,2,3,2", "method": "cloth", "row_feet": "1 ft", "stage": "R5"},
                    place="f.b",
                    seen_at=seen,
                ),
            ]
        )
        for i in range(pairs):
            mean = float(rng.uniform(2, 8))
            lost = times * slope * mean + float(rng.normal(0, 0.3))
            strip = {
                "question": "soybean-podworm", "mean": mean, "sprayed_on": f"{2021 + i % 5}-08-20",
                "stage": "R5", "treated": "45 bu/ac",
                "untreated": f"{45 - lost:.2f} bu/ac", "price": "10 USD/bu", "given": "method=cloth; row_feet=1 ft",
            }  # fmt: skip
            at = datetime(2021 + i % 5, 10, 11 + i, tzinfo=ZONE)
            opened.append([NewEntry("spray_strips", strip, place="f.b", seen_at=at)])
    return path


@pytest.mark.parametrize("times", [0.6, 1.5])
def test_a_call_goes_by_the_strips_of_its_district(tmp_path: Path, times: float) -> None:
    plain = run_week(ledger_with(tmp_path / "a.sqlite", 4, times), ON, draws=200, questions=["soybean-podworm"]).calls[
        0
    ]
    path = ledger_with(tmp_path / "b.sqlite", 12, times)
    held = district_of(path, ON, kinds=evidence_needed(weekly_questions()), draws=60, pool=True)
    fit = held.fits["soybean-podworm"]
    assert fit.alone == pytest.approx(times, rel=0.2) and fit.alone_low < fit.alone_high < fit.alone_low + 0.5
    call = run_week(path, ON, draws=200, questions=["soybean-podworm"]).calls[0]
    lost, before = (c.quantities["expected_loss_untreated"].value for c in (call, plain))
    assert isinstance(lost, float) and isinstance(before, float)
    assert lost / before == pytest.approx(fit.factor, rel=0.02)
    assert any("12 treated and untreated strips" in line for line in call.because)
    assert not any("untreated strips" in line for line in plain.because)
    shown = CliRunner().invoke(group, ["--ledger", str(path), "learned", "--on", ON.isoformat()])
    assert "12 pairs of strips" in shown.output, shown.output


def test_no_loss_passes_the_crop(tmp_path: Path) -> None:
    facts = load()
    facts.strips = {"soybean-podworm": (5.0, 4.0, 6.0, 9)}
    given = {"counts": "30,40,50,40,30,40,60,30,40,50", "row_feet": "1 ft", "stage": "R5", "yield": "30 bu/ac",
             "price": "10 USD/bu", "cost": "14 USD/ac"}  # fmt: skip
    call = sideoats.ask("soybean-podworm", given, on=ON, facts=facts)
    assert call["quantities"]["expected_loss_untreated"]["value"] <= 300 + 1e-6
