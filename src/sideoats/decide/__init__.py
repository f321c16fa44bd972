"""Decisions under uncertainty. Knows no agronomy: options, payoffs over draws, bars, act-by, value of a look, risk."""

from sideoats.decide.choose import Decision, decide, value_of_information, worst_share
from sideoats.decide.information import (
    expected_regret,
    normal_linear_evpi,
    normal_linear_evsi,
    perfect_information,
    preposterior_sd,
    sample_information,
    sample_information_from_draws,
    unit_normal_loss,
)
from sideoats.decide.money import annuity_factor, internal_rate, net_present_value, partial_budget
from sideoats.decide.risk import (
    cara_certainty_equivalent,
    cara_normal_certainty_equivalent,
    crra_certainty_equivalent,
    dominates_first_order,
    dominates_second_order,
    probability_premium,
    risk_premium_coin_flip,
)

__all__ = [
    "Decision",
    "annuity_factor",
    "cara_certainty_equivalent",
    "cara_normal_certainty_equivalent",
    "crra_certainty_equivalent",
    "decide",
    "dominates_first_order",
    "dominates_second_order",
    "expected_regret",
    "internal_rate",
    "net_present_value",
    "normal_linear_evpi",
    "normal_linear_evsi",
    "partial_budget",
    "perfect_information",
    "preposterior_sd",
    "probability_premium",
    "risk_premium_coin_flip",
    "sample_information",
    "sample_information_from_draws",
    "unit_normal_loss",
    "value_of_information",
    "worst_share",
]
