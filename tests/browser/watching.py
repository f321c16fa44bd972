"""A page of the real browser, watched for complaints and for requests to elsewhere."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from typing import Any

from running_desk import RunningDesk

CHROMIUM = shutil.which("chromium") or "/usr/bin/chromium"
ARGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


@dataclass
class Watched:
    """A page, what its console complained of, and where it asked elsewhere than at the desk."""

    page: Any
    desk: RunningDesk
    complaints: list[str] = field(default_factory=list)
    elsewhere: list[str] = field(default_factory=list)

    def go(self, path: str) -> Any:
        """Open a page of the desk and let it come to rest."""
        answer = self.page.goto(self.desk.base + path)
        self.page.wait_for_load_state("networkidle")
        return answer

    def expect_complaint(self, words: str) -> None:
        """Take out a complaint that the test itself brought about."""
        assert any(words in c for c in self.complaints), self.complaints
        self.complaints = [c for c in self.complaints if words not in c]


def watch(page: Any, desk: RunningDesk) -> Watched:
    """Listen to a page from its first request."""
    found = Watched(page, desk)
    page.on("console", lambda m: found.complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: found.complaints.append(str(e)))
    own = (desk.base, "blob:", "data:", "about:")
    page.on("request", lambda r: None if r.url.startswith(own) else found.elsewhere.append(r.url))
    return found
