"""Nitrate: printed conversions, printed classes, printed dilution, beside their sources."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.forage import dilution, nitrate
from sideoats.forage.nitrate_tables import tables


@pytest.mark.parametrize(
    ("given", "form", "wanted", "printed", "places"),
    [
        # University of Nebraska (Anderson): NO3-N x 4.43 = NO3, NO3 x 0.226 = NO3-N
        (1.0, "NO3-N", "NO3", 4.43, 2),
        (1.0, "NO3", "NO3-N", 0.226, 3),
        # South Dakota State, ExEx2034 (Patterson 2002): nitrate is 22.6 % nitrogen
        (100.0, "NO3", "NO3-N", 22.6, 1),
        # KNO3 -> NO3-N, the factor 0.139 of most laboratory sheets (from memory)
        (1.0, "KNO3", "NO3-N", 0.139, 3),
    ],
)
def test_printed_ion_factors(given: float, form: str, wanted: str, printed: float, places: int) -> None:
    assert round(given * nitrate.ion_factor(form, wanted), places) == printed


def test_wyoming_pairs_of_kno3_and_no3_agree_to_two_percent() -> None:
    # Wyoming Livestock Roundup 2013: 6,000 ppm NO3 = 1 % KNO3; 9,000 = 1.5 %
    for ppm, percent in ((6000.0, 1.0), (9000.0, 1.5)):
        assert ppm * nitrate.ion_factor("NO3", "KNO3") / 10_000 == pytest.approx(percent, rel=0.025)


def test_nebraska_prints_the_same_concern_in_both_ions() -> None:
    # University of Nebraska: 9,000 to 10,000 ppm NO3, or 2,000 to 2,300 ppm NO3-N
    low, high = 9000 * nitrate.ion_factor("NO3", "NO3-N"), 10_000 * nitrate.ion_factor("NO3", "NO3-N")
    assert round(low, -2) == 2000 and round(high, -2) == 2300


def test_south_dakota_prints_water_in_both_ions() -> None:
    # SDSU (Harty): 100 ppm NO3-N = 440 ppm NO3; 300 = 1,300; printed rounded down to two figures
    assert int(100 * nitrate.ion_factor("NO3-N", "NO3") / 10) * 10 == 440
    assert int(300 * nitrate.ion_factor("NO3-N", "NO3") / 100) * 100 == 1300


def test_three_thousand_ppm_is_over_or_under_a_third_of_the_nebraska_line() -> None:
    # University of Nebraska, November 2016: 3,000 ppm NO3-N is over the line; 3,000 ppm NO3 is under a third of it
    followed, every = tables(load(), "nebraska")
    line = every["nebraska"].bounds_nitrogen[1]
    assert followed.publisher == "nebraska"
    assert nitrate.nitrate_nitrogen_dry(3000.0, form="NO3-N", basis="dry") > line
    assert nitrate.nitrate_nitrogen_dry(3000.0, form="NO3", basis="dry") < line / 3


def test_kno3_as_fed_by_hand() -> None:
    # by hand from IUPAC weights: 9,000 ppm KNO3 as fed * 14.007 / 101.102 / 0.88 = 1,417 ppm NO3-N of dry matter
    level = nitrate.nitrate_nitrogen_dry(9000.0, form="KNO3", basis="as-fed", moisture=0.12)
    assert round(float(level)) == 1417


CLEMSON = [  # printed classes, ppm NO3-N dry: lower bound, share not pregnant, share pregnant (35 to 40 % kept at 35)
    (0, 1.0, 1.0), (1000, 1.0, 0.5), (1500, 0.5, 0.5), (2000, 0.35, 0.0), (3500, 0.25, 0.0), (4000, 0.0, 0.0),
]  # fmt: skip


def test_clemson_rows_as_printed() -> None:
    table = tables(load())[1]["clemson"]
    for at, (bound, share, pregnant) in enumerate(CLEMSON):
        for level in (bound + 1.0, CLEMSON[at + 1][0] if at + 1 < len(CLEMSON) else 9000.0):  # "1,000 to 1,500"
            assert table.largest_share([level], False)[0][0] == share
            assert table.largest_share([level], True)[0][0] == pregnant


@pytest.mark.parametrize(
    ("publisher", "result", "form", "label"),
    [
        # Manitoba Agriculture, % NO3 dry: 0-0.3, 0.3-0.6, 0.6-0.9, over 0.9
        ("manitoba", 2900.0, "NO3", "virtually safe"),
        ("manitoba", 5900.0, "NO3", "moderately safe"),
        ("manitoba", 8900.0, "NO3", "potentially toxic"),
        ("manitoba", 9100.0, "NO3", "dangerous"),
        # South Dakota State (Harty), % NO3-N dry: 0-0.15, 0.15-0.45
        ("south_dakota", 1400.0, "NO3-N", "safe"),
        ("south_dakota", 1600.0, "NO3-N", "caution"),
        # University of Nebraska: over 2,100 ppm NO3-N a toxic concern
        ("nebraska", 2000.0, "NO3-N", "below the level of concern"),
        ("nebraska", 2200.0, "NO3-N", "toxic concern"),
        # Dairyland Laboratories: under 1,000; 1,000-2,000; 2,000-4,000; over 4,000
        ("dairyland", 999.0, "NO3-N", "safe"),
        ("dairyland", 1500.0, "NO3-N", "generally safe"),
        ("dairyland", 4100.0, "NO3-N", "potentially toxic"),
        # ServiTech, Crop File 6.05.022: 700, 1,400, 2,100, 2,800, 3,500
        ("servitech", 650.0, "NO3-N", "very low"),
        ("servitech", 3600.0, "NO3-N", "extreme"),
        # American Agricultural Laboratory: 0-1,500; 1,500-2,100; over 2,100
        ("american_ag_lab", 1600.0, "NO3-N", "moderate"),
        # Wyoming: up to 6,000 ppm NO3 generally safe; 6,000-9,000 caution
        ("wyoming", 5900.0, "NO3", "generally safe"),
        ("wyoming", 6100.0, "NO3", "caution"),
    ],
)
def test_classes_as_printed(publisher: str, result: float, form: str, label: str) -> None:
    table = tables(load())[1][publisher]
    level = nitrate.nitrate_nitrogen_dry(result, form=form, basis="dry")
    assert table.labels[int(table.classify(level))] == label


def test_riley_county_trial_converts_as_derived() -> None:
    # Kansas State (agronomy), forage sorghum: NO3 51, 296, 1,620, 8,600, 10,600 ppm; by 0.226: 12, 67, 366, 1,943,
    # 2,395
    fact = load()["forage/nitrogen_rate_trial"]
    level = nitrate.nitrate_nitrogen_dry(np.array(fact.column("nitrate"), float), form="NO3", basis="dry")
    assert np.round(level).tolist() == [12, 67, 366, 1943, 2395]


def test_dilution_formula_of_american_ag_lab() -> None:
    # American Agricultural Laboratory (Nebraska): a = (b + c x) / (1 + x), target a = 1,500 ppm NO3-N. With hot
    # 4,000 and
    # low 300, solved by hand: x = 2,500 / 1,200 = 2.083 parts low to one hot, 32.43 % hot
    parts = float(dilution.parts_low_per_part_hot(4000.0, 300.0, 1500.0))
    assert round(parts, 3) == 2.083
    assert (4000.0 + 300.0 * parts) / (1 + parts) == pytest.approx(1500.0)
    assert round(100 * float(dilution.hot_share(4000.0, 300.0, 1500.0)), 2) == 32.43


def test_dairyland_grams_hold_only_under_the_bound() -> None:
    # Dairyland: a cow on 20 lb of dry matter under 1,000 ppm takes "about 8 grams of NO3-N". At the bound it is 9.07
    # g by
    # hand (20 x 0.45359237 x 1,000 / 1,000), so the printed figure fits 882 ppm, not 1,000
    grams, _ = nitrate.feed_plus_water(np.array([1000.0, 882.0]), 20 * 0.45359237, 0.0, 0.0)
    assert np.round(grams, 2).tolist() == [9.07, 8.0]


def test_every_table_says_how_it_is_known() -> None:
    every = tables(load())[1]
    by_memory = {name for name, table in every.items() if table.provenance == "memory"}
    assert by_memory == {"montana"}
    assert every["trade"].provenance == "practice"
