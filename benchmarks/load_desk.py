"""Phones that send and readers that look, all at once, against the real desk on loopback.

python -m benchmarks.load_desk [--phones 50] [--readers 20] [--seconds 600] [--places 60]

Every phone makes entries with ids of its own. One send in ten it hangs up before the answer and sends again, as a phone
in a dead spot does; now and then it sends the same entry twice at once. Afterwards the ledger must hold each entry that
was made, once, and its chain must hold.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import psutil

from sideoats.demo.district import TODAY, ZONE, all_entries
from sideoats.desk.accounts import Accounts, Person
from sideoats.ledger import open_ledger

PAGES = ("/", "/places", "/weather", "/markets", "/phone-in", "/done", "/round", "/week.csv", "/session")
PASSWORD = "a barn owl in the third rafter"
HANG_UP, TWICE = 0.10, 0.05
LONGEST_WAIT = 120.0  # seconds that the phones may take, once the time is over, to send what is left


@dataclass
class Report:
    """What a load run saw. Times in seconds, memory in MiB."""

    made: int = 0
    in_ledger: int = 0
    lost: int = 0
    unsent: int = 0
    unknown: int = 0
    chain: tuple[str, ...] = ()
    sends: list[float] = field(default_factory=list)
    reads: list[float] = field(default_factory=list)
    pages: dict[str, list[float]] = field(default_factory=dict)
    statuses: Counter[int] = field(default_factory=Counter)
    hung_up: int = 0
    memory: list[float] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def growth(self) -> float:
        """Median memory of the last quarter over that of the second: the first warms up."""
        part = len(self.memory) // 4
        if not part:
            return 1.0
        return statistics.median(self.memory[-part:]) / statistics.median(self.memory[part : 2 * part])

    def lines(self) -> list[str]:
        """For people."""
        shown = ", ".join(f"{count} x {status}" for status, count in sorted(self.statuses.items()))
        return [
            f"entries: {self.made} made, {self.in_ledger} in the ledger, {self.lost} lost, {self.unsent} not sent when "
            f"the time was over, {self.unknown} doubled or unknown; chain {'holds' if not self.chain else self.chain}",
            f"sends: {len(self.sends)} answered in {self.seconds:.0f} s, median {_percentile(self.sends, 50):.0f} ms, "
            f"p95 {_percentile(self.sends, 95):.0f} ms, worst {_percentile(self.sends, 100):.0f} ms; "
            f"{self.hung_up} hung up before the answer",
            f"pages: {len(self.reads)}, median {_percentile(self.reads, 50):.0f} ms, "
            f"p95 {_percentile(self.reads, 95):.0f} ms, worst {_percentile(self.reads, 100):.0f} ms",
            "pages, p95 in ms: "
            + ", ".join(f"{path} {_percentile(took, 95):.0f}" for path, took in sorted(self.pages.items())),
            f"statuses: {shown}",
            f"memory of the server: {self.memory[0]:.0f} MiB at first, {max(self.memory):.0f} MiB at most, last "
            f"quarter {self.growth:.2f} times the second",
        ]


def _percentile(seconds: list[float], percent: int) -> float:
    ordered = sorted(seconds)
    return 1000 * ordered[min(len(ordered) - 1, round(percent / 100 * len(ordered)))] if ordered else float("nan")


class DeskProcess:
    """`sideoats desk --office` as a process of its own on a free port of loopback; may be killed and started again."""

    def __init__(self, folder: Path, people: dict[str, str], draws: int = 100) -> None:
        self.folder, self.ledger, self.draws = folder, folder / "ledger.sqlite", draws
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.base = f"http://127.0.0.1:{self.port}"
        data = folder / "data"
        data.mkdir(mode=0o700, exist_ok=True)
        accounts = Accounts(data / "accounts.sqlite")
        accounts.add("office", PASSWORD, "adviser")
        self.keys = {}
        for name, role in people.items():
            accounts.add(name, PASSWORD, role)
            self.keys[name] = accounts.begin(Person(name, role), "load test")
        accounts.close()
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> DeskProcess:
        """Start it and wait until it answers."""
        self.process = subprocess.Popen(
            [sys.executable, "-m", "sideoats", "--ledger", str(self.ledger), "desk", "--office", "--port",
             str(self.port), "--on", TODAY.isoformat(), "--data", str(self.folder / "data"), "--draws",
             str(self.draws), "--zone", "America/Chicago"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for _ in range(600):
            try:
                httpx.get(self.base + "/sign-in", timeout=2)
                return self
            except httpx.TransportError:
                if self.process.poll() is not None:
                    raise RuntimeError(f"the desk ended with status {self.process.returncode}") from None
                time.sleep(0.1)
        raise RuntimeError("the desk did not answer within a minute")

    def kill(self) -> None:
        """kill -9."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def stop(self) -> None:
        """End it kindly, or by force."""
        if self.process is not None and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.kill()

    def memory(self) -> float:
        """Resident memory now, MiB."""
        assert self.process is not None
        return float(psutil.Process(self.process.pid).memory_info().rss) / 2**20

    def headers(self, name: str) -> dict[str, str]:
        """What the browser of that person sends."""
        cookie = f"sideoats-{self.port}={self.keys[name]}"
        return {"Cookie": cookie, "Origin": self.base, "Sec-Fetch-Site": "same-origin"}


