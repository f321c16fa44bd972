"""Published rations mixed by hand from the feed table, beside what the equations ask for and what the programme finds.

Each is weighed out as printed (lb as fed, a head and day), and its dry matter, TDN and protein are summed by hand from
the book (sums in the comment). Printed rations are for average winters of their place, with something to spare: they
must cover the floors for a cow of that weight and stage on that much feed, and not by more than a quarter in energy.
With the same feeds the programme must find a mix that costs no more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from sideoats.cattle import nutrition_energy as energy
from sideoats.cattle import nutrition_needs as needs
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.nutrition_coefficients import Coefficients
from sideoats.cattle.nutrition_feeds import OneFeed, read_feed
from sideoats.cattle.ration import Feeds, Needs, price_of_dry_matter, solve
from sideoats.cattle.ration_sure import Spread, worth_each
from sideoats.facts import load

FACTS = load()
BOOK, NRC, LB = Book.of(FACTS), Coefficients.read(FACTS), energy.KG_OF_LB
# "alfalfa grass" of Manitoba is half alfalfa, half brome; Ohio's and Nebraska's supplement by its printed protein
MADE = {
    "alfalfa grass": {"dry_matter": 0.90, "tdn": 0.57, "protein": 0.135, "calcium": 0.009, "phosphorus": 0.0022,
                      "sulfur": 0.0025, "price": 150.0},
    "supplement 36 %": {"dry_matter": 0.90, "tdn": 0.75, "protein": 0.36, "calcium": 0.0375, "phosphorus": 0.01,
                        "sulfur": 0.004, "price": 350.0},
    "supplement 38 %": {"dry_matter": 0.90, "tdn": 0.75, "protein": 0.42, "calcium": 0.01, "phosphorus": 0.01,
                        "sulfur": 0.004, "price": 380.0},
}  # fmt: skip
MANITOBA = "Manitoba Agriculture, winter rations for beef cows (gov.mb.ca; read), 1,300-lb cows in good condition"
OHIO = "Ohio State University (Loerch), in Montana State's newsletter of 30 Oct 2001 (read), 1,300-lb cows"
NEBRASKA = "University of Nebraska (Rasby), cattlenetwork 113971834 (read), 1,200-lb cows"


@dataclass(frozen=True)
class Printed:
    """A printed ration: lb as fed; the cow; sums by hand [lb]; least share of the protein floor that it must cover."""

    feeds: dict[str, float]
    cow: needs.Animal
    dry: float
    tdn: float
    protein: float
    source: str
    covers: float = 1.0


def cow(weight: float, days: float = 0.0, peak: float = 0.0) -> needs.Animal:
    """A cow of so many lb, so long pregnant, or at the peak of so much milk [kg]."""
    return needs.Animal(
        weight * LB, days_pregnant=days, calf_kg=38.5 if days else 0.0, milk_week=8.5 if peak else 0.0, peak_kg=peak
    )


MIDDLE, LATE, MILKING = cow(1300, 150), cow(1300, 255), cow(1300, peak=10)
RATIONS = {
    # 18 x .90 x .57 + 13 x .90 x .42 = 9.23 + 4.91
    "alfalfa grass and straw, middle": Printed(
        {"alfalfa grass": 18, "wheat straw": 13}, MIDDLE, 27.9, 14.15, 2.60, MANITOBA
    ),
    # 17 x .89 x .55 + 14 x .90 x .42 = 8.32 + 5.29
    "grass hay and straw, middle": Printed({"brome hay": 17, "wheat straw": 14}, MIDDLE, 27.73, 13.61, 1.80, MANITOBA),
    # 25 x .90 x .42 + 7 x .89 x .84 = 9.45 + 5.23
    "straw and barley, middle": Printed({"wheat straw": 25, "barley": 7}, MIDDLE, 28.73, 14.68, 1.61, MANITOBA),
    # 26.5 x .90 x .57 + 4.5 x .89 x .84 = 13.59 + 3.36
    "alfalfa grass and barley, late": Printed(
        {"alfalfa grass": 26.5, "barley": 4.5}, LATE, 27.86, 16.96, 3.75, MANITOBA
    ),
    # 26 x .89 x .55 + 4 x .89 x .84 = 12.73 + 2.99
    "grass hay and barley, late": Printed({"brome hay": 26, "barley": 4}, LATE, 26.70, 15.72, 2.55, MANITOBA),
    # 18 x .90 x .42 + 13.5 x .89 x .84 = 6.80 + 10.09
    "straw and barley, late": Printed({"wheat straw": 18, "barley": 13.5}, LATE, 28.22, 16.90, 2.15, MANITOBA),
    # 30 x .90 x .59 + 7.5 x .89 x .84 = 15.93 + 5.61
    "alfalfa and barley, milking": Printed({"alfalfa hay": 30, "barley": 7.5}, MILKING, 33.68, 21.54, 5.74, MANITOBA),
    # 23 x .90 x .57 + 13.5 x .89 x .84 = 11.80 + 10.09
    "alfalfa grass and barley, milking": Printed(
        {"alfalfa grass": 23, "barley": 13.5}, MILKING, 32.72, 21.89, 4.38, MANITOBA
    ),
    # 35 x .90 x .55 + 3.5 x .89 x .84 = 17.33 + 2.62
    "greenfeed and barley, milking": Printed({"oat hay": 35, "barley": 3.5}, MILKING, 34.62, 19.94, 3.25, MANITOBA),
    # 2.5 x .89 x .55 + 12 x .88 x .90 + 2 x .90 x .75 = 1.22 + 9.50 + 1.35
    "limit-fed, November and December": Printed(
        {"brome hay": 2.5, "corn": 12, "supplement 36 %": 2}, cow(1300, 180), 14.59, 12.08, 1.88, OHIO
    ),
    # 2.5 x .89 x .55 + 14 x .88 x .90 + 2 x .90 x .75 = 1.22 + 11.09 + 1.35
    "limit-fed, January on": Printed(
        {"brome hay": 2.5, "corn": 14, "supplement 36 %": 2}, LATE, 16.35, 13.66, 2.06, OHIO
    ),
    # 4 x .89 x .55 + 13 x .88 x .90 + 2.25 x .90 x .75 = 1.96 + 10.30 + 1.52: a modest milker
    "limit-fed, nursing": Printed(
        {"brome hay": 4, "corn": 13, "supplement 38 %": 2.25}, cow(1200, peak=7), 17.03, 13.77, 2.29, NEBRASKA, 0.85
    ),
    # 2.75 x .89 x .55 + 11 x .88 x .90 = 1.35 + 8.71: energy enough, protein short, as the reference page found
    "limit-fed, dry, without a supplement": Printed(
        {"brome hay": 2.75, "corn": 11}, cow(1200, 150), 12.13, 10.06, 1.17, NEBRASKA, 0.75
    ),
}  # fmt: skip


def feed(name: str) -> OneFeed:
    """A feed of the book, or one of those above."""
    return read_feed({"name": name, **MADE.get(name, {})}, BOOK)


@pytest.mark.parametrize("name", RATIONS)
def test_a_printed_ration_beside_the_equations_and_the_programme(name: str) -> None:
    told = RATIONS[name]
    listed = [feed(one) for one in told.feeds]
    dry = np.array([fed * f.dry_matter for fed, f in zip(told.feeds.values(), listed, strict=True)])
    tdn, protein = (np.array([getattr(f, part) for f in listed]) for part in ("tdn", "protein"))
    assert dry.sum() == pytest.approx(told.dry, abs=0.02)
    assert dry @ tdn == pytest.approx(told.tdn, abs=0.02)
    assert dry @ protein == pytest.approx(told.protein, abs=0.02)
    floor = needs.floors(told.cow, NRC, dry.sum())
    assert 0.96 < told.tdn / float(floor.tdn) < 1.28
    assert told.protein / float(floor.protein) > told.covers
    if told.covers < 1:  # what a ration lacks is not asked of the programme
        return
    feeds = Feeds.of(price_of_dry_matter([f.price for f in listed], [f.dry_matter for f in listed]), tdn=tdn,
                     protein=protein)  # fmt: skip
    found = solve(feeds, Needs.of([dry.sum()], tdn=float(floor.tdn), protein=float(floor.protein)))
    assert found.feasible[0] and found.cost[0] <= dry @ feeds.price + 1e-9


def test_what_a_cow_needs_late_beside_the_ration_that_nebraska_reckons() -> None:
    # Drewnoski, agproud 53822 (read): 1.9 lb protein, 7.9 % of 24 lb, for a 1,200-lb cow. Dormant range of the book and
    # 38 % cubes (38 / .90 = 42.2 % of dry matter), by hand: (1.9 - 24 x .042) / (.422 - .042) = 2.35 lb of dry matter
    range_, cubes = feed("dormant native range"), feed("range cubes 38%")
    feeds = Feeds.of(price_of_dry_matter([40, 420], [0.90, 0.90]), tdn=[range_.tdn, cubes.tdn],
                     protein=[range_.protein, cubes.protein])  # fmt: skip
    found = solve(feeds, Needs.of([24.0], protein=1.9))
    assert found.pounds[0, 1] == pytest.approx(2.35, abs=0.01)


# Derived beforehand with HiGHS (reference table A1.6): 600-lb calf, 14.03 lb at 72.0 % TDN, protein 12.5 %; hay 300
# USD a ton (TDN 50), corn 120 (90), distillers 120 (89)
CALF = [
    ({}, [0, 0, 14.03], 0.9353),
    ({"forage": 0.15 * 14.03}, [2.104, 0, 11.926], 1.1458),
    ({"forage": 0.30 * 14.03}, [4.209, 0, 9.821], 1.3562),
    ({"forage": 0.30 * 14.03, "sulfur": 0.0030}, [4.209, 4.575, 5.246], 1.3632),
    ({"forage": 0.40 * 14.03}, [5.612, 0, 8.418], 1.4965),
]


@pytest.mark.parametrize(("rows", "pounds", "cost"), CALF)
def test_a_calf_s_ration_with_one_floor_after_another(rows: dict[str, float], pounds: list[float], cost: float) -> None:
    feeds = Feeds.of(
        price_of_dry_matter([300, 120, 120], [0.90, 0.88, 0.90]), tdn=[0.50, 0.90, 0.89], protein=[0.06, 0.095, 0.30],
        sulfur=[0.0010, 0.0014, 0.0060], forage=[1.0, 0, 0],
    )  # fmt: skip
    found = solve(feeds, Needs.of([14.03], tdn=0.72 * 14.03, protein=0.125 * 14.03, **rows))
    assert found.pounds[0] == pytest.approx(pounds, abs=2e-3) and found.cost[0] == pytest.approx(cost, abs=2e-4)


def test_what_hay_is_worth_beside_corn_as_ohio_reckons_it() -> None:
    # Loerch, u.osu.edu/beef, 3 Oct 2007 (read): corn at 107 USD a ton; hay of half the energy breaks even at about 54
    feeds = Feeds.of(price_of_dry_matter([[107.0, 54.0]], 0.88), tdn=[[0.90, 0.45]])
    limit_fed = Needs.of([24.0], tdn=10.0, uneaten=20.0)
    flat = Spread(np.zeros((1, 2)), np.zeros((1, 2)), np.array([0.5]), np.array([[0, 1]]))
    found = solve(feeds, limit_fed)
    assert found.pounds[0] == pytest.approx([10.0 / 0.90, 0.0])
    worth = worth_each(feeds, limit_fed, flat, found)[0] * 2000 * 0.88
    assert worth[1] == pytest.approx(53.5, abs=0.1)  # printed "approximately 54"


@pytest.mark.parametrize(("weight", "days", "gain", "eaten"), [(234.0, 76, 1.51, 6.68), (295.0, 63, 1.20, 6.65)])
def test_gain_of_limit_fed_calves_beside_a_trial(weight: float, days: int, gain: float, eaten: float) -> None:
    # Zinn 1989, manger space of limit-fed calves (abstract read): 10 % alfalfa, 12 % sudan hay, 62.5 % flaked corn, 3 %
    # cottonseed meal, 3 % fat, 7 % molasses; 1.51 kg a day on 6.68 kg, 1.20 on 6.65. Fat at 177 % TDN, molasses 75 %
    parts = {"alfalfa hay": 0.10, "sudan hay": 0.12, "corn": 0.625, "cottonseed meal": 0.03}
    tdn = 100 * (sum(share * feed(name).tdn for name, share in parts.items()) + 0.03 * 1.77 + 0.07 * 0.75)
    body = weight + gain * days / 2
    found = energy.energy_limited_gain(
        eaten, tdn, energy.maintenance_energy(body, NRC), energy.equivalent_weight(body, 533.0, NRC), NRC
    )
    assert float(found) == pytest.approx(gain, rel=0.08)
