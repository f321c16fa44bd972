"""Fetched from a real server on this machine that replays recorded answers: nothing lost, doubled or half stored."""

from __future__ import annotations

import gzip
import json
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner

from sideoats.cli import group
from sideoats.errors import InputError
from sideoats.ledger import NewEntry, open_ledger
from sideoats.sources.client import Client, Limits
from sideoats.sources.declared import Declared, Source, declared
from sideoats.sources.fetching import Told, fetch
from sideoats.sources.kept import Kept, State

DATA = Path(__file__).parents[2].parent / "shared" / "data" / "forecast"
NOW = datetime(2022, 2, 4, 12, 0, tzinfo=UTC)
FAST = Limits(connect=2, silence=1.5, whole=1.0, most=3_000_000, tries=3, pause=0.01, patience=5)
CSV = "issued_at,place,date,element,value,unit\n2022-02-04T05:00-06:00,s,2022-02-05,low,{low},degF\n"
Step = Callable[[BaseHTTPRequestHandler], None]


class Server:
    """Answers each address with its next recorded step, the last one for ever; notes what it was asked."""

    def __init__(self) -> None:
        self.steps: dict[str, list[Step]] = {}
        self.asked: list[tuple[str, dict[str, str]]] = []
        server = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                server.asked.append((self.path, dict(self.headers)))
                steps = server.steps.get(self.path, [status(404)])
                (steps.pop(0) if len(steps) > 1 else steps[0])(self)

            def log_message(self, *_: object) -> None:
                pass

        self._http = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._http.daemon_threads = True
        threading.Thread(target=self._http.serve_forever, args=(0.02,), daemon=True).start()
        self.address = f"http://127.0.0.1:{self._http.server_address[1]}"

    def close(self) -> None:
        self._http.shutdown()
        self._http.server_close()

    def paths(self) -> list[str]:
        return [path for path, _ in self.asked]


def ok(body: bytes | str, kind: str = "text/csv", **headers: str) -> Step:
    data = body.encode() if isinstance(body, str) else body

    def step(h: BaseHTTPRequestHandler) -> None:
        h.send_response(200)
        for key, value in {"Content-Type": kind, "Content-Length": str(len(data)), **headers}.items():
            h.send_header(key.replace("_", "-"), value)
        h.end_headers()
        h.wfile.write(data)

    return step


def status(code: int, **headers: str) -> Step:
    def step(h: BaseHTTPRequestHandler) -> None:
        h.send_response(code)
        for key, value in {"Content-Length": "0", **headers}.items():
            h.send_header(key.replace("_", "-"), value)
        h.end_headers()

    return step


