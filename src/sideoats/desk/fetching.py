"""The sources of the district, fetched from the desk: one run at a time, in the background, and what came of it."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime

from sideoats.errors import SideoatsError
from sideoats.ledger import Ledger
from sideoats.ledger.address import district_file
from sideoats.sources.declared import Declared, declared
from sideoats.sources.fetching import Told, fetch
from sideoats.sources.telling import cache_folder


class Fetching:
    """Safe to share between threads."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._told: tuple[Told, ...] = ()
        self._at: datetime | None = None

    def declared(self) -> Declared:
        """What the district's file names today. Raises InputError where it is wrong."""
        return declared(district_file(self._ledger.address))

    @property
    def busy(self) -> bool:
        """Whether a run is under way."""
        return self._thread is not None and self._thread.is_alive()

    def last(self) -> tuple[tuple[Told, ...], datetime | None]:
        """What came of the last run so far, and when it began."""
        with self._lock:
            return self._told, self._at

    def start(self) -> bool:
        """Begin a run; False where one is under way or nothing is declared. Raises InputError as `declared`."""
        wanted = self.declared()
        with self._lock:
            if self.busy or not wanted.sources:
                return False
            self._told, self._at = (), datetime.now(UTC)
            self._thread = threading.Thread(target=self._run, args=(wanted, self._at), name="fetch", daemon=True)
            self._thread.start()
        return True

    def _run(self, wanted: Declared, now: datetime) -> None:
        folder = cache_folder(self._ledger.address)
        for source in wanted.sources:  # one that fails in a way nobody thought of leaves the others
            try:
                for told in fetch(replace(wanted, sources=(source,)), self._ledger, folder, now=now):
                    self._note(told)
            except SideoatsError as error:
                self._note(Told(source.name, "failed", line=str(error)))
            except Exception as error:
                self._note(Told(source.name, "failed", line=f"a fault of the program ({type(error).__name__})"))

    def _note(self, told: Told) -> None:
        with self._lock:
            self._told = (*self._told, told)

    def close(self) -> None:
        """Wait for a run that is under way."""
        if self._thread is not None:
            self._thread.join(timeout=30)
