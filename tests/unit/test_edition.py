"""The edition: what its stories hold, what nobody can compute from it, how it is spoken, and its forms."""

from __future__ import annotations

import itertools
import math
import random
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from xml.etree import ElementTree

import numpy as np
import pytest

from sideoats.bulletin.aloud import aloud, ordinal, spelled
from sideoats.bulletin.dates import public_calendar
from sideoats.bulletin.feed import ATOM, feed
from sideoats.bulletin.public import Bulletin, make_bulletin
from sideoats.bulletin.publish import bulletin_of
from sideoats.bulletin.spoken import MESSAGE, SECONDS, TOLERANCE, WORDS_A_MINUTE, messages, plain_text, script, stops
from sideoats.bulletin.spread import LEAST_FARMS, LEAST_LEFT_OUT, Spread, about, drawn, spread
from sideoats.bulletin.stories import TOLD
from sideoats.bulletin.words import LANGUAGES, words
from sideoats.call import VERDICTS, Call, Quantity
from sideoats.demo.district import TODAY, all_entries
from sideoats.ledger import open_ledger
from sideoats.station import StationDays
from sideoats.week import Week, run_week
from sideoats.week.snapshot import Snapshot, take_snapshot

DAYS = (TODAY, date(2026, 1, 10), date(2026, 4, 10), date(2026, 6, 15))
Edition = tuple[Week, Snapshot]


@pytest.fixture(scope="module")
def editions(tmp_path_factory: pytest.TempPathFactory) -> dict[date, Edition]:
    with open_ledger(tmp_path_factory.mktemp("edition") / "ledger.sqlite") as ledger:
        ledger.append(all_entries())
        return {day: (run_week(ledger, day, draws=60), take_snapshot(ledger, day, ())) for day in DAYS}


def made(editions: dict[date, Edition]) -> list[Bulletin]:
    return [bulletin_of(week, snapshot, {}, lang) for week, snapshot in editions.values() for lang in LANGUAGES]


def aphid_call(farm: int, aphids: float, verdict: str = "look", by: int = 3) -> Call:
    """A call with every figure that the story reads."""
    told = {
        "mean_aphids_per_leaf": Quantity(aphids, "aphids/leaf"),
        "expected_gain_of_treating_today": Quantity(aphids / 4 - 14, "USD/ac"),
        "chance_treating_pays": Quantity(min(aphids / 200, 1.0), "1"),
        "treatment_cost": Quantity(14.0, "USD/ac"),
    }
    act_by = TODAY + timedelta(days=by) if verdict == "act" else None
    return Call(
        "sorghum-aphid", TODAY, verdict, act_by, TODAY + timedelta(days=by), "", quantities=told, farm=f"farm-{farm}",
        place=f"farm-{farm}.p",
    )  # fmt: skip


def edition(calls: list[Call], language: str = "en") -> Bulletin:
    return make_bulletin(Week(TODAY, tuple(calls), {}, (), (10, "ab" * 32), 1, 100), words(language))


# --- what a story holds -------------------------------------------------------------------------------------------


def test_every_story_has_a_figure_a_line_a_day_a_reason_and_a_source(editions: dict[date, Edition]) -> None:
    for b in made(editions):
        assert len(b.stories) >= 4, b.on
        for s in b.stories:
            parts = [code.rpartition(".")[2] for code in s.codes]
            assert {"head", "line", "why", "caution"} <= set(parts), s.key
            figure, line = s.body[0], s.body[1]
            assert re.search(r"\d", figure) and (re.search(r"\d", line) or "diciembre" in line or "December" in line)
            assert str(s.by.day) in s.headline and s.by >= b.on
            assert s.source and s.body[-1].endswith(".")


def test_no_sentence_is_used_more_than_twice_in_an_edition(editions: dict[date, Edition]) -> None:
    for b in made(editions):
        used = Counter(code for s in b.stories for code in s.codes)
        assert max(used.values()) <= 2, used.most_common(1)
        heads = [s.headline for s in b.stories]
        assert len(set(heads)) == len(heads)


