"""Quotes from CSV and cattle reports from text, CSV and JSON: what is read, what is set aside, what is refused."""

from __future__ import annotations

import json
from datetime import date

import pytest

from sideoats.errors import InputError, UnitError
from sideoats.intake.market_news import market_news, quotes_of, read_market_news, report_date, text_rows
from sideoats.intake.quotes import day_of, place_id, price_text, read_quotes
from sideoats.intake.taken import find_format
from sideoats.ledger import NewEntry, open_ledger

REPORT = """\
XX_LS001
Sample Siding   Friday October 13, 2023   USDA Market News
Feeder Steers Medium and Large 1 (Per Cwt / Actual Wt)
Head   Wt Range   Avg Wt    Price Range   Avg Price
  20    505-524      515   160.00-171.00     165.00
   5    515-525      520   161.00-165.00     163.00
  13      560        560         158.00      158.00   Unweaned
Feeder Steers Medium and Large 2
  12    505-524      520   140.00-151.00     145.45
Slaughter Cows Boner 80-85%
  22   1205-1345     1251    60.00-65.00      63.45
Slaughter Cows Breaker 75-80%
  30   1405-1545     1521    60.00-66.00      64.00
Bred Heifers Medium and Large 1 (Per Head)
   7    950-1050      990  1500.00-1900.00  1712.00
STEERS LIVE
 Over 80% Choice     500   1,270-1,400   110.00-112.00   1,338   111.00
 35 - 65% Choice     - -       - -           - -          - -     - -
Auctions 201,200 Direct 46,700 Video/Internet NA
"""


def _drafts(taken, kind="quote"):
    return {d.body.get("commodity", d.place): d.body for d in taken.drafts if d.kind == kind}


def test_a_pasted_report():
    taken = market_news(REPORT, market="Sample Siding")
    quotes = _drafts(taken)  # 20 x 515 lb at 165 and 5 x 520 lb at 163: 2,123,300 / 12,900
    assert quotes["feeder steer 500 lb"] == {
        "commodity": "feeder steer 500 lb", "price": "164.60 USD/cwt", "low": "160.00 USD/cwt",
        "high": "171.00 USD/cwt", "volume": "25 head", "source": "USDA market news",
    }  # fmt: skip
    assert quotes["feeder steer 550 lb, unweaned"]["price"] == "158.00 USD/cwt"
    assert quotes["feeder steer 500 lb, medium and large 2"]["price"] == "145.45 USD/cwt"
    assert quotes["cull cow"]["price"] == "63.45 USD/cwt" and quotes["cull cow, breaker"]["price"] == "64.00 USD/cwt"
    assert quotes["bred heifer"]["price"] == "1712.00 USD/head"
    assert quotes["slaughter steer"]["volume"] == "500 head"
    assert {d.seen_at.date() for d in taken.drafts if d.kind == "quote"} == {date(2023, 10, 13)}
    assert any("video not given" in note and "total 247,900" in note for note in taken.notes)
    assert any("thin row is not a price" in note and "bred heifer" in note for note in taken.notes)


def test_all_sections_of_a_report_saved_as_json():
    """The head of a report is a section without prices; the rows stand in the other."""
    row = {"report_date": "11/18/2026", "market_location_name": "Sample Siding", "class": "Steers", "head_count": 20,
           "frame": "Medium and Large", "muscle_grade": "1", "avg_weight": 521, "avg_price": 265.45}  # fmt: skip
    head = {"reportSection": "Report Header", "results": [{"report_date": "11/18/2026", "receipts": 1234}]}
    saved = [head, {"reportSection": "Report Details", "results": [row, "stray"]}]
    taken = market_news(json.dumps(saved))
    assert _drafts(taken)["feeder steer 500 lb"]["price"] == "265.45 USD/cwt"
    assert [r.line for r in taken.rejected] == [2]
    with pytest.raises(InputError, match="no usable row"):
        market_news(json.dumps([head]))


def test_an_empty_file_is_not_taken_for_a_weather_station(tmp_path):
    (tmp_path / "r.txt").write_text(" \n")
    with pytest.raises(InputError, match="is empty") as caught:
        read_market_news(tmp_path / "r.txt", market="m")
    assert "station" not in str(caught.value)


