"""Sow this wheat now, or when?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import Decision, decide
from sideoats.question import Answers, Bar, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import planting
from sideoats.wheat.questions import _common as w

if TYPE_CHECKING:
    from sideoats.pictures import Picture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
STEP, LAST = 3, 75
_AHEAD = 120  # days of rain looked at past the last sowing day; wheat not up by then is lost
DAYS = tuple(range(0, LAST + 1, STEP))
OPTIONS = tuple(Option(f"sow-day-{d}", "Sow today" if d == 0 else f"Sow in {d} days", day=d) for d in DAYS)
_SEEN = "evidence:wheat_check."
INPUTS = (
    Field("purpose", "choice", "what the wheat is grown for", choices=w.PURPOSES, default="grain",
          found_in=("place:purpose",), aliases={"dual-purpose": "dual", "forage": "graze-out"}),
    Field("best_date", "date", "best sowing date for grain here; the middle of the published window if absent",
          found_in=("place:best_date",)),
    Field("zone", "choice", "Kansas zone, north-west 1 to south-east 4, for the published window", default="3",
          choices=("1", "2", "3", "4"), found_in=("setting:wheat_zone",)),
    Field("fly_free", "date", "date from which wheat is safe from the fly; the best grain date if absent",
          found_in=("place:fly_free",)),
    Field("top_moist", "flag", "the top inch and a half is moist enough to sow into", fresh_days=10,
          found_in=(_SEEN + "top_moist",)),
    Field("volunteer", "flag", "living volunteer wheat in or beside the field", fresh_days=21,
          found_in=(_SEEN + "volunteer",)),
    w.YIELD, w.PRICE, w.VALUE_OF_GAIN, w.HARVEST_COST,
    Field("seed_price", "number", "price of the seed, for the extra seed of late sowing", unit="USD/lb", low=0, high=20,
          found_in=("evidence:seed_lot.seed_price",)),
    w.STATION, w.PLANTING, w.ACRES,
)  # fmt: skip


@dataclass(frozen=True)
class _Sown:
    """What each sowing day leads to: (place, draw, day) unless said."""

    up: Floats  # day of emergence, NaN where none
    grain: Floats  # bu/ac
    forage: Floats  # lb/ac of fall dry matter
    best: Floats  # (place,) days from today to the best grain date
    fly_free: Floats  # (place,)
    window: tuple[Floats, Floats]  # (place,) days from today to its ends


def _window(table: Table, context: Context) -> tuple[Floats, Floats]:
    rows = {row[0]: row[1:] for row in context.facts["wheat/planting.window.kansas_l818"].rows}
    ends = []
    for zone in table.text("zone"):
        first, last = (w.month_day(str(t), context.on) for t in rows[zone])
        ends.append([(first - context.on).days, (last - context.on).days])
    both = np.array(ends, dtype=np.float64).reshape(len(table), 2)
    return both[:, 0], both[:, 1]


def _emergence(table: Table, context: Context) -> Floats:
    """Day of emergence-equivalent (place, draw, day): the sowing day where the seed zone is moist, else after rain."""
    facts, out = context.facts, context.outlook
    n, moist = len(table), table.flag("top_moist", default=False)
    unknown = ~table.known("top_moist")
    low, high = facts.span("wheat/planting.emergence_rain")
    enough = out.between("rain that brings wheat up", low, high)
    if not out.has_weather:
        days = np.array(DAYS, np.float64)[None, None, :] + np.zeros((n, out.draws, 1))
        dry = ~moist & ~unknown
        if dry.any():
            wait = out.between("days to rain", *facts.span("wheat/planting.dry_wait"))
            days = days + np.where(dry, 1.0, 0.0)[:, None, None] * wait[None, :, None]
        return days
    names, row = np.unique(out.station_rows(table.text("station")), return_inverse=True)
    rain = out.daily("rain")[names][:, :, : LAST + _AHEAD][:, out.year_of_draw] / w.INCH_MM
    waits = planting.soaking_from(rain, np.broadcast_to(enough, rain.shape[:2]))
    holds = out.between("seed zone stays moist", *facts.span("wheat/planting.moist_holds"))
    total = np.concatenate([np.zeros((*rain.shape[:2], 1)), np.cumsum(rain, axis=2)], axis=2)
    up = np.empty((n, out.draws, len(DAYS)))
    for at, day in enumerate(DAYS):
        back = np.broadcast_to(np.maximum(day - holds, 0.0).astype(np.int64), rain.shape[:2])
        recent = total[:, :, day] - np.take_along_axis(total, back[:, :, None], 2)[..., 0]
        ready = np.where(recent >= enough, float(day), waits[:, :, day])
        still = (moist | unknown)[:, None] & (day <= holds)[None, :]
        up[:, :, at] = np.where(still, float(day), ready[row])
    return up


def _alike(table: Table, context: Context, best: Floats, fly: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows that share everything but money: the first row of each kind, and which kind each row is."""
    out = context.outlook
    station = out.station_rows(table.text("station")) if out.has_weather else np.zeros(len(table))
    marks = np.stack([station, best, fly, table.number("top_moist"), table.number("volunteer")], axis=1)
    _, first, kind = np.unique(np.nan_to_num(marks, nan=-999.0), axis=0, return_index=True, return_inverse=True)
    return first.astype(np.int64), kind.reshape(-1).astype(np.int64)


