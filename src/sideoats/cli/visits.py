"""visits: the scouting round, with a map and a card for each place."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from sideoats.cli._shared import echo, ledger_location, on_option, reader_of, today


@click.command()
@on_option
@click.option(
    "--hours", type=click.FloatRange(0.5, 100), default=8.0, show_default=True, help="Hours there are, road included."
)
@click.option(
    "--start", default=None, metavar="LAT,LON", help="Where the round begins and ends; the middle if left out."
)
@click.option("--farm", default=None, help="Only this farm's places (its id).")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None, help="Write cards and map here.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=500, show_default=True, help="Futures to draw.")
@click.pass_context
def command(
    ctx: click.Context, on: date | None, hours: float, start: str | None, farm: str | None, out: Path | None, draws: int
) -> None:
    """Choose which places to look at this week and order them into a round.

    What is due within days goes first, hazards before the rest; then what a look is worth an hour decides.
    """
    from sideoats.bulletin.field_card import cards, round_map, round_text
    from sideoats.ledger import open_ledger
    from sideoats.week import run_week
    from sideoats.week.district import district_of
    from sideoats.week.run import evidence_needed, weekly_questions
    from sideoats.week.stop_lines import stop_lines
    from sideoats.week.visits import counting_lines, plan_visits

    day, base = today(on), _start(start)
    with open_ledger(ledger_location(ctx), create=False) as ledger:
        week = run_week(ledger, day, draws=draws)
        district = district_of(ledger, day, kinds=evidence_needed(weekly_questions()), draws=draws, pool=True)
    plan = plan_visits(week, district, hours=hours, start=base, farm=farm)
    click.echo(round_text(plan, reader_of(ctx)), nl=False)
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        places = [v.place.id for v in plan.visits]
        lines = counting_lines(stop_lines(district, set(places)), places)
        (out / "cards.html").write_text(cards(plan, lines, week.passes), encoding="utf-8")
        drawn = round_map(plan)
        if drawn is not None:
            (out / "map.svg").write_text(drawn.svg, encoding="utf-8")
        echo("visits.out", out=str(out))


def _start(text: str | None) -> tuple[float, float] | None:
    from sideoats.errors import InputError

    if text is None:
        return None
    try:
        latitude, longitude = (float(part) for part in text.split(","))
        if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
            raise ValueError
    except ValueError:
        raise InputError(f"{text[:60]!r} is not a position", where="--start", expected="LAT,LON in degrees") from None
    return latitude, longitude
