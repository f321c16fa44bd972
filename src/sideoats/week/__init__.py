"""The week: every question asked of every place, ranked by what waiting would cost."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sideoats.week.district import District, district_of
    from sideoats.week.run import Week, run_week

_LATE = {
    "District": "sideoats.week.district",
    "district_of": "sideoats.week.district",
    "Week": "sideoats.week.run",
    "run_week": "sideoats.week.run",
}
__all__ = ["District", "Week", "district_of", "run_week"]


def __getattr__(name: str) -> Any:
    if name not in _LATE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_LATE[name]), name)
