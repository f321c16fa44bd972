"""Which wheat varieties to sow here next?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
MOST = 14  # varieties shown as options
_RESTS_ON = ("trials", "unit", "means", "management", "site", "purpose")
_T = "evidence:variety_trial."
MEAN = (
    Field("variety", "text", "variety", required=True), Field("site", "text", "trial site"),
    Field("year", "text", "harvest year"),
    Field("management", "choice", "grazed or ungrazed", choices=("grazed", "ungrazed")),
    Field("yield", "number", "mean yield", unit="bu/ac", bare=True, low=0, high=300, required=True),
    Field("plots", "number", "plots behind the mean", bare=True, low=0.1, high=1000, default=1.0),
)  # fmt: skip
INPUTS = (
    Field("trials", "text", "path of a trial table: plots or means, long or wide", example="trials.csv"),
    Field("unit", "choice", "unit of the file's yields where it does not say",
          choices=("bu/ac", "kg/ha", "t/ha", "lb/ac")),
    Field("means", "records", "trial means, instead of a file", fields=MEAN, fresh_days=800,
          example="variety=A, site=North, year=2025, yield=44; variety=B, site=North, year=2025, yield=41",
          found_in=(_T + "means",)),
    Field("management", "choice", "trials under this management only; grazed for wheat that is grazed",
          choices=("grazed", "ungrazed", "unnamed")),
    Field("site", "text", "trial site that this field is like; a new site if absent", found_in=(_T + "like_site",)),
    Field("candidates", "text", "varieties that can be had, parted by commas; all if absent",
          found_in=("setting:varieties_on_offer",)),
    Field("current", "text", "variety sown so far", found_in=("place:variety",)),
    Field("size", "number", "varieties in a set", bare=True, low=1, high=3, default=2.0),
    Field("risk", "share", "weight of bad seasons when sets are ranked", default=0.3),
    w.YIELD, w.PRICE, w.PURPOSE, w.PLANTING, w.STATION, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Result:
    """What one trial table says for one kind of field."""

    names: tuple[str, ...]
    blue: Floats
    lsd: float
    heritability: float
    chance: Floats  # (v, v) that the row beats the column next year
    season: Any
    trials: int
    notes: tuple[str, ...]


def _table_of(row: dict[str, Any]) -> Any:
    """The trial table of one row, from its file or its records. Raises InputError."""
    from sideoats.wheat.trials.table import from_columns, from_records

    if row["trials"]:
        from pathlib import Path

        from sideoats.intake.trials import read_trial

        found = read_trial(Path(row["trials"]), unit=row["unit"] or "")
        if not found.unit:
            raise InputError(
                "states no unit of yield", where=row["trials"][-60:], expected="unit=bu/ac, kg/ha, t/ha or lb/ac"
            )
        return from_columns(found.columns)
    return from_records(row["means"])


def _management(row: dict[str, Any], table: Any) -> str:
    """Which trials speak for the row: those asked for, else grazed ones for grazed wheat, never both."""
    kinds = {str(m) for m in np.unique(table.management)}
    if row["management"]:
        return "" if row["management"] == "unnamed" else str(row["management"])
    if len(kinds) == 1:
        return kinds.pop()
    return "grazed" if row["purpose"] in ("dual", "graze-out") else ("ungrazed" if "ungrazed" in kinds else "")


def _studied(row: dict[str, Any]) -> _Result:
    from sideoats.wheat.trials.analyse import analyse
    from sideoats.wheat.trials.compare import next_season

    whole = _table_of(row)
    table = whole.managed(_management(row, whole))
    estimates = analyse(table)
    season = next_season(estimates, row["site"] or "")
    return _Result(
        estimates.varieties, estimates.blue, estimates.lsd(), estimates.heritability()["cullis"], season.chance_beats(),
        season, len(np.unique(table.environment)), (*estimates.notes, *season.notes),
    )  # fmt: skip


@lru_cache(maxsize=256)
def _kept(frozen: tuple[tuple[str, Any], ...]) -> _Result:
    """`_studied` of records on file, kept: a region's fields rest on the same trials. (A named file may change.)"""
    row = dict(frozen)
    return _studied({**row, "means": tuple(dict(mean) for mean in row["means"])})


def _row(table: Table, i: int) -> dict[str, Any]:
    return {name: table.columns[name][i] for name in _RESTS_ON}


