"""replay: stand on past dates with only what was known then, ask, and settle with what came."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sideoats.cli._shared import Day, ledger_location, reader_of, verdict_word

if TYPE_CHECKING:
    from sideoats.replay.report import Report
    from sideoats.replay.settle import Settled
    from sideoats.words import Said

_EVERY = {"day": 1, "week": 7, "month": 30}
_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command()
@click.argument("question")
@click.option("--from", "first", type=Day(), default=None, help="First day stood on; as early as the record allows.")
@click.option("--to", "last", type=Day(), default=None, help="Last day stood on; as late as what came is known.")
@click.option("--every", type=click.Choice(list(_EVERY)), default=None, help="Every day, week or month between them.")
@click.option("--record", type=_FILE, default=None, help="A daily station record (GHCN-Daily), for a public replay.")
@click.option("--prices", type=_FILE, default=None, help="A CSV of monthly prices, for a public replay.")
@click.option("--farm", default=None, help="Only this farm's places, of the ledger's own.")
@click.option("--draws", type=click.IntRange(20, 100_000), default=200, show_default=True, help="Futures to draw.")
@click.option("--seed", type=click.IntRange(0), default=None, help="Seed of the draws.")
@click.option("--engine", type=click.Choice(["serial", "processes", "dask"]), default="serial", show_default=True,
              help="Where the work runs.")  # fmt: skip
@click.option("--workers", type=click.IntRange(1, 1024), default=None, help="How many; one a core if left out.")
@click.option("--scheduler", default=None, metavar="ADDRESS", help="A running Dask scheduler; local if left out.")
@click.option("--store", type=click.Path(dir_okay=False), default=None,
              help="Keep settled days in this file; goes on where a stopped replay ended.")  # fmt: skip
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path), default=None, help="Write an SVG here.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON, every settled call with its id.")
@click.pass_context
def command(
    ctx: click.Context,
    question: str,
    first: date | None,
    last: date | None,
    every: str | None,
    record: Path | None,
    prices: Path | None,
    farm: str | None,
    draws: int,
    seed: int | None,
    engine: str,
    workers: int | None,
    scheduler: str | None,
    store: str | None,
    picture: Path | None,
    as_json: bool,
) -> None:
    """Replay QUESTION: what its advice would have been paid, and whether what it said came.

    It stands on past days with only what was known then, asks, and settles with the weather and prices that came. With
    --record or --prices the question's fixed phone-in is asked on public records; without them the places of the
    ledger are asked as the week would have asked them (give --from and --to).
    """
    from sideoats.outlook import DEFAULT_SEED
    from sideoats.replay.run import replay
    from sideoats.week.engines import engine_named

    options: dict[str, Any] = {"draws": draws, "seed": DEFAULT_SEED if seed is None else seed}
    runs = (
        _at_home(ledger_location(ctx), question, first, last, farm, options)
        if record is None and prices is None
        else _public(question, record, prices, options)
    )
    shapes = []
    for label, common, span, dates in runs:
        since, until = first or span[0], last or span[1]
        days = list(dates(since, until, _EVERY[every] if every else 0))
        own = engine_named(engine, workers=workers, address=scheduler)
        rows = replay(common, days, engine=own, store=store)
        shapes.append(_told(label, rows, since, until, as_json, picture))
    if as_json:
        click.echo(json.dumps(shapes, indent=1, ensure_ascii=False, allow_nan=False))


def _public(question: str, record: Path | None, prices: Path | None, options: dict[str, Any]) -> list[tuple[Any, ...]]:
    from sideoats.intake.ghcn_daily import read_ghcn_daily
    from sideoats.replay.run import public, span_of
    from sideoats.replay.scenario import PRICES, WEATHER, scenarios_of
    from sideoats.replay.series import monthly

    days = read_ghcn_daily(record) if record else None
    series = monthly(prices) if prices else None
    data = None if record and prices else WEATHER if record else PRICES
    out = []
    for s in scenarios_of(question, data):
        common = public(s, record=days, prices=series, **options)
        out.append((f"{s.label}, {common.source}", common, span_of(common), s.dates))
    return out


def _at_home(
    location: str | None,
    question: str,
    first: date | None,
    last: date | None,
    farm: str | None,
    options: dict[str, Any],
) -> list[tuple[Any, ...]]:
    from sideoats.errors import InputError
    from sideoats.ledger.address import address_of
    from sideoats.question import find
    from sideoats.replay.run import Own

    find(question)
    if first is None or last is None or first > last:
        raise InputError("needs the days to stand on", where="replay", expected="--from and a later --to")
    own = Own(location or address_of(None), question, last + timedelta(days=400), farm, **options)

    def dates(since: date, until: date, every: int) -> list[date]:
        return [since + timedelta(days=n) for n in range(0, (until - since).days + 1, every or 7)]

    return [(question, own, (first, last), dates)]


def _told(
    label: str, rows: Sequence[Settled], first: date, last: date, as_json: bool, picture: Path | None
) -> dict[str, Any]:
    from sideoats.replay.report import picture_of, report_of
    from sideoats.words import LongDay, say

    if not rows:
        if not as_json:
            _line(say("replay.none", first=LongDay(first), last=LongDay(last)))
        return {"label": label, "calls": 0}
    report = report_of(label, rows)
    if picture is not None:
        picture.write_text(picture_of(report, rows).drawing(reader=reader_of()), encoding="utf-8")
    if not as_json:
        _show(report)
    return {**report.full(), "settled": [r.full() for r in rows]}


def _line(said: Said, indent: str = "") -> None:
    from sideoats.words import sentence

    click.echo(textwrap.fill(sentence(said, reader_of()), 80, initial_indent=indent, subsequent_indent=indent + "  "))


def _show(report: Report) -> None:
    from sideoats.words import Count, Name, Share, say, sentence

    reader = reader_of()

    def word(code: str) -> str:
        return sentence(say(code), reader)

    what, _, source = report.label.partition(", ") if ", " in report.label else (report.label, "", "")
    what, _, source = report.label.rpartition(", ") if source else (report.label, "", "")
    _line(
        say("replay.title", what=Name(what or report.label), n=Count(report.calls), first=Name(str(report.first)),
            last=Name(str(report.last)), source=Name(source or "ledger"))
    )  # fmt: skip
    _line(say("replay.unit", unit=Name(report.unit)))
    names = {w: word(f"replay.way.{w}") for w in report.ways}
    wide = max(map(len, (*names.values(), word("replay.column.way"))))
    head = [word(f"replay.column.{c}") for c in ("way", "mean", "worst", "regret", "acted", "over")]
    click.echo(f"  {head[0]:<{wide}}{head[1]:>9}{head[2]:>9}{head[3]:>9}{head[4]:>10}  {head[5]}")
    for way, p in report.ways.items():
        over = report.over.get(way)
        more = "" if over is None else "{:+.2f} ({:+.2f}, {:+.2f})".format(*over)
        figures = f"{p.mean:9.2f}{p.worst:9.2f}{p.regret:9.2f}{reader.share(p.acted):>10}"
        click.echo(f"  {names[way]:<{wide}}{figures}  {more}")
    lost = report.loses_to()
    _line(say("replay.loses", ways=Name(reader.listed([names[w] for w in lost]))) if lost else say("replay.holds"))
    if (r := report.ranges) is not None:
        _line(
            say(
                "replay.ranges",
                k=Count(round(r.share * r.count)),
                n=Count(r.count),
                low=Share(r.low),
                high=Share(r.high),
            )
        )
    if (b := report.brier) is not None and report.chances is not None:
        told = {"score": Name(f"{b.score:.3f}"), "n": Count(b.count), "reliability": Name(f"{b.reliability:.3f}")}
        if b.uncertainty > 0:
            _line(say("replay.chances", **told, skill=Name(f"{b.skill:+.2f}")))
        else:
            _line(say("replay.chances.no_skill", score=told["score"], n=told["n"]))
        c = report.chances
        for at in range(len(c.count)):
            shares = {n: Share(float(getattr(c, n)[at])) for n in ("stated", "came", "low", "high")}
            _line(say("replay.bin", n=Count(int(c.count[at])), **shares), "  ")
    verdicts = reader.listed([f"{n} {verdict_word(v)}" for v, n in sorted(report.verdicts.items())])
    _line(say("replay.verdicts", verdicts=Name(verdicts)))
