"""Real Chromium against a real desk on this machine; every page is watched for errors and for requests to elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [
    str(Path(__file__).parents[1] / "desk"),
    str(Path(__file__).parent),
]  # the running desk is shared with those tests
from running_desk import DAY, RunningDesk, make_demo_ledger, make_office, running  # noqa: E402
from watching import ARGS, CHROMIUM, Watched, watch  # noqa: E402

from sideoats.desk.settings import Settings  # noqa: E402


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Everything in this folder drives a browser."""
    for item in items:
        if Path(str(item.fspath)).parent == Path(__file__).parent:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Any]:
    """Playwright, or a skip that says what is missing."""
    if not Path(CHROMIUM).exists():
        pytest.skip("Chromium is not installed (Debian's package chromium)")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as found:
        yield found


@pytest.fixture(scope="session")
def chromium(playwright: Any) -> Iterator[Any]:
    """One browser for all tests; each test has its own context."""
    browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS, headless=True)
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def demo_ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented district; not to be written to."""
    return make_demo_ledger(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def desk(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """One person's desk with its week worked out."""
    with running(tmp_path_factory.mktemp("desk"), demo_ledger) as found:
        found.wait_for_week()
        yield found


@pytest.fixture(scope="module")
def empty_desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """One person's desk over an empty ledger."""
    with running(tmp_path_factory.mktemp("empty"), day=DAY) as found:
        found.wait_for_week()
        yield found


@pytest.fixture(scope="module")
def office(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """An office's desk."""
    folder = tmp_path_factory.mktemp("office")
    make_office(Settings(data=folder / "data"))
    with running(folder, demo_ledger, office=True) as found:
        found.wait_for_week()
        yield found


@pytest.fixture
def open_page(chromium: Any) -> Iterator[Callable[..., Watched]]:
    """Opens a watched page with a session; at the end nothing may have been complained of or asked elsewhere."""
    opened: list[tuple[Any, Watched]] = []

    def make(desk: RunningDesk, *, who: str | None = None, **options: Any) -> Watched:
        context = chromium.new_context(**{"viewport": {"width": 1180, "height": 860}, **options})
        context.set_default_timeout(120_000)  # a busy machine is no fault of the page: pytest's own limit ends it
        client = desk.signed_in(who) if who else (None if desk.settings.office else desk.launched())
        if client is not None:
            for name, value in client.cookies.items():
                context.add_cookies([{"name": name, "value": value, "url": desk.base, "httpOnly": True}])
            client.close()
        found = watch(context.new_page(), desk)
        opened.append((context, found))
        return found

    yield make
    for context, _ in opened:
        context.close()
    for _, found in opened:
        assert not found.complaints, found.complaints
        assert not found.elsewhere, found.elsewhere
