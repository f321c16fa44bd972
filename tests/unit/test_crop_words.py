"""One list of crops: whatever word the trade has for a crop, the same questions are asked of the field."""

import tomllib
from importlib.resources import files

import pytest

import sideoats
from sideoats.crops import crop_names, crop_of, known_crop, market_word
from sideoats.desk import forms
from sideoats.errors import InputError
from sideoats.ledger import NewEntry, evidence_kinds, open_ledger
from sideoats.question import every
from sideoats.week.gather import chosen_places

LIST = tomllib.loads(files("sideoats").joinpath("vocabulary/crops.toml").read_text("utf-8"))
SAME = {
    "winter wheat": ["wheat", "Wheat", "hard red winter wheat", "HRW", "winter-wheat"],
    "grain sorghum": ["milo", "Milo", "sorghum", "grain_sorghum"],
    "soybean": ["soybeans", "soy beans"],
    "alfalfa": ["alfalfa hay", "lucerne"],
    "bermudagrass": ["bermuda", "bermuda grass"],
    "sorghum-sudan": ["haygrazer", "hay grazer", "sorghum sudan", "sorghum-sudangrass"],
    "native grass": ["range", "native range", "rangeland"],
}


def asked_of(ledger):
    places = {p.id: p for p in ledger.places()}
    return {name: {q.name for q in every() if place in chosen_places(q, [place])} for name, place in places.items()}


def test_every_word_for_a_crop_is_asked_the_same_questions(tmp_path):
    with open_ledger(tmp_path / "l.sqlite") as ledger:
        names = {}
        for crop, words in SAME.items():
            for number, word in enumerate([crop, *words]):
                where = f"{crop.replace(' ', '-')}-{number}"
                names[where] = f"{crop.replace(' ', '-')}-0"
                body = {"name": where, "kind": "pasture" if crop == "native grass" else "field", "crop": word}
                ledger.append([NewEntry("place", body, place=where)])
        asked = asked_of(ledger)
    for where, first in names.items():
        assert asked[where] == asked[first], where
        assert len(asked[where]) > 1


@pytest.mark.parametrize("word", ["whaet", "mlio", "soybeens", "alfafa", "sorgum", "bermda"])
def test_an_unknown_crop_is_refused_with_the_nearest_word_when_recorded_and_when_asked(tmp_path, word):
    with open_ledger(tmp_path / "l.sqlite") as ledger, pytest.raises(InputError, match="did you mean"):
        ledger.append([NewEntry("place", {"name": "x", "kind": "field", "crop": word}, place="x")])
    _, errors = forms.read((evidence_kinds()["place"].fields["crop"],), {"crop": word})
    assert "did you mean" in errors["crop"]
    for question in ("rain-deficit", "bin-hold", "sorghum-aphid"):
        with pytest.raises(InputError, match=r"did you mean|is not known"):
            sideoats.ask(question, {"crop": word}, on="2026-08-20")


def test_a_word_stands_for_one_crop_and_can_be_recorded():
    meant = {}
    for name, entry in LIST.items():
        for word in (name, *entry["words"]):
            assert known_crop(word) == word
            assert crop_of(word) == crop_of(word.upper()) == name
            assert meant.setdefault(word, name) == name


def test_every_crop_that_a_question_is_asked_of_is_in_the_list():
    for q in every():
        for crop in q.places.crops if q.places else ():
            assert crop_of(crop) in crop_names(), (q.name, crop)


def test_a_form_offers_the_list_and_keeps_the_word_on_file():
    field = evidence_kinds()["place"].fields["crop"]
    (box,) = forms.boxes([field], {"crop": "milo"})
    assert box.shape == "pick"
    assert box.value == "milo" and box.value in box.choices and set(crop_names()) <= set(box.choices)


def test_a_price_is_found_by_any_word_for_its_crop():
    assert market_word("winter wheat") == market_word("wheat") == "wheat"
    assert market_word("milo") == market_word("Grain sorghum") == "grain sorghum"
    assert market_word("Feeder steers 500-550 lb") == "feeder steers 500-550 lb"
    assert market_word("alfalfa hay") == "alfalfa hay"  # what a stand is called is not what its hay is sold as
