"""Forecasts, alerts and positions of the weather service: every file at hand, recomputed by parsers of the test's own.

Files: shared/data/forecast (United States Weather Service, public domain; its README says what was altered).
"""

from __future__ import annotations

import json
import re
from datetime import date, datetime, timedelta
from pathlib import Path
from xml.dom import minidom

import pytest

from sideoats.errors import InputError
from sideoats.intake.dwml import read_dwml
from sideoats.intake.entries import entries_of
from sideoats.intake.expected import both, duration
from sideoats.intake.forecast_csv import read_forecast_csv
from sideoats.intake.service_json import read_service_json
from sideoats.intake.taken import find_format, read_file
from sideoats.ledger import open_ledger

DATA = Path(__file__).parents[2].parent / "shared" / "data" / "forecast"
EASTERN = -5  # hours, February
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="the shared forecast files are not at hand")


def own_layer(name: str) -> list[tuple[datetime, datetime, float]]:
    """A layer of the raw grid point, parsed without any code of the program; clock times of the Eastern zone."""
    out = []
    for item in json.loads((DATA / "tae_detailed_forecast.json").read_text())["properties"][name]["values"]:
        start, lasts = item["validTime"].split("/")
        days, hours = (re.search(rf"(\d+){unit}", lasts) for unit in "DH")
        span = timedelta(days=int(days[1]) if days else 0, hours=int(hours[1]) if hours else 0)
        begins = datetime.fromisoformat(start).replace(tzinfo=None) + timedelta(hours=EASTERN)
        if item["value"] is not None:
            out.append((begins, begins + span, item["value"]))
    return out


def taken_days(*, zone: str | None = "America/New_York") -> dict[str, dict[str, float]]:
    taken = read_service_json(DATA / "tae_detailed_forecast.json", zone=zone)
    return {row["date"]: row for draft in taken.drafts if draft.kind == "forecast" for row in draft.body["days"]}


def test_the_grid_point_gives_the_highs_and_lows_of_whole_windows() -> None:
    days = taken_days()
    highs = {b.date().isoformat(): v for b, e, v in own_layer("maxTemperature") if e - b == timedelta(hours=13)}
    lows = {e.date().isoformat(): v for b, e, v in own_layer("minTemperature") if e - b == timedelta(hours=14)}
    assert len(highs) == 7 and len(lows) == 8
    assert {d: row["high"] for d, row in days.items() if "high" in row} == {
        d: pytest.approx(v * 1.8 + 32, abs=1e-3) for d, v in highs.items()
    }
    assert {d: row["low"] for d, row in days.items() if "low" in row} == {
        d: pytest.approx(v * 1.8 + 32, abs=1e-3) for d, v in lows.items()
    }
    assert days["2022-02-04"]["high"] == 72.0  # 22.222 degC; the tail of 3 February (76.0 over 21Z/PT4H) is no high
    assert "high" not in days["2022-02-03"]


def test_rain_is_spread_over_its_interval_and_never_made_up() -> None:
    days, amounts = taken_days(), own_layer("quantitativePrecipitation")
    last = max(e for _, e, _ in amounts)
    for day, row in days.items():
        since = datetime.fromisoformat(day)
        until = since + timedelta(days=1)
        total = sum(v * max((min(e, until) - max(b, since)) / (e - b), 0) for b, e, v in amounts)
        if until <= last:
            assert row["rain"] == pytest.approx(total / 25.4, abs=1e-3), day
        else:
            assert "rain" not in row, day
    assert sum(row.get("rain", 0) for row in days.values()) > 0.5


def test_wind_and_humidity_of_a_day_are_those_of_its_hours() -> None:
    days, wind, damp = taken_days(), own_layer("windSpeed"), own_layer("relativeHumidity")
    for day in ("2022-02-04", "2022-02-06", "2022-02-09"):
        hours = [datetime.fromisoformat(day) + timedelta(hours=k) for k in range(24)]
        speeds = [next(v for b, e, v in wind if b <= h < e) for h in hours]
        assert days[day]["wind"] == pytest.approx(sum(speeds) / 24 / 1.609344, abs=1e-3)
        shares = [next(v for b, e, v in damp if b <= h < e) for h in hours]
        assert days[day]["humidity"] == pytest.approx(min(shares) / 100)


