"""Does the sprayer put out what it should?"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.problem import Choice, Problem, labelled
from sideoats.question import Context, Question, Table
from sideoats.vocabulary import see
from sideoats.wheat import sprayer
from sideoats.wheat.asked import known_or
from sideoats.words import Measured, Name, Said, say

Floats = NDArray[np.float64]
INPUTS = (
    *(see(f"sprayer-check.{name}") for name in ("gpm", "ounces", "seconds", "speed", "course", "drive_seconds")),
    see("sprayer-check.spacing", needed=True),
    *(see(f"sprayer-check.{name}") for name in ("target", "jug", "nozzles", "tank", "product", "off_share")),
)
OPTIONS = (
    Choice("leave", labelled("sprayer-leave"), passive=True),
    Choice("set", labelled("sprayer-set"), day=0),
)


MOST_OFF = (
    3.0  # times over or under the target: a unit or a width is the slip, and setting by it would overdose (common
)
# practice)


def check(values: dict[str, Any]) -> None:
    """Refuse a sprayer without a flow or a speed, and ounces read as gallons on another course than their own."""

    def known(*names: str) -> bool:
        return all(values[n] is not None for n in names)

    if values["jug"] and known("ounces", "course"):
        sprayer.ounces_as_rate(values["ounces"], values["course"], values["spacing"])
    elif values["jug"]:
        raise InputError("jug=yes without ounces and course", where="sprayer-check", expected="ounces=15 course=204 ft")
    elif not (known("gpm") or known("ounces", "seconds") or known("ounces", "course")):
        raise InputError(
            "no flow is given",
            where="sprayer-check",
            expected="gpm=, or ounces= with seconds=, or ounces= with course=",
            todo="catch one nozzle for a minute: ounces / 128 is gpm",
        )
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


def pose(table: Table, context: Context) -> Problem:
    """The rate against the target, worn nozzles, and what goes into a tank: setting it gains a share of the rate."""
    facts, target, spacing = context.facts, table.number("target"), table.number("spacing")
    rate, flow, speed = _rate(table)
    off, tolerance = rate / target - 1, np.nan
    allowed = np.full(len(table), np.nan)
    if table.known("target").any():
        allowed = known_or(table.number("off_share"), context, "wheat/sprayer.off_share")
    if table.known("nozzles").any():
        tolerance = facts.value("wheat/sprayer.nozzle_tolerance")
    worn = [[] if r is None else sprayer.off_nozzles(r, tolerance).tolist() for r in table.rows("nozzles")]
    bad = np.array([bool(w) for w in worn])
    wrong = np.nan_to_num(np.abs(off)) > np.nan_to_num(allowed, nan=np.inf)
    absurd = (1 + off > MOST_OFF) | (1 + off < 1 / MOST_OFF)
    beyond = np.where(wrong, np.abs(off) - allowed, 0.0)
    gain = np.where(wrong | bad, np.maximum(beyond, np.where(bad, np.nan_to_num(tolerance), 0.0)), -1.0)
    per_tank = sprayer.acres_per_tank(table.number("tank"), rate)

    def against(i: int) -> Said | None:
        """How far it is off, where a rate is wanted."""
        if np.isnan(off[i]):
            return None
        side = "over" if off[i] > 0 else "under"
        shown = {
            "off": Measured(abs(float(100 * off[i])), unit="percent"),
            "target": Measured(float(target[i]), unit="gal/ac"),
        }
        return say(f"sprayer-check.{side}", **shown)

    def nozzles(i: int) -> Said | None:
        return (
            say("sprayer-check.which", n=len(worn[i]), which=Name(", ".join(str(k + 1) for k in worn[i])))
            if worn[i]
            else None
        )

    return Problem(
        "sprayer-check",
        OPTIONS,
        "leave",
        "1",
        np.stack([np.zeros_like(gain), gain], axis=1)[:, None, :] + np.zeros((1, context.outlook.draws, 1)),
        needs={"sprayer-check.gpm": np.isnan(rate) | absurd},
        recheck=np.where(absurd, 0, -1),
        heads=((absurd, "sprayer-check.absurd.need"), (bad, "sprayer-check.worn.act")),
        values={"rate": Measured(rate, unit="gal/ac"), "against": against, "nozzles": nozzles},
        reasons=(
            say(
                "sprayer-check.because.course",
                course=Measured(sprayer.ounce_course(spacing), unit="ft"),
                spacing=Measured(spacing, unit="in"),
            ),
            say("sprayer-check.because.off", allowed=Measured(100 * (allowed + 0 * target), unit="percent")),
            say("sprayer-check.because.worn", limit=Measured(np.where(bad, 100 * tolerance, np.nan), unit="percent")),
        ),
        cautions=(say("sprayer-check.care.water"), say("sprayer-check.care.wear")),
        quantities={
            "application_rate": (rate, "gal/ac"),
            "flow": (flow, "gal/min"),
            "speed": (speed, "mph"),
            "off_by": (off, "1"),
            "flow_for_target": (sprayer.nozzle_flow(target, speed, spacing), "gal/min"),
            "ounce_course": (sprayer.ounce_course(spacing), "ft"),
            "acres_per_tank": (per_tank, "ac"),
            "product_per_tank": (per_tank * table.number("product"), "floz"),
        },
    )


QUESTION = Question(
    name="sprayer-check", room="wheat", inputs=INPUTS, pose=pose, check=check, options_count=len(OPTIONS)
)
