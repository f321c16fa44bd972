"""Answers that say no: a page for people, one JSON object for scripts, the same sentence in both."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import Scope

from sideoats.desk import tongue

if TYPE_CHECKING:
    from sideoats.desk.state import Desk

TITLES = frozenset((400, 401, 403, 404, 405, 409, 413, 421, 422, 429, 500, 503))


def wants_json(scope: Scope) -> bool:
    """Whether the asker is one of the desk's scripts."""
    return str(scope["path"]).startswith("/send/") or "application/json" in Request(scope).headers.get("accept", "")


def refuse(desk: Desk, scope: Scope, status: int, line: str, todo: str = "") -> Response:
    """A refusal with one clear line and what to do next."""
    if wants_json(scope):
        return JSONResponse({"line": f"{line} {todo}".strip()}, status)
    request = Request(scope)
    person = scope.get("state", {}).get("person")
    title = tongue.plain(f"refused.{status if status in TITLES else 'other'}")
    body = desk.templates.get_template("refused.html").render(
        desk=desk,
        person=person,
        path=scope["path"],
        title=title,
        line=line,
        todo=todo,
        here="/",
        status=status,
        on=desk.settings.today(),
        fragment="hx-request" in request.headers,
        **desk.words(person),
    )
    return Response(body, status, media_type="text/html")
