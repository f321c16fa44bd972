"""Printed tables of injury levels and returns, cell by cell, through the questions that use them."""

from __future__ import annotations

from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.facts import load
from sideoats.insects.growth import development_line
from sideoats.insects.injury import economic_injury_level, gain_threshold
from sideoats.insects.questions.wheat_fall_armyworm import per_foot
from sideoats.insects.row_larvae import stand_lost
from sideoats.insects.thresholds import saved_by_scaled_table
from sideoats.outlook import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all
from sideoats.weather.degree_days import degree_days

ON = date(2026, 9, 14)


def quantities(name: str, rows: list[dict[str, str]], wanted: str) -> np.ndarray:
    """One quantity of a question, asked for many rows at once."""
    question, facts = find(name), load()
    table = table_of(question, [read_all(question.inputs, row) for row in rows])
    answers = question.ask(table, Context(ON, facts, make_outlook(ON, facts=facts, draws=40)))
    return np.asarray(answers.quantities[wanted][0], float)


# Teetes & Pendleton, Texas A&M Univ., Table 5, 1999: adult midges per flowering panicle; rows are control cost, columns
# crop value (250 to 750 by 50), both in USD/ha; susceptible hybrids
MIDGE = {
    15: (2.4, 2.0, 1.8, 1.5, 1.3, 1.2, 1.1, 1.0, 0.9, 0.9, 0.8),
    20: (3.0, 2.6, 2.3, 2.0, 1.8, 1.6, 1.5, 1.3, 1.2, 1.1, 1.0),
    25: (3.7, 3.4, 2.9, 2.6, 2.3, 2.0, 1.8, 1.6, 1.5, 1.3, 1.2),
    30: (4.5, 4.1, 3.6, 3.2, 2.8, 2.5, 2.2, 1.9, 1.7, 1.5, 1.4),
}


def midge(resistant: str) -> np.ndarray:
    rows = [
        {"per_head": "1", "crop_value": f"{value} USD/ha", "cost": f"{cost} USD/ha", "resistant": resistant}
        for cost in MIDGE
        for value in range(250, 751, 50)
    ]
    return quantities("sorghum-midge", rows, "injury_level_published").reshape(4, 11)


def test_midge_table_within_three_tenths() -> None:
    printed = np.array(list(MIDGE.values()))
    assert np.abs(midge("no") - printed).max() <= 0.3 + 1e-9  # the print is smoothed, not exactly proportional


def test_resistant_hybrids_bear_five_times_as_many_midges() -> None:
    # The resistant half of the same table prints five times the susceptible figure in every cell
    np.testing.assert_allclose(midge("yes"), 5 * midge("no"))


def test_midge_and_headworm_formulas_of_knutson_and_cronholm() -> None:
    # Southwest. Entomol. 32(2):75-85, 2007: M = 33256 C/(V F) and L = 9754 C/(V P), V in USD/cwt; medium larvae L/0.19.
    # C 10, V 7, F 30 000 -> 1.584; P 60 000 -> 0.232 and 1.222
    facts = load()
    per_midge = facts.value("insects/sorghum_midge.loss.knutson") / 100
    per_larva = facts.value("insects/sorghum_headworm.loss.per_larva") / 100
    assert float(economic_injury_level(10, 7, per_midge * 30_000)) == pytest.approx(33256 * 10 / (7 * 30_000), abs=1e-3)
    large = float(economic_injury_level(10, 7, per_larva * 60_000))
    assert large == pytest.approx(0.232, abs=1e-3)
    assert large / facts.value("insects/sorghum_headworm.medium_survival") == pytest.approx(1.222, abs=2e-3)


def weevil_cells() -> list[tuple[str, float, int, float]]:
    """The printed table: stem height, hay price USD/ton, treatment USD/ac, larvae per stem."""
    fact = load()["insects/alfalfa_weevil.table"]
    return [
        (str(row[0]), float(row[1]), int(column[1:]), float(row[at]))
        for row in fact.rows
        for at, column in enumerate(fact.columns)
        if column.startswith("c")
    ]


