"""What several commands do alike: dates, name=value pairs, the ledger's place."""

from __future__ import annotations

import os
from collections.abc import Iterable
from datetime import date
from typing import Any

import click

from sideoats.errors import InputError
from sideoats.schema import read_date


class Day(click.ParamType[date]):
    """A calendar date YYYY-MM-DD."""

    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        if isinstance(value, date):
            return value
        try:
            return read_date(value)
        except InputError as error:
            raise InputError(error.what, where=f"--{param.name}" if param else "", expected=error.expected) from None


on_option = click.option("--on", type=Day(), default=None, help="The day asked about; today if left out.")


def today(on: date | None) -> date:
    """The day asked about. The command line is the only place where the clock is read."""
    return on or date.today()


def pairs(words: Iterable[str]) -> dict[str, str]:
    """``name=value`` words as a mapping. Raises InputError on a word without a name, or a name given twice."""
    out: dict[str, str] = {}
    for word in words:
        name, sign, value = word.partition("=")
        name = name.strip().replace("-", "_")
        if not sign or not name:
            raise InputError(f"{word[:80]!r} is not name=value", expected='name=value, such as price="4.50 USD/bu"')
        if name in out:
            raise InputError("is given twice", where=name, todo="give it once")
        out[name] = value
    return out


def ledger_location(ctx: click.Context) -> str | None:
    """--ledger, else SIDEOATS_LEDGER; None means the data folder."""
    named = (ctx.obj or {}).get("ledger") or os.environ.get("SIDEOATS_LEDGER")
    return str(named) if named else None
