"""check: verify every entry of the ledger."""

from __future__ import annotations

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.option(
    "--noted", metavar="COUNT:HASH", help="A head noted earlier, such as in a bulletin: finds entries cut off since."
)
@click.option("--json", "as_json", is_flag=True, help="Print the report as JSON.")
@click.pass_context
def command(ctx: click.Context, noted: str | None, as_json: bool) -> int:
    """Verify the hash chain, every entry and the database. Exit status 1 if anything does not hold."""
    from sideoats.ledger import open_ledger

    anchor = _head(noted) if noted else None
    with open_ledger(ledger_location(ctx), create=False) as ledger:
        report = ledger.check(anchor)
    if as_json:
        import json
        from dataclasses import asdict

        click.echo(json.dumps(asdict(report)))
        return 0 if report.ok else 1
    for line in (*report.problems, *report.notes):
        click.echo(line)
    count, last = report.head
    echo("check.holds" if report.ok else "check.broken", n=report.entries, head=f"{count}:{last}")
    return 0 if report.ok else 1


def _head(text: str) -> tuple[int, str]:
    from sideoats.errors import InputError

    count, sign, last = text.partition(":")
    if not sign or not count.isdecimal() or len(last) != 64 or not set(last.lower()) <= set("0123456789abcdef"):
        raise InputError(
            f"{text[:80]!r} is not a head", where="--noted", expected="COUNT:HASH as `sideoats check` prints it"
        )
    return int(count), last.lower()
