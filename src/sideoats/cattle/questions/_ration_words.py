"""The sentences of `ration`: headline, what stands in the way, why; and the two numbers that both files take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.cattle import nutrition_needs as needs_of
from sideoats.cattle.nutrition_feeds import OneFeed, Screened
from sideoats.cattle.ration import FLOORS, Account, Needs, Rations
from sideoats.facts import PROVENANCE_WORDS
from sideoats.forage import stock
from sideoats.forage.nitrate_tables import publisher_name
from sideoats.question import Context, Table
from sideoats.weather.livestock import cold_feed_energy

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
GROWING = ("growing", "finishing", "calf")
A_CENT = 0.01  # USD/head/day: a mix that saves less is no reason to change what they eat


def known_or(table: Table, name: str, other: Any) -> Floats:
    """(n,) the number that is known, else the other."""
    return np.where(table.known(name), table.number(name), other)


def cold_share(table: Table, context: Context) -> Floats:
    """(n,) share by which cold raises the need of energy; 0 where the temperature is not told."""
    facts = context.facts
    coats = [str(c) for c in table.text("coat")]
    critical = stock.by_class(facts.choose("weather/coat")[1], coats, "critical")
    dry, soaked = facts.value("weather/livestock.cold_energy"), facts.value("weather/livestock.cold_energy_wet")
    rate = np.array([soaked if c == "wet" else dry for c in coats], dtype=np.float64)
    return np.nan_to_num(cold_feed_energy(table.number("effective_temperature"), critical, rate))


@dataclass(frozen=True)
class Words:
    """Sentences of `ration` by row."""

    table: Table
    context: Context
    held: list[list[OneFeed]]
    grown: list[list[OneFeed]]  # the same with the hay that could be bought, last
    bad: list[dict[str, str]]
    s: Screened
    needs: Needs
    floor: needs_of.Floors
    found: Rations
    with_hay: Rations
    why: Account
    unsafe: Bools
    buys: Bools  # bought hay makes the mix enough cheaper to say so

    def blame(self, i: int) -> str:
        w, needs = self.why, self.needs
        if w.water[i]:
            return "no blend is safe: the water alone uses up the ceiling; change the water first"
        if self.unsafe[i] and not w.unsafe[i]:
            return "no blend of these feeds is safe: every one of them is kept out"
        if w.unsafe[i]:
            unit, factor = {
                "nitrate": ("ppm NO3-N", 1.0),
                "sulfur": ("% sulfur", 100.0),
                "aflatoxin": ("ppb aflatoxin", 1.0),
            }[str(w.hazard[i])]
            level = w.added_level[i] * factor
            share = 100 * w.added_lb[i] / needs.intake[i]
            return (
                f"no blend of these feeds is safe: you need at least {w.added_lb[i]:.1f} lb of dry matter a head and"
                f" day ({share:.0f} % of intake) of a feed under {level:,.4g} {unit}"
            )
        if w.unfilled[i] > 1e-6 and not w.short[i]:
            return f"the feeds on hand fill all but {w.unfilled[i]:.1f} lb of the dry matter they would eat"
        short = " and ".join(w.short[i]) or "the floors together"
        return f"a safe blend exists, but these feeds do not reach {short}: add a feed richer in it"

    def headline(self, i: int) -> str:
        if self.unsafe[i]:
            text = self.blame(i)
            return text[0].upper() + text[1:] + "."
        if not self.found.feasible[i]:
            text = self.blame(i)
            if self.with_hay.feasible[i]:
                text += f"; with tested grass hay a ration costs {self.with_hay.cost[i]:.2f} USD/head/day"
            return text[0].upper() + text[1:] + "."
        rations, feeds = self.chosen(i)
        parts = [
            f"{pounds / feed.dry_matter:.1f} lb {feed.name}"
            for pounds, feed in zip(rations.pounds[i], feeds, strict=False)
            if pounds > 0.005
        ]
        cost = rations.cost[i]
        mix = f"{cost:.2f} USD/head/day: " + ", ".join(parts) + " as fed"
        if self.buys[i]:
            mix += f"; {self.found.cost[i] - cost:.2f} less than the cheapest mix of what is on hand"
        begins, fed = self.table.date("fed_from")[i], self.table.number("fed_now")[i]
        if begins >= np.datetime64(self.context.on, "D"):
            return f"From {begins}: {mix}."
        if fed - cost >= A_CENT:
            return f"{mix}; {fed - cost:.2f} less than what they are fed now."
        if np.isfinite(fed):
            return f"No change for the money: the cheapest safe mix is no cheaper than what they are fed now. {mix}."
        return f"{mix}."

    def chosen(self, i: int) -> tuple[Rations, list[OneFeed]]:
        """The mix that is told: of what is on hand, or with bought hay where that is cheaper."""
        return (self.with_hay, self.grown[i]) if self.buys[i] else (self.found, self.held[i])

    def _grain(self, i: int) -> list[str]:
        rations, feeds = self.chosen(i)
        if not rations.feasible[i]:
            return []
        fact = self.context.facts["cattle/feeds.much_grain"]
        pounds = sum(p for p, f in zip(rations.pounds[i], feeds, strict=False) if f.kind == "grain")
        if pounds <= fact.value * self.needs.intake[i]:
            return []
        return [
            f"{100 * pounds / self.needs.intake[i]:.0f} % of this mix is grain: raise it in steps over weeks and watch"
            f" for acidosis and founder ({PROVENANCE_WORDS[fact.provenance]}); ask a nutritionist first."
        ]

    def missing(self, i: int) -> str:
        if np.isnan(self.needs.tdn[i]):
            if cold_share(self.table, self.context)[i] > 0:
                return "No feed carries what this cold asks for: shelter, a windbreak and bedding come first."
            if self.table.known("intake")[i]:
                return f"No feed is rich enough to keep them on {self.needs.intake[i]:.1f} lb a day: check the intake."
            return "No feed is rich enough for what is asked: lower the gain, or give the intake."
        if str(self.table.text("class")[i]) in GROWING and not self.table.known("gain")[i]:
            return "Say what gain is wanted before a ration is made."
        return "No feeds on file for this herd: list what is at hand with its tests."

    def because(self, i: int) -> list[str]:
        facts, found, needs = self.context.facts, self.found, self.needs
        out = [
            (
                f"Needs a head and day: {needs.intake[i]:.1f} lb dry matter"
                f" ({100 * facts['cattle/nutrition.intake_band'].low:.0f} to"
                f" {100 * facts['cattle/nutrition.intake_band'].high:.0f} % of it in practice),"
                f" {f'TDN {needs.tdn[i]:.1f},' if np.isfinite(needs.tdn[i]) else 'no TDN that the equations reach,'}"
                f" protein {needs.protein[i]:.2f}, Ca {needs.calcium[i]:.3f}, P {needs.phosphorus[i]:.4f} lb (NRC 1996"
                " equations; several coefficients from memory, source not read)."
            ),
            (
                f"Ceilings: nitrate under {self.s.ceiling[i]:,.0f} ppm NO3-N with the water"
                f" ({publisher_name(self.s.ceiling_by[i])}), sulfur {100 * needs.sulfur[i]:.2f} %, aflatoxin"
                f" {needs.aflatoxin[i]:.0f} ppb."
            ),
        ]
        untested = [word for name, word in (("water", "nitrate"), ("water_sulfate", "sulfate"))
                    if not self.table.known(name)[i]]  # fmt: skip
        if untested:
            out.append(f"The water is not tested for {' and '.join(untested)}: whatever it holds comes on top.")
        out += [
            f"{feed.name} counts at its hottest credible bale, {counted:,.0f} ppm NO3-N: one bale is a day's feed."
            for feed, counted in zip(self.held[i], self.s.feeds.nitrate[i], strict=False)
            if counted > feed.nitrate and feed.name not in self.s.out[i]
        ]
        cold = cold_share(self.table, self.context)[i]
        if not self.table.known("effective_temperature")[i]:
            out.append("No cold is counted, because no wind chill is told (effective_temperature).")
        if cold > 0:
            out.append(
                f"Cold adds {100 * cold:.0f} % to energy, not to protein or minerals. Shelter, a windbreak, bedding and"
                " more hay come first: grain is brought in over one to two weeks, not in a cold snap."
            )
        hay_fact = facts["forage/hay.price"]
        out.append(
            f"Tested grass hay to buy is reckoned at {known_or(self.table, 'hay_price', hay_fact.mid)[i]:.0f} USD/ton"
            + ("." if self.table.known("hay_price")[i] else ", a round figure where no price is given.")
        )
        unpriced = [str(f["name"]) for f in self.table.rows("feeds")[i] or () if f.get("price") is None]
        if unpriced:
            out.append(f"Priced from the book, put in your own: {', '.join(unpriced)}.")
        out += self._grain(i)
        out += [f"Kept out: {name}, because {reason}." for name, reason in self.s.out[i].items()]
        out += [f"Refused: {name}: {reason}" for name, reason in self.bad[i].items()]
        if self.s.guessed[i]:
            out.append(f"Nitrate is a guess, not a test, for {', '.join(self.s.guessed[i])}: test what is baled.")
        if found.feasible[i]:
            binding = [k for k in (*FLOORS, "nitrate", "sulfur", "aflatoxin") if found.shadow[k][i] > 1e-9]
            out.append(f"What binds: {', '.join(binding) or 'only the intake'}.")
            if found.shadow["nitrate"][i] > 1e-9:
                out.append(
                    f"100 ppm less nitrate allowed would cost {found.shadow['nitrate'][i]:.4f} USD/head/day; it stays."
                )
            if found.shadow["protein"][i] > 1e-9:
                out.append(f"The last pound of protein costs {found.shadow['protein'][i]:.2f} USD.")
        else:
            text = self.blame(i)
            out.append(text[0].upper() + text[1:] + ".")
        provenance = PROVENANCE_WORDS[facts.by_id["cattle/feeds.composition"].provenance]
        varies = ", ".join(f"{part} {100 * share:.0f} %" for part, share in facts["cattle/feeds.variation"].rows)
        out.append(f"Book composition where no test is given ({provenance}); tables vary either way by: {varies}.")
        return out
