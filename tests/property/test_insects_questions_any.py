"""What must hold for any count, harvest date and interval."""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.asking import table_of
from sideoats.call import ACT, LOOK, STOP, WAIT, Answered
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all

ON = date(2026, 9, 14)
SEVERITY = {WAIT: 0, LOOK: 1, ACT: 2, STOP: 3}
COUNTED: dict[str, tuple[str, dict[str, str]]] = {
    "sorghum-midge": ("per_head", {"n": "30", "stage": "flowering", "yield": "70 bu/ac", "price": "4.3 USD/bu"}),
    "sorghum-headworm": ("large", {"n": "30", "stage": "milk", "heads": "50000", "yield": "70 bu/ac",
                                   "price": "4.3 USD/bu"}),
    "soybean-podworm": ("mean", {"n": "10", "stage": "R5", "yield": "35 bu/ac", "price": "10 USD/bu"}),
    "soybean-stinkbug": ("mean", {"n": "10", "stage": "R4", "method": "sweep", "yield": "35 bu/ac",
                                  "price": "10 USD/bu"}),
    "wheat-aphid": ("mean", {"n": "50", "species": "greenbug", "stage": "boot", "yield": "40 bu/ac",
                             "price": "5.6 USD/bu"}),
    "alfalfa-weevil": ("mean", {"n": "50", "height": "18 in", "price": "180 USD/ton", "yield": "1.4 ton/ac"}),
    "cotton-fleahopper-bollworm": ("mean", {"n": "100", "stage": "squaring", "yield": "600 lb/ac",
                                            "price": "0.7 USD/lb"}),
    "wheat-fall-armyworm": ("larvae", {"n": "20", "size": "0.4 in", "yield": "40 bu/ac", "price": "5.6 USD/bu"}),
    "sorghum-aphid": ("mean", {"n": "40", "stage": "boot", "yield": "70 bu/ac", "price": "4.3 USD/bu",
                               "cost": "14 USD/ac"}),
    "soybean-defoliation": ("defoliation", {"stage": "R4", "yield": "35 bu/ac", "price": "10 USD/bu"}),
}  # fmt: skip
# one count of each: sparse, about the threshold, several times over it
COUNTS: dict[str, tuple[float, ...]] = {
    "sorghum-midge": (0.2, 1, 5), "sorghum-headworm": (0.05, 0.3, 2), "soybean-podworm": (0.3, 2, 8),
    "soybean-stinkbug": (0.5, 3, 15), "wheat-aphid": (4, 25, 200), "alfalfa-weevil": (0.5, 2, 6),
    "cotton-fleahopper-bollworm": (0.03, 0.2, 0.8), "wheat-fall-armyworm": (0.5, 2.5, 8),
    "sorghum-aphid": (5, 40, 400), "soybean-defoliation": (0.05, 0.2, 0.6),
}  # fmt: skip
GAIN, LOSS = "expected_gain_of_treating_today", "expected_loss_untreated"


@lru_cache
def context(on: date = ON) -> Context:
    facts = load()
    return Context(on, facts, make_outlook(on, facts=facts, draws=60))


def asked_on(name: str) -> date:
    """A day on which the crop stands at the stage: alfalfa and wheat in spring, cotton in early summer."""
    days = {"alfalfa-weevil": (4, 20), "wheat-aphid": (4, 20), "wheat-fungicide": (4, 20)}
    return date(2026, *days.get(name, (7, 5) if name == "cotton-fleahopper-bollworm" else (9, 14)))


def asked(name: str, rows: list[dict[str, str]]) -> Answered:
    """Rows under one key, so that they share their noise."""
    question = find(name)
    table = table_of(question, [read_all(question.inputs, row) for row in rows], keys=["same"] * len(rows))
    return question.ask(table, context(asked_on(name)))


def counted(name: str, amount: float) -> dict[str, str]:
    """The common inputs of a question with one count; armyworms come with their unit, leaf loss as a share."""
    field, common = COUNTED[name]
    return common | {field: f"{amount:.6g}" + {"larvae": " /ft"}.get(field, "")}


def gains(name: str, rows: list[dict[str, str]]) -> np.ndarray:
    return np.asarray(asked(name, rows).quantities[GAIN][0])


@pytest.mark.parametrize("name", COUNTED)
def test_a_dearer_treatment_costs_just_what_it_costs_more(name: str) -> None:
    """The economic injury level's definition: what pests take does not depend on the price of the spray."""
    costs = [0, 3, 12, 24, 48, 96]
    for amount in COUNTS[name]:
        found = gains(name, [counted(name, amount) | {"cost": f"{c} USD/ac"} for c in costs])
        np.testing.assert_allclose(found - found[0], -np.array(costs, float), atol=1e-6)
        assert found[0] > 0


