"""A ledger's own counts: what they teach, whom they are told to, and the round that they send out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from click.testing import CliRunner

from sideoats.cli import group
from sideoats.ledger import NewEntry, open_ledger
from sideoats.week import District, district_of, run_week
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.week.unwalked import forecasts
from sideoats.week.visits import plan_visits

ZONE = ZoneInfo("America/Chicago")
TODAY = datetime(2026, 8, 12, tzinfo=ZONE).date()
FIELDS, WALKED = 12, 10
K, GROWTH = 0.6, 0.12


def seen(days: int) -> datetime:
    return datetime(2026, 8, 12, 9, tzinfo=ZONE) - timedelta(days=days)


def entries(means: np.ndarray, rng: np.random.Generator) -> Iterator[NewEntry]:
    """Twelve sorghum fields on a line of 30 km; the first ten looked at three weeks running."""
    yield NewEntry("farm", {"name": "F"}, farm="f", seen_at=datetime(2026, 5, 1, tzinfo=ZONE))
    for i in range(FIELDS):
        body = {
            "name": f"field {i}", "kind": "field", "crop": "grain sorghum", "acres": 80, "stage": "flowering",
            "latitude": 38.0 + 0.02 * i, "longitude": -99.0, "planting_date": "2026-05-20",
            "expected_yield": "80 bu/ac",
        }  # fmt: skip
        yield NewEntry("place", body, place=f"f.{i}", farm="f", seen_at=datetime(2026, 5, 21, tzinfo=ZONE))
    for i in range(WALKED):
        for days in (15, 8, 1):
            mean = float(means[i]) * np.exp(-GROWTH * days)
            counts = ", ".join(map(str, rng.negative_binomial(K, K / (K + mean), 40)))
            yield NewEntry("leaf_counts", {"counts": counts, "stage": "flowering"}, place=f"f.{i}", seen_at=seen(days))
    for what, value in (("cost.aphid_treatment", "13 USD/ac"), ("phi.sorghum-aphid", "14 day")):
        yield NewEntry("setting", {"name": what, "value": value}, seen_at=seen(60))
    yield NewEntry("place", {"name": "m", "kind": "market"}, place="m", seen_at=seen(90))
    quote = {"commodity": "grain sorghum", "price": "4.20 USD/bu"}
    yield NewEntry("quote", quote, place="m", seen_at=seen(2))


def district(path: Path) -> District:
    return district_of(path, TODAY, kinds=evidence_needed(weekly_questions()), draws=80, pool=True)


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pooled") / "ledger.sqlite"
    rng = np.random.default_rng(12)
    with open_ledger(path) as opened:
        opened.append(entries(np.exp(rng.normal(4.0, 0.6, FIELDS)), rng))
    return path


def test_growth_and_k_come_out_as_they_were_put_in(ledger: Path) -> None:
    (learned,) = district(ledger).learned
    growth, error = learned.model.growth
    assert (len(learned.places), len(learned.model.looks), learned.stage) == (10, 30, "flowering")
    assert abs(growth - GROWTH) < 2.5 * error < 0.1
    assert 0.4 < learned.unit_k < 0.9 and learned.published_k == 0.115


def test_a_field_that_nobody_walked_is_told_by_the_others_and_sent_to(ledger: Path) -> None:
    held = district(ledger)
    ahead = forecasts(held)
    assert [f.place for f in ahead] == ["f.10", "f.11"]
    for f in ahead:
        assert f.unit == "aphids/leaf" and f.fields == 10 and 10 < f.low < f.likely < f.high < 1500
    week = run_week(ledger, TODAY, draws=80)
    plan = plan_visits(week, held, hours=40)
    sent = {v.place.id: v for v in plan.visits if v.forecasts}
    assert set(sent) == {"f.10", "f.11"}
    assert all(v.worth == pytest.approx(sum(f.worth for f in v.forecasts), rel=0.5) for v in sent.values())
    assert not any(v.guessed for v in sent.values())


def test_a_call_says_what_its_count_was_weighed_against(ledger: Path) -> None:
    week = run_week(ledger, TODAY, draws=80, questions=["sorghum-aphid"])
    counted = [c for c in week.calls if c.place in {f"f.{i}" for i in range(WALKED)}]
    assert len(counted) == WALKED
    assert all(any("in 9 other fields" in line for line in c.because) for c in counted)
    assert all(any("pooling.window" in str(s) for s in c.sources) for c in counted)


def test_a_field_that_was_treated_tells_and_is_told_nothing_from_then_on(ledger: Path, tmp_path: Path) -> None:
    copy = tmp_path / "ledger.sqlite"
    with open_ledger(ledger) as opened:
        opened.backup(copy)
    with open_ledger(copy) as opened:
        done = {"what": "sprayed", "question": "sorghum-aphid"}
        opened.append([NewEntry("action", done, place=f"f.{i}", seen_at=seen(5)) for i in (0, 11)])
    held = district(copy)
    (learned,) = held.learned
    assert len(learned.model.looks) == 29 and ("sorghum aphid", "f.0") not in held.facts.nearby
    assert [f.place for f in forecasts(held)] == ["f.10"]


def test_few_fields_teach_nothing(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    with open_ledger(tmp_path / "l.sqlite") as opened:
        found = entries(np.full(FIELDS, 40.0), rng)
        opened.append([e for e in found if e.kind != "leaf_counts" or e.place in ("f.0", "f.1", "f.2", "f.3")])
    held = district(tmp_path / "l.sqlite")
    assert held.learned == () and held.facts.nearby == {} and forecasts(held) == ()
    shown = CliRunner().invoke(group, ["--ledger", str(tmp_path / "l.sqlite"), "learned", "--on", TODAY.isoformat()])
    assert "under 5 fields" in shown.output


def test_the_command_shows_both_figures(ledger: Path) -> None:
    shown = CliRunner().invoke(group, ["--ledger", str(ledger), "learned", "--on", TODAY.isoformat()])
    assert shown.exit_code == 0, shown.output
    assert "30 counts in 10 fields" in shown.output and "0.12 published" in shown.output
    assert "f.10, nobody has walked it lately" in shown.output
