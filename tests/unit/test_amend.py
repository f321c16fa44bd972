"""A description is changed without losing the rest; a slip of unit, sign or year is asked back before it is kept."""

from datetime import UTC, date, datetime

import pytest
from click.testing import CliRunner

from sideoats.cli import group
from sideoats.errors import InputError
from sideoats.ledger import NewEntry, open_ledger

FIELD = {"name": "F1", "kind": "field", "crop": "milo", "acres": "80", "latitude": "38.1", "longitude": "97.9 W"}


@pytest.fixture
def office(tmp_path):
    """The commands on a ledger of one farm with one field."""
    where = str(tmp_path / "l.sqlite")

    def run(*words):
        found = CliRunner().invoke(group, ["--ledger", where, *words])
        if found.exception and not isinstance(found.exception, SystemExit):
            raise found.exception
        return found.output

    run("record", "farm", "farm=oak", "name=Oak")
    run("record", "place", "place=oak.f1", "farm=oak", *(f"{k}={v}" for k, v in FIELD.items()))
    run.where = where
    return run


def place(office, name="oak.f1"):
    with open_ledger(office.where) as ledger:
        return next(p for p in ledger.places() if p.id == name)


def test_amending_changes_only_what_is_given_and_says_what(office):
    said = office("amend", "place=oak.f1", "crop=wheat", "station=")
    assert "crop: milo -> wheat" in said and "acres" not in said
    assert place(office).attributes == {"crop": "wheat", "acres": 80.0, "latitude": 38.1, "longitude": -97.9}
    assert "acres: 80 -> not known" in office("amend", "place=oak.f1", "acres=")
    assert "acres" not in place(office).attributes
    assert "name: Oak -> Oak farm" in office("amend", "farm=oak", "name=Oak farm")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        (["place=oak.f9", "acres=70"], "is described yet"),
        (["place=oak.f1", "acres=80"], "on file already"),
        (["place=oak.f1", "acres=70", "seen=2020-01-01"], "before the newest description"),
        (["place=oak.f1", "acers=70"], "did you mean acres"),
        (["place=oak.f1", "acres=70", "seen=2199-01-01"], "has not come yet"),
        (["acres=70"], "place=ID or farm=ID"),
    ],
)
def test_an_amendment_that_cannot_be_is_refused_and_nothing_is_changed(office, words, line):
    before = place(office)
    with pytest.raises(InputError, match=line):
        office("amend", *words)
    assert place(office) == before


def test_describing_again_does_not_wipe_what_is_not_repeated(office):
    with pytest.raises(InputError, match=r"would wipe acres, latitude, longitude.*amend"):
        office("record", "place", "place=oak.f1", "farm=oak", "name=F1", "kind=field", "crop=wheat")
    office(
        "record", "place", "place=oak.f1", "farm=oak", "name=F1", "kind=field", "crop=wheat", "acres=", "latitude=38.1",
        "longitude=-97.9",
    )  # fmt: skip
    assert "acres" not in place(office).attributes


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (["price=545 USD/bu"], "545 cents/bu"),
        (["crop=cow-calf", "price=3.20 USD/cwt"], "3.2 USD/lb"),
        (["longitude=97.9"], "is the longitude 38.1, -97.9"),
        (["latitude=-38.1"], "km from the nearest"),
        (["latitude=38 %"], "not a unit of that kind"),
        (["longitude=200 ppm"], "not a unit of that kind"),
        (["elevation=3000000 gal/ac"], "not a unit of that kind"),
    ],
)
def test_a_figure_that_cannot_be_meant_is_asked_back(office, changes, line):
    office(
        "record", "place", "place=oak.f2", "farm=oak", "name=F2", "kind=field", "crop=wheat", "latitude=38.2",
        "longitude=-97.8",
    )  # fmt: skip
    with pytest.raises(InputError, match=line):
        office("amend", "place=oak.f1", *changes)


def test_a_figure_that_was_checked_is_kept_and_says_so(office):
    office("record", "place", "place=oak.f2", "farm=oak", "name=F2", "kind=field", "longitude=-97", "latitude=38")
    office("amend", "place=oak.f1", "price=30 USD/bu", "sure=yes")
    office("amend", "place=oak.f1", "acres=70")  # what was checked is not asked again
    assert place(office).attributes["sure"] is True
    assert place(office).attributes["price"] == "30.0 USD/bu"
    with pytest.raises(InputError, match="no price for milo"):
        office("amend", "place=oak.f1", "price=31 USD/bu")


@pytest.mark.parametrize(
    ("commodity", "slip", "right"),
    [
        ("wheat", "545 USD/bu", "545 cents/bu"),
        ("soybeans", "1,050 USD/bu", "10.50 USD/bu"),
        ("feeder steers 500 to 550 lb", "3.20 USD/cwt", "3.20 USD/lb"),
        ("cotton", "72 USD/lb", "72 cents/lb"),
        ("alfalfa hay", "2 USD/ton", "210 USD/ton"),
    ],
)
def test_a_quote_is_asked_back_by_what_its_product_brings(tmp_path, commodity, slip, right):
    with open_ledger(tmp_path / "l.sqlite") as ledger:
        ledger.append([NewEntry("place", {"name": "M", "kind": "market"}, place="m")])
        with pytest.raises(InputError, match="no price for"):
            ledger.append([NewEntry("quote", {"commodity": commodity, "price": slip}, place="m")])
        ledger.append([NewEntry("quote", {"commodity": commodity, "price": right}, place="m")])
        ledger.append([NewEntry("quote", {"commodity": commodity, "price": slip, "sure": "yes"}, place="m")])


def test_a_record_of_a_day_to_come_is_refused(office):
    with pytest.raises(InputError, match="has not come yet"):
        office("record", "note", "place=oak.f1", "text=x", "seen=2199-01-01")


def test_places_of_one_batch_are_compared_with_each_other(tmp_path):
    seen = datetime(2026, 9, 1, tzinfo=UTC)

    def at(name, longitude):
        return NewEntry(
            "place", {"name": name, "kind": "field", "latitude": 38.0, "longitude": longitude}, place=name, seen_at=seen
        )

    with open_ledger(tmp_path / "l.sqlite") as ledger:
        with pytest.raises(InputError, match="km from the nearest place"):
            ledger.append([at("a", -98.0), at("b", 98.0)])
        ledger.append([at("a", -98.0), at("b", -98.5)])
        assert len(ledger.places(date(2026, 9, 2))) == 2
