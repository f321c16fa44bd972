"""The outlook's stated rules: years, gaps, short records, draws, keyed noise, prices."""

from __future__ import annotations

import pickle
import zlib
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sideoats.outlook import make_outlook
from sideoats.outlook.noise import seed_words
from sideoats.station import StationDays

ON = date(2020, 8, 10)
PAIR = ("river east old 575", "old north hill 591")  # one CRC-32 and one length
DATA = Path(__file__).parents[2].parent / "shared" / "data" / "weather" / "USW00003870.dly"


def record(first: int, last: int, *, name: str = "s", hole: tuple[date, int] | None = None) -> StationDays:
    """It rains on the days of the year that leave year - 1990 over 31, so that a window tells where it came from."""
    start = date(first, 1, 1)
    days = (date(last, 12, 31) - start).days + 1
    when = np.datetime64(start, "D") + np.arange(days)
    year = when.astype("datetime64[Y]").astype(int) + 1970
    wet = np.arange(days) % 31 == (year - 1990) % 31
    values = {"tmax": 20.0 + np.sin(year), "tmin": 10.0 + np.sin(year), "rain": np.where(wet, 5.0, 0.0)}
    if hole:
        at = (hole[0] - start).days
        for v in values.values():
            v[at : at + hole[1]] = np.nan
    return StationDays(station=name, start=start, values=values)


def test_draws_are_past_years_from_this_day_on() -> None:
    out = make_outlook(ON, stations={"s": record(2000, 2020)}, draws=100, horizon=60)
    assert out.windows is not None and out.windows.years == tuple(range(2000, 2020))
    came = record(2000, 2020).seasons("rain", ON.month, ON.day, 60)
    assert np.array_equal(out.daily("rain")[0] > 0, came[1][(came[0] >= 2000) & (came[0] < 2020)] > 0)
    counts = np.bincount(out.year_of_draw)
    assert counts.min() == counts.max() == 5  # 100 draws of 20 years: each exactly five times


def test_a_window_over_new_year_needs_its_whole_length() -> None:
    out = make_outlook(ON, stations={"s": record(2000, 2020)}, draws=10, horizon=270)
    assert out.windows is not None and out.windows.years[-1] == 2019
    came = record(2000, 2020).seasons("rain", ON.month, ON.day, 270)
    assert np.array_equal(out.daily("rain")[0] > 0, came[1][(came[0] >= 2000) & (came[0] < 2020)] > 0)


def test_years_with_too_many_gaps_are_left_out_and_named_and_small_gaps_are_filled_and_counted() -> None:
    poor = make_outlook(ON, stations={"s": record(2010, 2020, hole=(date(2015, 8, 12), 20))}, draws=10, horizon=60)
    assert poor.windows is not None and 2015 not in poor.windows.years
    assert any("2015" in n for n in poor.notes)
    small = make_outlook(ON, stations={"s": record(2010, 2020, hole=(date(2015, 8, 12), 3))}, draws=10, horizon=60)
    assert small.windows is not None and 2015 in small.windows.years
    assert not np.isnan(small.daily("tmax")).any()
    assert any("3 missing tmax days filled" in n for n in small.notes)


def test_each_station_stands_on_its_own_years_whatever_else_is_on_file() -> None:
    """They were the union of all stations' years, with picks for those that a short record did not have."""
    both = {"long": record(2000, 2020, name="long"), "short": record(2015, 2020, name="short")}
    out = make_outlook(ON, stations=both, draws=50, horizon=60)
    for name, first in (("long", 2000), ("short", 2015)):
        part = out.part(out.footing(name))
        alone = make_outlook(ON, stations={name: both[name]}, draws=50, horizon=60)
        assert part.windows is not None and part.windows.years == tuple(range(first, 2020))
        assert np.array_equal(part.daily("tmax"), alone.daily("tmax")) and part.notes == alone.notes
        assert np.array_equal(part.year_of_draw, alone.year_of_draw)
    with pytest.raises(ValueError, match="differ in their years"):
        out.daily("tmax")


