"""Pictures: each says its finding, carries its numbers as a table, is well-formed and lets no markup through."""

from __future__ import annotations

import re
from datetime import date, timedelta
from xml.etree import ElementTree

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.pictures import Picture
from sideoats.station import StationDays
from sideoats.weather.pace import heat, pace
from sideoats.weather.pictures import Standing, heat_against_past, rain_against_normal, rain_map
from sideoats.weather.rain_standing import rain_standing


def record(years: int = 8) -> StationDays:
    days = 365 * years
    phase = 2 * np.pi * np.arange(days) / 365
    rng = np.random.default_rng(2)
    tmax = 18 - 14 * np.cos(phase) + rng.normal(0, 3, days)
    return StationDays(
        station="z", start=date(2017, 1, 1),
        values={"tmax": tmax, "tmin": tmax - 12, "rain": rng.gamma(0.3, 8, days)}, latitude=38.0,
    )  # fmt: skip


def pictures() -> list[Picture]:
    station = record()
    season = pace(station, heat(station, 60), date(2023, 5, 1), date(2023, 8, 20))
    spans = [rain_standing(station, date(2023, 8, 21), d) for d in (30, 90, 365)]
    found = [Standing("north & <east>", 38.3, -99.1, 40.0), Standing("south", 38.0, -98.8, 120.0),
             Standing("nowhere", np.nan, np.nan, 80.0)]  # fmt: skip
    return [
        heat_against_past(season),
        rain_against_normal(spans),
        rain_map(found, 90),
    ]


@pytest.mark.parametrize("at", range(3))
def test_every_picture_has_title_sentence_table_and_a_drawing_without_colour(at: int) -> None:
    picture = pictures()[at]
    assert picture.title and picture.summary and picture.rows
    assert all(len(row) == len(picture.columns) for row in picture.rows)
    root = ElementTree.fromstring(picture.svg)
    names = {child.tag.rsplit("}")[-1] for child in root}
    assert {"title", "desc"} <= names
    assert root.attrib["role"] == "img"
    assert "style=" not in picture.svg
    for word in ("red", "green", "#f", "rgb("):
        assert word not in picture.svg.replace("gathered", "")
    assert "<east>" not in picture.svg


def test_titles_say_the_finding() -> None:
    found = pictures()
    assert re.search(r"are \d+ days? (ahead of|behind) the usual pace", found[0].title)
    assert found[1].title.startswith("Rain is ")
    assert found[2].title == "north & <east> is driest over 90 days: 40 % of normal"
    assert found[2].rows[2] == ("nowhere", "80 %", "75 % to 100 %")


def test_nothing_to_draw_is_one_clear_line() -> None:
    station = record(1)
    lonely = pace(station, heat(station, 60), date(2017, 5, 1), date(2017, 8, 20))
    with pytest.raises(InputError, match="no past year"):
        heat_against_past(lonely)
    with pytest.raises(InputError, match="no place has a position"):
        rain_map([Standing("a", np.nan, 0, 1)], 90)
    with pytest.raises(InputError, match="no past year is whole"):
        rain_against_normal([])


def test_months_are_marked_below_a_season() -> None:
    assert timedelta(days=1) * 112 == date(2023, 8, 21) - date(2023, 5, 1)
    assert "Jun" in pictures()[0].svg and "Aug" in pictures()[0].svg
