"""record: put one thing that was seen into the ledger."""

from __future__ import annotations

from datetime import datetime

import click

from sideoats.cli._shared import echo, ledger_location, not_ahead, pairs


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

    What was done closes a call: sideoats record action place=PLACE question=sorghum-aphid what="sprayed"
    """
    from sideoats.ledger import NewEntry, evidence_kinds, open_ledger
    from sideoats.ledger.amending import require_whole
    from sideoats.question import find
    from sideoats.schema import with_files

    read = pairs(values)
    if kind in ("action", "outcome") and read.get("question"):
        read["question"] = find(read["question"].strip().replace("_", "-")).name  # a misspelt one would close nothing
    about = {key: read.pop(key, None) for key in ("place", "farm", "observer", "id", "corrects")}
    seen = not_ahead(seen_time(read.pop("seen", None)))
    observer = about.pop("observer") or ""
    if kind in evidence_kinds():
        read = with_files(list(evidence_kinds()[kind].fields.values()), read)
    entry = NewEntry(kind, read, seen_at=seen, observer=observer, **about)
    with open_ledger(ledger_location(ctx)) as ledger:
        if kind == "action" and not read.get("question") and (kept := ledger.get(read.get("call", ""))):
            read["question"] = kept.body.get("call", {}).get("question", "")
        subject = about["place"] if kind == "place" else about["farm"]
        if subject and not about["corrects"]:
            require_whole(ledger, kind, subject, read)
        receipt = ledger.append([entry])[0]
    if kind == "action" and not read.get("question"):
        echo("closes_nothing", err=True)
    if as_json:
        import json

        click.echo(json.dumps({"id": receipt.id, "seq": receipt.seq, "stored": receipt.stored, "hash": receipt.hash}))
    else:
        echo("stored" if receipt.stored else "stored_before", seq=str(receipt.seq), id=receipt.id)


def seen_time(text: str | None) -> datetime | None:
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
