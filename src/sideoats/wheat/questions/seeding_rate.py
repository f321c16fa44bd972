"""How many pounds of wheat to sow."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import seed
from sideoats.wheat.planting import late_rate
from sideoats.wheat.questions._common import ACRES, CROPS, DUE_DAYS, PLANTING, PURPOSE, ROW_SPACING, shown_day

Floats = NDArray[np.float64]
_LOT = "evidence:seed_lot."
INPUTS = (
    Field("seeds_per_lb", "number", "seeds in a pound, counted", unit="1/lb", bare=True, low=5000, high=40_000,
          example="15000", found_in=(_LOT + "seeds_per_lb",)),
    Field("kernel_weight", "number", "weight of a thousand kernels, instead", unit="g", low=12, high=90,
          found_in=(_LOT + "kernel_weight",)),
    Field("target", "number", "plants wanted an acre; the published rate if absent", unit="1/ac", low=50_000,
          high=5_000_000, example="900000 /ac", found_in=(_LOT + "target",)),
    Field("germination", "share", "germination of the tag", low=0.05, found_in=(_LOT + "germination",)),
    Field("emergence", "share", "share of germinating seeds that come up", low=0.05, found_in=(_LOT + "emergence",)),
    Field("survival", "share", "share of all seeds that become plants, instead of germination and emergence", low=0.05),
    Field("precipitation", "number", "annual precipitation, for the published rate", unit="inch", low=4, high=80,
          found_in=("setting:annual_precipitation",)),
    Field("irrigated", "flag", "irrigated", default=False, found_in=("place:irrigated",)),
    Field("residue", "flag", "no-till into heavy residue", default=False),
    PURPOSE,
    Field("days_late", "number", "days past the best sowing date", unit="day", bare=True, low=0, high=200),
    ROW_SPACING,
    Field("planned", "number", "what the drill is set to now", unit="lb/ac", low=1, high=400),
    Field("seed_price", "number", "price of the seed", unit="USD/lb", low=0, high=20, found_in=(_LOT + "seed_price",)),
    Field("treated", "flag", "the seed is treated", default=False, found_in=(_LOT + "treated",)),
    PLANTING, ACRES,
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["survival"] is not None and (values["germination"] is not None or values["emergence"] is not None):
        raise InputError(
            "both survival and germination or emergence are given", where="seeding-rate",
            expected="survival alone, or germination and emergence", todo="a loss would be counted twice",
        )  # fmt: skip
    if values["seeds_per_lb"] is not None and values["kernel_weight"] is not None:
        raise InputError("both seeds_per_lb and kernel_weight are given", where="seeding-rate", expected="one of them")
    if values["target"] is None and values["precipitation"] is None and not values["irrigated"]:
        raise InputError(
            "neither a target nor the precipitation is known", where="seeding-rate",
            expected="target=900000 /ac or precipitation=24 in", todo="the published rates go by annual precipitation",
        )  # fmt: skip


def _published(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Low and high of the published seeds to drop (place,) [1/ac] by precipitation, irrigation and purpose."""
    rows = context.facts["wheat/seeding.kansas"].rows
    rain, irrigated = table.number("precipitation"), table.flag("irrigated")
    low, high = np.full(len(table), np.nan), np.full(len(table), np.nan)
    for name, rain_low, rain_high, _, _, seeds_low, seeds_high in rows:
        here = irrigated if name == "irrigated" else ~irrigated & (rain >= rain_low) & (rain < rain_high)
        low, high = np.where(here, seeds_low, low), np.where(here, seeds_high, high)
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"])
    if grazed.any():
        more_low, more_high = context.facts.span("wheat/seeding.dual_ratio")
        low, high = np.where(grazed, low * more_low, low), np.where(grazed, high * more_high, high)
    return low, high


def _survival(table: Table, context: Context) -> tuple[Floats, NDArray[np.bool_]]:
    """Share of seeds that become plants (place,), and where it had to be taken from the publication."""
    together, germination, emergence = (table.number(k) for k in ("survival", "germination", "emergence"))
    share = np.where(np.isnan(together), germination * emergence, together)
    unknown = np.isnan(share)
    if unknown.any():
        share = np.where(unknown, context.facts.value("wheat/seeding.survival"), share)
    return share, unknown


