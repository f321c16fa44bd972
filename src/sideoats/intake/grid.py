"""Gridded daily weather in NetCDF (CF conventions), and the cells in which places lie.

Variables are told by CF standard name and cell method (a daily maximum and a daily mean share their name and differ in
the method only), by the names that the large public sets give them, or by names that the caller gives; units are
converted to those of `sideoats.station.DAILY_UNITS`. Values may be packed. A file of points in the place of a grid (one
place, or a row of stations) is a grid of one row. Nothing is loaded before it is used: a grid of a whole country is
read for the cells that are asked for.

Calendars of 365 days lack 29 February, which is a day without values. One of 360 days has none of the calendar's dates:
its days are spread evenly over the year, so that five or six are without values.

CF standard names and UDUNITS spellings are from memory of the conventions.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats import units
from sideoats.errors import InputError, UnitError
from sideoats.intake.quotes import place_id
from sideoats.intake.station_files import drafts_of, possible
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.schema import Field
from sideoats.station import DAILY_UNITS, StationDays

if TYPE_CHECKING:
    import xarray as xr

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
EARTH_KM = 6371.0
MOST_DAYS, MOST_VALUES = 110_000, 60_000_000  # three centuries; half a gigabyte of loaded cells
_RAIN = dict.fromkeys(("sum", "mean", ""), "rain")
_STANDARD: Mapping[str, Mapping[str, str]] = {  # CF standard name -> cell method -> our name
    "air_temperature": {"maximum": "tmax", "minimum": "tmin", "mean": "tmean", "": "tmean"},
    "relative_humidity": {"maximum": "humidity_max", "minimum": "humidity_min", "mean": "humidity", "": "humidity"},
    "dew_point_temperature": dict.fromkeys(("mean", ""), "dewpoint"),
    "wind_speed": {"mean": "wind", "": "wind", "maximum": "gust"},
    "precipitation_amount": _RAIN,
    "lwe_thickness_of_precipitation_amount": _RAIN,
    "precipitation_flux": _RAIN,
    "lwe_precipitation_rate": _RAIN,
    "surface_downwelling_shortwave_flux_in_air": dict.fromkeys(("sum", "mean", ""), "solar"),
}
# What large public sets call them where a file has no standard name (from memory of those sets), in small letters.
_COMMON: Mapping[str, str] = {
    "tasmax": "tmax", "tmmx": "tmax", "tmax": "tmax", "tx": "tmax", "daily_maximum_temperature": "tmax", "mx2t": "tmax",
    "tasmin": "tmin", "tmmn": "tmin", "tmin": "tmin", "tn": "tmin", "daily_minimum_temperature": "tmin", "mn2t": "tmin",
    "tas": "tmean", "tmean": "tmean", "tavg": "tmean", "tg": "tmean", "t2m": "tmean",
    "pr": "rain", "prcp": "rain", "ppt": "rain", "precip": "rain", "rr": "rain", "precipitation_amount": "rain",
    "tp": "rain", "rsds": "solar", "srad": "solar", "hurs": "humidity", "rmax": "humidity_max", "rmin": "humidity_min",
    "sfcwind": "wind", "vs": "wind", "wind_speed": "wind", "tdps": "dewpoint", "d2m": "dewpoint",
}  # fmt: skip
# A day's amount may be given as a rate; a kilogram of water on a square metre is a millimetre.
_ALSO = {"mm": ("mm/day", "kg/m**2", "kg/m**2/day"), "MJ/m**2": ("MJ/m**2/day",)}
_CELSIUS = {"celsius", "degc", "degree c", "degrees c", "degree celsius", "degrees celsius", "deg c", "c"}


# --- reading ----------------------------------------------------------------------------------------------------------


def read_grid(path: str | Path, *, names: Mapping[str, str] | None = None, cells: int | None = None) -> xr.Dataset:
    """A NetCDF file as a dataset of our variables.

    Parameters
    ----------
    path : NetCDF 4 or NetCDF 3 file
    names : our name (a key of `DAILY_UNITS`) -> name in the file, where the file does not tell by CF attributes
    cells : rows and columns of a Dask block, for `sideoats.weather.grid.on_grid`; plain lazy arrays where None

    Returns
    -------
    xarray.Dataset on (time, y, x), float64 in the units of `DAILY_UNITS`, with ``time`` in whole days in order and
    ``latitude`` and ``longitude``: (y,) and (x,), or both (y, x)

    Raises
    ------
    InputError : not NetCDF, no daily weather in it, or the office extra is missing
    """
    path = Path(path)
    raw = _opened(path)
    named = _named(raw, names or {}, path.name)
    grid = _on_axes(raw, named, path.name)
    for name, given in named.items():
        factor, offset = _conversion(str(raw[given].attrs.get("units", "")), name, path.name)
        grid[name] = grid[name].astype(np.float64) * factor + offset
        grid[name].attrs = {"units": DAILY_UNITS[name]}
    grid.attrs = {"source": path.name, "points": grid.attrs.get("points", [])}
    if cells is not None:
        grid = grid.chunk({"time": -1, "y": cells, "x": cells})
    grid.set_close(raw.close)
    return grid


def _opened(path: Path) -> Any:
    try:
        import xarray
    except ImportError:
        todo = "pip install -r requirements/office.txt"
        raise InputError("reading a grid needs the office extra", todo=todo) from None
    try:
        with path.open("rb") as handle:
            magic = handle.read(4)
    except (OSError, ValueError) as error:  # no such file, or a name that none can have
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read ({reason})", where=path.name, todo="give a NetCDF file") from None
    engine: Any = {b"\x89HDF": "h5netcdf", b"CDF\x01": "scipy", b"CDF\x02": "scipy"}.get(magic)
    if engine is None:
        raise InputError("is not NetCDF", where=path.name, expected="a NetCDF 4 (HDF5) or NetCDF 3 file")
    try:
        return xarray.open_dataset(path, engine=engine)
    except Exception as error:  # whatever HDF5, h5netcdf, scipy or xarray find wrong with the file's insides
        what = f"cannot be read as NetCDF ({type(error).__name__}: {str(error)[:120]})"
        raise InputError(what, where=path.name, expected="daily times in the standard calendar") from None


def _named(raw: Any, names: Mapping[str, str], where: str) -> dict[str, str]:
    """Our name -> name in the file, told by the caller, else by the file."""
    has = ", ".join(str(v)[:30] for v in list(raw.data_vars)[:12])
    found: dict[str, str] = {}
    for name, given in names.items():
        if name not in DAILY_UNITS:
            raise InputError(f"{name!r} is not a weather variable", expected="one of " + ", ".join(DAILY_UNITS))
        if given not in raw.data_vars:
            raise InputError(f"has no variable {given[:60]!r}", where=where, expected=f"one of {has}")
        found[name] = given
    for variable in map(str, raw.data_vars):
        about = raw[variable].attrs
        method = re.search(r"\btime:\s*(maximum|minimum|mean|sum)\b", str(about.get("cell_methods", "")))
        standard = str(about.get("standard_name", "")).split(" ")[0]
        told = _STANDARD.get(standard, {}).get(method[1] if method else "")
        if told in ("tmean", "humidity", "wind") or told is None:  # no method: the name may know which of the day it is
            told = _COMMON.get(variable.lower(), told) if about.get("units") else told
        if told is None or variable in found.values() or told in names:
            continue
        if told in found:
            raise InputError(
                f"holds {told} twice, as {found[told]} and {variable}", where=where, todo="name the one that is meant"
            )
        found[told] = variable
    if not found:
        raise InputError(
            "holds no weather that is told by CF standard names", where=where, todo=f"name its variables: {has}"
        )
    return found


def _conversion(unit: str, name: str, where: str) -> tuple[float, float]:
    """Factor and offset from the file's unit to ours."""
    canonical = DAILY_UNITS[name]
    for target in (canonical, *_ALSO.get(canonical, ())):
        try:
            return units.conversion(_pint_spelling(unit), target)
        except UnitError:
            continue
    raise UnitError(f"{name} is in {unit[:40]!r}", expected=canonical, where=where)


