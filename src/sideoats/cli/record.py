"""record: put one thing that was seen into the ledger."""

from __future__ import annotations

from datetime import datetime

import click

from sideoats.cli._shared import ledger_location, pairs


@click.command()
@click.argument("kind")
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--json", "as_json", is_flag=True, help="Print the receipt as JSON.")
@click.pass_context
def command(ctx: click.Context, kind: str, values: tuple[str, ...], as_json: bool) -> None:
    """Record evidence of KIND: place=ID, then the kind's fields as NAME=VALUE with units.

    Also taken: farm=, seen= (date, or date and time with zone), observer=, id= (UUID),
    corrects= (id of the entry replaced).

    Example: sideoats record leaf_counts place=two-elms.sorghum-1 counts=12,40,7 stage=boot
    """
    from sideoats.ledger import NewEntry, open_ledger

    read = pairs(values)
    about = {key: read.pop(key, None) for key in ("place", "farm", "observer", "id", "corrects")}
    seen = _seen(read.pop("seen", None))
    observer = about.pop("observer") or ""
    entry = NewEntry(kind, read, seen_at=seen, observer=observer, **about)
    with open_ledger(ledger_location(ctx)) as ledger:
        receipt = ledger.append([entry])[0]
    if as_json:
        import json

        click.echo(json.dumps({"id": receipt.id, "seq": receipt.seq, "stored": receipt.stored, "hash": receipt.hash}))
    else:
        word = "stored" if receipt.stored else "was already there"
        click.echo(f"Entry {receipt.seq} {word}: {receipt.id}")


def _seen(text: str | None) -> datetime | None:
    """A date (noon here) or an ISO 8601 time; a time without zone is taken as local."""
    from sideoats.errors import InputError

    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(f"{text}T12:00" if len(text) == 10 else text)
    except ValueError:
        expected = "YYYY-MM-DD or YYYY-MM-DDTHH:MM+00:00"
        raise InputError(f"{text[:80]!r} is not a time", where="seen", expected=expected) from None
    return moment if moment.tzinfo else moment.astimezone()
