"""What must hold for any count, harvest date and interval."""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Answers, Context, find
from sideoats.schema import read_all

ON = date(2026, 9, 14)
COUNTED: dict[str, tuple[str, dict[str, str]]] = {
    "sorghum-midge": ("per_head", {"n": "30", "crop_value": "300 USD/ac"}),
    "sorghum-headworm": ("large", {"n": "30", "heads": "50000", "price": "4.3 USD/bu", "yield": "70 bu/ac"}),
    "soybean-podworm": ("mean", {"n": "10", "stage": "R5", "crop_value": "350 USD/ac"}),
    "soybean-stinkbug": ("mean", {"n": "10", "stage": "R4", "method": "sweep", "crop_value": "350 USD/ac"}),
    "wheat-aphid": ("mean", {"n": "50", "species": "greenbug", "stage": "boot", "crop_value": "230 USD/ac"}),
    "alfalfa-weevil": ("mean", {"n": "50", "height": "18 in", "price": "180 USD/ton", "yield": "1.4 ton/ac"}),
    "cotton-fleahopper-bollworm": ("mean", {"n": "100", "stage": "squaring", "crop_value": "400 USD/ac"}),
}


@lru_cache
def context() -> Context:
    facts = load()
    return Context(ON, facts, make_outlook(ON, facts=facts, draws=60))


def asked(name: str, rows: list[dict[str, str]]) -> Answers:
    """Rows under one key, so that they share their noise."""
    question = find(name)
    table = table_of(question, [read_all(question.inputs, row) for row in rows], keys=["same"] * len(rows))
    return question.ask(table, context())


@pytest.mark.parametrize("name", COUNTED)
@given(first=st.floats(0.05, 5), steps=st.lists(st.floats(1.01, 3), min_size=2, max_size=5))
@settings(max_examples=10, deadline=None)
def test_more_insects_never_make_treating_worth_less(name: str, first: float, steps: list[float]) -> None:
    field, common = COUNTED[name]
    means = np.minimum(first * np.cumprod([1.0, *steps]), 100.0)
    found = asked(name, [common | {field: f"{m:.6g}"} for m in means])
    gain = np.asarray(found.quantities["expected_gain_of_treating_today"][0])
    assert (np.diff(gain) >= -1e-9).all()
    loss = np.asarray(found.quantities["expected_loss_untreated"][0])
    assert (loss >= 0).all() and (np.diff(loss) >= -1e-9).all()


@pytest.mark.parametrize("name", COUNTED)
@given(harvest=st.integers(0, 60), interval=st.integers(0, 60), mean=st.just(0.0) | st.floats(1e-6, 100))
@settings(max_examples=10, deadline=None)
def test_no_count_lifts_an_interval(name: str, harvest: int, interval: int, mean: float) -> None:
    field, common = COUNTED[name]
    row = common | {field: f"{mean:.6g}", "harvest_date": (ON + timedelta(days=harvest)).isoformat()}
    call = asked(name, [row | {"phi_days": str(interval)}]).call(0)
    for day in range(15):
        option = next(o for o in call.options if o.key == f"treat-day-{day}")
        assert bool(option.barred) is (harvest - day < interval)
    open_days = [day for day in range(15) if harvest - day >= interval]
    if call.verdict == "act" and "cut" not in call.headline:
        assert call.act_by is not None and (call.act_by - ON).days in open_days
    if not open_days and name != "alfalfa-weevil":
        assert call.verdict != "act"
