"""Observables as fields: what a question asks for, taken from the one vocabulary."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

from sideoats.crops import synonyms
from sideoats.errors import VocabularyError
from sideoats.schema import KINDS, Field
from sideoats.vocabulary.tables import everything

_LISTED = ("choices", "found_in", "needs", "units", "within")
_NO_MAKERS: Mapping[str, type[Field]] = {}
_KEPT: Any = object()


def field_of(
    name: str, attributes: Mapping[str, Any], where: str, makers: Mapping[str, type[Field]] = _NO_MAKERS
) -> Field:
    """A field from its attributes; `makers` gives the classes of kinds that `sideoats.schema` does not have.

    Raises VocabularyError naming `where` and the field.
    """
    if not isinstance(attributes, dict) or "kind" not in attributes:
        raise VocabularyError(f"{where}: field {name} has no kind")
    values = dict(attributes)
    maker = makers.get(values["kind"], Field)
    wrong = sorted(set(values) - {f.name for f in fields(maker)})
    if wrong or (maker is Field and values["kind"] not in KINDS):
        found = wrong[0] if wrong else f"kind {values['kind']!r}"
        raise VocabularyError(f"{where}: field {name} has {found}, unknown")
    values |= {key: tuple(values[key]) for key in _LISTED if key in values}
    if "fields" in values:
        values["fields"] = tuple(field_of(k, v, where, makers) for k, v in values["fields"].items())
    try:
        return maker(name=name, **{"help": "", **values})
    except (TypeError, ValueError) as error:
        raise VocabularyError(f"{where}: field {name}: {error}") from None


def observables() -> tuple[str, ...]:
    """The id of every observable, such as ``leaf_counts.stage``."""
    return tuple(f"{kind.name}.{name}" for kind in everything().values() for name in kind.fields)


def entry(what: str) -> Mapping[str, Any]:
    """The attributes of an observable. Raises VocabularyError with the nearest ids where there is none."""
    kind, _, name = what.partition(".")
    known = everything()
    if kind not in known or name not in known[kind].fields:
        import difflib

        near = difflib.get_close_matches(what, observables(), 3)
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        raise VocabularyError(f"the vocabulary has no {what!r}{hint}")
    return known[kind].fields[name]


def has_entry(what: str) -> bool:
    """Whether the vocabulary knows an observable."""
    kind, _, name = what.partition(".")
    known = everything()
    return kind in known and name in known[kind].fields


def see(
    what: str,
    *,
    needed: bool = False,
    also: Sequence[str] = (),
    name: str | None = None,
    default: Any = _KEPT,
    example: str | None = None,
    absent: str = "",
    unit: str = "",
    choices: Sequence[str] = (),
) -> Field:
    """An observable as the input of a question.

    Parameters
    ----------
    what : its id, ``KIND.FIELD``; ``place.X`` is an attribute of a place, ``asked.X`` is no evidence
    needed : whether the question cannot be asked without it
    also : where else the week finds it, after the evidence itself: ids, or sources such as ``setting:cost.hay``
    name : as typed, where it is not the field's own name
    default, example : as in `sideoats.schema.Field`
    absent : what this question takes where it is not given, told behind the help: ``absent="today"``
    unit : for a quantity that may be written in several units, the one that this question reckons in
    choices : for a crop, the crops that this question knows

    Raises VocabularyError where the vocabulary has no such observable, or it is nothing that can be typed.
    """
    kind, _, key = what.partition(".")
    attributes = _asked(what, dict(entry(what)), unit, tuple(choices))
    own = attributes.pop("found_in", ())
    if everything()[kind].title:  # what an entry has to hold, a phone-in need not
        own = (f"place:{key}" if kind == "place" else f"evidence:{what}", *own)
        attributes = {k: v for k, v in attributes.items() if k not in ("required", "default")}
    field = field_of(name or key, attributes, everything()[kind].where(key))
    told = f"{field.help}; {absent} if absent" if absent else field.help
    return replace(
        field,
        help=told,
        required=needed,
        found_in=(*own, *(_source(other) for other in also)),
        default=field.default if default is _KEPT else default,
        example=field.example if example is None else example,
    )


def _source(other: str) -> str:
    """A source as `Field.found_in` has it; an id is looked up, so that no source can be misspelt."""
    if ":" in other:
        return other
    entry(other)
    kind, _, name = other.partition(".")
    return f"place:{name}" if kind == "place" else f"evidence:{other}"


def _asked(what: str, attributes: dict[str, Any], unit: str, choices: tuple[str, ...]) -> dict[str, Any]:
    """`attributes` of a kind that is kept in another way than it is typed, as they are typed."""
    kind, units = attributes["kind"], attributes.pop("units", ())
    attributes.pop("needs", None)
    if kind == "quantity":
        if unit not in units:
            raise VocabularyError(f"{what} is written in {', '.join(units)}, not in {unit!r}")
        return {**attributes, "kind": "number", "unit": unit}
    if unit:
        raise VocabularyError(f"{what} has one unit; {unit!r} cannot be asked for")
    if choices:
        if kind != "crop":
            raise VocabularyError(f"{what} has its own choices; only a crop can be one of a few")
        return {**attributes, "kind": "choice", "choices": choices, "aliases": synonyms(choices)}
    if kind == "name":
        return {**attributes, "kind": "text"}
    if kind not in KINDS:
        raise VocabularyError(f"{what} is kept as {kind}, which nobody types")
    return attributes
