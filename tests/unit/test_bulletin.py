"""The bulletin: what may be said, in both languages, as page, PDF, text and calendar."""

from __future__ import annotations

import io
import random
import re
import string
import subprocess
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from xml.etree import ElementTree

import pytest

from sideoats.asking import call_for
from sideoats.bulletin.dates import farm_calendar
from sideoats.bulletin.feed import feed
from sideoats.bulletin.public import Bulletin, make_bulletin
from sideoats.bulletin.publish import bulletin_of, publish
from sideoats.bulletin.render import page, pdf
from sideoats.bulletin.spoken import MESSAGE, SECONDS, messages, plain, plain_text, script
from sideoats.bulletin.words import LANGUAGES, words
from sideoats.call import Call, OptionResult, Quantity, call_from
from sideoats.demo.district import FARMS, TODAY, all_entries
from sideoats.errors import InputError
from sideoats.ledger import NewEntry, open_ledger
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


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_question_of_the_week_has_something_to_say_to_all(language: str) -> None:
    """Without a number: a sentence that names none needs no source, and holds on every field."""
    spoken = words(language)
    said = {q.name: spoken.reminder(q.name) for q in weekly_questions()}
    assert [name for name, text in said.items() if not text] == []
    both = [*spoken.table["reminders"].values(), *spoken.table["hazards"].values()]
    assert all(len(text) <= 110 and text.endswith(".") and not any(c.isdigit() for c in text) for text in both)


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_public_text_names_a_farm_or_a_place(language: str, demo: tuple[Week, Snapshot]) -> None:
    found, snapshot = demo
    spoken = words(language)
    b = make_bulletin(found, spoken, stations=snapshot.stations)
    public = [
        plain_text(b, spoken),
        *(script(b, spoken, seconds=n) for n in SECONDS),
        feed(b, spoken).decode(),
        page(b, spoken),
        *messages(b, spoken),
    ]
    for text in public:
        for key, name in FARMS.items():
            assert name not in text and key not in text
        assert not any(c.place in text for c in found.calls)


def test_both_languages_have_the_same_phrases_and_every_question_has_a_title() -> None:
    tables = [words(language).table for language in LANGUAGES]
    assert tables[0].keys() == tables[1].keys()
    for part in ("phrases", "verdicts", "questions", "reminders", "hazards", "lists"):
        assert tables[0][part].keys() == tables[1][part].keys(), part
    for key in tables[0]["phrases"]:
        blanks = [{b for _, b, _, _ in string.Formatter().parse(t["phrases"][key]) if b} for t in tables]
        assert blanks[0] == blanks[1], key
    missing = [name for name in registry() if name not in tables[0]["questions"]]
    assert missing == []
    assert all(len(t["lists"]["months"]) == 12 for t in tables)


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
    for event in events:  # an alarm twelve hours before the day, none of them past
        assert all(event["DTSTART"].dt - timedelta(days=1) > TODAY for _ in event.walk("VALARM"))
    assert len({str(e["UID"]) for e in events}) == dated
    for e in events:
        assert (e["DTEND"].dt - e["DTSTART"].dt).days == 1
    assert all(len(line) <= 75 for line in once.split(b"\r\n"))


def test_everything_is_published(demo: tuple[Week, Snapshot], tmp_path: Path) -> None:
    done = publish(demo[0], demo[1], {"closing.en": "My own last word."}, tmp_path)
    assert all(f.exists() and f.stat().st_size > 30 for f in done.files)
    assert len([f for f in done.files if f.parent.name == "farms"]) == len({c.farm for c in demo[0].calls if c.farm})
    assert "My own last word." in (tmp_path / "public" / "en" / "bulletin.txt").read_text(encoding="utf-8")
    assert "My own last word." not in (tmp_path / "public" / "es" / "bulletin.txt").read_text(encoding="utf-8")
    assert not list(tmp_path.rglob("*.part"))


def test_accents_that_messages_lack_are_dropped() -> None:
    assert plain("Pulgón ñandú à É €") == "Pulgon ñandu à E ?"


def hazards_week() -> Week:
    """Ten matters to act on at length, and four hazards, each on one farm only."""
    acting = ["sorghum-aphid", *sorted(q.name for q in weekly_questions())[:9]]
    counted = {"mean_aphids_per_leaf": Quantity(60.0, "aphids/leaf")}
    calls = [replace(call(i, name), quantities=counted) for name in acting for i in range(7)]
    stopped = ("bin-hold", "cow-body-condition", "graze-prussic", "hay-nitrate")
    known = [q for q in stopped if q in registry()]
    return week(calls + [call(at, q, "stop") for at, q in enumerate(known)])


def forms_of(b: Bulletin, language: str) -> dict[str, str]:
    """Every form of the bulletin as plain text."""
    pypdf = pytest.importorskip("pypdf")
    said = words(language)
    html = re.sub(r"<style>.*?</style>|<[^>]+>", " ", page(b, said), flags=re.DOTALL)
    print_ = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf(b, said))).pages)
    return {
        "page": html, "pdf": print_, "text": plain_text(b, said), "messages": "\n".join(messages(b, said)),
        "feed": " ".join(ElementTree.fromstring(feed(b, said)).itertext()),
        **{f"{n} seconds": script(b, said, seconds=n) for n in SECONDS},
    }  # fmt: skip


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_hazard_on_one_farm_brings_its_general_warning_once_and_no_number(language: str) -> None:
    said = words(language)
    calls = [call(1, "hay-nitrate", "stop"), call(9, "wean-date", "stop"), call(9, "precondition", "stop")]
    b = make_bulletin(week(calls), said)
    assert b.hazards == (said.hazard("hay-nitrate"), said.hazard("precondition")) and b.stories == ()
    assert not any(c.isdigit() for h in b.hazards for c in h)
    assert all(plain_text(b, said).count(h) == 1 for h in b.hazards)
    assert make_bulletin(week([call(1, "hay-nitrate", "look")]), said).hazards == ()


