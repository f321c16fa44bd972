"""What does this soil test slip ask for: phosphorus, potassium, lime?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sideoats.call import ACT, LOOK, WAIT
from sideoats.errors import InputError
from sideoats.question import Answers, Context, Places, Question, Table
from sideoats.schema import Field
from sideoats.wheat import fertility
from sideoats.wheat.questions import _common as w

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
_S = "evidence:soil_test."
_CALIBRATED = ("Mehlich-3", "Bray-1")
INPUTS = (
    w.YIELD,
    Field("phosphorus", "number", "phosphorus, ppm, with its extractant", bare=True, low=0, high=500,
          found_in=(_S + "phosphorus",)),
    Field("extractant", "choice", "how phosphorus was extracted", choices=fertility.EXTRACTANTS,
          found_in=(_S + "extractant",), aliases={"mehlich 3": "Mehlich-3", "bray": "Bray-1", "bray p1": "Bray-1"}),
    Field("potassium", "number", "exchangeable potassium, ppm", bare=True, low=0, high=3000,
          found_in=(_S + "potassium",)),
    Field("ph", "number", "soil pH in water", bare=True, low=3, high=10, found_in=(_S + "ph",)),
    Field("aluminum", "number", "KCl-extractable aluminum, ppm", bare=True, low=0, high=1000,
          found_in=(_S + "aluminum",)),
    Field("lime_need", "number", "effective calcium carbonate that the slip asks for", unit="lb/ac", low=0, high=40_000,
          found_in=(_S + "lime_need",)),
    Field("lime_content", "share", "effective calcium carbonate in the lime on offer", low=0.05),
    Field("no_till", "flag", "lime stays in the top 3 in", default=False),
    Field("phosphate_price", "number", "price of a pound of P2O5", unit="USD/lb", low=0, high=10),
    Field("product_price", "number", "price of DAP, instead", unit="USD/ton", low=50, high=5000),
    Field("nitrogen_price", "number", "price of a pound of nitrogen, to value DAP's nitrogen", unit="USD/lb", low=0.05,
          high=5, found_in=("setting:price.nitrogen",)),
    w.PLANTING, w.ACRES,
)  # fmt: skip


def _check(values: dict[str, Any]) -> None:
    if all(values[k] is None for k in ("phosphorus", "potassium", "ph")):
        raise InputError(
            "no test is given", where="soil-test", expected="phosphorus= with extractant=, potassium= or ph="
        )
    if values["phosphorus"] is not None and values["extractant"] not in _CALIBRATED:
        raise InputError(
            f"phosphorus by {values['extractant'] or 'an unnamed extractant'}", where="soil-test extractant",
            expected=" or "
            "".join(_CALIBRATED), todo="use a table made for that extractant; the numbers are not exchanged",
        )  # fmt: skip
    if values["product_price"] is not None and values["nitrogen_price"] is None:
        raise InputError(
            "is missing", where="soil-test nitrogen_price", expected="such as 0.60 USD/lb, to value DAP's nitrogen"
        )


def _phosphate_price(table: Table, context: Context) -> Floats:
    given = table.number("phosphate_price")
    if not table.known("product_price").any():
        return given
    rows = {str(r[0]): r for r in context.facts["wheat/fertiliser.analysis"].rows}
    nitrogen, phosphate = float(rows["DAP"][1]), float(rows["DAP"][2])
    price = fertility.phosphate_price(
        table.number("product_price"), nitrogen, phosphate, table.number("nitrogen_price")
    )
    return np.where(np.isnan(given), price, given)


def answer(table: Table, context: Context) -> Answers:
    """Rates of P2O5, K2O and lime material by the Kansas sufficiency equations, and the P2O5 bill."""
    facts = context.facts
    goal = table.number("yield")
    usable = np.isin(table.text("extractant").astype(str), _CALIBRATED)
    level = np.where(usable, table.number("phosphorus"), np.nan)
    critical_p = facts.value("wheat/phosphorus.kansas.critical")
    phosphate = fertility.build_and_feed(facts["wheat/phosphorus.kansas.equation"], critical_p, goal, level)
    critical_k = facts.value("wheat/potassium.kansas.critical")
    potash = fertility.build_and_feed(
        facts["wheat/potassium.kansas.equation"], critical_k, goal, table.number("potassium")
    )
    line = facts.value("wheat/lime.ph")
    acid = table.number("ph") < line
    toxic = acid & ~(table.number("aluminum") < facts.value("wheat/lime.aluminum"))
    on_top = table.flag("no_till")
    share = np.where(on_top, facts.value("wheat/lime.surface_share"), 1.0) if on_top.any() else np.ones(len(table))
    lime = fertility.lime_rate(table.number("lime_need"), 100 * table.number("lime_content"), share)
    price = _phosphate_price(table, context)
    tested = table.known("phosphorus") | table.known("potassium") | table.known("ph")
    missing = ~tested | np.isnan(goal) | (table.known("phosphorus") & ~usable)
    short = (np.nan_to_num(phosphate) > 0) | (np.nan_to_num(potash) > 0) | toxic
    until = table.days_until("planting_date", context.on)
    sown = until < 0
    due = ~(until > w.DUE_DAYS) & ~sown  # without a date of sowing it is asked before the spreader: today
    return Answers(
        table, context, unit="USD/ac", headline=_headline(context, phosphate, potash, lime, toxic, until),
        because=_because(table, critical_p, critical_k, acid, line),
        verdict=np.where(missing, LOOK, np.where(short & due, ACT, WAIT)).astype(np.int8),
        act_by=np.where(short & due, np.nan_to_num(until), -1).astype(np.int64),
        quantities={
            "phosphate": (phosphate, "lb/ac"), "potash": (potash, "lb/ac"), "lime_material": (lime, "lb/ac"),
            "phosphate_price": (price, "USD/lb"), "phosphate_cost": (phosphate * price, "USD/ac"),
        },
        missing=missing,
        missing_headline="A test with its extractant (Mehlich-3 or Bray-1 for phosphorus) and the expected yield are "
        "needed.",
        cautions=(
            "These coefficients are from memory: check them against the laboratory's own sheet before a field depends "
            "on "
            "them.",
            "Seed-placed fertiliser can burn seedlings: keep to the limits of the drill and the product.",
            "Wear goggles and gloves with lime and fertiliser; keep both away from water.",
        ),
    )  # fmt: skip


def _headline(
    context: Context, phosphate: Floats, potash: Floats, lime: Floats, toxic: Bools, until: Floats
) -> Callable[[int], str]:
    def text(i: int) -> str:
        parts = []
        if phosphate[i] > 0:
            parts.append(f"{phosphate[i]:.0f} lb/ac of P2O5")
        if potash[i] > 0:
            parts.append(f"{potash[i]:.0f} lb/ac of K2O")
        if toxic[i]:
            parts.append(f"lime, {lime[i]:,.0f} lb/ac of this material" if np.isfinite(lime[i]) else "lime")
        if not parts:
            return "Phosphorus, potassium and pH need nothing here."
        day = f" before sowing on {w.shown_day(context, until[i])}" if until[i] >= 0 else ""
        late = " The sowing day given is past: what belongs into the soil goes in before the next crop."
        return "This slip asks for " + " and ".join(parts) + day + "." + (late if until[i] < 0 else "")

    return text


def _because(
    table: Table, critical_p: float, critical_k: float, acid: Bools, line: float
) -> Callable[[int], list[str]]:
    def text(i: int) -> list[str]:
        out = []
        if table.known("phosphorus")[i]:
            out.append(
                f"Phosphorus {table.number('phosphorus')[i]:.0f} ppm by {table.text('extractant')[i]} against "
                f"{critical_p:.0f} ppm; "
                "another extractant has other numbers."
            )
        if table.known("potassium")[i]:
            out.append(f"Potassium {table.number('potassium')[i]:.0f} ppm against {critical_k:.0f} ppm.")
        if acid[i]:
            out.append(
                f"pH {table.number('ph')[i]:.1f} is below {line:.1f}: wheat is at risk where aluminum is high"
                + ("." if table.known("aluminum")[i] else "; aluminum was not tested and is taken as high.")
            )
            out.append("Phosphorus banded with the seed is a stop-gap on acid soil, not a cure.")
        return out

    return text


QUESTION = Question(
    name="soil-test", room="wheat", title="What does this soil test ask for?",
    about="Phosphate, potash and lime for wheat from a soil test slip, bound to the extractant, with what the "
    "phosphate costs.",
    inputs=INPUTS, answer=answer, places=Places(kinds=("field",), crops=w.CROPS), size="acres", check=_check,
    in_season=lambda table, context: (
        (table.known("phosphorus") | table.known("potassium") | table.known("ph"))
        & (table.days_until("planting_date", context.on) >= 0) & (table.days_until("planting_date", context.on) <= 45)
    ),
    limits="Kansas sufficiency equations only, from memory. Nitrogen is topdress-nitrogen and soil-sampling.",
)  # fmt: skip
