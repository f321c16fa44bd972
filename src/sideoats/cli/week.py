"""week: the ranked calls of every place."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from sideoats.cli._shared import ledger_location, on_option, today
from sideoats.printed import SHAPES

if TYPE_CHECKING:
    from sideoats.call import Call
    from sideoats.week import Week
    from sideoats.week.stored_run import StoredRun


@click.command()
@on_option
@click.option("--json", "as_json", is_flag=True, help="Print every call as JSON.")
@click.option("--farm", default=None, help="Only this farm's places (its id).")
@click.option("--question", "questions", multiple=True, help="Only this question; may be given several times.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draws.")
@click.option(
    "--engine",
    type=click.Choice(["serial", "processes", "dask"]),
    default="serial",
    show_default=True,
    help="Where the work runs.",
)
@click.option("--workers", type=click.IntRange(1, 1024), default=None, help="How many; one a core if left out.")
@click.option(
    "--scheduler", default=None, metavar="ADDRESS", help="A running Dask scheduler; a local cluster if left out."
)
@click.option(
    "--store",
    type=click.Path(dir_okay=False),
    default=None,
    help="Keep the calls in this file: for more places than fit in memory; goes on where a killed run stopped.",
)
@click.option("--most", type=click.IntRange(1), default=200, show_default=True, help="Calls to list out of a store.")
@click.option("--keep", is_flag=True, help="Keep the calls in the ledger, so that they can be scored later.")
@click.option("--all", "everything", is_flag=True, help="Also list the calls that wait.")
@click.pass_context
def command(
    ctx: click.Context,
    on: date | None,
    as_json: bool,
    farm: str | None,
    questions: tuple[str, ...],
    draws: int,
    seed: int | None,
    engine: str,
    workers: int | None,
    scheduler: str | None,
    store: str | None,
    most: int,
    keep: bool,
    everything: bool,
) -> None:
    """Ask every question of every place and rank the calls by what waiting until next week would cost."""
    from sideoats.outlook import DEFAULT_SEED
    from sideoats.week import run_week
    from sideoats.week.engines import engine_named

    location, day = ledger_location(ctx) or _default(), today(on)
    options: dict[str, Any] = {"questions": questions or None, "draws": draws}
    options["seed"] = DEFAULT_SEED if seed is None else seed
    with _progress() as bar:
        options |= {"engine": engine_named(engine, workers=workers, address=scheduler), "progress": bar}
        if store is not None:
            from sideoats.week.stored_run import run_stored

            done = run_stored(location, day, store, **options)
        else:
            week = run_week(location, day, farm=farm, **options)
            if keep:
                _keep(location, week)
    if store is not None:
        _show_store(store, done, farm, most, as_json, day)
    elif as_json:
        import json

        click.echo(json.dumps(week.full(), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        _show(week, everything)


def _keep(location: str, week: Week) -> None:
    from sideoats.ledger import open_ledger
    from sideoats.week.kept import keep_calls

    with open_ledger(location, create=False) as ledger:
        stored = sum(r.stored for r in keep_calls(ledger, week.calls))
    click.echo(f"{stored} calls kept in the ledger", err=True)


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar of places answered, on a terminal only and only where there are many."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("places answered"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)


def _show_store(store: str, done: StoredRun, farm: str | None, most: int, as_json: bool, day: date) -> None:
    from sideoats.week.store import WeekStore

    week = WeekStore(store)
    try:
        calls = list(week.calls(limit=most, farm=farm))
        counts = ", ".join(f"{week.count(v)} {v}" for v in SHAPES)
    finally:
        week.close()
    if as_json:
        import json

        about = {"on": day.isoformat(), "places": done.places, "asked": done.asked, "calls_in_all": done.calls}
        click.echo(json.dumps({**about, "calls": [c.full() for c in calls]}, indent=1, ensure_ascii=False))
        return
    click.echo(
        f"Week of {day:%A %d %B %Y}: {done.calls} calls ({counts}); {done.asked} of {done.places} places asked now"
    )
    _table(calls, everything=True)


def _default() -> str:
    from sideoats.ledger.engine import address_of

    return address_of(None)


def _show(week: Week, everything: bool) -> None:
    from rich.console import Console

    console = Console(highlight=False)
    counts = ", ".join(f"{len(week.of(v))} {v}" for v in SHAPES)
    click.echo(f"Week of {week.on:%A %d %B %Y}: {len(week.calls)} calls ({counts})")
    _table(week.calls, everything)
    waits = len(week.of("wait"))
    if waits and not everything:
        console.print(f"{waits} calls wait; --all lists them.", markup=False)
    for p in week.problems[:10]:
        console.print(f"Could not use: {p.place}, {p.question}: {p.message}", markup=False)
    if len(week.problems) > 10:
        console.print(f"... and {len(week.problems) - 10} more values that could not be used (--json lists them).")
    entries, last = week.head
    console.print(f"Ledger head: entry {entries}, {last[:16]}. Seed {week.seed}, {week.draws} futures.", markup=False)


def _table(calls: Sequence[Call], everything: bool) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    if console.width < 110:  # a pipe or a narrow window: keep the columns readable rather than wrapped
        console = Console(highlight=False, width=140)
    table = Table(box=box.SIMPLE_HEAD, width=console.width, pad_edge=False)
    table.add_column("verdict", no_wrap=True)
    table.add_column("by", no_wrap=True)
    table.add_column("waiting\ncosts USD", justify="right", no_wrap=True)
    table.add_column("place", ratio=3)
    table.add_column("question", ratio=2)
    table.add_column("why", ratio=8)
    for call in calls:
        if call.verdict == "wait" and not everything:
            continue
        by = call.act_by or call.look_by
        table.add_row(
            f"{SHAPES[call.verdict]} {call.verdict}",
            f"{by:%d %b}" if by else "",
            f"{call.cost_of_waiting:,.0f}" if call.cost_of_waiting >= 0.5 else "",
            call.place,
            call.question,
            call.headline,
        )
    console.print(table)
