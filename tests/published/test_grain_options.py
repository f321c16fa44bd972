"""Black's price of a call on futures against worked values, and the volatility that a premium stands for."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.outlook.option_price import black_call, implied_volatility


def test_worked_values():
    """Futures 215, strike 211.3149, 150 days at 18 %: 11.7594 (computed apart); at the money 5.50, six months at 30 %:
    0.4646."""
    assert black_call(215, 211.3149, 0.18, 150 / 365) == pytest.approx(11.7594, abs=5e-5)
    assert black_call(5.50, 5.50, 0.30, 0.5) == pytest.approx(0.4646, abs=5e-5)


def test_a_premium_stands_for_its_volatility():
    """At the money 5.50, six months, 0.20 stands for 12.9 %; strike 6.00 at 0.35 for 35.0 % (computed apart)."""
    assert implied_volatility([0.20, 0.35], 5.50, [5.50, 6.00], 0.5) == pytest.approx([0.129, 0.350], abs=5e-4)


def test_no_volatility_makes_a_call_cheaper_than_its_use_today():
    assert np.isnan(implied_volatility([0.50, 7.00], 6.00, 5.00, 0.5)).all()
