"""Draws the pictures of docs/screens from the invented district: python tests/browser/screens.py"""

from __future__ import annotations

import io
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent / "desk"), str(HERE)]

from running_desk import FIELD, RunningDesk, make_demo_ledger, running  # noqa: E402
from test_browser_enter import PHONE, choose, count, ready  # noqa: E402
from watching import ARGS, CHROMIUM  # noqa: E402

OUT = HERE.parents[1] / "docs" / "screens"
DESK: dict[str, Any] = {"viewport": {"width": 1120, "height": 780}}
COLOURS = 64


def keep(name: str, data: bytes) -> None:
    """A picture with few colours, so that it stays small."""
    from PIL import Image

    Image.open(io.BytesIO(data)).convert("RGB").quantize(COLOURS).save(OUT / f"{name}.png", optimize=True)
    print(name, (OUT / f"{name}.png").stat().st_size // 1000, "kB")


def visit(browser: Any, desk: RunningDesk, **options: Any) -> Any:
    """A page with a session."""
    context = browser.new_context(**options)
    page = context.new_page()
    page.goto(f"{desk.base}/help?token={desk.settings.token}")
    return page


def draw(browser: Any, desk: RunningDesk) -> None:
    """Every picture."""
    page = visit(browser, desk, **DESK)
    views = {
        "week": "/", "call": "/call/wheat-planting/wren-hollow.wheat-9", "place": f"/places/{FIELD}",
        "weather": "/weather", "markets": "/markets?commodity=wheat",
    }  # fmt: skip
    for name, path in views.items():
        page.goto(desk.base + path)
        page.wait_for_load_state("networkidle")
        keep(name, page.screenshot())
    page.goto(desk.base + "/phone-in/hay-nitrate")
    keep("phone-in", page.screenshot())
    dark = visit(browser, desk, color_scheme="dark", **DESK)
    dark.goto(desk.base + "/")
    dark.wait_for_load_state("networkidle")
    keep("week-dark", dark.screenshot())
    phone = visit(browser, desk, **PHONE)
    phone.goto(desk.base + "/enter/")
    ready(phone)
    choose(phone)
    count(phone, 12, 40, 7, 110, 3, 60, 0, 25, 90, 14)
    phone.click("button:text-is('+10')")
    keep("enter", phone.screenshot())


def main() -> None:
    """Serve the invented district and draw it."""
    from playwright.sync_api import sync_playwright

    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as api:
        ledger = make_demo_ledger(Path(folder))
        (Path(folder) / "desk").mkdir()
        with running(Path(folder) / "desk", ledger, draws=500) as desk:
            desk.wait_for_week()
            browser = api.chromium.launch(executable_path=CHROMIUM, args=ARGS)
            draw(browser, desk)
            browser.close()


if __name__ == "__main__":
    main()
