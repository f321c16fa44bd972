"""fetch: open data of the services that the district names, taken into the ledger."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location, reader_of


@click.command()
@click.argument("sources", nargs=-1, metavar="[SOURCE]...")
@click.option("--dry-run", is_flag=True, help="Say what would be asked, and ask nothing.")
@click.option("--again", is_flag=True, help="Ask also for what was fetched shortly before.")
@click.pass_context
def command(ctx: click.Context, sources: tuple[str, ...], dry_run: bool, again: bool) -> None:
    """Fetch what the district file names under [fetch], or only SOURCE, and take in what is new.

    Each body is kept as it came and read as a file taken by hand. Without a network, what is on file stays as it is,
    and its age is said. Exit status 1 where a source failed.
    """
    from datetime import UTC, datetime

    from sideoats.ledger import open_ledger
    from sideoats.ledger.address import address_of, district_file
    from sideoats.sources.declared import declared
    from sideoats.sources.fetching import fetch
    from sideoats.sources.telling import cache_folder, told

    address = address_of(ledger_location(ctx))
    wanted = declared(district_file(address))
    if not wanted.sources:
        echo("fetch.none")
        return
    failed = False
    with open_ledger(address, create=False) as ledger:
        now = datetime.now(UTC)
        for found in fetch(wanted, ledger, cache_folder(address), now=now, names=sources, dry=dry_run, again=again):
            code, values = told(found, now, reader_of(ctx))
            echo(code, **values)
            failed = failed or found.outcome in ("failed", "refused")
    if failed:
        ctx.exit(1)
