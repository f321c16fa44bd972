"""amend: change what is on file about a place or farm."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location, not_ahead, pairs


@click.command()
@click.argument("values", nargs=-1, metavar="place=ID|farm=ID [NAME=VALUE]...")
@click.pass_context
def command(ctx: click.Context, values: tuple[str, ...]) -> None:
    """Change what is given about a place (place=ID) or a farm (farm=ID); everything else stays as it was.

    NAME= (blank) takes a field out. Also taken: seen= (a date), observer=; of a place also farm=, to move it.

    Example: sideoats amend place=two-elms.sorghum-1 crop=milo acres="80 ac"
    """
    from sideoats.cli.record import seen_time
    from sideoats.errors import InputError
    from sideoats.ledger import open_ledger
    from sideoats.ledger.amending import amended

    read = pairs(values)
    place, farm = read.pop("place", None), read.pop("farm", None)
    kind, subject = ("place", place) if place else ("farm", farm)
    if not subject:
        raise InputError("names neither a place nor a farm", where="amend", expected="place=ID or farm=ID")
    seen, observer = not_ahead(seen_time(read.pop("seen", None))), read.pop("observer", "")
    with open_ledger(ledger_location(ctx)) as ledger:
        entry, changed = amended(
            ledger, kind, subject, read, farm=farm if kind == "place" else None, seen_at=seen, observer=observer
        )
        receipt = ledger.append([entry])[0]
    echo("stored", seq=str(receipt.seq), id=receipt.id)
    for line in changed:
        click.echo(f"  {line}")
