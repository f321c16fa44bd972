"""The letter to a farm: what it lists, one page in both languages, the slip that comes back, and mail sent once."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pypdf
import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from click.testing import CliRunner

from sideoats.cli import group
from sideoats.demo.district import TODAY, all_entries
from sideoats.errors import InputError, SideoatsError
from sideoats.ledger import Ledger, NewEntry, open_ledger
from sideoats.letters.letter import Letter, letters_of
from sideoats.letters.post import TRIES, message_of, post, server_at
from sideoats.letters.sheet import page, plain
from sideoats.letters.slips import actions_of, answers, entry_of
from sideoats.week import Week, district_of, run_week
from sideoats.week.district import District
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.words import Reader

DRAWS, WHEN = 60, datetime(2026, 9, 14, 12, tzinfo=UTC)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with open_ledger(tmp_path / "ledger.sqlite") as opened:
        opened.append(all_entries())
        yield opened


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Week, District, Path]:
    path = tmp_path_factory.mktemp("letters") / "ledger.sqlite"
    with open_ledger(path) as opened:
        opened.append(all_entries())
        week = run_week(opened, TODAY, draws=DRAWS)
        district = district_of(opened, TODAY, kinds=evidence_needed(weekly_questions()), draws=DRAWS, pool=True)
    return week, district, path


def written(whole: tuple[Week, District, Path], language: str = "en") -> list[Letter]:
    week, district, path = whole
    with open_ledger(path) as opened:
        return [letter for letter, _ in letters_of(week, district, opened, Reader(language))]


def test_every_farm_gets_a_letter_with_its_stops_first_and_no_money_beside_them(
    whole: tuple[Week, District, Path],
) -> None:
    week, _, _ = whole
    found = written(whole)
    assert len(found) == len({c.farm for c in week.calls if c.farm}) >= 10
    order = ["stop", "act", "look", "wait"]
    for letter in found:
        ranks = [order.index(line.verdict) for line in letter.lines]
        assert ranks == sorted(ranks) and [line.number for line in letter.lines] == list(range(1, len(ranks) + 1))
        assert all(line.week == 0 for line in letter.lines if line.verdict == "stop")
        stops = [c for c in week.of("stop") if c.farm == letter.farm]
        assert sum(line.verdict == "stop" for line in letter.lines) == len(stops)
        assert 2 <= len(letter.opening) <= 3
        if letter.lines and stops:  # the worst thing is the first thing said
            assert letter.opening[0].startswith(letter.lines[0].place)


def test_the_pests_that_one_pass_takes_are_one_line(whole: tuple[Week, District, Path]) -> None:
    week, _, _ = whole
    several = [p for p in week.passes if len(p.pests) > 1]
    assert several
    by_farm = {letter.farm: letter for letter in written(whole)}
    for one in several:
        wanted = {(question, one.place) for question in one.pests}
        holding = [line for line in by_farm[one.farm].lines if wanted & set(line.about)]
        assert len(holding) == 1 and wanted <= set(holding[0].about) and holding[0].verdict == "act"


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_letter_is_one_tagged_page_that_holds_its_lines(
    whole: tuple[Week, District, Path], language: str, tmp_path: Path
) -> None:
    for letter in written(whole, language):
        path = tmp_path / f"{letter.farm}.pdf"
        path.write_bytes(page(letter))
        read = pypdf.PdfReader(path)
        assert len(read.pages) == 1, letter.name
        assert read.trailer["/Root"]["/MarkInfo"]["/Marked"]
        text = " ".join(read.pages[0].extract_text().split())
        assert letter.code in text and letter.name in text
        for line in letter.lines:
            assert " ".join(line.what.split())[:25] in text, (letter.name, line)


def test_what_was_not_seen_and_what_is_not_known_are_said(whole: tuple[Week, District, Path]) -> None:
    text = "\n".join(plain(letter) for letter in written(whole))
    assert "Not seen: alfalfa 2: nothing on file for the last 30 days" in text and "Not known:" in text


def test_a_letter_names_no_other_farm(whole: tuple[Week, District, Path]) -> None:
    found = written(whole)
    for letter in found:
        text = plain(letter)
        assert not [other.name for other in found if other.farm != letter.farm and other.name in text]


def test_a_slip_closes_what_was_done_and_leaves_the_rest_open(ledger: Ledger) -> None:
    week = run_week(ledger, TODAY, draws=DRAWS, farm="two-elms")
    district = district_of(ledger, TODAY, kinds=evidence_needed(weekly_questions()), draws=DRAWS, pool=True)
    letter = next(x for x, _ in letters_of(week, district, ledger, Reader()) if x.farm == "two-elms")
    ledger.append([entry_of(letter, "printed", WHEN, "Ada")])
    done = next(line for line in letter.lines if line.verdict == "act" and len(line.about) > 1)
    later = next(line for line in letter.lines if line.verdict == "act" and line is not done)
    text = f"{letter.code.lower()}: {done.number} hecho, {later.number} Later."
    history = list(ledger.history(kind="letter"))
    entry, said = answers(text, history)
    assert [(s.number, s.answer) for s in said] == [(done.number, "done"), (later.number, "later")]
    first = ledger.append(actions_of(ledger, entry, said, WHEN, "Two Elms"))
    assert len(first) == len(done.about) + len(later.about) and all(r.stored for r in first)
    assert actions_of(ledger, entry, said, datetime(2026, 9, 15, 8, tzinfo=UTC), "Two Elms") == []
    after = {(c.question, c.place): c for c in run_week(ledger, TODAY, draws=DRAWS, farm="two-elms").calls}
    assert all(after[key].done for key in done.about)
    assert all(not after[key].done and after[key].verdict == "act" for key in later.about)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1 done", "begins with no code"),
        ("BBBBB 1 done", "no letter on file"),
        ("{code}", "answers no line"),
        ("{code} 77 done", "77 is no line"),
        ("{code} 1 perhaps", "neither done, won't nor later"),
        ("{code} 1 done, what about 2?", "cannot be read"),
    ],
)
def test_a_slip_that_cannot_be_read_is_asked_back_whole(
    whole: tuple[Week, District, Path], ledger: Ledger, text: str, said: str
) -> None:
    letter = written(whole)[0]
    ledger.append([entry_of(letter, "printed", WHEN, "")])
    with pytest.raises(InputError, match=said):
        answers(text.format(code=letter.code), ledger.history(kind="letter"))


class Mail:
    """A real server on loopback that can refuse, and keeps what it takes."""

    def __init__(self, codes: list[str]) -> None:
        self.codes, self.taken, self.tried = codes, list[Envelope](), 0

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.tried += 1
        code = self.codes.pop(0) if self.codes else "250 taken"
        if code.startswith("2"):
            self.taken.append(envelope)
        return code


@pytest.fixture
def mail() -> Iterator[Any]:
    started: list[Controller] = []

    def start(*codes: str) -> tuple[Mail, str]:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        handler = Mail(list(codes))
        controller = Controller(handler, hostname="127.0.0.1", port=port)
        controller.start()
        started.append(controller)
        return handler, f"smtp://127.0.0.1:{port}"

    yield start
    for controller in started:
        controller.stop()


def sent(ledger: Ledger, letters: list[tuple[Letter, str]], address: str, **options: Any) -> list[tuple[str, str]]:
    out = post(ledger, letters, server_at(address), "office@example.org", WHEN, "Ada", pause=lambda s: None, **options)
    return [(p.letter.farm, p.stands) for p in out]


def test_each_farm_gets_one_message_and_none_twice(
    whole: tuple[Week, District, Path], ledger: Ledger, mail: Any
) -> None:
    handler, address = mail()
    one, two, three = written(whole)[:3]
    letters = [(one, "one@example.org"), (two, ""), (three, "three@example.org")]
    assert [s for _, s in sent(ledger, letters, address, dry=True)] == ["dry", "no address", "dry"]
    assert handler.tried == 0
    assert [s for _, s in sent(ledger, letters, address)] == ["sent", "no address", "sent"]
    assert [e.rcpt_tos for e in handler.taken] == [["one@example.org"], ["three@example.org"]]
    assert one.code.encode() in handler.taken[0].content and b"application/pdf" in handler.taken[0].content
    assert [s for _, s in sent(ledger, letters, address)] == ["before", "no address", "before"]
    assert handler.tried == 2


def test_a_server_that_is_busy_is_asked_again_and_one_that_refuses_is_not(
    whole: tuple[Week, District, Path], ledger: Ledger, mail: Any
) -> None:
    letters = [(letter, f"{letter.farm}@example.org") for letter in written(whole)[:2]]
    handler, address = mail("451 busy", "250 taken", "550 no such box")
    assert [s for _, s in sent(ledger, letters, address)] == ["sent", "refused"]
    assert handler.tried == 3 and len(handler.taken) == 1
    assert [s for _, s in sent(ledger, letters, address)] == ["before", "sent"]  # another day, another answer
    always, address = mail(*["451 busy"] * 9)
    assert [s for _, s in sent(ledger, [(written(whole)[3], "x@example.org")], address)] == ["refused"]
    assert always.tried == TRIES


def test_what_may_have_been_sent_when_the_machine_stopped_is_not_sent_again_unasked(
    whole: tuple[Week, District, Path], ledger: Ledger, mail: Any
) -> None:
    handler, address = mail()
    letter = written(whole)[0]
    ledger.append([entry_of(letter, "being sent", WHEN, "Ada", to="a@example.org")])
    assert [s for _, s in sent(ledger, [(letter, "a@example.org")], address)] == ["unsure"] and handler.tried == 0
    assert [s for _, s in sent(ledger, [(letter, "a@example.org")], address, again=True)] == ["sent"]
    assert [s for _, s in sent(ledger, [(letter, "a@example.org")], address, again=True)] == ["before"]


def test_no_server_there_is_said_and_kept(whole: tuple[Week, District, Path], ledger: Ledger) -> None:
    with socket.socket() as shut:
        shut.bind(("127.0.0.1", 0))  # bound and not listening: nobody answers here
        found = sent(ledger, [(written(whole)[0], "a@example.org")], f"smtp://127.0.0.1:{shut.getsockname()[1]}")
    assert [s for _, s in found] == ["refused"]
    assert [e.body["stands"] for e in ledger.history(kind="letter")] == ["being sent", "refused"]


@pytest.mark.parametrize("address", ["http://a", "smtp://", "smtp://a:notaport", "smtp://u:secret@a", "a.example.org"])
def test_an_address_that_is_no_server_is_refused(address: str) -> None:
    with pytest.raises(InputError, match="no mail server"):
        server_at(address)


def test_a_header_cannot_be_smuggled_in_by_a_farm_s_name(whole: tuple[Week, District, Path]) -> None:
    from dataclasses import replace

    letter = replace(written(whole)[0], name="Elms\r\nBcc: all@example.org")
    with pytest.raises(ValueError, match="linefeed"):
        message_of(letter, "office@example.org", "a@example.org", WHEN)


def test_the_commands_write_print_and_take_a_slip_back(tmp_path: Path) -> None:
    path, out = tmp_path / "ledger.sqlite", tmp_path / "out"
    with open_ledger(path) as opened:
        opened.append(all_entries())
        opened.append([NewEntry("farm", {"name": "Two Elms", "language": "es"}, farm="two-elms")])
    run = CliRunner()
    day = ["--on", TODAY.isoformat(), "--draws", str(DRAWS), "--farm", "two-elms"]
    done = run.invoke(group, ["--ledger", str(path), "letters", *day, "--out", str(out)])
    assert done.exit_code == 0 and "1 letter written" in done.output
    (text,) = out.glob("*.txt")
    words = text.read_text()
    assert "Two Elms: carta del lunes 14 de septiembre de 2026" in words
    code = words.split("clave ")[1].split()[0]
    told = run.invoke(group, ["--ledger", str(path), "reply", code, "1", "hecho,", "2", "luego"])
    assert told.exit_code == 0 and "1 done:" in told.output and "2 later:" in told.output
    again = run.invoke(group, ["--ledger", str(path), "reply", code, "1", "hecho,", "2", "luego"])
    assert "stored before" in again.output
    off = run.invoke(group, ["--ledger", str(path), "letters", *day, "--send"])
    assert isinstance(off.exception, SideoatsError) and "office.server" in str(off.exception)
    lost = run.invoke(group, ["--ledger", str(path), "letters", "--farm", "nobody", "--out", str(out)])
    assert isinstance(lost.exception, SideoatsError) and "nobody" in str(lost.exception)
