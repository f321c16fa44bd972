"""May this hay be fed, to whom, and how?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.forage import citing, lots, nitrate, stock
from sideoats.forage.dilution import as_fed_pounds
from sideoats.forage.drought import drought_broke_by_place
from sideoats.forage.judge import Judgement, Lots, blend_is_safe, judge
from sideoats.forage.nitrate_tables import BASIS_ALIASES, FORM_ALIASES, tables
from sideoats.forage.questions._hay_words import Words
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

OPTIONS = (
    Option("straight", "Feed it bale by bale", passive=True),
    Option("grind", "Grind and mix the lot by itself, so that no animal eats one bale"),
    Option("blend", "Grind and mix it with low-nitrate feed"),
    Option("ensile", "Ensile it, test it again, then decide"),
    Option("other-class", "Keep it for animals at less risk"),
    Option("discard", "Haul it to where no animal can reach it"),
)
_KEEPS = 4000.0  # nitrate stays in hay: an old result does not go stale
STRAIGHT, GRIND, BLEND, ENSILE, OTHER, DISCARD = range(len(OPTIONS))
FORM_HELP = "which form the laboratory reports; it must be stated, because " + nitrate.WHY
BASIS_HELP = (
    "dry (dry matter) or as-fed (with the moisture); it must be stated, because a wet sample of 75 % moisture reads a "
    "quarter of its dry-matter level"
)
FEED_FIELDS = (
    Field("name", "text", "feed", required=True, example="prairie hay"),
    Field("nitrate", "number", "its nitrate", unit="ppm", low=0, high=1e6, required=True, example="150 ppm"),
    Field("form", "choice", FORM_HELP, choices=nitrate.IONS, aliases=FORM_ALIASES, required=True),
    Field("basis", "choice", BASIS_HELP, choices=nitrate.BASES, aliases=BASIS_ALIASES, required=True),
    Field("moisture", "share", "moisture of the sample, for a result as fed"),
    Field("part", "number", "its parts of the low-nitrate side of the mix", low=0, high=1e6, default=1.0),
)
PUBLISHERS = (
    "clemson", "servitech", "dairyland", "american-ag-lab", "nebraska", "south-dakota", "manitoba", "wyoming",
    "kansas-agronomy", "kansas-farney", "kansas-mf3029", "montana", "trade",
)  # fmt: skip

INPUTS = (
    Field("result", "number", "nitrate as the laboratory printed it, with ppm or %", unit="ppm", low=0, high=1e6,
          example="11400 ppm", found_in=("evidence:hay_nitrate.result",), fresh_days=_KEEPS),
    Field("single_bales", "numbers", "results of bales tested one by one, instead of one result", unit="ppm", low=0,
          high=1e6, example="1200, 2100, 900 ppm", found_in=("evidence:hay_nitrate.single_bales",), fresh_days=_KEEPS),
    Field("form", "choice", FORM_HELP, choices=nitrate.IONS, aliases=FORM_ALIASES, required=True,
          found_in=("evidence:hay_nitrate.form",), fresh_days=_KEEPS),
    Field("basis", "choice", BASIS_HELP, choices=nitrate.BASES, aliases=BASIS_ALIASES, required=True,
          found_in=("evidence:hay_nitrate.basis",), fresh_days=_KEEPS),
    Field("moisture", "share", "moisture of the sample; needed for a result as fed", example="12%",
          found_in=("evidence:hay_nitrate.moisture",), fresh_days=_KEEPS),
    Field("class", "choice", "animals that would eat it; the strictest class is used where it is not given",
          choices=stock.CLASSES, aliases=stock.ALIASES, default="unknown",
          found_in=("evidence:hay_nitrate.class", "place:class"), fresh_days=_KEEPS),
    Field("weakened", "flag", "animals hungry, sick, thin, stressed or not used to the feed", default=False),
    Field("cores", "number", "bales cored for the sample; one is assumed where it is not given", bare=True, low=1,
          high=5000, found_in=("evidence:hay_nitrate.cores",), fresh_days=_KEEPS),
    Field("bales", "number", "bales in the lot", bare=True, low=1, high=5000,
          found_in=("evidence:hay_nitrate.bales", "place:bales"), fresh_days=_KEEPS),
    Field("feeds", "records", "low-nitrate feeds to mix with, each with its nitrate, form and basis",
          fields=FEED_FIELDS,
          example="name=prairie hay, nitrate=150 ppm, form=NO3-N, basis=dry",
          found_in=("evidence:hay_nitrate.feeds",), fresh_days=_KEEPS),
    Field("share", "share", "share of the ration's dry matter that this hay would be; the largest safe one if absent",
          found_in=("evidence:hay_nitrate.share",), fresh_days=_KEEPS),
    Field("water", "number", "nitrate in the drinking water", unit="ppm", low=0, high=1e5, example="40 ppm",
          found_in=("evidence:hay_nitrate.water",), fresh_days=_KEEPS),
    Field("water_form", "choice", "NO3 or NO3-N of the water's result", choices=("NO3-N", "NO3"), aliases=FORM_ALIASES,
          found_in=("evidence:hay_nitrate.water_form",), fresh_days=_KEEPS),
    Field("air", "number", "air temperature, for how much they drink; the most water is taken if absent", unit="degF",
          low=-40, high=130),
    Field("weight", "number", "weight of an animal; usual for the class if absent", unit="lb", low=50, high=3500,
          example="1200 lb", found_in=("place:weight",)),
    Field("fed_from", "date", "day on which feeding it begins; it may be fed already if absent",
          found_in=("place:feeding_date",)),
    Field("state", "choice", "baled, standing or silage", choices=("baled", "standing", "silage"), default="baled",
          found_in=("evidence:hay_nitrate.state",), fresh_days=_KEEPS),
    Field("hay", "text", "what the hay is", found_in=("place:crop",)),
    Field("price", "number", "what the hay is worth", unit="USD/ton", low=0, high=2000, example="110 USD/ton",
          found_in=("place:price", "quote:grass hay", "setting:price.hay")),
    Field("grinding", "number", "cost of grinding and mixing", unit="USD/ton", low=0, high=300,
          found_in=("setting:cost.grinding",)),
    Field("table", "choice", "whose classes to follow this once, for animals not at special risk", choices=PUBLISHERS),
    Field("station", "text", "weather station on file that stands for where the hay grew", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["result"] is None and not values["single_bales"]:
        raise InputError(
            "no result given", where="hay-nitrate result", expected="result='2100 ppm' or single_bales='1200, 2100 "
            "ppm'",
            todo="send cores of the bales to a laboratory; a colour test is only a screen (see hay-spot-test)",
        )  # fmt: skip
    if values["result"] is not None and values["single_bales"]:
        raise InputError("both result and single_bales given", where="hay-nitrate", expected="one of them")
    nitrate.nitrate_nitrogen_dry(0.0, form=values["form"], basis=values["basis"], moisture=_or_nan(values["moisture"]))
    for feed in values["feeds"] or ():
        _feed_level(feed)
    if values["water"] is not None and values["water_form"] is None:
        raise InputError(
            "is missing", where="hay-nitrate water_form", expected="NO3-N or NO3",
            todo="a water result is judged only with its form: 100 ppm NO3-N is 443 ppm NO3",
        )  # fmt: skip


def _or_nan(value: Any) -> float:
    return float("nan") if value is None else float(value)


def _feed_level(feed: dict[str, Any]) -> float:
    level = nitrate.nitrate_nitrogen_dry(
        feed["nitrate"], form=feed["form"], basis=feed["basis"], moisture=_or_nan(feed.get("moisture"))
    )
    return float(level)


def _mix_level(feeds: Any) -> float:
    """Level of the low-nitrate side, ppm NO3-N dry: feeds weighted by their parts; NaN where none or one is
    unusable."""
    if not feeds:
        return float("nan")
    parts = [float(f.get("part") or 0.0) for f in feeds]
    if sum(parts) <= 0:
        return float("nan")
    try:
        return sum(p * _feed_level(f) for p, f in zip(parts, feeds, strict=True)) / sum(parts)
    except InputError:
        return float("nan")


def _stated(table: Table) -> Bools:
    """Rows whose ion and moisture basis are stated, with the moisture where it is needed."""
    form, basis, moisture = table.text("form"), table.text("basis"), table.number("moisture")
    wet = np.array([b == "as-fed" for b in basis], dtype=bool)
    known = np.array([f in nitrate.IONS and b in nitrate.BASES for f, b in zip(form, basis, strict=True)], dtype=bool)
    return known & (~wet | ((moisture >= 0) & (moisture < 1)))


def _lots(table: Table) -> Lots:
    n = len(table)
    stated = _stated(table)
    centre, squares, count, seen = lots.core_summary(list(table.rows("single_bales")))
    given = np.where(count > 0, centre, table.number("result"))
    form = np.where(stated, table.text("form"), "NO3-N")
    basis = np.where(stated, table.text("basis"), "dry")
    moisture = table.number("moisture")
    mean = np.array([np.mean(held) if held else np.nan for held in table.rows("single_bales")], dtype=np.float64)

    def dry(values: Floats) -> Floats:
        known = np.where(stated, values, np.nan)
        return nitrate.nitrate_nitrogen_dry(known, form=form, basis=basis, moisture=moisture)

    # the class is read from the mean, which is what the ground lot holds; bales spread about the geometric mean
    level, centre, hottest = dry(np.fmax(mean, table.number("result"))), dry(given), dry(seen)
    cores = np.where(count > 0, count, np.nan_to_num(table.number("cores"), nan=1.0))
    water_form = np.array([str(f) if f else "NO3-N" for f in table.text("water_form")], dtype=object)
    # water whose form is not stated is read as the ion that holds more nitrogen
    water = nitrate.nitrate_nitrogen_dry(table.number("water"), form=water_form, basis=np.full(n, "dry", object))
    return Lots(
        level=level, centre=centre, squares=squares, cores=np.maximum(cores, 1.0), seen=hottest,
        bales=table.number("bales"), animals=list(table.text("class")), weakened=table.flag("weakened"),
        low=np.array([_mix_level(f) for f in table.rows("feeds")], dtype=np.float64), water=water,
        air=table.number("air"), weight=table.number("weight"), asked_share=table.number("share"),
    )  # fmt: skip


def _bars(table: Table, known: Lots, j: Judgement) -> tuple[tuple[Bar, ...], Bools]:
    """Every bar with its reason, and the union of their masks (place, option)."""
    shape = (len(table), len(OPTIONS))
    blank = np.zeros(shape, dtype=bool)
    standing = np.array([s == "standing" for s in table.text("state")], dtype=bool)

    def mask(**columns: Bools) -> Bools:
        out = blank.copy()
        for key, rows in columns.items():
            out[:, {"straight": STRAIGHT, "grind": GRIND, "blend": BLEND, "ensile": ENSILE, "other": OTHER}[key]] = rows
        return out

    words = Words(table, known, j)
    none_named = np.isnan(known.low)
    safe, open_blend = blend_is_safe(j, known.asked_share), ~j.not_at_all & ~j.over_bale
    bars = (
        Bar(mask(straight=j.not_alone, grind=j.not_alone), words.not_alone, hazard=True),
        Bar(mask(straight=j.over_bale, grind=j.over_bale, blend=j.over_bale), words.over_bale, hazard=True),
        Bar(mask(straight=j.hot_bale), words.hot_bale),
        Bar(mask(blend=j.not_at_all), words.not_at_all, hazard=True),
        Bar(mask(blend=open_blend & none_named), "no low-nitrate feed is named with its nitrate, form and basis"),
        Bar(mask(blend=open_blend & ~none_named & ~safe), words.blend_unsafe),
        Bar(mask(ensile=~standing), words.not_standing),
        Bar(mask(other=j.at_risk & (j.plain.share <= 0)), words.no_class, hazard=True),
        Bar(mask(other=j.at_risk & j.over_plain), words.over_plain, hazard=True),
        Bar(mask(other=~j.at_risk), "no class of cattle is at less risk than this one"),
    )  # fmt: skip
    return bars, np.logical_or.reduce([bar.mask for bar in bars])


def _payoff(table: Table, context: Context, j: Judgement, share: Floats) -> Floats:
    """(place, draw, option) worth of a ton of the hay as fed, USD; bars do not enter here."""
    facts, out = context.facts, context.outlook
    given = table.number("price")
    price = (
        np.where(np.isnan(given), facts.value("forage/hay.price"), given)[:, None]
        * out.price_ratio("grass hay", [30])[:, 0]
    )
    grind_cost = table.number("grinding")[:, None]
    grind_cost = np.where(np.isnan(grind_cost), out.between("grinding", *facts.span("forage/hay.grinding")), grind_cost)
    discount = out.between("other class", *facts.span("forage/hay.other_class_discount"))
    haul = out.between("discard", *facts.span("forage/hay.discard"))
    mixed = np.where(share[:, None] > 0, grind_cost, np.nan)  # no share, no blend to price
    kept = price * (1 - discount)
    parts = [price, price - grind_cost, price - mixed, kept, kept, np.broadcast_to(-haul, price.shape)]
    return np.stack([np.broadcast_to(p, price.shape) for p in parts], axis=2)


def answer(table: Table, context: Context) -> Answers:
    """Hazards first and without money; then what a ton is worth in each way that is left."""
    facts = context.facts
    picked = [t for t in table.text("table") if t]
    followed = picked[0].replace("-", "_") if picked and len(table) == 1 else None
    known = _lots(table)
    j = judge(known, facts, followed)
    bars, barred = _bars(table, known, j)
    share = np.where(np.isnan(known.asked_share), j.share, np.fmin(known.asked_share, np.maximum(j.share, 0.0)))
    decision = decide(_payoff(table, context, j, share), barred=barred, risk_aversion=context.risk_aversion)
    missing = np.isnan(known.level)
    broke = drought_broke_by_place(
        table.text("station"), context.outlook.records, context.on, facts, int(facts.value("forage/drought.look_back"))
    )
    words = Words(table, known, j, context, decision, missing, broke, followed)
    sampling = j.hot_bale & ~missing
    verdict = np.where(
        j.not_alone | j.over_bale, STOP, np.where(sampling, np.where(np.isnan(j.more_bales), ACT, LOOK), WAIT)
    )
    within = dict(facts["forage/look_within"].rows)
    soon = np.where(np.isnan(broke), int(within["usual"]), int(within["drought broke"]))
    gain = np.where(
        sampling, decision.expected[:, STRAIGHT] - decision.expected[np.arange(len(table)), decision.best], 0.0
    )
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/ton", bars=bars, verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, np.maximum(np.nan_to_num(table.days_until("fed_from", context.on)), 0), -1),
        look_by=np.where(missing | (verdict == LOOK), soon, -1),
        quantities=_quantities(table, known, j, facts, followed),
        worth_of_a_look=np.maximum(np.nan_to_num(j.clear_chance * gain), 0.0),
        missing=missing, missing_headline=words.missing_headline, cautions=words.cautions,
        sources=citing.with_quoted(facts, words.quoted),
    )  # fmt: skip


def _quantities(
    asked: Table, known: Lots, j: Judgement, facts: Any, followed: str | None
) -> dict[str, tuple[Any, str]]:
    table, every = tables(facts, followed)
    dry = 1.0 - asked.number("moisture")
    dry = np.where(dry > 0, dry, facts.value("forage/hay.dry_matter"))
    pounds = as_fed_pounds(j.share[:, None], j.intake_lb, dry[:, None])[:, 0]
    out: dict[str, tuple[Any, str]] = {
        "nitrate_nitrogen_dry": (known.level, "ppm"),
        "nitrate_ion_dry": (known.level * nitrate.ion_factor("NO3-N", "NO3"), "ppm"),
        "hottest_credible_bale": (j.hottest, "ppm"),
        "nitrate_nitrogen_from_water": (np.where(np.isnan(known.water), np.nan, j.drunk), "ppm"),
        "ration_ceiling": (np.where(np.isnan(known.level), np.nan, j.ruling.ceiling), "ppm"),
        "largest_share_by_class": (np.where(np.isnan(known.level), np.nan, j.ruling.share), "1"),
        "safe_share": (np.where(np.isnan(known.low) | np.isnan(known.level), np.nan, j.share), "1"),
        "hay_a_head_at_that_share": (np.where(np.isnan(known.low) | np.isnan(known.level), np.nan, pounds), "lb/day"),
        "bales_to_core_more": (np.where(j.hot_bale, j.more_bales, np.nan), "bale"),
        "chance_no_bale_over_the_line": (j.clear_chance, "1"),
    }
    for name, index in j.classes.items():
        labels = np.array([*every[name].labels, ""], dtype=object)
        out[f"class_{name}"] = (labels[index], "")
    out["followed"] = (np.full(len(known.level), table.publisher, dtype=object), "")
    return out


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Lots with a result, and untested lots of crops that are known to accumulate nitrate."""
    words = context.facts["forage/accumulator_words"].text.split()
    hot = np.array([any(w in str(h).lower() for w in words) for h in table.text("hay")], dtype=bool)
    return np.asarray(table.known("result") | table.known("single_bales") | hot)


QUESTION = Question(
    name="hay-nitrate", room="forage", title="May this hay be fed, to whom, and how?",
    about="Nitrate in a lot of hay: the laboratory's number with its ion and moisture basis, against the publishers' "
    "classes, "
    "for the animals that would eat it, with water, blends and the hottest bale that must be reckoned with. The "
    "emergency "
    "lines stand on every answer.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("hay lot",)), size="amount", size_unit="ton",
    in_season=_in_season, check=_check,
    limits="Cattle only. Published levels are guides that disagree by a factor of four at the bottom. No level is "
    "published "
    "for grazed green forage. A mix is as good as its mixing.",
    options_count=len(OPTIONS),
)  # fmt: skip
