"""One pass a field, and what a field likely holds that nobody walked: on week, place, phone and card."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from running_desk import DAY, FIELD, RunningDesk

from sideoats.bulletin.field_card import cards
from sideoats.week.passes import Pass
from sideoats.week.unwalked import Forecast
from sideoats.week.visits import plan_visits

PESTS = ("sorghum-midge", "sorghum-headworm")
LINE = "one pass by"
LIKELY = "Nobody has counted here lately"


@pytest.fixture
def told(desk: RunningDesk, monkeypatch: pytest.MonkeyPatch) -> RunningDesk:
    """The desk over the invented district, with one pass and one forecast of the same field."""
    with desk.launched() as client:
        client.get(f"/?on={DAY}")
    asked, _ = desk.desk.weeks.on(DAY, wait=120)
    farm = desk.desk.ledger.places(DAY, [FIELD])[0].farm or ""
    made = Pass(FIELD, "a field", farm, 80.0, DAY, DAY + timedelta(days=2), PESTS, (), 21.0, 15.0, 18.0, 1)
    likely = Forecast(FIELD, "sorghum-aphid", 12.0, 3.0, 50.0, "aphids/leaf", 9, 300.0)
    monkeypatch.setattr(asked, "week", replace(asked.week, passes=(made,)))
    monkeypatch.setattr(desk.desk, "forecasts", lambda day: (likely,))
    return desk


def test_the_week_and_the_place_tell_the_pass_and_the_place_what_is_likely_there(told: RunningDesk) -> None:
    with told.launched() as client:
        week, place = (client.get(address).text for address in (f"/?on={DAY}", f"/places/{FIELD}?on={DAY}"))
    assert LINE in week and "sorghum midges and headworms" in week
    assert LINE in place and LIKELY in place and "9 fields" in place


def test_the_phone_keeps_both_in_every_language(told: RunningDesk) -> None:
    with told.launched() as client:
        notes = client.get("/enter/data.json").json()["notes"][FIELD]
    assert LINE in notes["en"][0] and LIKELY in notes["en"][1]
    assert "pasada" in notes["es"][0] and "Nadie ha contado" in notes["es"][1]


def test_a_card_of_the_round_tells_the_pass_of_its_field(told: RunningDesk) -> None:
    asked, _ = told.desk.weeks.on(DAY)
    plan = plan_visits(asked.week, told.desk.districts.on(DAY), hours=60.0)
    visit = replace(plan.visits[0], place=replace(plan.visits[0].place, id=FIELD))
    page = cards(replace(plan, visits=(visit,)), {}, asked.week.passes)
    assert LINE in page and LINE not in cards(replace(plan, visits=(visit,)), {})