def _pint_spelling(unit: str) -> str:
    """UDUNITS ``kg m-2 s-1`` as ``kg/m**2/s``."""
    if unit.strip().lower().replace("_", " ") in _CELSIUS:
        return "degC"
    above: list[str] = []
    below: list[str] = []
    for part in unit.replace("**", "").replace("^", "").replace(".", " ").replace("*", " ").split():
        found = re.fullmatch(r"([A-Za-z]+)([+-]?)(\d?)", part)
        if found is None:
            return unit  # spelled some other way, which the registry may know
        name = {"d": "day"}.get(found[1], found[1]) + (f"**{found[3]}" if found[3] not in ("", "1") else "")
        (below if found[2] == "-" else above).append(name)
    return "/".join(["*".join(above) or "1", *below])


def _on_axes(raw: Any, named: Mapping[str, str], where: str) -> xr.Dataset:
    """The variables named ours on (time, y, x), with whole days in order and plain coordinates."""
    import xarray

    latitude, longitude = _coordinate(raw, "latitude", "north", where), _coordinate(raw, "longitude", "east", where)
    names: list[str] = []
    if latitude.ndim == 0 or (latitude.ndim == 1 and latitude.dims == longitude.dims):
        names = _point_names(raw, latitude)
        raw, latitude, longitude = _as_row(raw, named, latitude, longitude)
    plane = latitude.dims if latitude.ndim == 2 else (*latitude.dims, *longitude.dims)
    if latitude.ndim != longitude.ndim or len(plane) != 2 or (latitude.ndim == 2 and set(longitude.dims) != set(plane)):
        raise InputError("is not a grid of rows and columns", where=where, expected="a latitude and longitude for each")
    out = {}
    for name, given in named.items():
        array = raw[given]
        spare = [d for d in array.dims if d not in plane and array.sizes[d] == 1 and not _is_time(raw, d)]
        array = array.squeeze(spare, drop=True)  # one height, one ensemble member
        time = [d for d in array.dims if d not in plane]
        if len(time) != 1 or len(array.dims) != 3 or not _is_time(raw, time[0]):
            shown = ", ".join(map(str, raw[given].dims))[:80]
            raise InputError(f"{given} has the dimensions {shown}", where=where, expected="days, rows and columns")
        days = _days(raw[time[0]], where)
        plain = array.drop_vars(list(array.coords)).transpose(time[0], *plane)
        out[name] = plain.rename(dict(zip(plain.dims, ("time", "y", "x"), strict=True))).assign_coords(time=days)
    both = ("y", "x")
    if latitude.ndim == 2:
        latitude, longitude = latitude.transpose(*plane), longitude.transpose(*plane)
    grid = xarray.Dataset(out).assign_coords(
        latitude=(both if latitude.ndim == 2 else "y", np.asarray(latitude, dtype=np.float64)),
        longitude=(both if longitude.ndim == 2 else "x", np.asarray(longitude, dtype=np.float64)),
    )
    grid.attrs["points"] = names
    return grid.sortby("time")


