"""kill -9 of the desk's server while phones send: what was acknowledged is there, and nothing is there twice."""

from __future__ import annotations

import asyncio
import random
import threading
import time
from pathlib import Path

import pytest
from benchmarks.load_desk import DeskProcess, Phone, Report, settle, sorghum_fields

from sideoats.demo.district import all_entries
from sideoats.ledger import open_ledger


@pytest.mark.slow
def test_killed_servers_lose_nothing_that_phones_were_told_is_stored(tmp_path: Path, full: bool) -> None:
    phones, rounds, chance = 6, 25 if full else 3, random.Random(5)
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        ledger.append(all_entries())
    fields = sorghum_fields(tmp_path / "ledger.sqlite")
    desk = DeskProcess(tmp_path, {f"phone{i}": "scout" for i in range(phones)}).start()
    senders = [Phone(desk, f"phone{i}", fields, 0.4, i) for i in range(phones)]
    report, stop = Report(), time.monotonic() + 600
    over = threading.Event()

    def load() -> None:
        async def everyone() -> None:
            await asyncio.gather(*(sender.run_until(over, stop, report) for sender in senders))

        asyncio.run(everyone())

    sending = threading.Thread(target=load)
    sending.start()
    try:
        for _ in range(rounds):
            before = sum(len(s.acknowledged) for s in senders)
            while sum(len(s.acknowledged) for s in senders) < before + 10 and time.monotonic() < stop:
                time.sleep(0.01)
            time.sleep(chance.uniform(0.0, 0.4))
            desk.kill()
            told = {i for s in senders for i in s.acknowledged}
            with open_ledger(tmp_path / "ledger.sqlite") as ledger:
                there = {e.id for e in ledger.history(kind="leaf_counts")}
                assert told <= there, "an acknowledged entry is lost"
                assert ledger.check().ok
            desk.start()
    finally:
        over.set()
        sending.join(120)
        desk.stop()
    settle(tmp_path / "ledger.sqlite", senders, report)
    assert report.statuses[0] > 0, "no send met a dead server; the moments are badly chosen"
    assert report.made > 10 * rounds and report.made == report.in_ledger
    assert (report.lost, report.unsent, report.unknown, report.chain) == (0, 0, 0, ())