def entry_of(chance: random.Random, places: list[str]) -> dict[str, Any]:
    """A leaf count as a phone would send it."""
    seen = datetime(TODAY.year, TODAY.month, TODAY.day, 9, tzinfo=ZONE) - timedelta(minutes=chance.randrange(5000))
    counts = [min(int(chance.expovariate(0.05)), 400) for _ in range(20)]
    return {
        "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)), "kind": "leaf_counts",
        "place": chance.choice(places), "seen_at": seen.isoformat(), "body": {"counts": counts},
    }  # fmt: skip


def sorghum_fields(ledger: Path) -> list[str]:
    """Places at which leaves may be counted."""
    with open_ledger(ledger, create=False) as opened:
        return [p.id for p in opened.places() if p.kind == "field" and p.attributes.get("crop") == "grain sorghum"]


class Phone:
    """Makes entries, one every so many seconds, and sends each until it is acknowledged."""

    def __init__(self, desk: DeskProcess, name: str, places: list[str], every: float, seed: int) -> None:
        self.desk, self.name, self.places, self.every = desk, name, places, every
        self.chance = random.Random(seed)
        self.made: list[str] = []
        self.acknowledged: set[str] = set()
        self.waiting: list[dict[str, Any]] = []

    async def run(self, until: float, report: Report) -> None:
        """Send until the time is over, then what is left."""
        await self.run_until(threading.Event(), until, report)

    async def run_until(self, over: threading.Event, until: float, report: Report) -> None:
        """The same, or until told that it is over."""
        async with httpx.AsyncClient(base_url=self.desk.base, headers=self.desk.headers(self.name), timeout=60) as http:
            while time.monotonic() < until and not over.is_set():
                one = entry_of(self.chance, self.places)
                self.made.append(one["id"])
                self.waiting.append(one)
                await self._flush(http, report)
                await asyncio.sleep(self.every * self.chance.uniform(0.5, 1.5))
            end = time.monotonic() + LONGEST_WAIT
            while self.waiting and time.monotonic() < end:
                await self._flush(http, report)
                await asyncio.sleep(0.2)

    async def _flush(self, http: httpx.AsyncClient, report: Report) -> None:
        for one in list(self.waiting):
            if self.chance.random() < HANG_UP:
                await self._hang_up(http, one, report)
            copies = 2 if self.chance.random() < TWICE else 1
            answers = await asyncio.gather(*(self._send(http, one, report) for _ in range(copies)))
            if not any(status in (200, 201) for status in answers):
                return  # a dead spot: the rest of the queue waits for the next round
            self.waiting.remove(one)
            self.acknowledged.add(one["id"])

    async def _send(self, http: httpx.AsyncClient, one: dict[str, Any], report: Report) -> int:
        started = time.monotonic()
        try:
            status = (await http.post("/send/entry", json=one)).status_code
        except httpx.TransportError:
            report.statuses[0] += 1
            return 0
        report.sends.append(time.monotonic() - started)
        report.statuses[status] += 1
        return status

    async def _hang_up(self, http: httpx.AsyncClient, one: dict[str, Any], report: Report) -> None:
        report.hung_up += 1
        with suppress(TimeoutError, httpx.TransportError):
            await asyncio.wait_for(http.post("/send/entry", json=one), self.chance.uniform(0.0005, 0.02))


