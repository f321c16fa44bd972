"""bin-hold: what it says under rising, flat and inverted quotes, and what no price can lift."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sideoats.asking import ask, call_for, table_of
from sideoats.errors import InputError, UnitError
from sideoats.facts import load
from sideoats.grain.questions.bin_hold import MONTHS_AHEAD, QUESTION
from sideoats.outlook import make_outlook
from sideoats.question import Context
from sideoats.replies import told
from sideoats.schema import read_all
from sideoats.words import METRIC, Reader

ON = date(2026, 9, 14)
BASE = {
    "bushels": "12000",
    "price": "5.50 USD/bu",
    "storage": "0.05 USD/bu/month",
    "interest": "8 %",
}
RISING = "2026-12-14 5.95; 2027-03-14 6.40; 2027-06-14 6.60"
FLAT = "2026-12-14 5.50; 2027-03-14 5.50; 2027-06-14 5.50"
INVERTED = "2026-12-14 5.30; 2027-03-14 5.10; 2027-06-14 4.90"
SOUND = {"moisture": "12.0 %", "temperature": "60 degF"}


def asked(**more):
    return ask("bin-hold", {**BASE, **more}, on=ON)


def test_a_quotes_file_gives_the_break_evens_of_the_reference(tmp_path):
    file = tmp_path / "bids.csv"
    file.write_text("date,price\n" + RISING.replace("; ", "\n").replace(" ", ","), encoding="utf-8")
    got = asked(quotes=str(file), **SOUND)
    value = {name: q["value"] for name, q in got["quantities"].items()}
    # reference page, G2
    printed = {1: 5.5867, 3: 5.7600, 5: 5.9333, 6: 6.0200}
    assert {m: round(value[f"break_even_month_{m}"], 4) for m in printed} == printed
    assert all(q["unit"] for q in got["quantities"].values())
    assert 0.4 < value["chance_pays_month_6"] < 0.7 and value["worst_tenth_holding"] < 5.5
    assert got["verdict"] == "act" and got["headline"].startswith("Lock in") and value["best_over_selling_now"] > 0


@pytest.mark.parametrize("quotes", [FLAT, INVERTED])
def test_flat_or_inverted_quotes_say_sell(quotes):
    got = asked(quotes=quotes, **SOUND)
    assert got["verdict"] == "act" and got["headline"].startswith("Sell at $5.50/bu")
    best = max((o for o in got["options"] if not o["barred"]), key=lambda o: o["expected"])
    assert best["key"] == "sell-now" and date.fromisoformat(got["act_by"]) >= ON


def test_no_quotes_means_no_rise_is_invented():
    got = asked(**SOUND)
    assert got["verdict"] == "act"
    assert next(o for o in got["options"] if o["key"] == "hold-6")["expected"] == pytest.approx(-0.52, abs=1e-4)
    assert next(o for o in got["options"] if o["key"] == "lock")["barred"] == "no quote to lock in"


def test_the_mean_of_the_draws_is_the_quote():
    got = asked(quotes=RISING, **SOUND)
    assert next(o for o in got["options"] if o["key"] == "hold-6")["expected"] == pytest.approx(
        6.40 - 0.52 - 5.50, abs=1e-4
    )


@pytest.mark.parametrize(
    "state",
    [
        {"moisture": "15 %", "temperature": "60 degF"},
        {"heating": "yes"},
        {"spoiled": "yes"},
        {"temperature": "85 degF", "earlier": "72 degF"},
        {"moisture": "22 %", "temperature": "95 degF"},
    ],
)
def test_wet_or_heating_grain_may_not_be_held_at_any_price(state):
    got = asked(quotes="2026-12-14 40.00; 2027-06-14 55.00", **state)
    cool = state.get("temperature") == "60 degF"  # too wet to keep, but not going bad this week
    assert got["verdict"] == "stop" and got["headline"].startswith("Dry it or move it by" if cool else "Move it by")
    held = [o for o in got["options"] if o["key"] != "sell-now"]
    assert len(held) == MONTHS_AHEAD + 2
    assert all(o["barred"] and o["chance_best"] == 0 for o in held)
    assert got["options"][0]["barred"] is None
    assert got["act_by"] == ("2026-09-28" if cool else "2026-09-16")
    assert "break_even_month_1" not in got["quantities"]  # nothing about holding stands beside the bar
    assert any("sound grain" in c for c in got["cautions"])
    assert any("flowing grain" in c for c in got["cautions"])


def test_a_moved_bin_says_why_what_to_do_and_when_it_was_seen():
    row = read_all(QUESTION.inputs, {**BASE, "heating": "yes", "temperature": "96 degF", "earlier": "81 degF"})
    ages = {name: np.full(1, 74.0) for name in ("heating", "temperature", "earlier")}
    table = replace(table_of(QUESTION, [row]), ages=ages)
    call = QUESTION.ask(table, Context(ON, load(), make_outlook(ON, draws=50))).call(0)
    assert "heating at 96 °F, 15 °F more than at the check before" in call.headline
    assert (
        "seen Thu 2 Jul, 74 days ago" in call.headline and "Turn it, cool it with air or load it out" in call.headline
    )
    assert not any("before holding" in line or "Quotes" in line for line in call.because)


def test_a_kept_bin_is_checked_again_two_weeks_after_the_last_look():
    row = read_all(QUESTION.inputs, {**BASE, **SOUND, "quotes": RISING, "aversion": "0"})
    answers = []
    for age in (4.0, 20.0):
        ages = {name: np.full(1, age) for name in ("moisture", "temperature")}
        table = replace(table_of(QUESTION, [row]), ages=ages)
        answers.append(QUESTION.ask(table, Context(ON, load(), make_outlook(ON, draws=50))).call(0))
    assert [c.verdict for c in answers] == ["wait", "look"]
    assert answers[0].look_by == date(2026, 9, 24)
    assert answers[1].headline.startswith("Check the bin by Mon 21 Sep (seen Tue 25 Aug, 20 days ago)")


def test_a_sale_without_quotes_does_not_speak_of_quotes():
    past = asked(quotes="2026-09-01 6.50", **SOUND)  # two weeks gone by: no slip of the year
    for got in (asked(**SOUND), past):
        assert any("Nothing is quoted for later" in line for line in got["because"])
        assert not any("Quotes stand for" in line for line in got["because"])


def test_long_holding_alone_is_barred_where_the_limit_tightens():
    got = asked(crop="corn", moisture="14.0 %", temperature="50 degF", quotes=RISING)
    barred = {o["key"]: o["barred"] for o in got["options"]}
    assert barred["hold-6"] is None
    assert "over the 13 %" in barred["hold-7"]
    assert got["verdict"] != "stop"


def test_the_district_may_follow_another_publisher(tmp_path):
    file = tmp_path / "district.toml"
    file.write_text('[choose]\n"grain/moisture_limit_wheat" = "canada"\n', encoding="utf-8")
    state = {"moisture": "13.2 %", "temperature": "55 degF", "quotes": RISING}
    assert asked(**state)["verdict"] == "act"
    assert ask("bin-hold", {**BASE, **state}, on=ON, facts=load(file))["verdict"] == "stop"


def test_a_bin_of_unknown_moisture_must_be_looked_at_before_it_is_held():
    got = asked(quotes=RISING)
    assert got["verdict"] == "look" and got["look_by"] == "2026-09-21"


def test_futures_need_a_basis_and_are_locked_with_its_spread():
    got = asked(quotes="2027-03-14 6.90", basis="-0.45 USD/bu", basis_sd="0.12 USD/bu", **SOUND)
    lock = next(o for o in got["options"] if o["key"] == "lock")
    # six months on: 6.90 - 0.45 - 0.52 carry - 0.02 cost; 80 % of a normal lies within 1.2816 sd
    assert lock["expected"] == pytest.approx(6.45 - 0.52 - 0.02 - 5.50, abs=1e-3)
    assert (lock["high"] - lock["low"]) / 2 == pytest.approx(1.2816 * 0.12, rel=0.12)


def test_a_stated_volatility_sets_the_spread():
    got = asked(quotes=FLAT, volatility="20 %", **SOUND)
    six = next(o for o in got["options"] if o["key"] == "hold-6")
    # lognormal: log of the 90th over the 10th percentile is 2 x 1.2816 x 0.20 x sqrt(181/365)
    assert np.log((six["high"] + 6.02) / (six["low"] + 6.02)) == pytest.approx(2 * 1.2816 * 0.20 * 0.7042, rel=0.08)


def test_a_history_sets_the_spread_and_adds_its_seasons():
    rng = np.random.default_rng(3)
    months = np.arange("2012-01", "2026-09", dtype="datetime64[M]").astype("datetime64[D]")
    price = 5 * np.exp(np.cumsum(0.01 * rng.standard_normal(months.size)))
    history = "; ".join(f"{d} {p:.3f}" for d, p in zip(months, price, strict=True))
    got = asked(quotes=FLAT, history=history, **SOUND)
    calm, wild = (next(o for o in a["options"] if o["key"] == "hold-6") for a in (got, asked(quotes=FLAT, **SOUND)))
    assert calm["high"] - calm["low"] < 0.4 * (wild["high"] - wild["low"])
    assert any("Seasonal record" in line and "median" in line for line in got["because"])


def test_risk_aversion_prefers_the_locked_price_to_the_same_mean():
    got = asked(quotes=RISING, aversion="2", worth="400000 USD", **SOUND)
    value = {name: q["value"] for name, q in got["quantities"].items()}
    assert value["certainty_equivalent_holding"] < value["expected_gain_of_holding"] + 5.50
    assert value["certainty_equivalent_now"] == pytest.approx(5.50, abs=1e-6)


def test_rows_of_a_batch_do_not_touch_each_other():
    states = [
        {**BASE, "quotes": RISING, **SOUND},
        {**BASE, "quotes": FLAT, "heating": "yes"},
        {**BASE, "crop": "grain sorghum", "price": "4.10 USD/bu", "quotes": INVERTED, **SOUND},
        {**BASE, "volatility": "25 %", **SOUND},
    ]
    rows = [read_all(QUESTION.inputs, s) for s in states]
    keys = [f"bin {i}" for i in range(len(rows))]
    context = Context(ON, load(), make_outlook(ON, draws=200))
    together = QUESTION.ask(table_of(QUESTION, rows, keys), context)
    for i, row in enumerate(rows):
        alone = QUESTION.ask(table_of(QUESTION, [row], [keys[i]]), context).call(0).full()
        among = together.call(i).full()
        cited = [{s["id"] for s in call.pop("sources")} for call in (alone, among)]
        for call in (alone, among):  # a call's id is made of all it says, its sources too
            call.pop("id", None)
        assert among == alone and cited[0] <= cited[1]  # the sources are those of the whole batch


def test_a_place_without_a_price_is_looked_at_and_not_guessed():
    row = read_all(QUESTION.inputs, {**BASE, **SOUND})
    row["price"] = None
    answers = QUESTION.ask(table_of(QUESTION, [row]), Context(ON, load(), make_outlook(ON, draws=50)))
    call = answers.call(0)
    assert call.verdict == "look" and call.options == ()
    assert "price of the last two weeks (ask the buyer)" in call.headline


def test_a_hazard_is_said_whether_or_not_there_is_a_price():
    row = read_all(QUESTION.inputs, {**BASE, "heating": "yes"})
    row["price"] = row["storage"] = None
    call = QUESTION.ask(table_of(QUESTION, [row]), Context(ON, load(), make_outlook(ON, draws=50))).call(0)
    assert call.verdict == "stop" and call.headline.startswith("Move it by")
    assert "nan" not in " ".join([call.headline, *call.because, *call.cautions])


@pytest.mark.parametrize(
    ("bad", "error"),
    [
        ({"price": "5.50"}, UnitError),
        ({"storage": "0.05 USD/bu"}, UnitError),
        ({"interest": "8"}, InputError),
        ({"quotes": "nowhere.csv"}, InputError),
        ({"moisture": "12"}, UnitError),
        ({"moisture": "0.5 %"}, InputError),
        ({"crop": "barley"}, InputError),
        ({"bushels": "-4"}, InputError),
        ({"colour": "red"}, InputError),
    ],
)
def test_bad_input_is_one_clear_line(bad, error):
    with pytest.raises(error) as caught:
        asked(**bad)
    assert "\n" not in str(caught.value) and next(iter(bad)) in str(caught.value)


def test_the_options_are_those_of_ever_and_counted_from_selling_today():
    got = asked(quotes=RISING, **SOUND)
    held = [f"hold-{m}" for m in range(1, MONTHS_AHEAD + 1)]
    assert [o["key"] for o in got["options"]] == ["sell-now", *held, "thirds", "lock"]
    assert got["baseline"] == "sell-now" and len(got["options"]) == QUESTION.options_count
    assert {got["options"][0][k] for k in ("expected", "low", "high")} == {0.0}


def test_the_riskless_way_is_shown_beside_holding():
    calm = asked(quotes=RISING, aversion="0", **SOUND)
    averse = asked(quotes=RISING, aversion="3", worth="200000 USD", **SOUND)
    assert any(line.startswith("Locking in month 6 nets $0.38/bu") for line in calm["because"])
    assert calm["verdict"] == "wait" and averse["verdict"] == "act" and "Lock in" in averse["headline"]


def test_the_page_s_example_runs_from_the_command_line(tmp_path, monkeypatch):
    import json
    import shlex
    from pathlib import Path

    from click.testing import CliRunner

    from sideoats.cli import group

    page = (Path(__file__).parents[2] / "docs" / "grain.md").read_text(encoding="utf-8")
    line = next(row for row in page.splitlines() if row.startswith("sideoats ask bin-hold"))
    monkeypatch.chdir(tmp_path)
    Path("bids.csv").write_text("date,price\n2026-12-14,5.95\n2027-03-14,6.40\n", encoding="utf-8")
    done = CliRunner().invoke(group, [*shlex.split(line)[1:], "--on", "2026-09-14"])
    assert done.exit_code == 0, done.output
    assert round(json.loads(done.output)["quantities"]["break_even_month_3"]["value"], 4) == 5.76


@pytest.mark.parametrize(
    ("state", "english", "spanish"),
    [
        (
            {"quotes": RISING, "aversion": "0", **SOUND},
            "Holding 6 months is worth $0.38/bu",
            "Guardarlo 6 meses deja en promedio $0.38/bu",
        ),
        (SOUND, "Sell at $5.50/bu by Thu 17 Sep", "Venda a $5.50/bu a más tardar el jue 17 sep"),
        ({"heating": "yes", "temperature": "95 degF"}, "Move it by Wed 16 Sep", "se está calentando a 35 °C"),
        ({"quotes": "2026-11-14 6.20", **SOUND}, "Ask whether $6.20/bu", "Pregunte si $6.20/bu"),
        ({}, "Check the bin by Mon 21 Sep", "Revise en el silo la temperatura del grano y la humedad del grano"),
    ],
)
def test_the_same_phone_in_in_two_languages(state, english, spanish):
    call = call_for("bin-hold", {**BASE, **state}, on=ON)
    other = told(call, Reader("es", METRIC))
    assert english in call.headline and spanish in other.headline
    assert (other.verdict, other.act_by, other.look_by) == (call.verdict, call.act_by, call.look_by)
    for one, same in zip((*call.because, *call.cautions), (*other.because, *other.cautions), strict=True):
        assert one != same  # nothing is left in English
    assert not {o.label for o in call.options} & {o.label for o in other.options}


def test_aversion_is_relative_and_turns_holding_into_locking():
    state = {**BASE, "quotes": "2026-12-14 5.95; 2027-03-14 6.40", **SOUND}
    calls = {a: call_for("bin-hold", state, on=ON, risk_aversion=a) for a in (None, 0.0, 2.0, 4.0)}
    assert [calls[a].verdict for a in (0.0, 2.0, 4.0)] == ["wait", "act", "act"]
    assert "Lock in" in calls[4.0].headline and calls[2.0].headline == calls[None].headline
    certain = {a: next(o.certainty_equivalent for o in c.options if o.key == "hold-6") for a, c in calls.items()}
    assert certain[0.0] > certain[2.0] > certain[4.0]
    with pytest.raises(InputError, match="2 as usual"):
        call_for("bin-hold", state, on=ON, risk_aversion=50.0)


def test_what_a_week_s_wait_costs_is_a_week_s_carry():
    row = read_all(QUESTION.inputs, {**BASE, **SOUND})
    call = QUESTION.ask(table_of(QUESTION, [row]), Context(ON, load(), make_outlook(ON, draws=50))).call(0)
    # 5 cents a month and 8 % on 5.50 over seven days, on 12,000 bushels
    assert call.cost_of_waiting == pytest.approx(12_000 * (0.05 + 5.50 * 0.08 / 12) * 7 / (365 / 12), rel=1e-6)