@pytest.mark.parametrize("name", COUNTED)
@pytest.mark.parametrize("what", ["price", "yield"])
def test_a_dearer_or_a_heavier_crop_is_worth_more_protecting(name: str, what: str) -> None:
    unit = COUNTED[name][1][what].split()
    for amount in COUNTS[name]:
        rows = [counted(name, amount) | {what: f"{float(unit[0]) * t:g} {unit[1]}"} for t in (0.25, 0.5, 1, 2, 4)]
        found = gains(name, [row | {"cost": "12 USD/ac"} for row in rows])
        assert (np.diff(found) >= -1e-9).all() and found[-1] > found[0] + (1e-3 if what == "price" else 0)


@pytest.mark.parametrize("name", COUNTED)
def test_no_number_of_pests_takes_more_than_the_crop_is_worth(name: str) -> None:
    found = asked(name, [counted(name, amount) | {"cost": "0 USD/ac"} for amount in COUNTS[name]])
    worth = np.asarray(found.quantities["crop_value"][0])
    assert (np.asarray(found.quantities[GAIN][0]) <= worth + 1e-9).all()


@pytest.mark.parametrize("name", COUNTED)
@given(steps=st.lists(st.floats(1.0, 2.0), min_size=3, max_size=6))
@settings(max_examples=10, deadline=None)
def test_more_pests_never_get_a_milder_verdict(name: str, steps: list[float]) -> None:
    amounts = np.minimum(COUNTS[name][0] * np.cumprod([1.0, *steps]), COUNTS[name][-1] * 1.5)
    verdict = asked(name, [counted(name, a) | {"cost": "12 USD/ac"} for a in amounts]).verdict
    assert verdict is not None and (np.diff([SEVERITY[int(v)] for v in verdict]) >= 0).all()


@pytest.mark.parametrize("name", COUNTED)
def test_a_handful_of_units_never_makes_treating_worth_more_than_a_good_count(name: str) -> None:
    """Ignorance is no harvest: fewer units of one mean leave the field nearer to what such fields usually hold."""
    if "n" not in COUNTED[name][1]:
        return
    rows = [counted(name, COUNTS[name][1]) | {"n": n, "cost": "0 USD/ac"} for n in ("3", "12", "60", "400")]
    few = np.nan_to_num(gains(name, rows), nan=-np.inf)  # a sample still to be completed has no money yet
    assert (few[:-1] <= few[-1] * 1.05).all()


@pytest.mark.parametrize("name", COUNTED)
@given(first=st.floats(0.05, 5), steps=st.lists(st.floats(1.01, 3), min_size=2, max_size=5))
@settings(max_examples=10, deadline=None)
def test_more_insects_never_make_treating_worth_less(name: str, first: float, steps: list[float]) -> None:
    means = np.minimum(first * np.cumprod([1.0, *steps]) / 5, 1.0) * COUNTS[name][-1]
    found = asked(name, [counted(name, m) for m in means])
    gain = np.asarray(found.quantities[GAIN][0])
    assert (np.diff(gain) >= -1e-9).all()
    loss = np.asarray(found.quantities[LOSS][0])
    assert (loss >= 0).all() and (np.diff(loss) >= -1e-9).all()


@pytest.mark.parametrize("name", COUNTED)
@given(harvest=st.integers(0, 60), interval=st.integers(0, 60), part=st.just(0.0) | st.floats(1e-6, 1))
@settings(max_examples=10, deadline=None)
def test_no_count_lifts_an_interval(name: str, harvest: int, interval: int, part: float) -> None:
    harvested = asked_on(name) + timedelta(days=harvest)
    row = counted(name, part * COUNTS[name][-1]) | {"harvest_date": harvested.isoformat()}
    call = asked(name, [row | {"phi_days": str(interval)}]).call(0)
    for day in range(15):
        option = next(o for o in call.options if o.key == f"treat-day-{day}")
        assert bool(option.barred) is (harvest - day < interval)
    open_days = [day for day in range(15) if harvest - day >= interval]
    if call.verdict == "act" and "cut" not in call.headline.lower():
        assert call.act_by is not None and (call.act_by - asked_on(name)).days in open_days
    if not open_days and name != "alfalfa-weevil":
        assert call.verdict != "act"
