"""Linear algebra kept to one thread, where matrices are many and small."""

from __future__ import annotations

from contextlib import AbstractContextManager
from functools import lru_cache
from typing import Any


def one_thread() -> AbstractContextManager[Any]:
    """While it lasts, BLAS uses one thread: threads that wait for one another cost small matrices more than they bring,
    and sums would differ in the last digit from machine to machine."""
    limit: AbstractContextManager[Any] = _controller().limit(limits=1, user_api="blas")
    return limit


@lru_cache(maxsize=1)
def _controller() -> Any:
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
