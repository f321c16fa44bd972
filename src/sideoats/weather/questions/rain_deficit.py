"""Rain against normal, water left in the soil, and what forage the coming weeks are likely to grow."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.decide import decide
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Option, Places, Question, Table
from sideoats.schema import Field
from sideoats.station import StationDays, same_day
from sideoats.weather import drought
from sideoats.weather.rain_standing import RainStanding, rain_standing
from sideoats.weather.rainfall import days_since, dry_spells, percent_of_normal
from sideoats.weather.root_zone import RootZone, daily_coefficient, forage_ahead, root_zone
from sideoats.weather.station_air import StationAir, calendar, reference_et, station_air

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_INCH = 25.4
AHEAD = 60
SPANS = (30, 90, 180, 365)
MAIN = 90
GROUNDS = 96  # balances at a time: the loop over days is shared, and the arrays stay near 100 MB
OPTIONS = (
    Option("buy-now", "Secure feed for the likely shortage, or cut numbers to fit, now"),
    Option("wait", "Wait for rain and meet a shortage when it comes", passive=True),
)
INPUTS = (
    Field("rain", "number", "rain since the date below, where no station is on file", unit="inch", low=0, high=200,
          example="2.1 in"),
    Field("normal", "number", "normal rain of that span", unit="inch", low=0.01, high=200, example="5.4 in"),
    Field("span", "number", "length of that span", unit="day", bare=True, low=7, high=730, default=90.0),
    Field("crop", "text", "what grows there", found_in=("place:crop",), example="native grass"),
    Field("soil", "text", "soil texture", found_in=("place:soil",), example="silt loam"),
    Field("soil_water", "share", "share of the usable soil water that is left", found_in=("evidence:soil_water.left",),
          fresh_days=10),
    Field("planting_date", "date", "day of planting, for a sown crop", found_in=("place:planting_date",)),
    Field("forage", "number", "forage that the coming 60 days usually grow", unit="lb/ac", low=0, high=20_000,
          found_in=("place:forage",)),
    Field("price", "number", "feed delivered today", unit="USD/ton", low=0, high=2000,
          found_in=("quote:grass hay", "setting:price.hay")),
    Field("station", "text", "weather station", found_in=("place:station",)),
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if (values["rain"] is None) != (values["normal"] is None):
        lacking = "normal" if values["normal"] is None else "rain"
        expected = "rain='2.1 in' normal='5.4 in' span=90"
        raise InputError("is missing", where=f"rain-deficit {lacking}", expected=expected, todo="give both")


@dataclass(frozen=True)
class _Standing:
    """What a station's rain says: one entry a span, dry spell and days since half an inch."""

    spans: dict[int, RainStanding]
    dry_now: int
    since_soaking: float  # NaN where none fell in the last 400 days
    quality: list[str]


@dataclass(frozen=True)
class _Ground:
    """A root zone at a station with its coming weeks, for the least, middle and most water that the soil may hold.

    `depletion_today` (soil,), `depletion` (soil, year, day), `growth` (soil, year); `missing` days of the record.
    """

    zone: RootZone
    depletion_today: Floats
    depletion: Floats
    growth: Floats
    missing: int


@dataclass(frozen=True)
class _Weather:
    """A station's past up to yesterday (day,) and its coming weeks (year, day), in mm."""

    start: date
    et: Floats
    rain: Floats
    ahead_et: Floats
    ahead_rain: Floats
    missing: int


_Key = tuple[int, str, str, date | None, float]  # station, crop, soil, planting date, share of water left or -1


@dataclass(frozen=True)
class _Row:
    """Everything found for one place; `standing` and `ground` absent without a station, `ground` also where the record
    lacks too many of the last days to keep a balance by; `lack` says so then."""

    standing: _Standing | None
    ground: _Ground | None
    growth: Floats  # (draw,), 1 is usual; NaN where not known
    percent: float
    percentile: float
    lack: str = ""


