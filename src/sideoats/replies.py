"""A ruled problem as calls: the ruling's numbers and the question's sentences, for the rows that are shown."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import ACT, LOOK, STOP, VERDICTS, WAIT, Call, OptionResult, Quantity
from sideoats.decide.calibration import Widened, widening
from sideoats.outlook.climate import PAST_YEARS
from sideoats.outlook.stations import years_said
from sideoats.problem import Problem, RowSaid
from sideoats.records import dataclass
from sideoats.ruling import Ruling
from sideoats.version import VERSION
from sideoats.words import (
    Count,
    Day,
    Money,
    Phrase,
    Reader,
    Said,
    Share,
    Terms,
    Value,
    said_from,
    say,
    sentence,
    slots,
    value,
)

if TYPE_CHECKING:
    from sideoats.pictures import Picture
    from sideoats.question import Context, Question, Table

READER = Reader()
HELD = "learned.ranges."  # setting: how a question's stated ranges held what came
FEW = 30  # outcomes under which nothing is said of them (common practice, no source)
_ENDS = (*VERDICTS, "need")
_TOLD = 0.01  # share of the largest sum of a table under which two of its options read alike


@dataclass(frozen=True, slots=True)
class _Column:
    """A sentence for all rows of a table: the facts that it rests on and the plain shape of every row, None for a
    gap."""

    said: Said
    facts: tuple[str, ...]
    shapes: list[list[Any] | None]


@dataclass
class Replies:
    """Answers for every row of a table; text is made only for rows that are shown.

    Parameters
    ----------
    table, context, question : as asked
    problem, ruling : what the question posed and what was ruled
    """

    table: Table
    context: Context
    question: Question
    problem: Problem
    ruling: Ruling

    @property
    def verdict(self) -> Any:
        """(place,) codes of `sideoats.call`."""
        return self.ruling.verdict

    @property
    def quantities(self) -> Mapping[str, tuple[Any, Any]]:
        """Name -> (values (place,), unit)."""
        return self._figures

    @cached_property
    def _figures(self) -> Mapping[str, tuple[Any, Any]]:
        """The problem's quantities and those that rest on the ruling."""
        p = self.problem
        return p.quantities if p.ruled is None else {**p.quantities, **p.ruled(self.ruling)}

    def __post_init__(self) -> None:
        self._summed = dict(self.context.facts.read)

    def calls(self) -> Iterator[Call]:
        """Every row as a call."""
        return (self.call(row) for row in range(len(self.table)))

    def call(self, row: int) -> Call:
        """One row as a call, in English with US units; `told` tells it again to another reader."""
        return told(self.shaped(row), READER, self._texts)

    def shaped(self, row: int) -> Call:
        """One row as a call whose sentences stand by their codes, without any text yet."""
        p, r, on = self.problem, self.ruling, self.context.on
        verdict = int(r.verdict[row])
        missing = self._missing(row)
        reasons = [*self._asked_too(row, missing), *self._reasons(row, verdict), *self._weather(row)]
        headline = self._headline(row, verdict, missing)
        because = self._known(reasons, row)
        cautions = self._known([*(() if verdict == WAIT else p.acting), *p.cautions], row)
        doubtful = verdict == LOOK and int(r.hazard[row]) >= 0
        act, look = int(r.act_by[row]), int(r.look_by[row])
        facts = (headline.facts, *(facts for facts, _ in (*because, *cautions)))
        table, (sources, loosened) = self.table, self._cited(facts)
        return Call(
            question=self.question.name,
            on=on,
            verdict=VERDICTS[verdict],
            act_by=_later(on, act) if verdict in (ACT, STOP) else None,
            look_by=_later(on, look if look >= 0 or verdict != WAIT else table.stale_in(self.question.inputs, row)),
            headline="",
            options=() if missing and not self._barred[row].all() else self._options(row),
            quantities=self._quantities(row),
            worth_of_a_look=Quantity(float(r.worth_of_a_look[row]), p.unit),
            sources=sources,
            seed=self.context.outlook.seed,
            version=VERSION,
            place=table.keys[row],
            place_name=table.names[row] if table.names else "",
            farm=table.farms[row] if table.farms else "",
            room=self.question.room,
            cost_of_waiting=self._lost(row),
            evidence=table.evidence[row] if table.evidence else (),
            baseline=p.baseline,
            missing=tuple(dict.fromkeys((*missing, *(self._doubted(row) if doubtful else ())))),
            hazard=int(r.hazard[row]) >= 0,
            station=self.context.outlook.station,
            forecast=self._forecast(row),
            said={
                "headline": headline.plain(),
                "because": [shape for _, shape in because],
                "cautions": [shape for _, shape in cautions],
                "loosened": loosened,
                "labels": [self._of_row(o.label, row) for o in p.options],
                "bars": self._bars(row),
            },
        )

    def drawn(self, row: int) -> tuple[Picture, ...]:
        """Pictures of one row; none where something is missing or a hazard stops, so that no line of money tempts."""
        drawn = self.problem.drawn
        if drawn is None or self._missing(row) or self.ruling.verdict[row] == STOP:
            return ()
        return tuple(drawn(self.ruling, row))

    def ruled(self, row: int) -> tuple[Replies, int]:
        """These, and the row: what holds its problem and its ruling."""
        return self, row

    def _missing(self, row: int) -> tuple[str, ...]:
        return tuple(name for name, rows in self.problem.needs.items() if rows[row])

    def _headline(self, row: int, verdict: int, missing: tuple[str, ...]) -> Said:
        """A hazard's own headline first, then what is missing, then the question's for the verdict."""
        p, r = self.problem, self.ruling
        told = int(r.leads[row])
        given = {**(p.options[told].label.values if told >= 0 else {}), **p.values, **self._ruled_values(row)}
        at = int(r.hazard[row])
        if at >= 0:
            hazard = p.hazards[at]
            code = f"{hazard.code}.stop" if verdict == STOP else hazard.unclear or f"{hazard.code}.look"
            best = given.get("best") if not missing else None
            own = {
                "unclear": lambda i: Terms(self._doubted(i), of="observable"),
                "then": lambda i: None if best is None else say("ruling.then", best=best(i)),
            }
            return _filled(code, row, {**given, **hazard.values, **own})
        what = {"what": Terms(missing, of="observable"), "n": Count(len(missing))} if missing else {}
        stands = "need" if missing else VERDICTS[verdict]
        for rows, code in p.heads:
            end = code.rpartition(".")[2]
            if rows[row] and (end == stands or not (missing or end in _ENDS)):
                return _filled(code, row, {**what, **given})
        return Said("need.headline", what) if missing else _filled(self._usual(row, verdict), row, given)

    def _asked_too(self, row: int, missing: tuple[str, ...]) -> list[Said]:
        """What the money needs, where a hazard has the headline."""
        if not missing or self.ruling.hazard[row] < 0:
            return []
        return [Said("need.headline", {"what": Terms(missing, of="observable"), "n": Count(len(missing))})]

    def _usual(self, row: int, verdict: int) -> str:
        """The question's own headline for the verdict, and for the kind of what is best where its choices have kinds.

        Where neither an act nor waiting gains what the trouble is worth, it is a toss-up.
        """
        p, at = self.problem, int(self.ruling.leads[row])
        kind = p.options[at].kind if at >= 0 else ""
        if not kind:
            return f"{p.words}.{VERDICTS[verdict]}"
        toss = verdict == WAIT and self.ruling.toss[row]
        return f"{p.words}.{'toss' if toss else VERDICTS[verdict]}.{kind}"

    def _doubted(self, row: int) -> tuple[str, ...]:
        """Observables that are missing, stale or contradicted, of all hazards of the row."""
        found = (name for h in self.problem.hazards for name, rows in h.doubts.items() if rows[row])
        return tuple(dict.fromkeys(found))

    def _ruled_values(self, row: int) -> dict[str, Callable[[int], Value]]:
        """What every headline may use, worked out where it does.

        best, chance : the option that is advised (for a wait the best passive one), how often it is best
        over, in_all, pays : what it gains over the baseline by the unit and in all (empty where the size is not
            known), how often it beats the baseline
        gain : of the best option over the best passive one, certainty equivalents
        act_by, look_by, more : dates, and how many more to look at
        The values of that option's own label can be used too.
        """
        p, r, f, on = self.problem, self.ruling, self.ruling.figures, self.context.on
        out: dict[str, Callable[[int], Value]] = {"gain": lambda i: Money(float(r.gain[i]), unit=p.unit)}
        best = int(r.leads[row])
        if best >= 0:
            out |= {
                "best": lambda i: Phrase(p.options[best].label.at(i)),
                "chance": lambda i: Share(float(f.chance_best[i, best])),
                "over": lambda i: Money(float(f.expected[i, best]), unit=p.unit),
                "in_all": lambda i: self._in_all(i, float(f.expected[i, best])),
                "pays": lambda i: Share(float((p.gain[i, :, best] > 0).mean())),
            }
        if r.act_by[row] >= 0:
            out["act_by"] = lambda i: Day(on + timedelta(days=int(r.act_by[i])))
        if r.look_by[row] >= 0:
            out["look_by"] = lambda i: Day(on + timedelta(days=int(r.look_by[i])))
        look = int(r.look[row])
        units = None if look < 0 else p.looks[look].units
        if units is not None and math.isfinite(units[row]):
            out["more"] = lambda i: Count(round(float(units[i])))
        return out

    def _in_all(self, row: int, over: float) -> Phrase:
        own = self.problem.size
        size = float(own[row]) if own is not None else float(self.table.size[row]) if self.table.size.size else math.nan
        return Phrase(say("ruling.in_all", money=Money(over * size)) if math.isfinite(over * size) else None)

    def _reasons(self, row: int, verdict: int) -> list[RowSaid]:
        """The question's reasons, then what the ruling adds: the publisher's line where money differs, and risk."""
        p, r = self.problem, self.ruling
        extra: list[RowSaid] = []
        if p.line is not None and p.line.known[row] and verdict in (ACT, WAIT):
            acts = bool(p.line.acts[row])
            if acts != (verdict == ACT):
                extra.append(Said(f"line.{'acts' if acts else 'waits'}", _values(p.line.said)))
        risk, gain = float(r.risk_cost[row]), float(r.gain[row])
        if verdict == ACT and risk > 0.1 * abs(gain) and risk >= 0.5:
            extra.append(say("ruling.risk", cost=Money(risk, unit=p.unit)))
        extra.extend(self._dearer_by_risk(row))
        extra.extend(self._held_so_far(row))
        return [*p.reasons, *extra]

    def _held_so_far(self, row: int) -> list[RowSaid]:
        """How this question's ranges held so far here, and what that makes of this one: beside the raw one."""
        record, at = self._record, int(self.ruling.leads[row])
        if record is None or record.count < FEW or at < 0 or self._missing(row) or self.ruling.hazard[row] >= 0:
            return []
        f, p = self.ruling.figures, self.problem
        low, high = record.apply(f.low[row, at], f.high[row, at])
        if not high - low > 0:
            return []
        return [
            say(
                "ruling.held",
                k=Count(record.held),
                n=Count(record.count),
                low=Money(float(low), unit=p.unit),
                high=Money(float(high), unit=p.unit),
            )
        ]

    @cached_property
    def _record(self) -> Widened | None:
        return widening(str(self.context.facts.settings.get(f"{HELD}{self.question.name}", "")))

    def _weather(self, row: int) -> list[Said]:
        """Which station stands for the row and, where its past years were drawn, which they are."""
        context, table = self.context, self.table
        said = list(table.stand(row))
        if "station" not in table.columns:
            return said
        station = str(table.text("station")[row])
        drawn, held = PAST_YEARS in self._summed, context.outlook.forecasts.get(station)
        years = years_said(context.outlook, station) if drawn else None
        told = [] if years is None else [years]
        if held is None:
            return [*said, *told]
        from sideoats.outlook.standing import alerts_said, forecast_said, hours_said  # seldom: a phone-in has none

        given = table.expected.get(row, ())
        days = forecast_said(held) if drawn or "days" in given else []
        hours = hours_said(held) if "hours" in given else []
        return [*said, *days, *hours, *told, *alerts_said(held, self.question.name, context.facts)]

    def _forecast(self, row: int) -> dict[str, Any] | None:
        """The forecast that the row rests on, with its age and its error; None where it rests on none."""
        table = self.table
        if "station" not in table.columns or not (PAST_YEARS in self._summed or row in table.expected):
            return None
        held = self.context.outlook.forecasts.get(str(table.text("station")[row]))
        return None if held is None else held.told()

    def _dearer_by_risk(self, row: int) -> list[RowSaid]:
        """What would bring more on average than the option advised, and is passed over for its risk."""
        p, f, at = self.problem, self.ruling.figures, int(self.ruling.leads[row])
        if at < 0 or self._missing(row) or self.ruling.hazard[row] >= 0:
            return []
        open_ = np.where(self._barred[row] | np.isnan(f.expected[row]), -np.inf, f.expected[row])
        top = int(np.argmax(open_))
        more = float(open_[top] - f.expected[row, at])
        largest = float(np.abs(open_[np.isfinite(open_)]).max(initial=0.0))
        least = max(float(self.ruling.least[top]), _TOLD * largest)
        if self.ruling.certain[row, top] - self.ruling.certain[row, at] >= 0 or not more > least:
            return []
        return [say("ruling.calmer", other=p.options[top].label.at(row), more=Money(more, unit=p.unit))]

    def _known(self, sentences: Sequence[RowSaid], row: int) -> list[tuple[tuple[str, ...], list[Any]]]:
        """Those that the row has and that have no gap: the facts that each rests on, and its plain shape."""
        out = []
        for given in sentences:
            if (column := self._columns_said.get(id(given))) is not None:
                if (shape := column.shapes[row]) is not None:
                    out.append((column.facts, shape))
            elif (said := given(row) if callable(given) else given.at(row)) is not None and said.known:
                out.append((said.facts, said.plain()))
        return out

    def _of_row(self, given: RowSaid, row: int) -> list[Any]:
        """The plain shape of one row's sentence, also of one with a gap; empty where the row has none."""
        column = self._columns_said.get(id(given))
        if column is not None and (shape := column.shapes[row]) is not None:
            return shape
        said = given(row) if callable(given) else given.at(row)
        return [] if said is None else said.plain()

    @cached_property
    def _columns_said(self) -> dict[int, _Column]:
        """The sentences that the problem holds for all rows, by their identity, with the plain shape of every row: what
        is the same for all rows is shaped once."""
        p, rows = self.problem, len(self.table)
        held = (*p.reasons, *p.acting, *p.cautions, *(o.label for o in p.options), *(bar.why for bar in p.bars))
        return {id(s): _Column(s, s.facts, s.shapes(rows)) for s in held if isinstance(s, Said) and not s.varied}

    @cached_property
    def _texts(self) -> dict[int, str]:
        """Text by the identity of a shape that `_fixed` keeps."""
        fixed = (column.shapes[0] for column in self._columns_said.values() if column.said.fixed)
        return {id(shape): sentence(said_from(shape), READER) for shape in fixed if shape is not None}

    @cached_property
    def _barred(self) -> Any:
        return self.problem.barred

    @cached_property
    def _masks(self) -> list[tuple[Any, RowSaid]]:
        return [(np.broadcast_to(bar.mask, self._barred.shape), bar.why) for bar in self.problem.bars]

    def _bars(self, row: int) -> list[list[list[Any]]]:
        """For each option the plain shapes of the reasons that bar it."""
        held = [(mask[row], self._of_row(why, row)) for mask, why in self._masks if mask[row].any()]
        return [[shape for mask, shape in held if mask[i] and shape] for i in range(len(self.problem.options))]

    def _options(self, row: int) -> tuple[OptionResult, ...]:
        p, barred = self.problem, self._barred[row].tolist()
        if len(p.options) == 1:  # a sheet to be read: nothing is decided
            return ()
        return tuple(
            OptionResult(o.key, "", mean, low, high, p.unit, chance, "" if bar else None, worst, certain, o.passive)
            for o, bar, (mean, low, high, chance, worst, certain) in zip(
                p.options, barred, self._money[row], strict=True
            )
        )

    @cached_property
    def _money(self) -> list[list[list[float]]]:
        """Of every row and option: expected, low, high, how often it is best, worst tenth, certainty equivalent."""
        p, f = self.problem, self.ruling.figures
        chance = f.chance_best
        if p.aims is not None:  # cannot be told where the aim decides because another's money is not known
            by_aim = (np.isnan(f.expected) & ~self._barred).any(axis=1)
            chance = np.where(by_aim[:, None], np.nan, chance)
        held = (f.expected, f.low, f.high, chance, f.worst_tenth, self.ruling.certain)
        found: list[list[list[float]]] = np.stack(held, axis=2).tolist()
        return found

    @cached_property
    def _columns(self) -> list[tuple[str, list[Any], Any]]:
        n = len(self.table)
        return [
            (name, np.broadcast_to(np.asarray(v), (n,)).tolist(), units) for name, (v, units) in self._figures.items()
        ]

    def _quantities(self, row: int) -> dict[str, Quantity]:
        out = {}
        for name, values, units in self._columns:
            found = values[row]
            if (found != "") if isinstance(found, str) else math.isfinite(found):
                unit = units if isinstance(units, str) else units[row]
                out[name] = Quantity(found if isinstance(found, str) else float(found), unit)
        return out

    def _lost(self, row: int) -> float:
        """Money for the whole place that waiting until next week would lose; for a look, its worth."""
        r, size = self.ruling, self.size(row)
        worth = float(r.worth_of_a_look[row]) if r.verdict[row] == LOOK else 0.0
        return max(float(r.cost_of_waiting[row]), worth) * (size if math.isfinite(size) else 1.0)

    def size(self, row: int) -> float:
        """How many units of its money one row has; NaN where that is not known."""
        own = self.problem.size
        return float(own[row]) if own is not None else float(self.table.size[row]) if self.table.size.size else 1.0

    def _cited(self, told: Sequence[tuple[str, ...]]) -> tuple[tuple[dict[str, str], ...], list[list[Any]]]:
        """Facts that the shown sentences name first, then those that the sums read; and those the district loosened."""
        facts = self.context.facts
        late = sorted(facts.read.keys() - self._summed.keys())  # read for words: in whatever order rows are told
        ids = tuple(dict.fromkeys([*chain.from_iterable(told), *self._summed, *late]))
        if (found := self._by_ids.get(ids)) is None:
            loosened = [s.plain() for s in facts.loosenings(ids)]
            found = self._by_ids[ids] = tuple(facts.by_id[i].source() for i in ids), loosened
        return found

    @cached_property
    def _by_ids(self) -> dict[tuple[str, ...], tuple[tuple[dict[str, str], ...], list[list[Any]]]]:
        return {}


