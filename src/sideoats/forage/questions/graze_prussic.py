"""May this sorghum, sudan or johnsongrass be grazed now?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.forage import cautions, citing, prussic, stock
from sideoats.forage.drought import by_place, drought_broke_by_place, frost_by_place
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
SPECIES = (
    "pearl millet", "foxtail millet", "corn", "oats", "small grains", "sudangrass", "sorghum-sudan", "forage sorghum",
    "shattercane", "johnsongrass", "grain sorghum", "sorghum almum",
)  # fmt: skip
_ACCUMULATES = frozenset(SPECIES)  # all of them are named as nitrate accumulators
_ALIASES = {
    "sudan": "sudangrass", "sudan hay": "sudangrass", "sudan grass": "sudangrass", "sorghum sudan": "sorghum-sudan",
    "sorghum sudangrass": "sorghum-sudan", "sorghum-sudangrass": "sorghum-sudan", "milo": "grain sorghum",
    "sorghum": "grain sorghum", "johnson grass": "johnsongrass", "millet": "pearl millet", "cane": "forage sorghum",
    "wheat": "small grains", "winter wheat": "small grains",
}  # fmt: skip
_WEEK = 7
_TOLD = {"frost": ("days_since_frost", "frost_date"), "drought_rain": ("days_since_rain", "rain_date")}
_SPEAKS = 14.0  # days: a result speaks for the plants of its day
OPTIONS = (
    Option("graze", "Turn out now"),
    Option("wait", "Keep them off, feed hay, until the waits have run and it is tall enough", passive=True),
    Option("test", "Send fresh leaves to a laboratory and keep them off until it answers"),
)

INPUTS = (
    Field("species", "choice", "what stands there", choices=SPECIES, aliases=_ALIASES, required=True,
          found_in=("evidence:forage_look.species", "place:crop")),
    Field("height", "number", "height of the growth that stands; that of new shoots goes into shoot_height", unit="in",
          low=0, high=240, example="22 in", found_in=("evidence:forage_look.height",), fresh_days=14),
    Field("new_shoots", "flag", "new shoots or tillers stand after the frost or rain; they are eaten first",
          found_in=("evidence:forage_look.new_shoots",), fresh_days=7),
    Field("shoot_height", "number", "height of the new shoots themselves; unknown counts as too short", unit="in",
          low=0, high=240, example="8 in", found_in=("evidence:forage_look.shoot_height",), fresh_days=7),
    Field("frost", "flag", "frost has come on this growth; no says that it has not, yes without its day counts from "
          "today", found_in=("evidence:forage_look.frost",), fresh_days=1),
    Field("days_since_frost", "number", "days since the last frost, if there was one", unit="day", bare=True, low=0,
          high=400),
    Field("frost_date", "date", "day of the last frost, if there was one",
          found_in=("evidence:forage_look.frost_date",)),
    Field("drought_rain", "flag", "rain has ended a drought in the last weeks; no says that it has not, yes without "
          "its day counts from today", found_in=("evidence:forage_look.drought_rain",), fresh_days=7),
    Field("days_since_rain", "number", "days since rain ended a drought, if it did", unit="day", bare=True, low=0,
          high=400),
    Field("rain_date", "date", "day on which rain ended a drought, if it did",
          found_in=("evidence:forage_look.rain_date",)),
    Field("hcn", "number", "prussic acid as the laboratory printed it", unit="ppm", low=0, high=1e5,
          found_in=("evidence:forage_look.hcn",), fresh_days=_SPEAKS),
    Field("hcn_basis", "choice", "wet or dry; it must be stated with a result: " + prussic.WHY, choices=prussic.BASES,
          aliases={"fresh": "wet", "as-fed": "wet", "as fed": "wet", "dm": "dry", "dry matter": "dry"},
          found_in=("evidence:forage_look.hcn_basis",), fresh_days=_SPEAKS),
    Field("moisture", "share", "moisture of the tested sample", found_in=("evidence:forage_look.moisture",),
          fresh_days=_SPEAKS),
    Field("preset", "choice", "how careful heights and waits are; the district's choice if absent",
          choices=("usual", "cautious")),
    Field("class", "choice", "animals that would graze", choices=stock.CLASSES, aliases=stock.ALIASES,
          default="unknown",
          found_in=("place:class",)),
    Field("weight", "number", "weight of an animal", unit="lb", low=50, high=3500, found_in=("place:weight",)),
    Field("price", "number", "hay fed meanwhile", unit="USD/ton", low=0, high=2000,
          found_in=("quote:grass hay", "setting:price.hay")),
    Field("station", "text", "weather station on file that stands for the field", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    for flag, dates in _TOLD.items():
        for name in dates:
            if values[flag] is False and values[name] is not None:
                raise InputError(f"is given although {flag} is no", where=f"graze-prussic {name}",
                                 expected=f"{flag}=yes with it, or no {name}")  # fmt: skip
    if values["shoot_height"] is not None and values["new_shoots"] is False:
        raise InputError("is given although new_shoots is no", where="graze-prussic shoot_height",
                         expected="new_shoots=yes with it, or no shoot_height")  # fmt: skip
    if values["hcn"] is not None:
        if values["hcn_basis"] is None:
            raise InputError("is missing", where="graze-prussic hcn_basis", expected="wet or dry", todo=prussic.WHY)
        if values["moisture"] is None:
            raise InputError("is missing", where="graze-prussic moisture", expected="the moisture of the sample, "
                "such as 75%",
                             todo=prussic.WHY)  # fmt: skip


def _ages(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Days since frost and since drought-breaking rain: what was told, else what the station's record shows."""
    facts, on, records = context.facts, context.on, context.outlook.records
    threshold = (facts.value("forage/prussic.frost") - 32) / 1.8
    back = int(facts.value("forage/drought.look_back"))
    stations = table.text("station")
    seen_frost = frost_by_place(stations, records, on, threshold, back)
    seen_rain = drought_broke_by_place(stations, records, on, facts, back)
    frost = np.fmin(table.number("days_since_frost"), -table.days_until("frost_date", on))
    rain = np.fmin(table.number("days_since_rain"), -table.days_until("rain_date", on))
    frost = np.where(table.flag("frost") & np.isnan(frost), 0.0, frost)
    rain = np.where(table.flag("drought_rain") & np.isnan(rain), 0.0, rain)
    # a day ahead of today is a slip or a forecast: the wait is counted from today, never from further on
    return np.maximum(np.fmin(frost, seen_frost), 0.0), np.maximum(np.fmin(rain, seen_rain), 0.0)


