"""A printable card for each visit: what to count, when to stop counting, what to write down; and the round as a map."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from sideoats.pictures import STYLE, Map, Picture, Spot
from sideoats.replies import READER, told
from sideoats.week.passes import Pass
from sideoats.week.unwalked import Forecast
from sideoats.week.visits import Plan, Visit
from sideoats.words import Between, Count, Measured, Money, Reader, Said, full_day, say, sentence

_UNITS = (10, 20, 30, 40, 60, 80)
_ABOUT = {"crop": "{}", "acres": "{:g} ac", "planting_date": "sown {}", "variety": "variety {}"}
_STYLE = (
    """
body { font: 12pt/1.35 Georgia, "Liberation Serif", serif; color: #000; background: #fff; margin: 0 auto;
  max-width: 46rem }
section { break-after: page; border-top: 3px double #000; padding: .4rem 0 1rem }
h1 { font-size: 1.3rem } h2 { font-size: 1.15rem; margin: .2rem 0 } pre { white-space: pre-wrap; font-size: .8rem }
table { border-collapse: collapse; margin: .5rem 0 }
td, th { border: 1px solid #000; padding: .15rem .6rem; text-align: right }
th:first-child, td:first-child { text-align: left }
.blank td { height: 1.7rem; min-width: 3rem }
@page { margin: 14mm }
"""
    + STYLE
)


def round_text(plan: Plan, reader: Reader = READER) -> str:
    """The round as plain text."""

    def word(code: str, **values: Any) -> str:
        return sentence(say(f"cli.round.{code}", **values), reader)

    def line(v: Visit) -> str:
        by = word("by", day=reader.short_day(v.look_by)) if v.look_by else ""
        worth = "hazard" if v.hazard else "guessed" if v.guessed else "worth"
        return f"{v.place.id}: {word(worth, **({'money': f'{v.worth:,.0f}'} if worth == 'worth' else {}))}{by}"

    lines = [
        word(
            "head",
            day=full_day(plan.on, reader),
            visits=len(plan.visits),
            hours=f"{plan.hours:.1f}",
            available=f"{plan.available:.1f}",
            road=f"{plan.road_hours:.1f}",
        ),
        "",
    ]
    for v in plan.visits:
        lines.append(f"{v.number:>3}. {line(v)}")
        lines += [f"       {c.question}: {told(c, reader).headline}" for c in v.reasons]
        lines += [f"       {f.question}: {sentence(forecast_said(f), reader)}" for f in v.forecasts]
    if plan.left:
        lines += ["", word("left"), *(f"   - {line(v)}" for v in plan.left)]
    return "\n".join(lines) + "\n"


def forecast_said(forecast: Forecast) -> Said:
    """What the counts of other fields say of one that nobody has walked."""
    low, likely, high = (float(f"{v:.2g}") for v in (forecast.low, forecast.likely, forecast.high))
    return say(
        "cli.round.unwalked",
        fields=Count(forecast.fields),
        likely=Measured(likely, unit=forecast.unit),
        ends=Between((low, high), unit=forecast.unit),
    )


def round_map(plan: Plan) -> Picture | None:
    """Places of the round by number and those left out, north up; None where no place has a position."""
    every = (*plan.visits, *plan.left)
    if not any(math.isfinite(v.latitude) for v in every):
        return None
    hours, road = (Measured(round(float(v), 1)) for v in (plan.hours, plan.road_hours))
    return Map(
        finding=say("picture.round.title", n=Count(len(plan.visits)), hours=hours),
        saying=say("picture.round.says", road=road),
        spots=[_spot(v) for v in every],
        path=range(len(plan.visits)),
        key=(("solid", say("picture.round.in")), ("blank", say("picture.round.out"))),
        heads=(say("picture.place"), say("picture.round.visit"), say("picture.round.worth")),
    )


def _spot(v: Visit) -> Spot:
    worth = (
        say("picture.round.hazard")
        if v.hazard
        else (say("picture.round.unknown") if v.guessed else say("picture.options.note", pays=Money(v.worth)))
    )
    number = str(v.number or "")
    at = (v.longitude, v.latitude) if math.isfinite(v.latitude) else None
    said = f"{number + '. ' if number else ''}{v.place.name}"
    fill = "solid" if v.number else "blank"
    return Spot(v.place.name, at, fill=fill, said=said, label=number, cells=(number or "-", worth))


def cards(plan: Plan, lines: Mapping[str, Sequence[Mapping[str, Any]]], passes: Sequence[Pass] = ()) -> str:
    """One HTML page: the round with its map, then a card a visit; prints one card a sheet.

    `passes` of the week are told on the cards of their fields.
    """
    drawn = round_map(plan)
    head = f"<h1>Round of {plan.on:%A %d %B %Y}</h1><pre>{escape(round_text(plan))}</pre>"
    sprayed = {made.place: made for made in passes}
    body = "".join(_card(v, lines.get(v.place.id, ()), sprayed.get(v.place.id)) for v in plan.visits)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Scouting round {plan.on}</title>'
        f"<style>{_STYLE}</style></head><body><main><section>{head}{drawn.html() if drawn else ''}</section>{body}"
        "</main></body></html>"
    )


def _card(v: Visit, plans: Sequence[Mapping[str, Any]], made: Pass | None) -> str:
    about = v.place.attributes
    told = ", ".join(words.format(about[k]) for k, words in _ABOUT.items() if about.get(k) is not None)
    asked = "".join(f"<li><b>{escape(c.question)}</b>: {escape(c.headline)}</li>" for c in v.reasons)
    if made:
        asked += "".join(f"<li>{escape(sentence(row, READER))}</li>" for row in (made.line(), *made.said))
    for f in v.forecasts:
        asked += f"<li><b>{escape(f.question)}</b>: {escape(sentence(forecast_said(f), READER))}</li>"
    counts = "".join(_lines_table(p) for p in plans if p["question"] in v.count)
    blanks = "<tr class='blank'>" + "<td></td>" * 10 + "</tr>"
    return (
        f"<section><h2>{v.number}. {escape(v.place.name)} <small>{escape(v.place.id)}</small></h2><p>{escape(told)}</p>"
        f"<ul>{asked}</ul>{counts}<p>Counts, unit by unit; walk through the field, not only its edge:</p>"
        f"<table>{blanks * 4}</table><p>Stage ________ &nbsp; Date and hour ________ &nbsp; Seen by ________</p>"
        "<p>The label governs any treatment; a count on this card is evidence, not yet advice.</p></section>"
    )


def _lines_table(plan: Mapping[str, Any]) -> str:
    """Running totals at which counting may stop, after so many units."""
    out = [
        f"<p>{escape(str(plan['title']))} Count {escape(str(plan['count']))}. Stop counting when the total is at or "
        "outside these lines:</p>"
    ]
    at = [plan["units"].index(n) for n in _UNITS]
    for name, line in _same_lines(plan["by"]):
        units = "".join(f"<th>{n}</th>" for n in _UNITS)
        below = "".join(f"<td>{_floor(line['below'][0][i])}</td>" for i in at)
        above = "".join(f"<td>{_ceiling(line['above'][0][i])}</td>" for i in at)
        out.append(
            f"<table><tr><th>{escape(name)}: units counted</th>{units}</tr>"
            f"<tr><td>leave it, at or under</td>{below}</tr>"
            f"<tr><td>treat side, at or over</td>{above}</tr></table>"
        )
    return "".join(out)


def _same_lines(by: Mapping[str, Mapping[str, Any]]) -> list[tuple[str, Mapping[str, Any]]]:
    """Stop lines with the stages they hold for; stages with the same lines stand together."""
    stages: dict[str, tuple[list[str], Mapping[str, Any]]] = {}
    for stage, line in by.items():
        stages.setdefault(str(line), ([], line))[0].extend([stage] if stage else [])
    return [(", ".join(names) or "as on file", line) for names, line in stages.values()]


def _floor(value: float | None) -> str:
    return "count on" if value is None else str(math.floor(value))


def _ceiling(value: float | None) -> str:
    return "count on" if value is None else str(math.ceil(value))
