"""Reference evapotranspiration against the ASCE report's example, the refet package and its published station."""

from __future__ import annotations

import numpy as np
import pytest

from sideoats.weather import psychrometrics as air
from sideoats.weather.evapotranspiration import reference_et_daily, reference_et_hourly
from sideoats.weather.radiation import wind_at_2m

refet = pytest.importorskip("refet")


def test_greeley_colorado_1_july_2000() -> None:
    # ASCE-EWRI 2005 appendix C: Greeley, 40.41 N, 1462.4 m, wind at 3 m. Inputs and the published 5.71 and 7.34 mm from
    # memory (rounded inputs, hence 0.03); pressure and psychrometric constant as quoted in pyet's tests.
    assert air.pressure(1462.4) == pytest.approx(85.17, abs=0.005)
    assert air.psychrometric_constant(air.pressure(1462.4)) == pytest.approx(0.0566, abs=5e-5)
    day = {"elevation_m": 1462.4, "latitude": 40.41, "day": 183}
    wind = wind_at_2m(1.94, 3)
    short = reference_et_daily(32.4, 10.9, 1.27, 22.4, wind, standard="asce_short", **day)
    tall = reference_et_daily(32.4, 10.9, 1.27, 22.4, wind, standard="asce_tall", **day)
    assert (short, tall) == (pytest.approx(5.71, abs=0.03), pytest.approx(7.34, abs=0.03))
    # refet 0.5.0 at the same inputs
    assert (short, tall) == (pytest.approx(5.690394, abs=1e-6), pytest.approx(7.320995, abs=1e-6))


def test_slopes_of_appendix_c() -> None:
    # ASCE-EWRI 2005 table C-3 as quoted in pyet's tests (its first value, .1585 at 21.65 degC, computes to .1582)
    means = np.array([22.9, 23.7, 22.8, 24.3, 26.0, 26.1, 26.4, 23.9, 24.2])
    expected = [0.1692, 0.1762, 0.1684, 0.1820, 0.199, 0.1996, 0.2027, 0.1781, 0.1809]
    assert air.saturation_slope(means) == pytest.approx(expected, abs=5.1e-4)


def test_fallon_nevada_as_printed_by_refet() -> None:
    # refet 0.5.0, README and tests: Fallon NV, 1 July 2015
    wind = wind_at_2m(4.80 * 0.44704, 3)
    inputs = (
        (102.80 - 32) / 1.8,
        (66.65 - 32) / 1.8,
        air.saturation_vapour_pressure((49.84 - 32) / 1.8),
        674.07 * 0.041868,
    )
    day = {"elevation_m": 1208.5, "latitude": 39.4575, "day": 182}
    assert reference_et_daily(*inputs, wind, standard="asce_short", **day) == pytest.approx(7.997969, abs=2e-3)
    assert reference_et_daily(*inputs, wind, standard="asce_tall", **day) == pytest.approx(10.626088, abs=2e-3)


def test_daily_equals_refet_on_random_weather() -> None:
    rng = np.random.default_rng(56)
    shape = (40, 365)
    latitude, elevation = rng.uniform(-50, 60, (40, 1)), rng.uniform(0, 2500, (40, 1))
    day = np.arange(1, 366)[None, :]
    tmin = rng.normal(8, 9, shape)
    tmax = tmin + rng.uniform(0.5, 22, shape)
    ea = air.saturation_vapour_pressure(tmin - rng.uniform(-1, 6, shape))
    solar, wind = rng.uniform(0.5, 32, shape), rng.uniform(0.2, 9, shape)
    theirs = refet.Daily(tmin, tmax, solar, wind, 10.0, elevation, latitude, day, ea=ea, method="asce")
    for name, found in (("asce_short", theirs.eto()), ("asce_tall", theirs.etr())):
        ours = reference_et_daily(
            tmax,
            tmin,
            ea,
            solar,
            wind_at_2m(wind, 10.0),
            elevation_m=elevation,
            latitude=latitude,
            day=day,
            standard=name,
        )
        assert ours == pytest.approx(found, abs=1e-6)


def test_hourly_by_day_equals_refet() -> None:
    # FAO-56 example 19, afternoon hour, by refet 0.5.0 (short 0.65605) and pyfao56 1.4.3 (0.6560466)
    ea = 0.52 * air.saturation_vapour_pressure(38)
    site = {"elevation_m": 8, "latitude": 16 + 13 / 60, "longitude": -16.25, "day": 274}
    ours = reference_et_hourly(38, ea, 2.450, 3.3, utc_midpoint=15.5, standard="asce_short", **site)
    assert ours == pytest.approx(0.65605, abs=5e-5)
    theirs = refet.Hourly(
        tmean=38,
        ea=ea,
        rs=2.450,
        uz=3.3,
        zw=2,
        elev=8,
        lat=site["latitude"],
        lon=-16.25,
        doy=274,
        time=15,
        method="asce",
    )
    assert ours == pytest.approx(float(np.ravel(theirs.eto())[0]), abs=5e-5)
    tall = reference_et_hourly(38, ea, 2.450, 3.3, utc_midpoint=15.5, standard="asce_tall", **site)
    assert tall == pytest.approx(float(np.ravel(theirs.etr())[0]), abs=5e-5)