def _untold(table: Table, context: Context, flag: str, variable: str, days: float) -> Bools:
    """True where nobody said whether it came and the station's record lacks any of the last `days` days."""
    records, on = context.outlook.records, context.on

    def lacking(station: str) -> float:
        return records[station].lacking((variable,), on, int(days)) if station in records else np.nan

    told = np.any([table.known(name) for name in (flag, *_TOLD[flag])], axis=0)
    return np.asarray(~told & ~(by_place(table.text("station"), lacking) == 0))


def _shoots(table: Table) -> tuple[Bools, Bools]:
    """New shoots stand; and whether anybody looked for them."""
    measured = table.known("shoot_height")
    return table.flag("new_shoots") | measured, table.known("new_shoots") | measured


@dataclass(frozen=True)
class _Judged:
    """Bars by row; (n,) each."""

    standing: prussic.Standing
    groups: list[str]
    risk: list[str]
    frost_age: Floats
    rain_age: Floats
    nitrate_left: Floats
    toxic: Bools
    ladders: dict[str, NDArray[np.int64]]
    preset: str
    frost_untold: Bools  # of a species with prussic acid
    rain_untold: Bools  # of one with prussic acid or nitrate

    @property
    def barred(self) -> Bools:
        return self.standing.barred | (self.nitrate_left > 0) | self.toxic

    @property
    def days(self) -> Floats:
        """Days until every wait has run."""
        return np.fmax(np.nan_to_num(self.standing.days_left), self.nitrate_left)


