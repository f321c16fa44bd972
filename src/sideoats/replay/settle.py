"""One call settled: what each way of choosing was paid, and whether what was said came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import Answered
from sideoats.decide.laws import quantile
from sideoats.outlook.noise import generator
from sideoats.week.scoring import crps_ensemble

Floats = NDArray[np.float64]
TOOL, NEVER, ALWAYS, PUBLISHED, USUAL, PERFECT = "tool", "never", "always", "published", "usual", "perfect"
WAYS = (TOOL, NEVER, ALWAYS, PUBLISHED, USUAL, PERFECT)
_SURE = 1e-6


@dataclass(frozen=True)
class Settled:
    """One call with what came.

    Attributes
    ----------
    call : its id
    paid : way of choosing -> money over the baseline in the weather and at the prices that came [unit]
    took : way of choosing -> option
    range : (low, high, what came) of the act that is watched; () where nothing of its money was open
    chances : name -> (stated, what came)
    crps : of the act's draws against what came [unit]; NaN where nothing was open
    pit : share of the draws below what came, for its reliability
    horizon : days to the act or its end, 0 where it names none
    """

    question: str
    on: date
    place: str
    call: str
    verdict: str
    unit: str
    paid: Mapping[str, float]
    took: Mapping[str, str]
    range: tuple[float, ...] = ()
    chances: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    crps: float = np.nan
    pit: float = np.nan
    horizon: int = 0
    adviser: str = ""

    def full(self) -> dict[str, Any]:
        """JSON."""
        shape = asdict(self)
        shape["on"] = self.on.isoformat()
        for name in ("crps", "pit"):
            shape[name] = None if np.isnan(shape[name]) else shape[name]
        return shape


def settled_from(shape: Mapping[str, Any]) -> Settled:
    """The inverse of `Settled.full`."""
    given = dict(shape)
    given["on"] = date.fromisoformat(given["on"])
    given["range"] = tuple(given["range"])
    given["chances"] = {k: tuple(v) for k, v in given["chances"].items()}
    for name in ("crps", "pit"):
        given[name] = np.nan if given[name] is None else given[name]
    return Settled(**given)


def settle(
    then: Answered,
    truth: Answered,
    row: int,
    *,
    seed: int,
    always: str = "",
    usual: str | None = None,
    there: int | None = None,
    without: Sequence[str] = (),
) -> Settled:
    """Settle one row.

    Parameters
    ----------
    then : the answers as they were given
    truth : the same asked with the outlook that knew
    always : the act that "always" takes; the best act on average where ""
    usual : the option of usual practice, "" for the baseline; None where there is none to hold it against
    there : the row in `truth`; the same where None
    without : options that what came cannot settle: nobody takes them
    """
    found, at = then.ruled(row)
    known, where = truth.ruled(row if there is None else there)
    p, r, t = found.problem, found.ruling, known.problem
    keys = [o.key for o in p.options]
    base, call = keys.index(p.baseline), then.shaped(row)
    shut = p.barred[at] | np.isnan(p.gain[at]).any(axis=0) | np.isin(keys, list(without))
    gain = t.gain[where][:, [[o.key for o in t.options].index(k) for k in keys]]
    fixed = p.gain[at].std(axis=0) < _SURE  # a price locked is what it was, whatever came
    gain = np.where(fixed, p.gain[at], gain)
    mean = np.where(np.isnan(gain).any(axis=0), -np.inf, gain.mean(axis=0))
    acts = np.array([i != base for i in range(len(keys))])
    open_acts = np.where(acts & ~shut, p.gain[at].mean(axis=0), -np.inf)
    watched = keys.index(always) if always in keys and not shut[keys.index(always)] else int(np.argmax(open_acts))
    took = {TOOL: _lead(call.verdict, bool(call.missing), r, at, p, base, shut), NEVER: base}
    took[ALWAYS] = watched if np.isfinite(open_acts[watched]) else base
    if p.line is not None and p.line.known[at]:
        took[PUBLISHED] = watched if p.line.acts[at] and not shut[watched] else base
    if usual is not None:
        took[USUAL] = _practice(usual, keys, shut, base)
    took[PERFECT] = int(np.argmax(np.where(shut & acts, -np.inf, mean)))
    draw = int(generator(seed, "what came", call.place, call.on.isoformat()).integers(gain.shape[0]))
    spread, one = p.gain[at][:, watched], float(gain[draw, watched])
    open_ = bool(np.isfinite(spread).all() and spread.std() > 1e-9 and np.isfinite(one) and not shut[watched])
    low, high = quantile(spread, (0.1, 0.9), axis=0).tolist() if open_ else (np.nan, np.nan)
    day = p.options[watched].day
    return Settled(
        question=call.question,
        on=call.on,
        place=call.place,
        call=call.full()["id"],
        verdict=call.verdict,
        unit=p.unit,
        paid={way: float(mean[i]) if np.isfinite(mean[i]) else 0.0 for way, i in took.items()},
        took={way: keys[i] for way, i in took.items()},
        range=(low, high, one) if open_ else (),
        chances=chances_of(call.quantities, truth.shaped(where).quantities, found.question.settles),
        crps=float(crps_ensemble(spread, one, fair=True)) if open_ else np.nan,
        pit=float((spread < one).mean() + 0.5 * (spread == one).mean()) if open_ else np.nan,
        horizon=0 if day is None else int(day),
    )


def _practice(usual: str, keys: Sequence[str], shut: Any, base: int) -> int:
    """The option of usual practice; of ``KEY*DAYS`` the open one of that key whose day is nearest."""
    head, star, days = usual.partition("*")
    if not star:
        return keys.index(usual) if usual in keys and not shut[keys.index(usual)] else base
    own = [i for i, k in enumerate(keys) if k.startswith(head) and not shut[i]]
    return min(own, key=lambda i: abs(int(keys[i].removeprefix(head)) - int(days)), default=base)


def _lead(verdict: str, missing: bool, ruling: Any, at: int, problem: Any, base: int, shut: Any) -> int:
    """The option that whoever follows the call takes: what it leads with; nothing while it stops or lacks something.

    A look that only money asks for cannot be taken in the past: the best as things stood is taken in its place. Where
    the lead cannot be settled, so is the next by certainty equivalent.
    """
    looks = verdict == "look" and int(ruling.hazard[at]) < 0
    lead = int(ruling.best[at] if looks else ruling.leads[at])
    if verdict == "stop" or missing or lead < 0 or problem.barred[at][lead]:
        return base
    if shut[lead]:
        sure = np.where(shut, -np.inf, np.nan_to_num(ruling.certain[at], nan=-np.inf))
        lead = int(np.argmax(sure - ruling.least * (np.arange(len(sure)) != base)))
    return base if verdict == "look" and not looks and not problem.options[lead].passive else lead


def chances_of(
    said: Mapping[str, Any], true: Mapping[str, Any], only: Sequence[str] | None
) -> dict[str, tuple[float, float]]:
    """Stated chances that what came settles: those of which hindsight leaves nothing open."""
    out = {}
    for name, quantity in said.items():
        if not name.startswith("chance") or name not in true or (only is not None and name not in only):
            continue
        stated, came = float(quantity.value), float(true[name].value)
        if min(abs(came), abs(came - 1.0)) < _SURE and _SURE < stated < 1 - _SURE:
            out[name] = (stated, float(round(came)))
    return out
