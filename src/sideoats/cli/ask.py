"""ask: answer a phone-in question."""

from __future__ import annotations

import gc
from datetime import date
from pathlib import Path
from typing import Any

import click

from sideoats.cli._shared import ledger_location, on_option, pairs, reader_of, today, told


def _is_there(location: str) -> bool:
    """Whether the ledger can be looked for: a server can, a file where it exists."""
    from sideoats.ledger.address import is_url

    return is_url(location) or Path(location).exists()


@click.command(context_settings={"ignore_unknown_options": False})
@click.argument("question")
@click.argument("values", nargs=-1, metavar="[NAME=VALUE]...")
@on_option
@click.option("--json", "as_json", is_flag=True, help="Print the answer in the agreed JSON shape.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=1000, show_default=True, help="Futures to draw.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draws.")
@click.option(
    "--aversion",
    type=float,
    default=None,
    help="How much risk is disliked, as relative aversion: 0 none, 2 usual, 4 very averse; the district's if left out.",
)
@click.pass_context
def command(
    ctx: click.Context,
    question: str,
    values: tuple[str, ...],
    on: date | None,
    as_json: bool,
    draws: int,
    seed: int | None,
    aversion: float | None,
) -> None:
    """Answer QUESTION from NAME=VALUE pairs; no farm needs to be on file.

    Example: sideoats ask sorghum-aphid mean=150 n=40 stage=boot yield="80 bu/ac" price="4.50 USD/bu" cost="14 USD/ac"
    """
    gc.disable()  # one answer and the process ends: there is little to collect meanwhile
    ctx.call_on_close(gc.enable)
    from sideoats.asking import call_for
    from sideoats.outlook import DEFAULT_SEED
    from sideoats.printed import call_text

    day, read = today(on), pairs(values)
    options: dict[str, Any] = {"draws": draws, "seed": DEFAULT_SEED if seed is None else seed}
    location = beside = ledger_location(ctx)
    if location is not None and not (ctx.obj or {}).get("ledger") and not _is_there(location):
        click.echo(f"sideoats: {told('not_there', location=location)}", err=True)
        location = None
    if location is None:
        from sideoats.facts import load
        from sideoats.ledger.address import district_file

        options["facts"] = load(district_file(beside))  # the district's stricter choices hold on the telephone too
    else:
        from sideoats.week.district import district_of

        district = district_of(location, day, draws=draws, seed=options["seed"])
        options |= {"facts": district.facts, "outlook": district.outlook}
    call = call_for(question, read, on=day, risk_aversion=aversion, files=True, **options)
    if as_json:
        import json

        click.echo(json.dumps(call.contract(), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        click.echo(call_text(call, reader=reader_of(ctx)))
