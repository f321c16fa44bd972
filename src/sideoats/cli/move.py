"""move: copy the ledger between SQLite and PostgreSQL."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.argument("target")
@click.pass_context
def command(ctx: click.Context, target: str) -> None:
    """Copy the whole ledger to TARGET, a new file or an empty PostgreSQL database, and verify it there.

    Keys of sealed farms go along where a place for them is known: beside TARGET if it is a file, else SIDEOATS_KEYS.
    The ledger itself stays as it is: point --ledger or SIDEOATS_LEDGER at TARGET afterwards.
    """
    from sideoats.ledger import move
    from sideoats.ledger.address import address_of
    from sideoats.ledger.engine import shown

    report = move(address_of(ledger_location(ctx)), target)
    echo("moved", n=report.entries, address=shown(target), head=f"{report.head[0]}:{report.head[1]}")
    for note in report.notes:
        click.echo(note)
