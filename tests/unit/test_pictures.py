"""Pictures for any reader: what is said, in whose units, escaped; drawn for a page and a phone, letters of one size."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from defusedxml import ElementTree

from sideoats.errors import InputError
from sideoats.pictures import (
    PHONE,
    PRINT,
    WIDE,
    Axis,
    Bars,
    Calendar,
    Course,
    Event,
    Grid,
    Level,
    Line,
    Map,
    Picture,
    Row,
    Rows,
    Span,
    Spot,
    Sums,
)
from sideoats.words import METRIC, Day, Money, Paid, Reader, say

GAIN = Axis(say("picture.over_selling"), "USD/ac", Money)
DAYS = Axis(say("picture.day"), "day", Day)
FIRST = date(2026, 8, 28)


def course(**changes) -> Course:
    x = [float(FIRST.toordinal() + i) for i in range(60)]
    y = np.linspace(10, 40, 60)
    given = {
        "finding": "found & <b>", "saying": "said '\"", "x": x, "across": DAYS, "up": GAIN,
        "lines": (Line("<i>", y, y - 5, y + 5, now=True), Line("other", np.where(y > 20, y / 2, np.nan))),
        "levels": (Level(30.0, "threshold of the Invented Service", base=True),), "today": x[20],
    }  # fmt: skip
    return Course(**given | changes)


def every() -> list[Picture]:
    words = {"finding": "found", "saying": "said"}
    weeks = [(FIRST, 30.0, 12.0, 5.0, 9.0)] * 9
    spots = [
        Spot("a", (-98.9, 38.0), fill="lines", said="a: act", label="a place of long name", cells=("act",), link="/a"),
        Spot("b", rings=[[(-99.0, 38.0), (-98.99, 38.0), (-98.99, 38.01), (-99.0, 38.0)]], cells=("",), here=True),
        Spot("c", cells=("no position",)),
    ]
    return [
        course(),
        course(x=[0.0, 30, 90], across=Axis(say("picture.fan.days")), stems=True, today=None,
               lines=(Line("", [0.0, 5, -4], [-9.0, -8, -30], [4.0, 9, 20], inner=([-1.0, 0, -9], [2.0, 6, 9])),),
               levels=()),
        Rows(**words, kept=[Row("A <b>", 1, 2, 4, "$2", "best", now=True),
                            Row("a rather long name of an option", 0, 0, 0),
                            Row("out", np.nan, np.nan, np.nan, instead="ruled out: not this winter")],
             axis=GAIN, level=Level(0.0, "", base=True), zero=True),
        Bars(**words, names=[FIRST, "b", "c"], values=[3.0, -2.0, np.nan], axis=GAIN, usual=[1.0, 1.0, 2.0],
             usual_name="usual week"),
        Grid(**words, down=Axis("price", "USD/cwt", Paid), row_values=[190.0, 200.0], taken=(0, "taken"),
             across=Axis("cost", "USD/lb", Paid), column_values=[0.8, 0.9, 1.0], cells=GAIN,
             values=[[1.0, -2200.0, 3.0], [0.0, 5.0, 1200.0]]),
        Map(**words, spots=spots, path=(0, 1), key=(("lines", "act"), ("blank", "wait")), heads=("place", "week")),
        Calendar(**words, first=FIRST, last=date(2026, 11, 1), today=date(2026, 10, 25),
                 spans=Span(Axis("temperature", "degC"), np.full(58, 10.0), np.full(58, 30.0)),
                 sums=Sums(Axis("rain", "mm"), np.arange(9.0), np.full(9, 6.0), "usual"),
                 events=[Event(date(2026, 9, 1), "done", "sprayed <x>", "/entry/1")], sign_names=[("seen", "seen")],
                 heads=["week", "high", "low", "rain", "usual"], weeks=weeks),
    ]  # fmt: skip


@pytest.mark.parametrize("width", [WIDE, PHONE, PRINT])
@pytest.mark.parametrize("at", range(7))
def test_a_picture_is_sound_for_any_width_and_reader(at: int, width: int) -> None:
    picture = every()[at]
    for reader in (Reader(), Reader("es", METRIC)):
        root = ElementTree.fromstring(picture.drawing(width, reader))
        named = {e.tag.split("}")[-1]: e for e in root[:2]}
        assert root.get("role") == "img" and root.get("aria-labelledby").split() == [e.get("id") for e in root[:2]]
        assert named["title"].text == picture.title_for(reader) and named["desc"].text
        ids = [e.get("id") for e in root.iter() if e.get("id")]
        inks = {e.get(name) for e in root.iter() for name in ("fill", "stroke")} - {None}
        assert len(ids) == len(set(ids))
        assert all(ink in ("currentColor", "none") or ink[5:-1] in ids for ink in inks), "one ink, no colour"
        assert not any(e.get("style") for e in root.iter()) and root.get("font-size") == "16"
        assert not any(e.get("font-size") for e in root.iter() if e is not root), "letters of one size"
        table = picture.table(reader)
        assert table.rows and all(len(row) == len(table.columns) for row in table.rows)
        points = [e for e in root.iter() if e.get("class") == "point"]
        assert points and all(e[0].text for e in points), "values are there to be pointed at"
        numbers = [float(v) for v in re.findall(r"[\d.]+", root.get("viewBox"))]
        assert numbers[2] == width and 0 < numbers[3] < 2 * width


def test_names_are_escaped_everywhere() -> None:
    page = "".join(p.html() for p in every())
    assert "<b>&" not in page and "&lt;b&gt;" in page and "<i>" not in page and "<x>" not in page


def test_a_page_holds_a_drawing_for_itself_and_one_for_phones() -> None:
    root = ElementTree.fromstring(course().html())
    drawn = [e.get("viewBox").split()[2] for e in root.iter() if e.tag.endswith("svg")]
    assert drawn == [str(WIDE), str(PHONE)]
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids)), "both drawings stand on one page"


def test_a_reader_has_own_language_units_and_dates() -> None:
    wheat = course(finding=say("picture.fan.culls"), lines=(Line(say("picture.mean"), np.linspace(10, 40, 60)),))
    metric = wheat.table(Reader("es", METRIC))
    assert metric.columns == ("día", "promedio, $/ha")
    assert metric.rows[0][0] == "vie 28 ago 2026" and metric.rows[0][1] == "$25/ha"  # 10 an acre, 2.471 acres a hectare
    drawn = wheat.drawing(WIDE, Reader("es", METRIC))
    assert "ganancia sobre vender hoy, $/ha" in drawn and ">hoy<" in drawn and ">14 sep<" in drawn
    assert "over selling today, $/ac" in wheat.svg and ">today<" in wheat.svg


def test_the_line_of_a_publisher_carries_its_name_and_stands_at_its_value() -> None:
    root = ElementTree.fromstring(course().drawing(PRINT))
    texts = " ".join(e.text for e in root.iter() if e.tag.endswith("text"))
    assert "threshold of the Invented Service" in texts
    marks = {e.text: float(e.get("y")) for e in root.iter() if e.tag.endswith("text") and e.text in ("$20", "$40")}
    (level,) = [e for e in root.iter() if e.get("stroke-width") == "2" and "L" in (e.get("d") or "")
                and e.get("class") is None and e.get("fill") is None]  # fmt: skip
    y = float(level.get("d").split("L")[0].split()[1])
    assert y == pytest.approx((marks["$20"] + marks["$40"]) / 2 - 5, abs=0.3), "30 lies half way from 20 to 40"


def test_what_loses_is_hatched_and_what_is_unknown_has_no_bar() -> None:
    bars = ElementTree.fromstring(every()[3].svg)
    boxes = [e.get("fill") for e in bars.iter() if e.tag.endswith("rect")]
    assert len(boxes) == 2 and sum(b.startswith("url(") for b in boxes) == 1
    grid = ElementTree.fromstring(every()[4].svg)
    assert sum((e.get("fill") or "").startswith("url(") for e in grid.iter()) == 1


def test_nothing_to_draw_is_refused_in_one_line() -> None:
    nothing = (
        course(lines=(Line("a", np.full(60, np.nan)),), levels=()),
        course(x=[], lines=(Line("a", []),), levels=(), today=None),
        Bars(finding="t", saying="s", names=["a"], values=[np.nan], axis=GAIN),
        Map(finding="t", saying="s", spots=[Spot("a")]),
    )
    for picture in nothing:
        with pytest.raises(InputError, match=r"nothing to draw|no place has a position"):
            picture.drawing()
    with pytest.raises(ValueError, match="do not fit"):
        Grid(finding="t", saying="s", down=GAIN, row_values=[1.0], taken=(0, ""), across=GAIN, column_values=[1.0],
             cells=GAIN, values=[[1.0, 2.0]])  # fmt: skip


@pytest.mark.parametrize(("file", "bold"), [("DejaVuSans.ttf", False), ("DejaVuSans-Bold.ttf", True)])
def test_a_text_is_never_wider_than_it_was_measured(file: str, bold: bool) -> None:
    """Against the letters themselves (Pillow and FreeType), the widest in common use: a drawing holds them."""
    from PIL import ImageFont

    from sideoats.pictures.paper import measured

    letters = Path("/usr/share/fonts/truetype/dejavu") / file
    if not letters.exists():
        pytest.skip(f"{letters} is not on this machine")
    font = ImageFont.truetype(letters, 160)
    told = (
        "yield over the trial mean, next year, bu/ac", "−$1,240/ac", "Feed for the days given", "usual week",
        "mean of 2021 to 2025", "Treat in 14 days", "31 Oct", "0.25 USD/bu", "MILO, 12 %", "Rocíe antes del sábado",
    )  # fmt: skip
    for text in told:
        assert font.getlength(text) / 10 <= measured(text, bold=bold) * 1.02 <= font.getlength(text) / 10 * 1.2, text
