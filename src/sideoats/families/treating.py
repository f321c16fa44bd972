"""What a question of the kind treat by count knows of every place: the count, the money at stake, the treatment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.counted import Counted
from sideoats.families.label import Interval
from sideoats.families.stopping import Saving
from sideoats.problem import Choice, Line, Look, labelled
from sideoats.records import dataclass
from sideoats.words import Said, Term

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Units = str | NDArray[np.object_]
UNIT = "USD/ac"
DAYS = 15


def days_of(act: str) -> tuple[Choice, ...]:
    """Treating on each of the days, with keys ``<act>-day-N``, and never."""
    return (
        Choice(f"{act}-day-0", labelled("treat-today"), day=0, trouble="pass"),
        *(Choice(f"{act}-day-{d}", labelled("treat-in", n=d), day=d, trouble="pass") for d in range(1, DAYS)),
        Choice("never", labelled("treat-never"), passive=True),
    )


OPTIONS = days_of("treat")


@dataclass(frozen=True, eq=False)
class Way:
    """Another way out than treating (cutting the hay now): its gain over leaving it, and where it is closed."""

    choice: Choice
    gain: Floats
    closed: Bools
    why: Said


@dataclass(frozen=True, eq=False)
class Case:
    """What a question knows of every place; arrays (place,) unless said.

    Attributes
    ----------
    words : the question's name
    frame : first part of the codes of headlines and reasons: the question's name, or "treat" for those of every pest
    counted : mean, units, and draws of the field's true mean, in the unit of the threshold
    unit, sample : of the mean ("aphids/leaf") and of one unit looked at ("leaf"); one for all places or (place,)
    density : (place, draw) pests today, where they have changed since the count; as counted where None
    tally : share of units over the tally line, where no more was noted; NaN elsewhere
    stage : growth stage, as a word of the vocabulary
    worth : money value of the crop
    stake : (place, draw) money that the injury ahead costs the untreated crop, bounded by what the crop can lose
    done : (day, place or 1, draw or 1) share of that injury done by the morning of each day
    prevented : (day or 1, place or 1, draw or 1) share of the rest that a treatment on that day prevents
    cost : of one treatment
    saving : what a treatment today saves by the mean of what is counted: verdict, look, stop lines and the mean at
        which it pays come from it and one posterior; None where nothing is counted unit by unit
    spared : what a treatment saves of other pests [USD/ac]
    pays : mean that people are told treating pays from, where that is not of `saving`
    tomorrow : share of the injury ahead done by tomorrow where treating just pays; None for the mean of `done`
    interval : see there
    needs : observable -> True where it is missing
    pace : fastest likely increase of the pest [1/day]; NaN where it does not multiply
    over : True where no yield is left to save: nothing to look for again
    line : the published threshold beside the money
    ways : other ways out
    heads, reasons, cautions, values, quantities : as in `Problem`, beside those that every pest has; the cautions are
        those of a treatment, `always` those that hold where none is advised too
    named : quantities that go by another name in this question
    soon : (place,) days until the next look where it is not the usual; NaN or None for the usual
    look : another look than counting more of the same, in place of that
    uneven : (place, draw) what one pest costs and a treatment of it saves, as a part of its mean: how sure the money is
    crop : as the region names it, for the days on which its stages stand; "" where the question asks for the season
    seen : the count as people say it, where that is not the mean in its unit
    own : names of headlines (``few.look``, ``look``, ``few.need``) that the question says in its own words
    """

    words: str
    counted: Counted
    unit: Units
    sample: Units
    stake: Floats
    done: Floats
    prevented: Floats
    cost: Floats
    interval: Interval
    worth: Floats
    stage: Term
    saving: Saving | None = None
    spared: Floats | float = 0.0
    density: Floats | None = None
    tally: Floats | None = None
    needs: Mapping[str, Bools] = field(default_factory=dict)
    pace: Floats | float = np.nan
    over: Bools | None = None
    line: Line | None = None
    ways: tuple[Way, ...] = ()
    heads: tuple[tuple[Bools, str], ...] = ()
    reasons: tuple[Said, ...] = ()
    cautions: tuple[Said, ...] = ()
    values: Mapping[str, Any] = field(default_factory=dict)
    quantities: Mapping[str, tuple[Any, Any]] = field(default_factory=dict)
    named: Mapping[str, str] = field(default_factory=dict)
    frame: str = ""
    soon: Floats | None = None
    pays: Floats | None = None
    tomorrow: Floats | None = None
    look: Look | None = None
    uneven: Floats | None = None
    crop: str = ""
    seen: Any = None
    always: tuple[Said, ...] = ()
    own: tuple[str, ...] = ()

    @property
    def code(self) -> str:
        """First part of the codes of headlines and reasons."""
        return self.frame or self.words