def _judge(table: Table, context: Context) -> _Judged:
    facts = context.facts
    given = [p for p in table.text("preset") if p]
    name, fact = facts.choose("forage/prussic_preset", given[0] if given and len(table) == 1 else None)
    preset = prussic.Preset.of(fact)
    rows = {r[0]: (str(r[1]), str(r[2])) for r in facts["forage/prussic.species"].rows}
    species = [str(s) for s in table.text("species")]
    groups = [rows.get(s, ("", "none"))[1] for s in species]
    frost, rain = _ages(table, context)
    standing = prussic.standing_forage(
        groups, preset, table.number("height"), frost, rain, _shoots(table)[0], table.number("shoot_height")
    )
    waits = facts.under("forage/rain_wait")
    wait = max(f.high for f in waits.values()) if name == "cautious" else waits["wisconsin"].high
    hot = np.array([s in _ACCUMULATES for s in species], dtype=bool)
    nitrate_left = np.where(hot & ~np.isnan(rain), np.maximum(wait - rain, 0.0), 0.0)
    toxic, ladders = _tested(table, context)
    risk = [rows.get(s, ("none known", "none"))[0] for s in species]
    risky = np.array([g != "none" for g in groups], dtype=bool)
    longest = max(*preset.frost_wait.values(), *preset.new_shoot_wait.values())
    frost_untold = risky & _untold(table, context, "frost", "tmin", longest)
    longest = max(wait, *preset.rain_wait.values())
    rain_untold = (risky | hot) & _untold(table, context, "drought_rain", "rain", longest)
    return _Judged(
        standing, groups, risk, frost, rain, nitrate_left, toxic, ladders, name, frost_untold, rain_untold
    )  # fmt: skip


def _tested(table: Table, context: Context) -> tuple[Bools, dict[str, NDArray[np.int64]]]:
    """True where any ladder puts the laboratory's result over its lowest class, and the class by ladder.

    A result that lacks its basis or moisture cannot clear anything and counts as toxic until it is known.
    """
    value, basis, moisture = table.number("hcn"), table.text("hcn_basis"), table.number("moisture")
    known = ~np.isnan(value)
    usable = known & np.array([b in prussic.BASES for b in basis], dtype=bool) & (moisture >= 0) & (moisture < 1)
    toxic = known & ~usable
    classes: dict[str, NDArray[np.int64]] = {}
    for name, fact in context.facts.under("forage/prussic_class").items():
        ladder = prussic.Ladder.of(fact)
        dry_part = np.where(usable, 1 - moisture, 1.0)
        wet = np.array([b == "wet" for b in basis], dtype=bool)
        as_wet = np.where(wet, value, value * dry_part)
        as_dry = np.where(wet, value / dry_part, value)
        classes[name] = ladder.classify(np.where(usable, as_wet if ladder.basis == "wet" else as_dry, np.nan))
        if name != "older_dry":
            toxic = toxic | (classes[name] > 0)
    return toxic, classes


def _payoff(table: Table, context: Context, j: _Judged) -> tuple[Floats, Floats]:
    """(place, draw, option) minus the hay fed meanwhile, USD/head, and the hay of one day."""
    facts, out = context.facts, context.outlook
    usual = stock.by_class(facts["forage/body_weight"], list(table.text("class")), "weight")
    weight = np.where(np.isnan(table.number("weight")), usual, table.number("weight"))
    price = np.where(np.isnan(table.number("price")), facts.value("forage/hay.price"), table.number("price"))
    day = price * weight * facts.value("forage/hay.intake_share") / facts.value("forage/hay.dry_matter") / 2000
    moves = out.price_ratio("grass hay", [14])[:, 0]
    days = np.maximum(j.days, 1.0)[:, None]
    answered = np.maximum(days, out.between("laboratory days", *facts.span("forage/hay.laboratory_days")))
    kept_off, tested = (-day[:, None] * span * moves for span in (days, answered))  # a laboratory lifts no wait
    return np.stack([np.zeros_like(kept_off), kept_off, tested], axis=2), day


