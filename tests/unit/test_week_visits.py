"""The scouting round out of a week: what is visited, the map and the cards."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from sideoats.bulletin.field_card import cards, round_map, round_text
from sideoats.call import Call
from sideoats.demo.district import TODAY, all_entries
from sideoats.facts import Facts
from sideoats.ledger import Place, open_ledger
from sideoats.question import every
from sideoats.week import District, Week, district_of, run_week
from sideoats.week.flights import flight_fields, is_flight
from sideoats.week.run import evidence_needed, weekly_questions
from sideoats.week.stop_lines import stop_lines
from sideoats.week.visits import counting_lines, plan_visits, position


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[Week, District]:
    with open_ledger(tmp_path_factory.mktemp("visits") / "ledger.sqlite") as ledger:
        ledger.append(all_entries())
        kinds = evidence_needed(weekly_questions())
        return run_week(ledger, TODAY, draws=60), district_of(ledger, TODAY, kinds=kinds, draws=60)


def asks(call: Call) -> bool:
    """Whether a call sends somebody to its place."""
    at_the_desk = call.question in ("herd-weather", "wean-date", "seeding-rate")  # forecast, telephone, seed tag
    return not is_flight(call) and not at_the_desk and (call.verdict == "look" or call.verdict == "stop")


def test_the_round_keeps_to_the_hours_and_goes_wherever_a_look_is_asked_for(found: tuple[Week, District]) -> None:
    short, long = (plan_visits(*found, hours=h) for h in (2.0, 40.0))
    assert short.hours <= 2.0 and 0 < len(short.visits) < len(long.visits)
    asked = {c.place for c in found[0].calls if asks(c) and c.look_by}
    sent = {v.place.id for v in long.visits if any(is_flight(c) for c in v.reasons)}
    assert {v.place.id for v in (*short.visits, *short.left)} == asked | sent == {v.place.id for v in long.visits}
    assert all(v.look_by is None or v.look_by <= TODAY + timedelta(days=60) for v in long.visits)


def test_nobody_drives_to_a_place_for_what_is_looked_up_at_the_desk(found: tuple[Week, District]) -> None:
    at_the_desk = {q.name for q in every() if q.desk_look}
    looks = [c for c in found[0].of("look") if c.question in at_the_desk]
    plan = plan_visits(*found, hours=60)
    assert looks and not at_the_desk & {c.question for v in plan.visits for c in v.reasons}


def test_hours_go_first_to_what_is_due_within_days_and_to_hazards(found: tuple[Week, District]) -> None:
    """The hot hay lot and the eaten wheat of tomorrow, worth unknown, before dollars that can wait until Sunday."""
    every = plan_visits(*found, hours=60).visits
    soon = {v.place.id for v in every if v.look_by and v.look_by <= TODAY + timedelta(days=2)}
    hazards = {v.place.id for v in every if v.hazard}
    later = {v.place.id for v in every if v.look_by and v.look_by >= TODAY + timedelta(days=7)}
    assert "dry-fork.sudan-hay-lot-4" in soon & hazards and soon - hazards and later - hazards
    assert all(c.verdict == "stop" for v in every if v.hazard for c in v.reasons[:1])
    for hours in (2.5, 3.5, 5.0, 8.0):
        seen = {v.place.id for v in plan_visits(*found, hours=hours).visits}
        assert soon <= seen or seen <= soon
    text = round_text(plan_visits(*found, hours=3.5))
    assert "dry-fork.sudan-hay-lot-4: a hazard, no price on it, look by 15 Sep" in text


def test_a_flight_sends_to_fields_that_it_threatens_and_nobody_has_counted(found: tuple[Week, District]) -> None:
    week, district = found
    plan = plan_visits(week, district, hours=60)
    sent = [v for v in plan.visits if any(is_flight(c) for c in v.reasons)]
    assert sent and all(v.place.kind == "field" and v.worth > 0 and not v.guessed for v in sent)
    eaten = {"corn earworm": ("sorghum", "soybean", "cotton"), "fall armyworm": ("wheat", "sorghum")}
    traps = {p.id: p.attributes["crop"] for p in district.snapshot.places if p.kind == "trap"}
    for v in sent:
        for c in filter(is_flight, v.reasons):
            assert any(crop in v.place.attributes["crop"] for crop in eaten[traps[c.place]])
        assert v.look_by is not None and str(v.place.attributes["planting_date"]) <= TODAY.isoformat()
    assert "sorghum-headworm" in {q for v in sent for q in v.count}
    heads = district.snapshot.evidence["head_counts"]
    assert all((TODAY - heads[v.place.id].seen_on).days > 7 for v in sent if v.place.id in heads)
    assert not {v.place.id for v in (*plan.visits, *plan.left)} & {c.place for c in week.calls if is_flight(c)}


def test_a_flight_sends_to_no_field_past_the_stage_that_its_larvae_harm(found: tuple[Week, District]) -> None:
    week, district = found
    sent = flight_fields(filter(is_flight, week.calls), *_places(district))
    name = next(n for n, f in sent.items() if f.count == ("sorghum-headworm",))
    kept = district.snapshot.evidence["head_counts"]
    entry = next(iter(kept.values()))
    for ago, stage, stays in ((10, "black layer", False), (10, "milk", True), (40, "black layer", True)):
        noted = replace(entry, place=name, seen_on=TODAY - timedelta(days=ago), body={"stage": stage})
        evidence = {**district.snapshot.evidence, "head_counts": {**kept, name: noted}}
        other = replace(district, snapshot=replace(district.snapshot, evidence=evidence))
        assert (name in flight_fields(filter(is_flight, week.calls), *_places(other))) == stays


def _places(district: District) -> tuple[dict[str, Place], District, Facts]:
    return {p.id: p for p in district.snapshot.places}, district, district.facts


def test_a_flight_sends_to_no_place_that_may_not_be_shown(found: tuple[Week, District]) -> None:
    open_to = {p.id for p in found[1].snapshot.places if p.farm in ("two-elms", "saltgrass")}
    plan = plan_visits(*found, hours=60, sees=open_to)
    assert plan.visits and {v.place.id for v in (*plan.visits, *plan.left)} <= open_to


def test_one_farm_only(found: tuple[Week, District]) -> None:
    plan = plan_visits(*found, hours=40, farm="two-elms", start=(38.1, -99.0))
    assert plan.visits and all(v.place.farm == "two-elms" for v in (*plan.visits, *plan.left))


def test_the_map_and_the_cards_name_every_visit_and_carry_stop_lines(found: tuple[Week, District]) -> None:
    plan = plan_visits(*found, hours=40)
    drawn = round_map(plan)
    assert drawn is not None and drawn.svg.count('class="point"') == len(plan.visits) + len(plan.left)
    places = [v.place.id for v in plan.visits]
    lines = counting_lines(stop_lines(found[1], places), places)
    page = cards(plan, lines)
    assert all(v.place.id in page for v in plan.visits)
    asked = [(v, c.question) for v in plan.visits for c in v.reasons]
    aphids = [v for v, question in asked if question == "sorghum-aphid" and "forage" not in v.place.id]
    assert not aphids or "leave it, at or under" in page
    assert "label governs" in page
    assert all(v.place.id in round_text(plan) for v in plan.visits)


def test_positions_come_from_outlines(found: tuple[Week, District]) -> None:
    fields = [p for p in found[1].snapshot.places if p.kind == "field"]
    for place in fields:
        ring = place.attributes["outline"]["coordinates"][0]
        latitude, longitude = position(place)
        assert min(c[1] for c in ring) < latitude < max(c[1] for c in ring)
        assert min(c[0] for c in ring) < longitude < max(c[0] for c in ring)


def test_hostile_names_are_text(found: tuple[Week, District], tmp_path: Path) -> None:
    from dataclasses import replace

    plan = plan_visits(*found, hours=4)
    first = plan.visits[0]
    nasty = replace(first, place=replace(first.place, name="<script>x</script>"))
    page = cards(replace(plan, visits=(nasty, *plan.visits[1:])), {})
    assert "<script>" not in page
