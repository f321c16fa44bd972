"""Treat this wheat for aphids, by species and stage?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.insects.harm import multiplying_progress
from sideoats.insects.injury import injury_level_from_share
from sideoats.insects.questions._ahead import growth_ahead
from sideoats.insects.questions._count import (
    DAYS,
    Case,
    Counted,
    common_inputs,
    cost_of,
    count_draws,
    crop_value,
    price_moves,
    spread,
    weigh,
)
from sideoats.insects.thresholds import at_stake_by_threshold, first_known, look_up, rows_by_key
from sideoats.insects.treatment import triangular
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
_F = "insects/wheat_aphid."
_T = "insects/treatment."
_FRESH = 10
RUSSIAN = "Russian wheat aphid"
SPECIES = ("bird cherry-oat aphid", "English grain aphid", "greenbug", "corn leaf aphid", RUSSIAN)
STAGES = ("seedling", "tillering", "jointing", "boot", "heading", "flowering", "milk", "dough", "ripe")
_PRINTED = {  # the stages that the tables print
    "seedling": "seedling", "tillering": "seedling", "jointing": "boot-heading", "boot": "boot-heading",
    "heading": "boot-heading", "flowering": "flowering", "milk": "milk", "dough": "dough",
}  # fmt: skip
_LATE = ("flowering", "milk", "dough", "ripe")
INPUTS = (
    Field("species", "choice", "most common species", choices=SPECIES, required=True, fresh_days=_FRESH,
          aliases={"bcoa": "bird cherry-oat aphid", "oat aphid": "bird cherry-oat aphid", "rwa": "russian wheat aphid"},
          found_in=("evidence:stem_counts.species",)),
    Field("counts", "counts", "aphids on each stem (each plant, in seedlings)", high=10_000, example="12,0,30",
          fresh_days=_FRESH, found_in=("evidence:stem_counts.counts",)),
    Field("mean", "number", "mean aphids per stem, with n", low=0, high=10_000),
    Field("n", "number", "stems looked at, with mean or infested", low=1, high=10_000),
    Field("infested", "share", "share of tillers infested (Russian wheat aphid)", fresh_days=_FRESH,
          found_in=("evidence:stem_counts.infested",)),
    Field("stage", "choice", "growth stage of most plants", choices=STAGES, required=True, fresh_days=_FRESH,
          aliases={"emergence": "seedling", "joint": "jointing", "bloom": "flowering"},
          found_in=("evidence:stem_counts.stage", "place:stage")),
    Field("season", "choice", "fall or spring infestation (Russian wheat aphid)", choices=("fall", "spring")),
    Field("parasitized", "share", "share of aphids that are mummies", fresh_days=_FRESH,
          found_in=("evidence:stem_counts.parasitized",)),
    Field("predators", "choice", "lady beetles, lacewings, hover flies and the like", choices=("none", "few", "many"),
          fresh_days=_FRESH, found_in=("evidence:stem_counts.predators",)),
    Field("table", "choice", "whose threshold; the district's choice if absent", choices=("nebraska", "kansas")),
    *common_inputs("wheat-aphid", "bu/ac", "USD/bu", "wheat"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    russian = values["species"] == RUSSIAN
    if russian and values["infested"] is None:
        raise InputError("Russian wheat aphid is reckoned by tillers infested", where="wheat-aphid infested",
                         expected="infested=20% with n=100, and yield= with price=")  # fmt: skip
    if not russian and (values["counts"] is None) == (values["mean"] is None):
        raise InputError("exactly one of counts and mean is needed", where="wheat-aphid",
                         expected="counts=12,0,30,... stem by stem, or mean= with n=",
                         todo="look at 20 stems at each of several places, edges and inside")  # fmt: skip


def _printed(table: Table, context: Context) -> tuple[NDArray[np.object_], Floats, Floats]:
    """Publisher, low and high by species and stage; the table asked for first, then the other."""
    facts = context.facts
    choice = facts.choices["insects/wheat_aphid_threshold"]
    district, _ = facts.choose("insects/wheat_aphid_threshold")
    asked = np.where(table.text("table") == "", district, table.text("table"))
    stages = [_PRINTED.get(str(s), "") for s in table.text("stage")]
    keys = list(zip(table.text("species").tolist(), stages))
    found = {}
    for name, fact_id in choice.among.items():
        fact = facts[fact_id]
        found[name] = (name, *look_up(keys, rows_by_key(fact.columns, fact.rows, ("species", "stage"))))
    who = np.full(len(table), "", dtype=object)
    low, high = np.full(len(table), np.nan), np.full(len(table), np.nan)
    for first in dict.fromkeys(asked.tolist()):
        names, lows, highs = first_known([found[first], *(f for key, f in found.items() if key != first)])
        mine = asked == first
        who, low, high = np.where(mine, names, who), np.where(mine, lows, low), np.where(mine, highs, high)
    return who, low, high


def _infested(table: Table, context: Context) -> Counted:
    """Share of tillers infested, as a binomial share (Jeffreys), in per cent."""
    from scipy import special

    share, n = table.number("infested"), table.number("n")
    z = context.outlook.normal("wheat aphid tillers", table.keys)
    hits, size = np.nan_to_num(share * n)[:, None], np.nan_to_num(n, nan=1.0)[:, None]
    sampled = special.betaincinv(hits + 0.5, size - hits + 0.5, special.ndtr(z))
    drawn: Floats = np.where(np.isnan(n)[:, None], share[:, None], sampled)
    rows = len(table)
    return Counted(100 * share, n, 100 * drawn, np.full(rows, np.inf), np.inf, np.ones(rows))


def _growth(table: Table, context: Context, window: Floats) -> tuple[Floats, Floats]:
    """Progress of the injury, and pest-days over those of the days' usual weather without enemies."""
    facts, out = context.facts, context.outlook
    rate_fact = facts[_F + "field_rate"]
    rate = triangular(out.uniform("wheat aphid rate"), rate_fact.low, rate_fact.mid, rate_fact.high)
    slow = facts[_T + "enemies_slow"]
    enemies = table.text("predators")
    share = np.where(enemies == "many", 1.0, np.where(enemies == "few", 0.5, 0.0))
    mummies = np.nan_to_num(table.number("parasitized"))[:, None] * rate
    taken = share[:, None] * out.between("wheat aphid enemies", slow.low, slow.high) + mummies
    cardinal = facts[_F + "cardinal"]
    reference = facts.value(_F + "reference_temperature")
    running, later = growth_ahead(table, context, rate, (cardinal.low, cardinal.mid, cardinal.high), reference, DAYS)
    # A nominal threshold was found in the weather usual at its stage, often a cool spring. Measured against a warm
    # reference day it would let several times the printed number stand.
    ordinary = rate * (running[..., -1] / rate).mean(axis=1, keepdims=True) / (DAYS - 1)
    running, later = running - taken[..., None] * np.arange(DAYS), later - taken
    return multiplying_progress(running, later, np.broadcast_to(window, later.shape), ordinary)


