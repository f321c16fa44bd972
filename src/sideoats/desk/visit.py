"""One request as a page sees it: who asks, what they sent, and how to answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from urllib.parse import quote, urlencode

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from sideoats.desk import tongue
from sideoats.desk.accounts import Person
from sideoats.desk.grants import GRANTS
from sideoats.desk.state import Desk
from sideoats.errors import InputError
from sideoats.schema import read_date

MOST_FIELDS, MOST_TEXT = 2_000, 200_000


class Absent(Exception):
    """Nothing is at this address, or nothing that this person may see: the two look the same from outside."""


@dataclass
class Visit:
    """What a page is given.

    Attributes
    ----------
    form : what a form sent (empty for GET); sent : what a script sent as JSON
    """

    desk: Desk
    request: Request
    person: Person | None
    form: FormData = field(default_factory=FormData)
    sent: Any = None
    key: str = ""

    @property
    def who(self) -> Person:
        """The person signed in (a page behind a permission always has one)."""
        assert self.person is not None
        return self.person

    def may(self, permission: str) -> bool:
        """Whether the person's role grants it."""
        return self.person is not None and permission in GRANTS[self.person.role]

    def part(self, name: str) -> str:
        """A part of the path, such as the place in ``/places/{place}``."""
        return str(self.request.path_params[name])

    def query(self, name: str, default: str = "") -> str:
        """A value behind the question mark of the address, on one line."""
        return " ".join(self.request.query_params.get(name, default)[:500].split())

    def count(self, name: str, default: int, most: int) -> int:
        """A whole number from the address; `default` where it is none."""
        text = self.query(name)
        return min(int(text), most) if text.isdecimal() and len(text) < 9 else default

    @property
    def on(self) -> date:
        """The day the page speaks of. Raises InputError for a day that is none."""
        given = self.query("on")
        return self._day(given) if given else self.desk.settings.today()

    def _day(self, text: str) -> date:
        try:
            return read_date(text)
        except InputError as error:
            raise InputError(error.what, where="date", expected=error.expected) from None

    @property
    def here(self) -> str:
        """The address of the page; the first page for what is no page of its own."""
        url = self.request.url
        return (url.path + (f"?{url.query}" if url.query else "")) if self.request.method == "GET" else "/"

    def text(self, name: str) -> str:
        """One value of the form, trimmed; "" where it is absent or a file."""
        value = self.form.get(name)
        return value.strip()[:MOST_TEXT] if isinstance(value, str) else ""

    def file(self, name: str) -> UploadFile | None:
        """A file of the form; None where no file was chosen."""
        value = self.form.get(name)
        return value if isinstance(value, UploadFile) and value.filename else None

    def page(self, template: str, status: int = 200, **context: Any) -> Response:
        """A page from a template."""
        self_on = context.pop("on", None) or self.desk.settings.today()
        body = self.desk.templates.get_template(template).render(
            desk=self.desk,
            visit=self,
            person=self.person,
            path=self.request.url.path,
            on=self_on,
            here=self.here,
            note=NOTES.get(self.query("note"), ""),
            fragment="hx-request" in self.request.headers,
            **self.desk.words(self.person),
            **context,
        )
        return Response(body, status, media_type="text/html")

    def json(self, content: Any, status: int = 200) -> Response:
        """An answer to a script."""
        return JSONResponse(content, status)

    def go(self, path: str, **query: str) -> Response:
        """See another page of the desk after something was done."""
        return RedirectResponse(quote(path, safe="/%") + ("?" + urlencode(query) if query else ""), 303)


NOTES = tongue.Words("note", ("kept", "stored", "already", "corrected", "ended", "account", "made", "thrown"))


@dataclass(frozen=True)
class Page:
    """One address of the desk.

    Attributes
    ----------
    permission : what the visitor's role must grant; `OPEN` needs no session
    answer : gets a `Visit`, runs in a worker thread, gives a response
    body : largest request body in bytes; None takes the desk's usual limit
    accepts : "form", "json" or "nothing"
    """

    path: str
    permission: str
    answer: Callable[[Visit], Response]
    methods: tuple[str, ...] = ("GET",)
    body: Callable[[Any], int] | None = None
    accepts: str = "form"
