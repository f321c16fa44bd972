"""May this sorghum, sudan or johnsongrass be grazed now? A case of may it be fed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.families.may_it_be_fed import Case, Way, problem_of
from sideoats.forage import grazed_nitrate, grazing, prussic, stock
from sideoats.forage.ahead import ahead
from sideoats.forage.graze_asked import check_standing
from sideoats.forage.graze_dangers import Told
from sideoats.problem import Problem
from sideoats.question import Context, Places, Question, Table
from sideoats.vocabulary import see

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
NAME = "graze-prussic"
_WEEK = 7
INPUTS = (
    see("forage_look.species", needed=True, also=("place.crop",)),
    *(see(f"forage_look.{name}") for name in ("height", "new_shoots", "shoot_height", "frost")),
    see("graze-prussic.days_since_frost"),
    see("forage_look.frost_date"),
    see("forage_look.drought_rain"),
    see("graze-prussic.days_since_rain"),
    *(see(f"forage_look.{name}") for name in ("rain_date", "stress", "nitrogen", *grazed_nitrate.FIELDS)),
    *(see(f"forage_look.{name}") for name in ("hcn", "hcn_basis", "moisture")),
    see("graze-prussic.preset", absent="the district's choice"),
    see("forecast.days", name="forecast", absent="the station's past years"),
    see("place.turnout"),
    see("place.class", default="unknown"),
    see("place.weight"),
    see("graze-prussic.price"),
    see("place.station"),
)
SPECIES = INPUTS[0].choices


def pose(table: Table, context: Context) -> Problem:
    """Grazing, keeping them off, or a test, counted over the hay fed until every wait has run."""
    facts = context.facts
    j = grazing.judge(table, context)
    ways, day = _ways(table, context, j)
    told = Told(table, context, j, day)
    within = dict(facts["forage/look_within"].rows)
    return problem_of(
        Case(
            NAME,
            "USD/head",
            ways,
            "wait",
            told.dangers(),
            begins=np.full(len(table), np.nan),
            look_within=told.look_within(int(within["before turnout"])),
            recheck=np.full(len(table), int(within["usual"])),
            delay=np.stack([_WEEK * day, np.zeros_like(day), np.zeros_like(day)], axis=1),
            heads=told.heads(),
            values=told.values(),
            reasons=told.reasons(),
            cautions=told.cautions(),
            quantities=_quantities(context, j),
        )
    )


def _ways(table: Table, context: Context, j: grazing.Judged) -> tuple[tuple[Way, ...], Floats]:
    """Money a head over keeping them off with hay until every wait has run, and the hay of one day."""
    facts, out = context.facts, context.outlook
    usual = stock.by_class(facts["forage/body_weight"], list(table.text("class")), "weight")
    weight = np.where(table.known("weight"), table.number("weight"), usual)
    price = np.where(table.known("price"), table.number("price"), facts.value("forage/hay.price"))
    day = price * weight * facts.value("forage/hay.intake_share") / facts.value("forage/hay.dry_matter") / 2000
    moves = day[:, None] * out.price_ratio("grass hay", [14])[:, 0]
    days = np.maximum(j.days, 1.0)[:, None]
    answered = np.maximum(days, out.between("laboratory days", *facts.span("forage/hay.laboratory_days")))
    ways = (
        Way("graze", moves * days),
        Way("wait", np.zeros_like(moves), passive=True),
        Way("test", moves * (days - answered)),  # a laboratory lifts no wait
    )
    return ways, day


def _quantities(context: Context, j: grazing.Judged) -> dict[str, Any]:
    def label(ladder: str) -> NDArray[np.object_]:
        held = prussic.Ladder.of(context.facts[f"forage/prussic_class.{ladder}"])
        return np.array([*held.labels, ""], dtype=object)[j.ladders[ladder]]

    return {
        "height_needed": (j.standing.height_needed, "in"),
        "days_to_wait": (j.days, "day"),
        "days_since_frost": (j.frost_age, "day"),
        "days_since_drought_breaking_rain": (j.rain_age, "day"),
        "species_risk": (np.array(j.risk, dtype=object), ""),
        "nitrate_nitrogen_dry": (j.nitrate.level, "ppm"),
        "hcn_ward_wet": (label("ward_wet"), ""),
        "hcn_guides_dry": (label("guides_dry"), ""),
    }


def _in_season(table: Table, context: Context) -> Bools:
    """Where somebody looked or cattle are to go on; forage crops after frost, before a likely one, in a drought and
    after the rain that ended it."""
    comes = ahead(table, context)
    (frost, _), (rain, _) = grazing.ages(table, context).values()
    forage = np.array([str(s) in SPECIES and str(s) not in _GRAIN for s in table.text("species")], dtype=bool)
    looked = table.known("height") | table.known("new_shoots")
    winter = context.region.holds("frozen", context.on)
    found = ~np.isnan(frost) | ~np.isnan(rain) | comes.dry | (~np.isnan(comes.frost) & (not winter))
    return np.asarray(looked | comes.near | (forage & found))


_GRAIN = ("corn", "grain sorghum", "small grains")  # grown for grain: somebody who means to graze one looks at it
QUESTION = Question(
    name=NAME,
    room="forage",
    inputs=INPUTS,
    pose=pose,
    check=check_standing,
    places=Places(kinds=("field", "pasture"), crops=(*SPECIES, "millet")),
    in_season=_in_season,
    options_count=3,
    apart=("nitrate?", "hcn?"),
)
