"""Feed energy for beef cattle: from total digestible nutrients to net energy, and how much a gain or a cow needs.

Energy in Mcal, feed energy per kg of dry matter, weights in kg, TDN in percent of dry matter. Each function states
where
its coefficients come from; "from memory" means that the book was not seen, and the call says so too.

References
----------
.. [1] NRC, Nutrient Requirements of Beef Cattle, 7th rev. ed., 1996, p. 126: 1 kg TDN = 4.409 Mcal DE, ME = 0.82 DE
(read).
.. [2] NRC 1984 and 1996 after Garrett 1980: NEm and NEg as cubics in ME (coefficients from memory).
.. [3] Zinn and others, J. Anim. Sci. 86:2680, 2008: NEg = 0.877 NEm - 0.41; NEm requirement 0.077 W^0.75, after
   Lofgreen and Garrett 1968 (read).
.. [4] NRC 1996, retained energy of gain 0.0635 EQEBW^0.75 EBG^1.097 and its inverse (the inverse read in an abstract,
   the first from memory; they differ by 0.4 %).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

KG_OF_LB = 0.45359237
LEAST_TDN, MOST_TDN = 45.0, 90.0  # range over which the cubics are used
_SHRUNK, _EMPTY, _EMPTY_GAIN = 0.96, 0.891, 0.956


def _f(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def shrunk_weight(full: ArrayLike) -> Floats:
    """Shrunk body weight, 0.96 of full weight, in the unit given (read: University of Arkansas MP391 after NRC
    1996)."""
    return np.asarray(_SHRUNK * _f(full), dtype=np.float64)


def digestible_energy(tdn: ArrayLike) -> Floats:
    """DE [Mcal/kg] = 0.04409 TDN [%] [1]."""
    return np.asarray(0.04409 * _f(tdn), dtype=np.float64)


def metabolizable_energy(tdn: ArrayLike) -> Floats:
    """ME [Mcal/kg] = 0.82 DE [1]. Not to be mixed with newer ME equations: the cubics below were fitted to this one."""
    return np.asarray(0.82 * digestible_energy(tdn), dtype=np.float64)


def in_range(tdn: ArrayLike) -> NDArray[np.bool_]:
    """True where the net energy equations may be used: TDN 45 to 90 %."""
    value = _f(tdn)
    return np.asarray((value >= LEAST_TDN) & (value <= MOST_TDN), dtype=bool)


def net_energy_maintenance(tdn: ArrayLike) -> Floats:
    """NEm [Mcal/kg] = 1.37 ME - 0.138 ME^2 + 0.0105 ME^3 - 1.12 [2]; NaN outside TDN 45 to 90 %."""
    me = metabolizable_energy(tdn)
    return np.where(in_range(tdn), 1.37 * me - 0.138 * me**2 + 0.0105 * me**3 - 1.12, np.nan)


def net_energy_gain(tdn: ArrayLike, *, method: str = "nrc_1996") -> Floats:
    """NEg [Mcal/kg], at least 0; NaN outside TDN 45 to 90 %.

    Parameters
    ----------
    tdn : [%]
    method : nrc_1996, 1.42 ME - 0.174 ME^2 + 0.0122 ME^3 - 1.65 [2]; zinn_2008, 0.877 NEm - 0.41 [3]
    """
    if method == "nrc_1996":
        me = metabolizable_energy(tdn)
        energy = 1.42 * me - 0.174 * me**2 + 0.0122 * me**3 - 1.65
    elif method == "zinn_2008":
        energy = 0.877 * net_energy_maintenance(tdn) - 0.41
    else:
        raise ValueError(f"method {method!r}; expected nrc_1996 or zinn_2008")
    return np.where(in_range(tdn), np.maximum(energy, 0.0), np.nan)


def maintenance_energy(
    shrunk_kg: ArrayLike,
    *,
    breed: ArrayLike = 1.0,
    lactating: ArrayLike = False,
    bull: ArrayLike = False,
    condition: ArrayLike = 5.0,
    previous_temperature: ArrayLike = 20.0,
    cold: ArrayLike = 0.0,
) -> Floats:
    """NEm needed for maintenance [Mcal/day].

    ``(0.077 breed lactation sex condition + 0.0007 (20 - Tp)) W^0.75 (1 + cold)``: 0.077 read [3], the modifiers from
    memory (NRC 1996): lactating 1.2, intact bull 1.15, condition 0.8 + 0.05 (score - 1).

    Parameters
    ----------
    shrunk_kg : W, shrunk body weight
    breed : 1.0; Bos indicus 0.90
    lactating, bull : bool
    condition : body condition score 1 to 9
    previous_temperature : mean air temperature of the past month [degC]
    cold : extra share of maintenance in cold, from `sideoats.weather.livestock.cold_feed_energy`
    """
    factor = _f(breed) * np.where(lactating, 1.2, 1.0) * np.where(bull, 1.15, 1.0) * (0.8 + 0.05 * (_f(condition) - 1))
    per_kg = 0.077 * factor + 0.0007 * (20.0 - _f(previous_temperature))
    return np.asarray(per_kg * _f(shrunk_kg) ** 0.75 * (1.0 + _f(cold)), dtype=np.float64)


def equivalent_weight(shrunk_kg: ArrayLike, finish_kg: ArrayLike, standard_kg: ArrayLike = 478.0) -> Floats:
    """Equivalent shrunk weight [kg] = W * standard / finish; standard 478 kg at small marbling (from memory,
    NRC 1996)."""
    return np.asarray(_f(shrunk_kg) * _f(standard_kg) / _f(finish_kg), dtype=np.float64)


def gain_energy(equivalent_kg: ArrayLike, gain_kg: ArrayLike) -> Floats:
    """Retained energy of a shrunk gain [Mcal/day] = 0.0635 (0.891 EQSBW)^0.75 (0.956 SWG)^1.097 [4]."""
    return np.asarray(
        0.0635 * (_EMPTY * _f(equivalent_kg)) ** 0.75 * (_EMPTY_GAIN * np.maximum(_f(gain_kg), 0.0)) ** 1.097,
        dtype=np.float64,
    )


def gain_from_energy(equivalent_kg: ArrayLike, retained: ArrayLike, *, method: str = "nrc_1996_inverse") -> Floats:
    """Shrunk gain [kg/day] from retained energy [Mcal/day] [4].

    Parameters
    ----------
    method : nrc_1996_inverse, the exact inverse of `gain_energy`; nrc_1996_printed, 13.91 RE^0.9116 EQSBW^-0.6837
    """
    energy, weight = np.maximum(_f(retained), 0.0), _f(equivalent_kg)
    if method == "nrc_1996_inverse":
        empty = (energy / (0.0635 * (_EMPTY * weight) ** 0.75)) ** (1 / 1.097)
        return np.asarray(empty / _EMPTY_GAIN, dtype=np.float64)
    if method == "nrc_1996_printed":
        return np.asarray(13.91 * energy**0.9116 * weight**-0.6837, dtype=np.float64)
    raise ValueError(f"method {method!r}; expected nrc_1996_inverse or nrc_1996_printed")


def reserve_energy(
    body_kg: ArrayLike, score: ArrayLike, empty: float, fat: float, protein: tuple[float, float]
) -> Floats:
    """Net energy held in a cow's body [Mcal]: 9.4 a kg of fat and 5.7 a kg of protein of the empty body.

    Parameters
    ----------
    body_kg : body weight at that score
    score : body condition 1 to 9
    empty : empty body as a share of it
    fat : share of fat by point of score
    protein : share at score 0, and by point of score

    References
    ----------
    NRC 1996 form (from memory). From score 4 to 5 of an 1,100-lb cow it gives 206 Mcal; Nebraska prints 207 (read).
    """
    points = _f(score)
    return np.asarray(
        empty * _f(body_kg) * (9.4 * fat * points + 5.7 * (protein[0] + protein[1] * points)), dtype=np.float64
    )


def energy_limited_gain(
    intake_kg: ArrayLike, tdn: ArrayLike, maintenance: ArrayLike, equivalent_kg: ArrayLike
) -> Floats:
    """Shrunk gain [kg/day] that a ration allows: what is left after maintenance, at its NEg; 0 where nothing
    is left."""
    left = np.maximum(_f(intake_kg) - _f(maintenance) / net_energy_maintenance(tdn), 0.0)
    return gain_from_energy(equivalent_kg, left * net_energy_gain(tdn))


def tdn_needed(intake_kg: ArrayLike, maintenance: ArrayLike, retained: ArrayLike = 0.0) -> Floats:
    """TDN [%] at which so much feed covers maintenance and gain, by halving over TDN 45 to 90 %.

    Parameters
    ----------
    intake_kg : [kg dry matter/day]
    maintenance : NEm needed, with pregnancy and milk [Mcal/day]
    retained : NEg needed [Mcal/day]

    Returns
    -------
    [%]; 45 where even that is more than enough, NaN where 90 is not
    """
    feed, keep, gain = np.broadcast_arrays(_f(intake_kg), _f(maintenance), _f(retained))
    low, high = np.full(feed.shape, LEAST_TDN), np.full(feed.shape, MOST_TDN)

    def enough(tdn: Floats) -> NDArray[np.bool_]:
        left = feed - keep / net_energy_maintenance(tdn)
        return np.asarray((left >= 0) & (left * net_energy_gain(tdn) >= gain), dtype=bool)

    reachable = enough(high)
    for _ in range(50):
        middle = (low + high) / 2
        ok = enough(middle)
        high, low = np.where(ok, middle, high), np.where(ok, low, middle)
    return np.where(reachable, np.where(enough(np.full(feed.shape, LEAST_TDN)), LEAST_TDN, high), np.nan)
