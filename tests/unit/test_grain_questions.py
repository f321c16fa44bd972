"""store-or-sell-at-harvest, load-price, balance-sheet and direct-sale, and the demo's bins."""

from datetime import date

import numpy as np
import pytest

from sideoats.asking import ask
from sideoats.errors import InputError
from sideoats.intake.buyer_schedule import FORMATS, read_buyer_schedule, schedule_record

ON = date(2026, 9, 14)
RISING = "2026-12-14 5.95; 2027-03-14 6.40; 2027-06-14 6.60"
RIDGE = """
buyer = "Ridge Siding elevator"
commodity = "wheat"
effective = 2026-06-15
[protein]
base = "12 %"
premium = "0.10 USD/bu"
discount = "0.12 USD/bu"
step = "0.2 %"
[test_weight]
base = "58 lb/bu"
bands = [ { until = "56 lb/bu", step = "0.5 lb/bu", charge = "0.02 USD/bu" },
          { until = "50 lb/bu", step = "0.5 lb/bu", charge = "0.04 USD/bu" } ]
"""
MILL = """
buyer = "Quarry mill"
commodity = "wheat"
effective = 2026-07-01
until = 2026-12-31
bid = "5.70 USD/bu"
[moisture]
base = "13.5 %"
shrink = "water"
handling = "0.5 %"
"""


@pytest.fixture
def schedules(tmp_path):
    paths = []
    for name, text in (("ridge.toml", RIDGE), ("mill.toml", MILL)):
        (tmp_path / name).write_text(text, encoding="utf-8")
        paths.append(str(tmp_path / name))
    return paths


def options(call):
    return {o["key"]: o for o in call["options"]}


def values(call):
    return {name: q["value"] for name, q in call["quantities"].items()}


# --- load-price -----------------------------------------------------------------------------------------------------


def test_the_load_of_the_reference_at_a_buyer_with_a_schedule(schedules):
    ridge, mill = schedules
    got = ask(
        "load-price",
        {"gross": "60000 lb", "dockage": "1.5 %", "test_weight": "56.0 lb/bu", "protein": "12.0 %",
         "moisture": "13.5 %", "buyers": f"schedule={ridge}, bid=5.60 USD/bu; schedule={mill}, freight=0.20 USD/bu"},
        on=ON,
    )  # fmt: skip
    # reference page: 985.0 bu; 5.60 - 0.08 brings 5,437.20; the other nets 985 x 5.50
    assert got["headline"].startswith("Sell to Ridge Siding elevator today: $5,437.20 on 985 bu, $19.70 more")
    assert values(got)["lead_over_next"] == pytest.approx(19.70)
    assert values(got)["grade"] == 3  # 56.0 lb/bu, 7 CFR 810.2204


def test_protein_moves_the_load_to_the_buyer_who_pays_for_it(schedules):
    ridge, mill = schedules
    offer = f"schedule={ridge}, bid=5.30 USD/bu; schedule={mill}"
    load = {"gross": "50000 lb", "dockage": "0 %", "test_weight": "60 lb/bu", "moisture": "12 %", "buyers": offer}
    plain = ask("load-price", {**load, "protein": "12 %"}, on=ON)
    strong = ask("load-price", {**load, "protein": "13.0 %"}, on=ON)
    assert plain["headline"].startswith("Sell to Quarry mill")
    assert strong["headline"].startswith("Sell to Ridge Siding")
    assert values(strong)["adjustment"] == pytest.approx(0.50)


def test_beyond_the_last_band_no_price_is_made_up(schedules):
    load = {"gross": "50000 lb", "dockage": "0 %", "protein": "12 %", "moisture": "12 %"}
    offer = f"schedule={schedules[0]}, bid=5.30 USD/bu"
    light = ask("load-price", {**load, "test_weight": "49.9 lb/bu", "buyers": offer}, on=ON)
    unknown = ask("load-price", {**load, "buyers": offer}, on=ON)
    for got in (light, unknown):
        assert got["verdict"] == "look" and "ask the buyer" in got["options"][0]["barred"]
        assert "net_bushels" not in got["quantities"]


