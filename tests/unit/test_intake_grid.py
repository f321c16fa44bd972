"""Gridded weather: read from NetCDF, joined to places, and the room's formulas over its blocks as over plain arrays."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sideoats.errors import InputError, UnitError
from sideoats.intake.taken import find_format, recognised
from sideoats.ledger import NewEntry, Place, open_ledger
from sideoats.schema import read_all
from sideoats.weather.degree_days import degree_days
from sideoats.weather.evapotranspiration import fall_backs, reference_et_daily
from sideoats.week.snapshot import station_records

xr = pytest.importorskip("xarray", reason="the office extra is not installed")
pytest.importorskip("h5netcdf", reason="the office extra is not installed")

from sideoats.intake.grid import Cells, containing_cells, nearest_cells, read_grid, stations_of  # noqa: E402
from sideoats.weather.grid import on_grid, reference_et  # noqa: E402

DAYS, NORTH, EAST = 40, np.array([39.0, 38.5, 38.0, 37.5]), np.array([-100.0, -99.5, -99.0, -98.5, -98.0])
START = np.datetime64("2026-06-01")


def made(days: int = DAYS) -> Any:
    """A small grid as a weather service would write it: kelvin, a flux of water, watts; north first."""
    rng = np.random.default_rng(3)
    shape = (days, len(NORTH), len(EAST))
    low = 288.0 + rng.normal(0, 3, shape)
    times = START + np.arange(days) + np.timedelta64(12, "h")
    plane = ("time", "lat", "lon")
    return xr.Dataset(
        {
            "tasmax": (plane, low + rng.uniform(8, 16, shape), _about("air_temperature", "K", "time: maximum")),
            "tasmin": (plane, low, _about("air_temperature", "K", "time: minimum")),
            "pr": (plane, rng.gamma(0.2, 1e-4, shape), _about("precipitation_flux", "kg m-2 s-1", "time: mean")),
            "rsds": (plane, rng.uniform(150, 350, shape), _about("surface_downwelling_shortwave_flux_in_air", "W m-2")),
            "orog": (("lat", "lon"), np.full(shape[1:], 500.0), _about("surface_altitude", "m")),
        },
        coords={
            "time": times,
            "lat": ("lat", NORTH, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", EAST, {"standard_name": "longitude", "units": "degrees_east"}),
        },
    )


def _about(name: str, unit: str, method: str = "") -> dict[str, str]:
    return {"standard_name": name, "units": unit, **({"cell_methods": method} if method else {})}


def written(folder: Path, grid: Any, name: str = "g.nc") -> Path:
    grid.to_netcdf(folder / name, engine="h5netcdf")
    return folder / name


def test_units_and_names_come_from_the_file(tmp_path: Path) -> None:
    raw = made()
    with read_grid(written(tmp_path, raw)) as grid:
        assert set(grid.data_vars) == {"tmax", "tmin", "rain", "solar"}
        assert grid["tmax"].dims == ("time", "y", "x")
        np.testing.assert_allclose(grid["tmax"], raw["tasmax"] - 273.15, rtol=1e-12)
        np.testing.assert_allclose(grid["rain"], raw["pr"] * 86_400, rtol=1e-12)  # kg/m2 is mm, a day has 86,400 s
        np.testing.assert_allclose(grid["solar"], raw["rsds"] * 0.0864, rtol=1e-12)
        assert grid["time"].values[0] == START


@pytest.mark.parametrize(
    ("unit", "factor"),
    [("mm", 1), ("mm day-1", 1), ("mm/day", 1), ("kg m-2", 1), ("kg m**-2 d-1", 1), ("m", 1000), ("inch", 25.4),
     ("cm d-1", 10), ("kg.m-2.s-1", 86_400)],
)  # fmt: skip
def test_rain_in_any_unit(unit: str, factor: float, tmp_path: Path) -> None:
    raw = made()
    raw["pr"].attrs = _about("lwe_thickness_of_precipitation_amount", unit)
    with read_grid(written(tmp_path, raw)) as grid:
        np.testing.assert_allclose(grid["rain"], raw["pr"] * factor, rtol=1e-12)


def test_names_given_by_the_caller_win(tmp_path: Path) -> None:
    raw = made()
    raw["tmmx"] = raw["tasmax"] + 1.0
    raw["tmmx"].attrs = {"units": "degrees C"}
    with read_grid(written(tmp_path, raw), names={"tmax": "tmmx"}) as grid:
        np.testing.assert_allclose(grid["tmax"], raw["tmmx"], rtol=1e-12)
    with pytest.raises(InputError, match="no variable 'nowhere'"):
        read_grid(tmp_path / "g.nc", names={"tmax": "nowhere"})


def test_days_out_of_order_and_a_spare_axis_are_put_right(tmp_path: Path) -> None:
    raw = made()
    plain = written(tmp_path, raw, "a.nc")
    turned = raw.isel(time=np.random.default_rng(0).permutation(DAYS))
    for name in ("tasmax", "tasmin"):
        turned[name] = turned[name].expand_dims({"height": [2.0]}, axis=1).transpose("lon", "height", "time", "lat")
    with read_grid(plain) as first, read_grid(written(tmp_path, turned, "b.nc")) as second:
        xr.testing.assert_identical(first.drop_attrs().load(), second.drop_attrs().load())


@pytest.mark.parametrize("engine", ["h5netcdf", "scipy"])
def test_both_netcdf_formats(engine: str, tmp_path: Path) -> None:
    made().to_netcdf(tmp_path / "g.nc", engine=engine)
    with read_grid(tmp_path / "g.nc") as grid:
        assert grid.sizes == {"time": DAYS, "y": 4, "x": 5}


def _spoil(what: str) -> Any:
    raw = made()
    if what == "hourly":
        return raw.assign_coords(time=START + np.arange(DAYS) * np.timedelta64(1, "h"))
    if what == "no time":
        return raw.isel(time=0, drop=True)
    if what == "no names":
        return raw.drop_attrs()[["tasmax"]].assign_coords(lat=raw.lat, lon=raw.lon)
    if what == "unit":
        raw["pr"].attrs["units"] = "hPa"
    if what == "twice":
        raw["again"] = raw["tasmax"]
    if what == "no position":
        return raw.drop_vars(["lat", "lon"])
    return raw


@pytest.mark.parametrize(
    ("what", "line"),
    [("hourly", "is not daily"), ("no time", "has the dimensions"), ("no names", "CF standard names"),
     ("unit", "rain is in 'hPa'"), ("twice", "holds tmax twice"), ("no position", "has no latitude")],
)  # fmt: skip
def test_what_cannot_be_used_is_said_in_one_line(what: str, line: str, tmp_path: Path) -> None:
    path = written(tmp_path, _spoil(what))
    with pytest.raises((InputError, UnitError), match=line) as caught:
        read_grid(path)
    assert "\n" not in str(caught.value) and "g.nc" in str(caught.value)


@pytest.mark.parametrize("text", [b"", b"time,lat,lon\n", b"\x89HDF\r\n\x1a\n" + b"\0" * 50, b"CDF\x01" + b"\xff" * 60])
def test_what_is_no_netcdf_is_said_in_one_line(text: bytes, tmp_path: Path) -> None:
    (tmp_path / "g.nc").write_bytes(text)
    with pytest.raises(InputError, match="NetCDF"):
        read_grid(tmp_path / "g.nc")
    with pytest.raises(InputError, match="cannot be read"):
        read_grid(tmp_path / "absent.nc")


def test_without_the_office_extra_one_line_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(tmp_path, made())
    monkeypatch.setitem(sys.modules, "xarray", None)
    with pytest.raises(InputError, match=r"office extra.*pip install -r requirements/office\.txt"):
        read_grid(path)
    with pytest.raises(InputError, match="office extra"):
        on_grid(np.add, 1.0, 2.0)


def test_the_nearest_cell_is_that_of_a_search_through_all(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    north, east = rng.uniform(37, 39.5, 200), rng.uniform(-100.5, -97.5, 200)
    with read_grid(written(tmp_path, made())) as grid:
        found = nearest_cells(grid, north, east, within_km=1e9)
        inside = containing_cells(grid, north, east)
    rows, columns = np.meshgrid(np.radians(NORTH), np.radians(EAST), indexing="ij")
    for i in range(200):  # the haversine formula, cell by cell
        a = np.sin((rows - np.radians(north[i])) / 2) ** 2
        a += np.cos(rows) * np.cos(np.radians(north[i])) * np.sin((columns - np.radians(east[i])) / 2) ** 2
        km = 2 * 6371.0 * np.arcsin(np.sqrt(a))
        assert (found.row[i], found.column[i]) == np.unravel_index(np.argmin(km), km.shape)
        assert found.distance_km[i] == pytest.approx(km.min(), rel=1e-9)
        box = (np.abs(NORTH - north[i]) <= 0.25, np.abs(EAST - east[i]) <= 0.25)
        if box[0].any() and box[1].any():
            assert (inside.row[i], inside.column[i]) == (np.argmax(box[0]), np.argmax(box[1]))
        else:
            assert (inside.row[i], inside.column[i]) == (-1, -1)


def test_places_off_the_grid_or_without_position_are_in_no_cell(tmp_path: Path) -> None:
    with read_grid(written(tmp_path, made())) as grid:
        found = nearest_cells(grid, [38.0, 45.0, np.nan, 38.0], [-99.0, -99.0, -99.0, 500.0])
        assert found.row.tolist() == [2, -1, -1, -1] and found.distance_km[0] == pytest.approx(0, abs=1e-6)
        assert containing_cells(grid, [38.0, np.nan], [-99.0, -99.0]).column.tolist() == [2, -1]


def test_a_grid_with_one_row_on_the_globe_has_cells_a_degree_wide(tmp_path: Path) -> None:
    """Its rows of latitude were damaged: no two diagonal neighbours are left to measure by."""
    with read_grid(written(tmp_path, made())) as grid:
        rows = np.full(grid.sizes[grid["latitude"].dims[0]], 900.0)
        rows[2] = 38.0
        broken = grid.assign_coords(latitude=(grid["latitude"].dims, rows))
        found = nearest_cells(broken, [38.0, 38.6, 45.0], [-99.0, -99.0, -99.0])
        assert found.row.tolist() == [2, 2, -1]


def test_longitudes_that_run_to_360_meet_those_that_run_to_180(tmp_path: Path) -> None:
    raw = made()
    turned = raw.assign_coords(lon=("lon", EAST + 360.0, raw.lon.attrs))
    with read_grid(written(tmp_path, turned)) as grid:
        assert nearest_cells(grid, [38.01], [-98.99]).column.tolist() == [2]
        assert containing_cells(grid, [38.01], [-98.99]).column.tolist() == [2]
        assert stations_of(grid, nearest_cells(grid, [38.0], [-99.0]), ["a"])["a"].longitude == -99.0


def test_a_grid_across_the_date_line(tmp_path: Path) -> None:
    raw = made().assign_coords(lon=("lon", np.array([179.0, 179.5, 180.0, 180.5, 181.0]), made().lon.attrs))
    with read_grid(written(tmp_path, raw)) as grid:
        assert nearest_cells(grid, [38.0, 38.0], [-179.5, 179.0]).column.tolist() == [3, 0]
        assert containing_cells(grid, [38.0, 38.0], [-179.5, 179.0]).column.tolist() == [3, 0]


def test_a_grid_that_is_not_square_to_the_meridians(tmp_path: Path) -> None:
    raw = made()
    rows, columns = np.meshgrid(NORTH, EAST, indexing="ij")
    curved = raw.drop_vars(["lat", "lon"]).assign_coords(
        latitude=(("lat", "lon"), rows + 0.1 * np.sin(columns), raw.lat.attrs),
        longitude=(("lat", "lon"), columns + 0.1 * np.cos(rows), raw.lon.attrs),
    )
    with read_grid(written(tmp_path, curved)) as grid:
        at = nearest_cells(grid, [float(grid["latitude"][1, 3])], [float(grid["longitude"][1, 3])])
        assert (at.row[0], at.column[0]) == (1, 3)
        with pytest.raises(InputError, match="no rectangles"):
            containing_cells(grid, [38.0], [-99.0])


def test_cells_become_stations_and_gaps_stay_unknown(tmp_path: Path) -> None:
    raw = made().isel(time=[*range(10), *range(13, DAYS)])
    with read_grid(written(tmp_path, raw)) as grid:
        cells = nearest_cells(grid, [38.5, 60.0, 37.6], [-99.4, -99.0, -98.1])
        found = stations_of(grid, cells, ["a", "off", "b"])
    assert list(found) == ["a", "b"] and len(found["a"]) == DAYS
    assert found["a"].start == date(2026, 6, 1)
    np.testing.assert_allclose(found["a"].get("tmax")[:10], raw["tasmax"][:10, 1, 1] - 273.15, rtol=1e-12)
    assert np.isnan(found["b"].get("rain")[10:13]).all() and not np.isnan(found["b"].get("rain")[13:]).any()
    with pytest.raises(InputError, match="too much at once"):
        many = np.zeros(10_000_000, dtype=np.int64)
        with read_grid(tmp_path / "g.nc") as grid:
            stations_of(grid, Cells(many, many, many.astype(float)), ["x"] * len(many))


def test_taken_into_a_ledger_the_cells_are_stations_of_the_week(tmp_path: Path) -> None:
    chosen = find_format("grid")
    points = "name=north, latitude=38.9, longitude=-99.9; name=away, latitude=10, longitude=10"
    taken = chosen.read(written(tmp_path, made()), read_all(chosen.options, {"points": points}))
    assert any("outside the grid" in note for note in taken.notes)
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        ledger.append([
            NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in taken.drafts
        ])  # fmt: skip
        records = station_records(ledger, date(2026, 12, 1))
    assert list(records) == ["north"]
    np.testing.assert_allclose(records["north"].get("tmin"), made()["tasmin"][:, 0, 0] - 273.15, rtol=1e-12)
    assert (records["north"].latitude, records["north"].longitude) == (39.0, -100.0)


# --- calendars and points ---------------------------------------------------------------------------------------------


def _modelled(calendar: str, *, points: int | None = None) -> Any:
    """Two years of highs that count the days of a climate model's calendar, packed, named as no CF table has them."""
    import xarray

    times = xarray.date_range("2023-01-01", "2024-12-30", calendar=calendar, use_cftime=True)
    high = np.arange(len(times)) / 100 + 280.0
    about = {"units": "K"}
    if points is None:
        return xarray.Dataset(
            {"tmmx": (("day", "lat", "lon"), np.broadcast_to(high[:, None, None], (len(times), 2, 3)), about)},
            {"day": times, "lat": ("lat", [38.0, 39.0], {"units": "degrees_north"}),
             "lon": ("lon", [260.0, 261.0, 262.0], {"units": "degrees_east"})},
        )  # fmt: skip
    north, east = [38.0, 38.5, 39.0][:points], [-99.0, -98.0, -97.0][:points]
    return xarray.Dataset(
        {"tmmx": (("station", "day"), np.stack([high + i for i in range(points)]), about)},
        {"day": times, "latitude": ("station", north), "longitude": ("station", east)},
    )


