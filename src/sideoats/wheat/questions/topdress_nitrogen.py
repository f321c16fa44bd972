"""Topdress nitrogen now, how much, or wait and look?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.errors import InputError
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import nitrogen, response
from sideoats.wheat.questions._common import (
    ACRES,
    CROPS,
    DUE_DAYS,
    INCH_MM,
    PLANTING,
    PRICE,
    PUBLISHERS,
    PURPOSE,
    STATION,
    YIELD,
    any_of,
    known_or,
    lacking_text,
    shown_day,
    spring_close,
    told,
    unknown,
    wheat_price,
    yield_draws,
)  # fmt: skip
from sideoats.wheat.questions._nitrogen import MATTER, PRICES, check_prices, nitrogen_price, soil_prior

if TYPE_CHECKING:
    from sideoats.pictures import Picture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RATES = tuple(range(20, 141, 20))
LATER = len(RATES)
NONE = len(RATES) + 1
OPTIONS = (
    *(Option(f"now-{r}", f"{r} lb/ac now", day=0) for r in RATES),
    Option("look", "Wait, look in spring, then decide", passive=True),
    Option("none", "No topdress", passive=True),
)
_S = "evidence:soil_test."
INPUTS = (
    YIELD, PRICE, *PRICES, MATTER,
    Field("profile_nitrogen", "number", "nitrate-N found in the profile", unit="lb/ac", low=0, high=800,
          fresh_days=330, found_in=(_S + "profile_nitrogen",)),
    Field("nitrate_ppm", "number", "nitrate averaged over 3 ft, for the Nebraska table", bare=True, low=0, high=200,
          fresh_days=330, found_in=(_S + "nitrate_ppm",)),
    Field("applied", "number", "nitrogen applied to this crop so far", unit="lb/ac", low=0, high=400,
          found_in=("place:nitrogen_applied",)),
    Field("publisher", "choice", "whose recommendation is followed; the district's if absent", choices=PUBLISHERS),
    Field("wheat_class", "choice", "class of wheat, Washington", default="hard red winter",
          choices=("hard red winter", "hard white", "dark northern spring")),
    Field("previous", "choice", "previous crop, Washington", choices=("winter wheat", "spring wheat", "barley")),
    PURPOSE,
    Field("slope", "number", "bushels for the first pound, of a response fitted here", unit="bu/lb", low=0.01, high=3),
    Field("bend", "number", "its curvature, below zero: bushels = slope N + bend N2", low=-1, high=-1e-6, bare=True),
    Field("cost", "number", "application; common practice if absent", unit="USD/ac", low=0, high=60, example="7 USD/ac",
          found_in=("setting:cost.topdress",)),
    Field("look_cost", "number", "a strip reading or a soil test in spring; common practice if absent",
          unit="USD/ac", low=0, high=60, found_in=("setting:cost.soil_sample",)),
    Field("close_date", "date", "last day that nitrogen helps; mid March if absent (before jointing)",
          found_in=("place:hollow_stem_date",)),
    Field("sandy", "flag", "sandy, claypan or poorly drained soil: wait for green-up", default=False),
    PLANTING, STATION, ACRES,
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    check_prices("topdress-nitrogen", values)
    if (values["slope"] is None) != (values["bend"] is None):
        raise InputError(
            "slope and bend go together", where="topdress-nitrogen", expected="slope=0.40 bu/lb bend=-0.0018"
        )
    if values["publisher"] == "nebraska" and values["profile_nitrogen"] is not None and values["nitrate_ppm"] is None:
        raise InputError(
            "the Nebraska table goes by nitrate in ppm", where="topdress-nitrogen profile_nitrogen",
            expected="nitrate_ppm=6",
        )  # fmt: skip
    if values["nitrate_ppm"] is not None and values["publisher"] not in (None, "nebraska"):
        raise InputError(
            "nitrate in ppm belongs to the Nebraska table", where="topdress-nitrogen nitrate_ppm",
            expected="profile_nitrogen in lb/ac", todo="systems of credits are not mixed",
        )  # fmt: skip


@dataclass(frozen=True)
class _Crop:
    """The crop's nitrogen as drawn: (place, draw) unless said."""

    need: Floats  # lb/ac for the drawn yield
    supply: Floats  # lb/ac from soil, organic matter and what was applied
    potential: Floats  # bu/ac
    price: Floats  # USD/bu
    cost: Floats  # (place,) USD/lb of nitrogen
    reaches: Floats  # share of the response still had if applied now
    reaches_later: Floats  # and if applied after the look
    rate: Floats  # (place,) the publisher's rate less what was applied [lb/ac]
    linear_rate: Floats  # (place,) by linear-plateau
    best_rate: Floats  # (place,) by quadratic-plateau
    interpolated: Bools  # (place,)
    expected_need: Floats  # (place,) lb/ac for the expected yield
    have: Floats  # (place,) lb/ac at hand, by the middle of what the soil may hold


