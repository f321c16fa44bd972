"""The office itself: who has an account, and what was done; and help for everyone."""

from __future__ import annotations

import itertools

from starlette.responses import Response

from sideoats.desk.accounts import ROLES
from sideoats.desk.grants import GOVERN, OPEN
from sideoats.desk.links import office_menu
from sideoats.desk.tongue import line_of
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError

AUDIT_SHOWN = 200


def _office_only(visit: Visit) -> None:
    if not visit.desk.settings.office:
        raise Absent


def people(visit: Visit) -> Response:
    """Accounts, and a form for another."""
    _office_only(visit)
    return _people(visit, "", 200)


def _people(visit: Visit, line: str, status: int) -> Response:
    return visit.page(
        "people.html",
        status,
        people=visit.desk.accounts.people(),
        roles=ROLES,
        line=line,
        farms=visit.desk.farms(visit.person),
        name=visit.text("name"),
    )


def add_person(visit: Visit) -> Response:
    """A new account."""
    _office_only(visit)
    known = visit.desk.farms(visit.person)
    farms = tuple(f for f in visit.form.getlist("farm") if isinstance(f, str) and f in known)
    password = visit.form.get("password")
    try:
        person = visit.desk.accounts.add(
            visit.text("name").lower(), password if isinstance(password, str) else "", visit.text("role"), farms
        )
    except InputError as error:
        return _people(visit, line_of(error), 422)
    visit.desk.audit(visit.who, "account made", f"{person.name}, {person.role}")
    return visit.go("/people", note="made")


def change_person(visit: Visit) -> Response:
    """Another role, or an account closed or opened again."""
    _office_only(visit)
    name, role, state = visit.part("name"), visit.text("role"), visit.text("state")
    try:
        closed = {"closed": True, "open": False}.get(state)
        visit.desk.accounts.change(name, role=role or None, closed=closed)
    except InputError as error:
        return _people(visit, line_of(error), 422)
    visit.desk.audit(visit.who, "account changed", f"{name}: {role} {state}".strip())
    return visit.go("/people", note="account")


def audit(visit: Visit) -> Response:
    """What was done at this desk, the newest first."""
    _office_only(visit)
    entries = list(visit.desk.ledger.history(kind="audit"))[::-1]
    return visit.page("audit.html", entries=list(itertools.islice(entries, AUDIT_SHOWN)), total=len(entries))


def help_page(visit: Visit) -> Response:
    """What each page is for, and whom to ask."""
    return visit.page("help.html", office_menu=office_menu(visit.person))


PAGES = (
    Page("/people", GOVERN, people),
    Page("/people", GOVERN, add_person, methods=("POST",)),
    Page("/people/{name}", GOVERN, change_person, methods=("POST",)),
    Page("/audit", GOVERN, audit),
    Page("/help", OPEN, help_page),
)
