"""A result at a printed bound is in the class that ends there, or in the next where the publisher prints "under" it;
over every path of ion, unit and moisture that leads to it."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sideoats.asking import ask
from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.forage import nitrate
from sideoats.forage.nitrate_tables import tables

EVERY = tables(load())[1]
# printed bounds, in the publisher's own unit, typed here from the sources and not read from the program's tables
PRINTED = {
    "clemson": ("NO3-N", 1, ["1000", "1500", "2000", "3500", "4000"]),  # Clemson Agricultural Service Laboratory
    "nebraska": ("NO3-N", 1, ["2100"]),  # University of Nebraska, hay
    "south_dakota": ("NO3-N", 10_000, ["0.15", "0.45"]),  # South Dakota State (Harty), percent
    "manitoba": ("NO3", 10_000, ["0.3", "0.6", "0.9"]),  # Manitoba Agriculture, percent
    "servitech": ("NO3-N", 1, ["700", "1400", "2100", "2800", "3500"]),  # ServiTech 6.05.022: "< 700", "> 3,500"
    "dairyland": ("NO3-N", 1, ["1000", "2000", "4000"]),  # Dairyland: "< 1,000", "> 4,000"
}
UNDER = {("servitech", 0), ("dairyland", 0)}  # printed with "<": a result at the bound is in the class above
N, O, K = Fraction("14.007"), Fraction("15.999"), Fraction("39.098")  # IUPAC abridged standard atomic weights
WEIGHT = {"NO3-N": N, "NO3": N + 3 * O, "KNO3": K + N + 3 * O}  # grams that carry one mole of nitrogen
UNITS = {"ppm": Fraction(1), "%": Fraction(10_000), "mg/kg": Fraction(1), "g/kg": Fraction(1000)}
BOUNDS = [(name, at) for name, (_, _, rows) in PRINTED.items() for at in range(len(rows))]


def _result(publisher: str, at: int, form: str, unit: str, moisture: Fraction, nudge: Fraction) -> str:
    """The laboratory's number that is exactly the bound (times `nudge`), rounded to 17 significant digits."""
    ion, factor, rows = PRINTED[publisher]
    bound = Fraction(rows[at]) * factor * WEIGHT[form] / WEIGHT[ion] * (1 - moisture) * nudge
    return f"{float(bound / UNITS[unit]):.17g} {unit}"


def _class_of(publisher: str, **values: str) -> str:
    call = ask("hay-nitrate", values, on="2026-09-14", draws=4)
    return str(call["quantities"][f"class_{publisher}"]["value"])


paths = st.tuples(
    st.sampled_from(BOUNDS),
    st.sampled_from(sorted(WEIGHT)),
    st.sampled_from(sorted(UNITS)),
    st.one_of(st.none(), st.integers(30, 250)),  # what dry hay in the bale can hold, in thousandths
)


@settings(max_examples=120, deadline=None)
@given(paths)
@example((("manitoba", 0), "NO3-N", "%", 120))
@example((("south_dakota", 1), "KNO3", "g/kg", 233))
def test_a_result_at_a_bound_is_in_the_class_that_ends_there(
    path: tuple[tuple[str, int], str, str, int | None],
) -> None:
    (publisher, at), form, unit, wet = path
    moisture = Fraction(wet or 0, 1000)
    shared = {"form": form, "basis": "dry" if wet is None else "as-fed"}
    if wet is not None:
        shared["moisture"] = f"{float(100 * moisture):.6g} %"
    labels = EVERY[publisher].labels
    on = _class_of(publisher, result=_result(publisher, at, form, unit, moisture, Fraction(1)), **shared)
    under = _class_of(
        publisher, result=_result(publisher, at, form, unit, moisture, Fraction(999_999, 1_000_000)), **shared
    )
    over = _class_of(
        publisher, result=_result(publisher, at, form, unit, moisture, Fraction(1_000_001, 1_000_000)), **shared
    )
    assert (on, under, over) == (labels[at + ((publisher, at) in UNDER)], labels[at], labels[at + 1])


