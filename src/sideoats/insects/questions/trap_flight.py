"""Is a moth flight on, and which fields must be looked at, for what and by when?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.trapped import Catches, catches_of, larvae_after
from sideoats.families.treated import days_ahead_said
from sideoats.insects.flight import Flight, either, find_flight, from_its_beginning, heavy_flight
from sideoats.insects.planner import first_look_worth
from sideoats.problem import Choice, Look, Problem, labelled
from sideoats.question import Context, Places, Question, Table
from sideoats.replies import READER
from sideoats.ruling import known_size
from sideoats.vocabulary import see
from sideoats.words import Day, LongDay, Measured, Name, Phrase, Said, Term, Terms, Value, say, sentence

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME, MOTHS, TRAP, UNIT = "trap-flight", "insects/moth_flight.", "insects/trap_flight.", "USD/ac"
LAYING = 3  # days ahead that a crop may come to the stage in which moths that fly now lay on it
OPEN, GONE = 14, -3  # days: in which larvae that hatch ask for a look; since most were large, past which none does
NIGHTS = 60  # newest nights in which a flight is sought: those that `trap_flight.evidence` was simulated for
INPUTS = (
    see("trap_catch.species", needed=True, also=("place.crop",)),
    see("trap-flight.catches"),
    see("trap-flight.readings"),
    see("trap-flight.camera"),
    see("trap-flight.false_share"),
    see("trap-flight.missed_share"),
    see("place.station"),
)


@dataclass(frozen=True)
class _Flown:
    """Flights as found: by shape or by level (which the catches reached), and one odd night that is none."""

    flight: Flight
    found: Bools
    by_level: Bools
    odd: Bools
    most: Floats
    level: Floats


def pose(table: Table, context: Context) -> Problem:
    """Looking at the fields that the flight's larvae harm, against going on reading the trap: nothing is decided."""
    facts, n = context.facts, len(table)
    read = catches_of(table, context, NIGHTS)
    flown, species = _flights(table, context, read), table.text("species")
    flies, count = _flies(table, context), read.moths.shape[1]
    sure, strange = flown.found & flies, flown.found & ~flies
    unread = (read.since > facts.value(TRAP + "stale_after")) & flies
    missing = (flown.flight.nights == 0) | (species == "") | _misdated(table, context)
    when = larvae_after(table, context, flown.flight, sure, count)
    hosts, coming, opens = _hosts(table, context)
    fed = np.array([bool(crops) for crops in hosts])
    undated, lays = sure & np.isnan(when["first"]), flown.flight.going_on & ~unread
    past = sure & (when["large"] < GONE) & ~lays  # one that goes on lays on
    open_ = sure & fed & ~past & (undated | (when["first"] <= OPEN))
    back = facts.value(TRAP + "check_days")
    begins = np.clip(np.floor(np.nan_to_num(when["first"], nan=7.0)), 0, OPEN)  # the first day that a look can find any
    only_read = unread & ~open_  # the fields come first where larvae of an earlier flight may be in them
    looks = _looks(table, context, (only_read, open_, strange), (1.0, begins, back))
    few = (flown.flight.nights < facts.value(TRAP + "least_nights")) & ~flown.by_level
    later = np.array([bool(crops) for crops in coming])
    heads = (
        (missing & _misdated(table, context), "dates.need"),
        (missing, "read.need"),
        (only_read, "unread.look"),
        (strange, "strange.look"),
        (open_ & undated, "undated.look"),
        (open_ & (when["large"] <= begins) & ~lays, "large.look"),
        (open_ & ~(when["large"] > begins), "now.look"),
        (open_ & (when["first"] < 0), "begun.look"),
        (few & ~sure, "few.wait"),
        (sure & ~fed & later, "later-host.wait"),
        (sure & ~fed, "no-host.wait"),
        (past, "past.wait"),
        (sure, "later.wait"),
        (flown.odd, "odd.wait"),
    )
    return Problem(
        NAME,
        (Choice("read-on", labelled("read-on"), passive=True),),
        "read-on",
        UNIT,
        np.zeros((n, context.outlook.draws, 1)),
        looks=looks,
        needs={"trap-flight.readings": missing},
        recheck=np.full(n, back, dtype=np.int64),
        size=np.full(n, np.nan),
        values=_values(table, context, read, flown, (hosts, coming, opens), when),
        heads=tuple((rows, f"{NAME}.{end}") for rows, end in heads),
        reasons=(
            *_reasons(table, context, read, flown, sure, undated, open_),
            say(
                f"{NAME}.because.unread", read=Day(_on(context, -read.since)), since=Measured(read.since, unit="night")
            ).where(unread & open_),
        ),
        cautions=(
            say(f"{NAME}.caution.loose", by=Name(facts.by(MOTHS + "caution"), fact=MOTHS + "caution")),
            say(f"{NAME}.caution.camera").where(read.camera),
        ),
        quantities=_quantities(context, flown, sure & ~only_read, when, count),
    )


