"""Wheat questions asked by phone: verdicts, dates, money, refusals in one line, batches equal to single rows."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from sideoats.asking import ask, call_for, table_of
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.station import StationDays

FALL, SPRING = date(2026, 9, 14), date(2027, 3, 1)
MONEY = {"yield": "45 bu/ac", "price": "5.60 USD/bu"}
CATTLE = {"stocking": "0.6 head/ac", "value_of_gain": "1.10 USD/lb"}
NITROGEN = {"nitrogen_price": "0.60 USD/lb", "organic_matter": "1.8 %"}
NOISE = {"A": (0.4, -0.9, 0.2, 1.1), "B": (-0.6, 0.8, 0.9, -1.2), "C": (1.0, 0.1, -1.3, 0.3)}
TRIALS = "; ".join(
    f"variety={v}, site={s}, year={y}, yield={base + shift + NOISE[v][k]}"
    for v, base in (("A", 48), ("B", 44), ("C", 40))
    for k, (s, y, shift) in enumerate([("N", 2023, 0), ("S", 2023, 5), ("N", 2024, -4), ("S", 2024, 1)])
)
ASKED = {
    "wheat-planting": (FALL, MONEY),
    "seeding-rate": (FALL, {"seeds_per_lb": "15000", "target": "900000 /ac", "germination": "90%", "emergence": "80%"}),
    "topdress-nitrogen": (SPRING, MONEY | NITROGEN),
    "variety-choice": (FALL, MONEY | {"means": TRIALS}),
    "wheat-purpose": (SPRING, MONEY | CATTLE | {"hay_price": "95 USD/ton"}),
    "graze-pull-off": (SPRING, MONEY | CATTLE | {"hollow_stem": "0.8, 1.0, 1.1 cm"}),
    "graze-turn-on": (date(2026, 11, 10), CATTLE | {"rooted": "yes", "forage": "1200 lb/ac", "weight": "500 lb"}),
    "stocking-rate": (date(2026, 11, 10), {"forage": "1800 lb/ac", "days": "100", "weight": "500 lb",
                                           "value_of_gain": "1.1 USD/lb"}),
    "freeze-injury": (date(2027, 4, 6), MONEY | {"stage": "jointing", "low": "21 F", "hours": "3",
                                                 "night": "2027-04-05"}),
    "harvest-loss": (date(2027, 6, 20), MONEY | {"behind": "100, 110", "ahead": "12,10", "header": "30 ft",
                                                 "windrow": "6 ft"}),
    "soil-sampling": (FALL, MONEY | NITROGEN | {"cost": "1.50 USD/ac"}),
    "soil-test": (FALL, {"yield": "50 bu/ac", "phosphorus": "8", "extractant": "Mehlich-3"}),
    "drill-check": (FALL, {"target": "75 lb/ac", "row_spacing": "7.5 in", "catch": "100 g", "course": "150 ft"}),
    "sprayer-check": (FALL, {"gpm": "0.25", "speed": "5 mph", "spacing": "20 in"}),
    "wheat-water": (FALL, {"stored": "4 in", "rain": "11 in", "price": "5.6 USD/bu"}),
    "wheat-stand": (date(2026, 10, 20), {"plants": "18,22,15,20,19", "row_length": "1 ft", "row_spacing": "7.5 in"}),
    "wheat-yield": (date(2027, 6, 1), {"heads": "38", "row_length": "1 ft", "kernels": "22", "row_spacing": "7.5 in"}),
}  # fmt: skip


@pytest.mark.parametrize("name", ASKED)
def test_every_question_answers_with_its_shape(name):
    on, values = ASKED[name]
    found = ask(name, values, on=on, draws=200)
    assert found["verdict"] in ("act", "look", "wait") and found["headline"] and "\n" not in found["headline"]
    assert "nan" not in (found["headline"] + " ".join(found["because"])).lower()
    assert all(s["citation"] and s["provenance"] for s in found["sources"])
    assert found["cautions"]
    for option in found["options"]:
        if option["barred"] is None:
            assert option["low"] <= option["high"]  # a skewed gain may have its mean outside the two
    chances = sum(o["chance_best"] for o in found["options"])
    assert not found["options"] or chances == pytest.approx(1.0, abs=1e-3)
    assert found == ask(name, values, on=on, draws=200)  # the same inputs, the same answer


@pytest.mark.parametrize("name", ASKED)
def test_a_batch_says_the_same_as_each_row(name):
    on, values = ASKED[name]
    question = find(name)
    row = read_all(question.inputs, values)
    outlook = make_outlook(on, draws=100)
    context = Context(on, load(), outlook)
    alone = question.ask(table_of(question, [row], keys=["b"]), context)
    empty = {f.name: f.default for f in question.inputs}
    both = question.ask(table_of(question, [empty, row], keys=["a", "b"]), context)
    first, second = alone.call(0).contract(), both.call(1).contract()
    assert second["headline"] == first["headline"] and second["verdict"] == first["verdict"]
    assert second["quantities"] == first["quantities"]
    if name != "variety-choice" or first["options"]:
        assert second["options"] == first["options"]
    assert both.call(0).verdict == "look" or name in ("drill-check", "sprayer-check")


def test_seeding_rate_and_sprayer_figures():
    on, values = ASKED["seeding-rate"]
    assert ask("seeding-rate", values, on=on)["quantities"]["seeding_rate"] == {"value": 83.3333, "unit": "lb/ac"}
    on, values = ASKED["sprayer-check"]
    assert ask("sprayer-check", values, on=on)["quantities"]["application_rate"] == {"value": 14.85, "unit": "gal/ac"}


@pytest.mark.parametrize(
    ("name", "values", "message"),
    [
        ("seeding-rate", {"survival": "70%", "germination": "90%", "target": "900000 /ac"}, "counted twice"),
        ("seeding-rate", {"seeds_per_lb": "15000"}, "neither a target nor the precipitation"),
        ("sprayer-check", {"ounces": "32", "course": "163 ft", "spacing": "20 in", "jug": "yes"}, "204.2 ft"),
        ("sprayer-check", {"spacing": "20 in", "speed": "5 mph"}, "no flow"),
        ("sprayer-check", {"spacing": "20 in", "gpm": "0.3"}, "no speed"),
        ("drill-check", {"target": "75 lb/ac", "row_spacing": "7.5 in"}, "nothing caught"),
        ("drill-check", {"target": "75 lb/ac", "row_spacing": "7.5 in", "catch": "90 g"}, "turns"),
        ("wheat-yield", {"heads": "190", "row_length": "5 ft", "kernels": "22", "row_spacing": "7.5 in",
                         "shortcut": "florida-2013"}, "5 times too high"),
        ("soil-test", {"yield": "50 bu/ac", "phosphorus": "8", "extractant": "Olsen"}, "not exchanged"),
        ("topdress-nitrogen", MONEY | {"product": "urea"}, "product_price"),
        ("topdress-nitrogen", MONEY | NITROGEN | {"nitrate_ppm": "4", "publisher": "washington"}, "not mixed"),
        ("topdress-nitrogen", MONEY | NITROGEN | {"slope": "0.4 bu/lb"}, "go together"),
        ("variety-choice", MONEY, "a trial is needed"),
        ("variety-choice", MONEY | {"means": TRIALS, "candidates": "A, Z"}, "'Z' is not in the trials"),
        ("variety-choice", MONEY | {"means": TRIALS, "management": "grazed"}, "no trial under"),
        ("graze-pull-off", {"hollow_stem": "long"}, "does not begin with a number"),
    ],
)  # fmt: skip
def test_refusals_are_one_line(name, values, message):
    with pytest.raises(InputError, match=message) as caught:
        ask(name, values, on=FALL)
    assert "\n" not in str(caught.value)


def test_water_line_and_stand_figures():
    # Musick et al. 1994 at 12 in of use: 17.6 bu/ac; all rain counted as used leaves no spread
    found = ask("wheat-water", {"stored": "12 in", "rain": "0 in"}, on=FALL)
    assert found["quantities"]["yield"]["value"] == pytest.approx(17.6, abs=0.06)
    # 19 plants a foot in 6 in rows are 38/ft2; 5 in 7.5 in rows 8/ft2
    thick = ask("wheat-stand", {"plants": "19,19,20,18,19", "row_length": "1 ft", "row_spacing": "6 in"}, on=FALL)
    assert thick["quantities"]["stand"]["value"] == pytest.approx(38) and thick["verdict"] == "wait"
    thin = ask("wheat-stand", {"plants": "5,5,4,6,5", "row_length": "1 ft", "row_spacing": "7.5 in"}, on=FALL)
    assert thin["verdict"] == "look" and "thin" in thin["headline"]


def test_calibrations_act_when_off():
    base = {"target": "25 lb/ac", "row_spacing": "7.5 in", "turns": "20", "wheel": "96 in"}
    # tyre 8 ft around, 20 turns: 100 ft2 a tube, so 26.06 g is right
    assert ask("drill-check", base | {"catch": "26.06 g"}, on=FALL)["verdict"] == "wait"
    assert ask("drill-check", base | {"catch": "30 g"}, on=FALL)["verdict"] == "act"
    uneven = ask("drill-check", base | {"catches": "26, 26, 20, 32 g"}, on=FALL)
    assert uneven["verdict"] == "act" and "rows differ" in uneven["headline"]
    spray = {"gpm": "0.25", "speed": "5 mph", "spacing": "20 in"}
    assert ask("sprayer-check", spray | {"target": "15 gal/ac"}, on=FALL)["verdict"] == "wait"
    assert ask("sprayer-check", spray | {"target": "18 gal/ac"}, on=FALL)["verdict"] == "act"
    worn = ask("sprayer-check", spray | {"target": "15 gal/ac", "nozzles": "40,40,40,40,46"}, on=FALL)
    assert worn["verdict"] == "act" and "nozzle 5" in worn["headline"]


def test_the_marginal_day_is_the_printed_one():
    # 0.6 head x 2.5 lb x 1.10 = 1.65; 45 bu x 5 % x (6.00 - 0.50) = 12.38, with yield and price drawn about their means
    values = CATTLE | {"yield": "45 bu/ac", "price": "6 USD/bu", "gain": "2.5 lb/head/day", "loss_rate": "5 %",
                       "harvest_cost": "0.5 USD/bu", "hollow_stem": "1.6, 1.7 cm"}  # fmt: skip
    found = ask("graze-pull-off", values, on=SPRING, draws=4000)
    assert found["quantities"]["gain_a_day"]["value"] == pytest.approx(1.65)
    assert found["quantities"]["grain_lost_a_day"]["value"] == pytest.approx(12.38, rel=0.03)
    assert found["verdict"] == "act" and found["act_by"] == "2027-03-01"


def test_past_jointing_cattle_come_off_and_past_dates_of_other_seasons_say_nothing():
    values = MONEY | CATTLE | {"stage": "feekes 6"}
    assert ask("graze-pull-off", values, on=SPRING)["verdict"] == "act"
    stale = MONEY | CATTLE | {"hollow_stem_date": "2028-03-10"}
    found = ask("graze-pull-off", stale, on=SPRING)
    assert found["verdict"] == "look" and "split ten" in found["headline"].lower()


@pytest.mark.parametrize("expected", ["2027-02-20", "2027-03-01", "2027-03-04", "2027-03-20"])
def test_no_cattle_are_moved_where_no_stem_was_split(expected):
    """A date expected has seen nothing: the stems decide, today where it is near."""
    found = ask("graze-pull-off", MONEY | CATTLE | {"hollow_stem_date": expected}, on=SPRING)
    assert found["verdict"] == "look" and found["headline"].startswith("Split ten large tillers by")
    split = ask(
        "graze-pull-off", MONEY | CATTLE | {"hollow_stem_date": expected, "hollow_stem": "1.9, 1.7 cm"}, on=SPRING
    )
    assert split["verdict"] == "act"


def test_cattle_stay_off_until_plants_are_anchored():
    on, values = ASKED["graze-turn-on"]
    found = ask("graze-turn-on", values | {"rooted": "no"}, on=on)
    barred = {o["key"] for o in found["options"] if o["barred"]}
    assert {"on-day-0", "on-day-7"} <= barred and found["verdict"] != "act"
    thin = ask("graze-turn-on", values | {"forage": "300 lb/ac", "growth": "5 lb/ac/day"}, on=on)
    assert all(o["barred"] for o in thin["options"] if o["key"] != "off") and thin["verdict"] == "wait"


def test_a_freeze_asks_for_a_look_in_a_week_and_stems_decide():
    on, values = ASKED["freeze-injury"]
    found = ask("freeze-injury", values | {"hay_price": "90 USD/ton"}, on=on)
    assert found["verdict"] == "look" and found["look_by"] == "2027-04-12"
    assert ask("freeze-injury", values | {"low": "29 F"}, on=on)["verdict"] == "wait"
    assert ask("freeze-injury", values | {"hours": "0.5"}, on=on)["verdict"] == "look"  # 21 degF: depth does not wait
    deep = ask("freeze-injury", values | {"low": "14 F", "hay_price": "130 USD/ton"}, on=on)
    assert deep["verdict"] == "look" and deep["worth_of_a_look"]["value"] > 1  # so the week does not put it last
    split = values | {"split": "40", "dead": "38", "stage": "boot", "hay_price": "130 USD/ton"}
    bad = ask("freeze-injury", split, on=date(2027, 4, 13))
    assert bad["verdict"] == "act" and "hay" in bad["headline"]
    good = ask("freeze-injury", split | {"dead": "2"}, on=date(2027, 4, 13))
    assert good["verdict"] == "wait" and good["headline"].startswith("Keep it for grain")


def test_a_headed_crop_is_looked_at_in_the_head():
    on, values = ASKED["freeze-injury"]
    found = ask("freeze-injury", values | {"stage": "flowering", "low": "30 F"}, on=on)
    assert found["headline"].startswith("Open 20 heads by")


def test_a_look_whose_cost_was_not_told_is_not_free():
    fitted = MONEY | {"nitrogen_price": "0.60 USD/lb", "slope": "0.40 bu/lb", "bend": "-0.0018"}
    free = ask("topdress-nitrogen", fitted | {"look_cost": "0 USD/ac"}, on=SPRING)
    untold = ask("topdress-nitrogen", fitted, on=SPRING)
    gap = [next(o["expected"] for o in f["options"] if o["key"] == "look") for f in (free, untold)]
    assert gap[0] - gap[1] == pytest.approx(load().value("wheat/nitrogen.look_cost"), abs=0.01)


def test_what_is_asked_for_without_a_date_is_asked_for_by_the_usual_one():
    """'Act' without a day cannot be kept; what goes on at sowing has its usual day; sown wheat waits for its turn."""
    slip = {"phosphorus": "8", "extractant": "Mehlich-3", "yield": "45 bu/ac"}
    test = MONEY | NITROGEN | {"cost": "1.50 USD/ac"}
    rate = {"seeds_per_lb": "15000", "target": "900000 /ac", "germination": "90%", "emergence": "80%"}
    graze = ASKED["stocking-rate"][1] | {"stocking": "9 head/ac"}
    usual = "2026-09-20"
    for question, values, day in (
        ("soil-test", slip, usual), ("seeding-rate", rate, usual), ("stocking-rate", graze, FALL.isoformat()),
    ):  # fmt: skip
        found = ask(question, values, on=FALL)
        assert (found["verdict"], found["act_by"]) == ("act", day), question
    for question, values in (("soil-test", slip), ("seeding-rate", rate)):
        found = ask(question, values | {"planting_date": "2026-09-20"}, on=FALL)
        assert (found["verdict"], found["act_by"]) == ("act", "2026-09-20"), question
    sown = ask("soil-test", slip | {"planting_date": "2026-09-01"}, on=FALL)
    assert sown["verdict"] == "wait" and "before the next crop" in sown["headline"]
    planted = test | {"planting_date": "2026-10-05"}
    for on, said in (("2026-11-20", "by Mon 1 Mar"), ("2027-01-20", "by Mon 1 Mar"), ("2027-04-20", "before nitrogen")):
        found = ask("soil-sampling", planted, on=date.fromisoformat(on))
        assert found["verdict"] == "wait" and said in found["headline"], on
    assert ask("soil-sampling", planted, on=date(2027, 2, 25))["act_by"] == "2027-03-01"


def test_the_seeding_rate_names_only_what_is_not_known():
    found = ask("seeding-rate", {"target": "900000 /ac"}, on=FALL)
    assert found["verdict"] == "look" and found["missing"] == ["seed_lot.seeds_per_lb"]
    assert found["headline"].startswith("Count the seed before you set the drill: at the common 14,000 to 16,000")
    assert "80 to 92 lb/ac" in found["headline"]  # 900,000 plants at the published survival of 0.7


def test_no_seed_is_sown_where_the_day_of_sowing_is_past():
    """A drill setting can no longer be changed in a field that is sown, whether the drill was right or wrong."""
    told = {"seeds_per_lb": "15000", "target": "900000 /ac", "germination": "90%", "emergence": "80%"}
    for day in ("2025-09-20", "2026-08-15"):
        for drill in ({}, {"planned": "40 lb/ac"}):
            found = ask("seeding-rate", told | drill | {"planting_date": day}, on=date(2026, 9, 20))
            assert (found["verdict"], found["act_by"]) == ("wait", None), (day, drill)
            assert "is past" in found["headline"]


def test_a_district_may_follow_a_milder_freeze_table_but_no_published_line_is_lost_by_it(tmp_path):
    on, values = ASKED["freeze-injury"]
    found = {}
    for table in ("kansas_2017", "kansas_c646"):
        district = tmp_path / f"{table}.toml"
        district.write_text(f'[choose]\n"wheat/freeze_table" = "{table}"\n')
        given = {low: values | {"low": low} for low in ("21 F", "23 F", "27 F", "29 F")}
        found[table] = [ask("freeze-injury", v, on=on, facts=load(district))["verdict"] for v in given.values()]
    assert found == {"kansas_2017": ["look", "look", "wait", "wait"], "kansas_c646": ["look", "look", "look", "wait"]}


def test_wider_price_of_nitrogen_lowers_the_rate():
    on, values = ASKED["topdress-nitrogen"]
    rates = [
        ask("topdress-nitrogen", values | {"nitrogen_price": f"{p} USD/lb"}, on=on)["quantities"]["rate_that_pays"][
            "value"
        ]
        for p in (0.3, 0.6, 0.9)
    ]
    assert rates[0] > rates[1] > rates[2]


def test_a_fitted_response_gives_its_own_optimum():
    # b 0.40, c -0.0018, N 0.60, wheat 6.00: 83.33 lb
    on, values = ASKED["topdress-nitrogen"]
    fitted = values | {"price": "6 USD/bu", "slope": "0.40 bu/lb", "bend": "-0.0018"}
    assert ask("topdress-nitrogen", fitted, on=on)["quantities"]["rate_that_pays"]["value"] == pytest.approx(
        83.333, abs=0.01
    )


def test_nebraska_table_by_phone():
    on, values = ASKED["topdress-nitrogen"]
    asked = values | {
        "publisher": "nebraska",
        "nitrate_ppm": "4",
        "price": "5.50 USD/bu",
        "nitrogen_price": "0.50 USD/lb",
    }
    assert ask("topdress-nitrogen", asked, on=on)["quantities"]["rate_by_publisher"]["value"] == 60


def test_insured_wheat_is_not_grazed_out_before_the_agent_has_been_asked():
    on, values = ASKED["wheat-purpose"]
    found = ask("wheat-purpose", values | {"insured": "yes"}, on=on)
    assert {o["key"] for o in found["options"] if o["barred"]} == {"graze-out", "hay"}
    free = ask("wheat-purpose", values | {"insured": "yes", "agent_asked": "yes"}, on=on)
    assert not any(o["barred"] for o in free["options"])


def test_volunteer_wheat_is_destroyed_before_sowing():
    found = ask("wheat-planting", MONEY | {"volunteer": "yes"}, on=date(2026, 9, 24))
    # no weather: zone 3's window ends on 20 Oct, 24 days after 26 Sep, for glyphosate
    assert found["verdict"] == "act" and found["act_by"] == "2026-09-26"
    assert found["headline"].startswith("Destroy the volunteer wheat by Sat 26 Sep; then sow")
    late = ask("wheat-planting", MONEY | {"volunteer": "yes"}, on=date(2026, 9, 30))
    assert late["headline"].startswith("Destroy the volunteer wheat now")
    barred = [o["key"] for o in found["options"] if o["barred"]]
    assert barred == [f"sow-day-{d}" for d in range(0, 14, 3)]


def test_what_is_due_in_weeks_waits_and_what_is_due_this_week_acts():
    """Sowing on 18 and on 30 September, asked on the 14th."""
    figures = {
        "seeding-rate": (ASKED["seeding-rate"][1], "83.3 lb/ac"),
        "soil-test": (ASKED["soil-test"][1], "P2O5"),
        "soil-sampling": (ASKED["soil-sampling"][1], "by Wed 23 Sep"),
        "variety-choice": (ASKED["variety-choice"][1] | {"current": "C"}, "beats C"),
    }
    for name, (values, figure) in figures.items():
        far = "2026-10-15" if name == "variety-choice" else "2026-09-30"  # seed is ordered two weeks ahead
        waits = ask(name, values | {"planting_date": far}, on=FALL)
        assert waits["verdict"] == "wait" and waits["act_by"] is None and figure in waits["headline"], name
        near = ask(name, values | {"planting_date": "2026-09-18"}, on=FALL)
        assert near["verdict"] == "act" and near["act_by"] <= "2026-09-18", name


def test_a_profile_sample_is_never_due_after_sowing():
    for day in ("2026-09-14", "2026-09-16", "2026-09-20", "2026-09-24"):
        found = ask("soil-sampling", ASKED["soil-sampling"][1] | {"planting_date": day}, on=FALL)
        assert found["act_by"] is not None and "2026-09-14" <= found["act_by"] <= day


def test_the_close_of_topdressing_belongs_to_the_crop_that_stands():
    """Mid March is common practice: days after it the stage tells, weeks after it there is nothing left to do."""
    values = MONEY | NITROGEN
    soon = ask("topdress-nitrogen", values, on=date(2027, 3, 20))
    assert soon["verdict"] == "look" and soon["headline"].startswith("Look at the stage today: Mon 15 Mar")
    late = ask("topdress-nitrogen", values, on=date(2027, 4, 8))
    assert late["verdict"] == "wait" and late["headline"].startswith("Too late to topdress: Mon 15 Mar")
    assert all(o["barred"] for o in late["options"] if o["key"] != "none")
    early = ask("topdress-nitrogen", values, on=date(2027, 1, 18))
    assert early["verdict"] == "wait" and early["act_by"] is None
    past = ask("wheat-purpose", ASKED["wheat-purpose"][1], on=date(2027, 3, 20))
    assert next(o for o in past["options"] if o["key"] == "dual")["barred"]


def test_wheat_whose_plan_is_the_best_use_asks_for_nothing():
    values = MONEY | {"hay_price": "60 USD/ton", "hollow_stem_date": "2027-03-05"}
    planned = ask("wheat-purpose", values | {"purpose": "grain"}, on=SPRING)
    assert planned["verdict"] == "wait" and planned["headline"].startswith("Keep to the plan (grain")
    other = ask("wheat-purpose", values | {"purpose": "hay"}, on=SPRING)
    assert other["verdict"] == "act" and other["act_by"] == "2027-03-05"
    assert ask("wheat-purpose", values, on=SPRING)["verdict"] == "act"  # no plan on file: to be settled


def test_sowing_earlier_than_any_published_trial_is_not_offered():
    """The Texas curve begins 39 days before the best date: here 8 October, so 30 August."""
    found = ask("wheat-planting", MONEY | {"purpose": "graze-out", "value_of_gain": "1.1 USD/lb"}, on=date(2026, 7, 1))
    barred = [int(o["key"].split("-")[-1]) for o in found["options"] if o["barred"]]
    # 39 days before zone 3's window is 17 August, but the trial's own first sowing was on the 24th, 54 days away
    assert barred == list(range(0, 54, 3)) and found["verdict"] == "wait"
    early = ask("wheat-planting", MONEY | {"best_date": "2026-12-30"}, on=date(2026, 7, 1))
    assert early["verdict"] == "wait" and early["headline"].startswith("Too early")
    # the Kansas curve ends at nothing for April sowing
    spring = ask("wheat-planting", MONEY, on=date(2026, 4, 8))
    assert spring["verdict"] == "wait" and spring["headline"].startswith("Too late for this season")


def test_no_day_of_the_published_window_is_worth_less_than_another():
    """Its publisher takes nothing off inside it; after it the Kansas curve does, until wheat no longer heads."""
    for zone, first, last in (("1", "09-10", "09-30"), ("3", "09-25", "10-20"), ("4", "10-05", "10-25")):
        found = {}
        for day in (first, last):
            call = ask("wheat-planting", MONEY | {"zone": zone}, on=date.fromisoformat(f"2026-{day}"))
            found[day] = call["quantities"]["yield_if_sown_today"]["value"]
        assert found[first] == found[last] == pytest.approx(float(MONEY["yield"].split()[0])), zone
    late = ask("wheat-planting", MONEY, on=date(2026, 11, 20))
    assert late["quantities"]["yield_if_sown_today"]["value"] < 0.85 * found[last]
    march = ask("wheat-planting", MONEY, on=date(2027, 3, 2))
    assert march["verdict"] == "wait" and "does not head" in march["headline"]
    assert all(o["barred"] for o in march["options"] if o["key"] != "none")


def test_a_graze_out_is_asked_for_nothing_of_grain():
    found = ask("wheat-planting", {"purpose": "graze-out", "value_of_gain": "1.10 USD/lb"}, on=date(2026, 9, 20))
    assert found["verdict"] == "act" and found["options"][0]["expected"] > 0


def test_dearer_growing_never_makes_sowing_pay_more():
    def over_none(cost):
        found = ask("wheat-planting", MONEY | {"cost": f"{cost} USD/ac"}, on=date(2026, 10, 10))
        return found["options"][0]["expected"]

    assert [over_none(30) - over_none(c) for c in (50, 90)] == pytest.approx([20, 60])
    assert ask("wheat-planting", MONEY | {"cost": "390 USD/ac"}, on=date(2026, 10, 10))["verdict"] == "wait"


def test_dual_purpose_is_sown_earlier_than_grain():
    best = {}
    for purpose in ("grain", "dual"):
        found = ask("wheat-planting", MONEY | {"purpose": purpose, "value_of_gain": "1.1 USD/lb"}, on=date(2026, 8, 25))
        best[purpose] = max(found["options"], key=lambda o: o["expected"])["key"]
    assert int(best["dual"].split("-")[-1]) < int(best["grain"].split("-")[-1])


def weather(rain_in: float) -> dict[str, StationDays]:
    days = np.arange(365 * 12)
    phase = 2 * np.pi * days / 365.25
    rain = np.where(days % 5 == 0, rain_in * 25.4, 0.0)
    tmax = 20 - 14 * np.cos(phase)
    values = {"tmax": tmax, "tmin": tmax - 13, "rain": rain}
    return {"n": StationDays(station="n", start=date(2014, 10, 1), values=values, latitude=38.0)}


def test_dry_ground_and_dry_years_bring_wheat_up_late():
    up = {}
    for rain in (0.02, 1.0):
        outlook = make_outlook(FALL, stations=weather(rain), draws=60)
        call = call_for("wheat-planting", MONEY | {"top_moist": "no", "station": "n"}, on=FALL, outlook=outlook)
        up[rain] = call.quantities["chance_up_within_10_days"].value
    assert up[0.02] == 0 and up[1.0] == 1


def test_the_station_night_and_the_sketched_stage_stand_in_for_what_was_not_seen():
    on = date(2026, 4, 20)
    stations = weather(0.3)
    record = stations["n"]
    record.values["tmin"][record.index(on) - 3] = -9.0
    outlook = make_outlook(on, stations=stations, draws=60)
    values = MONEY | {"station": "n", "planting_date": "2025-10-01"}
    call = call_for("freeze-injury", values, on=on, outlook=outlook)
    assert call.quantities["lowest_temperature"].value == pytest.approx(15.8)
    assert call.verdict == "look" and any("sketch" in text for text in call.because)


def test_a_trial_file_answers_like_its_records(tmp_path):
    path = tmp_path / "t.csv"
    rows = [dict(part.split("=") for part in record.split(", ")) for record in TRIALS.split("; ")]
    text = "variety,site,year,yield (bu/ac)\n" + "".join(
        f"{r['variety']},{r['site']},{r['year']},{r['yield']}\n" for r in rows
    )
    path.write_text(text)
    by_file = ask("variety-choice", MONEY | {"trials": str(path), "current": "C"}, on=FALL)
    by_records = ask("variety-choice", MONEY | {"means": TRIALS, "current": "C"}, on=FALL)
    assert by_file["headline"] == by_records["headline"]
    assert by_file["verdict"] == "act" and by_file["headline"].startswith("Sow A")
    stay = ask("variety-choice", MONEY | {"means": TRIALS, "current": "A"}, on=FALL)
    assert stay["verdict"] == "wait" and stay["headline"].startswith("Stay with A")


def test_a_best_day_of_the_next_crop_prints_the_published_curve():
    got = ask("wheat-planting", {"purpose": "graze-out", "zone": "2", "best_date": "2026-09-13"}, on=date(2026, 6, 1))
    (said,) = (line for line in got["because"] if line.startswith("Late sowing"))
    assert "(77 % of full yield a month after it)" in said