def _point_names(raw: Any, latitude: Any) -> list[str]:
    """What a file calls its points, by a coordinate or variable of text along them; [] where it does not."""
    for name in raw.variables:
        held = raw[name]
        if held.dims == latitude.dims and held.dtype.kind in "USO":
            texts = [str(v.decode() if isinstance(v, bytes) else v).strip() for v in np.atleast_1d(held.values)]
            if all(texts) and len(set(texts)) == len(texts):
                return texts
    return []


def _as_row(raw: Any, named: Mapping[str, str], latitude: Any, longitude: Any) -> tuple[Any, Any, Any]:
    """A file of points as a grid of one row and a column a point."""
    at = latitude.dims[0] if latitude.dims else "_point"
    if not latitude.dims:
        raw = raw.assign({given: raw[given].expand_dims(at) for given in named.values()})
        latitude, longitude = latitude.expand_dims(at), longitude.reset_coords(drop=True).expand_dims(at)
    raw = raw.assign({given: raw[given].expand_dims("_row") for given in named.values() if at in raw[given].dims})
    return raw, latitude.expand_dims("_row"), longitude.expand_dims("_row")


def _is_time(raw: Any, dimension: Any) -> bool:
    if dimension not in raw.coords:
        return False
    held = raw[dimension]
    return held.dtype.kind == "M" or (held.dtype.kind == "O" and held.size > 0 and hasattr(held.values[0], "dayofyr"))


