"""The colour test on a stem: what it can and cannot tell, and which animals wait for the laboratory."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, STOP
from sideoats.decide import decide
from sideoats.forage import cautions, stock
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

OPTIONS = (
    Option("laboratory", "Send a sample to a laboratory and keep animals off until it answers"),
    Option("colour-alone", "Feed or graze on the colour alone"),
)
INPUTS = (
    Field("colour", "choice", "colour on the stem", choices=("none", "faint", "dark blue"), required=True,
          aliases={"blue": "dark blue", "dark": "dark blue", "light": "faint", "no": "none", "colorless": "none"},
          found_in=("evidence:spot_test.colour",)),
    Field("blue_up_to", "number", "height on the stem up to which the colour forms", unit="in", low=0, high=240,
          found_in=("evidence:spot_test.blue_up_to",)),
    Field("class", "choice", "animals that would eat it", choices=stock.CLASSES, aliases=stock.ALIASES, default="unknown",
          found_in=("evidence:spot_test.class", "place:class")),
    Field("weakened", "flag", "animals hungry, sick, thin, stressed or not used to the feed", default=False),
    Field("form", "choice", "standing crop or bales", choices=("standing", "bales"), default="standing",
          found_in=("evidence:spot_test.form",)),
    Field("result", "number", "a laboratory's result that is on file already", unit="ppm", low=0, high=1e6,
          found_in=("evidence:hay_nitrate.result",)),
    Field("test_cost", "number", "laboratory assay with postage", unit="USD", low=0, high=500,
          found_in=("setting:cost.nitrate_test",)),
)  # fmt: skip


def answer(table: Table, context: Context) -> Answers:
    """A colour never clears a feed: the row answers look, or stop where the colour is there."""
    facts = context.facts
    n = len(table)
    right, alarm, missed = (facts.value(f"forage/spot_test.{k}") for k in ("right", "false_alarm", "missed"))
    hot_if_clear = missed / (missed + right)  # least it can be: every right answer taken to be a clear one
    hot_if_blue = right / (right + alarm)  # most it can be: every right answer taken to be a coloured one
    coloured = np.array([c in ("faint", "dark blue") for c in table.text("colour")], dtype=bool)
    known = table.known("colour")
    risk = stock.at_risk(list(table.text("class")), table.flag("weakened"))
    barred = np.tile([False, True], (n, 1))
    cost = table.number("test_cost")[:, None]
    cost = np.where(np.isnan(cost), context.outlook.between("nitrate test", *facts.span("forage/hay.test_cost")), cost)
    payoff = np.stack([-cost, np.zeros_like(cost)], axis=2)
    decision = decide(payoff, barred=barred)
    verdict = np.where(coloured, STOP, LOOK).astype(np.int8)

    def headline(i: int) -> str:
        if coloured[i]:
            return "Nitrate is there: feed or graze none of it until a laboratory has measured how much."
        wait = "These animals wait for the laboratory." if risk[i] else "Send the sample before it is fed to any animal at risk."
        return f"No colour is not a clearance: at least {100 * hot_if_clear:.0f} in 100 such samples were hot. {wait}"

    def because(i: int) -> list[str]:
        out = [
            f"In a field study {100 * right:.0f} % of samples were rightly classed, {100 * alarm:.0f} % coloured although the "
            f"laboratory found little, {100 * missed:.0f} % missed.",
            facts["forage/spot_test.meaning"].text,
            "It shows that nitrate is there and up to which height, which helps to set a cutting height; it does not show how "
            "much, in which ion or on which basis.",
        ]
        height = table.number("blue_up_to")[i]
        if np.isfinite(height):
            out.append(f"Colour up to {height:.0f} in: cutting higher leaves the hottest stem in the field; test what is cut.")
        if str(table.text("form")[i]) == "bales":
            out.append(facts["forage/lot.standing_sample"].text + " Core the bales.")
        waiting = "pregnant, young, lactating, weakened or unknown animals" if risk[i] else "animals at risk"
        out.append(f"Until the laboratory answers, {waiting} get none of it.")
        return out

    coloured_mask: NDArray[np.bool_] = barred & coloured[:, None]
    return Answers(
        table, context, headline=headline, because=because, options=OPTIONS, decision=decision, unit="USD",
        bars=(
            Bar(coloured_mask, "the colour shows nitrate; how much, only a laboratory can say", hazard=True),
            Bar(barred & ~coloured[:, None], "a colour test is only a screen and never replaces a laboratory's number"),
        ),
        verdict=verdict, look_by=np.where(known, np.where(risk | coloured, 1, 3), 3),
        quantities={
            "rightly_classed": (np.full(n, right), "1"), "missed": (np.full(n, missed), "1"),
            "false_alarms": (np.full(n, alarm), "1"),
            "hot_at_least_if_no_colour": (np.where(coloured | ~known, np.nan, hot_if_clear), "1"),
            "hot_at_most_if_coloured": (np.where(coloured, hot_if_blue, np.nan), "1"),
        },
        missing=~known, missing_headline="No colour on file: send a sample to a laboratory.",
        cautions=cautions.emergency(*cautions.ACID, *cautions.NITRATE),
    )  # fmt: skip


QUESTION = Question(
    name="hay-spot-test", room="forage", title="What does this colour test tell?",
    about="A diphenylamine colour on a stem is a screen. It says what it can and cannot tell, sends the sample to a laboratory "
    "and names the animals that wait.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("hay lot", "field", "pasture")),
    in_season=lambda table, context: table.known("colour") & ~table.known("result"),
    limits="Never a number, never a clearance. No reagent recipe is given.", options_count=len(OPTIONS),
)  # fmt: skip
