"""What a page can ask of its visitor, and which of it each role grants."""

from __future__ import annotations

from collections.abc import Mapping

OPEN, READ, ASK, RECORD, ADVISE, GOVERN = "open", "read", "ask", "record", "advise", "govern"
GRANTS: Mapping[str, frozenset[str]] = {
    "adviser": frozenset({READ, ASK, RECORD, ADVISE, GOVERN}),
    "scout": frozenset({READ, ASK, RECORD}),
    "reader": frozenset({READ, ASK}),
}