def _results(table: Table) -> tuple[list[_Result | None], list[str]]:
    """One result for each row; equal tables are analysed once. What cannot be used becomes a reason."""
    known: dict[str, _Result | str] = {}
    out: list[_Result | None] = []
    problems = []
    for i in range(len(table)):
        row = _row(table, i)
        if not row["trials"] and row["means"] is None:
            out.append(None)
            problems.append("No variety trial is on file for this field.")
            continue
        key = repr(row)
        if key not in known:
            try:
                frozen = {**row, "means": tuple(tuple(mean.items()) for mean in row["means"] or ())}
                known[key] = _studied(row) if row["trials"] else _kept(tuple(frozen.items()))
            except InputError as error:
                known[key] = str(error)
        found = known[key]
        out.append(found if isinstance(found, _Result) else None)
        problems.append(found if isinstance(found, str) else "")
    return out, problems


def _check(values: dict[str, Any]) -> None:
    if (values["trials"] is None) == (values["means"] is None):
        raise InputError(
            "a trial is needed, once",
            where="variety-choice",
            expected="trials=FILE or means=variety=A, ...; variety=B, ...",
        )
    whole = _table_of(values)
    whole.managed(_management(values, whole))
    for name in _offered(values["candidates"]):
        if name not in whole.varieties:
            raise InputError(
                f"{name!r} is not in the trials", where="variety-choice candidates",
                expected=", ".join(whole.varieties[:40]),
            )  # fmt: skip


def _offered(text: str | None) -> tuple[str, ...]:
    return tuple(part.strip() for part in (text or "").split(",") if part.strip())


def _shortlist(results: list[_Result | None], table: Table) -> tuple[str, ...]:
    """Varieties shown as options: the best of every row's own, in the order of their mean prediction."""
    score: dict[str, list[float]] = {}
    for i, result in enumerate(results):
        offered = _offered(table.text("candidates")[i])
        for name, value in zip(result.names, result.season.mean, strict=True) if result else ():
            if not offered or name in offered:
                score.setdefault(name, []).append(float(value))
    ranked = sorted(score, key=lambda name: -max(score[name]))
    return tuple(ranked[:MOST]) or ("none",)


def answer(table: Table, context: Context) -> Answers:
    """Each variety's yield next year on this field, drawn; the best one, and the best set for bad seasons too."""
    out = context.outlook
    results, problems = _results(table)
    names = _shortlist(results, table)
    n, draws = len(table), out.draws
    deviation = np.full((n, draws, len(names)), np.nan)
    for i, result in enumerate(results):
        if result is not None:
            normals = np.stack(
                [out.normal("variety, known", result.names), out.normal("variety, season", result.names)]
            )
            drawn = dict(zip(result.names, result.season.draws(normals), strict=True))
            offered = _offered(table.text("candidates")[i])
            for at, name in enumerate(names):
                if name in drawn and (not offered or name in offered):
                    deviation[i, :, at] = drawn[name]
    level = w.yield_draws(table, context)[:, :, None]
    price = w.wheat_price(table, context)[:, :, None]
    payoff = np.maximum(level + deviation, 0.0) * price
    absent = np.isnan(deviation[:, 0])
    missing = np.array([r is None for r in results]) | w.absent(table, ("yield", "price"))
    decision = decide(np.nan_to_num(payoff), barred=absent)
    options = tuple(Option(name, f"Sow {name}") for name in names)
    keep = _keeps(table, context, results, names, decision)
    until = table.days_until("planting_date", context.on)
    ahead = context.facts.value("wheat/trials.order_days")
    due = np.where(until >= 0, np.maximum(until - ahead, 0), np.nan)
    soon = ~(due > w.DUE_DAYS)
    verdict = np.where(missing, LOOK, np.where(keep | ~soon, WAIT, ACT))
    best = np.maximum(decision.best, 0)
    lead = _lead(table, names, decision)
    return Answers(
        table, context, options=options, decision=decision, unit="USD/ac",
        bars=(Bar(absent, "not in these trials, or not on offer"),),
        headline=_headline(table, context, results, names, decision, keep, due, lead),
        because=_because(table, results, names, deviation, best),
        verdict=verdict.astype(np.int8),
        act_by=np.where(verdict == ACT, np.nan_to_num(due, nan=-1.0), -1).astype(np.int64),
        quantities={
            "trials": (np.array([np.nan if r is None else r.trials for r in results]), "trials"),
            "least_significant_difference": (np.array([np.nan if r is None else r.lsd for r in results]), "bu/ac"),
            "heritability": (np.array([np.nan if r is None else r.heritability for r in results]), "1"),
            "worth_of_changing": (lead, "USD/ac"),
            "lead_over_trial_mean": (deviation.mean(axis=1)[np.arange(n), best] if n else np.zeros(0), "bu/ac"),
        },
        missing=missing, missing_headline=lambda i: problems[i] or "Not known: expected yield or wheat price.",
        missing_look_within=14,
        cautions=(
            "Advice from one site and year misleads: look at the number of trials, and at the chance, not at the rank.",
            "Yield is not all: resistance, straw, test weight and what the buyer takes are not in these figures.",
            "Protected varieties may not be sold or swapped as seed; the tag says what may be sown again.",
        ),
        cost_of_waiting=np.where((verdict == ACT) & np.isfinite(due), np.nan_to_num(lead), 0.0),
    )  # fmt: skip