def test_a_shrink_beyond_what_is_in_use_is_said(tmp_path):
    steep = tmp_path / "steep.toml"
    steep.write_text(
        'buyer = "Steep"\ncommodity = "corn"\neffective = 2026-09-01\nbid = "4.20 USD/bu"\n'
        '[moisture]\nbase = "15 %"\nshrink = "pencil"\nfactor = 1.8\n', encoding="utf-8"
    )  # fmt: skip
    load = {"gross": "56000 lb", "dockage": "0 %", "moisture": "20 %", "buyers": f"schedule={steep}"}
    got = ask("load-price", load, on=ON)
    # five points at 1.8 % leave 91 % of 1,000 bu
    assert values(got)["net_bushels"] == pytest.approx(910) and values(got)["moisture_shrink"] == pytest.approx(9.0)
    assert any("1.8 % of the weight for each point" in c for c in got["cautions"])


def test_a_schedule_out_of_force_is_barred(schedules):
    load = {"gross": "50000 lb", "dockage": "0 %", "moisture": "12 %", "buyers": f"schedule={schedules[1]}"}
    assert "not in force" in ask("load-price", load, on=date(2027, 2, 1))["options"][0]["barred"]
    assert ask("load-price", load, on=ON)["options"][0]["barred"] is None


@pytest.mark.parametrize(
    ("offer", "said"),
    [
        ("schedule=nowhere.toml", "nowhere.toml"),
        ("schedule={0}", "holds a bid"),
        ("schedule={1}; schedule={1}", "given twice"),
        ("bid=5.60 USD/bu", "schedule"),
    ],
)
def test_bad_offers_are_one_clear_line(schedules, offer, said):
    with pytest.raises(InputError) as caught:
        ask("load-price", {"gross": "50000 lb", "dockage": "0 %", "buyers": offer.format(*schedules)}, on=ON)
    assert said in str(caught.value) and "\n" not in str(caught.value)


