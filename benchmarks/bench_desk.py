"""The desk's first page in Chromium on loopback, for a district of two thousand places, against a short page.

The week itself is not measured here (see bench_scale): its calls are made up and already worked out, as they are for
every visitor but the first after something was recorded. The reference is the page of help from the same server.
"""

from __future__ import annotations

import resource
import shutil
import socket
import statistics
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

DAY = date(2026, 9, 14)
PLACES, ROUNDS = 2_000, 9
_KINDS = ("act", "look", "wait", "wait", "look", "act", "wait", "stop", "wait", "wait")


@dataclass
class MadeUpWeek:
    """As many calls as a week of that size has."""

    on: date
    calls: tuple[Any, ...]
    problems: tuple[Any, ...] = ()


def made_up_week(on: date) -> MadeUpWeek:
    """Three calls a place, every verdict in its share."""
    from sideoats.call import Call

    calls = []
    for j, question in enumerate(("sorghum-aphid", "rain-deficit", "spray-hours")):
        for i in range(PLACES):
            verdict = _KINDS[(i + 3 * j) % 10]
            said = f"{i % 300} aphids a leaf: treating today is worth {i % 50} USD/ac over leaving it."
            calls.append(
                Call(
                    question, on, verdict, on + timedelta(days=i % 20) if verdict == "act" else None,
                    on + timedelta(days=i % 9) if verdict == "look" else None, said, place=f"p{i}",
                    place_name=f"sorghum {i}", farm=f"farm-{i % 40}", room="insects",
                    cost_of_waiting=float(PLACES * 3 - i),
                )
            )  # fmt: skip
    return MadeUpWeek(on, tuple(calls))


@contextmanager
def serving(folder: Path) -> Iterator[tuple[str, Any]]:
    """A desk over two thousand places."""
    import uvicorn

    from sideoats.desk.app import make_app
    from sideoats.desk.settings import Settings
    from sideoats.desk.state import Desk
    from sideoats.ledger import NewEntry, open_ledger

    with open_ledger(folder / "ledger.sqlite") as ledger:
        ledger.append(NewEntry("farm", {"name": f"Farm {i}"}, farm=f"farm-{i}") for i in range(40))
        ledger.append(
            NewEntry("place", {"name": f"sorghum {i}", "kind": "field"}, place=f"p{i}", farm=f"farm-{i % 40}")
            for i in range(PLACES)
        )
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    port = listening.getsockname()[1]
    settings = Settings(ledger=str(folder / "ledger.sqlite"), port=port, day=DAY, data=folder / "data")
    desk = Desk(settings, run=lambda on, progress: made_up_week(on))
    server = uvicorn.Server(uvicorn.Config(make_app(settings, desk), log_level="warning"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    desk.weeks.on(DAY, wait=60)
    yield f"http://127.0.0.1:{port}", settings
    server.should_exit = True
    thread.join()


def first_paints(page: Any, address: str) -> tuple[float, float, int]:
    """Medians of response end and first contentful paint in ms after navigation, and bytes of the page."""
    ends, paints, size = [], [], 0
    for _ in range(ROUNDS):
        size = len(page.goto(address).body())
        told = [0.0, None]
        while told[1] is None:
            told = page.evaluate(
                "() => [performance.getEntriesByType('navigation')[0].responseEnd,"
                "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? null]"
            )
        ends.append(told[0])
        paints.append(told[1])
    return statistics.median(ends), statistics.median(paints), size


def main() -> None:
    """Print one line a measurement."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, serving(Path(folder)) as (base, settings), sync_playwright() as api:
        browser = api.chromium.launch(
            executable_path=shutil.which("chromium") or "/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking"],
        )
        page = browser.new_page(viewport={"width": 1180, "height": 860})
        page.goto(f"{base}/help?token={settings.token}")
        end, paint, size = first_paints(page, base + "/")
        bare_end, bare_paint, _ = first_paints(page, base + "/help")
        browser.close()
    calls = f"{PLACES:,} places and {len(made_up_week(DAY).calls):,} calls"
    print(f"this week, {calls}: {size / 1000:.0f} kB, response after {end:.0f} ms (short page {bare_end:.0f} ms)")
    print(f"first contentful paint {paint:.0f} ms, {paint / bare_paint:.1f} times the short page's {bare_paint:.0f} ms")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of desk and client {peak:.0f} MB")


if __name__ == "__main__":
    main()