def test_the_hours_of_a_grid_point_need_its_zone() -> None:
    taken = read_service_json(DATA / "tae_detailed_forecast.json", zone="America/New_York")
    (held,) = (draft for draft in taken.drafts if draft.kind == "forecast_hours")
    hours = {(row["date"], row["hour"]): row for row in held.body["hours"]}
    air = own_layer("temperature")
    for day, hour in (("2022-02-04", 7), ("2022-02-05", 0), ("2022-02-05", 15), ("2022-02-08", 23)):
        at = datetime.fromisoformat(day) + timedelta(hours=hour)
        value = next(v for b, e, v in air if b <= at < e)
        assert hours[day, hour]["temperature"] == pytest.approx(value * 1.8 + 32, abs=1e-3)
    without = read_service_json(DATA / "tae_detailed_forecast.json")
    assert [draft.kind for draft in without.drafts] == ["forecast"] and "zone=" in without.notes[0]
    assert {k: v.get("high") for k, v in taken_days(zone=None).items()} == {
        k: v.get("high") for k, v in taken_days().items()
    }
    assert (held.body["latitude"], held.body["longitude"]) == (30.0194, -84.9803)  # the middle of its cell


@pytest.mark.parametrize("name", ["us", "si"])
def test_periods_of_half_a_day(name: str) -> None:
    (draft,) = read_service_json(DATA / f"tae_gridpoints_forecast_{name}.json").drafts
    raw = json.loads((DATA / f"tae_gridpoints_forecast_{name}.json").read_text())["properties"]["periods"]
    unit = {"F": lambda t: t, "C": lambda t: t * 1.8 + 32}
    day, night = (unit[p["temperatureUnit"]](p["temperature"]) for p in raw)
    first, second = draft.body["days"]
    assert (first["date"], first["high"], first["rain_chance"]) == ("2019-10-13", day, 0.2) and "low" not in first
    assert second == {"date": "2019-10-14", "low": night}  # of the morning on which the night ends
    assert first["wind"] == pytest.approx(10.0 if name == "us" else 16 / 1.609344, abs=1e-3)
    assert draft.seen_at.isoformat() == "2019-10-13T14:16:20-04:00"


def test_hourly_periods_with_each_unit_read_beside_its_value() -> None:
    (draft,) = read_service_json(DATA / "tae_gridpoints_forecast_hourly_us.json").drafts
    assert draft.kind == "forecast_hours"
    assert draft.body["hours"] == [
        {"date": "2019-10-14", "hour": 20, "temperature": 78.0, "humidity": 0.63, "wind": 0.0, "wind_from": "south"},
        {
            "date": "2019-10-14",
            "hour": 21,
            "temperature": 77.0,
            "humidity": 0.63,
            "wind": 0.0,
            "wind_from": "south-west",
        },
    ]


def test_an_alert_ends_when_the_hazard_does_and_not_the_message() -> None:
    (draft,) = read_service_json(DATA / "tae_alerts_active_zone.json", place="s").drafts
    raw = json.loads((DATA / "tae_alerts_active_zone.json").read_text())["features"][0]["properties"]
    body = draft.body
    assert (body["alert"], body["event"], body["severity"]) == (raw["id"], raw["event"], raw["severity"])
    assert (body["begins"], body["ends"]) == (raw["onset"][:10], raw["ends"][:10]) != raw["expires"][:10]
    assert body["zones"].split() == raw["geocode"]["UGC"] and len(body["replaces"].split()) == 4
    assert draft.seen_at == datetime.fromisoformat(raw["sent"]) and body["message"] == "update"
    with pytest.raises(InputError, match="place=ID"):
        read_service_json(DATA / "tae_alerts_active_zone.json")


def test_tests_and_exercises_are_passed_over(tmp_path) -> None:
    data = json.loads((DATA / "tae_alerts_active_zone.json").read_text())
    data["features"][0]["properties"]["status"] = "Exercise"
    (tmp_path / "a.json").write_text(json.dumps(data))
    taken = read_service_json(tmp_path / "a.json", place="s")
    assert not taken.drafts and "1 tests or drafts passed over" in taken.notes


def test_stations_of_a_cell_are_places() -> None:
    taken = read_service_json(DATA / "tae_gridpoints_stations.json")
    raw = json.loads((DATA / "tae_gridpoints_stations.json").read_text())["features"]
    assert len(taken.drafts) == len(raw) == 41
    for draft, feature in list(zip(taken.drafts, raw, strict=True))[::4]:
        about = feature["properties"]
        assert draft.place == about["stationIdentifier"] and draft.body["name"] == about["name"]
        assert [draft.body["longitude"], draft.body["latitude"]] == feature["geometry"]["coordinates"]
        assert draft.body["elevation"] == pytest.approx(about["elevation"]["value"], abs=0.05)


