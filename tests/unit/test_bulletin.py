"""The bulletin: what may be said, in both languages, as page, PDF, text and calendar."""

from __future__ import annotations

import io
import string
import subprocess
from datetime import date
from pathlib import Path

import pytest

from sideoats.bulletin.dates import farm_calendar
from sideoats.bulletin.public import LEAST_FARMS, make_bulletin
from sideoats.bulletin.publish import publish
from sideoats.bulletin.render import page, pdf, verdict_chart
from sideoats.bulletin.spoken import MESSAGE, messages, plain, plain_text, radio, script
from sideoats.bulletin.words import LANGUAGES, words
from sideoats.call import Call, OptionResult
from sideoats.demo.district import FARMS, TODAY, all_entries
from sideoats.errors import InputError
from sideoats.ledger import open_ledger
from sideoats.question import registry
from sideoats.week import Week, run_week
from sideoats.week.run import weekly_questions
from sideoats.week.snapshot import Snapshot, take_snapshot

HOSTILE = '<script>alert(1)</script> #read("/etc/passwd") $x$ *b* _i_ \\n"'


def call(farm: int, question: str = "sorghum-aphid", verdict: str = "act", value: float = 20.0) -> Call:
    options = (
        OptionResult("go", "Go", value, 0, 30, "USD/ac", 0.8),
        OptionResult("stay", "Stay", 0, 0, 0, "USD/ac", 0.2),
    )
    return Call(
        question, TODAY, verdict, date(2026, 9, 16) if verdict == "act" else None, date(2026, 9, 18), HOSTILE, options,
        place=f"secret-farm-{farm}.p", place_name=HOSTILE, farm=f"secret-farm-{farm}",
    )  # fmt: skip


def week(calls: list[Call]) -> Week:
    return Week(TODAY, tuple(calls), {}, (), (10, "ab" * 32), 1, 100)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Week, Snapshot]:
    with open_ledger(tmp_path_factory.mktemp("bulletin") / "ledger.sqlite") as ledger:
        ledger.append(all_entries())
        return run_week(ledger, TODAY, draws=60), take_snapshot(ledger, TODAY, ())


def test_groups_under_five_farms_are_not_reported() -> None:
    calls = [call(i) for i in range(LEAST_FARMS)] + [call(i, "soybean-podworm") for i in range(LEAST_FARMS - 1)]
    b = make_bulletin(week(calls), words("en"))
    assert [(i.question, i.farms) for i in b.items] == [("sorghum-aphid", 5)] and b.withheld == 1
    # many places of few farms are still few farms
    many = make_bulletin(week([call(i % 2) for i in range(40)]), words("en"))
    assert many.items == () and many.withheld == 1


def test_small_groups_of_one_question_are_told_together() -> None:
    """Eight farms, no verdict on five of them: the verdicts are named, without counts, dates or money of any."""
    calls = [call(i) for i in range(4)] + [call(i, verdict="look") for i in range(4, 7)] + [call(7, verdict="wait")]
    b = make_bulletin(week(calls), words("en"))
    (item,) = b.items
    assert (item.farms, item.verdict, item.word, item.mixed, b.withheld) == (8, "act", "Act, some", True, 0)
    assert item.sentence == "Of eight places on eight farms, some should act, some should look first and some can wait."
    assert item.first is item.last is None and "one matter differs" in b.opening.lower()
    assert "ACT, SOME" in messages(b, words("en"))[0] and verdict_chart(b, words("en")) is None
    assert "algunos" in make_bulletin(week(calls), words("es")).items[0].sentence