def _standing(record: StationDays, context: Context) -> _Standing:
    facts = context.facts
    most = facts.value("weather/pace.most_missing")
    spans = {days: rain_standing(record, context.on, days, most_missing=most) for days in SPANS}
    rain = record.usable("rain")[: max(record.index(context.on), 1)][-400:]
    spell = dry_spells(rain, dry_below=facts.value("weather/drought.dry_day"))
    quality = drought.fit_quality(
        spans[MAIN].past, least_years=int(facts.value("weather/drought.least_years")),
        most_dry=facts.value("weather/drought.most_dry"),
    )  # fmt: skip
    since = float(days_since(rain, facts.value("weather/drought.soaking_rain") * _INCH))
    return _Standing(spans, int(spell.current), since if since >= 0 else np.nan, quality)


def _standing_at(context: Context, station: str) -> _Standing:
    found: _Standing = context.once(
        f"rain-deficit standing {station}", lambda fresh: _standing(fresh.outlook.records[station], fresh)
    )
    return found


def _weather(context: Context, at: int) -> _Weather:
    out, on = context.outlook, context.on
    record = out.records[out.windows.stations[at] if out.windows else ""]
    until = min(record.index(on), len(record))
    air = context.once("rain-deficit air", _air).only(at)
    tmax, tmin = record.usable("tmax")[None, :until], record.usable("tmin")[None, :until]
    et, rain = reference_et(air, tmax, tmin, record.start)[0], record.usable("rain")[:until]
    high, low = out.daily("tmax")[[at], :, :AHEAD], out.daily("tmin")[[at], :, :AHEAD]
    ahead, coming = reference_et(air, high, low, on)[0], out.daily("rain")[at, :, :AHEAD]
    missing = int((np.isnan(et) | np.isnan(rain)).sum()) + record.index(on) - until
    return _Weather(record.start, et, rain, ahead, coming, missing)


def _air(context: Context) -> StationAir:
    out, facts = context.outlook, context.facts
    return station_air(
        out.records, out.windows.stations if out.windows else (), usual_wind=facts.value("weather/rain.usual_wind"),
        usual_latitude=facts.value("weather/livestock.latitude_unknown"),
    )  # fmt: skip


def _grounds(context: Context, keys: list[_Key]) -> dict[_Key, _Ground]:
    """The balances of many kinds of ground at once, whatever their station: the loop runs over days only."""
    found: dict[_Key, _Ground] = {}
    for first in range(0, len(keys), GROUNDS):
        part = keys[first : first + GROUNDS]
        weather = [_weather_at(context, key[0]) for key in part]
        zones = [root_zone(context.facts, crop, soil) for _, crop, soil, _, _ in part]
        available = np.array([[z.available_low, z.available, z.available_high] for z in zones])
        left = np.array([np.nan if key[4] < 0 else key[4] for key in part])
        past = _Past.of(context.on, part, weather, zones)
        coming, _ = calendar(context.on, AHEAD)
        curves = [_coefficient(z, coming, context.on, key[3]) for z, key in zip(zones, part, strict=True)]
        ahead = forage_ahead(
            past.et, past.rain, past.coefficient, np.stack([w.ahead_et for w in weather])[:, None],
            np.stack([w.ahead_rain for w in weather])[:, None], np.stack(curves)[:, None], available,
            np.array([[z.fraction] for z in zones]), start_of_window=past.windows,
            window_counts=past.counts[:, None], told_depletion=(1 - left)[:, None] * available,
        )  # fmt: skip
        for i, key in enumerate(part):
            found[key] = _Ground(
                zones[i], ahead.depletion_today[i], ahead.depletion[i], ahead.growth[i], weather[i].missing
            )
    return found


def _weather_at(context: Context, at: int) -> _Weather:
    found: _Weather = context.once(f"rain-deficit weather {at}", lambda fresh: _weather(fresh, at))
    return found


def _coefficient(zone: RootZone, of_year: NDArray[np.int64], first: date, planted: date | None) -> Floats:
    """Crop coefficient of days on end, the first of which is `first`."""
    since = None if planted is None else (first - planted).days + np.arange(float(of_year.size))
    return daily_coefficient(zone, of_year, since)


