"""Treat this seedling wheat for fall armyworm?"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats import units
from sideoats.errors import InputError
from sideoats.insects.dispersion import mean_draws
from sideoats.insects.harm import Larva, larva_from_instars
from sideoats.insects.questions._ahead import alike, degree_days_ahead
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    Counted,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    spread,
    weigh,
)
from sideoats.insects.thresholds import at_stake_by_threshold
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_F = "insects/wheat_fall_armyworm."
_FRESH = 5
_MM = 25.4
INPUTS = (
    Field("counts", "counts", "feeding larvae in each foot of row looked at", high=1000, example="2,0,4",
          fresh_days=_FRESH, found_in=("evidence:row_larvae.counts",)),
    Field("larvae", "text", "mean larvae with their unit: '2.5 /ft' of row, or '4 /ft2' of ground with rows",
          example="2.5 /ft", fresh_days=_FRESH, found_in=("evidence:row_larvae.larvae",)),
    Field("n", "number", "feet of row (or square feet) looked at, with larvae", low=1, high=10_000),
    Field("rows", "number", "row spacing", unit="in", low=4, high=40, example="7.5 in",
          found_in=("evidence:row_larvae.rows", "place:row_spacing")),
    Field("size", "number", "length of most larvae", unit="in", low=0.02, high=2.5, example="0.4 in",
          fresh_days=_FRESH, found_in=("evidence:row_larvae.size",)),
    Field("windowpane", "share", "share of plants with window-paned leaves", fresh_days=_FRESH,
          found_in=("evidence:row_larvae.windowpane",)),
    Field("stand_at_risk", "flag", "plants are being cut or thinned so that the stand is threatened", default=False,
          fresh_days=_FRESH, found_in=("evidence:row_larvae.stand_at_risk",)),
    Field("purpose", "choice", "what the wheat is for", choices=("grain", "forage", "both"), default="grain",
          aliases={"dual": "both", "dual-purpose": "both", "pasture": "forage", "grazing": "forage",
                   "graze-out": "forage", "grazeout": "forage", "hay": "forage"}, found_in=("place:purpose",)),
    *common_inputs("wheat-fall-armyworm", "bu/ac", "USD/bu", "wheat"),
    Field("planting_date", "date", "tells the week whether seedlings stand in the field",
          found_in=("place:planting_date",)),
)  # fmt: skip


def per_foot(text: str, row_spacing: float) -> float:
    """Larvae per foot of row from text with its unit; `row_spacing` [in] is needed for counts per area.

    Raises InputError for text without one of the two units, or a count per area without row spacing.
    """
    where, expected = "wheat-fall-armyworm larvae", "'2.5 /ft' of row, or '4 /ft2' of ground with rows="
    try:
        value = units.parse(text, "1/ft")
    except InputError:
        try:
            value = units.parse(text, "1/ft**2")
        except InputError:
            raise InputError(f"{text[:60]!r} is neither per foot of row nor per area", where=where,
                             expected=expected) from None  # fmt: skip
        if np.isnan(row_spacing):
            raise InputError(f"{text[:60]!r} is per area", where=where, expected="rows= (row spacing)",
                             todo="thresholds are per foot of row") from None  # fmt: skip
        value *= row_spacing / 12.0
    if not 0 <= value <= 1000:
        raise InputError(f"{text[:60]!r} is outside what is possible", where=where, expected=expected)
    return value


def _check(values: dict[str, Any]) -> None:
    if values["larvae"] is not None:
        per_foot(values["larvae"], np.nan if values["rows"] is None else values["rows"])
    elif values["counts"] is None and values["windowpane"] is None:
        raise InputError("neither larvae nor window-paned plants were noted", where="wheat-fall-armyworm larvae",
                         expected="larvae='2.5 /ft', counts=2,0,4, or windowpane=27%",
                         todo="look at ten spots of a foot of row, inside the field and at its edges")  # fmt: skip


def _per_foot_or_nan(text: str, row_spacing: float) -> float:
    try:
        return per_foot(text, row_spacing if row_spacing > 0 else np.nan) if text else np.nan
    except InputError:
        return np.nan


def _counted(table: Table, context: Context) -> Counted:
    """Larvae per foot of row, from foot-by-foot counts or from a mean with its unit."""
    from_feet = count_draws(table, context, "wheat fall armyworm", counts="counts", n="")
    has_counts = table.known("counts")
    keys = [(str(t), -1.0 if np.isnan(s) else s) for t, s in zip(table.text("larvae"), table.number("rows").tolist())]
    read = {key: _per_foot_or_nan(*key) for key in set(keys)}
    by_text = np.array([read[key] for key in keys])
    mean = np.where(has_counts, from_feet.mean, by_text)
    feet = np.where(has_counts, from_feet.units, table.number("n"))
    exact = np.isnan(feet)
    normals = context.outlook.normal("wheat fall armyworm count", table.keys)
    drawn = mean_draws(mean, np.where(exact, 1.0, feet), from_feet.k, normals)
    density = np.where(exact[:, None], mean[:, None], drawn)
    return replace(from_feet, mean=mean, units=feet, density=density)


def _larva(context: Context) -> Larva:
    instars = context.facts[_F + "instars"]
    return larva_from_instars(context.facts.value(_F + "larva_days"), instars.column("length"), instars.column("eaten"))


def answer(table: Table, context: Context) -> Answers:
    """Larvae against 2 to 3 per foot of row; what they still eat follows their size and the days' warmth."""
    facts, n = context.facts, len(table)
    counted = _counted(table, context)
    threshold, pane = facts[_F + "threshold"], facts[_F + "windowpane"]
    for_leaves = table.text("purpose") != "grain"
    part = facts.value(_F + "forage_part")
    low, high = np.full(n, threshold.low), np.full(n, threshold.high)
    used = np.where(for_leaves, low + part * (high - low), high)
    level = spread(context, "wheat fall armyworm threshold", low, used)
    cost, value = cost_of(table, context), crop_value(table)

    larva = _larva(context)
    limit = facts.value(_F + "treat_before") * _MM
    length = np.where(table.known("size"), table.number("size"), facts.value(_F + "treat_before") / 2) * _MM
    age = larva.age_at(length)[:, None]
    first, at = alike(length, table.text("station"))
    lower, upper = facts.value(_F + "lower"), facts.value(_F + "upper")
    ahead = degree_days_ahead(table.take(first), context, lower, upper, DAYS)
    left = (1 - larva.eaten_at(age)) / (1 - larva.eaten_at(larva.age_at(limit)))
    stand = table.flag("stand_at_risk")
    span = facts[_F + "stand_loss"]
    worse = np.where(stand[:, None], context.outlook.between("wheat stand", span.low, span.high), 1.0)
    stake = at_stake_by_threshold(counted.density, level, cost, facts["insects/treatment.efficacy"].mid)
    stake = stake * np.minimum(left, 1.0) * worse
    outgrown = facts[_F + "large_efficacy"]
    weaker = context.outlook.between("wheat fall armyworm size", outgrown.low, outgrown.high)
    control = np.take(np.where(larva.length_at(age[first] + ahead) > limit, weaker, 1.0), at, axis=1)

    share = table.number("windowpane")
    paned = np.nan_to_num(share) >= pane.low
    near = facts["insects/counting.next_look"].low
    soon = np.where(paned | stand, 1.0, near)

    def missing_headline(i: int) -> str:
        if not np.isnan(share[i]):
            tail = "look tomorrow and count larvae" if paned[i] else f"look within {near:.0f} days and count larvae"
            risk = "; the stand is at risk: treat at once where larvae are found" if stand[i] else ""
            return f"{100 * share[i]:.0f} % of plants window-paned, larvae not counted: {tail}{risk}."
        return "No larvae counted in this seedling wheat: look at ten spots of a foot of row."

    def reasons(i: int) -> list[str]:
        lines = [
            f"Window-paning of {100 * pane.low:.0f} to {100 * pane.high:.0f} % of plants calls for a look every day; "
            "it is not itself a reason to treat unless the stand is threatened."
        ]
        if counted.unknown[i]:
            return lines
        if for_leaves[i]:
            lines.append(f"Leaves are the crop here, so the lower part of it is used: {low[i]:g} to {used[i]:g}.")
        lines.append(
            f"Larvae of {length[i] / _MM:.2g} in have {100 * (1 - larva.eaten_at(age[i, 0])):.0f} % of their feeding "
            f"ahead; treat before they pass {limit / _MM:g} in."
        )
        if not table.known("size")[i]:
            lines.append("Length was not given: a quarter inch is assumed.")
        if stand[i]:
            lines.append("The stand itself is threatened, which is worse than leaves eaten.")
        lines.append(context.outlook.notes[0])
        return lines

    case = Case(
        counted=counted, low=low, high=high, unit=np.full(n, "larvae per foot of row", dtype=object),
        publisher=np.full(n, "Kansas State Univ.", dtype=object), at_stake=stake,
        progress=np.take(larva.progress(age[first], ahead), at, axis=1), control=control,
        cap=np.where(np.isnan(value), np.inf, value),
        missing=counted.unknown, missing_headline=missing_headline, missing_look=soon, nominal=np.ones(n, bool),
        next_look=soon, reasons=reasons,
        cautions=lambda i: [
            "Confirm the species: armyworm and army cutworm differ in season and in what they do to wheat.",
            "Grazing, hay and grain intervals on a label differ: read the one for what this wheat is for.",
            "Look inside the field as well as at its edges; an infested edge may need a border treatment only.",
        ],
        quantities={
            "windowpaned": (share, "1"),
            "larvae_per_square_foot": (counted.mean * 12.0 / table.number("rows"), "1/ft**2"),
        },
    )  # fmt: skip
    return weigh(table, context, "wheat fall armyworm", case)


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Seen lately, or seedlings of one to seven weeks in the months of fall flights."""
    planted = -table.days_until("planting_date", context.on)
    seedlings = (planted >= 7) & (planted <= 50) & (context.on.month in (8, 9, 10, 11))
    return np.asarray(table.known("counts") | table.known("larvae") | table.known("windowpane") | seedlings)


QUESTION = Question(
    name="wheat-fall-armyworm", room="insects", title="Treat this seedling wheat for fall armyworm?",
    about="Whether and by when to treat, from larvae per foot of row (or per square foot with row spacing), larva "
    "size, window-paned plants and what the wheat is for.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field", "pasture"), crops=("wheat", "winter wheat")),
    size="acres", in_season=_in_season, check=_check,
    limits="Seedling wheat in fall. The threshold is nominal; instar lengths and feeding shares are from memory.",
)  # fmt: skip
