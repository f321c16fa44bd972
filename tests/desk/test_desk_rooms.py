"""Pages of the rooms: weather, markets, trials, the round; what a farm's own account sees of them."""

from __future__ import annotations

import re

import pytest
from running_desk import RunningDesk

from sideoats.week.stop_lines import stop_lines


def figures(text: str) -> int:
    """Pictures of a page, each with its sentence and its table."""
    found = text.count('<figure class="picture"')
    assert text.count("<summary>The numbers</summary>") == found
    return found


def test_each_station_has_its_rain_and_heat(desk: RunningDesk) -> None:
    with desk.launched() as client:
        first = client.get("/weather").text
        assert figures(first) == 3 and "of normal" in first
        other = client.get("/weather", params={"station": "marrow-south"}).text
        assert "marrow south" in other and figures(other) == 3
        late = client.get("/weather", params={"since": "2026-09-20"}).text
        assert figures(late) == 2  # no heat before its season begins
        assert client.get("/weather", params={"since": "soon"}).status_code == 422
        assert client.get("/weather", params={"station": "none"}).status_code == 200


@pytest.mark.parametrize("commodity", ["wheat", "feeder steer 500 lb", "cotton"])
def test_each_commodity_has_its_range_and_season(desk: RunningDesk, commodity: str) -> None:
    with desk.launched() as client:
        text = client.get("/markets", params={"commodity": commodity}).text
    assert figures(text) == 2 and "is not a forecast" in text and "not a forecast" in text
    assert len(re.findall(r'<th scope="row"><a href="/markets\?commodity=', text)) == 11


def test_trials_keep_grazed_and_ungrazed_apart(desk: RunningDesk) -> None:
    with desk.launched() as client:
        text = client.get("/trials").text
    if "No variety trial" in text:
        pytest.skip("the invented district has no trial")
    assert figures(text) == 4
    titles = re.findall(r"<figcaption><b>([^<]*)", text)
    assert sum(", grazed:" in t for t in titles) == 1 and sum(", ungrazed:" in t for t in titles) == 1


def test_a_wheat_field_shows_its_growth(desk: RunningDesk) -> None:
    wheat = next(p for p in desk.desk.places(None).values() if p.attributes.get("crop") == "winter wheat")
    with desk.launched() as client:
        text = client.get(f"/places/{wheat.id}").text
    assert "Zadoks" in text and "stem elongation" in text


def test_the_round_fits_its_hours_and_gives_cards(desk: RunningDesk) -> None:
    desk.wait_for_week()
    with desk.launched() as client:
        short, long = (client.get("/round", params={"hours": h}).text for h in ("2", "20"))
        assert (
            0
            < len(re.findall(r'class="figures">\d+\.</b>', short))
            < len(re.findall(r'class="figures">\d+\.</b>', long))
        )
        cards = client.get("/round/cards.html", params={"hours": "20"})
        assert cards.headers["content-disposition"].startswith("attachment") and "Stop counting" in cards.text
        assert client.get("/round", params={"hours": "many"}).status_code == 200


def test_the_round_of_one_farm_shows_no_other(office: RunningDesk) -> None:
    office.wait_for_week()
    with office.signed_in("gus") as client:
        for path in ("/round?hours=40", "/round/cards.html?hours=40"):
            text = client.get(path).text
            assert not [f for f in ("Long Ditch", "long-ditch", "Kestrel", "kestrel-bend") if f in text]


def test_the_phone_gets_every_plan_that_the_questions_have(desk: RunningDesk) -> None:
    with desk.launched() as client:
        data = client.get("/enter/data.json").json()
    lines = desk.desk.stop_lines(desk.settings.today())
    some = {line["place"] for line in lines[::7]}
    anew = stop_lines(desk.desk.districts.on(desk.settings.today()), some)  # for some places as for all
    assert data["lines"] == lines and anew == [line for line in lines if line["place"] in some] and anew
    fields = {(k["name"], f["name"]) for k in data["kinds"] for f in k["fields"] if f["kind"] == "counts"}
    assert {(line["kind"], line["field"]) for line in lines} <= fields
    for line in lines:
        for lines_of in line["by"].values():
            pairs = [
                p for side in zip(lines_of["below"], lines_of["above"], strict=True) for p in zip(*side, strict=True)
            ]
            assert all(below is None or above is None or below <= above for below, above in pairs)
            assert {len(row) for row in lines_of["above"]} == {len(line["units"])}
