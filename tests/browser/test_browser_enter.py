"""Enter on a phone: counting with no signal and a dying battery, each entry sent once, no conflict dropped."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import socket
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import pytest
import uvicorn
from running_desk import DAY, FIELD, RunningDesk
from test_browser_access import small_targets, violations
from watching import ARGS, CHROMIUM, Watched, watch

from sideoats.call import VERDICTS
from sideoats.desk.app import make_app
from sideoats.ledger import NewEntry

PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}


def ready(page: Any) -> None:
    page.wait_for_selector("body[data-ready]", timeout=150_000)  # the first opening works out all stop lines


def choose(page: Any, name: str = "two elms sorghum 1", kind: str = "Aphids counted leaf by leaf") -> None:
    page.fill("#find", name)
    page.locator("#place-list button").first.click()
    page.click(f"button:has-text('{kind}')")
    page.wait_for_selector("#tally-counts-next")


def count(page: Any, *leaves: int) -> None:
    for aphids in leaves:
        for by in (50, 10, 5, 1):
            while aphids >= by:
                page.click(f"button:text-is('+{by}')")
                aphids -= by
        page.click("#tally-counts-next")


def held(page: Any) -> list[dict[str, Any]]:
    """What the phone's queue holds."""
    found: list[dict[str, Any]] = page.evaluate("async () => (await import(document.body.dataset.queue)).all('queue')")
    return found


def keep_without_signal(page: Any, aphids: int) -> None:
    """A count of one leaf that is kept on the phone; what is sent does not arrive until the route is taken off."""
    choose(page)
    count(page, aphids)
    page.route("**/send/entry", lambda route: route.abort())
    page.click("button:has-text('Done: keep it')")
    wait_until(lambda: page.inner_text("#waits-text").startswith("1 waits"))


def leaf_counts(desk: RunningDesk, since: int = 0) -> list[Any]:
    return [e for e in desk.desk.ledger.history(kind="leaf_counts", corrected=True) if e.seq > since]


def wait_until(test: Callable[[], bool], seconds: float = 120) -> None:
    end = time.monotonic() + seconds
    while not test():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)