def test_a_ledger_without_farms_still_makes_a_full_edition(editions: dict[date, Edition]) -> None:
    for week, snapshot in editions.values():
        empty = replace(week, calls=())
        b = bulletin_of(empty, snapshot, {}, "en")
        assert len(b.stories) >= 4 and not {s.key for s in b.stories} & set(TOLD)
        assert {"weather", "market", "dates", "scout"} <= {p.key for p in b.parts}


def test_without_stations_prices_and_farms_it_says_so() -> None:
    b = edition([])
    assert b.stories == () and "No story rests" in b.opening and plain_text(b, words("en"))


def test_few_farms_make_no_story_however_many_fields() -> None:
    six = [aphid_call(i, 50.0 + 10 * j) for i in range(6) for j in range(9)]
    assert edition(six).stories == ()
    (story,) = edition([*six, aphid_call(6, 70.0)]).stories
    assert story.key == "sorghum-aphid" and "at least five farms" in story.text


def test_a_farm_counts_once_and_its_ends_are_left_out() -> None:
    figures = [1.0, 10.0, 10.0, 20.0, 30.0, 30.0, 999.0]
    calls = [aphid_call(i, v) for i, v in enumerate(figures)] + [aphid_call(6, 999.0) for _ in range(30)]
    text = edition(calls).stories[0].text
    assert "between 10 and 30" in text and "999" not in text


# --- what nobody can compute --------------------------------------------------------------------------------------


def test_no_text_depends_on_any_farms_verdict() -> None:
    """Whoever may act, look or wait: the edition is the same text, so that no number of editions tells a verdict."""
    rng = random.Random(5)
    for _ in range(60):
        farms = rng.randint(LEAST_FARMS + LEAST_LEFT_OUT, 14)
        figures = [math.exp(rng.uniform(0, 6)) for _ in range(farms)]
        by = [rng.randint(1, 9) for _ in range(farms)]
        texts = set()
        for _ in range(2):
            verdicts = [rng.choice([v for v in VERDICTS if v != "stop"]) for _ in range(farms)]
            calls = [aphid_call(i, *told) for i, told in enumerate(zip(figures, verdicts, by, strict=True))]
            texts.add(plain_text(edition(calls), words("en")))
        assert len(texts) == 1


def told(kept: Iterable[float]) -> tuple[float, ...] | None:
    """What is printed of the farms that are drawn."""
    figures = sorted(kept)
    if len(figures) < LEAST_FARMS:
        return None
    found = spread_of(figures)
    return found.light, found.mid, found.heavy


def spread_of(figures: list[float]) -> Spread:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sideoats.bulletin.spread.drawn", lambda given: list(given))
        found = spread({str(i): v for i, v in enumerate(figures)})
    assert found is not None
    return found


def far(one: float, other: float) -> bool:
    """So far apart that they are not the same figure in two digits."""
    return abs(math.log(one / other)) > math.log(1.15)


def may_differ(farm: str, here: dict[str, float], there: dict[str, float]) -> bool:
    """Whether the farm may have a far other figure in the edition of `here`, both editions being as printed.

    Who lays them side by side knows that only this farm joined, left or changed, and neither the figures nor the draws.
    """
    own, kept_here, kept_there = here[farm], set(drawn(here)), set(drawn(there))
    if len(kept_here) < LEAST_FARMS or farm not in kept_here:
        return True  # not told of at all: any figure would do
    rest_here, rest_there = (sorted(k - {farm}) for k in (kept_here, kept_there))
    mine_there = [there[farm]] if farm in kept_there else []
    first, second = told(here[f] for f in kept_here), told(there[f] for f in kept_there)
    for other in GRID:  # the farm alone had another figure
        if far(own, other) and told([*(here[f] for f in rest_here), other]) == first:
            return True
    for trade in sorted(set(here) - {farm}):  # another farm had its figure, and it any other that prints the same
        again = {**there, trade: own} if trade in there else there
        if told([*(again[f] for f in rest_there), *mine_there]) == second:
            changed = [own if f == trade else here[f] for f in rest_here]
            if any(far(own, v) and told([*changed, v]) == first for v in (here[trade], *GRID)):
                return True
    # any other draw of as many farms would have done as well: the farm is not in it, another has the figure that moved
    for left in sorted(set(here) - kept_here):
        if told([*(here[f] for f in rest_here), here[left]]) == first:
            return True
        moved = {**there, left: own} if left in there else there
        own_there = sorted(set(there.values())) if farm in there else [0.0]
        for value, draw in itertools.product(own_there, _draws(kept_there, set(there))):
            if told(value if f == farm else moved[f] for f in draw) == second:
                return True
    return False


