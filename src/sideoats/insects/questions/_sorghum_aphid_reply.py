"""sorghum-aphid: verdicts, figures and words from the arrays that the question computed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, STOP, WAIT
from sideoats.decide import Decision
from sideoats.insects.questions._count import harvest_told
from sideoats.insects.sampling import wald_plan
from sideoats.insects.treatment import density_of_equal_injury
from sideoats.question import Answers, Bar, Context, Option, Table

Floats = NDArray[np.float64]
FACTS, COUNTING = "insects/sorghum_aphid.", "insects/counting."
DAYS = 15
OPTIONS = (
    Option("treat-day-0", "Treat today", day=0),
    *(Option(f"treat-day-{d}", f"Treat in {d} day{'s' * (d > 1)}", day=d) for d in range(1, DAYS)),
    Option("never", "Do not treat", passive=True),
)


@dataclass(frozen=True)
class Futures:
    """Drawn biology shared by all places: (draw,) unless said."""

    rate: Floats
    ceiling: Floats
    infestation: Floats
    slope: Floats
    cap: Floats
    prevented: Floats
    cumulative: Floats  # (day, station, draw)
    later_rate: Floats  # (station, draw)
    recent: Floats  # (station, draw) scaling of the rate today


@dataclass(frozen=True)
class Reply:
    """Verdicts and words from the arrays."""

    table: Table
    context: Context
    decision: Decision
    barred: NDArray[np.bool_]
    missing: NDArray[np.bool_]
    forage: NDArray[np.bool_]
    mean: Floats
    leaves: Floats
    density: Floats
    worth: Floats
    never: Floats
    look: Floats
    harvest: Floats
    interval: Floats
    futures: Futures

    def answers(self) -> Answers:
        d, facts = self.decision, self.context.facts
        active = d.best < DAYS
        saved = d.expected[:, 0] - d.expected[:, DAYS]
        all_barred = self.barred[:, :DAYS].all(axis=1)
        chance_pays = np.where(active, 1 - d.chance_best[:, DAYS], d.chance_best[:, :DAYS].sum(axis=1))
        acres = self.table.number("acres")
        acres = np.where(np.isnan(acres), facts.value(COUNTING + "usual_acres"), acres)
        look_cost = facts.value(COUNTING + "look_cost") / acres
        look_by = self._look_by(saved)
        # A field that would pay but may not be treated gets "stop": the interval is law, and residue reaches people.
        verdict = np.where(active & (d.act_by <= 7), ACT, np.where(active | (self.look > look_cost), LOOK, WAIT))
        few = self._few_leaves() & ~all_barred
        verdict = np.where((verdict == ACT) & few, LOOK, verdict)
        verdict = np.where(all_barred, np.where(saved > 0, STOP, WAIT), verdict)
        lower, upper, more = self._stop_lines()
        quantities = {
            "mean_aphids_per_leaf": (np.where(self.missing, np.nan, self.mean), "aphids/leaf"),
            "density_low": (self._hide(np.quantile(self.density, 0.1, axis=1)), "aphids/leaf"),
            "density_high": (self._hide(np.quantile(self.density, 0.9, axis=1)), "aphids/leaf"),
            "expected_loss_untreated": (self._hide(self.never.mean(axis=1)), "1"),
            "expected_gain_of_treating_today": (self._hide(saved), "USD/ac"),
            "chance_treating_pays": (self._hide(np.where(all_barred, np.nan, chance_pays)), "1"),
            "doubling_time": (self._hide(np.full(len(self.table), np.log(2) / np.median(self.futures.rate))), "day"),
            "crop_value": (self._hide(self.worth), "USD/ac"),
            "pre_harvest_interval": (self.interval, "day"),
            "leaves_to_count_more": (self._hide(more), "leaf"),
            "stop_line_below": (self._hide(lower), "aphids in all"),
            "stop_line_treat": (self._hide(upper), "aphids in all"),
        }
        return Answers(
            self.table,
            self.context,
            headline=self._headline,
            because=self._because,
            options=OPTIONS,
            decision=d,
            unit="USD/ac",
            bars=(Bar(self.barred, self._bar_reason),),
            verdict=verdict.astype(np.int8),
            act_by=d.act_by,
            look_by=np.where(active & few, 1, np.where(active & ~all_barred, -1, look_by)),
            quantities=quantities,
            worth_of_a_look=self._hide(self.look),
            missing=self.missing,
            missing_headline=self._missing,
            cautions=self._cautions,
        )

    def _few_leaves(self) -> NDArray[np.bool_]:
        """(place,) under the threshold on so few leaves that the likely mean has no finite variance (n k of 2 or less).

        What treating is worth then hangs on a tail that a quarter of an hour of counting takes away.
        """
        facts = self.context.facts
        few = self.leaves * facts.value(FACTS + "dispersion") <= 2.0
        return np.asarray(few & (self.mean < facts[FACTS + "threshold"].low))

    def _hide(self, values: Floats) -> Floats:
        return np.where(self.missing, np.nan, values)

    def _look_by(self, saved: Floats) -> NDArray[np.int64]:
        """Days until a fast-growing population could make treating pay, less one to act; 2 to 7."""
        cost = np.nan_to_num(self.table.number("cost"))
        ratio = cost / np.maximum(saved + cost, 1e-6)
        days = np.log(np.maximum(ratio, 1.0)) / np.quantile(self.futures.rate, 0.9)
        return np.asarray(np.clip(np.floor(days) - 1, 2, 7), dtype=np.int64)

    def _means_told_apart(self, stage: str) -> tuple[float, float]:
        """The two means of the stop lines [aphids/leaf]; NaN at stages where no number that fields reach would pay.

        The published thresholds do not name a stage: they are means over whole infestations. With fewer days of
        filling left it takes more aphids to do as much injury, and the lines are raised by as much.
        """
        facts = self.context.facts
        threshold, days = facts[FACTS + "threshold"], facts[FACTS + "infestation_days"].span
        filling = dict(facts[FACTS + "days_to_black_layer"].rows)
        whole = sum(days) / 2
        left = min(float(filling.get(stage, 0.0)), whole)
        rate = facts.value(FACTS + "field_rate")
        safe, treat = density_of_equal_injury([threshold.low, threshold.mid], whole, rate, left)
        return (safe, treat) if safe <= facts[FACTS + "ceiling"].high else (np.nan, np.nan)

    def _stop_lines(self) -> tuple[Floats, Floats, Floats]:
        """Running totals at which counting may stop, and about how many more leaves that takes."""
        facts = self.context.facts
        in_vain, miss = facts.value(COUNTING + "risk_needless"), facts.value(COUNTING + "risk_missed")
        k = facts.value(FACTS + "dispersion")
        leaves = np.nan_to_num(self.leaves, nan=0.0)
        lower, upper, slope = (np.full(len(leaves), np.nan) for _ in range(3))
        stages = self.table.text("stage")
        for stage in set(stages.tolist()):
            safe, treat = self._means_told_apart(str(stage))
            if np.isfinite(treat):
                rows = stages == stage
                plan = wald_plan("negative binomial", safe, treat, alpha=in_vain, beta=miss, k=k, bounded=True)
                lower[rows], upper[rows] = plan.lines(leaves[rows])
                slope[rows] = plan.slope
        total = np.nan_to_num(self.mean) * leaves
        pace = self.mean - slope
        gap = np.where(pace >= 0, upper - total, total - lower)
        with np.errstate(divide="ignore", invalid="ignore"):
            more = np.where((total >= upper) | (total <= lower), 0.0, np.ceil(gap / np.abs(pace)))
        return lower, upper, np.minimum(more, 200.0)

    def _missing(self, i: int) -> str:
        if self.forage[i]:
            return (
                "No published threshold covers forage sorghum: look again in a few days for honeydew and dying leaves."
            )
        lacking = [name for name in ("yield", "price", "cost") if not self.table.known(name)[i]]
        asked = f" Ask the grower for {', '.join(lacking)}." if lacking else ""
        stage = self.table.known("stage")[i]
        if np.isnan(self.mean[i]):
            also = "" if stage else ", and note the stage"
            return f"No aphid count of the last weeks: count leaf by leaf, low and high on the plant{also}.{asked}"
        if not stage:
            return f"{self.mean[i]:.0f} aphids a leaf, but no growth stage on file: look at the heads.{asked}"
        return f"{self.mean[i]:.0f} aphids a leaf, but not enough to say what that costs.{asked}"

    def _headline(self, i: int) -> str:
        d = self.decision
        saved = d.expected[i, 0] - d.expected[i, DAYS]
        seen = f"{self.mean[i]:.0f} aphids a leaf"
        if self.barred[i, :DAYS].all():
            inside = f"{harvest_told(self.harvest[i])}, inside the {self.interval[i]:.0f}-day interval"
            return f"{seen}, but do not treat: {inside}."
        if d.best[i] < DAYS and self._few_leaves()[i]:
            return f"{seen} on {self.leaves[i]:.0f} leaves: too few leaves to treat on a count under the threshold."
        if d.best[i] < DAYS:
            return f"{seen}: treating today is worth {saved:.0f} USD/ac over leaving it."
        return f"{seen}: treating today would return {saved:+.0f} USD/ac after its cost; not yet."

    def _bar_reason(self, i: int) -> str:
        known = "as given" if self.table.known("phi_days")[i] else "2016 label wording; check the label in hand"
        interval = f"inside the pre-harvest interval of {self.interval[i]:.0f} days ({known})"
        return f"{interval}: {harvest_told(self.harvest[i])}"

    def _because(self, i: int) -> list[str]:
        facts = self.context.facts
        stage = self.table.text("stage")[i]
        if self.forage[i]:
            return [
                "The published injury levels were measured on grain; forage loses quality and stand, which no source "
                "here prices.",
                "Growth and sampling are known: field populations double in about "
                f"{np.log(2) / facts.value(FACTS + 'field_rate'):.0f} days, and counts are strongly aggregated.",
            ]
        if self.missing[i]:
            days = np.log(10) / facts.value(FACTS + "field_rate")
            return [f"Aphids can grow tenfold in {days:.0f} days: a field not counted is a field not known."]
        low, high = np.quantile(self.density[i], [0.1, 0.9])
        threshold = facts.by_id[FACTS + "threshold"]
        fast, slow = (facts.value(FACTS + f"injury_level.{pace}") for pace in ("fast", "slow"))
        rules = dict(facts.by_id[FACTS + "stage_rules"].rows)
        out = [
            f"Counted {self.mean[i]:.1f} a leaf on {self.leaves[i]:.0f} leaves; aphids clump, so the field's mean is "
            f"likely {low:.0f} to {high:.0f}.",
            f"Left alone it is expected to cost {100 * self.never[i].mean():.1f} % of a crop worth "
            f"{self.worth[i]:.0f} USD/ac.",
            f"Published economic injury levels: {fast:.0f} a leaf where aphids grow fast, {slow:.0f} where slowly; "
            f"general threshold {threshold.mid:.0f} ({threshold.low:.0f} to {threshold.high:.0f}).",
        ]
        if stage in rules:
            out.append(f"High Plains rule at {stage}: {rules[stage]}.")
        out += self._stage_words(stage, threshold.mid)
        if stage == "black layer":
            out.append("At black layer no grain is left to lose; only honeydew at harvest would be a reason.")
        if self.table.text("predators")[i] in ("few", "many") or self.table.known("parasitized")[i]:
            out.append(
                "Predators and mummies slow growth by an unknown share, carried as a wide range: no threshold has a "
                "source."
            )
        if self.table.text("honeydew")[i] == "heavy":
            out.append("Heavy honeydew means that the injury is under way: the decision is already late.")
        age = self.table.age_days("counts")[i]
        if age > 0:
            out.append(f"The count is {age:.0f} days old and was carried forward at the field rate.")
        out.append(self.context.outlook.notes[0])
        return out

    def _stage_words(self, stage: str, general: float) -> list[str]:
        """What the stage does to the general threshold, where it does anything."""
        _, treat = self._means_told_apart(stage)
        if np.isnan(treat):
            return [f"At {stage} too few days of filling are left for any number of aphids to pay for treating."]
        if treat <= general * 1.01:
            return []
        return [
            f"At {stage} fewer days of filling are left: {treat:.0f} a leaf now do the injury that {general:.0f} do in "
            "a whole infestation. Counting stops by these (our reckoning: no printed threshold in aphids a leaf goes "
            "by stage)."
        ]

    def _cautions(self, i: int) -> list[str]:
        out = [
            "The label governs rate, crop, stage, intervals, re-entry, bees and buffers; check it every time.",
            "Do not spray while bees work blooming crops or weeds; keep people out for the re-entry interval.",
        ]
        if np.isnan(self.harvest[i]):
            out.append("No harvest date was given, so the pre-harvest interval was not checked.")
        rain = self.table.number("rain_forecast")[i]
        if rain > 0:
            out.append(
                f"{rain:.0f} mm of rain is expected: it can knock aphids off and wash sprays away; recount after it."
            )
        if self.table.text("predators")[i] == "many":
            out.append("Many predators: populations can crash within a week; recount before spraying.")
        return out
