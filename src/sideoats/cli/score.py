"""score: how past calls held up."""

from __future__ import annotations

from datetime import date

import click

from sideoats.cli._shared import Day, echo, ledger_location, told, verdict_word


@click.command()
@click.option("--since", type=Day(), default=None, help="Calls made on or after this day.")
@click.option("--until", type=Day(), default=None, help="Calls made on or before this day.")
@click.option("--question", default=None, help="Only calls of this question.")
@click.pass_context
def command(ctx: click.Context, since: date | None, until: date | None, question: str | None) -> None:
    """Score the calls kept in the ledger against the outcomes recorded for them.

    Record an outcome at the call's place with its question:
    sideoats record outcome place=PLACE question=sorghum-aphid what=treat-day-0 value="312 USD/ac", or
    what=chance_treating_pays happened=yes. It is of the newest call kept there by that day; call=ID names another.
    """
    from sideoats.ledger import open_ledger
    from sideoats.week.kept import held_up

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        found = held_up(ledger, since=since, until=until, question=question)
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
    if found.outcomes < 30:
        echo("score.few")


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"
