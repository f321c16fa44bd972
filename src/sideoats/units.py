"""Units at the edges: text such as ``"80 bu/ac"`` becomes a plain float in one canonical unit.

Inside Sideoats every number is a float64 in the unit that its name or docstring states; `pint` is used only here.
Choices that a reader should know:

* ``ac`` is the international acre, 4046.8564224 m2 (the US survey acre is 4e-6 larger).
* ``bu`` is a unit of its own and never a volume or a mass: a bushel's pounds depend on the crop.
* ``head`` and ``USD`` are units of their own; ``cwt`` is 100 lb; ``ton`` is the short ton of 2,000 lb.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any

from sideoats.errors import UnitError

_NUMBER = re.compile(r"^\s*\$?\s*([+-]?(?:\d[\d,]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_ACRE_M2 = 4046.8564224
_TEMPERATURE_NAMES = {"F": "degF", "°F": "degF", "deg F": "degF", "C": "degC", "°C": "degC", "deg C": "degC"}
_SCALE = {"degree_Fahrenheit": 5 / 9, "degree_Celsius": 1.0, "kelvin": 1.0, "degree_Rankine": 5 / 9}
_SPELLINGS = {"%": "percent", "$": "USD", "sq ft": "ft**2", "sqft": "ft**2", "ft2": "ft**2", "m2": "m**2"}


@lru_cache(maxsize=1)
def registry() -> Any:
    """The one pint registry, made at first use because importing pint is slow."""
    import pint

    ureg: Any = pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=False, on_redefinition="ignore")
    for line in (
        "USD = [money] = dollar = dollars",
        "bu = [grain_bushel] = bushel = bushels",
        "head = [head_of_stock] = hd",
        "bale = [bale] = bales",
        f"ac = {_ACRE_M2} * meter ** 2 = acre = acres",
        "cwt = 100 * pound",
        "ton = 2000 * pound = tons = t_short",
        "inches = inch",
        "mph = mile / hour",
        "gpm = gallon / minute",
        "gpa = gallon / ac",
        "Mcal = 1e6 * calorie",
    ):
        try:
            ureg.define(line)
        except (pint.DefinitionSyntaxError, pint.RedefinitionError):  # pragma: no cover - a broken registry
            raise
    return ureg


def _spelled(unit: str) -> str:
    text = unit.strip()
    if text.startswith("/"):
        text = "1" + text
    for written, meant in _SPELLINGS.items():
        text = text.replace(written, meant)
    return text.replace("per ", "1/") if text.startswith("per ") else text.replace(" per ", "/").replace("^", "**")


@lru_cache(maxsize=4096)
def conversion(unit: str, canonical: str) -> tuple[float, float]:
    """Factor and offset such that ``canonical = value * factor + offset``.

    Raises UnitError when `unit` is unknown or of another kind than `canonical`.
    """
    import pint

    ureg = registry()
    try:
        target = ureg.Unit(_spelled(canonical)) if canonical not in ("", "1") else ureg.Unit("")
    except Exception as error:  # a canonical unit is ours: a wrong one is a bug
        raise UnitError(f"unit {canonical!r} of the program itself is unknown ({error})") from None
    kelvin = ureg.Unit("kelvin")
    given_text = unit.strip()
    if canonical == "ppm" and given_text.lower() == "mg/l":  # of water: a litre weighs a kilogram
        return 1.0, 0.0
    if target.dimensionality == kelvin.dimensionality and "delta" not in canonical:
        given_text = _TEMPERATURE_NAMES.get(given_text, given_text)
    try:
        if len(given_text) > 60:
            raise ValueError("too long")
        given = ureg.Unit("") if given_text in ("", "1") else ureg.parse_units(_unit_only(_spelled(given_text)))
        zero = ureg.Quantity(0.0, given).to(target).magnitude
        one = ureg.Quantity(1.0, given).to(target).magnitude
    except pint.DimensionalityError:
        raise UnitError(f"{unit!r} is not a unit of that kind", expected=canonical or "a plain number") from None
    except Exception:
        raise UnitError(f"unit {unit!r} is not known", expected=canonical or "a plain number") from None
    if zero != 0.0 and given.dimensionality == kelvin.dimensionality:  # an offset scale: recover its exact factor
        return _SCALE[str(given)] / _SCALE[str(target)], float(zero)
    return float(one - zero), float(zero)


def _unit_only(text: str) -> str:
    """`1/ft` is a unit here although it begins with a number; any other number inside a unit is refused."""
    rest = text[1:] if text.startswith("1/") else text
    if re.search(r"(?<![\w*])\d", rest.replace("**2", "").replace("**3", "")):
        raise ValueError("a number inside the unit")
    return text


def split(text: str) -> tuple[float, str]:
    """``"1,200 lb/ac"`` to ``(1200.0, "lb/ac")``. Raises UnitError where no finite number leads."""
    match = _NUMBER.match(text)
    if not match:
        raise UnitError(f"{text!r} does not begin with a number", expected="a number, then its unit")
    value = float(match.group(1).replace(",", ""))
    if not math.isfinite(value):
        raise UnitError(f"{text!r} is not a finite number", expected="a number, then its unit")
    unit = match.group(2)
    if "$" in text and "USD" not in unit:
        unit = "USD" + unit if unit.startswith("/") or not unit else unit
    return value, unit


def parse(text: str, canonical: str, *, bare: bool = False) -> float:
    """A quantity written by a person, as a float in `canonical` units.

    Parameters
    ----------
    text : such as ``"80 bu/ac"``, ``"27%"``, ``"$4.50/bu"``
    canonical : the unit wanted; ``"1"`` for a plain count or ratio
    bare : accept a number without a unit as being in `canonical` units already

    Raises
    ------
    UnitError : no number, not finite, no unit where one is needed, or a unit of another kind
    """
    value, unit = split(text)
    if not unit and not bare and canonical not in ("", "1"):
        raise UnitError(f"{text!r} has no unit", expected=f"a quantity such as '{text.strip()} {canonical}'")
    factor, offset = conversion(unit or canonical, canonical)
    result = value * factor + offset
    if not math.isfinite(result):
        raise UnitError(f"{text!r} is not a finite number")
    return result


def convert(value: Any, unit: str, canonical: str) -> Any:
    """Numbers or arrays in `unit` as `canonical`; the same kind out as in."""
    factor, offset = conversion(unit, canonical)
    return value * factor + offset
