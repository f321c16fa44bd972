"""The sentences of `hay-nitrate`: headline, reasons of bars, why, cautions and what they quote."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.decide import Decision
from sideoats.facts import PROVENANCE_WORDS
from sideoats.forage import cautions, citing, nitrate
from sideoats.forage.judge import Judgement, Lots, blend_is_safe
from sideoats.forage.nitrate_tables import publisher_name, standing_words, tables, water_words
from sideoats.question import Context, Table

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_UNKNOWN = "its nitrate is not known with ion and moisture basis"


@dataclass(frozen=True)
class Words:
    """Sentences of `hay-nitrate` by row."""

    table: Table
    known: Lots
    j: Judgement
    context: Context | None = None
    decision: Decision | None = None
    missing: Bools | None = None
    broke: Floats | None = None
    followed: str | None = None

    def _level(self, i: int) -> str:
        return f"{self.known.level[i]:,.0f} ppm NO3-N of dry matter"

    def _animals(self, i: int) -> str:
        word = str(self.table.text("class")[i] or "unknown")
        shown = "animals of unknown class" if word == "unknown" else word.replace("-", " ") + "s"
        return (
            shown.replace("calfs", "calves")
            .replace("growings", "growing cattle")
            .replace("finishings", "finishing cattle")
        )

    def not_alone(self, i: int) -> str:
        j = self.j
        if (self.missing is not None and self.missing[i]) or np.isnan(self.known.level[i]):
            return _UNKNOWN
        if j.unread_water[i]:
            total = self.known.level[i] + j.drunk[i]
            return (
                f"with the water it comes to {total:,.0f} ppm NO3-N, over what {self._animals(i)} may have as the only"
                " feed"
            )
        return f"{self._level(i)}: not as the only feed of {self._animals(i)}, by {publisher_name(j.ruling.by[i])}"

    def hot_bale(self, i: int) -> str:
        return (
            f"the hottest credible bale may hold {self.j.hottest[i]:,.0f} ppm NO3-N, over the {self.j.never[i]:,.0f}"
            f" from which {self._animals(i)} get none"
        )

    def over_bale(self, i: int) -> str:
        return (
            f"a bale tested at {self.known.seen[i]:,.0f} ppm NO3-N is over the {self.j.never[i]:,.0f} from which"
            f" {self._animals(i)} get none, blended or not"
        )

    def over_plain(self, i: int) -> str:
        return f"a bale tested at {self.known.seen[i]:,.0f} ppm NO3-N is over what any cattle may have"

    def not_standing(self, i: int) -> str:
        if str(self.table.text("state")[i]) == "silage":
            return "it is silage already"
        return "dry hay does not ensile; only a standing or freshly cut crop does"

    def not_at_all(self, i: int) -> str:
        if np.isnan(self.known.level[i]):
            return _UNKNOWN
        return f"{self._level(i)}: no share of it for {self._animals(i)}, by {publisher_name(self.j.ruling.by[i])}"

    def no_class(self, i: int) -> str:
        if np.isnan(self.known.level[i]):
            return _UNKNOWN
        return f"{self._level(i)}: no share of it for any cattle, by {publisher_name(self.j.plain.by[i])}"

    def blend_unsafe(self, i: int) -> str:
        j, asked = self.j, self.known.asked_share[i]
        if j.share[i] <= 0:
            return (
                f"no whole percent of it keeps the ration under {j.ruling.ceiling[i]:,.0f} ppm NO3-N with this feed and"
                " water"
            )
        if asked <= 0:
            return "none of it would be in the mix"
        return (
            f"{100 * asked:.0f} % is more than the {100 * j.share[i]:.0f} % that is safe to the hottest credible bale"
        )

    def headline(self, i: int) -> str:
        j = self.j
        if j.not_at_all[i]:
            return f"Do not feed it to {self._animals(i)}, blended or not: {self._level(i)}."
        if j.over_bale[i]:
            return f"Feed none of it yet: {self.over_bale(i)}. Set such bales aside, then ask again with the rest."
        if j.not_alone[i]:
            if blend_is_safe(j, self.known.asked_share)[i]:
                wanted = self.known.asked_share[i]
                share = j.share[i] if np.isnan(wanted) else wanted
                return (
                    f"Do not feed it straight to {self._animals(i)}: {self._level(i)}. Ground and mixed, at most "
                    f"{100 * share:.0f} % of the ration's dry matter."
                )
            straight = f"Do not feed it straight to {self._animals(i)}: {self._level(i)}."
            if np.isnan(self.known.low[i]):
                return (
                    f"{straight} By its class a mix may hold up to {100 * j.ruling.share[i]:.0f} % of it, or less: name"
                    " a low-nitrate feed with its test before it is hauled away."
                )
            return straight
        if j.hot_bale[i]:
            if np.isnan(j.more_bales[i]):
                return (
                    "Not bale by bale: grind and mix the lot before any of it is fed, because single bales may reach"
                    f" {j.hottest[i]:,.0f} ppm NO3-N."
                )
            return (
                f"Core {j.more_bales[i]:.0f} more bales before feeding bale by bale: the result alone does not clear"
                " the hottest."
            )
        if j.at_risk[i]:
            return f"No table on file stands against feeding it to {self._animals(i)}: {self._level(i)}."
        assert self.context is not None
        followed, _ = tables(self.context.facts, self.followed)
        return f"By {publisher_name(followed.publisher)} it may be fed to {self._animals(i)}: {self._level(i)}."

    def missing_headline(self, i: int) -> str:
        lacking = [n for n in ("form", "basis") if not self.table.text(n)[i]]
        hay = str(self.table.text("hay")[i] or "hay")
        if self.table.known("result")[i] or self.table.known("single_bales")[i]:
            what = " and ".join(lacking) if lacking else "moisture of the as-fed result"
            return f"Do not feed until the {what} of its nitrate result is known: ask the laboratory."
        after = ""
        if self.broke is not None and np.isfinite(self.broke[i]):
            after = f" Rain ended a drought {self.broke[i]:.0f} days ago: what was cut about then is suspect."
        return f"Do not feed this {hay} before a laboratory has tested it for nitrate.{after}"

    def because(self, i: int) -> list[str]:
        assert self.context is not None
        facts, j, known = self.context.facts, self.j, self.known
        if np.isnan(known.level[i]):
            return [
                nitrate.WHY[0].upper() + nitrate.WHY[1:] + ".",
                f"Known accumulators: {facts['forage/accumulators'].text}.",
            ]
        given = "mean of single bales" if known.seen[i] == known.seen[i] else "result"
        ion = known.level[i] * nitrate.ion_factor("NO3-N", "NO3")
        out = [f"The {given} is {self._level(i)}, which is {ion:,.0f} ppm as NO3."]
        followed, every = tables(facts, self.followed)
        if j.at_risk[i]:
            out.append(
                "The strictest class on file is used for these animals (pregnant, young, lactating, weakened or"
                " unknown)."
            )
        else:
            out.append(f"The district follows {publisher_name(followed.publisher)} for animals not at special risk.")
        if j.ruling.by[i]:
            binding = every[str(j.ruling.by[i])]
            meaning = binding.meanings[int(j.classes[binding.publisher][i])]
            out.append(
                f"What binds: {publisher_name(binding.publisher)}, {meaning} ({PROVENANCE_WORDS[binding.provenance]})."
            )
        shown = [f"{publisher_name(n)}: {t.labels[int(j.classes[n][i])]}" for n, t in every.items()]
        out.append("Publishers side by side. " + "; ".join(shown) + ".")
        out.append(self._bales(i, facts))
        if j.hot_bale[i] and np.isnan(j.more_bales[i]) and not self.table.known("fed_from")[i]:
            out.append("Nothing on file says when it is to be fed, so the day to grind by is today.")
        if np.isfinite(known.water[i]):
            out.append(f"Water at {known.water[i]:,.0f} ppm NO3-N adds as much as {j.drunk[i]:,.0f} ppm in the feed.")
            out.append(water_words(facts, float(known.water[i])))
        else:
            out.append("The water is not tested: whatever it holds comes on top.")
        if not np.isnan(known.low[i]):
            out.append(
                f"The mix must stay under {j.ruling.ceiling[i]:,.0f} ppm NO3-N, water counted"
                f" ({publisher_name(j.ruling.ceiling_by[i])}), even on a day of the hottest bale; the low feed holds"
                f" {known.low[i]:,.0f}."
            )
        if str(self.table.text("state")[i]) == "standing":
            out += standing_words(facts, float(known.level[i]))
        return out

    def _bales(self, i: int, facts: Any) -> str:
        known, j = self.known, self.j
        chance = facts.value("forage/lot.assurance")
        if known.cores[i] >= known.bales[i] and not np.isnan(known.seen[i]):
            return f"Every bale was tested by itself: none is over {j.hottest[i]:,.0f} ppm NO3-N."
        bales = known.bales[i] if np.isfinite(known.bales[i]) else facts.value("forage/lot.bales_assumed")
        least, most = facts.span("forage/lot.cores_nitrate")
        cored = f"{known.cores[i]:.0f} {'bales' if known.cores[i] > 1 else 'bale'} cored"
        if not self.table.known("cores")[i] and np.isnan(known.seen[i]):
            cored = "how many bales were cored is not said, so one is assumed"
        return (
            f"Bales of one lot differ: with {100 * chance:.0f} % assurance none of {bales:.0f} is over"
            f" {j.hottest[i]:,.0f} ppm NO3-N ({cored}; core {100 * least:.0f} to {100 * most:.0f} % of the bales)."
        )

    def quoted(self, i: int) -> tuple[str, ...]:
        if np.isnan(self.known.level[i]):
            return (*citing.NITRATE, "accumulators")
        water = ("water_nitrate_class.",) if np.isfinite(self.known.water[i]) else ()
        standing = ("ensiling_loss.", "cutting_height.") if str(self.table.text("state")[i]) == "standing" else ()
        return (*citing.NITRATE, "lot.cores_nitrate", *water, *standing)

    def cautions(self, i: int) -> list[str]:
        more = [*cautions.NITRATE, "A hot bale beside a clean bale is not dilution: grind and mix."]
        if str(self.table.text("state")[i]) in ("standing", "silage"):
            more.append(cautions.SILAGE)
        return cautions.emergency(*more)
