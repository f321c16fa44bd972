"""A soil test slip as rates of inputs: phosphate, potash and lime, over none applied.

The rates are the publisher's for the year's crop; what each brings is a range, and what is toxic to wheat (aluminum on
acid ground, salt) is counted before anything is bought.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
from numpy.typing import NDArray

from sideoats.families import rate_of_an_input as rate
from sideoats.problem import Barred, Choice, Look
from sideoats.question import Context, Table
from sideoats.ruling import WAIT_DAYS
from sideoats.wheat import fertility
from sideoats.wheat.asked import known_or
from sideoats.wheat.days import harvest_days, sowing_days
from sideoats.wheat.drawn import yield_draws
from sideoats.words import Measured, Parts, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

UNIT = "USD/ac"
CALIBRATED = ("Mehlich-3", "Bray-1")
TESTED = ("phosphorus", "potassium", "ph")
LEAST = 0.5  # lb/ac: less is nothing that can be spread
SEEN_LOSS = 0.01  # share of the crop: less is not seen in a field
PASTE, THINNEST = "saturated paste", "1:2"
# share of the phosphate rate, of the potash rate, of the lime; none applied first
WAYS = tuple((p, k, lime) for lime, k, p in product((0.0, 1.0), (0.0, 1.0), (0.0, 0.5, 1.0)))
_NAMES = ("phosphate", "potash", "lime")
_F = "wheat/"
FORTNIGHT, MONTH, YEAR = 14, 30, 365


@dataclass(frozen=True)
class Slip:
    """What a slip asks for and what stands against it; (place,) unless said, NaN where not tested.

    Attributes
    ----------
    phosphate, potash, lime : rates [lb/ac of P2O5, of K2O, of the lime on offer]; lime NaN where its need is not known
    acid : pH under the line below which aluminum hurts wheat
    high : (place, draw) 1 where aluminum is above its line
    salt_lost : (place, draw) share of the crop that salt takes
    unnamed : salt harms nothing as a saturated paste, the extract was not named, and by a thinner one it would
    alkaline : pH from which sodium is suspected
    least_band : least P2O5 that is set on a drill [lb/ac], one for all
    days : to sowing
    """

    phosphate: Floats
    potash: Floats
    lime: Floats
    acid: Bools
    high: Floats
    salt_lost: Floats
    unnamed: Bools
    alkaline: Bools
    days: Floats
    least_band: float

    @cached_property
    def sown(self) -> Bools:
        """The day of sowing is past."""
        return np.asarray(self.days < 0)

    @cached_property
    def asks(self) -> tuple[Bools, Bools, Bools]:
        """Whether it asks for phosphate, potash, lime; lime unless aluminum was found to be low."""
        toxic = self.acid & (self.high.mean(axis=1) >= 0.1)
        return (np.nan_to_num(self.phosphate) >= LEAST, np.nan_to_num(self.potash) >= LEAST, toxic)

    @cached_property
    def salty(self) -> Bools:
        """Salt takes something that can be seen."""
        return np.asarray(self.salt_lost.mean(axis=1) > SEEN_LOSS)

    @cached_property
    def any_asked(self) -> Bools:
        """It asks for something."""
        return np.asarray(np.any(self.asks, axis=0))


def slip_of(table: Table, context: Context) -> Slip:
    """Rates by the Kansas sufficiency equations, aluminum and salt against their lines."""
    facts = context.facts
    goal = table.number("yield")
    level = np.where(usable(table), table.number("phosphorus"), np.nan)
    phosphate, potash = (
        fertility.build_and_feed(facts[f"{_F}{what}.kansas.equation"], critical(context, what), goal, test)
        for what, test in (("phosphorus", level), ("potassium", table.number("potassium")))
    )
    acid = np.asarray(table.number("ph") < facts.value(_F + "lime.ph"))
    alkaline = table.number("ph") >= facts.value(_F + "salt.sodium_ph")
    return Slip(
        phosphate,
        potash,
        _lime(table, context),
        acid,
        _high_aluminum(table, context),
        _salt_lost(table, context),
        _unnamed(table, context),
        np.asarray(alkaline),
        sowing_days(table, context),
        facts.value(_F + "phosphorus.least_band"),
    )


def critical(context: Context, what: str) -> float:
    """The test [ppm] below which wheat is taken to answer to "phosphorus" or "potassium"."""
    return context.facts.value(f"{_F}{what}.kansas.critical")


def usable(table: Table) -> Bools:
    """(place,) the extractant is one that the equation was made with."""
    return np.isin(table.text("extractant").astype(str), CALIBRATED)


def foreign(table: Table) -> Bools:
    """(place,) phosphorus was read in an extractant that the equation was not made with, or that was not named."""
    return np.asarray(table.known("phosphorus") & ~usable(table))


def limy(table: Table, context: Context) -> Bools:
    """(place,) phosphorus reads low by an extractant that the lime of the soil uses up."""
    bray = (table.text("extractant") == "Bray-1") & (table.number("phosphorus") < critical(context, "phosphorus"))
    return np.asarray(bray & (table.number("ph") > context.facts.value(_F + "phosphorus.bray_highest_ph")))


def _lime(table: Table, context: Context) -> Floats:
    """(place,) material of the lime on offer [lb/ac]; the common range's middle where its content was not told."""
    facts, on_top = context.facts, table.flag("no_till")
    share = np.where(on_top, facts.value(_F + "lime.surface_share"), 1.0) if on_top.any() else np.ones(len(table))
    content = known_or(table.number("lime_content"), context, _F + "lime.content")
    return fertility.lime_rate(table.number("lime_need"), 100 * content, share)