def answer(table: Table, context: Context) -> Answers:
    """The bars of height, frost, new shoots, rain and test; a day's hay is the only money, and it lifts none
    of them."""
    j = _judge(table, context)
    facts = context.facts
    risky = np.array([g != "none" for g in j.groups], dtype=bool)
    waiting = j.standing.frost | j.standing.rain | j.standing.shoots | (j.nitrate_left > 0) | j.toxic
    # what nobody has named, said or measured is never cleared
    missing = ((risky & ~table.known("height")) | ~table.known("species")) & ~waiting
    unseen = missing | (risky & ~_shoots(table)[1]) | j.frost_untold | j.rain_untold
    barred, uncleared = (np.stack([rows, *[np.zeros_like(rows)] * 2], axis=1) for rows in (j.barred, unseen))
    payoff, day = _payoff(table, context, j)
    decision = decide(payoff, barred=barred | uncleared, risk_aversion=context.risk_aversion)
    words = _Words(table, context, j, day)
    verdict = np.where(j.barred & ~missing, STOP, np.where(unseen, LOOK, ACT)).astype(np.int8)
    within = dict(facts["forage/look_within"].rows)
    again = np.ceil(np.where(j.days > 0, j.days, within["usual"]))
    look_by = np.where(verdict == STOP, again, np.where(verdict == LOOK, within["before turnout"], -1))
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/head", bars=(Bar(barred, words.reason, hazard=True), Bar(uncleared & ~barred, words.unseen)),
        verdict=verdict,
        act_by=np.where(verdict == ACT, 0, -1),  # each day off it costs hay, and a look speaks for its day
        cost_of_waiting=np.where(verdict == ACT, _WEEK * day, 0.0),
        look_by=look_by.astype(np.int64),
        quantities={
            "height_needed": (j.standing.height_needed, "in"), "days_to_wait": (j.days, "day"),
            "days_since_frost": (j.frost_age, "day"), "days_since_drought_breaking_rain": (j.rain_age, "day"),
            "species_risk": (np.array(j.risk, dtype=object), ""),
            "hcn_ward_wet": (words.label("ward_wet"), ""), "hcn_guides_dry": (words.label("guides_dry"), ""),
        },
        missing=missing, missing_headline=words.lacking,
        cautions=lambda i: cautions.emergency(*cautions.PRUSSIC, cautions.NITRATE[1]),
        sources=citing.with_quoted(
            facts, lambda i: (*citing.PRUSSIC, "drying_loss", *(("suspect_when",) if j.groups[i] == "none" else ()))
        ),
    )  # fmt: skip


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    table: Table
    context: Context
    j: _Judged
    day: Floats

    def label(self, ladder: str) -> NDArray[np.object_]:
        held = prussic.Ladder.of(self.context.facts[f"forage/prussic_class.{ladder}"])
        return np.array([*held.labels, ""], dtype=object)[self.j.ladders[ladder]]

    def reasons(self, i: int) -> list[str]:
        s, j = self.j.standing, self.j
        height = self.table.number("height")[i]
        out = []
        if s.frost[i]:
            dated = any(self.table.known(name)[i] for name in _TOLD["frost"]) or j.frost_age[i] > 0
            out.append(f"{j.frost_age[i]:.0f} days since frost" if dated else "a frost whose day is not told")
        if s.shoots[i]:
            tall = self.table.number("shoot_height")[i]
            shown = f"new shoots {tall:.0f} in tall" if np.isfinite(tall) else "new shoots of unknown height"
            out.append(f"{shown}, {s.height_needed[i]:.0f} in needed of the shoots themselves")
        if s.rain[i] or j.nitrate_left[i] > 0:
            out.append(
                f"{j.rain_age[i]:.0f} days since rain ended a drought (prussic acid and nitrate in the regrowth)"
            )
        if s.too_short[i]:
            shown = f"{height:.0f} in tall" if np.isfinite(height) else "height not known"
            out.append(f"{shown}, {s.height_needed[i]:.0f} in needed")
        if j.toxic[i]:
            out.append("the laboratory's result is over the lowest class, or lacks its basis or moisture")
        return out

    def reason(self, i: int) -> str:
        return "; ".join(self.reasons(i)) or "not cleared"

    def headline(self, i: int) -> str:
        if self.j.barred[i]:
            days = self.j.days[i]
            when = f" Not before {days:.0f} days from now." if days > 0 else ""
            return f"Do not graze this {self.table.text('species')[i]}: {self.reason(i)}.{when}"
        ask = self.untold(i)
        if ask:
            look = ", and look for new shoots," if self.j.groups[i] != "none" else ""
            return f"Not cleared: {' and '.join(ask)} is not known. Ask the grower{look} first."
        if self.j.groups[i] != "none" and not _shoots(self.table)[1][i]:
            return "Tall enough and no wait runs, but look for new shoots first: they decide."
        species = str(self.table.text("species")[i])
        if self.j.groups[i] == "none":
            return (
                f"{species.capitalize()} carries next to no prussic acid and no wait runs; its nitrate is not judged"
                " here: test it first where growth or nitrogen was out of the usual."
            )
        return (
            f"No rule on file stands against grazing this {species} today; on a later day look again for height and"
            " new shoots first."
        )

    def untold(self, i: int) -> list[str]:
        out = []
        if self.j.frost_untold[i]:
            out.append("whether frost has come (frost=no, or its day)")
        if self.j.rain_untold[i]:
            out.append("whether rain has ended a drought (drought_rain=no, or its day)")
        return out

    def unseen(self, i: int) -> str:
        out = self.untold(i)
        if not _shoots(self.table)[1][i]:
            out.append("whether new shoots stand")
        return f"not cleared: {' and '.join(out)} is not known"

    def lacking(self, i: int) -> str:
        if not self.table.known("species")[i]:
            return "Name the forage that stands there before any turnout: sorghum, sudan or johnsongrass can kill."
        return "Measure the height and look for new shoots before any turnout."

    def because(self, i: int) -> list[str]:
        j, facts = self.j, self.context.facts
        needed = j.standing.height_needed[i]
        out = [f"{str(self.table.text('species')[i]).capitalize()}: prussic acid risk {j.risk[i]}."]
        if np.isfinite(needed):
            waits = prussic.Preset.of(facts.choose("forage/prussic_preset", j.preset)[1])
            group = j.groups[i]
            printed = facts["forage/prussic.frost_waits"]
            shortest, longest = np.nanmin(printed.column("light_low")), np.nanmax(printed.column("killing_high"))
            out.append(
                f"The {j.preset} preset: {needed:.0f} in before grazing, {waits.frost_wait[group]:.0f} days after"
                f" frost, {waits.rain_wait[group]:.0f} days after rain that ends a drought; publishers print"
                f" {shortest:.0f} to {longest:.0f} days after frost."
            )
            out.append(
                f"New shoots after frost stay dangerous until {facts.value('forage/prussic.new_shoots'):.0f} days after"
                " the frost that kills them, or until they are tall themselves."
            )
        else:
            out.append(
                f"Nitrate is its hazard. Suspect it where there was {facts['forage/suspect_when'].text}; sample what"
                " would be grazed or cut."
            )
        if not j.barred[i]:
            out.append(
                f"Each day off it costs {self.day[i]:.2f} USD/head in hay, so grazing is worth most from today; a look"
                " speaks for its own day."
            )
        for name, what in (("frost_date", "frost"), ("rain_date", "rain")):
            if self.table.days_until(name, self.context.on)[i] > 0:
                out.append(f"The {what} is dated ahead of today: check the day; the wait is counted from today.")
        unseen = "was told, and no station's record covers the wait: it is not known whether one came."
        if j.frost_untold[i]:
            out.append(f"No frost {unseen}")
        elif np.isnan(j.frost_age[i]):
            out.append("No frost was told and none is on the station's record; low ground freezes first.")
        if j.rain_untold[i]:
            out.append(f"No rain that ended a drought {unseen}")
        elif np.isnan(j.rain_age[i]):
            out.append("No rain that ended a drought was told or is on the station's record.")
        if self.table.known("hcn")[i]:
            out.append(
                "A laboratory result speaks for the plants and the day of the sample; it lifts no height or wait."
            )
        out.append(facts["forage/prussic.hay"].text)
        out.append(facts["forage/prussic.sampling"].text)
        return out


