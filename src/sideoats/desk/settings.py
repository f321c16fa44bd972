"""How a desk is run: for one person on this machine, or for an office behind TLS."""

from __future__ import annotations

import ipaddress
import os
import secrets
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sideoats.errors import InputError
from sideoats.folders import data_folder
from sideoats.words import Reader

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "[::1]")


@dataclass(frozen=True)
class Limits:
    """Bounds that keep one visitor from using up the machine.

    Attributes
    ----------
    body, upload, photo : largest request body in bytes: any form, a file taken in, an entry with a photo
    requests_a_minute : by one person or address; sign_ins_a_quarter : failed ones, by account and by address
    idle_hours, session_days : a session ends after so long without a request, and at the latest
    upload_rows : most rows read from one table
    """

    body: int = 1_000_000
    upload: int = 40_000_000
    photo: int = 3_000_000
    requests_a_minute: int = 900
    sign_ins_a_quarter: int = 10
    idle_hours: float = 12
    session_days: float = 14
    upload_rows: int = 500_000


@dataclass(frozen=True)
class Settings:
    """Everything that a desk is started with.

    Attributes
    ----------
    ledger : its file or URL; None for the usual place
    office : accounts and roles; otherwise one person with a launch token
    names : host names, besides the loopback ones, by which an office is reached
    certificate, key : PEM files for TLS; an office that is reached from elsewhere does not start without
    data : folder of the accounts and of files being taken in (mode 0700)
    day : the day that pages speak of when the address says none; None means today
    zone : IANA name of the office's time zone; "" for this machine's own
    reader : language and units of a person who has chosen none
    """

    ledger: str | None = None
    host: str = "127.0.0.1"
    port: int = 8712
    office: bool = False
    names: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    data: Path | None = None
    day: date | None = None
    zone: str = ""
    draws: int = 500
    seed: int | None = None
    reader: Reader = field(default_factory=Reader)
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    limits: Limits = field(default_factory=Limits)

    @property
    def tls(self) -> bool:
        """Whether the desk itself speaks TLS."""
        return self.certificate is not None

    @property
    def on_loopback(self) -> bool:
        """Whether only this machine can reach the desk."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host.strip("[]")).is_loopback
        except ValueError:
            return False

    def today(self) -> date:
        """The day that pages speak of."""
        return self.day or datetime.now(self.clock()).date()

    def clock(self) -> tzinfo:
        """The office's time zone."""
        if self.zone:
            return ZoneInfo(self.zone)
        local = datetime.now().astimezone().tzinfo
        assert local is not None
        return local

    def hosts(self) -> frozenset[str]:
        """Values of the Host header that are answered, in lower case."""
        names = LOOPBACK_NAMES if self.on_loopback else ()
        usual = 443 if self.tls else 80
        out = {f"{name}:{self.port}" for name in (*names, *self.names)}
        if self.port == usual:
            out |= {*names, *self.names}
        return frozenset(name.lower() for name in out)

    def folder(self) -> Path:
        """The data folder, made where it is not there, readable by its owner only."""
        folder = self.data or data_folder() / "desk"
        folder.mkdir(parents=True, exist_ok=True)
        os.chmod(folder, 0o700)
        return folder

    def kept_token(self) -> str:
        """The token of one person's desk, the same at every start, so that an address that was kept goes on opening it.

        It lies in the data folder, readable by its owner only, as the ledger beside it is.
        """
        path = self.folder() / "launch"
        try:
            kept = path.read_text(encoding="ascii").strip()
        except (OSError, ValueError):
            kept = ""
        if len(kept) == len(self.token):
            return kept
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="ascii") as made:
            made.write(self.token)
        return self.token

    def check(self) -> None:
        """Refuse a way of running that would be unsafe. Raises InputError with one line."""
        if self.zone:
            try:
                ZoneInfo(self.zone)
            except (ZoneInfoNotFoundError, ValueError):
                raise InputError(
                    f"time zone {self.zone[:60]!r} is not known", expected="an IANA name such as America/Chicago"
                ) from None
        if not self.on_loopback and not self.office:
            raise InputError(
                f"address {self.host} can be reached from other machines",
                expected="127.0.0.1, or --office with accounts and TLS",
            )
        if self.office and not self.on_loopback and not (self.certificate and self.key):
            raise InputError(
                "an office desk has no TLS",
                expected="--certificate and --key with PEM files",
                todo="passwords and farm records must not cross a network in clear text",
            )
        if self.office and not self.on_loopback and not self.names:
            raise InputError(
                "an office desk does not know its own name", expected="--name desk.example.org, as typed into a browser"
            )
        for path in (self.certificate, self.key):
            if path is not None and not path.is_file():
                raise InputError(f"{path.name} cannot be read", expected="the path of a PEM file")
