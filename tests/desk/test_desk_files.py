"""Files: looked at, mapped, read apart, taken in once; hostile ones are refused in one line and nothing is stored."""

from __future__ import annotations

import csv
import gzip
import io
import re
import time
from pathlib import Path

import httpx
import pytest
from page_forms import form_of
from running_desk import RunningDesk

from sideoats.desk import taking
from sideoats.desk.taking import preview, read_apart
from sideoats.errors import InputError

GOOD = "DATE,TMAX,TMIN,PRCP\n" + "".join(
    f"2026-07-{d:02d},{90 + d % 7},{60 + d % 5},{0.1 * (d % 3):.1f}\n" for d in range(1, 31)
)


def send(client: httpx.Client, name: str, data: bytes) -> httpx.Response:
    return client.post("/files", files={"file": (name, data, "text/csv")})


def settle(client: httpx.Client, address: str) -> str:
    """The file's page once nothing is going on."""
    while "<progress" in (text := client.get(address).text):  # however busy the machine: pytest's own limit ends it
        time.sleep(0.1)
    return text


def test_a_station_file_from_first_look_to_ledger(desk: RunningDesk) -> None:
    bad = GOOD + "2026-07-31,hot,60,0\n2026-13-01,90,60,0\n=cmd(),1,2,3\n2026-08-01,91,61\n"
    with desk.launched() as client:
        address = send(client, "mine.csv", bad.encode()).headers["location"]
        look = client.get(address).text
        assert "TMAX" in look and "2026-07-01" in look
        chosen = client.get(address, params={"format": "station-csv"}).text
        form = form_of(chosen, address + "/read")
        assert form["col.time"] == "DATE" and form["col.tmax"] == "TMAX" and form["col.rain"] == "PRCP"
        assert form["unit.tmax"] == "degF" and form["unit.rain"] == "inch"
        before = desk.desk.ledger.head()
        assert client.post(address + "/read", data={**form, "place": "home-gauge"}).status_code == 303
        read = settle(client, address)
        assert "Nothing is stored yet" in read and desk.desk.ledger.head() == before
        assert "Set aside: 4 rows" in read
        listed = list(csv.DictReader(io.StringIO(client.get(address + "/set-aside.csv").text, newline="")))
        assert [row["line"] for row in listed] == ["32", "33", "34", "35"] and all(row["reason"] for row in listed)
        assert not any(row["reason"].startswith(("=", "+", "-", "@")) for row in listed)
        client.post(address + "/take-in")
        stored = settle(client, address)
        assert re.search(r"2 entries stored", stored)
        kept = list(desk.desk.ledger.history(place="home-gauge", kind="station_days"))
        assert len(kept) == 1 and kept[0].body["tmax"][0] == pytest.approx((91 - 32) / 1.8)
        assert kept[0].body["rain"][1] == pytest.approx(0.2 * 25.4)
        again = send(client, "mine.csv", bad.encode()).headers["location"]
        client.post(again + "/read", data={**form, "place": "home-gauge"})
        settle(client, again)
        client.post(again + "/take-in")
        assert "0 entries stored; 2 were there already" in settle(client, again)
    assert not list((desk.settings.folder() / "incoming").iterdir())


@pytest.mark.parametrize(
    ("name", "data", "why"),
    [
        ("x.exe", b"MZ", "no reader knows"), ("x.csv", b"", "is empty"), ("noending", b"a,b\n", "no reader knows"),
        ("../../x.php", b"a", "no reader knows"), ("x.csv.7z", b"PK", "no reader knows"),
    ],
)  # fmt: skip
def test_what_is_no_file_for_us_is_refused(desk: RunningDesk, name: str, data: bytes, why: str) -> None:
    with desk.launched() as client:
        answer = send(client, name, data)
    assert answer.status_code == 422 and why in answer.text