def _draws(kept: set[str], farms: set[str]) -> Iterable[set[str]]:
    """The draw, and every other that has one or two farms in place of one or two of its own."""
    yield kept
    for n in (1, 2):
        for out, within in itertools.product(*(itertools.combinations(sorted(v), n) for v in (kept, farms - kept))):
            yield (kept - set(out)) | set(within)


GRID = [float(f"{1.5 * 1.3**step:.3g}") for step in range(28)]


def test_no_farms_figure_can_be_computed_from_two_editions() -> None:
    """Over 1,000 random districts a farm joins, leaves or changes: far other figures would have given the same pair."""
    rng = np.random.default_rng(23)
    pinned = []
    for number in range(1000):
        farms = int(rng.integers(LEAST_FARMS + LEAST_LEFT_OUT, 14))
        figures = {f"farm {i}": float(v) for i, v in enumerate(np.exp(rng.uniform(0.7, 6.5, farms)))}
        farm, value = f"farm {int(rng.integers(farms))}", float(np.exp(rng.uniform(0.7, 6.5)))
        without = {k: v for k, v in figures.items() if k != farm}
        before, after = ((without, figures), (figures, without), (figures, {**figures, farm: value}))[number % 3]
        for here, there in ((before, after), (after, before)):
            if farm in here and not may_differ(farm, here, there):
                pinned.append((here, there, farm))
    assert len(pinned) == 0, (len(pinned), pinned[0])


def test_the_ends_of_all_farms_would_have_given_one_away() -> None:
    """The test has teeth: with lowest and highest told, a farm that joins at the top is read off."""
    before, joined = [10.0, 20.0, 30.0, 40.0, 50.0], 300.0
    assert max([*before, joined]) == joined  # what a range to the ends would print
    assert spread_of([*before, joined]).heavy == 50.0 and spread_of(before).heavy == 40.0


def test_the_draw_hangs_on_every_figure_and_leaves_a_fifth_out() -> None:
    figures = {f"farm {i}": float(i) for i in range(12)}
    assert len(drawn(figures)) == 10 and drawn(figures) == drawn(dict(reversed(figures.items())))
    others = [tuple(sorted(drawn({**figures, "farm 3": 3 + step / 100}))) for step in range(60)]
    assert len(set(others)) > 20
    assert spread({f"farm {i}": 1.0 for i in range(6)}) is None


def test_a_count_of_farms_is_never_exact() -> None:
    by_word: dict[int, list[int]] = {}
    for farms in range(LEAST_FARMS, 200):
        by_word.setdefault(about(farms), []).append(farms)
    assert all(len(meant) >= 3 for meant in by_word.values())
    assert all(abs(word - n) <= max(3, 0.25 * n) for word, meant in by_word.items() for n in meant)


# --- read by people -----------------------------------------------------------------------------------------------


def syllables_en(word: str) -> int:
    groups = re.findall(r"[aeiouy]+", word.lower())
    silent = word.lower().endswith("e") and not word.lower().endswith("le") and len(groups) > 1
    return max(1, len(groups) - silent)


def syllables_es(word: str) -> int:
    """Vowel groups; two strong vowels, or an accented weak one, part."""
    text = re.sub(r"(?<=[gq])u(?=[eiéí])", "", word.lower())
    return max(1, len(re.findall(r"[aeoáéó]|[íú]|(?<![aeoáéóiu])[iuü]+(?![aeoáéó])", text)))


