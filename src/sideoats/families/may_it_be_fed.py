"""May it be fed or grazed: a feed or a pasture can hurt; to which animals, in which way, and what would clear it?

A question brings its `Case`: the ways of using the feed with their money, the dangers that close some of these ways,
and what is not known. The rest is the same for every poison. Money is counted over keeping animals off it and buying
what takes its place, whose gain is 0 in every draw, and no money opens a way that a danger closes. A danger is over its
line (stop), or it is not cleared, because an observable that would clear it is missing, stale, implausible or
contradicted (look); silence clears nothing. What is to be done instead is done before the first animal eats of it, and
so is the test that would clear it: today, where nobody says when that is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.problem import Barred, Choice, Hazard, Problem, RowSaid, labelled
from sideoats.records import dataclass
from sideoats.words import Said, Terms, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Days = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Way:
    """One way of using it, or of keeping animals off it.

    Attributes
    ----------
    key : as in the answer's JSON; its label is the sentence ``option.<key>``
    gain : (place, draw) money by the unit over keeping animals off it and buying what takes its place
    passive : needs nothing done now
    closed : rows that bar it for another reason than a danger, and why
    """

    key: str
    gain: Floats
    passive: bool = False
    closed: tuple[tuple[Bools, RowSaid], ...] = ()

    @property
    def choice(self) -> Choice:
        """As the ruling has it; a headline can differ by what is best."""
        return Choice(self.key, labelled(self.key), passive=self.passive, kind=self.key)


@dataclass(frozen=True, eq=False)
class Danger:
    """One thing that can hurt the animals, or keeps them from being cleared.

    Attributes
    ----------
    name : the sentences ``<question>.<name>.stop`` and ``.look`` make the headline
    over : (place,) True where it is over its line
    closes : the ways that it closes there, and why
    doubts : observable that clears it -> (place,) True where that is missing, stale, implausible or contradicted
    holds : the ways that it closes until it is cleared, and why
    values : for the headline; one may be a function of the place
    again : (place,) days until one looks or tests where it is over its line; -1, or None, where nothing would change it
    """

    name: str
    over: Bools
    closes: tuple[str, ...] = ()
    why: RowSaid | None = None
    doubts: Mapping[str, Bools] = field(default_factory=dict)
    holds: tuple[str, ...] = ()
    until: RowSaid | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    again: Days | None = None


def doubted(name: str, observable: str, rows: Bools, *holds: str, until: RowSaid | None = None) -> Danger:
    """A danger that is over no line, and is not cleared for want of one observable."""
    return Danger(name, np.zeros(len(rows), bool), doubts={observable: rows}, holds=holds, until=until)


def in_doubt(dangers: Sequence[Danger], i: int) -> tuple[str, ...]:
    """Observables that keep a row from being cleared, the first to be looked at first."""
    return tuple(dict.fromkeys(n for d in dangers if not d.over[i] for n, rows in d.doubts.items() if rows[i]))


def _said_at_once(asked: tuple[str, ...]) -> tuple[str, ...]:
    return asked if len(asked) <= 2 else asked[:1]


def first_of(dangers: Callable[[], Sequence[Danger]]) -> dict[str, Callable[[int], Any]]:
    """For a headline that is read out on the telephone: the first thing to find out, and how many more there are; two
    are both said."""

    def first(i: int) -> Terms:
        return Terms(_said_at_once(in_doubt(dangers(), i)), of="observable")

    def more(i: int) -> Said | None:
        asked = in_doubt(dangers(), i)
        rest = len(asked) - len(_said_at_once(asked))
        return say("ask.more", n=rest) if rest > 0 else None

    return {"first": first, "more": more}


def rest_of(dangers: Callable[[], Sequence[Danger]]) -> Callable[[int], Said | None]:
    """The reason that names what else is needed."""

    def rest(i: int) -> Said | None:
        asked = in_doubt(dangers(), i)
        asked = asked[len(_said_at_once(asked)) :]
        return say("ask.else", what=Terms(asked, of="observable")) if asked else None

    return rest


@dataclass(frozen=True, eq=False)
class Case:
    """What a question knows of every place; arrays (place,) unless said.

    Attributes
    ----------
    words : the question's name, first part of its sentences' codes
    unit : money unit of the gains
    ways : in the order of the answer's options
    kept_off : key of the way that keeps animals off it
    dangers : in the order in which they make the headline
    begins : days until the first animal eats of it; NaN where nobody says
    look_within : days within which somebody looks or samples
    clears : chance that the look clears it, for what that look is worth; None where nobody can say
    recheck : days until one looks again although nothing stands against it; None where nothing would change it
    delay : (place, way) what doing it a week later costs; None where that costs nothing that is known
    needs, heads, values, reasons, cautions, quantities : as in `Problem`
    """

    words: str
    unit: str
    ways: tuple[Way, ...]
    kept_off: str
    dangers: tuple[Danger, ...]
    begins: Floats
    look_within: Days
    clears: Floats | None = None
    recheck: Days | None = None
    delay: Floats | None = None
    needs: Mapping[str, Bools] = field(default_factory=dict)
    heads: tuple[tuple[Bools, str], ...] = ()
    values: Mapping[str, Any] = field(default_factory=dict)
    reasons: tuple[RowSaid, ...] = ()
    cautions: tuple[RowSaid, ...] = ()
    quantities: Mapping[str, tuple[Any, Any]] = field(default_factory=dict)


def problem_of(case: Case) -> Problem:
    """The case as the ruling takes it."""
    first = np.maximum(np.nan_to_num(case.begins), 0.0).astype(np.int64)
    # a look that comes after the first mouthful clears nothing
    look = np.where(np.isnan(case.begins), case.look_within, np.minimum(case.look_within, first))
    missing = _any(list(case.needs.values()), len(first))
    worth = _worth_of_clearing(case)
    return Problem(
        case.words,
        tuple(way.choice for way in case.ways),
        case.kept_off,
        case.unit,
        np.stack([way.gain for way in case.ways], axis=2),
        bars=_bars(case),
        hazards=tuple(_hazard(case, danger, first, look, worth) for danger in case.dangers),
        needs=case.needs,
        recheck=np.where(missing, look, -1 if case.recheck is None else case.recheck),
        due=first,
        delay=case.delay,
        heads=case.heads,
        values=case.values,
        reasons=case.reasons,
        cautions=case.cautions,
        quantities=case.quantities,
    )


def _any(masks: list[Bools], n: int) -> Bools:
    return np.logical_or.reduce(masks) if masks else np.zeros(n, bool)


def _worth_of_clearing(case: Case) -> Floats | None:
    """(place,) what clearing every doubt would bring, expected: the best way open then over the best one open now."""
    if case.clears is None:
        return None
    mean = np.stack([way.gain.mean(axis=1) for way in case.ways], axis=1)
    mean = np.where(np.isnan(mean), -np.inf, mean)
    closed = _mask_of(case, held=False)
    then = np.where(closed, -np.inf, mean).max(axis=1)
    now = np.where(closed | _mask_of(case, held=True), -np.inf, mean).max(axis=1)
    return np.asarray(case.clears * np.maximum(then - now, 0.0))


def _mask_of(case: Case, *, held: bool) -> Bools:
    """(place, way) closed by a danger over its line or for another reason, or held by what is not cleared."""
    keys = [way.key for way in case.ways]
    out = np.zeros((len(case.begins), len(keys)), bool)
    for danger in case.dangers:
        rows = _doubt(danger) if held else danger.over
        out |= rows[:, None] & np.isin(keys, danger.holds if held else danger.closes)
    for at, way in enumerate(case.ways):
        out[:, at] |= False if held else _any([rows for rows, _ in way.closed], len(out))
    return out


def _doubt(danger: Danger) -> Bools:
    return _any(list(danger.doubts.values()), len(danger.over)) & ~danger.over


def _hazard(case: Case, danger: Danger, first: Days, look: Days, worth: Floats | None) -> Hazard:
    return Hazard(
        f"{case.words}.{danger.name}",
        danger.over,
        doubts=danger.doubts,
        values=danger.values,
        act_within=first,
        look_within=look,
        worth=worth,
        again=-1 if danger.again is None else danger.again,
    )


def _bars(case: Case) -> tuple[Barred, ...]:
    """What each danger closes, then what closes a way for another reason."""
    keys = [way.key for way in case.ways]

    def mask(closed: tuple[str, ...], rows: Bools) -> Bools:
        unknown = set(closed) - set(keys)
        if unknown or case.kept_off in closed:
            raise ValueError(f"a danger closes {closed}; it can close {', '.join(keys)}, and never {case.kept_off}")
        return np.asarray(rows[:, None] & np.isin(keys, closed))

    out = []
    for danger in case.dangers:
        if danger.why is not None:
            out.append(Barred(mask(danger.closes, danger.over), danger.why))
        if danger.until is not None:
            out.append(Barred(mask(danger.holds, _doubt(danger)), danger.until))
    out += [Barred(mask((way.key,), rows), why) for way in case.ways for rows, why in way.closed]
    return tuple(out)