@dataclass(frozen=True)
class _Past:
    """Pasts of several kinds of ground on one calendar, (ground, 1, day); nothing happens outside a station's record.

    `windows` (window,) are the positions of today's calendar day in earlier years, `counts` (ground, window) is True
    where the station's record had run for a year by then.
    """

    et: Floats
    rain: Floats
    coefficient: Floats
    windows: NDArray[np.int64]
    counts: NDArray[np.bool_]

    @classmethod
    def of(cls, on: date, keys: list[_Key], weather: list[_Weather], zones: list[RootZone]) -> _Past:
        """Lay the pasts out side by side."""
        first = min(w.start for w in weather)
        begins = [(w.start - first).days for w in weather]
        days = max(b + w.et.size for b, w in zip(begins, weather, strict=True))
        et, rain, coefficient = (np.full((len(keys), days), fill) for fill in (np.nan, np.nan, 0.0))
        years = range(first.year + 1, on.year)
        windows = np.array([(same_day(on, year) - first).days for year in years], dtype=np.int64)
        counts = np.zeros((len(keys), len(windows)), bool)
        for i, (key, w, begin, zone) in enumerate(zip(keys, weather, begins, zones, strict=True)):
            own = slice(begin, begin + w.et.size)
            et[i, own], rain[i, own] = w.et, w.rain
            of_year, _ = calendar(w.start, w.et.size)
            coefficient[i, own] = _coefficient(zone, of_year, w.start, key[3])
            counts[i] = (np.array(years) > w.start.year) & (windows + AHEAD <= own.stop)
        return cls(et[:, None], rain[:, None], coefficient[:, None], windows, counts)


def _rows(table: Table, context: Context) -> list[_Row]:
    out, facts = context.outlook, context.facts
    none = np.full(out.draws, np.nan)
    told = percent_of_normal(table.number("rain"), table.number("normal"))
    if out.windows is None:
        return [_Row(None, None, none, float(p), np.nan) for p in told]
    stations = out.windows.stations
    at = out.station_rows(table.text("station"))
    standing = {k: _standing_at(context, stations[k]) for k in dict.fromkeys(at.tolist())}
    planted = [None if np.isnat(d) else d.item() for d in table.date("planting_date")]
    keys: list[_Key] = [
        (int(k), str(c), str(s), None if not _is_sown(facts, str(c)) else p, float(w))
        for k, c, s, p, w in zip(
            at, table.text("crop"), table.text("soil"), planted, np.nan_to_num(table.number("soil_water"), nan=-1.0),
            strict=True,
        )
    ]  # fmt: skip
    grounds = _grounds(context, list(dict.fromkeys(keys)))
    rows = []
    soil_draw, years = out.uniform("water held by the soil"), out.year_of_draw
    for i, key in enumerate(keys):
        rain = standing[key[0]]
        main = rain.spans[MAIN]
        percent = told[i] if np.isfinite(told[i]) else main.stands.percent
        lack = "" if np.isfinite(main.stands.amount) else _lack(out.records[stations[key[0]]], context.on, main)
        ground = None if lack and key[4] < 0 else grounds[key]  # without the last days a balance needs a probe
        growth = none if ground is None else _between_soils(ground.growth[:, years], soil_draw)
        rows.append(_Row(rain, ground, growth, float(percent), float(drought.percentile_of(main.index)), lack))
    return rows


def _lack(record: StationDays, on: date, span: RainStanding) -> str:
    return record.lack_told(on, span.days, span.missing)


def _between_soils(growth: Floats, draw: Floats) -> Floats:
    """(draw,) growth between that on the soil holding least, the middle one and the one holding most, by a draw."""
    lower, upper = growth[0] + 2 * draw * (growth[1] - growth[0]), growth[1] + (2 * draw - 1) * (growth[2] - growth[1])
    return np.asarray(np.where(draw < 0.5, lower, upper), dtype=np.float64)


def _is_sown(facts: Any, crop: str) -> bool:
    """True where the crop's coefficients follow its planting date."""
    return bool(root_zone(facts, crop).stages)


