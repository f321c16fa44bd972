"""Feed energy for beef cattle: from total digestible nutrients to net energy, and how much a gain or a cow needs.

Energy in Mcal, feed energy per kg of dry matter, weights in kg, TDN in percent of dry matter. The numbers of every
equation stand in ``cattle/nrc`` with their source; `nrc` carries them.

References
----------
.. [1] NRC, Nutrient Requirements of Beef Cattle, 7th rev. ed., 1996, p. 126; NEm and NEg as cubics in ME after Garrett
   1980.
.. [2] Lofgreen and Garrett 1968, J. Anim. Sci. 27:793: maintenance by metabolic weight.
.. [3] NRC 1996, retained energy of gain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sideoats.cattle.nutrition_coefficients import Coefficients

Floats = NDArray[np.float64]

KG_OF_LB = 0.45359237


def _f(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def shrunk_weight(full: ArrayLike, nrc: Coefficients) -> Floats:
    """Shrunk body weight, a share of full weight, in the unit given."""
    return np.asarray(nrc["maintenance"]["shrunk"] * _f(full), dtype=np.float64)


def metabolizable_energy(tdn: ArrayLike, nrc: Coefficients) -> Floats:
    """ME [Mcal/kg] of TDN [%] by DE [1]. Not to be mixed with newer ME: the cubics below were fitted to this one."""
    k = nrc["feed_energy"]
    return np.asarray(k["me_per_de"] * k["de_per_tdn"] * _f(tdn), dtype=np.float64)


def in_range(tdn: ArrayLike, nrc: Coefficients) -> NDArray[np.bool_]:
    """True where the net energy equations may be used: TDN 45 to 90 %."""
    value, k = _f(tdn), nrc["feed_energy"]
    return np.asarray((value >= k["least_tdn"]) & (value <= k["most_tdn"]), dtype=bool)


def _cubic(tdn: ArrayLike, which: str, nrc: Coefficients) -> Floats:
    me, k = metabolizable_energy(tdn, nrc), nrc["feed_energy"]
    return k[f"{which}_1"] * me + k[f"{which}_2"] * me**2 + k[f"{which}_3"] * me**3 + k[f"{which}_0"]


def net_energy_maintenance(tdn: ArrayLike, nrc: Coefficients) -> Floats:
    """NEm [Mcal/kg], a cubic in ME [1]; NaN outside TDN 45 to 90 %."""
    return np.where(in_range(tdn, nrc), _cubic(tdn, "nem", nrc), np.nan)


def net_energy_gain(tdn: ArrayLike, nrc: Coefficients) -> Floats:
    """NEg [Mcal/kg], a cubic in ME [1], at least 0; NaN outside TDN 45 to 90 %."""
    return np.where(in_range(tdn, nrc), np.maximum(_cubic(tdn, "neg", nrc), 0.0), np.nan)


def maintenance_energy(
    shrunk_kg: ArrayLike,
    nrc: Coefficients,
    *,
    lactating: ArrayLike = False,
    bull: ArrayLike = False,
    cold: ArrayLike = 0.0,
) -> Floats:
    """NEm needed for maintenance [Mcal/day]: ``0.077 lactation sex W^0.75 (1 + cold)`` [2].

    Condition does not change it: what a thin cow needs to regain hers is counted by itself, and a fat one is fed no
    more than her weight asks.

    Parameters
    ----------
    shrunk_kg : W, shrunk body weight
    lactating, bull : bool
    cold : extra share of maintenance in cold, from `sideoats.weather.livestock.cold_feed_energy`
    """
    k = nrc["maintenance"]
    factor = np.where(lactating, k["lactating"], 1.0) * np.where(bull, k["bull"], 1.0)
    return np.asarray(k["per_metabolic_kg"] * factor * _f(shrunk_kg) ** 0.75 * (1.0 + _f(cold)), dtype=np.float64)


def equivalent_weight(shrunk_kg: ArrayLike, finish_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Equivalent shrunk weight [kg] = W * standard / finish, the standard at small marbling."""
    return np.asarray(_f(shrunk_kg) * nrc["gain"]["standard_kg"] / _f(finish_kg), dtype=np.float64)