def test_names_never_become_paths(desk: RunningDesk) -> None:
    with desk.launched() as client:
        address = send(client, "..\\..\\etc/../pass<b>wd.csv", b"a,b\n1,2\n").headers["location"]
        text = client.get(address).text
    assert "pass&lt;b&gt;wd.csv" in text and "etc" not in re.findall(r"<h1>([^<]*)", text)[0]
    for path in (desk.settings.folder() / "incoming").rglob("*"):
        assert re.fullmatch(r"[0-9a-f]{32}(/\w[\w.-]*\.\w+)?", str(path.relative_to(path.parents[path.is_file()])))
        assert path.stat().st_mode & 0o077 == 0


def test_a_file_larger_than_allowed_is_refused(desk: RunningDesk) -> None:
    with desk.launched() as client:
        assert send(client, "big.csv", b"a" * (desk.settings.limits.upload + 200_000)).status_code == 413
        assert send(client, "big.csv", b"a" * (desk.settings.limits.upload + 10)).status_code == 422


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("bomb.csv.gz", gzip.compress(b"0" * 600_000_000, 1)), ("cut.csv.gz", gzip.compress(b"a,b\n" * 1000)[:-9]),
        ("binary.csv", bytes(range(256)) * 40), ("nul.csv", b"DATE,TMAX\n2026-07-01,\x009\n"),
        ("quotes.csv", b'DATE,"TMAX\n' * 50), ("wide.csv", b"," * 200_000 + b"\n1\n"), ("long.csv", b"x" * 3_000_000),
    ],
    ids=lambda v: v if isinstance(v, str) else "",
)  # fmt: skip
def test_hostile_files_get_one_line_and_store_nothing(desk: RunningDesk, name: str, data: bytes) -> None:
    before = desk.desk.ledger.head()
    with desk.launched() as client:
        address = send(client, name, data).headers["location"]
        assert client.get(address).status_code == 200
        client.post(address + "/read", data={"format": "ghcn-daily"})
        text = settle(client, address)
        assert 'role="alert"' in text and "Traceback" not in text
        assert desk.desk.ledger.head() == before
        gone = client.post(address + "/throw-away")
        assert gone.headers["location"].startswith("/files")
        assert client.get(address).status_code == 404


def test_a_page_drawn_while_the_reader_ends_says_one_thing(desk: RunningDesk, monkeypatch: pytest.MonkeyPatch) -> None:
    """The reader may end between two lines of the page: it shows the work, or what came of it."""
    from sideoats.desk.pages import files as pages

    look = pages.preview

    def slow_look(path: Path) -> taking.Preview:
        job = desk.desk.files._jobs[key]
        while job.busy:
            time.sleep(0.02)
        return look(path)

    with desk.launched() as client:
        address = send(client, "binary.csv", bytes(range(256)) * 40).headers["location"]
        key = address.rsplit("/", 1)[1]
        client.post(address + "/read", data={"format": "ghcn-daily"})
        monkeypatch.setattr(pages, "preview", slow_look)
        during = client.get(address).text
        assert "<progress" in during or 'role="alert"' in during
        assert 'role="alert"' in client.get(address).text


def test_a_reader_that_eats_memory_ends_and_the_desk_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "big.csv.gz"
    path.write_bytes(gzip.compress(b"2026-01-01,1\n" * 30_000_000, 1))
    monkeypatch.setattr(taking, "_READ_BYTES", 10)
    with pytest.raises(InputError) as caught:
        read_apart(path, "ghcn-daily", {"place": None, "station": None}, "big.csv.gz")
    assert "\n" not in str(caught.value)


def test_files_of_another_are_not_there(office: RunningDesk) -> None:
    with office.signed_in("ada") as client:
        address = send(client, "mine.csv", GOOD.encode()).headers["location"]
        assert client.get(address).status_code == 200
    office.desk.accounts.add("eve", "barley on the north slope", "adviser")
    with office.signed_in("eve") as client:
        assert client.get(address).status_code == 404
        assert client.post(address + "/take-in").status_code == 404


