"""The publishers' tables as this district uses them: which is followed, which always bars, what a blend is aimed at."""

from __future__ import annotations

from sideoats.facts import PROVENANCE_WORDS, Facts
from sideoats.forage.nitrate import PPM_OF_PERCENT, ClassTable, after_ensiling, ion_factor, water_class

ALWAYS = "trade"
# what laboratories print for an ion and a moisture basis
FORM_ALIASES = {
    "nitrate-n": "NO3-N", "nitrate-nitrogen": "NO3-N", "nitrate nitrogen": "NO3-N", "no3n": "NO3-N", "no3 n": "NO3-N",
    "nitrate ion": "NO3", "nitrate-ion": "NO3", "no3-": "NO3", "potassium nitrate": "KNO3", "potassium-nitrate": "KNO3",
}  # fmt: skip
BASIS_ALIASES = {
    "dm": "dry", "dry matter": "dry", "dry-matter": "dry", "dry basis": "dry", "100% dry": "dry", "as fed": "as-fed",
    "as received": "as-fed", "as-received": "as-fed", "wet": "as-fed", "fresh": "as-fed",
}  # fmt: skip
_NAMES = {
    "trade": "the trade rule (common practice, no source)", "clemson": "Clemson", "servitech": "ServiTech",
    "dairyland": "Dairyland", "american_ag_lab": "American Ag Lab", "nebraska": "Nebraska",
    "south_dakota": "South Dakota",
    "manitoba": "Manitoba", "wyoming": "Wyoming", "kansas_agronomy": "Kansas (agronomy)",
    "kansas_farney": "Kansas (Farney)",
    "kansas_mf3029": "Kansas MF3029", "montana": "Montana",
}  # fmt: skip


def publisher_name(key: object) -> str:
    """How a publisher's key is shown."""
    return _NAMES.get(str(key), str(key))


def tables(facts: Facts, followed: str | None = None) -> tuple[ClassTable, dict[str, ClassTable]]:
    """The table followed for animals not at special risk, and every table on file by publisher."""
    _, chosen = facts.choose("forage/nitrate_class", followed)
    held = {fact.id.rpartition(".")[2]: ClassTable.of(fact) for fact in facts.under("forage/nitrate_class").values()}
    return held[chosen.id.rpartition(".")[2]], held


def dilution_targets(facts: Facts) -> dict[str, float]:
    """Level to dilute to [ppm NO3-N dry] by publisher; the district's own choice under the key ""."""
    out: dict[str, float] = {}
    _, chosen = facts.choose("forage/nitrate_dilution_target")
    for fact in [chosen, *facts.under("forage/nitrate_dilution").values()]:
        unit, ion, _ = fact.unit.split()
        level = fact.value * (PPM_OF_PERCENT if unit == "%" else 1.0) * ion_factor(ion, "NO3-N")
        out["" if not out else fact.id.rpartition(".")[2]] = level
    return out


def water_words(facts: Facts, level: float) -> str:
    """What each ladder on file calls water of this level [ppm NO3-N]; they differ by an order of magnitude."""
    picked, first = facts.choose("forage/water_nitrate_class")
    ladders = {picked: first} | {k.rpartition(".")[2]: f for k, f in facts.under("forage/water_nitrate_class").items()}
    said = [
        f"{water_class(level, fact.column('from'), fact.column('label'))[0]} ({fact.citation};"
        f" {PROVENANCE_WORDS[fact.provenance]})"
        for fact in ladders.values()
    ]
    return f"As water {level:,.0f} ppm NO3-N is: " + "; ".join(said) + "."


def standing_words(facts: Facts, level: float) -> list[str]:
    """Cutting height and ensiling of a standing crop of this level [ppm NO3-N dry], each range as printed."""
    losses = facts.under("forage/ensiling_loss").values()
    least, most = after_ensiling(level, min(f.low for f in losses), max(f.high for f in losses))
    heights = [
        f"{fact.low:g} to {fact.high:g} in, {fact.conditions} ({fact.citation})"
        for fact in facts.under("forage/cutting_height").values()
    ]
    return [
        f"Ensiling may leave {least:,.0f} to {most:,.0f} ppm NO3-N (published losses differ, and none is promised):"
        " test the silage before it is fed.",
        "Nitrate is highest at the foot of the stem; cutting heights in print: "
        + "; ".join(heights)
        + ". How much that"
        " takes off is not printed: test what is cut.",
        "The classes are for hay and cut feed; no level is published for green forage that is grazed.",
    ]
