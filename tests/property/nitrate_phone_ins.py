"""Generated phone-ins about nitrate in hay, seeded, in the words that the vocabulary takes."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random
from typing import Any

from sideoats.vocabulary import see

ON = date(2026, 11, 10)
_LEVELS = (0, 40, 90, 110, 150, 260, 300, 420, 500, 590, 660, 690, 710, 900, 990, 1010, 1100, 1400, 1520, 1800, 1950,
           2010, 2300, 2900, 3100, 3900, 4100, 5200, 9000)  # fmt: skip
_TABLES = ("clemson", "servitech", "dairyland", "nebraska", "south-dakota", "manitoba", "wyoming", "montana", "trade")
_IONS = {"NO3-N": 1.0, "NO3": 4.427, "KNO3": 7.22}
_MOISTURES = {"baled": ("8%", "12%", "15%", "19%"), "standing": ("68%", "75%", "80%"), "silage": ("55%", "65%")}


def words_of(what: str) -> list[str]:
    """Every word that is taken for a choice: the choices and their aliases."""
    seen = see(what)
    return [*seen.choices, *seen.aliases]


def written(level: float, ion: str, dice: Random) -> str:
    """A level [ppm NO3-N] as a laboratory prints it in `ion`."""
    ppm = round(level * _IONS[ion])
    kind = dice.randrange(6)
    if ppm == 0:
        return dice.choice(("ND", "0 ppm", "<100 ppm"))
    if kind == 0 and ppm >= 1000:
        return f"{ppm / 10_000:.3g} %"
    return f"{ppm:,} ppm" if kind < 3 else f"{ppm} ppm" if kind < 5 else f"{ppm} mg/kg"


def result_of(dice: Random, levels: tuple[int, ...] = _LEVELS) -> dict[str, str]:
    """A slip: the figure or single bales, its form and basis; one of them is sometimes not said."""
    forms, bases = words_of("hay_nitrate.form"), words_of("hay_nitrate.basis")
    form = dice.choice(["NO3-N"] * 8 + forms)
    ion = str(see("hay_nitrate.form").aliases.get(form, form))
    basis = dice.choice(["dry"] * 8 + bases)
    out = {"form": form, "basis": basis}
    if dice.random() < 0.3:
        base = dice.choice(levels)
        bales = [max(0, round(base * dice.choice((0.6, 0.8, 1, 1, 1.2, 1.6, 2.5)))) for _ in range(dice.randint(1, 24))]
        out["single_bales"] = "; ".join(f"{round(b * _IONS[ion])} ppm" for b in bales)
    else:
        out["result"] = written(dice.choice(levels), ion, dice)
    if dice.random() < 0.04:
        del out[dice.choice(("form", "basis"))]
    return out


def phone_in(dice: Random) -> dict[str, str]:
    """One phone-in, about a third of them calm."""
    calm = dice.random() < 0.35
    out = result_of(dice, (0, 40, 90, 110, 150, 260, 300, 420) if calm else _LEVELS)
    state = dice.choice(["baled"] * 7 + ["standing", "silage"])
    if state != "baled" or dice.random() < 0.2:
        out["state"] = state
    basis = str(see("hay_nitrate.basis").aliases.get(out.get("basis", ""), out.get("basis", "")))
    if basis == "as-fed" and dice.random() < 0.9:
        out["moisture"] = dice.choice((*_MOISTURES[state] * 4, "88%"))
    if dice.random() < 0.92:
        out["class"] = dice.choice([*see("place.class").choices[:8]] * 4 + words_of("place.class"))
    bales = dice.choice((1, 3, 8, 20, 60, 100, 400))
    if dice.random() < 0.8:
        out["bales"] = str(bales)
    if dice.random() < 0.8:
        cored = dice.choice((1, 3, max(1, bales // 5), max(1, bales // 3), bales, 16, 20, 24))
        out["cores"] = str(min(cored, bales) if dice.random() < 0.97 else cored)
    _rare(out, dice, calm)
    return out


def _rare(out: dict[str, str], dice: Random, calm: bool) -> None:
    """What a phone-in says beside the slip: age, retests, water, a mix, a publisher, thin animals."""
    rare = 0.06 if calm else 0.15
    if dice.random() < rare * 2:
        out["tested"] = (ON - timedelta(days=dice.choice((0, 5, 60, 200, 300, 900)))).isoformat()
        if dice.random() < 0.4:
            out["baled"] = (ON - timedelta(days=dice.choice((90, 100, 400)))).isoformat()
    if dice.random() < rare:
        level = dice.choice((90, 300, 420) if calm else _LEVELS)
        out["tests"] = f"on=2026-0{dice.randint(5, 9)}-12, result={level} ppm, form=NO3-N, basis=dry, cores=12"
        if dice.random() < 0.2:
            out["tests"] = out["tests"].replace(", basis=dry", "")
    if dice.random() < rare:
        out["water"] = f"{dice.choice((0, 5, 10, 22, 40, 99, 120, 320, 1400))} ppm"
        if dice.random() < 0.95:
            out["water_form"] = dice.choice(words_of("hay_nitrate.water_form"))
        if dice.random() < 0.3:
            out["air"] = dice.choice(("20 degF", "75 degF", "95 degF"))
    if dice.random() < rare:
        low = dice.choice((0, 150, 500, 1300))
        out["feeds"] = f"name=prairie hay, nitrate={low} ppm, form=NO3-N, basis=dry"
        if dice.random() < 0.4:
            out["share"] = dice.choice(("10%", "30%", "50%", "90%"))
    if dice.random() < rare / 2:
        out["weakened"] = "yes"
    if dice.random() < rare:
        out["table"] = dice.choice(_TABLES)
    if dice.random() < 0.3:
        out["hay"] = dice.choice(("sudan hay", "prairie hay", "oat hay", "sorghum-sudan", "brome"))
    if dice.random() < 0.1:
        out["fed_from"] = (ON + timedelta(days=dice.choice((0, 10, 40)))).isoformat()


def phone_ins(seed: int, count: int) -> list[dict[str, Any]]:
    """`count` phone-ins, always the same for a seed."""
    dice = Random(seed)
    return [phone_in(dice) for _ in range(count)]
