"""The backtest of past years in today's climate on real stations; skipped where ../shared/data is not there."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from benchmarks.page import DOCS
from benchmarks.trial_climate import FIRST, FOLDER, chances, foretold, held_by, over_alike, records, scored, ways

real = pytest.mark.skipif(not (FOLDER / "USW00003870.dly").exists(), reason="../shared/data is not beside the project")


@real
def test_ranges_hold_and_score_better_than_all_years_alike_and_chances_of_a_freeze_come_true() -> None:
    """One start day of the backtest in docs/weather.md; sampling error of a coverage here is about 3 %."""
    alike, own = ways()[0], ways()[-1]
    scores = scored(
        [
            t
            for r in records(FOLDER)
            if not r.station.startswith(("clemson", "texmex"))
            for t in foretold(r, [alike, own], (FIRST,))
        ]
    )
    for element in ("temperature", "degree-days", "rain"):
        new, old = (scores.where((scores.way == w.name) & (scores.element == element)) for w in (own, alike))
        assert new.held.mean() == pytest.approx(0.8, abs=0.06)
        ratio, error = over_alike(new, old)
        assert ratio < 1.0 + 2 * error
    told, came = chances(scores, "first freeze", own.name)
    for low in (0.0, 0.5):
        here = (told >= low) & (told < low + 0.5001)
        cases = here.sum() / 7
        mean = told[here].mean()
        assert came[here].mean() == pytest.approx(mean, abs=2.5 * np.sqrt(mean * (1 - mean) / cases))


def test_the_page_holds_the_table_of_the_way_that_the_outlook_uses() -> None:
    page = (DOCS / "weather.md").read_text(encoding="utf-8")
    assert f"| {ways()[-1].name} |" in page


def test_a_missing_file_is_told_in_one_line(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from benchmarks import trial_climate

    monkeypatch.setattr("sys.argv", ["trial_climate", "nowhere"])
    monkeypatch.setattr(trial_climate, "find_spec", lambda name: None)
    trial_climate.records.cache_clear()
    trial_climate.main()
    assert capsys.readouterr().out == "skipped: no record of 26 years or more in nowhere\n"
    trial_climate.records.cache_clear()


@real
def test_any_daily_file_laid_into_the_folder_counts(tmp_path: Path) -> None:
    before = [r.station for r in records(tmp_path) if not r.station.startswith(("clemson", "texmex"))]
    shutil.copy(FOLDER / "USW00003870.dly", tmp_path / "one-more.dly")
    records.cache_clear()
    after = [r.station for r in records(tmp_path) if not r.station.startswith(("clemson", "texmex"))]
    assert before == [] and after == ["USW00003870"]
    records.cache_clear()


def test_what_comes_out_at_a_shared_end_of_the_range_counts_by_the_share_that_the_range_takes_in() -> None:
    """Four draws of ten are nought: the lowest tenth lies within them, three of the four in the range."""
    draws = np.array([[0.0, 0, 0, 0, 1, 2, 3, 4, 5, 6]])
    assert held_by(draws, np.array([0.0]))[0] == pytest.approx(0.75)
    assert held_by(draws, np.array([3.5]))[0] == 1.0
    assert held_by(draws, np.array([5.9]))[0] == 0.0
