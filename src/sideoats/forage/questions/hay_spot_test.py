"""The colour test on a stem: what it can and cannot tell, and which animals wait for the laboratory."""

from __future__ import annotations

import numpy as np

from sideoats.families.may_it_be_fed import Case, Danger, Way, problem_of
from sideoats.forage import citing, stock
from sideoats.forage.cautions import EMERGENCY, NITRATE
from sideoats.problem import Problem, RowSaid
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see
from sideoats.words import Measured, Name, Share, say

NAME, STUDY = "hay-spot-test", "forage/spot_test."
ALONE = "colour-alone"
INPUTS = (
    see("spot_test.colour", needed=True),
    see("spot_test.blue_up_to"),
    see("spot_test.class", also=("place.class",), default="unknown"),
    see("hay-nitrate.weakened"),
    see("spot_test.form", default="standing"),
    see("hay-spot-test.result"),
    see("hay-spot-test.test_cost"),
)


def pose(table: Table, context: Context) -> Problem:
    """A colour never clears a feed: it stops where it is there, and asks for the laboratory where it is not."""
    facts, known, n = context.facts, table.known("colour"), len(table)
    # a height of the colour says that there is one
    blue = np.isin(table.text("colour"), ("faint", "dark blue")) | (table.number("blue_up_to") > 0)
    numbered, risk = table.known("result"), stock.at_risk(list(table.text("class")), table.flag("weakened"))
    right, alarm, missed = (facts.value(STUDY + name) for name in ("right", "false_alarm", "missed"))
    hot_if_clear, hot_if_blue = missed / (missed + right), right / (right + alarm)
    within = dict(facts["forage/look_within"].rows)
    look = np.where(known & (risk | blue), int(within["colour, at risk"]), int(within["colour test"]))
    cost = table.number("test_cost")[:, None]
    cost = np.where(np.isnan(cost), context.outlook.between("nitrate test", *facts.span("forage/hay.test_cost")), cost)
    case = Case(
        NAME,
        "USD",
        (Way("laboratory", np.zeros_like(cost)), Way(ALONE, cost)),
        "laboratory",
        tuple(
            Danger(
                name,
                blue & rows,
                (ALONE,),
                say(f"{NAME}.why.blue"),
                doubts={"hay_nitrate.result": ~blue & rows},
                holds=(ALONE,),
                until=say(f"{NAME}.why.screen"),
                again=look,
            )
            for name, rows in (
                ("numbered", numbered),
                ("silent", ~known & ~numbered),
                ("at_risk", known & ~numbered & risk),
                ("colour", known & ~numbered & ~risk),
            )
        ),
        begins=np.full(n, np.nan),
        look_within=look,
        needs={"spot_test.colour": ~known & ~blue},
        values={
            "hot": Share(hot_if_clear, fact=STUDY + "missed"),
            "found": Measured(table.number("result"), unit="ppm"),
        },
        reasons=_reasons(table, context, risk),
        cautions=tuple(say(f"forage.care.{code}") for code in (*EMERGENCY, "acid", *NITRATE)),
        quantities={
            "rightly_classed": (np.full(n, right), "1"),
            "missed": (np.full(n, missed), "1"),
            "false_alarms": (np.full(n, alarm), "1"),
            "hot_at_least_if_no_colour": (np.where(blue | ~known, np.nan, hot_if_clear), "1"),
            "hot_at_most_if_coloured": (np.where(blue, hot_if_blue, np.nan), "1"),
        },
    )
    return problem_of(case)


def _reasons(table: Table, context: Context, risk: np.ndarray) -> tuple[RowSaid, ...]:
    """What the field study found, what a colour means, and who waits."""
    facts = context.facts
    for cited in (*citing.NITRATE, "lot.standing_sample", "not_cattle.sorghum", "not_cattle.others"):
        _ = facts[f"forage/{cited}"]  # the cautions and what is said of other animals rest on these
    study = {name: Share(facts.value(STUDY + name), fact=STUDY + name) for name in ("right", "false_alarm", "missed")}
    by = Name(facts.by(STUDY + "meaning"), fact=STUDY + "meaning")
    height = np.where(table.number("blue_up_to") > 0, table.number("blue_up_to"), np.nan)
    other = np.isin(table.text("class"), stock.NOT_CATTLE)
    return (
        say(f"{NAME}.because.study", **study),
        say(f"{NAME}.because.meaning", by=by),
        say(f"{NAME}.because.shows"),
        say(f"{NAME}.because.height", height=Measured(height, unit="in")),
        say(f"{NAME}.because.bales").where(table.text("form") == "bales"),
        say(f"{NAME}.because.numbered").where(table.known("result")),
        say(f"{NAME}.because.others").where(other),
        say(f"{NAME}.because.wait.at_risk").where(risk),
        say(f"{NAME}.because.wait.any").where(~risk),
    )


QUESTION = Question(
    name=NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    places=Places(kinds=("hay lot", "field", "pasture")),
    in_season=lambda table, context: table.known("colour") & ~table.known("result"),
    options_count=2,
    stake="hay lot",
)
