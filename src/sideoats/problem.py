"""What a question hands to the ruling: options, what each gains over a named baseline, what bars and what endangers.

A question makes no verdict. It says what can be done, what each choice would gain in each possible future over leaving
things alone (or, for what can be sold, over selling today), which choices law or sense rule out, which hazards stand or
are not cleared, what more could be looked at, and what is not known. `sideoats.ruling` does the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.records import dataclass
from sideoats.words.said import Said, say

if TYPE_CHECKING:
    from sideoats.pictures import Picture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RowSaid = Said | Callable[[int], Said | None]  # one for all places, or a function of the place; None is not said


@dataclass(frozen=True)
class Choice:
    """Something the grower can do.

    Attributes
    ----------
    key : short name, stable, as in the answer's JSON
    label : what a person reads
    passive : needs nothing done now (leave it, hold it, keep grazing)
    day : days from today on which it is done; None for what stays open while one waits
    trouble : kind of act, by which the least gain worth the trouble is looked up ("pass", "sale", "feeding" ...)
    kind : the headlines ``<words>.<verdict>.<kind>`` where sentences differ by what is best; "" where they do not
    """

    key: str
    label: Said
    passive: bool = False
    day: int | None = None
    trouble: str = ""
    kind: str = ""


@dataclass(frozen=True, eq=False)
class Barred:
    """Choices ruled out whatever they pay (a label's interval, a law): `mask` broadcasts to (place, option)."""

    mask: Bools
    why: RowSaid


@dataclass(frozen=True, eq=False)
class Hazard:
    """Something that can hurt people or animals. Silence never clears it.

    Attributes
    ----------
    code : short name; the sentences ``<code>.stop`` and ``<code>.look`` make the headline
    unclear : code of the headline where it is not cleared, in place of ``<code>.look``
    over : (place,) True where it is over its line
    doubts : observable that clears it -> (place,) True where that is missing, stale, implausible or contradicted
    values : for the sentences; one may be a function of the place
    act_within : (place,) or a number: days until what must be done instead is done
    look_within : (place,) or a number: days until the test or measurement that would clear it
    again : (place,) or a number: days until it is looked at or tested where it stands; -1 for not
    worth : (place,) money per unit that clearing it would bring, times the chance that it does; None where not known
    applies : (place,) False where the hazard has no business with the row (nothing is fed, nothing is grazed)
    """

    code: str
    over: Bools
    doubts: Mapping[str, Bools] = field(default_factory=dict)
    values: Mapping[str, Any] = field(default_factory=dict)
    act_within: Any = 0
    look_within: Any = 0
    applies: Bools | None = None
    unclear: str = ""
    worth: Floats | None = None
    again: Any = -1

    def stands(self) -> Bools:
        """(place,) over its line."""
        return self.over if self.applies is None else self.over & self.applies

    def uncleared(self) -> Bools:
        """(place,) not over the line as far as is known, but something that would clear it is in doubt."""
        doubt = np.zeros(len(self.over), bool)
        for rows in self.doubts.values():
            doubt |= rows
        doubt &= ~self.over
        return doubt if self.applies is None else doubt & self.applies


@dataclass(frozen=True, eq=False)
class Look:
    """Another look that could be taken before choosing.

    Attributes
    ----------
    signal : (place, draw) what the look would show in each future; (place, 1) of anything where `worth` is known
    cost : (place,) money per unit of the place: minutes, road, fee
    delay : days before one could act on it
    within : (place,) days until which it should be taken
    units : (place,) how many more (leaves, sweeps, cores); NaN where that is no number
    worth : (place,) what it is worth before its cost [money per unit], the delay counted, where the question knows it
        (the choices are days of one act and the look tells the day; a posterior in closed form); else the ruling
        works it out. NaN: not known in money, and worth taking where nothing has to be done meanwhile
    settles : the observable that the look supplies: where it is missing, `worth` is what supplying it is worth; "" for
        none
    """

    signal: Floats
    cost: Floats
    within: NDArray[np.int64]
    delay: int = 0
    units: Floats | None = None
    worth: Floats | None = None
    settles: str = ""


@dataclass(frozen=True, eq=False)
class Line:
    """A published threshold, kept beside the money as a reason: (place,) True where the publisher says act."""

    acts: Bools
    known: Bools
    said: Mapping[str, Any]


@dataclass(frozen=True, eq=False)
class Flow:
    """Money that an option moves on one day, the baseline too: (place, option) days from today, NaN for a day that is
    not known, and expected money per unit of the place, negative for what is paid.
    """

    days: Floats
    money: Floats


@dataclass(frozen=True, eq=False)
class Problem:
    """One question for many places.

    Attributes
    ----------
    words : first part of the question's codes: ``<words>.act``, ``.look``, ``.wait``, ``.stop`` are its headlines
    options : in the order of the last axis of `gain`
    baseline : key of the option that money is counted from; its gain is 0
    unit : money unit of the gains (USD/ac, USD/head, USD/bu ...)
    gain : (place, draw, option) money per unit of the place over the baseline
    exposure : (place, draw) what the baseline itself wins or loses against today
    bars, hazards, looks : see there
    needs : observable -> (place,) True where it is missing and the money cannot be worked out without it
    recheck : (place,) days until one looks again although nothing needs doing; -1 for never
    tolerance : money per unit given up for a later date when the last day is named
    line : the published threshold beside the money
    size : (place,) how much is at stake where the question asks for it (bushels on hand); NaN or None: the place's size
    aversion, net_worth : (place,) the grower's own attitude to risk where he states it, NaN for the district's
    a_day : (place,) what putting the best act off costs a day [money per unit], where it stays open while one waits;
        NaN or None where the options' own days tell
    due : (place,) days until whatever is chosen is done (harvest, the sale), where that is one day for all choices;
        -1 where it is not
    delay : (place, option) what doing it a week later costs [money per unit]: an act whose delay costs nothing is still
        open next week, and waits; NaN for one that presses at no cost that is known; None where the options' own days
        tell
    aims : (place, option) how often a choice meets what the grower set himself to meet (a class, a program), 0 to 1:
        it decides in rows where the money of an open choice is not known; None where money alone decides
    values : for headlines and reasons, by name; one may be a function of the place
    heads : (rows, code) of headlines that take the place of the verdict's own; the first that fits. A code that ends in
        a verdict fits only there, one that ends in ``need`` only where something is missing, and no other fits there
    even : (place,) True where the best act brings little on average and fails about as often as it pays: a coin toss,
        and not done; None for nowhere
    reasons, cautions : sentences; one with an unknown value is left out for that row, and one may be a function of it
    acting : cautions of the act itself, left out where the advice is to leave it
    quantities : name -> (place,) values with unit
    ruled : the quantities that rest on the ruling, from it
    drawn : the pictures of one row, from the ruling; made only where they are shown
    stops : the totals at which counting may stop, from units and k of the counts, each (place, case); for a phone
        without a signal
    uses : what an option takes of what the whole farm shares ("hay" [ton], "storage" [bu], "pasture" [head day]) ->
        (place, option) for the whole place; NaN for not known
    flows : when the money of an option moves, where that is known; calls about the same money do not repeat it
    departs : how the verdict departs from the one rule, "" where it does not; listed by a test
    """

    words: str
    options: tuple[Choice, ...]
    baseline: str
    unit: str
    gain: Floats
    exposure: Floats | None = None
    bars: tuple[Barred, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    looks: tuple[Look, ...] = ()
    needs: Mapping[str, Bools] = field(default_factory=dict)
    recheck: NDArray[np.int64] | None = None
    tolerance: float = 0.0
    line: Line | None = None
    size: Floats | None = None
    aversion: Floats | None = None
    net_worth: Floats | None = None
    a_day: Floats | None = None
    due: NDArray[np.int64] | None = None
    delay: Floats | None = None
    aims: Floats | None = None
    even: Bools | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    heads: tuple[tuple[Bools, str], ...] = ()
    reasons: tuple[RowSaid, ...] = ()
    cautions: tuple[RowSaid, ...] = ()
    acting: tuple[RowSaid, ...] = ()
    quantities: Mapping[str, tuple[Any, Any]] = field(default_factory=dict)
    ruled: Callable[[Any], Mapping[str, tuple[Any, Any]]] | None = None
    drawn: Callable[[Any, int], Sequence[Picture]] | None = None
    stops: Callable[[Floats, Floats], tuple[Floats, Floats]] | None = None
    uses: Mapping[str, Floats] = field(default_factory=dict)
    flows: tuple[Flow, ...] = ()
    departs: str = ""

    def __post_init__(self) -> None:
        if self.gain.ndim != 3 or self.gain.shape[2] != len(self.options):
            raise ValueError(f"gain has shape {self.gain.shape}; expected (place, draw, {len(self.options)} options)")
        keys = [o.key for o in self.options]
        if self.baseline not in keys or len(set(keys)) != len(keys):
            raise ValueError(f"baseline {self.baseline!r} must be one of the options, each named once: {keys}")
        if np.nanmax(np.abs(self.gain[:, :, keys.index(self.baseline)]), initial=0.0) > 1e-9:
            raise ValueError(f"the baseline {self.baseline!r} gains something over itself: count gains from it")

    @property
    def barred(self) -> Bools:
        """(place, option) True where any bar stands."""
        shape = (self.gain.shape[0], self.gain.shape[2])
        out = np.zeros(shape, bool)
        for bar in self.bars:
            out |= np.broadcast_to(bar.mask, shape)
        return out

    def missing(self) -> Bools:
        """(place,) True where something that the money needs is not known."""
        out = np.zeros(self.gain.shape[0], bool)
        for rows in self.needs.values():
            out |= rows
        return out


def labelled(key: str, **values: Any) -> Said:
    """The label of an option: the sentence ``option.<key>``."""
    return say(f"option.{key}", **values)
