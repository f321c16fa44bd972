"""Is a moth flight on, and which fields must be looked at, and when?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, WAIT
from sideoats.errors import InputError
from sideoats.insects.flight import Flight, camera_catch, event_days, find_flight
from sideoats.insects.questions._ahead import degree_days_ahead
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field
from sideoats.station import StationDays
from sideoats.weather.degree_days import degree_days

Floats = NDArray[np.float64]
_F = "insects/moth_flight."
_T = "insects/trap_flight."
_AHEAD = 61
SPECIES = ("fall armyworm", "corn earworm", "armyworm", "army cutworm", "black cutworm", "other")
_CATCH = (
    Field("on", "date", "morning on which the trap was read", required=True),
    Field("caught", "number", "moths counted by a person", low=0, high=100_000),
    Field("reported", "number", "moths that the camera reported", low=0, high=100_000),
    Field("nights", "number", "nights since the trap was last emptied", low=1, high=31, default=1.0),
    Field("working", "flag", "no when the trap was full, torn, out of lure or power"),
    Field("species", "text", "moth species caught"),
)
INPUTS = (
    Field("species", "choice", "moth that the trap is for", choices=SPECIES, required=True,
          found_in=("evidence:trap_catch.species", "place:crop")),
    Field("catches", "series", "catch of each morning: a CSV file with date and moths, or 'date moths; date moths'",
          low=0, high=100_000),
    Field("readings", "records", "readings of the trap on file", fields=_CATCH, fresh_days=30,
          found_in=("history:trap_catch",)),
    Field("camera", "flag", "the catches are a camera's counts, not a person's", default=False),
    Field("false_share", "share", "share of a camera's count that is something else; the published range if absent"),
    Field("missed_share", "share", "share of moths that the camera misses; the published range if absent"),
    Field("station", "text", "weather station on file that stands for the district", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if values["catches"] is None and values["readings"] is None:
        raise InputError(
            "no catches given",
            where="trap-flight",
            expected="catches='2026-08-01 3; 2026-08-02 5; ...' or catches=FILE.csv",
            todo="give every night's catch of at least two weeks, nights without moths too",
        )


def _nights(table: Table, on: date, count: int) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Moths a night by person and by camera (trap, night), NaN where none; and whether any count is a camera's only."""
    people, cameras = np.full((2, len(table), count), np.nan)
    flagged = table.flag("camera")
    for row, (series, readings) in enumerate(zip(table.rows("catches"), table.rows("readings"), strict=True)):
        found: list[tuple[date, float | None, float | None, float]] = []
        for day, moths in series or ():
            found.append((day, None, moths, 1.0) if flagged[row] else (day, moths, None, 1.0))
        for r in readings or ():
            if r.get("working") is not False and r["on"] is not None:
                found.append((r["on"], r.get("caught"), r.get("reported"), r.get("nights") or 1.0))
        for day, caught, reported, nights in found:
            last = count - (on - day).days  # the night that ended on this morning
            span = slice(max(0, last - int(nights)), max(0, last))
            if caught is not None and last <= count:
                people[row, span] = caught / nights
            if reported is not None and last <= count:
                cameras[row, span] = reported / nights
    only = np.isnan(people).all(axis=1) & ~np.isnan(cameras).all(axis=1)
    return people, cameras, only


def answer(table: Table, context: Context) -> Answers:
    """Flights in the catches of every trap, and the days on which their larvae can be found."""
    facts, out = context.facts, context.outlook
    count = int(facts.value(_T + "nights_used"))
    people, cameras, only = _nights(table, context.on, count)
    false_fact, missed_fact = facts[_F + "camera.false_positives"], facts[_F + "camera.missed"]
    false_share = np.where(table.known("false_share"), table.number("false_share"), false_fact.mid)
    missed = np.where(table.known("missed_share"), table.number("missed_share"), missed_fact.mid)
    moths = np.where(np.isnan(people), camera_catch(cameras, false_share[:, None], missed[:, None]), people)
    flight = find_flight(moths)
    sure = flight.evidence >= facts.value(_T + "evidence")
    few = flight.nights < facts.value(_T + "least_nights")
    noise = out.normal("trap flight peak", table.keys)
    start = np.where(sure[:, None], flight.peak[:, None] + flight.peak_sd[:, None] * noise, 0.0) - (count - 1)
    first = np.where(sure[:, None], flight.onset[:, None] + 0.0 * noise, 0.0) - (count - 1)
    events = _events(table, context, start, first, count)
    return _Reply(table, context, flight, sure, few, only, count, events).answers()


