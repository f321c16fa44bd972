"""One visitor does not shut the desk for the others: half-open requests, many days asked for, guessed passwords."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
import uvicorn
from running_desk import DAY, PASSWORD, RunningDesk, make_office, running

from sideoats.desk.serving import config_of
from sideoats.desk.settings import Settings
from sideoats.desk.strikes import Strikes
from sideoats.desk.weeks import Weeks


async def hello(scope: dict, receive: object, send: object) -> None:  # type: ignore[type-arg]
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})  # type: ignore[operator]
    await send({"type": "http.response.body", "body": b"ok"})  # type: ignore[operator]


@contextmanager
def served(header_seconds: float) -> Iterator[tuple[str, int]]:
    """A small application served as the desk is."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    config = config_of(hello, Settings(), header_seconds)
    config.lifespan = "off"
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        pass
    try:
        yield listening.getsockname()
    finally:
        server.should_exit = True
        thread.join(timeout=60)


def ask(address: tuple[str, int]) -> bytes:
    with socket.create_connection(address, timeout=60) as one:
        one.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        return one.recv(4096)


def test_half_open_requests_leave_room_for_a_whole_one() -> None:
    with served(header_seconds=600) as address:
        held = [socket.create_connection(address, timeout=60) for _ in range(260)]
        for one in held:
            with suppress(OSError):  # it was let go already
                one.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
        assert ask(address).startswith(b"HTTP/1.1 200")
        for one in held:
            one.close()


def test_a_request_that_never_ends_its_headers_is_let_go() -> None:
    with served(header_seconds=0.3) as address, socket.create_connection(address, timeout=60) as one:
        one.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
        with suppress(ConnectionResetError):
            assert one.recv(100) == b""
        assert ask(address).startswith(b"HTTP/1.1 200")


def test_one_readers_many_days_do_not_keep_a_new_entry_waiting() -> None:
    """What was just entered is asked next, whatever else waits, and of one account only its newest days wait."""
    gate, began, done, head = threading.Event(), threading.Event(), [], [1]

    def run(on: date, progress: object) -> SimpleNamespace:
        began.set()
        gate.wait(60)
        done.append((on, head[0]))
        return SimpleNamespace(calls=())

    weeks = Weeks(lambda: head[0], run, lambda: DAY)
    try:
        weeks.on(DAY - timedelta(days=1), who="rex")
        assert began.wait(60)
        for back in range(2, 150):
            weeks.on(DAY - timedelta(days=back), who="rex")
        weeks.on(DAY - timedelta(days=400), who="ada")
        head[0] = 2
        weeks.on(DAY, who="sam")
        gate.set()
        assert weeks.on(DAY, wait=60, who="sam")[0].ready
        assert done[1][0] == DAY
        assert weeks.on(DAY - timedelta(days=149), wait=60, who="rex")[0].ready
    finally:
        gate.set()
        weeks.close()
    assert len(done) <= 8, "the days that one reader asked for and no longer waits for are not worked out"


@pytest.fixture
def office(demo_ledger: Path, tmp_path: Path) -> Iterator[RunningDesk]:
    make_office(Settings(data=tmp_path / "data"))
    with running(tmp_path, demo_ledger, office=True) as found:
        yield found


def test_guesses_at_one_account_lock_nobody_else_out(office: RunningDesk) -> None:
    with office.client() as client:
        for _ in range(12):
            last = client.post("/sign-in", data={"name": "ada", "password": "wrong"})
        assert last.status_code == 429
        for name in ("sam", "rita"):  # the same address
            assert client.post("/sign-in", data={"name": name, "password": PASSWORD}).status_code == 303
    strikes, pair = Strikes(), ("ada", "10.0.0.1")
    assert [strikes.admit(pair, 0.0, 3) for _ in range(5)] == [True, True, True, False, False]
    assert strikes.admit(("ada", "10.0.0.2"), 0.0, 3)  # the right person elsewhere
    assert strikes.admit(pair, 1000.0, 3)


def test_guesses_sent_together_are_counted_together_and_hashed_a_few_at_a_time(
    office: RunningDesk, monkeypatch: pytest.MonkeyPatch
) -> None:
    lock, under_way, most, tried = threading.Lock(), [0], [0], [0]
    real = office.desk.accounts.check

    def counted(name: str, password: str) -> object:
        with lock:
            under_way[0] += 1
            tried[0] += 1
            most[0] = max(most[0], under_way[0])
        try:
            return real(name, password)
        finally:
            with lock:
                under_way[0] -= 1

    monkeypatch.setattr(office.desk.accounts, "check", counted)

    def guess(at: int) -> int:
        with office.client() as client:
            return client.post("/sign-in", data={"name": "ada", "password": f"guess {at}"}).status_code

    with ThreadPoolExecutor(40) as pool:
        said = list(pool.map(guess, range(60)))
    assert set(said) <= {401, 429} and tried[0] <= 10 and most[0] <= 2


def test_what_is_typed_into_the_name_box_is_not_kept(office: RunningDesk) -> None:
    with office.client() as client:
        client.post("/sign-in", data={"name": "my secret passphrase 1999", "password": "ada"})
        client.post("/sign-in", data={"name": "ada", "password": "wrong"})
    audits = list(office.desk.ledger.history(kind="audit"))
    assert "secret" not in str([e.body for e in audits])
    assert [e.body["about"] for e in audits] == ["no account of that name", "ada"]