def told(call: Call, reader: Reader, kept: Mapping[int, str] | None = None) -> Call:
    """The call with every sentence rendered for `reader`; a call of a question without codes stays as it is.

    `kept` holds the texts of sentences that were told before, by the identity of their shape.
    """
    if not call.said:
        return call

    def text(shape: list[Any]) -> str:
        found = kept.get(id(shape)) if kept else None
        return sentence(said_from(shape), reader) if found is None else found

    said = call.said
    options = tuple(
        o._replace(label=text(label), barred=None if o.barred is None else "; ".join(map(text, bars)))
        for o, label, bars in zip(call.options, said["labels"], said["bars"], strict=False)
    )
    return replace(
        call,
        headline=" ".join(map(text, [said["headline"], *said.get("loosened", [])])),
        because=(*map(text, said["because"]), *call.because[len(said["because"]) :]),  # what has no code stays
        cautions=tuple(map(text, said["cautions"])),
        options=options,
    )


def _filled(code: str, row: int, given: Mapping[str, Any]) -> Said:
    """The sentence with those of the given values that it shows: the others, some of them dear, are not worked out."""
    wanted = slots(code) | {"n"}
    held = ((name, given[name]) for name in given if name in wanted)
    return Said(code, {name: value(v(row)) if callable(v) else value(v).at(row) for name, v in held})


def _values(given: Mapping[str, Any]) -> dict[str, Value]:
    return {name: value(v) for name, v in given.items()}


def _later(on: date, days: int) -> date | None:
    return on + timedelta(days=days) if days >= 0 else None
