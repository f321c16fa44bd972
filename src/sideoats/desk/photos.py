"""Photographs from the field: checked to be JPEG, and everything in them but the picture taken out.

The phone makes them small before it sends them. Here the segments of the file are walked: application data (where
cameras write position, time and owner) and comments are dropped, what is left must be one baseline or progressive
picture of a sane size.

References
----------
ITU-T T.81 (JPEG), annex B: marker segments; from memory.
"""

from __future__ import annotations

import base64
from typing import Any

from sideoats.errors import InputError

MOST_BYTES, MOST_SIDE = 1_500_000, 6_000
_FRAMES = frozenset({0xC0, 0xC1, 0xC2})
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})


def clean_jpeg(data: bytes) -> bytes:
    """The picture without application data and comments. Raises InputError when it is not one JPEG picture."""
    if len(data) > MOST_BYTES:
        raise InputError(f"is {len(data):,} bytes", where="photo", expected=f"at most {MOST_BYTES:,}")
    if data[:2] != b"\xff\xd8":
        raise InputError("is not a JPEG picture", where="photo", expected="a JPEG file")
    out, at, framed = bytearray(b"\xff\xd8"), 2, False
    while True:
        marker, start, end = _segment(data, at)
        if marker == 0xD9:
            raise InputError("holds no picture", where="photo", expected="a JPEG file")
        if marker == 0xDA:
            if not framed:
                raise InputError("has no size", where="photo", expected="a JPEG file")
            stop = data.rfind(b"\xff\xd9")
            if stop < end:
                raise InputError("is cut short", where="photo", todo="take it again")
            return bytes(out + data[at:stop] + b"\xff\xd9")
        if marker in _FRAMES:
            _check_size(data[start:end])
            framed = True
        if not (0xE0 <= marker <= 0xEF or marker == 0xFE) or (marker == 0xEE and data[start : start + 5] == b"Adobe"):
            out += data[at:end]
        at = end


def _segment(data: bytes, at: int) -> tuple[int, int, int]:
    """(marker, first byte of its content, first byte behind it) of the segment at `at`."""
    if at + 2 > len(data) or data[at] != 0xFF:
        raise InputError("is damaged", where="photo", expected="a JPEG file")
    marker = data[at + 1]
    if marker in _ALONE or marker == 0xD9:
        return marker, at + 2, at + 2
    if at + 4 > len(data):
        raise InputError("is cut short", where="photo", todo="take it again")
    length = int.from_bytes(data[at + 2 : at + 4], "big")
    if length < 2 or at + 2 + length > len(data):
        raise InputError("is damaged", where="photo", expected="a JPEG file")
    return marker, at + 4, at + 2 + length


def _check_size(frame: bytes) -> None:
    high, wide = int.from_bytes(frame[1:3], "big"), int.from_bytes(frame[3:5], "big")
    if not (0 < high <= MOST_SIDE and 0 < wide <= MOST_SIDE):
        raise InputError(f"is {wide} by {high} pixels", where="photo", expected=f"at most {MOST_SIDE} a side")


def photo_body(data: bytes, note: str = "", of: str = "") -> dict[str, Any]:
    """The body of a `photo` entry."""
    image = {"media": "image/jpeg", "base64": base64.b64encode(clean_jpeg(data)).decode("ascii")}
    body: dict[str, Any] = {"image": image}
    if note:
        body["note"] = note
    if of:
        body["of"] = of
    return body


def decoded(image: Any) -> bytes:
    """Bytes of a picture sent as ``{"media": ..., "base64": ...}``. Raises InputError."""
    text = image.get("base64") if isinstance(image, dict) else None
    if not isinstance(text, str) or len(text) > MOST_BYTES * 4 // 3 + 8:
        raise InputError("is too large, or not there", where="photo", expected=f"at most {MOST_BYTES:,} bytes")
    try:
        return base64.b64decode(text, validate=True)
    except ValueError:
        raise InputError("is not base64", where="photo") from None
