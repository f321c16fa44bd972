"""A call: one question answered for one place on one day, as plain data that every surface renders."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import field
from datetime import date
from typing import Any, NamedTuple, Protocol

from sideoats.records import dataclass

VERDICTS = ("stop", "act", "look", "wait")
STOP, ACT, LOOK, WAIT = range(4)
SCHEMA_VERSION = 1  # of the JSON below; docs/call.schema.json


class OptionResult(NamedTuple):
    """One option of a call; money in `unit`; low and high are the 10th and 90th percentiles of the draws."""

    key: str
    label: str
    expected: float
    low: float
    high: float
    unit: str
    chance_best: float
    barred: str | None = None
    worst_tenth: float = math.nan
    certainty_equivalent: float = math.nan
    passive: bool = False  # nothing is done now; not part of the agreed JSON


class Quantity(NamedTuple):
    """A named number with its unit."""

    value: float | str
    unit: str


@dataclass(frozen=True)
class Call:
    """Verdict, dates, money, reasons, cautions and sources; `cost_of_waiting` is money for the whole place.

    `baseline` is the key of the option that money is counted from, "" where the question names none; `missing` names
    what the money needs and nobody has given; `station` is the one whose record
    stood behind the futures; `said` holds the sentences by code, for readers of other languages;
    `done` says what was done about it (what, on, by, entry), where that was recorded.
    """

    question: str
    on: date
    verdict: str
    act_by: date | None
    look_by: date | None
    headline: str
    options: tuple[OptionResult, ...] = ()
    quantities: dict[str, Quantity] = field(default_factory=dict)
    worth_of_a_look: Quantity = field(default_factory=lambda: Quantity(0.0, "USD"))
    because: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[dict[str, str], ...] = ()
    seed: int = 0
    version: str = ""
    place: str = ""
    place_name: str = ""
    farm: str = ""
    room: str = ""
    cost_of_waiting: float = 0.0
    evidence: tuple[str, ...] = ()
    baseline: str = ""
    missing: tuple[str, ...] = ()
    station: str = ""
    forecast: Mapping[str, Any] | None = None
    hazard: bool = False
    said: Mapping[str, Any] = field(default_factory=dict)
    done: Mapping[str, str] = field(default_factory=dict)

    def contract(self) -> dict[str, Any]:
        """The agreed JSON shape of `ask --json`, those keys and no others."""
        shape = self._unnamed()
        return {"id": _id(shape, ""), **shape}

    def _unnamed(self) -> dict[str, Any]:
        return {
            "question": self.question,
            "on": self.on.isoformat(),
            "verdict": self.verdict,
            "act_by": self.act_by.isoformat() if self.act_by else None,
            "look_by": self.look_by.isoformat() if self.look_by else None,
            "headline": self.headline,
            "options": [
                {
                    "key": o.key,
                    "label": o.label,
                    "expected": _plain(o.expected),
                    "low": _plain(o.low),
                    "high": _plain(o.high),
                    "unit": o.unit,
                    "chance_best": _plain(o.chance_best),
                    "barred": o.barred,
                }
                for o in self.options
            ],
            "quantities": {k: {"value": _plain(q.value), "unit": q.unit} for k, q in self.quantities.items()},
            "worth_of_a_look": {"value": _plain(self.worth_of_a_look.value), "unit": self.worth_of_a_look.unit},
            "because": list(self.because),
            "cautions": list(self.cautions),
            "sources": [dict(s) for s in self.sources],
            "seed": self.seed,
            "version": self.version,
            "schema_version": SCHEMA_VERSION,
            "baseline": self.baseline or None,
            "missing": list(self.missing),
            "station": {"id": self.station} if self.station else None,
            "forecast": dict(self.forecast) if self.forecast else None,
        }

    def full(self) -> dict[str, Any]:
        """The contract plus what the week knows: place, farm, room, cost of waiting, evidence ids, risk figures."""
        return {"id": _id(self._unnamed(), self.place), **self.kept()}

    def kept(self) -> dict[str, Any]:
        """As `full`, without the id, which follows from the rest."""
        shape = self._unnamed()
        for shown, o in zip(shape["options"], self.options, strict=True):
            shown["worst_tenth"] = _plain(o.worst_tenth)
            shown["certainty_equivalent"] = _plain(o.certainty_equivalent)
            shown["passive"] = o.passive
        shape.update(
            place=self.place,
            place_name=self.place_name,
            farm=self.farm,
            room=self.room,
            cost_of_waiting={"value": _plain(self.cost_of_waiting), "unit": "USD"},
            evidence=list(self.evidence),
            hazard=self.hazard,
            said=dict(self.said),
            done=dict(self.done),
        )
        return shape


class Answered(Protocol):
    """What a question gives back for a table: calls for the rows that are shown, and their pictures."""

    @property
    def quantities(self) -> Mapping[str, tuple[Any, Any]]:
        """Name -> (values (place,), unit)."""
        ...

    def call(self, row: int) -> Call:
        """One row as a call."""
        ...

    def shaped(self, row: int) -> Call:
        """One row as a call whose sentences have no text yet."""
        ...

    def calls(self) -> Iterator[Call]:
        """Every row as a call."""
        ...

    def drawn(self, row: int) -> tuple[Any, ...]:
        """Pictures of one row."""
        ...

    def ruled(self, row: int) -> tuple[Any, int]:
        """The replies that hold one row's problem and ruling, and the row there."""
        ...


