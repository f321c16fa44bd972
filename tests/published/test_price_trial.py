"""The trial of the price ranges on the World Bank's monthly prices; skipped where ../shared/data is not there."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.trial_prices import FILE, FOLDER, stored, trial

from sideoats.facts import load

real = pytest.mark.skipif(not (FOLDER / FILE).exists(), reason="../shared/data is not beside the project")


@real
@pytest.mark.parametrize("months", [1, 6])
def test_eight_times_in_ten_the_price_stays_in_its_range_after_calm_and_rough_years(months: int) -> None:
    tests = [trial(FOLDER, name, months) for name in ("wheat_hrw", "maize", "soybeans", "beef_import")]
    held, regime = np.concatenate([t.covered() for t in tests]), np.concatenate([t.regime for t in tests])
    for rows in (np.ones(len(held), bool), regime < 0.8, regime > 1.1):
        assert held[rows].mean() == pytest.approx(0.8, abs=0.05)


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