_FORAGE = ("sudangrass", "sorghum-sudan", "forage sorghum", "johnsongrass", "shattercane", "sorghum almum",
           "pearl millet", "foxtail millet", "oats")  # fmt: skip


def _in_season(table: Table, context: Context) -> Bools:
    """Where somebody looked, and forage crops after frost or after rain that ended a drought."""
    frost, rain = _ages(table, context)
    forage = np.array([str(s) in _FORAGE for s in table.text("species")], dtype=bool)
    looked = table.known("height") | table.known("new_shoots")
    return np.asarray(looked | (forage & (~np.isnan(frost) | ~np.isnan(rain))))


QUESTION = Question(
    name="graze-prussic", room="forage", title="May this sorghum, sudan or johnsongrass be grazed now?",
    about="Prussic acid in standing forage by species, height, frost, drought-breaking rain, new shoots and "
    "laboratory result; "
    "nitrate after rain that ends a drought. The emergency lines stand on every answer.",
    inputs=INPUTS, answer=answer,
    places=Places(kinds=("field", "pasture"), crops=(*SPECIES, "sudan", "sorghum sudan", "millet")),
    in_season=_in_season, check=_check,
    limits="Ruminants. Heights and waits are guides that publishers set differently; no field test is reliable.",
    options_count=len(OPTIONS),
)  # fmt: skip
