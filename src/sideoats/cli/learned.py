"""learned: what the district's own counts say of its pests, beside the published figures."""

from __future__ import annotations

import json
import math
from datetime import date
from typing import Any

import click

from sideoats.cli._shared import echo, ledger_location, on_option, today, told


@click.command()
@on_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@click.pass_context
def command(ctx: click.Context, on: date | None, as_json: bool) -> None:
    """Show what the counts of the last weeks say together, pest by pest.

    How counts clump (k) and how fast the pest grows, both beside the published figure; how far fields differ; what is
    likely in fields that nobody has walked; and what treated and untreated strips say of the loss. The week tells
    beside every new count what the others make likely, and goes by the strips; a k or a rate of growth becomes the
    district's own once it stands in the district file as an override.
    """
    from sideoats.ledger import open_ledger
    from sideoats.question import find
    from sideoats.week.district import district_of
    from sideoats.week.run import evidence_needed, weekly_questions
    from sideoats.week.unwalked import forecasts

    with open_ledger(ledger_location(ctx), create=False) as ledger:
        district = district_of(ledger, today(on), kinds=evidence_needed(weekly_questions()), draws=100, pool=True)
    found = [_shape(learned) for learned in district.learned]
    ahead = [
        {"place": f.place, "question": f.question, "likely": f.likely, "low": f.low, "high": f.high, "unit": f.unit}
        for f in forecasts(district)
    ]
    strips = {name: vars(fit) for name, fit in district.fits.items()}
    if as_json:
        shape = {"on": district.on.isoformat(), "pests": found, "unwalked": ahead, "strips": strips}
        click.echo(json.dumps(shape, indent=2))
        return
    for name, fit in district.fits.items():
        alone, low, high = (f"{value:.2f}" for value in (fit.alone, fit.alone_low, fit.alone_high))
        factor = f"{fit.factor:.2f}"
        echo("learned.strips", question=name, n=fit.strips, factor=factor, alone=alone, low=low, high=high)
    if not found:
        echo("learned.nothing", n=int(district.facts.value("insects/pooling.fewest")))
    for pest in found:
        title = find(pest["question"]).title
        alike = "".join(f", {value}" for value in pest["alike"].values() if value is not None)
        echo("learned.head", title=title, alike=alike, counts=pest["counts"], fields=pest["fields"])
        echo("learned.k", own=_number(pest["k"]), published=_number(pest["k_published"]))
        low, high = (pest["growth"] + z * pest["growth_sd"] for z in (-1.2816, 1.2816))
        published = _number(pest["growth_published"])
        echo("learned.growth", own=f"{pest['growth']:.2f}", low=f"{low:.2f}", high=f"{high:.2f}", published=published)
        echo("learned.spread", times=f"{math.exp(1.2816 * pest['spread']):.1f}")
    for f in ahead:
        likely, low, high = (f"{float(f'{f[name]:.2g}'):,g}" for name in ("likely", "low", "high"))
        echo("learned.unwalked", place=f["place"], question=f["question"], likely=likely, low=low, high=high)


def _shape(learned: Any) -> dict[str, Any]:
    growth, error = learned.model.growth
    return {
        "question": learned.question,
        "alike": dict(learned.alike),
        "counts": len(learned.model.looks),
        "fields": len(learned.places),
        "k": _or_none(learned.unit_k),
        "k_published": learned.published_k,
        "growth": growth,
        "growth_sd": error,
        "growth_published": _or_none(learned.published_growth),
        "spread": learned.model.spread,
    }


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else value


def _number(value: float | None) -> str:
    return told("learned.none") if value is None else f"{value:.2g}"