def test_a_place_without_a_station_on_file_has_no_weather() -> None:
    out = make_outlook(ON, stations={"s": record(2000, 2020)}, draws=10, horizon=60)
    for name in ("", "S", "misspelt"):
        part = out.part(out.footing(name))
        assert not part.has_weather and not part.records
    with pytest.raises(ValueError, match="no past years of station 'misspelt'"):
        out.station_rows(["misspelt"])


def test_leap_day() -> None:
    out = make_outlook(date(2020, 2, 29), stations={"s": record(2000, 2020)}, draws=10, horizon=30)
    assert out.windows is not None and len(out.windows.years) == 20


def test_no_station_and_an_unusable_one() -> None:
    assert not make_outlook(ON).has_weather
    assert not make_outlook(ON, stations={"s": record(2020, 2020)}).has_weather


def test_noise_is_keyed_by_name_and_place_and_nothing_else() -> None:
    out = make_outlook(ON, draws=64)
    both, one = out.normal("x", ["a", "b"]), out.normal("x", ["b"])
    assert np.array_equal(both[1], one[0]) and not np.array_equal(both[0], both[1])
    assert not np.array_equal(out.normal("x", ["a"]), out.normal("y", ["a"]))
    again = pickle.loads(pickle.dumps(out))
    assert np.array_equal(again.normal("x", ["a"]), both[:1])
    assert np.array_equal(again.price_ratio("wheat", [30]), out.price_ratio("wheat", [30]))


def test_two_places_whose_checksums_agree_have_noise_of_their_own() -> None:
    """Names of one length and one CRC-32: keyed by that, both fields had the same misfortunes in every draw."""
    first, second = PAIR
    assert zlib.crc32(first.encode()) == zlib.crc32(second.encode()) and len(first) == len(second)
    noise = make_outlook(ON, draws=64).normal("x", [first, second])
    assert not np.array_equal(noise[0], noise[1])


def test_no_two_of_a_million_places_share_their_noise_in_any_stream() -> None:
    streams = ("counts", "loss")
    seeds = b"".join(seed_words(7, s, f"place {i}").tobytes() for s in streams for i in range(1_000_000))
    first_halves = np.frombuffer(seeds, np.uint64)[::2]
    assert len(np.unique(first_halves)) == len(first_halves) == 2_000_000


def test_names_are_told_apart_wherever_one_ends_and_the_next_begins() -> None:
    told = [("ab", "c"), ("a", "bc"), ("abc",), ("abc", ""), ("", "abc"), ("1:a", "b"), ("1:a1:b",), ("a", "1:b")]
    seeds = {tuple(seed_words(7, *names).tolist()) for names in told} | {tuple(seed_words(71, "ab", "c").tolist())}
    assert len(seeds) == len(told) + 1


def test_prices_without_history_have_no_drift_and_the_stated_spread() -> None:
    out = make_outlook(ON, draws=20_000)
    ratio = out.price_ratio("wheat", [0, 182.625, 365.25])
    assert np.all(ratio[:, 0] == 1)
    assert ratio.mean(axis=0) == pytest.approx([1, 1, 1], abs=0.01)
    assert np.log(ratio[:, 2]).std() == pytest.approx(0.28, rel=0.03)
    assert np.log(ratio[:, 1]).std() == pytest.approx(0.28 / np.sqrt(2), rel=0.03)
    other = out.price_ratio("soybean", [365.25])[:, 0]
    assert np.corrcoef(np.log(ratio[:, 2]), np.log(other))[0, 1] == pytest.approx(
        0.61 * 0.69, abs=0.03
    )  # outlook/joint


@pytest.mark.skipif(not DATA.exists(), reason="the shared GHCN-Daily file is not beside this checkout")
def test_a_real_station() -> None:
    from sideoats.intake.ghcn_daily import read_ghcn_daily

    found = read_ghcn_daily(DATA)
    out = make_outlook(date(2012, 8, 10), stations={found.station: found}, draws=500, horizon=60)
    assert out.windows is not None and len(out.windows.years) >= 45
    august = out.daily("tmax")[0, :, :20].mean()
    assert 28 < august < 34  # upland South Carolina in August