async def _read(desk: DeskProcess, name: str, until: float, every: float, seed: int, report: Report) -> None:
    chance = random.Random(seed)
    async with httpx.AsyncClient(base_url=desk.base, headers=desk.headers(name), timeout=60) as http:
        while time.monotonic() < until:
            started, path = time.monotonic(), chance.choice(PAGES)
            try:
                report.statuses[(await http.get(path)).status_code] += 1
                report.reads.append(time.monotonic() - started)
                report.pages.setdefault(path, []).append(report.reads[-1])
            except httpx.TransportError:
                report.statuses[0] += 1
            await asyncio.sleep(every * chance.uniform(0.5, 1.5))


def phones_and_readers(
    desk: DeskProcess, phones: list[Phone], readers: list[str], seconds: float, pause: float
) -> Report:
    """Run them all for so long; the ledger is looked at by `settle`."""
    report = Report()
    over = threading.Event()

    def watch() -> None:
        while not over.wait(1.0):
            try:
                report.memory.append(desk.memory())
            except psutil.Error:
                return

    async def everyone() -> None:
        until = time.monotonic() + seconds
        await asyncio.gather(
            *(phone.run(until, report) for phone in phones),
            *(_read(desk, name, until, pause, number, report) for number, name in enumerate(readers)),
        )

    report.memory.append(desk.memory())
    watching = threading.Thread(target=watch, daemon=True)
    watching.start()
    started = time.monotonic()
    asyncio.run(everyone())
    report.seconds = time.monotonic() - started
    over.set()
    watching.join()
    return report


def settle(ledger: Path, phones: list[Phone], report: Report) -> None:
    """Hold what the phones made and what they were told against the ledger."""
    made = [i for phone in phones for i in phone.made]
    with open_ledger(ledger, create=False) as opened:
        there = [e.id for e in opened.history(kind="leaf_counts", since=TODAY - timedelta(days=5)) if e.observer in
                 {p.name for p in phones}]  # fmt: skip
        check = opened.check()
    report.made, report.in_ledger = len(made), len(there)
    waiting = {one["id"] for phone in phones for one in phone.waiting}
    report.lost, report.unsent = len(set(made) - set(there) - waiting), len(waiting)
    report.unknown = len(there) - len(set(there) & set(made))
    report.chain = () if check.ok else check.problems


def run_load(folder: Path, *, phones: int, readers: int, seconds: float, every: float = 2.0, pause: float = 3.0,
             places: int = 60) -> Report:  # fmt: skip
    """A whole run in an empty folder: ledger, accounts, server, load, reckoning."""
    if places <= 60:
        with open_ledger(folder / "ledger.sqlite") as ledger:
            ledger.append(all_entries())
    else:
        from benchmarks.office import build

        build(folder / "ledger.sqlite", places)
    fields = sorghum_fields(folder / "ledger.sqlite")
    people = {f"phone{i}": "scout" for i in range(phones)} | {f"reader{i}": "reader" for i in range(readers)}
    desk = DeskProcess(folder, people).start()
    try:
        senders = [Phone(desk, f"phone{i}", fields, every, i) for i in range(phones)]
        report = phones_and_readers(desk, senders, [f"reader{i}" for i in range(readers)], seconds, pause)
    finally:
        desk.stop()
    settle(folder / "ledger.sqlite", senders, report)
    return report


def main() -> None:
    """Run and print; status 1 where an entry was lost or doubled, or the server failed."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.load_desk")
    for name, usual in (("phones", 50), ("readers", 20), ("seconds", 600), ("places", 60)):
        parser.add_argument(f"--{name}", type=int, default=usual)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = run_load(
            Path(folder), phones=given.phones, readers=given.readers, seconds=given.seconds, places=given.places
        )
    print(f"{given.phones} phones, {given.readers} readers, {given.seconds} s, {given.places} places")
    print("\n".join(report.lines()))
    failed = (
        report.lost
        or report.unsent
        or report.unknown
        or report.chain
        or any(status >= 500 for status in report.statuses)
    )
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