def _flights(table: Table, context: Context, read: Catches) -> _Flown:
    """The flight of every trap: what stands out of its own nights, or so many moths that their shape is no matter."""
    facts, moths = context.facts, read.moths
    enough = facts.value(TRAP + "evidence")
    flight = find_flight(moths, read.span)
    last = moths.shape[1] - 1 - read.since
    odd = (flight.onset == flight.end) & (read.span == 1) & (last - flight.end >= facts.value(TRAP + "quiet_after"))
    by_shape = (flight.evidence >= enough) & ~odd
    levels = {str(name): (float(least), float(span)) for name, least, span in facts[TRAP + "level"].rows}
    level = np.array([levels.get(str(s), (np.nan, np.nan)) for s in table.text("species")]).reshape(-1, 2)
    heavy, most = heavy_flight(moths, level[:, 0], level[:, 1])
    by_level = heavy.onset >= 0
    whole = either(from_its_beginning(moths, flight, read.span, enough), heavy, by_level & ~by_shape)
    return _Flown(whole, by_shape | by_level, by_level, odd & (flight.evidence >= enough) & ~by_level, most, level)


def _misdated(table: Table, context: Context) -> Bools:
    """(trap,) True where catches were typed of nights to come, or none of the nights that are looked at."""
    oldest = context.on - timedelta(days=NIGHTS)
    days = [[day for day, _ in typed or ()] for typed in table.rows("catches")]
    return np.array([bool(each) and (max(each) > context.on or max(each) < oldest) for each in days], bool)


def _typed(table: Table, end: Callable[[list[date]], date]) -> NDArray[np.datetime64]:
    """(trap,) the first or last day of the catches that were typed."""
    days = [[day for day, _ in typed or ()] for typed in table.rows("catches")]
    return np.array([np.datetime64(end(each)) if each else np.datetime64("NaT") for each in days], "datetime64[D]")


def _flies(table: Table, context: Context) -> Bools:
    """(trap,) True where moths of the species fly at this time of the year."""
    flying = {
        name: context.region.holds(f"{name.replace(' ', '-')}-moths", context.on)
        for name in set(table.text("species").tolist()) - {""}
    }
    return np.array([flying.get(str(name), False) for name in table.text("species")], dtype=bool)


def _hosts(
    table: Table, context: Context
) -> tuple[list[tuple[str, ...]], list[tuple[str, ...]], NDArray[np.datetime64]]:
    """For each trap the crops that stand at a stage that the larvae harm while these moths lay; else those that come to
    it first while the larvae live, and the day. All crops where the species has none on file.
    """
    region, on, facts = context.region, context.on, context.facts
    rows, lives = [row[:3] for row in facts[MOTHS + "hosts"].rows], dict(facts[TRAP + "host_ahead"].rows)
    now, coming, opens = [], [], np.full(len(table), "NaT", dtype="datetime64[D]")
    for at, name in enumerate(table.text("species")):
        days = {str(crop): region.opens(str(window), on) for species, crop, window in rows if species == name}
        now.append(tuple(c for c, day in days.items() if (day - on).days <= LAYING) if days else ("unknown",))
        opens[at] = min(days.values()) if days else np.datetime64("NaT")
        soon = min(days.values(), default=on) if days and not now[at] else None
        lived = soon is not None and (soon - on).days <= float(lives.get(str(name), 0.0))
        coming.append(tuple(c for c, day in days.items() if day == soon) if lived else ())
    return now, coming, opens