def _high_aluminum(table: Table, context: Context) -> Floats:
    """(place, draw) 1 where aluminum is above its line: by the test and its error, by pH where it was not tested."""
    facts, out, found = context.facts, context.outlook, table.number("aluminum")[:, None]
    error, line = facts.value(_F + "lime.aluminum_error"), facts.value(_F + "lime.aluminum")
    measured = found * np.exp(error * out.normal("aluminum test", table.keys)) > line
    rows = facts[_F + "lime.high_aluminum"]
    chance = np.interp(table.number("ph"), rows.column("pH"), rows.column("chance"))[:, None]
    guessed = out.uniform("aluminum, untested", table.keys) < chance
    return np.where(np.isnan(found), guessed, measured).astype(np.float64)


def _salt_lost(table: Table, context: Context) -> Floats:
    """(place, draw) share of the crop that salt takes; none where it was not tested."""
    extracts = [str(e) or PASTE for e in table.text("salt_extract")]
    return salt_by(table, context, extracts)


def _unnamed(table: Table, context: Context) -> Bools:
    """(place,) the salt's extract was not told, and which it was decides whether salt harms."""
    lacking = table.known("salt") & ~table.known("salt_extract")
    if not lacking.any():
        return lacking
    paste, thin = (salt_by(table, context, [e] * len(table)).mean(axis=1) for e in (PASTE, THINNEST))
    return np.asarray(lacking & (paste <= SEEN_LOSS) & (thin > SEEN_LOSS))


def salt_by(table: Table, context: Context, extracts: list[str]) -> Floats:
    """(place, draw) share of the crop that salt takes if every place's was read in that extract."""
    facts, out, salt = context.facts, context.outlook, table.number("salt")[:, None]
    if np.isnan(salt).all():
        return np.zeros((len(table), out.draws))
    begins, slope = (float(v) for v in facts[_F + "salt.wheat"].rows[0])
    by_extract = {row[0]: (float(row[1]), float(row[2])) for row in facts[_F + "salt.paste"].rows}
    ends = np.array([by_extract[extract] for extract in extracts])[:, :, None]
    times = ends[:, 0] + (ends[:, 1] - ends[:, 0]) * out.uniform("salt of the paste")
    return np.asarray(np.clip(np.nan_to_num(salt * times - begins), 0.0, 1.0 / slope) * slope)


@dataclass(frozen=True)
class Money:
    """What the ways bring and cost; prices (place,).

    Attributes
    ----------
    gain : (place, draw, way) over none applied [USD/ac]
    lime : (place, draw) what lime alone gains
    lime_week : (place,) what spreading it a week later costs
    """

    gain: Floats
    lime: Floats
    lime_week: Floats
    phosphate_price: Floats
    potash_price: Floats
    price: Floats

    def best(self, rows: Bools) -> Ints:
        """(place,) the way that gains most on average among those in `rows` (place, way)."""
        return np.asarray(np.where(rows, self.mean, -np.inf).argmax(axis=1))

    @cached_property
    def mean(self) -> Floats:
        """(place, way) gain on average."""
        return np.asarray(self.gain.mean(axis=1))

    def lime_test(self, slip: Slip, rows: Bools, cost: float) -> Look:
        """Having aluminum tested before lime is bought, at the `rows` where it was not."""
        worth = np.where(rows, _told_worth(self.lime, slip.high), 0.0)
        within = np.where(slip.days >= 0, np.minimum(np.nan_to_num(slip.days), FORTNIGHT), FORTNIGHT).astype(np.int64)
        return Look(slip.high, np.full(len(rows), cost), within, worth=worth)