def sentences_and_words(text: str) -> tuple[int, list[str]]:
    return max(1, len(re.findall(r"[.?!](?:\s|$)", text))), re.findall(r"[^\W\d_]+", text)


def grade_en(text: str) -> float:
    """Kincaid, Fishburne, Rogers, Chissom, 1975, Navy Research Branch Report 8-75: 0.39 w/s + 11.8 syl/w - 15.59."""
    lines, said = sentences_and_words(text)
    return 0.39 * len(said) / lines + 11.8 * sum(map(syllables_en, said)) / len(said) - 15.59


def ease_es(text: str) -> float:
    """Fernández Huerta, J., 1959, Medidas sencillas de lecturabilidad, Consigna 214: 206.84 - 60 syl/w - 1.02 w/s."""
    lines, said = sentences_and_words(text)
    return 206.84 - 60 * sum(map(syllables_es, said)) / len(said) - 1.02 * len(said) / lines


def test_the_counts_of_syllables_are_about_right() -> None:
    assert [syllables_en(w) for w in ("aphid", "spray", "wheat", "nitrate", "field", "table")] == [2, 1, 1, 2, 1, 2]
    counted = [syllables_es(w) for w in ("pulgón", "lluvia", "heno", "día", "ganado", "veterinario", "que")]
    assert counted == [2, 2, 2, 2, 3, 5, 1]


def test_the_edition_is_read_with_ease(editions: dict[date, Edition]) -> None:
    """English of the third to eighth school year; Spanish that the formula calls plain to easy (60 and over)."""
    for b in made(editions):
        text = " ".join(f"{s.headline}. {s.text} {s.caution}" for s in b.stories)
        if b.language == "en":
            assert 3 <= grade_en(text) <= 8, (b.on, grade_en(text))
        else:
            assert 60 <= ease_es(text) <= 100, (b.on, ease_es(text))


# --- read aloud ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "english", "spanish"),
    [
        (0, "zero", "cero"),
        (16, "sixteen", "dieciséis"),
        (21, "twenty-one", "veintiuno"),
        (45, "forty-five", "cuarenta y cinco"),
        (100, "one hundred", "cien"),
        (1995, "one thousand nine hundred ninety-five", "mil novecientos noventa y cinco"),
        (21000, "twenty-one thousand", "veintiún mil"),
        (2_000_000, "two million", "dos millones"),
        (0.15, "zero point one five", "cero punto uno cinco"),
        (-3, "minus three", "menos tres"),
    ],
)
def test_numbers_are_spelled(number: float, english: str, spanish: str) -> None:
    assert (spelled(number), spelled(number, "es")) == (english, spanish)


def test_days_of_the_month_are_spelled() -> None:
    assert [ordinal(n) for n in (1, 2, 3, 5, 12, 20, 21, 30)] == [
        "first", "second", "third", "fifth", "twelfth", "twentieth", "twenty-first", "thirtieth",
    ]  # fmt: skip
    assert [ordinal(n, "es") for n in (1, 21, 31)] == ["primero", "veintiuno", "treinta y uno"]


@pytest.mark.parametrize(
    ("language", "written", "spoken"),
    [
        (
            "en",
            "Spray by Mon 21 Sep for $19/ac.",
            "Spray by Monday, September twenty-first for nineteen dollars an acre.",
        ),
        ("en", "$5.60/bu at 41 °F", "five dollars and sixty cents a bushel at forty-one degrees"),
        ("es", "el lun 21 sep a 21 °F", "el lunes veintiuno de septiembre a veintiún grados"),
        ("es", "$231/acre y 1 in", "doscientos treinta y un dólares por acre y una pulgada"),
    ],
)
def test_what_is_written_is_said(language: str, written: str, spoken: str) -> None:
    assert aloud(written, language) == spoken


