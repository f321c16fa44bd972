"""Figures, dates and lists are written as Babel's CLDR data would, by whatever way they are made."""

from __future__ import annotations

from datetime import date

import pytest
from babel.dates import format_date
from babel.lists import format_list
from babel.numbers import format_decimal
from hypothesis import given
from hypothesis import strategies as st

from sideoats.words.locales import locale_of

LOCALES = ["en_US", "es_US", "es", "de", "fr", "pt", "pl", "hi", "ar"]


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("fixed", [None, 0, 1, 2, 3])
@given(value=st.one_of(st.floats(-1e12, 1e12), st.integers(-(10**7), 10**7).map(lambda v: v / 1000)))
def test_a_figure_is_written_as_babel_writes_it(locale: str, fixed: int | None, value: float) -> None:
    pattern = "#,##0.######" if fixed is None else "#,##0." + "0" * fixed if fixed else "#,##0"
    wanted = format_decimal(value, pattern, locale=locale)
    if wanted.strip("-−\u200e\u200f\u061c0.,٫") == "":  # nought has no sign here
        wanted = format_decimal(0.0, pattern, locale=locale)
    assert locale_of(locale).decimal(round(value, 6) + 0.0 if fixed is None else value, fixed) in (
        wanted,
        format_decimal(round(value, 6) + 0.0, pattern, locale=locale),
    )


PATTERNS = ["EEE d MMM", "MMM", "dd MMM", "EEE dd MMM y", "d MMM y", "EEEE d 'de' MMMM 'de' y", "d.M.yyyy", "QQQ y"]


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("pattern", PATTERNS)
@given(day=st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_a_day_is_written_as_babel_writes_it(locale: str, pattern: str, day: date) -> None:
    assert locale_of(locale).dated(day, pattern) == format_date(day, pattern, locale=locale)


@pytest.mark.parametrize("locale", LOCALES)
@given(words=st.lists(st.text(max_size=8), max_size=6))
def test_words_are_listed_as_babel_lists_them(locale: str, words: list[str]) -> None:
    assert locale_of(locale).listed(words) == format_list(words, style="standard", locale=locale)
