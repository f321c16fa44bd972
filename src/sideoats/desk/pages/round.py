"""The scouting round: which places to look at, in which order, as a list, a map and cards to print."""

from __future__ import annotations

from dataclasses import replace

from starlette.responses import Response

from sideoats.bulletin.field_card import cards, round_map
from sideoats.desk.grants import READ
from sideoats.desk.pages.week import seen_calls
from sideoats.desk.table_out import file_response
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.week.run import Week
from sideoats.week.visits import Plan, counting_lines, plan_visits

HOURS, MOST_HOURS = 8, 60


def _plan(visit: Visit, wait: float) -> tuple[Plan, Week, int] | None:
    """The round, the week it was made from, and the hours asked for; None while the week is worked out."""
    asked, _ = visit.desk.weeks.on(visit.on, wait=wait, who=visit.who.name)
    if not asked.ready or not asked.week.calls:
        return None
    hours = max(visit.count("hours", HOURS, MOST_HOURS), 1)
    district = visit.desk.districts.on(visit.on)
    own = replace(asked.week, calls=tuple(seen_calls(visit, asked)))
    plan = plan_visits(
        own, district, hours=float(hours), farm=visit.query("farm") or None, sees=visit.desk.places(visit.person)
    )
    return plan, own, hours


def round_page(visit: Visit) -> Response:
    """List and map."""
    made = _plan(visit, 0.35)
    if made is None:
        return visit.page("bulletin_none.html", on=visit.on)
    plan, _, hours = made
    return visit.page(
        "round.html",
        on=visit.on,
        plan=plan,
        hours=hours,
        picture=round_map(plan),
        farm=visit.query("farm"),
        farms=visit.desk.farms(visit.person),
    )


def round_cards(visit: Visit) -> Response:
    """A card for each place, to print and carry."""
    made = _plan(visit, 60)
    if made is None:
        raise Absent
    plan, own, _ = made
    lines = counting_lines(visit.desk.stop_lines(visit.on), [v.place.id for v in plan.visits])
    return file_response(
        cards(plan, lines, getattr(own, "passes", ())).encode(), "text/html", f"round-{visit.on.isoformat()}.html"
    )


PAGES = (
    Page("/round", READ, round_page),
    Page("/round/cards.html", READ, round_cards),
)