def test_a_point_says_where_its_forecasts_lie_and_is_no_evidence() -> None:
    taken = read_service_json(DATA / "tae_points.json")
    assert not taken.drafts and "TAE 58,65" in taken.notes[0] and "America/New_York" in taken.notes[0]


def test_reports_make_days_only_where_a_day_is_whole(tmp_path) -> None:
    one = read_service_json(DATA / "tae_stations_observations.json")
    assert not one.drafts and any("nothing to store" in note for note in one.notes)
    with pytest.raises(InputError, match="no report with a time"):
        read_service_json(DATA / "tae_stations_observations_missing_value.json")
    data = json.loads((DATA / "tae_stations_observations.json").read_text())
    report, data["features"] = data["features"][0], []
    for hour in range(30):
        copy = json.loads(json.dumps(report))
        when = datetime.fromisoformat("2019-06-27T05:53:00+00:00") + timedelta(hours=hour)
        copy["properties"] |= {
            "timestamp": when.isoformat(),
            "temperature": {"value": hour / 2, "unitCode": "unit:degC"},
        }
        data["features"].append(copy)
    data["features"][3]["properties"]["temperature"]["qualityControl"] = "qc:X"
    (tmp_path / "o.json").write_text(json.dumps(data))
    drafts = {d.kind: d for d in read_service_json(tmp_path / "o.json", zone="America/New_York").drafts}
    days = drafts["station_days"].body  # 05:53Z to 04:53Z of the next day are 0:53 to 23:53 of the standard clock
    assert (
        days["start"] == "2019-06-27" and days["tmax"][0] == 11.5 and days["tmin"][0] == 0.0 and days["wind"][0] == 10
    )
    assert drafts["place"].place == "KFLL" and drafts["place"].body["elevation"] == 10


def test_dwml_against_a_parser_of_another_kind() -> None:
    path = next(DATA.glob("dwml*.xml"))
    (draft,) = read_dwml(path).drafts
    document = minidom.parse(str(path))
    values = {}
    for element in (
        *document.getElementsByTagName("temperature"),
        *document.getElementsByTagName("probability-of-precipitation"),
    ):
        cells = [v.firstChild.data if v.firstChild else None for v in element.getElementsByTagName("value")]
        values[element.getAttribute("type")] = [None if c is None else float(c) for c in cells]
    days = draft.body["days"]
    assert [row.get("high") for row in days] == values["maximum"] == [86, 81, 78, 77, 78, 81, 83]
    assert [row.get("low") for row in days][1:] == values["minimum"][:6] == [69, 65, 57, 57, 59, 61]
    assert (draft.body["latitude"], draft.body["longitude"]) == (37.2, -93.29)
    # 00 and 12 UTC periods here begin at 6 and 18: the 12th holds those that begin at 00 (half), 12 and 24 UTC (half)
    assert 0.46 < days[0]["rain_chance"] < 1 - 0.54**2
    assert draft.seen_at == datetime.fromisoformat("2013-08-12T03:47:26+00:00")


def test_what_is_no_dwml_is_refused_with_one_line(tmp_path) -> None:
    for text, why in (
        ('<!DOCTYPE a [<!ENTITY b "c">]><dwml/>', "entities"),
        ("<dwml>", "not XML"),
        ("<kml/>", "not DWML"),
        ("<dwml/>", "when it was issued"),
    ):
        (tmp_path / "x.xml").write_text(text)
        with pytest.raises(InputError, match=why):
            read_dwml(tmp_path / "x.xml")


CSV = """issued_at,place,date,element,value,unit,q10,q90,source
2026-09-14T06:00-05:00,north,2026-09-15,high,31,degC,28,33,our desk
2026-09-14T06:00-05:00,north,2026-09-15,rain_chance,40,%,,,our desk
2026-09-14T06:00-05:00,north,2026-09-16,rain,8,mm,0,20.32,our desk
2026-09-14T06:00-05:00,north,2026-09-16,low,50,,,,our desk
2026-09-14T06:00,north,2026-09-16,low,50,degF,,,our desk
2026-09-14T06:00-05:00,north,2026-09-16,dew,50,degF,,,our desk
2026-09-14T18:00-05:00,north,2026-09-16,low,50,degF,,,
"""