def test_previews_show_tables_and_lines_alike(tmp_path: Path) -> None:
    table = tmp_path / "a.csv"
    table.write_text("# remark\na;b;c\n1;2;3\n", encoding="utf-8")
    assert preview(table).header == ("a", "b", "c") and preview(table).delimiter == ";"
    lines = tmp_path / "a.dly"
    lines.write_text("USW00003870196201TMAX  150  X\n", encoding="utf-8")
    assert preview(lines).header == () and preview(lines).lines[0].startswith("USW0")
    odd = tmp_path / "b.csv"
    odd.write_bytes(b"a,b\n\xff\x1b[31m,2\n")
    assert "\x1b" not in str(preview(odd))
    assert preview(tmp_path / "absent.csv").header == ()


def test_a_mapping_must_name_a_date_and_a_column(desk: RunningDesk) -> None:
    with desk.launched() as client:
        address = send(client, "mine.csv", GOOD.encode()).headers["location"]
        form = form_of(client.get(address, params={"format": "station-csv"}).text, address + "/read")
        nothing = {k: "" if k.startswith("col.") and k != "col.time" else v for k, v in form.items()}
        assert "at least one" in client.post(address + "/read", data=nothing).text
        assert client.post(address + "/read", data={**form, "col.time": ""}).status_code == 422
        assert client.post(address + "/read", data={**form, "col.time": "NOT THERE"}).status_code == 422
        assert client.post(address + "/read", data={**form, "station.latitude": "north"}).status_code == 422
        assert client.post(address + "/read", data={**form, "format": "no-such"}).status_code == 422


TABLE = "Farm,Field,Kind,Size (ac),Crop,Remarks\nTwo Elms,West 80,field,80,milo,wet\nTwo Elms,Knoll,field,12.5,wheat,\n"


def test_a_table_of_the_office_is_mapped_looked_at_and_taken_whole(desk: RunningDesk) -> None:
    with desk.launched() as client:
        address = send(client, "fields.csv", TABLE.encode()).headers["location"]
        asked = client.get(address, params={"format": "office-table"}).text
        assert "What is a row of the table?" in asked
        page = client.get(address, params={"format": "office-table", "table_kind": "place"}).text
        form = form_of(page, address + "/read")
        assert [form[f"head.{i}"] for i in range(6)] == ["farm", "place", "kind", "", "crop", ""]
        twice = {**form, "head.3": "crop", "date": "2026-09-14"}
        assert "two columns are read as crop" in client.post(address + "/read", data=twice).text
        sized = {**form, "head.3": "acres", "date": "2026-09-14"}
        assert form["unit.3"] == "ac" or sized.update({"unit.3": "ac"}) is None
        before = desk.desk.ledger.head()
        assert client.post(address + "/read", data=sized).status_code == 303
        read = settle(client, address)
        assert "Nothing is stored yet" in read and "Remarks" in read and desk.desk.ledger.head() == before
        client.post(address + "/take-in")
        assert re.search(r"2 entries stored", settle(client, address))
        kept = {p.id: p for p in desk.desk.ledger.places()}
        assert kept["two-elms.west-80"].attributes["acres"] == 80.0 and kept["two-elms.knoll"].farm == "two-elms"
        bad = TABLE + "Two Elms,Sink,meadow,3,milo,\nTwo Elms,Rim,field,-2,milo,\n"
        address = send(client, "more.csv", bad.encode()).headers["location"]
        client.post(address + "/read", data=sized)
        refused = settle(client, address)
        assert "Set aside: 2 rows" in refused and address + "/take-in" not in refused


def test_a_file_is_told_by_its_content_at_the_desk(desk: RunningDesk) -> None:
    rows = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\nZ1,20240101,TMAX,100,,,7,\n"
    with desk.launched() as client:
        page = client.get(send(client, "x.txt", rows.encode()).headers["location"]).text
    assert re.search(r'<option value="ghcn-daily" selected>', page)
