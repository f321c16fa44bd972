"""sorghum-aphid, asked as a user would."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

import sideoats
from sideoats.errors import InputError, UnitError

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