def test_a_plain_csv_with_quantiles(tmp_path) -> None:
    (tmp_path / "f.csv").write_text(CSV)
    taken = read_forecast_csv(tmp_path / "f.csv")
    first, second = taken.drafts
    assert first.body["days"] == [
        {"date": "2026-09-15", "high": 87.8, "high_10": 82.4, "high_90": 91.4, "rain_chance": 0.4},
        {"date": "2026-09-16", "rain": 0.315, "rain_10": 0.0, "rain_90": 0.8},
    ]
    assert second.body["days"] == [{"date": "2026-09-16", "low": 50.0}] and second.body["source"] == "weather service"
    assert [row.line for row in taken.rejected] == [5, 6, 7]
    assert [row.reason.split(";")[0][:18] for row in taken.rejected] == [
        "has no unit",
        "'2026-09-14T06:00'",
        "'dew' is no element"[:18],
    ]


def test_durations_and_chances() -> None:
    assert duration("P7DT14H") == timedelta(days=7, hours=14) and duration("P1D") == timedelta(1)
    for wrong in ("P", "PT", "7D", "P1Y"):
        with pytest.raises(ValueError, match="duration"):
            duration(wrong)
    assert both([0.3, 0.4]) == pytest.approx(0.49)  # forecast_data.md B4: the mean of .40 and .58


def test_what_a_changed_service_sends_is_refused_or_set_aside(tmp_path) -> None:
    raw = json.loads((DATA / "tae_detailed_forecast.json").read_text())
    raw["properties"]["maxTemperature"]["uom"] = "wmoUnit:degR"
    (tmp_path / "a.json").write_text(json.dumps(raw))
    taken = read_service_json(tmp_path / "a.json")
    assert len(taken.rejected) == 8 and "degR" in taken.rejected[0].reason
    assert not any("high" in row for row in taken.drafts[0].body["days"])
    del raw["properties"]["updateTime"]
    (tmp_path / "b.json").write_text(json.dumps(raw))
    with pytest.raises(InputError, match="not as the service writes it"):
        read_service_json(tmp_path / "b.json")
    for text in ("[]", '{"properties": {}}', '{"features": []}', "nothing"):
        (tmp_path / "c.json").write_text(text)
        with pytest.raises(InputError):
            read_service_json(tmp_path / "c.json", place="s")


def test_a_low_over_its_high_keeps_no_other_forecast_out(tmp_path) -> None:
    rows = CSV.splitlines()
    bad = [rows[0], rows[1], rows[7], "2026-09-14T18:00-05:00,north,2026-09-16,high,40,degF,,,"]
    (tmp_path / "f.csv").write_text("\n".join(bad))
    found = entries_of(read_file("forecast-csv", tmp_path / "f.csv", {}), "forecast-csv", {})
    assert found.kept == 1 and "above the high" in found.rejected[0].reason


def test_take_stores_a_forecast_once_and_old_names_still_read(tmp_path) -> None:
    with open_ledger(tmp_path / "l.sqlite") as ledger:
        taken = read_file("weather-service", DATA / "tae_detailed_forecast.json", {"zone": "America/New_York"})
        found = entries_of(taken, "weather-service", {})
        assert found.stored(ledger.append(found.entries)) == 2
        assert found.stored(ledger.append(found.entries)) == 0
        (entry,) = ledger.history(kind="forecast", until=date(2022, 2, 3))
        assert entry.place is None and len(entry.body["days"]) == 9


def test_a_grib_file_needs_its_extra_or_is_read() -> None:
    grib = find_format("forecast-grib")
    files = sorted((DATA.parent / "grids").glob("*.grib2")) + sorted((DATA.parent / "grids").glob("*.grb*"))
    if not files:
        pytest.skip("no GRIB file is at hand")
    try:
        import cfgrib  # noqa: F401
    except (ImportError, RuntimeError):
        with pytest.raises(InputError, match=r"sideoats\[grib\]"):
            grib.read(files[0], {"latitude": 38.0, "longitude": -99.0})
        return
    try:
        taken = grib.read(files[0], {"latitude": 38.0, "longitude": -99.0})
    except InputError as error:
        assert str(error).startswith(files[0].name)
    else:
        assert all(draft.kind == "forecast" for draft in taken.drafts)
