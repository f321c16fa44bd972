"""What one farm's letter says: three sentences, a dated list, what was seen and not seen, the picture that matters.

Everything is taken from the week's calls as they stand: nothing is decided here. Stops come first, then what wants
doing by its day, then what is to be looked at, then what can wait; a field's pests that one pass takes are one line. No
money stands beside a stop.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from sideoats import vocabulary
from sideoats.call import VERDICTS, Call
from sideoats.farm.told import first_lines, worth
from sideoats.pictures import Picture
from sideoats.question import find
from sideoats.replies import told
from sideoats.week.option_picture import option_picture
from sideoats.week.outlines import OnMap, places_map
from sideoats.week.rows import ask_row, row_of
from sideoats.words import Day, Money, Name, Reader, full_day, has, languages, message, say, sentence, term

if TYPE_CHECKING:
    from sideoats.farm.plan import FarmPlan
    from sideoats.ledger import Entry, Ledger, Place
    from sideoats.week import Week
    from sideoats.week.district import District
    from sideoats.week.passes import Pass

MOST_LINES, MOST_SEEN = 8, 5
SOON, LATELY = timedelta(days=14), timedelta(days=30)  # what can wait is listed so far ahead; seen lately
_SAID = 260  # letters of a line's second part: one more would not fit its page
_SHORT = 24
_UNTOLD = frozenset({"place", "station_days", "audit", "withdrawal", "setting", "call", "letter", "photo", "farm"})
_END = re.compile(r"(?<=[.!?;:])\s+")
_LETTERS = "BCDFGHJKLMNPQRSTVWXZ"  # no vowels: a code spells no word
_SEEN_OF = frozenset({"field", "pasture", "herd", "pen", "bin", "hay lot"})


@dataclass(frozen=True)
class Line:
    """One line of the list.

    Attributes
    ----------
    number : what the map and the slip call it
    by : the day by which it is to be done or looked at; None where there is none
    place, what, more : the place's name, the first thing that is said, and the rest
    week : USD that a week's waiting would lose, for the whole place; 0 where none is known, and beside a stop
    about : (question, place id) of the calls that it stands for
    """

    number: int
    verdict: str
    by: date | None
    place: str
    what: str
    more: str
    week: float
    about: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Letter:
    """One farm's letter in one language; `code` stands on its slip and names this list of this day."""

    farm: str
    name: str
    on: date
    reader: Reader
    sender: str
    answer_to: str
    code: str
    opening: tuple[str, ...]
    lines: tuple[Line, ...]
    left_out: int
    seen: tuple[tuple[str, str], ...]
    where: Picture | None
    picture: Picture | None
    sources: str
    money: tuple[str, ...] = ()

    def word(self, key: str, **values: Any) -> str:
        """A fixed phrase of letters."""
        return sentence(say(f"letter.{key}", **values), self.reader)

    def title(self) -> str:
        """The farm and the week, for a document's head."""
        return self.word("title", farm=Name(self.name), day=Name(full_day(self.on, self.reader)))


def letter_of(
    week: Week, district: District, history: Iterable[Entry], farm: str, reader: Reader, plan: FarmPlan | None = None
) -> Letter:
    """The letter of one farm.

    Parameters
    ----------
    district : of the week's own day
    history : the farm's entries of the last weeks, in any order
    plan : the farm's calls together, for what they come to

    Raises
    ------
    KeyError : no farm of that id
    """
    snapshot = district.snapshot
    places = {p.id: p for p in snapshot.places if p.farm == farm}
    name = snapshot.farm_names[farm]
    calls = [told(c, reader) for c in week.calls if c.farm == farm]
    rows = _rows(calls, [p for p in week.passes if p.farm == farm], places, week.on, reader)
    lines = tuple(Line(i, *row) for i, row in enumerate(rows[:MOST_LINES], 1))
    settings = snapshot.settings
    sender = ", ".join(settings[k] for k in ("office.adviser", "district.name") if settings.get(k))
    return Letter(
        farm=farm,
        name=name,
        on=week.on,
        reader=reader,
        sender=sender,
        answer_to=settings.get("office.phone", ""),
        code=_code(farm, week.on, lines),
        opening=_opening(lines, rows[MOST_LINES:], calls, week.on, reader),
        lines=lines,
        left_out=len(rows) - len(lines),
        seen=_seen(history, places, calls, week.on, reader),
        where=_map(places, lines),
        picture=_picture(calls, lines, district, reader),
        sources=_sources(calls, lines),
        money=_money(plan, reader) if any(line.verdict == "act" for line in lines) else (),
    )


