"""Is this stand of wheat thick enough?"""

from __future__ import annotations

import numpy as np

from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import seed
from sideoats.wheat.asked import CROPS
from sideoats.words import Between, Count, Measured, Phrase, Said, Share, say

INPUTS = (
    see("stand_check.plants", needed=True),
    see("stand_check.row_length", needed=True),
    see("stand_check.row_spacing", also=("place.row_spacing",)),
    see("wheat-stand.dropped"),
    see("place.planting_date"),
    see("place.acres"),
)
READ = Choice("read", labelled("estimate"), passive=True)  # a count is read; what is done about a thin one waits for it
SPOTS = 5  # fewer tell nothing of the spread
MOST_UP = 1.15  # more plants than seeds dropped: one of the two figures is a slip
MOST_PLANTS = (
    100.0  # to a square foot, twice the heaviest published sowing: tillers were counted, or a length is a slip
)
COMING_UP = 14  # days after sowing in which more may still come up (common practice)
FAIR = 0.9  # of a full yield: nobody does anything about what such a stand lacks (common practice)
SETTLED = 2 * COMING_UP  # from then on what is up is the stand
WEEK = 7
_SEED = "wheat/seeding."


def pose(table: Table, context: Context) -> Problem:
    """Plants a square foot with the error of the spots counted, against the published stands."""
    facts, region = context.facts, context.region
    least = facts.value(_SEED + "kentucky_least")
    rows = facts.by_id[_SEED + "stand_yield"].rows
    spacing, length = table.number("row_spacing"), table.number("row_length")
    found = [
        (np.nan, np.nan, 0) if r is None else seed.stand_summary(r, float(length[i]), float(spacing[i]))
        for i, r in enumerate(table.rows("plants"))
    ]
    stand, error, spots = np.array(found, dtype=np.float64).reshape(len(table), 3).T
    come_up = stand * seed.SQUARE_FEET_PER_ACRE / table.number("dropped")
    missing, slip, thin = np.isnan(stand), come_up > MOST_UP, stand < least
    crowded, since = stand > MOST_PLANTS, -table.days_until("planting_date", context.on)
    early = (since >= 0) & (since < COMING_UP) & (stand < least)
    settled = np.where(np.isnan(since), not region.holds("wheat-seedling", context.on), since >= SETTLED)
    poor = settled & (spots > 1) & (stand + 2 * np.nan_to_num(error, nan=np.inf) < float(rows[0][0]))
    fair_from = next(float(row[0]) for row in rows if float(row[1]) >= FAIR)
    fair = settled & (spots >= SPOTS) & (stand - 2 * np.nan_to_num(error, nan=np.inf) >= fair_from) & ~slip & ~crowded
    unsure = (spots < SPOTS) | (np.abs(stand - least) < 2 * np.nan_to_num(error, nan=np.inf))

    def give_or_take(i: int) -> Phrase:
        two = Count(max(round(2 * float(error[i])), 1)) if np.isfinite(error[i]) else None
        return Phrase(None if two is None else say("wheat-stand.give_or_take", n=two))

    def up(i: int) -> Said | None:
        return say("wheat-stand.because.up", up=Share(float(come_up[i]))) if np.isfinite(come_up[i]) else None

    def yields(i: int) -> Said | None:
        """What a stand so thin makes, as published."""
        row = next((r for r in reversed(rows) if stand[i] >= r[0]), None)
        if row is None or not thin[i]:
            return None
        ends = (100.0 * float(row[1]), 100.0 * float(row[2]))
        return say(
            "wheat-stand.because.yields", share=Between(ends, unit="percent"), by=facts.by(_SEED + "stand_yield")
        )

    replant = facts[_SEED + "replant"]
    instead = say("wheat-stand.instead." + ("sow" if region.holds("wheat-sowing", context.on) else "other"))
    return Problem(
        "wheat-stand",
        (READ,),
        READ.key,
        "USD/ac",
        np.zeros((len(table), context.outlook.draws, 1)),
        needs={"stand_check.plants": missing | slip | crowded | ((thin | unsure) & ~fair)},
        recheck=np.full(len(table), WEEK),
        heads=(
            (missing, "wheat-stand.count.need"),
            (slip, "wheat-stand.slip.need"),
            (crowded, "wheat-stand.crowded.need"),
            (early, "wheat-stand.early.need"),
            (poor, "wheat-stand.poor.need"),
            (fair & thin, "wheat-stand.fair.wait"),
            (unsure, "wheat-stand.unsure.need"),
            (thin, "wheat-stand.thin.need"),
        ),
        values={
            "stand": Measured(stand.round(), unit="plants/ft**2"),
            "least": Count(round(least)),
            "most": Count(round(fair_from)),
            "line": Count(round(float(rows[0][0]))),
            "by": facts.by(_SEED + "stand_yield"),
            "instead": instead,
            "error": give_or_take,
            "since": Count(np.nan_to_num(since).astype(np.int64)),
            "up": Measured(100 * come_up, unit="percent"),
        },
        reasons=(
            say(
                "wheat-stand.because.spots",
                n=Count(spots),
                least=Count(round(least)),
                by=facts.by(_SEED + "kentucky_least"),
            ),
            up,
            yields,
            say(
                "wheat-stand.because.replant",
                by=facts.by(_SEED + "replant"),
                again=Share(replant.low),
                keep=Share(replant.high),
            ).where(thin & ~slip),
        ),
        cautions=(say("wheat-stand.care"),),
        quantities={
            "stand": (stand, "1/ft**2"),
            "standard_error": (error, "1/ft**2"),
            "plants_an_acre": (stand * seed.SQUARE_FEET_PER_ACRE, "1/ac"),
            "share_of_seeds_up": (come_up, "1"),
        },
    )


QUESTION = Question(
    name="wheat-stand",
    room="wheat",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("field",), crops=CROPS),
    size="acres",
    in_season=lambda table, context: table.known("plants"),
)
