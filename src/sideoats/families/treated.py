"""What every treatment by count asks beside its count, and what stands in for what nobody gave.

The facts: treatment.interval.<crop>, treatment.usual_cost, and treatment.reference with treatment.most_lost and
treatment.injury_days, a row a pest (or the pest's own), the case in which a printed threshold is taken to break even.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Fact, Facts
from sideoats.families.counted import Counted
from sideoats.families.label import interval_of
from sideoats.families.treating import UNIT, Case
from sideoats.insects.thresholds import Reference
from sideoats.insects.treatment import triangular
from sideoats.problem import Line
from sideoats.question import Context, Table
from sideoats.records import dataclass
from sideoats.schema import Field
from sideoats.vocabulary import see
from sideoats.vocabulary.likely import price_span
from sideoats.words import Measured, Money, Name, Said, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_T = "insects/treatment."


def treated_inputs(name: str, yields: str, price: str, commodity: str, most: float) -> tuple[Field, ...]:
    """The inputs; `name` is the question's, for the district's settings, `yields` and `price` the crop's units.

    `most` is the highest yield that is taken; more is asked back, and so is a price that the crop has not had.
    """
    lowest, highest = price_span(commodity, price)

    def settings(what: str) -> tuple[str, str]:
        return f"setting:{what}.{name}", f"setting:{what}.insecticide"

    return (
        replace(see("treated.yield", unit=yields), high=most),
        replace(see("treated.price", unit=price, also=(f"quote:{commodity}",)), low=lowest, high=highest),
        see("treated.crop_value"),
        see("treated.cost", also=settings("cost")),
        see("treated.efficacy", also=settings("efficacy")[:1]),
        see("place.cutting_date", also=("place.harvest_date",), name="harvest_date"),
        see("treated.phi_days", also=settings("phi")),
        see("treated.entry_date"),
        see("treated.rei_hours", also=settings("rei")),
        see("place.acres"),
        see("place.station"),
    )


def _row(fact: Fact, pest: str) -> dict[str, Any]:
    """A pest's row of a table of all pests, or of its own. KeyError where it has none."""
    rows = (dict(zip(fact.columns, row, strict=True)) for row in fact.rows)
    found = next((row for row in rows if row.get("pest", pest) == pest), None)
    if found is None:
        raise KeyError(f"{fact.id} has no row for {pest}")
    return found


def most_lost(facts: Facts, pest: str) -> float:
    """The greatest share of the crop that a pest takes: its own figure, else its row of those of all pests."""
    own = f"insects/{pest}.most_lost"
    return facts.value(own) if own in facts.by_id else float(_row(facts[_T + "most_lost"], pest)["share"])


def injury_days(facts: Facts, pest: str) -> Fact:
    """Days of feeding over which a count at a pest's nominal threshold costs as much as control, as a range."""
    fact = facts[_T + "injury_days"]
    row = _row(fact, pest)
    return replace(fact, low=float(row["low"]), mid=float(row["mid"]), high=float(row["high"]))


def reference_of(facts: Facts, prefix: str) -> Reference:
    """The case in which a pest's thresholds are taken to break even: its own, else its row of those of all pests."""
    pest = prefix.removeprefix("insects/")
    own = f"{prefix}.reference"
    row = _row(facts[own if own in facts.by_id else _T + "reference"], pest)
    return Reference(
        float(row["cost"]),
        float(row["price"]),
        float(row["yield"]),
        float(row["prevented"]),
        str(row["year"]),
        most_lost(facts, pest),
        str(row["loss"]) == "share",
    )


def price_moves(table: Table, context: Context, commodity: str) -> Floats:
    """(place, draw) price at harvest over today's; one month and a half ahead where no harvest date is known."""
    days = np.clip(np.nan_to_num(table.days_until("harvest_date", context.on), nan=45.0), 0, 365)
    distinct = sorted(set(days.tolist()))
    at = np.searchsorted(distinct, days)
    return np.asarray(context.outlook.price_ratio(commodity, distinct)[:, at].T)


@dataclass(frozen=True, eq=False)
class Worth:
    """Money beside the count; arrays (place,).

    Attributes
    ----------
    price, yields : given, implied by the crop's value, or those of the reference case
    cost : of one treatment [USD/ac], given or of the reference case
    prevented : (place, draw) share of the injury ahead that a treatment prevents
    said : what was taken for what nobody gave
    """

    price: Floats
    yields: Floats
    cost: Floats
    prevented: Floats
    said: tuple[Said, ...]

    @property
    def crop(self) -> Floats:
        """(place,) what the crop is worth [USD/ac]."""
        return self.price * self.yields


