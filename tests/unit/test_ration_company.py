"""Many herds at once: none moves another's last figure; what the rumen and the hazards bear holds for all of them."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pytest

from sideoats.asking import table_of
from sideoats.cattle import ration_case as case
from sideoats.facts import load
from sideoats.outlook.draws import make_outlook
from sideoats.question import Context, find
from sideoats.schema import read_all

ON, QUESTION, FACTS = date(2026, 11, 10), find("ration"), load()
FEEDS = (
    "prairie hay", "alfalfa hay", "brome hay", "corn", "distillers grains", "cottonseed meal", "limestone",
    "wheat straw", "20% cubes", "soybean hulls", "corn silage", "whole cottonseed", "oats", "canola meal",
)  # fmt: skip
HOT = ("wheat straw", "corn silage")
TESTED = ", nitrate=200 ppm, form=NO3-N, basis=dry, cores=20, bales=60"


def herds(seed: int, count: int) -> list[dict[str, Any]]:
    """Herds of every class with feeds, cold, water, pens and limit-feeding at random."""
    rng, out = np.random.default_rng(seed), []
    for _ in range(count):
        animal = str(rng.choice(["pregnant-cow", "lactating-cow", "open-cow", "growing", "finishing", "calf", "bull"]))
        young = animal in ("growing", "finishing", "calf")
        least, most = (450, 900) if young else (1700, 2100) if animal == "bull" else (1000, 1500)
        told = {"class": animal, "weight": f"{rng.integers(least, most) if animal != 'calf' else 350} lb"}
        told |= {"gain": f"{rng.uniform(0.5, 3.2):.1f} lb/day"} if young else {}
        told |= {"limit_fed": "yes"} if rng.random() < 0.25 else {}
        told |= {"effective_temperature": f"{rng.integers(-20, 40)} F"} if rng.random() < 0.3 else {}
        told |= {"water_sulfate": "1500 ppm"} if rng.random() < 0.2 else {}
        told |= {"grain_now": "3 lb/day"} if rng.random() < 0.2 else {}
        if not young and animal != "bull" and rng.random() < 0.3:
            told |= {"head": "60", "thin_head": "15", "mixer": "2000 lb"}
        names = rng.choice(FEEDS, rng.integers(1, 7), replace=False)
        told["feeds"] = "; ".join(
            f"name={name}, price={rng.integers(60, 300)} USD/ton{TESTED if name in HOT else ''}" for name in names
        )
        out.append(read_all(QUESTION.inputs, told))
    return out


def context() -> Context:
    return Context(ON, FACTS, make_outlook(ON, facts=FACTS, draws=50))


def test_no_herd_moves_another_s_last_figure() -> None:
    rows = herds(7, 20)
    together = QUESTION.ask(table_of(QUESTION, rows), context())
    for i, row in enumerate(rows):
        alone = QUESTION.ask(table_of(QUESTION, [row]), context())
        assert np.asarray(alone.verdict)[0] == np.asarray(together.verdict)[i]
        for name, (values, _) in alone.quantities.items():
            one, many = np.asarray(values)[0], np.asarray(together.quantities[name][0])[i]
            assert one == many or (one != one and many != many), (i, name)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_the_rumen_and_the_hazards_bear_holds_for_every_mix(seed: int) -> None:
    rows = herds(seed, 100)
    plan = case.plan_of(table_of(QUESTION, rows), context())
    assert plan.found.feasible.sum() > 25
    told = np.where(plan.buys, plan.with_hay.level["sulfur"], plan.found.level["sulfur"])
    assert (told[plan.found.feasible] <= plan.needs.sulfur[plan.found.feasible] + 1e-7).all()
    for found, listed, s in ((plan.found, plan.held, plan.s), (plan.with_hay, plan.grown, plan.more)):
        good = np.flatnonzero(found.feasible)
        pounds, level, needs = np.nan_to_num(found.pounds), found.level, plan.needs
        eaten = pounds.sum(axis=1)
        assert (level["nitrate"][good] <= needs.nitrate[good] + 1e-3).all()
        assert (level["sulfur"][good] <= 0.0040 + 1e-7).all()
        dry = 0.88  # of grain as it is weighed out
        for i in good:
            grain = sum(p for p, f in zip(pounds[i], listed[i], strict=False) if f.kind == "grain")
            rough = sum(p for p, f in zip(pounds[i], listed[i], strict=False) if f.kind == "roughage")
            herd = plan.herd
            assert rough >= needs.forage[i] - 1e-6
            if herd.grown[i]:
                most = 14 * dry if herd.limited[i] else 0.005 * herd.weight[i]
                assert grain <= most + 1e-6
            if herd.snap[i]:
                assert grain <= np.nan_to_num(rows[i]["grain_now"] or 0.0) * dry + 1e-6
            assert (pounds[i] * s.feeds.fat[i]).sum() <= 0.06 * eaten[i] + 1e-6
            if 100 * level["sulfur"][i] > 0.30 + 1e-6:  # the higher ceiling is for what is mostly forage
                assert rough >= 0.40 * needs.intake[i] - 1e-6
            small = [(p, f) for p, f in zip(pounds[i], listed[i], strict=False) if 1e-6 < p < 0.0624]
            assert len(small) <= 1, small
