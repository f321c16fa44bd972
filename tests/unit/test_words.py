"""Words: sentences by code in every language, figures as the reader writes them."""

from __future__ import annotations

import io
import json
import re
from datetime import date

import numpy as np
import pytest

from sideoats import words
from sideoats.words import (
    METRIC,
    Between,
    Count,
    Day,
    Hour,
    Measured,
    Money,
    Paid,
    Parts,
    Reader,
    Share,
    Terms,
    said_from,
    say,
    sentence,
    shown,
)
from sideoats.words.catalogue import _files  # the files themselves are under test here

EN, ES = Reader(), Reader("es")
SI = Reader("en", METRIC)


@pytest.mark.parametrize("language", [each for each in words.languages() if each != "en"])
def test_every_sentence_stands_in_every_language(language):
    assert words.codes("en") - words.codes(language) == set()
    assert words.codes(language) - words.codes("en") == set()


@pytest.mark.parametrize("language", words.languages())
def test_no_two_rooms_say_different_things_by_one_code(language):
    """Holding grain was once told in the words of setting hot hay aside: two rooms had called a sentence alike."""
    from babel.messages.pofile import read_po

    where: dict[str, list[str]] = {}
    for path in _files(language):
        for m in read_po(io.StringIO(path.read_text("utf-8"))):
            if m.id:
                where.setdefault(m.id if isinstance(m.id, str) else m.id[0], []).append(path.name)
    assert {code: files for code, files in where.items() if len(files) > 1} == {}


def _slots(text: str) -> set[str]:
    return set(re.findall(r"{(\w+)}", text))


def test_translations_use_the_same_values():
    from babel.messages.pofile import read_po

    def messages(language):
        return {
            m.id if isinstance(m.id, str) else m.id[0]: np.atleast_1d(m.string)
            for path in _files(language)
            for m in read_po(io.StringIO(path.read_text("utf-8")))
            if m.id
        }

    english = messages("en")
    for language in words.languages():
        for code, text in messages(language).items():
            for ours, theirs in zip(english[code], text, strict=True):
                assert _slots(str(ours)) - {"n"} == _slots(str(theirs)) - {"n"}, (language, code)


def test_plurals_follow_the_value_called_n():
    one = say("need.headline", what=Terms(("a",), of="observable"), n=1)
    two = say("need.headline", what=Terms(("a", "b"), of="observable"), n=2)
    assert "Give it" in sentence(one, EN) and "Give these" in sentence(two, EN)
    assert "a and b" in sentence(two, EN) and "a y b" in sentence(two, ES)


def test_an_unknown_code_is_a_fault_and_english_stands_in_for_another_language():
    with pytest.raises(words.UnknownCode):
        sentence(say("no.such.code"), EN)
    assert sentence(say("ruling.look", worth=Money(3.0)), Reader("xx")) == sentence(
        say("ruling.look", worth=Money(3.0)), EN
    )


@pytest.mark.parametrize(
    ("value", "us", "metric", "spanish"),
    [
        (Money(12.4, unit="USD/ac"), "$12/ac", "$31/ha", "$12/ac"),
        (Money(-0.2, unit="USD/ac"), "-$0.20/ac", "-$0.49/ha", "-$0.20/ac"),
        (Money(-0.001, unit="USD/ac"), "$0/ac", "$0/ha", "$0/ac"),
        (Money(5.624, unit="USD/bu"), "$5.62/bu", "$5.62/bu", "$5.62/bu"),
        (Money(12345.0), "$12,300", "$12,300", "$12,300"),
        (Money(622.4, unit="USD/head"), "$622/head", "$622/head", "$622/cabeza"),
        (Measured(80.0, unit="bu/ac"), "80 bu/ac", "198 bu/ha", "80 bu/ac"),
        (Measured(41.0, unit="degF"), "41 °F", "5 °C", "41 °F"),
        (Measured(5.0, unit="degC"), "41 °F", "5 °C", "41 °F"),
        (Measured(2575.4, unit="ppm"), "2,575 ppm", "2,575 ppm", "2,575 ppm"),
        (Measured(-0.0, unit="1"), "0", "0", "0"),
        (Share(0.996), ">99 %", ">99 %", ">99 %"),
        (Share(0.45), "45 %", "45 %", "45 %"),
        (Count(1200), "1,200", "1,200", "1,200"),
        (Day(date(2026, 9, 21)), "Mon 21 Sep", "Mon 21 Sep", "lun 21 sep"),
        (Hour(9.0), "9 am", "9:00", "9 a.m."),
        (Hour(18.8), "6:48 pm", "18:48", "6:48 p.m."),
        (Hour(24.0), "12 am", "0:00", "12 a.m."),
    ],
)
def test_figures_as_the_reader_writes_them(value, us, metric, spanish):
    assert (shown(value, EN), shown(value, SI), shown(value, ES)) == (us, metric, spanish)


