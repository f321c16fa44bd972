"""What keeps a lot of hay from being cleared for its animals, beside the tables' lines: the sample, its age, the water,
a standing crop, animals that no table is for."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from sideoats.facts import Facts
from sideoats.forage import stock
from sideoats.forage.grazed_nitrate import speaks
from sideoats.forage.judge import Judgement, Lots
from sideoats.forage.nitrate_tables import water_lines
from sideoats.forage.slips import Pooled
from sideoats.forage.sorghums import is_sorghum
from sideoats.question import Context, Table
from sideoats.records import dataclass

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Clearing:
    """Masks (n,) of lots.

    Attributes
    ----------
    missing : no result that can be read
    unread : another slip of the lot cannot be read
    aged : the sample of a standing crop is older than the days for which it speaks
    stale : the newest test is older than another cutting may be, and nobody says when this hay was put up
    earlier : the newest test is older than the hay itself
    again : sampled long after it was put up, or nobody knows when that was, and whether another test of the lot was
        higher is not said
    torn : a slip's form and basis are told and not its number, though other tests are
    water_torn : the form of the water's result is told and not its number
    unnamed : forage of the sorghum family, and nobody says what would eat it
    small : the sample is too small for the lot, or nobody says how large it was, and no line is crossed
    must_grind : a hot bale, tested or credible, of a lot that is sampled well: only grinding would do
    standing, silage : what was sampled; neither is fed by the bale
    horse, not_cattle : animals that no table here is for
    horse_stop : horses and the sorghum family, or a level over what is called safe for them
    water_stop, water_caution : the water alone is in the top class of a ladder that was read, or cautioned by one
    not_alone : over the line for the only feed, of cattle, sheep and goats
    """

    missing: Bools
    unread: Bools
    aged: Bools
    stale: Bools
    earlier: Bools
    again: Bools
    torn: Bools
    water_torn: Bools
    unnamed: Bools
    small: Bools
    must_grind: Bools
    standing: Bools
    silage: Bools
    horse: Bools
    not_cattle: Bools
    horse_stop: Bools
    water_stop: Bools
    water_caution: Bools
    not_alone: Bools
    over_bale: Bools
    not_lowest: Bools

    @property
    def stop(self) -> Bools:
        """A hazard is over its line."""
        return self.not_alone | self.over_bale | self.horse_stop | self.water_stop

    @property
    def look(self) -> Bools:
        """Something must be asked or measured before the lot is cleared, whatever its level."""
        standing = self.standing & self.not_lowest  # the classes are for hay: above the lowest they clear no grazing
        asked = (
            self.unread
            | self.aged
            | self.stale
            | self.earlier
            | self.again
            | self.torn
            | self.water_torn
            | self.unnamed
        )
        return asked | self.water_caution | self.not_cattle | standing


def _far_below(known: Lots, j: Judgement, facts: Facts) -> Bools:
    """True where a lot that is sampled well lies so far under every line, that for its only feed too, that no other
    fair sample of it was over one: twice as far as the hottest and the coolest bale of the published lot lay apart.
    """
    _, lowest, highest, _ = facts["forage/lot.spread"].rows[0]
    line = np.fmin(j.never, j.ruling.ceiling)
    return np.asarray(~j.few & (known.level * 2 * float(highest) / float(lowest) < line), dtype=bool)


def sure_days(context: Context) -> float:
    """Days back from which a test is of the hay that lies there now, where nobody says when that was put up: a feeding
    season, and no longer than another cutting could not have been made and put up under the same name.
    """
    days = dict(context.facts["forage/lot.days"].rows)
    season, cutting = float(days["feeding_season"]), float(days["cutting"])
    back = np.arange(int(season) + 1)
    haying = np.array(
        [context.region.holds("haying", context.on - timedelta(days=int(day))) for day in back], dtype=bool
    )
    return float(np.minimum(season, np.searchsorted(np.cumsum(haying), cutting)))


def clearing(table: Table, known: Lots, pooled: Pooled, j: Judgement, context: Context) -> Clearing:
    """All of it, from what is known, told and judged of each lot."""
    facts = context.facts
    missing = np.isnan(known.level)
    states = np.array(known.states, dtype=object)
    standing, silage = np.asarray(states == "standing"), np.asarray(states == "silage")
    animals = np.array([str(a) for a in known.animals], dtype=object)
    horse = np.asarray(animals == "horse")
    sorghum = np.array([is_sorghum(facts, str(hay)) for hay in table.text("hay")], dtype=bool)
    over = known.level >= facts.value("forage/not_cattle.horses")
    caution, top = water_lines(facts)
    put_up = -table.days_until("baled", context.on)  # days since, NaN where not known
    same_hay = pooled.age <= put_up
    earlier = pooled.age > put_up
    # a standing crop is neither put up nor keeps what it held
    aged = standing & (pooled.age > speaks(facts)[0])
    stale = (pooled.age > sure_days(context)) & ~same_hay & ~earlier & ~standing
    told_all = table.known("tests") | table.flag("only_test") | known.every_bale
    at_baling = put_up - pooled.age <= float(
        dict(facts["forage/lot.days"].rows)["first_test"]
    )  # days from baling to the sample
    others = table.known("only_test") & ~table.flag("only_test")
    earlier, others = earlier & ~standing, others & ~standing
    again = (
        np.isfinite(pooled.age) & ~at_baling & ~stale & ~earlier & ~standing & ~(same_hay & _far_below(known, j, facts))
    ) | others
    not_alone = j.not_alone & ~horse & ~missing
    return Clearing(
        missing=missing,
        unread=np.array([u is not None for u in pooled.unread], dtype=bool) & ~missing,
        aged=aged & ~missing,
        stale=stale & ~missing,
        earlier=earlier & ~missing,
        again=again & ~told_all & ~missing,
        torn=table.known("tests") & ~table.known("result") & ~table.known("single_bales") & ~missing,
        water_torn=table.known("water_form") & ~table.known("water") & ~missing,
        unnamed=sorghum & np.isin(animals, ("", "unknown")) & ~missing,
        small=j.few & ~not_alone & ~j.over_bale,
        must_grind=j.unsettled & ~j.few & np.isnan(j.more_bales) & np.isfinite(known.bales) & ~standing & ~silage,
        standing=standing,
        silage=silage,
        horse=horse,
        not_cattle=np.isin(animals, stock.NOT_CATTLE),
        horse_stop=horse & (sorghum | over),
        water_stop=known.water >= top,
        water_caution=known.water >= caution,
        not_alone=not_alone,
        over_bale=j.over_bale & ~missing,
        not_lowest=~j.lowest,
    )
