"""What several commands do alike: dates, name=value pairs, the ledger's place."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from sideoats.words import Reader

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


def not_ahead(moment: datetime | None) -> datetime | None:
    """`moment` unless it is yet to come. Raises InputError; a day ahead is another zone."""
    if moment is not None and moment.date() > date.today() + timedelta(days=1):
        raise InputError(f"{moment.date()} has not come yet", where="seen", expected="the day on which it was seen")
    return moment


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


def reader_of(ctx: click.Context | None = None) -> Reader:
    """Who reads: `--language` and `--units`, else those of the district's file, else English and US units.

    Raises InputError for a language without words or units that are not known.
    """
    from sideoats.ledger.address import address_of, district_file
    from sideoats.words import chosen_reader, home_reader

    root = (ctx or click.get_current_context()).find_root()
    given = root.ensure_object(dict)
    if "reader" not in given:
        home = home_reader(district_file(address_of(given.get("ledger"))))
        given["reader"] = chosen_reader(given.get("language") or home.language, given.get("units") or home.measures)
    reader: Reader = given["reader"]
    return reader


def reader_asked(words: Sequence[str]) -> Reader:
    """Who reads, from the words of a command that may not have been understood. Raises InputError as `reader_of`."""
    from sideoats.ledger.address import address_of, district_file
    from sideoats.words import chosen_reader, home_reader

    given: dict[str, str] = {}
    for at, word in enumerate(words):
        name, sign, value = word.partition("=")
        if name in ("--language", "--units", "--ledger"):
            given[name] = value if sign else words[at + 1] if at + 1 < len(words) else ""
    home = home_reader(district_file(address_of(given.get("--ledger"))))
    return chosen_reader(given.get("--language") or home.language, given.get("--units") or home.measures)


def told(code: str, **values: Any) -> str:
    """A sentence of the command line (``cli.<code>``) for whoever reads it."""
    from sideoats.words import say, sentence

    return sentence(say(f"cli.{code}", **values), reader_of())


def echo(code: str, *, err: bool = False, **values: Any) -> None:
    """Print `told`."""
    click.echo(told(code, **values), err=err)


def verdict_word(verdict: str) -> str:
    """A verdict in the reader's language, in small letters."""
    from sideoats.words import say, sentence

    return sentence(say(f"verdict.{verdict}"), reader_of())


def _noted(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
    if value:
        ctx.find_root().ensure_object(dict)[str(param.name).removeprefix("reader_")] = value


def reader_options() -> list[click.Option]:
    """`--language` and `--units`, the same before and after a command's name."""
    return [
        click.Option(
            ["--language", "reader_language"],
            metavar="CODE",
            expose_value=False,
            callback=_noted,
            help="Language of what is printed, such as es; the district's if left out.",
        ),
        click.Option(
            ["--units", "reader_units"],
            metavar="us|metric",
            expose_value=False,
            callback=_noted,
            help="Units of what is printed; the district's if left out.",
        ),
    ]
