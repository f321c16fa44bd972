"""One pass a field: its laws, on made-up calls, and the cards of the demo."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.call import Call, OptionResult, Quantity
from sideoats.demo.district import TODAY
from sideoats.facts import load
from sideoats.replies import READER
from sideoats.week import run_week
from sideoats.week.passes import Pass, cost_of, passes
from sideoats.words import sentence

BEANS = ("soybean-podworm", "soybean-stinkbug", "soybean-defoliation")
FACTS = load()
LEAST = 1.0  # of a pass, decide/trouble.least


def call(
    question: str,
    kept: float,
    cost: float = 14.0,
    *,
    verdict: str = "",
    closed: tuple[int, ...] = (),
    fading: float = 0.1,
    counted: float = 3.0,
) -> Call:
    """What a question says of one field where treating today keeps so much, a part less each day."""
    gains = [kept * max(1 - fading * day, 0.0) - cost for day in range(15)]
    options = [
        OptionResult(f"treat-day-{d}", "", g, g, g, "USD/ac", 0.5, "closed" if d in closed else None)
        for d, g in enumerate(gains)
    ]
    told = verdict or ("act" if gains[0] >= LEAST else "wait")
    numbers = {
        "treatment_cost": Quantity(cost, "USD/ac"),
        "count_mean": Quantity(counted, "1"),
        "pre_harvest_interval": Quantity(21.0, "day"),
    }
    return Call(question, TODAY, told, None, None, "", tuple(options), numbers, place="f", room="insects")


def one(*calls: Call, sprayed: tuple[str, ...] = ()) -> Pass:
    (made,) = passes(calls, {"f": 80.0}, {"f": sprayed} if sprayed else {}, FACTS)
    return made


def codes(made: Pass) -> list[str]:
    return [said.code for said in made.said]


def test_one_material_is_paid_once_and_a_second_without_its_application() -> None:
    assert cost_of([14, 12, 10], ["broad"] * 3, 8) == 14
    assert cost_of([14, 16], ["broad", "aphid"], 8) == 16 + 14 - 8
    assert cost_of([14, 5], ["aphid", "broad"], 8) == 14  # less than its own application costs nothing more


def test_what_does_not_pay_alone_goes_along() -> None:
    made = one(call(BEANS[0], 22), call(BEANS[1], 6))
    assert made.pests == BEANS[:2] and made.riders == (BEANS[1],)
    assert made.gain == pytest.approx(22 + 6 - 14) and made.apart == pytest.approx(22 - 14)
    assert "pass.rider" in codes(made) and "pass.saves" in codes(made)


def test_what_adds_next_to_nothing_is_no_pest_of_the_pass() -> None:
    assert one(call(BEANS[0], 22), call(BEANS[1], 0.5)).pests == BEANS[:1]


def test_two_that_pay_only_together_are_told_so_and_a_little_is_no_pass() -> None:
    made = one(call(BEANS[0], 11), call(BEANS[1], 11))
    assert made.gain == pytest.approx(8) and made.apart == 0 and set(made.riders) == set(BEANS[:2])
    assert "pass.together" in codes(made)
    assert passes([call(BEANS[0], 8.5), call(BEANS[1], 8.0)], {}, {}, FACTS) == ()  # 2.5 on 14 is a coin toss


def test_a_day_that_one_label_closes_is_closed_for_the_pass() -> None:
    made = one(call(BEANS[0], 60, closed=(0, 1)), call(BEANS[1], 30))
    assert made.on == TODAY + timedelta(days=2) and len(made.pests) == 2
    shut = tuple(range(15))
    assert one(call(BEANS[0], 60, closed=shut), call(BEANS[1], 30)).pests == (BEANS[1],)


def test_a_count_to_be_gone_on_with_comes_first_and_is_not_sprayed_on() -> None:
    made = one(call(BEANS[0], 30), call(BEANS[1], 30, verdict="look"))
    assert made.pests == (BEANS[0],) and "pass.first" in codes(made)


def test_what_a_broad_spray_lets_rise_is_told_where_any_were_counted() -> None:
    midge = call("sorghum-midge", 30)
    assert "pass.flare" in codes(one(midge, call("sorghum-aphid", 0.2)))
    assert "pass.flare" not in codes(one(midge, call("sorghum-aphid", 0.0, counted=0.0)))
    both = one(midge, call("sorghum-aphid", 40))
    assert both.materials == 2 and "pass.two" in codes(both) and "pass.flare" not in codes(both)


def test_groups_on_file_are_told_and_their_absence_is() -> None:
    told = one(call(BEANS[0], 30), sprayed=("3A", "28"))
    words = [sentence(said, READER) for said in told.said]
    assert any("3A, 28" in line and "another group" in line for line in words)
    assert "pass.no-groups" in codes(one(call(BEANS[0], 30)))


@given(
    st.lists(
        st.tuples(st.sampled_from([*BEANS, "sorghum-aphid"]), st.floats(0, 60)),
        min_size=1,
        max_size=4,
        unique_by=lambda t: t[0],
    ),
    st.floats(8, 25),
    st.floats(0, 10),
)
@settings(max_examples=80, deadline=None)
def test_a_pass_is_never_worse_than_separate_ones_and_a_dearer_one_never_pays_more(
    kept: list[tuple[str, float]], cost: float, more: float
) -> None:
    def gains(dear: float) -> tuple[float, float]:
        made = passes([call(q, k, dear) for q, k in kept], {"f": 80.0}, {}, FACTS)
        return (made[0].gain, made[0].apart) if made else (0.0, 0.0)

    gain, apart = gains(cost)
    assert gain >= apart - 1e-6
    assert gain <= sum(max(k, 0.0) for _, k in kept)
    assert gains(cost + more)[0] <= gain + LEAST * len(kept)  # pests that add under the least are left out


def test_the_week_of_the_demo_has_one_card_a_field(ledger: Path) -> None:
    week = run_week(ledger, TODAY, draws=60)
    places = [made.place for made in week.passes]
    assert len(places) == len(set(places)) >= 4
    acting = {c.place for c in week.of("act") if any(o.key == "treat-day-0" for o in c.options)}
    assert acting - {c.place for c in week.calls if c.question == "wheat-fungicide"} <= set(places)
    assert any(made.riders for made in week.passes)
    assert [made["place"] for made in week.full()["passes"]] == places
