"""Replays: public records or a district's own ledger, day by day, on any engine, going on where one was stopped."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from hashlib import blake2b
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from sideoats import facts as fact_files
from sideoats.asking import table_of
from sideoats.call import Answered, Call
from sideoats.errors import InputError, SideoatsError
from sideoats.facts import Facts
from sideoats.outlook import DEFAULT_SEED, Outlook, make_outlook
from sideoats.question import Context, find
from sideoats.replay.hindsight import came, hindsight, known_then
from sideoats.replay.scenario import PRICES, Scenario, Stand, price_stand, weather_stand
from sideoats.replay.settle import Settled, settle, settled_from
from sideoats.schema import read_all
from sideoats.station import StationDays
from sideoats.threads import one_thread
from sideoats.version import VERSION
from sideoats.week.blocks import blocks, common_of, shaped_block
from sideoats.week.district import district_of
from sideoats.week.engines import Engine, Serial
from sideoats.week.run import evidence_needed, weekly_questions

if TYPE_CHECKING:
    from sideoats.ledger import Ledger

DRAWS = 200
LEAST_YEARS = 15  # of a record before the first day that is stood on


@dataclass(frozen=True)
class Public:
    """What every piece of a public replay shares: the scenario, and its one record or series."""

    scenario: Scenario
    facts: Facts
    record: StationDays | None = None
    series: tuple[np.ndarray, np.ndarray] | None = None
    draws: int = DRAWS
    seed: int = DEFAULT_SEED
    relative: float | None = None

    @property
    def source(self) -> str:
        """The record or series by name."""
        return self.record.station if self.record is not None else self.scenario.series


def stood(common: Public, on: date) -> Settled | None:
    """One day of a public replay; None where too little is on file before or after it."""
    with one_thread():
        s = common.scenario
        if s.data == PRICES:
            assert common.series is not None
            stand = price_stand(s, on, common.series)
            if stand is None:
                return None
            history = {s.given["crop"]: stand.quotes} if stand.quotes is not None else {}
            open_ = make_outlook(on, price_history=history, facts=common.facts, draws=common.draws, seed=common.seed)
            knew = hindsight(open_, {}, {s.given["crop"]: stand.came} if stand.came is not None else {})
        else:
            assert common.record is not None
            if came(common.record, on) is None:
                return None
            stand = weather_stand(s, on, common.record.station)
            known = known_then(common.record, on)
            held = {known.station: known}
            open_ = make_outlook(on, stations=held, facts=common.facts, draws=common.draws, seed=common.seed)
            if not open_.has_weather:
                return None
            knew = hindsight(open_, {known.station: common.record})
        usual = s.practice(on) if s.usual else None
        then, truth = _asked(s, stand, open_, common), _asked(s, stand, knew, common)
        done = settle(then, truth, 0, seed=common.seed, always=s.always, usual=usual, without=s.without)
        return replace(done, place=common.source)


def _asked(s: Scenario, stand: Stand, outlook: Outlook, common: Public) -> Answered:
    """The question as the week asks it: what a phone-in must say may be missing."""
    question = find(s.question)
    table = table_of(
        question, [read_all(question.inputs, stand.given, where=f"{s.question} ", on=stand.on)], keys=["replay"]
    )
    facts = common.facts.reader()
    return question.ask(table, Context(stand.on, facts, replace(outlook, facts=facts), common.relative))


@dataclass(frozen=True)
class Own:
    """What every piece of a district's replay shares."""

    ledger: str
    question: str
    last: date
    farm: str | None = None
    draws: int = DRAWS
    seed: int = DEFAULT_SEED
    relative: float | None = None


def stood_at_home(common: Own, on: date) -> list[Settled]:
    """One day of a district's own replay: every place asked as it was then, settled by what its stations saw since."""
    from sideoats.ledger import open_ledger

    with one_thread(), open_ledger(common.ledger, create=False) as ledger:
        return _of_district(ledger, common, on)


def _of_district(ledger: Ledger, common: Own, on: date) -> list[Settled]:
    chosen = weekly_questions([common.question])
    kinds = evidence_needed(chosen)
    district = district_of(ledger, on, kinds=kinds, draws=common.draws, seed=common.seed, pool=True)
    later = district_of(ledger, common.last, places=False, draws=20)
    knew = hindsight(district.outlook, later.snapshot.stations, prices_since(district.outlook, later.outlook))
    out: list[Settled] = []

    def answered(outlook: Outlook) -> dict[str, tuple[Call, Answered, int]]:
        asked = common_of(replace(district, outlook=outlook), [common.question], common.relative)
        places = [p for p in district.snapshot.places if common.farm in (None, p.farm)]
        kept: dict[str, tuple[Call, Answered, int]] = {}
        for block in blocks(district.snapshot.evidence, places):
            made = shaped_block(asked, block, lambda call, answers, row: (call, answers, row)).calls
            kept |= {call.place: (call, answers, row) for call, answers, row in made}
        return kept

    then, truth = answered(district.outlook), answered(knew)
    for place, (call, answers, row) in then.items():
        if call.station and call.station not in {s for w in knew.sets for s in w.stations}:
            continue  # what came there is not on file
        if place in truth and not call.done:
            seen = settle(answers, truth[place][1], row, there=truth[place][2], seed=common.seed)
            out.append(replace(seen, place=place))
    return out


