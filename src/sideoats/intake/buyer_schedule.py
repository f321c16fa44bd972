"""A grain buyer's discount schedule as dated data: a TOML file in, one checked record out.

A file holds what one buyer printed for one commodity from one day on. Money and measures carry their units::

    buyer = "Ridge Siding elevator"
    commodity = "wheat"
    effective = 2026-06-15
    bid = "5.60 USD/bu"                     # optional: price at the base of every factor
    assessment = "0.02 USD/bu"              # optional: check-off and the like

    [protein]
    base = "12 %"
    premium = "0.10 USD/bu"                 # for each step above the base
    discount = "0.12 USD/bu"                # for each step below it
    step = "0.2 %"
    begun_step_counts = false               # is a begun step paid (or charged)?

    [test_weight]
    base = "58 lb/bu"
    begun_step_counts = true
    bands = [ { until = "56 lb/bu", step = "0.5 lb/bu", charge = "0.02 USD/bu" },
              { until = "53 lb/bu", step = "0.5 lb/bu", charge = "0.04 USD/bu" } ]

    [moisture]
    base = "13.5 %"
    bands = [ { until = "16 %", step = "0.5 %", charge = "0.05 USD/bu" } ]
    shrink = "water"                        # none, water or pencil
    handling = "0.5 %"                      # added to water shrink
    # factor = 1.4                          # percent a point, for pencil shrink

Beyond the last band the schedule prints nothing, and no price is made up for it. Other factors with ``base`` and
``bands``: foreign_material, damage, heat_damage, shrunken_broken.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time
from itertools import pairwise
from pathlib import Path
from typing import Any

from sideoats.document import Document, open_document
from sideoats.errors import InputError
from sideoats.intake.rows import toml_table
from sideoats.intake.taken import Draft, Format, Taken
from sideoats.schema import Field, read_all

MOST_BYTES = 1_000_000
COMMODITIES = ("wheat", "grain sorghum", "corn", "soybean")
FACTOR_UNITS = {
    "test_weight": "lb/bu", "moisture": "percent", "foreign_material": "percent", "damage": "percent",
    "heat_damage": "percent", "shrunken_broken": "percent",
}  # fmt: skip
SHRINKS = ("none", "water", "pencil")

_HEAD = (
    Field("buyer", "text", "who printed the schedule", required=True),
    Field("commodity", "choice", "what it prices", choices=COMMODITIES, required=True),
    Field("effective", "date", "first day on which it holds", required=True),
    Field("until", "date", "last day on which it holds"),
    Field("bid", "number", "price at the base of every factor", unit="USD/bu", low=0.1, high=100),
    Field("assessment", "number", "check-off and the like", unit="USD/bu", low=0, high=1, default=0.0),
    Field("pounds_per_bushel", "number", "weight of a bushel", unit="lb/bu", low=20, high=80),
    Field("source", "text", "where the schedule was seen"),
)
_PROTEIN = (
    Field("base", "number", "protein that is neither paid nor charged", unit="percent", low=5, high=20, required=True),
    Field("premium", "number", "for each step above", unit="USD/bu", low=0, high=2, default=0.0),
    Field("discount", "number", "for each step below", unit="USD/bu", low=0, high=2, default=0.0),
    Field("step", "number", "size of a step", unit="percent", low=0.05, high=2, required=True),
    Field("cap", "number", "protein above which no more is paid", unit="percent", low=5, high=25),
    Field("begun_step_counts", "flag", "whether a begun step counts", default=False),
)


def _factor_fields(name: str) -> tuple[Field, ...]:
    unit = FACTOR_UNITS[name]
    band = (
        Field("until", "number", "where the band ends", unit=unit, low=0, high=100, required=True),
        Field("step", "number", "size of a step", unit=unit, low=0.01, high=20, required=True),
        Field("charge", "number", "for each step", unit="USD/bu", low=0, high=5, required=True),
    )
    fields: tuple[Field, ...] = (
        Field("base", "number", "no discount at it or on its good side", unit=unit, low=0, high=100, required=True),
        Field("bands", "records", "steps away from the base, in order", fields=band),
        Field("begun_step_counts", "flag", "whether a begun step is charged", default=True),
    )
    if name == "moisture":
        fields += (
            Field("shrink", "choice", "weight taken off for water", choices=SHRINKS, default="none"),
            Field("factor", "number", "pencil shrink, percent a point", unit="1", low=1, high=3),
            Field("handling", "number", "added to water shrink", unit="percent", low=0, high=3, default=0.0),
        )
    return fields


def read_buyer_schedule(source: str | Path | Document) -> dict[str, Any]:
    """One schedule file as a record of plain values in canonical units, ready for the ledger and for `load-price`.

    Raises InputError with one line that names the file, the section and the field.
    """
    document = source if isinstance(source, Document) else open_document(source, MOST_BYTES)
    try:
        text = document.text()
        table = toml_table(text)
    except (ValueError, RecursionError) as error:  # bad TOML, a name that none can have, arrays without end
        raise InputError(
            f"is not TOML ({error})", where=document.name, todo="see docs/grain.md for the format"
        ) from None
    return schedule_record(table, document.name)


def schedule_record(table: Mapping[str, Any], where: str = "schedule") -> dict[str, Any]:
    """The checked record of a schedule given as a mapping; as `read_buyer_schedule`."""
    sections = {key: value for key, value in table.items() if isinstance(value, Mapping)}
    head = {key: value for key, value in table.items() if not isinstance(value, Mapping)}
    record = read_all(_HEAD, head, f"{where}: ")
    if record["until"] and record["until"] < record["effective"]:
        raise InputError(f"{record['until']} is before {record['effective']}", where=f"{where}: until")
    known = ("protein", *FACTOR_UNITS)
    for name, section in sections.items():
        if name not in known:
            here = f"{where}: [{name[:60]}]"
            raise InputError("is not a factor of a schedule", where=here, expected=", ".join(known))
        here = f"{where}: [{name}] "
        record[name] = read_all(_PROTEIN if name == "protein" else _factor_fields(name), section, here)
        if name != "protein":
            _check_factor(record[name], name, here)
    return record


def _check_factor(factor: dict[str, Any], name: str, where: str) -> None:
    factor["bands"] = tuple(factor["bands"] or ())
    if name == "moisture" and factor["shrink"] == "pencil" and factor["factor"] is None:
        raise InputError("pencil shrink has no factor", where=where.strip(), expected="factor = 1.4, percent a point")
    if not factor["bands"]:
        if name == "moisture" and factor["shrink"] != "none":
            return
        raise InputError("has no bands", where=where.strip(), expected="bands = [ { until, step, charge } ]")
    sign = -1.0 if name == "test_weight" else 1.0
    edges = [factor["base"], *(band["until"] for band in factor["bands"])]
    if any(sign * (b - a) <= 0 for a, b in pairwise(edges)):
        way = "falling" if sign < 0 else "rising"
        raise InputError(f"bands end at {edges[1:]}", where=where.strip(), expected=f"{way} from the base {edges[0]:g}")


def _plain(value: Any) -> Any:
    """JSON has neither dates nor tuples."""
    if isinstance(value, Mapping):
        return {key: _plain(held) for key, held in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(held) for held in value]
    return value.isoformat() if isinstance(value, date) else value


def _taken(path: Path, options: dict[str, Any]) -> Taken:
    record = read_buyer_schedule(path)
    body = {"buyer": record["buyer"], "commodity": record["commodity"], "effective": record["effective"].isoformat()}
    seen = datetime.combine(record["effective"], time(0, 0), tzinfo=UTC)
    return Taken((Draft("buyer_schedule", {**body, "schedule": _plain(record)}, seen, place=options["place"]),))


FORMATS = (
    Format(
        "buyer-schedule",
        "a grain buyer's dated discount schedule (TOML)",
        _taken,
        (Field("place", "text", "id of the market it belongs to", required=True),),
    ),
)
