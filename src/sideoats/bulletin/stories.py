"""The stories of an edition: what to do by when, the district's figure, the published line, the reason, the money.

A story of farms rests on at least five (`sideoats.bulletin.spread`) and says no verdict: it tells the figure that
decides, beside the published line, and the reader's own field is for him to measure. Every question's sentences are its
own (``edition.<question>.*``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from sideoats.bulletin.spread import Spread, by_farm, due, quantity, spread
from sideoats.pictures import Axis, Picture, Row, Rows
from sideoats.pictures.course import Level
from sideoats.words import Count, Day, Measured, Money, Name, Said, Share, Value, say

if TYPE_CHECKING:
    from sideoats.call import Call
    from sideoats.facts import Fact, Facts

MOST_USES = 2  # of one sentence in an edition


@dataclass(frozen=True)
class Story:
    """One story, in no language yet.

    Attributes
    ----------
    key : the question, or the subject of a story that rests on no farm
    by : the day in the headline
    head : what to do by when
    body : the district's figure, the published line, and the reason, with money and chance where they are known
    sources : citations of the published line, or whose record it is
    weight : how much it presses, made of published figures only
    """

    key: str
    by: date
    head: Said
    body: tuple[Said, ...]
    caution: Said
    sources: tuple[str, ...]
    picture: Picture | None = None
    weight: float = 0.0

    @property
    def codes(self) -> tuple[str, ...]:
        """The sentences' codes, for the count of patterns."""
        return tuple(s.code for s in (self.head, *self.body, self.caution))


@dataclass(frozen=True)
class _Case:
    """What a story of farms is made of."""

    key: str
    calls: Sequence[Call]
    on: date
    facts: Facts

    def over(self, name: str) -> Spread | None:
        return spread(by_farm(self.calls, quantity(name)))

    def middle(self, name: str) -> float | None:
        found = self.over(name)
        return None if found is None else found.mid

    def story(
        self,
        found: Spread,
        unit: str,
        line: float | None,
        fact: Fact,
        *more: Said,
        weight: float = 0.0,
        **values: Value,
    ) -> Story:
        """The usual order: figure, line, money and chance, reason; the picture is the range beside the line."""
        day = due(self.calls, self.on)
        code = f"edition.{self.key}"
        told = {"light": Measured(found.light), "heavy": Measured(found.heavy), "mid": Measured(found.mid, unit=unit)}
        level = {} if line is None else {"line": Measured(line, unit=unit)}
        figure = say(f"{code}.figure", farms=found.told, **told)
        published = say(f"{code}.line", whose=Name(fact.publisher), **(level | values))
        return Story(
            self.key,
            day,
            say(f"{code}.head", by=Day(day)),
            (figure, published, *more, say(f"{code}.why")),
            say(f"{code}.caution"),
            (fact.citation,),
            _range(f"{code}.picture", found, unit, line),
            weight + (line is not None and found.mid >= line),
        )

    def pays(self) -> tuple[list[Said], float]:
        """What a pass is worth in the middle of the farms, and how likely it pays; and how much that presses."""
        gain = self.middle("expected_gain_of_treating_today")
        chance, cost = self.middle("chance_treating_pays"), self.middle("treatment_cost")
        if gain is None or chance is None or cost is None:
            return [], 0.0
        told = {"chance": _odds(chance), "cost": Money(cost, unit="USD/ac")}
        if gain >= 1:
            return [say(f"edition.{self.key}.pays", money=Money(gain, unit="USD/ac"), **told)], 1 + gain / 20
        return [say(f"edition.{self.key}.loses", **told)], 0.0


def _odds(chance: float) -> Share:
    """A chance of many farms as it is told: to a twentieth, and neither none nor certain."""
    return Share(min(max(round(chance * 20) / 20, 0.05), 0.95))


def _range(code: str, found: Spread, unit: str, line: float | None) -> Picture:
    kind = Money if unit.startswith("USD") else Measured
    told = {"mid": kind(found.mid, unit=unit)}
    return Rows(
        finding=say(code, **told),
        saying=say("edition.picture.range"),
        kept=[Row(say("edition.picture.farms"), found.light, found.mid, found.heavy, now=True)],
        axis=Axis(say("edition.picture.axis"), unit, kind),
        level=None if line is None else Level(line, say("edition.picture.line")),
        zero=True,
    )


def _aphid(case: _Case) -> Story | None:
    found = case.over("mean_aphids_per_leaf")
    if found is None:
        return None
    fact = case.facts["insects/sorghum_aphid.threshold"]
    pays, weight = case.pays()
    fast, slow = Measured(fact.low), Measured(fact.high)
    return case.story(found, "aphids/leaf", fact.mid, fact, *pays, weight=2 + weight, fast=fast, slow=slow)


