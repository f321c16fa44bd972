"""Accessibility of every page: axe rules, a walk by keyboard, narrow screens, large text, print, no script.

axe is Deque's rule engine; it finds only a part of all failures, so a clean run is no claim of conformance.
Sources of the limits: WCAG 2.2 (W3C Recommendation, 2023): 1.4.10 Reflow at 320 CSS pixels, 1.4.4 Resize Text to 200 %,
2.1.2 No Keyboard Trap, 2.4.7 Focus Visible, 2.4.11 Focus Not Obscured, 2.5.8 Target Size 24 CSS pixels.
"""

from __future__ import annotations

import importlib.util
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from routes import EMPTY, OFFICE_PAGES, PAGES, REFUSALS
from running_desk import FIELD, RunningDesk
from watching import Watched

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def axe_source() -> str:
    """The newest axe that a package here carries."""
    for name in ("axe_playwright_python", "axe_core_python"):
        spec = importlib.util.find_spec(name)
        if spec is not None and spec.origin:
            return (Path(spec.origin).parent / "axe.min.js").read_text(encoding="utf-8")
    pytest.skip("no package with axe is installed")


def violations(page: Any) -> list[str]:
    """What axe finds, one line a rule with the first element."""
    page.evaluate(axe_source())
    found = page.evaluate("tags => axe.run(document, {runOnly: {type: 'tag', values: tags}})", TAGS)
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:200]} {v['nodes'][0]['failureSummary'][:300]}" for v in found["violations"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_clean(desk: RunningDesk, open_page: Callable[..., Watched], scheme: str) -> None:
    found = open_page(desk, color_scheme=scheme)
    wrong = {}
    for path in PAGES:
        found.go(path)
        if lines := violations(found.page):
            wrong[path] = lines
    assert not wrong


