"""One error tree. Every message is one line: what, where, what was expected, what to do.

SideoatsError
├── InputError        a value given by a person or a file cannot be used
│   └── UnitError     the value has no unit, or a unit of the wrong kind
├── VocabularyError   a vocabulary file is malformed, or an observable is missing
├── FactError         a fact file is malformed, or a fact is missing
├── QuestionError     no such question, or it cannot be asked this way
└── LedgerError       the ledger refused, is locked, or is damaged
    └── LedgerDamaged the hash chain or the database itself does not hold
"""

from __future__ import annotations


def one_line(text: str) -> str:
    """`text` with control characters and line breaks folded to single blanks, at most 600 characters."""
    folded = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return folded if len(folded) <= 600 else folded[:597] + "..."


class SideoatsError(Exception):
    """Root of everything Sideoats raises on purpose."""

    def __init__(self, message: str) -> None:
        super().__init__(one_line(message))


class InputError(SideoatsError):
    """A value cannot be used.

    Parameters
    ----------
    what : what is wrong, with the value as given
    where : the field, file and line it stands in
    expected : what would have been right
    todo : what the person should do next
    """

    def __init__(self, what: str, *, where: str = "", expected: str = "", todo: str = "") -> None:
        self.what, self.where, self.expected, self.todo = what, where, expected, todo
        parts = [f"{where}: {what}" if where else what]
        if expected:
            parts.append(f"expected {expected}")
        if todo:
            parts.append(todo)
        super().__init__("; ".join(parts))


class UnitError(InputError):
    """A quantity without its unit, or with a unit of another kind."""


class VocabularyError(SideoatsError):
    """A vocabulary file cannot be used as it stands, or no such observable is in it."""


class FactError(SideoatsError):
    """A fact file cannot be used as it stands."""


class QuestionError(SideoatsError):
    """No such question, or a question asked in a way that it cannot answer."""


class LedgerError(SideoatsError):
    """The ledger refused an entry or cannot be opened."""


class LedgerDamaged(LedgerError):
    """The ledger's hash chain, or its database, does not hold together."""
