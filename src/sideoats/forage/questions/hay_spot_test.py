"""The colour test on a stem: what it can and cannot tell, and which animals wait for the laboratory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, STOP
from sideoats.decide import decide
from sideoats.forage import cautions, citing, stock
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
    Field("class", "choice", "animals that would eat it", choices=stock.CLASSES, aliases=stock.ALIASES,
          default="unknown",
          found_in=("evidence:spot_test.class", "place:class")),
    Field("weakened", "flag", "animals hungry, sick, thin, stressed or not used to the feed", default=False),
    Field("form", "choice", "standing crop or bales", choices=("standing", "bales"), default="standing",
          found_in=("evidence:spot_test.form",)),
    Field("result", "number", "a laboratory's result that is on file already", unit="ppm", low=0, high=1e6,
          found_in=("evidence:hay_nitrate.result",)),
    Field("test_cost", "number", "laboratory assay with postage", unit="USD", low=0, high=500,
          found_in=("setting:cost.nitrate_test",)),
)  # fmt: skip


@dataclass(frozen=True)
class _Words:
    """Sentences by row; shares of the published field study."""

    table: Table
    context: Context
    coloured: NDArray[np.bool_]
    risk: NDArray[np.bool_]
    right: float
    alarm: float
    missed: float

    @property
    def hot_if_clear(self) -> float:
        """Least share of uncoloured samples that were hot: every right answer taken to be a clear one."""
        return self.missed / (self.missed + self.right)

    @property
    def hot_if_blue(self) -> float:
        """Most share of coloured samples that were hot: every right answer taken to be a coloured one."""
        return self.right / (self.right + self.alarm)

    def headline(self, i: int) -> str:
        if self.coloured[i]:
            return "Nitrate is there: feed or graze none of it until a laboratory has measured how much."
        wait = "Send the sample before it is fed to any animal at risk."
        if self.risk[i]:
            wait = "These animals wait for the laboratory."
        return (
            f"No colour is not a clearance: at least {100 * self.hot_if_clear:.0f} in 100 such samples were hot. {wait}"
        )

    def because(self, i: int) -> list[str]:
        facts = self.context.facts
        out = [
            f"In a field study {100 * self.right:.0f} % of samples were rightly classed, {100 * self.alarm:.0f} % "
            f"coloured"
            f" although the laboratory found little, {100 * self.missed:.0f} % missed.",
            facts["forage/spot_test.meaning"].text,
            "It shows that nitrate is there and up to which height, which helps to set a cutting height; it does not "
            "show"
            " how much, in which ion or on which basis.",
        ]
        height = self.table.number("blue_up_to")[i]
        if np.isfinite(height):
            out.append(
                f"Colour up to {height:.0f} in: cutting higher leaves the hottest stem standing; test what is cut."
            )
        if str(self.table.text("form")[i]) == "bales":
            out.append(facts["forage/lot.standing_sample"].text + " Core the bales.")
        if self.table.known("result")[i]:
            out.append("A laboratory's result is given: it counts and the colour does not; ask hay-nitrate with it.")
        waiting = "pregnant, young, lactating, weakened or unknown animals" if self.risk[i] else "animals at risk"
        out.append(f"Until the laboratory answers, {waiting} get none of it.")
        return out


def answer(table: Table, context: Context) -> Answers:
    """A colour never clears a feed: the row answers look, or stop where the colour is there."""
    facts = context.facts
    n = len(table)
    shares = [facts.value(f"forage/spot_test.{k}") for k in ("right", "false_alarm", "missed")]
    coloured = np.array([c in ("faint", "dark blue") for c in table.text("colour")], dtype=bool)
    known = table.known("colour")
    risk = stock.at_risk(list(table.text("class")), table.flag("weakened"))
    words = _Words(table, context, coloured, risk, *shares)
    within = dict(facts["forage/look_within"].rows)
    barred = np.tile([False, True], (n, 1))
    cost = table.number("test_cost")[:, None]
    cost = np.where(np.isnan(cost), context.outlook.between("nitrate test", *facts.span("forage/hay.test_cost")), cost)
    decision = decide(np.stack([-cost, np.zeros_like(cost)], axis=2), barred=barred)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision, unit="USD",
        bars=(
            Bar(barred & coloured[:, None], "the colour shows nitrate; how much, only a laboratory can say",
            hazard=True),
            Bar(barred & ~coloured[:, None], "a colour test is only a screen and never replaces a laboratory's number"),
        ),
        verdict=np.where(coloured, STOP, LOOK).astype(np.int8),
        look_by=np.where(known & (risk | coloured), int(within["colour test, at risk"]), int(within["colour test"])),
        quantities={
            "rightly_classed": (np.full(n, words.right), "1"), "missed": (np.full(n, words.missed), "1"),
            "false_alarms": (np.full(n, words.alarm), "1"),
            "hot_at_least_if_no_colour": (np.where(coloured | ~known, np.nan, words.hot_if_clear), "1"),
            "hot_at_most_if_coloured": (np.where(coloured, words.hot_if_blue, np.nan), "1"),
        },
        missing=~known, missing_headline="No colour on file: send a sample to a laboratory.",
        cautions=cautions.emergency(*cautions.ACID, *cautions.NITRATE),
        sources=citing.with_quoted(
            facts, lambda i: ("spot_test.meaning", "lot.standing_sample", *citing.NITRATE)
        ),
    )  # fmt: skip


QUESTION = Question(
    name="hay-spot-test", room="forage", title="What does this colour test tell?",
    about="A diphenylamine colour on a stem is a screen. It says what it can and cannot tell, sends the sample to a "
    "laboratory "
    "and names the animals that wait.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("hay lot", "field", "pasture")),
    in_season=lambda table, context: table.known("colour") & ~table.known("result"),
    limits="Never a number, never a clearance. No reagent recipe is given.", options_count=len(OPTIONS),
)  # fmt: skip