def _packed(tmp_path: Path, raw: Any) -> Path:
    packing = {"tmmx": {"dtype": "uint16", "scale_factor": 0.01, "add_offset": 200.0, "_FillValue": 65535}}
    raw.to_netcdf(tmp_path / "g.nc", engine="h5netcdf", encoding=packing)
    return tmp_path / "g.nc"


def test_a_year_without_its_leap_day_and_one_of_360_days(tmp_path: Path) -> None:
    pytest.importorskip("cftime")
    with read_grid(_packed(tmp_path, _modelled("noleap"))) as grid:
        record = stations_of(grid, nearest_cells(grid, [38.1], [-99.1]), ["a"])["a"]
    assert record.start == date(2023, 1, 1) and np.isnan(record.get("tmax")[record.index(date(2024, 2, 29))])
    assert record.get("tmax")[record.index(date(2024, 3, 1))] == pytest.approx(
        (365 + 59) / 100 + 280 - 273.15, abs=0.006
    )
    with read_grid(_packed(tmp_path, _modelled("360_day"))) as grid:
        record = stations_of(grid, nearest_cells(grid, [38.1], [-99.1]), ["a"])["a"]
    known = ~np.isnan(record.get("tmax"))
    assert (record.start, known.sum()) == (date(2023, 1, 1), 720) and len(record) >= 730
    assert record.get("tmax")[record.index(date(2024, 7, 2))] == pytest.approx(
        (360 + 180) / 100 + 280 - 273.15, abs=0.03
    )


