"""Appending and reading, on both engines."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import sqlalchemy as sa
from district import at, farm, note, place, start

from sideoats.errors import InputError, LedgerError, UnitError
from sideoats.ledger import Ledger, NewEntry, open_ledger, queries
from sideoats.ledger import drafts as drafts_module

ON = date(2026, 6, 30)


def call(question: str, chance: float) -> dict[str, object]:
    option = {"key": "treat", "label": "treat", "expected": 4.1, "low": -2.0, "high": 9.0, "unit": "USD/ac"}
    return {
        "question": question, "on": "2026-06-02", "verdict": "act", "act_by": "2026-06-05", "look_by": None,
        "headline": "treat", "options": [{**option, "chance_best": chance, "barred": None}], "quantities": {},
        "worth_of_a_look": {"value": 0.5, "unit": "USD/ac"}, "because": [], "cautions": [], "sources": [],
        "seed": 7, "version": "0.1.0",
    }  # fmt: skip


def test_what_goes_in_comes_out(ledger: Ledger) -> None:
    receipts = ledger.append(start())
    assert [r.seq for r in receipts] == [1, 2, 3, 4, 5] and all(r.stored for r in receipts)
    assert [(f.id, f.name) for f in ledger.farms()] == [("two-elms", "Two Elms")]
    places = {p.id: p for p in ledger.places()}
    assert places["north"].attributes == {"acres": 80.0, "crop": "grain sorghum"}
    assert places["pen-1"].kind == "pen" and places["pen-1"].farm == "two-elms"
    assert places["elevator"].farm == "" and ledger.head() == (5, receipts[-1].hash)
    assert ledger.places(date(2025, 12, 31)) == []


def test_units_are_converted_and_bare_numbers_are_in_the_unit_of_the_kind(ledger: Ledger) -> None:
    ledger.append([*start(), place("hectare", acres="1 hectare"), place("bare", acres=2.5)])
    acres = {p.id: p.attributes.get("acres") for p in ledger.places()}
    assert acres["hectare"] == pytest.approx(10000 / 4046.8564224) and acres["bare"] == 2.5
    warm = {"unit": "degF", "values": [104.0, None, 32.0]}
    days = {"start": "2026-06-01", "tmax": warm, "rain": [0.0, float("nan"), 2]}
    ledger.append([NewEntry("station_days", days, place="ridge", seen_at=at("2026-06-04"))])
    block = ledger.latest(["station_days"], ON)["station_days"]["ridge"]
    assert block.body["tmax"] == [pytest.approx(40.0), None, pytest.approx(0.0)]
    assert block.body["rain"] == [0.0, None, 2.0]


def test_an_entry_at_a_place_takes_the_farm_of_the_place(ledger: Ledger) -> None:
    ledger.append([*start(), note("first"), note("no place", None)])
    first, second = ledger.history(kind="note")
    assert (first.place, first.farm) == ("north", "two-elms") and (second.place, second.farm) == (None, None)
    assert [e.body["text"] for e in ledger.history(farm="two-elms", kind="note")] == ["first"]


def test_latest_is_by_the_day_seen_in_its_own_zone(ledger: Ledger) -> None:
    ledger.append(start())
    late = datetime(2026, 6, 1, 23, 30, tzinfo=ZoneInfo("America/Chicago"))  # 2 June in UTC
    ledger.append([NewEntry("note", {"text": "late"}, place="north", seen_at=late)])
    assert ledger.latest(["note"], date(2026, 5, 31)) == {"note": {}}
    entry = ledger.latest(["note"], date(2026, 6, 1))["note"]["north"]
    assert entry.seen_at == late and str(entry.seen_at.tzinfo) == "America/Chicago" and entry.seen_on == late.date()


def test_newest_seen_wins_not_newest_stored(ledger: Ledger) -> None:
    ledger.append([*start(), note("newer", day="2026-06-10"), note("older, sent late", day="2026-06-05")])
    assert ledger.latest(["note"], ON)["note"]["north"].body["text"] == "newer"
    assert ledger.latest(["note"], date(2026, 6, 7))["note"]["north"].body["text"] == "older, sent late"


def test_correction_replaces_and_history_keeps_both(ledger: Ledger) -> None:
    wrong = ledger.append([*start(), note("wrong")])[-1]
    right = ledger.append([note("right", corrects=wrong.id)])[0]
    assert ledger.latest(["note"], ON)["note"]["north"].id == right.id
    assert [e.body["text"] for e in ledger.history(kind="note")] == ["right"]
    assert [e.body["text"] for e in ledger.history(kind="note", corrected=True)] == ["wrong", "right"]


def test_withdrawal_takes_an_entry_out_of_the_count(ledger: Ledger) -> None:
    receipts = ledger.append([*start(), note("kept", day="2026-06-01"), note("at the wrong field", day="2026-06-02")])
    reason = NewEntry("withdrawal", {"reason": "wrong field"}, place="north", corrects=receipts[-1].id)
    ledger.append([reason])
    assert ledger.latest(["note"], ON)["note"]["north"].body["text"] == "kept"
    with pytest.raises(InputError, match="withdraws nothing"):
        ledger.append([NewEntry("withdrawal", {"reason": "?"}, place="north")])


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda old: note("x", corrects=str(uuid.uuid4())), "not in the ledger"),
        (lambda old: note("x", "pen-1", corrects=old), "at north"),
        (lambda old: NewEntry("action", {"what": "x"}, place="north", corrects=old), "cannot correct"),
    ],
)
def test_corrections_that_point_astray_are_refused(ledger: Ledger, make, said: str) -> None:  # type: ignore[no-untyped-def]
    old = ledger.append([*start(), note("old")])[-1].id
    with pytest.raises(LedgerError, match=said):
        ledger.append([make(old)])
    assert ledger.head()[0] == 6


def test_an_entry_is_corrected_once_and_then_its_correction(ledger: Ledger) -> None:
    first = ledger.append([*start(), note("one")])[-1]
    second = ledger.append([note("two", corrects=first.id)])[0]
    with pytest.raises(LedgerError, match=f"already corrected; correct {second.id}"):
        ledger.append([note("three", corrects=first.id)])
    ledger.append([note("three", corrects=second.id)])
    assert [e.body["text"] for e in ledger.history(kind="note")] == ["three"]


def test_same_id_is_stored_once_and_a_conflict_is_named(ledger: Ledger) -> None:
    ledger.append(start())
    sent = note("once", id=str(uuid.uuid4()))
    first, second = ledger.append([sent, sent])
    assert (first.stored, second.stored) == (True, False) and first.seq == second.seq
    again = ledger.append([NewEntry(**{**sent.__dict__, "id": str(sent.id).upper()})])[0]
    assert again == second
    with pytest.raises(LedgerError, match=r"already entry 6 with another place and body"):
        ledger.append([NewEntry("note", {"text": "other"}, place="pen-1", seen_at=sent.seen_at, id=sent.id)])
    assert ledger.head()[0] == 6


def test_resending_is_recognised_after_the_place_went_to_another_farm(ledger: Ledger) -> None:
    ledger.append([*start(), farm("far", "Far")])
    sent = note("before the sale", id=str(uuid.uuid4()))
    ledger.append([sent])
    ledger.append([NewEntry("place", {"name": "north", "kind": "field"}, place="north", farm="far")])
    assert ledger.append([sent])[0].stored is False
    ledger.append([note("after")])
    assert [e.body["text"] for e in ledger.history(farm="far", kind="note")] == ["after"]


def test_phones_replay_a_thousand_entries(ledger: Ledger) -> None:
    ledger.append(start())
    sent = [note(f"count {i}", id=str(uuid.uuid5(uuid.NAMESPACE_URL, str(i)))) for i in range(1000)]
    first = ledger.append(sent)
    for _ in range(2):
        again = ledger.append(sent)
        assert not any(r.stored for r in again) and [r.seq for r in again] == [r.seq for r in first]
    assert ledger.head()[0] == 1005 and len(list(ledger.history(kind="note"))) == 1000


BAD = [
    (NewEntry("leaf_cuonts", {}, place="north"), "did you mean leaf_counts"),
    (note("x", "nrth"), "did you mean north"),
    (note("x", "no such place"), "cannot be the id of a place"),
    (note("x", "far", farm="two-elms"), "no place 'far'"),
    (note("x", farm="three-elms"), "did you mean two-elms"),
    (NewEntry("note", {"text": "x", "txet": "y"}, place="north"), "did you mean text"),
    (NewEntry("note", {}, place="north"), "is missing"),
    (place("a", acres="80 bu"), "not a unit of that kind"),
    (place("a", acres="80 furlongz"), "not known"),
    (place("a", acres=float("nan")), "not a finite number"),
    (place("a", acres="1e309 ac"), "not a finite number"),
    (place("a", acres=float("inf")), "not a finite number"),
    (place("a", acres=-1), "outside what is possible"),
    (place("a", acres=True), "not a number"),
    (place("a", expected_yield="80"), "has no unit"),
    (place("a", expected_yield=80), "has no unit"),
    (place("a", expected_yield="80 USD"), "does not fit"),
    (place("a", planting_date="2026-02-30"), "not a calendar date"),
    (place("a", planting_date="0001-01-01"), "out of the calendar"),
    (place("a", "castle"), "is not known"),
    (NewEntry("quote", {"commodity": "wheat", "price": "5 USD/bu"}, place="north"), "north is a field"),
    (NewEntry("quote", {"commodity": "wheat", "price": "5 USD/bu"}), "has no place"),
    (NewEntry("note", {"text": "x"}, place="north", seen_at=datetime(2026, 6, 1)), "no time zone"),
    (NewEntry("note", {"text": "x"}, place="north", seen_at=datetime(1, 1, 1, tzinfo=UTC)), "out of the calendar"),
    (NewEntry("note", {"text": "x"}, place="north", id="7"), "not a UUID"),
    (NewEntry("note", {"text": "a\x00b"}, place="north"), "unprintable"),
    (NewEntry("note", {"text": "\ud800"}, place="north"), "unprintable"),
    (NewEntry("note", "text", place="north"), "str given"),  # type: ignore[arg-type]
    (NewEntry("farm", {"name": "x"}), "describes a farm"),
    (NewEntry("place", {"name": "x", "kind": "field"}, farm="two-elms"), "describes a place"),
    (NewEntry("place", {"name": "x", "kind": "field"}, place="x", farm="nobody"), "no farm 'nobody'"),
    (NewEntry("note", {"text": "x"}, place="north", observer="a\x07"), "unprintable"),
    (NewEntry("station_days", {"start": "2026-06-01", "tmax": "hot"}, place="ridge"), "not a list of days"),
    (NewEntry("station_days", {"start": "2026-06-01", "tmax": [float("inf")]}, place="ridge"), "day 0 is inf"),
    (NewEntry("station_days", {"start": "2026-06-01", "flags": {"a": float("nan")}}, place="ridge"), "not a finite"),
    (NewEntry("station_days", {"start": "2026-06-01", "flags": "{"}, place="ridge"), "is not JSON"),
    (NewEntry("call", {"call": {"question": "q"}}, place="north"), "has no on"),
]


@pytest.mark.parametrize(("bad", "said"), BAD, ids=[said for _, said in BAD])
def test_bad_input_gets_one_line_and_nothing_is_written(ledger: Ledger, bad: NewEntry, said: str) -> None:
    ledger.append(start())
    with pytest.raises((InputError, LedgerError), match=said) as caught:
        ledger.append([note("good"), bad, note("good too")])
    text = str(caught.value)
    assert "\n" not in text and "entry 2" in text and len(text) <= 600
    assert ledger.head()[0] == 5 and ledger.check().ok


def test_a_wrong_unit_is_a_unit_error_and_a_single_entry_is_not_numbered(ledger: Ledger) -> None:
    ledger.append(start())
    with pytest.raises(UnitError, match=r"^place acres: ") as caught:
        ledger.append([place("a", acres="80 bu")])
    assert caught.value.where == "place acres"


def test_topics_keep_quotes_and_calls_apart(ledger: Ledger) -> None:
    quotes = [
        NewEntry("quote", {"commodity": c, "price": p}, place="elevator", seen_at=at(f"2026-06-0{d}"))
        for c, p, d in [("wheat", "5.10 USD/bu", 1), ("sorghum", "4.05 USD/bu", 2), ("wheat", "5.25 USD/bu", 3)]
    ]
    calls = [
        NewEntry("call", {"call": call(question, chance)}, place="north", seen_at=at("2026-06-02"))
        for question, chance in (("a", 0.1), ("b", 1 / 3))
    ]
    ledger.append([*start(), *quotes, *calls])
    prices = {topic: e.body["price"] for (_, topic), e in ledger.latest_topics("quote", ON).items()}
    assert prices == {"wheat": "5.25 USD/bu", "sorghum": "4.05 USD/bu"}
    assert ledger.latest(["quote"], ON)["quote"]["elevator"].topic == "wheat"
    kept = ledger.latest_topics("call", ON)["north", "b"].body["call"]
    assert kept == call("b", 1 / 3) and kept["options"][0]["chance_best"] == 1 / 3


def test_history_is_by_time_seen_and_bounded_by_days(ledger: Ledger) -> None:
    days = [f"2026-06-{d:02d}" for d in (9, 3, 7, 5)]
    ledger.append([*start(), *(note(day, day=day) for day in days)])
    assert [e.body["text"] for e in ledger.history(place="north", kind="note")] == sorted(days)
    some = ledger.history(kind="note", since=date(2026, 6, 4), until=date(2026, 6, 7))
    assert [e.body["text"] for e in some] == ["2026-06-05", "2026-06-07"]


def test_history_pages_do_not_lose_entries_seen_at_one_instant(ledger: Ledger) -> None:
    ledger.append([*start(), *(note(str(i)) for i in range(2500))])
    assert [e.body["text"] for e in ledger.history(kind="note")] == [str(i) for i in range(2500)]


def test_histories_of_many_places_are_what_history_gives_one_by_one(ledger: Ledger) -> None:
    days = [f"2026-06-{d:02d}" for d in (9, 3, 7, 5)]
    ledger.append([*start(), *(note(f"{where} {day}", where, day) for day in days for where in ("north", "pen-1"))])
    wrong = ledger.append([note("wrong", "north", "2026-06-06")])[0]
    ledger.append([note("right", "north", "2026-06-06", corrects=wrong.id)])
    since, until = date(2026, 6, 4), date(2026, 6, 7)
    many = ledger.histories("note", ["north", "pen-1", "nowhere"], since, until)
    assert many == {p: list(ledger.history(place=p, kind="note", since=since, until=until)) for p in ("north", "pen-1")}
    assert [e.body["text"] for e in many["north"]] == ["north 2026-06-05", "right", "north 2026-06-07"]


def test_one_places_history_does_not_walk_through_all_places(ledger: Ledger) -> None:
    if ledger.engine.dialect.name != "sqlite":
        pytest.skip("only SQLite plans without counting rows")
    asked: list[tuple[str, object]] = []

    @sa.event.listens_for(ledger.engine, "before_cursor_execute")
    def keep(connection, cursor, statement, values, context, many) -> None:  # type: ignore[no-untyped-def]
        asked.append((statement, values))

    list(ledger.history(place="north", kind="note"))
    ledger.histories("note", ["north", "pen-1"], date(2026, 6, 1))
    plans = []
    with ledger.reading() as connection:
        for statement, values in list(asked):
            if "FROM entries" in statement and "DISTINCT" not in statement:  # which farms were forgotten is asked too
                plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
                plans.append(next(row[3] for row in plan))
    assert len(plans) == 2 and all("entries_by_series (kind=? AND subject=?" in plan for plan in plans), plans


def test_a_clock_that_steps_back_is_noted_and_what_it_says_is_kept(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger.append(start())
    before = next(iter(ledger.history(kind="farm"))).recorded_at
    right = queries.clock
    monkeypatch.setattr(queries, "clock", lambda connection: right(connection) - timedelta(hours=3))
    ledger.append([note("clock is late")])
    entry = next(iter(ledger.history(kind="note")))
    assert entry.recorded_at < before and entry.clock_behind == pytest.approx(3 * 3600, abs=60)
    report = ledger.check()
    assert report.ok and "stepped back" in report.notes[0] and "entry 6" in report.notes[0]


def test_without_a_time_it_was_seen_when_recorded(ledger: Ledger) -> None:
    sent = NewEntry("farm", {"name": "Now"}, farm="now", id=str(uuid.uuid4()))
    ledger.append([sent])
    entry = next(iter(ledger.history()))
    assert entry.seen_at == entry.recorded_at and not ledger.append([sent])[0].stored
    assert entry.seen_on == entry.recorded_at.astimezone().date()


@pytest.mark.parametrize("table", ["entries", "series", "about"])
def test_the_database_itself_refuses_changes(ledger: Ledger, table: str) -> None:
    ledger.append([*start(), note("kept")])
    column = {"entries": "body", "series": "kind", "about": "value"}[table]
    statements = [f"UPDATE {table} SET {column} = 'x'", f"DELETE FROM {table}"]
    if ledger.engine.dialect.name == "postgresql":
        statements.append(f"TRUNCATE {table} CASCADE")
    for statement in statements:
        with pytest.raises(LedgerError, match="append a correction"), ledger.writing() as connection:
            connection.execute(sa.text(statement))
    assert ledger.check().ok and ledger.head()[0] == 6


def test_the_database_refuses_a_gap_and_a_replacement(ledger: Ledger) -> None:
    ledger.append([*start(), note("kept")])
    columns = (
        "id, kind, topic, place, farm, seen_at, seen_zone, seen_on, recorded_at, clock_behind, observer, seal, body"
    )
    columns += ", hash"
    for verb, seq, new_id in (("INSERT", 8, "'b'"), ("INSERT", 6, "'b'"), ("INSERT OR REPLACE", 6, "id")):
        if "REPLACE" in verb and ledger.engine.dialect.name == "postgresql":
            continue
        values = columns.replace("id", new_id, 1)
        statement = f"{verb} INTO entries (seq, {columns}) SELECT {seq}, {values} FROM entries WHERE seq = 6"
        with pytest.raises(LedgerError), ledger.writing() as connection:
            connection.execute(sa.text(statement))
    assert ledger.check().ok and ledger.head()[0] == 6


def test_reopening_finds_everything(address: str) -> None:
    with open_ledger(address) as first:
        first.append([*start(), note("kept")])
        head, born = first.head(), first.id
    with open_ledger(address, create=False) as second:
        assert second.head() == head and second.id == born and second.check().ok


def test_a_batch_may_describe_a_place_and_correct_within_itself(ledger: Ledger) -> None:
    wrong = note("wrong", id=str(uuid.uuid4()))
    ledger.append([*start(), wrong, note("right", corrects=wrong.id)])
    assert [e.body["text"] for e in ledger.history(kind="note")] == ["right"]


def test_draft_fields_cover_the_row() -> None:
    """Whatever an entry states is compared when it is sent again."""
    told = set(NewEntry.__dataclass_fields__) - {"id"}
    assert told == {"kind", "body", "place", "farm", "seen_at", "observer", "corrects"}
    assert told <= set(drafts_module.Draft.__dataclass_fields__)


CONTRADICTIONS = [
    ("pen-1", "forecast", {"days": "date=2025-06-05, high=90 F, low=60 F"}, "2025-06-05"),
    ("pen-1", "forecast", {"days": "date=2026-06-05, high=60 F, low=90 F"}, "low 90 degF is above the high"),
    ("pen-1", "herd_air", {"temperature": "70 F", "dewpoint": "80 F"}, "dewpoint 80 degF is above the temperature"),
    ("north", "freeze_night", {"low": "23 F", "night": "2025-05-30"}, "2025-05-30"),
    ("north", "freeze_night", {"low": "23 F", "night": "2026-07-09"}, "2026-07-09"),
]


@pytest.mark.parametrize(("place_id", "kind", "body", "said"), CONTRADICTIONS)
def test_what_cannot_have_been_seen_on_its_day_is_asked_back(ledger: Ledger, place_id, kind, body, said) -> None:
    """A forecast of last year, a low above the high, a dew point above the air, a freeze that has not come."""
    ledger.append(start())
    with pytest.raises(InputError, match=said):
        ledger.append([NewEntry(kind, body, place=place_id, seen_at=at("2026-06-04"))])
    assert list(ledger.history(kind=kind)) == []


def test_a_place_names_only_stations_and_markets_that_are_on_file(ledger: Ledger) -> None:
    """A misspelt id was stored, and the place then had another station's weather without a word."""
    ledger.append(start())
    head = ledger.head()
    for what, given, said in (("market", "elevatr", "did you mean elevator"), ("station", "nowhere", "no station"),
                              ("station", "north", "north is a field")):  # fmt: skip
        with pytest.raises(InputError, match=said):
            ledger.append([place("new", **{what: given})])
    assert ledger.head() == head
    later = NewEntry("place", {"name": "mast", "kind": "station"}, place="mast", seen_at=at("2026-01-02"))
    assert all(r.stored for r in ledger.append([place("new", station="mast", market="elevator"), later]))