def _publisher(table: Table, context: Context) -> NDArray[np.object_]:
    followed, _ = context.facts.choose("wheat/nitrogen")
    given = table.text("publisher")
    return np.array([str(g or followed).replace("-", "_") for g in given], dtype=object)


def _recommended(table: Table, context: Context, publisher: NDArray[np.object_]) -> tuple[Floats, Bools]:
    """Each row by its own publisher; rows of one publisher together."""
    rate, between = np.full(len(table), np.nan), np.zeros(len(table), bool)
    price = nitrogen_price(table, context)
    for name in dict.fromkeys(publisher.tolist()):
        for kind, previous in {(c, p) for c, p in zip(table.text("wheat_class"), table.text("previous"), strict=True)}:
            here = (publisher == name) & (table.text("wheat_class") == kind) & (table.text("previous") == previous)
            if not here.any():
                continue
            need = nitrogen.recommend(
                name, context.facts, yield_goal=table.number("yield")[here],
                organic_matter=table.number("organic_matter")[here],
                soil_nitrogen=table.number("profile_nitrogen")[here],
                soil_ppm=table.number("nitrate_ppm")[here] if name == "nebraska" else np.nan,
                wheat_price=table.number("price")[here], nitrogen_price=price[here], wheat_class=kind,
                previous=previous, grazed=np.isin(table.text("purpose")[here].astype(str), ["dual", "graze-out"]),
            )  # fmt: skip
            rate[here], between[here] = need.rate, need.interpolated
    return rate, between


def _reach(table: Table, context: Context, start: Floats, close: Floats) -> Floats:
    """Share of the response had (place, draw) when nitrogen lies on top from day `start` and must be in by `close`."""
    facts, out = context.facts, context.outlook
    low, high = facts.span("wheat/nitrogen.late_effect")
    late = out.between("nitrogen too late", low, high)[None, :]
    if not out.has_weather:
        return np.where((start <= close)[:, None], 1.0, late) + np.zeros((len(table), out.draws))
    enough = facts.value("wheat/nitrogen.move_in_rain") * INCH_MM
    wet = out.daily("rain")[:, out.year_of_draw] >= enough
    seen = np.cumsum(wet, axis=2)
    rows, last = out.station_rows(table.text("station")), seen.shape[2] - 1
    at_start = np.clip(start - 1, 0, last).astype(np.int64)
    at_close = np.clip(close, 0, last).astype(np.int64)
    before = np.where((start > 0)[:, None], seen[rows, :, at_start], 0)
    moved = seen[rows, :, at_close] > before
    return np.where(moved & (start <= close)[:, None], 1.0, late)


