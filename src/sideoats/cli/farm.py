"""farm: one farm's calls summed, planned within what it has, with what was given up."""

from __future__ import annotations

import textwrap
from datetime import date
from typing import TYPE_CHECKING

import click

from sideoats.cli._shared import ledger_location, on_option, reader_of, today

if TYPE_CHECKING:
    from sideoats.farm.plan import FarmPlan
    from sideoats.words import Said

WIDTH = 80


@click.command()
@click.argument("name", required=False)
@on_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.option("--all", "everyone", is_flag=True, help="Every farm in a line, and the district's sum.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draws.")
@click.pass_context
def command(
    ctx: click.Context,
    name: str | None,
    on: date | None,
    as_json: bool,
    everyone: bool,
    draws: int,
    seed: int | None,
) -> None:
    """Sum the calls of the farm NAME (its id or name) and plan them together.

    What calls share is counted once (one pass over a field, one crop of calves); what the farm has too little of holds
    acts back: say it with amend, such as
    sideoats amend farm=two-elms labor_hours="20 hour" spray_hours="4 hour" bin_room="8000 bu" cash_on_hand="30000 USD"
    cash_floor="10000 USD". With --all: every farm, and the district's sum.
    """
    from sideoats.errors import InputError
    from sideoats.farm.plan import run_farms
    from sideoats.outlook import DEFAULT_SEED

    if (name is None) != everyone:
        raise InputError(
            "needs one farm, or --all", where="farm", expected="sideoats farm NAME, or sideoats farm --all"
        )
    plans = run_farms(
        ledger_location(ctx) or _default(),
        today(on),
        None if name is None else (name,),
        draws=draws,
        seed=DEFAULT_SEED if seed is None else seed,
    )
    if as_json:
        import json

        from sideoats.farm.shape import district_shape, shape_of

        shape = district_shape(plans) if everyone else shape_of(plans[0])
        click.echo(json.dumps(shape, indent=1, ensure_ascii=False, allow_nan=False))
    elif everyone:
        _show_district(plans)
    else:
        _show(plans[0])


def _default() -> str:
    from sideoats.ledger.address import address_of

    return address_of(None)


def _line(said: Said, indent: str = "") -> None:
    from sideoats.words import sentence

    text = sentence(said, reader_of())
    click.echo(textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  "))


def _part(head: Said, lines: list[Said]) -> None:
    if lines:
        click.echo()
        _line(head)
        for line in lines:
            _line(line, "  ")


def _show(plan: FarmPlan) -> None:
    from sideoats import replies
    from sideoats.farm import told
    from sideoats.printed import SHAPES
    from sideoats.words import Day, Name, say, sentence

    reader = reader_of()
    _line(say("farm.title", name=Name(plan.name), day=Day(plan.on)))
    if plan.first:
        click.echo()
        _line(say("farm.head.first"))
        for call in plan.first:
            head = f"{SHAPES[call.verdict]} {call.place_name or call.place}: {replies.told(call, reader).headline}"
            click.echo(textwrap.fill(head, WIDTH, initial_indent="  ", subsequent_indent="    "))
    _part(say("farm.head.acts"), told.acts(plan))
    click.echo()
    _line(told.worth(plan))
    for said in told.risk(plan):
        _line(said)
    _part(say("farm.head.twice"), told.counted_once(plan))
    short = list(dict.fromkeys(sentence(told.limit_name(s.limit), reader) for s in plan.shadows))
    _part(say("farm.head.given_up", limits=Name(reader.listed(short))), told.given_up(plan))
    for said in told.shadows(plan):
        _line(said, "  ")
    if plan.futures:
        click.echo()
        _line(say("farm.head.futures"))
    for at, one in enumerate(plan.futures):
        like, by = told.future(one, at)
        _line(like, "  ")
        for said in by:
            _line(said, "    ")
    _cash(plan)
    _part(say("farm.head.left"), told.left_out(plan))
    if not plan.limits and plan.months.left == ():
        click.echo()
        _line(say("farm.unlimited"))


def _cash(plan: FarmPlan) -> None:
    from sideoats.farm import told
    from sideoats.words import Money, Name, say

    reader, lines = reader_of(), []
    for day, moved, left in told.months(plan):
        values = {"month": Name(f"{reader.month(day)} {day.year}"), "moved": Money(moved, unit="USD")}
        lines.append(
            say("farm.month", **values)
            if left is None
            else say("farm.month.left", **values, left=Money(left, unit="USD"))
        )
    if abs(plan.months.undated) > 0.5:
        lines.append(say("farm.undated", money=Money(plan.months.undated, unit="USD")))
    _part(say("farm.head.cash"), lines)


def _show_district(plans: list[FarmPlan]) -> None:
    from sideoats.farm import told
    from sideoats.farm.plan import district_sum
    from sideoats.words import Money, Name, say

    for plan in plans:
        _line(say("farm.title", name=Name(plan.name), day=plan.on))
        for said in told.first_lines(plan):
            _line(said, "  ")
    whole, nothing = district_sum(plans)
    money = {n: Money(getattr(whole, n), unit="USD") for n in ("low", "median", "high")}
    click.echo()
    _line(say("farm.district", n=len(plans), gain=Money(whole.expected - nothing.expected, unit="USD"), **money))
