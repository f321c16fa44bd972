"""Insect and disease questions by phone and over a table of fields: verdicts, dates, bars, refusals in one line."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import numpy as np
import pytest

import sideoats
from sideoats.asking import table_of
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import StationDays

ON, SPRING = date(2026, 9, 14), date(2026, 4, 20)
WHEAT = {"yield": "50 bu/ac", "price": "5.60 USD/bu"}
MIDGE = {"crop_value": "500 USD/ha", "cost": "20 USD/ha"}
BEANS = {"yield": "36 bu/ac", "price": "10.5 USD/bu", "cost": "13 USD/ac"}
HAY = {"height": "18 in", "price": "180 USD/ton", "yield": "1.5 ton/ac", "cost": "12 USD/ac"}
ASKED: dict[str, dict[str, str]] = {
    "sorghum-aphid": {"mean": "80", "n": "40", "stage": "milk", "yield": "75 bu/ac", "price": "4.3 USD/bu",
                      "cost": "14 USD/ac"},
    "sorghum-midge": MIDGE | {"per_head": "1", "n": "30"},
    "sorghum-headworm": {"large": "0.5", "medium": "0.4", "n": "30", "heads": "50000", "price": "4.3 USD/bu"},
    "wheat-fall-armyworm": {"counts": "2,0,4,1,3,0,2,5,1,2", "size": "0.3 in", "purpose": "grain"},
    "wheat-aphid": WHEAT | {"species": "greenbug", "mean": "12", "n": "50", "stage": "seedling"},
    "soybean-podworm": BEANS | {"counts": "9,4,7,11,6,8", "row_feet": "3 ft", "stage": "R5"},
    "soybean-stinkbug": BEANS | {"counts": "3,5,9,2,7,4", "method": "sweep", "stage": "R6"},
    "soybean-defoliation": BEANS | {"defoliation": "18%", "stage": "R4"},
    "alfalfa-weevil": HAY | {"mean": "1.8", "n": "50"},
    "cotton-fleahopper-bollworm": {"mean": "0.22", "n": "100", "stage": "squaring", "damaged_squares": "7%"},
    "wheat-fungicide": WHEAT | {"stage": "heading", "lower": "5%", "flag": "1%", "rating": "susceptible"},
}  # fmt: skip


def ask(name: str, on: date = ON, **values: str) -> dict[str, Any]:
    return sideoats.ask(name, values, on=on)


def expected(answer: dict[str, Any]) -> dict[str, float]:
    return {o["key"]: o["expected"] for o in answer["options"]}


@pytest.mark.parametrize("name", ASKED)
def test_every_question_answers_with_its_shape(name: str) -> None:
    found = ask(name, **ASKED[name])
    text = " ".join([found["headline"], *found["because"], *found["cautions"]])
    assert found["verdict"] in ("act", "look", "wait") and "\n" not in found["headline"]
    assert "nan" not in text.lower().replace("financ", "") and len(found["options"]) >= 16
    assert any("label governs" in c.lower() or "label" in c.lower() for c in found["cautions"])
    assert found["sources"] and all(s["citation"] and s["provenance"] for s in found["sources"])
    assert all(q["unit"] for q in found["quantities"].values())


@pytest.mark.parametrize("name", ASKED)
def test_a_field_in_a_table_is_answered_as_if_alone(name: str) -> None:
    question, facts = find(name), load()
    values = read_all(question.inputs, ASKED[name])
    context = Context(ON, facts, make_outlook(ON, facts=facts, draws=80))
    blank = {f.name: f.default for f in question.inputs}
    three = question.ask(table_of(question, [blank, values, values], keys=["x", "y", "z"]), context)
    alone = question.ask(table_of(question, [values], keys=["y"]), context)
    rows = [three.call(1).contract(), alone.call(0).contract()]
    for row in rows:
        row.pop("sources")  # those of the whole table: a blank row may rest on a fact that the others did not need
    assert rows[0] == rows[1]


def test_armyworms_over_the_threshold_in_forage_wheat_are_treated_now() -> None:
    found = ask("wheat-fall-armyworm", larvae="2.5 /ft", rows="7.5 in", size="0.4 in", purpose="forage")
    assert found["verdict"] == "act" and found["act_by"] == "2026-09-14"
    assert found["quantities"]["larvae_per_square_foot"]["value"] == pytest.approx(4.0)
    by_area = ask("wheat-fall-armyworm", larvae="4 /ft2", rows="7.5 in", size="0.4 in", purpose="forage")
    assert by_area["verdict"] == "act" and by_area["act_by"] == "2026-09-14"


def test_window_paned_wheat_without_a_count_is_looked_at_tomorrow() -> None:
    found = ask("wheat-fall-armyworm", windowpane="27%")
    assert (found["verdict"], found["look_by"], found["act_by"]) == ("look", "2026-09-15", None)


def test_large_armyworms_have_less_feeding_left_and_are_controlled_less() -> None:
    small, large = (
        ask("wheat-fall-armyworm", larvae="2.5 /ft", size=size, purpose="grain") for size in ("0.2 in", "1.3 in")
    )
    gain = "expected_gain_of_treating_today"
    assert large["quantities"][gain]["value"] < small["quantities"][gain]["value"]
    assert large["verdict"] != "act"


def test_midges_under_the_published_level_wait_and_over_it_are_treated() -> None:
    under, over = ask("sorghum-midge", per_head="1", **MIDGE), ask("sorghum-midge", per_head="2", **MIDGE)
    assert (under["verdict"], over["verdict"]) == ("wait", "act")
    assert under["quantities"]["injury_level_published"]["value"] == pytest.approx(1.6)
    assert over["act_by"] == "2026-09-14" and under["look_by"] == "2026-09-15"


def test_no_price_lifts_the_interval_before_harvest() -> None:
    common = BEANS | {"counts": "9,14,7,11,16,8", "row_feet": "3 ft", "stage": "R5"}
    inside = ask("soybean-podworm", **common, harvest_date="2026-09-24", phi_days="21")
    assert inside["verdict"] == "stop" and "21-day interval" in inside["headline"]
    assert all(o["barred"] for o in inside["options"] if o["key"].startswith("treat"))
    richer = ask("soybean-podworm", **(common | {"price": "200 USD/bu"}), harvest_date="2026-09-24", phi_days="21")
    assert richer["verdict"] == "stop"
    unread = ask("soybean-podworm", **common, harvest_date="2026-09-24")
    assert unread["verdict"] == "look" and "read it" in unread["headline"]


def test_reentry_bars_the_days_before_field_work() -> None:
    found = ask("soybean-podworm", **ASKED["soybean-podworm"], entry_date="2026-09-15", rei_hours="48")
    barred = {o["key"] for o in found["options"] if o["barred"]}
    assert barred == {"treat-day-0", "treat-day-1"} and found["act_by"] != "2026-09-14"


def test_both_publishers_are_shown_and_the_choice_changes_the_threshold() -> None:
    name, values = "soybean-stinkbug", ASKED["soybean-stinkbug"]
    georgia, tennessee = (ask(name, **values, publisher=p) for p in ("georgia", "tennessee"))
    low = "threshold_low"
    assert georgia["quantities"][low]["value"] == 6 and tennessee["quantities"][low]["value"] == 18
    assert any("Tennessee prints 18" in b for b in georgia["because"])
    with pytest.raises(InputError, match="no table on file"):
        ask(name, **values, publisher="nowhere")


def test_weevils_cutting_now_beats_treating_once_the_field_is_in_bud() -> None:
    bud = ask("alfalfa-weevil", SPRING, **HAY, mean="3", n="50", in_bud="60%")
    assert bud["verdict"] == "act" and "cut now" in bud["headline"]
    early = ask("alfalfa-weevil", SPRING, **HAY, mean="3", n="50", harvest_date="2026-05-18", phi_days="7")
    money = expected(early)
    assert early["verdict"] == "act" and money["treat-day-0"] > money["never"] > money["cut-early"]
    soon = expected(ask("alfalfa-weevil", SPRING, **HAY, mean="3", n="50", harvest_date="2026-04-21", phi_days="7"))
    assert soon["cut-early"] > soon["never"]
    unknown = ask("alfalfa-weevil", SPRING, **HAY, mean="3", n="50")
    assert next(o for o in unknown["options"] if o["key"] == "cut-early")["barred"]


def test_weevils_on_short_stems_and_without_a_count() -> None:
    short = ask("alfalfa-weevil", SPRING, **(HAY | {"height": "8 in"}), mean="3")
    assert short["verdict"] == "look" and "10 in" in short["headline"]
    with pytest.raises(InputError, match="exactly one of counts and mean"):
        ask("alfalfa-weevil", SPRING, **HAY)


def test_weevil_season_by_degree_days_of_the_station() -> None:
    """A constant 58 degF from 1 January is ten degree-days a day over 48 degF: 1090 on the 110th morning."""
    question, facts = find("alfalfa-weevil"), load()
    days, celsius = 900, (58 - 32) / 1.8
    record = StationDays(
        station="north", start=date(2024, 1, 1), values={k: np.full(days, celsius) for k in ("tmax", "tmin")}
    )
    context = Context(SPRING, facts, make_outlook(SPRING, facts=facts, draws=20, stations={"north": record}))
    table = table_of(question, [read_all(question.inputs, HAY | {"mean": "1", "station": "north"})])
    total = float(question.ask(table, context).quantities["degree_days_this_year"][0][0])
    assert total == pytest.approx(10 * (SPRING - date(2026, 1, 1)).days)
    words = question.ask(table, context).call(0).because
    assert any("1090 degF days" in w and "pupae and adults" in w and "Nebraska" in w for w in words)
    for day, asked in ((date(2026, 1, 10), False), (date(2026, 2, 20), True), (date(2026, 9, 14), False)):
        blank = table_of(question, [{f.name: f.default for f in question.inputs} | {"station": "north"}])
        then = Context(day, facts, make_outlook(day, facts=facts, draws=20, stations={"north": record}))
        assert question.in_season is not None and bool(question.in_season(blank, then)[0]) is asked


def test_aphids_past_flowering_and_the_two_sources(tmp_path: Any) -> None:
    late = ask("wheat-aphid", **WHEAT, species="oat aphid", mean="9", n="60", stage="flowering", cost="9 USD/ac")
    assert any("no measurable loss" in b for b in late["because"])
    ripe = ask("wheat-aphid", **WHEAT, species="oat aphid", mean="90", n="60", stage="ripe")
    assert ripe["verdict"] == "wait" and ripe["look_by"] is None
    mummies = ask("wheat-aphid", **WHEAT, species="greenbug", mean="80", n="60", stage="boot", parasitized="25%")
    assert mummies["verdict"] != "act" and any("recount" in b for b in mummies["because"])
    with pytest.raises(InputError, match="tillers infested"):
        ask("wheat-aphid", **WHEAT, species="Russian wheat aphid", mean="5", stage="jointing")


@pytest.mark.parametrize("warmth", [9.0, 14.0, 20.0])
def test_the_printed_wheat_aphid_number_holds_in_a_cool_spring_as_in_a_warm_one(warmth: float) -> None:
    """Nebraska 2007 prints 30 bird cherry-oat aphids a stem at boot to heading, whatever the spring."""
    question, facts, rng = find("wheat-aphid"), load(), np.random.default_rng(5)
    air = warmth + 2.0 * rng.standard_normal(6 * 365)
    record = StationDays(station="north", start=date(2020, 5, 1), values={"tmax": air + 7, "tmin": air - 7})
    context = Context(SPRING, facts, make_outlook(SPRING, facts=facts, draws=200, stations={"north": record}))
    given = WHEAT | {"species": "oat aphid", "n": "200", "stage": "boot", "cost": "13 USD/ac", "station": "north"}
    rows = [read_all(question.inputs, given | {"mean": mean}) for mean in ("15", "60")]
    found = question.ask(table_of(question, rows), context)
    assert [found.call(i).verdict for i in (0, 1)] == ["wait", "act"]


def test_russian_wheat_aphid_level_of_the_published_example() -> None:
    """Texas A&M: crop 50 USD/ac, control 9 USD/ac, 0.5 % of yield per 1 % of tillers -> 36 %."""
    found = ask("wheat-aphid", species="rwa", infested="20%", n="100", stage="boot", crop_value="50 USD/ac",
                cost="9 USD/ac")  # fmt: skip
    assert found["quantities"]["threshold_low"]["value"] == pytest.approx(36) and found["verdict"] == "wait"


def test_fungicide_answers_by_disease_rating_and_stage() -> None:
    common = WHEAT | {"cost": "16 USD/ac"}
    sick = ask("wheat-fungicide", **common, stage="heading", lower="5%", flag="2%", rating="susceptible")
    clean = ask("wheat-fungicide", **common, stage="heading", lower="0%", flag="0%", rating="resistant")
    assert (sick["verdict"], clean["verdict"]) == ("act", "wait")
    ret = "expected_return"
    assert sick["quantities"][ret]["value"] > 0 > clean["quantities"][ret]["value"]
    assert ask("wheat-fungicide", **common, stage="milk", flag="30%")["verdict"] == "wait"
    inside = ask("wheat-fungicide", **common, stage="flowering", flag="20%", harvest_date="2026-10-04", phi_days="30")
    assert inside["verdict"] == "stop"
    wet, dry = (
        ask("wheat-fungicide", **common, stage="heading", lower="5%", rain=rain)["quantities"][ret]["value"]
        for rain in ("wet", "dry")
    )
    assert wet > dry


def test_no_fungicide_goes_on_before_harvest_without_its_label_read() -> None:
    on = date(2027, 5, 5)
    near = WHEAT | {"stage": "flowering", "response": "20%", "chance": "100%", "cost": "16 USD/ac"}
    unread = ask("wheat-fungicide", on, **near, harvest_date="2027-05-30")
    assert unread["verdict"] == "look" and unread["look_by"] == "2027-05-05" and "read it" in unread["headline"]
    sprays = [o for o in unread["options"] if o["key"] != "never"]
    assert all(o["barred"] for o in sprays) and "none given" in sprays[0]["barred"]
    read = ask("wheat-fungicide", on, **near, harvest_date="2027-05-30", phi_days="30")
    assert read["verdict"] == "stop" and "inside the label's interval" in read["headline"]
    assert ask("wheat-fungicide", on, **near, harvest_date="2027-06-20", phi_days="30")["verdict"] == "act"


@pytest.mark.parametrize("name", ASKED)
def test_an_interval_that_could_not_be_checked_is_said(name: str) -> None:
    said = "interval" in " ".join(c for c in ask(name, **ASKED[name])["cautions"] if "date was given" in c)
    dated = ask(name, **ASKED[name], harvest_date="2027-09-01")["cautions"]
    assert said and not any("date was given" in c for c in dated)


def test_fungicide_waits_for_a_look_where_nobody_has_seen_the_leaves() -> None:
    rich = {"yield": "90 bu/ac", "price": "9 USD/bu", "cost": "8 USD/ac"}
    found = ask("wheat-fungicide", **rich, stage="heading", nearby="yes", rating="susceptible")
    assert found["verdict"] == "look" and found["look_by"]
    near = ask("wheat-fungicide", **WHEAT, cost="16 USD/ac", stage="boot", nearby="yes", rating="susceptible")
    assert near["quantities"]["expected_return"]["value"] < 0 and near["worth_of_a_look"]["value"] > 0
    assert near["verdict"] == "look"
    seen = ask("wheat-fungicide", **WHEAT, cost="16 USD/ac", stage="boot", nearby="yes", lower="0%")
    assert seen["worth_of_a_look"]["value"] == 0


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("cotton-fleahopper-bollworm", {"counts": "0,0", "stage": "squaring"}),
        ("wheat-fall-armyworm", {"counts": "0"}),
        ("sorghum-aphid", ASKED["sorghum-aphid"] | {"mean": "", "n": "", "counts": "0", "stage": "boot"}),
    ],
)
def test_a_count_of_nothing_on_a_few_units_asks_for_more_and_never_for_a_spray(
    name: str, values: dict[str, str]
) -> None:
    found = ask(name, **values)
    assert (found["verdict"], found["look_by"], found["act_by"]) == ("look", "2026-09-15", None)
    assert "count more first" in found["headline"] or "too few leaves" in found["headline"]
    more = values | {"counts": ",".join(["0"] * 60)}
    assert ask(name, **more)["verdict"] == "wait"


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("wheat-fungicide", {"stage": "heading", "yield": "0 bu/ac", "price": "0 USD/bu"}),
        ("alfalfa-weevil", {"mean": "0", "height": "18 in", "price": "0 USD/ton"}),
        ("alfalfa-weevil", {"mean": "2", "height": "60 in", "price": "180 USD/ton", "cost": "0 USD/ac"}),
        ("wheat-aphid", {"species": "rwa", "infested": "0%", "stage": "boot", "crop_value": "0 USD/ac"}),
        ("sorghum-midge", {"per_head": "0", "crop_value": "0 USD/ac", "cost": "0 USD/ac"}),
        ("sorghum-headworm", {"large": "0", "price": "0 USD/bu", "heads": "50000"}),
        ("soybean-defoliation", {"defoliation": "0%", "stage": "R4", "cost": "0 USD/ac"}),
    ],
)
def test_zeros_are_answered_without_a_warning_and_without_a_spray(name: str, values: dict[str, str]) -> None:
    json.dumps(found := ask(name, **values), allow_nan=False)
    assert found["verdict"] != "act" or name == "alfalfa-weevil"


def test_bollworm_figures_from_memory_decide_nothing() -> None:
    few = ask("cotton-fleahopper-bollworm", mean="0.02", n="100", stage="squaring", damaged_squares="40%")
    assert few["verdict"] == "wait" and any("no sourced threshold" in b for b in few["because"])
    assert ask("cotton-fleahopper-bollworm", mean="0.5", n="100", stage="bloom")["verdict"] == "wait"


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("wheat-fall-armyworm", {}),
        ("wheat-fall-armyworm", {"larvae": "4 /ft2"}),
        ("wheat-fall-armyworm", {"larvae": "4 per plant"}),
        ("sorghum-midge", {"per_head": "1"}),
        ("sorghum-headworm", {"price": "4 USD/bu"}),
        ("soybean-podworm", {"stage": "R5"}),
        ("soybean-defoliation", {"stage": "R5"}),
        ("cotton-fleahopper-bollworm", {"stage": "squaring"}),
        ("wheat-fungicide", {"stage": "heading", "response": "0%", **WHEAT}),
    ],
)
def test_what_cannot_be_answered_is_refused_in_one_line(name: str, values: dict[str, str]) -> None:
    with pytest.raises(InputError) as caught:
        ask(name, **values)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 400


@pytest.mark.parametrize("enemies", [{"predators": "many"}, {"parasitized": "25%"}])
def test_aphids_over_the_threshold_with_enemies_at_work_are_counted_again(enemies: dict[str, str]) -> None:
    values = {"species": "bcoa", "mean": "60", "n": "60", "stage": "boot", "cost": "12 USD/ac"}
    answer = sideoats.ask("wheat-aphid", values | enemies, on=ON)
    assert (answer["verdict"], answer["act_by"]) == ("look", None)
    assert answer["look_by"] is not None and "recount before treating" in answer["headline"]
    few = sideoats.ask("wheat-aphid", values | enemies | {"mean": "4"}, on=ON)
    assert few["verdict"] == "wait"


@pytest.mark.parametrize("purpose", ["graze-out", "grazeout", "hay", "dual", "dual-purpose", "pasture"])
def test_every_purpose_that_wheat_has_on_file_is_understood_of_armyworms_too(purpose: str) -> None:
    """The wheat questions call it graze-out or hay; a word not understood left such a field out of the week."""
    told = {"larvae": "3 /ft", "cost": "14 USD/ac"}
    found = ask("wheat-fall-armyworm", date(2026, 9, 20), **told, purpose=purpose)
    leaves = "both" if purpose.startswith("dual") else "forage"
    assert found["headline"] == ask("wheat-fall-armyworm", date(2026, 9, 20), **told, purpose=leaves)["headline"]
