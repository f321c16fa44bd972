"""The cheapest ration that is safe: which feeds, how much, at what cost, and what the ceilings cost."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.cattle import nutrition_needs as needs_of
from sideoats.cattle.nutrition_energy import KG_OF_LB
from sideoats.cattle.nutrition_feeds import Book, OneFeed, Screened, read_feed, screen
from sideoats.cattle.questions._ration_words import A_CENT, GROWING, Words, cold_share, known_or
from sideoats.cattle.ration import FLOORS, Needs, Rations, account, solve
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.forage import cautions, minerals, nitrate, stock
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
OPTIONS = (
    Option("mix", "Feed the cheapest safe mix of the feeds on hand"),
    Option("buy", "Buy tested grass hay and feed the cheapest safe mix with it"),
)
_FORM = "NO3-N, NO3 or KNO3; it must be stated with nitrate, because " + nitrate.WHY
FEED_FIELDS = (
    Field("name", "text", "feed, as in the table or with its own composition", required=True, example="prairie hay"),
    Field("price", "number", "price as fed", unit="USD/ton", low=0, high=5000),
    Field("dry_matter", "share", "dry matter"),
    Field("tdn", "share", "total digestible nutrients of dry matter"),
    Field("protein", "share", "crude protein of dry matter"),
    Field("calcium", "share", "Ca of dry matter"),
    Field("phosphorus", "share", "P of dry matter"),
    Field("sulfur", "share", "S of dry matter"),
    Field("nitrate", "number", "nitrate of its test", unit="ppm", low=0, high=1e6),
    Field("form", "choice", _FORM, choices=nitrate.IONS),
    Field("basis", "choice", "dry or as-fed, must be stated with nitrate", choices=nitrate.BASES,
          aliases={"as fed": "as-fed", "dm": "dry", "dry matter": "dry"}),
    Field("moisture", "share", "moisture of the tested sample", high=0.95),
    Field("cores", "number", "bales cored for the test", bare=True, low=1, high=5000),
    Field("bales", "number", "bales in the lot", bare=True, low=1, high=5000),
    Field("aflatoxin", "number", "aflatoxin of its test, ppb", bare=True, low=0, high=1e6),
    Field("most", "share", "largest share of the ration's dry matter"),
    Field("on_hand", "number", "what is there, to last for the days asked about", unit="ton", low=0, high=1e6),
)  # fmt: skip
INPUTS = (
    Field("class", "choice", "animals to feed", choices=stock.CLASSES, aliases=stock.ALIASES, required=True,
          found_in=("place:class", "evidence:feeds_on_hand.class")),
    Field("feeds", "records", "feeds at hand or offered", fields=FEED_FIELDS, required=True,
          example="name=prairie hay, price=110 USD/ton; name=corn", found_in=("evidence:feeds_on_hand.feeds",)),
    Field("weight", "number", "full weight; usual for the class if absent", unit="lb", low=50, high=3500,
          found_in=("place:weight",)),
    Field("gain", "number", "gain wanted a day, for growing cattle", unit="lb/day", low=0, high=6,
          found_in=("evidence:feeds_on_hand.gain",)),
    Field("days_pregnant", "number", "days pregnant", unit="day", bare=True, low=0, high=283,
          found_in=("evidence:feeds_on_hand.days_pregnant",)),
    Field("milk_week", "number", "weeks since calving", bare=True, low=0, high=52),
    Field("milk_peak", "number", "milk a day at the peak", unit="lb/day", low=0, high=60),
    Field("condition", "number", "body condition score 1 to 9", low=1, high=9, default=5.0),
    Field("effective_temperature", "number", "wind chill in the open, air temperature behind a windbreak", unit="degF",
          low=-80, high=120),
    Field("coat", "choice", "coat, for cold", choices=("wet", "summer", "fall", "winter", "heavy winter"),
          default="winter"),
    Field("intake", "number", "dry matter eaten a day; the equations if absent", unit="lb/day", low=1, high=80),
    Field("tdn", "number", "TDN floor a day, instead of the equations", unit="lb/day", low=0, high=60),
    Field("protein", "number", "crude protein floor a day, instead of the equations", unit="lb/day", low=0, high=15),
    Field("calcium", "number", "calcium floor a day, instead of the equations", unit="lb/day", low=0, high=2),
    Field("phosphorus", "number", "phosphorus floor a day, instead of the equations", unit="lb/day", low=0, high=2),
    Field("weakened", "flag", "hungry, sick, thin, stressed or not used to the feed", default=False),
    Field("water", "number", "nitrate in the drinking water", unit="ppm", low=0, high=1e5),
    Field("water_form", "choice", "NO3 or NO3-N of the water's result", choices=("NO3-N", "NO3")),
    Field("water_sulfate", "number", "sulfate in the drinking water", unit="ppm", low=0, high=1e5),
    Field("air", "number", "air temperature, for how much they drink", unit="degF", low=-40, high=130),
    Field("head", "number", "animals that share what is on hand", unit="head", bare=True, low=1, high=100_000,
          found_in=("place:head",)),
    Field("days", "number", "days that what is on hand must last", unit="day", bare=True, low=1, high=400,
          default=30.0),
    Field("hay_price", "number", "tested grass hay, bought and delivered; a round figure if absent", unit="USD/ton",
          low=0, high=2000, example="140 USD/ton", found_in=("quote:grass hay", "setting:price.hay")),
    Field("fed_from", "date", "day on which feeding begins; they are being fed already if absent",
          found_in=("place:feeding_date",)),
    Field("fed_now", "number", "what they are fed now costs a head and day, at the same prices", unit="USD/head/day",
          low=0, high=40, example="1.80 USD/head/day", fresh_days=60, found_in=("evidence:feeds_on_hand.fed_now",)),
)  # fmt: skip


_BRED = ("pregnant-cow", "pregnant-heifer")
WEEK = 7  # days: the week is the product


def _check(values: dict[str, Any]) -> None:
    from sideoats.facts import load

    if values["class"] in GROWING and values["gain"] is None:
        raise InputError("is missing", where="ration gain", expected="gain='2 lb/day'", todo="say what gain is wanted")
    if (values["days_pregnant"] or 0) > 0 and values["class"] not in (*_BRED, "lactating-cow", "unknown"):
        raise InputError(
            f"is given for {values['class']}", where="ration days_pregnant", expected="class=pregnant-cow or another",
            todo="pregnant animals have the strictest ceilings, so the class must say so",
        )  # fmt: skip
    book = Book.of(load())
    for feed in values["feeds"]:
        read_feed(feed, book)
        if feed["on_hand"] is not None and values["head"] is None:
            raise InputError(
                "is missing", where="ration head", expected="head=60", todo="say how many share what is on hand"
            )
    if values["water"] is not None and values["water_form"] is None:
        raise InputError("is missing", where="ration water_form", expected="NO3-N or NO3",
                         todo="a water result is judged only with its form: 100 ppm NO3-N is 443 ppm NO3")  # fmt: skip


def _animal(table: Table, context: Context) -> needs_of.Animal:
    facts = context.facts
    words = [str(w) for w in table.text("class")]
    usual = stock.by_class(facts["forage/body_weight"], words, "weight")
    growing = np.array([w in GROWING for w in words], dtype=bool)
    pregnant = np.array([w in ("pregnant-cow", "pregnant-heifer", "unknown", "") for w in words], dtype=bool)
    milking = np.array([w == "lactating-cow" for w in words], dtype=bool)
    return needs_of.Animal(
        full_kg=known_or(table, "weight", usual) * KG_OF_LB,
        gain_kg=np.where(growing, np.nan_to_num(table.number("gain")), 0.0) * KG_OF_LB,
        finish_kg=np.full(len(words), 0.96 * facts.value("cattle/ration.finish_weight") * KG_OF_LB),
        days_pregnant=known_or(
            table, "days_pregnant", np.where(pregnant, facts.value("cattle/ration.days_pregnant"), 0.0)
        ),
        calf_kg=np.full(len(words), facts.value("cattle/ration.calf_at_birth") * KG_OF_LB),
        milk_week=known_or(table, "milk_week", np.where(milking, facts.value("cattle/ration.milk_week"), 0.0)),
        peak_kg=known_or(table, "milk_peak", facts.value("cattle/ration.milk_peak")) * KG_OF_LB,
        condition=table.number("condition"), growing=growing, bull=np.array([w == "bull" for w in words]),
        cold=cold_share(table, context),
    )  # fmt: skip


def _feeds(table: Table, context: Context) -> tuple[list[list[OneFeed]], list[dict[str, str]]]:
    """Feeds of every row, and those whose record cannot be used with the reason."""
    book = Book.of(context.facts)
    held, bad = [], []
    for i, records in enumerate(table.rows("feeds")):
        good: list[OneFeed] = []
        refused: dict[str, str] = {}
        for record in records or ():
            try:
                feed = read_feed(record, book, float(table.number("days")[i]), float(table.number("head")[i]))
                again = sum(f.name == feed.name or f.name.startswith(f"{feed.name} (") for f in good)
                good.append(replace(feed, name=f"{feed.name} ({again + 1})") if again else feed)  # two lots of one hay
            except InputError as error:
                refused[str(record.get("name", "feed"))] = str(error)
        held.append(good)
        bad.append(refused)
    return held, bad


def _needs(table: Table, context: Context, s: Screened) -> tuple[Needs, needs_of.Floors]:
    facts = context.facts
    floor = needs_of.floors(_animal(table, context), table.number("intake"))
    intake = np.broadcast_to(floor.intake, (len(table),))
    litres = stock.water_gallons(facts["forage/water_need"], list(table.text("class")), table.number("air"))
    litres = litres * nitrate.LITRES_OF_GALLON
    form = np.array([str(f) if f else "NO3-N" for f in table.text("water_form")], dtype=object)
    water = nitrate.nitrate_nitrogen_dry(table.number("water"), form=form, basis="dry")
    _, drunk = nitrate.feed_plus_water(0.0, intake * KG_OF_LB, water, litres)
    sulfur_water = minerals.sulfur_from_water(np.nan_to_num(table.number("water_sulfate")), litres, intake * KG_OF_LB)
    least, most = facts.span("cattle/nutrition.calcium_to_phosphorus")
    told = {name: known_or(table, name, getattr(floor, name)) for name in FLOORS}
    return Needs.of(
        intake, **told, nitrate=s.ceiling - facts.value("cattle/ration.margin"), water_nitrate=drunk,
        sulfur=facts.choose("forage/sulfur_ceiling")[1].value / 100, water_sulfur=sulfur_water / 100,
        aflatoxin=s.aflatoxin, calcium_least=least, calcium_most=most,
    ), floor  # fmt: skip


def _with_hay(table: Table, context: Context, held: list[list[OneFeed]]) -> list[list[OneFeed]]:
    """The feeds of every herd, and last the tested grass hay that could be bought."""
    facts = context.facts
    price = facts["forage/hay.price"].mid
    clean = {"name": "prairie hay", "price": price, "nitrate": facts.value("cattle/feeds.clean_hay"),
             "form": "NO3-N", "basis": "dry"}  # fmt: skip
    bought = replace(read_feed(clean, Book.of(facts)), name="tested grass hay, bought")
    prices = known_or(table, "hay_price", price)
    return [[*feeds, replace(bought, price=float(p))] for feeds, p in zip(held, prices, strict=True)]


def answer(table: Table, context: Context) -> Answers:
    """Screen the feeds, set the floors, solve, and account for herds that have no safe ration."""
    facts = context.facts
    held, bad = _feeds(table, context)
    words = list(table.text("class"))
    risk = stock.at_risk(words, table.flag("weakened") | (table.number("days_pregnant") > 0))
    grown = _with_hay(table, context, held)
    s = screen(held, words, risk, facts)
    more = screen(grown, words, risk, facts)
    needs, floor = _needs(table, context, s)
    usable = _usable(needs)
    found, with_hay = solve(s.feeds, usable), solve(more.feeds, usable)
    no_feed = np.array([not feeds and not refused for feeds, refused in zip(held, bad, strict=True)], dtype=bool)
    growing = np.array([str(w) in GROWING for w in words], dtype=bool)
    missing = no_feed | np.isnan(needs.tdn) | ~table.known("class") | (growing & ~table.known("gain"))
    why = account(s.feeds, usable)
    barred = np.stack([~found.feasible, ~with_hay.feasible], axis=1)
    payoff = np.stack([_cost(s, found, held, context), _cost(more, with_hay, grown, context)], axis=2)
    decision = decide(payoff, barred=barred, risk_aversion=context.risk_aversion)
    unsafe = ~found.feasible & (why.unsafe | _all_out(held, s))
    least = np.maximum(facts.value("cattle/ration.worth_buying") * found.cost, A_CENT)
    buys = np.asarray(found.cost - with_hay.cost >= least, dtype=bool)
    due, lost = _due(table, context, found, np.where(buys, with_hay.cost, found.cost))
    acting = np.where(due >= 0, ACT, WAIT)
    verdict = np.where(unsafe, STOP, np.where(found.feasible | with_hay.feasible, acting, LOOK)).astype(np.int8)
    for quoted in ("variation", "much_grain"):
        facts[f"cattle/feeds.{quoted}"]
    text = Words(table, context, held, grown, bad, s, needs, floor, found, with_hay, why, unsafe, buys)
    hazard = np.stack([unsafe, np.zeros_like(unsafe)], axis=1)
    return Answers(
        table, context, headline=text.headline, because=text.because, options=OPTIONS, decision=decision,
        unit="USD/head/day",
        bars=(
            Bar(hazard, text.blame, hazard=True),
            Bar(barred & ~hazard & np.array([True, False]), text.blame),
            Bar(barred & np.array([False, True]), "even with tested grass hay no ration meets ceilings and floors"),
        ),
        verdict=verdict, act_by=np.where(verdict == ACT, due, -1),
        look_by=np.where((verdict == LOOK) & ~missing, np.minimum(due, WEEK), -1), cost_of_waiting=lost,
        quantities=_quantities(
            table, held, grown, needs, floor, found, with_hay, facts.span("cattle/nutrition.intake_band")
        ),
        missing=missing & ~unsafe, missing_headline=text.missing,
        cautions=cautions.emergency(*cautions.RATION, cautions.NITRATE[1]),
    )  # fmt: skip


def _due(table: Table, context: Context, found: Rations, cost: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Days within which to act or look, -1 where nothing is lost by waiting; and USD a head that a week loses.

    Feeds that reach no floor are mended before feeding begins, however far off that is, because hay has to be found. A
    safe mix is due when feeding begins within the week; for a herd that is fed already, where it is cheaper than what
    they are fed now, or (that cost not known) where the list of feeds is new: a list of last month was answered then.
    """
    begins = table.days_until("fed_from", context.on)
    ahead, fed = begins >= 0, table.number("fed_now")
    saving = np.where(found.feasible & ~ahead, np.nan_to_num(fed - cost), 0.0)
    new = np.isnan(fed) & (table.age_days("feeds") < WEEK)
    running = np.where(saving >= A_CENT, WEEK, np.where(new, WEEK - np.nan_to_num(table.age_days("feeds")), -1))
    soon = np.where(ahead, np.where(begins <= WEEK, begins, -1), running)
    short = np.where(ahead, begins, 0)
    due = np.floor(np.where(found.feasible, soon, short)).astype(np.int64)
    return due, np.where(saving >= A_CENT, WEEK * saving, 0.0)