@pytest.mark.parametrize("language", LANGUAGES)
def test_whatever_hazards_there_are_they_go_before_everything(language: str) -> None:
    """Any set of hazards, each on any one farm, in every form that is text."""
    said, rng = words(language), random.Random(11)
    known = sorted(said.table["hazards"])
    for _ in range(25):
        stopped = rng.sample(known, rng.randint(1, len(known)))
        acting = [c for c in hazards_week().calls if c.verdict != "stop"]
        calls = acting + [call(rng.randint(0, 6), q, "stop") for q in stopped]
        rng.shuffle(calls)
        b = make_bulletin(week(calls), said)
        assert set(b.hazards) == {said.hazard(q) for q in stopped} and b.stories
        texts = [plain_text(b, said), feed(b, said).decode(), "\n".join(messages(b, said))]
        texts += [script(b, said, seconds=n) for n in SECONDS]
        for text in texts:
            flat = plain(" ".join(text.split()))
            places = [flat.find(plain(h)) for h in b.hazards]
            later = [flat.find(plain(s.headline)) for s in b.stories]
            assert min(places) >= 0 and max(places) < min((at for at in later if at >= 0), default=len(flat))


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_stop_comes_first_and_whole_in_every_form(language: str) -> None:
    said = words(language)
    b = make_bulletin(hazards_week(), said)
    assert len(b.hazards) >= 2 and b.stories
    for form, text in forms_of(b, language).items():
        flat = plain(" ".join(text.split()))
        places = [flat.find(plain(h)) for h in b.hazards]
        assert min(places) >= 0, (form, b.hazards[places.index(-1)])
        later = [flat.find(plain(part)) for part in (b.opening, *(s.headline for s in b.stories))]
        assert max(places) < min(at for at in (*later, len(flat)) if at > 0), form
        assert flat.upper().count(plain(said.verdict("stop")).upper()) >= len(b.hazards), form
    assert all(len(m) <= MESSAGE for m in messages(b, said)) and not any(
        m.endswith("...") and "STOP" in m for m in messages(b, words("en"))
    )


def test_what_doing_nothing_brings_is_known_of_a_call_kept_and_read_again() -> None:
    leave = OptionResult("leave", "Leave", 1, 1, 1, "USD/ac", 0.3, passive=True)
    kept = replace(call(1), options=(call(1).options[0], leave))
    assert call_from(kept.full()).options == kept.options and "passive" not in kept.contract()["options"][0]
    answered = call_for("sorghum-aphid", ASKED, on=date(2026, 8, 10))
    assert any(o.passive for o in answered.options) or answered.baseline


ASKED = {"mean": "150", "n": "40", "stage": "boot", "yield": "80 bu/ac", "price": "4.50 USD/bu", "cost": "14 USD/ac"}


def test_a_farms_own_gauge_and_name_never_stand_in_public(tmp_path: Path) -> None:
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        ledger.append(all_entries())
        days = {"start": (TODAY - timedelta(days=400)).isoformat(), "source": "gauge"}
        days |= {name: [value] * 400 for name, value in (("rain", 2.0), ("tmax", 30.0), ("tmin", 15.0))}
        for at, (name, farm) in enumerate((("Home gauge", "two-elms"), ("Two Elms back forty", None))):
            told = {"name": name, "kind": "station", "latitude": 38.2, "longitude": -99.0}
            ledger.append([NewEntry("place", told, place=f"gauge-{at}", farm=farm),
                           NewEntry("station_days", days, place=f"gauge-{at}")])  # fmt: skip
        snapshot = take_snapshot(ledger, TODAY, ())
    assert {"gauge-0", "gauge-1"} <= set(snapshot.stations)
    found = week([call(i) for i in range(6)])
    for language in LANGUAGES:
        b = bulletin_of(found, snapshot, {}, language)
        shown = page(b, words(language))
        assert b.stations and b.pictures
        assert not [n for n in ("Home gauge", "back forty", "Two Elms", "gauge-0") if n in shown]


@pytest.mark.parametrize("text", ["Two Elms has aphids.", "TWO-ELMS is over the line", "go to two elms' sorghum 1"])
def test_a_paragraph_that_names_a_farm_is_refused_by_name(
    text: str, demo: tuple[Week, Snapshot], tmp_path: Path
) -> None:
    with pytest.raises(InputError, match=r"(?i)two[- ]elms"):
        publish(demo[0], demo[1], {"opening.en": text}, tmp_path)
    assert not list(tmp_path.rglob("*"))
    assert text not in bulletin_of(*demo, {"opening.en": text}, "en").opening
    plain_words = "Aphids are over the line in the north; two fields with elms were clean."
    assert plain_words in bulletin_of(*demo, {"opening.en": plain_words}, "en").opening


def test_letters_that_the_pdf_cannot_print_do_not_stop_it() -> None:
    """Thai, Chinese and pictures: the file is made, the letters are shown as ?, and it says so."""
    pypdf = pytest.importorskip("pypdf")
    thai = "".join(chr(at) for at in range(0xE01, 0xE2F))
    for text in ("Walk \u0e2a\u0e27\u0e31\u0e2a\u0e14\u0e35 now", "\u4f60\u597d", f"a {thai} b", "\U0001f33e"):
        b = make_bulletin(week([call(i) for i in range(6)]), words("en"), paragraphs={"closing.en": text})
        shown = " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(pdf(b, words("en")))).pages)
        assert "?" in shown and "not in the font" in " ".join(shown.split())
        assert text in page(b, words("en"))
