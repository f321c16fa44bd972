"""Files: open files taken in, with a look at them first, their columns named, and every row set aside listed."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from starlette.responses import Response

from sideoats.desk import forms, permits
from sideoats.desk.grants import ADVISE
from sideoats.desk.table_out import csv_response, safe_row
from sideoats.desk.taking import SUFFIXES, FileJob, Preview, preview
from sideoats.desk.tongue import line_of, plain, reader
from sideoats.desk.visit import Absent, Page, Visit
from sideoats.errors import InputError
from sideoats.intake.office_table import RESERVED, fields_of, kinds, told_columns
from sideoats.intake.taken import Format, find_format, formats, recognised
from sideoats.ledger import NewEntry
from sideoats.sources.fetching import Told
from sideoats.sources.telling import told
from sideoats.station import DAILY_UNITS
from sideoats.week.doubts import doubts
from sideoats.words import say, sentence

SET_ASIDE_SHOWN = 100
MAPPING, TABLE, KIND = "mapping", "office-table", "table_kind"
# What a column is likely to be called; only a first guess that the person sees and changes.
_GUESSES: Mapping[str, tuple[str, ...]] = {
    "time": ("date", "day", "time", "datetime", "observation_date"),
    "tmax": ("tmax", "max temp", "maximum temperature", "high"),
    "tmin": ("tmin", "min temp", "minimum temperature", "low"),
    "tmean": ("tavg", "tmean", "mean temp", "average temperature"),
    "rain": ("rain", "prcp", "precip", "precipitation", "rainfall"),
    "wind": ("wind", "awnd", "wspd"),
    "solar": ("solar", "srad", "radiation"),
    "humidity": ("humidity", "rh", "relative humidity"),
}
_UNITS: Mapping[str, tuple[str, ...]] = {
    "degC": ("degF", "degC"), "mm": ("inch", "mm", "cm"), "m/s": ("mile/hour", "m/s", "km/hour", "knot"),
    "MJ/m**2": ("MJ/m**2", "kWh/m**2"), "1": ("percent", "1"),
}  # fmt: skip


def files_page(visit: Visit) -> Response:
    """Files on their way in, a form for another, and the sources that the district names."""
    return _files(visit)


def _files(visit: Visit, status: int = 200, line: str = "") -> Response:
    fetching = visit.desk.fetching
    try:
        sources = fetching.declared().sources if _for_all(visit) else ()
    except InputError as error:
        sources, line = (), line or line_of(error)
    last, began = fetching.last()
    return visit.page(
        "files.html",
        status,
        jobs=visit.desk.files.of(visit.who.name),
        formats=formats(),
        suffixes=",".join(SUFFIXES),
        line=line,
        most=visit.desk.settings.limits.upload / 1e6,
        sources=sources,
        fetching=fetching.busy,
        fetched=[_line(found, began) for found in last] if began and sources else [],
    )


def _for_all(visit: Visit) -> bool:
    """An account for some farms does not fetch for the district."""
    return not visit.who.farms


def _line(found: Told, began: datetime) -> str:
    code, values = told(found, began, reader())
    return sentence(say(f"cli.{code}", **values), reader())


def fetch_now(visit: Visit) -> Response:
    """Begin to fetch what the district names."""
    if not _for_all(visit):
        raise Absent
    try:
        if visit.desk.fetching.start():
            visit.desk.audit(visit.who, "fetch begun")
    except InputError as error:
        return _files(visit, 422, line_of(error))
    return visit.go("/files")


def receive(visit: Visit) -> Response:
    """A file arrives; nothing of it is read yet."""
    file = visit.file("file")
    try:
        if file is None:
            raise InputError(plain("wrong.missing"), where=plain("files.file"), expected=plain("files.from_low"))
        job = visit.desk.files.receive(
            visit.who.name, file.filename or "", file.file, visit.desk.settings.limits.upload
        )
    except InputError as error:
        return _files(visit, 422, line_of(error))
    return visit.go(f"/files/{job.id}")


def _job(visit: Visit) -> FileJob:
    job = visit.desk.files.get(visit.part("file"), visit.who.name)
    if job is None:
        raise Absent
    return job


def _format(name: str) -> Format | None:
    return formats().get(name)


def file_page(visit: Visit) -> Response:
    """Where a file is on its way: what it is, what was read, what was stored."""
    job = _job(visit)
    chosen = _format(visit.query("format") or job.format) or _told_by_content(job)
    return _show(visit, job, chosen, {KIND: visit.query(KIND)} if visit.query(KIND) else {}, {}, 200)


def _told_by_content(job: FileJob) -> Format | None:
    """The format that the file's own beginning tells, if it tells one."""
    try:
        return recognised(job.path) if job.path.exists() else None
    except InputError:
        return None