def _lead(table: Table, names: tuple[str, ...], decision: Decision) -> Floats:
    """(place,) what the best variety pays over the one sown so far, on average [USD/ac]; NaN where not known."""
    current = table.text("current")
    out = np.full(len(table), np.nan)
    for at, name in enumerate(names):
        rows = (current == name) & (decision.best >= 0) & ~decision.barred[:, at]
        best = decision.expected[np.arange(len(table)), np.maximum(decision.best, 0)]
        out = np.where(rows, best - decision.expected[:, at], out)
    return out


def _keeps(
    table: Table, context: Context, results: list[_Result | None], names: tuple[str, ...], decision: Decision
) -> NDArray[np.bool_]:
    """True where the variety sown so far is the best, or the best one is not likely enough to beat it."""
    enough = context.facts.value("wheat/trials.switch_chance")
    out = np.zeros(len(table), bool)
    for i, result in enumerate(results):
        current = str(table.text("current")[i])
        if result is None or current not in result.names or decision.best[i] < 0:
            continue
        best = names[int(decision.best[i])]
        chance = result.chance[result.names.index(best), result.names.index(current)]
        out[i] = best == current or chance < enough
    return out


def _headline(
    table: Table, context: Context, results: list[_Result | None], names: tuple[str, ...], decision: Decision,
    keep: NDArray[np.bool_], due: Floats, lead: Floats,
) -> Callable[[int], str]:  # fmt: skip
    def text(i: int) -> str:
        result = results[i]
        if result is None or decision.best[i] < 0:
            return "No variety on offer is in the trials."
        best, current = names[int(decision.best[i])], str(table.text("current")[i])
        sure = 100 * decision.chance_best[i, int(decision.best[i])]
        if keep[i] and best == current:
            return f"Stay with {current}: the best here, and best of all in {sure:.0f} % of futures."
        if current in result.names:
            chance = 100 * result.chance[result.names.index(best), result.names.index(current)]
            if keep[i]:
                return (
                    f"No strong reason to leave {current}: {best} beats it next year with a chance of {chance:.0f} %."
                )
            worth = f", worth {lead[i]:.0f} USD/ac on average" if np.isfinite(lead[i]) else ""
            order = f"; have the seed by {w.shown_day(context, due[i])}" if due[i] > 0 else ""
            return (
                f"Sow {best}: it beats {current} on a field like this next year with a chance of {chance:.0f} %"
                f"{worth}{order}."
            )
        return f"Sow {best}: highest on average, and best of all in {sure:.0f} % of futures."

    return text


def _because(
    table: Table, results: list[_Result | None], names: tuple[str, ...], deviation: Floats, best: NDArray[np.int64]
) -> Callable[[int], list[str]]:
    from sideoats.wheat.trials.compare import best_sets

    def text(i: int) -> list[str]:
        result = results[i]
        if result is None:
            return []
        open_ = [at for at in range(len(names)) if np.isfinite(deviation[i, 0, at])]
        out = [
            f"{result.trials} trials of {len(result.names)} varieties; least significant difference {result.lsd:.1f} "
            "bu/ac, "
            f"heritability {result.heritability:.2f}."
        ]
        size = int(min(table.number("size")[i], len(open_)))
        if size > 1:
            sets = best_sets(
                deviation[i][:, open_].T, tuple(names[at] for at in open_), size, float(table.number("risk")[i]), most=1
            )
            chosen = " and ".join(sets[0].varieties)
            out.append(
                f"Best set of {size} in equal parts: {chosen}; {sets[0].worst_fifth:+.1f} bu/ac against the trial "
                "mean in the "
                "worst fifth of seasons."
            )
        out.append("Chances hold next year's season, not only how well the means are known.")
        return out + [note[0].upper() + note[1:] + "." for note in result.notes]

    return text


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= 75) & table.known("means"))


QUESTION = Question(
    name="variety-choice", room="wheat", title="Which wheat varieties to sow?",
    about="Varieties from trial tables by a mixed model: yield expected on a field like this next year, the chance "
    "that one "
    "beats another, and the best set of two or three.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    check=_check, options_count=MOST, apart=(*_RESTS_ON, "candidates"),
    limits="Trial plots are not fields. Spatial trend within a trial is not modelled. Grazed and ungrazed trials are "
    "never "
    "joined.",
)  # fmt: skip