def _usable(needs: Needs) -> Needs:
    """A floor that the equations cannot reach, and a ceiling that water has used up, as numbers a programme
    can hold."""
    from dataclasses import replace

    return replace(needs, tdn=np.where(np.isnan(needs.tdn), needs.intake, needs.tdn))


def _all_out(held: list[list[OneFeed]], s: Screened) -> Bools:
    return np.array(
        [bool(f) and len(out) >= len({x.name for x in f}) for f, out in zip(held, s.out, strict=True)], dtype=bool
    )


def _cost(s: Screened, found: Rations, held: list[list[OneFeed]], context: Context) -> Floats:
    """(herd, draw) minus the cost a head and day over the coming month, roughage and grain moving apart."""
    pounds = np.where(found.feasible[:, None], found.pounds, np.nan)
    spent = pounds * s.feeds.price
    rough = np.zeros(spent.shape, dtype=bool)
    for i, feeds in enumerate(held):
        rough[i, : len(feeds)] = [f.kind == "roughage" for f in feeds]
    hay = context.outlook.price_ratio("grass hay", [30])[:, 0]
    grain = context.outlook.price_ratio("corn", [30])[:, 0]
    hay_part, other = np.where(rough, spent, 0.0).sum(axis=1), np.where(rough, 0.0, spent).sum(axis=1)
    total = hay_part[:, None] * hay + other[:, None] * grain
    # rounded, so that bought hay which the programme leaves out ties with the mix instead of winning by noise
    return np.asarray(-np.round(np.where(found.feasible[:, None], total, np.nan), 6), dtype=np.float64)