def test_scripts_keep_their_time_and_hold_no_figure(editions: dict[date, Edition]) -> None:
    """Within 5 % of the seconds at 150 words a minute; where the stops alone take longer, nothing but they is left."""
    for b, seconds in itertools.product(made(editions), SECONDS):
        said = words(b.language)
        text = script(b, said, seconds=seconds)
        target, spoken = WORDS_A_MINUTE * seconds / 60, len(text.split())
        forced = sum(len(aloud(s, b.language).split()) for s in stops(b, said))
        if forced <= target * (1 - TOLERANCE):
            assert abs(spoken - target) <= TOLERANCE * target, (b.on, b.language, seconds, spoken)
        else:
            assert spoken <= max(forced, target * (1 + TOLERANCE))
        assert not re.search(r"[\d$%°]", text), re.search(r".{0,30}[\d$%°].{0,10}", text)


def test_messages_fit_and_carry_the_hazard_word(editions: dict[date, Edition]) -> None:
    for b in made(editions):
        sent, said = messages(b, words(b.language)), words(b.language)
        assert sent and all(len(m) <= MESSAGE for m in sent)
        assert all(c.isascii() or c in "éèùìòÇØøÅåÄÖÑÜ§¿äöñüà¡" for m in sent for c in m)
        stop = said.verdict("stop").upper()
        count = sum(stop in m for m in sent)
        assert count >= len(b.hazards) and all(stop in m for m in sent[:count])


# --- feed and calendar --------------------------------------------------------------------------------------------


def test_the_feed_is_atom_with_the_hazards_first(editions: dict[date, Edition]) -> None:
    """RFC 4287, 4.1: a feed and each entry have an id, a title and the time of their update."""
    for b in made(editions):
        said = words(b.language)
        root = ElementTree.fromstring(feed(b, said))
        entries = root.findall(f"{{{ATOM}}}entry")
        assert root.tag == f"{{{ATOM}}}feed" and len(entries) == len(b.hazards) + len(b.stories)
        for part in (root, *entries):
            assert all(part.find(f"{{{ATOM}}}{name}") is not None for name in ("id", "title", "updated"))
        ids = [e.findtext(f"{{{ATOM}}}id") for e in entries]
        assert len(set(ids)) == len(ids) and feed(b, said) == feed(b, said)
        titles = [e.findtext(f"{{{ATOM}}}title", "") for e in entries]
        assert all(said.verdict("stop").upper() in t for t in titles[: len(b.hazards)])


def test_public_dates_are_read_by_an_independent_parser(editions: dict[date, Edition]) -> None:
    icalendar = pytest.importorskip("icalendar")
    for b in made(editions):
        events = icalendar.Calendar.from_ical(public_calendar(b, words(b.language))).walk("VEVENT")
        assert len(events) == len(b.days) >= len(b.stories)
        assert len({str(e["UID"]) for e in events}) == len(events)
        for event in events:
            assert event["DTSTART"].dt >= b.on
            for alarm in event.walk("VALARM"):
                assert event["DTSTART"].dt + alarm["TRIGGER"].dt >= b.on + timedelta(days=1) - timedelta(days=1)
                assert event["DTSTART"].dt - timedelta(days=1) > b.on


# --- weather that is not there --------------------------------------------------------------------------------------


def test_a_station_with_gaps_tells_what_it_has_and_no_more() -> None:
    days = 3 * 365
    start = TODAY - timedelta(days=days)
    rain = np.full(days, 2.0)
    record = StationDays(
        station="s", name="short record", start=start,
        values={"rain": rain, "tmax": np.full(days, 30.0), "tmin": np.full(days, 15.0)},
    )  # fmt: skip
    week = Week(TODAY, (), {}, (), (10, "ab" * 32), 1, 100)
    few = make_bulletin(week, words("en"), stations={"s": record})
    assert "rain" not in {s.key for s in few.stories}  # two past years are no "usual"
    late = make_bulletin(replace(week, on=TODAY + timedelta(days=30)), words("en"), stations={"s": record})
    assert late.stations == () and "weather" not in {p.key for p in late.parts}
