"""This week: every call, grouped by verdict, days and money first."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from starlette.responses import Response

from sideoats.call import VERDICTS, Call
from sideoats.desk.grants import READ
from sideoats.desk.table_out import csv_response, safe_row
from sideoats.desk.visit import Page, Visit
from sideoats.desk.weeks import Asked
from sideoats.week.errands import errands, folded

FIRST_SHOWN, MOST_SHOWN = 25, 300
AHEAD_DAYS = 14
_WAIT_FOR_WEEK = 0.35  # seconds: a small district is done by then, and no progress page flashes by


@dataclass
class Group:
    """The calls of one verdict: how many there are, and those shown on this page."""

    verdict: str
    calls: Sequence[Call]
    shown: Sequence[Call]
    money: float
    first: date | None
    more: int
    folded: int = 0

    def fold(self, hidden: Callable[[Call], bool], wanted: Filter) -> None:
        """Leave out of what is shown the calls that an errand stands for."""
        left = [c for c in self.calls if not hidden(c)]
        self.folded = len(self.calls) - len(left)
        self.shown = left[: wanted.shown.get(self.verdict, FIRST_SHOWN)]
        self.more = len(left) - len(self.shown)


@dataclass
class Due:
    """One of the coming days with what is due on it."""

    day: date
    act: int = 0
    look: int = 0


@dataclass
class Filter:
    """Which calls are wanted; the pages' own query names."""

    farm: str = ""
    room: str = ""
    order: str = "money"
    shown: dict[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, visit: Visit) -> Filter:
        """From the address."""
        shown = {v: visit.count(v, FIRST_SHOWN if v != "wait" else 0, MOST_SHOWN) for v in VERDICTS}
        order = visit.query("order", "money")
        return cls(visit.query("farm"), visit.query("room"), order if order in ("money", "date") else "money", shown)


def seen_calls(visit: Visit, asked: Asked) -> list[Call]:
    """The week's calls that this person may see."""
    places = visit.desk.places(visit.person)
    return [call for call in asked.week.calls if call.place in places]


def due_day(call: Call) -> date | None:
    """The day that a call speaks of first."""
    return call.act_by or call.look_by


def groups(calls: Iterable[Call], wanted: Filter, places: dict[str, Any]) -> list[Group]:
    """Calls that pass the filter, by verdict."""
    kept = [
        c
        for c in calls
        if (not wanted.room or c.room == wanted.room) and (not wanted.farm or places[c.place].farm == wanted.farm)
    ]
    out = []
    for verdict in VERDICTS:
        own = [c for c in kept if c.verdict == verdict]
        if wanted.order == "date":
            own.sort(key=lambda c: due_day(c) or date.max)
        days = [d for c in own if (d := due_day(c))]
        shown = own[: wanted.shown.get(verdict, FIRST_SHOWN)]
        money = sum(c.cost_of_waiting for c in own if c.cost_of_waiting == c.cost_of_waiting)
        out.append(Group(verdict, own, shown, money, min(days, default=None), len(own) - len(shown)))
    return out


def days_ahead(calls: Iterable[Call], on: date) -> list[Due]:
    """How many calls are due on each of the coming days; what is overdue counts on the first."""
    out = [Due(on + timedelta(days=i)) for i in range(AHEAD_DAYS)]
    for call in calls:
        when = due_day(call)
        if when is None or call.verdict == "wait":
            continue
        at = max((when - on).days, 0)
        if at < AHEAD_DAYS:
            if call.act_by:
                out[at].act += 1
            else:
                out[at].look += 1
    return out


def week(visit: Visit) -> Response:
    """The day-book, or how far it is."""
    asked, fresh = visit.desk.weeks.on(visit.on, wait=_WAIT_FOR_WEEK, who=visit.who.name)
    if asked.failed:
        return visit.page("week_failed.html", 503, line=asked.failed, on=visit.on)
    if not asked.ready:
        return visit.page("week_waits.html", asked=asked, on=visit.on)
    places = visit.desk.places(visit.person)
    wanted = Filter.of(visit)
    calls = seen_calls(visit, asked)
    grouped = groups(calls, wanted, places)
    listed = [c for g in grouped for c in g.calls]
    made = errands(listed, places)
    hidden = folded(made)
    for group in grouped:
        group.fold(hidden, wanted)
    made_passes = getattr(asked.week, "passes", ())
    sprayed = [p for p in made_passes if p.place in places and wanted.farm in ("", p.farm)]
    return visit.page(
        "week.html",
        on=visit.on,
        asked=asked,
        fresh=fresh,
        wanted=wanted,
        groups=grouped,
        total=len(listed),
        ahead=days_ahead(listed, visit.on),
        places=places,
        farms=visit.desk.farms(visit.person),
        rooms=sorted({c.room for c in calls}),
        problems=asked.week.problems,
        all_calls=len(calls),
        fetched=[e for e in made if e.folds],
        passes=[] if wanted.room not in ("", "insects") else sprayed,
    )


def progress(visit: Visit) -> Response:
    """How far the week is, as a fragment; tells the page to load itself again when it is done."""
    asked, fresh = visit.desk.weeks.on(visit.on, who=visit.who.name)
    response = visit.page("week_progress.html", asked=asked, fresh=fresh, on=visit.on, polled=True)
    if fresh and visit.query("for") == "page" and (asked.ready or asked.failed):
        response.headers["HX-Refresh"] = "true"
    return response


_COLUMNS = (
    "on", "verdict", "act_by", "look_by", "farm", "place", "question", "headline", "cost_of_waiting_usd", "best_option",
    "expected", "low_10th", "high_90th", "unit", "chance_best", "worth_of_a_look", "worth_unit",
)  # fmt: skip


def as_table(visit: Visit) -> Response:
    """The whole week as CSV."""
    asked, _ = visit.desk.weeks.on(visit.on, wait=60, who=visit.who.name)
    if not asked.ready:
        return visit.page("week_waits.html", 503, asked=asked, on=visit.on)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(_COLUMNS)
    for call in seen_calls(visit, asked):
        best = max((o for o in call.options if not o.barred), key=lambda o: o.expected, default=None)
        writer.writerow(
            safe_row(
                [
                    call.on.isoformat(),
                    call.verdict,
                    call.act_by and call.act_by.isoformat(),
                    call.look_by and call.look_by.isoformat(),
                    call.farm,
                    call.place_name or call.place,
                    call.question,
                    call.headline,
                    call.cost_of_waiting,
                    best and best.label,
                    best and best.expected,
                    best and best.low,
                    best and best.high,
                    best and best.unit,
                    best and best.chance_best,
                    call.worth_of_a_look.value,
                    call.worth_of_a_look.unit,
                ]
            )
        )
    visit.desk.audit(visit.who, "week taken out as a table", visit.on.isoformat())
    return csv_response(out.getvalue(), f"week-{visit.on.isoformat()}.csv")


PAGES = (
    Page("/", READ, week),
    Page("/week/progress", READ, progress),
    Page("/week.csv", READ, as_table),
)