def _headworm(case: _Case) -> Story | None:
    found, line = case.over("count_mean"), case.middle("injury_level_published")
    if found is None or line is None:
        return None
    pays, weight = case.pays()
    fact = case.facts["insects/sorghum_headworm.loss.per_larva"]
    return case.story(found, "large larvae/head", line, fact, *pays, weight=1.5 + weight)


def _defoliation(case: _Case) -> Story | None:
    found = case.over("count_mean")
    if found is None:
        return None
    _, fact = case.facts.choose("insects/soybean_defoliation_threshold")
    line = 100 * max(low for stage, low in zip(fact.column("stage"), fact.column("low"), strict=True) if stage == "R5")
    pays, weight = case.pays()
    return case.story(found, "% of leaf area", line, fact, *pays, weight=1.2 + weight)


def _nitrate(case: _Case) -> Story | None:
    found = case.over("hottest_credible_bale")
    if found is None:
        return None
    fact = case.facts["forage/nitrate_class.clemson"]
    pairs = zip(fact.column("from"), fact.column("at_risk"), strict=True)
    return case.story(found, "ppm", min(start for start, share in pairs if share == 0), fact, weight=3)


def _supply(case: _Case) -> Story | None:
    found, needed, chance = case.over("days_of_hay"), case.middle("days_to_feed"), case.middle("chance_of_shortage")
    if found is None or needed is None or chance is None:
        return None
    ring, ground = (case.facts[f"forage/hay.feeding_loss.{k}"] for k in ("ring", "unrolled"))
    told = say("edition.hay-supply.chance", chance=_odds(chance))
    lost = {"ring": Share(ring.mid), "ground": Share(ground.mid), "whose_ground": Name(ground.publisher)}
    return case.story(found, "day", needed, ring, told, weight=1 + (chance >= 0.5), **lost)


def _soil_test(case: _Case) -> Story | None:
    found, cost = case.over("phosphate"), case.middle("phosphate_cost")
    if found is None or cost is None:
        return None
    fact = case.facts["wheat/phosphorus.kansas.critical"]
    told = say("edition.soil-test.money", money=Money(cost, unit="USD/ac"))
    return case.story(found, "lb/ac", None, fact, told, critical=Measured(fact.mid, unit="ppm"))


def _seeding(case: _Case) -> Story | None:
    found, cost = case.over("seeding_rate"), case.middle("seed_cost")
    if found is None or cost is None:
        return None
    fact = case.facts["wheat/seeding.kansas"]
    inches = sum(case.facts.region.rain)
    row = next((r for r in fact.rows if r[1] <= inches < r[2]), fact.rows[1])
    told = say("edition.seeding-rate.money", money=Money(cost, unit="USD/ac"))
    ends = {
        "poor": Measured(float(row[3])),
        "rich": Measured(float(row[4]), unit="lb/ac"),
        "rain": Measured(round(inches), unit="in"),
    }
    return case.story(found, "lb/ac", float(row[4]), fact, told, weight=-0.5, **ends)


def _sampling(case: _Case) -> Story | None:
    found = case.over("worth_of_the_test")
    if found is None:
        return None
    fact = case.facts["wheat/soil.cores"]
    cost = case.middle("cost_of_the_test")
    if cost is None:
        return None
    cores = {"few": Count(int(fact.low)), "many": Count(int(fact.high))}
    day = due(case.calls, case.on)
    figure = say(
        "edition.soil-sampling.figure", farms=found.told, mid=Money(found.mid, unit="USD/ac"),
        light=Money(max(found.light, 0.0), unit="USD/ac"), heavy=Money(found.heavy, unit="USD/ac"),
        cost=Money(cost, unit="USD/ac"),
    )  # fmt: skip
    body = (
        figure,
        say("edition.soil-sampling.line", whose=Name(fact.publisher), **cores),
        say("edition.soil-sampling.why"),
    )
    return Story(
        case.key, day, say("edition.soil-sampling.head", by=Day(day)), body, say("edition.soil-sampling.caution"),
        (fact.citation,), _range("edition.soil-sampling.picture", found, "USD/ac", cost),
    )  # fmt: skip


TOLD: Mapping[str, Callable[[_Case], Story | None]] = {
    "hay-nitrate": _nitrate,
    "sorghum-aphid": _aphid,
    "sorghum-headworm": _headworm,
    "soybean-defoliation": _defoliation,
    "hay-supply": _supply,
    "soil-test": _soil_test,
    "seeding-rate": _seeding,
    "soil-sampling": _sampling,
}


def farm_stories(calls: Iterable[Call], on: date, facts: Facts) -> list[Story]:
    """A story a question that at least five farms have a figure for."""
    asked: dict[str, list[Call]] = {}
    for call in calls:
        if call.farm:
            asked.setdefault(call.question, []).append(call)
    cases = (_Case(name, asked[name], on, facts.reader()) for name in sorted(asked) if name in TOLD)
    return [story for case in cases if (story := TOLD[case.key](case)) is not None]
