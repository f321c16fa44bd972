"""The switch of language and units that stands on every page: a cookie of this browser, no account."""

from __future__ import annotations

from starlette.responses import RedirectResponse, Response

from sideoats.desk import tongue
from sideoats.desk.grants import OPEN
from sideoats.desk.pages.sign_in import inside
from sideoats.desk.visit import Page, Visit

_YEAR = 365 * 86400


def choose(visit: Visit) -> Response:
    """Keep what was chosen and show the page again."""
    now = tongue.reader()
    language, measures = visit.text("language") or now.language, visit.text("units") or now.measures
    chosen = tongue.reader_from(f"{language}.{measures}", now)
    response = RedirectResponse(inside(visit.text("next") or "/"), 303)
    response.set_cookie(
        tongue.COOKIE,
        tongue.cookie_of(chosen),
        max_age=_YEAR,
        httponly=True,
        secure=visit.desk.settings.tls,
        samesite="lax",
        path="/",
    )
    return response


PAGES = (Page("/reader", OPEN, choose, methods=("POST",)),)
