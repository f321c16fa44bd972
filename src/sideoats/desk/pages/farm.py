"""One farm: its calls summed and planned together, what was given up, and three of the futures."""

from __future__ import annotations

from starlette.responses import Response

from sideoats.desk import tongue
from sideoats.desk.grants import READ
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.farm import told
from sideoats.farm.plan import FarmPlan, run_farm
from sideoats.replies import told as call_told
from sideoats.words import Money, Name, Said, say, sentence


def farm_page(visit: Visit) -> Response:
    """The plan of one farm."""
    farm = visit.part("farm")
    if farm not in visit.desk.farms(visit.person):
        raise Absent
    reader = tongue.reader()
    plan = run_farm(visit.desk.ledger, farm, visit.on)
    parts = [
        (sentence(head, reader), [sentence(line, reader) for line in lines]) for head, lines in _parts(plan) if lines
    ]
    return visit.page(
        "farm.html",
        on=visit.on,
        farm=visit.desk.farm_name(farm),
        first=[call_told(call, reader) for call in plan.first],
        lead=[sentence(line, reader) for line in (told.worth(plan), *told.risk(plan))],
        parts_of=parts,
        places=visit.desk.places(visit.person),
    )


def _parts(plan: FarmPlan) -> list[tuple[Said, list[Said]]]:
    """Heads with their lines, in the order of the terminal's."""
    reader = tongue.reader()
    short = reader.listed(list(dict.fromkeys(sentence(told.limit_name(s.limit), reader) for s in plan.shadows)))
    futures: list[Said] = []
    for at, f in enumerate(plan.futures):
        head, by = told.future(f, at)
        futures += [head, *by]
    cash = [
        say(
            "farm.month" if left is None else "farm.month.left",
            month=Name(f"{reader.month(day)} {day.year}"),
            moved=Money(moved, unit="USD"),
            **({} if left is None else {"left": Money(left, unit="USD")}),
        )
        for day, moved, left in told.months(plan)
    ]
    return [
        (say("farm.head.acts"), told.acts(plan)),
        (say("farm.head.twice"), told.counted_once(plan)),
        (say("farm.head.given_up", limits=Name(short)), [*told.given_up(plan), *told.shadows(plan)]),
        (say("farm.head.futures"), futures),
        (say("farm.head.cash"), cash),
        (say("farm.head.left"), told.left_out(plan)),
    ]


PAGES = (Page("/farms/{farm}", READ, farm_page),)
