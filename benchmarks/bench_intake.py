"""Station files read whole, in MB a second, against pandas on the same bytes with nothing but the table as its result.

The reference only cuts lines or cells and makes numbers of them: it knows no missing code, no quality mark, no unit, no
day and no gap. Files are those beside the project, made longer where they are small; gzip is unpacked first.
"""

from __future__ import annotations

import gzip
import io
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from sideoats.intake.ghcn_daily import read_ghcn_daily
from sideoats.intake.gsod import read_gsod
from sideoats.intake.isd import read_isd
from sideoats.intake.lcd import read_lcd_days
from sideoats.intake.pixel import heading_at, read_pixel
from sideoats.intake.uscrn import read_uscrn_daily

DATA = Path(__file__).parents[2] / "shared" / "data" / "weather"
Reference = Callable[[str], object]


def _dly(text: str) -> object:
    widths = [11, 4, 2, 4] + [5, 1, 1, 1] * 31
    return pd.read_fwf(io.StringIO(text), widths=widths, header=None)


def _blanks(text: str) -> object:
    return pd.read_csv(io.StringIO(text), sep=r"\s+", header=None)


def _op(text: str) -> object:
    return pd.read_csv(io.StringIO(text), sep=r"\s+", header=None, skiprows=1)


def _table(text: str) -> object:
    return pd.read_csv(io.StringIO(text), low_memory=False)


def _daymet(text: str) -> object:
    return pd.read_csv(io.StringIO(text[heading_at(text) :]))


def _isd(text: str) -> object:
    cut = [(15, 23), (23, 27), (41, 46), (60, 63), (65, 69), (87, 92), (93, 98), (99, 104)]
    return pd.read_fwf(io.StringIO(text), colspecs=cut, header=None, dtype=str)


CASES: tuple[tuple[str, str, Callable[[Path], object], Reference], ...] = (
    (".dly", "USW00003870.dly", read_ghcn_daily, _dly),
    ("by-year CSV", "ghcn_by_year_1763.csv", read_ghcn_daily, _table),
    ("USCRN daily", "CRND0103-2020-53974.txt", read_uscrn_daily, _blanks),
    ("LCD, its official days and hours", "lcd1_3876540.csv", read_lcd_days, _table),
    ("GSOD .op", "722874-93134-2007.op.gz", read_gsod, _op),
    ("full ISD", "722874-93134-2007.isd.gz", read_isd, _isd),
    ("point CSV", "daymet_v3_point_36.01_-84.26.csv", read_pixel, _daymet),
)


def _seconds(work: Callable[[], object]) -> float:
    took = []
    for _ in range(3):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def main() -> None:
    """Print a line for each layout."""
    if not DATA.is_dir():
        print("the files beside the project are not here: nothing measured")
        return
    with tempfile.TemporaryDirectory() as folder:
        for what, name, read, reference in CASES:
            raw = (DATA / name).read_bytes()
            data = gzip.decompress(raw) if name.endswith(".gz") else raw
            path = Path(folder) / name.removesuffix(".gz")
            path.write_bytes(data)
            text, size = data.decode(), len(data) / 1e6
            ours, plain = _seconds(lambda r=read, p=path: r(p)), _seconds(lambda f=reference, t=text: f(t))
            print(
                f"{what}: {size:.2f} MB, {size / ours:.1f} MB/s with marks, units and gaps; pandas, the cells alone, "
                f"{size / plain:.1f} MB/s; ratio {plain / ours:.2f}"
            )


if __name__ == "__main__":
    main()