def _looks(
    table: Table, context: Context, when: tuple[Bools, Bools, Bools], within: tuple[Any, Any, Any]
) -> tuple[Look, ...]:
    """Reading the trap now, walking the fields, having the moths identified: each worth a first look at a field."""
    facts, n = context.facts, len(table)
    over, excess = (facts.value(f"insects/planner.{name}") for name in ("over_after_flight", "excess_over"))
    worth = first_look_worth(over, excess, facts.value("insects/treatment.usual_cost"))
    hours = facts.value("insects/counting.visit_minutes") / 60 * facts.value("decide/look.hour")
    cost = hours / known_size(UNIT, np.full(n, np.nan), facts)
    return tuple(
        Look(
            np.zeros((n, 1)),
            cost=cost,
            within=np.broadcast_to(days, n).astype(np.int64),
            worth=np.where(rows, worth, 0.0),
        )
        for rows, days in zip(when, within, strict=True)
    )


def _on(context: Context, days: Floats) -> NDArray[np.datetime64]:
    """(trap,) calendar days; NaT where not known."""
    known = np.isfinite(days)
    on = np.datetime64(context.on, "D") + np.floor(np.where(known, days, 0.0)).astype("timedelta64[D]")
    return np.where(known, on, np.datetime64("NaT"))


def _values(
    table: Table,
    context: Context,
    read: Catches,
    flown: _Flown,
    hosts: tuple[list[tuple[str, ...]], list[tuple[str, ...]], NDArray[np.datetime64]],
    when: dict[str, Floats],
) -> dict[str, Any]:
    flight, count = flown.flight, read.moths.shape[1]
    began = _on(context, np.where(flown.found, flight.onset - count + 1.0, np.nan))
    species = Term(table.text("species"), of="trap_catch.species")

    def going(i: int) -> Value:
        return Phrase(say(f"{NAME}.going") if flight.going_on[i] else None)

    def flew(i: int) -> Value:
        told = say(f"{NAME}.flew", species=species, began=Day(began)).at(i)
        return Phrase(told if flown.found[i] else None)

    return {
        "species": species,
        "earliest": LongDay(_typed(table, min)),
        "newest": LongDay(_typed(table, max)),
        "hosts": lambda i: Terms(hosts[0][i], of="host"),
        "coming": lambda i: Terms(hosts[1][i], of="host"),
        "opens": Day(np.fmax(hosts[2], _on(context, when["first"]))),
        "nights": Measured(flight.nights.astype(float), unit="night"),
        "since": Measured(read.since, unit="night"),
        "read": Day(_on(context, -read.since)),
        "began": Day(began),
        "going": going,
        "then": flew,
        "first": Day(_on(context, when["first"])),
        "last": Day(_on(context, when["large"])),
    }


