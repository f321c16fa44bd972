"""take: read an open file into the ledger."""

from __future__ import annotations

from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location, pairs, reader_of

_SHOWN = 8


@click.command()
@click.argument("format_name", metavar="[FORMAT]", required=False)
@click.argument("file", required=False)
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--preview", is_flag=True, help="Show what each column is read as and the first entries, write nothing.")
@click.option("--dry", is_flag=True, help="Read and report, write nothing.")
@click.option("--rejects", type=click.Path(dir_okay=False, writable=True), help="Write rows that were set aside here.")
@click.pass_context
def command(
    ctx: click.Context,
    format_name: str | None,
    file: str | None,
    values: tuple[str, ...],
    preview: bool,
    dry: bool,
    rejects: str | None,
) -> None:
    """Take FILE in, in one transaction; the same file taken twice is stored once. Without FORMAT, list the formats.

    FORMAT may be left out: a file is then told by its content, never by its name.
    """
    from sideoats.errors import InputError
    from sideoats.intake.entries import entries_of, quotes_on_file
    from sideoats.intake.taken import find_format, formats, read_file, recognised
    from sideoats.ledger import open_ledger
    from sideoats.schema import read_all
    from sideoats.week.described import onto_known
    from sideoats.week.doubts import doubts
    from sideoats.words import Name, say, sentence
    from sideoats.words.texts import translated

    if format_name is None:
        for known in formats().values():
            options = " ".join(f"{f.name}=" for f in known.options)
            click.echo(f"{known.name:<16} {translated(known.about, reader_of(ctx))}  {options}".rstrip())
        return
    if format_name not in formats() and Path(format_name).is_file():
        values = (*(() if file is None else (file,)), *values)
        format_name, file = recognised(Path(format_name)).name, format_name
        click.echo(sentence(say("take.read_as", file=Name(Path(file).name), format=Name(format_name)), reader_of(ctx)))
    chosen = find_format(format_name)
    if file is None:
        raise InputError("no file given", where=f"take {format_name}", expected="the path of a file")
    taken = read_file(format_name, Path(file), read_all(chosen.options, pairs(values), where=f"take {format_name} "))
    for note in (*taken.notes, *doubts(taken)):
        click.echo(note if isinstance(note, str) else sentence(note, reader_of(ctx)))
    with open_ledger(ledger_location(ctx)) as ledger:
        taken = onto_known(taken, ledger)
        found = entries_of(taken, chosen.name, quotes_on_file(ledger))
        for row in found.rejected[:20]:
            echo("take.aside", row=str(row))
        if len(found.rejected) > 20:
            echo("take.more_aside", n=len(found.rejected) - 20)
        if rejects:
            Path(rejects).write_text("".join(f"{row}\n" for row in found.rejected), encoding="utf-8")
        if taken.whole and found.rejected:
            what = f"nothing is taken: {len(found.rejected)} rows cannot be used"
            raise InputError(what, where=Path(file).name, todo="mend them and take it again")
        if preview:
            for item in taken.drafts[:_SHOWN]:
                where = item.place or item.farm or ""
                cells = ", ".join(f"{k}={str(v)[:60]}" for k, v in item.body.items())
                click.echo(f"{item.line or '-':>5}  {item.kind} {where} {item.seen_at:%Y-%m-%d}: {cells}"[:400])
        if dry or preview:
            echo("take.dry", n=found.kept)
            return
        receipts = ledger.append(found.entries)
    stored = found.stored(receipts)
    echo("take.stored", n=stored, before=found.kept - stored)
