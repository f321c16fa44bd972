"""What beef cattle need a day: pregnancy, milk, protein, calcium, phosphorus, dry matter, and the floors of a ration.

Weights in kg, energy in Mcal, protein and minerals in g unless said. "From memory" means that the book was not seen.

References
----------
.. [1] NRC, Nutrient Requirements of Beef Cattle, 7th rev. ed., 1996 (equations from memory unless said).
.. [2] NRC 1996 p. 45: milk yield n / (a e^(k n)), peak about 8.5 weeks after calving (read).
.. [3] University of Arkansas MP391 (Gadberry): crude protein = metabolizable protein / 0.67 (read).
.. [4] Koknaroglu, Loy and Hoffman 2008, intake of pens from starting weight (read).
.. [5] North Dakota State University, lower critical temperature (read): 12.7 lb TDN become 14.48 at 14 degF below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle import nutrition_energy as energy

Floats = NDArray[np.float64]
_WEEKS_TO_PEAK = 8.5
_DAYS_OF_GESTATION = 283.0
_LAST_DAYS = 90.0


def _f(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def pregnancy_energy(days_pregnant: ArrayLike, calf_kg: ArrayLike) -> Floats:
    """NEm for pregnancy [Mcal/day], 0 for an open cow; NaN beyond 283 days.

    ``0.576 CBW (0.4504 - 0.000766 t) exp((0.03233 - 0.0000275 t) t) / 1000`` (from memory [1]).
    """
    t = _f(days_pregnant)
    need = 0.576 * _f(calf_kg) * (0.4504 - 0.000766 * t) * np.exp((0.03233 - 0.0000275 * t) * t) / 1000
    return np.where(t > _DAYS_OF_GESTATION, np.nan, np.where(t > 0, need, 0.0))


def pregnancy_protein(days_pregnant: ArrayLike, calf_kg: ArrayLike) -> Floats:
    """Metabolizable protein for pregnancy [g/day], 0 for an open cow; NaN beyond 283 days.

    ``CBW (0.001669 - 0.00000211 t) exp((0.0278 - 0.0000176 t) t) 6.25 / 0.65`` (from memory [1]; the divisor was chosen
    because it gives the remembered last row).
    """
    t = _f(days_pregnant)
    need = _f(calf_kg) * (0.001669 - 0.00000211 * t) * np.exp((0.0278 - 0.0000176 * t) * t) * 6.25 / 0.65
    return np.where(t > _DAYS_OF_GESTATION, np.nan, np.where(t > 0, need, 0.0))


def milk_yield(week: ArrayLike, peak_kg: ArrayLike) -> Floats:
    """Milk [kg/day] = peak (n / 8.5) exp(1 - n / 8.5) in week n after calving [2]; 0 where not in milk."""
    n = _f(week)
    return np.where(n > 0, _f(peak_kg) * (n / _WEEKS_TO_PEAK) * np.exp(1 - n / _WEEKS_TO_PEAK), 0.0)


def milk_energy(milk_kg: ArrayLike, fat: ArrayLike = 4.0, solids_not_fat: ArrayLike = 8.3) -> Floats:
    """NEm in milk [Mcal/day] = milk (0.092 fat% + 0.049 SNF% - 0.0569) (from memory [1])."""
    per_kg = 0.092 * _f(fat) + 0.049 * _f(solids_not_fat) - 0.0569
    return np.asarray(_f(milk_kg) * per_kg, dtype=np.float64)


def milk_protein(milk_kg: ArrayLike, protein: ArrayLike = 3.4) -> Floats:
    """Metabolizable protein for milk [g/day] = milk protein% 10 / 0.65 (from memory [1])."""
    return np.asarray(_f(milk_kg) * _f(protein) * 10 / 0.65, dtype=np.float64)


def maintenance_protein(shrunk_kg: ArrayLike) -> Floats:
    """Metabolizable protein for maintenance [g/day] = 3.8 W^0.75 (from memory [1])."""
    return np.asarray(3.8 * _f(shrunk_kg) ** 0.75, dtype=np.float64)


def protein_in_gain(gain_kg: ArrayLike, retained: ArrayLike) -> Floats:
    """Net protein in gain [g/day] = SWG (268 - 29.4 RE / SWG), at least 0 (from memory [1])."""
    return np.maximum(268.0 * _f(gain_kg) - 29.4 * _f(retained), 0.0)


def gain_protein(gain_kg: ArrayLike, retained: ArrayLike, equivalent_kg: ArrayLike) -> Floats:
    """Metabolizable protein for gain [g/day]: net protein over 0.834 - 0.00114 EQSBW, over 0.492 above 300 kg [1]."""
    weight = _f(equivalent_kg)
    efficiency = np.where(weight <= 300.0, 0.834 - 0.00114 * weight, 0.492)
    return np.asarray(protein_in_gain(gain_kg, retained) / efficiency, dtype=np.float64)


def crude_protein(metabolizable: ArrayLike) -> Floats:
    """Crude protein that stands for so much metabolizable protein: / 0.67, the table shortcut [3]; same unit."""
    return np.asarray(_f(metabolizable) / 0.67, dtype=np.float64)


def calcium(
    shrunk_kg: ArrayLike,
    net_gain_protein: ArrayLike = 0.0,
    milk_kg: ArrayLike = 0.0,
    days_pregnant: ArrayLike = 0.0,
    calf_kg: ArrayLike = 0.0,
) -> Floats:
    """Calcium [g/day]: 0.0154 W, 0.071 a g of net protein gained, 1.23 a kg of milk, 13.7 a kg of calf over the last 90
    days, all over 0.5 absorbed (from memory [1])."""
    last = _f(days_pregnant) > _DAYS_OF_GESTATION - _LAST_DAYS
    calf = np.where(last, 13.7 * _f(calf_kg) / _LAST_DAYS, 0.0)
    need = 0.0154 * _f(shrunk_kg) + 0.071 * _f(net_gain_protein) + 1.23 * _f(milk_kg) + calf
    return np.asarray(need / 0.5, dtype=np.float64)


def phosphorus(
    shrunk_kg: ArrayLike,
    net_gain_protein: ArrayLike = 0.0,
    milk_kg: ArrayLike = 0.0,
    days_pregnant: ArrayLike = 0.0,
    calf_kg: ArrayLike = 0.0,
) -> Floats:
    """Phosphorus [g/day]: 0.016 W, 0.039 a g of net protein gained, 0.95 a kg of milk, 7.6 a kg of calf over the
    last 90
    days, all over 0.68 absorbed (from memory [1])."""
    last = _f(days_pregnant) > _DAYS_OF_GESTATION - _LAST_DAYS
    calf = np.where(last, 7.6 * _f(calf_kg) / _LAST_DAYS, 0.0)
    need = 0.016 * _f(shrunk_kg) + 0.039 * _f(net_gain_protein) + 0.95 * _f(milk_kg) + calf
    return np.asarray(need / 0.68, dtype=np.float64)


def cow_intake(shrunk_kg: ArrayLike, tdn: ArrayLike, *, late: ArrayLike = True, milk_kg: ArrayLike = 0.0) -> Floats:
    """Dry matter intake of beef cows [kg/day] (from memory [1]).

    ``W^0.75 (0.04997 NEm^2 + c) / NEm + 0.2 milk`` with c 0.04631 in the last two thirds of pregnancy and in milk,
    0.03840
    for open cows and the first third; the divisor is 0.95 where NEm is under 1.0. Explains little more than half of the
    variation between animals (read, NRC 1996 p. 103): show a band.
    """
    ne = energy.net_energy_maintenance(tdn)
    constant = np.where(late, 0.04631, 0.03840)
    base = _f(shrunk_kg) ** 0.75 * (0.04997 * ne**2 + constant) / np.where(ne < 1.0, 0.95, ne)
    return np.asarray(base + 0.2 * _f(milk_kg), dtype=np.float64)


def growing_intake(shrunk_kg: ArrayLike, tdn: ArrayLike, *, method: str = "nrc_1996_calf") -> Floats:
    """Dry matter intake of growing cattle [kg/day].

    Parameters
    ----------
    method : nrc_1996_calf and nrc_1996_yearling, ``W^0.75 (0.2435 NEm - 0.0466 NEm^2 - c) / NEm`` with c 0.1128 or
        0.0869 (from memory [1]); nasem_2016, 1.2425 + 1.9218 NEm - 0.7259 NEm^2 percent of W (from memory, unsure)
    """
    ne, weight = energy.net_energy_maintenance(tdn), _f(shrunk_kg)
    if method == "nasem_2016":
        return np.asarray(weight * (1.2425 + 1.9218 * ne - 0.7259 * ne**2) / 100, dtype=np.float64)
    constants = {"nrc_1996_calf": 0.1128, "nrc_1996_yearling": 0.0869}
    if method not in constants:
        raise ValueError(f"method {method!r}; expected nasem_2016 or one of {', '.join(constants)}")
    return np.asarray(weight**0.75 * (0.2435 * ne - 0.0466 * ne**2 - constants[method]) / ne, dtype=np.float64)


def intake_from_start(initial_kg: ArrayLike, *, method: str = "nrc_1996") -> Floats:
    """Mean dry matter intake of a feeding period [kg/day] from the starting weight [kg] [4].

    Parameters
    ----------
    method : nrc_1996, 4.54 + 0.0125 W; iowa_steers, 5.81 + 0.0125 W; iowa_heifers, 5.03 + 0.0144 W; iowa_all, 5.49 +
        0.0133 W (3,410 pens)
    """
    lines = {
        "nrc_1996": (4.54, 0.0125), "iowa_steers": (5.81, 0.0125), "iowa_heifers": (5.03, 0.0144), "iowa_all": (5.49,
        0.0133),
    }  # fmt: skip
    if method not in lines:
        raise ValueError(f"method {method!r}; expected one of {', '.join(lines)}")
    start, slope = lines[method]
    return np.asarray(start + slope * _f(initial_kg), dtype=np.float64)


@dataclass(frozen=True)
class Animal:
    """Animals of n rows, (n,) each or scalars; kg and days.

    Attributes
    ----------
    full_kg : full body weight
    gain_kg : shrunk gain wanted a day; 0 for cows
    finish_kg : shrunk weight at finish; used where gain is wanted
    days_pregnant, calf_kg : 0 where open
    milk_week, peak_kg : 0 where dry
    condition : score 1 to 9; a thin cow's maintenance is never less than that of one at score 5
    reserve : net energy a day to regain condition [Mcal]
    growing, bull : bool
    yearling : bool; growing cattle that eat by the yearling equation
    cold : extra share of energy: of the whole need of TDN for cows and bulls, of maintenance for growing cattle
    """

    full_kg: ArrayLike
    gain_kg: ArrayLike = 0.0
    finish_kg: ArrayLike = 533.0
    days_pregnant: ArrayLike = 0.0
    calf_kg: ArrayLike = 36.0
    milk_week: ArrayLike = 0.0
    peak_kg: ArrayLike = 8.0
    condition: ArrayLike = 5.0
    reserve: ArrayLike = 0.0
    growing: ArrayLike = False
    yearling: ArrayLike = False
    bull: ArrayLike = False
    cold: ArrayLike = 0.0


@dataclass(frozen=True)
class Floors:
    """Floors of a ration, (n,) lb/day; `tdn_percent` is the energy density they rest on."""

    intake: Floats
    tdn: Floats
    protein: Floats
    calcium: Floats
    phosphorus: Floats
    tdn_percent: Floats


def floors(animal: Animal, intake_lb: ArrayLike = np.nan) -> Floors:
    """Intake and nutrient floors by the NRC 1996 equations; energy and intake are solved together.

    Intake depends weakly on the ration's energy, and the energy needed on intake, so the two are iterated from TDN
    58 %.

    Parameters
    ----------
    animal : what they are
    intake_lb : dry matter eaten [lb/day] where it is known; NaN uses the equations
    """
    weight = energy.shrunk_weight(_f(animal.full_kg))
    milk = milk_yield(animal.milk_week, animal.peak_kg)
    lactating = milk > 0
    pregnant = _f(animal.days_pregnant) > 0
    keep = energy.maintenance_energy(
        weight,
        lactating=lactating,
        bull=animal.bull,
        condition=np.maximum(animal.condition, 5.0),
        cold=np.where(animal.growing, animal.cold, 0.0),
    )
    keep = keep + pregnancy_energy(animal.days_pregnant, animal.calf_kg) + milk_energy(milk) + _f(animal.reserve)
    equivalent = energy.equivalent_weight(weight, animal.finish_kg)
    retained = energy.gain_energy(equivalent, animal.gain_kg)
    late = lactating | (_f(animal.days_pregnant) > _DAYS_OF_GESTATION / 3)
    told = _f(intake_lb) * energy.KG_OF_LB
    tdn = np.full(np.broadcast_shapes(weight.shape, keep.shape, retained.shape, told.shape), 58.0)
    eaten = tdn
    for _ in range(12):
        young = np.where(
            animal.yearling, growing_intake(weight, tdn, method="nrc_1996_yearling"), growing_intake(weight, tdn)
        )
        usual = np.where(animal.growing, young, cow_intake(weight, tdn, late=late, milk_kg=milk))
        eaten = np.where(np.isnan(told), usual, told)
        wanted = energy.tdn_needed(eaten, keep, retained)
        tdn = np.where(np.isnan(wanted), energy.MOST_TDN, (wanted + tdn) / 2)
    wanted = energy.tdn_needed(eaten, keep, retained)
    # of cows the published rule raises the whole need of TDN, not maintenance alone [5]
    wanted = wanted * np.where(animal.growing, 1.0, 1.0 + _f(animal.cold))
    wanted = np.where(wanted <= energy.MOST_TDN, wanted, np.nan)
    net = protein_in_gain(animal.gain_kg, retained)
    protein = maintenance_protein(weight) + milk_protein(milk) + gain_protein(animal.gain_kg, retained, equivalent)
    protein = crude_protein(protein + pregnancy_protein(animal.days_pregnant, animal.calf_kg))
    calf = np.where(pregnant, _f(animal.calf_kg), 0.0)
    minerals = (weight, net, milk, animal.days_pregnant, calf)
    pound = 1000 * energy.KG_OF_LB
    eaten_lb = eaten / energy.KG_OF_LB
    return Floors(
        intake=eaten_lb,
        tdn=eaten_lb * wanted / 100,
        protein=protein / pound,
        calcium=calcium(*minerals) / pound,
        phosphorus=phosphorus(*minerals) / pound,
        tdn_percent=wanted,
    )
