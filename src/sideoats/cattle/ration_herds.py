"""The herds of a ration: their feeds as they were told, what they need, and what their rumen bears."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import nutrition_energy as energy
from sideoats.cattle import nutrition_needs as needs_of
from sideoats.cattle.nutrition_book import Book
from sideoats.cattle.nutrition_coefficients import Coefficients
from sideoats.cattle.nutrition_feeds import OneFeed, Screened, read_feed
from sideoats.cattle.ration import FLOORS, Needs
from sideoats.errors import InputError
from sideoats.forage import minerals, nitrate, stock
from sideoats.question import Context, Table
from sideoats.weather.livestock import cold_feed_energy

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME = "ration"
UNDER = 1e-6  # of a line: the mix stays so far under the ceiling of nitrate; nearer than that is at it
GROWING = ("growing", "finishing", "calf")
BRED = ("pregnant-cow", "pregnant-heifer")
BOUGHT = {
    "tested grass hay, bought": "hay",
    "limestone, bought": "limestone",
    "dicalcium phosphate, bought": "dicalcium",
}


def check(values: dict[str, Any]) -> None:
    """Refuse a phone-in that cannot be answered: half of a limit, a feed that cannot be read, no gain to feed for."""
    from sideoats.facts import load

    animal = values["class"]
    if animal in GROWING and values["gain"] is None:
        raise InputError("is missing", where="ration gain", expected="gain='2 lb/day'", todo="say what gain is wanted")
    if (values["days_pregnant"] or 0) > 0 and animal not in (*BRED, "lactating-cow", "unknown"):
        raise InputError(
            f"is given for {animal}",
            where="ration days_pregnant",
            expected="class=pregnant-cow or another",
            todo="pregnant animals have the strictest ceilings, so the class must say so",
        )
    stock.check_weight(values, NAME)
    apart = sum(values[k] or 0 for k in ("thin_head", "young_head"))
    if apart and not (values["head"] or 0) > apart:
        raise InputError(
            f"is {values['head'] or 'missing'} where {apart:g} are thin or young",
            where="ration head",
            todo="where all of them are thin, give condition for the herd",
        )
    book = Book.of(load())
    for feed in values["feeds"]:
        price, usual = read_feed(feed, book).price, float((book.find(feed["name"]) or {}).get("price", np.inf))
        if price > book.dear * usual:
            raise InputError(
                f"price of {feed['name'][:40]!r} is read as {price:,.0f} USD a ton; {usual:,.0f} is usual",
                where="feeds",
                todo="look for a digit too many, or a price by the bale (bale_price)",
            )
        if feed["on_hand"] is not None and values["head"] is None:
            raise InputError(
                "is missing", where="ration head", expected="head=60", todo="say how many share what is on hand"
            )
    if values["water"] is not None and values["water_form"] is None:
        raise InputError(
            "is missing",
            where="ration water_form",
            expected="NO3-N or NO3",
            todo="a water result is judged only with its form: 100 ppm NO3-N is 443 ppm NO3",
        )


def known_or(table: Table, name: str, other: Any) -> Floats:
    """(n,) the number that is known, else the other."""
    return np.where(table.known(name), table.number(name), other)


@dataclass(frozen=True, eq=False)
class Herd:
    """Who is fed, (n,) each.

    Attributes
    ----------
    words : class as the vocabulary has it
    growing, grown, beasts : growing cattle; cows and bulls; animals that are no cattle
    weight : [lb], the usual of the class where not known
    cold : share by which cold raises the need of energy, as far as feed can follow it
    snap : it is so cold that no grain is brought in
    gain : wanted [lb/day]; of bred heifers that of their targets where none is given
    condition : score 1 to 9
    thin : score under 5
    fat : cows a score or more over what they should calve at
    behind : gain that a bred heifer's target would take, where that is past reach [lb/day]; NaN elsewhere
    limited : they are fed less than they would eat, on purpose
    """

    words: tuple[str, ...]
    growing: Bools
    grown: Bools
    beasts: Bools
    weight: Floats
    cold: Floats
    snap: Bools
    gain: Floats
    condition: Floats
    thin: Bools
    fat: Bools
    behind: Floats
    days_pregnant: Floats
    limited: Bools


def herd_of(table: Table, context: Context, young: bool = False, thin: bool = False) -> Herd:
    """See `Herd`; of the thin of a herd of cows, or of its first-calf heifers, where so asked."""
    facts, words = context.facts, tuple(str(w) for w in table.text("class"))
    if young:
        words = tuple("pregnant-heifer" if w in (*BRED, "unknown", "") else w for w in words)
    growing = np.array([w in GROWING for w in words], dtype=bool)
    beasts = np.array([w in stock.NOT_CATTLE for w in words], dtype=bool)
    pregnant = np.array([w in (*BRED, "unknown", "") for w in words], dtype=bool)
    heifer = np.array([w == "pregnant-heifer" for w in words], dtype=bool)
    calved = ~heifer & ~growing & ~beasts & young
    days = known_or(table, "days_pregnant", np.where(pregnant, facts.value("cattle/ration.days_pregnant"), 0.0))
    targets, term = facts["cattle/ration.heifer"], Coefficients.read(facts)["course"]["gestation_days"]
    mature = float(stock.by_class(facts["forage/body_weight"], ["pregnant-cow"], "weight")[0])
    bred, calving = (mature * share for share in targets.column("share of mature weight"))
    usual = stock.by_class(facts["forage/body_weight"], words, "weight")
    usual = np.where(heifer, bred + (calving - bred) * np.minimum(days / term, 1.0), usual)
    usual = np.where(calved, calving, usual)
    weight = usual if young else known_or(table, "weight", usual)
    score = table.number("thin_condition" if thin else "condition")
    if thin:  # the herd's weight is that of cows in its own condition
        weight = weight * weight_ratio(context, score) / weight_ratio(context, table.number("condition"))
    wanted = (calving - weight) / np.maximum(term - days, 1.0)
    growth = np.clip(wanted, 0.0, fastest(context, days))
    growth = np.where(calved, facts.value("cattle/ration.heifer_after"), growth)
    still = heifer | calved
    past = heifer & ~table.known("gain") & (wanted > fastest(context, days))
    cows = ~growing & ~beasts & ~np.isin(words, ["bull"])
    cold = cold_share(table, context)
    return Herd(
        words,
        growing,
        ~growing & ~beasts,
        beasts,
        weight,
        cold,
        cold > facts.value("cattle/ration.cold_without_grain"),
        np.where(growing | still, np.nan_to_num(known_or(table, "gain", np.where(still, growth, np.nan))), 0.0),
        score,
        ~growing & ~np.isin(words, ["bull"]) & (score < 5.0),
        cows & (score >= calving_score(context, heifer) + 1.0),
        np.where(past, wanted, np.nan),
        days,
        table.flag("limit_fed"),
    )


def fastest(context: Context, days: Floats) -> Floats:
    """(n,) most that a bred heifer is fed to grow [lb/day]: half over the usual rate of her targets, for one who is
    behind; from the last months before calving on less and less, and at calving the usual rate."""
    facts, course = context.facts, Coefficients.read(context.facts)["course"]
    mature = float(stock.by_class(facts["forage/body_weight"], ["pregnant-cow"], "weight")[0])
    bred, calving = (mature * share for share in facts["cattle/ration.heifer"].column("share of mature weight"))
    left = np.clip((course["gestation_days"] - days) / course["last_days"], 0.0, 1.0)
    return np.asarray((calving - bred) / course["gestation_days"] * (1.0 + 0.5 * left), np.float64)


def calving_score(context: Context, heifer: Bools) -> Floats:
    """(n,) condition score at which they should calve: that of cows, or of first-calf heifers."""
    scores = {str(k): float(v) for k, v in context.facts["cattle/ration.calving_score"].rows}
    return np.where(heifer, scores["heifer"], scores["cow"])


def weight_ratio(context: Context, score: Floats) -> Floats:
    """(n,) weight at a score over that at score 5."""
    ratios = context.facts["cattle/cow.weight_by_condition"]
    return np.asarray(np.interp(score, ratios.column("score"), ratios.column("ratio to score 5")), np.float64)


def cold_share(table: Table, context: Context) -> Floats:
    """(n,) share by which cold raises the need of energy, as far as feed can follow it; 0 where no cold is told."""
    facts = context.facts
    coats = [str(c) for c in table.text("coat")]
    critical = stock.by_class(facts.choose("weather/coat")[1], coats, "critical")
    dry, soaked = facts.value("weather/livestock.cold_energy"), facts.value("weather/livestock.cold_energy_wet")
    rate = np.array([soaked if c == "wet" else dry for c in coats], dtype=np.float64)
    share = np.nan_to_num(cold_feed_energy(table.number("effective_temperature"), critical, rate))
    return np.minimum(share, facts.value("weather/livestock.cold_feed_most"))


def regain_days(context: Context, herd: Herd) -> Floats:
    """(n,) days in which a thin cow is to be at score 5: those to calving, or the least."""
    least = context.facts.value("cattle/ration.regain_days")
    term = Coefficients.read(context.facts)["course"]["gestation_days"]
    return np.where(herd.days_pregnant > 0, np.maximum(term - herd.days_pregnant, least), least)


def reserve_of(context: Context, herd: Herd) -> Floats:
    """(n,) net energy a day that brings a thin cow to score 5 [Mcal]; 0 for others."""
    nrc, score = Coefficients.read(context.facts), herd.condition
    body = herd.weight * energy.KG_OF_LB
    then = energy.reserve_energy(body / weight_ratio(context, score), 5.0, nrc)
    now = energy.reserve_energy(body, score, nrc)
    return np.where(herd.thin, (then - now) / regain_days(context, herd), 0.0)


def animal_of(table: Table, context: Context, herd: Herd) -> needs_of.Animal:
    """The herd as the equations of need take it."""
    facts = context.facts
    nrc, finish = Coefficients.read(facts), facts.value("cattle/ration.finish_weight") * energy.KG_OF_LB
    milking = np.array([w == "lactating-cow" for w in herd.words], dtype=bool)
    return needs_of.Animal(
        full_kg=herd.weight * energy.KG_OF_LB,
        gain_kg=herd.gain * energy.KG_OF_LB,
        finish_kg=np.full(len(table), energy.shrunk_weight(finish, nrc)),
        days_pregnant=herd.days_pregnant,
        calf_kg=np.full(len(table), facts.value("cattle/ration.calf_at_birth") * energy.KG_OF_LB),
        milk_week=known_or(table, "milk_week", np.where(milking, nrc["course"]["peak_week"], 0.0)),
        peak_kg=known_or(table, "milk_peak", facts.value("cattle/ration.milk_peak")) * energy.KG_OF_LB,
        reserve=reserve_of(context, herd),
        growing=herd.growing,
        yearling=herd.growing & (herd.weight >= facts.value("cattle/ration.yearling_from")),
        bull=np.array([w == "bull" for w in herd.words]),
        cold=herd.cold,
    )


def feeds_of(table: Table, context: Context) -> tuple[list[list[OneFeed]], list[dict[str, str]]]:
    """Feeds of every row, by name and price, and those whose record cannot be used with the reason.

    They are sorted before anything is made of them, and two lots of one name are numbered then: no order in which they
    are told changes an answer.
    """
    book = Book.of(context.facts)
    held, bad = [], []
    for i, records in enumerate(table.rows("feeds")):
        good: list[OneFeed] = []
        refused: dict[str, str] = {}
        for record in records or ():
            try:
                good.append(read_feed(record, book, float(table.number("days")[i]), float(table.number("head")[i])))
            except InputError as error:
                refused[str(record.get("name", "feed"))] = str(error)
        held.append(_numbered(sorted(good, key=_place)))
        bad.append(refused)
    return held, bad


def _place(feed: OneFeed) -> tuple[Any, ...]:
    """Where a feed stands: by its name, then by all that is known of it."""
    rest = (feed.price, feed.nitrate, feed.dry_matter, feed.tdn, feed.protein, feed.calcium, feed.phosphorus)
    more = (feed.sulfur, feed.starch, feed.fat, feed.aflatoxin, feed.most_share, feed.most_lb, feed.cores, feed.bales)
    return (feed.name.lower(), *(-1.0 if v != v else v for v in (*rest, *more)))


def _numbered(feeds: Sequence[OneFeed]) -> list[OneFeed]:
    seen: dict[str, int] = {}
    out = []
    for feed in feeds:
        again = seen[feed.name] = seen.get(feed.name, 0) + 1
        out.append(replace(feed, name=f"{feed.name} ({again})") if again > 1 else feed)
    return out


def with_hay(table: Table, context: Context, held: list[list[OneFeed]]) -> list[list[OneFeed]]:
    """The feeds of every herd, the minerals that could be bought, and last the tested grass hay that could be."""
    facts = context.facts
    price = facts["forage/hay.price"].mid
    clean = {"name": "prairie hay", "price": price, "nitrate": Book.of(facts).rows["prairie hay"]["nitrate"],
             "form": "NO3-N", "basis": "dry"}  # fmt: skip
    book, (hay, *minerals) = Book.of(facts), BOUGHT
    bought = replace(read_feed(clean, book), name=hay)
    sold = [replace(read_feed({"name": m.partition(",")[0]}, book), name=m) for m in minerals]
    prices = known_or(table, "hay_price", price)
    return [
        [*feeds, *(m for m in sold if not _there(m, feeds)), replace(bought, price=float(p))]
        for feeds, p in zip(held, prices, strict=True)
    ]


def _there(mineral: OneFeed, feeds: Sequence[OneFeed]) -> bool:
    """Whether a mineral of that make is on hand."""
    return any(
        f.kind == "mineral" and (f.calcium, f.phosphorus) == (mineral.calcium, mineral.phosphorus) for f in feeds
    )


def needs_in(table: Table, context: Context, herd: Herd, s: Screened) -> tuple[Needs, Floats]:
    """What every herd needs and may not exceed, NaN for energy that no feed carries; and the TDN [%] that it takes."""
    facts = context.facts
    floor = floors_of(table, context, herd)
    intake = np.broadcast_to(floor.intake, (len(table),))
    air = stock.drinking_air(facts, context.region, context.on, table.number("air"))
    litres = stock.water_gallons(facts, list(herd.words), air)
    usual = stock.by_class(facts["forage/body_weight"], herd.words, "weight")
    drinks = np.where(herd.growing, herd.weight / usual, 1.0)  # the table's growing cattle are of one weight
    litres = litres * nitrate.LITRES_OF_GALLON * drinks
    _, drunk = nitrate.feed_plus_water(0.0, intake * energy.KG_OF_LB, water_nitrogen(table), litres)
    sulfate = np.nan_to_num(table.number("water_sulfate"))
    sulfur_water = minerals.sulfur_from_water(sulfate, litres, intake * energy.KG_OF_LB)
    least, most = facts.span("cattle/nutrition.calcium_to_phosphorus")
    told = {name: known_or(table, name, getattr(floor, name)) for name in FLOORS if name != "forage"}
    told |= rumen(context, herd, intake, table.number("grain_now"))
    return Needs.of(
        intake,
        **told,
        nitrate=s.ceiling * (1 - UNDER),
        water_nitrate=drunk,
        sulfur=np.full(len(table), sulfur_ceilings(context)[1]),
        water_sulfur=sulfur_water / 100,
        aflatoxin=s.aflatoxin,
        calcium_least=least,
        calcium_most=most,
        uneaten=np.where(herd.limited, np.maximum(intake - least_eaten(context, herd), 0.0), 0.0),
    ), np.broadcast_to(floor.tdn_percent, (len(table),))


def floors_of(table: Table, context: Context, herd: Herd) -> needs_of.Floors:
    """Intake and floors; in cold cattle eat more, as far as intakes spread anyway: that is met with hay first."""
    animal, told, nrc = animal_of(table, context, herd), table.number("intake"), Coefficients.read(context.facts)
    floor = needs_of.floors(animal, nrc, told)
    more = np.minimum(herd.cold, context.facts.span("cattle/nutrition.intake_band")[1] - 1.0)
    eaten = np.where(np.isnan(told), floor.intake * (1.0 + more), told)
    if not (eaten > floor.intake).any():
        return floor
    fuller = needs_of.floors(animal, nrc, eaten)
    # of cows the published rule is pounds of TDN on top of their need, of growing cattle it goes through the equations
    more_eaten = eaten > floor.intake
    tdn = np.where(herd.growing & more_eaten, fuller.tdn, floor.tdn)
    return replace(floor, intake=eaten, tdn=tdn, tdn_percent=np.where(more_eaten, 100 * tdn / eaten, floor.tdn_percent))


def least_eaten(context: Context, herd: Herd) -> Floats:
    """(n,) lb of dry matter that limit-fed cattle get at least."""
    cow, growing = (float(v) for v in context.facts["cattle/limit_feeding.least"].column("share of body weight"))
    return np.where(herd.growing, growing, cow) * herd.weight


def water_nitrogen(table: Table) -> Floats:
    """(n,) nitrate of the drinking water [ppm NO3-N]; NaN where it is not known."""
    form = np.array([str(f) if f else "NO3-N" for f in table.text("water_form")], dtype=object)
    return np.asarray(nitrate.nitrate_nitrogen_dry(table.number("water"), form=form, basis="dry"), np.float64)


def rumen(context: Context, herd: Herd, intake: Floats, grain_now: Floats) -> dict[str, Floats]:
    """Least forage and most grain, starch and fat [lb of dry matter a day].

    A calf on grain alone founders, a cow eats less hay; in a snap none is brought in that they do not get already
    (`grain_now` [lb as fed], NaN where that is not known).
    """
    facts = context.facts
    dry = float(Book.of(facts).rows["corn"]["dry_matter"])
    already = np.nan_to_num(grain_now) * dry
    usual = np.where(herd.growing, np.inf, facts.value("cattle/ration.grain_most") * herd.weight)
    in_milk = np.array([w == "lactating-cow" for w in herd.words], dtype=bool)
    dry_most, milk_most = facts["cattle/limit_feeding.grain"].column("grain")
    limited = herd.limited & ~herd.growing
    usual = np.where(limited, np.where(in_milk, float(milk_most), float(dry_most)) * dry, usual)
    words = [w or "unknown" for w in herd.words]
    least = {str(k): (float(share), float(weight)) for k, share, weight in facts["cattle/ration.forage_least"].rows}
    shares = np.array([least.get(w, least["unknown"]) for w in words]).reshape(-1, 2)
    starch = {str(k): float(v) for k, v in facts["cattle/ration.starch_most"].rows}
    return {
        "forage": np.maximum(np.where(limited, 0.0, shares[:, 0] * intake), shares[:, 1] * herd.weight),
        "grain": np.where(herd.snap, np.minimum(usual, already), usual),
        "starch": np.array([starch.get(w, np.inf) for w in words]) * intake,
        "fat": facts.value("cattle/ration.fat_most") * intake,
    }


def sulfur_ceilings(context: Context) -> tuple[float, float]:
    """Ceilings of sulfur as shares of dry matter: of a ration of little forage, and of one that is mostly forage; the
    district's, where it chose one, for both."""
    facts = context.facts
    if "forage/sulfur_ceiling" in facts.chosen:
        own = float(facts.choose("forage/sulfur_ceiling")[1].value) / 100
        return own, own
    low, high = (float(facts.choose("forage/sulfur_ceiling", k)[1].value) / 100 for k in ("feedlot", "older"))
    return min(low, high), high


def by_ration(context: Context, needs: Needs) -> tuple[Needs, Needs]:
    """The needs of a ration of little forage under its ceiling of sulfur, and of one that is mostly forage under its
    own."""
    low, high = sulfur_ceilings(context)
    mostly = context.facts.value("cattle/ration.forage_fed") * needs.intake
    little = np.full(len(needs), low)
    return replace(needs, sulfur=little), replace(
        needs, sulfur=np.full(len(needs), high), forage=np.maximum(needs.forage, mostly)
    )


def sulfur_of(context: Context, needs: Needs, forage: Floats) -> Floats:
    """(n,) the ceiling of sulfur of a mix with so much forage [lb]; as it stands where there is no mix (NaN)."""
    little, mostly = by_ration(context, needs)
    share = context.facts.value("cattle/ration.forage_fed")
    kind = np.where(forage >= share * needs.intake * (1 - UNDER), mostly.sulfur, little.sulfur)
    return np.where(np.isnan(forage), needs.sulfur, kind)
