"""What of a water can hurt the animals that drink it, and what has to be asked; by code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.errors import InputError
from sideoats.families.may_it_be_fed import Danger, doubted, first_of, rest_of
from sideoats.forage import nitrate, stock
from sideoats.forage.cautions import EMERGENCY
from sideoats.forage.grazed_nitrate import torn
from sideoats.forage.hay_why import floored
from sideoats.forage.nitrate_tables import sole_feed_line, water_lines
from sideoats.forage.water import Water, little_nitrate
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Measured, Name, Said, Term, say

Bools = NDArray[np.bool_]
DRINK = ("drink",)
_T = "water_test."


def check(values: dict[str, Any]) -> None:
    """Refuse water of which nothing is told, and a nitrate result without its form."""
    stock.check_weight(values, "stock-water")
    if all(values[name] is None for name in ("nitrate", "sulfate", "salts", "algae")):
        raise InputError(
            "no result given", where="stock-water", expected="nitrate, sulfate or salts, or algae=yes or no",
            todo="send a clean bottle of it to a laboratory: nitrate, sulfate and total dissolved solids",
        )  # fmt: skip
    if values["nitrate"] is not None and values["nitrate_form"] is None:
        raise InputError(
            "is missing", where="stock-water nitrate_form", expected="NO3-N or NO3",
            todo="a water result is judged only with its form: 100 ppm NO3-N is 443 ppm NO3",
        )  # fmt: skip
    over = [] if values["salts"] is None else [
        name for name, factor in (("sulfate", 1.0), ("nitrate", _ion(values["nitrate_form"])))
        if values[name] is not None and values[name] * factor > values["salts"] * (1 + nitrate.ROUNDING)
    ]  # fmt: skip
    if over:
        raise InputError(
            f"{over[0]} is more than all salts, {values['salts']:g} ppm",
            where="stock-water", expected="a part of the total dissolved solids",
            todo="read the slip again: one of the two is in other units",
        )  # fmt: skip


def _ion(form: Any) -> float:
    """What of the dissolved solids a ppm of that form is."""
    return nitrate.ion_factor(str(form or "NO3"), "NO3")


def _say(code: str, **values: Any) -> Said:
    return say(f"stock-water.{code}", **values)


@dataclass(frozen=True)
class Told:
    """A batch of waters as its sentences need it."""

    table: Table
    context: Context
    water: Water

    @cached_property
    def algae_unseen(self) -> Bools:
        """Before the winter nobody looked for scum, on the pond or on the tank of a well."""
        winter = self.context.region.holds("frozen", self.context.on)
        return np.asarray(~self.table.known("algae") & (not winter))

    @cached_property
    def others(self) -> Bools:
        """Animals for which none of the lines, and no table of drinking, is printed."""
        return np.isin(np.array([str(a) for a in self.table.text("class")]), stock.NOT_CATTLE)

    @cached_property
    def room(self) -> NDArray[np.float64]:
        """What the feed may hold beside this water [ppm NO3-N dry], (n,); infinite where its nitrate is not known."""
        risk = stock.risk_of([str(a) or "unknown" for a in self.table.text("class")])
        lines = {int(r): sole_feed_line(self.context.facts, int(r)) for r in set(risk.tolist())}
        room = np.array([lines[int(r)] for r in risk]) - self.water.as_feed
        return np.where(np.isnan(self.water.nitrogen), np.inf, room)

    @cached_property
    def usual_hay(self) -> float:
        """What hay that nobody tested is reckoned at, the most of the feed table's guesses [ppm NO3-N dry]: water that
        leaves less room than that is cleared only with a test of the feed."""
        book = self.context.facts["cattle/feeds.composition"]
        hays = np.array(book.column("kind")) == "roughage"
        return float(np.nanmax(np.where(hays, np.array(book.column("nitrate"), np.float64), np.nan)))

    @property
    def _swapped(self) -> Bools:
        """More of one ion than of all salts: one of the two figures is wrong."""
        w = self.water
        ions = np.fmax(np.nan_to_num(w.sulfate), np.nan_to_num(w.nitrogen) * _ion("NO3-N"))
        return np.asarray(ions > w.salts * (1 + nitrate.ROUNDING))

    def dangers(self) -> tuple[Danger, ...]:
        """Made once."""
        return self._dangers

    @cached_property
    def _dangers(self) -> tuple[Danger, ...]:
        """In the order in which they make the headline."""
        w, table, facts = self.water, self.table, self.context.facts
        caution, top = water_lines(facts)
        toxic = w.sulfate > facts.value("forage/water.sulfate_toxic")
        sulfur = w.sulfur_over & ~np.isnan(w.sulfate)
        others = self.others
        again = np.full(len(table), int(dict(facts["forage/look_within"].rows)["usual"]))
        stops = (
            ("algae", table.flag("algae")),
            ("nitrate", w.nitrogen >= top),
            ("toxic", toxic),
            ("sulfur", sulfur & ~toxic),
            ("salts", w.salt_rule == "none"),
        )
        asked = (
            ("algae", self.algae_unseen),
            ("nitrate", np.isnan(w.nitrogen) & (~little_nitrate(facts, w) | torn(table, "nitrate", "nitrate_form"))),
            ("sulfate", np.isnan(w.sulfate) & ~w.little),
            ("salts", np.isnan(w.salts) | self._swapped),
        )
        watched = (w.salt_rule == "watch") | ((w.sulfate > w.recommended) & ~sulfur)
        return (
            *(Danger(name, rows, DRINK, _say(f"why.{name}"), again=again) for name, rows in stops),
            doubted("others", "place.class", others, *DRINK, until=_say("why.others")),
            doubted(
                "ahead", f"{_T}tested", table.days_until("tested", self.context.on) > 0, *DRINK, until=_say("why.old")
            ),
            doubted("old", f"{_T}tested", w.age > w.keeps, *DRINK, until=_say("why.old")),
            doubted(
                "counted",
                f"{_T}nitrate",
                (w.nitrogen >= caution) | ~(self.room > self.usual_hay),
                *DRINK,
                until=_say("why.counted"),
            ),
            *(doubted("ask", f"{_T}{what}", rows, *DRINK, until=_say(f"why.ask.{what}")) for what, rows in asked),
            doubted("feed", "stock-water.feed_sulfur", w.sulfur_open, *DRINK, until=_say("why.feed")),
            doubted("watched", f"{_T}sulfate", watched),
        )

    def values(self) -> dict[str, Any]:
        """For every headline."""
        w = self.water
        ppm = {"nitrogen": w.nitrogen, "sulfate": w.sulfate, "salts": w.salts}
        percent = {"added": w.added, "total": w.total, "ceiling": w.ceiling}
        return {
            **{name: Measured(np.asarray(level), unit="ppm") for name, level in ppm.items()},
            **{name: Measured(np.round(level, 2), unit="%") for name, level in percent.items()},
            "by": self._by("water.salts"),
            "animals": Term(np.array(self.table.text("class"), dtype=object), of="place.class"),
            "gallons": Measured(np.round(w.gallons, 1), unit="gal"),
            "age": Measured(np.nan_to_num(w.age), unit="day"),
            "label": Term(w.label, of="salts_class"),
            "if": self._if,
            "with_feed": self._with_feed,
            "as_feed": Measured(np.round(w.as_feed), unit="ppm"),
            **first_of(self.dangers),
        }

    def _if(self, i: int) -> Said | None:
        """The day of the sample, where nobody says it."""
        return _say("if_new") if np.isnan(self.water.age[i]) else None

    def _with_feed(self, i: int) -> Said | None:
        """Feed and water count together: what the feed may hold beside this water."""
        as_feed = float(self.water.as_feed[i])
        if np.isnan(self.water.nitrogen[i]) or as_feed < 1.0:
            return None
        return _say("with_feed", most=Measured(floored(float(self.room[i])), unit="ppm"))

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts, w = self.context.facts, self.water
        for quoted in ("water.salts", "water.salts_arkansas", "water.algae", "water.sulfate_scours", "sulfur.forage"):
            _ = facts[f"forage/{quoted}"]
        toxic, scours = facts["forage/water.sulfate_toxic"], facts["forage/water.sulfate_scours"]
        recommended, hay = facts["forage/water.sulfate_recommended"], facts["forage/water.feed_sulfur"]
        ceilings = {"grain": "feedlot", "any": "older", "forage": "forage"}
        shown, sulfate = self.values(), ~np.isnan(w.sulfate) & ~self.others
        ration = {name: shown[name] for name in ("added", "total", "ceiling")}
        return (
            rest_of(self.dangers),
            _say("because.drunk", gallons=shown["gallons"], animals=shown["animals"]).where(~self.others),
            _say("because.nitrate", nitrogen=shown["nitrogen"], as_feed=shown["as_feed"]).where(~self.others),
            _say(
                "because.sulfate",
                sulfate=shown["sulfate"],
                by=self._by("water.sulfate_recommended"),
                other=self._by("water.sulfate_toxic"),
                most=Measured(w.recommended, unit="ppm", fact=recommended.id),
                toxic=Measured(toxic.value, unit="ppm", fact=toxic.id),
                low=Measured(scours.low, fact=scours.id),
                high=Measured(scours.high, unit="ppm"),
            ).where(~self.others),
            _say("because.sulfur", feed=Measured(np.round(w.feed, 2), unit="%"), **ration).where(sulfate & w.told),
            _say("because.tabled", feed=Measured(hay.value, unit="%", fact=hay.id), **ration).where(sulfate & ~w.told),
            _say(
                "because.ceilings",
                **{
                    n: Measured(facts.value(f"forage/sulfur.{k}"), unit="%", fact=f"forage/sulfur.{k}")
                    for n, k in ceilings.items()
                },
                **{n: self._by(f"sulfur.{k}") for n, k in zip(("one", "two", "three"), ceilings.values(), strict=True)},
            ).where(sulfate),
            _say("because.salts", salts=shown["salts"], label=shown["label"], by=shown["by"]).where(~self.others),
            self._bound,
            _say("because.algae").where(self.algae_unseen | self.table.flag("algae")),
        )

    def _by(self, name: str) -> Name:
        fact = self.context.facts[f"forage/{name}"]
        return Name(fact.publisher, fact=fact.id)

    def _bound(self, i: int) -> Said | None:
        """Little salt holds little of any ion."""
        w = self.water
        little = ((little_nitrate(self.context.facts, w), w.nitrogen), (w.little, w.sulfate))
        unsaid = [rows[i] and np.isnan(of[i]) for rows, of in little]
        return _say("because.bound") if any(unsaid) else None

    def cautions(self) -> tuple[RowSaid, ...]:
        """The emergency lines first."""
        own: tuple[Callable[[int], Said | None] | Said, ...] = (_say("care.signs"), _say("care.sample"))
        return (*(say(f"forage.care.{code}") for code in EMERGENCY), *own, say("forage.care.cattle_only"))
