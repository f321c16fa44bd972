"""A desk on a free port of this machine, for tests: the real server, the invented district, a browser-like client."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import httpx
import uvicorn

from sideoats.desk.accounts import Accounts, Person
from sideoats.desk.app import make_app
from sideoats.desk.guard import cookie_name
from sideoats.desk.settings import Settings
from sideoats.desk.state import Desk

DAY = date(2026, 9, 14)
FIELD = "two-elms.sorghum-1"
PASSWORD = "barn owl under the third rafter"


@dataclass
class RunningDesk:
    """A desk that answers at `base`."""

    base: str
    settings: Settings
    desk: Desk

    def client(self, **headers: str) -> httpx.Client:
        """A client that sends what a browser sends with a form of the desk's own page."""
        own = {"Origin": self.base, "Sec-Fetch-Site": "same-origin", **headers}
        return httpx.Client(base_url=self.base, headers=own, timeout=120)

    def launched(self) -> httpx.Client:
        """A client of one person's desk with an open session."""
        return self._with_session(Person("you", "adviser"))

    def signed_in(self, name: str) -> httpx.Client:
        """A client of an office with an open session of `name`."""
        return self._with_session(next(p for p, _ in self.desk.accounts.people() if p.name == name))

    def _with_session(self, person: Person) -> httpx.Client:
        client = self.client()
        client.cookies.set(cookie_name(self.desk), self.desk.accounts.begin(person, "test"), domain="127.0.0.1")
        return client

    def wait_for_week(self, day: date = DAY) -> Any:
        """The week of the day, worked out."""
        asked, fresh = self.desk.weeks.on(day, wait=240)
        assert asked.ready and fresh, asked.failed
        return asked.week


@contextmanager
def running(
    folder: Path, ledger: Path | None = None, *, run: Any = None, tls: bool = False, **changes: Any
) -> Iterator[RunningDesk]:
    """A desk in `folder` over a copy of `ledger` (or an empty one)."""
    own = folder / "ledger.sqlite"
    if ledger is not None and not own.exists():
        shutil.copy(ledger, own)
        for beside in ledger.parent.glob("district.toml"):
            shutil.copy(beside, folder / "district.toml")
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    settings = Settings(
        ledger=str(own),
        port=listening.getsockname()[1],
        day=DAY,
        data=folder / "data",
        zone="America/Chicago",
        draws=40,
    )
    settings = replace(settings, **changes)
    desk = Desk(settings, run=run)
    server = uvicorn.Server(
        uvicorn.Config(
            make_app(settings, desk),
            log_config=None,
            access_log=False,
            server_header=False,
            ws="none",
            ssl_certfile=settings.certificate,
            ssl_keyfile=settings.key,
        )
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield RunningDesk(f"http{'s' if tls else ''}://127.0.0.1:{settings.port}", settings, desk)
    finally:
        server.should_exit = True
        thread.join(timeout=60)
        listening.close()


def make_demo_ledger(folder: Path) -> Path:
    """The invented district as a ledger file."""
    from sideoats.demo.district import DISTRICT_FILE, all_entries
    from sideoats.ledger import open_ledger

    path = folder / "demo.sqlite"
    with open_ledger(path) as ledger:
        ledger.append(all_entries())
    (folder / "district.toml").write_text(DISTRICT_FILE, encoding="utf-8")
    return path


def make_office(settings: Settings) -> None:
    """One account of each role, and a reader who sees one farm only."""
    accounts = Accounts(settings.folder() / "accounts.sqlite")
    for name, role, farms in (
        ("ada", "adviser", ()), ("sam", "scout", ()), ("rita", "reader", ()), ("gus", "reader", ("two-elms",)),
        ("sue", "scout", ("two-elms",)),
    ):  # fmt: skip
        accounts.add(name, PASSWORD, role, farms)
    accounts.close()
