"""A farm's page: the plan in the reader's language, and only for those who may see the farm."""

from __future__ import annotations

from running_desk import RunningDesk


def test_a_farm_has_its_plan(desk: RunningDesk) -> None:
    with desk.launched() as client:
        text = client.get("/farms/two-elms", params={"on": "2026-09-14"}).text
        assert "Two Elms" in text and "one pass today for sorghum aphids and headworms" in text
        assert "over doing nothing" in text and "A bad tenth" in text
        assert 'href="/farms/two-elms?on=' in client.get("/places").text
        assert client.get("/farms/none-such").status_code == 404
