"""What can hurt animals on standing sorghum, millet, corn or small grain, and what has to be asked; by code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.may_it_be_fed import Danger, doubted, first_of, in_doubt, rest_of
from sideoats.forage import citing
from sideoats.forage.cautions import EMERGENCY
from sideoats.forage.grazed_nitrate import dated, sample_age, speaks
from sideoats.forage.grazing import TOLD, Judged, preset_of, shoots_seen
from sideoats.problem import RowSaid
from sideoats.question import Context, Table
from sideoats.words import Day, Measured, Name, Paid, Parts, Said, Share, Term, say

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
GRAZE = ("graze",)
_F = "forage_look."
_QUOTED = (*citing.PRUSSIC, "prussic.frost_night", "prussic.in_drought", "drying_loss", "suspect_when")


def _say(code: str, **values: Any) -> Said:
    return say(f"graze-prussic.{code}", **values)


@dataclass(frozen=True)
class Told:
    """A batch of fields as its sentences need it; `day` is what a day off the pasture costs [USD/head]."""

    table: Table
    context: Context
    j: Judged
    day: Floats

    def dangers(self) -> tuple[Danger, ...]:
        """Made once."""
        return self._dangers

    @cached_property
    def _dangers(self) -> tuple[Danger, ...]:
        """What stands in the way makes one headline with all its reasons; then what is asked."""
        j, again = self.j, self._again()
        over = np.logical_or.reduce([rows for rows, _ in self._standing()]) & ~j.horses
        whole = Danger("barred", over, GRAZE, self.why, values={"when": self._when, "test": self._test}, again=again)
        return (
            Danger("horses", j.horses, GRAZE, _say("why.horses")),
            whole,
            doubted("frost", "forecast.days", j.coming & (j.ahead.frost <= 1), *GRAZE, until=_say("why.tonight")),
            doubted("frost", "forecast.days", j.coming & (j.ahead.frost > 1)),
            doubted("others", "place.class", j.others, *GRAZE, until=_say("why.others", animals=self._animals())),
            doubted("dated", f"{_F}tested", j.nitrate.undated, *GRAZE, until=_say("why.dated")),
            doubted("suspect", f"{_F}nitrate", j.nitrate.suspect, *GRAZE, until=_say("why.suspect")),
            # a sick animal comes before anything else that is asked of the stand
            doubted("tetany", "pasture_test.signs", j.small_grain & ~j.bloat_alone, *GRAZE, until=_say("why.tetany")),
            doubted("bloat", "pasture_test.signs", j.small_grain & j.bloat_alone, *GRAZE, until=_say("why.bloat")),
            *(doubted("ask", f"{_F}{what}", rows, *GRAZE, until=_say(f"why.{what}")) for what, rows in self._asked()),
            doubted("ask", f"{_F}frost_date", j.frozen, *GRAZE, until=_say("why.frozen")),
            doubted("whose", "place.class", j.unnamed, *GRAZE, until=_say("why.whose")),
            doubted("later", f"{_F}height", j.ahead.turnout > 0, *GRAZE, until=_say("why.later")),
        )

    def look_within(self, usual: int) -> NDArray[np.int64]:
        """(place,) days: before cattle go on, and before the night of a frost."""
        nights = np.where(self.j.coming, self.j.ahead.frost - 1, np.inf)
        goes = np.where(self.j.ahead.turnout > 0, self.j.ahead.turnout - 1, np.where(self.j.coming, np.inf, usual))
        return np.clip(np.fmin(np.fmin(nights, goes), 7), 0, None).astype(np.int64)

    def _again(self) -> NDArray[np.int64]:
        usual = dict(self.context.facts["forage/look_within"].rows)["usual"]
        return np.ceil(np.where(self.j.days > 0, self.j.days, float(usual))).astype(np.int64)

    def _asked(self) -> tuple[tuple[str, Bools], ...]:
        j, table = self.j, self.table
        return (
            ("species", ~table.known("species")),
            ("height", j.risky & np.isnan(j.height)),
            ("new_shoots", j.risky & ~shoots_seen(table)[1]),
            ("frost", j.frost_untold & ~j.frost_misdated),
            ("drought_rain", j.rain_untold & ~j.rain_misdated),
            ("frost_date", j.frost_misdated & np.isnan(j.frost_age)),
            ("rain_date", j.rain_misdated & np.isnan(j.rain_age)),
            ("stress", j.nitrate.stress_untold),
            ("nitrogen", j.nitrate.nitrogen_untold),
            ("nitrate", j.nitrate.torn),
            ("hcn", j.acid_again),
        )

    # what stands in the way, each in a few words

    def _standing(self) -> tuple[tuple[Bools, Any], ...]:
        j, s = self.j, self.j.standing
        short = s.too_short & ~np.isnan(j.height)
        return (
            (s.frost, self._frost),
            (s.shoots, self._shoots),
            (s.rain | (j.nitrate_left > 0), self._rain),
            (j.drought, self._drought),
            (short, self._short),
            (j.toxic | j.acid_unread, self._acid),
            (j.nitrate.over | j.nitrate.unread, self._nitrate),
        )

    def why(self, i: int) -> Said | None:
        """All that bars it."""
        parts = tuple(said(i) for rows, said in self._standing() if rows[i])
        return _say("why.all", why=Parts(parts)) if parts else None

    def _since(self, flag: str, age: float, misdated: bool, i: int) -> Said:
        """How long ago; a day that is not of this growth is asked back."""
        told = any(self.table.known(name)[i] for name in TOLD[flag])
        if self.table.days_until(TOLD[flag][1], self.context.on)[i] > 0:
            return _say(f"why.{flag}.ahead")
        if told and misdated and age == 0:
            return _say(f"why.{flag}.misdated")
        return _say(f"why.{flag}.since", n=round(age)) if told or age > 0 else _say(f"why.{flag}.undated")

    def _frost(self, i: int) -> Said:
        return self._since("frost", float(self.j.frost_age[i]), bool(self.j.frost_misdated[i]), i)

    def _rain(self, i: int) -> Said:
        return self._since("drought_rain", float(self.j.rain_age[i]), bool(self.j.rain_misdated[i]), i)

    def _shoots(self, i: int) -> Said:
        needed, tall = Measured(float(self.j.standing.height_needed[i]), unit="in"), float(self.j.shoots[i])
        if np.isnan(tall):
            return _say("why.shoots.unmeasured", needed=needed)
        return _say("why.shoots.measured", tall=Measured(tall, unit="in"), needed=needed)

    def _drought(self, i: int) -> Said:
        return _say("why.drought")

    def _short(self, i: int) -> Said:
        tall, needed = self.j.height[i], self.j.standing.height_needed[i]
        return _say("why.short", tall=Measured(float(tall), unit="in"), needed=Measured(float(needed), unit="in"))

    def _acid(self, i: int) -> Said:
        return _say("why.acid.over" if self.j.toxic[i] else "why.acid.unread")

    def _nitrate(self, i: int) -> Said:
        level = float(self.j.nitrate.level[i])
        return _say("why.nitrate.over", level=Measured(level, unit="ppm")) if np.isfinite(level) else _say("why.unread")

    def _when(self, i: int) -> Said | None:
        days = float(self.j.days[i])
        return _say("when", n=int(np.ceil(days))) if days > 0 else None

    def _test(self, i: int) -> Said | None:
        if not self.j.drought[i]:
            return None
        clean = (self.table.known("hcn") | self.table.known("nitrate"))[i] and np.isnan(self._sampled[i])
        return _say("test_dated" if clean else "test_first")

    # headlines

    def heads(self) -> tuple[tuple[Bools, str], ...]:
        """What has next to no prussic acid is cleared on its nitrate."""
        plain, tested = ~self.j.risky, self.j.nitrate.low
        return (
            (plain & tested, "graze-prussic.tested.act"),
            (plain & ~tested, "graze-prussic.plain.act"),
            (tested, "graze-prussic.tall_tested.act"),
        )

    def values(self) -> dict[str, Any]:
        """For every headline."""
        return {
            "species": Term(np.array(self.table.text("species"), dtype=object), of="forage_look.species"),
            "animals": self._animals(),
            "days": self._days,
            "tall": Measured(self.j.height, unit="in"),
            "why": self.why,
            "state": self._state,
            **first_of(self.dangers),
            "night": self._night,
            "wait": self._wait,
            "else": self._else,
            "settles": lambda i: None if self._others_first(i) else self._settles(i),
        }

    @property
    def _days(self) -> Measured:
        return Measured(speaks(self.context.facts)[0], unit="day", fact="forage/standing.days")

    @property
    def _sampled(self) -> Floats:
        """(n,) days since the newest of the samples whose day is known."""
        return np.fmin(*(sample_age(self.table, self.context, name) for name in ("hcn", "nitrate")))

    def _animals(self) -> Term:
        return Term(np.array(self.table.text("class"), dtype=object), of="place.class")

    def _state(self, i: int) -> Said | None:
        n = self.j.nitrate
        if not n.suspect[i]:
            return None
        why = "hot" if n.hot_before[i] else "dry" if n.stressed[i] else "heavy"
        return _say(f"state.{why}")

    def _night(self, i: int) -> Said | None:
        """The night of the frost that comes, by the forecast or by the station's past years."""
        ahead, on = self.j.ahead, self.context.on
        if not self.j.coming[i]:
            return None
        day = Day(on + timedelta(days=int(ahead.frost[i])))
        if np.isfinite(ahead.low[i]):
            return _say("night.forecast", day=day, low=Measured(float(ahead.low[i]), unit="degF"))
        way = "dressed" if ahead.dressed[i] else "years"
        return _say(f"night.{way}", day=day, chance=Share(float(ahead.chance[i])))

    def _wait(self, i: int) -> Measured | None:
        _, waits = preset_of(self.table, self.context.facts)
        group = self.j.groups[i]
        return None if group == "none" else Measured(waits.frost_wait[group], unit="day")

    def _else(self, i: int) -> Said | None:
        """How much else is needed before any go on."""
        rest = len(in_doubt(self.dangers(), i)) - 1
        return say("ask.also", n=rest) if rest > 0 else None

    def _others_first(self, i: int) -> bool:
        """Something else than stress and nitrogen is to be found out first."""
        return not set(in_doubt(self.dangers(), i)) <= {f"{_F}stress", f"{_F}nitrogen"}

    def _settles(self, i: int, code: str = "settles") -> Said | None:
        """One nitrate test answers what nobody can say of stress and nitrogen."""
        n = self.j.nitrate
        return _say(code) if n.stress_untold[i] or n.nitrogen_untold[i] else None

    # reasons

    def reasons(self) -> tuple[RowSaid, ...]:
        """In the order in which they are read."""
        facts, j, table = self.context.facts, self.j, self.table
        for quoted in _QUOTED:
            _ = facts[f"forage/{quoted}"]
        species, risk = self.values()["species"], Term(np.array(j.risk, dtype=object), of="prussic_risk")
        shoots = facts["forage/prussic.new_shoots"]
        over = np.logical_or.reduce([rows for rows, _ in self._standing()]) | j.horses
        ahead = {flag: table.days_until(day, self.context.on) > 0 for flag, (_, day) in TOLD.items()}
        day = Paid(np.where(over, np.nan, self.day), unit="USD/head")
        season = Measured(speaks(facts)[1], unit="day", fact="forage/standing.days")
        return (
            rest_of(self.dangers),
            lambda i: self._settles(i, "because.settles") if self._others_first(i) else None,
            _say("because.risk", species=species, risk=risk).where(table.known("species")),
            self._preset,
            self._heights,
            _say("because.new_shoots", days=Measured(shoots.value, unit="day", fact=shoots.id)).where(j.risky),
            _say("because.drought").where(j.risky),
            _say("because.only_nitrate").where(~j.risky),
            _say("because.suspect"),
            _say("because.costs", day=day),
            *(_say(f"because.ahead.{flag}").where(rows) for flag, rows in ahead.items()),
            _say("because.misdated", days=season).where(j.frost_misdated | j.rain_misdated),
            _say("because.frost.untold").where(j.frost_untold),
            _say("because.frost.none").where(np.isnan(j.frost_age) & ~j.frost_untold),
            _say("because.drought_rain.untold").where(j.rain_untold),
            _say("because.drought_rain.none").where(np.isnan(j.rain_age) & ~j.rain_untold),
            _say("because.frozen").where(j.frozen),
            _say("because.dated", days=self._days).where(self._stale()),
            _say("because.record").where(j.nitrate.by_record),
            _say("because.laboratory").where(table.known("hcn")),
            _say("because.level", level=Measured(j.nitrate.level, unit="ppm", fact="forage/grazing.level")),
            _say("because.horses", by=self._by("not_cattle.sorghum")).where(j.horses),
            _say("because.others", by=self._by("not_cattle.others")).where(j.others),
            _say("because.hay").where(j.risky),
            _say("because.sampling").where(j.risky),
        )

    def _stale(self) -> Bools:
        """A clean result that clears nothing."""
        clean = {"hcn": self.table.known("hcn") & ~self.j.toxic, "nitrate": self.table.known("nitrate")}
        over = {"hcn": self.j.acid_again, "nitrate": self.j.nitrate.over | self.j.nitrate.hot_before}
        rows = [clean[name] & ~over[name] & ~dated(self.table, self.context, name) for name in clean]
        return np.asarray(np.logical_or.reduce(rows), dtype=bool)

    def _by(self, name: str) -> Term:
        fact = self.context.facts.by_id[f"forage/{name}"]
        return Term(fact.publisher, fact=fact.id, of="publisher")

    def _preset(self, i: int) -> Said | None:
        j, facts, group = self.j, self.context.facts, self.j.groups[i]
        if group == "none":
            return None
        _, waits = preset_of(self.table, facts)
        printed = facts.by_id["forage/prussic.frost_waits"]
        low, high = np.nanmin(printed.column("light_low")), np.nanmax(printed.column("killing_high"))
        return _say(
            f"because.preset.{j.preset}",
            frost=Measured(waits.frost_wait[group]),
            rain=Measured(waits.rain_wait[group], unit="day"),
            low=Measured(float(low), fact=printed.id),
            high=Measured(float(high), unit="day"),
        )

    def _heights(self, i: int) -> Said | None:
        """Whose height binds this growth, and who prints another."""
        j, group, fact = self.j, self.j.groups[i], self.context.facts.by_id["forage/prussic.heights"]
        if group == "none":
            return None
        growth = "regrowth" if j.shooting[i] else "any"
        rows = [(str(by), float(at)) for by, of, *ends in fact.rows for at in [ends[group == "sorghum"]]
                if of == growth and np.isfinite(at)]  # fmt: skip
        shown = [
            _say("height", by=Name(by), at=Measured(at, unit="in", fact=fact.id))
            for by, at in sorted(rows, key=lambda row: -row[1])
        ]
        return _say(f"because.heights.{growth}", heights=Parts(tuple(shown)))

    def cautions(self) -> tuple[RowSaid, ...]:
        """The emergency lines first."""
        own = (_say(f"care.{code}") for code in ("signs", "shoots", "night", "laboratory"))
        common = (say(f"forage.care.{code}") for code in ("stays", "cattle_only"))
        return (*(say(f"forage.care.{code}") for code in EMERGENCY), *own, *common)
