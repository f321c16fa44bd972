"""demo: fill a ledger with the invented district."""

from __future__ import annotations

from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location


@click.command()
@click.pass_context
def command(ctx: click.Context) -> None:
    """Fill an empty ledger with the invented district: 12 farms, 60 places, 25 years of weather, two seasons."""
    from sideoats.demo.district import DISTRICT_FILE, TODAY, all_entries
    from sideoats.errors import LedgerError
    from sideoats.ledger import open_ledger

    with open_ledger(ledger_location(ctx)) as ledger:
        if ledger.head()[0]:
            raise LedgerError(f"ledger {ledger.address} already holds entries; give another with --ledger FILE")
        receipts = ledger.append(all_entries())
        address = ledger.address
    if "://" not in address:
        beside = Path(address).parent / "district.toml"
        if not beside.exists():
            beside.write_text(DISTRICT_FILE, encoding="utf-8")
    echo("demo.filled", n=len(receipts), address=address)
    echo("demo.week", day=TODAY.isoformat(), command=f"sideoats --ledger {address} week --on {TODAY}")
