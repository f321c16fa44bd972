"""A call as plain text, the same on every surface that prints or copies one."""

from __future__ import annotations

from sideoats.call import Call

# Shape and word: a verdict must survive a black-and-white printer and a colour-blind reader.
SHAPES = {"stop": "■", "act": "▶", "look": "◇", "wait": "·"}


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
            lines.append(f"  {o.label}: ruled out, {o.barred}")
        elif o.expected != o.expected:
            lines.append(f"  {o.label}")
        else:
            certain = o.certainty_equivalent  # NaN where no risk aversion was stated
            sure = f", as good as {money(certain, o.unit)} for certain" if abs(certain - o.expected) > 0.005 else ""
            low, high = money(o.low, o.unit), money(o.high, o.unit)
            spread = f" (1 in 10 below {low}, 1 in 10 above {high})" if low != high else ""  # the same in every future
            best = f"best in {100 * o.chance_best:.0f} % of futures"
            lines.append(f"  {o.label}: {money(o.expected, o.unit)}{sure}{spread}; {best}")
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


def sheet(call: Call, place: str = "", farm: str = "") -> str:
    """`call_text` under a line with the question, the place and the day, for a sheet that leaves the desk."""
    where = ", ".join(part for part in (place or call.place_name, farm) if part)
    head = f"{call.question}{': ' + where if where else ''}, {call.on.day} {call.on:%B %Y}"
    return f"{head}\n{call_text(call)}"