def _quantities(
    table: Table,
    held: list[list[OneFeed]],
    grown: list[list[OneFeed]],
    needs: Needs,
    floor: needs_of.Floors,
    found: Rations,
    with_hay: Rations,
    band: tuple[float, float],
) -> dict[str, tuple[Any, str]]:
    n = len(table)
    bought = np.array([with_hay.pounds[i, len(f) - 1] / f[-1].dry_matter for i, f in enumerate(grown)], np.float64)
    out: dict[str, tuple[Any, str]] = {
        "cost": (found.cost, "USD/head/day"),
        "cost_with_bought_hay": (with_hay.cost, "USD/head/day"),
        "bought_hay_as_fed": (bought, "lb/day"),
        "intake": (needs.intake, "lb/day"),
        "intake_low": (np.where(table.known("intake"), np.nan, needs.intake * band[0]), "lb/day"),
        "intake_high": (np.where(table.known("intake"), np.nan, needs.intake * band[1]), "lb/day"),
        "tdn_density_needed": (np.broadcast_to(floor.tdn_percent, (n,)), "percent"),
        "nitrate_ceiling": (needs.nitrate, "ppm"),
        "nitrate_from_water": (needs.water_nitrate, "ppm"),
        "ration_nitrate": (found.level["nitrate"], "ppm"),
        "ration_sulfur": (100 * found.level["sulfur"], "percent"),
        "ration_aflatoxin": (found.level["aflatoxin"], "ppb"),
        "calcium_to_phosphorus": (found.level["calcium_to_phosphorus"], "1"),
    }
    for name in FLOORS:
        out[f"{name}_floor"] = (getattr(needs, name), "lb/day")
        out[f"ration_{name}"] = (found.level[name], "lb/day")
        out[f"price_of_{name}"] = (np.where(found.feasible, found.shadow[name], np.nan), "USD/lb")
    out["price_of_100_ppm_less_nitrate"] = (np.where(found.feasible, found.shadow["nitrate"], np.nan), "USD/head/day")
    out["price_of_a_tenth_percent_less_sulfur"] = (
        np.where(found.feasible, found.shadow["sulfur"], np.nan),
        "USD/head/day",
    )
    names = dict.fromkeys(f.name for feeds in held for f in feeds)
    for name in names:
        dry, fed = np.full(n, np.nan), np.full(n, np.nan)
        for i, feeds in enumerate(held):
            at = [k for k, f in enumerate(feeds) if f.name == name]
            if at and found.feasible[i]:
                dry[i] = found.pounds[i, at].sum()
                fed[i] = sum(found.pounds[i, k] / feeds[k].dry_matter for k in at)
        key = "_".join(name.lower().replace("-", " ").split())
        out[f"dry_matter_{key}"], out[f"as_fed_{key}"] = (dry, "lb/day"), (fed, "lb/day")
    return out


QUESTION = Question(
    name="ration", room="cattle", title="What is the cheapest safe ration?",
    about="A least-cost ration from the feeds at hand by linear programme, with nutrient floors by class and stage, "
    "and ceilings "
    "for nitrate (water counted), sulfur and aflatoxin that no price can buy past.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("herd", "pen")), size="head", check=_check,
    in_season=lambda table, context: table.known("feeds"),
    limits="Energy, protein, Ca and P only: other minerals and vitamins by a mineral programme. Adaptation, "
    "palatability and "
    "smallest practical amounts are not in it. A plain programme sits at its floors.",
    options_count=len(OPTIONS),
)  # fmt: skip
