"""Pictures: the title says the finding, the table holds the numbers, the drawing is well-formed and plain."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from defusedxml import ElementTree

from sideoats.cattle import pictures as cattle
from sideoats.errors import InputError
from sideoats.outlook import seasonal

S13 = {
    "start_weight": 500, "start_price": 250, "end_weight": 750, "end_price": 215, "days": 150, "other_cost": 54,
    "interest_rate": 0.08, "death_share": 0.015,
}  # fmt: skip


def _sound(picture):
    root = ElementTree.fromstring(picture.svg)
    named = {e.tag.split("}")[-1]: e.text for e in root[:2]}
    assert named == {"title": picture.title, "desc": picture.summary}
    assert root.get("role") == "img"
    assert set(root.get("aria-labelledby").split()) == {e.get("id") for e in root[:2]}
    inks = {e.get(name) for e in root.iter() for name in ("fill", "stroke")} - {None}
    assert all(ink in ("currentColor", "none") or ink.startswith("url(#p") for ink in inks)
    assert not any(e.get("style") for e in root.iter())
    ids = {e.get("id") for e in root.iter()} - {None}
    assert all(ink[5:-1] in ids for ink in inks if ink.startswith("url("))
    assert all(len(row) == len(picture.columns) for row in picture.rows) and picture.rows
    page = ElementTree.fromstring(picture.html().replace("<details>", "<details open='open'>"))
    assert page.find("figcaption/b").text == picture.title
    return root


def _dollars(text):
    return float(text.partition("/")[0].replace("$", "").replace(",", ""))


def test_break_even_grid_hatches_what_loses():
    picture = cattle.break_even_grid([-20, -10, 0, 10, 20], [0.65, 0.75, 0.85, 0.95, 1.05], **S13)
    root = _sound(picture)
    assert picture.title == "Holding breaks even at $211.31/cwt, $3.69/cwt under the price taken"  # S13: 211.3149
    assert [row[0] for row in picture.rows] == [
        "$195.00/cwt", "$205.00/cwt", "$215.00/cwt (taken)", "$225.00/cwt", "$235.00/cwt",
    ]  # fmt: skip
    assert "dollars a head over selling today" in picture.summary
    assert "204.44" in picture.summary and picture.rows[2][3] == "$27/head"
    hatched = [e for e in root.iter() if (e.get("fill") or "").startswith("url(")]
    assert len(hatched) == 10


@pytest.mark.parametrize(("cost", "end"), [(212.5, 215.0), (212.5, 300.0), (700.0, 215.0), (5.0, 90.0), (9e4, 30.0)])
def test_the_grid_reaches_past_its_break_even(cost, end):
    """A grid whose cells all gain, or all lose, shows no break-even; a price below nothing is not drawn either."""
    rows = {name: np.array([value]) for name, value in S13.items() if name != "end_price"}
    picture = cattle.break_even_about(0, what="It", end_price=np.array([end]), running_cost=np.array([cost]), **rows)
    prices = [_dollars(row[0].split(" ")[0]) for row in picture.rows]
    assert min(prices) > 0
    middle = [row[3].startswith("-") for row in picture.rows]
    even = _dollars(picture.title.split(" at ")[1].split(" ")[0].rstrip(","))
    assert (True in middle and False in middle) == (min(prices) < even < max(prices))
    assert min(prices) < even < max(prices) or abs(even / end - 1) > 0.4


def test_develop_or_buy_finds_the_price_at_which_both_cost_the_same():
    """Constructed: own heifers cost 1,200 and their development; 700 of it makes buying as dear at 1,900."""
    picture = cattle.develop_or_buy(2500.0, 700.0, lambda price, cost: price - 1200 - cost)
    _sound(picture)
    assert "when a bred heifer is $1,900/head, $600/head under today's price" in picture.title
    assert picture.rows[2][0] == "$2,500/head (today)"
    assert picture.rows[2][3] == "$600/head" and picture.rows[2][1] == "$740/head"
    assert cattle.develop_or_buy(2500.0, 0.0, lambda price, cost: price - cost) is None


def test_weight_to_fair_ends_at_the_weight_of_the_day():
    picture = cattle.weight_to_fair(100, 900.0, [2.0, 3.0, 4.0], (1250, 1350), fair=date(2027, 3, 10))
    _sound(picture)
    assert picture.title == "At its gain now it is about 1,200 lb on Wed 10 Mar; 1,250 lb to 1,350 lb is wanted"
    assert picture.rows[0][1] == "900" and picture.rows[-1][1:4] == ("1,200", "1,120", "1,280")
    one = cattle.weight_to_fair(10, 250.0, [2.0], (270, 270), fair=date(2027, 3, 10))
    assert ">wanted<" in one.svg and "270 lb is wanted" in one.title


def test_payoff_fan_names_the_best_day_and_the_risk():
    days = np.array([0.0, 30, 60, 90])
    draws = np.random.default_rng(3).normal(0, 1, (400, 1))
    picture = cattle.payoff_fan(days, 25 * draws * days / 30 + 0.5 * days, what="Feeding the cull cows")
    _sound(picture)
    assert picture.title.startswith("Feeding the cull cows pays most at 90 days")
    assert any("worst tenth" in column for column in picture.columns)
    losing = cattle.payoff_fan(days, np.zeros((5, 1)) - days, what="Feeding")
    assert losing.title.startswith("Feeding pays at no day")
    with pytest.raises(InputError, match="not known"):
        cattle.payoff_fan(days, np.full((3, 4), np.nan), what="x")


def test_seasonal_band_gives_years_and_method():
    monthly = np.tile(100 + 10 * np.cos(2 * np.pi * np.arange(12) / 12), 6)
    picture = cattle.seasonal_band(seasonal.seasonal_index(2015, monthly), what="Cull cows")
    _sound(picture)
    assert picture.title.startswith("Cull cows: Jan stands")
    assert "2015 to 2020" in picture.summary and "not a forecast" in picture.summary
    assert [row[0] for row in picture.rows[:3]] == ["Jan", "Feb", "Mar"] and len(picture.rows) == 12
