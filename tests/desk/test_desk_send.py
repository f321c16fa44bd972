"""The door for phones: stored once, clashes shown, nothing half-read."""

from __future__ import annotations

import base64
import json
import threading
import uuid
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from running_desk import FIELD, RunningDesk

import sideoats.desk


def entry(**changes: Any) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()), "kind": "leaf_counts", "place": FIELD, "seen_at": "2026-09-13T09:30:00-05:00",
        "body": {"counts": [12, 40, 7], "stage": "boot"}, "observer": "sam", **changes,
    }  # fmt: skip


def test_an_entry_is_stored_once_however_often_it_is_sent(desk: RunningDesk) -> None:
    one = entry()
    with desk.launched() as client:
        first = client.post("/send/entry", json=one)
        assert first.status_code == 201 and first.json()["stored"] is True
        for _ in range(3):
            again = client.post("/send/entry", json=one)
            assert again.status_code == 200 and again.json() == {**first.json(), "stored": False}
    kept = [e for e in desk.desk.ledger.history(place=FIELD, kind="leaf_counts") if e.id == one["id"]]
    assert len(kept) == 1
    assert kept[0].body == {"counts": [12, 40, 7], "stage": "boot"}
    assert kept[0].seen_at.isoformat() == "2026-09-13T09:30:00-05:00" and kept[0].observer == "sam"


def test_many_phones_at_once_store_once(desk: RunningDesk) -> None:
    one = entry()
    said: list[int] = []

    def send() -> None:
        with desk.launched() as client:
            said.append(client.post("/send/entry", json=one).status_code)

    threads = [threading.Thread(target=send) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == [200] * 7 + [201]


def test_another_entry_under_the_same_id_is_a_clash_and_changes_nothing(desk: RunningDesk) -> None:
    one = entry()
    with desk.launched() as client:
        client.post("/send/entry", json=one)
        other = client.post("/send/entry", json={**one, "body": {"counts": [99]}})
        assert other.status_code == 409 and "already" in other.json()["line"]
    found = desk.desk.ledger.get(one["id"])
    assert found is not None and found.body["counts"] == [12, 40, 7]


def test_a_second_correction_of_the_same_entry_is_a_clash(desk: RunningDesk) -> None:
    one = entry()
    with desk.launched() as client:
        client.post("/send/entry", json=one)
        assert client.post("/send/entry", json=entry(corrects=one["id"])).status_code == 201
        assert client.post("/send/entry", json=entry(corrects=one["id"])).status_code == 409


@pytest.mark.parametrize(
    "changes",
    [
        {"id": ""}, {"id": "not a uuid"}, {"id": 7}, {"kind": "no_such_kind"}, {"kind": "audit"}, {"kind": "call"},
        {"kind": "station_days"}, {"kind": "withdrawal"}, {"place": "nowhere"}, {"place": None}, {"place": ["a"]},
        {"seen_at": "yesterday"}, {"seen_at": "2026-09-13T09:30:00"}, {"seen_at": "1066-09-13T09:30:00+00:00"},
        {"body": None}, {"body": []}, {"body": {"counts": [-1]}}, {"body": {"counts": ["x"]}}, {"body": {"unknown": 1}},
        {"body": {"counts": [1.5]}}, {"body": {"stage": "no stage"}}, {"more": 1}, {"observer": "a\x00b"},
        {"corrects": "not a uuid"}, {"farm": "no-farm"}, {"body": {"counts": [1e308]}},
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_refused_in_one_line(desk: RunningDesk, changes: dict[str, Any]) -> None:
    before = desk.desk.ledger.head()
    with desk.launched() as client:
        answer = client.post("/send/entry", json=entry(**changes))
    assert answer.status_code == 422
    assert answer.json()["line"] and "\n" not in answer.json()["line"]
    assert desk.desk.ledger.head() == before


def test_a_photograph_comes_in_clean(desk: RunningDesk) -> None:
    image = pytest.importorskip("PIL.Image")
    import io

    out = io.BytesIO()
    image.new("RGB", (8, 8), "white").save(out, "JPEG", comment=b"private")
    sent = {"media": "image/jpeg", "base64": base64.b64encode(out.getvalue()).decode()}
    one = entry(kind="photo", body={"image": sent, "note": "window-paned leaf"})
    with desk.launched() as client:
        assert client.post("/send/entry", json=one).status_code == 201
        got = client.get(f"/entry/{one['id']}/photo.jpg")
        assert got.headers["content-type"] == "image/jpeg" and b"private" not in got.content
        assert "window-paned leaf" in client.get(f"/entry/{one['id']}").text
        bad = entry(kind="photo", body={"image": {"media": "image/svg+xml", "base64": "PHN2Zz4="}})
        assert client.post("/send/entry", json=bad).status_code == 422


PARTS = ("id", "kind", "place", "farm", "seen_at", "body", "observer", "corrects")
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=150, deadline=None)
@given(body=st.dictionaries(st.sampled_from(PARTS), JSON) | JSON)
def test_no_json_breaks_the_door(desk: RunningDesk, body: Any) -> None:
    with desk.launched() as client:
        sent = json.dumps(body).encode()
        answer = client.post("/send/entry", content=sent, headers={"Content-Type": "application/json"})
    assert answer.status_code in (200, 201, 409, 422)
    assert answer.headers["content-type"] == "application/json"


@settings(max_examples=100, deadline=None)
@given(
    fields=st.dictionaries(st.sampled_from(["counts", "stage", "honeydew", "parasitized", "winged", "mean", "n"]), JSON)
)
def test_no_body_breaks_the_door(desk: RunningDesk, fields: dict[str, Any]) -> None:
    with desk.launched() as client:
        answer = client.post("/send/entry", json=entry(body=fields))
    assert answer.status_code in (201, 422)


def test_the_doors_description_is_true(desk: RunningDesk) -> None:
    """Every request that schemathesis makes from openapi.yaml gets an answer that openapi.yaml describes."""
    import schemathesis
    from schemathesis import checks

    yaml = pytest.importorskip("yaml")
    spec = yaml.safe_load((Path(sideoats.desk.__file__).parent / "openapi.yaml").read_text(encoding="utf-8"))
    schema = schemathesis.openapi.from_dict(spec)
    schema.config.update(base_url=desk.base)
    operation = schema["/send/entry"]["POST"]
    with desk.launched() as client:
        cookie = "; ".join(f"{k}={v}" for k, v in client.cookies.items())
    headers = {"Origin": desk.base, "Sec-Fetch-Site": "same-origin", "Cookie": cookie}

    @settings(max_examples=60, deadline=None, database=None)
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        response = case.call(headers=headers)
        case.validate_response(response, checks=(
            checks.not_a_server_error, checks.status_code_conformance, checks.content_type_conformance,
            checks.response_schema_conformance,
        ))  # fmt: skip

    ask()
