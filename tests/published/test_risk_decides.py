"""Risk in the verdict: what is advised at an aversion of 0, 2 and 4, and what certainty equivalents are made of."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from sideoats import ask

CALVES = {
    "weight": "500 lb", "price": "310 USD/cwt", "turnout": "2026-11-15", "acres": "200 ac", "head": "200",
    "pasture_per_gain": "0.75 USD/lb", "lot_per_day": "2.6 USD/day", "pasture_chance": "100 %",
    "futures": "275 USD/cwt", "basis": "0 USD/cwt", "grain_given_up": "0 USD/head",
}  # fmt: skip
ASKED: dict[str, tuple[date, dict[str, str], list[str]]] = {
    # a bid a little over what storage and interest cost: the mean is the same, the risk is not
    "bin-hold": (date(2026, 7, 15), {
        "crop": "wheat", "price": "5.50 USD/bu", "storage": "0.05 USD/bu/month", "interest": "8 %", "bushels": "12000",
        "moisture": "12 %", "temperature": "70 degF", "quotes": "2026-12-15 6.05", "basis": "0 USD/bu",
        "worth": "200000 USD",
    }, ["wait", "act", "act"]),
    # a put at what it is worth: its fee is lost without aversion, and paid by who has much to lose
    "price-floor": (date(2026, 5, 4), {
        "weight": "560 lb", "sale": "2026-10-20", "head": "400", "futures": "250 USD/cwt", "basis": "20 USD/cwt",
        "put_strike": "240 USD/cwt", "put_premium": "8.00 USD/cwt", "worth": "400000 USD",
    }, ["wait", "act", "act"]),
    # 200 calves on wheat: the open price earns most, and only who minds risk much sells futures against them
    "retain-calves": (date(2026, 10, 20), CALVES | {"worth": "300000 USD"}, ["wait", "wait", "act"]),
}  # fmt: skip


def _answers(question: str) -> list[dict[str, Any]]:
    on, values, _ = ASKED[question]
    return [dict(ask(question, {**values, "aversion": aversion}, on=on)) for aversion in ("0", "2", "4")]


@pytest.mark.parametrize("question", ASKED)
def test_the_verdict_turns_with_the_grower_s_aversion_and_the_money_does_not(question: str) -> None:
    answers = _answers(question)
    assert [answer["verdict"] for answer in answers] == ASKED[question][2]
    assert answers[0]["options"] == answers[1]["options"] == answers[2]["options"]


@pytest.mark.parametrize("question", ["price-floor", "retain-calves"])
def test_a_certainty_equivalent_falls_with_aversion_and_is_the_mean_without_it(question: str) -> None:
    answers = _answers(question)
    for option in answers[0]["options"][1:]:
        name = f"certainty_equivalent_{option['key']}"
        certain = [answer["quantities"][name]["value"] for answer in answers if name in answer["quantities"]]
        if option["barred"] is None and question == "retain-calves":  # owning on is risk over selling today
            assert certain[0] == pytest.approx(option["expected"], rel=1e-3)
            assert certain[0] > certain[1] > certain[2]


def test_calves_kept_have_no_free_lunch() -> None:
    """Without aversion futures lose their fee, a put fee and interest; an insurance gains no more than its subsidy."""
    tools = {
        "put_strike": "270 USD/cwt", "put_premium": "14 USD/cwt", "insured_price": "265 USD/cwt",
        "insured_level": "96 %", "insurance_premium": "15 USD/cwt", "fee": "0.30 USD/cwt",
    }  # fmt: skip
    answer = ask("retain-calves", CALVES | tools, on=date(2026, 10, 20))
    mean = {option["key"]: option["expected"] for option in answer["options"]}
    sold = answer["quantities"]["end_weight"]["value"] / 100  # of whatever way is told: 7.4 to 8.7 cwt
    assert -0.30 * 9 * 1.2 < mean["kept_futures"] - mean["wheat_to_march"] < 0
    interest = 14 * 0.08 * 146 / 365
    assert mean["kept_put"] - mean["wheat_to_march"] == pytest.approx(-(0.30 + interest) * sold, rel=0.35)
    assert 0 < mean["kept_insurance"] - mean["wheat_to_march"] < 0.35 * 15 * 7.4  # dearer than the put says is fair