def test_nothing_is_told_together_that_subtraction_would_give_away() -> None:
    """Where one verdict is told by itself, the small ones are not: all together less that one would be them."""
    calls = [call(i) for i in range(6)] + [call(i, verdict="look") for i in range(6, 9)]
    b = make_bulletin(week(calls), words("en"))
    assert [(i.verdict, i.mixed, i.farms) for i in b.items] == [("act", False, 6)] and b.withheld == 1
    few = [call(1), call(2, verdict="look"), call(3, verdict="wait"), call(4, verdict="wait")]
    assert make_bulletin(week(few), words("en")).items == ()
    hazard = [call(1, "hay-nitrate", "stop")] + [call(i, "hay-nitrate", "wait") for i in range(2, 8)]
    alone = make_bulletin(week(hazard), words("en"))
    assert alone.items == () and alone.hazards == (words("en").reminder("hay-nitrate"),)


def test_a_hazard_on_one_farm_brings_its_general_reminder_and_no_number() -> None:
    b = make_bulletin(week([call(1, "hay-nitrate", "stop")]), words("en"))
    assert b.items == () and b.hazards == (words("en").reminder("hay-nitrate"),)
    assert not any(c.isdigit() for c in b.hazards[0])


def test_a_hazard_anywhere_goes_before_the_usual_reminder_and_is_told_once() -> None:
    calls = [call(i, "cull-cows") for i in range(6)] + [call(9, "cull-cows", "stop"), call(9, "wean-date", "stop")]
    calls += [call(9, "precondition", "stop")]
    en = words("en")
    b = make_bulletin(week(calls), en)
    assert [i.reminder for i in b.items] == [en.hazard("cull-cows")] != [en.reminder("cull-cows")]
    assert b.hazards == (en.hazard("wean-date"),) and "withdrawal" in b.hazards[0]
    calm = make_bulletin(week(calls[:6]), en)
    assert [i.reminder for i in calm.items] == [en.reminder("cull-cows")] and calm.hazards == ()
    assert radio(b, en, seconds=60).index(b.hazards[0]) < radio(b, en, seconds=60).index("Cull cows")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_question_of_the_week_has_something_to_say_to_all(language: str) -> None:
    """Without a number: a sentence that names none needs no source, and holds on every field."""
    spoken = words(language)
    said = {q.name: spoken.reminder(q.name) for q in weekly_questions()}
    assert [name for name, text in said.items() if not text] == []
    both = [*spoken.table["reminders"].values(), *spoken.table["hazards"].values()]
    assert all(len(text) <= 110 and text.endswith(".") and not any(c.isdigit() for c in text) for text in both)


def test_what_differs_from_place_to_place_is_read_aloud_as_what_holds_for_all() -> None:
    calls = [call(i) for i in range(4)] + [call(i, verdict="look") for i in range(4, 8)]
    b, en = make_bulletin(week(calls), words("en")), words("en")
    assert "some should act" in plain_text(b, en) and "some should act" not in script(b, en)
    assert f"Aphids in sorghum: {en.reminder('sorghum-aphid')}" in script(b, en)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_public_text_names_a_farm_or_a_place(language: str, demo: tuple[Week, Snapshot]) -> None:
    found, snapshot = demo
    spoken = words(language)
    b = make_bulletin(found, spoken, stations=snapshot.stations)
    public = [
        plain_text(b, spoken),
        script(b, spoken),
        radio(b, spoken, seconds=30),
        page(b, spoken),
        *messages(b, spoken),
    ]
    for text in public:
        for key, name in FARMS.items():
            assert name not in text and key not in text
        assert not any(c.place in text for c in found.calls)


@pytest.mark.parametrize("language", LANGUAGES)
def test_lengths(language: str, demo: tuple[Week, Snapshot]) -> None:
    spoken = words(language)
    b = make_bulletin(demo[0], spoken, stations=demo[1].stations)
    assert len(script(b, spoken).split()) <= 280
    assert len(radio(b, spoken, seconds=30).split()) <= 70
    sent = messages(b, spoken)
    assert sent and all(len(m) <= MESSAGE for m in sent)
    assert all(c.isascii() or c in "éèùìòÇØøÅåÄÖÑÜ§¿äöñüà¡" for m in sent for c in m)