def answer(table: Table, context: Context) -> Answers:
    """Pounds an acre, seeds along the row, seed for the field, and whether the drill is set right."""
    facts = context.facts
    weight = table.number("kernel_weight")
    size = np.where(np.isnan(weight), table.number("seeds_per_lb"), seed.seeds_per_pound(weight))
    target = table.number("target")
    by_target = ~np.isnan(target)
    share, assumed = _survival(table, context) if by_target.any() else (np.full(len(table), np.nan), ~by_target)
    low, high = (np.full(len(table), np.nan),) * 2 if by_target.all() else _published(table, context)
    drop = np.where(by_target, seed.seeds_to_drop(target, share), (low + high) / 2)
    rate = seed.seeding_rate(drop, size)
    late = np.nan_to_num(table.number("days_late"))
    if (late > 0).any():
        raise_by = (facts.value(f"wheat/seeding.{k}") for k in ("late_share", "late_top", "late_full"))
        rate = late_rate(rate, late, *raise_by)
    if table.flag("residue").any():
        rate = rate + np.where(table.flag("residue"), facts.value("wheat/seeding.residue"), 0.0)
    seeds = rate * size
    planned = table.number("planned")
    off = planned / rate - 1
    wrong = np.zeros(len(table), bool)
    if table.known("planned").any():
        wrong = np.abs(off) > facts.value("wheat/seeding.off_share")
    missing = np.isnan(rate)
    until = table.days_until("planting_date", context.on)
    due = ~((until > DUE_DAYS) | (until < 0))  # a phone-in without a date is asked at the drill; sown wheat is not
    verdict = np.where((np.isnan(planned) | wrong) & due, ACT, WAIT)
    act_by = np.where(verdict == ACT, np.maximum(np.nan_to_num(until), 0.0), -1.0)  # asked at the drill: today
    quantities = {
        "seeding_rate": (rate, "lb/ac"), "seeds_to_drop": (seeds, "1/ac"),
        "seeds_per_square_foot": (seeds / seed.SQUARE_FEET_PER_ACRE, "1/ft**2"),
        "seeds_per_row_foot": (seed.seeds_per_row_foot(seeds / seed.SQUARE_FEET_PER_ACRE, table.number("row_spacing")),
                               "1/ft"),
        "drill_off_by": (off, "1"), "seed_for_the_field": (rate * table.number("acres"), "lb"),
        "seed_cost": (rate * table.number("seed_price"), "USD/ac"),
    }  # fmt: skip
    return Answers(
        table, context, headline=_headline(table, context, rate, off, wrong, until),
        quantities=quantities, unit="USD/ac",
        because=_because(table, context, size, share, assumed, by_target, low, high),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8), act_by=act_by.astype(np.int64),
        missing=missing, missing_look_within=7,
        missing_headline=_lacking(size, drop),
        cautions=_cautions(table),
    )  # fmt: skip


def _headline(
    table: Table, context: Context, rate: Floats, off: Floats, wrong: NDArray[np.bool_], until: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        if until[i] < 0:
            day = shown_day(context, until[i])
            return (
                f"The day of sowing, {day}, is past: nothing is left to set; {rate[i]:.1f} lb/ac was the rate wanted."
            )
        if np.isnan(off[i]):
            day = f" on {shown_day(context, until[i])}, as planned" if until[i] >= 0 else ""
            acres = table.number("acres")[i]
            need = f": {rate[i] * acres:,.0f} lb of seed for {acres:,.0f} ac" if np.isfinite(acres) else ""
            return f"Sow {rate[i]:.1f} lb/ac{day}{need}."
        if wrong[i]:
            return f"Set the drill to {rate[i]:.1f} lb/ac: it is set {100 * abs(off[i]):.0f} % " + (
                "too high." if off[i] > 0 else "too low."
            )
        return f"The drill is right: {table.number('planned')[i]:.1f} lb/ac against {rate[i]:.1f} lb/ac wanted."

    return text


def _lacking(size: Floats, drop: Floats) -> Callable[[int], str]:
    def text(i: int) -> str:
        gone = ["seeds a pound"] if np.isnan(size[i]) else []
        gone += ["a target or the year's precipitation"] if np.isnan(drop[i]) else []
        return f"Count the seed before the drill is set: {' and '.join(gone) or 'what was given'} is not known."

    return text


def _because(
    table: Table, context: Context, size: Floats, share: Floats, assumed: NDArray[np.bool_],
    by_target: NDArray[np.bool_], low: Floats, high: Floats,
) -> Callable[[int], list[str]]:  # fmt: skip
    def text(i: int) -> list[str]:
        out = []
        if by_target[i]:
            out.append(
                f"{table.number('target')[i]:,.0f} plants an acre from seed of {size[i]:,.0f} a pound, "
                f"{100 * share[i]:.0f} % of which become plants."
            )
            if assumed[i]:
                out.append("Germination and emergence are not known: a published survival stands in for both.")
        else:
            out.append(f"Published rate: {low[i]:,.0f} to {high[i]:,.0f} seeds dropped an acre; the middle is taken.")
        if np.nan_to_num(table.number("days_late")[i]) > 0:
            out.append("Raised for late sowing, to the published limit.")
        if table.known("planting_date")[i] and table.days_until("planting_date", context.on)[i] >= 0:
            out.append(f"Sowing is planned for {shown_day(context, table.days_until('planting_date', context.on)[i])}.")
        return out

    return text


def _cautions(table: Table) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = ["Calibrate the drill with this lot: charts on the drill assume new tyres and a standard seed."]
        if table.flag("treated")[i]:
            out.append("Treated seed is never feed or food: follow the tag for handling, grazing and disposal.")
        return out

    return text


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= 30))


QUESTION = Question(
    name="seeding-rate", room="wheat", title="How much wheat to sow?",
    about="Pounds an acre from seed size, germination, emergence and the stand wanted, or from published rates by "
    "annual "
    "precipitation and purpose.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=CROPS), size="acres", in_season=_in_season,
    check=_check,
    desk_look=True,  # seed is counted where it is stored, or read from its tag
    apart=("purpose", "residue", "target?", "planned?", "survival?", "germination?", "emergence?", "precipitation?"),
    limits="Published rates are Kansas's. Texas trials disagree on whether low rates cost grain; both stand in the "
    "facts.",
)  # fmt: skip
