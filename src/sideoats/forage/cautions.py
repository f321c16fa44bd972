"""The lines that every answer of this room carries, as codes ``forage.care.<word>``. No doses, no reagents."""

EMERGENCY = ("sick", "treatment")
NITRATE = ("signs", "stays", "risk", "guides", "cattle_only")
