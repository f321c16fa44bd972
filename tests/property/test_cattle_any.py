"""What must hold for any cattle budget, slide, calendar and call."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.asking import table_of
from sideoats.cattle import budget, program, shrink, slide
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, find

ON = date(2026, 11, 24)
CONTEXT = Context(ON, load(), make_outlook(ON, draws=80))


def numbers(low, high):
    return st.floats(low, high, allow_nan=False)


HOLDINGS = st.fixed_dictionaries({
    "start_weight": numbers(200, 1500), "start_price": numbers(20, 400), "end_weight": numbers(200, 1800),
    "end_price": numbers(20, 400), "days": numbers(1, 365), "running_cost": numbers(0, 800),
    "other_cost": numbers(0, 200), "interest_rate": numbers(0, 0.2), "death_share": numbers(0, 0.2),
    "start_shrink": numbers(0, 0.1), "end_shrink": numbers(0, 0.1), "running_interest_share": numbers(0, 1),
})  # fmt: skip


@given(HOLDINGS)
def test_every_break_even_breaks_even(inputs):
    held = budget.hold_and_sell(**inputs)
    money = abs(float(held.total_cost)) + abs(float(held.income)) + 1
    for changed in (
        {"end_price": float(held.break_even_sale)},
        {"start_price": float(held.break_even_start)},
    ):
        assert abs(float(budget.hold_and_sell(**{**inputs, **changed}).net)) < 1e-9 * money
    gained = inputs["end_weight"] - inputs["start_weight"]
    if gained > 1:
        running = float(held.break_even_gain_cost) * gained
        assert abs(float(budget.hold_and_sell(**{**inputs, "running_cost": running}).net)) < 1e-9 * money


@given(HOLDINGS, numbers(0, 100))
def test_more_price_never_hurts_and_more_cost_never_helps(inputs, more):
    net = float(budget.hold_and_sell(**inputs).net)
    assert float(budget.hold_and_sell(**{**inputs, "end_price": inputs["end_price"] + more}).net) >= net - 1e-9
    for cost in ("running_cost", "other_cost", "start_price"):
        assert float(budget.hold_and_sell(**{**inputs, cost: inputs[cost] + more}).net) <= net + 1e-9
    for share in ("death_share", "end_shrink", "interest_rate"):
        assert float(budget.hold_and_sell(**{**inputs, share: inputs[share] + more / 1000}).net) <= net + 1e-9


@given(HOLDINGS)
def test_price_part_and_gain_part_are_the_whole_change(inputs):
    ends = [inputs[k] for k in ("start_weight", "start_price", "end_weight", "end_price")]
    assert sum(budget.split_of_change(*ends)) == pytest.approx(float(budget.gross_margin(*ends)), abs=1e-8)


@given(numbers(100, 400), numbers(400, 900), numbers(0, 30), numbers(0, 300))
def test_a_retroactive_tier_never_pays_more(price, base, step, over):
    bounds, slides = [base, base + 25, base + 400], [step, step + 3]
    plain = slide.tiered_slide_price(price, base + over, bounds, slides)
    all_at_once = slide.tiered_slide_price(price, base + over, bounds, slides, retroactive=True)
    assert all_at_once <= plain + 1e-9
    assert plain <= price
    one = slide.tiered_slide_price(price, base + over, [base, base + 500], [step])
    assert one == pytest.approx(float(slide.slide_price(price, base, base + over, step)))


@given(numbers(50, 500), numbers(0, 0.2), numbers(0, 0.2))
def test_equivalent_prices_pay_the_same(price, first, second):
    other = shrink.equivalent_price(price, first, second)
    assert float(other) * (1 - second) == pytest.approx(price * (1 - first))
    assert float(shrink.equivalent_price(other, second, first)) == pytest.approx(price)


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.integers(0, 200), st.integers(0, 60), st.integers(0, 60))
def test_counting_back_and_forth(sale, days, withdrawal, more):
    dates = program.program_dates(
        [sale],
        program_days=days,
        first_before_weaning=(14, 21),
        booster_after_first=(14, 28),
        withdrawal_days=withdrawal,
    )
    wean_by = dates.wean_by[0].item()
    assert wean_by + timedelta(days=days) == sale
    assert dates.first_from[0] <= dates.first_to[0] < dates.wean_by[0]
    assert dates.booster_to[0] <= dates.treat_by[0]
    late = wean_by + timedelta(days=1 + more)
    masks = program.program_conflicts(
        dates, sale=[sale], on=late, program_days=days, least_gap=14, most_gap=28, weaned=[late]
    )
    assert bool(masks["weaned too few days"][0]) and not bool(np.any(masks["weaning date is past"]))


def _call(name, values):
    question = find(name)
    row = {f.name: f.default for f in question.inputs} | values
    return question.ask(table_of(question, [row]), CONTEXT).call(0)


PLAIN_CULLS = st.fixed_dictionaries({
    "weight": numbers(700, 1800), "price": numbers(60, 200), "rise": numbers(0.4, 1.25), "days": numbers(20, 180),
    "cost_per_day": numbers(1, 8), "interest": numbers(0, 0.2), "death": numbers(0, 0.1),
    "gain": st.tuples(numbers(0.5, 4)),
}).map(lambda v: {k: x for k, x in v.items() if k != "rise"} | {"later_price": v["price"] * v["rise"]})  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(PLAIN_CULLS)
def test_no_price_moves_an_unfit_cow(values):
    call = _call("cull-cows", values | {"fit_to_travel": False})
    assert call.verdict == "stop"
    assert all(o.barred and o.chance_best == 0 for o in call.options)


@settings(max_examples=40, deadline=None)
@given(PLAIN_CULLS, st.integers(1, 300))
def test_no_price_sells_inside_a_withdrawal(values, days):
    call = _call("cull-cows", values | {"treated": ON, "withdrawal_days": float(days)})
    assert call.verdict == "stop"
    assert call.options[0].barred and call.options[0].chance_best == 0


@settings(max_examples=40, deadline=None)
@given(PLAIN_CULLS, numbers(0, 20))
def test_feeding_pays_more_with_a_better_later_price(values, more):
    feeds = [
        next(o for o in _call("cull-cows", v).options if o.key == "feed")
        for v in (values, values | {"later_price": values["later_price"] + more})
    ]
    assert feeds[1].expected >= feeds[0].expected - 1e-9
    assert feeds[0].worst_tenth <= feeds[0].expected + 1e-9
    assert feeds[0].low <= feeds[0].high


@settings(max_examples=30, deadline=None)
@given(PLAIN_CULLS)
def test_expected_is_the_net_at_the_stated_price(values):
    """The draws spread about the price that the adviser states: their mean is that price."""
    call = _call("cull-cows", values)
    feed = next(o for o in call.options if o.key == "feed")
    scale = values["weight"] * values["price"] / 100 + 1
    assert feed.expected == pytest.approx(float(call.quantities["net_at_given_price"].value), abs=1e-6 * scale)