def _coordinate(raw: Any, kind: str, heading: str, where: str) -> Any:
    """Latitude or longitude, by its CF attributes or else by its name."""
    marks = {f"degree_{heading}", f"degrees_{heading}", f"degree_{heading[0].upper()}", f"degrees_{heading[0].upper()}"}
    told = [
        name
        for name in raw.variables
        if raw[name].attrs.get("standard_name") == kind or raw[name].attrs.get("units") in marks
    ]
    for name in (*told, kind, kind[:3]):
        if name in raw.variables and raw[name].ndim in (0, 1, 2) and raw[name].dtype.kind in "fiu":
            return raw[name]
    raise InputError(f"has no {kind}", where=where, expected="coordinates by CF standard name")


def _days(time: Any, where: str) -> NDArray[np.datetime64]:
    """Times as days, each once."""
    if time.dtype.kind == "O":
        days = np.array([_calendar_day(moment) for moment in time.values], dtype="datetime64[D]")
    else:
        days = np.asarray(time, dtype="datetime64[D]")
    if days.size == 0 or np.isnat(days).any() or np.unique(days).size != days.size:
        raise InputError("is not daily", where=where, expected="one time a day, each day once")
    if int((days.max() - days.min()).astype(np.int64)) >= MOST_DAYS:
        raise InputError(f"spans more than {MOST_DAYS:,} days", where=where, expected="three centuries at most")
    return days


def _calendar_day(moment: Any) -> np.datetime64:
    """A time of a climate model's calendar as a day of ours."""
    if moment.calendar == "360_day":
        first = np.datetime64(f"{moment.year:04d}-01-01", "D")
        length = int((np.datetime64(f"{moment.year + 1:04d}-01-01", "D") - first).astype(np.int64))
        return first + np.timedelta64(int((moment.dayofyr - 0.5) / 360 * length), "D")
    return np.datetime64(f"{moment.year:04d}-{moment.month:02d}-{moment.day:02d}", "D")


# --- cells ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Cells:
    """Cells of places, (place,): row and column, -1 where the place is in none, and km to the cell's middle."""

    row: Ints
    column: Ints
    distance_km: Floats


def nearest_cells(
    grid: xr.Dataset, latitude: ArrayLike, longitude: ArrayLike, *, within_km: float | None = None
) -> Cells:
    """The cell whose middle is nearest on the sphere.

    Parameters
    ----------
    latitude, longitude : (place,) degrees, WGS84; NaN where a place has no position
    within_km : farther than this is no cell; the distance between diagonal neighbours of the grid where None
    """
    from scipy.spatial import cKDTree

    north, east = _middles(grid)
    shape = north.shape
    points = _on_sphere(np.asarray(latitude, np.float64).reshape(-1), np.asarray(longitude, np.float64).reshape(-1))
    known = np.isfinite(points).all(axis=1)
    chord, at = np.full(len(points), np.nan), np.full(len(points), -1, dtype=np.int64)
    middles = _on_sphere(north.reshape(-1), east.reshape(-1))
    usable = np.flatnonzero(np.isfinite(middles).all(axis=1))
    if known.any() and usable.size:
        chord[known], nearest = cKDTree(middles[usable]).query(points[known])
        at[known] = usable[nearest]
    distance = 2 * EARTH_KM * np.arcsin(np.clip(chord / 2, 0.0, 1.0))
    most = _diagonal_km(middles.reshape(*shape, 3)) if within_km is None else within_km
    inside = known & (distance <= most)
    at = np.where(inside, at, -1)
    row, column = np.divmod(np.maximum(at, 0), shape[1])
    return Cells(np.where(inside, row, -1), np.where(inside, column, -1), distance)