# --- the schedule file ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('step = "0.2 %"', ""), "[protein] step"),
        (('base = "58 lb/bu"', "base = 58"), "has no unit"),
        (('until = "50 lb/bu"', 'until = "57 lb/bu"'), "falling from the base"),
        (("effective = 2026-06-15", 'effective = "soon"'), "effective"),
        (("[protein]", "[colour]"), "[colour]"),
        (('commodity = "wheat"', 'commodity = "barley"'), "commodity"),
        (("[protein]", "[protein"), "is not TOML"),
        (("premium =", "premum ="), "premum"),
    ],
)
def test_a_faulty_schedule_names_its_section_and_field(tmp_path, change, said):
    file = tmp_path / "faulty.toml"
    file.write_text(RIDGE.replace(*change, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_buyer_schedule(file)
    assert said in str(caught.value) and "faulty.toml" in str(caught.value)


def test_moisture_needs_bands_or_a_shrink():
    head = {"buyer": "x", "commodity": "corn", "effective": "2026-09-01"}
    assert schedule_record({**head, "moisture": {"base": "15 %", "shrink": "water"}})["moisture"]["bands"] == ()
    for moisture in ({"base": "15 %"}, {"base": "15 %", "shrink": "pencil"}):
        with pytest.raises(InputError):
            schedule_record({**head, "moisture": moisture})


def test_a_schedule_can_be_taken_into_a_ledger(schedules, tmp_path):
    from sideoats.ledger import NewEntry, open_ledger

    taken = FORMATS[0].read(schedules[0], {"place": "flat-market"})
    seen = taken.drafts[0].seen_at
    with open_ledger(str(tmp_path / "grain.sqlite"), create=True) as ledger:
        ledger.append(
            [NewEntry("place", {"name": "Flat market", "kind": "market"}, place="flat-market", seen_at=seen),
             *(NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in taken.drafts)]
        )  # fmt: skip
        kept = ledger.latest(["buyer_schedule"], ON)["buyer_schedule"]["flat-market"].body
    assert kept["buyer"] == "Ridge Siding elevator" and kept["schedule"]["test_weight"]["bands"][1]["charge"] == 0.04


# --- store or sell at harvest ---------------------------------------------------------------------------------------

HARVEST = {"bushels": "5000", "price": "5.50 USD/bu", "interest": "8 %", "farm_storage": "0.03 USD/bu/month",
           "moisture": "12 %"}  # fmt: skip


def test_storing_pays_only_where_the_quotes_pay_for_it():
    rising = ask("store-or-sell-at-harvest", {**HARVEST, "quotes": RISING, "aversion": "0"}, on=ON)
    plain = ask("store-or-sell-at-harvest", HARVEST, on=ON)
    assert rising["headline"].startswith("Store on the farm, sell after 6 months")
    # 6.40 less 6 x 0.03 less 5.50 x 8 % x half a year
    assert options(rising)["farm-6"]["expected"] == pytest.approx(6.40 - 0.18 - 0.22 - 5.50, abs=1e-4)
    assert plain["headline"].startswith("Sell at harvest") and "no quote" in options(plain)["lock"]["barred"]


def test_elevator_minimum_and_free_days_are_charged():
    more = {"elevator_storage": "0.08 USD/bu/month", "elevator_minimum": "0.30 USD/bu", "elevator_free_days": "30",
            "elevator_out": "0.05 USD/bu", "quotes": RISING}  # fmt: skip
    got = values(ask("store-or-sell-at-harvest", {**HARVEST, **more}, on=ON))
    # 3 months: 0.08 x (3 - 30/30.4167) = 0.161, below the minimum 0.30; out 0.05; interest 5.50 x 0.02
    assert got["elevator_break_even_month_3"] == pytest.approx(5.50 + 0.30 + 0.05 + 0.11, abs=1e-4)
    # 6 months: 0.08 x (6 - 0.98630) = 0.40110
    assert got["elevator_break_even_month_6"] == pytest.approx(5.50 + 0.40110 + 0.05 + 0.22, abs=1e-4)


def test_wet_grain_is_stored_only_if_it_is_dried():
    wet = {**HARVEST, "quotes": RISING, "moisture": "16 %"}
    refused = ask("store-or-sell-at-harvest", wet, on=ON)
    assert "too wet to store" in options(refused)["farm-6"]["barred"]
    dried = ask("store-or-sell-at-harvest", {**wet, "drying": "0.06 USD/bu"}, on=ON)
    # 2.5 points to 13.5 %: 0.15 USD/bu, and 2.5/86.5 of the weight is water
    assert values(dried)["drying_cost"] == pytest.approx(0.15)
    assert options(dried)["farm-6"]["expected"] == pytest.approx(
        (6.40 - 0.40) * (1 - 2.5 / 86.5) - 0.15 - 5.50, abs=1e-4
    )


def test_a_call_costs_its_premium_and_cannot_lose_more():
    more = {"quotes": "2026-12-14 5.50; 2027-06-14 5.50", "call_premium": "0.40 USD/bu", "call_strike": "5.60 USD/bu"}
    call = options(ask("store-or-sell-at-harvest", {**HARVEST, **more}, on=ON))["sell-and-call"]
    assert call["low"] == pytest.approx(-0.40 * 1.04, abs=1e-4) and call["high"] > 0


def test_a_bin_smaller_than_the_crop_splits_it():
    whole = options(ask("store-or-sell-at-harvest", {**HARVEST, "quotes": RISING, "bin_space": "9000"}, on=ON))
    got = ask("store-or-sell-at-harvest", {**HARVEST, "quotes": RISING, "bin_space": "3000"}, on=ON)
    for way in ("farm-6", "lock"):  # 3,000 of 5,000 bushels are stored, the rest is sold at harvest
        assert options(got)[way]["expected"] == pytest.approx(0.6 * whole[way]["expected"], abs=1e-4)
    assert "3,000" in got["headline"] and "sell the rest at harvest" in got["headline"]
    none = options(ask("store-or-sell-at-harvest", {**HARVEST, "quotes": RISING, "bin_space": "0"}, on=ON))
    assert "no room" in none["farm-6"]["barred"] and "no room" in none["lock"]["barred"]


# --- balance-sheet --------------------------------------------------------------------------------------------------

SHEET = {"commodity": "corn", "beginning": "1738", "production": "15093", "imports": "78", "domestic": "12325",
         "exports": "2175"}  # fmt: skip


def test_a_sheet_without_history_names_no_price():
    got = ask("balance-sheet", SHEET, on=ON)
    # rows set so that ending stocks and use are those printed for September 2016: 2,409 of 14,500, 16.61 %
    assert values(got)["ending_stocks"] == 2409 and values(got)["use"] == 14500
    assert "16.6 % of use" in got["headline"] and "USD/bu" not in got["headline"]
    assert got["quantities"]["supply"]["unit"] == "million bu"


def test_a_history_gives_a_range_marked_as_such(tmp_path):
    years = range(2006, 2016)
    ratio = [0.117, 0.128, 0.139, 0.131, 0.086, 0.079, 0.074, 0.091, 0.126, 0.127]
    price = [3.04, 4.20, 4.06, 3.55, 5.18, 6.22, 6.89, 4.46, 3.70, 3.61]
    for name, column in (("r", ratio), ("p", price)):
        rows = "\n".join(f"{y}-09-01,{v}" for y, v in zip(years, column, strict=True))
        (tmp_path / f"{name}.csv").write_text("date,value\n" + rows, encoding="utf-8")
    more = {"past_ratios": str(tmp_path / "r.csv"), "past_prices": str(tmp_path / "p.csv")}
    got = ask("balance-sheet", {**SHEET, **more}, on=ON)
    assert "past_price_low" not in values(got) and "3.04 to $6.89 a bushel" in got["headline"]  # as they were
    assert any("outside every year on file" in line for line in got["because"])  # 16.6 % is above all ten years
    rows = (tmp_path / "r.csv").read_text("utf-8").replace("0.139", "0.179")
    (tmp_path / "r.csv").write_text(rows, encoding="utf-8")
    got = ask("balance-sheet", {**SHEET, **more}, on=ON)
    low, high = values(got)["past_price_low"], values(got)["past_price_high"]
    assert low < values(got)["past_price_middle"] < high and "a range, not a forecast" in got["headline"]
    assert not got["options"]


def test_use_above_supply_is_said():
    got = ask("balance-sheet", {**SHEET, "exports": "9000"}, on=ON)
    assert got["verdict"] == "look"
    assert "use is 4,416 million bu more than supply" in got["headline"]


# --- direct-sale ----------------------------------------------------------------------------------------------------

STAND = {"crowd_low": "150", "crowd": "400", "crowd_high": "900", "buying_low": "4 %", "buying_high": "10 %",
         "price": "11 USD", "food_cost": "4.20 USD", "fixed": "480 USD", "prepared": "60"}  # fmt: skip


def test_a_stand_that_cannot_cover_its_costs_stays_at_home():
    got = ask("direct-sale", STAND, on=ON)
    # 480 / 6.80 = 70.6 portions, and only 60 are made
    assert values(got)["break_even_portions"] == 71 and "more than the 60 planned" in got["headline"]
    assert values(got)["chance_to_break_even"] == 0 and got["verdict"] == "wait"
    assert options(got)["go"]["high"] <= 60 * 6.80 - 480 + 1e-9


def test_wasted_portions_raise_the_break_even():
    got = ask("direct-sale", {**STAND, "fixed": "180 USD"}, on=ON)
    # 180 / 6.80 = 26.5; with 60 made and the unsold lost (180 + 60 x 4.20) / 11 = 39.3
    assert values(got)["break_even_portions"] == 27 and values(got)["break_even_with_waste"] == 40


def test_a_bigger_crowd_makes_it_pay_and_the_suggestion_is_no_worse():
    got = ask("direct-sale", {**STAND, "crowd": "1500", "crowd_high": "3000", "prepared": "90"}, on=ON)
    assert got["verdict"] == "act" and options(got)["go-suggested"]["expected"] >= options(got)["go"]["expected"]
    assert any("health" in c for c in got["cautions"])


def test_washed_out_days_and_own_hours_cost():
    base = values(ask("direct-sale", STAND, on=ON))
    wet = values(ask("direct-sale", {**STAND, "washed_out": "40 %"}, on=ON))
    paid = values(ask("direct-sale", {**STAND, "own_hours": "10", "own_wage": "15 USD/hour"}, on=ON))
    assert wet["expected_portions"] < 0.75 * base["expected_portions"]
    assert paid["break_even_portions"] == np.ceil(630 / 6.80)


def test_a_portion_that_loses_money_bars_going():
    got = ask("direct-sale", {**STAND, "fee": "70 %"}, on=ON)
    assert got["verdict"] == "wait" and options(got)["go"]["barred"] and "Do not go" in got["headline"]


@pytest.mark.parametrize(
    "bad", [{"crowd": "950"}, {"buying_low": "20 %"}, {"days": "0"}, {"days": "1.5"}, {"price": "11"}]
)
def test_bad_stand_figures_are_one_clear_line(bad):
    with pytest.raises(InputError) as caught:
        ask("direct-sale", {**STAND, **bad}, on=ON)
    assert next(iter(bad)) in str(caught.value)


def test_the_headline_of_a_stand_speaks_of_the_portions_it_names():
    got = ask("direct-sale", {**STAND, "fixed": "100 USD"}, on=ON)
    # 35 a day pays best; then (100 + 35 x 4.20) / 11 = 22.5 break even, not the (100 + 60 x 4.20) / 11 = 32 of 60
    assert "35 portions a day, not the 60 planned" in got["headline"] and "23 portions sold" in got["headline"]
    assert values(got)["break_even_with_waste"] == 32  # that of the plan
    blank = {k: v for k, v in STAND.items() if k != "prepared"}
    unplanned = ask("direct-sale", {**blank, "fixed": "100 USD"}, on=ON)
    assert "no number of portions was planned" in options(unplanned)["go"]["barred"]


def test_no_stand_prints_less_than_nothing_or_a_chance_to_win_on_a_losing_portion():
    empty = {**STAND, "crowd_low": "0", "crowd": "0", "crowd_high": "0", "fixed": "0 USD"}
    text = ask("direct-sale", {k: v for k, v in empty.items() if k != "prepared"}, on=ON)
    assert "-0" not in text["headline"] and values(text)["break_even_portions"] == 0
    assert values(ask("direct-sale", {**STAND, "fee": "70 %"}, on=ON))["chance_to_break_even"] == 0


def test_every_act_of_the_room_has_a_date(schedules):
    going = {**STAND, "fixed": "100 USD"}
    load = {"gross": "50000 lb", "dockage": "0 %", "moisture": "12 %", "buyers": f"schedule={schedules[1]}"}
    stored = {**HARVEST, "quotes": RISING}
    dated = [
        (ask("direct-sale", going, on=ON), ON),
        (ask("direct-sale", {**going, "event_date": "2026-10-03"}, on=ON), date(2026, 10, 2)),
        (ask("store-or-sell-at-harvest", stored, on=ON), ON),
        (ask("store-or-sell-at-harvest", {**stored, "harvest_date": "2026-09-24"}, on=ON), date(2026, 9, 24)),
        (ask("load-price", load, on=ON), ON),
    ]
    for got, day in dated:
        assert got["verdict"] == "act" and got["act_by"] == day.isoformat()
    assert any("for today" in line for line in dated[0][0]["because"])
    assert any("harvested now" in line for line in dated[2][0]["because"])
    over = ask("direct-sale", {**going, "event_date": "2026-08-01"}, on=ON)
    assert over["verdict"] == "look" and over["headline"].startswith("The event of 1 Aug 2026 is over")


def test_nothing_is_sold_at_harvest_for_want_of_a_storage_cost():
    got = ask("store-or-sell-at-harvest", {k: v for k, v in HARVEST.items() if k != "farm_storage"}, on=ON)
    assert got["verdict"] == "look"
    assert "what storing costs a month, on the farm or at the elevator" in got["headline"]
    assert got["missing"] == ["store-or-sell-at-harvest.farm_storage"]


def test_each_buyer_is_barred_for_its_own_reason(schedules):
    offer = f"schedule={schedules[0]}, bid=5.30 USD/bu; schedule={schedules[1]}"
    load = {"gross": "50000 lb", "dockage": "0 %", "protein": "12 %", "test_weight": "49 lb/bu", "buyers": offer}
    got = ask("load-price", load, on=ON)
    said = {o["label"]: o["barred"] for o in got["options"]}
    assert said["Sell to Quarry mill"] == (
        "moisture is not measured; test weight 49 lb/bu is not in its schedule: ask the buyer"
    )
    assert said["Sell to Ridge Siding elevator"] == "test weight lies beyond its last band: ask the buyer"
    assert "moisture is not measured" in got["headline"]


def test_a_dockage_meant_as_percent_is_not_read_as_a_share(schedules):
    load = {"gross": "50000 lb", "dockage": "0.9", "moisture": "12 %", "buyers": f"schedule={schedules[1]}"}
    with pytest.raises(InputError, match="dockage"):
        ask("load-price", load, on=ON)


# --- the demo -------------------------------------------------------------------------------------------------------


def test_the_demo_has_a_bin_for_every_verdict(tmp_path):
    from sideoats.demo.district import TODAY, all_entries
    from sideoats.ledger import open_ledger
    from sideoats.week import run_week

    keep = {"farm", "place", "quote", "setting", "bin_check", "bin_bids"}
    with open_ledger(str(tmp_path / "demo.sqlite"), create=True) as ledger:
        ledger.append([e for e in all_entries() if e.kind in keep])
        week = run_week(ledger, TODAY, questions=["bin-hold"], draws=200)
    assert week.asked == {"bin-hold": 4} and not week.problems
    assert {c.verdict for c in week.calls} == {"stop", "act", "look", "wait"}
    assert week.calls[0].verdict == "stop" and "heating" in week.calls[0].headline


def test_who_minds_risk_locks_what_who_does_not_would_store():
    """30 cents open against 28 locked: the usual aversion pays more than the three cents of trouble between them."""
    grain = {"bushels": "20000", "price": "5.50 USD/bu", "interest": "8 %", "farm_storage": "0.03 USD/bu/month",
             "quotes": "2026-12-24 6.20; 2027-06-24 6.30", "moisture": "12 %"}  # fmt: skip
    heads = [ask("store-or-sell-at-harvest", grain, on="2026-06-24", risk_aversion=a)["headline"] for a in (0, 2, 4)]
    assert heads[0].startswith("Store on the farm, sell after 6 months")
    assert all("lock in the quote" in head for head in heads[1:])


def test_what_a_replay_of_harvests_earned_is_told_for_wheat_alone():
    grain = {"bushels": "20000", "price": "5.50 USD/bu", "interest": "8 %", "farm_storage": "0.03 USD/bu/month",
             "moisture": "12 %"}  # fmt: skip
    told = {crop: " ".join(ask("store-or-sell-at-harvest", {**grain, "crop": crop}, on="2026-06-24")["because"])
            for crop in ("wheat", "soybean")}  # fmt: skip
    assert "15 wheat harvests" in told["wheat"] and "$0.54" in told["wheat"] and "33 %" in told["wheat"]
    assert "harvests" not in told["soybean"]
