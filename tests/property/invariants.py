"""What must hold for every question (docs/design.md, "Invariants"): how a phone-in is changed, and what may follow.

An invariant changes a phone-in and judges the two calls; `faults` does the second for given inputs, so that a
counter-example can be kept (`broken.toml`) and tried again.
"""

from __future__ import annotations

from datetime import date

from tests.property.laws import (
    Invariant,
    Values,
    another_order,
    as_it_is,
    judge_age,
    judge_batch,
    judge_missing,
    judge_need,
    judge_order,
    judge_silence,
    judge_spelling,
    judge_stranger,
    judge_told,
    judge_twice,
    judge_units,
    judge_unknown,
    less_evidence,
    no_need,
    other_units,
    otherwise_spelt,
)
from tests.property.laws_of_money import (
    a_little_more,
    dearer,
    judge_aversion,
    judge_baseline,
    judge_dates,
    judge_dearer,
    judge_headline,
    judge_smooth,
    judge_worth_more,
    worth_more,
)


def faults(law: str, name: str, before: Values, after: Values, on: date) -> str:
    """What is wrong with the answers to the two phone-ins; "" where nothing is."""
    return INVARIANTS[law].judge(name, before, after, on)


INVARIANTS = {
    "silence": Invariant("evidence left out never turns stop into wait or act", less_evidence, judge_silence),
    "need": Invariant("what is needed and not known is refused by phone and looked for", no_need, judge_need),
    "missing": Invariant("only what was not given is missing; nothing is decided then", as_it_is, judge_missing),
    "age": Invariant("older evidence is never answered milder", as_it_is, judge_age),
    "stranger": Invariant("a station and a market that nobody named change nothing", as_it_is, judge_stranger),
    "units": Invariant("US or metric units give the same call", other_units, judge_units),
    "spelling": Invariant("other words, capitals, blanks give the same call", otherwise_spelt, judge_spelling),
    "order": Invariant("the order of a list gives the same call", another_order, judge_order),
    "twice": Invariant("the same inputs give the same call", as_it_is, judge_twice),
    "batch": Invariant("a row is answered the same beside others", as_it_is, judge_batch),
    "told": Invariant("in another language it is the same call", as_it_is, judge_told),
    "dearer": Invariant("a dearer act gains less, one for one", dearer, judge_dearer),
    "worth more": Invariant("a crop worth more is never worth less protecting", worth_more, judge_worth_more),
    "aversion": Invariant("without aversion to risk expected money decides", as_it_is, judge_aversion),
    "baseline": Invariant("gains are counted from a named baseline, which gains 0", as_it_is, judge_baseline),
    "dates": Invariant("act has an act-by, look a look-by, neither is past", as_it_is, judge_dates),
    "headline": Invariant("money in the headline is among the figures", as_it_is, judge_headline),
    "smooth": Invariant("a small change of an input makes no large jump of money", a_little_more, judge_smooth),
    "unknown": Invariant("an unknown input is refused in one line that names it", as_it_is, judge_unknown),
}
