"""One district on one day: facts as the district chose them, and the outlook from its own stations and quotes."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sideoats.facts import Facts
from sideoats.facts import load as load_facts
from sideoats.insects.strips import Refit
from sideoats.ledger.address import district_file
from sideoats.outlook import DEFAULT_DRAWS, DEFAULT_SEED, Outlook, make_outlook
from sideoats.outlook.stations import sites_of
from sideoats.week.expected import expected_of
from sideoats.week.own_dates import with_own_dates
from sideoats.week.pooled import Learned, learned_of, nearby
from sideoats.week.snapshot import Snapshot, price_history, take_snapshot
from sideoats.week.strips import strips_of

if TYPE_CHECKING:
    from sideoats.ledger import Ledger


@dataclass(frozen=True)
class District:
    """What every question is asked with on one day."""

    on: date
    snapshot: Snapshot
    facts: Facts
    outlook: Outlook
    learned: tuple[Learned, ...] = ()
    fits: Mapping[str, Refit] = field(default_factory=dict)


def district_of(
    ledger: Ledger | str | os.PathLike[str],
    on: date,
    *,
    kinds: Iterable[str] = (),
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
    file: Path | None = None,
    places: bool = True,
    pool: bool = False,
) -> District:
    """Read a ledger (open, or by its location) for one day.

    Parameters
    ----------
    kinds : evidence kinds that will be asked for
    file : district file; the usual place where None
    places : False reads only what all places share
    pool : learn from the counts of the last weeks what they say together (`sideoats.week.pooled`)
    """
    from sideoats.ledger import Ledger as LedgerClass
    from sideoats.ledger import open_ledger

    if not isinstance(ledger, LedgerClass):
        with open_ledger(ledger, create=False) as opened:
            return district_of(opened, on, kinds=kinds, draws=draws, seed=seed, file=file, places=places, pool=pool)
    facts = load_facts(file or district_file(ledger.address))
    snapshot = take_snapshot(ledger, on, kinds, places=places)
    settings = {**facts.settings, **snapshot.settings}
    learned = learned_of(ledger, on, facts.reader()) if pool else ()
    fits = strips_of(ledger, on, facts.reader()) if pool else {}
    strips = {name: (fit.factor, fit.low, fit.high, fit.strips) for name, fit in fits.items()}
    facts = replace(facts, settings=settings, nearby=nearby(learned), strips=strips)
    history, markets = price_history(snapshot)
    outlook = make_outlook(
        on,
        stations=snapshot.stations,
        price_history=history,
        markets=markets,
        facts=facts,
        draws=draws,
        seed=seed,
        forecasts=expected_of(ledger, on, facts.reader()).standings(snapshot.stations, on, facts.reader()),
    )
    snapshot = replace(snapshot, settings=settings, sites=sites_of(outlook, facts.reader()))
    facts = with_own_dates(facts, ledger, snapshot)
    return District(on, snapshot, facts, replace(outlook, facts=facts), learned, fits)
