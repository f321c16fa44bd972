"""The sources that a district names, out of ``[fetch]`` of its file; nothing is fetched until it names one.

::

    [fetch]
    contact = "office@example.org"          # goes into the User-Agent, as public services ask
    zone = "America/Chicago"                # of the district's places
    hosts = ["data.example.org"]            # allowed beside those that are known to the program

    [[fetch.source]]
    name = "north forecast"
    kind = "forecast"                       # of the public weather service, for a point: days, hours and warnings
    place = "marrow-north"                  # a station on file; its position is the point

    [[fetch.source]]
    name = "north days"
    kind = "file"                           # any address, read by one of the formats of `sideoats take`
    address = "https://www.ncei.noaa.gov/access/services/data/v1?stations=X&startDate={since}&endDate={today}"
    days = 60                               # {since} is so many days before {today}
    format = "ghcn-daily"
    options = { place = "marrow-north" }
    key = "SIDEOATS_MARKET_KEY"             # the environment variable that holds a user name, where one is asked for
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from sideoats import shipped
from sideoats.errors import InputError
from sideoats.intake.expected import zone_of
from sideoats.intake.taken import find_format

KINDS = ("forecast", "file")
SERVICE = "https://api.weather.gov"
KNOWN_HOSTS = (
    "api.weather.gov",
    "digital.weather.gov",
    "marsapi.ams.usda.gov",
    "quickstats.nass.usda.gov",
    "usdmdataservices.unl.edu",
    "www.ncei.noaa.gov",
)
LOOPBACK = ("127.0.0.1", "localhost", "::1")
_FETCH = ("contact", "zone", "hosts", "source")
_SOURCE = ("name", "kind", "place", "address", "days", "format", "options", "key", "hours")
_HOST = re.compile(r"[a-z0-9]([a-z0-9.-]*[a-z0-9])?")


@dataclass(frozen=True)
class Source:
    """One thing to fetch.

    Attributes
    ----------
    name : as shown, and what its cache is kept under
    kind : "forecast" (the weather service, for a place's position) or "file" (an address and a format)
    place : id of the place, for a forecast
    address : of a file, with ``{today}`` and ``{since}`` (`days` before it); of the service, for a forecast
    format, options : how `sideoats take` reads a file
    key : the environment variable that holds the user name of a service that asks for one
    hours : a source that was fetched within so many hours is left alone
    """

    name: str
    kind: str
    place: str = ""
    address: str = ""
    days: int = 60
    format: str = ""
    options: Mapping[str, Any] = field(default_factory=dict)
    key: str = ""
    hours: float = 1.0


@dataclass(frozen=True)
class Declared:
    """What a district wants fetched, and from where it may come."""

    sources: tuple[Source, ...] = ()
    contact: str = ""
    zone: str = ""
    hosts: frozenset[str] = frozenset(KNOWN_HOSTS)

    def allows(self, address: str) -> bool:
        """Whether an address lies on an allowed host; only this machine is spoken to in the clear."""
        parts = urlsplit(address)
        host = (parts.hostname or "").lower()
        return host in self.hosts and (parts.scheme == "https" or (parts.scheme == "http" and host in LOOPBACK))


def declared(district: Path | None) -> Declared:
    """The ``[fetch]`` of a district's file. Raises InputError with all that is wrong with it."""
    if district is None:
        return Declared()
    try:
        table = shipped.toml(district).get("fetch", {})
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read ({error})", where=district.name, expected="TOML") from None
    if not isinstance(table, dict):
        raise InputError("is no table", where=f"{district.name} fetch")
    wrong = [f"{key!r} is not known" for key in table if key not in _FETCH]
    hosts = [str(h).lower() for h in table.get("hosts", [])]
    wrong += [f"host {h!r} is no name of a host" for h in hosts if not _HOST.fullmatch(h)]
    given = table.get("source", [])
    found: list[Source] = []
    for at, entry in enumerate(given if isinstance(given, list) else [given], 1):
        try:
            found.append(_source(entry))
        except InputError as error:
            wrong.append(f"source {at}: {error}")
    names = [s.name for s in found]
    wrong += [f"source {name!r} stands twice" for name in dict.fromkeys(names) if names.count(name) > 1]
    zone = str(table.get("zone", ""))
    try:
        zone_of(zone, "zone")
    except InputError as error:
        wrong.append(str(error))
    out = Declared(tuple(found), str(table.get("contact", "")), zone, frozenset((*KNOWN_HOSTS, *hosts)))
    wrong += [
        f"source {s.name!r}: {urlsplit(s.address).hostname or s.address!r} is not an allowed host, or not https"
        for s in found
        if not out.allows(s.address)
    ]
    if found and not out.contact:
        wrong.append("contact is missing; public services ask for an address to write to")
    if wrong:
        raise InputError("; ".join(wrong), where=f"{district.name} [fetch]")
    return out


def _source(entry: Any) -> Source:
    if not isinstance(entry, dict):
        raise InputError("is no table")
    unknown = [key for key in entry if key not in _SOURCE]
    if unknown:
        raise InputError(f"{unknown[0]!r} is not known", expected=", ".join(_SOURCE))
    kind, name = str(entry.get("kind", "")), str(entry.get("name") or entry.get("place") or "")
    if kind not in KINDS:
        raise InputError(f"kind {kind!r} is not known", expected=" or ".join(KINDS))
    needed: Sequence[str] = ("place",) if kind == "forecast" else ("name", "address", "format")
    lacking = [key for key in needed if not entry.get(key)]
    if lacking:
        raise InputError(f"{lacking[0]} is missing", where=name)
    if kind == "file":
        find_format(str(entry["format"]))
    address = str(entry.get("address") or SERVICE)
    try:
        address.format(today="2026-01-01", since="2025-11-02")
    except (KeyError, ValueError, IndexError):
        raise InputError("its address has other braces than {today} and {since}", where=name) from None
    return Source(
        name,
        kind,
        str(entry.get("place", "")),
        address,
        int(entry.get("days", 60)),
        str(entry.get("format", "")),
        dict(entry.get("options", {})),
        str(entry.get("key", "")),
        float(entry.get("hours", 1.0)),
    )