def test_weevil_table_all_108_cells() -> None:
    # Republished at m.farms.com/news/scouting-for-insects-in-alfalfa-146869.aspx; larvae per stem that pay a treatment
    cells = weevil_cells()
    assert len(cells) == 108
    height = {"10-15 in": "12 in", "16-20 in": "18 in", "over 20 in": "24 in"}
    rows = [
        {"mean": "1", "height": height[h], "price": f"{price} USD/ton", "cost": f"{cost} USD/ac"}
        for h, price, cost, _ in cells
    ]
    found = quantities("alfalfa-weevil", rows, "injury_level_published")
    printed = np.array([cell[3] for cell in cells])
    assert np.abs(found - printed).max() <= 0.055
    assert (np.abs(np.round(found, 1) - printed) < 0.05).sum() >= 105


def test_weevil_money_breaks_even_at_the_printed_density() -> None:
    facts = load()
    coefficient, least = facts.value("insects/alfalfa_weevil.coefficient"), facts["insects/alfalfa_weevil.domain"].low
    offset = {str(r[0]): float(r[3]) for r in facts["insects/alfalfa_weevil.offset"].rows}
    for height, price, cost, printed in weevil_cells():
        saved = float(saved_by_scaled_table(printed, price, coefficient, offset[height], least))
        assert saved == pytest.approx(cost, abs=0.055 * price / coefficient + 1e-9)


def test_another_states_thirty_stem_table_comes_near() -> None:
    # Iowa State Univ., Understanding the updated threshold table for alfalfa weevil: hay 260 USD/ton, treatment 14
    # USD/ac, stems of 20 in -> 40 larvae on 30 stems. (Its other point lies outside what the 108 cells cover.)
    row = {"mean": "1", "height": "20 in", "price": "260 USD/ton", "cost": "14 USD/ac"}
    assert 30 * quantities("alfalfa-weevil", [row], "injury_level_published")[0] == pytest.approx(40, abs=1)


# North Dakota State Univ., Crop & Pest Report 5, 7 Jun 2007: profit = Y x 0.15 x P - 16 for 4.00, 4.50 and 5.00 USD/bu
FUNGICIDE = {
    30: ("2.00", "4.25", "6.50"), 35: ("5.00", "7.63", "10.25"), 40: ("8.00", "11.00", "14.00"),
    45: ("11.00", "14.38", "17.75"), 50: ("14.00", "17.75", "21.50"), 60: ("20.00", "24.50", "29.00"),
    70: ("26.00", "31.25", "36.50"),
}  # fmt: skip


def test_fungicide_returns_to_the_cent() -> None:
    # North Dakota State Univ. Crop & Pest Report 5, 7 Jun 2007 (Wegulo): profit = Y x 0.15 x P - 16
    common: dict[str, Any] = {"stage": "heading", "response": "15%", "chance": "100%", "cost": "16 USD/ac"}
    rows = [
        common | {"yield": f"{bushels} bu/ac", "price": f"{price} USD/bu"}
        for bushels in FUNGICIDE
        for price in ("4.00", "4.50", "5.00")
    ]
    found = quantities("wheat-fungicide", rows, "return_if_it_responds")
    cents = [Decimal(f"{v:.9f}").quantize(Decimal("0.01"), ROUND_HALF_UP) for v in found]
    assert cents == [Decimal(cell) for row in FUNGICIDE.values() for cell in row]


@pytest.mark.parametrize(
    ("cost", "price", "printed", "tolerance"),
    [
        (13, 13, 1, 1e-12),  # Univ. of Illinois 2011: 1 to 9 bu/ac for prices of 3 to 13 and costs of 13 to 27
        (27, 3, 9, 1e-12),
        (16, 2.30, 7, 0.05),  # Univ. of Illinois, 30 Apr 1999: 16 to 26 USD/ac at 2.30 USD/bu is "7 to 11" bu/ac
        (26, 2.30, 11, 0.31),
    ],
)
def test_fungicide_break_even_bushels(cost: float, price: float, printed: float, tolerance: float) -> None:
    assert float(gain_threshold(cost, price)) == pytest.approx(printed, abs=tolerance)
    row = {"stage": "boot", "cost": f"{cost} USD/ac", "price": f"{price} USD/bu", "yield": "60 bu/ac"}
    assert quantities("wheat-fungicide", [row], "break_even_yield")[0] == pytest.approx(printed, abs=tolerance)