def _events(table: Table, context: Context, start: Floats, first: Floats, count: int) -> dict[str, Floats]:
    """Event -> (trap, draw) days from today: "first hatch" after the onset, the others after the peak."""
    facts = context.facts
    found: dict[str, Floats] = {}
    for species in SPECIES:
        rows = np.flatnonzero(table.text("species") == species)
        key = _F + species.replace(" ", "_")
        if not rows.size or key not in facts.by_id:
            continue
        limits, needs = facts[key + "_limits"], facts[key]
        part = table.take(rows)
        cutoff = "intermediate" if species == "corn earworm" else "horizontal"
        ahead = degree_days_ahead(part, context, limits.low, limits.high, _AHEAD, cutoff=cutoff)
        past = _observed(part, context, limits.low, limits.high, count, cutoff, ahead)
        for event, requirement in zip(needs.column("event"), needs.column("degree_days"), strict=True):
            whole = found.setdefault(event, np.full(start.shape, np.nan))
            whole[rows] = event_days(start[rows], past, ahead, requirement)
            if event == "egg hatch":
                early = found.setdefault("first hatch", np.full(start.shape, np.nan))
                early[rows] = event_days(first[rows], past, ahead, requirement)
    return found


def _record(context: Context, name: str) -> StationDays | None:
    """The station's record, else the first there is."""
    records = context.outlook.records
    return records.get(name) or next(iter(records.values()), None)


def _observed(
    table: Table, context: Context, lower: float, upper: float, count: int, cutoff: str, ahead: Floats
) -> Floats:
    """(trap, night) degree-days of past nights at each trap's station; the coming week's mean where not on file."""
    out = np.repeat(ahead[7].mean(axis=1)[:, None] / 7.0, count, axis=1)
    for row, name in enumerate(table.text("station")):
        record = _record(context, str(name))
        if record is None:
            continue
        begin = record.index(context.on - timedelta(days=count))
        for night in range(count):
            at = begin + night
            if 0 <= at < len(record):
                high, low = record.usable("tmax")[at], record.usable("tmin")[at]
                if np.isfinite(high) and np.isfinite(low):
                    out[row, night] = degree_days(high, low, lower, upper, method="single_sine", cutoff=cutoff)
    return out


