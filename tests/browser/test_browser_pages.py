"""The desk as a person uses it: filter, open, move a value, answer the phone, record what was done; count to call."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from running_desk import FIELD, PASSWORD, RunningDesk, running
from test_browser_enter import PHONE, choose, count, ready, wait_until
from watching import Watched


def test_filtering_changes_the_sheet_and_the_address_without_a_reload(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(desk)
    page = found.page
    found.go("/")
    page.evaluate("window.stillHere = true")
    total = page.locator(".line").count()
    page.select_option("#room", "weather")
    wait_until(lambda: "room=weather" in page.evaluate("location.search"))
    page.wait_for_load_state("networkidle")
    assert 0 < page.locator(".line").count() < total
    assert page.evaluate("window.stillHere") is True
    assert {t.strip() for t in page.locator(".line .aside").all_inner_texts()} and page.input_value(
        "#room"
    ) == "weather"
    page.go_back()
    page.wait_for_url(desk.base + "/")
    page.wait_for_load_state("networkidle")
    wait_until(lambda: page.locator(".line").count() == total)


def test_what_waits_is_folded_and_can_be_shown(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk)
    page = found.page
    found.go("/")
    assert page.locator("#wait .line").count() == 0
    page.click("#wait .more a")
    wait_until(lambda: page.locator("#wait .line").count() > 0)


def test_moving_a_value_shows_both_calls_in_place(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk)
    page = found.page
    week = desk.wait_for_week()
    call = next(
        c for c in week.calls if c.question == "store-or-sell-at-harvest" or (c.question == "bin-hold" and c.options)
    )
    found.go(f"/call/{call.question}/{call.place}")
    page.wait_for_selector("[aria-labelledby=last-title] p:not(:has(a))")
    if page.locator("[aria-labelledby=if-title] form").is_hidden():
        page.click("summary:has-text('Change a value')")
    box = page.locator("[aria-labelledby=if-title] input[name='q.price']").first
    box.fill("1.05")
    page.click("button:has-text('Ask again with these')")
    page.wait_for_selector("#what-if .call-head >> nth=1")
    assert "with price changed" in page.inner_text("#what-if").lower()
    assert page.url.endswith(f"/call/{call.question}/{call.place}")


def test_a_call_keeps_its_title_when_last_week_has_come(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    """A tab, a bookmark and a screen reader go by the title; the part loaded later has another one of its own."""
    found = open_page(desk)
    found.go(f"/call/sorghum-aphid/{FIELD}")
    found.page.wait_for_function("!document.body.innerText.includes('What this call said a week ago')")
    assert found.page.title().startswith("sorghum 1: sorghum aphid")


def test_the_text_of_an_answer_can_be_copied(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, permissions=["clipboard-read", "clipboard-write"])
    page = found.page
    found.go("/phone-in")
    page.fill("#narrow", "sorghum aphids")
    assert page.locator(".ask-line:visible").count() == 1
    page.click(".ask-line:visible a")
    page.select_option("[name='q.stage']", "boot")
    for name, value in (("yield", "80"), ("price", "4.5"), ("cost", "14")):
        page.fill(f"[name='q.{name}']", value)
    page.fill("[name='q.counts']", "90, 160, 40, 300, 12, 220")
    page.click("button:has-text('Answer')")
    page.click("button:has-text('Copy the text')")
    page.wait_for_selector("text=Copied.")
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.startswith("sorghum-aphid, 14 September 2026") and "aphids a leaf" in copied and "Sources:" in copied
    page.click("button:has-text('Keep it')")
    page.wait_for_selector("text=Kept in the ledger")


def test_from_a_count_on_the_phone_to_the_call_and_what_was_done(
    demo_ledger: Path, tmp_path: Path, open_page: Callable[..., Watched]
) -> None:
    with running(tmp_path, demo_ledger) as desk:
        desk.wait_for_week()
        phone = open_page(desk, **PHONE)
        phone.go("/enter/")
        ready(phone.page)
        choose(phone.page)
        phone.page.select_option("#v-stage", "boot")
        count(phone.page, *[150] * 12)
        assert phone.page.inner_text("#tally-counts-strip b") == "Enough: treat side"
        phone.page.click("button:has-text('Done: keep it')")
        phone.page.wait_for_selector("text=Sent.")
        desk.wait_for_week()
        found = open_page(desk)
        page = found.page
        found.go("/?farm=two-elms")
        line = page.locator(".line", has_text="sorghum 1").filter(has_text="sorghum aphid")
        assert "150 aphids a leaf" in line.inner_text()
        line.locator("h3 a").click()
        page.wait_for_load_state("networkidle")
        assert "150 aphids a leaf" in page.inner_text("main")
        page.locator("[aria-labelledby=evidence-title] a").first.click()
        page.wait_for_selector("text=150, 150")
        page.go_back()
        page.click("text=Record what was done")
        page.select_option("#option", index=1)
        page.fill("[name='q.note']", "sprayed before breakfast")
        page.click("button:has-text('Record it')")
        page.wait_for_selector("text=Recorded.")
        assert "Treat" in page.inner_text("[aria-labelledby=file-title]")
        bulletin(found, tmp_path)


def bulletin(found: Watched, tmp_path: Path) -> None:
    """The week's page for everyone, and its PDF."""
    found.desk.wait_for_week()
    found.go("/bulletin")
    assert "Two Elms" not in found.page.inner_text("[aria-labelledby=read-title]")
    with found.page.expect_download() as download:
        found.page.click("a:text-is('PDF')")
    made = Path(download.value.path()).read_bytes()
    assert made.startswith(b"%PDF") and b"Two Elms" not in made


