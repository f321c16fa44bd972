"""The application: every page of `pages/` behind the guards."""

from __future__ import annotations

import json
import pkgutil
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from importlib import import_module
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from sideoats.desk import guard, pages
from sideoats.desk.grants import OPEN
from sideoats.desk.refusal import refuse, wants_json
from sideoats.desk.settings import Settings
from sideoats.desk.state import Desk
from sideoats.desk.tongue import line_of, plain, term
from sideoats.desk.visit import MOST_FIELDS, MOST_TEXT, Absent, Page, Visit
from sideoats.errors import InputError, LedgerError, SideoatsError

STATIC = Path(__file__).parent / "static"


class Static(StaticFiles):
    """Files whose address carries their version may be kept for good; others are asked for again."""

    async def get_response(self, path: str, scope: Any) -> Response:
        """A file with its cache rule."""
        response = await super().get_response(path, scope)
        kept = b"v=" in scope["query_string"]
        response.headers["Cache-Control"] = "public, max-age=31536000, immutable" if kept else "no-cache"
        return response


def every_page() -> list[Page]:
    """All pages, found by looking into `pages/`: each module there has `PAGES`."""
    found: list[Page] = []
    for module in sorted(pkgutil.iter_modules(pages.__path__), key=lambda m: m.name):
        found += import_module(f"{pages.__name__}.{module.name}").PAGES
    return found


def make_app(settings: Settings, desk: Desk | None = None) -> Starlette:
    """The desk as an ASGI application. Raises InputError for unsafe settings, LedgerError for a ledger that is shut."""
    settings.check()
    room = desk or Desk(settings)
    routes: list[Any] = [_route(page, room) for page in every_page()]
    routes.append(Mount("/static", Static(directory=STATIC), name="static"))

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        yield
        room.close()

    layers = [guard.Shield, guard.Hosts, guard.Signed, guard.Pace, guard.SameOrigin]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(layer, desk=room) for layer in layers],  # type: ignore[arg-type]
        exception_handlers={
            HTTPException: _http(room),
            InputError: _sideoats(room, 422),
            LedgerError: _sideoats(room, 503),
            SideoatsError: _sideoats(room, 422),
            Absent: _absent(room),
        },
        lifespan=lifespan,
    )
    app.router.redirect_slashes = False
    app.state.desk = room
    return app


def _route(page: Page, desk: Desk) -> Route:
    async def endpoint(request: Request) -> Response:
        state = request.scope.get("state", {})
        visit = Visit(desk, request, state.get("person"), key=state.get("key", ""))
        if page.permission != OPEN and not visit.may(page.permission):
            return _turn_away(desk, request, visit)
        try:
            if request.method == "POST":
                await _read(request, page, visit)
            return await run_in_threadpool(page.answer, visit)
        finally:
            await visit.form.close()

    endpoint.__name__ = page.answer.__name__
    most = page.body(desk.settings.limits) if page.body else desk.settings.limits.body
    return Route(page.path, endpoint, methods=list(page.methods), name=page.path, max_body_size=most)


def _turn_away(desk: Desk, request: Request, visit: Visit) -> Response:
    """401 or the sign-in page for a stranger, 403 for an account that may not."""
    if visit.person is not None:
        line = plain("refuse.role", role=term("role", visit.person.role))
        return refuse(desk, request.scope, 403, line, plain("refuse.ask_adviser"))
    if not desk.settings.office:
        line = plain("refuse.owner")
        todo = plain("refuse.token")
        return refuse(desk, request.scope, 401, line, todo)
    if wants_json(request.scope) or request.method != "GET" or "hx-request" in request.headers:
        return refuse(desk, request.scope, 401, plain("refuse.ended"), plain("refuse.sign_in"))
    return RedirectResponse(f"/sign-in?{_next(request)}", 303)


def _next(request: Request) -> str:
    from urllib.parse import urlencode

    path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return urlencode({"next": path})


async def _read(request: Request, page: Page, visit: Visit) -> None:
    """The body as a form or as JSON, whichever the page takes. Raises HTTPException 400, 413 or 415."""
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if page.accepts == "json":
        if kind != "application/json":
            raise HTTPException(415, plain("refuse.json"))
        try:
            visit.sent = json.loads(await request.body(), parse_constant=_no_constant)
        except (ValueError, RecursionError):
            raise HTTPException(400, plain("refuse.not_json")) from None
    elif page.accepts == "form":
        if kind and kind not in ("application/x-www-form-urlencoded", "multipart/form-data"):
            raise HTTPException(415, plain("refuse.form"))
        form = await request.form(max_files=60, max_fields=MOST_FIELDS, max_part_size=MOST_TEXT)
        if any("\x00" in value for value in form.values() if isinstance(value, str)):
            raise HTTPException(400, plain("refuse.nul"))
        visit.form = form if isinstance(form, FormData) else FormData(form)


def _no_constant(text: str) -> float:
    raise ValueError(text)


Handler = Callable[[Request, Exception], Response]


def _http(desk: Desk) -> Handler:
    def answer(request: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        line = {
            404: plain("refuse.no_page"),
            405: plain("refuse.method"),
            413: plain("refuse.large"),
        }.get(error.status_code, error.detail)
        response = refuse(desk, request.scope, error.status_code, line)
        response.headers.update(error.headers or {})
        return response

    return answer


def _sideoats(desk: Desk, status: int) -> Handler:
    def answer(request: Request, error: Exception) -> Response:
        return refuse(desk, request.scope, status, line_of(error) if isinstance(error, SideoatsError) else str(error))

    return answer


def _absent(desk: Desk) -> Handler:
    def answer(request: Request, error: Exception) -> Response:
        return refuse(desk, request.scope, 404, plain("refuse.absent"))

    return answer