def _crop(table: Table, context: Context, close: Floats, look: Floats) -> _Crop:
    facts, out = context.facts, context.outlook
    publisher = _publisher(table, context)
    applied = np.nan_to_num(table.number("applied"))
    rate, between = _recommended(table, context, publisher)
    potential, price, cost = yield_draws(table, context), wheat_price(table, context), nitrogen_price(table, context)
    per_bushel = facts.value("wheat/nitrogen.kansas.per_bushel")
    credit = table.number("organic_matter") * facts.value("wheat/nitrogen.kansas.organic_matter")
    tested = _profile(table, context)[:, None]
    error = facts.value("wheat/nitrogen.sampling_error") * out.normal("soil test error", table.keys)
    soil = np.where(np.isnan(tested), soil_prior(table, context), np.maximum(tested + error, 0.0))
    middle = np.where(np.isnan(tested[:, 0]), facts.value("wheat/nitrogen.kansas.profile_default"), tested[:, 0])
    goal = table.number("yield")
    ratio = cost / table.number("price")
    need, have = goal * per_bushel, middle + credit + applied
    # slope of Y (1 - (1 - S/need)^2) is 2 Y/need (1 - S/need): set it to the price ratio
    best = need * (1 - ratio * need / (2 * goal)) - have
    slope, bend = table.number("slope"), table.number("bend")
    own = response.optimum_quadratic(slope, bend, ratio) - applied
    best = np.where(np.isnan(slope), best, own)
    linear = np.where(goal / need > ratio, need, 0.0) - have
    return _Crop(
        potential * per_bushel, soil + credit[:, None] + applied[:, None], potential, price, cost,
        _reach(table, context, np.zeros(len(table)), close), _reach(table, context, look, close),
        np.maximum(rate - applied, 0.0), np.where(np.isnan(slope), np.maximum(linear, 0.0), np.nan),
        np.maximum(best, 0.0),
        between, need, have,
    )  # fmt: skip


def _profile(table: Table, context: Context) -> Floats:
    """(place,) nitrate-N to the Kansas depth [lb/ac]: as tested, or from ppm; NaN where neither is known."""
    found, ppm = table.number("profile_nitrogen"), table.number("nitrate_ppm")
    if np.isnan(ppm).all():
        return found
    depth = next(float(row[1]) for row in context.facts["wheat/soil.depth"].rows if row[0] == "nitrate")
    factor = context.facts.value("wheat/nitrogen.soil_nitrate_factor")
    return np.where(np.isnan(found), nitrogen.profile_nitrogen(ppm, depth, factor), found)


def _gain(table: Table, crop: _Crop, rate: Floats) -> Floats:
    """Bushels over no topdress (place, draw) for a rate (place or 1, draw or 1) that reaches the roots in time."""
    slope, bend = table.number("slope")[:, None], table.number("bend")[:, None]
    applied = np.nan_to_num(table.number("applied"))[:, None]
    fitted = response.quadratic_plateau(applied + rate, 0.0, slope, bend) - response.quadratic_plateau(
        applied, 0.0, slope, bend
    )
    modelled = response.supply_response(crop.supply + rate, crop.need, crop.potential)
    modelled = modelled - response.supply_response(crop.supply, crop.need, crop.potential)
    return np.where(np.isnan(slope), modelled, fitted)


def _payoffs(table: Table, context: Context, crop: _Crop) -> Floats:
    """Payoff over no topdress (place, draw, option) [USD/ac]."""
    spread = known_or(table.number("cost"), context, "wheat/nitrogen.application_cost")[:, None]
    dollars = crop.cost[:, None]
    parts = [
        _gain(table, crop, np.full((1, 1), float(r))) * crop.reaches * crop.price - r * dollars - spread for r in RATES
    ]
    # a look shows what the soil holds, up to an error; yield and price stay what they are expected to be today
    error = context.facts.value("wheat/nitrogen.strip_error") * context.outlook.normal("strip error", table.keys)
    goal, need = table.number("yield")[:, None], crop.expected_need[:, None]
    today = dollars / table.number("price")[:, None]
    top = need * (1 - today * need / (2 * goal)) - crop.supply
    fitted = response.optimum_quadratic(
        table.number("slope")[:, None], table.number("bend")[:, None], today
    ) - np.nan_to_num(table.number("applied"))[:, None]  # fmt: skip
    seen = np.where(np.isnan(fitted), top + error, fitted)
    rate = np.clip(seen, 0.0, float(RATES[-1]))
    rate = np.where(rate < RATES[0] / 2, 0.0, rate)
    later = (
        _gain(table, crop, rate) * crop.reaches_later * crop.price - rate * dollars - np.where(rate > 0, spread, 0.0)
    )
    later = later - known_or(table.number("look_cost"), context, "wheat/nitrogen.look_cost")[:, None]
    return np.stack([*parts, later, np.zeros_like(later)], axis=2)


