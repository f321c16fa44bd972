"""A call as plain text, the same on every surface that prints or copies one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from sideoats.call import Call, OptionResult, Quantity
from sideoats.facts import PROVENANCE
from sideoats.replies import READER, told
from sideoats.timed import grouped
from sideoats.words import Reader, full_day, say, sentence

# Shape and word: a verdict must survive a black-and-white printer and a colour-blind reader.
_RISK_TOLD = 0.1  # of the largest sum: what risk takes of an option is told from there on
SHAPES = {"stop": "■", "act": "▶", "look": "◇", "wait": "·"}


def plain_number(value: float) -> str:
    """Four significant digits, never an exponent: 12,000 and 0.0832."""
    if value == round(value) and abs(value) < 1e15:
        return f"{value:,.0f}"
    size = abs(value)
    digits = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 10 else 3 if size >= 1 else 4
    return f"{value:,.{digits}f}"


def call_text(call: Call, *, options: int = 6, reader: Reader = READER) -> str:
    """A call as plain text for `reader`: verdict and dates first, then money, reasons, cautions, sources."""
    call = told(call, reader)

    def word(code: str, **values: str) -> str:
        return sentence(say(f"printed.{code}", **values), reader)

    days = (("act_by", call.act_by), ("look_by", call.look_by))
    when = "".join(f"  {word(code, day=reader.whole_day(day))}" for code, day in days if day)
    lines = [f"{SHAPES[call.verdict]} {word(call.verdict)}{when}", call.headline, ""]
    shown = sorted(
        grouped(call, reader), key=lambda o: (o.barred is not None, -o.expected if o.expected == o.expected else 0.0)
    )
    most = max((abs(o.expected) for o in shown if o.expected == o.expected), default=0.0)
    lines += [f"  {_option(o, most, word, reader)}" for o in shown[:options]]
    if len(shown) > options:
        lines.append(f"  {word('more', count=str(len(shown) - options))}")
    base = next((o.label for o in call.options if o.key == call.baseline), "")
    if base:
        lines.append(f"  {word('baseline', label=base)}")
    if call.quantities:
        lines += ["", *_figures(call.quantities, reader)]
    worth = call.worth_of_a_look
    if isinstance(worth.value, float) and worth.value > 0.005:
        lines.append(f"  {word('worth', money=_money(worth.value, worth.unit, reader))}")
    for title, texts in (("why", call.because), ("care", call.cautions)):
        if texts:
            lines += ["", f"{word(title)}:", *(f"  - {t}" for t in texts)]
    if call.sources:
        lines += ["", f"{word('sources')}:", *_sources(call.sources, word)]
    if not call.said and reader.language != READER.language:
        lines += ["", word("not_moved")]
    return "\n".join(lines)


def _figures(quantities: Mapping[str, Quantity], reader: Reader) -> list[str]:
    """A figure a line; what is told by the month or the day (``chance_pays_month_1`` and on) in one line."""
    lines: dict[tuple[str, str], tuple[list[str], list[str]]] = {}
    for name, q in quantities.items():
        stem, _, number = name.rpartition("_")
        of = (stem, q.unit) if number.isdigit() and not isinstance(q.value, str) else (name, q.unit)
        told_as, values = lines.setdefault(of, ([], []))
        told_as.append(number)
        values.append(q.value if isinstance(q.value, str) else plain_number(q.value))
    out = []
    for (name, unit), (numbers, values) in lines.items():
        of_which = f" {numbers[0]}" if name.rpartition("_")[2] != numbers[0] else ""
        of_which += f"-{numbers[-1]}" if len(numbers) > 1 else ""
        called = name.replace("_", " ")
        if reader.language != READER.language:
            from sideoats.words.texts import translated

            called = translated(called, reader)
        told = f"{called}{of_which}: {', '.join(values)}"
        out.append(f"  {told} {'' if unit in ('', '1') else unit}".rstrip())
    return out


def _sources(sources: Sequence[Mapping[str, str]], word: Callable[..., str]) -> list[str]:
    """Each publication once, with the facts that rest on it; what has none in one line of names."""
    lines: list[str] = []
    for known in PROVENANCE:
        of: dict[str, list[str]] = {}
        for s in sources:
            if s["provenance"] == known:
                of.setdefault(s["citation"] if known != "practice" else "", []).append(s["id"])
        if of:
            lines.append(f"  {word(known)[:1].upper()}{word(known)[1:]}:")
            lines += [
                f"  - {citation}: {', '.join(ids)}" if citation else f"  - {', '.join(ids)}"
                for citation, ids in of.items()
            ]
    return lines


def _option(o: OptionResult, most: float, word: Callable[..., str], reader: Reader) -> str:
    """One option; `most` is the largest sum of the table, beside which risk is told or left out."""
    if o.barred:
        return word("barred", label=o.label, why=o.barred)
    if o.expected != o.expected:
        return o.label
    low, high = (_money(value, o.unit, reader) for value in (o.low, o.high))
    spread = word("spread", low=low, high=high) if low != high else ""  # the same in every future
    risk, cents = o.expected - o.certainty_equivalent, o.unit in ("USD/bu", "USD/lb")
    told = abs(risk) >= max(_RISK_TOLD * most, 0.005 if cents else 0.5)  # False where no equivalent is known
    kind = "risk_costs" if risk > 0 else "risk_adds"
    sure = word(kind, money=_money(abs(risk), o.unit, reader)) if told else ""
    chance = word("chance", chance=f"{100 * o.chance_best:.0f}") if o.chance_best == o.chance_best else ""
    return word(
        "option", label=o.label, money=_money(o.expected, o.unit, reader), spread=spread, sure=sure, chance=chance
    )


def _money(value: float, unit: str, reader: Reader) -> str:
    return reader.money(value, unit) if unit.startswith("USD") else reader.measured(value, unit)


def sheet(call: Call, place: str = "", farm: str = "", *, reader: Reader = READER) -> str:
    """`call_text` under a line with the question, the place and the day, for a sheet that leaves the desk."""
    where = ", ".join(part for part in (place or call.place_name, farm) if part)
    day = full_day(call.on, reader).split(" ", 1)[1]
    head = f"{call.question}{': ' + where if where else ''}, {day.removeprefix('0')}"
    return f"{head}\n{call_text(call, reader=reader)}"
