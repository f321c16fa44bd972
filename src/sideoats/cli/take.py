"""take: read an open file into the ledger."""

from __future__ import annotations

from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location, pairs


@click.command()
@click.argument("format_name", metavar="[FORMAT]", required=False)
@click.argument("file", required=False)
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--dry", is_flag=True, help="Read and report, write nothing.")
@click.option("--rejects", type=click.Path(dir_okay=False, writable=True), help="Write rows that were set aside here.")
@click.pass_context
def command(
    ctx: click.Context,
    format_name: str | None,
    file: str | None,
    values: tuple[str, ...],
    dry: bool,
    rejects: str | None,
) -> None:
    """Take FILE in, in one transaction; the same file taken twice is stored once. Without FORMAT, list the formats."""
    from sideoats.errors import InputError
    from sideoats.intake.taken import find_format, formats
    from sideoats.ledger import NewEntry, open_ledger
    from sideoats.schema import read_all

    if format_name is None:
        for known in formats().values():
            options = " ".join(f"{f.name}=" for f in known.options)
            click.echo(f"{known.name:<16} {known.about}  {options}".rstrip())
        return
    chosen = find_format(format_name)
    if file is None:
        raise InputError("no file given", where=f"take {format_name}", expected="the path of a file")
    taken = chosen.read(Path(file), read_all(chosen.options, pairs(values), where=f"take {format_name} "))
    for note in taken.notes:
        click.echo(note)
    for row in taken.rejected[:20]:
        echo("take.aside", row=str(row))
    if len(taken.rejected) > 20:
        echo("take.more_aside", n=len(taken.rejected) - 20)
    if rejects:
        Path(rejects).write_text("".join(f"{row}\n" for row in taken.rejected), encoding="utf-8")
    if dry:
        echo("take.dry", n=len(taken.drafts))
        return
    entries = [
        NewEntry(d.kind, d.body, place=d.place, farm=d.farm, seen_at=d.seen_at, observer=chosen.name, id=d.id)
        for d in taken.drafts
    ]
    with open_ledger(ledger_location(ctx)) as ledger:
        receipts = ledger.append(entries)
    stored = sum(r.stored for r in receipts)
    echo("take.stored", n=stored, before=len(receipts) - stored)
