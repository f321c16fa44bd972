"""The tables of docs/files.md: every format, and what each file beside the project gives.

python -m tools.layouts    writes them between their marks

The second table is made where `../shared/data` is at hand, and left as it is elsewhere.
"""

from __future__ import annotations

import re
from pathlib import Path

from sideoats.errors import SideoatsError
from sideoats.intake.taken import formats, read_file, recognised
from sideoats.schema import read_all

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "files.md"
DATA = ROOT.parent / "shared" / "data"
# Files that hold several stations need one named; what each layout is stands here, as no file says it.
FILES = {
    "weather/USW00003870.dly": ("GHCN-Daily, fixed columns, 1962 on", {}),
    "weather/USC00305816.dly": ("the same, a cooperative observer from 1871", {}),
    "weather/AE000041196.dly": ("the same, every value with a source mark", {}),
    "weather/ghcn_by_year_1763.csv": ("GHCN-Daily by year, joined with a station list", {}),
    "weather/lincoln_weather.csv": ("daily summaries, whole degF, units not in the file", {}),
    "weather/CRND0103-2020-03067.txt": ("USCRN daily", {}),
    "weather/CRND0103-2020-53974.txt": ("USCRN daily", {}),
    "weather/lcd1_3876540.csv": ("LCD, first version, US units", {}),
    "weather/lcd2_USW00014939_2020.csv": ("LCD, second version, SI units", {}),
    "weather/722874-93134-2007.op.gz": ("GSOD, fixed columns", {}),
    "weather/722874-93134-2007.isd.gz": ("full ISD, reports and summaries of the day", {}),
    "weather/024130-99999-2016.isd.gz": ("full ISD, synoptic reports", {}),
    "weather/daymet_v3_point_36.01_-84.26.csv": ("one point, year and day of 365", {}),
    "weather/cdo_v2_normal_dly_tmax.json": ("normals, older JSON, 25 stations", {"station": "AQW00061705"}),
    "weather/usdm_county_percent_2022.csv": ("drought map", {}),
    "weather/usdm_county_percent_cumulative.csv": ("drought map", {}),
    "weather/uscrn_daily_2020.parquet": ("a data frame's own storage, no layout of a service", {}),
    "markets/nass_quickstats_va_corn_yield_2012.json": ("statistics query of yields", {}),
    "markets/nass_quickstats_va_corn_yield_2012.csv": ("the same", {}),
    "markets/nass_quickstats_va_corn_yield_2012.xml": ("the same", {}),
    "markets/nass_error_400.json": ("the service's refusal", {}),
    "markets/nass_error_413.json": ("the service's refusal", {}),
    "markets/ams_auction_rows_per_unit_trap.json": ("auction rows priced by the head", {}),
    "markets/ams_mymarketnews_1095_documented_example.json": ("a dairy report, of no use here", {}),
}
_MOST = 110


def formats_table() -> str:
    """Every format: its name, what it is, whether it is told by content, its options."""
    rows = ["| format | what | told by its content | options |", "|---|---|---|---|"]
    for known in sorted(formats().values(), key=lambda f: f.name):
        options = " ".join(f"`{f.name}=`" for f in known.options)
        rows.append(f"| `{known.name}` | {known.about} | {'yes' if known.knows else 'no'} | {options} |")
    return "\n".join(rows)


def _gives(path: Path, options: dict[str, str]) -> tuple[str, str]:
    try:
        chosen = recognised(path)
    except SideoatsError as error:
        return "-", f"refused: {str(error).split('; name the format')[0].replace(path.name + ': ', '')[:_MOST]}"
    try:
        taken = read_file(chosen.name, path, read_all(chosen.options, options))
    except SideoatsError as error:
        return f"`{chosen.name}`", f"refused: {str(error).replace(path.name + ': ', '')[:_MOST]}"
    days: dict[str, int] = {}
    kinds: dict[str, int] = {}
    for item in taken.drafts:
        kinds[item.kind] = kinds.get(item.kind, 0) + 1
        if item.kind == "station_days":
            for name, column in item.body.items():
                if isinstance(column, list):
                    days[name] = days.get(name, 0) + sum(v is not None for v in column)
    soil = [n for n in days if n.startswith("soil_")]
    shown = [f"{name} {n:,}" for name, n in days.items() if name not in soil]
    shown += [f"soil at {len(soil)} depths"] if soil else []
    if not days:
        shown = [f"{n} {kind.replace('_', ' ')}" for kind, n in kinds.items() if kind != "place"]
    return f"`{chosen.name}`", ", ".join(shown) + (f"; {len(taken.rejected)} rows set aside" if taken.rejected else "")


def files_table() -> str:
    """Every file beside the project: as what it is told, and how many values of each variable it gives."""
    rows = ["| file | layout | told as | gives (days with a value) |", "|---|---|---|---|"]
    for name, (layout, options) in FILES.items():
        told, gives = _gives(DATA / name, options)
        rows.append(f"| {Path(name).name} | {layout} | {told} | {gives} |")
    return "\n".join(rows)


def filled(text: str) -> str:
    """The page with its tables made anew."""
    tables = {"formats": formats_table()} | ({"files": files_table()} if DATA.is_dir() else {})
    for name, table in tables.items():
        text = re.sub(rf"(<!-- {name} -->\n).*?(\n<!-- end of {name} -->)", lambda m, t=table: m[1] + t + m[2], text,
                      flags=re.DOTALL)  # fmt: skip
    return text


if __name__ == "__main__":
    PAGE.write_text(filled(PAGE.read_text("utf-8")), "utf-8")
