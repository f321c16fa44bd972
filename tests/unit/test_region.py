"""Regions: the calendar is data. A second, invented region proves that no month is left in a question."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sideoats import region
from sideoats.errors import FactError
from sideoats.facts import load
from sideoats.grain.keeping import CROPS
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, Table, column, find

SOURCES = Path(region.__file__).parent


def upside_down(tmp_path: Path) -> Path:
    """A district whose region has every window and day of the shipped one half a year later."""
    text = (SOURCES / "regions" / f"{region.DEFAULT}.toml").read_text("utf-8")

    def turned(match: re.Match[str]) -> str:
        month, day = int(match[1]), min(int(match[2]), 28)
        return f'"{(month + 5) % 12 + 1:02d}-{day:02d}"'

    (tmp_path / "upside_down.toml").write_text(re.sub(r'"(\d\d)-(\d\d)"', turned, text), "utf-8")
    district = tmp_path / "district.toml"
    district.write_text('region = "upside_down"\n', "utf-8")
    return district


def test_a_window_may_run_over_the_turn_of_the_year():
    shipped = region.load()
    assert shipped.holds("cull-cows", date(2026, 12, 31)) and shipped.holds("cull-cows", date(2028, 2, 29))
    assert not shipped.holds("cull-cows", date(2026, 3, 1))
    assert shipped.holds("graze-pull-off", date(2026, 4, 20)) and not shipped.holds("graze-pull-off", date(2026, 4, 21))


def test_a_window_opens_today_or_on_its_next_first_day():
    shipped = region.load()
    assert shipped.opens("cull-cows", date(2026, 12, 31)) == date(2026, 12, 31)
    assert shipped.opens("cull-cows", date(2027, 3, 1)) == date(2027, 8, 1)
    assert shipped.opens("wheat-armyworm", date(2026, 7, 1)) == date(2026, 9, 10)
    assert shipped.opens("wheat-armyworm", date(2026, 12, 1)) == date(2027, 4, 10)


def test_days_count_to_the_next_and_from_the_last():
    shipped = region.load()
    assert shipped.next("wheat-sold", date(2026, 6, 30)) == date(2026, 6, 30)
    assert shipped.next("wheat-sold", date(2026, 7, 1)) == date(2027, 6, 30)
    assert shipped.last("degree-day-year", date(2026, 7, 1)) == date(2026, 1, 1)
    assert shipped.in_crop_year(3, 1, date(2026, 10, 5)) == date(2027, 3, 1)
    assert shipped.in_crop_year(9, 25, date(2027, 4, 5)) == date(2026, 9, 25)


@pytest.mark.parametrize(
    ("text", "said"),
    [("", "'name'"), ('name = "x"\n[crop_year]\nbegins = "7"\n', "not enough values"), ("name = ", "region file")],
)
def test_a_broken_region_is_one_clear_line(tmp_path, text, said):
    (tmp_path / "broken.toml").write_text(text, "utf-8")
    with pytest.raises(FactError, match=said):
        region.load("broken", tmp_path)
    with pytest.raises(FactError, match="not on file"):
        region.load("nowhere", tmp_path)
    with pytest.raises(FactError, match="no window"):
        region.load().holds("no-such", date(2026, 1, 1))


@pytest.mark.parametrize("name", ["bred-heifers", "cull-cows", "precondition", "wheat-purpose"])
def test_another_region_turns_the_seasons_round(name, tmp_path):
    """Where a window alone decides, the question is in season half a year later in the other region."""
    question = find(name)
    here, there = load(), load(upside_down(tmp_path))
    opened = [on for month in range(1, 13) if region.load().holds(name, on := date(2026, month, 10))]
    assert opened
    for on in opened:
        later = date(on.year + (on.month > 6), (on.month + 5) % 12 + 1, 10)
        seen = [
            question.in_season(_plain_row(question), Context(day, facts, make_outlook(day, facts=facts, draws=10)))[0]
            for facts, day in ((here, on), (there, later), (here, later), (there, on))
        ]
        assert seen[0] == seen[1] and seen[2] == seen[3]


def _plain_row(question):
    known = {f.name: 100.0 for f in question.inputs if f.kind in ("number", "share")}
    return Table(
        keys=("row",),
        columns={f.name: column(f, [known.get(f.name)]) for f in question.inputs},
        size=np.ones(1),
    )


def test_no_month_stands_in_a_question():
    months = re.compile(r"\.month\b|date\(\s*[\w.]*year[^,()]*,\s*\d|\(\s*\d{1,2}, \d{1,2}\s*\)  # month")
    found = [
        f"{path.relative_to(SOURCES)}:{at}: {line.strip()}"
        for path in sorted(SOURCES.glob("*/questions/*.py"))
        for at, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if months.search(line)
    ]
    assert not found


def test_new_grain_of_every_crop_reaches_the_market_on_a_day_of_the_region():
    for crop in CROPS:
        assert region.load().next(f"new-crop-{crop.replace(' ', '-')}", date(2026, 12, 1)).year == 2027
