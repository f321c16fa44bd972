"""questions: what can be asked, and what each question needs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from sideoats.cli._shared import reader_of, told

if TYPE_CHECKING:
    from sideoats.question import Question


@click.command()
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """List the questions, or show what NAME needs, where the week finds it, and what it does not cover."""
    from sideoats.question import every, find
    from sideoats.words import say, sentence, term
    from sideoats.words.texts import translated

    def titled(question: Question, part: str) -> str:
        return question.part(part, reader_of())

    if name is None:
        room = ""
        for q in sorted(every(), key=lambda q: (q.room, q.name)):
            if q.room != room:
                room = q.room
                click.echo(f"{term('room', room, reader_of())}:")
            click.echo(f"  {q.name:<28} {titled(q, 'title')}")
        return
    q = find(name)
    click.echo(f"{q.name}: {titled(q, 'title')}\n{titled(q, 'about')}\n")
    for f in q.inputs:
        usual = told("questions.else", value=str(f.default)) if f.default is not None else told("questions.optional")
        need = told("questions.need") if f.required else usual
        click.echo(f"  {f.name} ({need}): {translated(f.help, reader_of())}; {translated(f.expected(), reader_of())}")
    if q.limits:
        click.echo("\n" + sentence(say("printed.limits", text=titled(q, "limits")), reader_of()))
    if q.places:
        asked = f"{', '.join(q.places.kinds)} {', '.join(q.places.crops)}".rstrip()
        click.echo("\n" + told("questions.week", what=asked))