def prices_since(then: Outlook, later: Outlook) -> dict[str, np.ndarray]:
    """Commodity -> (week,) price over that of the day, from quotes that came later."""
    out = {}
    for commodity, (days, prices) in {**then.price_history, **_quoted(then)}.items():
        known = {**later.price_history, **_quoted(later)}.get(commodity)
        if known is None or not len(prices):
            continue
        after = np.asarray(known[0]) > np.asarray(days)[-1]
        if after.any():
            at = np.asarray(known[0])[after].astype("datetime64[D]") - np.datetime64(then.on, "D")
            weeks = np.concatenate([[0.0], np.maximum(at.astype(float), 0.1) / 7.0])
            ratio = np.concatenate([[1.0], np.asarray(known[1])[after] / float(prices[-1])])
            out[commodity] = np.interp(np.arange(int(weeks[-1]) + 1), weeks, ratio)
    return out


def _quoted(outlook: Outlook) -> dict[str, Any]:
    return {c: h for market in outlook.markets.values() for c, h in market.items()}


def replay(
    common: Public | Own,
    days: Iterable[date],
    *,
    engine: Engine | None = None,
    store: str | os.PathLike[str] | None = None,
    progress: Callable[[int], None] | None = None,
) -> list[Settled]:
    """Stand on every day and settle it.

    Parameters
    ----------
    store : a file of settled days, one a line: a replay that was stopped goes on after the last of them; those of
        another question, record or program are left alone
    """
    wanted = list(days)
    key = _key(common)
    done = dict(_stored(store, key))
    rest = [on for on in wanted if on.isoformat() not in done]
    work = stood if isinstance(common, Public) else stood_at_home
    for number, result in (engine or Serial()).run(work, common, rest):
        if isinstance(result, SideoatsError):
            raise result
        rows = [] if result is None else result if isinstance(result, list) else [result]
        done[rest[number].isoformat()] = rows
        if store is not None:
            line = {"key": key, "on": rest[number].isoformat(), "settled": [r.full() for r in rows]}
            with Path(store).open("a", encoding="utf-8") as out:
                out.write(json.dumps(line, allow_nan=False) + "\n")
        if progress:
            progress(len(done))
    return [row for on in wanted for row in done[on.isoformat()]]


def _key(common: Public | Own) -> str:
    """What a stored day must share with the replay that reads it."""
    if isinstance(common, Public):
        s = common.scenario
        about: Sequence[Any] = (s.label, s.data, dict(s.given), s.always, dict(s.usual), common.source)
    else:
        about = (common.ledger, common.question, common.last.isoformat(), common.farm)
    text = json.dumps([VERSION, about, common.draws, common.seed, common.relative], sort_keys=True)
    return blake2b(text.encode(), digest_size=8).hexdigest()


def _stored(store: str | os.PathLike[str] | None, key: str) -> Iterator[tuple[str, list[Settled]]]:
    """Days settled before; a line cut short by a kill is left out."""
    if store is None or not Path(store).exists():
        return
    for line in Path(store).read_text("utf-8").splitlines():
        try:
            row = json.loads(line)
        except ValueError:
            continue
        if row.get("key") == key:
            yield row["on"], [settled_from(s) for s in row["settled"]]


def public(
    scenario: Scenario, *, record: StationDays | None = None, prices: Mapping[str, Any] | None = None, **options: Any
) -> Public:
    """A public replay's common part. Raises InputError where the scenario's record or series was not given."""
    if scenario.data == PRICES:
        if prices is None or scenario.series not in prices:
            raise InputError(
                f"{scenario.label} needs the series {scenario.series}", where="replay", expected="--prices FILE"
            )
        return Public(scenario, fact_files.load(), series=prices[scenario.series], **options)
    if record is None:
        raise InputError(f"{scenario.label} needs a daily record", where="replay", expected="--record FILE")
    return Public(scenario, fact_files.load(), record=record, **options)


def span_of(common: Public) -> tuple[date, date]:
    """The first and the last day that the record or series allows."""
    if common.record is not None:
        start = common.record.start
        return date(start.year + LEAST_YEARS, start.month, 1), common.record.end
    assert common.series is not None
    months = common.series[0]
    return months[0].astype(object), months[-1].astype(object)
