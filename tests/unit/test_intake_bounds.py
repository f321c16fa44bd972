"""Weather that cannot be is refused when a file is taken, by every reader; nothing in a file breaks one."""

from datetime import UTC, datetime

import pytest

from sideoats.errors import InputError
from sideoats.intake.isd_lite import read_isd_lite
from sideoats.intake.station_csv import read_mapping
from sideoats.intake.taken import find_format
from sideoats.ledger import NewEntry, evidence_kinds
from sideoats.ledger.drafts import draft
from sideoats.schema import read_all

SEEN = datetime(2026, 9, 1, tzinfo=UTC)
DAYS = [f for f in evidence_kinds()["station_days"].fields.values() if f.kind == "days"]


def kept(body):
    return draft(NewEntry("station_days", {"start": "2026-08-01", **body}, place="s", seen_at=SEEN), evidence_kinds())


@pytest.mark.parametrize("field", DAYS, ids=lambda f: f.name)
@pytest.mark.parametrize("value", [1e308, -7.8e32, 2.8e9, 2e7, float("inf"), -1e4])
def test_weather_beyond_any_record_is_refused(field, value):
    with pytest.raises(InputError, match=field.name):
        kept({field.name: [None, value]})


@pytest.mark.parametrize(
    ("variable", "value"),
    # The world's records, WMO weather and climate extremes archive, from memory
    [("tmax", 56.7), ("tmin", -89.2), ("rain", 1825.0), ("gust", 113.2), ("dewpoint", 35.0), ("snow_depth", 11820.0)],
)
def test_the_worlds_records_are_weather(variable, value):
    assert kept({variable: [value]})


def csv(tmp_path, unit, value):
    (tmp_path / "m.toml").write_text(
        'step = "day"\n[station]\nid = "s"\n[time]\ncolumn = "d"\nformat = "%Y-%m-%d"\n'
        f'[columns.rain]\ncolumn = "r"\nunit = "{unit}"\n'
    )
    (tmp_path / "s.csv").write_text(f"d,r\n2026-08-01,{value}\n")
    return "station-csv", tmp_path / "s.csv", {"mapping": str(tmp_path / "m.toml")}


def isd(tmp_path, rain):
    rows = [f"2024 07 01 {h:02d}   200   100 10132   180    30     0 {rain:>5} -9999" for h in range(24)]
    (tmp_path / "x.txt").write_text("\n".join(rows) + "\n")
    return "isd-lite", tmp_path / "x.txt", {"utc_offset": "0"}


@pytest.mark.parametrize("made", [lambda p: csv(p, "mm", "1e308"), lambda p: csv(p, "inch", "-3")])
def test_no_reader_hands_on_weather_that_cannot_be(tmp_path, made):
    name, path, options = made(tmp_path)
    chosen = find_format(name)
    with pytest.raises(InputError):
        for item in chosen.read(path, read_all(chosen.options, options)).drafts:
            draft(NewEntry(item.kind, item.body, place=item.place, seen_at=item.seen_at), evidence_kinds())


def test_what_cannot_be_is_set_aside_and_the_rest_is_kept(tmp_path):
    name, path, options = isd(tmp_path, 99999)
    chosen = find_format(name)
    taken = chosen.read(path, read_all(chosen.options, options))
    (block,) = [item for item in taken.drafts if item.kind == "station_days"]
    assert "rain" not in block.body and block.body["tmax"] == [20.0]
    assert any(getattr(note, "code", "") == "take.set_aside" for note in taken.notes)
    draft(NewEntry("station_days", block.body, place=block.place, seen_at=block.seen_at), evidence_kinds())


def test_a_reading_of_any_width_does_not_break_the_hourly_reader(tmp_path):
    row = "2024 07 01 00   200   100 10132   180    30     0     0 -9999"
    (tmp_path / "x.txt").write_text(row + "\n" + row.replace(" 01 00 ", " 01 01 ").replace("10132", "9" * 400) + "\n")
    record = read_isd_lite(tmp_path / "x.txt")
    assert len(record.rejected) == 1


def test_a_mapping_of_dotted_names_is_refused_at_once(tmp_path):
    (tmp_path / "m.toml").write_text("a" + ".a" * 60_000 + " = 1\n")
    with pytest.raises(InputError, match="dots"):
        read_mapping(tmp_path / "m.toml")