def test_office_pages_are_clean(office: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(office, who="ada")
    wrong = {}
    for path in OFFICE_PAGES:
        found.go(path)
        if lines := violations(found.page):
            wrong[path] = lines
    assert not wrong
    stranger = open_page(office)
    stranger.go("/places")
    assert not violations(stranger.page)
    stranger.page.fill("#name", "ada")
    stranger.page.fill("#password", "not the right one")
    stranger.page.click("button.first")
    stranger.page.wait_for_selector("[role=alert]")
    assert not violations(stranger.page)
    stranger.expect_complaint("401")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_refusals_are_clean(desk: RunningDesk, open_page: Callable[..., Watched], scheme: str) -> None:
    found = open_page(desk, color_scheme=scheme)
    wrong = {}
    for path in REFUSALS:
        found.go(path)
        if lines := violations(found.page):
            wrong[path] = lines
        found.complaints.clear()  # the browser itself notes a 404
    for path, action in (
        ("/phone-in/sorghum-aphid", "Answer"),
        (f"/enter/by-hand?kind=leaf_counts&place={FIELD}", "Record it"),
    ):
        found.go(path)
        if "by-hand" in path:
            found.page.fill("[name='q.counts']", "many")
        else:
            found.page.fill("[name='q.price']", "many")
        found.page.click(f"button:has-text('{action}')")
        found.page.wait_for_selector(".wrong-line")
        found.page.wait_for_load_state("networkidle")
        if lines := violations(found.page):
            wrong[path + " refused"] = lines
        found.complaints.clear()
    assert not wrong


def test_empty_pages_are_clean(empty_desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(empty_desk)
    wrong = {}
    for path in EMPTY:
        assert found.go(path).status == 200
        if lines := violations(found.page):
            wrong[path] = lines
    assert not wrong


def test_answers_put_into_the_page_are_clean_and_get_the_focus(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(desk)
    page = found.page
    found.go("/phone-in/sorghum-aphid")
    page.select_option("[name='q.stage']", "boot")
    for name, value in (("yield", "80"), ("price", "4.5"), ("cost", "14")):
        page.fill(f"[name='q.{name}']", value)
    page.fill("[name='q.counts']", "90, 160, 40, 300, 12, 220")
    page.click("button:has-text('Answer')")
    page.wait_for_selector(".call-verdict")
    page.wait_for_load_state("networkidle")
    assert "/phone-in/sorghum-aphid" in page.url
    assert page.evaluate("document.activeElement.id") == "verdict"
    assert page.input_value("[name='q.yield']") == "80"
    assert not violations(page)


FOCUSABLE = (
    "[...document.querySelectorAll('a[href],button,input,select,textarea,summary,[tabindex]')].filter(e => "
    "!e.disabled && "
    "e.tabIndex >= 0 && e.type !== 'hidden' && e.checkVisibility({visibilityProperty: true}))"
)
MARK = "() => { let n = 0; for (const e of " + FOCUSABLE + ") e.dataset.walk = n++; return n; }"
# A radio group is one stop, wherever in it that is.
MISSED = """seen => [...document.querySelectorAll('[data-walk]')].filter(e => !seen.includes(e.dataset.walk)
  && !(e.type === 'radio' && [...document.getElementsByName(e.name)].some(o => seen.includes(o.dataset.walk))))
  .map(e => e.outerHTML.slice(0, 120))"""
STEP = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return null;
  const box = e.getBoundingClientRect(), style = getComputedStyle(e);
  const top = document.elementFromPoint(Math.min(Math.max(box.x + box.width / 2, 1), innerWidth - 1),
                                        Math.min(Math.max(box.y + Math.min(box.height / 2, 20), 1), innerHeight - 1));
  return {walk: e.dataset.walk ?? null, name: e.outerHTML.slice(0, 120),
          inView: box.bottom > 0 && box.top < innerHeight,
          ring: style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
          covered: !(top && (e.contains(top) || top.contains(e) || top.tagName === 'LABEL'))};
}"""


@pytest.mark.parametrize("path", [*PAGES, "/enter/"])
def test_the_keyboard_reaches_everything_and_is_seen(
    desk: RunningDesk, open_page: Callable[..., Watched], path: str
) -> None:
    found = open_page(desk)
    page = found.page
    found.go(path)
    if path == "/enter/":
        page.wait_for_selector("body[data-ready]")
    count = page.evaluate(MARK)
    seen: set[str] = set()
    unseen, covered = [], []
    last = None
    for _ in range(count * 5 + 8):  # a date box holds several stops
        page.keyboard.press("Tab")
        step = page.evaluate(STEP)
        if step is None or (step["walk"] in seen and step["walk"] != last):
            break
        last = step["walk"]
        if step["walk"] is not None:
            seen.add(step["walk"])
        if not step["ring"]:
            unseen.append(step["name"])
        if not step["inView"] or step["covered"]:
            covered.append(step["name"])
    assert not unseen and not covered
    assert not page.evaluate(MISSED, sorted(seen))


def widest(page: Any) -> list[str]:
    """What reaches beyond the right edge."""
    found: list[str] = page.evaluate(
        "() => [...document.querySelectorAll('body *')].filter(e => "
        "e.getBoundingClientRect().right > innerWidth + 0.5 && "
        "!e.closest('.scroller') && e.checkVisibility()).map(e => e.outerHTML.slice(0, 120)).slice(0, 4)"
    )
    return found


@pytest.mark.parametrize("path", [*PAGES, "/enter/"])
def test_nothing_runs_off_a_narrow_screen_or_large_text(
    desk: RunningDesk, open_page: Callable[..., Watched], path: str
) -> None:
    found = open_page(desk, viewport={"width": 320, "height": 640})
    page = found.page
    found.go(path)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320, widest(page)
    page.set_viewport_size({"width": 1280, "height": 800})
    page.evaluate("document.documentElement.style.fontSize = '212.5%'")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
    cut = page.evaluate(
        "() => [...document.querySelectorAll('button,h1,h2,h3,td,th,label,.line-day,.line-money')].filter(e => "
        "!e.matches('.hidden-word') && e.scrollWidth > e.clientWidth + 2 && e.checkVisibility() && "
        "getComputedStyle(e).overflowX === 'hidden')"
        ".map(e => e.outerHTML.slice(0, 100))"
    )
    assert not cut


def small_targets(page: Any, least: float) -> list[str]:
    """Buttons, links and boxes smaller than `least`; links inside a sentence are excepted by WCAG 2.5.8."""
    found: list[str] = page.evaluate(
        "least => [...document.querySelectorAll('button,input:not([type=hidden]),select,textarea,summary,a.button,"
        "nav a,.choices button')].filter(e => e.checkVisibility({visibilityProperty: true})).filter(e => { "
        "const t = (['radio', 'checkbox'].includes(e.type) && e.closest('label')) || e;"
        "const b = t.getBoundingClientRect();"
        "return b.width > 0 && (b.width < least - 0.5 || b.height < least - 0.5); })"
        ".map(e => e.outerHTML.slice(0, 120))",
        least,
    )
    return found


@pytest.mark.parametrize("path", PAGES)
def test_targets_are_large_enough(desk: RunningDesk, open_page: Callable[..., Watched], path: str) -> None:
    found = open_page(desk, viewport={"width": 390, "height": 844})
    found.go(path)
    assert not small_targets(found.page, 24)


def test_the_week_prints_with_its_first_lines(
    desk: RunningDesk, open_page: Callable[..., Watched], tmp_path: Path
) -> None:
    import shutil

    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext is not installed (Debian's package poppler-utils)")
    found = open_page(desk)
    found.go("/")
    headline = found.page.locator(".line-matter p").first.inner_text()
    found.page.pdf(path=tmp_path / "week.pdf", format="Letter")
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "week.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "The week of Mon 14 Sep 2026" in text
    assert " ".join(headline.split()[:5]) in " ".join(text.split())
    assert "Phone-in" not in text and "Show" not in text.split("Advice, not")[0].replace("Show more", "")


def test_pages_work_without_a_script(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, java_script_enabled=False)
    page = found.page
    found.go("/")
    assert page.locator(".line").count() > 5
    page.select_option("#room", "weather")
    page.click("button:has-text('Show')")
    assert "room=weather" in page.url and page.locator(".line").count() >= 1
    found.go("/phone-in/sorghum-aphid")
    page.select_option("[name='q.stage']", "boot")
    for name, value in (("yield", "80"), ("price", "4.5"), ("cost", "14")):
        page.fill(f"[name='q.{name}']", value)
    page.fill("[name='q.counts']", "90, 160, 40, 300, 12, 220")
    page.click("button:has-text('Answer')")
    assert page.locator(".call-verdict").inner_text().startswith(("Act", "Look", "Wait"))
    found.go(f"/call/sorghum-aphid/{FIELD}")
    page.click("text=What this call said a week ago")
    assert "/last-week" in page.url
    found.go("/enter/")
    assert "Enter by hand" in page.inner_text("main")
