"""bin-hold: sell the grain in the bin, hold it some months, sell in thirds, or lock in a later price."""

from __future__ import annotations

import numpy as np

from sideoats.families.hold_or_sell import choices, held, ruled_figures, sale_days, sold_later
from sideoats.grain.bin_case import (
    PRICED,
    READ,
    UNIT,
    bars,
    keeping_pays,
    next_check,
    quantities,
    storage_terms,
    terms_of,
)
from sideoats.grain.bin_words import Bin
from sideoats.grain.doubt import doubtful_quotes
from sideoats.grain.holding import MONTHS_AHEAD, month_marks
from sideoats.grain.keeping import CROPS, bin_condition, hazards
from sideoats.grain.price_draws import price_draws
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.ruling import LONGEST
from sideoats.vocabulary import see
from sideoats.words import Money

INPUTS = (
    see("place.crop", choices=CROPS, default="wheat"),
    see("bin-hold.bushels", absent="answered by the bushel"),
    see("bin_bids.cash", needed=True, name="price", also=("place.price", "quote:{crop}"), example="5.50 USD/bu"),
    see("bin-hold.storage", needed=True),
    see("bin-hold.interest", needed=True),
    see("bin_bids.curve", name="quotes"),
    see("bin_bids.basis", example="-0.45 USD/bu"),
    *(see(f"bin-hold.{name}") for name in ("basis_sd", "volatility", "history", "free_days", "minimum", "handling")),
    see("bin-hold.loss"),
    see("bin_check.moisture", example="12.5 %"),
    see("bin_check.temperature", example="68 degF"),
    see("bin_check.earlier"),
    *(see(f"bin_check.{name}", default=False) for name in ("heating", "spoiled", "insects")),
    *(see(f"bin-hold.{name}") for name in ("hedge_cost", "aversion", "worth")),
)
OPTIONS = choices(MONTHS_AHEAD)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    facts = context.facts
    crop = np.array([name or "wheat" for name in table.text("crop")], dtype=object)
    condition = bin_condition(
        context,
        crop,
        moisture=table.number("moisture"),
        temperature=table.number("temperature"),
        earlier=table.number("earlier"),
        heating=table.flag("heating"),
        out=table.flag("spoiled"),
        months=month_marks(),
        insects=table.flag("insects"),
    )
    moved = condition.must_move
    kept = storage_terms(table)
    terms = terms_of(table, context, crop, kept, ~condition.barred)
    draws = price_draws(context, crop, table.number("volatility"), table.rows("history"))
    h = held(terms, context.outlook.draws, draws.net_into)
    doubt = doubtful_quotes(context, crop, terms.price, table.rows("quotes"), table.number("basis"))
    stale = {name: ~table.known(name) | (table.age_days(name) > facts["grain/check_every"].high) for name in READ}
    needs = {of: ~table.known(name) & ~moved for name, of in PRICED.items()}
    needs["bin_bids.cash"] = needs["bin_bids.cash"] | (doubt.prices & ~moved)
    needs["bin_bids.curve"] = doubt.rows & ~doubt.prices & ~moved
    silent = moved | np.logical_or.reduce(list(needs.values()))
    told = Bin(table, context, h, condition, silent)
    tolerance = facts.value("grain/sell_tolerance")
    put_off = kept.days_within(terms.price, terms.quoted[:, 0], tolerance, LONGEST)
    week = kept.carry_of_days(terms.price, terms.quoted[:, 0], 7.0)
    return Problem(
        "bin-hold",
        OPTIONS,
        "sell-now",
        UNIT,
        h.gain,
        bars=bars(h, condition),
        hazards=hazards(context, condition, stale, told.seen, keeping_pays(h, facts)),
        needs=needs,
        recheck=next_check(table, context),
        tolerance=tolerance,
        a_day=np.maximum(week / 7.0, tolerance / (put_off + 0.999)),
        size=table.number("bushels"),
        aversion=table.number("aversion"),
        net_worth=table.number("worth"),
        heads=((doubt.rows, "bin-hold.doubt.need"), (np.asarray(~terms.open_months.any(axis=1)), "bin-hold.short.act")),
        values={
            "price": Money(terms.price, unit=UNIT),
            "sure": told.sure,
            "odds": told.odds,
            "left": told.left,
            "doubt": doubt.asks,
            "lock_month": h.lock_at + 1,
            "last_month": h.third_at + 1,
        },
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=quantities(table, h, kept, week, moved)
        | {"worth_of_waiting": (np.where(silent, np.nan, told.waiting), UNIT)},
        ruled=ruled_figures(h, UNIT, moved, table.number("bushels")),
        flows=sold_later(terms.price, sale_days(h), h.gain),
    )


QUESTION = Question(
    name="bin-hold",
    room="grain",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("bin",), crops=CROPS),
    size="amount",
    size_unit="bu",
    apart=("crop",),
    options_count=len(OPTIONS),
    stake="grain",
    settles=("chance_pays_month_6",),
)
