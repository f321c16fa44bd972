"""What people write reaches a question, a record and a form as they meant it: units, thousands and other spellings."""

from dataclasses import replace

import pytest

import sideoats
from sideoats.crops import spelling
from sideoats.desk import forms
from sideoats.errors import InputError, UnitError
from sideoats.ledger.evidence import EvidenceKind, QuantityField, evidence_kinds
from sideoats.question import every
from sideoats.schema import Field, read_all, with_files


def of_questions():
    return [(q.name, f) for q in every() for f in q.inputs]


def of_evidence():
    return [(kind.name, f) for kind in evidence_kinds().values() for f in kind.fields.values()]


def with_records(listed):
    """The fields and those inside their records."""
    for where, f in listed:
        yield where, f
        yield from ((f"{where} {f.name}", inner) for inner in f.fields)


ALL = [*with_records(of_questions()), *with_records(of_evidence())]
LISTS = [(where, f) for where, f in ALL if f.kind in ("counts", "numbers")]
CHOICES = [(where, f) for where, f in ALL if f.kind == "choice"]


def by_ask(f, text):
    """As `sideoats.ask` reads its inputs."""
    return read_all((f,), {f.name: text})[f.name]


def by_record(f, text):
    """As a recorded entry is read."""
    return EvidenceKind("kind", "", {f.name: f}).read({f.name: text}).get(f.name)


def by_form(f, text, unit=""):
    """As a form of the desk is read: the box, and the unit chosen beside it."""
    typed = forms.typed((f,), {f.name: text, f"{f.name}.unit": unit}.get)
    values, errors = forms.read((f,), typed)
    if errors:
        raise InputError(errors[f.name])
    return values[f.name]


WAYS = pytest.mark.parametrize("read", [by_ask, by_record, by_form])


def named(cases):
    return [f"{where}.{f.name}".replace(" ", ".") for where, f in cases]


# Definitions: parts of a whole by mass, as parts per million; written out by hand and not taken from the program.
PARTS = {
    "ppm": 1, "mg/kg": 1, "ug/g": 1, "PPM": 1, "ppb": 0.001, "ug/kg": 0.001, "%": 10_000, "percent": 10_000,
    "g/kg": 1000, "mg/g": 1000,
}  # fmt: skip
CANONICAL = {"ppm": 1, "ppb": 0.001, "percent": 10_000}
# NIST Special Publication 811 (2008), appendix B.8, and the definitions in units.py; from memory.
OTHER = {
    "lb/ac": {"kg/ha": 0.8921791, "LB/AC": 1.0, "ton/ac": 2000.0},
    "degF": {"F": 1.0, "°F": 1.0},
    "inch": {"in": 1.0, "mm": 1 / 25.4, "cm": 1 / 2.54, "ft": 12.0},
    "in": {"inch": 1.0, "mm": 1 / 25.4, "ft": 12.0},
    "ft": {"in": 1 / 12, "m": 1 / 0.3048, "yd": 3.0},
    "mph": {"m/s": 2.236936, "km/h": 0.6213712, "knot": 1.150779},
    "lb": {"kg": 2.204623, "ton": 2000.0, "cwt": 100.0, "oz": 1 / 16},
    "ac": {"ha": 2.471054, "acres": 1.0},
    "USD/bu": {"cents/bu": 0.01, "¢/bu": 0.01, "dollars/bushel": 1.0},
    "USD/cwt": {"USD/lb": 100.0, "cents/lb": 1.0, "USD/ton": 0.05},
    "USD/ton": {"USD/lb": 2000.0, "USD/cwt": 20.0},
    "USD/lb": {"cents/lb": 0.01, "USD/cwt": 0.01},
    "USD/ac": {"USD/ha": 1 / 2.471054, "cents/ac": 0.01},
    "lb/day": {"kg/day": 2.204623},
    "hour": {"minute": 1 / 60, "day": 24.0},
    "day": {"week": 7.0, "hour": 1 / 24},
    "gal/min": {"gpm": 1.0, "L/min": 0.2641721},
    "g": {"mg": 0.001, "kg": 1000.0},
    "m": {"ft": 0.3048, "cm": 0.01},
    "ton": {"lb": 1 / 2000, "kg": 1 / 907.18474},
}
NUMBERS = [(where, f) for where, f in ALL if f.kind == "number" and not isinstance(f, QuantityField)]


def written(f):
    """The units that a number may come in, each with how many of the field's own unit it is."""
    if f.unit in CANONICAL:
        return {unit: parts / CANONICAL[f.unit] for unit, parts in PARTS.items()}
    return OTHER.get(f.unit, {})


