"""Entering by an ordinary form: every kind of evidence, places and farms, photographs; nothing typed is lost."""

from __future__ import annotations

import io
import json
import re
import uuid
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from page_forms import form_of
from running_desk import DAY, FIELD, RunningDesk

from sideoats.desk.forms import MARK
from sideoats.desk.pages.by_hand import kinds_by_hand, typed_fields
from sideoats.ledger import EvidenceKind

SQUARE = {"type": "Polygon", "coordinates": [[[-99, 38], [-98.99, 38], [-98.99, 38.01], [-99, 38.01], [-99, 38]]]}


def place_for(desk: RunningDesk, kind: EvidenceKind) -> str:
    """Some place where such evidence may be recorded."""
    if not kind.places:
        return ""
    return next((p.id for p in desk.desk.places(None).values() if p.kind in kind.places), "")


@pytest.mark.parametrize("name", sorted(kinds_by_hand()))
def test_every_kind_has_its_form(desk: RunningDesk, name: str) -> None:
    kind = kinds_by_hand()[name]
    place = place_for(desk, kind)
    if kind.places and not place:
        pytest.skip(f"the invented district has no {' or '.join(kind.places)}")
    with desk.launched() as client:
        text = client.get("/enter/by-hand", params={"kind": name, "place": place}).text
    for f in typed_fields(kind):
        stem = f.name if f.kind != "records" else f"{f.name}.0.{f.fields[0].name}"
        assert f'name="{MARK}{stem}"' in text, f.name


def test_first_what_and_where(desk: RunningDesk) -> None:
    with desk.launched() as client:
        text = client.get("/enter/by-hand", params={"kind": "leaf_counts"}).text
        assert "Go on" in text and "Two Elms: sorghum 1" in text
        fitting = client.get("/enter/by-hand", params={"place": FIELD}).text
        assert 'value="leaf_counts"' in fitting and 'value="audit"' not in fitting and 'value="call"' not in fitting


def test_a_count_is_recorded_once_even_when_sent_twice(desk: RunningDesk) -> None:
    with desk.launched() as client:
        page = client.get("/enter/by-hand", params={"kind": "leaf_counts", "place": FIELD}).text
        form = {**form_of(page, "/enter/by-hand"), "counts": "12, 40, 7", "stage": "boot", "parasitized": "5"}
        first = client.post("/enter/by-hand", data=form)
        assert first.status_code == 303 and first.headers["location"] == f"/places/{FIELD}?note=stored"
        assert client.post("/enter/by-hand", data=form).headers["location"].endswith("note=already")
    entry = desk.desk.ledger.get(form["mint"])
    assert entry is not None and entry.body == {"counts": [12, 40, 7], "stage": "boot", "parasitized": 0.05}
    assert entry.seen_on == DAY and entry.seen_at.utcoffset() is not None


def test_a_refusal_keeps_what_was_typed(desk: RunningDesk) -> None:
    with desk.launched() as client:
        page = client.get("/enter/by-hand", params={"kind": "leaf_counts", "place": FIELD}).text
        form = {**form_of(page, "/enter/by-hand"), "counts": "12, many", "parasitized": "500", "seen_time": "09:15"}
        answer = client.post("/enter/by-hand", data=form)
    assert answer.status_code == 422 and "2 things to mend" in answer.text
    assert 'value="12, many"' in answer.text and 'value="09:15"' in answer.text and form["mint"] in answer.text


def test_a_photograph_comes_with_the_entry(desk: RunningDesk) -> None:
    image = pytest.importorskip("PIL.Image")
    out = io.BytesIO()
    image.new("RGB", (12, 12), "gray").save(out, "JPEG")
    with desk.launched() as client:
        page = client.get("/enter/by-hand", params={"kind": "leaf_counts", "place": FIELD}).text
        form = {**form_of(page, "/enter/by-hand"), "counts": "3", "photo_note": "honeydew"}
        files = {"photo": ("p.jpg", out.getvalue(), "image/jpeg")}
        assert client.post("/enter/by-hand", data=form, files=files).status_code == 303
        photo = str(uuid.uuid5(uuid.UUID(form["mint"]), "photo"))
        assert client.get(f"/entry/{photo}/photo.jpg").content.startswith(b"\xff\xd8")
        bad = {**form, "mint": str(uuid.uuid4())}
        refused = client.post("/enter/by-hand", data=bad, files={"photo": ("p.jpg", b"<svg/>", "image/jpeg")})
        assert refused.status_code == 422 and "JPEG" in refused.text
    assert desk.desk.ledger.get(bad["mint"]) is None  # both or neither