def _show(
    visit: Visit,
    job: FileJob,
    chosen: Format | None,
    given: dict[str, str],
    errors: dict[str, str],
    status: int,
    line: str = "",
) -> Response:
    job = visit.desk.files.seen(job)
    look = preview(job.path) if job.path.exists() else Preview((), (), (), ",")
    table = chosen is not None and chosen.name == TABLE
    options = [f for f in chosen.options if f.name not in (MAPPING, *((KIND,) if table else ()))] if chosen else []
    mapped = chosen is not None and not table and any(f.name == MAPPING for f in chosen.options)
    kind = given.get(KIND, "") if table and given.get(KIND, "") in kinds() else ""
    return visit.page(
        "file.html",
        status,
        job=job,
        chosen=chosen,
        formats=formats(),
        look=look,
        line=line or job.line,
        boxes=forms.boxes(options, given, errors),
        mapped=mapped,
        columns=_columns(look.header, given) if mapped else [],
        table=table,
        kind=kind,
        table_kinds=list(kinds().values()) if table else [],
        headings=_headings(look.header, kind, given) if kind else [],
        choices=[*RESERVED, *fields_of(kind)] if kind else [],
        time_column=given.get("col.time", _guess("time", look.header)),
        given=given,
        polled=False,
        rejected=job.taken.rejected[:SET_ASIDE_SHOWN] if job.taken else (),
        kinds=_kinds(job),
        notes=(*job.taken.notes, *doubts(job.taken)) if job.taken else (),
    )


def _kinds(job: FileJob) -> dict[str, int]:
    out: dict[str, int] = {}
    for draft in job.taken.drafts if job.taken else ():
        out[draft.kind] = out.get(draft.kind, 0) + 1
    return out


def _headings(header: tuple[str, ...], kind: str, given: Mapping[str, str]) -> list[dict[str, str]]:
    """One line a column: what it is read as, as chosen or as its heading tells."""
    told = {heading: (name, unit) for name, (heading, unit) in told_columns(header, kind).items()}
    out = []
    for at, heading in enumerate(header):
        name, unit = told.get(heading, ("", ""))
        out.append({"heading": heading, "at": str(at), "field": given.get(f"head.{at}", name),
                    "unit": given.get(f"unit.{at}", unit)})  # fmt: skip
    return out


def table_mapping_of(given: Mapping[str, str], header: tuple[str, ...]) -> dict[str, Any]:
    """The mapping that `office-table` takes, from the form. Raises InputError naming all that is wrong with it."""
    columns: dict[str, dict[str, str]] = {}
    wrong = []
    for at, heading in enumerate(header):
        name = given.get(f"head.{at}", "")
        if name in columns:
            wrong.append(plain("file.table.twice", field=name))
        elif name:
            columns[name] = {"column": heading, "unit": given.get(f"unit.{at}", "").strip()}
    if not columns:
        wrong.append(plain("file.table.none"))
    if wrong:
        raise InputError("; ".join(wrong), where=plain("file.which"))
    return {"kind": given.get(KIND, ""), "columns": columns}


def _guess(variable: str, header: tuple[str, ...]) -> str:
    lowered = {h.lower().replace("_", " "): h for h in header}
    names = _GUESSES.get(variable, ())
    return next((lowered[n] for n in names if n in lowered), "")


def _columns(header: tuple[str, ...], given: dict[str, str]) -> list[dict[str, Any]]:
    """One line a variable: which column holds it, in which unit."""
    return [
        {
            "variable": v,
            "column": given.get(f"col.{v}", _guess(v, header)),
            "units": _UNITS.get(unit, (unit,)),
            "unit": given.get(f"unit.{v}", ""),
        }
        for v, unit in DAILY_UNITS.items()
    ]


