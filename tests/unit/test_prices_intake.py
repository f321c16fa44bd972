"""Quotes from CSV and cattle reports from text, CSV and JSON: what is read, what is set aside, what is refused."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from sideoats.errors import InputError, UnitError
from sideoats.intake.entries import entries_of, quotes_on_file
from sideoats.intake.market_news import market_news, read_market_news
from sideoats.intake.quick_stats import quick_stats
from sideoats.intake.quotes import day_of, place_id, price_text, read_quotes
from sideoats.intake.report_rows import quotes_of
from sideoats.intake.report_text import report_date, text_rows
from sideoats.intake.taken import find_format, read_file, recognised
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week.snapshot import take_snapshot

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


# --- public files: market news by record, statistics, and what a ledger keeps of them --------------------------------

PUBLIC = Path(__file__).parents[2].parent / "shared" / "data" / "markets"
public = pytest.mark.skipif(not PUBLIC.exists(), reason="../shared/data is not beside the project")


@public
def test_cattle_priced_by_the_head_are_told_by_the_unit_and_turned_by_their_weight():
    taken = read_market_news(PUBLIC / "ams_auction_rows_per_unit_trap.json")
    quotes = _drafts(taken)
    assert quotes["feeder steer 450 lb"]["price"] == "487.19 USD/cwt"  # 2,153.40 a head of 442 lb
    assert quotes["feeder steer 550 lb"]["price"] == "156.55 USD/cwt"  # 825.00 of 527 lb, and no price a cwt
    assert {d.place for d in taken.drafts} == {"dunlap-ia", "dodge-city-ks"}
    assert any("2 rows priced by the head" in note for note in taken.notes)


@public
@pytest.mark.parametrize(
    ("file", "format_name", "said"),
    [
        ("nass_error_400.json", "quick-stats", "the service refused: bad request - invalid query"),
        ("nass_error_413.json", "market-news", "the service refused: exceeds limit=50000"),
        ("ams_mymarketnews_1095_documented_example.json", "market-news", "'Cheese' is not one of cattle"),
    ],
)
def test_a_public_file_without_a_price_is_one_clear_line(file, format_name, said):
    with pytest.raises(InputError) as told:
        find_format(format_name).read(PUBLIC / file, {})
    assert said in str(told.value) and "\n" not in str(told.value)


@public
@pytest.mark.parametrize("ending", ["json", "csv", "xml"])
def test_a_query_of_yields_gives_its_figures_in_all_three_forms(ending):
    path = PUBLIC / f"nass_quickstats_va_corn_yield_2012.{ending}"
    assert recognised(path).name == "quick-stats"
    drafts = find_format("quick-stats").read(path, {}).drafts
    found = [(d.body["item"], d.body["period"], d.body["figure"], d.body["in_unit"], d.body["source"]) for d in drafts]
    raw = json.loads((PUBLIC / "nass_quickstats_va_corn_yield_2012.json").read_text())["data"]
    assert sorted(found) == sorted(
        (r["short_desc"], f"2012 {r['reference_period_desc']}", float(r["Value"]), r["unit_desc"],
         f"statistics service, {r['source_desc'].lower()}")
        for r in raw
    )  # fmt: skip
    assert {d.kind for d in drafts} == {"statistic"} and {d.body["area"] for d in drafts} == {"VIRGINIA"}


def test_xml_with_entities_of_its_own_or_of_a_page_is_refused(tmp_path):
    for text, line in (
        ('<!DOCTYPE a [<!ENTITY b "bb">]><a>&b;</a>', "entities of its own"),
        ("<html><body>Sorry", "is not XML"),
        ("<html><body>Sorry</body></html>", "without statistics"),
        ("<data><error>exceeds limit=50000</error></data>", "the service refused: exceeds limit=50000"),
    ):
        (tmp_path / "x.xml").write_text(text)
        with pytest.raises(InputError, match=line):
            find_format("quick-stats").read(tmp_path / "x.xml", {})


def test_a_month_is_rebuilt_from_its_sales_by_the_head_behind_them(tmp_path):
    def sale(day, head, price):
        return {"slug_id": "1", "market_location_name": "Plain", "report_date": day, "class": "Steers",
                "frame": "Medium and Large", "muscle_grade": "1", "avg_weight": 550, "head_count": head,
                "avg_price": price, "price_unit": "Per Cwt", "final_ind": "Final"}  # fmt: skip

    rows = [sale("08/07/2026", 30, 200), sale("08/21/2026", 10, 240), sale("09/04/2026", 50, 260)]
    (tmp_path / "r.json").write_text(json.dumps({"results": rows}))
    taken = read_market_news(tmp_path / "r.json", monthly=True)
    means = [d for d in taken.drafts if d.kind == "quote" and d.place == "plain-month"]
    assert [(str(d.seen_at.date()), d.body["price"], d.body["volume"]) for d in means] == [
        ("2026-08-31", "210.00 USD/cwt", "40 head")  # (30 x 200 + 10 x 240) / 40; September is not over
    ]
    assert not any(d.place == "plain-month" for d in read_market_news(tmp_path / "r.json").drafts)


def _received(item, unit, period, value, **more):
    return {
        "source_desc": "SURVEY", "commodity_desc": item.split(",")[0], "statisticcat_desc": "PRICE RECEIVED",
        "unit_desc": unit, "short_desc": f"{item} - PRICE RECEIVED, MEASURED IN {unit}", "location_desc": "SAMPLE",
        "year": "2025", "reference_period_desc": period, "week_ending": "", "Value": value,
    } | more  # fmt: skip


def test_prices_received_of_months_and_weeks_and_nothing_else():
    # the columns of ../shared/data/markets/nass_quickstats_*.json; the items and periods as public clients query them
    rows = [
        _received("WHEAT", "$ / BU", "JAN", "5.52"),
        _received("WHEAT, SPRING, DURUM", "$ / BU", "JAN", "7.10"),
        _received("SORGHUM, GRAIN", "$ / CWT", "FEB", "7.00"),
        _received("CATTLE, COWS", "$ / CWT", "FEB", "1,280"),
        _received("HAY, (EXCL ALFALFA)", "$ / TON", "MAR", "131"),
        _received("CORN, GRAIN", "$ / BU", "WEEK #24", "4.40", week_ending="2025-06-15"),
        _received("CORN, GRAIN", "$ / BU", "MARKETING YEAR", "4.30"),
        _received("CORN, GRAIN", "$ / BU", "APR", "(D)"),
        _received("CORN, GRAIN", "$ / BU", "APR", "4.10", source_desc="CENSUS"),
        _received("CORN, GRAIN", "BU", "APR", "9", statisticcat_desc="PRODUCTION"),
    ]
    taken = quick_stats(json.dumps({"data": rows}))
    told = {(d.body["commodity"], d.seen_at.date().isoformat()): d.body["price"] for d in taken.drafts[1:]}
    assert told == {
        ("wheat", "2025-01-31"): "5.52 USD/bu", ("wheat, spring, durum", "2025-01-31"): "7.1 USD/bu",
        ("grain sorghum", "2025-02-28"): "7 USD/cwt", ("cull cow", "2025-02-28"): "1280 USD/cwt",
        ("grass hay", "2025-03-31"): "131 USD/ton", ("corn", "2025-06-15"): "4.4 USD/bu",
    }  # fmt: skip
    assert [str(row) for row in taken.rejected] == [
        "line 7: marketing year is no month or week", "line 8: (D) means withheld",
        "line 9: of a census, not of a month", "line 10: production is no price received",
    ]  # fmt: skip
    table = "Program,Year,Period,Week Ending,Geo Level,State,Commodity,Data Item,Value\n" + (
        'SURVEY,2025,JAN,,STATE,SAMPLE,WHEAT,"WHEAT - PRICE RECEIVED, MEASURED IN $ / BU",5.52\n'
    )
    (_, quote) = quick_stats(table).drafts
    assert quote.place == "sample" and quote.body["price"] == "5.52 USD/bu"


def test_grain_bids_keep_classes_later_months_and_basis_apart():
    # the columns of grain rows as public clients and their tests read them; figures invented
    bid = {"report_date": "11/20/2026", "trade_loc": "West", "delivery_point": "Terminal", "sale Type": "Bid"}
    wheat = bid | {
        "commodity": "Wheat", "class": "Hard Red Winter", "protein": "Ordinary", "basis Min": -70, "basis Max": -50,
        "basis_unit": "¢/Bu", "basis Min Futures Month": "Mar (H)", "price Min": 4.7, "price Max": 4.9,
        "price_unit": "$/Bu",
    }  # fmt: skip
    rows = [
        wheat, wheat | {"protein": "13"}, wheat | {"class": "Soft Red Winter"},
        wheat | {"delivery_start": "01/01/2027"}, wheat | {"price Min": None, "price Max": None},
        wheat | {"sale Type": "Offer"}, bid | {"commodity": "Sorghum", "avg_price": 7.1, "price_unit": "$ Per Cwt"},
    ]  # fmt: skip
    taken = market_news(json.dumps({"results": [row | {"avg_price": row.get("avg_price")} for row in rows]}))
    quotes = _drafts(taken)
    assert quotes["wheat"]["price"] == "4.8 USD/bu" and quotes["wheat"]["basis"] == "-0.6 USD/bu"
    assert {"wheat, 13 protein", "wheat, soft red winter", "wheat, for Jan 2027"} <= set(quotes)
    assert quotes["grain sorghum"]["price"] == "7.1 USD/cwt"
    assert [row.reason for row in taken.rejected] == ["nothing is bid", "sale type 'Offer' is no bid"]


def test_a_preliminary_row_gives_way_to_the_final_one():
    row = {
        "slug_id": "1", "report_date": "2026-09-14", "market_location_name": "M", "class": "Steers", "head_count": "40",
        "avg_weight": "520", "wtd_Avg_Price": "1,365.00", "price_unit": "Per Unit", "final_ind": "Preliminary",
    }  # fmt: skip
    taken = market_news(json.dumps([row, row | {"wtd_Avg_Price": "1,820.00", "final_ind": "Final"}]))
    assert _drafts(taken)["feeder steer 500 lb"]["price"] == "350.00 USD/cwt"
    assert [row.reason for row in taken.rejected] == ["preliminary, and the final report is in the file"]


def test_a_bad_quote_is_set_aside_and_hides_no_good_one(tmp_path):
    path = tmp_path / "quotes.csv"
    path.write_text(
        "date,commodity,price,unit,market\n2026-09-01,feeder steer 500 lb,365,USD/cwt,m\n"
        "2026-09-08,feeder steer 500 lb,368,USD/cwt,m\n2026-09-15,feeder steer 500 lb,36.8,USD/cwt,m\n"
        "2026-09-15,wheat,575,USD/bu,m\n2026-09-16,wheat,5.75,USD/bu,m\n2026-09-15,hay,9,USD/ton,elsewhere\n"
    )  # fmt: skip
    taken = read_file("quotes-csv", path, {})
    with open_ledger(str(tmp_path / "l.sqlite"), create=True) as ledger:
        found = entries_of(taken, "quotes-csv", quotes_on_file(ledger))
        assert [row.line for row in found.rejected] == [5, 7, 4] and found.kept == 4
        assert all(receipt.stored for receipt in ledger.append(found.entries))
        again = entries_of(taken, "quotes-csv", quotes_on_file(ledger))
        assert not any(receipt.stored for receipt in ledger.append(again.entries))
        (file,) = ledger.history(kind="file_taken")
        assert file.body["sha256"] == hashlib.sha256(path.read_bytes()).hexdigest() and file.body["set_aside"] == 3
        assert {place.id for place in ledger.places()} == {"m"}  # nothing is kept of a market without a quote
        slip = {"commodity": "feeder steer 500 lb", "price": "37 USD/cwt"}
        when = datetime(2026, 9, 22, tzinfo=UTC)
        with pytest.raises(InputError, match=r"37 USD/cwt is far from 368 USD/cwt.*sure=yes"):
            ledger.append([NewEntry("quote", slip, place="m", seen_at=when)])
        ledger.append([NewEntry("quote", slip | {"sure": "yes"}, place="m", seen_at=when)])


def test_one_lot_by_the_head_hides_no_year_of_prices(tmp_path):
    def quote(day, price):
        when = datetime(2026, 9, day, tzinfo=UTC)
        return NewEntry("quote", {"commodity": "feeder steer 500 lb", "price": price}, place="m", seen_at=when)

    with open_ledger(str(tmp_path / "l.sqlite"), create=True) as ledger:
        market = NewEntry("place", {"name": "m", "kind": "market"}, place="m", seen_at=datetime(2026, 1, 1, tzinfo=UTC))
        ledger.append([market, *(quote(d, f"{360 + d} USD/cwt") for d in (1, 8)), quote(15, "1900 USD/head")])
        key = ("m", "feeder steer 500 lb")
        seen = take_snapshot(ledger, date(2026, 9, 20), ())
        assert seen.quotes[key].body["price"] == "368.0 USD/cwt" and len(seen.quote_series[key]) == 2
        ledger.append([quote(22, "1910 USD/head")])  # twice: they are sold by the head now
        assert take_snapshot(ledger, date(2026, 9, 25), ()).quotes[key].body["price"] == "1910.0 USD/head"
