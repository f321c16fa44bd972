"""Every route against every role, made from the routes themselves; and what an account for one farm does not see."""

from __future__ import annotations

import re
import uuid

import httpx
import pytest
from running_desk import FIELD, RunningDesk

from sideoats.desk.app import every_page
from sideoats.desk.grants import GRANTS, OPEN
from sideoats.desk.visit import Page
from sideoats.ledger import NewEntry

ROLES = {"ada": "adviser", "sam": "scout", "rita": "reader", "gus": "reader", None: None}
PARTS = {
    "question": "sorghum-aphid", "place": FIELD, "entry": str(uuid.uuid4()), "file": "none", "name": "nobody",
    "fact:path": "insects/none", "farm": "two-elms", "language": "en", "form": "bulletin.txt",
}  # fmt: skip
ELSEWHERE = "long-ditch.sorghum-2"  # a place of another farm


def address(page: Page) -> str:
    """The page's path with something in every gap."""
    return re.sub(r"{([^}]+)}", lambda m: PARTS[m.group(1)], page.path)


def test_every_page_names_a_permission_that_some_role_has() -> None:
    granted = set().union(*GRANTS.values()) | {OPEN}
    pages = every_page()
    assert len(pages) > 40
    assert {page.permission for page in pages} <= granted
    assert not [
        page.path
        for page in pages
        if "POST" in page.methods
        and page.permission == OPEN
        and page.path not in ("/sign-in", "/reader")  # the reader is a cookie of this browser and no more
    ]


def test_routes_are_not_declared_twice() -> None:
    seen = [(page.path, method) for page in every_page() for method in page.methods]
    assert len(seen) == len(set(seen))


@pytest.mark.parametrize("who", list(ROLES), ids=str)
def test_matrix_of_routes_and_roles(office: RunningDesk, who: str | None) -> None:
    client = office.signed_in(who) if who else office.client()
    wrong = []
    with client:
        for page in every_page():
            for method in page.methods:
                if page.path == "/session/end":
                    continue  # it would end this very session
                sent = {"json": {}} if page.accepts == "json" else {"data": {"x": "y"}}
                answer = client.request(method, address(page), **(sent if method == "POST" else {}))
                role = ROLES[who]
                if page.permission == OPEN:
                    good = answer.status_code not in (403, 500)
                elif role is None:
                    good = answer.status_code == 401 or answer.headers.get("location", "").startswith("/sign-in")
                elif page.permission in GRANTS[role]:
                    good = answer.status_code not in (401, 403, 500)
                else:
                    good = answer.status_code == 403
                if not good:
                    wrong.append((method, page.path, page.permission, answer.status_code))
    assert not wrong


def test_a_stranger_learns_nothing(office: RunningDesk) -> None:
    with office.client() as client:
        for page in every_page():
            if page.permission == OPEN or "GET" not in page.methods:
                continue
            text = client.get(address(page)).text
            assert "Two Elms" not in text and "sorghum 1" not in text


@pytest.fixture(scope="module")
def filled(office: RunningDesk) -> dict[str, str]:
    """Entries at both farms: their ids."""
    ledger = office.desk.ledger
    made = {}
    for name, place in (("own", FIELD), ("other", ELSEWHERE)):
        counts = NewEntry("leaf_counts", {"counts": [1, 2, 3]}, place=place, observer="sam")
        photo = NewEntry("photo", {"image": {"media": "image/jpeg", "base64": "AAAA"}}, place=place)
        made[name], made[name + " photo"] = (r.id for r in ledger.append([counts, photo]))
    return made


@pytest.mark.parametrize("path", [
    "/places/{place}", "/call/sorghum-aphid/{place}", "/call/sorghum-aphid/{place}/json",
    "/call/sorghum-aphid/{place}/last-week", "/entry/{entry}", "/entry/{photo}", "/entry/{photo}/photo.jpg",
])  # fmt: skip
def test_an_account_for_one_farm_does_not_see_another(office: RunningDesk, filled: dict[str, str], path: str) -> None:
    own = path.format(place=FIELD, entry=filled["own"], photo=filled["own photo"])
    other = path.format(place=ELSEWHERE, entry=filled["other"], photo=filled["other photo"])
    with office.signed_in("gus") as client, office.signed_in("ada") as adviser:
        assert client.get(own).status_code == 200
        refused = client.get(other)
        assert refused.status_code == 404 and "Long Ditch" not in refused.text
        assert adviser.get(other).status_code == 200


def test_lists_hold_only_what_may_be_seen(office: RunningDesk) -> None:
    office.wait_for_week()
    with office.signed_in("gus") as client, office.signed_in("sue") as scout:
        for path in ("/places", "/", "/done", "/week.csv"):
            assert "long-ditch" not in client.get(path).text.lower().replace(" ", "-"), path
        data = scout.get("/enter/data.json").json()
    assert {p["farm"] for p in data["places"]} <= {"two-elms", ""}
    assert {line["place"] for line in data["lines"]} <= {p["id"] for p in data["places"]}


def sent(place: str) -> dict[str, object]:
    return {"id": str(uuid.uuid4()), "kind": "leaf_counts", "place": place, "seen_at": "2026-09-13T09:00:00-05:00",
            "body": {"counts": [1, 2]}}  # fmt: skip


def test_a_scout_for_one_farm_records_only_there(office: RunningDesk, filled: dict[str, str]) -> None:
    with office.signed_in("sue") as client:
        assert client.post("/send/entry", json=sent(FIELD)).status_code == 201
        assert client.post("/send/entry", json=sent(ELSEWHERE)).status_code == 422
        by_hand = {"kind_of": "leaf_counts", "place_of": ELSEWHERE, "counts": "1,2"}
        assert client.post("/enter/by-hand", data=by_hand).status_code == 422
        assert client.post(f"/entry/{filled['other']}/correct", data={"counts": "9"}).status_code == 404
        assert client.post(f"/entry/{filled['own']}/correct", data={"counts": "9"}).status_code == 303
        assert client.post("/done/new", data={"place_of": ELSEWHERE, "what": "sprayed"}).status_code in (404, 422)
        taken = {"kind_of": "place", "about.id": ELSEWHERE, "about.farm": "two-elms", "name": "x", "kind": "field"}
        assert client.post("/enter/by-hand", data=taken).status_code == 422
    assert office.desk.places(None)[ELSEWHERE].farm == "long-ditch"


def test_an_entry_in_an_office_is_signed_by_who_sent_it(office: RunningDesk) -> None:
    entry = {**sent(FIELD), "observer": "someone else"}
    with office.signed_in("sam") as client:
        answer = client.post("/send/entry", json=entry)
    found = office.desk.ledger.get(answer.json()["id"])
    assert found is not None and found.observer == "sam"


def test_a_closed_account_is_out_at_once(office: RunningDesk) -> None:
    office.desk.accounts.add("temp", "a hedge of seven sloes", "scout")
    with office.client() as client, office.signed_in("ada") as adviser:
        assert _sign_in(client, "temp", "a hedge of seven sloes").status_code == 303
        assert client.get("/places").status_code == 200
        assert adviser.post("/people/temp", data={"state": "closed"}).status_code == 303
        assert client.get("/places").headers["location"].startswith("/sign-in")
        assert _sign_in(client, "temp", "a hedge of seven sloes").status_code == 401


def _sign_in(client: httpx.Client, name: str, password: str) -> httpx.Response:
    return client.post("/sign-in", data={"name": name, "password": password})
