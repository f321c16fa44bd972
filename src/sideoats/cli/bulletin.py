"""bulletin: the week for the public, and each farm's dates."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location, on_option, today


@click.command()
@on_option
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder to write to.")
@click.option(
    "--language",
    "languages",
    multiple=True,
    metavar="CODE",
    help="en or es, or both by giving it twice; both if left out.",
)
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.pass_context
def command(ctx: click.Context, on: date | None, out: Path, languages: tuple[str, ...], draws: int) -> None:
    """Write the public bulletin (page, PDF, text, scripts, messages, feed) and a calendar for each farm.

    Farms are never named in public files; a farm's figure stands only among those of five or more, and no farm's
    verdict is told. Your own paragraphs: sideoats record paragraph slot=opening.en text="..."
    """
    from sideoats.bulletin.publish import paragraphs, publish
    from sideoats.bulletin.words import words
    from sideoats.facts import load as load_facts
    from sideoats.ledger import open_ledger
    from sideoats.ledger.address import district_file
    from sideoats.week import run_week
    from sideoats.week.snapshot import take_snapshot

    named = (ctx.find_root().obj or {}).get("language")  # before the command's name it is meant for everything
    languages = languages or ((named,) if named else ("en", "es"))
    for language in languages:
        words(language)
    if len(languages) == 1:
        ctx.find_root().ensure_object(dict)["language"] = languages[0]
    day = today(on)
    with open_ledger(ledger_location(ctx), create=False) as ledger:
        week = run_week(ledger, day, draws=draws)
        snapshot, written = take_snapshot(ledger, day, ()), paragraphs(ledger, day)
        facts = load_facts(district_file(ledger.address))
    done = publish(week, snapshot, written, out, languages, facts)
    calendars = sum(f.parent.name == "farms" for f in done.files)
    first = done.bulletins[0]
    echo("bulletin.files", public=len(done.files) - calendars, calendars=calendars, out=str(out))
    echo("bulletin.items", items=len(first.stories), hazards=len(first.hazards))