def answer(table: Table, context: Context) -> Answers:
    """Aphids against the printed figure for species and stage; Russian wheat aphid by its loss per infested tiller."""
    facts, n = context.facts, len(table)
    russian = table.text("species") == RUSSIAN
    stems = count_draws(table, context, "wheat aphid", counts="counts", mean="mean")
    tillers = _infested(table, context)
    pick = russian[:, None]
    counted = Counted(
        np.where(russian, tillers.mean, stems.mean), np.where(russian, tillers.units, stems.units),
        np.where(pick, tillers.density, stems.density), np.where(russian, 1.0, stems.k), stems.plan_k, np.ones(n),
    )  # fmt: skip
    cost, value = cost_of(table, context), crop_value(table)
    who, low, high = _printed(table, context)
    stage = table.text("stage")
    spring_row = np.where(table.text("season") == "", ~np.isin(stage, ("seedling",)), table.text("season") == "spring")
    spring, fall = facts[_F + "russian.spring"], facts[_F + "russian.fall"]
    spring_range = facts[_F + "russian.spring_range"]
    slope = np.where(spring_row, spring.mid, fall.mid) / 100
    drawn = np.where(
        spring_row[:, None],
        context.outlook.between("russian spring", *spring_range.span),
        context.outlook.between("russian fall", *fall.span),
    )
    level = injury_level_from_share(cost, value, slope)
    low, high = np.where(russian, level, low), np.where(russian, level, high)

    days = facts[_F + "injury_days"]
    window = triangular(context.outlook.uniform("wheat aphid days"), days.low, days.mid, days.high)
    progress, ratio = _growth(table, context, window)
    by_threshold = at_stake_by_threshold(
        counted.density, spread(context, "wheat aphid threshold", low, high), cost, facts[_T + "efficacy"].mid
    )
    by_tiller = counted.density * drawn / 100 * value[:, None]
    stake = np.where(pick, by_tiller * price_moves(table, context, "wheat"), by_threshold * ratio)
    followed, after = facts.choose("insects/wheat_aphid_after_flowering")
    late = np.isin(stage, _LATE)
    over = (stage == "ripe") | (late & (after.value == 0))
    mummies = facts[_T + "mummies"]
    hold = (np.nan_to_num(table.number("parasitized")) >= mummies.mid) | (table.text("predators") == "many")
    reasons = _reasons(table, context, russian, spring_row, late, followed)
    most = facts.value(_F + "most_lost")
    no_value = russian & np.isnan(value)

    def missing_headline(i: int) -> str:
        if no_value[i]:
            return "Russian wheat aphid is reckoned as a share of the crop: its yield and price are needed."
        if counted.unknown[i]:
            return "No aphids counted lately: look at stems inside the field as well as at its edges."
        return f"No published threshold on file for {table.text('species')[i]} at {stage[i]}."

    case = Case(
        counted=counted, low=low, high=high,
        unit=np.where(russian, "% of tillers infested", "aphids per stem").astype(object),
        publisher=np.where(russian, "Texas A&M Univ.", [_publisher(str(w)) for w in who]).astype(object),
        at_stake=stake, progress=progress, cap=np.where(np.isnan(value), np.inf, value * most),
        missing=counted.unknown | (np.isnan(low) & ~over) | no_value, missing_headline=missing_headline,
        nominal=~russian, over=over, hold=hold, reasons=reasons,
        cautions=lambda i: [
            "These thresholds are for feeding only: they ignore virus that aphids carry (barley yellow dwarf).",
            "Aphids can crash within a week where enemies are many: recount before spraying.",
        ],
        quantities={"crop_value": (value, "USD/ac")},
    )  # fmt: skip
    return weigh(table, context, "wheat aphid", case)


