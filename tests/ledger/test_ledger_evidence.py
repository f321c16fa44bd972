"""Evidence kinds: how their files are read, and what their fields take."""

from __future__ import annotations

import json
import math
import uuid
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sideoats.errors import InputError, SideoatsError, UnitError, VocabularyError
from sideoats.ledger import canon, evidence_kinds
from sideoats.ledger.evidence import DaysField, EvidenceKind, QuantityField, evidence_kind, place_kinds, read_value
from sideoats.schema import Field
from sideoats.station import DAILY_UNITS
from sideoats.vocabulary import read_tables


def kinds_of(tmp_path: Path, **files: str) -> dict[str, EvidenceKind]:
    for name, text in files.items():
        (tmp_path / f"{name}.toml").write_text(text)
    return {name: evidence_kind(kind) for name, kind in read_tables(tmp_path.glob("*.toml")).items() if kind.title}


def test_every_kind_of_the_program_is_well_formed() -> None:
    for kind in evidence_kinds().values():
        assert kind.title and kind.fields
        assert set(kind.places) <= set(place_kinds())
        assert not kind.topic or kind.topic.split(".")[0] in kind.fields
        for field in kind.fields.values():
            assert field.help, f"{kind.name}.{field.name} says nothing about itself"


def test_station_days_have_the_variables_and_units_of_a_station_record() -> None:
    fields = evidence_kinds()["station_days"].fields
    assert {name: f.unit for name, f in fields.items() if isinstance(f, DaysField)} == dict(DAILY_UNITS)


def test_a_room_adds_fields_to_a_kind_of_another(tmp_path: Path) -> None:
    kinds = kinds_of(
        tmp_path,
        a='[bin.fields.fans]\nkind = "counts"\nhelp = "fans"\n',
        b='[bin]\ntitle = "A bin"\n[bin.fields.depth]\nkind = "number"\nunit = "ft"\nhelp = "depth"\n',
    )
    assert set(kinds["bin"].fields) == {"depth", "fans"} and kinds["bin"].fields["depth"].unit == "ft"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[a]\ntitle = 'A'\ncolour = 'red'\n", "'colour' is not known"),
        ("[a]\ntitle = 'A'\n[a.fields.b]\nhelp = 'x'\n", "has no kind"),
        ("[a]\ntitle = 'A'\n[a.fields.b]\nkind = 'colour'\n", "field b has kind 'colour'"),
        ("[a]\ntitle = 'A'\n[a.fields.b]\nkind = 'number'\nunti = 'ac'\n", "field b has unti"),
        ("[a.fields.b]\nkind = 'number'\n", "needs a title"),
        ("[a", "vocabulary x.toml"),
    ],
)
def test_a_wrong_file_is_named(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(VocabularyError, match=said) as caught:
        kinds_of(tmp_path, x=text)
    assert "x.toml" in str(caught.value)


def test_a_kind_or_field_declared_twice_is_refused(tmp_path: Path) -> None:
    kind = "[a]\ntitle = 'A'\n[a.fields.b]\nkind = 'text'\nhelp = 'b'\n"
    with pytest.raises(VocabularyError, match="declared twice"):
        kinds_of(tmp_path, x=kind, y=kind)
    with pytest.raises(VocabularyError, match="field b is declared twice"):
        kinds_of(tmp_path, x=kind, y=kind.replace("title = 'A'\n", ""))


def test_text_needs_its_unit_and_a_number_is_in_the_unit_of_the_field() -> None:
    field = Field("depth", "number", "", unit="ft")
    assert read_value(field, "36 inch") == pytest.approx(3.0) and read_value(field, np.float64(3)) == 3.0
    with pytest.raises(UnitError, match="has no unit"):
        read_value(field, "3")
    many = Field("weights", "numbers", "", unit="lb")
    assert read_value(many, [500, 510.5]) == (500.0, 510.5) == read_value(many, np.array([500, 510.5]))
    assert read_value(many, ["1 kg", "2 kg"]) == pytest.approx((2.20462262, 4.40924525))
    with pytest.raises(UnitError):
        read_value(many, ["500", "510"])


@pytest.mark.parametrize("given", ["2.2e-313 ft", "-1e-20 ft", "1e-320 ft"])
def test_a_number_that_is_nearly_nothing_is_refused_and_nothing_is_not(given: str) -> None:
    field = Field("depth", "number", "", unit="ft")
    with pytest.raises(InputError, match="too near nothing to be meant; expected 0, or a larger number"):
        read_value(field, given)
    assert read_value(field, "0 ft") == 0.0 and read_value(field, "1e-9 ft") == pytest.approx(1e-9)


def test_records_are_read_field_by_field() -> None:
    inner = (
        Field("weight", "number", "", unit="lb", required=True),
        Field("sex", "choice", "", choices=("steer", "heifer")),
    )
    field = Field("animals", "records", "", fields=inner)
    assert read_value(field, [{"weight": 510, "sex": "STEER"}]) == ({"weight": 510.0, "sex": "steer"},)
    assert read_value(field, "weight=1 kg, sex=heifer")[0]["weight"] == pytest.approx(2.20462262)
    with pytest.raises(InputError, match=r"animals 2 weight: is missing"):
        read_value(field, [{"weight": 510}, {"sex": "steer"}])
    with pytest.raises(InputError, match="1001 records"):
        read_value(field, [{"weight": 510}] * 1001)
    assert read_value(field, []) is None


QUANTITY = QuantityField("yield", "quantity", "", units=("bu/ac", "lb/ac"), low=0)


@pytest.mark.parametrize(
    ("given_text", "kept"),
    [("80 bu/ac", "80.0 bu/ac"), ("2 ton/ac", "4000.0 lb/ac"), ("1,200 lb/ac", "1200.0 lb/ac"), ("  ", None)],
)
def test_a_quantity_keeps_a_listed_unit(given_text: str, kept: str | None) -> None:
    assert QUANTITY.read(given_text) == kept


@pytest.mark.parametrize("wrong", ["80", 80, "-1 bu/ac", "80 head", "lots", "nan bu/ac", "1e309 bu/ac", True])
def test_a_quantity_without_a_fitting_unit_is_refused(wrong: object) -> None:
    with pytest.raises(InputError, match="yield"):
        QUANTITY.read(wrong)


def test_a_price_in_dollars_a_bushel() -> None:
    price = evidence_kinds()["quote"].fields["price"]
    assert price.read("$4.50/bu") == "4.5 USD/bu"


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53), 2**53) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4), max_leaves=12,
)  # fmt: skip


