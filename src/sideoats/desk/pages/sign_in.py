"""Signing in and out of an office's desk, one's own sessions and password."""

from __future__ import annotations

import time
from urllib.parse import urlsplit

from starlette.responses import RedirectResponse, Response

from sideoats.desk.grants import OPEN, READ
from sideoats.desk.guard import address_of, cookie_name, set_session
from sideoats.desk.strikes import QUARTER
from sideoats.desk.tongue import line_of, plain
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError

UNKNOWN = "no account of that name"


def inside(target: str) -> str:
    """`target` if it is an address of this desk, else the first page: no one is sent elsewhere after signing in."""
    parts = urlsplit(target)
    plain = target.startswith("/") and not target.startswith("//") and "\\" not in target and target.isprintable()
    return target if plain and not parts.scheme and not parts.netloc else "/"


def form(visit: Visit) -> Response:
    """The form."""
    if not visit.desk.settings.office:
        raise Absent
    return visit.page("sign_in.html", target=inside(visit.query("next", "/")), line="", name="")


def sign_in(visit: Visit) -> Response:
    """A new session for the right password; the same answer for a wrong name and a wrong password."""
    if not visit.desk.settings.office:
        raise Absent
    desk, name = visit.desk, visit.text("name").lower()
    target, address = inside(visit.text("next") or "/"), address_of(visit.request.scope)
    now, limits = time.monotonic(), desk.settings.limits
    # what is typed there may be a password: only the name of an account is ever kept
    known = name if desk.accounts.has(name) else UNKNOWN
    pair = (name[:60], address)
    if not desk.strikes.admit(pair, now, limits.sign_ins_a_quarter):
        return _wait(visit, target, name, int(QUARTER), plain("sign_in.tries"))
    password = visit.form.get("password")
    with desk.strikes.slot() as free:
        if not free:
            return _wait(visit, target, name, 10, plain("sign_in.busy"))
        person = desk.accounts.check(name, password if isinstance(password, str) else "")
    if person is None:
        desk.audit(None, "sign-in refused", known, address)
        return visit.page("sign_in.html", 401, target=target, name=name, line=plain("sign_in.wrong"))
    desk.strikes.clear(pair)
    if visit.key:
        desk.accounts.end(visit.key)
    response = RedirectResponse(target, 303)
    set_session(desk, response, desk.accounts.begin(person, visit.request.headers.get("user-agent", "")))
    desk.audit(person, "signed in", "", address)
    return response


def _wait(visit: Visit, target: str, name: str, seconds: int, line: str) -> Response:
    response = visit.page("sign_in.html", 429, target=target, name=name, line=line)
    response.headers["Retry-After"] = str(seconds)
    return response


def session(visit: Visit) -> Response:
    """One's own account and where it is open."""
    return visit.page("session.html", sessions=visit.desk.accounts.sessions(visit.who.name), line="")


def end_session(visit: Visit) -> Response:
    """End this session, or another of one's own."""
    short = visit.text("short")
    if short:
        if not visit.desk.accounts.end_by_name(visit.who.name, short):
            raise Absent
        return visit.go("/session", note="ended")
    visit.desk.accounts.end(visit.key)
    visit.desk.audit(visit.who, "signed out")
    response = RedirectResponse("/sign-in" if visit.desk.settings.office else "/help", 303)
    response.delete_cookie(
        cookie_name(visit.desk), path="/", secure=visit.desk.settings.tls, httponly=True, samesite="lax"
    )
    return response


def change_password(visit: Visit) -> Response:
    """A new password, for someone who knows the old one; every session ends."""
    if not visit.desk.settings.office:
        raise Absent
    old, new = (visit.form.get(k) for k in ("old", "new"))
    old, new = old if isinstance(old, str) else "", new if isinstance(new, str) else ""
    line = ""
    if visit.desk.accounts.check(visit.who.name, old) is None:
        line = plain("session.wrong")
    else:
        try:
            visit.desk.accounts.change(visit.who.name, password=new)
        except InputError as error:
            line = plain("session.refused", why=line_of(error))
    if line:
        sessions = visit.desk.accounts.sessions(visit.who.name)
        return visit.page("session.html", 422, sessions=sessions, line=line)
    visit.desk.audit(visit.who, "password changed")
    return visit.go("/sign-in")


PAGES = (
    Page("/sign-in", OPEN, form),
    Page("/sign-in", OPEN, sign_in, methods=("POST",)),
    Page("/session", READ, session),
    Page("/session/end", READ, end_session, methods=("POST",)),
    Page("/session/password", READ, change_password, methods=("POST",)),
)
