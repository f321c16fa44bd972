"""Bloat and tetany on wheat pasture: turn out, prepare first, or hold off?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import LOOK, STOP, WAIT
from sideoats.decide import decide
from sideoats.forage import cautions, citing, minerals, stock
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
OPTIONS = (
    Option("turn-out", "Turn out (or leave them on) as they are", passive=True),
    Option("prepare", "Hay first, magnesium mineral for cows, turn out full and in the afternoon"),
    Option("hold-off", "Keep or take them off the wheat"),
)
_NITROGEN_OF_PROTEIN = 6.25  # grams of crude protein in a gram of nitrogen, the definition of crude protein
_FRESH = 21.0  # days: growing wheat and its minerals change from week to week
INPUTS = (
    Field("class", "choice", "cattle on the wheat", choices=stock.CLASSES, aliases=stock.ALIASES, default="unknown",
          found_in=("place:class", "evidence:pasture_test.class")),
    Field("potassium", "share", "K of the forage, dry matter", high=0.1, example="3.1%",
          found_in=("evidence:pasture_test.potassium",), fresh_days=_FRESH),
    Field("calcium", "share", "Ca of the forage, dry matter", high=0.05,
          found_in=("evidence:pasture_test.calcium",), fresh_days=_FRESH),
    Field("magnesium", "share", "Mg of the forage, dry matter", high=0.02, example="0.15%",
          found_in=("evidence:pasture_test.magnesium",), fresh_days=_FRESH),
    Field("protein", "share", "crude protein of the forage, dry matter", high=0.6,
          found_in=("evidence:pasture_test.protein",), fresh_days=_FRESH),
    Field("mineral", "flag", "a magnesium mineral is being eaten", found_in=("evidence:pasture_test.mineral",),
          fresh_days=_FRESH),
    Field("lush", "flag", "short, lush, fast-growing wheat", found_in=("evidence:pasture_test.lush",),
          fresh_days=_FRESH),
    Field("front", "flag", "a weather front came or is coming within two days", default=False),
    Field("signs", "flag", "an animal is swollen, staggering or down", default=False,
          found_in=("evidence:pasture_test.signs",), fresh_days=3),
    Field("hungry", "flag", "they would go on hungry", default=False),
    Field("hay_first", "flag", "they are full of dry hay and go on in the afternoon, or are used to the wheat",
          default=False, found_in=("evidence:pasture_test.hay_first",), fresh_days=_FRESH),
    Field("weight", "number", "weight of an animal", unit="lb", low=50, high=3500, found_in=("place:weight",)),
    Field("price", "number", "hay fed instead", unit="USD/ton", low=0, high=2000,
          found_in=("quote:grass hay", "setting:price.hay")),
)  # fmt: skip
_UNNAMED = frozenset({"unknown", ""})
_COWS = frozenset({"pregnant-cow", "pregnant-heifer", "lactating-cow", "open-cow"}) | _UNNAMED


@dataclass(frozen=True)
class _Judged:
    """Tetany and bloat by row, (n,) each."""

    ratio: Floats
    cows: Bools
    over_ratio: Bools
    low_magnesium: Bools
    high_pair: Bools
    tetany: Bools
    bloat: Bools
    signs: Bools
    untested: Bools
    unseen: Bools


def _judge(table: Table, context: Context) -> _Judged:
    facts = context.facts
    k, ca, mg = (100 * table.number(x) for x in ("potassium", "calcium", "magnesium"))
    nitrogen = 100 * table.number("protein") / _NITROGEN_OF_PROTEIN
    ratio = minerals.tetany_ratio(k, ca, mg)
    cows = np.array([str(c) in _COWS for c in table.text("class")], dtype=bool)
    over_ratio = minerals.over_level(ratio, facts.value("forage/tetany.ratio"))
    levels = facts["forage/tetany.magnesium"].column("from")
    low_magnesium = np.nan_to_num(mg, nan=np.inf) < levels[1] * (1 - 1e-9)
    pair = minerals.over_level(k, facts.value("forage/tetany.potassium")) & minerals.over_level(
        nitrogen, facts.value("forage/tetany.nitrogen")
    )
    tetany = cows & (over_ratio | low_magnesium | pair)
    protein = facts["forage/bloat.crude_protein"]
    rich = minerals.over_level(100 * table.number("protein"), protein.mid)
    # cattle of a class that nobody named may be either: both hazards are looked at
    stockers = ~cows | np.array([str(c) in _UNNAMED for c in table.text("class")], dtype=bool)
    bloat = stockers & (rich | table.flag("lush") | table.flag("front"))
    tested = table.known("potassium") & table.known("calcium") & table.known("magnesium")
    untested = cows & ~tested & ~table.flag("mineral")
    unseen = stockers & ~bloat & ~table.known("lush") & ~table.known("protein") & ~table.flag("hay_first")
    return _Judged(ratio, cows, over_ratio, low_magnesium, pair, tetany, bloat, table.flag("signs"), untested, unseen)


def answer(table: Table, context: Context) -> Answers:
    """Bars: signs; cows at tetany risk without a magnesium mineral; hungry or unfilled cattle on to rich or
    lush wheat."""
    facts = context.facts
    j = _judge(table, context)
    n = len(table)
    hungry = table.flag("hungry") & (table.flag("lush") | j.bloat | j.tetany)
    no_mineral = j.tetany & ~table.flag("mineral")
    unfilled = j.bloat & ~table.flag("hay_first")
    straight = j.signs | no_mineral | hungry | unfilled
    barred = np.stack([straight, j.signs, np.zeros(n, bool)], axis=1)
    words = _Words(table, context, j, no_mineral, hungry, unfilled)
    usual = stock.by_class(facts["forage/body_weight"], list(table.text("class")), "weight")
    weight = np.where(table.known("weight"), table.number("weight"), usual)
    price = np.where(table.known("price"), table.number("price"), facts.value("forage/hay.price"))
    day = price * weight * facts.value("forage/hay.intake_share") / facts.value("forage/hay.dry_matter") / 2000
    week = 7 * day[:, None] * context.outlook.price_ratio("grass hay", [7])[:, 0]
    part = context.outlook.between("hay before turnout", *facts.span("forage/bloat.hay_share"))
    payoff = np.stack([week, week * (1 - part), np.zeros_like(week)], axis=2)
    open_yet = j.untested | j.unseen
    uncleared = np.stack([open_yet, np.zeros(n, bool), np.zeros(n, bool)], axis=1) & ~barred
    decision = decide(payoff, barred=barred | uncleared, risk_aversion=context.risk_aversion)
    within = dict(facts["forage/look_within"].rows)
    verdict = np.where(straight, STOP, np.where(open_yet, LOOK, WAIT)).astype(np.int8)
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head", bars=(Bar(barred, words.reason, hazard=True), Bar(uncleared, words.uncleared)),
        verdict=verdict,
        look_by=np.where(straight | j.bloat | j.tetany, within["signs"], np.where(open_yet, within["before turnout"],
        -1)),
        quantities={
            "tetany_ratio": (j.ratio, "1"),
            "tetany_line": (np.full(n, facts.value("forage/tetany.ratio")), "1"),
            "magnesium": (100 * table.number("magnesium"), "percent"),
            "magnesium_risk": (words.magnesium_label(), ""),
        },
        cautions=cautions.emergency(*cautions.TETANY, *cautions.BLOAT),
        sources=citing.with_quoted(
            facts,
            lambda i: ("tetany.who", "tetany.magnesium_need.lactating", "tetany.mineral.texas", "bloat.practice"),
        ),
    )  # fmt: skip


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    table: Table
    context: Context
    j: _Judged
    no_mineral: Bools
    hungry: Bools
    unfilled: Bools

    def magnesium_label(self) -> NDArray[np.object_]:
        fact = self.context.facts["forage/tetany.magnesium"]
        return minerals.step_label(100 * self.table.number("magnesium"), fact.column("from"), fact.column("label"))

    def reason(self, i: int) -> str:
        out = []
        if self.j.signs[i]:
            out.append("an animal shows signs: take all of them off and call the veterinarian")
        if self.no_mineral[i]:
            out.append("cows at tetany risk without a magnesium mineral")
        if self.hungry[i]:
            out.append("hungry cattle on to rich wheat")
        if self.unfilled[i]:
            out.append("bloat weather or growth, and they are not full of hay")
        return "; ".join(out) or "not cleared"

    def uncleared(self, i: int) -> str:
        what = ["the forage is not tested for K, Ca and Mg"] if self.j.untested[i] else []
        return "not cleared: " + " and ".join(what + (["nobody looked at the growth"] if self.j.unseen[i] else []))

    def headline(self, i: int) -> str:
        j = self.j
        if j.signs[i]:
            return "Take them off the wheat now, quietly, and call the veterinarian."
        if self.no_mineral[i] or self.hungry[i] or self.unfilled[i]:
            return f"Do not turn out as they are: {self.reason(i)}."
        if j.untested[i]:
            return "Test the forage for K, Ca and Mg before cows go on, or have a magnesium mineral eaten first."
        if j.unseen[i]:
            return "Look at the growth before they go on: short, lush, fast-growing wheat bloats."
        if j.tetany[i] or j.bloat[i]:
            return "Risk is there but prepared for: watch them twice a day."
        return "No line on file is crossed; watch them in the first week and after weather fronts."

    def because(self, i: int) -> list[str]:
        j, facts = self.j, self.context.facts
        line = facts.value("forage/tetany.ratio")
        out = []
        if np.isfinite(j.ratio[i]):
            out.append(
                f"K/(Ca+Mg) is {j.ratio[i]:.2f} in milliequivalents; over {line:g} is the published tetany risk."
            )
        if j.low_magnesium[i]:
            low = facts["forage/tetany.magnesium"].column("from")[1]
            out.append(f"Forage magnesium is under {low:g} %: high risk by itself.")
        if j.high_pair[i]:
            k, n = facts.value("forage/tetany.potassium"), facts.value("forage/tetany.nitrogen")
            out.append(f"Potassium over {k:g} % with nitrogen over {n:g} % is a published risk of its own.")
        out.append(facts["forage/tetany.who"].text)
        need, mineral = facts["forage/tetany.magnesium_need.lactating"], facts["forage/tetany.mineral.texas"]
        out.append(
            f"A lactating cow needs {need.low:g} to {need.high:g} g of magnesium a day. A mineral of"
            f" {mineral.value:g} % magnesium: {mineral.conditions}."
        )
        if j.bloat[i]:
            out.append("Rich, lush or front-struck wheat: bloat weather for stockers.")
        out.append(facts["forage/bloat.practice"].text)
        return out


QUESTION = Question(
    name="wheat-pasture-hazard", room="forage", title="Bloat and tetany on this wheat pasture?",
    about="Tetany from the forage's minerals and the class of cattle, bloat from growth and weather; hay and mineral "
    "first, or "
    "off. The emergency lines stand on every answer.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("pasture", "herd", "pen")),
    in_season=lambda table, context: (
        table.known("potassium") | table.known("magnesium") | table.known("protein") | table.known("lush")
        | table.flag("signs")
    ),
    limits="No published chance of bloat or tetany by day: the money shown is hay saved, never the risk. No doses.",
    options_count=len(OPTIONS),
)  # fmt: skip
