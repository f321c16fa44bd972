"""What stands in front of every page: host, origin, session, pace, headers, and errors without traces.

Cross-site requests are recognised by what a browser says about itself (`Sec-Fetch-Site`, `Origin`) and not by a token
in each form: both are set by the browser, cannot be set by a page's script, and work for forms and scripts alike.
A request that changes something and carries neither header is refused.
"""

from __future__ import annotations

import hmac
import logging
import secrets
import time
from collections import OrderedDict
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sideoats.desk.accounts import Person
from sideoats.desk.refusal import refuse
from sideoats.desk.tongue import COOKIE, plain, read_by, reader_from

if TYPE_CHECKING:
    from sideoats.desk.state import Desk

SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
    "worker-src 'self'; manifest-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'; "
    "form-action 'self'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(self), camera=(self), microphone=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
log = logging.getLogger("sideoats.desk")


def cookie_name(desk: Desk) -> str:
    """The session cookie's name; cookies do not tell ports apart, so without TLS the port is part of it."""
    return "__Host-sideoats" if desk.settings.tls else f"sideoats-{desk.settings.port}"


def set_session(desk: Desk, response: Response, key: str) -> None:
    """Hand a session key to the browser, out of reach of scripts."""
    most = None if not desk.settings.office else int(desk.settings.limits.session_days * 86400)
    response.set_cookie(
        cookie_name(desk), key, max_age=most, httponly=True, secure=desk.settings.tls, samesite="lax", path="/"
    )


def address_of(scope: Scope) -> str:
    """The other end's address."""
    client = scope.get("client")
    return str(client[0]) if client else "unknown"


class Shield:
    """Adds the headers to every answer; an unexpected error becomes a page with a number, its trace goes to the log."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False
        read_by(reader_from(Request(scope).cookies.get(COOKIE, ""), self.desk.settings.reader))

        async def headed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
                if self.desk.settings.tls:
                    headers["Strict-Transport-Security"] = "max-age=31536000"
            await send(message)

        try:
            await self.app(scope, receive, headed)
        except Exception:
            number = secrets.token_hex(4)
            log.exception("incident %s: %s %r", number, scope["method"], scope["path"][:200])
            if started:
                raise
            line = plain("refuse.incident", number=number)
            answer = refuse(self.desk, scope, 500, line, plain("refuse.not_lost"))
            await answer(scope, receive, headed)


class Hosts:
    """Answers only under the desk's own names, so that another site cannot point its name at this machine."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk, self.known = app, desk, desk.settings.hosts()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            hosts = Headers(scope=scope).getlist("host")
            if len(hosts) != 1 or hosts[0].lower() not in self.known:
                line = "This desk does not answer under that name."
                await Response(line, 421, media_type="text/plain")(scope, receive, send)
                return
        await self.app(scope, receive, send)


class SameOrigin:
    """Refuses a request that changes something unless the browser says that it comes from the desk's own pages."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] not in SAFE and not self.own(Headers(scope=scope)):
            line = plain("refuse.foreign")
            await refuse(self.desk, scope, 403, line, plain("refuse.again"))(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def own(self, headers: Headers) -> bool:
        """Whether the headers speak for a page of this desk."""
        site, origin = headers.get("sec-fetch-site"), headers.get("origin")
        scheme = "https" if self.desk.settings.tls else "http"
        if origin is not None and origin.lower() != f"{scheme}://{headers.get('host', '').lower()}":
            return False
        if site is not None:
            return site == "same-origin"
        return origin is not None


class Signed:
    """Finds who is asking: by session cookie, or on one's own machine by the launch token in the address."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        state = scope.setdefault("state", {})
        key = request.cookies.get(cookie_name(self.desk), "")
        state["person"] = self.desk.accounts.who(key) if key else None
        state["key"] = key
        token = request.query_params.get("token")
        if token is not None and scope["method"] == "GET" and not self.desk.settings.office:
            await self.launch(scope, token)(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def launch(self, scope: Scope, token: str) -> Response:
        """Trade the launch token for a session and take it out of the address."""
        if not hmac.compare_digest(token.encode(), self.desk.settings.token.encode()):
            return refuse(self.desk, scope, 403, plain("refuse.not_token"), plain("refuse.printed"))
        rest = [(k, v) for k, v in parse_qsl(scope["query_string"].decode("latin-1")) if k != "token"]
        path = "/" + scope["path"].lstrip("/\\")
        response = RedirectResponse(path + ("?" + urlencode(rest) if rest else ""), 303)
        set_session(self.desk, response, self.desk.accounts.begin(Person("you", "adviser"), "launched here"))
        return response


class Pace:
    """At most so many requests a minute from one person, or from one address where no one is signed in.

    A bucket that refills steadily; the buckets of the longest silent are forgotten first.
    """

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self.app, self.desk = app, desk
        self.buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not scope["path"].startswith("/static/"):
            person = scope["state"].get("person")
            if not self.admit(person.name if person else "address " + address_of(scope), time.monotonic()):
                answer = refuse(self.desk, scope, 429, plain("refuse.many"), plain("refuse.wait"))
                answer.headers["Retry-After"] = "60"
                await answer(scope, receive, send)
                return
        await self.app(scope, receive, send)

    def admit(self, who: str, now: float) -> bool:
        """Take one from the bucket of `who`; False when it is empty."""
        most = float(self.desk.settings.limits.requests_a_minute)
        left, since = self.buckets.pop(who, (most, now))
        left = min(most, left + (now - since) * most / 60)
        self.buckets[who] = (max(left - 1, 0.0), now)
        while len(self.buckets) > 10_000:
            self.buckets.popitem(last=False)
        return left >= 1
