"""Answers that say no: a page for people, one JSON object for scripts, the same sentence in both."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import Scope

if TYPE_CHECKING:
    from sideoats.desk.state import Desk

TITLES = {
    400: "That cannot be read", 401: "Sign in first", 403: "Not for this account", 404: "Nothing at this address",
    405: "Not done this way", 409: "Something else is kept there", 413: "Too large", 421: "Wrong name",
    422: "That cannot be used", 429: "Slower, please", 500: "Our mistake", 503: "Not now",
}  # fmt: skip


def wants_json(scope: Scope) -> bool:
    """Whether the asker is one of the desk's scripts."""
    return str(scope["path"]).startswith("/send/") or "application/json" in Request(scope).headers.get("accept", "")


def refuse(desk: Desk, scope: Scope, status: int, line: str, todo: str = "") -> Response:
    """A refusal with one clear line and what to do next."""
    if wants_json(scope):
        return JSONResponse({"line": f"{line} {todo}".strip()}, status)
    request = Request(scope)
    person = scope.get("state", {}).get("person")
    body = desk.templates.get_template("refused.html").render(
        desk=desk, person=person, path=scope["path"], title=TITLES.get(status, "Refused"), line=line, todo=todo,
        status=status, on=desk.settings.today(), fragment="hx-request" in request.headers, **desk.words(person),
    )  # fmt: skip
    return Response(body, status, media_type="text/html")