def test_counting_with_undo_and_stop_lines(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    before = desk.desk.ledger.head()[0]
    found = open_page(desk, **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    choose(page)
    assert page.inner_text("#tally-counts-unit") == "on leaf 1"
    count(page, 12, 0, 40)
    assert page.inner_text("#tally-counts-list") == "12, 0, 40"
    page.click("button:text-is('+5')")
    page.click("#tally-counts-undo")
    page.click("#tally-counts-undo")  # the third leaf is open again
    assert page.inner_text("#tally-counts-now") == "40" and page.inner_text("#tally-counts-unit") == "on leaf 3"
    for _ in range(4):
        page.click("#tally-counts-undo")
    assert page.inner_text("#tally-counts-now") == "0" and page.inner_text("#tally-counts-list") == "12, 0"
    page.click("#tally-counts-next")
    strip = page.locator("#tally-counts-strip")
    assert strip.locator("b").inner_text().startswith("Count")
    assert "3 leaves, 12 in all, 4.0 on each" in strip.inner_text()
    count(page, *[400] * 14)
    assert strip.locator("b").inner_text() == "Enough: treat side"
    page.click("button:has-text('Done: keep it')")
    page.wait_for_selector("text=Sent.")
    entry = leaf_counts(desk, before)
    assert len(entry) == 1 and entry[0].body["counts"] == [12, 0, 0] + [400] * 14
    assert entry[0].place == FIELD and entry[0].seen_on == DAY
    assert page.inner_text("#waits-text").startswith("Nothing waits, last sent")


def test_the_phones_stop_lines_are_those_of_the_question(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    """What the phone says after n leaves, on counts of any scatter, against the question asked with the same counts."""
    from sideoats.question import Context, column, find
    from sideoats.week.gather import gather

    district, question = desk.desk.districts.on(DAY), find("sorghum-aphid")
    table = gather(question, district.snapshot)[0]
    own = table.take(np.array([table.keys.index(FIELD)]))
    counted = next(f for f in question.inputs if f.name == "counts")
    found = open_page(desk, **PHONE)
    found.go("/enter/")
    ready(found.page)
    with desk.launched() as client:
        lines = client.get("/enter/data.json").json()["lines"]
    plan = next(line for line in lines if line["place"] == FIELD and line["question"] == "sorghum-aphid")
    line = {**plan, **plan["by"]["boot"]}

    def asked(counts: list[int]) -> dict[str, Any]:
        boot = {"stage": np.array(["boot"], dtype=object), "counts": column(counted, [counts])}
        rows = replace(own, columns={**own.columns, **boot}, ages={name: np.zeros(1) for name in own.ages})
        answers = question.ask(rows, Context(DAY, district.facts, district.outlook))
        read = {name: float(answers.quantities[name][0][0]) for name in ("stop_line_below", "stop_line_treat")}
        return {"verdict": VERDICTS[answers.verdict[0]], **read}

    rng = np.random.default_rng(7)
    cases = [[0] * 5, [0] * 20, [300] * 5, [20] * 60, [400] * 20]
    cases += [rng.negative_binomial(k, k / (k + mean), n).tolist() for n in (5, 20, 60, 150)
              for mean in (2, 20, 35, 60, 300) for k in (0.08, 0.115, 0.3)]  # fmt: skip
    script = """async ([cases, line]) => { const t = await import(document.body.dataset.tally);
      return cases.map(c => t.judge(c, line)); }"""
    sides = set()
    for counts, told in zip(cases, found.page.evaluate(script, [cases, line]), strict=True):
        here = asked(counts)
        for end, name in (("below", "stop_line_below"), ("above", "stop_line_treat")):
            exact = here[name] if np.isfinite(here[name]) else None
            assert told[end] == (exact if exact is None else pytest.approx(exact, rel=0.03, abs=1)), (counts, end)
        rests = {"treat": {"act"}, "leave": {"wait"}, "": {"look", "wait", "act"}}[told["side"]]
        lines = [here[name] for name in ("stop_line_below", "stop_line_treat") if np.isfinite(here[name])]
        clear = all(not 0.97 < sum(counts) / v < 1.03 for v in lines)  # between two of the phone's points
        assert not clear or here["verdict"] in rests, (counts, told, here)
        sides.add(told["side"])
    assert sides == {"leave", "treat", ""}


def test_distances_agree_with_the_geodesic(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    """Distance to outlines against pyproj's geodesic on WGS84 along the same edges: flat reckoning is within 1 %."""
    pyproj = pytest.importorskip("pyproj")
    geod = pyproj.Geod(ellps="WGS84")
    ring = [[-99.0, 38.0], [-98.99, 38.0], [-98.99, 38.008], [-99.0, 38.008], [-99.0, 38.0]]
    found = open_page(desk, **PHONE)
    found.go("/enter/")
    ready(found.page)
    script = """async ([place, points]) => { const p = await import(document.body.dataset.position);
      return points.map(([longitude, latitude]) => p.distance(place, {longitude, latitude})); }"""
    points = [
        [-99.02, 38.004],
        [-98.995, 37.99],
        [-98.98, 38.02],
        [-98.995, 38.004],
        [-98.9901, 38.0041],
        [-98.8, 38.1],
    ]
    got = found.page.evaluate(script, [{"rings": [ring]}, points])
    for (x, y), metres in zip(points, got, strict=True):
        if -99.0 < x < -98.99 and 38.0 < y < 38.008:
            assert metres == 0
            continue
        edge = [(a[0] + (b[0] - a[0]) * t / 400, a[1] + (b[1] - a[1]) * t / 400)
                for a, b in pairwise(ring) for t in range(401)]  # fmt: skip
        true = min(geod.inv(x, y, ex, ey)[2] for ex, ey in edge)
        assert metres == pytest.approx(true, rel=0.01, abs=1.5)
    hole = [[-98.997, 38.002], [-98.993, 38.002], [-98.993, 38.006], [-98.997, 38.006], [-98.997, 38.002]]
    inside_hole = found.page.evaluate(script, [{"rings": [ring, hole]}, [[-98.995, 38.004]]])
    assert inside_hole[0] > 100
    assert found.page.evaluate(script, [{}, [[0, 0]]]) == [None]


def test_a_place_by_position_and_without_one(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    west, south = desk.desk.places(None)[FIELD].attributes["outline"]["coordinates"][0][0]
    here = {"longitude": west + 0.001, "latitude": south + 0.001}
    found = open_page(desk, geolocation=here, permissions=["geolocation"], **PHONE)
    found.go("/enter/")
    ready(found.page)
    found.page.click("button:has-text('By where I stand')")
    found.page.wait_for_selector("text=you stand in it")
    first = found.page.locator("#place-list button").first.inner_text()
    assert "sorghum 1" in first and "Two Elms" in first and "you stand in it" in first
    refused = open_page(desk, **PHONE)
    refused.go("/enter/")
    ready(refused.page)
    refused.page.click("button:has-text('By where I stand')")
    refused.page.wait_for_selector("text=choose from the list")
    assert refused.page.locator("#place-list button").count() > 10


def test_targets_of_48_pixels_and_clean_screens(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    for options in ({}, {"color_scheme": "dark"}):
        found = open_page(desk, **PHONE, **options)
        page = found.page
        found.go("/enter/")
        ready(page)
        assert not small_targets(page, 48) and not violations(page)
        page.fill("#find", "two elms sorghum 1")
        page.locator("#place-list button").first.click()
        assert not small_targets(page, 48) and not violations(page)
        page.click("button:has-text('Aphids counted leaf by leaf')")
        for summary in page.locator("summary").all():
            summary.click()
        count(page, 3, 0)
        assert not small_targets(page, 48) and not violations(page)
        gaps = page.evaluate(
            "() => { const b = [...document.querySelectorAll('.pads button, .on button')]"
            ".map(e => e.getBoundingClientRect());"
            "let least = 99; b.forEach((p, i) => b.slice(i + 1).forEach(q => { const dx = Math.max(q.left - p.right, "
            "p.left - q.right), dy = Math.max(q.top - p.bottom, p.top - q.bottom);"
            "least = Math.min(least, Math.max(dx, dy)); }));"
            "return least; }"
        )
        assert gaps >= 7.5
        page.click("#sun")
        assert page.evaluate("document.documentElement.dataset.sun") == "on" and not violations(page)
        page.click("#sun")
        page.click("#waits")
        assert not small_targets(page, 48) and not violations(page)


class Airplane:
    """A desk that can be switched off and on again on the same port, as a phone leaves and finds a signal."""

    def __init__(self, desk: RunningDesk) -> None:
        self.desk = desk
        self.server: uvicorn.Server | None = None
        self.losing = 0  # so many answers to phones get lost on their way back

    def land(self) -> None:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.desk.settings.port))
        app = self.with_losses(make_app(self.desk.settings, self.desk.desk))
        config = uvicorn.Config(app, log_config=None, access_log=False,
                                lifespan="off", ws="none", timeout_graceful_shutdown=1)  # fmt: skip
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [listening]}, daemon=True)
        self.thread.start()
        wait_until(lambda: bool(self.server and self.server.started))

    def with_losses(self, app: Any) -> Any:
        """The desk takes an entry in, but its answer never reaches the phone."""

        async def lossy(scope: Any, receive: Any, send: Any) -> None:
            if scope["path"] != "/send/entry" or not self.losing:
                await app(scope, receive, send)
                return
            self.losing -= 1

            async def nowhere(message: Any) -> None:
                return None

            await app(scope, receive, nowhere)
            raise ConnectionResetError

        return lossy

    def take_off(self) -> None:
        assert self.server is not None
        self.server.should_exit = True
        self.thread.join(timeout=20)


@pytest.fixture
def airplane(demo_ledger: Path, tmp_path: Path) -> Iterator[Airplane]:
    import shutil

    from sideoats.desk.settings import Settings
    from sideoats.desk.state import Desk

    shutil.copy(demo_ledger, tmp_path / "ledger.sqlite")
    probe = socket.socket()
    probe.bind(("127.0.0.1", 0))
    port = probe.getsockname()[1]
    probe.close()
    settings = Settings(ledger=str(tmp_path / "ledger.sqlite"), port=port, day=DAY, data=tmp_path / "data", draws=20,
                        zone="America/Chicago")  # fmt: skip
    found = Airplane(RunningDesk(f"http://127.0.0.1:{port}", settings, Desk(settings)))
    found.land()
    yield found
    found.take_off()
    found.desk.desk.close()


class Phone:
    """A browser with a profile of its own on disk, which can be killed outright."""

    def __init__(self, playwright: Any, folder: Path, desk: RunningDesk) -> None:
        self.playwright, self.folder, self.desk = playwright, folder, desk

    def switch_on(self) -> Any:
        before = {p.pid for p in psutil.Process().children(recursive=True)}
        self.context = self.playwright.chromium.launch_persistent_context(
            self.folder, executable_path=CHROMIUM, args=ARGS, headless=True, **PHONE
        )
        self.pids = [p.pid for p in psutil.Process().children(recursive=True) if p.pid not in before]
        self.watched = watch(self.context.pages[0], self.desk)
        return self.watched.page

    def battery_dies(self) -> None:
        """Kill every process of this browser, and only of this one."""
        for pid in self.pids:
            try:
                if "chrom" in psutil.Process(pid).name():
                    os.kill(pid, signal.SIGKILL)
            except (psutil.NoSuchProcess, ProcessLookupError):
                continue
        time.sleep(0.3)
        with contextlib.suppress(Exception):  # the browser is gone, which is the point
            self.context.close()

    def switch_off(self) -> None:
        self.context.close()


def test_no_signal_dead_battery_lost_answers_and_each_entry_once(
    playwright: Any, airplane: Airplane, tmp_path: Path
) -> None:
    desk = airplane.desk
    desk.desk.stop_lines(desk.desk.settings.today())  # worked out once, and slowly: the browser is to die young
    start = desk.desk.ledger.head()[0]
    phone = Phone(playwright, tmp_path / "phone", desk)
    page = phone.switch_on()
    page.goto(f"{desk.base}/help?token={desk.settings.token}")
    page.goto(desk.base + "/enter/")
    ready(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    wait_until(lambda: page.evaluate("caches.keys().then(k => k.length)") == 1)

    airplane.take_off()
    page.reload()  # the page itself comes from the phone
    ready(page)
    choose(page)
    count(page, 12, 40, 7)
    page.click("button:text-is('+10')")
    wait_until(lambda: page.evaluate(
        "async () => { const q = await import(document.body.dataset.queue); const d = await q.all('drafts');"
        "return d.length === 1 && d[0].counts.counts.length === 3 && d[0].current.counts === 10; }"))  # fmt: skip
    phone.battery_dies()

    page = phone.switch_on()
    page.goto(desk.base + "/enter/")
    ready(page)
    assert "Begun and not finished" in page.inner_text("#screen") and "3 counted" in page.inner_text("#screen")
    page.click("button:has-text('3 counted')")
    assert page.inner_text("#tally-counts-list") == "12, 40, 7" and page.inner_text("#tally-counts-now") == "10"
    page.click("#tally-counts-next")
    page.click("button:has-text('Done: keep it')")
    page.wait_for_selector("text=Kept on this phone")
    page.click("button:has-text('Another place')")
    choose(page, "dry fork sorghum")
    count(page, 0, 1)
    page.click("summary:has-text('Photo')")
    picture = pytest.importorskip("PIL.Image").effect_noise((1600, 1200), 80).convert("RGB")
    picture.save(tmp_path / "leaf.jpg")
    page.set_input_files("#photo-file", tmp_path / "leaf.jpg")
    page.wait_for_selector("text=Kept,")
    page.fill("#photo-note", "honeydew")
    page.click("button:has-text('Done: keep it')")
    wait_until(lambda: page.inner_text("#waits-text").startswith("3 wait"))
    assert desk.desk.ledger.head()[0] == start
    phone.battery_dies()

    page = phone.switch_on()
    airplane.land()
    page.goto(desk.base + "/enter/")
    ready(page)  # the session died with the battery: the page still opens and shows what waits
    wait_until(lambda: page.inner_text("#waits-text") == "3 wait, sign in to send")
    assert "The session has ended" in page.inner_text("#screen")
    assert desk.desk.ledger.head()[0] == start
    airplane.losing = 2
    page.goto(f"{desk.base}/enter/?token={desk.settings.token}")
    ready(page)
    for _ in range(4):
        page.click("#waits")
        page.click("button:has-text('Send now')")
        page.wait_for_timeout(300)
    wait_until(lambda: page.inner_text("#waits-text").startswith("Nothing waits"))
    phone.switch_off()

    assert airplane.losing == 0
    entries = [e for e in desk.desk.ledger.history(corrected=True) if e.seq > start]
    assert sorted((e.kind, e.place) for e in entries) == [
        ("leaf_counts", "dry-fork.sorghum-8"), ("leaf_counts", FIELD), ("photo", "dry-fork.sorghum-8"),
    ]  # fmt: skip
    by_place = {e.place: e for e in entries if e.kind == "leaf_counts"}
    assert by_place[FIELD].body["counts"] == [12, 40, 7, 10]
    assert by_place["dry-fork.sorghum-8"].body["counts"] == [0, 1]
    photo = next(e for e in entries if e.kind == "photo")
    assert photo.body["note"] == "honeydew" and photo.body["of"] == by_place["dry-fork.sorghum-8"].id
    assert len(photo.body["image"]["base64"]) < 1_300_000
    assert desk.desk.ledger.check().ok
    assert not phone.watched.elsewhere


def test_a_conflict_is_shown_and_kept_until_someone_decides(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(desk, **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    before = desk.desk.ledger.head()[0]
    keep_without_signal(page, 5)
    waiting = held(page)[0]
    taken = NewEntry(
        "leaf_counts", {"counts": [99]}, place=FIELD, id=waiting["id"], seen_at=datetime(2026, 9, 13, tzinfo=UTC)
    )
    desk.desk.ledger.append([taken])
    page.unroute("**/send/entry")
    page.click("#waits")
    page.click("button:has-text('Send now')")
    wait_until(lambda: "1 needs you" in page.inner_text("#waits-text"))
    page.wait_for_selector("text=something else is kept under its number")
    page.reload()
    ready(page)
    assert "1 needs you" in page.inner_text("#waits-text")
    page.click("#waits")
    page.wait_for_selector("text=something else is kept under its number")
    assert not violations(page)
    page.click("button:has-text('Send it as a new entry')")
    wait_until(lambda: page.inner_text("#waits-text").startswith("Nothing waits, last sent"))
    kept = {json.dumps(e.body["counts"]) for e in leaf_counts(desk, before)}
    assert kept == {"[99]", "[5]"}
    found.expect_complaint("409")
    found.complaints = [c for c in found.complaints if "ERR_FAILED" not in c]


def test_the_list_follows_a_sending_that_ends_while_it_stands(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    """The signal comes back while one looks at what waits: the list said "waits" of an entry that was long sent."""
    found = open_page(desk, **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    keep_without_signal(page, 7)
    page.click("#waits")
    page.wait_for_selector("article[data-state=waits]")
    page.unroute("**/send/entry")
    page.evaluate("dispatchEvent(new Event('online'))")
    page.wait_for_selector("article[data-state=sent]")
    assert page.locator("article[data-state=waits]").count() == 0
    assert page.inner_text("#waits-text").startswith("Nothing waits, last sent")
    found.complaints = [c for c in found.complaints if "ERR_FAILED" not in c]


def test_a_refused_entry_can_be_changed_and_a_file_made_of_it(
    desk: RunningDesk, open_page: Callable[..., Watched], tmp_path: Path
) -> None:
    found = open_page(desk, **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    choose(page)
    page.click("summary:has-text('More of what you see')")
    page.fill("#v-parasitized", "500")
    count(page, 8)
    page.click("button:has-text('Done: keep it')")
    wait_until(lambda: "1 needs you" in page.inner_text("#waits-text"))
    page.click("#waits")
    page.wait_for_selector("text=the desk cannot use it")
    assert "parasitized" in page.inner_text("#screen")
    with page.expect_download() as download:
        page.locator("button:has-text('Save as a file')").first.click()
    saved = [json.loads(line) for line in Path(download.value.path()).read_text().splitlines()]
    assert saved[0]["body"] == {"counts": [8], "parasitized": "500 %"}
    page.click("button:has-text('Change it')")
    page.click("summary:has-text('More of what you see')")
    page.fill("#v-parasitized", "5")
    before = desk.desk.ledger.head()[0]
    page.click("button:has-text('Done: keep it')")
    page.wait_for_selector("text=Sent.")
    assert [e.body for e in leaf_counts(desk, before)] == [{"counts": [8], "parasitized": 0.05}]
    found.expect_complaint("422")


def test_an_ended_session_and_a_shared_phone_lose_nothing(
    office: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(office, who="sam", **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    before = office.desk.ledger.head()[0]
    office.desk.accounts.change("sam", closed=False)  # ends every session of sam's
    choose(page)
    count(page, 4)
    page.click("button:has-text('Done: keep it')")
    wait_until(lambda: "sign in to send" in page.inner_text("#waits-text"))
    assert not leaf_counts(office, before)
    found.expect_complaint("401")

    def sign_in(name: str) -> None:
        from running_desk import PASSWORD

        page.goto(office.base + "/sign-in?next=/enter/")
        page.fill("#name", name)
        page.fill("#password", PASSWORD)
        page.click("button.first")
        ready(page)

    sign_in("sue")
    page.wait_for_timeout(500)
    assert not leaf_counts(office, before)  # the queue belongs to who made it
    page.click("#waits")
    page.wait_for_selector("text=It is sent when sam signs in")
    sign_in("sam")
    wait_until(lambda: len(leaf_counts(office, before)) == 1)
    assert leaf_counts(office, before)[0].observer == "sam"


def test_only_what_is_thrown_away_by_hand_is_gone(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, **PHONE)
    page = found.page
    found.go("/enter/")
    ready(page)
    choose(page)
    count(page, 1)
    page.click("button:has-text('Throw away')")
    page.click("[role=alertdialog] button:has-text('Keep it')")
    assert page.locator("[role=alertdialog]").count() == 0
    page.click("button:has-text('Later')")
    page.wait_for_selector("text=Begun and not finished")
    page.click("button:has-text('1 counted')")
    page.click("button:has-text('Throw away')")
    page.click("[role=alertdialog] button:has-text('Throw it away')")
    page.wait_for_selector("text=Where are you?")
    assert "Begun and not finished" not in page.inner_text("#screen")


def test_the_manifest_lets_a_phone_install_it(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, **PHONE)
    found.go("/enter/")
    ready(found.page)
    with desk.client() as client:
        manifest = client.get("/enter/manifest.json").json()
        for icon in manifest["icons"]:
            assert client.get(icon["src"]).status_code == 200
    assert manifest["start_url"] == manifest["scope"] == "/enter/" and manifest["display"] == "standalone"
    session = found.page.context.new_cdp_session(found.page)
    told = session.send("Page.getAppManifest")
    assert not told["errors"], told["errors"]
    assert session.send("Page.getInstallabilityErrors")["installabilityErrors"] in (
        [],
        [{"errorId": "in-incognito", "errorArguments": []}],
    )


def test_ids_are_version_4_uuids_and_times_carry_their_offset(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(desk, timezone_id="America/Chicago", **PHONE)
    found.go("/enter/")
    ready(found.page)
    script = """async () => { const q = await import(document.body.dataset.queue);
      const own = crypto.randomUUID; crypto.randomUUID = undefined; const plain = q.mint(); crypto.randomUUID = own;
      return [q.mint(), plain, q.localTime(new Date('2026-01-05T18:30:00Z')),
        q.localTime(new Date('2026-07-05T18:30:00Z'))]; }"""
    first, second, winter, summer = found.page.evaluate(script)
    assert uuid.UUID(first).version == uuid.UUID(second).version == 4
    assert (winter, summer) == ("2026-01-05T12:30:00-06:00", "2026-07-05T13:30:00-05:00")