def test_rows_of_one_class_and_weight_are_joined_by_pounds():
    rows, rejected = text_rows(REPORT, on=date(2023, 10, 13), market="m")
    same = [row for row in rows if row.animal == "feeder steer" and not row.note and row.grade == "medium and large 1"]
    assert [row.weight for row in same] == [515, 520] and not rejected
    joined = quotes_of([same[0], same[0]])
    assert joined[0].volume == "40 head" and joined[0].price == "165.00 USD/cwt"


def test_another_class_of_cows_can_be_the_plain_one():
    assert _drafts(market_news(REPORT, market="m", cow_class="breaker"))["cull cow"]["price"] == "64.00 USD/cwt"


def test_the_same_rows_as_json_and_csv():
    record = {
        "report_date": "10/13/2023", "slug_id": "1234", "slug_name": "Sample report", "commodity": "Feeder Cattle",
        "market_location_name": "Sample Siding", "class": "Steers", "frame": "Medium and Large", "muscle_grade": "1",
        "lot_desc": "None", "head_count": "1,020", "avg_weight": 515, "avg_price_min": 160, "avg_price_max": 171,
        "avg_price": 165, "price_unit": "Per Cwt",
    }  # fmt: skip
    rows = [record, {**record, "class": "Goats", "commodity": "Goats"}, {**record, "avg_price": None, "head_count": ""}]
    as_json = market_news(json.dumps({"results": rows}))
    quote = _drafts(as_json)["feeder steer 500 lb"]
    assert quote["price"] == "165.00 USD/cwt" and quote["volume"] == "1020 head"
    assert quote["source"] == "1234 Sample report"
    assert [r.line for r in as_json.rejected] == [2, 3]
    table = ",".join(record) + "\n" + ",".join(f'"{v}"' for v in record.values()) + "\n"
    as_csv = market_news(table)
    assert _drafts(as_csv) == {"feeder steer 500 lb": quote}
    assert {d.place for d in as_csv.drafts} == {"sample-siding"}


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("Feeder Steers\n 20 505-545 521 160.00-171.00 165.45\n", {"market": "m"}, "no date"),
        (REPORT, {}, "no market"),
        ("Friday October 13, 2023\nnothing here\n", {"market": "m"}, "no usable row"),
        ("[1, 2, {}]", {}, "no usable row"),
        ('{"results": 3}', {}, "no list of rows"),
        ("[{", {}, "not JSON"),
        ("[" * 100_000, {}, "not JSON"),
    ],
)
def test_reports_that_are_refused(text, options, words):
    with pytest.raises(InputError, match=words) as caught:
        market_news(text, **options)
    assert "\n" not in str(caught.value)


def test_rows_that_cannot_be_are_set_aside():
    bad = """October 13, 2023
 20 505-545 521 160.00-171.00 165.45
Feeder Steers
 20 505-545 521 160.00-171.00 195.45
 0 505-545 521 160.00-171.00 165.45
 20 505-545 521 160.00-171.00 165.45
"""
    taken = market_news(bad, market="m")
    assert [(r.line, r.reason.split(" ")[0]) for r in taken.rejected] == [(2, "a"), (4, "average"), (5, "0")]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("report of Fri Jan 4, 2019", date(2019, 1, 4)),
        ("2026-09-14 and March 3, 2020", date(2026, 9, 14)),
        ("9/14/2026", date(2026, 9, 14)),
        ("February 30, 2020", None),
        ("no date", None),
    ],
)
def test_date_of_a_report(text, found):
    assert report_date(text) == found


def test_quotes_from_csv(tmp_path):
    path = tmp_path / "quotes.csv"
    path.write_text(
        "Date,Commodity,Price,Unit,Head,Basis\n2026-09-14,Cull  Cow,128.50,USD/cwt,42,\n"
        "9/15/2026,wheat,$5.60/bu,,,-0.35 USD/bu\n"
        "2026-09-16,corn,abc,USD/bu,,\n2026-02-30,corn,4.40,USD/bu,,\n2026-09-16,corn,-4,USD/bu,,\n"
        "2026-09-16,corn,4.4,acres,,\n",
        encoding="utf-8",
    )
    taken = read_quotes(path, market="Marrow Flats market")
    quotes = _drafts(taken)
    assert quotes["cull cow"] == {"commodity": "cull cow", "price": "128.5 USD/cwt", "volume": "42 head"}
    assert quotes["wheat"] == {"commodity": "wheat", "price": "5.6 USD/bu", "basis": "-0.35 USD/bu"}
    assert [r.line for r in taken.rejected] == [4, 5, 6, 7]
    assert _drafts(taken, "place").keys() == {"marrow-flats-market"}


