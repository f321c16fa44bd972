"""What several commands do alike: dates, name=value pairs, the ledger's place, showing a call as text."""

from __future__ import annotations

import os
from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, Any

import click

from sideoats.errors import InputError
from sideoats.schema import read_date

if TYPE_CHECKING:
    from sideoats.call import Call

# Shape and word: a verdict must survive a black-and-white printer and a colour-blind reader.
SHAPES = {"stop": "■", "act": "▶", "look": "◇", "wait": "·"}


class Day(click.ParamType[date]):
    """A calendar date YYYY-MM-DD."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            return read_date(value)
        except InputError as error:
            raise InputError(error.what, where=f"--{param.name}" if param else "", expected=error.expected) from None


on_option = click.option("--on", type=Day(), default=None, help="The day asked about; today if left out.")


def today(on: date | None) -> date:
    """The day asked about. The command line is the only place where the clock is read."""
    return on or date.today()


def pairs(words: Iterable[str]) -> dict[str, str]:
    """``name=value`` words as a mapping. Raises InputError on a word without a name, or a name given twice."""
    out: dict[str, str] = {}
    for word in words:
        name, sign, value = word.partition("=")
        name = name.strip().replace("-", "_")
        if not sign or not name:
            raise InputError(f"{word[:80]!r} is not name=value", expected='name=value, such as price="4.50 USD/bu"')
        if name in out:
            raise InputError("is given twice", where=name, todo="give it once")
        out[name] = value
    return out


def ledger_location(ctx: click.Context) -> str | None:
    """--ledger, else SIDEOATS_LEDGER; None means the data folder."""
    named = (ctx.obj or {}).get("ledger") or os.environ.get("SIDEOATS_LEDGER")
    return str(named) if named else None


def money(value: float, unit: str) -> str:
    """`12.3 USD/ac`; large sums without cents."""
    if value != value:
        return "-"
    return f"{value:,.0f} {unit}" if abs(value) >= 1000 else f"{value:,.2f} {unit}"


def plain_number(value: float) -> str:
    """Four significant digits, never an exponent: 12,000 and 0.0832."""
    if value == round(value) and abs(value) < 1e15:
        return f"{value:,.0f}"
    size = abs(value)
    digits = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 10 else 3 if size >= 1 else 4
    return f"{value:,.{digits}f}"


def call_text(call: Call, *, options: int = 6) -> str:
    """A call as plain text: verdict and dates first, then money, reasons, cautions, sources."""
    when = "".join(f"  {w} by {d:%a %d %b %Y}" for w, d in (("act", call.act_by), ("look", call.look_by)) if d)
    lines = [f"{SHAPES[call.verdict]} {call.verdict.upper()}{when}", call.headline, ""]
    shown = sorted(call.options, key=lambda o: (o.barred is not None, -o.expected if o.expected == o.expected else 0.0))
    for o in shown[:options]:
        if o.barred:
            lines.append(f"  {o.label}: not allowed - {o.barred}")
        elif o.expected != o.expected:
            lines.append(f"  {o.label}")
        else:
            lines.append(
                f"  {o.label}: {money(o.expected, o.unit)} (1 in 10 below {money(o.low, o.unit)}, 1 in 10 above "
                f"{money(o.high, o.unit)}); best in {100 * o.chance_best:.0f} % of futures"
            )
    if len(shown) > options:
        lines.append(f"  ... and {len(shown) - options} more options (--json shows all)")
    if call.quantities:
        lines.append("")
        for name, q in call.quantities.items():
            value = q.value if isinstance(q.value, str) else plain_number(q.value)
            lines.append(f"  {name.replace('_', ' ')}: {value} {'' if q.unit in ('', '1') else q.unit}".rstrip())
    worth = call.worth_of_a_look
    if isinstance(worth.value, float) and worth.value > 0.005:
        lines.append(f"  another look is worth up to {money(worth.value, worth.unit)}")
    for title, texts in (("Why", call.because), ("Care", call.cautions)):
        if texts:
            lines += ["", f"{title}:", *(f"  - {t}" for t in texts)]
    if call.sources:
        from sideoats.facts import PROVENANCE_WORDS

        lines += ["", "Sources:"]
        for s in call.sources:
            lines.append(f"  - {s['id']}: {s['citation']} [{PROVENANCE_WORDS.get(s['provenance'], s['provenance'])}]")
    return "\n".join(lines)