def test_corn_earworm_sums_in_both_units() -> None:
    # Hartstack et al., USDA-ARS S-127, 1976, as listed by Univ. of California IPM: degC (degF) days of
    # eggs 40.5 (72.9), small larvae 81.7 (147.1), large larvae 120.6 (217.1)
    fact = load()["insects/moth_flight.corn_earworm"]
    steps = np.diff([0.0, *(float(row[1]) for row in fact.rows)])
    np.testing.assert_allclose(steps, [40.5, 81.7, 120.6], atol=1e-9)
    np.testing.assert_allclose(1.8 * steps, [72.9, 147.1, 217.1], atol=0.06)
    limits = load()["insects/moth_flight.corn_earworm_limits"]
    np.testing.assert_allclose([1.8 * limits.low + 32, 1.8 * limits.high + 32], [54.7, 91.9], atol=0.1)
    # at a steady 25 degC: egg 3.27 d, 14.90 d less 5.05 d before laying to the end of the small larvae
    daily = float(degree_days(25.0, 25.0, limits.low, limits.high, cutoff="intermediate"))
    assert 40.5 / daily == pytest.approx(3.27, abs=0.01)
    assert float(fact.rows[1][1]) / daily == pytest.approx(14.90 - 5.05, abs=0.01)


def test_moths_lay_within_days_of_the_catch() -> None:
    laying = {row[0]: row[1:] for row in load()["insects/moth_flight.laying"].rows}
    assert tuple(laying["corn earworm"]) == (1, 2)  # Beltwide abstract 2397: catches peak 24 to 48 hours before eggs
    # Egypt, eajbsa.journals.ekb.eg/article_120603.html: 4.8 days before laying at 20 degC, 2.1 at 30 degC
    lower, needed = development_line([20, 30], [4.8, 2.1])
    assert 12 < lower < 13  # Du Plessis et al. 2020 print 12.57 for egg to adult
    assert laying["fall armyworm"][1] == pytest.approx(needed / (25 - lower), abs=0.1)  # of the youngest, at 25 degC


def test_black_cutworms_cut_after_300_degree_days() -> None:
    # Illinois Bulletin 21 Apr 2000: first cutting 300 degF days over 50 degF after a heavy catch
    fact = load()["insects/moth_flight.black_cutworm"]
    assert 1.8 * float(fact.rows[0][1]) == pytest.approx(300, abs=0.1)


def test_plants_and_larvae_per_foot_of_row() -> None:
    # Texas A&M Univ.: 35 000 plants/ac in 40-inch rows are 2.68 a row-foot
    assert per_foot("35000 /acre", 40) == pytest.approx(2.68, abs=0.005)
    # Kansas State Univ. prints 2 to 3 larvae per foot of row; in 7.5-inch rows that is 3.2 to 4.8 per square foot
    np.testing.assert_allclose([per_foot("3.2 /ft2", 7.5), per_foot("4.8 /ft2", 7.5)], [2, 3], atol=1e-12)


def test_leaf_that_fall_armyworm_wants_of_a_seedling_stand() -> None:
    """2.5 small larvae of 94.56 cm2 on 18 plants a foot: all of two-leaf wheat (12 cm2), none of tillered (60 cm2)."""
    wanted = 2.5 * 94.56
    assert wanted / (18 * 12) == pytest.approx(1.09, abs=0.005)
    assert stand_lost(wanted, [18 * 12.0, 18 * 60.0], 0.3, 1.0) == pytest.approx([1.0, 0.0])
    assert stand_lost(3 * 94.56 * 0.73, 18 * 12.0, 0.3, 1.0) == pytest.approx(0.94, abs=0.01)
