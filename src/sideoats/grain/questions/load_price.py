"""load-price: what one load brings at each buyer under that buyer's own dated schedule, freight included."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.document import Document
from sideoats.grain.load_case import CONDITIONS, FACTORS, MOST_BUYERS, check, loads_of, offers_of, strange_protein
from sideoats.grain.load_words import Told
from sideoats.problem import Barred, Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Paid, Share, say

INPUTS = (
    see("load_ticket.gross", needed=True),
    see("load-price.buyers", needed=True),
    see("load_ticket.dockage", needed=True),
    *(see(f"load_ticket.{name}") for name in FACTORS),
    *(see(f"load_ticket.{name}", default=False) for name in (*CONDITIONS, "sure")),
)
UNSOLD = Choice("keep", labelled("load-keep"), passive=True)


def _read(schedule: Document) -> dict[str, Any]:
    from sideoats.intake.buyer_schedule import read_buyer_schedule

    return read_buyer_schedule(schedule)


def pose(table: Table, context: Context) -> Problem:
    """See `QUESTION`."""
    offers = offers_of(table, _read)
    loads = loads_of(table, context, offers)
    told, rows = Told(table, context, offers, loads), np.arange(len(table))
    names = loads.names
    buyers = (Choice(f"buyer-{at + 1}", labelled("sell-to", buyer=Name(name)), day=0) for at, name in enumerate(names))
    money = np.concatenate([loads.money, np.zeros((len(table), 1))], axis=1)

    def mask(of_buyers: Any, *, keep: bool = False) -> Any:
        """(place, option) from (place, buyer)."""
        return np.concatenate([of_buyers, np.full((len(table), 1), keep)], axis=1)

    none = np.zeros_like(loads.asked)
    bars = [
        Barred(mask(none, keep=True), say("bar.load_is_sold")),
        Barred(mask(~loads.asked), say("bar.buyer_not_asked")),
        Barred(mask(loads.asked & ~loads.in_force), say("bar.schedule_not_in_force")),
    ]
    for at in range(len(names)):
        unpriced = loads.asked & ~loads.complete & (np.arange(len(names)) == at)
        bars.append(Barred(mask(unpriced), told.barred(at)))
    dockage = table.number("dockage")
    odd = np.nan_to_num(dockage) > context.facts.value("grain/dockage_asked")
    nobody, stuck = np.asarray(~loads.asked.any(axis=1)), np.asarray(~loads.open.any(axis=1))
    unread, unsure = odd & ~table.flag("sure") & ~stuck, strange_protein(table, context, offers)
    unsure &= ~table.flag("sure") & ~stuck

    def of_best(ruling: Any) -> dict[str, tuple[Any, Any]]:
        def at_best(values: Any) -> Any:
            return mask(values)[rows, np.maximum(ruling.leads, 0)]

        shown = {
            "net_bushels": (loads.net_bushels, "bu"), "adjustment": (loads.adjustment, "USD/bu"),
            "moisture_shrink": (loads.shrink, "percent"), "net_per_bushel": (loads.money / loads.net_bushels, "USD/bu"),
        }  # fmt: skip
        return {name: (np.where(stuck, np.nan, at_best(values)), unit) for name, (values, unit) in shown.items()}

    best = np.argmax(mask(np.where(loads.open, loads.money, -np.inf)), axis=1)

    return Problem(
        "load-price",
        (*buyers, UNSOLD),
        UNSOLD.key,
        "USD",
        money[:, None, :],
        bars=tuple(bars),
        needs={"buyer_schedule.schedule": stuck, "load_ticket.dockage": unread, "load_ticket.protein": unsure},
        heads=(
            (nobody, "load-price.nobody.need"),
            (stuck, "load-price.unpriced.need"),
            (unread, "load-price.dockage.need"),
            (unsure, "load-price.protein.need"),
        ),
        values={
            "money": Paid(mask(loads.money)[rows, best]),
            "ahead": told.ahead,
            "why": told.unpriced,
            "dockage": Share(dockage),
            "protein": Measured(table.number("protein"), unit="percent"),
            "at_a_tenth": told.at_a_tenth,
            "net": Measured(mask(loads.net_bushels)[rows, best], unit="bu"),
        },
        reasons=told.reasons(),
        cautions=told.cautions(),
        quantities={"lead_over_next": (loads.lead(), "USD"), "grade": (loads.grade, "1")},
        ruled=of_best,
    )


QUESTION = Question(
    name="load-price",
    room="grain",
    inputs=INPUTS,
    pose=pose,
    options_count=MOST_BUYERS + 1,
    check=lambda values: check(values, _read),
    stake="grain",
)