def letters_of(
    week: Week, district: District, ledger: Ledger, reader: Reader, farms: Sequence[str] = ()
) -> list[tuple[Letter, str]]:
    """Every farm's letter of a week in its own language (else the reader's), with its e-mail address ("" for none).

    Only those of `farms` where some are named. Money is summed over the farm's calls on the week's own draws.
    """
    from sideoats.farm.plan import run_farms

    held = {p.farm for p in district.snapshot.places if p.farm} & (set(farms) or {f.id for f in ledger.farms()})
    plans = {p.farm: p for p in run_farms(ledger, week.on, sorted(held), draws=week.draws, seed=week.seed)}
    entries: dict[str, list[Entry]] = {}
    for entry in ledger.history(since=week.on - LATELY, until=week.on):
        entries.setdefault(entry.farm or "", []).append(entry)
    out = []
    for farm in ledger.farms():
        own = str(farm.attributes.get("language", ""))
        theirs = Reader(own, reader.measures) if own in languages() else reader
        if farm.id in held:
            plan = plans.get(farm.id)
            made = letter_of(week, district, entries.get(farm.id, ()), farm.id, theirs, plan)
            out.append((made, str(farm.attributes.get("email", ""))))
    return out


_Row = tuple[str, "date | None", str, str, str, float, tuple[tuple[str, str], ...]]


def _rows(
    calls: Sequence[Call], passes: Sequence[Pass], places: Mapping[str, Place], on: date, reader: Reader
) -> list[_Row]:
    """The list's lines without their numbers: stops, acts and looks by day, then what can wait but not for long."""
    carded = {(question, p.place): p for p in passes if len(p.pests) > 1 for question in p.pests}
    out: list[_Row] = []
    done: set[str] = set()
    by_key = {(c.question, c.place): c for c in calls}
    for call in calls:
        card = carded.get((call.question, call.place)) if call.verdict != "stop" else None
        if card is None:
            out += _row(call, places, on)
        elif card.place not in done:
            done.add(card.place)
            out.append(_pass_row(card, by_key, reader))
    order = {verdict: i for i, verdict in enumerate(VERDICTS)}
    return sorted(_waits_together(out), key=lambda r: (order[r[0]], r[1] or date.max, -r[5], r[2]))


def _waits_together(rows: Sequence[_Row]) -> list[_Row]:
    """The rows, those that tell the same wait at one place by one day as one: three pests of a field are one line."""
    out: dict[Any, _Row] = {}
    for row in rows:
        verdict, by, place, what, more, week, about = row
        key = (by, place, what) if verdict == "wait" else about
        if (held := out.get(key)) is not None:
            both = f"{held[4]} {more}" if len(held[4]) + len(more) <= _SAID else held[4]
            row = (verdict, by, place, what, both, held[5] + week, (*held[6], *about))
        out[key] = row
    return list(out.values())


def _row(call: Call, places: Mapping[str, Place], on: date) -> list[_Row]:
    by = call.act_by or call.look_by
    if call.verdict == "wait" and (by is None or by > on + SOON):
        return []
    first, rest = _parted(call.headline)
    name = places[call.place].name if call.place in places else call.place_name
    week = 0.0 if call.verdict == "stop" else call.cost_of_waiting
    return [(call.verdict, by, name, first, rest, week, ((call.question, call.place),))]


