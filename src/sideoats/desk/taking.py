"""Files on their way in: kept in a folder of our own naming, read in a bounded process, stored when someone says so.

A file goes through four steps: received, read (nothing written yet), looked at, taken in. Between the steps it lies in
the desk's folder; it is removed when it was taken in or thrown away, and when the desk starts.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
import secrets
import shutil
import threading
from collections import OrderedDict
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from pathlib import Path
from typing import IO, Any

from sideoats.errors import InputError, SideoatsError
from sideoats.intake.entries import Entries, entries_of, quotes_on_file
from sideoats.intake.sheets import is_spreadsheet, read_sheet
from sideoats.intake.taken import Taken, read_file
from sideoats.ledger import Ledger
from sideoats.week.described import onto_known

SUFFIXES = (".csv", ".txt", ".tsv", ".dly", ".json", ".geojson", ".toml", ".op", ".dat", ".html", ".htm", ".gz",
            ".psv", ".xml", ".kml", ".kmz", ".zip", ".gpkg", ".xlsx", ".xlsm", ".xls", ".ods", ".nc")  # fmt: skip
STEPS = ("received", "read", "taken in")
_READ_SECONDS, _WAIT_SECONDS, _READ_BYTES = 180, 1800, 3_000_000_000
_LOOK_SECONDS = 60
_MOST_HELD = 40
_PREVIEW_BYTES, _PREVIEW_ROWS, _PREVIEW_COLUMNS = 200_000, 12, 40


@dataclass
class FileJob:
    """One file: where it is on its way, what was read, what was set aside."""

    id: str
    owner: str
    name: str
    path: Path
    size: int
    format: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    state: str = "received"
    line: str = ""
    taken: Taken | None = None
    stored: int = 0
    there: int = 0

    @property
    def busy(self) -> bool:
        """Whether it is being read or taken in now."""
        return self.state in ("reading", "taking in")


class Files:
    """Every file on its way in. Safe to share between threads."""

    def __init__(self, folder: Path, ledger: Ledger) -> None:
        self._folder = folder / "incoming"
        shutil.rmtree(self._folder, ignore_errors=True)
        self._folder.mkdir(mode=0o700, parents=True)
        self._ledger = ledger
        self._lock = threading.Lock()
        self._jobs: OrderedDict[str, FileJob] = OrderedDict()
        self._threads = ThreadPoolExecutor(2, thread_name_prefix="files")

    def close(self) -> None:
        """Stop, and remove what was not taken in."""
        self._threads.shutdown(wait=True, cancel_futures=True)
        shutil.rmtree(self._folder, ignore_errors=True)

    def receive(self, owner: str, name: str, source: IO[bytes], most: int) -> FileJob:
        """Keep a file under a random name. Raises InputError for an empty, too large or strange one."""
        shown = Path(name.replace("\\", "/")).name[:120]
        suffixes = Path(shown.lower()).suffixes[-2:]
        if not suffixes or suffixes[-1] not in SUFFIXES:
            raise InputError(
                f"{shown!r} has an ending that no reader knows", where="file", expected=", ".join(SUFFIXES)
            )
        folder = self._folder / secrets.token_hex(16)
        folder.mkdir(mode=0o700)
        path = folder / _plain_name(shown)  # readers write it into what they read, so it stays what it was
        size = 0
        with open(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as out:
            while block := source.read(1 << 20):
                size += len(block)
                if size > most:
                    break
                out.write(block)
        if size > most or not size:
            remove(path)
            what = "is empty" if not size else f"is larger than {most / 1e6:.0f} MB"
            raise InputError(what, where="file", expected="a file with records")
        job = FileJob(secrets.token_urlsafe(12), owner, shown, path, size)
        with self._lock:
            self._jobs[job.id] = job
            self._forget()
        return job

    def _forget(self) -> None:
        for key in [k for k, j in self._jobs.items() if not j.busy][: max(len(self._jobs) - _MOST_HELD, 0)]:
            remove(self._jobs.pop(key).path)

    def seen(self, job: FileJob) -> FileJob:
        """The file as it stands at one moment, for a page: its reader may change it while the page is drawn."""
        with self._lock:
            return replace(job)

    def _becomes(self, job: FileJob, state: str, line: str = "", **more: Any) -> None:
        with self._lock:
            job.state, job.line = state, line
            for name, value in more.items():
                setattr(job, name, value)

    def get(self, key: str, owner: str) -> FileJob | None:
        """A file of `owner`'s."""
        job = self._jobs.get(key)
        return job if job is not None and job.owner == owner else None

    def of(self, owner: str) -> list[FileJob]:
        """All files of `owner`, the newest first."""
        return [j for j in reversed(list(self._jobs.values())) if j.owner == owner]

    def throw_away(self, job: FileJob) -> None:
        """Remove a file that is not wanted."""
        with self._lock:
            if not job.busy:
                self._jobs.pop(job.id, None)
                remove(job.path)

    def read(self, job: FileJob, format_name: str, options: dict[str, Any]) -> None:
        """Begin to read a file; what comes of it is in the job."""
        with self._lock:
            if job.busy or job.state == "taken in":
                return
            job.format, job.options, job.state, job.line, job.taken = format_name, options, "reading", "", None
        self._threads.submit(self._read, job)

    def _read(self, job: FileJob) -> None:
        try:
            taken = onto_known(read_apart(job.path, job.format, job.options, job.name), self._ledger)
            found = entries_of(taken, job.format, quotes_on_file(self._ledger))
            kept = {entry.id for entry in found.entries}
            drafts = tuple(item for item in taken.drafts if item.id in kept)
            self._becomes(job, "read", taken=replace(taken, drafts=drafts, rejected=found.rejected, name=job.name))
        except SideoatsError as error:
            self._becomes(job, "received", str(error))
        except Exception as error:
            self._becomes(job, "received", f"The file could not be read ({type(error).__name__}).")

    def entries(self, job: FileJob) -> Entries:
        """What was read, as it would be stored today, and what would be set aside."""
        return entries_of(job.taken or Taken(()), job.format, quotes_on_file(self._ledger))

    def take_in(self, job: FileJob, who: str) -> Future[None] | None:
        """Begin to store what was read, in one transaction."""
        with self._lock:
            if job.state != "read" or job.taken is None:
                return None
            job.state = "taking in"
        return self._threads.submit(self._take_in, job, who)

    def _take_in(self, job: FileJob, who: str) -> None:
        assert job.taken is not None
        try:
            found = self.entries(job)
            stored = found.stored(self._ledger.append(found.entries))
            self._becomes(job, "taken in", stored=stored, there=found.kept - stored)
            remove(job.path)
        except SideoatsError as error:
            self._becomes(job, "read", str(error))
        except Exception as error:
            self._becomes(job, "read", f"Nothing was stored ({type(error).__name__}).")


