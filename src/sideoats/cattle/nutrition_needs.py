"""What beef cattle need a day: pregnancy, milk, protein, calcium, phosphorus, dry matter, and the floors of a ration.

Weights in kg, energy in Mcal, protein and minerals in g unless said. The numbers of every equation stand in
``cattle/nrc`` with their source; `nrc` carries them.

References
----------
.. [1] NRC, Nutrient Requirements of Beef Cattle, 7th rev. ed., 1996.
.. [2] University of Arkansas MP391 (Gadberry): crude protein = metabolizable protein / 0.67.
.. [3] North Dakota State University, lower critical temperature (read): 12.7 lb TDN become 14.48 at 14 degF below it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle import nutrition_energy as energy
from sideoats.cattle.nutrition_coefficients import Coefficients

Floats = NDArray[np.float64]


def _f(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def _of_pregnancy(days_pregnant: ArrayLike, need: Floats, nrc: Coefficients) -> Floats:
    """A need of pregnancy, 0 for an open cow, NaN beyond its length."""
    t = _f(days_pregnant)
    return np.where(t > nrc["course"]["gestation_days"], np.nan, np.where(t > 0, need, 0.0))


def pregnancy_energy(days_pregnant: ArrayLike, calf_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """NEm for pregnancy [Mcal/day], 0 for an open cow; NaN beyond 283 days.

    ``0.576 CBW (0.4504 - 0.000766 t) exp((0.03233 - 0.0000275 t) t) / 1000`` [1].
    """
    t, k = _f(days_pregnant), nrc["pregnancy_energy"]
    need = k["km"] * _f(calf_kg) * (k["a"] + k["b"] * t) * np.exp((k["c"] + k["d"] * t) * t) / 1000
    return _of_pregnancy(t, need, nrc)


def pregnancy_protein(days_pregnant: ArrayLike, calf_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Metabolizable protein for pregnancy [g/day], 0 for an open cow; NaN beyond 283 days.

    ``CBW (0.001669 - 0.00000211 t) exp((0.0278 - 0.0000176 t) t) 6.25 / 0.65`` [1].
    """
    t, k = _f(days_pregnant), nrc["pregnancy_protein"]
    nitrogen = _f(calf_kg) * (k["a"] + k["b"] * t) * np.exp((k["c"] + k["d"] * t) * t)
    return _of_pregnancy(t, nitrogen * k["protein_per_nitrogen"] / k["efficiency"], nrc)


