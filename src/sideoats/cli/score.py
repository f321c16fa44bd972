"""score: how past calls held up."""

from __future__ import annotations

from datetime import date

import click

from sideoats.cli._shared import Day, ledger_location


@click.command()
@click.option("--since", type=Day(), default=None, help="Calls made on or after this day.")
@click.option("--until", type=Day(), default=None, help="Calls made on or before this day.")
@click.option("--question", default=None, help="Only calls of this question.")
@click.pass_context
def command(ctx: click.Context, since: date | None, until: date | None, question: str | None) -> None:
    """Score the calls kept in the ledger against the outcomes recorded for them.

    Record an outcome at the call's place with its id:
    sideoats record outcome place=PLACE call=ID what=treat-day-0 value="312 USD/ac", or
    what=chance_treating_pays happened=yes
    """
    from sideoats.ledger import open_ledger
    from sideoats.week.kept import held_up

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        found = held_up(ledger, since=since, until=until, question=question)
    verdicts = ", ".join(f"{n} {v}" for v, n in sorted(found.verdicts.items()))
    click.echo(f"{found.calls} calls kept ({verdicts or 'none'}); {found.outcomes} outcomes recorded for them")
    if found.chances is not None:
        b = found.brier
        skilled = (
            f"skill {b.skill:+.2f} against the base rate"
            if b.uncertainty > 0
            else "all came out alike: no skill to say"
        )
        click.echo(
            f"Stated chances: Brier score {b.score:.3f} over {b.count} (reliability {b.reliability:.3f}, resolution "
            f"{b.resolution:.3f}, uncertainty {b.uncertainty:.3f}); {skilled}"
        )
        r = found.chances
        for i in range(len(r.count)):
            click.echo(
                f"  stated {100 * r.stated[i]:.0f} %: came {100 * r.came[i]:.0f} % of {r.count[i]} "
                f"(95 % interval {100 * r.low[i]:.0f} to {100 * r.high[i]:.0f} %)"
            )
    if found.ranges is not None:
        c = found.ranges
        click.echo(
            f"Stated 10 to 90 % ranges held {100 * c.share:.0f} % of {c.count} values (80 % intended; 95 % interval "
            f"{100 * c.low:.0f} to {100 * c.high:.0f} %)"
        )
    for unit, loss in found.pinball.items():
        click.echo(f"Mean pinball loss of the range's ends: {loss:.2f} {unit}")
    for line in found.money_lines():
        click.echo(line)
    for line in found.unused[:10]:
        click.echo(f"Not used: {line}")
    if found.outcomes < 30:
        click.echo("Fewer than 30 outcomes: counts and intervals, no claim of calibration.")