def middle(f):
    """A value that the field allows, in its own unit."""
    low, high = max(f.low, f.least, 0.001), min(f.high, 1000.0)
    return low if high <= low else (low * high) ** 0.5


@pytest.mark.parametrize(("where", "f"), NUMBERS, ids=named(NUMBERS))
def test_a_number_means_the_same_in_every_unit_and_by_every_way(where, f):
    value = middle(f)
    for unit, factor in written(f).items():
        text = f"{value / factor:.9f}"
        if f.whole and unit in ("ppm", "PPM", "mg/kg", "ug/g"):
            text = f"{value / factor:.1f}"
        wanted = pytest.approx(float(text) * factor, rel=1e-5)
        assert by_ask(f, f"{text} {unit}") == wanted, unit
        assert by_record(f, f"{text} {unit}") == wanted, unit
        assert by_form(f, f"{text} {unit}") == wanted, unit


@pytest.mark.parametrize("unit", sorted({f.unit for _, f in ALL}))
def test_a_form_offers_only_units_that_its_field_reads(unit):
    f = Field("x", "number", "", unit=unit)
    for offered in forms.units_for(unit):
        assert offered == "" or isinstance(by_ask(f, f"1 {offered}"), float)


@pytest.mark.parametrize(
    ("unit", "foreign"),
    [
        ("degree", "%"),
        ("degree", "ppm"),
        ("m", "gal/ac"),
        ("inch", "gal/ac"),
        ("1", "%"),
        ("lb/day", "lb"),
        ("ac", "USD"),
    ],
)
def test_a_form_does_not_offer_units_of_another_kind(unit, foreign):
    assert foreign not in forms.units_for(unit)
    with pytest.raises(UnitError):
        by_ask(Field("x", "number", "", unit=unit, bare=True), f"38 {foreign}")


@pytest.mark.parametrize(("where", "f"), NUMBERS, ids=named(NUMBERS))
def test_no_part_of_a_whole_is_taken_for_something_else(where, f):
    for unit in PARTS:
        if f.unit in CANONICAL:
            continue
        for read in (by_ask, by_record, by_form):
            with pytest.raises(InputError):
                read(replace(f, low=-1e9, high=1e9), f"12 {unit}")


@WAYS
@pytest.mark.parametrize(("where", "f"), CHOICES, ids=named(CHOICES))
def test_every_word_for_a_choice_is_understood(where, f, read):
    for choice in f.choices:
        assert read(f, choice) == choice
        assert read(f, choice.upper()) == choice
        assert read(f, choice.replace("-", " ").replace(" ", "_")) == choice
    for word, meant in (f.aliases or {}).items():
        got = read(f, word)
        assert got == read(f, meant), word
        assert got in f.choices


def test_a_record_understands_every_word_that_a_question_understands():
    kinds, lost = evidence_kinds(), []
    for question, f in of_questions():
        for source in f.found_in if f.kind == "choice" else ():
            kind, _, name = source.replace("place:", "evidence:place.").removeprefix("evidence:").partition(".")
            field = kinds[kind].fields.get(name) if kind in kinds else None
            if field is None or field.kind != "choice":
                continue
            for word, meant in (f.aliases or {}).items():
                if meant in field.choices and field.spellings.get(spelling(word)) is None:
                    lost.append(f"{question} {f.name} {word} -> {kind}.{name}")
    assert lost == []


@WAYS
@pytest.mark.parametrize(
    ("text", "counts"),
    [
        ("12,40,7", (12, 40, 7)),
        ("12, 40, 7", (12, 40, 7)),
        ("12;400;7", (12, 400, 7)),
        ("1,200, 900", (1200, 900)),
        ("1,200; 900", (1200, 900)),
        ("2,000", (2000,)),
        ("1200,400", (1200, 400)),
        ("2 3  1 0", (2, 3, 1, 0)),
        ("12 40 7", (12, 40, 7)),
        ("100 100 100", (100, 100, 100)),  # a hundred million on one leaf is far more than there can be
        ("120,340,200", (120, 340, 200)),  # 120,340 on one leaf is far more than there can be
    ],
)
def test_counts_are_read_where_their_commas_are_clear(text, counts, read):
    assert read(Field("counts", "counts", "", high=10_000), text) == counts


@WAYS
@pytest.mark.parametrize("text", ["12,400,7", "1,200", "12,400", "4,500,6,250", "12,40, 7,400", "1 200"])
def test_counts_whose_commas_may_mark_thousands_are_refused(text, read):
    with pytest.raises(InputError, match="two ways"):
        read(Field("counts", "counts", "", high=10_000), text)