def containing_cells(grid: xr.Dataset, latitude: ArrayLike, longitude: ArrayLike) -> Cells:
    """The cell in whose rectangle a place lies; a cell reaches half way to its neighbours.

    Raises
    ------
    InputError : the grid's latitude and longitude are not those of rows and columns
    """
    if grid["latitude"].ndim != 1:
        raise InputError("the grid's cells are no rectangles of latitude and longitude", todo="take the nearest cells")
    north = np.asarray(latitude, np.float64).reshape(-1)
    east = np.asarray(longitude, np.float64).reshape(-1)
    middle_east = np.asarray(grid["longitude"], np.float64)
    turned = (east - middle_east.min() + 180.0) % 360.0 - 180.0 + middle_east.min()  # as near the grid as may be
    row = _between_edges(np.asarray(grid["latitude"], np.float64), north)
    column = _between_edges(middle_east, np.where(turned < middle_east.min() - 90, turned + 360.0, turned))
    inside = (row >= 0) & (column >= 0)
    row, column = np.where(inside, row, -1), np.where(inside, column, -1)
    there = _on_sphere(np.asarray(grid["latitude"], np.float64)[row], middle_east[column])
    chord = np.linalg.norm(there - _on_sphere(north, east), axis=1)
    distance = np.where(inside, 2 * EARTH_KM * np.arcsin(np.clip(chord / 2, 0.0, 1.0)), np.nan)
    return Cells(row, column, distance)


def _middles(grid: xr.Dataset) -> tuple[Floats, Floats]:
    north, east = np.asarray(grid["latitude"], np.float64), np.asarray(grid["longitude"], np.float64)
    if north.ndim == 2:
        return north, east
    rows, columns = np.meshgrid(north, east, indexing="ij")
    return rows, columns


def _on_sphere(latitude: Floats, longitude: Floats) -> Floats:
    """(n, 3) points of the unit sphere; NaN off the globe."""
    good = (np.abs(latitude) <= 90) & (np.abs(longitude) <= 540)
    north, east = np.radians(np.where(good, latitude, np.nan)), np.radians(np.where(good, longitude, np.nan))
    return np.stack([np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)], axis=-1)


def _diagonal_km(points: Floats) -> float:
    """Median distance between diagonal neighbours on the globe; without any, a degree."""
    chord = np.linalg.norm(points[1:, 1:] - points[:-1, :-1], axis=-1)
    chord = chord[np.isfinite(chord)]
    if not chord.size:
        return float(np.radians(1.0) * EARTH_KM)
    return float(2 * EARTH_KM * np.arcsin(np.clip(np.median(chord) / 2, 0.0, 1.0)))


def _between_edges(middle: Floats, at: Floats) -> Ints:
    """Index of the interval around each middle that holds `at`, -1 where none does."""
    if middle.size < 2:
        return np.where(np.abs(at - middle[0]) <= 0.5, 0, -1)
    order = np.argsort(middle)
    ranked = middle[order]
    half = np.diff(ranked) / 2
    edges = np.concatenate([[ranked[0] - half[0]], ranked[:-1] + half, [ranked[-1] + half[-1]]])
    found = np.searchsorted(edges, np.nan_to_num(at, nan=np.inf), side="right") - 1
    inside = (found >= 0) & (found < middle.size)
    return np.where(inside, order[np.where(inside, found, 0)], -1)


def stations_of(grid: xr.Dataset, cells: Cells, names: Sequence[str]) -> dict[str, StationDays]:
    """Daily records of cells under the names given; places in no cell are left out, days not in the grid are NaN.

    Raises
    ------
    InputError : more values than memory should be asked for
    """
    wanted = np.flatnonzero(cells.row >= 0)
    days = np.asarray(grid["time"], dtype="datetime64[D]")
    length = int((days[-1] - days[0]).astype(np.int64)) + 1
    if wanted.size * length * len(grid.data_vars) > MOST_VALUES:
        raise InputError(f"{wanted.size:,} cells of {length:,} days are too much at once", todo="take fewer at a time")
    import xarray

    row, column = (xarray.DataArray(part[wanted], dims="place") for part in (cells.row, cells.column))
    at = (days - days[0]).astype(np.int64)
    values: dict[str, Floats] = {}
    for name in map(str, grid.data_vars):
        loaded = np.asarray(grid[name].isel(y=row, x=column).transpose("place", "time"), dtype=np.float64)
        values[name] = np.full((wanted.size, length), np.nan)
        values[name][:, at] = np.where(np.isfinite(loaded), loaded, np.nan)
    north, east = _middles(grid)
    source = f"grid {grid.attrs.get('source', '')}".strip()
    return {
        names[place]: StationDays(
            station=names[place],
            start=days[0].item(),
            values={k: v[i] for k, v in values.items()},
            latitude=float(north[cells.row[place], cells.column[place]]),
            longitude=_west_to_east(float(east[cells.row[place], cells.column[place]])),
            source=f"{source}, cell {cells.row[place]},{cells.column[place]}",
        )
        for i, place in enumerate(wanted.tolist())
    }


