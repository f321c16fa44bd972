"""One address asked over HTTP: bounded in time and size, conditional, patient with a service that is busy.

Redirects are followed to allowed hosts only. A busy service (429) or a failing one (5xx) is asked again a few times,
waiting as long as it asks for (`Retry-After`) or twice as long each time; what it asks for beyond `Limits.patience` is
left for another day. A body that breaks off, comes too slowly or grows too large is not used.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urljoin, urlsplit

from sideoats.errors import SideoatsError
from sideoats.version import VERSION

if TYPE_CHECKING:
    import httpx

BUSY = (429, 500, 502, 503, 504)
_MOVED = (301, 302, 303, 307, 308)


class FetchError(SideoatsError):
    """An address did not give what was asked for; one line says why. `not_before` : when it may be asked again."""

    def __init__(self, line: str, not_before: datetime | None = None) -> None:
        super().__init__(line)
        self.not_before = not_before


@dataclass(frozen=True)
class Limits:
    """Bounds of one request.

    Attributes
    ----------
    connect, silence, whole : seconds to connect, between two pieces of a body, and in all
    most : bytes of a body, unpacked
    tries : times that a busy service is asked
    pause, patience : seconds to the second try where the service does not say, and the longest that is waited
    hops : redirects that are followed
    """

    connect: float = 10.0
    silence: float = 20.0
    whole: float = 120.0
    most: int = 60_000_000
    tries: int = 4
    pause: float = 5.0
    patience: float = 60.0
    hops: int = 4


@dataclass(frozen=True)
class Answer:
    """A body, or None where it has not changed; what to ask with next time."""

    body: bytes | None
    etag: str = ""
    last_modified: str = ""


class Client:
    """Asks addresses one at a time.

    Parameters
    ----------
    allows : whether an address may be asked
    contact : for the User-Agent
    limits : bounds
    sleep, now : seconds to wait, and the time in UTC; stand-ins in tests
    """

    def __init__(
        self,
        allows: Callable[[str], bool],
        contact: str,
        limits: Limits | None = None,
        *,
        sleep: Callable[[float], None] = time.sleep,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        import httpx

        self._allows, self._limits, self._sleep, self._now = allows, limits or Limits(), sleep, now
        times = httpx.Timeout(self._limits.silence, connect=self._limits.connect)
        agent = {"User-Agent": f"sideoats/{VERSION} ({contact})", "Accept-Encoding": "gzip, deflate"}
        self._http = httpx.Client(timeout=times, headers=agent, follow_redirects=False, trust_env=True)

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def get(self, address: str, *, etag: str = "", last_modified: str = "", user: str = "", kind: str = "") -> Answer:
        """The body of an address. Raises FetchError with one line.

        `user` : a user name for services that ask for one; it is sent to the address's own host only
        `kind` : "json" or "xml", where a page in its stead is no answer
        """
        told = {"If-None-Match": etag, "If-Modified-Since": last_modified}
        asked = {header: value for header, value in told.items() if value}
        wait = self._limits.pause
        for number in range(1, self._limits.tries + 1):
            try:
                return self._once(address, asked, user, kind)
            except _Busy as busy:
                seconds = busy.after if busy.after is not None else wait
                if seconds > self._limits.patience or number == self._limits.tries:
                    at = datetime.fromtimestamp(self._now().timestamp() + seconds, UTC) if busy.after else None
                    until = f" and asks to wait until {at:%d %b %H:%M} UTC" if at else ""
                    raise FetchError(f"{_host(address)} is busy or fails (status {busy.status}){until}", at) from None
                self._sleep(seconds)
                wait *= 2
        raise AssertionError("a last try gives an answer or an error")

    def _once(self, address: str, asked: Mapping[str, str], user: str, kind: str) -> Answer:
        import httpx

        start, at = time.monotonic(), address
        for _ in range(self._limits.hops + 1):
            if not self._allows(at):
                raise FetchError(f"{_host(at)} is not an allowed host, or is not asked over https")
            own = urlsplit(at).netloc == urlsplit(address).netloc
            try:
                auth = httpx.BasicAuth(user, "") if user and own else None
                with self._http.stream("GET", at, headers=dict(asked), auth=auth) as answer:
                    if answer.status_code in _MOVED and "location" in answer.headers:
                        at = urljoin(at, answer.headers["location"])
                        continue
                    return self._read(answer, start, kind)
            except httpx.TimeoutException:
                raise FetchError(f"{_host(at)} did not answer in time") from None
            except httpx.DecodingError:
                raise FetchError(f"{_host(at)} sent a body that cannot be unpacked") from None
            except httpx.RemoteProtocolError:
                raise FetchError(f"{_host(at)} broke off before the end") from None
            except httpx.HTTPError as error:
                raise FetchError(f"{_host(at)} cannot be reached ({type(error).__name__})") from None
            except httpx.InvalidURL:
                raise FetchError("the address is none") from None
        raise FetchError(f"{_host(address)} sends from one address to the next without end")

    def _read(self, answer: httpx.Response, start: float, kind: str) -> Answer:
        host, status = answer.url.host, answer.status_code
        if status == 304:
            return Answer(None)
        if status in BUSY:
            raise _Busy(status, self._after(answer.headers.get("retry-after")))
        if status == 202:
            raise _Busy(status, None)  # still working on it
        if status != 200:
            raise FetchError(f"{host} answers with status {status}")
        told = answer.headers.get("content-type", "").lower()
        if kind and kind not in told and ("html" in told or told.startswith(("image/", "audio/", "video/"))):
            raise FetchError(f"{host} sent {told.split(';')[0]} where {kind} was asked for")
        parts, size = [], 0
        for part in answer.iter_bytes():  # as they come: a size would wait until so much is there
            size += len(part)
            if size > self._limits.most:
                raise FetchError(f"{host} sends more than {self._limits.most / 1e6:.0f} MB")
            if time.monotonic() - start > self._limits.whole:
                raise FetchError(f"{host} sends too slowly")
            parts.append(part)
        body = b"".join(parts)
        if not body.strip():
            raise FetchError(f"{host} sent nothing")
        return Answer(body, answer.headers.get("etag", ""), answer.headers.get("last-modified", ""))

    def _after(self, told: str | None) -> float | None:
        """Seconds that a service asks for: a number or a date."""
        if not told:
            return None
        try:
            return max(float(told), 0.0)
        except ValueError:
            pass
        try:
            return max((parsedate_to_datetime(told) - self._now()).total_seconds(), 0.0)
        except (TypeError, ValueError):
            return None


class _Busy(Exception):
    def __init__(self, status: int, after: float | None) -> None:
        super().__init__(status)
        self.status, self.after = status, after


def _host(address: str) -> Any:
    return urlsplit(address).hostname or address[:60]
