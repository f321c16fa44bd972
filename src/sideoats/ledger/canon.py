"""One spelling for everything that the hash chain covers: JSON text, instants, ids.

The chain: ``hash(n) = sha256(hash(n-1) + "\\n" + line(n))`` in lower-case hex, where ``line(n)`` is the entry's columns
as one JSON array and ``hash(0) = sha256("sideoats ledger 1 " + ledger id)``. Numbers in a body are spelled by Python's
``repr`` (the shortest text that reads back to the same float64), which is the same on every machine.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import time
import uuid
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sideoats.errors import InputError

FORMAT = 1
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:-]{0,79}")
_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
_DEEPEST = 20  # a call keeps sentences within sentences (an option named in a headline): thirteen levels
_MOST_EXACT = 2**53  # RFC 7493 (I-JSON), section 2.2
_MOST_BODY_BYTES = 8_000_000
_LINE = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)
_BODY = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False, sort_keys=True)


class Row(NamedTuple):
    """The columns of one entry, in the order in which they are hashed and stored; "" stands for none."""

    seq: int
    id: str
    kind: str
    topic: str
    place: str
    farm: str
    seen_at: datetime
    seen_zone: str
    seen_on: date
    recorded_at: datetime
    clock_behind: int
    observer: str
    corrects: str | None
    seal: str
    body: str
    hash: str


def genesis(ledger_id: str) -> str:
    """The hash in front of the first entry."""
    return hashlib.sha256(f"sideoats ledger {FORMAT} {ledger_id}".encode()).hexdigest()


def chained(previous: str, row: Row) -> str:
    """The hash of `row` behind `previous`; `row.hash` itself is not looked at."""
    line = _LINE.encode(
        [
            row.seq,
            row.id,
            row.kind,
            row.topic,
            row.place,
            row.farm,
            instant_text(row.seen_at),
            row.seen_zone,
            row.seen_on.isoformat(),
            instant_text(row.recorded_at),
            row.clock_behind,
            row.observer,
            row.corrects or "",
            row.seal,
            row.body,
        ]
    )
    return hashlib.sha256(f"{previous}\n{line}".encode()).hexdigest()


def body_text(body: Mapping[str, Any]) -> str:
    """`body` as canonical JSON. Raises InputError where it is not finite, too deep, too large or not text."""
    text = _BODY.encode(_plain(body, 0))
    try:
        size = len(text.encode())
    except UnicodeEncodeError:
        raise InputError("text holds half a character", expected="valid Unicode") from None
    if size > _MOST_BODY_BYTES:
        raise InputError(f"the entry is {size:,} bytes", expected=f"at most {_MOST_BODY_BYTES:,}")
    return text


def _plain(value: Any, depth: int) -> Any:
    """JSON values only: dates as text, tuples as lists, no minus zero, no NaN, no NUL."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        if "\x00" in value:
            raise InputError("text holds a NUL character")
        return str(value)
    if isinstance(value, int):
        if abs(value) > _MOST_EXACT:
            raise InputError(f"{value} is too large a whole number", expected="at most 2**53")
        return int(value)
    if isinstance(value, float):
        if not math.isfinite(value):
            raise InputError(f"{value} is not a finite number", todo="leave the value out where it is not known")
        return float(value) + 0.0
    if isinstance(value, date):
        return value.isoformat()
    if depth >= _DEEPEST:
        raise InputError("the entry is nested too deeply", expected=f"at most {_DEEPEST} levels")
    if isinstance(value, Mapping):
        return {str(key): _plain(item, depth + 1) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, depth + 1) for item in value]
    if hasattr(value, "tolist"):  # NumPy arrays and scalars
        return _plain(value.tolist(), depth)
    raise InputError(f"a {type(value).__name__} cannot be kept", expected="text, numbers, dates, lists or mappings")


def instant_text(when: datetime) -> str:
    """An instant as UTC text of fixed width."""
    return when.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def instant(text: str) -> datetime:
    """The inverse of `instant_text`."""
    return datetime.fromisoformat(text)


def zone_text(when: datetime) -> str:
    """IANA name of the zone where there is one, else its offset such as -06:00.

    Raises InputError for a time without a zone.
    """
    offset = when.utcoffset()
    if offset is None:
        raise InputError(f"{when.isoformat()} has no time zone", expected="a time with its zone, such as 08:30-06:00")
    key = getattr(when.tzinfo, "key", None)
    if isinstance(key, str):
        return key
    if when.tzinfo is UTC:
        return "UTC"
    minutes = round(offset.total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


@lru_cache(maxsize=1024)
def zone(text: str) -> tzinfo:
    """The inverse of `zone_text`; UTC for a name that this machine does not know (the instant stays right)."""
    if match := _OFFSET.fullmatch(text):
        minutes = int(match[2]) * 60 + int(match[3])
        return timezone(timedelta(minutes=-minutes if match[1] == "-" else minutes))
    try:
        return UTC if text == "UTC" else ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def name(text: Any, what: str) -> str:
    """An id of a place or farm: letters, digits and ``. _ : -``, 80 at most. Raises InputError."""
    if isinstance(text, str) and _NAME.fullmatch(text):
        return text
    raise InputError(
        f"{str(text)[:90]!r} cannot be the id of a {what}",
        expected="letters, digits and . _ : - without blanks, 80 at most",
    )


def entry_id(given: Any) -> str:
    """A UUID as lower-case text. Raises InputError."""
    try:
        return str(given if isinstance(given, uuid.UUID) else uuid.UUID(str(given)))
    except ValueError:
        raise InputError(f"{str(given)[:60]!r} is not a UUID", where="id", expected="32 hex digits") from None


def mint() -> str:
    """A UUIDv7 (RFC 9562, section 5.7): 48 bits of Unix milliseconds, then random bits."""
    raw = int.from_bytes(os.urandom(10), "big")
    value = (time.time_ns() // 1_000_000 & (1 << 48) - 1) << 80 | raw
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=value))