def worth_of(table: Table, context: Context, reference: Reference, name: str, units: tuple[str, str]) -> Worth:
    """Price, yield, cost and efficacy of every place; `units` are those of yield and price, `name` keys the draws."""
    price, yields, value = (table.number(what) for what in ("price", "yield", "crop_value"))
    with np.errstate(divide="ignore", invalid="ignore"):
        implied = np.where(price > 0, value / price, np.nan)
        yields = np.where(np.isnan(yields), np.where(np.isnan(implied), reference.yields, implied), yields)
        price = np.where(~np.isnan(value) & (yields > 0), value / yields, price)
    no_price = np.isnan(price)
    no_yield = ~table.known("yield") & ~table.known("crop_value")
    price = np.where(no_price, reference.price, price)
    cost = table.number("cost")
    no_cost = np.isnan(cost)
    said = (
        say("treat.assumed.price", price=Money(price, unit=units[1])).where(no_price),
        say("treat.assumed.yield", yields=Measured(yields, unit=units[0])).where(no_yield),
        say("treat.assumed.cost", cost=Money(reference.cost, unit=UNIT)).where(no_cost),
    )
    return Worth(price, yields, np.where(no_cost, reference.cost, cost), prevented_of(table, context, name), said)


def prevented_of(table: Table, context: Context, name: str) -> Floats:
    """(place, draw) share of the injury ahead that a treatment prevents: as given, else from the range on file."""
    fact = context.facts[_T + "efficacy"]
    drawn = triangular(context.outlook.uniform(f"{name} efficacy"), fact.low, fact.mid, fact.high)
    given = table.number("efficacy")[:, None]
    return np.where(np.isnan(given), drawn, given)


@dataclass(frozen=True, eq=False)
class Printed:
    """The threshold beside the money; arrays (place,): whose it is, and its ends in the unit of the count.

    `also` is True where what it asks for beside the count stands too; None for all.
    """

    by: Name
    low: Floats
    high: Floats
    also: Bools | None = None


def treated_case(
    table: Table,
    context: Context,
    name: str,
    counted: Counted,
    worth: Worth,
    crop: str,
    *,
    unit: Any,
    printed: Printed | None = None,
    known: Bools | bool = True,
    weather: Bools | None = None,
    **more: Any,
) -> Case:
    """The case of a pest that is treated at this farm's price and cost, in the words of every pest.

    Parameters
    ----------
    crop : as the labels' intervals and the region's stages name it
    printed : the threshold that is kept beside the money, for places that are `known`; None where `more` has a line
    weather : places whose days ahead are told
    more : further fields of the case; its reasons come before what was assumed
    """
    told = () if weather is None else days_ahead_said(context, weather)
    quantities: dict[str, tuple[Any, Any]] = {}
    if printed is not None:
        quantities = {"threshold_low": (printed.low, unit), "threshold_high": (printed.high, unit)}
        acts = (counted.told >= printed.low) & (True if printed.also is None else printed.also)
        more["line"] = Line(acts, known & np.isfinite(printed.low), {"by": printed.by})
    return Case(
        name,
        counted,
        unit=unit,
        cost=worth.cost,
        prevented=more.pop("prevented", worth.prevented[None]),
        interval=interval_of(table, context, crop),
        worth=worth.crop,
        frame="treat",
        crop=more.pop("season", crop),
        reasons=(*more.pop("reasons", ()), *worth.said, *told),
        quantities=quantities | more.pop("quantities", {}),
        **more,
    )


def published(
    reference: Reference, by: Any, low: Floats, high: Floats, unit: Any, money: Bools | bool = True
) -> tuple[Said, ...]:
    """The printed threshold (place,), and where `money` rests on it the case in which it is taken to break even."""
    who, top = Name(by), Measured(high, unit=unit)
    known = np.isfinite(low)
    worth = reference.price * reference.yields
    return (
        say("treat.because.line", by=who, low=Measured(low), high=top).where(high > low),
        say("treat.because.one-line", by=who, high=top).where(high == low),
        say(
            "treat.because.case",
            cost=Money(reference.cost, unit=UNIT),
            worth=Money(worth, unit=UNIT),
            year=Name(reference.year),
        ).where(known & money),
    )


def days_ahead_said(context: Context, rows: Bools) -> tuple[Said, ...]:
    """That no station's weather stands for the days ahead; where one does, every call says which and its years."""
    return () if context.outlook.has_weather else (say("treat.because.no-weather").where(rows),)
