"""Pictures of wheat: each says its finding with the right number, carries its table, and is well-formed."""

from __future__ import annotations

from datetime import date
from xml.etree import ElementTree

import numpy as np
import pytest

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.wheat import pictures, stages
from sideoats.wheat.response import fit_response
from sideoats.wheat.trials.compare import NextSeason

RATES = np.array([0.0, 30.0, 60.0, 90.0, 120.0])
YIELDS = np.array([30.0, 40.0, 46.0, 48.0, 48.0])


def season() -> NextSeason:
    return NextSeason(("A<b>", "B", "C"), np.array([1.0, -2.0, 0.5]), np.eye(3), 2.0, "", ())


def made():
    codes = stages.zadoks_by_day(
        np.full((3, 200), 20.0), np.full((3, 200), 6.0), np.full(200, 13.0), stages.calendar(load())
    )
    fits = [fit_response(RATES, YIELDS, form) for form in ("quadratic_plateau", "linear_plateau")]
    return [
        pictures.sowing_dates(date(2026, 9, 14), (0, 9, 18), [100, 120, 90], [50, 70, 40], [150, 170, 140]),
        pictures.nitrogen_response(fits, RATES, 0.1, seen=(RATES, YIELDS)),
        pictures.varieties_next_year(season()),
        pictures.season_of_a_field(date(2026, 10, 1), codes, station="north"),
    ]


@pytest.mark.parametrize("at", range(4))
def test_well_formed_and_told_in_words(at):
    picture = made()[at]
    root = ElementTree.fromstring(picture.svg)
    assert root.tag.endswith("svg") and "<b>" not in picture.svg
    assert picture.rows and all(len(row) == len(picture.columns) for row in picture.rows)
    assert picture.summary.endswith(".")


def test_findings():
    sown, nitrogen, varieties, field = made()
    assert "23 Sep" in sown.title and "$20/ac less" in sown.summary
    best = fit_response(RATES, YIELDS, "quadratic_plateau").optimum(0.1)
    assert f"{best:.0f} lb/ac" in nitrogen.title
    assert varieties.title.startswith("A<b> leads")
    assert [row[0] for row in varieties.rows] == ["A<b>", "C", "B"]
    assert "stem elongation" in field.summary  # not first hollow stem: no heat-unit line for it is published


@pytest.mark.parametrize(
    "make",
    [
        lambda: pictures.sowing_dates(date(2026, 9, 14), (), [], [], []),
        lambda: pictures.nitrogen_response([], RATES, 0.1),
        lambda: pictures.varieties_next_year(NextSeason((), np.zeros(0), np.zeros((0, 0)), 1.0, "", ())),
        lambda: pictures.season_of_a_field(date(2026, 10, 1), np.full((2, 30), 3.0)),
    ],
)
def test_nothing_to_draw_is_said(make):
    with pytest.raises(InputError):
        make()
