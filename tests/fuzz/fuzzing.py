"""Seeds, mutations and bounds for fuzzing: hostile input must be used or refused, quickly and in little room."""

from __future__ import annotations

import os
import re
import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

from hypothesis import strategies as st

CORPUS = Path(__file__).parent / "corpus"
FULL = os.environ.get("SIDEOATS_FULL") == "1"
SECONDS, ROOM = 20, 1_500_000_000  # for one input; a hang or a huge allocation is a finding
TOKENS = (
    b"", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n", b'"', b"'", b",", b";", b"\t", b"=", b"-", b"+",
    b"nan", b"NaN", b"inf", b"-inf", b"1e308", b"-1e308", b"1e-320", b"9" * 40, b"-9999", b"0", b"-0", b"1.5.2", b"1,5",
    b"0x10", b"1_000", b"2024-02-30", b"0001-01-01", b"9999-12-31", b"20240229", b"29/02/2023", b"12:60", b"\xc2\xa0",
    "\u0661\u0662".encode(), "\u00bd".encode(), "\u202e".encode(), b"=cmd|' /C calc'!A0", b"{" * 60, b"[" * 200,
    b"<!--", b"%s%n", b"A" * 3000, b"None", b"true", b"()", b"\\", b"/", b"../../etc/passwd", b"T", b"Z", b"$", b"%",
    b"degF", b"USD/bu", b"bu", b"1e400 bu/ac", b"1" * 5000,
    b"[" * 20_000, b'{"a":' * 5_000, b"x = " + b"[" * 9_000,
)  # fmt: skip
TEXTS = tuple(sorted({t.decode("utf-8", "replace") for t in TOKENS}))
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")


@contextmanager
def bounded() -> Iterator[None]:
    """So many seconds and so much more memory; beyond that TimeoutError and MemoryError, which no test allows."""

    def late(number: int, frame: FrameType | None) -> None:
        raise TimeoutError(f"not done after {SECONDS} s")

    now = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, SECONDS)
    resource.setrlimit(resource.RLIMIT_AS, (now + ROOM, hard))
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def seeds(name: str) -> list[Path]:
    """Files kept for a format: good ones, and those that once broke something."""
    return sorted(p for p in (CORPUS / name).iterdir() if p.is_file())


@st.composite
def mutated(draw: Any, files: list[Path]) -> tuple[str, bytes]:
    """(suffix, bytes): a kept file after some small damage, or nothing but noise."""
    seed = draw(st.sampled_from(files))
    suffix = "".join(seed.suffixes)
    if draw(st.integers(0, 19)) == 0:
        return suffix, draw(st.binary(max_size=400))
    data = seed.read_bytes()
    for _ in range(draw(st.integers(0, 5))):
        data = _damaged(draw, data)
    return suffix, data[:200_000]


def _damaged(draw: Any, data: bytes) -> bytes:
    at = draw(st.integers(0, max(len(data) - 1, 0)))
    length = draw(st.integers(0, 60))
    how = draw(st.sampled_from(("token", "number", "cut", "drop", "again", "flip", "line", "swap")))
    if how == "token":
        return data[:at] + draw(st.sampled_from(TOKENS)) + data[at:]
    if how == "number":
        numbers = list(_NUMBER.finditer(data))
        if not numbers:
            return data
        hit = numbers[draw(st.integers(0, len(numbers) - 1))]
        return data[: hit.start()] + draw(st.sampled_from(TOKENS)) + data[hit.end() :]
    if how == "cut":
        return data[:at]
    if how == "drop":
        return data[:at] + data[at + length :]
    if how == "again":
        return data[:at] + data[at : at + length] * draw(st.integers(2, 4)) + data[at + length :]
    if how == "flip":
        return data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]
    lines = data.split(b"\n")
    if how == "line":
        del lines[min(draw(st.integers(0, len(lines))), len(lines) - 1)]
    else:
        first, second = (draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        lines[first], lines[second] = lines[second], lines[first]
    return b"\n".join(lines)
