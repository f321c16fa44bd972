"""week: the ranked calls of every place."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import click

from sideoats.cli._shared import SHAPES, ledger_location, on_option, today

if TYPE_CHECKING:
    from sideoats.week import Week


@click.command()
@on_option
@click.option("--json", "as_json", is_flag=True, help="Print every call as JSON.")
@click.option("--farm", default=None, help="Only this farm's places (its id).")
@click.option("--question", "questions", multiple=True, help="Only this question; may be given several times.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draws.")
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
    everything: bool,
) -> None:
    """Ask every question of every place and rank the calls by what waiting until next week would cost."""
    from sideoats.outlook import DEFAULT_SEED
    from sideoats.week import run_week

    week = run_week(
        ledger_location(ctx) or _default(), today(on), questions=questions or None, farm=farm, draws=draws,
        seed=DEFAULT_SEED if seed is None else seed,
    )  # fmt: skip
    if as_json:
        import json

        click.echo(json.dumps(week.full(), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        _show(week, everything)


def _default() -> str:
    from sideoats.ledger.engine import address_of

    return address_of(None)


def _show(week: Week, everything: bool) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    if console.width < 110:  # a pipe or a narrow window: keep the columns readable rather than wrapped
        console = Console(highlight=False, width=140)
    counts = ", ".join(f"{len(week.of(v))} {v}" for v in SHAPES)
    console.print(f"Week of {week.on:%A %d %B %Y}: {len(week.calls)} calls ({counts})", markup=False)
    table = Table(box=box.SIMPLE_HEAD, width=console.width, pad_edge=False)
    table.add_column("verdict", no_wrap=True)
    table.add_column("by", no_wrap=True)
    table.add_column("waiting\ncosts USD", justify="right", no_wrap=True)
    table.add_column("place", ratio=3)
    table.add_column("question", ratio=2)
    table.add_column("why", ratio=8)
    for call in week.calls:
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
    waits = len(week.of("wait"))
    if waits and not everything:
        console.print(f"{waits} calls wait; --all lists them.", markup=False)
    for p in week.problems[:10]:
        console.print(f"Could not use: {p.place}, {p.question}: {p.message}", markup=False)
    if len(week.problems) > 10:
        console.print(f"... and {len(week.problems) - 10} more values that could not be used (--json lists them).")
    entries, last = week.head
    console.print(f"Ledger head: entry {entries}, {last[:16]}. Seed {week.seed}, {week.draws} futures.", markup=False)
