"""score: how past calls held up."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

import click

from sideoats.cli._shared import Day, echo, ledger_location, today, told, verdict_word

if TYPE_CHECKING:
    from sideoats.ledger import Ledger
    from sideoats.replay.settle import Settled
    from sideoats.week.kept import HeldUp

FEW = 30  # outcomes: fewer give counts and intervals, and no claim


@click.command()
@click.option("--since", type=Day(), default=None, help="Calls made on or after this day.")
@click.option("--until", type=Day(), default=None, help="Calls made on or before this day.")
@click.option("--question", default=None, help="Only calls of this question.")
@click.option("--by", type=click.Choice(["question", "horizon", "season", "adviser"]), default="question",
              show_default=True, help="How what settled by itself is grouped.")  # fmt: skip
@click.option("--typed", is_flag=True, help="Only outcomes that somebody recorded.")
@click.option("--on", "now", type=Day(), default=None, help="The day by which weather and quotes are known; today.")
@click.option("--teach", is_flag=True, help="Let the calls tell from now on how each question's ranges held here.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, every settled call with its id.")
@click.pass_context
def command(
    ctx: click.Context,
    since: date | None,
    until: date | None,
    question: str | None,
    by: str,
    typed: bool,
    now: date | None,
    teach: bool,
    as_json: bool,
) -> None:
    """Score the calls kept in the ledger: by later weather and quotes, and by the outcomes recorded for them.

    Stated chances and ranges about weather and prices settle by themselves, each decision once. Only what was done and
    what a field yielded need a person: record an outcome at the call's place with its question:
    sideoats record outcome place=PLACE question=sorghum-aphid what=treat-day-0 value="312 USD/ac", or
    what=chance_treating_pays happened=yes. It is of the newest call kept there by that day; call=ID names another.
    """
    from sideoats.ledger import open_ledger
    from sideoats.replay.kept import settle_kept
    from sideoats.week.kept import held_up

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        found = held_up(ledger, since=since, until=until, question=question)
        day = today(now)
        rows = [] if typed else settle_kept(ledger, day, since=since, until=until, question=question)
        if teach and rows:
            _teach(ledger, rows)
    if as_json:
        _json(found, rows, by)
        return
    _show_typed(found)
    _show_settled(rows, by)


def _teach(ledger: Ledger, rows: Sequence[Settled]) -> None:
    """The record of every question as a setting of the ledger, which the calls read: an entry like any other."""
    from sideoats.ledger import NewEntry
    from sideoats.replay.learning import learned
    from sideoats.replies import HELD

    groups = [g for g in learned(rows) if g.ranges.count]
    bodies = [{"name": f"{HELD}{g.group[0]}", "value": g.ranges.text()} for g in groups]
    ledger.append([NewEntry("setting", body, observer="score") for body in bodies])
    echo("score.taught", err=True, n=len(bodies))


def _json(found: HeldUp, rows: Sequence[Settled], by: str) -> None:
    from sideoats.replay.learning import learned

    shape = {
        "calls": found.calls,
        "verdicts": found.verdicts,
        "outcomes_recorded": found.outcomes,
        "settled": [r.full() for r in rows],
        "by": by,
        "learned": [group.full() for group in learned(rows, by)] if rows else [],
    }
    click.echo(json.dumps(shape, indent=1, ensure_ascii=False, allow_nan=False))


def _show_settled(rows: Sequence[Settled], by: str) -> None:
    """What later weather and quotes say: raw, and beside it what it would be mended to."""
    from sideoats.replay.learning import learned

    if not rows:
        return
    echo("score.settled", n=len(rows))
    for group in learned(rows, by):
        r, c = group.ranges, group.chances
        name = ", ".join(part or told("score.nobody") for part in group.group)
        if r.count:
            echo(
                "score.group.ranges",
                group=name,
                held=r.held,
                n=r.count,
                factor=f"{r.factor:.2f}",
                shift=f"{r.shift:+.2f}",
                again=_percent(group.again),
            )
        if c.count:
            echo("score.group.chances", group=name, n=c.count, raw=f"{group.raw:.3f}", better=f"{group.better:.3f}")
    if len(rows) < FEW:
        echo("score.few")


def _show_typed(found: HeldUp) -> None:
    verdicts = ", ".join(f"{n} {verdict_word(v)}" for v, n in sorted(found.verdicts.items()))
    echo("score.kept", calls=found.calls, verdicts=verdicts or told("score.none"), outcomes=found.outcomes)
    if found.chances is not None:
        b = found.brier
        skilled = told("score.skill", skill=f"{b.skill:+.2f}") if b.uncertainty > 0 else told("score.alike")
        echo(
            "score.chances",
            score=f"{b.score:.3f}",
            n=b.count,
            reliability=f"{b.reliability:.3f}",
            resolution=f"{b.resolution:.3f}",
            uncertainty=f"{b.uncertainty:.3f}",
            skill=skilled,
        )
        r = found.chances
        for i in range(len(r.count)):
            echo(
                "score.bin",
                stated=_percent(r.stated[i]),
                came=_percent(r.came[i]),
                n=int(r.count[i]),
                low=_percent(r.low[i]),
                high=_percent(r.high[i]),
            )
    if found.ranges is not None:
        c = found.ranges
        echo("score.ranges", share=_percent(c.share), n=int(c.count), low=_percent(c.low), high=_percent(c.high))
    for unit, loss in found.pinball.items():
        echo("score.pinball", loss=f"{loss:.2f}", unit=unit)
    for line in found.money_lines():
        click.echo(line)
    for line in found.unused[:10]:
        echo("score.unused", line=line)
    if 0 < found.outcomes < FEW:
        echo("score.few")


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"