def _dates(table: Table, context: Context) -> tuple[Floats, Floats]:
    """Days to the close of topdressing and to the look, some weeks before it or today."""
    close = spring_close(table, context, "close_date")
    return close, np.maximum(close - context.facts.value("wheat/nitrogen.look_lead"), 0.0)


def answer(table: Table, context: Context) -> Answers:
    """Rates now, a look first, or nothing; barred where the ground or the calendar says no."""
    close, look = _dates(table, context)
    crop = _crop(table, context, close, look)
    payoff = _payoffs(table, context, crop)
    past = close < 0
    sandy = table.flag("sandy") & (context.on.month in (11, 12, 1))
    count = len(OPTIONS)
    over = np.zeros((len(table), count), bool)
    over[:, : LATER + 1] = past[:, None]
    wet = np.zeros_like(over)
    wet[:, :LATER] = sandy[:, None]
    decision = decide(payoff, barred=over | wet, days=[-1] * count)
    best = decision.best
    now = (best >= 0) & (best < LATER)
    lacking = unknown(table, price="wheat price") | {"expected yield": ~table.known("yield")}
    lacking["price of nitrogen"] = np.isnan(crop.cost)
    lacking["organic matter (or a fitted response)"] = ~table.known("organic_matter") & ~table.known("slope")
    missing = any_of(lacking)
    worth = np.maximum(decision.expected[:, LATER] - decision.expected[:, :LATER].max(axis=1), 0.0)
    due = now & (close <= DUE_DAYS)
    verdict = np.where(due, ACT, np.where((best == LATER) & (look <= DUE_DAYS), LOOK, WAIT))
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(Bar(over, "jointing is past: nitrogen on top no longer sets heads"),
              Bar(wet, "sandy, claypan or poorly drained: wait for green-up")),
        headline=_headline(context, decision, crop, close, look), because=_because(table, context, crop, past),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(due, np.maximum(close, 0), -1).astype(np.int64),
        look_by=np.where(best == LATER, np.maximum(look, 0), -1).astype(np.int64),
        quantities={
            "rate_by_publisher": (crop.rate, "lb/ac"), "rate_that_pays": (crop.best_rate, "lb/ac"),
            "rate_linear_plateau": (crop.linear_rate, "lb/ac"), "nitrogen_price": (crop.cost, "USD/lb"),
            "days_left": (close, "day"),
        },
        worth_of_a_look=worth, cost_of_waiting=np.where(due, decision.expected.max(axis=1), 0.0),
        missing=missing, missing_look_within=14,
        missing_headline=lacking_text(lacking),
        cautions=(
            "Keep fertiliser away from water and wells; follow local nutrient rules and the product's safety sheet.",
            "Anhydrous ammonia injures lungs and eyes at once: trained people, goggles, gloves and water at hand.",
            "A nitrogen rate without a profile test can waste or starve.",
        ),
        pictures=lambda i: _pictures(table, crop, i),
    )  # fmt: skip


def _pictures(table: Table, crop: _Crop, i: int) -> Sequence[Picture]:
    """The response that the money rests on, by nitrogen put on from here; none where what is at hand covers the crop.

    A working response is drawn in both forms at the middle of what the soil is taken to hold; one of the grower's own
    is drawn as given, in bushels over no topdress.
    """
    from sideoats.wheat.pictures import nitrogen_response

    ratio = crop.cost[i] / table.number("price")[i]
    slope, bend = table.number("slope")[i], table.number("bend")[i]
    applied, goal, need = np.nan_to_num(table.number("applied"))[i], table.number("yield")[i], crop.expected_need[i]
    if np.isfinite(slope):
        fits = [response.own(slope, bend, applied)]
        basis = "The response is the one given, counted from what lies on the field already."
    else:
        fits = response.working(goal, need, crop.have[i])
        basis = "A working curve from the Kansas budget at the middle of what the soil may hold, not a local trial."
    if not fits or not np.isfinite(ratio) or fits[0].coefficients[1] <= 0:
        return []
    return [nitrogen_response(fits, np.arange(0.0, RATES[-1] + 1, 5.0), ratio, basis=basis)]