@pytest.mark.parametrize("points", [1, 3])
def test_a_file_of_points_is_taken_without_naming_them(points: int, tmp_path: Path) -> None:
    pytest.importorskip("cftime")
    raw = _modelled("standard", points=points)
    path = _packed(tmp_path, raw.isel(station=0) if points == 1 else raw)
    chosen = recognised(path)
    assert chosen.name == "grid"
    drafts = chosen.read(path, read_all(chosen.options, {})).drafts
    places = [d for d in drafts if d.kind == "place"]
    assert [p.place for p in places] == (["g"] if points == 1 else ["g-1", "g-2", "g-3"])
    if points == 3:
        named = _packed(tmp_path, raw.assign_coords(station=["North hill", "Ridge", "Flat"]))
        told = chosen.read(named, read_all(chosen.options, {})).drafts
        assert [d.place for d in told if d.kind == "place"] == ["north-hill", "ridge", "flat"]
    assert places[-1].body["latitude"] == [38.0, 38.5, 39.0][points - 1]
    last = next(d for d in drafts if d.kind == "station_days" and d.place == places[-1].place)
    assert last.body["tmax"][0] == pytest.approx(280 + points - 1 - 273.15, abs=0.006)
    with pytest.raises(InputError, match="give points="):
        chosen.read(_packed(tmp_path, _modelled("standard")), read_all(chosen.options, {}))