def test_a_farm_a_place_and_its_new_description(desk: RunningDesk) -> None:
    with desk.launched() as client:
        farm = form_of(client.get("/enter/by-hand", params={"kind": "farm"}).text, "/enter/by-hand")
        made = client.post("/enter/by-hand", data={**farm, "about.farm": "new-farm", "name": "New Farm"})
        assert made.status_code == 303
        blank = form_of(client.get("/enter/by-hand", params={"kind": "place"}).text, "/enter/by-hand")
        told = {**blank, "about.id": "new-farm.north", "about.farm": "new-farm", "name": "north", "kind": "field",
                "acres": "80", "crop": "grain sorghum", "expected_yield": "75", "expected_yield.unit": "bu/ac",
                "outline": json.dumps(SQUARE)}  # fmt: skip
        assert client.post("/enter/by-hand", data=told).status_code == 303
        page = client.get("/enter/by-hand", params={"kind": "place", "place": "new-farm.north"}).text
        again = form_of(page, "/enter/by-hand")
        assert again["about.id"] == "new-farm.north" and again["acres"] == "80" and again["crop"] == "grain sorghum"
        assert client.post("/enter/by-hand", data={**again, "acres": "82"}).status_code == 303
    place = desk.desk.places(None)["new-farm.north"]
    assert place.attributes["acres"] == 82 and place.attributes["outline"] == SQUARE and place.farm == "new-farm"
    assert place.attributes["expected_yield"].endswith("bu/ac")


@pytest.mark.parametrize(
    "changes",
    [
        {"about.id": "has blank"}, {"about.id": ""}, {"about.farm": "no-such"}, {"kind": "castle"}, {"name": ""},
        {"outline": "not json"}, {"outline": '{"type": "Point", "coordinates": [1, 2]}'}, {"acres": "-5"},
        {"seen_day": "2026-02-31"}, {"seen_time": "25:99"},
    ],
)  # fmt: skip
def test_places_that_cannot_be_are_refused(desk: RunningDesk, changes: dict[str, str]) -> None:
    before = desk.desk.ledger.head()
    with desk.launched() as client:
        blank = form_of(client.get("/enter/by-hand", params={"kind": "place"}).text, "/enter/by-hand")
        told = {**blank, "about.id": "x.y", "name": "y", "kind": "field", **changes}
        assert client.post("/enter/by-hand", data=told).status_code == 422
    assert desk.desk.ledger.head() == before


ANY = st.text(max_size=20) | st.sampled_from(
    ["", "1", "-1", "1e309", "12,40", "27 %", "NaN", "yes", "2026-02-31", "{}", "[1]"]
)


@pytest.mark.parametrize("name", sorted(kinds_by_hand()))
@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_nothing_typed_breaks_the_form(desk: RunningDesk, name: str, data: st.DataObject) -> None:
    kind = kinds_by_hand()[name]
    form: dict[str, Any] = {"kind_of": name, "place_of": place_for(desk, kind)}
    for f in typed_fields(kind):
        form[f.name] = data.draw(ANY | (st.sampled_from(f.choices) if f.choices else st.just(f.example)))
        form[f.name + ".unit"] = data.draw(st.sampled_from(["", f.unit, "nonsense"]))
    form |= {k: data.draw(ANY) for k in ("about.id", "about.farm", "seen_day", "seen_time", "mint", "observer")}
    with desk.launched() as client:
        answer = client.post("/enter/by-hand", data={k: v.encode("utf-8", "replace").decode() for k, v in form.items()})
    assert answer.status_code in (303, 400, 422), re.findall("incident.*", answer.text)
