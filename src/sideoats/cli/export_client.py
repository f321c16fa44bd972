"""export-client: hand a client everything that the ledger holds about a farm."""

from __future__ import annotations

from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.argument("farm")
@click.argument("path", type=click.Path(dir_okay=False))
@click.pass_context
def command(ctx: click.Context, farm: str, path: str) -> None:
    """Write every entry under FARM, corrected ones too, to PATH as JSON Lines with units."""
    from sideoats.ledger import open_ledger
    from sideoats.ledger.clients import export_client

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        count = export_client(ledger, farm, Path(path))
    echo("export", n=count, farm=farm, path=path)
