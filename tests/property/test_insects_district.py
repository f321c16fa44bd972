"""The simulated district of docs/insects.md, smaller: who loses how much against perfect knowledge."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.trial_district import PESTS, Pest, season_of, trial


@pytest.mark.parametrize("pest", PESTS, ids=[pest.question for pest in PESTS])
def test_the_tool_loses_less_than_any_fixed_rule_and_less_still_where_its_forecasts_send_the_round(pest: Pest) -> None:
    lost = {rule: float(values.mean()) for rule, values in trial(pest, 70, 3).items()}
    assert lost["never"] == pytest.approx(lost["to gain"])
    assert lost["walked: tool"] < lost["walked: threshold"]
    assert lost["tool"] < lost["threshold"] < max(lost["never"], lost["always"])
    assert lost["tool, sent by forecast"] < lost["tool"]


def test_the_truth_of_the_district_is_the_published_figures() -> None:
    """Where bushels, price and the part kept are at their ends, so is what a treatment gains."""
    pest = PESTS[0]
    season = season_of(pest, 60, np.random.default_rng(1))
    price, yields, cost = season.money
    density = np.exp(season.log_density[-1])
    for ends, within in ((0, np.less_equal), (1, np.greater_equal)):
        lost = np.minimum(pest.bushels[ends] * density, pest.most * yields)
        assert within(price * lost * pest.kept[ends] - cost, season.gain + 1e-9).all()
    assert (season.gain >= -cost).all() and 0.4 < season.walked.mean() < 0.8
