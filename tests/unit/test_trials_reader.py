"""Trial tables out of files: long and wide, separators, units, gaps, and one clear line for each refusal."""

import math
from datetime import date

import pytest

from sideoats.errors import InputError
from sideoats.intake.taken import find_format
from sideoats.intake.trials import read_trial, trial_records, wheat_trial
from sideoats.ledger import evidence_kinds
from sideoats.wheat.trials.table import from_columns, from_records

LONG = """Loc\tYear\tGrazing\tRep\tEntry\tYield (bu/ac)
Marrow\t2024\tungrazed\t1\tA\t41.5
Marrow\t2024\tungrazed\t2\tA\t43.5
Marrow\t2024\tdual-purpose\t1\tA\t35
Marrow\t2024\tungrazed\t1\tB\t.
"""
WIDE = """variety,Marrow North 2024,Marrow North 2024 grazed,Saltgrass-2025
A,44.1,38.0,.
B,40,35.5,51.2
"""


def write(tmp_path, text, name="trial.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_long_table(tmp_path):
    found = read_trial(write(tmp_path, LONG))
    assert found.unit == "bu/ac" and len(found) == 4
    assert found.columns["site"] == ("Marrow",) * 4
    assert found.columns["management"] == ("ungrazed", "ungrazed", "grazed", "ungrazed")
    assert math.isnan(found.columns["yield"][3])
    records = trial_records(found)
    assert records[0] == {
        "variety": "A", "site": "Marrow", "year": "2024", "management": "ungrazed", "yield": 42.5, "plots": 2.0,
    }  # fmt: skip
    assert len(records) == 2


def test_wide_table(tmp_path):
    found = read_trial(write(tmp_path, WIDE), unit="bu/ac")
    assert len(found) == 5
    trials = set(zip(*(found.columns[k] for k in ("site", "year", "management")), strict=True))
    assert trials == {("Marrow North", "2024", ""), ("Marrow North", "2024", "grazed"), ("Saltgrass", "2025", "")}


@pytest.mark.parametrize(("unit", "bushels"), [("kg/ha", 1.0), ("t/ha", 1000.0), ("lb/ac", 67.25 / 60)])
def test_units_become_bushels(tmp_path, unit, bushels):
    # 67.25 kg/ha is one bushel of 60 lb an acre
    text = f"variety,yield ({unit})\nA,67.25\nB,134.5\n"
    found = read_trial(write(tmp_path, text))
    assert found.columns["yield"] == pytest.approx((bushels, 2 * bushels), rel=1e-6)


def test_rows_that_cannot_be_used_are_named(tmp_path):
    text = "variety,yield\nA,41\nB,wet\nC,44\nD\n"
    found = read_trial(write(tmp_path, text))
    assert [str(r) for r in found.rejected] == [
        "line 3: yield 'wet' is not a number", "line 5: 1 cells where 2 are needed",
    ]  # fmt: skip
    assert len(found) == 2 and found.unit == ""


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("plot,yield\n1,2\n2,3\n", "no variety column"),
        ("variety,yield\nA,.\nB,4\n", "holds 1 yields"),
        ("variety,height\nA,80\nB,90\n", "names neither a yield nor a site and year"),
        ("variety,yield\n", "no rows"),
        ("variety,S 2024,S 2024\nA,1,2\nB,1,2\n", "the same trial"),
        ("variety,rep,yield\nA,1,4\nA,1,4\nB,1,5\n", "same plot twice"),
        ("", "is empty"),
        ("variety,yield (bu/ac)\n\0,3\n", "NUL"),
    ],
)
def test_refusals_are_one_clear_line(tmp_path, text, message):
    with pytest.raises(InputError, match=message) as caught:
        read_trial(write(tmp_path, text))
    assert "\n" not in str(caught.value)


@pytest.mark.timeout(20)
@pytest.mark.parametrize("fill", ["_", " |", "(", "2024", "a 2024 "])
def test_a_column_name_without_end_is_refused_at_once(tmp_path, fill):
    """Looking for a year and a unit in it took time with the square of its length: minutes for a file of 100 kB."""
    path = tmp_path / "trial.csv"
    path.write_text(f"variety,{'x' + fill * (100_000 // len(fill))}x\nA,50\n")
    with pytest.raises(InputError, match="has a column name of") as caught:
        read_trial(path)
    assert "\n" not in str(caught.value) and len(str(caught.value)) < 200


