"""sorghum-aphid, asked as a user would."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

import sideoats
from sideoats.asking import table_of
from sideoats.errors import InputError, UnitError
from sideoats.facts import load
from sideoats.insects.treatment import density_of_equal_injury
from sideoats.outlook import make_outlook
from sideoats.question import Context, find

BASE = {"n": "40", "stage": "boot", "yield": "80 bu/ac", "price": "4.50 USD/bu", "cost": "14 USD/ac"}
ON = date(2026, 8, 10)


def ask(**values: Any) -> dict[str, Any]:
    return sideoats.ask("sorghum-aphid", {**BASE, **values}, on=ON)


def test_many_aphids_act_within_days() -> None:
    answer = ask(mean=150)
    assert answer["verdict"] == "act"
    assert 0 <= (date.fromisoformat(answer["act_by"]) - ON).days <= 4
    assert answer["options"][0]["chance_best"] > 0.8


def test_few_aphids_wait_or_look_with_a_date() -> None:
    answer = ask(mean=2)
    assert answer["verdict"] in ("wait", "look") and answer["act_by"] is None
    assert 2 <= (date.fromisoformat(answer["look_by"]) - ON).days <= 7


@pytest.mark.parametrize("mean", [2, 40, 150, 400])
def test_inside_the_interval_treating_is_barred_and_never_advised(mean: float) -> None:
    answer = ask(mean=mean, harvest_date="2026-08-18", phi_days="14")
    assert answer["verdict"] != "act"
    treats = [o for o in answer["options"] if o["key"].startswith("treat")]
    assert len(treats) == 15
    assert all("pre-harvest interval of 14 days" in o["barred"] and o["chance_best"] == 0 for o in treats)


def test_days_that_fall_inside_the_interval_are_barred_one_by_one() -> None:
    answer = ask(mean=150, harvest_date="2026-08-29", phi_days="14")
    barred = [o["barred"] is not None for o in answer["options"]]
    assert barred == [d > 5 for d in range(15)] + [False]
    assert answer["verdict"] == "act" and answer["act_by"] <= "2026-08-15"


def test_the_break_even_density_lies_in_the_published_threshold_range() -> None:
    """Gordy et al. 2019: economic thresholds 19 to 132 aphids a leaf, 40 in general."""
    pays = [m for m in range(1, 200, 3) if ask(mean=m)["quantities"]["expected_gain_of_treating_today"]["value"] > 0]
    assert 19 <= min(pays) <= 132


def test_counts_and_their_mean_agree_and_few_leaves_know_less() -> None:
    counts = [0, 0, 12, 40, 7, 210, 0, 3, 95, 33] * 4
    by_counts, by_mean = ask(counts=",".join(map(str, counts))), ask(mean=sum(counts) / 40)
    assert by_counts["quantities"]["mean_aphids_per_leaf"]["value"] == pytest.approx(40)
    assert by_counts["options"][0]["expected"] == pytest.approx(by_mean["options"][0]["expected"])
    few = ask(mean=40, n=8)["quantities"]
    many = ask(mean=40, n=200)["quantities"]
    spread = [q["density_high"]["value"] / q["density_low"]["value"] for q in (few, many)]
    assert spread[0] > 2 * spread[1]


def test_share_of_infested_leaves_stands_for_a_mean() -> None:
    """The tally paper: 16 % of leaves above 50 aphids belong to a mean of 40 a leaf."""
    answer = ask(infested_over_50="16%", n=200)
    assert answer["quantities"]["mean_aphids_per_leaf"]["value"] == pytest.approx(40, rel=0.15)


def test_forage_sorghum_has_no_published_threshold() -> None:
    answer = sideoats.ask("sorghum-aphid", {**BASE, "crop": "forage sorghum", "mean": 100}, on=ON)
    assert answer["verdict"] == "look" and "No published threshold" in answer["headline"] and answer["options"] == []


def test_black_layer_has_nothing_left_to_lose() -> None:
    assert ask(mean=300, stage="black layer")["verdict"] in ("wait", "look")


def test_predators_only_slow_growth() -> None:
    alone, beset = ask(mean=30), ask(mean=30, predators="many", parasitized="20%")
    gain = "expected_gain_of_treating_today"
    assert beset["quantities"][gain]["value"] < alone["quantities"][gain]["value"]
    assert any("no threshold has a source" in b for b in beset["because"])


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({}, "no count given"),
        ({"mean": 3, "counts": "1,2"}, "counts and mean given"),
        ({"mean": "nan"}, "mean"),
        ({"mean": "1e309"}, "mean"),
        ({"mean": -1}, "outside"),
        ({"counts": "1,x"}, "count 2"),
        ({"counts": "1,2.5"}, "count 2"),
        ({"mean": 3, "yield": "80"}, "no unit"),
        ({"mean": 3, "price": "4.5 USD/ac"}, "not a unit of that kind"),
        ({"mean": 3, "stage": "bot"}, "did you mean boot"),
        ({"mean": 3, "harvest_date": "2026-02-30"}, "calendar"),
        ({"mean": 3, "colour": "red"}, "not asked for"),
        ({"mean": 3, "n": ""}, "number of leaves"),
    ],
)
def test_bad_input_gets_one_clear_line(values: dict[str, Any], says: str) -> None:
    with pytest.raises((InputError, UnitError)) as error:
        ask(**values)
    assert says in str(error.value) and "\n" not in str(error.value)


def test_the_answer_has_the_agreed_shape_and_no_more() -> None:
    answer = ask(mean=60)
    assert list(answer) == [
        "question",
        "on",
        "verdict",
        "act_by",
        "look_by",
        "headline",
        "options",
        "quantities",
        "worth_of_a_look",
        "because",
        "cautions",
        "sources",
        "seed",
        "version",
    ]
    assert list(answer["options"][0]) == ["key", "label", "expected", "low", "high", "unit", "chance_best", "barred"]
    assert all(set(s) == {"id", "citation", "provenance"} for s in answer["sources"]) and answer["sources"]
    assert all(set(q) == {"value", "unit"} for q in answer["quantities"].values())
    assert answer["worth_of_a_look"]["unit"] == "USD/ac"
    json.dumps(answer, allow_nan=False)


def test_same_inputs_same_answer() -> None:
    assert ask(mean=60) == ask(mean=60)


@pytest.mark.parametrize(
    ("stage", "between"), [("boot", (25, 40)), ("milk", (30, 80)), ("soft dough", (100, 220)), ("dough", (200, 440))]
)
def test_stop_lines_and_money_change_over_at_the_same_count_at_every_stage(
    stage: str, between: tuple[float, float]
) -> None:
    under, over = (ask(mean=m, n="400", stage=stage) for m in between)
    assert under["verdict"] != "act" and over["verdict"] == "act"
    assert between[0] * 400 < under["quantities"]["stop_line_treat"]["value"]
    assert between[1] * 400 > over["quantities"]["stop_line_below"]["value"]
    said = [b for b in over["because"] if "fewer days of filling" in b]
    assert bool(said) is (stage != "boot")


@pytest.mark.parametrize("stage", ["hard dough", "black layer"])
def test_no_stop_line_says_treat_where_no_grain_is_left_to_save(stage: str) -> None:
    answer = ask(mean=300, n="400", stage=stage)
    assert answer["verdict"] != "act" and "stop_line_treat" not in answer["quantities"]
    assert any("too few days of filling" in b for b in answer["because"])


def test_equal_injury_of_a_late_infestation_by_numerical_integration() -> None:
    rate, roof = 0.164, 350.0

    def pest_days(start: float, days: float) -> float:
        curve = lambda t: roof / (1 + (roof / start - 1) * np.exp(-rate * t))  # noqa: E731
        return float(quad(curve, 0, days)[0])

    for left in (25.0, 18.0, 14.0, 8.0):
        late = float(density_of_equal_injury(40.0, 28.0, rate, left))
        assert pest_days(late, left) == pytest.approx(pest_days(40.0, 28.0), rel=1e-6)
    assert density_of_equal_injury(40.0, 28.0, rate, 0.0) == np.inf


def test_a_field_without_count_and_stage_is_sent_for_both_and_not_to_the_grower() -> None:
    question = find("sorghum-aphid")
    blank = {f.name: f.default for f in question.inputs}
    known = {"yield": 80.0, "price": 4.5, "cost": 14.0}
    rows = [blank | known, blank | known | {"mean": 55.0, "n": 40.0}, blank | {"price": 4.5}]
    facts = load()
    found = question.ask(table_of(question, rows), Context(ON, facts, make_outlook(ON, facts=facts, draws=20)))
    first, second, third = (found.call(i).headline for i in range(3))
    assert "No aphid count" in first and "note the stage" in first and "grower" not in first
    assert "55 aphids a leaf" in second and "no growth stage" in second
    assert "Ask the grower for yield, cost" in third


@pytest.mark.parametrize(
    ("harvest", "said"),
    [
        ("2026-08-20", "do not treat: the harvest day given is past by 5 days; correct it if the crop stands"),
        ("2026-08-25", "do not treat: harvest is today"),
        ("2026-08-26", "do not treat: harvest is a day away, inside the 14-day interval"),
        ("2026-09-05", "do not treat: harvest is 11 days away, inside the 14-day interval"),
    ],
)
def test_the_harvest_day_is_told_as_people_say_it(harvest, said):
    """'harvest in -5 days is inside the 14-day interval' was the answer to last year's date."""
    given = {"mean": 150, "n": 40, "stage": "dough", "yield": "80 bu/ac", "price": "4.5 USD/bu", "cost": "14 USD/ac"}
    found = sideoats.ask("sorghum-aphid", {**given, "harvest_date": harvest}, on=date(2026, 8, 25), draws=40)
    assert said in found["headline"] and found["verdict"] != "act"
    assert "-" not in next(o["barred"] for o in found["options"] if o["barred"]).split(":")[1]
