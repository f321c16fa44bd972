"""Photographs from the field: the picture is drawn anew, so that nothing but what can be seen comes in.

A phone writes position, time and owner into a file, and often a second picture and a maker's own block behind the
first. Taking out the parts one knows leaves those one does not: the file is decoded with Pillow and its points are
written into a new file that holds nothing else.
"""

from __future__ import annotations

import base64
import io
import threading
from typing import Any

from sideoats.errors import InputError

MOST_BYTES, MOST_SIDE = 1_500_000, 6_000
_QUALITIES = (88, 75, 60, 40)
_AT_ONCE = threading.BoundedSemaphore(2)  # a decoded picture takes up to 110 MB


def clean_jpeg(data: bytes) -> bytes:
    """The picture alone, upright, as a new JPEG. Raises InputError when it is not one whole JPEG picture."""
    if len(data) > MOST_BYTES:
        raise InputError(f"is {len(data):,} bytes", where="photo", expected=f"at most {MOST_BYTES:,}")
    if data[:2] != b"\xff\xd8":
        raise InputError("is not a JPEG picture", where="photo", expected="a JPEG file")
    with _AT_ONCE:
        return _drawn_anew(data)


def _drawn_anew(data: bytes) -> bytes:
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as picture:
            wide, high = picture.size
            if not (0 < high <= MOST_SIDE and 0 < wide <= MOST_SIDE):
                raise InputError(f"is {wide} by {high} pixels", where="photo", expected=f"at most {MOST_SIDE} a side")
            picture.load()
            upright = ImageOps.exif_transpose(picture).convert("RGB")
    except InputError:
        raise
    except Exception:  # a decoder met by damaged bytes raises whatever it likes
        raise InputError("is damaged or cut short", where="photo", todo="take it again") from None
    bare = Image.new("RGB", upright.size)  # takes over the points and nothing that hangs on the old picture
    bare.paste(upright)
    for quality in _QUALITIES:
        out = io.BytesIO()
        bare.save(out, "JPEG", quality=quality, optimize=True)
        if out.tell() <= MOST_BYTES:
            return out.getvalue()
    raise InputError("is too large to keep", where="photo", expected="a smaller picture")


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