def test_a_stale_list_says_so_and_offers_the_new_one(
    demo_ledger: Path, tmp_path: Path, open_page: Callable[..., Watched]
) -> None:
    import threading
    from datetime import UTC, datetime

    from running_desk import DAY
    from test_desk_week import StubWeek

    from sideoats.ledger import NewEntry

    go = threading.Event()
    go.set()

    def run(on: Any, progress: Any) -> Any:
        go.wait(60)
        return StubWeek(on, ())

    with running(tmp_path, demo_ledger, run=run) as desk:
        desk.wait_for_week()
        go.clear()
        seen = datetime(DAY.year, DAY.month, DAY.day, 14, tzinfo=UTC)
        desk.desk.ledger.append([NewEntry("note", {"text": "hail"}, place=FIELD, seen_at=seen)])
        found = open_page(desk)
        page = found.page
        found.go("/")
        assert "Something was recorded after this list was made" in page.inner_text("main")
        go.set()
        page.wait_for_selector("text=A newer list is ready")
        page.click("text=show it")
        page.wait_for_load_state("networkidle")
        assert "Something was recorded" not in page.inner_text("main")


def test_a_file_is_taken_in_with_its_columns_named(
    desk: RunningDesk, open_page: Callable[..., Watched], tmp_path: Path
) -> None:
    rows = "".join(f"07/{d:02d}/2026,{90 + d % 5},0.{d % 4}\n" for d in range(1, 29))
    (tmp_path / "gauge.csv").write_text("day of rain,high,precip\n" + rows + "soon,90,0.1\n", encoding="utf-8")
    found = open_page(desk)
    page = found.page
    found.go("/files")
    page.set_input_files("#file", tmp_path / "gauge.csv")
    page.click("button:has-text('Look at it')")
    page.select_option("#format", "station-csv")
    page.click("button:has-text('Go on')")
    page.select_option("#col-time", "day of rain")
    page.fill("#time-format", "%m/%d/%Y")
    assert page.input_value("[name='col.tmax']") == "high" and page.input_value("[name='col.rain']") == "precip"
    page.fill("[name='q.place']", "gauge-1")
    page.click("button:has-text('Read it')")
    page.wait_for_selector("text=Nothing is stored yet")
    assert "Set aside: 1 row" in page.inner_text("main")
    with page.expect_download() as download:
        page.click("text=All of them with their reasons")
    assert "30" in Path(download.value.path()).read_text()
    page.click("button:has-text('Take it in')")
    page.wait_for_selector("text=2 entries stored")


def test_an_office_signs_in_and_out(office: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(office)
    page = found.page
    found.go("/weather")
    page.fill("#name", "rita")
    page.fill("#password", PASSWORD)
    page.click("button.first")
    page.wait_for_url("**/weather")
    assert page.locator(".contents a:has-text('Enter')").count() == 0
    assert re.search(r"rita, reader", page.inner_text("header"))
    page.click("text=session")
    page.click("button:has-text('Sign out here')")
    page.wait_for_url("**/sign-in")
    found.go("/weather")
    assert "/sign-in" in page.url


def test_the_season_and_the_map_are_drawn(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk)
    page = found.page
    found.go("/places")
    # Every picture is drawn twice, for a wide screen and for a phone; a reader sees one of them.
    outlines = page.locator(".picture .wide path.outline").count()
    assert outlines == sum("outline" in p.attributes for p in desk.desk.places(None).values())
    page.select_option("#farm", "two-elms")
    wait_until(lambda: page.locator(".picture .wide path.outline").count() < outlines)
    found.go(f"/places/{FIELD}")
    drawn = page.evaluate(
        "() => { const all = [...document.querySelectorAll('.picture .wide svg')];"
        "const seen = all.filter(s => s.getBBox().width > 300);"
        "const here = seen.filter(s => s.querySelector('path.outline'));"
        "const season = seen.filter(s => !s.querySelector('path.outline'));"
        "return [season.length > 0, season.every(s => s.querySelectorAll('rect, path, line, circle').length > 8),"
        "here.map(s => s.querySelectorAll('path.outline.now').length)]; }"
    )
    assert drawn == [True, True, [1]]