def answer(table: Table, context: Context) -> Answers:
    """Feed for the likely shortage now, or wait."""
    rows = _rows(table, context)
    growth = np.stack([r.growth for r in rows])
    known = ~np.isnan(growth).any(axis=1)
    short = np.maximum(1 - np.where(np.isnan(growth), 1.0, growth), 0.0)  # share of usual forage
    tons = np.nan_to_num(table.number("forage"))[:, None] * short / 2000
    price = np.nan_to_num(table.number("price"))[:, None]
    later = price * context.outlook.price_ratio("grass hay", [AHEAD])[:, 0]
    likely = np.median(tons, axis=1)[:, None]
    left_over = np.maximum(likely - tons, 0.0) * later
    buy = -(likely * price + np.maximum(tons - likely, 0.0) * later - left_over)
    decision = decide(np.stack([buy, -tons * later], axis=2), risk_aversion=context.risk_aversion)
    bounds = context.facts["weather/drought.classes"].column("upper")
    percentile = np.array([r.percentile for r in rows])
    classes = drought.drought_class(percentile, bounds)
    little = context.facts.value("weather/drought.scarce_forage")
    below = np.array([r.percent for r in rows]) < 100 * little
    scarce = known & (np.median(np.where(np.isnan(growth), 1.0, growth), axis=1) < little)
    verdict = np.where(scarce & (classes >= 1), ACT, np.where(scarce | (classes >= 0) | (~known & below), LOOK, WAIT))
    words = _Words(table, context, rows, classes, growth, verdict)
    missing = ~known & np.isnan([r.percent for r in rows])
    return Answers(
        table, context, headline=words.headline, because=words.because, options=OPTIONS, decision=decision,
        unit="USD/ac", verdict=verdict.astype(np.int8), act_by=np.where(verdict == ACT, words.days_to_stress(), -1),
        look_by=np.where(verdict == LOOK, 14, -1), quantities=_quantities(rows, classes, little), missing=missing,
        missing_headline=words.missing_headline,
        cautions=(
            "One station's index is not the Drought Monitor's map, which experts blend from many.",
            "Forage short of water can hold nitrate or prussic acid: test before it is grazed or fed.",
        ),
    )  # fmt: skip


def _left(row: Any) -> float:
    """Share of the root zone's water that is left, in the middle soil."""
    return float(1 - row.ground.depletion_today[1] / row.ground.zone.available)


