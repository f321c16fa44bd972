"""The stop lines of sequential plans, on ten thousand simulated fields of known density, for clumped insects."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.insects import disease, sampling

FIELDS = 10_000


def plan_of(pest: str) -> sampling.WaldPlan:
    """A plan at the published thresholds; one printed level is told apart by two multiples of it."""
    facts, alpha, beta = load(), 0.1, 0.1
    if pest == "sorghum aphid":
        threshold = facts["insects/sorghum_aphid.threshold"]
        safe, treat, k = threshold.low, threshold.mid, facts.value("insects/sorghum_aphid.dispersion")
    elif pest == "wheat fall armyworm":
        threshold = facts["insects/wheat_fall_armyworm.threshold"]
        safe, treat, k = threshold.low, threshold.high, facts.value("insects/counting.k_unknown")
    else:
        level = {"alfalfa weevil": 1.68, "soybean stink bug": 3.0}[pest]
        safe, treat, k = 0.7 * level, 1.3 * level, facts.value("insects/counting.k_unknown")
    return sampling.wald_plan("negative binomial", safe, treat, alpha=alpha, beta=beta, k=k, bounded=True)


@pytest.mark.parametrize("pest", ["sorghum aphid", "wheat fall armyworm", "alfalfa weevil", "soybean stink bug"])
def test_error_rates_stay_at_or_under_those_asked_and_counts_are_saved(pest: str) -> None:
    plan = plan_of(pest)
    rng = np.random.default_rng(20260914)
    safe = sampling.simulate_plan(plan, plan.safe, rng, fields=FIELDS, most=700)
    treat = sampling.simulate_plan(plan, plan.treat, rng, fields=FIELDS, most=700)
    assert 1 - safe.no_treatment <= plan.alpha
    assert treat.no_treatment <= plan.beta
    assert min(safe.stopped_by_line, treat.stopped_by_line) > 0.999
    fixed, _ = sampling.fixed_size(plan)
    assert max(safe.mean_units, treat.mean_units) < 0.85 * fixed


def test_clearer_fields_are_decided_sooner_and_better() -> None:
    plan = plan_of("sorghum aphid")
    rng = np.random.default_rng(3)
    empty = sampling.simulate_plan(plan, plan.safe / 4, rng, fields=2000, most=700)
    full = sampling.simulate_plan(plan, plan.treat * 4, rng, fields=2000, most=700)
    near = sampling.simulate_plan(plan, plan.slope, rng, fields=2000, most=700)
    assert empty.no_treatment > 0.99 and full.no_treatment < 0.02
    assert max(empty.mean_units, full.mean_units) < near.mean_units / 2


def test_bounded_lines_lie_outside_the_usual_ones() -> None:
    usual = sampling.wald_plan("negative binomial", 0.2, 0.5, alpha=0.1, beta=0.1, k=0.6)
    bounded = sampling.wald_plan("negative binomial", 0.2, 0.5, alpha=0.1, beta=0.1, k=0.6, bounded=True)
    assert bounded.lower < usual.lower and bounded.upper > usual.upper and bounded.slope == usual.slope
    _, units = sampling.wald_characteristics(bounded, [0.2, 0.5])
    assert (units > sampling.wald_characteristics(usual, [0.2, 0.5])[1]).all()


def test_the_mean_response_brings_back_the_printed_chance() -> None:
    """Worked by hand: with a spread of 5 points, 50 % stands at the 8 % itself, 84.13 % one spread over it."""
    found = [disease.mean_response(chance, 0.08, 0.05) for chance in (0.5, 0.8413447, 0.1586553)]
    np.testing.assert_allclose(found, [0.08, 0.13, 0.03], atol=1e-6)


def test_rain_ranks_years_and_nothing_else() -> None:
    multiple = disease.rain_multiple([[10.0, 0.0, 200.0], [1.0, 2.0, 3.0]], 0.6, 1.4)
    np.testing.assert_allclose(multiple, [[1.0, 0.6, 1.4], [0.6, 1.0, 1.4]])
    np.testing.assert_allclose(disease.rain_multiple([[5.0]], 0.6, 1.4), [[1.0]])


def test_a_habit_of_counting_is_kept_in_one_place() -> None:
    """What a visit costs, how large a field is and the like belong to no one pest."""
    known = load().by_id
    habits = {(f.unit, f.conditions) for name, f in known.items() if name.startswith("insects/counting.")}
    own = {name for name, f in known.items() if "/counting." not in name and (f.unit, f.conditions) in habits}
    assert len(habits) >= 10 and not own
