"""The one rule for marks on an axis: round steps, few, inside the range, for any range."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sideoats.errors import InputError
from sideoats.pictures.ticks import LEAST, MOST, MOST_DAYS, day_ticks, number_ticks

FINITE = st.floats(allow_nan=False, allow_infinity=False)
RANGES = st.one_of(
    st.tuples(FINITE, FINITE),
    FINITE.map(lambda v: (v, v)),
    st.tuples(st.floats(-1e6, 1e6), st.floats(1e-12, 1e6)).map(lambda p: (p[0], p[0] + p[1])),
    st.tuples(st.integers(-50, 50), st.integers(1, 100)).map(lambda p: (p[0] / 10, (p[0] + p[1]) / 10)),
)


def one_two_or_five(step: float) -> bool:
    lead = float(f"{step:.6e}".split("e")[0])
    return any(math.isclose(lead, m, rel_tol=1e-5) for m in (1, 2, 5, 10))


@given(RANGES)
@example((0.0, 0.0))
@example((5.0, 5.0))
@example((-1.7e308, 1.7e308))
@example((1e-320, 3e-320))
@example((1e16, 1e16 + 4))
@example((0.0, 0.3))
@example((-0.1, -0.05))
def test_marks_are_round_few_and_inside_the_range(ends: tuple[float, float]) -> None:
    found = number_ticks(*ends)
    low, high = min(ends), max(ends)
    assert LEAST <= len(found.at) <= MOST
    assert found.low <= low <= high <= found.high
    assert all(found.low <= v <= found.high for v in found.at)
    if found.low < low:  # widened: only a range of one value is
        assert high / 2 - low / 2 <= 1e-9 * max(abs(low), abs(high), 1e-281)
    steps = [b / 2 - a / 2 for a, b in zip(found.at, found.at[1:], strict=False)]
    size = max(abs(v) for v in found.at)
    assert all(math.isclose(s, steps[0], rel_tol=1e-6, abs_tol=size * 1e-14) for s in steps)
    if steps[0] > size * 1e-9:
        assert one_two_or_five(2 * steps[0]) or one_two_or_five(steps[0] * 20)
    printed = [f"{v:.{found.decimals}f}" for v in found.at]
    assert len(set(printed)) == len(printed), "two marks would carry one number"


@given(st.floats(-1e9, 1e9), st.floats(1e-3, 1e9))
def test_no_longer_round_step_would_mark_the_range_three_times(low: float, span: float) -> None:
    found = number_ticks(low, low + span)
    step = found.at[1] - found.at[0]
    for longer in (2, 2.5, 5, 10):
        if one_two_or_five(step * longer):
            inside = math.floor(found.high / (step * longer) + 1e-6) - math.ceil(found.low / (step * longer) - 1e-6) + 1
            assert inside <= LEAST, "the longest step is taken, but for a mark on the very end"


@given(st.floats(-1e6, 1e6), st.floats(0.01, 1e6))
def test_steps_are_those_of_another_library_for_as_many_marks(low: float, span: float) -> None:
    """matplotlib's MaxNLocator (1, 2, 5, 10) as an oracle: told how many intervals there are, it takes our step."""
    ticker = pytest.importorskip("matplotlib.ticker")
    found = number_ticks(low, low + span)
    theirs = ticker.MaxNLocator(nbins=max(len(found.at) - 1, 1), steps=[1, 2, 5, 10]).tick_values(found.low, found.high)
    ours = found.at[1] - found.at[0]
    assert theirs[1] - theirs[0] >= ours * (1 - 1e-6)  # it takes no shorter one
    every = theirs[1] - theirs[0]
    assert every / ours < 10.01


def test_a_number_that_is_none_is_refused() -> None:
    for ends in ((math.nan, 1.0), (0.0, math.inf)):
        with pytest.raises(InputError, match="no finite number"):
            number_ticks(*ends)


DAYS = st.dates(date(1, 1, 1), date(9999, 12, 31))


@given(DAYS, st.one_of(st.integers(0, 30), st.integers(0, 800), st.integers(0, 3_000_000)))
@example(date(9999, 12, 30), 1)
def test_days_are_marked_at_the_first_of_weeks_months_and_years(first: date, count: int) -> None:
    last = min(first + timedelta(days=min(count, (date.max - first).days)), date.max)
    found = day_ticks(first, last)
    days = (last - first).days + 1
    assert min(LEAST, days) <= len(found.at) <= MOST_DAYS
    assert list(found.at) == sorted(set(found.at)) and first <= found.at[0] and found.at[-1] <= last
    if found.step == "year":
        assert all((d.month, d.day) == (1, 1) for d in found.at)
    elif found.step == "month":
        assert all(d.day == 1 for d in found.at)
    elif days >= 21:
        assert all(d.weekday() == 0 for d in found.at)
