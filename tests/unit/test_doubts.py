"""What will be doubted of a station's days is said at the door, in the reader's language."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sideoats.intake.taken import find_format, read_file
from sideoats.schema import read_all
from sideoats.week.doubts import doubts
from sideoats.words import Reader, sentence


def test_a_jump_of_forty_degrees_is_told_with_its_day_and_reason(tmp_path: Path) -> None:
    high = 20 + 5 * np.sin(np.arange(60) / 3)
    high[30] += 40
    rows = "".join(f"Z1,{np.datetime64('2026-05-01') + i},{h:.1f},{h - 10:.1f}\n" for i, h in enumerate(high))
    path = tmp_path / "d.csv"
    path.write_text("STATION,DATE,TMAX,TMIN\n" + rows.replace(f",{high[30] - 10:.1f}\n", ",10.0\n"))
    options = {"units": "metric"}
    taken = read_file("ghcn-daily", path, read_all(find_format("ghcn-daily").options, options))
    said = doubts(taken)
    english = [sentence(s, Reader()) for s in said]
    assert any("1 day is doubted" in line and "31 May 2026" in line and "jumps too far" in line for line in english)
    assert any("es dudoso" in sentence(s, Reader("es")) and "salta" in sentence(s, Reader("es")) for s in said)
    clean = "".join(f"Z1,{np.datetime64('2026-05-01') + i},20.{i % 9},10.{i % 7}\n" for i in range(60))
    path.write_text("STATION,DATE,TMAX,TMIN\n" + clean)
    assert doubts(read_file("ghcn-daily", path, read_all(find_format("ghcn-daily").options, options))) == ()