@WAYS
@pytest.mark.parametrize(("where", "f"), LISTS, ids=named(LISTS))
def test_no_list_takes_a_thousand_for_two_numbers(where, f, read):
    """Of 1,200 and 1,300 every list makes two numbers, or refuses them because it has no room for as much."""
    unit = "" if f.unit in ("", "1") else f" {f.unit}"
    if f.high < 1300:
        with pytest.raises(InputError):
            read(f, f"1,200, 1,300{unit}")
    else:
        assert read(f, f"1,200, 1,300{unit}") == (1200, 1300)
    high = min(f.high, 1e9)
    if high > 1300:
        with pytest.raises(InputError, match="two ways"):
            read(f, f"1,200,1,300{unit}")


@WAYS
@pytest.mark.parametrize(
    ("text", "bales"),
    [
        ("4,500, 6,250 ppm", (4500, 6250)),
        ("4,500 ppm,6,250 ppm", (4500, 6250)),
        ("1.2, 0.9 %", (12_000, 9000)),
        ("200,200,2200 ppm", (200, 200, 2200)),
        ("<100, 250 ppm", (100, 250)),
    ],
)
def test_nitrate_of_single_bales(text, bales, read):
    f = next(f for where, f in of_evidence() if where == "hay_nitrate" and f.name == "single_bales")
    assert read(f, text) == pytest.approx(bales)


@WAYS
@pytest.mark.parametrize("text", ["4,5 ppm", "1,2345 ppm", "12,5 %", "4,800,5 ppm", "4.800 ppm"])
def test_a_number_with_a_comma_or_point_out_of_place_is_refused(text, read):
    f = next(f for where, f in of_evidence() if where == "hay_nitrate" and f.name == "result")
    with pytest.raises(InputError):
        read(f, text)


@WAYS
def test_a_laboratory_may_write_less_than_and_not_detected(read):
    f = Field("x", "number", "", unit="ppm", detection=25.0)
    assert [read(f, text) for text in ("<100 ppm", "< 0.01 %", "less than 1,200 ppm", "ND", "not detected")] == (
        pytest.approx([100, 100, 1200, 25, 25])
    )
    assert read(f, "<100 ppm").below and not getattr(read(f, "100 ppm"), "below", False)
    with pytest.raises(InputError):
        read(replace(f, detection=None), "<100 ppm")


@pytest.mark.parametrize("value", [{"a": 1}, ["a"], float("inf"), True, b"x"])
@pytest.mark.parametrize("kind", ["text", "choice"])
def test_an_object_is_no_word(kind, value):
    for read in (by_ask, by_record):
        with pytest.raises(InputError):
            read(Field("x", kind, "", choices=("a", "b")), value)


def test_a_thousand_in_a_record_stays_one_number():
    feeds = Field("feeds", "records", "", fields=(Field("name", "text", ""), Field("p", "number", "", unit="USD/ton")))
    assert by_ask(feeds, "name=hay, p=1,200 USD/ton; name=cake, p=90 USD/ton") == (
        {"name": "hay", "p": 1200}, {"name": "cake", "p": 90},
    )  # fmt: skip


def test_a_thousand_in_a_series_stays_one_number(tmp_path):
    f = Field("s", "series", "")
    assert [v for _, v in by_ask(f, "2026-08-31 4,500; 2026-09-01, 6,250")] == [4500, 6250]
    file = tmp_path / "s.csv"
    file.write_text('date,value\n2026-08-31,"4,500"\n')
    assert [v for _, v in by_ask(f, with_files((f,), {"s": str(file)})["s"])] == [4500]
    file.write_text("date,value\n2026-08-31,4,500\n")
    with pytest.raises(InputError, match="two ways"):
        by_ask(f, with_files((f,), {"s": str(file)})["s"])


def test_a_soil_slip_in_parts_per_million_means_what_it_prints():
    slip = {"yield": "50 bu/ac", "extractant": "mehlich 3", "ph": "6.2"}
    bare = sideoats.ask("soil-test", {**slip, "phosphorus": "42", "potassium": "340"}, on="2026-08-20")
    with_unit = sideoats.ask("soil-test", {**slip, "phosphorus": "42 ppm", "potassium": "340 mg/kg"}, on="2026-08-20")
    assert with_unit["headline"] == bare["headline"]
    assert with_unit["quantities"] == bare["quantities"]
