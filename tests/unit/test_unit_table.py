"""The table of units against pint, from which it was made: the oracle is pint itself."""

from __future__ import annotations

import itertools

import pytest
from tools.make_unit_table import NAMES, row

from sideoats import units
from sideoats.errors import UnitError
from sideoats.ledger.evidence import evidence_kinds
from sideoats.question import every
from sideoats.unit_table import ROWS

WRITTEN = (
    "80 bu/ac", "27 lb/ac", "3 per ft", "4 /ft", "2 1/ft", "70 F", "21 °C", "5 mph", "12 gpa", "1.5 ton/ac",
    "30 lb/ft2",
    "60 lb/bu", "545 cents/bu", "3 USD/cwt", "18 delta_degF", "40 in", "9 gal/ac", "30 inHg", "7 Mcal/day", "100 head",
    "2 lb/head/day", "3 LB/AC", "4 kg / ha", "3 lb per ac", "2 m2", "0.4 USD/lb", "300 W/m2", "5 MJ/m**2/day",
)  # fmt: skip


def canonical_units() -> set[str]:
    asked = {f.unit for q in every() for f in q.inputs}
    kept = {getattr(f, "unit", "1") for kind in evidence_kinds().values() for f in kind.fields.values()}
    return {u for u in asked | kept if u not in ("", "1")}


def test_the_table_is_what_pint_says_today():
    assert {name: row(name) for name in NAMES} == dict(ROWS)


def test_every_canonical_unit_is_read_without_pint():
    assert [u for u in sorted(canonical_units()) if units._read(u) is None and not units._parts(u)] == []


@pytest.mark.parametrize("text", WRITTEN)
def test_what_people_write_converts_as_pint_does(text):
    unit = units.split(text)[1]
    fitting = 0
    for canonical in sorted(canonical_units()):
        if units._parts(canonical) or units._parts(unit):
            continue
        try:
            wanted = units._by_pint(unit, canonical)
        except UnitError:
            with pytest.raises(UnitError):
                units.conversion(unit, canonical)
            continue
        fitting += 1
        assert units.conversion(unit, canonical) == pytest.approx(wanted, rel=1e-12, abs=1e-9)
    assert fitting or unit in ("per ft", "/ft", "1/ft", "m2", "inHg", "lb/ft2", "Mcal/day", "MJ/m**2/day", "W/m2")


def test_all_pairs_of_names_convert_as_pint_does():
    ureg = units.registry()
    for a, b in itertools.combinations(sorted(ROWS), 2):
        if ROWS[a][1] == ROWS[b][1] and "delta" not in a + b:
            zero = ureg.Quantity(0.0, ureg.Unit(a)).to(ureg.Unit(b)).magnitude
            one = ureg.Quantity(1.0, ureg.Unit(a)).to(ureg.Unit(b)).magnitude
            factor, offset = units.conversion(a, b)
            assert (factor, offset) == pytest.approx((one - zero, zero), rel=1e-9, abs=1e-9), (a, b)


@pytest.mark.parametrize("unit", ["furlong", "furlong/fortnight", "slug/ac"])
def test_a_unit_outside_the_table_goes_through_pint(unit):
    assert units._read(unit) is None
    with pytest.raises(UnitError, match="not a unit of that kind"):
        units.conversion(unit, "USD")


@pytest.mark.parametrize("unit", ["lb//ac", "lb/", "/", "**2", "lb**", "lb ac", "2 lb", "lb/2", "%%", "lb*", "nosuch"])
def test_nonsense_is_refused(unit):
    with pytest.raises(UnitError):
        units.conversion(unit, "lb/ac")