@pytest.mark.parametrize(("publisher", "at"), BOUNDS)
@pytest.mark.parametrize("form", sorted(WEIGHT))
@pytest.mark.parametrize("unit", sorted(UNITS))
def test_every_bound_by_every_ion_and_unit(publisher: str, at: int, form: str, unit: str) -> None:
    value, _ = _result(publisher, at, form, unit, Fraction(0), Fraction(1)).split()
    factor = float(UNITS[unit])
    level = nitrate.nitrate_nitrogen_dry(float(value) * factor, form=form, basis="dry")
    table = EVERY[publisher]
    assert int(table.classify(level)) == at + ((publisher, at) in UNDER)
    assert int(table.classify(float(level) * (1 + 1e-6))) == at + 1
    assert int(table.classify(float(level) * (1 - 1e-6))) == at


@settings(max_examples=200, deadline=None)
@given(st.floats(0, 50_000), st.floats(0, 50_000), st.sampled_from(sorted(EVERY)), st.booleans())
def test_more_nitrate_never_allows_a_larger_share(a: float, b: float, publisher: str, at_risk: bool) -> None:
    table = EVERY[publisher]
    low, high = sorted((a, b))
    (milder, harder), alone = table.largest_share(np.array([low, high]), at_risk)
    assert milder >= harder
    assert alone[0] or not alone[1]


@settings(max_examples=200, deadline=None)
@given(st.floats(0, 50_000), st.sampled_from(sorted(EVERY)), st.sampled_from(sorted(EVERY)))
def test_animals_at_risk_get_the_strictest_table_that_was_read_whatever_is_followed(
    level: float, one: str, other: str
) -> None:
    first, second = (nitrate.rule([level], True, EVERY[name], EVERY.values(), {"": 1500.0}) for name in (one, other))
    assert first.share == second.share and first.alone == second.alone and first.ceiling == second.ceiling
    without = {n: t for n, t in EVERY.items() if n not in ("montana", "trade")}
    assert {n for n, t in EVERY.items() if t.binds} == set(without)
    for table in without.values():
        share, alone = table.largest_share([level], True)
        assert first.share[0] <= share[0] and (alone[0] or not first.alone[0])


@settings(max_examples=100, deadline=None)
@given(
    st.floats(0, 120_000).map(lambda level: 0.0 if level < 10 else round(level, 1)),  # slips are asked back
    st.sampled_from(["NO3-N", "NO3", "KNO3", "nitrate", "", None]),
    st.sampled_from(["dry", "as-fed", "wet basis", "", None]), st.sampled_from([None, 0.12]),
)  # fmt: skip
def test_a_value_without_ion_or_basis_is_refused(
    level: float, form: str | None, basis: str | None, moisture: float | None
) -> None:
    whole = form in nitrate.IONS and (basis == "dry" or (basis == "as-fed" and moisture is not None))
    held = {"result": f"{level} ppm", "form": form, "basis": basis, "moisture": moisture}
    values = {k: v for k, v in held.items() if v is not None}
    if whole:
        assert ask("hay-nitrate", values, on="2026-09-14", draws=4)["quantities"]
        return
    with pytest.raises(InputError) as caught:
        ask("hay-nitrate", values, on="2026-09-14", draws=4)
    assert "\n" not in str(caught.value)


@settings(max_examples=100, deadline=None)
@given(st.floats(1, 1e5), st.sampled_from(nitrate.IONS), st.sampled_from(nitrate.IONS))
def test_ions_there_and_back(level: float, a: str, b: str) -> None:
    there = level * nitrate.ion_factor(a, b)
    assert there * nitrate.ion_factor(b, a) == pytest.approx(level, rel=1e-14)
    assert nitrate.ion_factor(a, b) == pytest.approx(float(WEIGHT[b] / WEIGHT[a]), rel=1e-14)