def _headline(context: Context, decision: Decision, crop: _Crop, close: Floats, look: Floats) -> Callable[[int], str]:
    def text(i: int) -> str:
        at = int(decision.best[i])
        money = decision.expected[i, at]
        if at < LATER:
            by = shown_day(context, close[i])
            return f"Topdress {RATES[at]} lb/ac of nitrogen by {by}: worth {money:.0f} USD/ac over none."
        if at == LATER:
            first = (
                "Look now: deciding by it"
                if look[i] <= 0
                else f"Wait, and look by {shown_day(context, look[i])}: deciding then"
            )
            return (
                f"{first} is worth {money:.0f} USD/ac over "
                "none, "
                f"{money - decision.expected[i, :LATER].max():.1f} more than any rate today."
            )
        if close[i] < 0:
            return f"Too late to topdress: {shown_day(context, close[i])} is taken as the end, before jointing."
        return "No topdress: nitrogen at hand covers the crop, or more of it would cost more than it brings in time."

    return text


def _because(table: Table, context: Context, crop: _Crop, past: Bools) -> Callable[[int], list[str]]:
    publisher = _publisher(table, context)

    def text(i: int) -> list[str]:
        out = [
            f"{publisher[i].replace('_', '-').title()} recommends {crop.rate[i]:.0f} lb/ac more"
            + (" (between printed cells of its table)." if crop.interpolated[i] else ".")
            if np.isfinite(crop.rate[i])
            else f"{publisher[i].replace('_', '-').title()} gives no rate for these values.",
            f"The last pound pays up to {crop.best_rate[i]:.0f} lb/ac by a quadratic-plateau response"
            + (f"; {crop.linear_rate[i]:.0f} lb/ac by a linear-plateau." if np.isfinite(crop.linear_rate[i]) else "."),
            f"Nitrogen at {crop.cost[i]:.2f} USD/lb against wheat at {table.number('price')[i]:.2f} USD/bu.",
        ]
        if publisher[i] != "kansas" and np.isnan(table.number("slope")[i]):
            out.append("The money below rests on the Kansas budget: the other slope belongs to credits of its own.")
        if not (table.known("profile_nitrogen")[i] or table.known("nitrate_ppm")[i]):
            out.append(
                "The profile was not tested: its nitrogen is drawn from what trial sites held "
                f"({told(context, 'wheat/nitrogen.kansas.profile_found')} lb/ac)."
            )
        if np.isnan(table.number("slope")[i]):
            out.append("The response is a working curve from the Kansas budget, not a local trial: see slope and bend.")
        share = crop.reaches[i].mean()
        if not past[i] and context.outlook.has_weather:
            full = (crop.reaches[i] == 1).mean()
            out.append(
                f"In {100 * full:.0f} % of past years enough rain moved it in before jointing ({share:.2f} of the "
                "response)."
            )
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    spring = context.on.month in (1, 2, 3) or (context.on.month == 4 and context.on.day <= 10)
    return np.asarray(spring & (spring_close(table, context, "close_date") >= -7))


QUESTION = Question(
    name="topdress-nitrogen", room="wheat", title="Topdress nitrogen now, how much, or look first?",
    about="Rates of topdressed nitrogen against a look in spring and against none, over yields, prices, what the soil "
    "may "
    "hold and rain to move it in; the publisher's own recommendation beside them.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=CROPS), size="acres", in_season=_in_season,
    check=_check, options_count=len(OPTIONS),
    limits="Payoffs rest on the Kansas budget or on a response of your own; the other publishers give their rate only, "
    "because their slopes belong to their own credits.",
)  # fmt: skip
