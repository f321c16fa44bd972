"""What all pages share: the open ledger, the accounts, the weeks worked out so far, and the templates."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import jinja2

from sideoats.desk.accounts import Accounts, Person
from sideoats.desk.asked import Districts
from sideoats.desk.fetching import Fetching
from sideoats.desk.settings import Settings
from sideoats.desk.strikes import Strikes
from sideoats.desk.taking import Files
from sideoats.desk.weeks import Weeks, week_runner
from sideoats.ledger import Entry, Farm, NewEntry, Place, Receipt, open_ledger
from sideoats.week.stop_lines import stop_lines
from sideoats.week.unwalked import Forecast, forecasts

HERE = Path(__file__).parent


class Desk:
    """One running desk. Everything in it may be used from several threads."""

    def __init__(self, settings: Settings, *, run: Any = None) -> None:
        self.settings = settings
        self.ledger = open_ledger(settings.ledger)
        limits = settings.limits
        self.accounts = Accounts(
            settings.folder() / "accounts.sqlite" if settings.office else None,
            idle_hours=limits.idle_hours,
            session_days=limits.session_days if settings.office else 3650,
        )
        self.templates = _templates()
        self.weeks = Weeks(
            self.evidence_head, run or week_runner(self.ledger, settings.draws, settings.seed), settings.today
        )
        self.districts = Districts(self)
        self.strikes = Strikes()
        self.files = Files(settings.folder(), self.ledger)
        self.fetching = Fetching(self.ledger)
        self._lines: tuple[tuple[date, int], list[dict[str, Any]]] | None = None
        self._unwalked: tuple[tuple[date, int], tuple[Forecast, ...]] | None = None
        self._counting = threading.Lock()
        self._quiet: set[int] = set()
        self._lock = threading.Lock()
        self._described: tuple[int, dict[str, Farm], dict[str, Place]] | None = None

    def close(self) -> None:
        """Stop working and close the files."""
        self.weeks.close()
        self.fetching.close()
        self.files.close()
        self.accounts.close()
        self.ledger.close()

    def stop_lines(self, day: date) -> list[dict[str, Any]]:
        """Every counting plan of a day, worked out once for each state of the ledger."""
        key = (day, self.evidence_head())
        with self._counting:
            if self._lines is None or self._lines[0] != key:
                self._lines = (key, stop_lines(self.districts.on(day)))
            return self._lines[1]

    def forecasts(self, day: date) -> tuple[Forecast, ...]:
        """What fields hold that nobody has walked lately, worked out once for each state of the ledger."""
        key = (day, self.evidence_head())
        with self._counting:
            if self._unwalked is None or self._unwalked[0] != key:
                self._unwalked = (key, forecasts(self.districts.on(day)))
            return self._unwalked[1]

    # The ledger

    def evidence_head(self) -> int:
        """Seq of the newest entry that can change a call: audits and kept calls do not count."""
        seq = self.ledger.head()[0]
        while seq in self._quiet:
            seq -= 1
        return seq

    def audit(self, person: Person | None, what: str, about: str = "", address: str = "") -> None:
        """Write who did what into the ledger's chain. Only an office keeps an audit."""
        if not self.settings.office:
            return
        body = {"what": what, "who": person.name if person else "", "about": about[:500], "address": address}
        entry = NewEntry(
            "audit",
            {k: v for k, v in body.items() if v},
            observer=person.name if person else "",
            seen_at=datetime.now(self.settings.clock()),
        )
        self.keep(self.ledger.append([entry]))

    def keep(self, receipts: Iterable[Receipt]) -> None:
        """Remember that these entries change no call, so that no week need be asked again for them."""
        with self._lock:
            self._quiet.update(r.seq for r in receipts)

    def _names(self) -> tuple[dict[str, Farm], dict[str, Place]]:
        head = self.evidence_head()
        known = self._described
        if known is not None and known[0] != head and not self._described_since(known[0]):
            known = self._described = (head, *known[1:])  # what phones send describes no place: the list stands
        if known is None or known[0] != head:
            farms = {f.id: f for f in self.ledger.farms()}
            places = {p.id: p for p in self.ledger.places()}
            known = self._described = (head, farms, places)
        return known[1], known[2]

    def _described_since(self, seq: int) -> bool:
        """Whether anything behind that entry may change a farm or a place: all but evidence at a place may."""
        return any(not e.place or e.kind in ("place", "withdrawal") for e in self.ledger.added(seq))

    def farms(self, person: Person | None) -> dict[str, Farm]:
        """Farms that the person may see, by id."""
        return {k: f for k, f in self._names()[0].items() if person is None or person.sees(k)}

    def places(self, person: Person | None) -> dict[str, Place]:
        """Places that the person may see, by id."""
        return {k: p for k, p in self._names()[1].items() if person is None or person.sees(p.farm)}

    def farm_name(self, farm: str | None) -> str:
        """The name a farm goes by; its id where it has none."""
        known = self._names()[0].get(farm or "")
        return known.name if known else farm or ""

    def entries(self, person: Person, place: str, until: date | None = None) -> Sequence[Entry]:
        """What is on file about one place, the newest first; nothing where the person may not see it."""
        if place not in self.places(person):
            return ()
        return list(self.ledger.history(place=place, until=until))[::-1]

    # Pages

    def words(self, person: Person | None) -> dict[str, Any]:
        """What every template may use."""
        from sideoats.desk.links import menu

        return {"menu": menu(person), "office": self.settings.office, "farm_name": self.farm_name}


def _templates() -> jinja2.Environment:
    from sideoats.desk import shown

    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(shown.FILTERS)
    env.globals.update(shown.GLOBALS)
    return env