def _quantities(rows: list[_Row], classes: NDArray[np.int64], little: float) -> dict[str, tuple[Any, str]]:
    def of(value: Any) -> Floats:
        return np.array([np.nan if r.standing is None or r.ground is None else float(value(r)) for r in rows])

    found: dict[str, tuple[Any, str]] = {}
    for days in SPANS:
        found[f"rain_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].stands.amount / _INCH), "inch")
        found[f"percent_of_normal_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].stands.percent), "%")
        found[f"precipitation_index_{days}_days"] = (of(lambda r, d=days: r.standing.spans[d].index), "1")
    percent = np.array([r.percent for r in rows])
    known = ~np.isnan([r.percentile for r in rows])
    names = np.array([f"D{c}" if c >= 0 else "none" for c in classes])
    return {
        "percent_of_normal": (percent, "%"),
        **found,
        "drought_class": (np.where(known, names, ""), ""),
        "departure_90_days": (of(lambda r: r.standing.spans[MAIN].stands.departure / _INCH), "inch"),
        "missing_days_90": (of(lambda r: r.standing.spans[MAIN].missing), "day"),
        "dry_days_in_a_row": (of(lambda r: r.standing.dry_now), "day"),
        "days_since_soaking_rain": (of(lambda r: r.standing.since_soaking), "day"),
        "soil_water_left": (of(_left), "1"),
        "soil_water_capacity": (of(lambda r: r.ground.zone.available / _INCH), "inch"),
        "forage_growth_60_days": (of(lambda r: np.median(r.growth)), "1"),
        "forage_growth_poor_year": (of(lambda r: np.quantile(r.growth, 0.1)), "1"),
        "chance_of_scarce_forage": (of(lambda r: (r.growth < little).mean()), "1"),
    }


@dataclass(frozen=True)
class _Words:
    """Sentences by row."""

    table: Table
    context: Context
    rows: list[_Row]
    classes: NDArray[np.int64]
    growth: Floats
    verdict: NDArray[np.int64]

    def days_to_stress(self) -> NDArray[np.int64]:
        """(place,) days until the middle future has used its readily available water; 14 where not within that."""
        found = np.full(len(self.rows), 14, dtype=np.int64)
        for i, row in enumerate(self.rows):
            if row.ground is not None:
                zone = row.ground.zone
                dry = np.median(row.ground.depletion[1], axis=0) > zone.fraction * zone.available
                found[i] = min(int(np.argmax(dry)) if dry.any() else 14, 14)
        return found

    def missing_headline(self, i: int) -> str:
        if self.rows[i].lack:
            return f"Take the newest days of weather in: {self.rows[i].lack}."
        return "No station record on file and no rain with its normal given."

    def headline(self, i: int) -> str:
        r = self.rows[i]
        if r.standing is None or r.ground is None:
            span = self.table.number("span")[i]
            rain = f"Rain is {r.percent:.0f} % of normal over {span:.0f} days"
            return f"{rain}; soil water and forage are not drawn: {r.lack or 'no station is on file'}."
        main = r.standing.spans[MAIN].stands
        name = f", {self._name(i)}" if self.classes[i] >= 0 else ""
        rain = f"{main.amount / _INCH:.1f} in of rain in {MAIN} days, {main.percent:.0f} % of normal{name}"
        look = " Measure the grass and the hay on hand." if self.verdict[i] == LOOK else ""
        return (
            f"{'Rain is not known' if r.lack else rain}; {100 * _left(r):.0f} % of the root zone's water is left, and "
            f"forage of the next {AHEAD} days is likely {100 * np.median(r.growth):.0f} % of usual.{look}"
        )

    def _name(self, i: int) -> str:
        row = self.context.facts["weather/drought.classes"].rows[int(self.classes[i])]
        return f"{row[0]} ({row[1]}) by the station's own percentile"

    def because(self, i: int) -> list[str]:
        r = self.rows[i]
        if r.standing is None or r.ground is None:
            return ["Percent of normal does not compare across months, and says little where normal is near nothing."]
        out = [f"Take the newest days of weather in: {r.lack}."] if r.lack else []
        for days, span in r.standing.spans.items():
            s = span.stands
            if np.isnan(s.amount):
                out.append(f"{days} days: not known, {span.missing} days are missing.")
                continue
            out.append(
                f"{days} days: {s.amount / _INCH:.1f} in against {s.normal / _INCH:.1f} in normal of {s.years} years "
                f"({s.departure / _INCH:+.1f} in); index {span.index:.1f}; {span.missing} days missing."
            )
        out.append(
            f"{r.standing.dry_now} days in a row without rain to speak of; the balance ran over the whole record with "
            f"{r.ground.missing} days missing."
        )
        out += [f"Assumed: {words}." for words in r.ground.zone.assumed]
        out += [f"Doubt: {words}." for words in r.standing.quality]
        out += list(self.context.outlook.notes[:1])
        if self.classes[i] >= 0:
            impact = self.context.facts["weather/drought.impacts"].rows[int(self.classes[i])][1]
            out.append(f"Such dryness means: {impact}.")
        if not (self.table.known("forage")[i] and self.table.known("price")[i]):
            out.append("No money is put on forage: give forage and price.")
        return out


QUESTION = Question(
    name="rain-deficit", room="weather", title="How short of water is this ground, and what will it grow?",
    about="Rain of the last month to year against the station's own past, the water left in the root zone, the drought "
    "class of the station's percentile, and the forage that the coming 60 days are likely to grow.",
    inputs=INPUTS, answer=answer,
    places=Places(kinds=("pasture", "field"), crops=("native grass", "rotated pasture", "bermudagrass", "alfalfa",
                                                     "forage sorghum", "sudangrass", "millet")),
    size="acres", check=_check, options_count=len(OPTIONS), apart=("soil?",),
    limits="Growth is taken as proportional to transpiration; evapotranspiration from temperature and the usual wind "
    "and humidity.",
)  # fmt: skip