@dataclass(frozen=True)
class _Reply:
    table: Table
    context: Context
    flight: Flight
    sure: NDArray[np.bool_]
    few: NDArray[np.bool_]
    only_camera: NDArray[np.bool_]
    count: int
    events: dict[str, Floats]

    def answers(self) -> Answers:
        n = len(self.table)
        timed = self._quantile("egg hatch", 0.5)
        begin, until = self._quantile("first hatch", 0.1), self._quantile("large larvae", 0.5)
        unsourced = self.sure & np.isnan(timed)
        open_ = self.sure & (unsourced | ((begin <= 7) & ~(until < -3)))
        last_look = np.where(np.isnan(until), 7.0, np.clip(np.floor(until) - 1, 0, 14))
        look = np.where(open_, np.where(unsourced, 7, last_look), self.context.facts.value(_T + "check_days"))
        quantities = {
            "flight_evidence": (self.flight.evidence, "1"),
            "nights_read": (self.flight.nights, "night"),
            "moths_a_night_in_flight": (self._if_sure(self.flight.level), "moth/night"),
            "moths_a_night_before": (self._if_sure(self.flight.background), "moth/night"),
            "flight_began": (self._dates(self.flight.onset.astype(float) - self.count + 1), "date"),
            "flight_peak": (self._dates(self.flight.peak - self.count + 1), "date"),
            "peak_standard_error": (self._if_sure(self.flight.peak_sd), "day"),
            "first_hatch_early": (self._dates(begin), "date"),
            "hatch_likely": (self._dates(timed), "date"),
            "large_larvae_early": (self._dates(self._quantile("large larvae", 0.1)), "date"),
            "large_larvae_likely": (self._dates(until), "date"),
            "large_larvae_late": (self._dates(self._quantile("large larvae", 0.9)), "date"),
        }
        missing = (self.flight.nights == 0) | (self.table.text("species") == "")
        return Answers(
            self.table,
            self.context,
            headline=self._headline,
            because=self._because,
            verdict=np.where(open_, LOOK, WAIT).astype(np.int8),
            look_by=look.astype(np.int64),
            quantities=quantities,
            missing=missing,
            missing_headline="No catches on file: read the trap, and record nights without moths too.",
            cautions=self._cautions,
            cost_of_waiting=np.zeros(n),
        )

    def _quantile(self, event: str, q: float) -> Floats:
        """Days from today; NaN where the species has no sourced figure or most futures do not reach the event."""
        days = self.events.get(event)
        if days is None:
            return np.full(len(self.table), np.nan)
        filled = np.where(np.isnan(days), 1e6, days)
        found = np.quantile(filled, q, axis=1)
        return np.where(self.sure & (found < 1e5), found, np.nan)

    def _if_sure(self, values: Floats) -> Floats:
        return np.where(self.sure, values, np.nan)

    def _dates(self, days: Floats) -> NDArray[np.object_]:
        shown = np.where(self.sure & np.isfinite(days), days, np.nan)
        out = np.empty(len(shown), dtype=object)
        out[:] = [("" if np.isnan(d) else str(self.context.on + timedelta(days=int(np.floor(d))))) for d in shown]
        return out.astype(str)

    def _row_species(self, i: int) -> tuple[str, str]:
        species = str(self.table.text("species")[i])
        fact = self.context.facts.by_id[_F + "crops"]
        return species, dict((r[0], r[1]) for r in fact.rows).get(species, "crops it feeds on")

    def _headline(self, i: int) -> str:
        species, crops = self._row_species(i)
        if self.few[i]:
            return f"{self.flight.nights[i]} nights read: too few to tell a {species} flight; go on reading the trap."
        if not self.sure[i]:
            return f"No {species} flight stands out in {self.flight.nights[i]} nights; read the trap again."
        began = self.context.on + timedelta(days=int(self.flight.onset[i]) - self.count + 1)
        when = f"{species.capitalize()} flight since {began:%d %b}" + (
            "" if not self.flight.going_on[i] else ", still going on"
        )
        begin, until = (self._quantile(e, q)[i] for e, q in (("first hatch", 0.1), ("large larvae", 0.5)))
        if np.isnan(begin):
            return f"{when}: look at {crops} within a week (no sourced degree-days for its larvae)."
        first = self.context.on + timedelta(days=int(max(begin, 0)))
        if np.isnan(until):
            return f"{when}: small larvae from {first:%d %b}; look at {crops}."
        last = self.context.on + timedelta(days=int(np.floor(until)))
        if until < -3:
            return f"{when}: its larvae are past their large stage since {last:%d %b}."
        return f"{when}: look at {crops} from {first:%d %b}, before larvae are large about {last:%d %b}."

    def _because(self, i: int) -> list[str]:
        f = self.flight
        out = [
            f"{f.nights[i]} nights read; {f.background[i]:.1f} moths a night outside the stretch that stands out most, "
            f"{f.level[i]:.1f} inside (evidence {f.evidence[i]:.0f}, "
            f"{self.context.facts.by_id[_T + 'evidence'].value:.0f} needed).",
            "Only the shape of the series tells the nights, so a camera that counts too many finds the same ones.",
        ]
        if self.sure[i] and np.isnan(self._quantile("egg hatch", 0.5)[i]):
            out.append("No sourced degree-days for this species: dates are not forecast.")
        record, on = _record(self.context, str(self.table.text("station")[i])), self.context.on
        gone = record.lacking(("tmax", "tmin"), on, self.count) if record else 0
        if record and gone and self.sure[i]:
            told = record.lack_told(on, self.count, gone)
            out.append(f"{told[0].upper()}{told[1:]}: the mean heat of the coming week stands for them.")
        out.append(self.context.outlook.notes[0])
        return out

    def _cautions(self, i: int) -> list[str]:
        out = [self.context.facts.by_id[_F + "caution"].text]
        if self.only_camera[i]:
            out.append("These are a camera's counts: have a person check the pictures before anything is decided.")
        return out


def _in_season(table: Table, context: Context) -> NDArray[np.bool_]:
    """Traps that are being read, and those whose moth flies at this time of the year: none is read in January."""
    today = f"{context.on:%m-%d}"
    flies = {name for name, first, last in context.facts[_T + "season"].rows if first <= today <= last}
    return np.asarray(np.isin(table.text("species"), list(flies)) | table.known("readings") | table.known("catches"))


QUESTION = Question(
    name="trap-flight",
    room="insects",
    title="Is a moth flight on, and which fields must be looked at?",
    about="Flight onset and peak from nightly catches, by hand or from a camera that miscounts, and from degree-days "
    "over past years the days on which its larvae hatch and grow large.",
    inputs=INPUTS,
    answer=answer,
    places=Places(kinds=("trap",)),
    in_season=_in_season,
    check=_check,
    options_count=4,
    apart=("species",),
    limits="Corn earworm, fall armyworm and black cutworm have degree-days with a source or a memory mark; other "
    "species are told by their flight only. A trap says where to look, never to treat.",
)