def gain_energy(equivalent_kg: ArrayLike, gain_kg: ArrayLike, nrc: Coefficients) -> Floats:
    """Retained energy of a shrunk gain [Mcal/day] = 0.0635 (0.891 EQSBW)^0.75 (0.956 SWG)^1.097 [3]."""
    k = nrc["gain"]
    body = (k["empty"] * _f(equivalent_kg)) ** k["weight_power"]
    return np.asarray(
        k["energy"] * body * (k["empty_gain"] * np.maximum(_f(gain_kg), 0.0)) ** k["gain_power"], dtype=np.float64
    )


def gain_from_energy(equivalent_kg: ArrayLike, retained: ArrayLike, nrc: Coefficients) -> Floats:
    """Shrunk gain [kg/day] from retained energy [Mcal/day]: the inverse of `gain_energy`."""
    k = nrc["gain"]
    body = k["energy"] * (k["empty"] * _f(equivalent_kg)) ** k["weight_power"]
    empty = (np.maximum(_f(retained), 0.0) / body) ** (1 / k["gain_power"])
    return np.asarray(empty / k["empty_gain"], dtype=np.float64)


def reserve_energy(body_kg: ArrayLike, score: ArrayLike, nrc: Coefficients) -> Floats:
    """Net energy held in a cow's body [Mcal], of the fat and the protein of the empty body.

    Parameters
    ----------
    body_kg : body weight at that score
    score : body condition 1 to 9
    """
    points, k = _f(score), nrc["reserves"]
    fat = k["fat_energy"] * k["fat_by_score"] * points
    protein = k["protein_energy"] * (k["protein_at_0"] + k["protein_by_score"] * points)
    return np.asarray(k["empty"] * _f(body_kg) * (fat + protein), dtype=np.float64)


def energy_limited_gain(
    intake_kg: ArrayLike, tdn: ArrayLike, maintenance: ArrayLike, equivalent_kg: ArrayLike, nrc: Coefficients
) -> Floats:
    """Shrunk gain [kg/day] that a ration allows: what is left after maintenance, at its NEg; at least 0."""
    left = np.maximum(_f(intake_kg) - _f(maintenance) / net_energy_maintenance(tdn, nrc), 0.0)
    return gain_from_energy(equivalent_kg, left * net_energy_gain(tdn, nrc), nrc)


def tdn_needed(
    intake_kg: ArrayLike, maintenance: ArrayLike, nrc: Coefficients, retained: ArrayLike = 0.0, halvings: int = 30
) -> Floats:
    """TDN [%] at which so much feed covers maintenance and gain, by halving over the range of the equations.

    Parameters
    ----------
    intake_kg : [kg dry matter/day]
    maintenance : NEm needed, with pregnancy and milk [Mcal/day]
    retained : NEg needed [Mcal/day]
    halvings : 30 find it to a ten-millionth of a percent

    Returns
    -------
    [%]; the least where even that is more than enough, NaN where the most is not
    """
    feed, keep, gain = np.broadcast_arrays(_f(intake_kg), _f(maintenance), _f(retained))
    least, most = nrc["feed_energy"]["least_tdn"], nrc["feed_energy"]["most_tdn"]
    low, high = np.full(feed.shape, least), np.full(feed.shape, most)

    def enough(tdn: Floats) -> NDArray[np.bool_]:
        left = feed - keep / net_energy_maintenance(tdn, nrc)
        return np.asarray((left >= 0) & (left * net_energy_gain(tdn, nrc) >= gain), dtype=bool)

    reachable = enough(high)
    for _ in range(halvings):
        middle = (low + high) / 2
        ok = enough(middle)
        high, low = np.where(ok, middle, high), np.where(ok, low, middle)
    return np.where(reachable, np.where(enough(np.full(feed.shape, least)), least, high), np.nan)
