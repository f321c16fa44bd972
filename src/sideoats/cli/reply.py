"""reply: what came back on a letter's slip."""

from __future__ import annotations

from datetime import datetime

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.argument("slip", nargs=-1, required=True)
@click.option("--by", default="", help="Who answered.")
@click.pass_context
def command(ctx: click.Context, slip: tuple[str, ...], by: str) -> None:
    """Store what a farm answered on its slip, or by text.

    Example: sideoats reply HZKNT 1 done, 2 later

    Done closes the calls of that line until something newer is seen; "won't" and "later" are kept and leave them open.
    """
    from sideoats.ledger import open_ledger
    from sideoats.letters.slips import actions_of, answers

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        letter, said = answers(" ".join(slip), ledger.history(kind="letter"))
        new = actions_of(ledger, letter, said, datetime.now().astimezone(), by)
        ledger.append(new)
    for one in said:
        echo(f"reply.{one.answer.replace(' ', '_')}", what=one.what, number=str(one.number))
    if not new:
        echo("reply.before", err=True)
