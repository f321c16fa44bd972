"""backup: a verified copy of the ledger."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.argument("path", type=click.Path(dir_okay=False))
@click.option("--keys", type=click.Path(dir_okay=False), help="Also copy the keys of sealed farms, to another folder.")
@click.pass_context
def command(ctx: click.Context, path: str, keys: str | None) -> None:
    """Copy the ledger to PATH, verify the copy, then put it in place.

    PATH ending in .jsonl gives JSON Lines (the only form for PostgreSQL), anything else a SQLite file. An earlier
    backup of the same ledger at PATH is replaced; any other file is left alone. Others may go on writing meanwhile.

    PATH never holds a key. Keep only the newest copy of the keys, apart from every backup.
    """
    from sideoats.ledger import open_ledger

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        written = ledger.backup(path, keys)
    if keys:
        echo("verified_keys", path=str(written), keys=keys)
    else:
        echo("verified", path=str(written))
