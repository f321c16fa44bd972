"""The five constructed rations, the needs of animals, and the feed table's bars."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.cattle import nutrition_needs as needs_of
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.nutrition_coefficients import Coefficients
from sideoats.cattle.nutrition_energy import KG_OF_LB
from sideoats.cattle.nutrition_feeds import read_feed, screen
from sideoats.cattle.ration import Feeds, Needs, price_of_dry_matter, solve
from sideoats.errors import InputError
from sideoats.facts import load

NRC = Coefficients.read(load())

# Constructed (invented feeds and floors), solved beforehand outside this program with HiGHS: dry pregnant cow, 24.0 lb
# dry matter, TDN >= 13.0, protein >= 2.0, Ca >= 0.060, P >= 0.0456 lb a day
FEEDS = Feeds.of(
    price_of_dry_matter([90, 110, 200, 190, 260, 150], [0.88, 0.90, 0.89, 0.88, 0.90, 0.99]),
    tdn=[0.56, 0.50, 0.60, 0.82, 0.88, 0], protein=[0.095, 0.055, 0.18, 0.11, 0.30, 0],
    calcium=np.array([0.45, 0.35, 1.4, 0.04, 0.10, 34]) / 100, phosphorus=np.array([0.22, 0.10, 0.24, 0.32, 0.85,
    0.02]) / 100,
    nitrate=[3000.0, 150, 400, 20, 20, 0],
)  # fmt: skip
CASES = [  # ceiling ppm, sudan, prairie, distillers lb, USD/head/day, nitrate, TDN, protein, P
    (np.inf, 24.0, 0.0, 0.0, 1.2273, 3000, 13.440, 2.280, 0.0528),
    (2100, 16.4325, 7.3167, 0.2508, 1.3237, 2100, 13.081, 2.039, 0.0456),
    (1500, 11.4165, 11.5302, 1.0534, 1.4406, 1500, 13.085, 2.035, 0.0456),
    (1000, 7.2364, 15.0414, 1.7222, 1.5380, 1000, 13.089, 2.031, 0.0456),
    (700, 4.7284, 17.1481, 2.1234, 1.5965, 700, 13.091, 2.029, 0.0456),
]


def _five() -> Needs:
    ceilings = np.array([case[0] for case in CASES])
    return Needs.of(
        np.full(5, 24.0), tdn=13.0, protein=2.0, calcium=0.060, phosphorus=0.0456, nitrate=ceilings, calcium_least=1,
        calcium_most=7,
    )  # fmt: skip


def test_five_constructed_cases_solve_to_the_same_optimum() -> None:
    found = solve(FEEDS, _five())
    assert found.feasible.all()
    for at, (_, sudan, prairie, distillers, cost, nitrate, tdn, protein, phosphorus) in enumerate(CASES):
        assert found.pounds[at] == pytest.approx([sudan, prairie, 0, 0, distillers, 0], abs=6e-5)
        assert found.cost[at] == pytest.approx(cost, abs=6e-5)
        assert found.level["nitrate"][at] == pytest.approx(nitrate, abs=0.01)
        assert found.level["tdn"][at] == pytest.approx(tdn, abs=6e-4)
        assert found.level["protein"][at] == pytest.approx(protein, abs=6e-4)
        assert found.level["phosphorus"][at] == pytest.approx(phosphorus, abs=6e-5)


def test_shadow_prices_of_the_constructed_cases() -> None:
    found = solve(FEEDS, _five())
    assert found.shadow["phosphorus"].tolist() == pytest.approx([0, 10.970, 10.970, 10.970, 10.970], abs=5e-4)
    assert found.shadow["nitrate"].tolist() == pytest.approx([0, 0.0195, 0.0195, 0.0195, 0.0195], abs=5e-5)
    assert (found.shadow["protein"] == 0).all()
    # the shadow price is what a step really costs: 1,500 -> 1,000 ppm costs five times 100 ppm
    assert found.cost[3] - found.cost[2] == pytest.approx(5 * found.shadow["nitrate"][2], rel=1e-6)


def test_a_phosphorus_mineral_changes_the_constructed_answer() -> None:
    mineral = {"price": 0.30, "phosphorus": 0.18, "calcium": 0.20}
    parts = ("price", "tdn", "protein", "calcium", "phosphorus", "nitrate")
    grown = {k: np.append(getattr(FEEDS, k), mineral.get(k, 0.0)) for k in parts}
    with_mineral, without = solve(Feeds.of(**grown), _five()), solve(FEEDS, _five())
    assert (with_mineral.cost[1:] < without.cost[1:]).all()


def test_energy_and_intake_of_a_growing_steer_close_on_each_other() -> None:
    from sideoats.cattle import nutrition_energy as energy

    floor = needs_of.floors(needs_of.Animal(600 * KG_OF_LB, gain_kg=0.9, growing=True), NRC)
    weight = energy.shrunk_weight(600 * KG_OF_LB, NRC)
    gain = energy.energy_limited_gain(
        floor.intake * KG_OF_LB,
        floor.tdn_percent,
        energy.maintenance_energy(weight, NRC),
        energy.equivalent_weight(weight, 533.0, NRC),
        NRC,
    )
    assert float(gain) == pytest.approx(0.9, rel=1e-3)
    eaten = needs_of.growing_intake(weight, floor.tdn_percent, NRC)
    assert float(floor.intake) * KG_OF_LB == pytest.approx(float(eaten), rel=1e-3)


def test_cold_raises_energy_only() -> None:
    warm = needs_of.floors(needs_of.Animal(1200 * KG_OF_LB, days_pregnant=240), NRC, 24.0)
    cold = needs_of.floors(needs_of.Animal(1200 * KG_OF_LB, days_pregnant=240, cold=0.2), NRC, 24.0)
    assert cold.tdn > warm.tdn
    assert (cold.protein, cold.calcium, cold.phosphorus) == (warm.protein, warm.calcium, warm.phosphorus)


def test_a_gain_that_no_feed_allows_is_not_a_number() -> None:
    floor = needs_of.floors(needs_of.Animal(600 * KG_OF_LB, gain_kg=4.0, growing=True), NRC)
    assert np.isnan(floor.tdn)


def test_needs_rise_toward_calving_and_at_the_peak_of_milk() -> None:
    days = np.array([0.0, 120.0, 200.0, 270.0])
    dry = needs_of.floors(needs_of.Animal(np.full(4, 1200 * KG_OF_LB), days_pregnant=days), NRC, 24.0)
    assert (np.diff(dry.tdn) > 0).all() and (np.diff(dry.protein) > 0).all()
    milking = needs_of.floors(needs_of.Animal(1200 * KG_OF_LB, milk_week=8.5, peak_kg=9.0), NRC, 26.0)
    assert milking.tdn > dry.tdn[0] and milking.calcium > dry.calcium[0]


def test_a_feed_out_of_the_table_needs_its_composition() -> None:
    book = Book.of(load())
    with pytest.raises(InputError, match="dry_matter"):
        read_feed({"name": "mystery cubes"}, book)
    known = {"dry_matter": 0.9, "tdn": 0.6, "protein": 0.1, "calcium": 0.004, "phosphorus": 0.002, "price": 100.0}
    with pytest.raises(InputError, match="sulfur"):  # a hazard that is not known is not zero
        read_feed({"name": "mystery cubes", **known}, book)
    known["sulfur"] = 0.002
    assert read_feed({"name": "mystery cubes", **known}, book).untested
    with pytest.raises(InputError, match="form"):
        read_feed({"name": "prairie hay", "nitrate": 500.0}, book)
    with pytest.raises(InputError, match="moisture"):
        read_feed({"name": "prairie hay", "nitrate": 500.0, "form": "NO3", "basis": "as-fed"}, book)


def test_untested_accumulators_and_contaminated_grain_are_kept_out() -> None:
    facts = load()
    book = Book.of(facts)
    records = [{"name": "sudan hay"}, {"name": "corn", "aflatoxin": 150.0}, {"name": "corn", "aflatoxin": 15.0}]
    feeds = [read_feed(r, book) for r in records]
    s = screen([feeds, feeds], ["pregnant-cow", "finishing"], np.array([True, False]), facts)
    assert s.feeds.most_lb[0].tolist() == [0.0, 0.0, np.inf] and s.feeds.most_lb[1].tolist() == [0.0, np.inf, np.inf]
    assert set(s.out[0]) == {"sudan hay", "corn"} and set(s.out[1]) == {"sudan hay"}
    assert s.aflatoxin.tolist() == [100.0, 300.0]


@pytest.mark.parametrize(
    "name", ["corn stalks", "corn silage", "sorghum stubble", "wheat hay", "oat hay", "sorghum hay"]
)
def test_a_roughage_that_may_be_hot_is_kept_out_until_it_is_tested(name: str) -> None:
    facts = load()
    book = Book.of(facts)
    feed = read_feed({"name": name}, book)
    assert feed.kind == "roughage" and np.isnan(feed.nitrate)
    s = screen([[feed]], ["pregnant-cow"], np.array([True]), facts)
    assert s.feeds.most_lb[0, 0] == 0.0 and name in s.out[0]


@pytest.mark.parametrize("name", ["drought corn", "corn tops", "drought sorghum", "wheat screenings", "corn cobs"])
def test_a_feed_that_no_row_describes_is_never_taken_for_a_clean_one(name: str) -> None:
    book = Book.of(load())
    assert book.find(name) is None
    with pytest.raises(InputError, match="tdn"):
        read_feed({"name": name}, book)


def test_urea_is_kept_out_by_its_nitrogen_and_so_is_a_described_feed_that_holds_it() -> None:
    facts = load()
    book = Book.of(facts)
    blend = {"name": "protein blend", "dry_matter": 0.9, "tdn": 0.75, "protein": 0.8, "calcium": 0.01,
             "phosphorus": 0.01, "sulfur": 0.003, "price": 300.0, "nitrate": 0.0, "form": "NO3",
             "basis": "dry"}  # fmt: skip
    feeds = [read_feed({"name": "urea"}, book), read_feed(blend, book), read_feed({"name": "soybean meal"}, book)]
    s = screen([feeds], ["open-cow"], np.array([False]), facts)
    assert s.feeds.most_lb[0].tolist() == [0.0, 0.0, np.inf] and set(s.out[0]) == {"urea", "protein blend"}


def test_a_bale_s_price_is_a_ton_s_by_its_weight() -> None:
    book = Book.of(load())
    assert read_feed({"name": "prairie hay", "bale_price": 55.0, "bale_weight": 1100.0}, book).price == pytest.approx(
        100
    )
    for slip in ({"bale_price": 55.0}, {"bale_price": 55.0, "bale_weight": 1100.0, "price": 100.0}):
        with pytest.raises(InputError, match="bale"):
            read_feed({"name": "prairie hay", **slip}, book)


def test_a_feed_that_nobody_knows_is_rich_in_starch_and_fat_until_its_record_says_otherwise() -> None:
    book = Book.of(load())
    waste = {"name": "bakery waste", "dry_matter": 0.9, "tdn": 0.89, "protein": 0.11, "calcium": 0.005,
             "phosphorus": 0.003, "sulfur": 0.001, "price": 80.0}  # fmt: skip
    blind, told = read_feed(waste, book), read_feed({**waste, "starch": 0.35, "fat": 0.12}, book)
    assert (blind.kind, blind.starch, blind.fat) == ("grain", 0.70, 0.10) and (told.starch, told.fat) == (0.35, 0.12)


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("38% range cubes", "range cubes 38%"), ("cornstalks", "corn stalks"), ("alfalfa", "alfalfa hay"),
        ("Ground corn", "corn"), ("prairie hay, 2nd cutting lot 3", "prairie hay"), ("sorghum-sudan hay", "sudan hay"),
        ("corn distillers grains", "distillers grains"), ("dried distillers grains with solubles", "distillers grains"),
        ("Soybean meal 48%", "soybean meal"), ("milo", "sorghum grain"), ("grain sorghum", "sorghum grain"),
    ],
)  # fmt: skip
def test_a_feed_is_known_by_its_usual_names(name: str, row: str) -> None:
    book = Book.of(load())
    assert book.find(name) is book.rows[row]


def test_a_percent_written_as_a_share_is_refused() -> None:
    book = Book.of(load())
    for part, value in (("calcium", 0.35), ("phosphorus", 0.10), ("sulfur", 0.20)):
        with pytest.raises(InputError, match=f"{part} of .* is read as {100 * value:g} %"):
            read_feed({"name": "prairie hay", part: value}, book)
    lime = {"dry_matter": 0.97, "tdn": 0.0, "protein": 0.0, "calcium": 0.22, "phosphorus": 0.19, "sulfur": 0.01}
    assert read_feed({"name": "mineral mix", "price": 700.0, "nitrate": 0.0, "form": "NO3", "basis": "dry", **lime},
                     book).kind == "mineral"  # fmt: skip


def test_a_feed_over_the_lowest_class_but_under_the_ceiling_counts_at_its_hottest_bale_too() -> None:
    """Single bales may be over the line from which nothing is fed, whatever the mean of one core: as in hay-nitrate."""
    facts = load()
    book = Book.of(facts)
    made = {"form": "NO3-N", "basis": "dry", "cores": 1}
    warm = read_feed({"name": "sudan hay", "nitrate": 1450.0, **made}, book)
    cool = read_feed({"name": "sudan hay", "nitrate": 950.0, **made}, book)
    s = screen([[warm, cool]], ["growing"], np.array([False]), facts)
    assert s.ceiling[0] == 1500 and s.feeds.nitrate[0, 0] > 3 * 1450 and s.feeds.nitrate[0, 1] > 3 * 950


def test_a_hot_feed_counts_at_its_hottest_credible_bale() -> None:
    facts = load()
    book = Book.of(facts)
    hot = read_feed({"name": "sudan hay", "nitrate": 1800.0, "form": "NO3-N", "basis": "dry", "cores": 20}, book)
    mild = read_feed({"name": "prairie hay", "nitrate": 150.0, "form": "NO3-N", "basis": "dry"}, book)
    s = screen([[hot, mild]], ["growing"], np.array([False]), facts)
    assert s.feeds.nitrate[0, 0] > 2 * 1800.0 and s.feeds.nitrate[0, 1] == 150.0
    assert s.feeds.most_share[0, 0] == 0.5  # Clemson: at most 50 % of dry matter from 1,500 to 2,000
