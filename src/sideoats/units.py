"""Units at the edges: text such as ``"80 bu/ac"`` becomes a plain float in one canonical unit.

Inside Sideoats every number is a float64 in the unit that its name or docstring states; `pint` is used only here, and
only for units that `unit_table` (made from pint) does not have, because importing it takes longer than an answer.
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
from sideoats.records import dataclass
from sideoats.unit_table import AXES, ROWS

_DIGITS = r"(?:\d{1,3}(?:,\d{3})+(?![\d,])(?:\.\d*)?|\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_NUMBER = re.compile(rf"^\s*\$?\s*([+-]?{_DIGITS})\s*(.*?)\s*$")
_ACRE_M2 = 4046.8564224
_TEMPERATURE_NAMES = {"F": "degF", "°F": "degF", "deg F": "degF", "C": "degC", "°C": "degC", "deg C": "degC"}
_SCALE = {"degree_Fahrenheit": 5 / 9, "degree_Celsius": 1.0, "kelvin": 1.0, "degree_Rankine": 5 / 9}
_SPELLINGS = {
    "%": "percent", "$": "USD", "¢": "cent", "sq ft": "ft**2", "sqft": "ft**2", "ft2": "ft**2", "m2": "m**2",
    "cents ": "cent ", "cents/": "cent/",
}  # fmt: skip
# How laboratories write a part of the whole, as parts per million (a definition: mass over mass).
_PARTS = {
    "%": 1e4, "percent": 1e4, "pct": 1e4, "per cent": 1e4, "g/100g": 1e4, "g/100 g": 1e4,
    "g/kg": 1e3, "mg/g": 1e3, "mg/100g": 10.0, "mg/100 g": 10.0, "lb/ton": 500.0,
    "ppm": 1.0, "mg/kg": 1.0, "ug/g": 1.0, "µg/g": 1.0, "μg/g": 1.0, "mcg/g": 1.0,
    "ppb": 1e-3, "ug/kg": 1e-3, "µg/kg": 1e-3, "μg/kg": 1e-3, "mcg/kg": 1e-3, "ng/g": 1e-3,
}  # fmt: skip
# Of water, where a liter weighs a kilogram.
_PARTS_OF_WATER = {"mg/l": 1.0, "ug/l": 1e-3, "µg/l": 1e-3, "μg/l": 1e-3, "mcg/l": 1e-3, "g/l": 1e3}


@lru_cache(maxsize=1)
def registry() -> Any:
    """The one pint registry, made at first use because importing pint is slow."""
    import pint

    ureg: Any = pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=False, on_redefinition="ignore")
    for line in (
        "USD = [money] = dollar = dollars",
        "cent = 0.01 * USD = cents",
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


@dataclass(frozen=True)
class _Unit:
    """A unit read by the table: factor to SI, exponents along `AXES`, offset, and the names it is made of."""

    factor: float
    powers: tuple[int, ...]
    offset: float
    made_of: tuple[tuple[str, int], ...]

    @property
    def step(self) -> bool:
        """True for a difference of temperatures."""
        return any(name.startswith("delta_") for name, _ in self.made_of)


_PART = re.compile(r"([A-Za-z_]+)(?:\*\*(\d))?|(1)")


@lru_cache(maxsize=4096)
def _tabled(text: str) -> _Unit | None:
    """The unit of `text` by the table that was made from pint, None where a name is not in it."""
    names: list[tuple[str, int]] = []
    at, sign = 0, 1
    while at < len(text):
        found = _PART.match(text, at)
        if found is None:
            return None
        if found[1]:
            if found[1] not in ROWS:
                return None
            names.append((found[1], sign * int(found[2] or 1)))
        at = found.end()
        if at < len(text):
            sign = {"*": 1, "/": -1}.get(text[at], 0)
            at += 1
            if sign == 0 or at == len(text):
                return None
    factor, powers, offset = 1.0, [0] * len(AXES), 0.0
    for name, power in names:
        each, dims, shift = ROWS[name]
        factor *= each**power
        offset = shift if len(names) == 1 else offset
        if shift and (len(names) > 1 or power != 1):
            return None  # a scale with its own zero inside a product is pint's business
        powers = [a + power * b for a, b in zip(powers, dims, strict=True)]
    return _Unit(factor, tuple(powers), offset, tuple(names))


def _read(unit: str, canonical: str = "") -> _Unit | None:
    """`unit` as a person writes it, by the table."""
    text = unit.strip()
    if len(text) > 60:
        return None
    if text in ("", "1"):
        return _Unit(1.0, (0,) * len(AXES), 0.0, ())
    if "delta" not in canonical:
        text = _TEMPERATURE_NAMES.get(text, text)
    spelled = _spelled(text).replace(" * ", "*").replace(" / ", "/")
    return _tabled(spelled) or _tabled(spelled.lower())


@lru_cache(maxsize=4096)
def conversion(unit: str, canonical: str) -> tuple[float, float]:
    """Factor and offset such that ``canonical = value * factor + offset``.

    Raises UnitError when `unit` is unknown or of another kind than `canonical`.
    """
    parts = _parts(unit), _parts(canonical)
    if parts[0] and (parts[1] or canonical in ("", "1")):
        return parts[0] / (parts[1] or 1e6), 0.0
    given, target = _read(unit, canonical), _read(canonical)
    if given is None or target is None:
        return _by_pint(unit, canonical)
    scale_to_step = (given.offset and target.step) or (target.offset and given.step)  # 70 degF is no rise of 70
    if given.powers[:-1] != target.powers[:-1] or scale_to_step:  # an angle is a plain number to arithmetic
        raise UnitError(f"{unit!r} is not a unit of that kind", expected=canonical or "a plain number")
    return _snapped(given.factor / target.factor), _snapped((given.offset - target.offset) / target.factor)


def _snapped(ratio: float) -> float:
    """2000.0000000000002 is 2000: rounding of the way through SI, not of the ratio of two units."""
    short = float(f"{ratio:.12g}")
    return short if math.isclose(short, ratio, rel_tol=1e-15) else ratio


def _by_pint(unit: str, canonical: str) -> tuple[float, float]:
    """As `conversion`, for units that the table does not have."""
    import pint

    ureg = registry()
    try:
        target = ureg.Unit(_spelled(canonical)) if canonical not in ("", "1") else ureg.Unit("")
    except Exception as error:  # a canonical unit is ours: a wrong one is a bug
        raise UnitError(f"unit {canonical!r} of the program itself is unknown ({error})") from None
    kelvin = ureg.Unit("kelvin")
    given_text = unit.strip()
    if target.dimensionality == kelvin.dimensionality and "delta" not in canonical:
        given_text = _TEMPERATURE_NAMES.get(given_text, given_text)
    try:
        if len(given_text) > 60:
            raise ValueError("too long")
        given = ureg.Unit("") if given_text in ("", "1") else _unit_of(ureg, given_text)
        zero = ureg.Quantity(0.0, given).to(target).magnitude
        one = ureg.Quantity(1.0, given).to(target).magnitude
    except pint.DimensionalityError:
        raise UnitError(f"{unit!r} is not a unit of that kind", expected=canonical or "a plain number") from None
    except Exception:
        raise UnitError(f"unit {unit!r} is not known", expected=canonical or "a plain number") from None
    if zero != 0.0 and given.dimensionality == kelvin.dimensionality:  # an offset scale: recover its exact factor
        return _SCALE[str(given)] / _SCALE[str(target)], float(zero)
    return float(one - zero), float(zero)


def _parts(unit: str) -> float:
    """Parts per million in a unit that says a part of the whole, 0 for every other unit."""
    text = " ".join(unit.lower().split())
    return _PARTS.get(text) or _PARTS_OF_WATER.get(text, 0.0)


def _unit_of(ureg: Any, text: str) -> Any:
    """The unit that is written; where its letters are unknown as written, as they are in small letters (LB/AC)."""
    spelled = _unit_only(_spelled(text))
    try:
        return ureg.parse_units(spelled)
    except Exception:
        return ureg.parse_units(_unit_only(_spelled(text.lower())))


@lru_cache(maxsize=4096)
def fits(unit: str, canonical: str) -> bool:
    """Whether a person may write `unit` where `canonical` is asked for.

    The dimension alone does not say so: a percentage is no count of insects, parts per million are no degrees of
    longitude and gallons an acre are no height above the sea, although the dimensions agree.
    """
    if unit == canonical:
        return True
    if _parts(canonical):
        return bool(_parts(unit))
    if _parts(unit) or canonical in ("", "1"):
        return False
    try:
        conversion(unit, canonical)
    except UnitError:
        return False
    return _cancels(unit) == _cancels(canonical) and _angle(unit) == _angle(canonical)


def _angle(unit: str) -> bool:
    if (read := _read(unit)) is not None:
        return read.powers[-1] != 0
    return str(_unit_of(registry(), unit)) in ("degree", "radian", "arcminute", "arcsecond", "gradian", "turn")


def _cancels(unit: str) -> bool:
    """Whether a dimension stands above and below the line of `unit`, as length does in gallons an acre."""
    signs: dict[Any, set[bool]] = {}
    if (read := _read(unit)) is not None:
        for name, power in read.made_of:
            for axis, exponent in enumerate(ROWS[name][1]):
                if exponent:
                    signs.setdefault(axis, set()).add(exponent * power > 0)
        return any(len(found) > 1 for found in signs.values())
    ureg = registry()
    unit = _TEMPERATURE_NAMES.get(unit.strip(), unit)
    for name, power in _unit_of(ureg, unit)._units.items():
        for dimension, exponent in ureg.Unit(name).dimensionality.items():
            signs.setdefault(dimension, set()).add(exponent * power > 0)
    return any(len(found) > 1 for found in signs.values())


def _unit_only(text: str) -> str:
    """`1/ft` is a unit here although it begins with a number; any other number inside a unit is refused."""
    rest = text[1:] if text.startswith("1/") else text
    if "//" in text:
        raise ValueError("two lines of division")
    if re.search(r"(?<![\w*])\d", rest.replace("**2", "").replace("**3", "")):
        raise ValueError("a number inside the unit")
    return text


def split(text: str) -> tuple[float, str]:
    """``"1,200 lb/ac"`` to ``(1200.0, "lb/ac")``. Raises UnitError where no finite number leads."""
    text = text.replace("\N{MINUS SIGN}", "-").replace("\N{NO-BREAK SPACE}", " ")
    match = _NUMBER.match(text)
    if not match:
        raise UnitError(f"{text[:80]!r} does not begin with a number", expected="a number, then its unit")
    value, unit = float(match.group(1).replace(",", "")), match.group(2)
    if unit[:1] in (",", "."):
        raise UnitError(
            f"{text[:80]!r} has a comma or point where no thousand ends",
            expected="a number such as 4500, 4,500 or 4.5, then its unit",
        )
    if not math.isfinite(value):
        raise UnitError(f"{text[:80]!r} is not a finite number", expected="a number, then its unit")
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
    if unit:
        factor, offset = conversion(unit, canonical)  # which says so where the unit is not known at all
        if not fits(unit, canonical):
            raise UnitError(f"{unit!r} is not a unit of that kind", expected=_wanted(canonical))
    else:
        factor, offset = 1.0, 0.0
    result = value * factor + offset
    if not math.isfinite(result):
        raise UnitError(f"{text!r} is not a finite number")
    return result


def _wanted(canonical: str) -> str:
    return f"a quantity in {canonical}" if canonical not in ("", "1") else "a plain number without a unit"


def convert(value: Any, unit: str, canonical: str) -> Any:
    """Numbers or arrays in `unit` as `canonical`; the same kind out as in."""
    factor, offset = conversion(unit, canonical)
    return value * factor + offset