def _pass_row(card: Pass, calls: Mapping[tuple[str, str], Call], reader: Reader) -> _Row:
    week = sum(calls[q, card.place].cost_of_waiting for q in card.pests if (q, card.place) in calls)
    first, rest = _parted(sentence(card.line(), reader).removeprefix(f"{card.place}: "))
    more = " ".join([rest, *(sentence(s, reader) for s in card.said if s.code == "pass.flare")]).strip()
    about = tuple((q, card.place) for q in card.pests)
    return ("act", card.by, card.place_name, first[:1].upper() + first[1:], more, week, about)


def _parted(text: str) -> tuple[str, str]:
    """What is said first and the rest, which is cut at a sentence where it is long."""
    first, *rest = _END.split(text)
    while rest and len(first) < _SHORT and first.endswith((":", ";")):  # "Not known:" says nothing by itself
        first = f"{first} {rest.pop(0)}"
    kept = ""
    for part in rest:
        if len(kept) + len(part) > _SAID:
            break
        kept = f"{kept} {part}".strip()
    return first.rstrip(";:"), kept[:1].upper() + kept[1:]


def _opening(
    lines: Sequence[Line], left: Sequence[_Row], calls: Sequence[Call], on: date, reader: Reader
) -> tuple[str, ...]:
    """Three sentences: the worst or most pressing thing, the next, and until when nothing else presses."""

    def word(code: str, **values: Any) -> str:
        return sentence(say(f"letter.opening.{code}", **values), reader)

    pressing = [line for line in lines if line.verdict in ("stop", "act")]
    looks = [line for line in lines if line.verdict == "look"]
    hidden = sum(row[0] in ("stop", "act", "look") for row in left)
    shown = (pressing + looks)[: 2 if pressing else 1]
    out = [] if pressing else [word("quiet")]
    out += [f"{line.place}: {whole(line.what)}" for line in shown]
    unsaid = (pressing + looks)[len(shown) :]
    more = len(unsaid) + hidden
    if more > 0:
        dated = [line.by for line in unsaid if line.by]
        out.append(word("more", n=more, day=Day(min(dated))) if dated else word("more_undated", n=more))
    else:
        later = [c.look_by for c in calls if c.verdict == "wait" and c.look_by and c.look_by > on]
        out.append(word("then", day=Day(min(later))) if later else word("nothing"))
    return tuple(out)


def whole(text: str) -> str:
    """A sentence with its end."""
    return text if text.endswith((".", "!", "?")) else text + "."


def _seen(
    history: Iterable[Entry], places: Mapping[str, Place], calls: Sequence[Call], on: date, reader: Reader
) -> tuple[tuple[str, str], ...]:
    """(day, what was seen where), the newest first; then places not seen lately, and what is not known."""
    newest: dict[tuple[str, str], date] = {}
    for entry in history:
        if entry.kind not in _UNTOLD and entry.place in places and on - LATELY < entry.seen_on <= on:
            key = (str(entry.place), entry.kind)
            newest[key] = max(newest.get(key, entry.seen_on), entry.seen_on)
    days: dict[date, dict[str, list[str]]] = {}
    for (place, kind), day in newest.items():
        days.setdefault(day, {}).setdefault(places[place].name, []).append(_kind(kind, reader))
    out = [
        (reader.day(day), "; ".join(f"{place}: {', '.join(kinds)}" for place, kinds in days[day].items()))
        for day in sorted(days, reverse=True)[:MOST_SEEN]
    ]
    lately = {place for place, _ in newest}
    unseen = [p.name for p in places.values() if p.id not in lately and p.kind in _SEEN_OF]
    if unseen:
        listed = sentence(say("letter.unseen_places", places=Name(reader.listed(unseen))), reader)
        out.append((_word("unseen", reader), listed))
    missing = dict.fromkeys((places[c.place].name, name) for c in calls for name in c.missing if c.place in places)
    if missing:
        named = [f"{_label(name, reader)} ({place})" for place, name in missing]
        out.append((_word("unknown", reader), "; ".join(named[:MOST_SEEN])))
    return tuple(out)