LEVELS = "variety,site,year,{column},yield (bu/ac)\n" + "".join(
    f"{v},N,{y},{{{k}}},{40 + k}\n" for v in "AB" for y in (2023, 2024) for k in (0, 1)
)


@pytest.mark.parametrize(
    ("column", "levels"), [("nitrogen", "LH"), ("N", ("40", "80")), ("Nitro", ("0", "60")), ("spray", ("no", "yes"))]
)
def test_levels_of_a_treatment_are_never_pooled(tmp_path, column, levels):
    """Two nitrogen levels: the same variety, site and year stand twice, and no replicate tells them apart."""
    path = write(tmp_path, LEVELS.format(*levels, column=column))
    with pytest.raises(InputError, match="not pooled") as caught:
        read_trial(path)
    assert f"level={column.lower()}={max(levels)}" in str(caught.value) or levels == "LH"
    one = read_trial(path, level=f"{column} = {levels[1]}")
    assert one.columns["yield"] == (41.0,) * 4 and "n" not in one.columns
    with pytest.raises(InputError, match="not pooled"):
        read_trial(path, level=f"{column}=nothing")
    with pytest.raises(InputError, match="holds no levels of 'lime'"):
        read_trial(path, level="lime=yes")


def test_replicates_and_traits_are_no_treatment(tmp_path):
    plots = "variety,site,year,rep,height,yield\n" + "".join(
        f"{v},N,2024,{r},{80 + r + 3 * k},{40 + r}\n" for k, v in enumerate("ABC") for r in (1, 2, 3)
    )
    assert len(read_trial(write(tmp_path, plots))) == 9
    counted = "variety,site,year,n,yield\n" + "".join(f"{v},{s},2024,{n},4{n}\n" for v in "AB" for s, n in ("N4", "S6"))
    assert read_trial(write(tmp_path, counted)).columns["n"] == (4.0, 6.0) * 2


@pytest.mark.parametrize(("unit", "yields"), [("t/ha", (321, 310)), ("bu/ac", (4.1, 3.6)), ("kg/ha", (45, 41))])
def test_a_slip_of_the_unit_is_asked_back(tmp_path, unit, yields):
    # 321 read as t/ha gave a least significant difference of 670 bu/ac; wheat makes 10 to 300 (common practice)
    path = write(tmp_path, f"variety,yield ({unit})\nA,{yields[0]}\nB,{yields[1]}\n")
    with pytest.raises(InputError, match="no wheat trial makes") as caught:
        wheat_trial(path)
    assert "\n" not in str(caught.value)


def test_unknown_unit_and_missing_file(tmp_path):
    with pytest.raises(InputError, match="stone"):
        read_trial(write(tmp_path, "variety,yield\nA,4\nB,5\n"), unit="stone")
    with pytest.raises(InputError, match="cannot be read"):
        read_trial(tmp_path / "absent.csv")


def test_taken_into_the_ledger_for_the_fields_it_speaks_for(tmp_path):
    path = write(tmp_path, LONG)
    options = {"on": date(2026, 8, 1), "places": "farm.a farm.b", "title": None, "unit": None}
    taken = find_format("trial-table").read(path, options)
    assert [d.place for d in taken.drafts] == ["farm.a", "farm.b"]
    body = evidence_kinds()["variety_trial"].read(taken.drafts[0].body)
    assert from_records(body["means"] + ({"variety": "B", "yield": 40.0},)).varieties == ["A", "B"]
    with pytest.raises(InputError, match="states no unit"):
        find_format("trial-table").read(write(tmp_path, "variety,yield\nA,4\nB,5\n"), options)


def test_tables_refuse_what_cannot_be_compared():
    with pytest.raises(InputError, match="two or more"):
        from_columns({"variety": ["A", "A"], "yield": [1.0, 2.0]})
    with pytest.raises(InputError, match="no plots"):
        from_columns({"variety": ["A", "B"], "yield": [1.0, 2.0], "n": [0, 1]})
    table = from_columns({"variety": ["A", "B"], "yield": [1.0, 2.0], "management": ["grazed", "ungrazed"]})
    with pytest.raises(InputError, match="no trial under"):
        table.managed("hay")