# --- formulas over blocks ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("cells", [None, 2, 3])
def test_a_formula_over_blocks_is_the_formula_over_arrays(cells: int | None, tmp_path: Path) -> None:
    with read_grid(written(tmp_path, made()), cells=cells) as grid:
        lazy = on_grid(degree_days, grid["tmax"], grid["tmin"], lower=10.0, upper=30.0, method="single_sine")
        assert (lazy.chunks is not None) == (cells is not None)
        high, low = (np.moveaxis(np.asarray(grid[v]), 0, -1) for v in ("tmax", "tmin"))
    plain = degree_days(high, low, 10.0, 30.0, method="single_sine")
    assert lazy.dims == ("y", "x", "time")
    np.testing.assert_array_equal(np.asarray(lazy), plain)


@pytest.mark.parametrize("cells", [None, 2])
def test_reference_et_of_a_grid_is_that_of_its_cells(cells: int | None, tmp_path: Path) -> None:
    with read_grid(written(tmp_path, made()), cells=cells) as grid:
        found = np.asarray(reference_et(grid, elevation_m=500.0))
        arrays = {name: np.moveaxis(np.asarray(grid[name]), 0, -1) for name in ("tmax", "tmin", "solar")}
    day = 152.0 + np.arange(DAYS)  # 1 June 2026 is day 152
    for row, column in ((0, 0), (3, 4), (2, 1)):
        tmax, tmin, solar = (arrays[name][row, column] for name in ("tmax", "tmin", "solar"))
        filled = fall_backs(tmax, tmin, latitude=NORTH[row], day=day, elevation_m=500.0, solar=solar)
        plain = reference_et_daily(
            tmax, tmin, filled.vapour_pressure, solar, filled.wind_2m, elevation_m=500.0, latitude=NORTH[row], day=day
        )
        np.testing.assert_array_equal(found[row, column], plain)