def test_a_plain_series_with_its_unit_given_once(tmp_path):
    path = tmp_path / "series.csv"
    path.write_text("date,value\n2026-08-03,127\n2026-08-10,129\n", encoding="utf-8")
    taken = find_format("quotes-csv").read(path, {"market": "m", "commodity": "cull cow", "unit": "USD/cwt"})
    assert [d.body["price"] for d in taken.drafts if d.kind == "quote"] == ["127 USD/cwt", "129 USD/cwt"]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("day,commodity\n2026-01-01,x\n", "no column 'price'"),
        ("date,price,price\n2026-01-01,1,2\n", "twice"),
        ("date,price\n2026-01-01,5 USD/bu\n", "no commodity"),
        ("date,commodity,price\n2026-01-01,corn,5 USD/bu\n", "no market"),
    ],
)
def test_quote_files_that_are_refused(tmp_path, content, words):
    path = tmp_path / "q.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match=words):
        read_quotes(path)


@pytest.mark.parametrize(
    ("text", "unit", "stored"),
    [
        ("128.50", "USD/cwt", "128.5 USD/cwt"), ("$1,285.00 / head", "", "1285 USD/head"),
        ("165.45", "Per Cwt", "165.45 USD/cwt"), ("900", "Per Unit", "900 USD/head"), ("$5.60/bu", "", "5.6 USD/bu"),
    ],
)  # fmt: skip
def test_price_with_its_unit(text, unit, stored):
    assert price_text(text, unit) == stored


@pytest.mark.parametrize(
    ("text", "unit", "error"),
    [("128", "", UnitError), ("128", "lb", UnitError), ("0", "USD/cwt", InputError), ("x", "USD/cwt", UnitError)],
)
def test_prices_that_are_none(text, unit, error):
    with pytest.raises(error):
        price_text(text, unit)


def test_days_and_ids():
    assert day_of("10/13/2023") == date(2023, 10, 13) and day_of("2023-10-13T00:00:00") == date(2023, 10, 13)
    with pytest.raises(ValueError, match="not a calendar date"):
        day_of("13/13/2023")
    assert place_id("Sample Siding, #2") == "sample-siding-2"


def test_a_report_goes_into_the_ledger_once(tmp_path):
    path = tmp_path / "report.txt"
    path.write_text(REPORT, encoding="utf-8")
    taken = read_market_news(path, market="Sample Siding")
    entries = [NewEntry(d.kind, d.body, place=d.place, seen_at=d.seen_at, id=d.id) for d in taken.drafts]
    with open_ledger(str(tmp_path / "l.sqlite"), create=True) as ledger:
        first, second = ledger.append(entries), ledger.append(entries)
        assert all(r.stored for r in first) and not any(r.stored for r in second)
        kept = {e.body["commodity"]: e.body["price"] for e in ledger.history(kind="quote")}
    assert kept["cull cow"].startswith("63.45")


def test_one_market_in_two_formats(tmp_path):
    """A market known from a file of quotes takes a market news report too, by the command an adviser types."""
    from click.testing import CliRunner

    from sideoats.cli import group

    (tmp_path / "q.csv").write_text("date,commodity,price,unit\n2023-10-12,cull cow,61,USD/cwt\n")
    (tmp_path / "r.txt").write_text(REPORT)
    for words in (["quotes-csv", "q.csv"], ["market-news", "r.txt"], ["market-news", "r.txt"]):
        ledger = ["--ledger", str(tmp_path / "l.sqlite")]
        found = CliRunner().invoke(group, [*ledger, "take", words[0], str(tmp_path / words[1]), "market=barn"])
        assert found.exit_code == 0, found.output
    assert " 0 entries stored" in f" {found.output.splitlines()[-1]}"
