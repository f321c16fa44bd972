"""Photographs: only a picture comes through, without the position and owner that cameras write into it."""

from __future__ import annotations

import base64
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageChops, ImageStat

from sideoats.desk.photos import MOST_BYTES, clean_jpeg, decoded, photo_body
from sideoats.errors import InputError


def picture(mode: str = "RGB", size: tuple[int, int] = (40, 30), **options: object) -> bytes:
    """A JPEG made by an independent library, with position, owner and comment inside."""
    image = Image.effect_mandelbrot(size, (-2, -1, 1, 1), 40).convert(mode)
    exif = Image.Exif()
    exif[0x013B] = "the owner of the camera"
    gps = exif.get_ifd(0x8825)
    gps[2] = (38.0, 31.0, 12.0)
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif, comment=b"taken at home", **options)
    return out.getvalue()


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"quality": 5}, {"restart_marker_rows": 1}])
@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_the_picture_stays_and_the_rest_goes(mode: str, options: dict[str, object]) -> None:
    data = picture(mode, **options)
    assert b"the owner of the camera" in data
    cleaned = clean_jpeg(data)
    assert b"owner" not in cleaned and b"home" not in cleaned and b"Exif" not in cleaned
    before, after = Image.open(io.BytesIO(data)), Image.open(io.BytesIO(cleaned))
    assert after.size == before.size and not after.getexif()
    assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    apart = ImageChops.difference(after.convert("RGB"), before.convert("RGB"))
    assert sum(ImageStat.Stat(apart).mean) / 3 < 12  # drawn anew: near, not equal, and the coarsest was coarse before


def test_a_second_picture_and_what_lies_behind_the_picture_go_too() -> None:
    """Phones write two pictures into one file, each with its own position, and makers' blocks behind them."""
    two = io.BytesIO()
    first, second = (Image.open(io.BytesIO(picture(size=size))) for size in ((40, 30), (20, 15)))
    exif = Image.Exif()
    exif[0x013B] = "Jane Roe of the second picture"
    exif.get_ifd(0x8825)[2] = (38.0, 31.0, 12.0)
    second.encoderinfo = {"exif": exif}
    first.save(two, "MPO", save_all=True, append_images=[second], exif=exif, comment=b"taken at home")
    behind = picture() + b"maker's block: Jane Roe 555-0100" + picture()
    for data in (two.getvalue(), behind):
        assert b"Jane Roe" in data
        cleaned = clean_jpeg(data)
        assert not [w for w in (b"Jane", b"Exif", b"GPS", b"owner", b"home", b"MPF", b"555") if w in cleaned]
        assert cleaned.count(b"\xff\xd8\xff") == 1 and cleaned.endswith(b"\xff\xd9")
        assert Image.open(io.BytesIO(cleaned)).size == (40, 30)


def test_a_picture_that_says_it_lies_on_its_side_is_turned_before_it_forgets_that() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "white").save(out, "JPEG", exif=exif)
    assert Image.open(io.BytesIO(clean_jpeg(out.getvalue()))).size == (30, 40)


@pytest.mark.parametrize(
    "data",
    [b"", b"GIF89a", b"\xff\xd8", b"\xff\xd8\xff\xd9", b"<svg/>", b"\xff\xd8\xff\xe0\xff\xff"],
)  # fmt: skip
def test_what_is_no_picture_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(InputError) as caught:
        clean_jpeg(data)
    assert "\n" not in str(caught.value)


def test_cut_and_enormous_pictures_are_refused() -> None:
    data = picture()
    with pytest.raises(InputError):
        clean_jpeg(data[: len(data) // 2])
    with pytest.raises(InputError, match="at most"):
        clean_jpeg(b"\xff\xd8" + b"\0" * MOST_BYTES)
    at = data.index(b"\xff\xc0")
    wide = data[: at + 5] + b"\x20\x00\x20\x00" + data[at + 9 :]
    with pytest.raises(InputError, match="pixels"):
        clean_jpeg(wide)


DATA = picture()


@settings(max_examples=300)
@given(st.data())
def test_damaged_pictures_are_refused_or_cleaned_never_worse(draw: st.DataObject) -> None:
    damaged = bytearray(DATA)
    for _ in range(draw.draw(st.integers(1, 6))):
        damaged[draw.draw(st.integers(0, len(damaged) - 1))] = draw.draw(st.integers(0, 255))
    cut = draw.draw(st.integers(0, len(damaged)))
    try:
        out = clean_jpeg(bytes(damaged[:cut]))
    except InputError as error:
        assert "\n" not in str(error)
    else:
        assert out.startswith(b"\xff\xd8") and out.endswith(b"\xff\xd9") and b"owner" not in out


def test_a_body_holds_the_clean_picture() -> None:
    body = photo_body(DATA, "headworms", "some-id")
    assert body["note"] == "headworms" and body["of"] == "some-id"
    assert decoded(body["image"]) == clean_jpeg(DATA) != DATA
    for wrong in (None, {}, {"base64": 3}, {"base64": "not base64!"}, {"base64": "A" * (MOST_BYTES * 2)}):
        with pytest.raises(InputError):
            decoded(wrong)
    assert decoded({"base64": base64.b64encode(b"x").decode()}) == b"x"