def _sown(table: Table, context: Context) -> _Sown:
    first, last = _window(table, context)
    given = table.days_until("best_date", context.on)
    best = np.where(np.isnan(given), (first + last) / 2, given)
    own = table.days_until("fly_free", context.on)
    fly = np.where(np.isnan(own), best, own)
    first_row, kind = _alike(table, context, best, fly)
    share, up, forage = _by_date(table.take(first_row), context, best[first_row], fly[first_row])
    grain = table.number("yield")[:, None, None] * share[kind]
    return _Sown(up[kind], grain, forage[kind], best, fly, (first, last))


def _by_date(table: Table, context: Context, best: Floats, fly: Floats) -> tuple[Floats, Floats, Floats]:
    """Share of full yield, day of emergence and fall forage (place, draw, day)."""
    facts, out = context.facts, context.outlook
    up = _emergence(table, context)
    early = facts["wheat/planting.early_yield.bushland"].rows
    late = facts["wheat/planting.late_yield.witt1996"].rows
    away = np.clip(up - best[:, None, None], -float(early[-1][0]), float(late[-1][0]))
    share = np.nan_to_num(planting.relative_yield(away, early, late))
    pest = out.between("pests of early wheat", *facts.span("wheat/planting.early_pest_loss"))[None, :, None]
    before = facts.value("wheat/planting.early_pest_days")
    share = share * (1 - planting.early_pest_share(fly[:, None, None] - up, pest, before))
    if table.flag("volunteer").any():
        virus = out.between("virus from volunteer", *facts.span("wheat/planting.volunteer_loss"))[None, :, None]
        clear = np.array(DAYS) >= facts["wheat/planting.volunteer_before"].low
        share = share * np.where(table.flag("volunteer")[:, None, None] & ~clear, 1 - virus, 1.0)
    share = np.where(np.isnan(up), 0.0, share)
    reference = (w.month_day(facts["wheat/planting.fall_forage_sown"].text, context.on) - context.on).days
    at_reference = out.between("fall forage", *facts.span("wheat/planting.fall_forage"))[None, :, None]
    gone = out.between("fall forage gone", *facts.span("wheat/planting.fall_forage_gone"))[None, :, None]
    forage = np.nan_to_num(planting.fall_forage(up - reference, at_reference, gone))
    return share, up, forage


def _payoff(table: Table, context: Context, sown: _Sown) -> Floats:
    """USD an acre of each sowing day: grain, fall grazing, extra seed for lateness; costs alike for all left out."""
    facts = context.facts
    purpose = table.text("purpose")
    price = w.wheat_price(table, context)[:, :, None] - w.harvest_cost(table, context)[:, None, None]
    grazed = (purpose == "dual") | (purpose == "graze-out")
    grain = sown.grain * price
    if (purpose == "dual").any():
        _, penalty = facts.choose("wheat/grazing_penalty")
        lost = context.outlook.between("grazing penalty", penalty.low, penalty.high)[None, :, None]
        grain = np.where((purpose == "dual")[:, None, None], grain * (1 - lost), grain)
    grain = np.where((purpose == "graze-out")[:, None, None], 0.0, grain)
    if grazed.any():
        beef = facts.value("wheat/grazing.beef_per_forage")
        gain = sown.forage * beef * np.nan_to_num(table.number("value_of_gain"))[:, None, None]
        grain = grain + np.where(grazed[:, None, None], gain, 0.0)
    seed_price = table.number("seed_price")
    if table.known("seed_price").any():
        base = float(
            facts["wheat/seeding.kansas"].rows[1][3]
        )  # low end of the middle rain class: only the raise counts
        days_late = np.array(DAYS)[None, :] - sown.best[:, None]
        raise_by = (facts.value(f"wheat/seeding.{k}") for k in ("late_share", "late_top", "late_full"))
        rate = planting.late_rate(base, days_late, *raise_by)
        grain = grain - ((rate - base) * np.nan_to_num(seed_price)[:, None])[:, None, :]
    return np.asarray(grain)


