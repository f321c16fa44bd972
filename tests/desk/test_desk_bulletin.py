"""The bulletin's door: no farm named in anything public, every form put out, own paragraphs, calendars by farm."""

from __future__ import annotations

import pytest
from page_forms import form_of
from running_desk import RunningDesk

from sideoats.desk.pages.bulletin import FORMS


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_farm_and_no_place_is_named_in_public(desk: RunningDesk, language: str) -> None:
    desk.wait_for_week()
    names = {f.name for f in desk.desk.farms(None).values()} | {p.id for p in desk.desk.places(None).values() if p.farm}
    with desk.launched() as client:
        for form in FORMS:
            if form.endswith(".pdf"):
                continue
            text = client.get(f"/bulletin/{language}/{form}").text
            assert len(text) > 60
            assert not [n for n in names if n in text], form
        preview = client.get("/bulletin", params={"language": language}).text
        head = preview.split('id="read-title"')[1]
        assert not [n for n in names if n in head]
        shown = {"en": ("Walk your sorghum", "Markets", "Dates"), "es": ("Recorra su sorgo", "Mercados", "Fechas")}
        assert all(text in head for text in shown[language])


def test_the_pdf_is_a_pdf_and_the_page_is_to_keep(desk: RunningDesk) -> None:
    desk.wait_for_week()
    with desk.launched() as client:
        made = client.get("/bulletin/en/bulletin.pdf")
        assert made.content.startswith(b"%PDF-") and made.headers["content-type"] == "application/pdf"
        assert made.content == client.get("/bulletin/en/bulletin.pdf").content
        page = client.get("/bulletin/en/bulletin.html")
        assert page.headers["content-disposition"].startswith('attachment; filename="2026-09-14-en-bulletin.html"')
        for path in (
            "/bulletin/xx/bulletin.pdf",
            "/bulletin/en/..%2fx",
            "/bulletin/en/passwords.txt",
            "/calendar/none",
        ):
            assert client.get(path).status_code == 404


def test_a_calendar_is_read_by_an_independent_parser(desk: RunningDesk) -> None:
    icalendar = pytest.importorskip("icalendar")
    week = desk.wait_for_week()
    with desk.launched() as client:
        answer = client.get("/calendar/two-elms")
    events = [e for e in icalendar.Calendar.from_ical(answer.content).walk("VEVENT")]
    due = [c for c in week.calls if c.farm == "two-elms" and c.verdict != "wait"]
    assert len(events) == sum((c.act_by is not None) + (c.look_by is not None) for c in due)
    assert answer.headers["content-type"].startswith("text/calendar")


def test_ones_own_words_stand_in_it_and_cannot_become_code(desk: RunningDesk) -> None:
    desk.wait_for_week()
    head = desk.desk.evidence_head()
    with desk.launched() as client:
        form = form_of(client.get("/bulletin").text, "/bulletin?on=")
        told = {**form, "opening.en": "Rain <script>alert(1)</script> is\nnear.", "closing.en": ""}
        assert client.post("/bulletin", data=told).status_code == 303
        page = client.get("/bulletin").text
        assert "Rain &lt;script&gt;alert(1)&lt;/script&gt; is near." in page and "<script>alert" not in page
        assert "<script>alert" not in client.get("/bulletin/en/bulletin.html").text
        assert client.get("/bulletin/en/bulletin.pdf").content.startswith(b"%PDF-")
        too_long = client.post("/bulletin", data={**form, "opening.en": "x" * 2100})
        assert too_long.status_code == 422 and "too long" in too_long.text
    assert desk.desk.evidence_head() == head  # a paragraph changes no call


def test_who_sees_one_farm_gets_its_calendar_only(office: RunningDesk) -> None:
    office.wait_for_week()
    with office.signed_in("gus") as client:
        assert client.get("/calendar/two-elms").status_code == 200
        assert client.get("/calendar/long-ditch").status_code == 404
        assert "In your own words" not in client.get("/bulletin").text
    said = [e.body["what"] for e in office.desk.ledger.history(kind="audit")]
    assert "calendar taken out" in said


def test_without_calls_there_is_nothing_to_put_out(empty_desk: RunningDesk) -> None:
    with empty_desk.launched() as client:
        assert "no calls to write about" in client.get("/bulletin").text
        assert client.get("/bulletin/en/bulletin.pdf").status_code == 404