def mapping_of(given: Mapping[str, str], header: tuple[str, ...], delimiter: str) -> dict[str, Any]:
    """The mapping that `station-csv` takes, from the form. Raises InputError when no column is named."""
    columns = {}
    for v, unit in DAILY_UNITS.items():
        name = given.get(f"col.{v}", "")
        if name in header and name:
            columns[v] = {"column": name, "unit": given.get(f"unit.{v}") or unit}
    when = given.get("col.time", "")
    if when not in header or not when:
        raise InputError(plain("wrong.chosen_not"), where=plain("file.the_date"), expected=", ".join(header[:20]))
    if not columns:
        raise InputError(plain("file.no_column"), expected=plain("file.one_column"))
    time: dict[str, Any] = {"column": when}
    if given.get("time_format", "").strip():
        time["format"] = given["time_format"].strip()
    station: dict[str, Any] = {"id": given.get("place", "").strip() or "station"}
    for key in ("latitude", "longitude"):
        if given.get(f"station.{key}", "").strip():
            try:
                station[key] = float(given[f"station.{key}"])
            except ValueError:
                raise InputError(
                    plain("wrong.not_number", text=repr(given[f"station.{key}"][:40])), where=key
                ) from None
    return {"step": "day", "delimiter": delimiter, "station": station, "time": time, "columns": columns}


def read(visit: Visit) -> Response:
    """Read the file as the format that was chosen; nothing is written yet."""
    job = _job(visit)
    given = forms.sent(visit.form.multi_items())
    chosen = find_format(given.get("format", ""))
    table = chosen.name == TABLE
    plain = [f for f in chosen.options if f.name not in (MAPPING, *((KIND,) if table else ()))]
    typed = forms.typed(plain, lambda name: given.get(name, "").strip())
    options, errors = forms.read(plain, typed)
    if errors:
        return _show(visit, job, chosen, given, errors, 422)
    if any(f.name == MAPPING for f in chosen.options):
        look = preview(job.path)
        try:
            mapping = table_mapping_of(given, look.header) if table else mapping_of(given, look.header, look.delimiter)
            options[MAPPING] = mapping
        except InputError as error:
            return _show(visit, job, chosen, given, {}, 422, line_of(error))
    visit.desk.files.read(job, chosen.name, options)
    return visit.go(f"/files/{job.id}")


def progress(visit: Visit) -> Response:
    """Where the file is, as a fragment; tells the page to load itself again when the step is done."""
    job = _job(visit)
    response = visit.page("file_progress.html", job=job)
    if not job.busy:
        response.headers["HX-Refresh"] = "true"
    return response


def take_in(visit: Visit) -> Response:
    """Store what was read."""
    job = _job(visit)
    for kind, place, farm in {(d.kind, d.place, d.farm) for d in (job.taken.drafts if job.taken else ())}:
        permits.check(visit.desk, visit.who, "file", NewEntry(kind, {}, place=place, farm=farm))
    if visit.desk.files.take_in(job, visit.who.name) is not None and job.taken is not None:
        visit.desk.audit(visit.who, "file taken in", f"{job.name}: {len(job.taken.drafts)} entries")
    return visit.go(f"/files/{job.id}")


def throw_away(visit: Visit) -> Response:
    """Remove the file."""
    visit.desk.files.throw_away(_job(visit))
    return visit.go("/files", note="thrown")


def set_aside(visit: Visit) -> Response:
    """Every row that was set aside, with its reason, as CSV."""
    job = _job(visit)
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(("line", "reason"))
    for row in job.taken.rejected if job.taken else ():
        writer.writerow(safe_row([row.line, row.reason]))
    return csv_response(out.getvalue(), "set-aside.csv")


PAGES = (
    Page("/files", ADVISE, files_page),
    Page("/files", ADVISE, receive, methods=("POST",), body=lambda limits: limits.upload + 100_000),
    Page("/fetch", ADVISE, fetch_now, methods=("POST",)),
    Page("/files/{file}", ADVISE, file_page),
    Page("/files/{file}/read", ADVISE, read, methods=("POST",)),
    Page("/files/{file}/progress", ADVISE, progress),
    Page("/files/{file}/take-in", ADVISE, take_in, methods=("POST",)),
    Page("/files/{file}/throw-away", ADVISE, throw_away, methods=("POST",)),
    Page("/files/{file}/set-aside.csv", ADVISE, set_aside),
)