def _word(key: str, reader: Reader) -> str:
    return sentence(say(f"letter.{key}"), reader)


def _kind(kind: str, reader: Reader) -> str:
    from sideoats.ledger import evidence_kinds

    code = f"kind.{kind}"
    title = message(code, reader) if has(code, reader.language) else evidence_kinds()[kind].title
    text = re.split(r"[,(]", title)[0].strip()
    return text[:1].lower() + text[1:]


def _label(name: str, reader: Reader) -> str:
    """What is missing in the reader's words, else as the vocabulary describes it."""
    word = term("observable", name, reader)
    return str(vocabulary.entry(name).get("help", name)) if word == name and vocabulary.has_entry(name) else word


def _money(plan: FarmPlan | None, reader: Reader) -> tuple[str, ...]:
    """What all its acts come to together, and a bad year with and without them; nothing where no act is taken."""
    if plan is None or not plan.taken():
        return ()
    return tuple(sentence(said, reader) for said in (worth(plan), *first_lines(plan, 0)[-1:]))


def _map(places: Mapping[str, Place], lines: Sequence[Line]) -> Picture | None:
    """The farm's places with the numbers of the list; the severest verdict of a place fills it."""
    marks: dict[str, Line] = {}
    numbers: dict[str, list[str]] = {}
    for line in lines:
        for place in dict.fromkeys(place for _, place in line.about):
            marks.setdefault(place, line)
            numbers.setdefault(place, []).append(str(line.number))
    shown = [
        OnMap(p, marks[p.id].verdict if p.id in marks else "", ", ".join([p.name, *numbers.get(p.id, ())]))
        for p in places.values()
    ]
    return places_map(shown, numbers={key: " ".join(found) for key, found in numbers.items()})


def _picture(calls: Sequence[Call], lines: Sequence[Line], district: District, reader: Reader) -> Picture | None:
    """Of the act that a week's waiting costs most what it gains by the day, or what its choices bring."""
    acts = sorted((line for line in lines if line.verdict == "act"), key=lambda line: -line.week)
    by_key = {(c.question, c.place): c for c in calls}
    listed = [call for line in acts for key in line.about if (call := by_key.get(key)) is not None and call.options]
    for call in listed:
        question = find(call.question)
        table = row_of(question, call.place, district)
        if table is not None and (drawn := ask_row(question, table, district).drawn(0)):
            return drawn[0]  # type: ignore[no-any-return]
    return next((found for call in listed if (found := option_picture(call, reader)) is not None), None)


def _sources(calls: Sequence[Call], lines: Sequence[Line]) -> str:
    """Titles of what the list's calls rest on, each once, as far as a line holds them."""
    listed = {key for line in lines for key in line.about}
    titles = dict.fromkeys(
        s["citation"].split(" http")[0].rstrip(". ")
        for c in calls
        if (c.question, c.place) in listed and c.verdict != "wait"
        for s in c.sources
        if s["provenance"] == "read"
    )
    out: list[str] = []
    for title in titles:
        if sum(map(len, out)) + len(title) > 240:
            break
        out.append(title)
    return "; ".join(out)


def _code(farm: str, on: date, lines: Sequence[Line]) -> str:
    """Five letters that name this list: another list, another code."""
    text = "|".join([farm, on.isoformat(), *(f"{line.number} {line.what} {line.about}" for line in lines)])
    number = int.from_bytes(hashlib.blake2b(text.encode(), digest_size=8).digest())
    out = ""
    for _ in range(5):
        number, at = divmod(number, len(_LETTERS))
        out += _LETTERS[at]
    return out


def week_cost(line: Line, reader: Reader) -> str:
    """What a week's waiting would cost, empty where it is not known or less than a dollar."""
    return sentence(say("letter.money", money=Money(float(f"{line.week:.2g}"))), reader) if line.week >= 1 else ""
