"""The one vocabulary: how its files are put together, and what a question gets from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from sideoats.crops import synonyms
from sideoats.errors import VocabularyError
from sideoats.ledger import evidence_kinds
from sideoats.vocabulary import entry, observables, read_tables, see


def _read(folder: Path, **files: str):
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text)
    return read_tables(folder.glob("*.toml"))


def test_a_question_takes_all_that_the_vocabulary_says():
    field, held = see("leaf_counts.stage", needed=True), evidence_kinds()["leaf_counts"].fields["stage"]
    assert (field.name, field.required, field.found_in) == ("stage", True, ("evidence:leaf_counts.stage",))
    assert field.choices == held.choices and field.spellings == held.spellings and field.help == held.help
    assert field.read("bloom") == "flowering"


def test_a_question_may_look_elsewhere_too_and_call_it_otherwise():
    field = see("leaf_counts.stage", also=("place.stage", "setting:stage"), name="when", default="boot", example="milk")
    assert field.found_in == ("evidence:leaf_counts.stage", "place:stage", "setting:stage")
    assert (field.name, field.default, field.example, field.required) == ("when", "boot", "milk", False)


def test_what_an_entry_must_hold_a_phone_in_need_not():
    assert evidence_kinds()["quote"].fields["commodity"].required
    assert not see("quote.commodity").required


def test_a_quantity_is_asked_in_the_unit_that_the_question_reckons_in():
    field = see("place.expected_yield", unit="bu/ac", name="yield", needed=True)
    assert (field.kind, field.unit, field.found_in) == ("number", "bu/ac", ("place:expected_yield",))
    assert field.read("80 bu/ac") == 80
    with pytest.raises(VocabularyError, match="written in bu/ac"):
        see("place.expected_yield")
    with pytest.raises(VocabularyError, match="one unit"):
        see("place.acres", unit="ha")


def test_a_crop_may_be_one_of_a_few():
    field = see("place.crop", choices=("grain sorghum", "forage sorghum"), default="grain sorghum")
    assert field.aliases == synonyms(("grain sorghum", "forage sorghum")) and field.read("milo") == "grain sorghum"
    with pytest.raises(VocabularyError, match="own choices"):
        see("leaf_counts.stage", choices=("boot",))


def test_what_is_asked_and_no_evidence_is_looked_for_where_its_entry_says():
    assert see("asked.volatility").found_in == () and "asked" not in evidence_kinds()


def test_an_unknown_observable_gets_the_nearest():
    with pytest.raises(VocabularyError, match=r"leaf_counts\.stage"):
        see("leaf_counts.stages")
    with pytest.raises(VocabularyError, match=r"no 'place\.stge'"):
        see("leaf_counts.stage", also=("place.stge",))


def test_every_observable_that_can_be_typed_can_be_asked():
    for what in observables():
        unit = entry(what).get("units", ("",))[0]
        if entry(what)["kind"] not in ("json", "days"):
            assert see(what, unit=unit).help, what


def test_one_like_another_says_only_what_is_its_own(tmp_path):
    kinds = _read(
        tmp_path,
        a="[a]\ntitle = 'A'\nfresh_days = 7\n[a.fields.x]\nkind = 'number'\nhigh = 3\nrequired = true\nhelp = 'x'\n",
        b="[b]\ntitle = 'B'\n[b.fields.y]\nlike = 'a.x'\nhelp = 'y'\n",
    )
    assert kinds["b"].fields["y"] == {"kind": "number", "high": 3, "help": "y"}
    assert kinds["a"].fields["x"]["fresh_days"] == 7


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[a]\ntitle = 'A'\n[a.fields.x]\nlike = 'a.z'\n", "says nothing of its own"),
        ("[a]\ntitle = 'A'\n[a.fields.x]\nlike = 'a.y'\n[a.fields.y]\nlike = 'a.x'\n", "says nothing of its own"),
        ("[a]\ntitle = 'A'\ndoors = ['window']\n", "'window' is not one of"),
        ("[a.fields.x]\nkind = 'flag'\n", "needs a title"),
    ],
)
def test_a_wrong_table_is_named(tmp_path, text, said):
    with pytest.raises(VocabularyError, match=said):
        _read(tmp_path, x=text)


def test_rooms_may_each_say_what_they_ask(tmp_path):
    text = "[asked.fields.{}]\nkind = 'flag'\nhelp = 'x'\n[my-question.fields.{}]\nkind = 'flag'\nhelp = 'x'\n"
    kinds = _read(tmp_path, asked=text.format("a", "b"), asked_grain=text.format("c", "d"))
    assert set(kinds["asked"].fields) == {"a", "c"} and set(kinds["my-question"].fields) == {"b", "d"}
    with pytest.raises(VocabularyError, match="declared twice"):
        _read(tmp_path, asked_more=text.format("a", "e"))
