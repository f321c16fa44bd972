"""Write src/sideoats/unit_table.py from pint, so that a phone-in need not import pint (0.4 s of a slow processor).

    python -m tools.make_unit_table

Run it after adding a name below; tests/unit/test_unit_table.py holds every row against pint itself.
"""

from __future__ import annotations

from pathlib import Path

from sideoats.units import registry

# Names that people and instruments write. Any other unit that pint knows is still read, through pint.
_WRITTEN = """
m meter meters metre metres km kilometer kilometers cm centimeter mm millimeter millimeters micrometer um
in inch inches ft foot feet yd yard yards mile miles mi ac acre acres ha hectare hectares g gram grams kg
kilogram kilograms mg milligram ug lb lbs pound pounds oz ounce ounces cwt ton tons t tonne metric_ton L
l liter liters litre mL ml gallon gallons gal quart pint fluid_ounce floz s second seconds sec min minute
minutes h hr hour hours day days d week weeks month months year years a kelvin K degC degF celsius
fahrenheit delta_degC delta_degF degreeC degreeF Pa hPa kPa mbar bar psi atm inHg mmHg J kJ MJ cal kcal
Mcal BTU W kW kWh mph knot knots kph USD dollar dollars cent cents bu bushel bushels head hd bale bales
degree degrees deg radian dimensionless count percent
"""
NAMES = tuple(_WRITTEN.split())
AXES = ("length", "mass", "time", "temperature", "money", "grain_bushel", "head_of_stock", "bale")
OUT = Path(__file__).parent.parent / "src" / "sideoats" / "unit_table.py"


def row(name: str) -> tuple[float, tuple[int, ...], float] | None:
    """Factor to SI, exponents along `AXES` (angle last) and a scale's offset; None where pint has none."""
    ureg = registry()
    unit = ureg.Unit(name)
    dims = {str(k).strip("[]"): int(v) for k, v in unit.dimensionality.items()}
    if set(dims) - set(AXES):
        return None
    base = ureg.Quantity(1.0, unit).to_base_units().magnitude - ureg.Quantity(0.0, unit).to_base_units().magnitude
    offset = ureg.Quantity(0.0, unit).to_base_units().magnitude
    angle = int(str(unit) in ("degree", "radian"))
    return float(base), (*(dims.get(axis, 0) for axis in AXES), angle), float(offset)


def main() -> None:
    """Write the table."""
    lines = [
        '"""Units by name: factor to SI, exponents along AXES, offset. Made by tools/make_unit_table.py from pint."""',
        "",
        f"AXES = {(*AXES, 'angle')!r}",
        "ROWS: dict[str, tuple[float, tuple[int, ...], float]] = {",
    ]
    for name in sorted(set(NAMES)):
        found = row(name)
        if found is not None:
            lines.append(f"    {name!r}: {found!r},")
    lines += ["}", ""]
    OUT.write_text("\n".join(lines).replace("'", '"'), encoding="utf-8")


if __name__ == "__main__":
    main()
