"""Laws of sorghum-aphid, and the closed form of its pest-days."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sideoats
from sideoats.insects.treatment import pest_days_by_day, triangular

ON = date(2026, 8, 10)
STAGES = st.sampled_from(["pre-boot", "boot", "flowering", "milk", "soft dough"])


def gain(**values: Any) -> float:
    """What the best treatment pays over not treating, USD/ac."""
    base = {"n": 40, "stage": "boot", "yield": "80 bu/ac", "price": "4.50 USD/bu", "cost": "14 USD/ac"}
    options = sideoats.ask("sorghum-aphid", {**base, **values}, on=ON, draws=200)["options"]
    return max(o["expected"] for o in options[:-1]) - options[-1]["expected"]


@given(st.floats(0.5, 300), st.floats(1.0, 3.0), STAGES)
@settings(max_examples=25, deadline=None)
def test_more_aphids_never_make_treating_less_attractive(mean: float, times: float, stage: str) -> None:
    assert gain(mean=mean * times, stage=stage) >= gain(mean=mean, stage=stage) - 1e-3


@given(st.floats(1, 300), st.floats(20, 150), st.floats(1.0, 2.0), st.sampled_from(["yield", "price"]))
@settings(max_examples=25, deadline=None)
def test_more_value_never_makes_treating_less_attractive(mean: float, size: float, times: float, which: str) -> None:
    unit, scale = ("bu/ac", 1.0) if which == "yield" else ("USD/bu", 0.05)
    low = gain(mean=mean, **{which: f"{size * scale} {unit}"})
    assert gain(mean=mean, **{which: f"{size * scale * times} {unit}"}) >= low - 1e-3


@given(st.floats(1, 300), st.floats(1, 60), st.just(0.0) | st.floats(1e-6, 30))
@settings(max_examples=25, deadline=None)
def test_more_cost_never_makes_treating_more_attractive(mean: float, cost: float, more: float) -> None:
    assert gain(mean=mean, cost=f"{cost + more} USD/ac") <= gain(mean=mean, cost=f"{cost} USD/ac") + 1e-3


@given(st.floats(0.1, 400), st.floats(0.02, 0.4), st.floats(1, 40))
@settings(max_examples=40, deadline=None)
def test_pest_days_equal_numerical_integration_of_the_logistic_curve(start: float, rate: float, days: float) -> None:
    """scipy integrates dN/dt = r N (1 - N/K); the trapeze over single days overstates a convex path a little."""
    from scipy.integrate import solve_ivp

    ceiling = max(350.0, start)
    treat_days = 15
    cumulative = (np.arange(treat_days) * rate)[:, None, None]
    _, whole = pest_days_by_day([[start]], cumulative, [0], [[rate]], [[ceiling]], [[days]])
    path = solve_ivp(
        lambda _, y: [rate * y[0] * (1 - y[0] / ceiling), y[0]], (0, days), [start, 0.0], rtol=1e-8, atol=1e-8
    )
    # a fractional last day inside the first fortnight counts that day's mean by its part: up to half a day's growth off
    slack = 0.02 if days >= treat_days else 0.25
    assert whole[0, 0] == pytest.approx(path.y[1, -1], rel=slack)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30, deadline=None)
def test_pest_days_grow_with_the_treatment_day_and_never_pass_the_whole(seed: int) -> None:
    rng = np.random.default_rng(seed)
    start = rng.gamma(1.0, 60.0, (3, 50))
    cumulative = np.concatenate([np.zeros((1, 1, 50)), np.cumsum(rng.random((14, 1, 50)) * 0.3, axis=0)])
    before, whole = pest_days_by_day(
        start, cumulative, [0, 0, 0], rng.random((1, 50)) * 0.3, np.full((1, 50), 350.0), rng.random((3, 50)) * 40
    )
    assert (np.diff(before, axis=0) >= -1e-9).all() and (whole >= before[-1] - 1e-9).all()


def test_triangular_draws_have_the_textbook_mean_and_ends() -> None:
    u = (np.arange(100_000) + 0.5) / 100_000
    x = triangular(u, 1.0, 2.0, 6.0)
    assert x.mean() == pytest.approx((1 + 2 + 6) / 3, abs=1e-3)
    assert x.min() >= 1 and x.max() <= 6
