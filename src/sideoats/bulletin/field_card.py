"""A printable card for each visit: what to count, when to stop counting, what to write down; and the round as a map."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from sideoats.pictures import Picture
from sideoats.week.visits import Plan, Visit

_UNITS = (10, 20, 30, 40, 60, 80)
_ABOUT = {"crop": "{}", "acres": "{:g} ac", "planting_date": "sown {}", "variety": "variety {}"}
_STYLE = """
body { font: 12pt/1.35 Georgia, "Liberation Serif", serif; color: #000; background: #fff; margin: 0 auto;
  max-width: 46rem }
section { break-after: page; border-top: 3px double #000; padding: .4rem 0 1rem }
h1 { font-size: 1.3rem } h2 { font-size: 1.15rem; margin: .2rem 0 } pre { white-space: pre-wrap; font-size: .8rem }
table { border-collapse: collapse; margin: .5rem 0 }
td, th { border: 1px solid #000; padding: .15rem .6rem; text-align: right }
th:first-child, td:first-child { text-align: left }
.blank td { height: 1.7rem; min-width: 3rem }
svg { max-width: 100% } @page { margin: 14mm }
"""


def round_text(plan: Plan) -> str:
    """The round as plain text."""
    lines = [
        f"Round of {plan.on:%A %d %B %Y}: {len(plan.visits)} visits, {plan.hours:.1f} of {plan.available:.1f} hours "
        f"({plan.road_hours:.1f} on the road)",
        "",
    ]
    for v in plan.visits:
        lines.append(f"{v.number:>3}. {_line(v)}")
        lines += [f"       {c.question}: {c.headline}" for c in v.reasons]
    if plan.left:
        lines += ["", "Not in this round, what is due soonest first, then the most worth:"]
        lines += [f"   - {_line(v)}" for v in plan.left]
    return "\n".join(lines) + "\n"


def _worth(v: Visit) -> str:
    """What a visit is worth, in words; a hazard has no price."""
    if v.hazard:
        return "a hazard, no price on it"
    return "worth not known yet" if v.guessed else f"a look is worth up to {v.worth:,.0f} USD"


def _line(v: Visit) -> str:
    by = f", look by {v.look_by:%d %b}" if v.look_by else ""
    return f"{v.place.id}: {_worth(v)}{by}"


def round_map(plan: Plan) -> Picture | None:
    """Places of the round by number and those left out, north up; None where no place has a position."""
    known = [v for v in (*plan.visits, *plan.left) if math.isfinite(v.latitude)]
    if not known:
        return None
    south, north = (f(v.latitude for v in known) for f in (min, max))
    west, east = (f(v.longitude for v in known) for f in (min, max))
    shrink = math.cos(math.radians((south + north) / 2))
    scale = 560 / max((east - west) * shrink, (north - south) * 1.4, 1e-6)
    height = (north - south) * scale + 60

    def at(v: Visit) -> tuple[float, float]:
        return 40 + (v.longitude - west) * shrink * scale, 30 + (north - v.latitude) * scale

    ordered = [v for v in plan.visits if math.isfinite(v.latitude)]
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in map(at, ordered))
    parts = (
        [f'<path d="M{path}" fill="none" stroke="currentColor" stroke-dasharray="4 4"/>'] if len(ordered) > 1 else []
    )
    for v in known:
        x, y = at(v)
        fill = 'fill="currentColor"' if v.number else 'fill="none"'
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{4 if v.number else 3}" {fill} stroke="currentColor"/>')
        if v.number:
            parts.append(f'<text x="{x + 7:.1f}" y="{y - 5:.1f}" font-size="14" fill="currentColor">{v.number}</text>')
    title = f"{len(plan.visits)} visits in {plan.hours:.1f} hours"
    summary = (
        f"Filled and numbered: in the round; rings: left out. {plan.road_hours:.1f} hours on the road. North is up."
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 680 {height:.0f}" role="img" font-family="sans-serif">'
        f"<title>{escape(title)}</title><desc>{escape(summary)}</desc>{''.join(parts)}</svg>"
    )
    rows = tuple(
        (str(v.number or "-"), v.place.id, "hazard" if v.hazard else f"{v.worth:,.0f}")
        for v in (*plan.visits, *plan.left)
    )
    return Picture(title, summary, ("visit", "place", "worth of a look [USD]"), rows, svg)


def cards(plan: Plan, lines: Mapping[str, Sequence[Mapping[str, Any]]]) -> str:
    """One HTML page: the round with its map, then a card a visit; prints one card a sheet."""
    drawn = round_map(plan)
    head = f"<h1>Round of {plan.on:%A %d %B %Y}</h1><pre>{escape(round_text(plan))}</pre>"
    body = "".join(_card(v, lines.get(v.place.id, ())) for v in plan.visits)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Scouting round {plan.on}</title>'
        f"<style>{_STYLE}</style></head><body><main><section>{head}{drawn.html() if drawn else ''}</section>{body}"
        "</main></body></html>"
    )


def _card(v: Visit, plans: Sequence[Mapping[str, Any]]) -> str:
    about = v.place.attributes
    told = ", ".join(words.format(about[k]) for k, words in _ABOUT.items() if about.get(k) is not None)
    asked = "".join(f"<li><b>{escape(c.question)}</b>: {escape(c.headline)}</li>" for c in v.reasons)
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
    for name, (b0, b1, a0, a1) in _same_lines(plan["by"]):
        units = "".join(f"<th>{n}</th>" for n in _UNITS)
        below = "".join(f"<td>{_floor(b0 + b1 * n)}</td>" for n in _UNITS)
        above = "".join(f"<td>{math.ceil(a0 + a1 * n)}</td>" for n in _UNITS)
        out.append(
            f"<table><tr><th>{escape(name)}: units counted</th>{units}</tr>"
            f"<tr><td>leave it, at or under</td>{below}</tr>"
            f"<tr><td>treat side, at or over</td>{above}</tr></table>"
        )
    return "".join(out)


def _same_lines(by: Mapping[str, Sequence[float]]) -> list[tuple[str, Sequence[float]]]:
    """Stop lines with the stages they hold for; stages with the same lines stand together."""
    stages: dict[tuple[float, ...], list[str]] = {}
    for stage, line in by.items():
        stages.setdefault(tuple(line), []).extend([stage] if stage else [])
    return [(", ".join(names) or "as on file", line) for line, names in stages.items()]


def _floor(value: float) -> str:
    return str(math.floor(value)) if value >= 0 else "count on"