def test_both_languages_have_the_same_phrases_and_every_question_has_a_title() -> None:
    tables = [words(language).table for language in LANGUAGES]
    assert tables[0].keys() == tables[1].keys()
    for part in ("phrases", "verdicts", "questions", "reminders", "hazards", "units", "lists"):
        assert tables[0][part].keys() == tables[1][part].keys(), part
    for key in tables[0]["phrases"]:
        blanks = [{b for _, b, _, _ in string.Formatter().parse(t["phrases"][key]) if b} for t in tables]
        assert blanks[0] == blanks[1], key
    missing = [name for name in registry() if name not in tables[0]["questions"]]
    assert missing == []
    for length, key in ((7, "weekdays"), (12, "months")):
        assert all(len(t["lists"][key]) == length for t in tables)


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(InputError, match="en, es"):
        words("xx")


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    b = make_bulletin(
        week([call(i) for i in range(6)]), words("en"), district=HOSTILE, paragraphs={"opening.en": HOSTILE}
    )
    html = page(b, words("en"))
    assert "<script>" not in html and "&lt;script&gt;" in html
    file = tmp_path / "b.pdf"
    file.write_bytes(pdf(b, words("en")))
    from pypdf import PdfReader

    text = PdfReader(file).pages[0].extract_text()
    assert '#read("/etc/passwd")' in text.replace("\n", "").replace("”", '"').replace("“", '"') and "root:" not in text


def test_the_pdf_is_tagged_embedded_and_the_same_twice(demo: tuple[Week, Snapshot], tmp_path: Path) -> None:
    spoken = words("es")
    b = make_bulletin(demo[0], spoken, stations=demo[1].stations)
    first, second = pdf(b, spoken), pdf(b, spoken)
    assert first == second
    import pikepdf

    with pikepdf.open(io.BytesIO(first)) as read:
        root = read.Root
        assert root.MarkInfo.Marked and root.Lang == "es" and "/StructTreeRoot" in root
        with read.open_metadata() as metadata:
            assert metadata["pdfuaid:part"] == "1" and b.title in metadata["dc:title"]
    (tmp_path / "b.pdf").write_bytes(first)
    try:
        fonts = subprocess.run(["pdffonts", tmp_path / "b.pdf"], capture_output=True, text=True, check=True).stdout
    except FileNotFoundError:
        pytest.skip("poppler-utils is not installed")
    rows = [line.split() for line in fonts.splitlines()[2:]]
    assert rows and all(row[-5] == "yes" for row in rows)


def test_calendars_parse_and_keep_their_uids(demo: tuple[Week, Snapshot]) -> None:
    from icalendar import Calendar

    own = [c for c in demo[0].calls if c.farm == "two-elms"]
    once = farm_calendar(own, words("en"), farm="Two Elms", on=TODAY)
    assert once == farm_calendar(own, words("en"), farm="Two Elms", on=TODAY)
    events = Calendar.from_ical(once).walk("VEVENT")
    dated = sum(bool(d) for c in own if c.verdict != "wait" for d in (c.act_by, c.look_by))
    assert len(events) == dated > 0
    assert len({str(e["UID"]) for e in events}) == dated
    for e in events:
        assert (e["DTEND"].dt - e["DTSTART"].dt).days == 1
    assert all(len(line) <= 75 for line in once.split(b"\r\n"))


def test_everything_is_published(demo: tuple[Week, Snapshot], tmp_path: Path) -> None:
    done = publish(demo[0], demo[1], {"closing.en": "My own last word."}, tmp_path)
    assert all(f.exists() and f.stat().st_size > 30 for f in done.files)
    assert len([f for f in done.files if f.suffix == ".ics"]) == len({c.farm for c in demo[0].calls if c.farm})
    assert "My own last word." in (tmp_path / "public" / "en" / "bulletin.txt").read_text(encoding="utf-8")
    assert "My own last word." not in (tmp_path / "public" / "es" / "bulletin.txt").read_text(encoding="utf-8")
    assert not list(tmp_path.rglob("*.part"))


def test_accents_that_messages_lack_are_dropped() -> None:
    assert plain("Pulgón ñandú à É €") == "Pulgon ñandu à E ?"