def milk_yield(week: ArrayLike, peak_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Milk [kg/day] = peak (n / 8.5) exp(1 - n / 8.5) in week n after calving [1]; 0 where not in milk."""
    n, top = _f(week), nrc["course"]["peak_week"]
    return np.where(n > 0, _f(peak_kg) * (n / top) * np.exp(1 - n / top), 0.0)


def milk_energy(milk_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """NEm in milk [Mcal/day] = milk (0.092 fat% + 0.049 SNF% - 0.0569)."""
    k = nrc["milk_energy"]
    per_kg = k["fat"] * k["fat_percent"] + k["solids"] * k["solids_percent"] + k["constant"]
    return np.asarray(_f(milk_kg) * per_kg, dtype=np.float64)


def milk_protein(milk_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Metabolizable protein for milk [g/day] = milk protein% 10 / 0.65 [1]."""
    k = nrc["milk_protein"]
    return np.asarray(_f(milk_kg) * k["protein_percent"] * 10 / k["efficiency"], dtype=np.float64)


def maintenance_protein(shrunk_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Metabolizable protein for maintenance [g/day] = 3.8 W^0.75."""
    return np.asarray(nrc["maintenance_protein"]["per_metabolic_kg"] * _f(shrunk_kg) ** 0.75, dtype=np.float64)


def protein_in_gain(gain_kg: ArrayLike, retained: ArrayLike, nrc: Coefficients) -> Floats:
    """Net protein in gain [g/day] = SWG (268 - 29.4 RE / SWG), at least 0 [1]."""
    k = nrc["gain_protein"]
    return np.maximum(k["per_gain"] * _f(gain_kg) + k["per_energy"] * _f(retained), 0.0)


def gain_protein(gain_kg: ArrayLike, retained: ArrayLike, equivalent_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Metabolizable protein for gain [g/day]: net protein over 0.834 - 0.00114 EQSBW, over 0.492 above 300 kg [1]."""
    weight, k = _f(equivalent_kg), nrc["gain_protein"]
    light = k["efficiency_0"] + k["efficiency_by_kg"] * weight
    efficiency = np.where(weight <= k["over_kg"], light, k["efficiency_over"])
    return np.asarray(protein_in_gain(gain_kg, retained, nrc) / efficiency, dtype=np.float64)


def crude_protein(metabolizable: ArrayLike, nrc: Coefficients) -> Floats:
    """Crude protein that stands for so much metabolizable protein: the table shortcut [2]; same unit."""
    return np.asarray(_f(metabolizable) / nrc["crude_protein"]["metabolizable_per_crude"], dtype=np.float64)


def mineral(
    name: str,
    shrunk_kg: ArrayLike,
    nrc: Coefficients,
    net_gain_protein: ArrayLike = 0.0,
    milk_kg: ArrayLike = 0.0,
    days_pregnant: ArrayLike = 0.0,
    calf_kg: ArrayLike = 0.0,
) -> Floats:
    """Calcium or phosphorus [g/day]: by weight, net protein gained, milk, and calf over the last 90 days, all over what
    is absorbed [1].

    Parameters
    ----------
    name : calcium or phosphorus
    shrunk_kg, milk_kg, calf_kg : [kg]
    net_gain_protein : [g/day]
    """
    k, pregnancy = nrc[name], nrc["course"]
    last = _f(days_pregnant) > pregnancy["gestation_days"] - pregnancy["last_days"]
    calf = np.where(last, k["calf"] * _f(calf_kg) / pregnancy["last_days"], 0.0)
    need = k["weight"] * _f(shrunk_kg) + k["protein_gain"] * _f(net_gain_protein) + k["milk"] * _f(milk_kg) + calf
    return np.asarray(need / k["absorbed"], dtype=np.float64)


def cow_intake(
    shrunk_kg: ArrayLike, tdn: ArrayLike, nrc: Coefficients, *, late: ArrayLike = True, milk_kg: ArrayLike = 0.0
) -> Floats:
    """Dry matter intake of beef cows [kg/day] [1].

    ``W^0.75 (0.04997 NEm^2 + c) / NEm + 0.2 milk`` with one c in the last two thirds of pregnancy and in milk, another
    for open cows and the first third; the divisor is 0.95 where NEm is under 1.0. Explains little more than half of the
    variation between animals (read, NRC 1996 p. 103): show a band.
    """
    ne, k = energy.net_energy_maintenance(tdn, nrc), nrc["cow_intake"]
    constant = np.where(late, k["late"], k["early"])
    base = _f(shrunk_kg) ** 0.75 * (k["square"] * ne**2 + constant) / np.where(ne < 1.0, k["low_divisor"], ne)
    return np.asarray(base + k["milk"] * _f(milk_kg), dtype=np.float64)


def growing_intake(shrunk_kg: ArrayLike, tdn: ArrayLike, nrc: Coefficients, *, yearling: ArrayLike = False) -> Floats:
    """Dry matter intake of growing cattle [kg/day]: ``W^0.75 (0.2435 NEm - 0.0466 NEm^2 - c) / NEm`` [1].

    Parameters
    ----------
    yearling : bool; c is that of cattle over a year, else that of calves
    """
    ne, weight, k = energy.net_energy_maintenance(tdn, nrc), _f(shrunk_kg), nrc["growing_intake"]
    constant = np.where(yearling, k["yearling"], k["calf"])
    return np.asarray(weight**0.75 * (k["linear"] * ne + k["square"] * ne**2 + constant) / ne, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Animal:
    """Animals of n rows, (n,) each or scalars; kg and days.

    Attributes
    ----------
    full_kg : full body weight
    gain_kg : shrunk gain wanted a day; 0 for cows
    finish_kg : shrunk weight at finish; used where gain is wanted
    days_pregnant, calf_kg : 0 where open
    milk_week, peak_kg : 0 where dry
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
    reserve: ArrayLike = 0.0
    growing: ArrayLike = False
    yearling: ArrayLike = False
    bull: ArrayLike = False
    cold: ArrayLike = 0.0


@dataclass(frozen=True, eq=False)
class Floors:
    """Floors of a ration, (n,) lb/day; `tdn_percent` is the energy density they rest on."""

    intake: Floats
    tdn: Floats
    protein: Floats
    calcium: Floats
    phosphorus: Floats
    tdn_percent: Floats


def floors(animal: Animal, nrc: Coefficients, intake_lb: ArrayLike = np.nan) -> Floors:
    """Intake and nutrient floors by the NRC 1996 equations; energy and intake are solved together.

    Intake depends weakly on the ration's energy, and the energy needed on intake, so the two are iterated from TDN
    58 %.

    Parameters
    ----------
    animal : what they are
    nrc : numbers of the equations
    intake_lb : dry matter eaten [lb/day] where it is known; NaN uses the equations
    """
    weight = energy.shrunk_weight(_f(animal.full_kg), nrc)
    milk = milk_yield(animal.milk_week, animal.peak_kg, nrc)
    lactating = milk > 0
    pregnant = _f(animal.days_pregnant) > 0
    keep = energy.maintenance_energy(
        weight,
        nrc,
        lactating=lactating,
        bull=animal.bull,
        cold=np.where(animal.growing, animal.cold, 0.0),
    )
    keep = keep + pregnancy_energy(animal.days_pregnant, animal.calf_kg, nrc) + milk_energy(milk, nrc)
    keep = keep + _f(animal.reserve)
    equivalent = energy.equivalent_weight(weight, animal.finish_kg, nrc)
    retained = energy.gain_energy(equivalent, animal.gain_kg, nrc)
    late = lactating | (_f(animal.days_pregnant) > nrc["course"]["gestation_days"] / 3)
    told = _f(intake_lb) * energy.KG_OF_LB
    tdn = np.full(np.broadcast_shapes(weight.shape, keep.shape, retained.shape, told.shape), 58.0)
    eaten, most = tdn, nrc["feed_energy"]["most_tdn"]
    for _ in range(12):
        young = growing_intake(weight, tdn, nrc, yearling=animal.yearling)
        usual = np.where(animal.growing, young, cow_intake(weight, tdn, nrc, late=late, milk_kg=milk))
        eaten = np.where(np.isnan(told), usual, told)
        wanted = energy.tdn_needed(eaten, keep, nrc, retained, 14)
        tdn = np.where(np.isnan(wanted), most, (wanted + tdn) / 2)
    wanted = energy.tdn_needed(eaten, keep, nrc, retained)
    # of cows the published rule raises the whole need of TDN, not maintenance alone [3]
    wanted = wanted * np.where(animal.growing, 1.0, 1.0 + _f(animal.cold))
    wanted = np.where(wanted <= most, wanted, np.nan)
    net = protein_in_gain(animal.gain_kg, retained, nrc)
    protein = maintenance_protein(weight, nrc) + milk_protein(milk, nrc)
    protein = protein + gain_protein(animal.gain_kg, retained, equivalent, nrc)
    protein = crude_protein(protein + pregnancy_protein(animal.days_pregnant, animal.calf_kg, nrc), nrc)
    calf = np.where(pregnant, _f(animal.calf_kg), 0.0)
    minerals = (weight, nrc, net, milk, animal.days_pregnant, calf)
    pound = 1000 * energy.KG_OF_LB
    eaten_lb = eaten / energy.KG_OF_LB
    return Floors(
        intake=eaten_lb,
        tdn=eaten_lb * wanted / 100,
        protein=protein / pound,
        calcium=mineral("calcium", *minerals) / pound,
        phosphorus=mineral("phosphorus", *minerals) / pound,
        tdn_percent=wanted,
    )
