"""How far a price usually moves from a month to the season of sale, where nobody has given the later price.

The published levels disagree by region and year, so they are a span and never a forecast: a choice that turns inside
the span rests on a price that has to be asked for.
"""

from __future__ import annotations

from sideoats.question import Context
from sideoats.words import Said, Share, say


def usual_span(context: Context, fact_id: str) -> tuple[float, float]:
    """Least and most of the later price over today's by the table `fact_id` (month, least, most); (1, 1) off it."""
    rows = {int(month): (float(least), float(most)) for month, least, most in context.facts[fact_id].rows}
    return rows.get(context.on.month, (1.0, 1.0))


def move_said(span: tuple[float, float]) -> Said:
    """A span as ``7 % lower to 19 % higher``."""

    def end(ratio: float) -> Said:
        if ratio == 1:
            return say("season.same")
        return say("season.lower" if ratio < 1 else "season.higher", by=Share(abs(ratio - 1)))

    return say("season.span", least=end(span[0]), most=end(span[1]))