@given(st.dictionaries(st.text(st.characters(codec="utf-8", exclude_characters="\x00")), json_values, max_size=5))
def test_canonical_text_reads_back_and_is_stable(body: dict[str, object]) -> None:
    text = canon.body_text(body)
    back = json.loads(text)
    assert canon.body_text(back) == text
    assert canon.body_text(dict(reversed(back.items()))) == text


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=30) | st.binary(max_size=5)
    | st.sampled_from(["80 bu/ac", "1e309 ac", "nan", "2026-02-30", "12,40,7", "a=b; c", "name=x, price=3 USD/ton"]),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4), max_leaves=8,
)  # fmt: skip


@given(st.sampled_from(sorted(evidence_kinds())), st.data())
def test_whatever_is_sent_is_read_or_refused_in_one_line(name: str, data: st.DataObject) -> None:
    kind = evidence_kinds()[name]
    body = data.draw(st.fixed_dictionaries({}, optional=dict.fromkeys(kind.fields, anything)))
    try:
        text = canon.body_text(kind.read(body))
    except SideoatsError as error:
        assert "\n" not in str(error)
    else:
        assert canon.body_text(kind.read(json.loads(text))) == text, "what was stored reads back as itself"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 2**53 + 1, "a\x00", "\ud800", object(), {1, 2}])
def test_what_json_cannot_keep_is_refused(bad: object) -> None:
    with pytest.raises(InputError):
        canon.body_text({"a": [bad]})


def test_deep_and_large_bodies_are_refused() -> None:
    deep: list[object] = []
    for _ in range(20):
        deep = [deep]
    with pytest.raises(InputError, match="too deeply"):
        canon.body_text({"a": deep})
    with pytest.raises(InputError, match="at most"):
        canon.body_text({"a": "x" * 9_000_000})


def test_a_minted_id_is_a_version_7_uuid_of_this_moment() -> None:
    """RFC 9562, section 5.7: Unix milliseconds in the first 48 bits, version 7, variant 10."""
    before = datetime.now(UTC).timestamp()
    minted = [uuid.UUID(canon.mint()) for _ in range(100)]
    assert len(set(minted)) == 100
    for found in minted:
        assert found.version == 7 and found.variant == uuid.RFC_4122
        assert before - 1 <= (found.int >> 80) / 1000 <= before + 60


def test_instants_sort_as_text() -> None:
    """Fixed width is what lets SQLite compare instants as text."""
    moments = [
        datetime(1850, 1, 1, tzinfo=UTC),
        datetime(2026, 1, 1, 0, 0, 0, 1, UTC),
        datetime(2026, 1, 1, 0, 0, 1, 0, UTC),
    ]
    texts = [canon.instant_text(m) for m in moments]
    assert texts == sorted(texts) and {len(t) for t in texts} == {27}
    assert [canon.instant(t) for t in texts] == moments


def test_days_take_another_unit_and_gaps() -> None:
    field = DaysField("rain", "days", "", unit="mm", low=0)
    assert field.read({"unit": "inch", "values": [1, None]}) == [pytest.approx(25.4), None]
    assert field.read(np.array([1.0, np.nan])) == [1.0, None]
    for wrong in ([-1], ["1"], [True], "1,2", {"unit": "degF", "values": [1]}, {"unit": "mm"}, 5):
        with pytest.raises(InputError):
            field.read(wrong)


def test_dates_are_kept_as_text() -> None:
    body = evidence_kinds()["place"].read({"name": "a", "kind": "field", "planting_date": date(2026, 5, 1)})
    assert json.loads(canon.body_text(body))["planting_date"] == "2026-05-01"
