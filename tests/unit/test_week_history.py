"""All entries of a kind reach a question one after another: nightly catches of a trap."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from sideoats.ledger import NewEntry, open_ledger
from sideoats.week import run_week
from sideoats.week.store import WeekStore
from sideoats.week.stored_run import run_stored

ON = date(2026, 9, 14)


def test_catches_recorded_night_by_night_make_a_flight_in_the_week(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    rng = np.random.default_rng(3)
    with open_ledger(path) as ledger:
        ledger.append([NewEntry("farm", {"name": "F"}, farm="f")])
        ledger.append([NewEntry("place", {"name": "trap", "kind": "trap"}, place="f.t", farm="f",
                                seen_at=datetime(2026, 5, 1, tzinfo=UTC))])  # fmt: skip
        catches = rng.poisson(0.8 + 18 * np.exp(-0.5 * ((np.arange(45) - 34) / 3) ** 2))
        ledger.append(
            [
                NewEntry("trap_catch", {"species": "corn earworm", "caught": float(moths)}, place="f.t",
                         seen_at=datetime(2026, 9, 14, 8, tzinfo=UTC) - timedelta(days=44 - night))
                for night, moths in enumerate(catches)
            ]
        )  # fmt: skip
        week = run_week(ledger, ON, questions=["trap-flight"], draws=60)
        assert [c.verdict for c in week.calls] == ["look"]
        assert week.calls[0].quantities["nights_read"].value == 45
        run_stored(ledger, ON, tmp_path / "w.week", questions=["trap-flight"], draws=60)
        ledger.append([NewEntry("trap_catch", {"species": "corn earworm", "caught": 0.0, "working": False}, place="f.t",
                                seen_at=datetime(2026, 8, 20, 8, tzinfo=UTC))])  # fmt: skip
        again = run_stored(ledger, ON, tmp_path / "w.week", questions=["trap-flight"], draws=60)
    assert again.asked == 1  # an older entry changes the history too
    store = WeekStore(tmp_path / "w.week")
    assert [c.verdict for c in store.calls()] == ["look"]
    store.close()


def test_all_trial_tables_of_a_field_speak_for_it(tmp_path: Path) -> None:
    """Two years' tables recorded one after the other are read together; what the second repeats is read once."""
    first = [{"variety": v, "site": s, "year": "2024", "yield": y} for v, s, y in
             (("A", "N", 48.4), ("C", "N", 41.0), ("A", "S", 52.1), ("C", "S", 45.1))]  # fmt: skip
    second = [{"variety": v, "site": s, "year": "2025", "yield": y} for v, s, y in
              (("A", "N", 44.2), ("C", "N", 34.7), ("A", "S", 50.1), ("C", "S", 41.3))]  # fmt: skip
    with open_ledger(tmp_path / "ledger.sqlite") as ledger:
        ledger.append([NewEntry("farm", {"name": "F"}, farm="f")])
        body = {"name": "n", "kind": "field", "crop": "winter wheat", "variety": "C", "planting_date": "2026-09-24",
                "price": "5.60 USD/bu"}  # fmt: skip
        ledger.append([NewEntry("place", body, place="f.n", farm="f", seen_at=datetime(2024, 5, 1, tzinfo=UTC))])
        seen = {}
        for year, means in ((2024, first), (2025, [*first[:2], *second])):
            trial = {"title": f"trials {year}", "means": means}
            ledger.append([NewEntry("variety_trial", trial, place="f.n", seen_at=datetime(year, 8, 1, tzinfo=UTC))])
            week = run_week(ledger, ON, questions=["variety-choice"], draws=60)
            seen[year] = [(c.verdict, c.quantities["trials"].value) for c in week.calls]
    assert seen == {2024: [("look", 2.0)], 2025: [("act", 4.0)]}  # two trials are too few to change on