def call_from(shape: dict[str, Any]) -> Call:
    """The inverse of `Call.full` (or of `contract`), for calls kept in the ledger."""
    return Call(
        question=shape["question"],
        on=date.fromisoformat(shape["on"]),
        verdict=shape["verdict"],
        act_by=_day(shape["act_by"]),
        look_by=_day(shape["look_by"]),
        headline=shape["headline"],
        options=tuple(
            OptionResult(
                o["key"],
                o["label"],
                _float(o["expected"]),
                _float(o["low"]),
                _float(o["high"]),
                o["unit"],
                _float(o["chance_best"]),
                o["barred"],
                _float(o.get("worst_tenth")),
                _float(o.get("certainty_equivalent")),
                bool(o.get("passive")),
            )
            for o in shape["options"]
        ),
        quantities={k: Quantity(q["value"], q["unit"]) for k, q in shape["quantities"].items()},
        worth_of_a_look=Quantity(**shape["worth_of_a_look"]),
        because=tuple(shape["because"]),
        cautions=tuple(shape["cautions"]),
        sources=tuple(shape["sources"]),
        seed=shape["seed"],
        version=shape["version"],
        place=shape.get("place", ""),
        place_name=shape.get("place_name", ""),
        farm=shape.get("farm", ""),
        room=shape.get("room", ""),
        cost_of_waiting=_float(shape.get("cost_of_waiting", {}).get("value", 0.0)),
        evidence=tuple(shape.get("evidence", ())),
        baseline=shape.get("baseline") or "",
        missing=tuple(shape.get("missing", ())),
        station=(shape.get("station") or {}).get("id", ""),
        forecast=shape.get("forecast"),
        hazard=bool(shape.get("hazard")),
        said=shape.get("said", {}),
        done=shape.get("done", {}),
    )


_LETTERS = str.maketrans("0123456789abcdef", "abcdefghijklmnop")


def _id(shape: dict[str, Any], place: str) -> str:
    """Sixteen letters that stand for this answer at this place: the same wherever and whenever it is worked out.

    Letters a to p stand for the hex digits, so that no part of an id reads as a figure of the answer.
    """
    text = json.dumps([place, shape], sort_keys=True, ensure_ascii=False)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest().translate(_LETTERS)


def _day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None


def _float(value: Any) -> float:
    return math.nan if value is None else float(value)


def _plain(value: Any) -> Any:
    """JSON has no NaN or infinity: they become null. Six significant digits are more than any input carries."""
    if isinstance(value, str) or value is None:
        return value
    number = float(value)
    return float(f"{number:.6g}") if math.isfinite(number) else None
