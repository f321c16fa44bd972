"""A ruled problem as calls: the ruling's numbers and the question's sentences, for the rows that are shown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats.call import ACT, LOOK, STOP, VERDICTS, WAIT, Call, OptionResult, Quantity
from sideoats.outlook.climate import PAST_YEARS
from sideoats.outlook.stations import years_said
from sideoats.problem import Problem, RowSaid
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
    value,
)

if TYPE_CHECKING:
    from sideoats.pictures import Picture
    from sideoats.question import Context, Question, Table

READER = Reader()
_ENDS = (*VERDICTS, "need")
_TOLD = 0.01  # share of the largest sum of a table under which two of its options read alike


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

    def calls(self) -> Iterator[Call]:
        """Every row as a call."""
        return (self.call(row) for row in range(len(self.table)))

    def call(self, row: int) -> Call:
        """One row as a call, in English with US units; `sideoats.words` tells it again to another reader."""
        p, r, on = self.problem, self.ruling, self.context.on
        verdict = int(r.verdict[row])
        missing = self._missing(row)
        said: dict[str, Any] = {
            "headline": self._headline(row, verdict, missing),
            "because": self._known(
                [*self._asked_too(row, missing), *self._reasons(row, verdict), *self._weather(row)], row
            ),
            "cautions": self._known([*(() if verdict == WAIT else p.acting), *p.cautions], row),
        }
        doubtful = verdict == LOOK and int(r.hazard[row]) >= 0
        act, look = int(r.act_by[row]), int(r.look_by[row])
        table, sources = self.table, self._sources(said)
        said["loosened"] = self.context.facts.loosenings(source["id"] for source in sources)
        call = Call(
            question=self.question.name,
            on=on,
            verdict=VERDICTS[verdict],
            act_by=_later(on, act) if verdict in (ACT, STOP) else None,
            look_by=_later(on, look if look >= 0 or verdict != WAIT else table.stale_in(self.question.inputs, row)),
            headline="",
            options=() if missing and not self._barred[row].all() else self._options(row),
            quantities=self._quantities(row),
            worth_of_a_look=Quantity(float(r.worth_of_a_look[row]), p.unit),
            sources=tuple(sources),
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
            said=_plain(said, [o.label.at(row) for o in p.options], self._bars(row)),
        )
        return told(call, READER)

    def drawn(self, row: int) -> tuple[Picture, ...]:
        """Pictures of one row; none where something is missing or a hazard stops, so that no line of money tempts."""
        drawn = self.problem.drawn
        if drawn is None or self._missing(row) or self.ruling.verdict[row] == STOP:
            return ()
        return tuple(drawn(self.ruling, row))

    def _missing(self, row: int) -> tuple[str, ...]:
        return tuple(name for name, rows in self.problem.needs.items() if rows[row])

    def _headline(self, row: int, verdict: int, missing: tuple[str, ...]) -> Said:
        """A hazard's own headline first, then what is missing, then the question's for the verdict."""
        p, r = self.problem, self.ruling
        told = int(r.leads[row])
        of_label = p.options[told].label.at(row).values if told >= 0 else {}
        values = {**of_label, **_of_row(p.values, row), **self._ruled_values(row)}
        at = int(r.hazard[row])
        if at >= 0:
            hazard = p.hazards[at]
            then = say("ruling.then", best=values["best"]) if "best" in values and not missing else None
            doubted = Terms(self._doubted(row), of="observable")
            values |= {**_of_row(hazard.values, row), "unclear": doubted, "then": value(then)}
            return Said(f"{hazard.code}.stop" if verdict == STOP else hazard.unclear or f"{hazard.code}.look", values)
        what = {"what": Terms(missing, of="observable"), "n": Count(len(missing))} if missing else {}
        stands = "need" if missing else VERDICTS[verdict]
        for rows, code in p.heads:
            end = code.rpartition(".")[2]
            if rows[row] and (end == stands or not (missing or end in _ENDS)):
                return Said(code, what | values)
        return Said("need.headline", what) if missing else Said(self._usual(row, verdict), values)

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

    def _ruled_values(self, row: int) -> dict[str, Value]:
        """What every headline may use.

        best, chance : the option that is advised (for a wait the best passive one), how often it is best
        over, in_all, pays : what it gains over the baseline by the unit and in all (empty where the size is not
            known), how often it beats the baseline
        gain : of the best option over the best passive one, certainty equivalents
        act_by, look_by, more : dates, and how many more to look at
        The values of that option's own label can be used too.
        """
        p, r, on = self.problem, self.ruling, self.context.on
        best = int(r.leads[row])
        out: dict[str, Value] = {"gain": Money(float(r.gain[row]), unit=p.unit)}
        if best >= 0:
            label = p.options[best].label.at(row)
            over = float(r.figures.expected[row, best])
            out |= {
                "best": Phrase(label),
                "chance": Share(float(r.figures.chance_best[row, best])),
                "over": Money(over, unit=p.unit),
                "in_all": self._in_all(row, over),
                "pays": Share(float((p.gain[row, :, best] > 0).mean())),
            }
        for name, days in (("act_by", int(r.act_by[row])), ("look_by", int(r.look_by[row]))):
            if days >= 0:
                out[name] = Day(on + timedelta(days=days))
        look = int(r.look[row])
        units = None if look < 0 else p.looks[look].units
        if units is not None and math.isfinite(units[row]):
            out["more"] = Count(round(float(units[row])))
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
        return [*p.reasons, *extra]

    def _weather(self, row: int) -> list[Said]:
        """Which station stands for the row and, where its past years were drawn, which they are."""
        context, table = self.context, self.table
        said = list(table.stand(row))
        if "station" in table.columns and PAST_YEARS in context.facts.read:
            years = years_said(context.outlook, str(table.text("station")[row]))
            said += [] if years is None else [years]
        return said

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

    def _known(self, sentences: Sequence[RowSaid], row: int) -> list[Said]:
        at_row = (_said_of_row(s, row) for s in sentences)
        return [s for s in at_row if s is not None and s.known]

    @cached_property
    def _barred(self) -> Any:
        return self.problem.barred

    def _bars(self, row: int) -> list[list[Said]]:
        """For each option the reasons that bar it."""
        shape = self._barred.shape
        return [
            [
                why
                for bar in self.problem.bars
                if np.broadcast_to(bar.mask, shape)[row, i] and (why := _said_of_row(bar.why, row)) is not None
            ]
            for i in range(shape[1])
        ]

    def _options(self, row: int) -> tuple[OptionResult, ...]:
        p, f, certain = self.problem, self.ruling.figures, self.ruling.certain
        if len(p.options) == 1:  # a sheet to be read: nothing is decided
            return ()
        # how often one is best cannot be told where the aim decides because another's money is not known
        by_aim = p.aims is not None and bool(np.isnan(f.expected[row])[~self._barred[row]].any())
        chance = np.full(len(p.options), np.nan) if by_aim else f.chance_best[row]
        return tuple(
            OptionResult(
                o.key,
                "",
                float(f.expected[row, i]),
                float(f.low[row, i]),
                float(f.high[row, i]),
                p.unit,
                float(chance[i]),
                "" if self._barred[row, i] else None,
                float(f.worst_tenth[row, i]),
                float(certain[row, i]),
                o.passive,
            )
            for i, o in enumerate(p.options)
        )

    def _quantities(self, row: int) -> dict[str, Quantity]:
        out = {}
        for name, (values, units) in self._figures.items():
            found = np.broadcast_to(np.asarray(values), (len(self.table),))[row]
            unit = units if isinstance(units, str) else units[row]
            if isinstance(found, str):
                if found:
                    out[name] = Quantity(str(found), unit)
            elif math.isfinite(found):
                out[name] = Quantity(float(found), unit)
        return out

    def _lost(self, row: int) -> float:
        """Money for the whole place that waiting until next week would lose; for a look, its worth."""
        r = self.ruling
        own = self.problem.size
        size = float(own[row]) if own is not None else float(self.table.size[row]) if self.table.size.size else 1.0
        worth = float(r.worth_of_a_look[row]) if r.verdict[row] == LOOK else 0.0
        return max(float(r.cost_of_waiting[row]), worth) * (size if math.isfinite(size) else 1.0)

    def _sources(self, said: Mapping[str, Any]) -> list[dict[str, str]]:
        """Facts that the shown sentences name first, then those that the sums read."""
        facts = self.context.facts
        named = [fact for s in (said["headline"], *said["because"], *said["cautions"]) for fact in s.facts]
        return [facts.by_id[i].source() for i in dict.fromkeys([*named, *facts.read])]


def told(call: Call, reader: Reader) -> Call:
    """The call with every sentence rendered for `reader`; a call of a question without codes stays as it is."""
    if not call.said:
        return call

    def text(shape: list[Any]) -> str:
        return sentence(said_from(shape), reader)

    said = call.said
    options = tuple(
        replace(o, label=text(label), barred=None if o.barred is None else "; ".join(map(text, bars)))
        for o, label, bars in zip(call.options, said["labels"], said["bars"], strict=False)
    )
    return replace(
        call,
        headline=" ".join(map(text, [said["headline"], *said.get("loosened", [])])),
        because=(*map(text, said["because"]), *call.because[len(said["because"]) :]),  # what has no code stays
        cautions=tuple(map(text, said["cautions"])),
        options=options,
    )


def _said_of_row(said: RowSaid, row: int) -> Said | None:
    return said(row) if callable(said) else said.at(row)


def _of_row(given: Mapping[str, Any], row: int) -> dict[str, Value]:
    return {name: value(v(row)) if callable(v) else value(v).at(row) for name, v in given.items()}


def _values(given: Mapping[str, Any]) -> dict[str, Value]:
    return {name: value(v) for name, v in given.items()}


def _plain(said: Mapping[str, Any], labels: list[Said], bars: list[list[Said]]) -> dict[str, Any]:
    return {
        "headline": said["headline"].plain(),
        "because": [s.plain() for s in said["because"]],
        "cautions": [s.plain() for s in said["cautions"]],
        "loosened": [s.plain() for s in said["loosened"]],
        "labels": [s.plain() for s in labels],
        "bars": [[s.plain() for s in each] for each in bars],
    }


def _later(on: date, days: int) -> date | None:
    return on + timedelta(days=days) if days >= 0 else None