def test_a_sentence_of_one_place_comes_back_from_json():
    said = say(
        "x.y", gain=Money(np.array([1.0, 2.5]), unit="USD/ac", fact="a/b"), day=Day(np.datetime64("2026-09-21")),
        label=say("option.never"), n=np.array([3, 4]), stages=Terms(("boot", "milk"), of="leaf_counts.stage"),
    )  # fmt: skip
    one = said.at(1)
    back = said_from(one.plain())
    assert back.values["gain"].amount == 2.5 and back.values["gain"].fact == "a/b"
    assert back.values["day"].amount == date(2026, 9, 21) and back.values["n"].amount == 4
    assert back.plain() == one.plain()
    assert said.facts == ("a/b",)


def test_money_to_the_cent_and_parts_come_back_from_json():
    why = Parts((say("bar.load_is_sold"), say("bar.buyer_not_asked")))
    said = say("load-price.of_buyer", buyer=Paid(123456.789), why=why)
    back = said_from(said.plain())
    assert back.plain() == said.plain() and back.values["why"].amount[1].code == "bar.buyer_not_asked"
    assert sentence(back, EN).startswith("$123,456.79: ") and sentence(back, EN).endswith("; not asked")
    assert shown(Paid(-0.001), EN) == "$0.00" and not say("x", why=Parts(())).known


def test_what_money_is_counted_by_is_said_in_the_reader_s_language():
    assert (
        shown(Money(92.0, unit="USD/head"), ES) == "$92/cabeza"
        and shown(Money(92.0, unit="USD/head"), EN) == "$92/head"
    )
    assert (
        shown(Measured(1.8, unit="lb/day"), ES) == "1.8 lb/día"
        and shown(Measured(40.0, unit="bu/ac"), ES) == "40 bu/ac"
    )


def test_both_ends_of_a_range_are_in_the_reader_s_unit():
    ends = Between((36.0, 41.0), unit="bu/ac")
    assert shown(ends, EN) == "36 to 41 bu/ac" and shown(ends, Reader("es", METRIC)) == "89 a 101 bu/ha"
    assert shown(Between((50.0, 68.0), unit="degF"), SI) == "10 to 20 °C" and shown(Between((2.0, 2.0)), EN) == "2"
    said = say("range", x=Between((np.array([1.0, 2.0]), 3.0), unit="in")).at(1)
    assert said_from(said.plain()).values["x"].amount == (2.0, 3.0)
    assert not say("range", x=Between((1.0, float("nan")))).known


def test_a_sentence_with_a_gap_is_not_said():
    assert not say("x", gain=Money(float("nan"))).known
    assert say("x", gain=Money(0.0)).known


def test_a_third_language_is_one_folder(tmp_path, monkeypatch):
    from sideoats.words import catalogue

    monkeypatch.setattr(catalogue, "_folders", list(catalogue._folders))
    (tmp_path / "nl").mkdir()
    (tmp_path / "nl" / "core.po").write_text(
        'msgid ""\nmsgstr ""\n"Plural-Forms: nplurals=2; plural=(n != 1);\\n"\n\n'
        'msgid "ruling.look"\nmsgstr "Nog eens kijken is tot {worth} waard."\n',
        encoding="utf-8",
    )
    words.add_folder(tmp_path)
    assert "nl" in words.languages()
    assert sentence(say("ruling.look", worth=Money(3.0)), Reader("nl")) == "Nog eens kijken is tot $3 waard."
    catalogue._catalogue.cache_clear()


def test_a_sentence_without_values_is_said_where_it_fits():
    said = say("treat.caution.bees").where(np.array([True, False]))
    assert said.at(0).known and not said.at(1).known


def test_a_number_out_of_numpy_is_kept_as_a_plain_one_and_an_unknown_day_is_no_day() -> None:
    kept = say("x", tons=Measured(np.round(np.asarray(21.4))), share=Share(np.float64(0.25)), day=np.datetime64("NaT"))
    assert json.loads(json.dumps(kept.at(0).plain()))[1] == {
        "tons": ["q", 21.0, "1"],
        "share": ["p", 0.25],
        "day": ["d", None],
    }
    assert shown(Day(np.datetime64("NaT")), Reader()) == "?" and not Day(np.datetime64("NaT")).at(0).known


def test_wind_is_told_in_miles_an_hour_and_not_in_feet_a_second() -> None:
    us, metric = Reader(), Reader("en", "metric")
    assert us.measured(2.0, "m/s") == "4.47 mph" and us.measured(10.0, "km/h") == "6.21 mph"
    assert metric.measured(10.0, "mph") == "16.1 km/h" and metric.measured(2.0, "m/s") == "2 m/s"
    assert us.unit("kg/ha") == "lb/ac"