def test_a_result_without_days(tmp_path: Path) -> None:
    with read_grid(written(tmp_path, made()), cells=2) as grid:
        total = on_grid(lambda rain: rain.sum(axis=-1), grid["rain"], per_day=False, unit="mm")
        assert total.dims == ("y", "x") and total.attrs["units"] == "mm"
        np.testing.assert_allclose(total, grid["rain"].sum("time"), rtol=1e-12)
    with pytest.raises(InputError, match="nothing given has cells"):
        on_grid(np.add, 1.0, 2.0)


# --- places in cells --------------------------------------------------------------------------------------------------


def test_places_get_the_weather_of_their_cell(tmp_path: Path) -> None:
    from sideoats.demo.district import TODAY, all_entries
    from sideoats.week.cells import cell_entries, join_places

    with open_ledger(tmp_path / "ledger.sqlite") as ledger, read_grid(written(tmp_path, made())) as grid:
        ledger.append([e for e in all_entries() if e.kind in ("farm", "place")])
        before = {p.id: p for p in ledger.places()}
        kept = [p for p in before.values() if p.kind not in ("station", "market")]
        lost = [Place("a", "", "a", "field"), Place("b", "", "b", "field", {"latitude": 70.0, "longitude": 0.0})]
        joined = join_places(grid, [*kept, *lost])
        assert joined.station["two-elms.sorghum-1"] == "cell-2-2"  # outline about 37.982 N, 99.198 W
        assert (joined.without_position, joined.off_grid) == (1, 1) and len(joined.station) == len(kept)
        ledger.append(cell_entries(ledger, grid, TODAY))
        after = {p.id: p for p in ledger.places()}
        records = station_records(ledger, TODAY)
        assert cell_entries(ledger, grid, TODAY)[-1].kind != "place", "a place that has its cell is not described again"
    assert after["two-elms.sorghum-1"].attributes == {**before["two-elms.sorghum-1"].attributes, "station": "cell-2-2"}
    assert after["marrow-north"] == before["marrow-north"]
    np.testing.assert_allclose(records["cell-2-2"].get("tmax"), made()["tasmax"][:, 2, 2] - 273.15, rtol=1e-12)
    assert set(records) == {p.attributes["station"] for p in after.values() if p.id in joined.station}