def _told_worth(gain: Floats, sign: Floats) -> Floats:
    """(place,) what it is worth to be told a yes or no (place, draw) before `gain` (place, draw) is taken or left."""
    share = sign.mean(axis=1)
    with_yes, with_no = (gain * sign).mean(axis=1), (gain * (1 - sign)).mean(axis=1)
    informed = np.maximum(with_yes, 0.0) + np.maximum(with_no, 0.0)
    return np.where((share > 0) & (share < 1), informed - np.maximum(gain.mean(axis=1), 0.0), 0.0)


def money_of(table: Table, context: Context, slip: Slip) -> Money:
    """Every way over none applied."""
    facts, out = context.facts, context.outlook
    price = known_or(table.number("price"), context, _F + "usual.price")
    ratio = out.price_ratio("wheat", [harvest_days(context)])[:, 0]
    crop = yield_draws(table, context) * (1 - slip.salt_lost) * price[:, None] * ratio
    phosphate_price = known_or(_phosphate_price(table, context), context, _F + "phosphorus.price")
    potash_price = known_or(table.number("potash_price"), context, _F + "potassium.price")
    at_full = facts.value(_F + "phosphorus.rate_reaches")
    brings, costs = [], []
    for what, price_lb, asked, curve in (
        ("phosphorus", phosphate_price, slip.phosphate, 1),
        ("potassium", potash_price, slip.potash, 2),
    ):
        short = np.clip(1 - table.number(what) / critical(context, what), 0.0, 1.0)[:, None] ** curve
        brings.append(short * out.between(f"{what} response", *facts.span(f"{_F}{what}.lost")) * crop)
        costs.append(asked * price_lb)
    lime, lime_week = _lime_gain(table, context, slip, crop)
    spread, each = table.number("cost"), []
    in_band, broadcast = _in_band(table, context), np.ones((1, 1))
    for phosphate, potash, limed in WAYS:
        value = np.zeros_like(crop)
        for share, whole, cost, does in zip((phosphate, potash), brings, costs, (in_band, broadcast), strict=True):
            if share:
                value = value + whole * rate.reached(share * does, at_full) - share * cost[:, None]
        each.append(value - (spread[:, None] if phosphate or potash else 0.0) + (lime if limed else 0.0))
    gain = rate.over_base(np.stack(each, axis=2), np.zeros((1, 1, 1)))
    return Money(gain, lime, lime_week, phosphate_price, potash_price, price)


def _in_band(table: Table, context: Context) -> Floats:
    """(place, draw) what a pound does over a pound that is broadcast: more in a band; between where nobody said."""
    most = 1.0 / context.facts.value(_F + "phosphorus.band_ratio")
    drawn = context.outlook.between("phosphate in a band", 1.0, most)
    told = np.where(table.flag("banded"), most, 1.0)[:, None]
    return np.where(table.known("banded")[:, None], told, drawn)


def _phosphate_price(table: Table, context: Context) -> Floats:
    """(place,) of a pound of P2O5 [USD/lb]: as given, else from DAP's price, its nitrogen valued first."""
    given = table.number("phosphate_price")
    if not table.known("product_price").any():
        return given
    rows = {str(r[0]): r for r in context.facts[_F + "fertiliser.analysis"].rows}
    nitrogen, phosphate = float(rows["DAP"][1]), float(rows["DAP"][2])
    price = fertility.phosphate_price(
        table.number("product_price"), nitrogen, phosphate, table.number("nitrogen_price")
    )
    return np.where(np.isnan(given), price, given)


def _lime_gain(table: Table, context: Context, slip: Slip, crop: Floats) -> tuple[Floats, Floats]:
    """What lime brings over the crops that it serves, less its whole cost (place, draw); what a week costs (place,)."""
    facts, out = context.facts, context.outlook
    rows = facts[_F + "lime.lost"]
    low, high = (np.interp(table.number("ph"), rows.column("pH"), rows.column(end))[:, None] for end in ("low", "high"))
    lost = (low + (high - low) * out.uniform("lime response")) * slip.high
    crops = out.between("crops limed", *facts.span(_F + "lime.crops")) - 0.5  # the first crop has half
    need = table.number("lime_need")[:, None]
    need = np.where(np.isnan(need), out.between("lime need", *facts.span(_F + "lime.need")), need)
    content = table.number("lime_content")[:, None]
    content = np.where(np.isnan(content), out.between("lime content", *facts.span(_F + "lime.content")), content)
    share = np.where(table.flag("no_till"), facts.value(_F + "lime.surface_share"), 1.0)[:, None]
    a_ton = known_or(table.number("lime_price"), context, _F + "lime.price")[:, None]
    gain = lost * crops * crop - fertility.lime_rate(need, 100 * content, share) / 2000 * a_ton
    acid = slip.acid[:, None]
    a_week = np.where(acid, lost * crop, 0.0).mean(axis=1) / facts.value(_F + "lime.works")
    return np.where(acid, gain, 0.0), a_week


