"""store-or-sell-at-harvest: sell off the combine, store here or at the elevator, lock a later price, or buy a call."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.grain import harvest_case as case
from sideoats.grain.bin_case import UNIT
from sideoats.grain.doubt import doubtful_quotes
from sideoats.grain.harvest_words import Told
from sideoats.grain.holding import month_marks
from sideoats.grain.keeping import CROPS, bin_condition
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import LongDay, Money

INPUTS = (
    see("place.crop", default="wheat", choices=CROPS),
    see("store-or-sell-at-harvest.bushels"),
    see("place.acres"),
    see("store-or-sell-at-harvest.yield"),
    see("bin_bids.cash", needed=True, also=("place.price", "quote:{crop}"), name="price", example="5.50 USD/bu"),
    see("bin-hold.interest", needed=True),
    see("bin_bids.curve", name="quotes"),
    see("bin_bids.basis"),
    *(see(f"bin-hold.{name}") for name in ("basis_sd", "volatility", "history")),
    *(
        see(f"store-or-sell-at-harvest.{name}")
        for name in (
            "farm_storage", "farm_handling", "bin_space", "elevator_storage", "elevator_free_days", "elevator_minimum",
            "elevator_out", "dry_to", "drying", "call_premium", "call_strike", "call_months",
        )
    ),
    see("bin-hold.loss"),
    see("bin_check.moisture", example="12.5 %"),
    see("bin_check.temperature"),
    *(see(f"bin-hold.{name}") for name in ("hedge_cost", "aversion", "worth")),
    see("place.harvest_date"),
)  # fmt: skip

LONG_AGO = 60  # days since harvest


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    n, never = len(table), np.zeros(len(table), bool)
    crop = np.array([name or "wheat" for name in table.text("crop")], dtype=object)
    condition = bin_condition(
        context,
        crop,
        moisture=table.number("moisture"),
        temperature=table.number("temperature"),
        earlier=np.full(n, np.nan),
        heating=never,
        out=never,
        months=month_marks(),
        fresh=True,
    )
    h = case.harvest_of(table, context, crop, condition)
    bars = case.bars(table, context, h, condition)
    barred = np.logical_or.reduce([bar.mask for bar in bars])
    due = np.nan_to_num(table.days_until("harvest_date", context.on)).clip(0).astype(np.int64)
    going, bushels = case.going_bad(h, condition), case.bushels_of(table)
    rate = np.fmin(table.number("farm_storage"), table.number("elevator_storage"))
    doubt = doubtful_quotes(context, crop, h.price, table.rows("quotes"), table.number("basis"))
    needs = {of: ~table.known(name) & ~going for name, of in case.PRICED.items()}
    needs["bin_bids.cash"] = needs["bin_bids.cash"] | (doubt.prices & ~going)
    # selling now and buying a call stores nothing
    called = table.known("call_premium") & table.known("call_strike")
    needs |= {case.RATE: np.isnan(rate) & ~called & ~going, "bin_bids.curve": doubt.rows & ~doubt.prices & ~going}
    # longer ago than that it is in a bin, and the date a slip of the year or an old one
    past = np.nan_to_num(table.days_until("harvest_date", context.on)) < -LONG_AGO
    odd = case.mispriced(table, context, h) & ~going
    needs |= {"place.harvest_date": past, "store-or-sell-at-harvest.call_premium": odd & ~doubt.rows}
    told = Told(table, context, h, barred, going | np.logical_or.reduce(list(needs.values())))
    damp = condition.wet[:, 0] & ~(h.dried > 0)
    return Problem(
        "harvest",
        case.OPTIONS,
        "sell",
        UNIT,
        h.gain,
        bars=bars,
        hazards=case.hazards(context, h, condition, barred, due),
        needs=needs,
        due=due,
        recheck=due,
        size=bushels,
        aversion=table.number("aversion"),
        net_worth=table.number("worth"),
        heads=(
            (past, "harvest.past.need"),
            (doubt.rows, "bin-hold.doubt.need"),
            (odd, "harvest.premium.need"),
            (needs[case.RATE] & ~needs["bin_bids.cash"] & ~needs["bin-hold.interest"], "harvest.rate.need"),
            (damp, "harvest.damp.act"),
            (np.isnan(rate), "harvest.unstored.act"),
        ),
        values={
            "price": Money(h.price, unit=UNIT),
            "doubt": doubt.asks,
            "lock_month": h.lock_at + 1,
            "left": told.left,
            "wet": condition.first_too_wet,
            "room": told.room,
            "sold_over": told.sold_over,
            "where": told.where,
            "odds": told.odds(case.FARM),
            "odds_elevator": told.odds(case.ELEVATOR),
            "cool": told.cool,
            "sure": told.sure,
            "gone": LongDay(table.date("harvest_date")),
            "premium": Money(table.number("call_premium"), unit=UNIT),
            "strike": Money(table.number("call_strike"), unit=UNIT),
        },
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities=case.quantities(table, h, barred),
        ruled=case.ruled_figures(h, bushels),
        uses={"storage": case.room_taken(h, bushels)},
        flows=case.flows_of(h, due),
    )


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """From three weeks before harvest to two weeks after."""
    days = table.days_until("harvest_date", context.on)
    return np.asarray((days >= -14) & (days <= 21))


QUESTION = Question(
    name="store-or-sell-at-harvest",
    room="grain",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=CROPS),
    in_season=_in_season,
    options_count=len(case.OPTIONS),
    settles=("chance_pays_month_6",),
)
