"""`dataclass` for the classes that every answer makes: the standard one, without building six functions a class.

A phone-in makes some sixty of these classes before it answers, and the standard decorator writes and compiles each
one's methods as text: more work than `import numpy`. Here the constructor alone is made so; comparison, hash and text
are the same few functions for all. What is frozen is frozen for the type checker, which is where it is looked at.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls: type | None = None, /, *, frozen: bool = False, eq: bool = True, **flags: bool) -> Any:
        """As `dataclasses.dataclass`; see above."""

        def made(plain: type) -> type:
            plain.__doc__ = plain.__doc__ or plain.__name__  # else its signature is worked out for one
            own = plain.__dict__
            shared: dict[str, Callable[..., Any] | None] = {} if "__repr__" in own else {"__repr__": _text}
            if eq and "__eq__" not in own:
                shared |= {"__eq__": _equal, "__hash__": own.get("__hash__") or (_hash if frozen else None)}
            out = dataclasses.dataclass(repr=False, eq=False, **flags)(plain)
            for name, method in shared.items():
                setattr(out, name, method)
            return out

        return made if cls is None else made(cls)


@cache
def _compared(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in dataclasses.fields(kind) if f.compare)


def _values(self: Any) -> tuple[Any, ...]:
    return tuple(getattr(self, name) for name in _compared(type(self)))  # type: ignore[arg-type]


def _equal(self: Any, other: object) -> bool:
    return _values(self) == _values(other) if type(other) is type(self) else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


def _text(self: Any) -> str:
    shown = (f"{f.name}={getattr(self, f.name)!r}" for f in dataclasses.fields(self) if f.repr)
    return f"{type(self).__qualname__}({', '.join(shown)})"
