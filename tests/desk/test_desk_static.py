"""What the desk serves as it stands: vendored files, templates and scripts without inline code or other hosts."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

import sideoats.desk

DESK = Path(sideoats.desk.__file__).parent
TEMPLATES = sorted((DESK / "templates").glob("*"))
SCRIPTS = sorted((DESK / "static").glob("*.js"))
STYLES = sorted((DESK / "static").glob("*.css"))


def test_vendored_files_are_those_that_were_noted() -> None:
    vendor = DESK / "static" / "vendor"
    noted = dict(re.findall(r"^\| (\S+\.js) \|.*\| ([0-9a-f]{64}) \|$", (vendor / "VENDOR.md").read_text(), re.M))
    files = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in vendor.iterdir() if p.name != "VENDOR.md"}
    assert files == noted and files


@pytest.mark.parametrize("path", [*TEMPLATES, *SCRIPTS, *STYLES], ids=lambda p: p.name)
def test_nothing_points_elsewhere(path: Path) -> None:
    text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?://|(?<![:\w])//\w|@import|url\((?!#)", text.replace("// ", ""))


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_templates_hold_no_inline_code(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".js":
        return
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>", text)
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:|hx-on|hx-vals=.?js|\bjs:", text)
    assert not re.search(r"\|\s*safe\b|autoescape\s+false|Markup", text)


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda p: p.name)
def test_scripts_put_text_in_as_text(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|\.style\b", text
    )


def test_hx_addresses_are_never_made_of_what_a_person_typed() -> None:
    """Attributes that htmx acts on hold fixed paths, ids the desk made, and url-encoded queries."""
    for path in TEMPLATES:
        for value in re.findall(r'hx-(?:get|post)="([^"]*)"', path.read_text(encoding="utf-8")):
            for part in re.findall(r"{{\s*(.*?)\s*}}", value):
                assert re.match(r"(question\.name|place\.id|job\.id|on\.isoformat\(\)|parts\.query\()", part), (
                    path.name,
                    part,
                )


def test_the_page_that_a_phone_keeps_is_small() -> None:
    kept = [DESK / "static" / n for n in ("desk.css", "enter.css", "enter.js", "queue.js", "tally.js", "position.js")]
    assert sum(p.stat().st_size for p in kept) < 80_000