def _reasons(
    table: Table, context: Context, read: Catches, flown: _Flown, sure: Bools, undated: Bools, open_: Bools
) -> tuple[Said, ...]:
    facts, flight, species = context.facts, flown.flight, table.text("species")
    known = (flight.nights > 0) & (species != "")
    hosts = [(row[0], row[2], row[4]) for row in facts[MOTHS + "hosts"].rows]
    soon = context.on + timedelta(days=LAYING)

    def because(code: str, **values: Any) -> Said:
        return say(f"{NAME}.because.{code}", **values)

    def standing(window: str) -> bool:
        return context.region.opens(window, context.on) <= soon

    how = {how: {s for s, window, other in hosts if other == how and standing(window)} for *_, how in hosts}
    return (
        *(say(f"{NAME}.how.{code}").where(open_ & np.isin(species, list(of))) for code, of in how.items() if of),
        because(
            "seen",
            nights=Measured(flight.nights.astype(float), unit="night"),
            before=Measured(np.round(flight.background, 1)),
            inside=Measured(np.round(flight.level, 1)),
            evidence=Measured(np.round(flight.evidence)),
            least=Measured(facts.value(TRAP + "evidence"), fact=TRAP + "evidence"),
        ).where(known),
        because(
            "level",
            most=Measured(np.round(flown.most)),
            span=Measured(flown.level[:, 1], unit="night"),
            least=Measured(flown.level[:, 0], fact=TRAP + "level"),
        ).where(known & flown.by_level),
        because("camera").where(known & read.camera),
        because("undated").where(undated),
        *_lacking(table, context, sure, read.moths.shape[1]),
        *days_ahead_said(context, sure & ~undated),
    )


def _lacking(table: Table, context: Context, sure: Bools, count: int) -> tuple[Said, ...]:
    """Past nights whose heat is not on file."""
    n = len(table)
    gone, ends, name = np.zeros(n), np.full(n, "NaT", dtype="datetime64[D]"), np.full(n, "", dtype=object)
    for row, station in enumerate(table.text("station")):
        record = context.outlook.records.get(str(station))
        if record is not None and sure[row]:
            gone[row] = record.lacking(("tmax", "tmin"), context.on, count)
            name[row] = record.name or record.station
            ends[row] = record.end if record.end < context.on - timedelta(days=1) else ends[row]
    told = {"station": Name(name), "gone": Measured(gone), "days": Measured(float(count), unit="day")}
    ended = ~np.isnat(ends)
    return (
        say(f"{NAME}.because.ended", ends=LongDay(ends), **told).where((gone > 0) & ended),
        say(f"{NAME}.because.lacks", **told).where((gone > 0) & ~ended),
    )


def _quantities(
    context: Context, flown: _Flown, sure: Bools, when: dict[str, Floats], count: int
) -> dict[str, tuple[Any, Any]]:
    flight = flown.flight

    def day(days: Floats) -> tuple[Any, str]:
        found = _on(context, np.where(sure, days, np.nan))
        return np.where(np.isnat(found), "", found.astype(str)), "date"

    def number(values: Floats, unit: str) -> tuple[Any, str]:
        return np.where(sure, values, np.nan), unit

    return {
        "flight_evidence": (flight.evidence, "1"),
        "most_moths_running": (flown.most, [f"moths in {n:.0f} nights" if n > 0 else "" for n in flown.level[:, 1]]),
        "nights_read": (flight.nights, "night"),
        "moths_a_night_in_flight": number(flight.level, "moth/night"),
        "moths_a_night_before": number(flight.background, "moth/night"),
        "flight_began": day(flight.onset.astype(float) - count + 1),
        "flight_peak": day(flight.peak - count + 1),
        "peak_standard_error": number(flight.peak_sd, "day"),
        "larvae_first": day(when["first"]),
        "larvae_likely": day(when["likely"]),
        "large_larvae_early": day(when["large early"]),
        "large_larvae_likely": day(when["large"]),
        "large_larvae_late": day(when["large late"]),
    }


def _check(values: dict[str, Any]) -> None:
    if values["catches"] is None and values["readings"] is None:
        raise InputError(
            "no catches given",
            where=NAME,
            expected="catches='2026-08-01 3; 2026-08-02 5; ...' or catches=FILE.csv",
            todo=sentence(say(f"{NAME}.how-to-read"), READER),
        )


QUESTION = Question(
    name=NAME,
    room="insects",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("trap",)),
    in_season=lambda table, context: _flies(table, context) | table.known("readings") | table.known("catches"),
    check=_check,
    options_count=4,
    apart=("species",),
)
