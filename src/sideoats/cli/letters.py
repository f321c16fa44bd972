"""letters: one page a farm, printed or sent."""

from __future__ import annotations

import os
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sideoats.cli._shared import echo, ledger_location, on_option, reader_of, today

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sideoats.ledger import Ledger
    from sideoats.letters.letter import Letter


@click.command()
@on_option
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None, help="Folder to write to.")
@click.option("--farm", "farms", multiple=True, help="Only this farm (its id); may be given several times.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.option("--send", is_flag=True, help="Send each letter by e-mail through the office's own server.")
@click.option("--dry-run", is_flag=True, help="With --send: say what would be sent, and send nothing.")
@click.option("--again", is_flag=True, help="With --send: also what may have been sent when the machine stopped.")
@click.pass_context
def command(
    ctx: click.Context,
    on: date | None,
    out: Path | None,
    farms: tuple[str, ...],
    draws: int,
    send: bool,
    dry_run: bool,
    again: bool,
) -> None:
    """Write each farm's letter of the week: a page to print (PDF) and its text.

    Each has a slip with a code; what comes back is stored with `sideoats reply`. Sending is off until the district says
    where: sideoats record setting name=office.server value=smtp://user@host:587, and office.email for the office's own
    address. The password is read from SIDEOATS_MAIL_PASSWORD, a farm's address and language from the farm
    (sideoats amend farm FARM email=... language=es).
    """
    from sideoats.errors import InputError
    from sideoats.ledger import open_ledger
    from sideoats.letters.letter import letters_of
    from sideoats.week import district_of, run_week
    from sideoats.week.run import evidence_needed, weekly_questions

    if not send and out is None:
        raise InputError("neither --out nor --send is given", where="letters", expected="a folder, or --send")
    day = today(on)
    with open_ledger(ledger_location(ctx), create=False) as ledger:
        unknown = sorted(set(farms) - {f.id for f in ledger.farms()})
        if unknown:
            raise InputError(f"no farm is called {', '.join(unknown)}", where="--farm")
        week = run_week(ledger, day, draws=draws, farm=farms[0] if len(farms) == 1 else None)
        district = district_of(ledger, day, kinds=evidence_needed(weekly_questions()), draws=draws, pool=True)
        made = letters_of(week, district, ledger, reader_of(), farms)
        if out is not None:
            _print(ledger, [letter for letter, _ in made], out)
        if send:
            _send(ledger, made, district.snapshot.settings, dry_run, again)


def _print(ledger: Ledger, letters: list[Letter], out: Path) -> None:
    from sideoats.folders import write_whole
    from sideoats.letters.sheet import page, plain
    from sideoats.letters.slips import entry_of

    for letter in letters:
        name = f"{letter.farm}-{letter.on.isoformat()}"
        write_whole(out / f"{name}.pdf", page(letter))
        write_whole(out / f"{name}.txt", plain(letter).encode())
    kept = [entry_of(letter, "printed", datetime.now().astimezone(), "") for letter in letters]
    ledger.append([entry for entry in kept if ledger.get(str(entry.id)) is None])
    echo("letters.written", n=len(letters), out=str(out))


def _send(
    ledger: Ledger, made: list[tuple[Letter, str]], settings: Mapping[str, str], dry_run: bool, again: bool
) -> None:
    from sideoats.errors import InputError
    from sideoats.letters.post import post, server_at

    lacking = [name for name in ("office.server", "office.email") if not settings.get(name)]
    if lacking:
        raise InputError(
            f"not set: {', '.join(lacking)}",
            where="--send",
            todo="sideoats record setting name=office.server value=smtp://user@host:587",
        )
    server = server_at(settings["office.server"], os.environ.get("SIDEOATS_MAIL_PASSWORD", ""))
    sender, when = settings["office.email"], datetime.now().astimezone()
    for one in post(ledger, made, server, sender, when, dry=dry_run, again=again):
        said = {"farm": one.letter.name, "to": one.to, "note": one.note}
        echo(f"letters.{one.stands.replace(' ', '_')}", err=one.stands in ("refused", "unsure"), **said)