def _west_to_east(longitude: float) -> float:
    return (longitude + 180.0) % 360.0 - 180.0


# --- taking into the ledger -------------------------------------------------------------------------------------------

_POINT = (
    Field("name", "text", "id under which the cell is kept as a station", required=True),
    Field("latitude", "number", "degrees north", bare=True, low=-90, high=90, required=True),
    Field("longitude", "number", "degrees east, negative in the west", bare=True, low=-180, high=180, required=True),
)
_NAMES = tuple(Field(name, "text", f"the file's variable that is {name}") for name in DAILY_UNITS)
_MOST_POINTS = 200


def _taken(path: Path, options: dict[str, Any]) -> Taken:
    named = {f.name: options[f.name] for f in _NAMES if options.get(f.name)}
    with read_grid(path, names=named) as grid:
        points = options.get("points") or _own_points(grid, path)
        keys = [str(p["name"]) for p in points]
        if len(set(keys)) < len(keys):
            raise InputError("two points have one name", where="points", expected="a name for each")
        cells = nearest_cells(grid, [p["latitude"] for p in points], [p["longitude"] for p in points])
        records = stations_of(grid, cells, keys)
    if not records:
        raise InputError("none of the points lies in the grid", where=path.name, todo="check latitude and longitude")
    notes: list[Any] = [
        f"{key}: the middle of its cell is {km:.1f} km away" if key in records else f"{key}: outside the grid, left out"
        for key, km in zip(keys, cells.distance_km.tolist(), strict=True)
    ]
    drafts: list[Draft] = [draft for key, record in records.items() for draft in drafts_of(possible(record), key)]
    return Taken(tuple(drafts), (), tuple(notes))


def _own_points(grid: xr.Dataset, path: Path) -> list[dict[str, Any]]:
    """The points of a file that holds no grid but some places, named by the file and their order."""
    north, east = np.asarray(grid["latitude"], np.float64), np.asarray(grid["longitude"], np.float64)
    if grid.sizes["y"] != 1 or grid.sizes["x"] > _MOST_POINTS:
        raise InputError("does not say which cells are wanted", where=path.name, todo="give points=")
    row = zip(np.broadcast_to(north.reshape(-1), grid.sizes["x"]), east.reshape(-1), strict=True)
    stem = path.name.split(".")[0]
    told = [place_id(text) for text in grid.attrs.get("points", [])]
    keys = (
        told if all(told) and len(told) == grid.sizes["x"] else [f"{stem}-{i}" for i in range(1, grid.sizes["x"] + 1)]
    )
    keys = [stem] if len(keys) == 1 and not told else keys
    return [
        {"name": keys[i - 1], "latitude": float(lat), "longitude": _west_to_east(float(lon))}
        for i, (lat, lon) in enumerate(row, 1)
    ]


FORMATS = (
    Format(
        "grid", "NetCDF grid of daily weather (CF): the cells of some points as stations (office extra)", _taken,
        (Field("points", "records", "points whose cells are wanted", fields=_POINT,
               example="name=north, latitude=38.3, longitude=-99.1; name=south, latitude=38.0, longitude=-98.9"),
         *_NAMES),
        lambda head: head.data[:4] in (b"\x89HDF", b"CDF\x01", b"CDF\x02"),
    ),
)  # fmt: skip