def lime_first(slip: Slip, money: Money) -> Bools:
    """(place,) lime is in what gains most and sowing is weeks ahead: it is spread now, so that it works by then."""
    with_lime = np.array([way[2] > 0 for way in WAYS])
    return np.asarray(with_lime[money.best(~closed(slip))] & (slip.days > WAIT_DAYS))


def due(slip: Slip, money: Money) -> Ints:
    """(place,) days to the day by which it goes on: lime within a fortnight, the rest by sowing."""
    return np.where(lime_first(slip, money), np.fmin(slip.days, FORTNIGHT), rate.due(slip.days)).astype(np.int64)


def delay(slip: Slip, money: Money) -> Floats:
    """(place, way) what a week's wait costs: lime works later for it, the rest can wait for the sowing."""
    whole = rate.delay(money.gain, slip.days)
    late = np.where(money.lime_week > 0, money.lime_week, np.nan)[:, None]
    early = (slip.days > WAIT_DAYS)[:, None] & np.array([way[2] > 0 for way in WAYS])
    return np.where(early, late, whole)


def options_of(slip: Slip) -> tuple[Choice, ...]:
    """Each way, labelled with every place's own rates."""
    return tuple(
        Choice(_key(way), _label(way, slip), trouble=rate.TROUBLE, kind="some")
        if any(way)
        else Choice("none", say("option.nothing-on"), passive=True, kind="none")
        for way in WAYS
    )


def crops_limed(context: Context) -> tuple[float, float]:
    """Low and high of the wheat crops that one liming serves."""
    low, high = context.facts.span(_F + "lime.crops")
    return float(low), float(high)


def _key(way: tuple[float, float, float]) -> str:
    return "+".join(f"{name}-half" if share == 0.5 else name for share, name in zip(way, _NAMES, strict=True) if share)


def _label(way: tuple[float, float, float], slip: Slip) -> Said:
    return say("option.put-on", parts=Parts(parts_of(way, slip)))


def parts_of(way: tuple[float, float, float], slip: Slip) -> tuple[Said, ...]:
    """What a way puts on, with each place's own rates; without one where the slip asks for none of it."""
    out = []
    for share, name, asked, asks in zip(way, _NAMES, (slip.phosphate, slip.potash, slip.lime), slip.asks, strict=True):
        known = asks & np.isfinite(asked)
        shown = np.round(share * asked, -1 if name == "lime" else 0)
        if share:
            code = f"soil-test.{name}" + ("_half" if share == 0.5 else "")
            out += [
                say(code, rate=Measured(shown, unit="lb/ac")).where(known),
                say(f"{code}_unmeasured").where(~known),
            ]
    return tuple(out)


def bars(slip: Slip) -> tuple[Barred, ...]:
    """What the slip asks none of, and half a rate that is too little to set."""
    ways = np.array(WAYS)
    none_of = np.any([(ways[None, :, at] > 0) & ~asked[:, None] for at, asked in enumerate(slip.asks)], axis=0)
    little = (ways[None, :, 0] == 0.5) & (0.5 * slip.phosphate < slip.least_band)[:, None]
    return (Barred(none_of, say("bar.not_asked")), Barred(little & ~none_of, say("bar.little")))


def closed(slip: Slip) -> Bools:
    """(place, way) some bar stands."""
    return np.asarray(np.any([bar.mask for bar in bars(slip)], axis=0))


def needs_of(table: Table, context: Context) -> dict[str, Bools]:
    """A test, its extractant, the extract of salt that decides, and the expected yield."""
    tested = np.any([table.known(name) for name in (*TESTED, "salt")], axis=0)
    return {
        "soil_test.phosphorus": ~tested,
        "soil_test.extractant": foreign(table) | limy(table, context),
        "soil_test.salt_extract": _unnamed(table, context),
        "place.expected_yield": ~table.known("yield"),
    }


def recheck(table: Table, context: Context, slip: Slip, money: Money) -> Ints:
    """(place,) days until one looks again: the next slip where nothing is asked or pays, else in time for sowing."""
    years = {row[0]: float(row[2]) for row in context.facts.by_id[_F + "soil.depth"].rows}["surface"]
    whole = np.all([table.known(name) for name in TESTED], axis=0)
    slips = np.where(whole & ~slip.acid, YEAR * years, YEAR)
    after = (context.region.next("wheat-sold", context.on) - context.on).days
    idle = ~slip.any_asked | ((money.best(~closed(slip)) == 0) & ~slip.sown)
    calm = idle & ~slip.salty & ~slip.alkaline
    return np.where(calm, slips, rate.again(slip.days, after, MONTH)).astype(np.int64)