def _publisher(key: str) -> str:
    return {"nebraska": "Univ. of Nebraska 2007", "kansas": "Kansas State Univ."}.get(key, "")


def _reasons(
    table: Table, context: Context, russian: Any, spring_row: Any, late: Any, followed: str
) -> Callable[[int], list[str]]:
    facts = context.facts
    rate = facts.by_id[_F + "field_rate"]
    mummies = facts.by_id[_T + "mummies"]
    parasitized, enemies = table.number("parasitized"), table.text("predators")

    def reasons(i: int) -> list[str]:
        lines = []
        if russian[i]:
            season = "spring" if spring_row[i] else "fall"
            fact = facts.by_id[_F + ("russian.spring_range" if spring_row[i] else "russian.fall")]
            lines.append(f"Each 1 % of tillers infested in {season} costs {fact.low:g} to {fact.high:g} % of yield.")
        else:
            fast, slow = np.log(2) / rate.high, np.log(2) / rate.low
            lines.append(
                f"Cereal aphids double in {fast:.0f} to {slow:.0f} days in warm fields; the printed number is taken to "
                "hold in the weather usual for these days."
            )
        if table.text("stage")[i] == "jointing" and not russian[i]:
            lines.append("No figure is printed for jointing: that for boot to heading is used.")
        if late[i]:
            words = "are used here" if followed == "nebraska" else "are not used here"
            lines.append(
                f"Sources disagree once flowering has begun: Nebraska prints figures (they {words}), South Dakota "
                "trials (Voss 1997) found no measurable loss."
            )
        if np.nan_to_num(parasitized[i]) >= mummies.mid:
            lines.append(
                f"{100 * mummies.mid:.0f} % mummies or more: parasites are winning (rule from memory); recount."
            )
        if enemies[i] == "many":
            lines.append("Natural enemies are many: how much they slow the aphids is not known; recount in a few days.")
        lines.append(context.outlook.notes[0])
        return lines

    return reasons


def _in_season(table: Table, context: Context) -> Any:
    return table.known("counts") | table.known("infested")


QUESTION = Question(
    name="wheat-aphid", room="insects", title="Treat this wheat for aphids?",
    about="Whether and by when to treat cereal aphids, by species and stage, with growth by the days' warmth and "
    "natural enemies as an uncertain slowing.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field", "pasture"), crops=("wheat", "winter wheat")),
    size="acres", in_season=_in_season, check=_check,
    limits="Feeding injury only, not virus. Thresholds are nominal but for Russian wheat aphid; no predator count with "
    "a published rate is on file.",
)  # fmt: skip
