"""A lot of hay as a case of may it be fed: what endangers whom, which ways it closes, what each way is worth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.families.may_it_be_fed import Danger, Way, doubted
from sideoats.forage import nitrate, stock
from sideoats.forage.clearing import sure_days
from sideoats.forage.dilution import as_fed_pounds
from sideoats.forage.hay_said import Told
from sideoats.forage.judge import Judgement, Lots, blend_is_safe
from sideoats.forage.nitrate_tables import tables
from sideoats.forage.slips import Pooled, Slip, day_before, pool
from sideoats.question import Context, Table
from sideoats.words import say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
FEEDING = ("straight", "grind", "blend")
_WET_FEEDS = ("silage", "haylage", "baleage", "green", "pasture")


def feed_slip(feed: Mapping[str, Any]) -> Slip:
    """The slip of a feed to mix with; wet feeds hold other moisture than hay."""
    wet = any(word in str(feed["name"]).lower() for word in _WET_FEEDS)
    return Slip.of({**feed, "result": feed["nitrate"]}, state="silage" if wet else "baled")


def _mix_level(feeds: Any, context: Context) -> float:
    """Level of the low-nitrate side, ppm NO3-N dry: feeds weighted by their parts; NaN where none or one is
    unusable."""
    parts = [1.0 if f.get("part") is None else float(f["part"]) for f in feeds or ()]
    if sum(parts) <= 0:
        return float("nan")
    levels = pool([[feed_slip(f)] for f in feeds], context.facts, context.on).level
    return float((np.array(parts) * levels).sum() / sum(parts))


def _slips(table: Table, context: Context) -> list[list[Slip]]:
    """The slips of every row: all on file, and the one that the row itself states."""
    words = {name: table.text(name) for name in ("form", "basis", "state")}
    numbers = {name: table.number(name) for name in ("result", "moisture", "cores")}
    told, singles, tests = table.date("tested"), table.rows("single_bales"), table.rows("tests")
    age = np.fmin(*(table.ages.get(name, np.full(len(table), np.nan)) for name in ("result", "single_bales")))
    out = []
    for i in range(len(table)):
        known = {k: None if np.isnan(v[i]) else float(v[i]) for k, v in numbers.items()}
        day = day_before(context.on, age[i]) if np.isnat(told[i]) else told[i].astype(object)
        own = Slip.of({**{k: v[i] for k, v in words.items()}, **known, "single_bales": singles[i]}, on=day)
        held = [Slip.of(row) for row in tests[i] or ()]
        if own.printed and not any(own.same_as(slip) for slip in held):
            held.append(own)
        out.append(held)
    return out


def lots_of(table: Table, context: Context) -> tuple[Lots, Pooled]:
    """What is known of every lot, and of the slips behind it."""
    put_up = -table.days_until("baled", context.on)
    keeps = np.where(np.isnan(put_up), sure_days(context), put_up)
    pooled = pool(_slips(table, context), context.facts, context.on, keeps, put_up)
    animals = [str(word) or "unknown" for word in table.text("class")]
    water_form = np.array([str(f) if f else "NO3-N" for f in table.text("water_form")], dtype=object)
    # water whose form is not stated is read as the ion that holds more nitrogen
    water = nitrate.nitrate_nitrogen_dry(table.number("water"), form=water_form, basis="dry")
    cattle = np.array([a not in stock.NOT_CATTLE for a in animals], dtype=bool)
    known = Lots(
        **pooled.sampled(),
        states=[str(s) or "baled" for s in table.text("state")],
        bales=table.number("bales"),
        animals=animals,
        weakened=table.flag("weakened"),
        low=np.array([_mix_level(f, context) for f in table.rows("feeds")], dtype=np.float64),
        water=water,
        air=stock.drinking_air(context.facts, context.region, context.on, table.number("air")),
        weight=np.where(cattle, table.number("weight"), np.nan),
        asked_share=table.number("share"),
    )
    return known, pooled


def needs(told: Told) -> dict[str, Bools]:
    """What is not known and nothing can be worked out without, by observable."""
    missing, why = told.c.missing, told.pooled.unread
    lacking = [set() if w is None or w.code != "slip.lacking" else set(w.values["what"].amount) for w in why]
    silent = np.array([w is None or w.code != "slip.lacking" for w in why], dtype=bool)
    parts = {part: np.array([part in each for each in lacking], dtype=bool) for part in ("form", "basis", "moisture")}
    return {
        "hay_nitrate.result": missing & silent,
        **{f"hay_nitrate.{part}": missing & rows for part, rows in parts.items()},
    }


def dangers(told: Told) -> tuple[Danger, ...]:
    """In the order in which they make the headline; silence first, because nothing else is known then."""
    c, known = told.c, told.known
    silent = np.array([why is None for why in told.pooled.unread], dtype=bool)
    lacking = np.array([why is not None and why.code == "slip.lacking" for why in told.pooled.unread], dtype=bool)
    sorghum = c.horse_stop & ~(known.level >= told.context.facts.value("forage/not_cattle.horses"))
    return (
        doubted("untested", "hay_nitrate.result", c.missing & silent),
        doubted("lacking", "hay_nitrate.form", c.missing & lacking),
        doubted("unreadable", "hay_nitrate.result", c.missing & ~silent & ~lacking),
        Danger("horses", c.horse_stop & ~sorghum, FEEDING, say("hay-nitrate.why.horses")),
        Danger("sorghum", sorghum, FEEDING, say("hay-nitrate.why.horses")),
        Danger("water", c.water_stop, FEEDING, told.why("water"), doubts={"hay_nitrate.water": c.water_caution}),
        *_over_the_line(told),
        doubted("horse", "hay_nitrate.class", c.horse, *FEEDING, until=told.why("no_table")),
        doubted("other", "hay_nitrate.class", c.not_cattle & ~c.horse, *FEEDING, until=told.why("no_table")),
        doubted("slip", "hay_nitrate.result", c.unread),
        doubted("torn", "hay_nitrate.result", c.torn),
        doubted("watered", "hay_nitrate.water", c.water_torn),
        doubted("whose", "hay_nitrate.class", c.unnamed),
        doubted("earlier", "place.baled", c.earlier),
        doubted("aged", "hay_nitrate.result", c.aged),
        doubted("old", "place.baled", c.stale),
        doubted("grazing", "hay_nitrate.result", c.standing & c.not_lowest),
        *_sampling(told),
        doubted("only", "hay-nitrate.only_test", c.again),
    )


def _over_the_line(told: Told) -> tuple[Danger, ...]:
    """The lot is over a line for these animals: none at all, a bale of it, not as the only feed."""
    j, c = told.j, told.c
    bale = c.over_bale
    never = j.not_at_all & c.not_alone & ~bale
    only = c.not_alone & ~never & ~bale
    kinds = (
        ("bale", bale, told.why("over_bale")),
        ("never-standing", never & c.standing, told.why("not_at_all")),
        ("never", never & ~c.standing, told.why("not_at_all")),
        ("standing", only & c.standing, None),
        ("total", only & ~c.standing & j.unread_water, None),
        ("alone", only & ~c.standing & ~j.unread_water, None),
    )
    return tuple(
        Danger(name, rows, FEEDING, why) if why else Danger(name, rows, FEEDING[:2], told.why("not_alone"))
        for name, rows, why in kinds
    )


def _sampling(told: Told) -> tuple[Danger, ...]:
    """Too small a sample, or a bale that may be hot: how many more to take, or what else would clear the lot."""
    j, c = told.j, told.c
    rows = j.unsettled & ~c.must_grind & ~c.missing
    nothing = rows & np.isnan(j.more_bales)
    unsaid = rows & ~nothing & c.small & ~told.known.stated
    kinds = (("mix", nothing), ("unsaid", unsaid), ("sample", rows & ~nothing & ~unsaid))
    return tuple(doubted(n, "hay_nitrate.cores", at, "straight", until=told.why("sampling")) for n, at in kinds)


def ways(told: Told) -> tuple[Way, ...]:
    """What can be done with a lot, each with its worth a ton over keeping it from all animals."""
    j, c, known = told.j, told.c, told.known
    none_named, safe = np.isnan(known.low), blend_is_safe(j, known.asked_share)
    open_blend = ~j.not_at_all & ~j.over_bale & ~c.standing
    money = _money(told)
    least = j.at_risk & (j.plain.share <= 0)
    closed: dict[str, tuple[Any, ...]] = {
        "straight": ((c.must_grind, told.why("sampling")),),
        "grind": ((c.standing | c.silage, say("hay-nitrate.why.not_ground")),),
        "blend": (
            (c.standing & ~j.not_at_all, say("hay-nitrate.why.standing")),
            (open_blend & none_named, say("hay-nitrate.why.no_feed")),
            (open_blend & ~none_named & ~safe, told.why("blend")),
        ),
        "ensile": ((~c.standing, told.why("not_standing")),),
        "other-class": (
            (least, told.why("no_class")),
            (j.at_risk & j.over_plain, told.why("over_plain")),
            (~j.at_risk, say("hay-nitrate.why.least_risk")),
            (c.horse, say("hay-nitrate.why.no_cattle")),
        ),
    }
    return tuple(
        Way(key, gain, passive=key in ("straight", "hold"), closed=closed.get(key, ())) for key, gain in money.items()
    )


def _money(told: Told) -> dict[str, Floats]:
    """(place, draw) money a ton as fed over keeping it from all animals and buying other hay, whose price it saves."""
    table, facts, out = told.table, told.context.facts, told.context.outlook
    given, cost = table.number("price"), table.number("grinding")[:, None]
    price = np.where(np.isnan(given), facts.value("forage/hay.price"), given)[:, None]
    price = price * out.price_ratio("grass hay", [30])[:, 0]
    cost = np.where(np.isnan(cost), out.between("grinding", *facts.span("forage/hay.grinding")), cost)
    kept = price * (1 - out.between("other class", *facts.span("forage/hay.other_class_discount")))
    haul = out.between("discard", *facts.span("forage/hay.discard"))
    share = np.where(np.isnan(told.known.asked_share), told.j.share, np.fmin(told.known.asked_share, told.j.share))
    mixed = np.where(share[:, None] > 0, cost, np.nan)  # no share, no blend to price
    return {
        "straight": price,
        "grind": price - cost,
        "blend": price - mixed,
        "ensile": kept,
        "other-class": kept,
        "discard": np.broadcast_to(-haul, price.shape),
        "hold": np.zeros(price.shape),
    }


def quantities(asked: Table, known: Lots, j: Judgement, facts: Facts, followed: str | None) -> dict[str, Any]:
    """Figures of every lot, by name, with their units."""
    table, every = tables(facts, followed)
    dry = 1.0 - asked.number("moisture")
    dry = np.where(dry > 0, dry, facts.value("forage/hay.dry_matter"))
    pounds = as_fed_pounds(j.share[:, None], j.intake_lb, dry[:, None])[:, 0]
    unknown, unmixed = np.isnan(known.level), np.isnan(known.low) | np.isnan(known.level)
    out: dict[str, Any] = {
        "nitrate_nitrogen_dry": (known.level, "ppm"),
        "nitrate_ion_dry": (known.level * nitrate.ion_factor("NO3-N", "NO3"), "ppm"),
        "hottest_credible_bale": (j.hottest, "ppm"),
        "nitrate_nitrogen_from_water": (np.where(np.isnan(known.water), np.nan, j.drunk), "ppm"),
        "ration_ceiling": (np.where(unknown, np.nan, j.ruling.ceiling), "ppm"),
        "largest_share_by_class": (np.where(unknown, np.nan, j.ruling.share), "1"),
        "safe_share": (np.where(unmixed, np.nan, j.share), "1"),
        "hay_a_head_at_that_share": (np.where(unmixed, np.nan, pounds), "lb/day"),
        "bales_to_core_more": (np.where(j.unsettled, j.more_bales, np.nan), "bale"),
        "chance_no_bale_over_the_line": (j.clear_chance, "1"),
    }
    for name, index in j.classes.items():
        labels = np.array([*every[name].labels, ""], dtype=object)
        out[f"class_{name}"] = (labels[index], "")
    # a publisher is followed for animals not at special risk; for the others the row that binds says whose it is
    followed_by = np.where(j.at_risk, "", np.full(len(known.level), table.publisher, dtype=object))
    return out | {"followed": (followed_by, ""), "bound_by": (np.where(unknown, "", j.ruling.by), "")}
