"""Worked examples of floors under cattle prices: extension pages, and sums of the reference page (L-1 to L-9)."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from sideoats import ask
from sideoats.cattle import protection, slide
from sideoats.facts import load
from sideoats.outlook.option_price import black_call, implied_volatility

ENDS = np.array([200.0, 250.0, 300.0])
CASH = ENDS + 20.0


def test_indemnity_of_steers_and_heifers():
    """Burdine, Kentucky 2024: 250 insured at 100 %, ending 240, pays 10; heavy heifers at 0.90 pay 9."""
    assert protection.indemnity(250.0, 240.0) == pytest.approx(10.0)
    assert protection.indemnity(0.9 * 250.0, 0.9 * 240.0) == pytest.approx(9.0)


def test_a_hedge_nets_the_same_whatever_the_market_does():
    """Feuz: futures sold at 100, basis -0.50; cash ends at 109.50 or 89.50: 99.50 both ways."""
    cash = np.array([109.5, 89.5])
    assert protection.hedged(cash, 100.0, cash + 0.5, 0.0) == pytest.approx([99.5, 99.5])


def test_a_put_floors_the_price():
    """Diersen and Bevers: October put 150 at 4; floor 146 on the futures, 156 to 161 with a basis of 10 to 15."""
    end = 120.0
    for basis, floor in ((0.0, 146.0), (10.0, 156.0), (15.0, 161.0)):
        assert protection.floored(end + basis, 150.0, end, 4.0) == pytest.approx(floor)


def test_the_same_calves_under_every_tool():
    """550 lb calves, futures 250, basis 20: the table L-5 of the reference page."""
    assert protection.hedged(CASH, 250.0, ENDS, 0.30) == pytest.approx([269.70] * 3)
    assert protection.floored(CASH, 240.0, ENDS, 8.30) == pytest.approx([251.70, 261.70, 311.70])
    facts = load()["cattle/floor.subsidy"]
    share = protection.subsidy_share(0.95, facts.column("level from"), facts.column("subsidy"))
    paid = 9.0 * (1 - share)
    assert paid == pytest.approx(5.85)
    insured = CASH + protection.indemnity(261.25, ENDS * 1.1) - paid
    assert insured == pytest.approx([255.40, 264.15, 314.15])
    assert insured * 5.5 == pytest.approx([1404.70, 1452.825, 1727.825])


def test_subsidies_by_level():
    """RMA PM-20-064: 55 % at 70 to 79.99, 50 at 80, 45 at 85, 40 at 90, 35 at 95 to 100 %."""
    facts = load()["cattle/floor.subsidy"]
    levels = [0.65, 0.70, 0.7999, 0.80, 0.85, 0.90, 0.95, 1.0]
    got = protection.subsidy_share(levels, facts.column("level from"), facts.column("subsidy"))
    assert np.isnan(got[0]) and got[1:].tolist() == [0.55, 0.55, 0.50, 0.45, 0.40, 0.35, 0.35]


def test_a_forward_contract_with_its_slide():
    """275 at 550 lb, 12-cent slide, weighed 580: 271.40 a hundredweight, 1,574.12 a head."""
    price = slide.slide_price(275.0, 550.0, 580.0, 12.0)
    assert price == pytest.approx(271.40) and price * 5.8 == pytest.approx(1574.12)


def test_one_contract_over_hedges_sixty_calves():
    """60 head of 550 lb are 0.66 of a contract of 50,000 lb: one contract covers 152 % of them."""
    whole, share = protection.contracts(60 * 550.0, 50_000.0)
    assert whole == 1 and share == pytest.approx(1.515, abs=0.001)


def test_what_a_fair_premium_costs_and_what_the_subsidy_is_worth():
    """Expected 275, spread 18 %, half a year: fair premiums 13.95, 7.82, 3.80, 1.54; subsidy worth 4.88 to 0.69."""
    facts = load()["cattle/floor.subsidy"]
    levels = np.array([1.0, 0.95, 0.90, 0.85])
    fair = black_call(275.0, 275.0 * levels, 0.18, 0.5) + 275.0 * levels - 275.0
    assert fair == pytest.approx([13.95, 7.82, 3.80, 1.54], abs=0.006)
    share = protection.subsidy_share(levels, facts.column("level from"), facts.column("subsidy"))
    assert fair * share == pytest.approx([4.88, 2.74, 1.52, 0.69], abs=0.006)


def test_the_spread_that_a_put_stands_for():
    """Put 240 on 250 for 180 days at 8.00: 18.33 % a year at 5 % interest; undiscounted a little less."""
    implied = implied_volatility(8.0 + 250 - 240, 250.0, 240.0, 180 / 365)
    assert implied == pytest.approx(0.181, abs=0.003)


CALVES = {"weight": "560 lb", "sale": "2026-10-20", "head": "120", "futures": "250 USD/cwt", "basis": "20 USD/cwt",
          "aversion": "0"}  # fmt: skip


def _gain(answer, key):
    return next(o["expected"] for o in answer["options"] if o["key"] == key)


def test_no_free_lunch_only_the_subsidy_gains():
    """Without aversion futures lose their fee, a put fee and interest; insurance gains what the government pays."""
    tools = {"put_strike": "240 USD/cwt", "put_premium": "8 USD/cwt", "insured_price": "256.5 USD/cwt",
             "insured_level": "95 %", "insurance_premium": "9 USD/cwt", "fee": "0.30 USD/cwt",
             "interest": "8 %"}  # fmt: skip
    got = ask("price-floor", CALVES | tools, on=date(2026, 5, 4), draws=4000)
    share = 50_000 / (120 * 560)  # one contract
    assert _gain(got, "futures") == pytest.approx(-0.30 * 5.6 * share, abs=0.1)
    assert _gain(got, "put") == pytest.approx(-(0.30 + 8 * 0.08 * 169 / 365) * 5.6 * share, abs=0.1)
    fair = got["quantities"]["fair_premium"]["value"]
    assert _gain(got, "insurance") == pytest.approx((fair - 0.65 * 9) * 5.6, abs=0.1)  # 9 is over the fair premium
    cheaper = ask("price-floor", CALVES | tools | {"insurance_premium": "7 USD/cwt"}, on=date(2026, 5, 4), draws=4000)
    assert _gain(cheaper, "insurance") == pytest.approx(0.35 * fair * 5.6, abs=0.1)


def test_the_fair_premium_is_that_of_black_at_the_spread_of_the_put():
    """Own case L-9 of the reference pages: 95 % of 275, half a year, 18 % a year: 7.82, and 2.74 of it subsidy."""
    years = (date(2026, 12, 10) - date(2026, 6, 10)).days / 365
    put = float(black_call(250, 240, 0.18, years)) - 10
    tools = {"put_strike": "240 USD/cwt", "put_premium": f"{put} USD/cwt", "insured_price": "261.25 USD/cwt",
             "insured_level": "95 %", "insurance_premium": "7.82 USD/cwt"}  # fmt: skip
    got = ask("price-floor", CALVES | tools | {"sale": "2026-12-10"}, on=date(2026, 6, 10), draws=4000)
    assert got["quantities"]["fair_premium"]["value"] == pytest.approx(7.82, abs=0.25)
    assert _gain(got, "insurance") == pytest.approx(2.74 * 5.6, abs=1.0)


def test_a_dearer_insurance_never_gains_more():
    """The subsidy is a share of a fair premium, and what is asked over that is a cost."""
    tools = {"insured_price": "261.25 USD/cwt", "insured_level": "95 %"}
    gains = [_gain(ask("price-floor", CALVES | tools | {"insurance_premium": f"{p} USD/cwt"}, on=date(2026, 5, 4)),
                   "insurance") for p in (3, 5, 7, 9, 12, 16, 20)]  # fmt: skip
    assert (np.diff(gains) < 0.1).all()  # 0.1: the weights drawn are not quite free of the prices drawn
    assert gains[0] > 0 > gains[-1]


def test_a_hedge_takes_off_the_bad_years():
    """Certainty equivalents count the luck of the open price: what offsets it is worth more than its mean."""
    got = {a: ask("price-floor", CALVES | {"aversion": a, "worth": "400000 USD"}, on=date(2026, 5, 4))
           for a in ("0", "2", "4")}  # fmt: skip
    sure = [got[a]["quantities"]["certainty_equivalent_futures"]["value"] for a in ("0", "2", "4")]
    assert sure[0] < 0 < sure[1] < sure[2]
    assert [got[a]["verdict"] for a in ("0", "2", "4")] == ["wait", "act", "act"]