def answer(table: Table, context: Context) -> Answers:
    """Every third day of the next eleven weeks as an option, and when to be ready."""
    sown = _sown(table, context)
    payoff = _payoff(table, context, sown)
    volunteer = table.flag("volunteer")
    before, sure = context.facts.span("wheat/planting.volunteer_before") if volunteer.any() else (0.0, 0.0)
    barred = volunteer[:, None] & (np.array(DAYS) < before)[None, :]
    days = np.array(DAYS, np.float64)
    first = float(context.facts["wheat/planting.early_yield.bushland"].rows[-1][0])
    unheard = days[None, :] < sown.best[:, None] - first
    decision = decide(payoff, barred=barred | unheard, days=DAYS, tolerance=0.0)
    worth = decision.expected[np.arange(len(table)), np.maximum(decision.best, 0)]
    none = (decision.best < 0) | (worth <= 0)  # too early to say, or nothing sown from now on makes a crop
    near = (decision.expected >= worth[:, None] - 0.02 * np.abs(worth[:, None])) & ~barred & ~unheard
    opens = np.where(near.any(axis=1), days[near.argmax(axis=1)], days[-1])
    closes = np.where(near.any(axis=1), days[len(days) - 1 - near[:, ::-1].argmax(axis=1)], days[0])
    grazed = np.isin(table.text("purpose").astype(str), ["dual", "graze-out"])
    lacking = w.unknown(table, price="wheat price") | {"expected yield": ~table.known("yield")}
    lacking["value of gain of the cattle"] = grazed & ~table.known("value_of_gain")
    missing = w.any_of(lacking)
    ready = (opens <= w.DUE_DAYS) & ~none
    soon = ready & ((closes <= w.DUE_DAYS) | (days[np.maximum(decision.best, 0)] <= w.DUE_DAYS))
    clear = np.maximum(closes - sure, 0.0)  # the longer of the published leads before the last good day
    verdict = np.where(np.where(volunteer, clear <= w.DUE_DAYS, soon) & ~none, ACT, WAIT)
    waiting = decision.cost_of_waiting
    if volunteer.any():
        waiting = np.where(volunteer, _late_clearing(context, payoff, unheard), waiting)
    look = np.where(~table.known("top_moist") & (opens <= 14), np.maximum(opens - 2, 0), -1)
    return Answers(
        table, context, options=OPTIONS, decision=decision, unit="USD/ac",
        bars=(
            Bar(barred & ~unheard, "living volunteer wheat: destroy it two to three weeks before sowing"),
            Bar(unheard, f"more than {first:.0f} days before the best grain date: no published trial sowed so early"),
        ),
        headline=_headline(table, context, decision, opens, closes, clear),
        because=_because(table, context, sown, opens, closes),
        verdict=np.where(missing, LOOK, verdict).astype(np.int8),
        act_by=np.where(verdict == ACT, np.where(volunteer, clear, closes), -1).astype(np.int64),
        look_by=look.astype(np.int64),
        quantities={
            "days_to_window": (opens, "day"), "days_to_close": (closes, "day"), "best_grain_day": (sown.best, "day"),
            "yield_if_sown_today": (sown.grain[:, :, 0].mean(axis=1), "bu/ac"),
            "fall_forage_if_sown_today": (sown.forage[:, :, 0].mean(axis=1), "lb/ac"),
            "chance_up_within_10_days": ((sown.up[:, :, 0] <= 10).mean(axis=1), "1"),
        },
        missing=missing, missing_look_within=7,
        missing_headline=w.lacking_text(lacking),
        cautions=_cautions(table),
        cost_of_waiting=np.where(verdict == ACT, waiting, 0.0),
        pictures=lambda i: _pictures(context, decision, i),
    )  # fmt: skip


def _pictures(context: Context, decision: Decision, i: int) -> Sequence[Picture]:
    """What each day of sowing that is open pays; none where no sowing pays."""
    from sideoats.wheat.pictures import sowing_dates

    best, open_ = int(decision.best[i]), ~decision.barred[i] & np.isfinite(decision.expected[i])
    if best < 0 or decision.expected[i, best] <= 0 or open_.sum() < 2:
        return []
    days = [day for day, kept in zip(DAYS, open_, strict=True) if kept]
    figures = (f[i][open_] for f in (decision.expected, decision.low, decision.high))
    return [sowing_dates(context.on, days, *figures)]


def _late_clearing(context: Context, payoff: Floats, unheard: Bools) -> Floats:
    """(place,) lost when living volunteer wheat is destroyed a week from now instead of today [USD/ac]."""
    before = context.facts["wheat/planting.volunteer_before"].low
    expected = np.where(unheard, -np.inf, payoff.mean(axis=1))
    now, later = (expected[:, np.array(DAYS) >= before + d].max(axis=1) for d in (0, w.DUE_DAYS))
    lost = np.where(np.isfinite(later), now - np.where(np.isfinite(later), later, 0.0), 0.0)
    return np.asarray(np.maximum(np.nan_to_num(lost), 0.0))