def cut(body: str) -> Step:
    """Promises the whole body, sends half and hangs up."""

    def step(h: BaseHTTPRequestHandler) -> None:
        h.send_response(200)
        h.send_header("Content-Type", "text/csv")
        h.send_header("Content-Length", str(len(body)))
        h.end_headers()
        h.wfile.write(body.encode()[: len(body) // 2])
        h.close_connection = True

    return step


def drip(h: BaseHTTPRequestHandler) -> None:
    h.send_response(200)
    h.send_header("Content-Type", "text/csv")
    h.send_header("Transfer-Encoding", "chunked")
    h.end_headers()
    try:
        for _ in range(200):
            h.wfile.write(b"1\r\nx\r\n")
            h.wfile.flush()
            time.sleep(0.05)
    except OSError:
        pass


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


@pytest.fixture
def ledger(tmp_path: Path):
    place = {"name": "s", "kind": "station", "latitude": 30.02, "longitude": -84.98}
    with open_ledger(tmp_path / "l.sqlite") as opened:
        opened.append([NewEntry("place", place, place="s", seen_at=datetime(2000, 1, 1, tzinfo=UTC))])
        yield opened


def plan(server: Server, *sources: Source, hosts: tuple[str, ...] = ("127.0.0.1",)) -> Declared:
    found = sources or (Source("days", "file", address=f"{server.address}/f.csv", format="forecast-csv"),)
    return Declared(found, "office@example.org", "America/New_York", frozenset(hosts))


def run(wanted: Declared, ledger, tmp_path: Path, *, now: datetime = NOW, again: bool = True, **more) -> list[Told]:
    waited: list[float] = []
    made = lambda allows, contact, limits: Client(allows, contact, limits, sleep=waited.append, now=lambda: now)  # noqa: E731
    found = list(fetch(wanted, ledger, tmp_path / "fetched", now=now, limits=FAST, client=made, again=again, **more))
    run.waited = waited  # type: ignore[attr-defined]
    return found


def stored(ledger) -> list[float]:
    return [day["low"] for entry in ledger.history(kind="forecast") for day in entry.body["days"]]


def test_200_is_kept_raw_and_taken_as_a_file_by_hand(server: Server, ledger, tmp_path: Path) -> None:
    body = CSV.format(low=31)
    server.steps["/f.csv"] = [ok(body, ETag='"a"', Last_Modified="Fri, 04 Feb 2022 11:00:00 GMT")]
    (told,) = run(plan(server), ledger, tmp_path)
    assert (told.outcome, told.stored, told.as_of) == ("new", 1, "2022-02-04T12:00:00+00:00")
    assert stored(ledger) == [31]
    state = Kept(tmp_path / "fetched").state("days")
    assert Kept(tmp_path / "fetched").path("days", state).read_text() == body and state.taken == state.sha256
    (file,) = ledger.history(kind="file_taken")
    assert file.body["sha256"] == state.sha256 and file.body["name"] == "days"
    assert "office@example.org" in server.asked[0][1]["User-Agent"]


def test_304_asks_with_what_was_told_and_stores_nothing_twice(server: Server, ledger, tmp_path: Path) -> None:
    when = "Fri, 04 Feb 2022 11:00:00 GMT"
    server.steps["/f.csv"] = [ok(CSV.format(low=31), ETag='"a"', Last_Modified=when), status(304)]
    run(plan(server), ledger, tmp_path)
    head = ledger.head()
    (told,) = run(plan(server), ledger, tmp_path, now=NOW + timedelta(hours=2))
    assert told.outcome == "same" and told.as_of == "2022-02-04T14:00:00+00:00" and ledger.head() == head
    headers = server.asked[1][1]
    assert headers["If-None-Match"] == '"a"' and headers["If-Modified-Since"] == when


def test_the_same_body_again_with_200_is_stored_once(server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [ok(CSV.format(low=31))]
    run(plan(server), ledger, tmp_path)
    head = ledger.head()
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "same" and ledger.head() == head


def test_301_to_another_host_is_not_followed(server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [status(301, Location="http://localhost:9/f.csv")]
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "failed" and told.line == "localhost is not an allowed host, or is not asked over https"
    server.steps["/f.csv"] = [status(301, Location="/g.csv")]
    server.steps["/g.csv"] = [ok(CSV.format(low=30))]
    assert run(plan(server), ledger, tmp_path)[0].outcome == "new"
    server.steps["/f.csv"] = [status(302, Location="/f.csv")]
    assert "without end" in run(plan(server), ledger, tmp_path)[0].line


def test_429_waits_as_long_as_it_is_asked_to(server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [status(429, Retry_After="2"), ok(CSV.format(low=31))]
    assert run(plan(server), ledger, tmp_path)[0].outcome == "new" and run.waited == [2.0]  # type: ignore[attr-defined]
    server.steps["/f.csv"] = [status(429, Retry_After="3600")]
    count = len(server.asked)
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "failed" and "asks to wait until 04 Feb 13:00 UTC" in told.line
    assert len(server.asked) == count + 1 and run.waited == []  # type: ignore[attr-defined]
    (told,) = run(plan(server), ledger, tmp_path, now=NOW + timedelta(minutes=30), again=False)
    assert told.outcome == "early" and len(server.asked) == count + 1
    server.steps["/f.csv"] = [ok(CSV.format(low=29))]
    assert run(plan(server), ledger, tmp_path, now=NOW + timedelta(hours=2), again=False)[0].outcome == "new"


def test_500_is_tried_again_and_then_left(server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [status(500), status(503), ok(CSV.format(low=31))]
    assert run(plan(server), ledger, tmp_path)[0].outcome == "new" and run.waited == [0.01, 0.02]  # type: ignore[attr-defined]
    server.steps["/f.csv"] = [status(500)]
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "failed" and "status 500" in told.line and stored(ledger) == [31]


BROKEN: dict[str, tuple[Step, str]] = {
    "cut in the middle": (cut(CSV.format(low=31)), "broke off before the end"),
    "wrong length": (ok(CSV.format(low=31), Content_Length="5000"), "did not answer in time|broke off before the end"),
    "gzip bomb": (ok(gzip.compress(b"\0" * 40_000_000), Content_Encoding="gzip"), "sends more than 3 MB"),
    "no gzip": (ok(b"plain", Content_Encoding="gzip"), "cannot be unpacked"),
    "slow drip": (drip, "sends too slowly"),
    "not found": (status(404), "status 404"),
    "nothing": (ok(""), "sent nothing"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_breaks_is_one_line_and_leaves_what_was_there(name: str, server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [ok(CSV.format(low=31), ETag='"a"')]
    run(plan(server), ledger, tmp_path)
    head, state = ledger.head(), Kept(tmp_path / "fetched").state("days")
    step, why = BROKEN[name]
    server.steps["/f.csv"] = [step]
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "failed" and "\n" not in told.line
    assert any(part in told.line for part in why.split("|")), told.line
    assert ledger.head() == head and Kept(tmp_path / "fetched").state("days") == state
    assert not list((tmp_path / "fetched").rglob(".part-*"))
    server.steps["/f.csv"] = [ok(CSV.format(low=32))]
    assert run(plan(server), ledger, tmp_path)[0].outcome == "new" and stored(ledger) == [31, 32]


def test_a_page_in_place_of_data_and_a_changed_schema_are_refused_and_asked_anew(server, ledger, tmp_path) -> None:
    server.steps["/f.csv"] = [ok("<html>Sign in</html>", "text/html", ETag='"h"')]
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "refused" and told.line.startswith("days")
    server.steps["/f.csv"] = [ok(CSV.format(low=31).replace("element", "what"), ETag='"s"'), ok(CSV.format(low=31))]
    (told,) = run(plan(server), ledger, tmp_path)
    assert told.outcome == "refused" and "no column 'element'" in told.line and stored(ledger) == []
    assert (
        run(plan(server), ledger, tmp_path, again=False)[0].outcome == "new"
    )  # at once: what was refused is not fresh
    assert "If-None-Match" not in server.asked[-1][1] and stored(ledger) == [31]


def test_a_body_kept_but_not_taken_in_is_taken_the_next_time(server: Server, ledger, tmp_path: Path) -> None:
    """As when the power fails between the two."""
    body = CSV.format(low=31)
    kept = Kept(tmp_path / "fetched")
    kept.put("days", State('"a"', "", "", NOW.isoformat(), ""), body.encode())
    server.steps["/f.csv"] = [ok(body, ETag='"a"')]
    assert run(plan(server), ledger, tmp_path, again=False)[0].outcome == "new" and stored(ledger) == [31]


def test_without_a_network_the_age_of_what_is_there_is_told(server: Server, ledger, tmp_path: Path) -> None:
    server.steps["/f.csv"] = [ok(CSV.format(low=31))]
    wanted = plan(server)
    run(wanted, ledger, tmp_path)
    server.close()
    (told,) = run(wanted, ledger, tmp_path, now=NOW + timedelta(hours=30))
    assert told.outcome == "failed" and "cannot be reached" in told.line and told.as_of.startswith("2022-02-04T12")
    server.__init__()  # type: ignore[misc]


@pytest.mark.skipif(not DATA.is_dir(), reason="the shared forecast files are not at hand")
def test_a_point_of_the_weather_service_from_its_position_on(server: Server, ledger, tmp_path: Path) -> None:
    point = json.loads((DATA / "tae_points.json").read_text())
    point["properties"]["forecastGridData"] = f"{server.address}/gridpoints/TAE/58,65"
    server.steps["/points/30.0200,-84.9800"] = [ok(json.dumps(point), "application/geo+json")]
    server.steps["/gridpoints/TAE/58,65"] = [
        ok((DATA / "tae_detailed_forecast.json").read_bytes(), "application/geo+json")
    ]
    alerts = (DATA / "tae_alerts_active_zone.json").read_bytes()
    server.steps["/alerts/active?point=30.0200,-84.9800"] = [ok(alerts, "application/geo+json")]
    wanted = plan(server, Source("north", "forecast", place="s", address=server.address))
    told = run(wanted, ledger, tmp_path)
    assert [(t.name, t.outcome, t.stored) for t in told] == [("north", "new", 2), ("north: warnings", "new", 1)]
    run(wanted, ledger, tmp_path, now=NOW + timedelta(hours=2))
    assert server.paths().count("/points/30.0200,-84.9800") == 1  # where a point lies is asked once
    (entry,) = ledger.history(kind="forecast")
    assert entry.place == "s" and entry.seen_on.isoformat() == "2022-02-03"
    server.steps["/gridpoints/TAE/58,65"] = [status(404)]
    assert run(wanted, ledger, tmp_path)[0].outcome == "failed"
    run(wanted, ledger, tmp_path)
    assert server.paths().count("/points/30.0200,-84.9800") == 2  # and again once its grid has moved
    server.steps["/gridpoints/TAE/58,65"] = [ok("<html/>", "text/html")]
    assert "text/html where json was asked for" in run(wanted, ledger, tmp_path)[0].line


def test_a_key_goes_to_its_own_host_only_and_into_no_file(server, ledger, tmp_path, monkeypatch) -> None:
    source = Source("days", "file", address=f"{server.address}/f.csv", format="forecast-csv", key="OFFICE_KEY")
    assert "no OFFICE_KEY" in run(plan(server, source), ledger, tmp_path)[0].line and not server.asked
    monkeypatch.setenv("OFFICE_KEY", "s3cr3t")
    server.steps["/f.csv"] = [ok(CSV.format(low=31))]
    assert run(plan(server, source), ledger, tmp_path)[0].outcome == "new"
    assert server.asked[0][1]["Authorization"].startswith("Basic ")
    assert not any(b"s3cr3t" in path.read_bytes() for path in tmp_path.rglob("*") if path.is_file())


def test_a_dry_run_asks_nothing(server: Server, ledger, tmp_path: Path) -> None:
    source = Source(
        "d", "file", address=f"{server.address}/f?from={{since}}&to={{today}}", days=10, format="forecast-csv"
    )
    told = run(
        plan(server, source, Source("p", "forecast", place="s", address=server.address)), ledger, tmp_path, dry=True
    )
    assert [t.outcome for t in told] == ["plan", "plan"] and not server.asked
    assert told[0].line.endswith("/f?from=2022-01-25&to=2022-02-04") and told[1].line.endswith(
        "/points/30.0200,-84.9800"
    )
    assert not (tmp_path / "fetched").exists()


def write(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def test_the_district_file_names_the_sources_and_all_that_is_wrong_with_them(tmp_path: Path) -> None:
    assert declared(None).sources == () and declared(write(tmp_path / "d.toml", "")).sources == ()
    good = """[fetch]
contact = "office@example.org"
[[fetch.source]]
kind = "forecast"
place = "north"
"""
    (source,) = declared(write(tmp_path / "g.toml", good)).sources
    assert (source.name, source.place, source.address) == ("north", "north", "https://api.weather.gov")
    bad = """[fetch]
zone = "Nowhere/Else"
speed = 3
[[fetch.source]]
kind = "telegram"
[[fetch.source]]
name = "x"
kind = "file"
address = "https://data.example.org/x.csv"
format = "forecast-csv"
[[fetch.source]]
name = "x"
kind = "file"
address = "http://www.ncei.noaa.gov/x.csv"
format = "forecast-csv"
"""
    with pytest.raises(InputError) as wrong:
        declared(write(tmp_path / "b.toml", bad))
    for part in (
        "'speed'",
        "telegram",
        "stands twice",
        "data.example.org",
        "www.ncei.noaa.gov",
        "Nowhere/Else",
        "contact",
    ):
        assert part in str(wrong.value)
    assert "\n" not in str(wrong.value)


def test_the_command_says_a_line_a_source_and_fails_where_one_did(server: Server, ledger, tmp_path: Path) -> None:
    runner, place = CliRunner(), str(tmp_path / "l.sqlite")
    none = runner.invoke(group, ["--ledger", place, "fetch"])
    assert none.exit_code == 0 and "no source" in none.output and not server.asked
    server.steps["/f.csv"] = [ok(CSV.format(low=31))]
    text = f"""[fetch]
contact = "office@example.org"
hosts = ["127.0.0.1"]
[[fetch.source]]
name = "days"
kind = "file"
address = "{server.address}/f.csv"
format = "forecast-csv"
[[fetch.source]]
name = "lost"
kind = "file"
address = "{server.address}/lost.csv"
format = "forecast-csv"
"""
    write(tmp_path / "district.toml", text)
    shown = runner.invoke(group, ["--ledger", place, "fetch"])
    assert shown.exit_code == 1 and shown.output.splitlines() == [
        "days: 1 new entry, 0 rows set aside",
        "lost: 127.0.0.1 answers with status 404; nothing of it is on file yet",
    ]
    spanish = runner.invoke(group, ["--ledger", place, "--language", "es", "fetch", "days"])
    assert spanish.exit_code == 0 and "no se pidió, se trajo hace 0 h" in spanish.output
    spanish = runner.invoke(group, ["--ledger", place, "--language", "es", "fetch", "lost"])
    assert "127.0.0.1 contesta con estado 404; todavía no hay nada de ella" in spanish.output
    strange = runner.invoke(group, ["--ledger", place, "fetch", "nobody"])
    assert strange.exit_code != 0 and isinstance(strange.exception, InputError)