def _plain_name(name: str) -> str:
    """A file name of letters, digits, dot, dash and underscore that begins with none of these marks."""
    return re.sub(r"[^A-Za-z0-9._-]+", "_", name).lstrip("._-")[-80:] or "file.txt"


def remove(path: Path) -> None:
    """Take a kept file away with the folder it lies in."""
    path.unlink(missing_ok=True)
    with contextlib.suppress(OSError):
        path.parent.rmdir()


def _bounded() -> None:
    """In the reading process: a bound on memory, so that a hostile file ends the reader and not the desk."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (_READ_BYTES, _READ_BYTES))
    resource.setrlimit(
        resource.RLIMIT_CPU, (_READ_SECONDS, _READ_SECONDS + 5)
    )  # its own time: a busy machine is no fault


def _read_file(path: str, format_name: str, options: dict[str, Any]) -> Taken:
    return read_file(format_name, Path(path), options)


def read_apart(path: Path, format_name: str, options: dict[str, Any], shown: str) -> Taken:
    """A file read in a process of its own with bounds on time and memory. Raises InputError with one line."""
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_bounded)
    try:
        return pool.submit(_read_file, str(path), format_name, options).result(timeout=_WAIT_SECONDS)
    except FutureTimeout:
        for process in list((pool._processes or {}).values()):
            process.kill()
        raise InputError(
            f"took longer than {_WAIT_SECONDS} seconds", where=shown, todo="cut it into smaller files"
        ) from None
    except (MemoryError, BrokenProcessPool):
        raise InputError(
            "needs more memory or time than a file may", where=shown, todo="cut it into smaller files"
        ) from None
    except InputError as error:  # the reader knows the file by our own name for it
        text = error.where.replace(path.name, shown)
        raise InputError(
            error.what.replace(path.name, shown), where=text, expected=error.expected, todo=error.todo
        ) from None
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


@dataclass(frozen=True)
class Preview:
    """The beginning of a file: as a table where it looks like one, else as lines."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[str, ...]
    delimiter: str


def _sheet_rows(path: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    table = read_sheet(path)
    rows = [tuple(cell[:60] for cell in row[:_PREVIEW_COLUMNS]) for row in table.rows[:_PREVIEW_ROWS]]
    return tuple(table.header[:_PREVIEW_COLUMNS]), tuple(rows)


def _sheet_apart(path: Path) -> Preview | None:
    """The beginning of a spreadsheet, opened in a process of its own; None for any other file."""
    try:
        with path.open("rb") as handle:
            if not is_spreadsheet(handle.read(65_536)):
                return None
    except OSError:
        return None
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_bounded)
    try:
        header, rows = pool.submit(_sheet_rows, str(path)).result(timeout=_LOOK_SECONDS)
        return Preview(header, rows, (), ",")
    except Exception as error:  # several sheets, a damaged file, no library: its reader says it when it is read
        return Preview((), (), (str(error)[:160],), ",")
    finally:
        for process in list((pool._processes or {}).values()):
            process.kill()
        pool.shutdown(wait=False, cancel_futures=True)


def preview(path: Path) -> Preview:
    """The first rows of a file. Bytes that are no text are shown as such, never refused."""
    import gzip
    import zlib

    if (sheet := _sheet_apart(path)) is not None:
        return sheet
    try:
        with gzip.open(path) if path.suffix == ".gz" else path.open("rb") as handle:
            data = handle.read(_PREVIEW_BYTES)
    except (OSError, EOFError, zlib.error):
        data = b""
    text = "".join(
        c if c.isprintable() or c in "\n\t" else "\N{REPLACEMENT CHARACTER}"
        for c in data.decode("utf-8-sig", "replace").replace("\r\n", "\n")
    )
    lines = tuple(line[:160] for line in text.split("\n")[:_PREVIEW_ROWS])
    first = next((line for line in text.split("\n") if line.strip() and not line.startswith("#")), "")
    delimiter = max(",;\t|", key=first.count)
    if first.count(delimiter) < 1:
        return Preview((), (), lines, ",")
    reader = csv.reader(io.StringIO(text[text.index(first) :], newline=""), delimiter=delimiter)
    rows: list[tuple[str, ...]] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append(tuple(cell.strip()[:60] for cell in row[:_PREVIEW_COLUMNS]))
            if len(rows) > _PREVIEW_ROWS:
                break
    except csv.Error:
        return Preview((), (), lines, delimiter)
    return Preview(rows[0], tuple(rows[1:]), lines, delimiter) if rows else Preview((), (), lines, delimiter)
