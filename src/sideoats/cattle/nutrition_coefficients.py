"""The numbers of the equations of need, read from the facts: every equation its row, with source and provenance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sideoats.facts import Facts

EQUATIONS = (
    "feed_energy", "maintenance", "gain", "reserves", "pregnancy_energy", "pregnancy_protein", "course", "milk_energy",
    "milk_protein", "maintenance_protein", "gain_protein", "crude_protein", "calcium", "phosphorus", "cow_intake",
    "growing_intake",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Coefficients:
    """Numbers by equation and name, as ``cattle/nrc`` has them.

    Attributes
    ----------
    of : equation -> name -> number, in the units that the fact states
    """

    of: Mapping[str, Mapping[str, float]]

    @classmethod
    def read(cls, facts: Facts) -> Coefficients:
        """Read from ``cattle/nrc``."""
        tables = {name: facts[f"cattle/nrc.{name}"].rows for name in EQUATIONS}
        return cls({name: {str(k): float(v) for k, v in rows} for name, rows in tables.items()})

    def __getitem__(self, equation: str) -> Mapping[str, float]:
        return self.of[equation]
