"""Hay is answered no milder than before it was ruled by the one rule; noise never clears a lot.

`nitrate_before.jsonl.gz` holds 2,600 phone-ins with the verdicts of the program before that day; every fifth is asked
here, all of them with SIDEOATS_FULL=1 (`make trials`). What has become milder
on purpose stands in `LOOSENED`, by name, each with the reason and with what every such answer must show.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from tests.fuzz.fuzzing import FULL
from tests.property.nitrate_phone_ins import ON, phone_ins

from sideoats.asking import ask
from sideoats.errors import InputError
from sideoats.forage.stock import NOT_CATTLE
from sideoats.vocabulary import see

RANK = {"wait": 0, "act": 1, "look": 2, "refused": 2, "stop": 3}
Call = dict[str, Any]


def _few_more_cores(told: dict[str, str], call: Call) -> bool:
    """A lot cored as published is not cored again for one to three bales: nobody sets out for them (practice)."""
    text = " ".join(call["because"])
    return "not worth a trip" in text and float(told["cores"]) >= min(20.0, 0.2 * float(told.get("bales", "100")))


def _in_milk(told: dict[str, str], call: Call) -> bool:
    """Limits printed for pregnant or stressed animals do not bind a cow in milk; every limit for all cattle does, from
    1,355 ppm NO3-N on (Manitoba, Wyoming, Kansas State) never as the only feed, from 2,033 (Manitoba) not at all.
    """
    milk = see("place.class").read(told.get("class", "unknown")) == "lactating-cow" and "weakened" not in told
    level, drunk = (
        call["quantities"].get(name, {}).get("value", 0.0)
        for name in ("nitrate_nitrogen_dry", "nitrate_nitrogen_from_water")
    )
    return milk and level + drunk < 1355 and "in milk" in " ".join(call["because"])


def _other_hay(told: dict[str, str], call: Call) -> bool:
    """A test of hay that lay there before, by the day on which this was put up, counts no more."""
    return "baled" in told and "Not counted, because this hay was put up on" in " ".join(call["because"])


LOOSENED: dict[str, Callable[[dict[str, str], Call], bool]] = {
    "few more cores": _few_more_cores,
    "milk": _in_milk,
    "other hay": _other_hay,
}


def answer(told: dict[str, str]) -> Call:
    try:
        return dict(ask("hay-nitrate", told, on=ON, draws=4))
    except InputError as refusal:
        assert "\n" not in str(refusal)
        return {"verdict": "refused", "because": []}


def recorded() -> list[tuple[str, dict[str, str]]]:
    with gzip.open(Path(__file__).parent / "nitrate_before.jsonl.gz", "rt", encoding="utf-8") as lines:
        return [tuple(json.loads(line)) for line in lines]


@pytest.mark.parametrize("part", range(4))
def test_no_phone_in_is_answered_milder_than_before(part: int) -> None:
    before = recorded()
    assert len(before) >= 2000 and {was for was, _ in before} == set(RANK)
    milder = []
    for was, told in before[part :: 4 if FULL else 20]:
        call = answer(told)
        if RANK[call["verdict"]] < RANK[was] and not any(fits(told, call) for fits in LOOSENED.values()):
            milder.append((was, call["verdict"], told))
        if call["verdict"] == "stop":
            assert call["act_by"], told
        elif call["verdict"] == "look":
            assert call["look_by"], told
    assert milder == []


def _noisy(told: dict[str, str], dice: Random) -> dict[str, str]:
    """The same phone-in with something that says nothing of the lot, or with a part of its evidence left out."""
    out = dict(told)
    kind = dice.randrange(5)
    if kind == 0:
        out |= {"price": f"{dice.choice((0, 40, 400))} USD/ton", "grinding": f"{dice.choice((0, 30, 300))} USD/ton"}
    elif kind == 1:
        cattle = see("place.class").read(told.get("class", "cow")) not in NOT_CATTLE
        for name in ("cores", "bales", *(["class"] if cattle else [])):  # what is cleared is for cattle only
            if dice.random() < 0.5:
                out.pop(name, None)
    elif kind == 2 and "tests" not in out and "tested" not in out:  # a late sample asks for the earlier ones
        out["tests"] = "on=2026-06-12, result=20 ppm, form=NO3-N, basis=dry"
    elif kind == 3 and "baled" not in told:
        out["tested"] = "2024-06-01"
    else:
        out = {
            name: f"  {value.upper() if name in ('form', 'basis', 'class') else value} " for name, value in out.items()
        }
    return out


def test_noise_age_spelling_and_silence_never_clear_a_lot() -> None:
    dice = Random(17)
    cleared = []
    for told in phone_ins(3, 500 if FULL else 150):
        call = answer(told)
        noisy = _noisy(told, dice)
        if call["verdict"] != "wait" and call["verdict"] != "refused" and answer(noisy)["verdict"] == "wait":
            held = answer(noisy)["headline"]
            if not held.startswith("Leave it set aside"):  # at a price that grinding does not pay it is not fed either
                cleared.append((call["verdict"], told, noisy))
    assert cleared == []
