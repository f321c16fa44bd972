"""restore: a ledger from a backup."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.argument("backup_file", metavar="BACKUP", type=click.Path(dir_okay=False))
@click.argument("target", required=False)
@click.option("--keys", type=click.Path(dir_okay=False), help="The copy of the keys of sealed farms.")
@click.pass_context
def command(ctx: click.Context, backup_file: str, target: str | None, keys: str | None) -> None:
    """Make a ledger from BACKUP at TARGET (a new file or an empty PostgreSQL database; else the ledger's own place).

    Never writes over a ledger that is there.
    """
    from sideoats.ledger import restore
    from sideoats.ledger.address import address_of
    from sideoats.ledger.engine import shown

    address = target or address_of(ledger_location(ctx))
    report = restore(backup_file, address, keys)
    echo("restored", n=report.entries, address=shown(address), head=f"{report.head[0]}:{report.head[1]}")
    for note in report.notes:
        click.echo(note)
