"""Letters by e-mail through the office's own server: off until it is named, one message a farm, none sent twice.

Before a message is handed over an entry says that it is being sent, and afterwards one says that it was taken. If the
machine stops between the two nobody can know whether it went; it is then not sent again unless that is asked for.
"""

from __future__ import annotations

import smtplib
import ssl
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from sideoats.errors import InputError, SideoatsError
from sideoats.letters.letter import Letter
from sideoats.letters.sheet import page, plain
from sideoats.letters.slips import entry_of
from sideoats.words import Name

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

TRIES, FIRST_PAUSE, PATIENCE = 3, 2.0, 30.0  # of one message; seconds before the second try, doubled; of the server


@dataclass(frozen=True)
class Server:
    """Where an office hands in its mail: ``smtp://[user@]host[:port]`` (encrypted once greeted, except on this
    machine) or ``smtps://`` (encrypted from the start).
    """

    host: str
    port: int
    user: str = ""
    password: str = ""
    encrypted: bool = False

    @property
    def local(self) -> bool:
        """On this machine, where nothing is encrypted."""
        return self.host in ("localhost", "127.0.0.1", "::1")

    def connect(self) -> smtplib.SMTP:
        """A session that may send. Raises OSError or smtplib.SMTPException."""
        trust = ssl.create_default_context()
        if self.encrypted:
            session: smtplib.SMTP = smtplib.SMTP_SSL(self.host, self.port, timeout=PATIENCE, context=trust)
        else:
            session = smtplib.SMTP(self.host, self.port, timeout=PATIENCE)
            if not self.local:
                session.starttls(context=trust)
        if self.user:
            session.login(self.user, self.password)
        return session


def server_at(address: str, password: str = "") -> Server:
    """The server at an address. Raises InputError, one line, where it is none."""
    parts = urlsplit(address)
    try:
        port = parts.port
    except ValueError:
        port = -1
    if parts.scheme not in ("smtp", "smtps") or not parts.hostname or port == -1 or parts.password:
        raise InputError(
            f"{address[:60]!r} is no mail server",
            where="server",
            expected="smtp://user@host:587 or smtps://user@host:465",
            todo="put the password into SIDEOATS_MAIL_PASSWORD",
        )
    safe = parts.scheme == "smtps"
    return Server(parts.hostname, port or (465 if safe else 587), unquote(parts.username or ""), password, safe)


@dataclass(frozen=True)
class Posted:
    """What became of one farm's letter: "sent", "before" (sent earlier), "unsure", "refused", "no address", "dry"."""

    letter: Letter
    to: str
    stands: str
    note: str = ""


def message_of(letter: Letter, sender: str, to: str, when: datetime) -> EmailMessage:
    """The letter as a message: plain text with the page beside it; its id follows from its code."""
    out = EmailMessage()
    out["From"], out["To"] = sender, to
    out["Subject"] = letter.word("subject", farm=Name(letter.name), day=Name(letter.reader.day(letter.on)))
    out["Date"] = format_datetime(when)
    out["Message-ID"] = f"<{letter.code}.{letter.on.isoformat()}@{sender.rpartition('@')[2] or 'localhost'}>"
    out.set_content(plain(letter))
    name = f"{letter.farm}-{letter.on.isoformat()}.pdf"
    out.add_attachment(page(letter), maintype="application", subtype="pdf", filename=name)
    return out


def post(
    ledger: Ledger,
    letters: Sequence[tuple[Letter, str]],
    server: Server,
    sender: str,
    when: datetime,
    who: str = "",
    *,
    dry: bool = False,
    again: bool = False,
    pause: Callable[[float], None] = time.sleep,
) -> list[Posted]:
    """Hand each letter to the office's server, once.

    Parameters
    ----------
    letters : with the address of each, "" where a farm has none
    sender : the office's own address
    dry : say what would be done, and do nothing
    again : also send what may have been sent when a machine stopped
    """
    stood = _stood(ledger, [letter for letter, _ in letters])
    out: list[Posted] = []
    session: smtplib.SMTP | None = None
    try:
        for letter, to in letters:
            before = stood.get((letter.farm, letter.code), [])
            if not to:
                out.append(Posted(letter, to, "no address"))
            elif "sent" in before:
                out.append(Posted(letter, to, "before"))
            elif before[-1:] == ["being sent"] and not again:
                out.append(Posted(letter, to, "unsure"))
            elif dry:
                out.append(Posted(letter, to, "dry"))
            else:
                turn = len(before)
                ledger.append([entry_of(letter, "being sent", when, who, to=to, turn=turn)])
                session, note = _hand_over(session, server, message_of(letter, sender, to, when), pause)
                stands = "refused" if note else "sent"
                ledger.append([entry_of(letter, stands, when, who, to=to, note=note, turn=turn)])
                out.append(Posted(letter, to, stands, note))
    finally:
        if session is not None:
            _leave(session)
    return out


def _stood(ledger: Ledger, letters: Sequence[Letter]) -> dict[tuple[str, str], list[str]]:
    """How each letter has stood since it was first to be sent: (farm, code) -> its states, oldest first."""
    found: dict[tuple[str, str], list[str]] = {(letter.farm, letter.code): [] for letter in letters}
    for entry in ledger.history(kind="letter"):
        states = found.get((entry.farm or "", str(entry.body.get("slip", ""))))
        if states is not None and entry.body["stands"] != "printed":
            states.append(str(entry.body["stands"]))
    return found


def _hand_over(
    session: smtplib.SMTP | None, server: Server, made: EmailMessage, pause: Callable[[float], None]
) -> tuple[smtplib.SMTP | None, str]:
    """The session afterwards, and "" or why the server did not take the message, after a few tries."""
    note = ""
    for attempt in range(TRIES):
        if attempt:
            pause(FIRST_PAUSE * 2 ** (attempt - 1))
        try:
            session = session or server.connect()
            session.send_message(made)
            return session, ""
        except smtplib.SMTPAuthenticationError as error:
            raise SideoatsError(
                f"mail server {server.host}: the user or the password was refused ({error.smtp_code})"
            ) from None
        except smtplib.SMTPRecipientsRefused as error:
            code, words = next(iter(error.recipients.values()))
            note = f"{code} {_text(words)}"
        except smtplib.SMTPResponseException as error:
            code, note = error.smtp_code, f"{error.smtp_code} {_text(error.smtp_error)}"
        except (OSError, smtplib.SMTPException) as error:
            code, note = 0, f"{type(error).__name__}: {error}"
            _leave(session)
            session = None
        if 500 <= code < 600:
            break
    return session, note[:200]


def _text(words: bytes | str) -> str:
    return words.decode("utf-8", "replace") if isinstance(words, bytes) else words


def _leave(session: smtplib.SMTP | None) -> None:
    if session is not None:
        try:
            session.quit()
        except (OSError, smtplib.SMTPException):
            session.close()
