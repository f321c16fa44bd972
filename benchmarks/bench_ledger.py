"""The ledger against the plain database underneath: loading, single entries, reading what is current, checking.

Sizes: 20,000 places with 5 counts each; SIDEOATS_FULL=1: 100,000 places. SIDEOATS_BENCH_POSTGRES=URL of an empty
database measures that too.
"""

from __future__ import annotations

import os
import resource
import sqlite3
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from sideoats.ledger import Ledger, NewEntry, open_ledger

PLACES = 100_000 if os.environ.get("SIDEOATS_FULL") == "1" else 20_000
LOOKS = 5
START = datetime(2026, 4, 1, 15, tzinfo=UTC)
ON = date(2026, 12, 31)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds and the result."""
    begun = time.perf_counter()
    result = work()
    return time.perf_counter() - begun, result


def farms_and_places() -> list[NewEntry]:
    """Twenty places a farm."""
    farms = [NewEntry("farm", {"name": f"Farm {i}"}, farm=f"f{i}", seen_at=START) for i in range(PLACES // 20)]
    body = {"kind": "field", "acres": "80 ac", "crop": "grain sorghum", "expected_yield": "80 bu/ac"}
    places = [
        NewEntry("place", {**body, "name": f"Field {i}"}, place=f"p{i}", farm=f"f{i // 20}", seen_at=START)
        for i in range(PLACES)
    ]
    return farms + places


def counts(look: int) -> list[NewEntry]:
    """One count at every place."""
    seen = START + timedelta(days=7 * look)
    body = {"counts": [12, 40, 7, 0, 3, 150, 22, 9, 1, 0]}
    return [NewEntry("leaf_counts", body, place=f"p{i}", seen_at=seen) for i in range(PLACES)]


def raw_rows(path: str) -> list[tuple[Any, ...]]:
    """All rows as the database holds them."""
    connection = sqlite3.connect(path)
    names = [row[1] for row in connection.execute("PRAGMA table_info(entries)")]
    rows = connection.execute(f"SELECT {', '.join(names)} FROM entries ORDER BY seq").fetchall()
    connection.close()
    return rows


def plain_load(path: Path, source: str) -> float:
    """Seconds for the same rows by executemany into the same table, without triggers, checks or chain."""
    rows = raw_rows(source)
    old = sqlite3.connect(source)
    statements = [
        sql
        for (sql,) in old.execute("SELECT sql FROM sqlite_master WHERE tbl_name = 'entries' AND type <> 'trigger'")
        if sql
    ]
    old.close()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode=WAL")
    for statement in statements:
        connection.execute(statement)

    def load() -> None:
        connection.executemany(f"INSERT INTO entries VALUES ({', '.join('?' * 16)})", rows)
        connection.commit()

    seconds, _ = timed(load)
    connection.close()
    return seconds


WINDOW = """
SELECT * FROM (SELECT e.*, row_number() OVER (PARTITION BY kind, subject, topic ORDER BY seen_at DESC, seq DESC) AS n
FROM entries e WHERE kind = 'leaf_counts' AND seen_on <= '2026-12-31'
AND NOT EXISTS (SELECT 1 FROM entries c WHERE c.corrects = e.id)) WHERE n = 1
"""


def window_query(path: str) -> int:
    """What is current by ranking the whole history, as a plain query would."""
    connection = sqlite3.connect(path)
    found = len(connection.execute(WINDOW).fetchall())
    connection.close()
    return found


def single_entries(ledger: Ledger, path: Path) -> None:
    """One entry a transaction, against one plain row a transaction with the same durability."""
    note = [NewEntry("note", {"text": f"note {i}"}, place="p7", seen_at=START) for i in range(500)]
    ours, _ = timed(lambda: [ledger.append([entry]) for entry in note])
    plain = sqlite3.connect(path, isolation_level=None)
    plain.execute("PRAGMA journal_mode=WAL")
    plain.execute("PRAGMA synchronous=FULL")
    plain.execute("CREATE TABLE note (id INTEGER PRIMARY KEY, text TEXT)")
    theirs, _ = timed(lambda: [plain.execute("INSERT INTO note (text) VALUES (?)", (f"note {i}",)) for i in range(500)])
    plain.close()
    print(f"single entries: {500 / ours:,.0f}/s; plain durable row {500 / theirs:,.0f}/s; ratio {ours / theirs:.1f}")


def sqlite_report(folder: Path) -> None:
    """Every measurement on SQLite."""
    path = str(folder / "a.sqlite")
    with open_ledger(path) as ledger:
        first, _ = timed(lambda: ledger.append(farms_and_places()))
        print(f"load {PLACES:,} places: {first:.1f} s, {PLACES * 1.05 / first:,.0f} entries/s")
        after_one = 0.0
        for look in range(LOOKS):
            ledger.append(counts(look))
            if look == 0:
                after_one, _ = timed(lambda: ledger.latest(["leaf_counts"], ON))
        theirs = plain_load(folder / "plain.sqlite", path)
        ours = first * ledger.head()[0] / (PLACES * 1.05)
        print(f"load, against the same rows by plain executemany: ratio {ours / theirs:.1f}")
        latest, found = timed(lambda: ledger.latest(["leaf_counts"], ON)["leaf_counts"])
        window, ranked = timed(lambda: window_query(path))
        assert len(found) == ranked == PLACES
        print(f"latest of {PLACES:,} places, {LOOKS} looks deep: {latest:.2f} s; 1 look deep {after_one:.2f} s")
        print(f"latest as objects, against ranking the history in SQL as plain rows: ratio {latest / window:.2f}")
        places, _ = timed(ledger.places)
        print(f"places: {places:.2f} s")
        single_entries(ledger, folder / "single.sqlite")
        checked, report = timed(ledger.check)
        assert report.ok
        print(f"check: {report.entries / checked:,.0f} entries/s")
        copied, _ = timed(lambda: ledger.backup(folder / "copy.sqlite"))
        size = (folder / "copy.sqlite").stat().st_size
        print(f"verified backup: {copied:.1f} s; {size / report.entries:.0f} bytes an entry")


def processor(work: Callable[[], Any]) -> float:
    """Seconds of processor time, which others on the machine disturb less."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def sealing_report(folder: Path) -> None:
    """The same farms, places and counts in the clear and sealed, read in turn: what sealing costs."""
    names = ("load", "places", "latest", "check", "bytes")
    best: list[dict[str, float]] = [{}, {}]
    with open_ledger(folder / "clear.sqlite") as clear, open_ledger(folder / "sealed.sqlite") as sealed:
        sealed.append([NewEntry("sealing", {"on": True}, seen_at=START)])
        for ledger, took in zip((clear, sealed), best, strict=True):
            took["load"] = processor(partial(ledger.append, farms_and_places() + counts(0)))
            took["bytes"] = float(Path(ledger.address).stat().st_size)
        for _ in range(3):
            for ledger, took in zip((clear, sealed), best, strict=True):
                latest = processor(partial(ledger.latest, ["leaf_counts"], ON))
                for name, seconds in (("places", processor(ledger.places)), ("latest", latest)):
                    took[name] = min(seconds, took.get(name, seconds))
        for ledger, took in zip((clear, sealed), best, strict=True):
            took["check"] = processor(ledger.check)
        assert len(sealed.places()) == len(clear.places()) == PLACES and sealed.check().ok
    ratios = ", ".join(f"{n} {best[1][n] / best[0][n]:.2f}" for n in names)
    more = {n: 1e6 * (best[1][n] - best[0][n]) / PLACES for n in ("places", "latest")}
    print(f"sealed against clear, {PLACES:,} places of {PLACES // 20:,} farms, processor time: ratio {ratios}")
    print("sealed against clear: " + ", ".join(f"{n} {t:+.1f} us each" for n, t in more.items()))


def postgres_report(address: str) -> None:
    """Loading and reading on PostgreSQL."""
    with open_ledger(address) as ledger:
        first, _ = timed(lambda: ledger.append(farms_and_places()))
        print(f"postgresql, load {PLACES:,} places: {first:.1f} s, {PLACES * 1.05 / first:,.0f} entries/s")
        for look in range(LOOKS):
            ledger.append(counts(look))
            seconds, _ = timed(lambda: ledger.latest(["leaf_counts"], ON))
            if look in (0, LOOKS - 1):
                print(f"postgresql, latest {look + 1} looks deep: {seconds:.2f} s")
        checked, report = timed(ledger.check)
        assert report.ok
        print(f"postgresql, check: {report.entries / checked:,.0f} entries/s")


def main() -> None:
    """One line a measurement."""
    with tempfile.TemporaryDirectory() as folder:
        sqlite_report(Path(folder))
        sealing_report(Path(folder))
    if os.environ.get("SIDEOATS_BENCH_POSTGRES"):
        postgres_report(os.environ["SIDEOATS_BENCH_POSTGRES"])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:,.0f} MiB")


if __name__ == "__main__":
    main()
