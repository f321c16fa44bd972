"""Boxes from fields and values from boxes: what is shown is what is read back."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats import units
from sideoats.desk import forms, shown
from sideoats.ledger.evidence import QuantityField
from sideoats.schema import Field

YIELD = Field("yield", "number", "expected yield", unit="bu/ac", low=0, high=500, required=True)
RESULT = Field("result", "number", "laboratory result", unit="ppm", low=0, high=1e6)
SHARE = Field("share", "share", "share infested")
PRICE = QuantityField("price", "quantity", "price", units=("USD/bu", "USD/ton"))


def back(f: Field, text: str, unit: str = "") -> object:
    sent = {f.name: text, f.name + ".unit": unit}
    typed = forms.typed([f], lambda name: sent.get(name, ""))
    values, errors = forms.read([f], typed)
    assert not errors, errors
    return values[f.name]


@settings(deadline=None)  # the first unit costs an import
@given(st.floats(0, 500, allow_nan=False).map(lambda v: 0.0 if v < 1e-9 else v))  # what is nearly nothing is refused
def test_a_number_shown_is_the_number_read(value: float) -> None:
    text = forms.shown_value(YIELD, value)
    assert back(YIELD, text, "bu/ac") == pytest.approx(value, rel=1e-5, abs=1e-300)


@settings(deadline=None)  # the first unit costs an import
@given(st.floats(0, 1, allow_nan=False).map(lambda v: 0.0 if v < 1e-9 else v))
def test_a_share_is_shown_and_read_in_percent(value: float) -> None:
    assert back(SHARE, forms.shown_value(SHARE, value)) == pytest.approx(value, rel=1e-5, abs=1e-9)


@settings(deadline=None)  # the first unit costs an import
@given(st.floats(0.01, 1000, allow_nan=False), st.sampled_from(["lb/ac", "kg/ha", "ton/ac"]))
def test_every_unit_offered_is_converted(value: float, unit: str) -> None:
    f = Field("rate", "number", "rate", unit="lb/ac", high=1e9)
    assert unit in forms.units_for("lb/ac")
    assert back(f, repr(value), unit) == pytest.approx(units.convert(value, unit, "lb/ac"), rel=1e-9)


def test_units_offered_are_of_the_same_kind_and_the_fields_own_comes_first() -> None:
    for unit in ("bu/ac", "lb", "F", "mph", "USD/ac", "in", "W/m^2"):
        offered = forms.units_for(unit)
        assert offered[0] == unit and len(set(offered)) == len(offered)
        for other in offered:
            units.conversion(other, unit)
    assert forms.units_for("1") == () and forms.units_for("") == ()


def test_where_a_wrong_unit_would_be_ten_thousandfold_none_is_chosen_beforehand() -> None:
    assert forms.units_for("ppm")[0] == "" and {"ppm", "%"} <= set(forms.units_for("ppm"))
    typed = forms.typed([RESULT], lambda n: {"result": "0.9"}.get(n, ""))
    _, errors = forms.read([RESULT], typed)
    assert "no unit" in errors["result"]
    assert back(RESULT, "0.9", "%") == pytest.approx(9000)


def test_a_unit_typed_into_the_box_wins() -> None:
    assert back(YIELD, "80 bu/ac", "bu/ac") == 80
    f = Field("rate", "number", "rate", unit="lb/ac")
    assert back(f, "1 ton/ac", "lb/ac") == 2000


def test_all_refusals_come_at_once() -> None:
    typed = forms.typed([YIELD, SHARE], lambda n: {"share": "over half"}.get(n, ""))
    _, errors = forms.read([YIELD, SHARE], typed)
    assert set(errors) == {"yield", "share"}
    assert all(line.endswith((".", "?")) and "\n" not in line for line in errors.values())


def test_records_are_read_line_by_line() -> None:
    feeds = Field("feeds", "records", "feeds", fields=(Field("name", "text", "feed"), YIELD))
    sent = {"feeds.0.name": "hay", "feeds.0.yield": "2", "feeds.0.yield.unit": "bu/ac", "feeds.2.name": "silage",
            "feeds.2.yield": "3 bu/ac"}  # fmt: skip
    typed = forms.typed([feeds], lambda n: sent.get(n, ""))
    values, errors = forms.read([feeds], typed)
    assert not errors
    assert values["feeds"] == ({"name": "hay", "yield": 2.0}, {"name": "silage", "yield": 3.0})
    boxes = forms.boxes([feeds], sent)
    assert [[b.value for b in row] for row in boxes[0].rows] == [["hay", "2"], ["", ""], ["silage", "3 bu/ac"]]


def test_a_quantity_of_several_units_must_say_which() -> None:
    assert forms.boxes([PRICE])[0].units == ("", "USD/bu", "USD/ton")
    assert back(PRICE, "4.5", "USD/bu") == "4.5 USD/bu"
    _, errors = forms.read([PRICE], forms.typed([PRICE], lambda n: {"price": "4.5"}.get(n, "")))
    assert errors


@settings(deadline=None)  # the first unit costs an import
@given(st.text(max_size=40), st.text(max_size=10))
def test_anything_typed_is_read_or_refused_in_one_line(text: str, unit: str) -> None:
    fields = [YIELD, SHARE, RESULT, Field("n", "numbers", "n", unit="%"), Field("c", "counts", "c"),
              Field("d", "date", "d"), Field("f", "flag", "f"), Field("k", "choice", "k", choices=("a", "b")), PRICE,
              Field("s", "series", "s")]  # fmt: skip
    typed = forms.typed(fields, lambda n: unit if n.endswith(".unit") else text)
    values, errors = forms.read(fields, typed)
    assert set(values) | set(errors) == {f.name for f in fields}
    assert not any("\n" in line for line in errors.values())


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (12.4, "USD/ac", "$12.40/ac"), (-3, "USD/ac", "−$3.00/ac"), (1234.6, "USD", "$1,235"), (0.0, "USD", "$0.00"),
        (-0.001, "USD/ac", "$0.00/ac"), (math.nan, "USD/ac", "not known"), (80.0, "bu/ac", "80 bu/ac"),
        ("NO3", "1", "NO3"),
        (150, "USD", "$150"), (12_345.678, "USD/head", "$12,346/head"),
    ],
)  # fmt: skip
def test_money_is_written_with_its_unit(value: float, unit: str, text: str) -> None:
    assert shown.money(value, unit) == text


def test_numbers_days_and_chances_are_written_plainly() -> None:
    assert (
        shown.figure(1234567.0) == "1,234,567" and shown.figure(0.00012) == "0.0001" and shown.figure(-2.5) == "−2.50"
    )
    assert shown.share(0.004) == "under 1 %" and shown.share(0.996) == "over 99 %" and shown.share(0.725) == "72 %"
    assert shown.share(0) == "0 %" and shown.share(1) == "100 %" and shown.share(math.nan) == "not known"
    assert shown.day(date(2026, 8, 12)) == "Wed 12 Aug" and shown.day(date(2027, 1, 1), 2026) == "Fri 1 Jan 2027"
    assert shown.day(None) == "" and shown.plural(1, "call") == "1 call" and shown.plural(2000, "call") == "2,000 calls"
    assert str(shown.day_tag(date(2026, 8, 12))) == '<time datetime="2026-08-12">Wed 12 Aug</time>'


def test_chances_are_written_in_percent_and_other_bare_numbers_are_not() -> None:
    assert shown.quantity(0.82, "chance_treating_pays", "1") == "82 %"
    assert shown.quantity(0.073, "expected_loss_untreated", "1") == "7 %"
    assert shown.quantity(0.5, "ratio", "1") == "0.50" and shown.quantity(14.0, "interval", "day") == "14 days"


def test_drawings_are_taken_from_our_own_hand_only() -> None:
    with pytest.raises(ValueError, match="not a picture"):
        shown.drawn({}, "<script>alert(1)</script>")
    assert "<script" not in str(shown.mark("<script>"))
