"""forget-client: destroy the keys of a farm, so that its entries cannot be read any more."""

from __future__ import annotations

import click

from sideoats.cli._shared import ledger_location


@click.command()
@click.argument("farm")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--observer", default="", metavar="NAME", help="Who does it; kept in the ledger.")
@click.pass_context
def command(ctx: click.Context, farm: str, yes: bool, observer: str) -> None:
    """Destroy the keys of FARM and withhold everything under it, for good.

    The chain of the ledger holds; ids, kinds, times and observers stay. Hand over the client's records before, with
    export-client. Replace the copy of the keys afterwards (backup --keys), else it still opens what older backups hold.
    """
    from sideoats.ledger import open_ledger
    from sideoats.ledger.clients import stored

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        sealed, clear = stored(ledger, farm)
        if not yes:
            click.confirm(
                f"Destroy the keys of {farm} ({sealed} sealed entries{_clear(clear)})? This cannot be taken back",
                abort=True,
            )
        done = ledger.forget(farm, observer)
    click.echo(f"{farm} is forgotten: {done.sealed} entries can no longer be read by anyone{_clear(done.clear)}")
    click.echo("Now replace the copy of the keys (backup --keys); files that were exported or printed are not touched")


def _clear(count: int) -> str:
    if not count:
        return ""
    return f"; {count} entries from before sealing are no longer shown but stay readable in the database and its copies"
