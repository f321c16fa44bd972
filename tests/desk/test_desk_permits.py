"""Who may record what: every kind of evidence by every account, of every farm, through every door of the desk."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

import pytest
from page_forms import form_of
from running_desk import DAY, FIELD, RunningDesk, make_office, running

from sideoats.desk.settings import Settings
from sideoats.desk.taking import FileJob
from sideoats.intake.taken import Draft, Taken
from sideoats.ledger import NewEntry, evidence_kinds

# Written out here, not read from the kinds, so that a kind that opens itself to a scout is seen.
OFFICE = {"farm", "place", "quote", "setting"}
OWN_PAGE = {"call", "action", "outcome", "withdrawal", "paragraph", "letter", "audit", "forgotten"}
ONLY_FILE = {"station_days", "station_normals", "drought_map", "statistic", "buyer_schedule", "file_taken",
             "forecast_hours", "weather_alert"}  # fmt: skip
SEEN = set(evidence_kinds()) - OFFICE - OWN_PAGE - ONLY_FILE - {"sealing", "photo"}
ACCOUNTS = {"ada": ("adviser", ""), "sam": ("scout", ""), "rita": ("reader", ""), "sue": ("scout", "two-elms"),
            "tim": ("adviser", "two-elms")}  # fmt: skip
PLACES = {"two-elms": FIELD, "long-ditch": "long-ditch.sorghum-2", "": "marrow-north"}
DOORS = ("send", "form", "upload")


@pytest.fixture(scope="module")
def office(demo_ledger: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    folder = tmp_path_factory.mktemp("permits")
    make_office(Settings(data=folder / "data"))
    with running(folder, demo_ledger, office=True) as found:
        found.desk.accounts.add("tim", "an owl that counts to eleven", "adviser", ("two-elms",))
        yield found


def allowed(kind: str, who: str, farm: str, door: str) -> bool:
    """What ought to be."""
    role, own = ACCOUNTS[who]
    if own and farm != own:
        return False
    if role == "adviser":
        known = {"send": SEEN | {"photo"}, "form": SEEN | OFFICE | {"sealing"},
                 "upload": SEEN | OFFICE | ONLY_FILE}  # fmt: skip
        return kind in known[door]
    return role == "scout" and door != "upload" and kind in SEEN | ({"photo"} if door == "send" else set())


def knock(desk: RunningDesk, client: Any, kind: str, who: str, farm: str, door: str) -> tuple[int, str]:
    """Try to record; the status and what was said."""
    place = PLACES[farm]
    where = (
        {"farm": farm} if kind == "farm" else {"place": place, "farm": farm} if kind == "place" else {"place": place}
    )
    if door == "send":
        sent = {"id": str(uuid.uuid4()), "kind": kind, "seen_at": "2026-09-13T09:00:00-05:00", "body": {}, **where}
        answer = client.post("/send/entry", json=sent)
    elif door == "form":
        told = {"kind_of": kind, "place_of": place, "about.id": place, "about.farm": farm}
        answer = client.post("/enter/by-hand", data=told)
    else:
        drafts = (
            Draft(
                kind, {}, datetime(2026, 9, 13, tzinfo=UTC), place=where.get("place"), farm=where.get("farm") or None
            ),
        )
        job = FileJob(uuid.uuid4().hex, who, "x.csv", Path("gone"), 1, state="read", taken=Taken(drafts))
        desk.desk.files._jobs[job.id] = job
        answer = client.post(f"/files/{job.id}/take-in")
        job.state = "read"
    return answer.status_code, answer.text


REFUSED = ("of this account", "by this account", "is not a kind of evidence", "does not open this", "no place ",
           "no farm ", "is taken")  # fmt: skip


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("who", ACCOUNTS)
def test_every_kind_at_every_farm(office: RunningDesk, who: str, door: str) -> None:
    wrong = []
    before = office.desk.ledger.head()[0]
    with office.signed_in(who) as client:
        for kind in sorted(evidence_kinds()):
            for farm in PLACES:
                status, said = knock(office, client, kind, who, farm, door)
                refused = any(words in said for words in REFUSED)
                # an empty body goes no further than its fields, so that "let in" is told by what is complained of
                if refused == allowed(kind, who, farm, door) or (refused and status not in (403, 422)):
                    wrong.append((kind, farm, status, said[-300:] if door == "send" else ""))
    assert not wrong
    stored = [e.kind for e in office.desk.ledger.added(before)]
    assert set(stored) <= {"audit"} | (SEEN if who != "rita" else set())


def test_every_kind_says_who_and_by_which_door() -> None:
    for kind in evidence_kinds().values():
        assert set(kind.roles) <= {"adviser", "scout"} and bool(kind.roles) == bool(kind.doors), kind.name
    closed = {name for name, kind in evidence_kinds().items() if not kind.roles}
    assert closed == {"audit", "forgotten"}


def entry(kind: str, body: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "kind": kind, "seen_at": "2026-09-13T09:00:00-05:00", "body": body, **more}


def test_a_scout_does_not_write_the_bulletin_set_prices_seal_or_move_a_field(office: RunningDesk) -> None:
    before = office.desk.ledger.head()
    tries = [
        entry("paragraph", {"slot": "opening.en", "text": "spray everything today"}),
        entry("setting", {"name": "cost.aphid_treatment", "value": "1 USD/ac"}),
        entry("sealing", {"on": True}), entry("sealing", {"on": False}, farm="two-elms"), entry("forgotten", {}),
        entry("quote", {"commodity": "wheat", "price": "0.01 USD/bu"}, place="ridge-siding"),
        entry("place", {"name": "wheat 1", "kind": "field"}, place="stone-post.wheat-1", farm="two-elms"),
        entry("farm", {"name": "Renamed"}, farm="stone-post"),
    ]  # fmt: skip
    with office.signed_in("sam") as client:
        for one in tries:
            assert client.post("/send/entry", json=one).status_code == 422, one["kind"]
            told = {**one["body"], "kind_of": one["kind"], "place_of": one.get("place", ""),
                    "about.id": one.get("place", ""), "about.farm": one.get("farm", "")}  # fmt: skip
            assert client.post("/enter/by-hand", data=told).status_code == 422, one["kind"]
        offered = {kind["name"] for kind in client.get("/enter/data.json").json()["kinds"]}
    assert office.desk.ledger.head() == before
    assert not offered & (OFFICE | OWN_PAGE | ONLY_FILE | {"sealing"}) and "leaf_counts" in offered
    with office.signed_in("ada") as client:
        assert "sealing" not in {k["name"] for k in client.get("/enter/data.json").json()["kinds"]}


def test_a_scout_corrects_what_was_seen_and_not_what_the_office_set(office: RunningDesk) -> None:
    new = [NewEntry("setting", {"name": "cost.greenbug", "value": "9 USD/ac"}),
           NewEntry("paragraph", {"slot": "closing.en", "text": "Call with questions."})]  # fmt: skip
    for receipt in office.desk.ledger.append(new):
        with office.signed_in("sam") as client:
            assert "Correct" not in client.get(f"/entry/{receipt.id}").text.split("<main", 1)[1]
            refused = client.post(f"/entry/{receipt.id}/correct", data={"value": "1 USD/ac", "text": "mine"})
            assert refused.status_code in (403, 404, 422)
            through = entry("note", {"text": "x"}, corrects=receipt.id)
            assert client.post("/send/entry", json=through).status_code == 422


def test_the_advisers_later_word_wins_and_can_be_taken_back(office: RunningDesk) -> None:
    """Even over a paragraph stamped later in the day than the form's own noon."""
    office.wait_for_week()
    late = datetime.combine(DAY, time(22), tzinfo=office.settings.clock())
    office.desk.ledger.append([NewEntry("paragraph", {"slot": "opening.en", "text": "An older word."}, seen_at=late)])
    address = {"language": "en", "on": DAY.isoformat()}
    with office.signed_in("ada") as client:
        office.wait_for_week()
        form = form_of(client.get("/bulletin", params=address).text, "/bulletin?on=")
        assert form["opening.en"] == "An older word."
        for text in ("Walk the sorghum.", "Walk the sorghum by Wednesday.", ""):
            client.post("/bulletin", params=address, data={**form, "opening.en": text})
            office.wait_for_week()
            page = client.get("/bulletin", params=address).text
            assert form_of(page, "/bulletin?on=")["opening.en"] == text
            public = client.get("/bulletin/en/bulletin.txt", params=address).text
            assert "An older word." not in public and (not text or text in public)
