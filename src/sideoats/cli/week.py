"""week: the ranked calls of every place."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from sideoats.cli._shared import echo, ledger_location, on_option, reader_of, today, told, verdict_word
from sideoats.printed import SHAPES

MOST_ERRANDS = 12
_NARROW, _WIDE = 110, 140  # columns: below the one, print as wide as the other

if TYPE_CHECKING:
    from rich.console import Console

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
    echo("week.kept", err=True, n=stored)


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    """A bar of places answered, on a terminal only and only where there are many."""
    if not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn(told("week.answered")), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None)
        yield lambda done, total: shown.update(task, completed=done, total=total)


def _show_store(store: str, done: StoredRun, farm: str | None, most: int, as_json: bool, day: date) -> None:
    from sideoats.week.store import WeekStore
    from sideoats.words import full_day

    week = WeekStore(store)
    try:
        calls = list(week.calls(limit=most, farm=farm))
        counts = ", ".join(f"{week.count(v)} {verdict_word(v)}" for v in SHAPES)
    finally:
        week.close()
    if as_json:
        import json

        about = {"on": day.isoformat(), "places": done.places, "asked": done.asked, "calls_in_all": done.calls}
        click.echo(json.dumps({**about, "calls": [c.full() for c in calls]}, indent=1, ensure_ascii=False))
        return
    echo(
        "week.store",
        day=full_day(day, reader_of()),
        calls=done.calls,
        counts=counts,
        asked=done.asked,
        places=done.places,
    )
    _table(calls, everything=True)


def _default() -> str:
    from sideoats.ledger.address import address_of

    return address_of(None)


def _console() -> Console:
    """One width for lines and table: a pipe or a narrow window keeps the columns readable rather than wrapped."""
    from rich.console import Console

    console = Console(highlight=False)
    return console if console.width >= _NARROW else Console(highlight=False, width=_WIDE)


def _show(week: Week, everything: bool) -> None:
    from sideoats.week.errands import folded
    from sideoats.week.unasked import shown
    from sideoats.words import full_day

    console = _console()
    counts = ", ".join(f"{len(week.of(v))} {verdict_word(v)}" for v in SHAPES)
    echo("week.head", day=full_day(week.on, reader_of()), calls=len(week.calls), counts=counts)
    _stops(console, week)
    carded = _passes(console, week, everything)
    _errands(console, week, everything)
    hidden = folded(week.errands)
    told_above = {id(c) for c in week.calls if c.verdict == "stop"}
    told_above |= {id(c) for c in week.calls if not everything and (hidden(c) or (c.place, c.question) in carded)}
    _table([c for c in week.calls if id(c) not in told_above], everything)
    waits = len(week.of("wait"))
    if waits and not everything:
        console.print(told("week.wait", n=waits), markup=False)
    for line in shown(week.unasked, {c.place for c in week.calls}, everything, reader_of()):
        console.print(line, markup=False)
    for p in week.problems[:10]:
        line = told("week.unusable", place=p.place, question=p.question, message=p.message)
        console.print(line, markup=False)
    if len(week.problems) > 10:
        console.print(told("week.unusable_more", n=len(week.problems) - 10), markup=False)
    entries, last = week.head
    head = {"entries": str(entries), "last": last[:16], "seed": str(week.seed), "draws": str(week.draws)}
    console.print(told("week.ledger", **head), markup=False)


def _lines(console: Console, text: str, indent: int, mark: str = "") -> None:
    """A text wrapped under its mark, not broken in its words."""
    hang = " " * (indent + (2 if mark else 0))
    for line in textwrap.wrap(f"{mark} {text}".strip(), console.width - 1, initial_indent=" " * indent,
                              subsequent_indent=hang):  # fmt: skip
        console.print(line, markup=False)


def _stops(console: Console, week: Week) -> None:
    """What must not be done, before everything else."""
    from sideoats import replies

    for call in week.of("stop"):
        said = replies.told(call, reader_of()).headline
        _lines(console, f"{verdict_word('stop').upper()} {call.place}: {said}", 2, SHAPES["stop"])
    if week.of("stop"):
        console.print()


def _passes(console: Console, week: Week, everything: bool) -> set[tuple[str, str]]:
    """The card of every field that is sprayed for more than one pest, or where more than the pest is to be minded.

    What holds for all of them is said once, under them. What it gives back are the calls, (place, question), that the
    cards stand for.
    """
    from sideoats.words import say, sentence

    shown = [p for p in week.passes if len(p.pests) > 1 or any(s.code == "pass.flare" for s in p.said)]
    carded = {(p.place, question) for p in shown for question in p.pests}
    if not shown:
        return carded
    own = [[sentence(said, reader_of()) for said in one.said] for one in shown]
    common = [text for text in own[0] if len(shown) > 1 and all(text in other for other in own)]
    console.print(sentence(say("pass.title"), reader_of()), markup=False)
    for one, texts in zip(shown, own, strict=True):
        _lines(console, sentence(one.line(), reader_of()), 2, SHAPES["act"])
        for text in texts:
            if text not in common:
                _lines(console, text, 6)
    for text in common:
        _lines(console, text, 2)
    if not everything:
        _lines(console, sentence(say("pass.folded", n=len(carded)), reader_of()), 2)
    console.print()
    return carded


def _errands(console: Console, week: Week, everything: bool) -> None:
    """What the looks wait for, each thing once; errands that only one call waits for stand in its own line."""
    from sideoats.week.errands import folded
    from sideoats.words import say, sentence

    def line(code: str, **values: int) -> str:
        return sentence(say(code, **values), reader_of())

    hidden = folded(week.errands)
    made = [e for e in week.errands if e.folds or everything]
    if not made:
        return
    console.print(line("errand.title"), markup=False)
    for errand in made if everything else made[:MOST_ERRANDS]:
        mark = SHAPES["stop" if errand.hazard else "look"]
        _lines(console, sentence(errand.said(), reader_of()), 2, mark)
    if not everything:
        if len(made) > MOST_ERRANDS:
            console.print("  " + line("errand.more", n=len(made) - MOST_ERRANDS), markup=False)
        if behind := sum(map(hidden, week.calls)):
            console.print("  " + line("errand.folded", n=behind), markup=False)
    console.print()


def _table(calls: Sequence[Call], everything: bool) -> None:
    from rich import box
    from rich.table import Table

    from sideoats import replies

    console = _console()
    table = Table(box=box.SIMPLE_HEAD, width=console.width, pad_edge=False)
    reader, column = reader_of(), "week.column"
    table.add_column(told(f"{column}.verdict"), no_wrap=True)
    table.add_column(told(f"{column}.by"), no_wrap=True)
    table.add_column(told(f"{column}.money"), justify="right", no_wrap=True)
    table.add_column(told(f"{column}.place"), ratio=3)
    table.add_column(told(f"{column}.question"), ratio=2)
    table.add_column(told(f"{column}.why"), ratio=8)
    done = told("week.done")
    for call in calls:
        if call.verdict == "wait" and not call.done and not everything:
            continue
        by = call.act_by or call.look_by
        table.add_row(
            f"{SHAPES[call.verdict]} {done if call.done and call.verdict == 'wait' else verdict_word(call.verdict)}",
            reader.short_day(by) if by else "",
            f"{call.cost_of_waiting:,.0f}" if call.cost_of_waiting >= 0.5 else "",
            call.place,
            call.question,
            replies.told(call, reader).headline,
        )
    console.print(table)
