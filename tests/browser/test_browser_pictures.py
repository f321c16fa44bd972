"""Pictures in a real browser: values by pointing and by keyboard, letters that can be read on a phone, nothing cut off.

Sources of the limits: WCAG 2.2 (W3C Recommendation, 2023): 1.4.3 Contrast 4.5 to 1 for text, 1.4.11 Non-text Contrast
3 to 1, 2.1.1 Keyboard. The 12 px are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from running_desk import FIELD, RunningDesk
from watching import Watched

PAGES = (
    "/weather", "/markets?commodity=wheat", "/trials", "/call/cull-cows/lone-gate.cow-herd-3", "/places", "/round",
    "/bulletin", f"/places/{FIELD}", f"/call/sorghum-aphid/{FIELD}",
)  # fmt: skip
# Words of drawings that are shown: outside their drawing, smaller than 12 px, or on top of each other.
UNREADABLE = """() => {
  const bad = [];
  let seen = 0;
  for (const svg of document.querySelectorAll('.picture svg')) {
    if (!svg.checkVisibility()) continue;
    seen += 1;
    const box = svg.getBoundingClientRect(), scale = box.width / svg.viewBox.baseVal.width;
    const words = [...svg.querySelectorAll('text')].map(e => [e, e.getBoundingClientRect()]);
    for (const [e, b] of words) {
      if (b.left < box.left - 1 || b.right > box.right + 1 || b.top < box.top - 1 || b.bottom > box.bottom + 2)
        bad.push('cut off: ' + e.textContent);
      if (parseFloat(getComputedStyle(e).fontSize) * scale < 12) bad.push('small: ' + e.textContent);
    }
    words.forEach(([e, a], i) => { for (const [f, b] of words.slice(i + 1)) {
      const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (wide > 1 && high > 4) bad.push(`over each other: ${e.textContent} and ${f.textContent}`);
    } });
  }
  return [seen, bad];
}"""
# Contrast of every word against the page, by the formula of WCAG 2.2.
PALE = """() => {
  const canvas = document.createElement('canvas').getContext('2d', {willReadFrequently: true});
  const rgb = (c) => { canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = c; canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data].slice(0, 3); };
  const light = (c) => c.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const paper = rgb(getComputedStyle(document.body).backgroundColor), low = [];
  for (const e of document.querySelectorAll('.picture svg text')) {
    const style = getComputedStyle(e), share = parseFloat(style.fillOpacity);
    const ink = rgb(style.fill).map((v, i) => v * share + paper[i] * (1 - share));
    const [a, b] = [light(ink), light(paper)].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) low.push(e.textContent);
  }
  return low;
}"""


@pytest.mark.parametrize("width", [390, 1280])
def test_words_of_pictures_can_be_read(desk: RunningDesk, open_page: Callable[..., Watched], width: int) -> None:
    found = open_page(desk, viewport={"width": width, "height": 844})
    wrong: dict[str, Any] = {}
    for path in PAGES:
        found.go(path)
        seen, bad = found.page.evaluate(UNREADABLE)
        assert seen, f"{path} shows no picture"
        if bad:
            wrong[path] = bad
    assert not wrong


def test_a_phone_gets_the_drawing_for_phones(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, viewport={"width": 390, "height": 844})
    found.go("/weather")
    shown = "[...document.querySelectorAll('.picture svg')].filter(e => e.checkVisibility())"
    widths = found.page.evaluate(f"{shown}.map(e => e.viewBox.baseVal.width)")
    assert widths and set(widths) == {344}
    found.page.set_viewport_size({"width": 1280, "height": 844})
    assert set(found.page.evaluate(f"{shown}.map(e => e.viewBox.baseVal.width)")) == {560}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_of_pictures_stand_out_from_the_page(
    desk: RunningDesk, open_page: Callable[..., Watched], scheme: str
) -> None:
    found = open_page(desk, color_scheme=scheme)
    for path in ("/weather", "/markets?commodity=wheat", f"/call/sorghum-aphid/{FIELD}"):
        found.go(path)
        assert not found.page.evaluate(PALE)


def test_values_are_read_by_pointing(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, viewport={"width": 1280, "height": 900})
    found.go("/markets?commodity=wheat")
    figure = found.page.locator("figure.picture").first
    said = figure.locator(".picture-value")
    assert said.text_content() == ""
    box = figure.locator(".wide svg")
    box.scroll_into_view_if_needed()
    at = box.bounding_box()
    found.page.mouse.move(at["x"] + at["width"] * 0.3, at["y"] + at["height"] * 0.4)
    first = said.text_content()
    assert "quoted $" in first and "/bu" in first
    found.page.mouse.move(at["x"] + at["width"] * 0.78, at["y"] + at["height"] * 0.5)
    assert said.text_content() != first and " to $" in said.text_content()
    found.page.mouse.move(2, 2)
    assert said.text_content() == ""


def test_values_are_read_by_keyboard(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, viewport={"width": 1280, "height": 900})
    found.go(f"/call/sorghum-aphid/{FIELD}")
    reader = found.page.get_by_role("slider", name="Read the values").first
    reader.focus()
    said = found.page.locator(".picture-value").first
    assert said.text_content() and reader.get_attribute("aria-valuetext") == said.text_content()
    found.page.keyboard.press("Home")
    first = said.text_content()
    found.page.keyboard.press("ArrowRight")
    second = said.text_content()
    assert first != second and "$" in first and reader.get_attribute("aria-valuenow") == "2"
    found.page.keyboard.press("ArrowLeft")
    assert said.text_content() == first
    found.page.keyboard.press("Tab")
    assert said.text_content() == ""


def test_a_place_on_the_map_leads_to_its_page(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk, viewport={"width": 1280, "height": 900})
    found.go("/places")
    found.page.get_by_role("slider").first.focus()
    found.page.keyboard.press("Home")
    found.page.keyboard.press("Enter")
    found.page.wait_for_url("**/places/*")


def test_pictures_put_into_the_page_can_be_read_too(desk: RunningDesk, open_page: Callable[..., Watched]) -> None:
    found = open_page(desk)
    page = found.page
    found.go("/phone-in/sorghum-aphid")
    page.select_option("[name='q.stage']", "boot")
    for name, value in (("yield", "80"), ("price", "4.5"), ("cost", "14"), ("counts", "90, 160, 40, 300, 12, 220")):
        page.fill(f"[name='q.{name}']", value)
    page.click("button:has-text('Answer')")
    page.wait_for_selector(".call-verdict")
    page.wait_for_selector("figure.picture [role=slider]:visible").focus()
    assert "$" in page.locator(".picture-value").first.text_content()


def test_without_scripts_the_drawing_says_its_values_and_the_table_stands(
    desk: RunningDesk, open_page: Callable[..., Watched]
) -> None:
    found = open_page(desk, java_script_enabled=False)
    found.go("/weather")
    figure = found.page.locator("figure.picture").first
    assert figure.locator(".wide svg .point title").count() > 2
    figure.locator("summary").click()
    assert figure.locator("tbody tr").first.is_visible() and figure.locator("[role=img]").first.is_visible()


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_bulletin_fits_a_phone(
    desk: RunningDesk, open_page: Callable[..., Watched], language: str, tmp_path: Path
) -> None:
    """The page that is put out is opened as a file, as a subscriber would."""
    with desk.launched() as client:
        shown = client.get(f"/bulletin/{language}/bulletin.html")
    (tmp_path / "bulletin.html").write_bytes(shown.content)
    found = open_page(desk, viewport={"width": 390, "height": 844})
    found.page.goto((tmp_path / "bulletin.html").as_uri())
    found.elsewhere.clear()  # the file itself
    assert found.page.evaluate("document.documentElement.scrollWidth") <= 390
    seen, bad = found.page.evaluate(UNREADABLE)
    assert seen and not bad
