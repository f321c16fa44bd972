"""Prussic acid, tetany, sulfur, beetles, ergot, cold: printed figures beside their sources."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.facts import load
from sideoats.forage import minerals, nitrate, prussic
from sideoats.weather.livestock import cold_feed_energy


def test_ward_ladder_is_on_the_wet_basis() -> None:
    # Ward Laboratories (Nebraska): under 200 wet should not poison, 200-600 potentially toxic, over 600 very toxic
    ladder = prussic.Ladder.of(load()["forage/prussic_class.ward_wet"])
    assert ladder.basis == "wet"
    assert ladder.classify([199.0, 200.0, 599.0, 600.0]).tolist() == [0, 1, 1, 2]
    # by hand at 25 % dry matter: 200 wet = 800 dry, 600 wet = 2,400 dry
    dry = prussic.convert_basis(np.array([200.0, 600.0]), 0.25, given="wet", wanted="dry")
    assert dry.tolist() == [800.0, 2400.0]


def test_presets_are_the_longest_and_the_usual_of_the_rules_on_file() -> None:
    facts = load()
    cautious = prussic.Preset.of(facts["forage/prussic.preset.cautious"])
    # Kansas State, Michigan State: up to 24 in; Manitoba: regrowth of sorghum-sudan 24 to 30 in; waits up to 14 days
    # (Tennessee, Ag Proud). The 30 in of Ag Proud 35189 is the height at the frost, and no height before grazing.
    heights, waits = facts["forage/prussic.heights"], facts["forage/prussic.frost_waits"]
    for growth, height in (("any", cautious.height), ("regrowth", cautious.new_shoot_height)):
        of_group = [row[2:] for row in heights.rows if row[1] == growth]
        assert height == dict(zip(("sudan", "sorghum"), np.nanmax(np.array(of_group, float), axis=0), strict=True))
    assert cautious.height == {"sudan": 24.0, "sorghum": 24.0} and cautious.new_shoot_height["sorghum"] == 30.0
    assert set(cautious.frost_wait.values()) == {max(waits.column("killing_high"))}
    # Nebraska 2022 and Texas 2021: 7 days
    assert prussic.Preset.of(facts["forage/prussic.preset.usual"]).frost_wait == {"sudan": 7.0, "sorghum": 7.0}


def test_tetany_ratio_by_hand_against_the_printed_line() -> None:
    # line 2.2 (MFA / Missouri, Today's Farmer 576); by hand: K 3.0, Ca 0.35, Mg 0.15 %: 767.3 / (174.7 + 123.4) = 2.57;
    # K 2.5, Ca 0.4, Mg 0.2: 1.76
    ratio = minerals.tetany_ratio(np.array([3.0, 2.5]), np.array([0.35, 0.4]), np.array([0.15, 0.2]))
    assert np.round(ratio, 2).tolist() == [2.57, 1.76]
    line = load().value("forage/tetany.ratio")
    assert minerals.over_level(ratio, line).tolist() == [True, False]


def test_magnesium_minerals_as_printed() -> None:
    # Nebraska veterinarian: 7 to 14 % minerals supply 10 to 25 g; Texas: at least 5 % at 4 oz: by hand 5.7 g, short
    # of 20
    grams = minerals.magnesium_supplied(4.0, np.array([5.0, 10.0, 14.0]))
    assert np.round(grams, 1).tolist() == [5.7, 11.3, 15.9]


def test_sulfate_is_a_third_sulfur() -> None:
    # extension rule: divide sulfate by 3
    assert pytest.approx(1 / 3, abs=0.001) == nitrate.SULFUR_PART_OF_SULFATE
    # by hand: 1,000 ppm SO4, 12 gal, 24 lb of dry matter: 0.139 % S
    added = minerals.sulfur_from_water(1000.0, 12 * nitrate.LITRES_OF_GALLON, 24 * 0.45359237)
    assert round(float(added), 3) == 0.139


def test_blister_beetles_as_printed() -> None:
    # South Dakota State: a 375-kg horse at 0.49 mg/kg, 11.13 mg a beetle: 17 beetles
    assert float(minerals.beetles_to_reach(375.0, 0.49, 11.13)) == pytest.approx(17, abs=0.6)
    # Texas (Muegge): 1,200 lb, 0.5 mg per POUND, 5.2 mg a beetle: 115
    assert round(float(minerals.beetles_to_reach(1200.0, 0.5, 5.2))) == 115


def test_ergot_as_printed() -> None:
    # Saskatchewan Agriculture: 1,200-lb cow eating 2.1 % (25 lb), bodies 0.1 % of intake: 0.4 oz, about 12 g
    share = load().value("forage/ergot.bodies")
    grams = float(minerals.ergot_bodies_allowed(1200.0, 0.021, share))
    assert grams == pytest.approx(12, abs=0.7) and round(grams / minerals.GRAMS_OF_OUNCE, 1) == 0.4


def test_aflatoxin_levels_as_printed() -> None:
    # Missouri Department of Agriculture: 20 immature and unknown use, 100 breeding cattle, 300 finishing beef cattle
    rows = {r[0]: r[2] for r in load()["forage/aflatoxin"].rows}
    assert (rows["immature"], rows["unknown"], rows["breeding cattle"], rows["finishing cattle"]) == (20, 20, 100, 300)


def test_ndsu_cold_example() -> None:
    # North Dakota State: 12.7 lb TDN, lower critical 18, wind chill 4 degF: 14.48 lb, 1.78 more, 3.2 lb of 56 % TDN hay
    extra = 12.7 * float(cold_feed_energy(4.0, 18.0, load().value("weather/livestock.cold_energy")))
    assert round(12.7 + extra, 2) == 14.48 and round(extra, 2) == 1.78
    assert round(extra / 0.56, 1) == 3.2


def test_sdsu_hay_for_cold_as_printed() -> None:
    # South Dakota State, 1,400-lb cow, base 15.5 lb TDN; 16.3, 17.0, 17.8 lb at 15, 0, -15 degF; extra hay at 54 % TDN:
    # 1.5, 2.8, 4.3 lb. (Its TDN column does not follow its own rule of 1 % a degree, so only the hay is checked.)
    extra = np.array([16.3, 17.0, 17.8]) - 15.5
    assert np.round(extra / 0.54, 1).tolist() == [1.5, 2.8, 4.3]
