"""forget-client: destroy the keys of a farm, so that its entries cannot be read any more."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location, told


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
                told("forget.sure", farm=farm, n=sealed, clear=_clear(clear)),
                abort=True,
            )
        done = ledger.forget(farm, observer)
    echo("forget.done", farm=farm, n=done.sealed, clear=_clear(done.clear))
    echo("forget.next")


def _clear(count: int) -> str:
    return told("forget.clear", n=count) if count else ""
