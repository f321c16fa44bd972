"""questions: what can be asked, and what each question needs."""

from __future__ import annotations

import click


@click.command()
@click.argument("name", required=False)
def command(name: str | None) -> None:
    """List the questions, or show what NAME needs, where the week finds it, and what it does not cover."""
    from sideoats.question import every, find

    if name is None:
        room = ""
        for q in sorted(every(), key=lambda q: (q.room, q.name)):
            if q.room != room:
                room = q.room
                click.echo(f"{room}:")
            click.echo(f"  {q.name:<28} {q.title}")
        return
    q = find(name)
    click.echo(f"{q.name}: {q.title}\n{q.about}\n")
    for f in q.inputs:
        need = "needed" if f.required else ("else " + str(f.default) if f.default is not None else "optional")
        click.echo(f"  {f.name} ({need}): {f.help}; {f.expected()}")
    if q.limits:
        click.echo(f"\nLimits: {q.limits}")
    if q.places:
        click.echo(f"\nThe week asks it of: {', '.join(q.places.kinds)} {', '.join(q.places.crops)}".rstrip())
