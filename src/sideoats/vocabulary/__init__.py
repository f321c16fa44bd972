"""The one vocabulary: every observable once, for evidence, phone-in, form, phone and file alike.

A question takes an input from it: ``see("leaf_counts.stage", needed=True)``; the ledger's evidence kinds are read from
the same files. `sideoats.vocabulary.tables` says how they are written.
"""

from sideoats.vocabulary.observables import entry, field_of, has_entry, observables, see
from sideoats.vocabulary.tables import DOORS, Kind, evidence, read_tables

__all__ = ["DOORS", "Kind", "entry", "evidence", "field_of", "has_entry", "observables", "read_tables", "see"]
