"""Does the sprayer put out what it should?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, WAIT
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Question, Table
from sideoats.schema import Field
from sideoats.wheat import sprayer
from sideoats.wheat.questions._common import known_or

Floats = NDArray[np.float64]
INPUTS = (
    Field("gpm", "number", "flow of one nozzle", unit="gal/min", bare=True, low=0.005, high=50, example="0.25"),
    Field("ounces", "number", "fluid ounces caught from one nozzle, instead", bare=True, low=0.1, high=5000),
    Field("seconds", "number", "time of the catch", unit="second", bare=True, low=1, high=3600),
    Field("speed", "number", "ground speed", unit="mph", low=0.3, high=40, example="5 mph"),
    Field("course", "number", "course driven, instead of a speed", unit="ft", low=5, high=20_000),
    Field("drive_seconds", "number", "time to drive the course", unit="second", bare=True, low=1, high=3600),
    Field("spacing", "number", "nozzle spacing, band width, or swath of a boomless nozzle", unit="inch", low=2,
          high=1200, required=True, example="20 in"),
    Field("target", "number", "rate wanted", unit="gal/ac", low=0.5, high=200, example="15 gal/ac"),
    Field("jug", "flag", "the ounces are read straight as gallons an acre", default=False),
    Field("nozzles", "numbers", "flow or catch of each nozzle, all in one unit", low=0, high=5000,
          example="40,41,39,46"),
    Field("tank", "number", "tank size", unit="gal", low=1, high=10_000),
    Field("product", "number", "product an acre by the label in hand", unit="floz/ac", low=0, high=5000),
    Field("off_share", "share", "share off at which the sprayer is set again; common practice if absent"),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    def known(*names: str) -> bool:
        return all(values[n] is not None for n in names)

    if values["jug"] and known("ounces", "course"):
        sprayer.ounces_as_rate(values["ounces"], values["course"], values["spacing"])
    elif values["jug"]:
        raise InputError("jug=yes without ounces and course", where="sprayer-check", expected="ounces=15 course=204 ft")
    elif not (known("gpm") or known("ounces", "seconds") or known("ounces", "course")):
        raise InputError(
            "no flow is "
            "given", where="sprayer-check", expected="gpm=, or ounces= with seconds=, or ounces= with course=",
            todo="catch one nozzle for a minute: ounces / 128 is gpm",
        )  # fmt: skip
    elif (known("gpm") or known("seconds")) and not (known("speed") or known("course", "drive_seconds")):
        raise InputError(
            "no speed is given", where="sprayer-check", expected="speed=5 mph, or course= and drive_seconds="
        )


def _rate(table: Table) -> tuple[Floats, Floats, Floats]:
    """Rate [gal/ac], flow [gal/min] and speed [mph] of each row."""
    flow, ounces, spacing = table.number("gpm"), table.number("ounces"), table.number("spacing")
    flow = np.where(np.isnan(flow), sprayer.flow_from_catch(ounces, table.number("seconds")), flow)
    speed = table.number("speed")
    driven = sprayer.ground_speed(table.number("course"), table.number("drive_seconds"))
    speed = np.where(np.isnan(speed), driven, speed)
    by_flow = sprayer.application_rate(flow, speed, spacing)
    by_course = sprayer.rate_from_course(ounces, table.number("course"), spacing)
    return np.where(np.isnan(by_flow), by_course, by_flow), flow, speed


def answer(table: Table, context: Context) -> Answers:
    """The rate against the target, worn nozzles, and what goes into a tank."""
    facts = context.facts
    rate, flow, speed = _rate(table)
    target = table.number("target")
    off = rate / target - 1
    allowed = (
        known_or(table.number("off_share"), context, "wheat/sprayer.off_share") if table.known("target").any() else off
    )
    tolerance = facts.value("wheat/sprayer.nozzle_tolerance") if table.known("nozzles").any() else np.nan
    worn = [[] if r is None else sprayer.off_nozzles(r, tolerance).tolist() for r in table.rows("nozzles")]
    bad = np.array([bool(w) for w in worn])
    wrong = np.abs(off) > allowed
    per_tank = sprayer.acres_per_tank(table.number("tank"), rate)
    spacing = table.number("spacing")
    return Answers(
        table, context, headline=_headline(target, rate, off, wrong, worn), unit="USD/ac",
        because=_because(target, allowed, tolerance, worn, spacing),
        verdict=np.where(wrong | bad, ACT, WAIT).astype(np.int8), act_by=np.where(wrong | bad, 0, -1),
        quantities={
            "application_rate": (rate, "gal/ac"), "flow": (flow, "gal/min"), "speed": (speed, "mph"),
            "off_by": (off, "1"),
            "flow_for_target": (sprayer.nozzle_flow(target, speed, spacing), "gal/min"),
            "ounce_course": (sprayer.ounce_course(spacing), "ft"), "acres_per_tank": (per_tank, "ac"),
            "product_per_tank": (per_tank * table.number("product"), "floz"),
        },
        cautions=(
            "Calibrate with clean water only. The label governs rate, pressure, droplet size, wind, buffers and "
            "re-entry.",
            "Wear what the label asks for, also when nozzles are cleaned; never blow one out by mouth.",
        ),
    )  # fmt: skip


def _headline(
    target: Floats, rate: Floats, off: Floats, wrong: NDArray[np.bool_], worn: list[list[int]]
) -> Callable[[int], str]:
    def text(i: int) -> str:
        start = f"The sprayer puts out {rate[i]:.2f} gal/ac"
        if worn[i]:
            numbers = ", ".join(str(k + 1) for k in worn[i])
            start = f"Replace or clean nozzle{'s' * (len(worn[i]) > 1)} {numbers}, then measure again: " + start.lower()
        if np.isnan(off[i]):
            return start + "."
        side = "over" if off[i] > 0 else "under"
        return f"{start}, {100 * abs(off[i]):.1f} % {side} {target[i]:.2f} gal/ac" + (
            ": set it again." if wrong[i] else ": leave it as it is." if not worn[i] else "."
        )

    return text


def _because(
    target: Floats, allowed: Floats, tolerance: float, worn: list[list[int]], spacing: Floats
) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [
            f"Ounces caught over {float(sprayer.ounce_course(spacing[i])):.1f} ft at {spacing[i]:g} in are gallons an "
            "acre; "
            "on any other course they are not."
        ]
        if np.isfinite(target[i]):
            out.append(f"A sprayer more than {100 * allowed[i]:.0f} % off its target is set again (common practice).")
        if worn[i]:
            out.append(f"A nozzle more than {100 * tolerance:.0f} % from the mean of the boom is worn or blocked.")
        return out

    return text


QUESTION = Question(
    name="sprayer-check", room="wheat", title="Does the sprayer put out what it should?",
    about="Gallons an acre from nozzle flow, speed and spacing, or from a catch over a course, against the rate "
    "wanted.",
    inputs=INPUTS, answer=answer, check=_check,
    limits="One nozzle stands for the boom unless every nozzle was caught. Pressure and droplet class are the label's.",
)  # fmt: skip
