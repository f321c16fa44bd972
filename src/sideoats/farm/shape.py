"""A farm's plan as JSON: money in USD, calls by their ids."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from sideoats.farm.plan import FarmPlan, district_sum
from sideoats.farm.ways import Way

SCHEMA_VERSION = 1


def _acts(way: Way) -> list[dict[str, Any]]:
    return [
        {"call": s.call.full()["id"], "question": s.call.question, "place": s.call.place, "option": s.keys[at]}
        for s, at in way.taken
    ]


def shape_of(plan: FarmPlan) -> dict[str, Any]:
    """One farm."""
    m = plan.months
    return {
        "schema_version": SCHEMA_VERSION,
        "farm": plan.farm,
        "name": plan.name,
        "on": plan.on.isoformat(),
        "seed": plan.seed,
        "unit": "USD",
        "acts": [
            {"acts": _acts(w), "gain": round(float(w.money.mean())), "uses": dict(w.uses)} for _, w in plan.taken()
        ],
        "plan": plan.plan.full(),
        "nothing": plan.nothing.full(),
        "certainty_equivalent": round(plan.best.certain),
        "floor": plan.floor,
        "added_call_by_call_low": round(plan.apart),
        "limits": dict(plan.limits),
        "shadow_prices": [
            {"limit": s.limit, "have": s.have, "used": s.used, "more": s.more, "gain": round(s.gain)}
            for s in plan.shadows
        ],
        "given_up": [
            {"would": _acts(free), "does": _acts(own), "gain": round(float(free.money.mean() - own.money.mean()))}
            for _, free, own in plan.given_up()
        ],
        "counted_once": [
            *({"place": place, "questions": list(who), "same_money": round(x)} for who, place, x in plan.twice),
            *(
                {
                    "place": b.stakes[0].call.place,
                    "questions": [s.call.question for s, _ in w.taken],
                    "one_pass": round(b.saved(w)),
                }
                for b, w in plan.taken()
                if len(w.taken) > 1
            ),
        ],
        "hay_promised_twice": None if np.isnan(plan.hay_twice) else round(plan.hay_twice, 1),
        "cash_by_month": [
            {"month": f"{day:%Y-%m}", "moved": round(m.moved[at]), "left": round(m.left[at]) if m.left else None}
            for at, day in enumerate(m.first)
        ],
        "undated": round(m.undated),
        "futures": [
            {
                "level": f.level,
                "draw": f.draw,
                "named": [{"what": n, "deviations": round(x, 2)} for n, x in f.named],
                "plan": round(f.plan),
                "nothing": round(f.nothing),
                "calls": [{"place": p, "question": q, "money": round(x)} for p, q, x in f.by],
            }
            for f in plan.futures
        ],
        "first": [
            {"call": c.full()["id"], "question": c.question, "place": c.place, "verdict": c.verdict} for c in plan.first
        ],
        "not_summed": [
            {"call": c.full()["id"], "question": c.question, "place": c.place, "why": why} for c, why in plan.left_out
        ],
    }


def district_shape(plans: Sequence[FarmPlan]) -> dict[str, Any]:
    """Every farm, and their sum draw by draw."""
    whole, nothing = district_sum(plans)
    return {
        "schema_version": SCHEMA_VERSION,
        "farms": [shape_of(p) for p in plans],
        "plan": whole.full(),
        "nothing": nothing.full(),
    }
