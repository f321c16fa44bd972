"""How long a connection may take to say what it wants, and how many one address may hold.

A request that never ends its headers would hold a place for ever, and two hundred of them would shut the desk without
any account. Each request has so many seconds for its headers and so many for its body; where an address holds more
connections than its share, the oldest of its own that asks nothing makes room.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

HEADER_SECONDS, BODY_SECONDS, MOST_OF_ONE_ADDRESS = 10.0, 120.0, 100


class Patient(H11Protocol):
    """uvicorn's protocol with those bounds."""

    held: dict[str, dict[Patient, None]]  # address -> its connections, the oldest first
    seconds = (HEADER_SECONDS, BODY_SECONDS)
    most = MOST_OF_ONE_ADDRESS
    _timer: asyncio.TimerHandle | None = None
    _waits_for = ""

    def connection_made(self, transport: Any) -> None:
        """Take the connection in, and let another of the same address go where it holds too many."""
        super().connection_made(transport)
        peer = transport.get_extra_info("peername")
        self._address = str(peer[0]) if peer else ""
        own = self.held.setdefault(self._address, {})
        own[self] = None
        if len(own) > self.most:
            next((other for other in own if not other.asks()), self).transport.abort()
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        super().connection_lost(exc)
        self._stop()
        own = self.held.get(self._address, {})
        own.pop(self, None)
        if not own:
            self.held.pop(self._address, None)

    def data_received(self, data: bytes) -> None:
        """Start the clock at the first byte of a request; more bytes do not turn it back."""
        if not self.asks():
            self._watch()
        super().data_received(data)
        self._watch()

    def asks(self) -> bool:
        """Whether a request is here whose headers are whole and whose answer is not."""
        return self.cycle is not None and not self.cycle.response_complete

    def _watch(self) -> None:
        wanted = "headers" if not self.asks() else "body" if self.cycle.more_body else ""
        if wanted == self._waits_for:
            return
        self._stop()
        if wanted:
            self._waits_for = wanted
            self._timer = self.loop.call_later(self.seconds[wanted == "body"], self.transport.abort)

    def _stop(self) -> None:
        self._waits_for = ""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def on_response_complete(self) -> None:
        """Between requests uvicorn's own keep-alive time runs."""
        super().on_response_complete()
        self._stop()


def patient(header_seconds: float = HEADER_SECONDS) -> type[Patient]:
    """A protocol of its own for one server."""
    return type("OwnPatient", (Patient,), {"held": {}, "seconds": (header_seconds, BODY_SECONDS)})
