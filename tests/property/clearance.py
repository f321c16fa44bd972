"""Phone-ins about forage that can kill, made by the hundred thousand: nothing left out, added, respelt or grown old
turns a stop into a wait or an act.

Each phone-in is asked twice: as it is, and changed by a transform that says nothing in its favour. What becomes milder
is kept. Two gaps are known and on file (``broken.toml``), and stand as conditions in the headline: an earlier test of a
lot whose slip bears no day, and water of which nothing at all is said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from random import Random

import numpy as np
from tests.property import nitrate_phone_ins
from tests.property.laws import evidence

from sideoats.asking import table_of
from sideoats.call import VERDICTS
from sideoats.errors import SideoatsError
from sideoats.facts import load
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, Question, find
from sideoats.ruling import attitude_of, rule
from sideoats.schema import Field, read_all
from sideoats.vocabulary import see

ON = date(2026, 11, 10)
Told = dict[str, str]
BATCH = 1000
RANK = {"wait": 0, "act": 1, "look": 2, "stop": 3, "refused": 3}
_SAID = ("yes", "no", "no", "no", "no")
SAID: dict[str, dict[str, tuple[str, ...]]] = {
    "wheat-pasture-hazard": {
        "class": ("stockers", "calves", "pairs", "cow", "dry-cow", "heifers", "bulls", "horse", "ewes", ""),
        "signs": _SAID, "lush": _SAID, "front": _SAID, "hungry": _SAID, "hay_first": ("yes", "yes", "no"),
        "mineral": ("yes", "no", "yes"), "mineral_magnesium": ("5%", "10%", "14%", "0.12"),
        "mineral_eaten": ("2 oz/day", "4 oz/day", "6 oz/day", "0 oz/day"),
        "potassium": ("1.4%", "2.2%", "3.2%", "4.1 %"), "calcium": ("0.25%", "0.4%", "0.6%"),
        "magnesium": ("0.05%", "0.09%", "0.15%", "0.25%"), "protein": ("14%", "22%", "28%"),
        "stress": _SAID, "nitrogen": ("none", "usual", "usual", "heavy"),
    },
    "stock-water": {
        "class": ("stockers", "calves", "pairs", "cow", "dry-cow", "heifers", "bulls", "horse", "ewes", ""),
        "nitrate": ("ND", "10 ppm", "90 ppm", "130 ppm", "320 ppm"), "nitrate_form": ("NO3-N", "NO3"),
        "source": ("pond", "well", "creek", "piped", ""), "algae": _SAID,
        "sulfate": ("ND", "150 ppm", "400 ppm", "900 ppm", "1,600 ppm", "3,200 ppm"),
        "salts": ("200 ppm", "420 ppm", "1,100 ppm", "3,600 ppm", "6,000 ppm", "11,000 ppm"),
        "feed_sulfur": ("0.1%", "0.18%", "0.3%"), "grain_fed": ("yes", "no", "no"),
        "tested": ("2026-11-06", "2026-10-20", "2026-02-01"),
    },
    "graze-prussic": {
        "species": (*see("forage_look.species").choices, "corn", "pearl millet", "sudangrass", "sorghum-sudan"),
        "height": ("6 in", "24 in", "31 in", "40 in", "4 ft", "5 ft"), "new_shoots": _SAID,
        "shoot_height": ("6 in", "25 in", "31 in"), "frost": _SAID,
        "days_since_frost": ("0", "5", "13", "20", "60", "250"),
        "drought_rain": _SAID, "days_since_rain": ("2", "9", "13", "30"), "stress": _SAID,
        "nitrogen": ("none", "usual", "usual", "heavy"),
        "hcn": ("ND", "90 ppm", "180 ppm", "650 ppm"), "hcn_basis": ("wet", "dry"),
        "moisture": ("75%", "70%", "78%", "30%"),
        "class": ("cows", "cows", "stockers", "stockers", "pairs", "pairs", "bulls", "horses", "goats", ""),
        "tested": ("2026-11-06", "2026-11-06", "2026-11-06", "2026-08-01"),
    },
}  # fmt: skip
_SLIP = {
    "nitrate": ("ND", "300 ppm", "900 ppm", "2,400 ppm", "0.9 %"), "nitrate_form": ("NO3-N", "NO3", "KNO3"),
    "nitrate_basis": ("dry", "dry", "as-fed"), "nitrate_moisture": ("75%", "75%", "80%", "20%"),
}  # fmt: skip
_RARE = {"days_since_frost": 0.2, "days_since_rain": 0.2, "shoot_height": 0.15, "hcn": 0.3, "hcn_basis": 0.3}
_DENIED = {
    "frost": ("days_since_frost",), "drought_rain": ("days_since_rain",), "new_shoots": ("shoot_height",),
    "mineral": ("mineral_magnesium", "mineral_eaten"),
}  # fmt: skip


def phone_in(name: str, dice: Random) -> Told:
    """One phone-in to a question, most of it said."""
    if name == "hay-nitrate":
        told = nitrate_phone_ins.phone_in(dice)
        return told | ({"only_test": dice.choice(("yes", "no"))} if dice.random() < 0.3 else {})
    out, slip = {}, name != "stock-water" and dice.random() < 0.3
    for field, words in (SAID[name] | (_SLIP if slip else {})).items():
        if dice.random() < _RARE.get(field, 0.85):
            out[field] = dice.choice(words)
    whole = {"hcn": ("hcn_basis", "moisture"), "nitrate": ("nitrate_form", "nitrate_basis", "nitrate_moisture")}
    for number, parts in whole.items():
        if number in out and dice.random() < 0.9:
            words = SAID[name] if name == "stock-water" else SAID[name] | _SLIP
            out |= {part: words[part][0] for part in parts if part in words and part not in out}
    if dice.random() < 0.95:  # most callers do not contradict themselves
        for flag, denied in _DENIED.items():
            if out.get(flag) == "no":
                out = {k: v for k, v in out.items() if k not in denied}
    return out


def less(question: Question, told: Told, dice: Random) -> Told:
    """One or two pieces of evidence left out."""
    seen = [f.name for f in question.inputs if f.name in told and evidence(f)]
    if question.name == "hay-nitrate":  # the gaps on file, told as conditions in the headline: see broken.toml
        unasked = ("water_form",) if "tested" in told else ("water_form", "tests")
        seen = [name for name in seen if name not in unasked]
    gone = dice.sample(seen, min(len(seen), dice.randint(1, 2)))
    return {k: v for k, v in told.items() if k not in gone}


def noisy(question: Question, told: Told, dice: Random) -> Told:
    """Money and weights that say nothing of the hazard."""
    if question.name == "stock-water":
        return {**told, "hauling": f"{dice.choice((0.001, 0.03, 0.4))} USD/gal"}
    more = {"price": f"{dice.choice((20, 110, 400))} USD/ton"}
    if question.name == "hay-nitrate":
        more["grinding"] = f"{dice.choice((5, 30, 300))} USD/ton"
    return {**told, **more}


def respelt(question: Question, told: Told, dice: Random) -> Told:
    """Other words for a choice, capitals, blanks, flags by one letter."""
    fields, out = {f.name: f for f in question.inputs}, dict(told)
    for name, text in told.items():
        out[name] = _respelt(fields[name], text, dice)
    return out


def _respelt(f: Field, text: str, dice: Random) -> str:
    if f.kind == "choice":
        meant = f.spellings.get(text.strip().lower())
        words = [word for word, of in (f.aliases or {}).items() if of == meant] + [text]
        return f"  {dice.choice(words).upper()} "
    if f.kind == "flag":
        return {"yes": "Y", "no": "N"}.get(text, text)
    return f" {text}" if f.kind in ("number", "share") else text


TRANSFORMS: dict[str, Callable[[Question, Told, Random], Told]] = {
    "left out": less, "noise": noisy, "respelt": respelt, "grown old": lambda question, told, dice: dict(told),
}  # fmt: skip


def verdicts(question: Question, asked: list[Told], context: Context, old: list[bool]) -> list[str]:
    """The verdict of each phone-in; those of which `old` is True rest on evidence as old as it is still taken."""
    rows, at, out = [], [], ["refused"] * len(asked)
    for i, told in enumerate(asked):
        try:
            row = read_all(question.inputs, told)
            if question.check is not None:
                question.check(row)
        except SideoatsError:
            continue
        rows.append(row)
        at.append(i)
    if not rows:
        return out
    table = table_of(question, rows, keys=[str(i) for i in at])
    aged = np.array([old[i] for i in at])
    for f in question.inputs:
        if evidence(f) and f.name != "tests":
            table.ages[f.name] = np.where(aged & table.known(f.name), min(f.fresh_days, 300.0), 0.0)  # type: ignore[index]
    here = context.fresh()
    assert question.pose is not None
    problem = question.pose(table, here)
    ruling = rule(problem, attitude_of(here.facts), here.facts, np.full(len(rows), np.nan))
    for i, code in zip(at, ruling.verdict.tolist(), strict=True):
        out[i] = VERDICTS[code]
    return out


def milder(kind: str, before: str, after: str) -> bool:
    """A stop that is none any more; where nothing was left out, a look that has become a wait or an act too.

    An act that has become a wait is none: hay that is not worth grinding stays set aside.
    """
    if before not in ("stop", "look") or RANK[after] >= RANK[before]:
        return False
    return (before == "stop" and after != "look") or (kind != "left out" and after in ("wait", "act"))


def tried(name: str, many: int, seed: int) -> tuple[Counter[str], list[tuple[str, str, str, Told, Told]]]:
    """`many` phone-ins to one question: how they were answered, and those that became milder."""
    dice, question, facts = Random(f"{seed} {name}"), find(name), load()
    context = Context(ON, facts, make_outlook(ON, facts=facts, draws=4))
    count: Counter[str] = Counter()
    found: list[tuple[str, str, str, Told, Told]] = []
    for start in range(0, many, BATCH):
        size = min(BATCH, many - start)
        first = [phone_in(name, dice) for _ in range(size)]
        kinds = [dice.choice(list(TRANSFORMS)) for _ in range(size)]
        second = [TRANSFORMS[kind](question, told, dice) for kind, told in zip(kinds, first, strict=True)]
        before = verdicts(question, first, context, [False] * size)
        after = verdicts(question, second, context, [kind == "grown old" for kind in kinds])
        count.update(before)
        for kind, b, a, one, other in zip(kinds, before, after, first, second, strict=True):
            if milder(kind, b, a):
                found.append((kind, b, a, one, other))
    return count, found