def _headline(
    table: Table, context: Context, decision: Decision, opens: Floats, closes: Floats, clear: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        best = int(decision.best[i])
        if best < 0:
            return "Too early: no published trial sowed wheat so long before the best date."
        if decision.expected[i, best] <= 0:
            return "Too late for this season: no sowing from today on pays."
        start, end = w.shown_day(context, opens[i]), w.shown_day(context, closes[i])
        span = f"{start} to {end}" if closes[i] > opens[i] else f"about {start}"
        if table.flag("volunteer")[i]:
            by = f"by {w.shown_day(context, clear[i])}" if clear[i] > 0 else "now"
            return f"Destroy the volunteer wheat {by}; then sow {span}."
        if opens[i] > w.DUE_DAYS:
            return f"Do not sow yet: {span} pays best for {table.text('purpose')[i]}."
        today = decision.expected[i, best] - decision.expected[i, 0]
        if DAYS[best] == 0 and closes[i] == 0:
            week = w.shown_day(context, next(d for d in DAYS if d >= w.DUE_DAYS))
            moist = " while the top is moist" if table.flag("top_moist")[i] else ""
            return f"Sow now{moist}: waiting to {week} costs about {decision.cost_of_waiting[i]:.0f} USD/ac."
        if DAYS[best] == 0:
            return f"Sow now: every day up to {end} is within 2 % of the best."
        day = w.shown_day(context, DAYS[best])
        return f"The window is open to {end}; best on {day}, worth {today:.0f} USD/ac more than today."

    return text


def _share_at(context: Context, days: float) -> float:
    """Published share of full yield so many days after (or before) the best date."""
    facts = context.facts.by_id
    early = facts["wheat/planting.early_yield.bushland"].rows
    return float(planting.relative_yield(days, early, facts["wheat/planting.late_yield.witt1996"].rows))


def _because(table: Table, context: Context, sown: _Sown, opens: Floats, closes: Floats) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        first, last = (context.on + timedelta(days=int(end[i])) for end in sown.window)
        out = [
            f"Published grain window of zone {table.text('zone')[i]}: {first:%-d %b} to {last:%-d %b}; best grain "
            "date taken as "
            f"{w.shown_day(context, sown.best[i])}.",
            f"Late sowing follows a Kansas trial ({100 * _share_at(context, 31):.0f} % of full yield a month after "
            f"the best "
            f"date), early sowing a Texas one ({100 * _share_at(context, -21):.0f} % three weeks before it).",
        ]
        if table.text("purpose")[i] in ("dual", "graze-out"):
            low, high = context.facts.by_id["wheat/planting.fall_forage"].span
            out.append(
                f"Fall forage {low:,.0f} to {high:,.0f} lb/ac for a sowing of Sept 19 (Kansas trial), falling "
                "straight to "
                "nothing about two months later (that slope is common practice)."
            )
        if not table.known("top_moist")[i]:
            out.append("Moisture of the seed zone is not known: today's sowing is taken to come up.")
        elif not table.flag("top_moist")[i]:
            share = (sown.up[i, :, 0] <= 10).mean()
            out.append(
                f"The top is dry: seed dusted in today is up within ten days in {100 * share:.0f} % of past years."
            )
        out.append("Pests of early wheat and virus from volunteer are wide ranges: no published curve was found.")
        out.append(context.outlook.notes[0])
        return out

    return text


def _cautions(table: Table) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = [
            "The fly-free date is local and only holds where no volunteer wheat stands within sight.",
            "Do not sow deep into hot soil to reach moisture: the shoot shortens and may not come up.",
            "Treated seed is never feed; follow its tag.",
        ]
        if table.text("purpose")[i] in ("dual", "graze-out"):
            out.append(w.CATTLE)
        return out

    return text


def _in_season(table: Table, context: Context) -> Bools:
    until = table.days_until("planting_date", context.on)
    return np.asarray((until >= 0) & (until <= LAST))


QUESTION = Question(
    name="wheat-planting", room="wheat", title="Sow this wheat now, or when?",
    about="Sowing days of the next eleven weeks compared over past years' rain: grain lost early and late, fall "
    "forage, pests "
    "of early wheat, moisture to come up on.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", in_season=_in_season,
    options_count=len(OPTIONS), apart=("purpose", "volunteer", "seed_price?"),
    limits="Yield by date joins two published trials (Texas before, Kansas after the best date). Costs that are the "
    "same for "
    "every date are left out, so payoffs are for comparing days, not a budget.",
)  # fmt: skip
