"""The lines that every answer of this room carries. Common sense of the trade; no doses, no reagents."""

from __future__ import annotations

EMERGENCY = (
    "If any animal looks sick: take the feed away quietly and call the veterinarian at once. Do not run the cattle.",
    "Treatment is the veterinarian's alone; withdrawal times follow it. No doses are given here.",
)
NITRATE = (
    (
        "Signs of nitrate poisoning: brown blood and membranes, laboured breath, staggering, collapse, sometimes hours"
        " after eating."
    ),
    "Nitrate stays in hay. Water counts with feed. Never turn out hungry cattle; watch the first hours.",
    (
        "Pregnant, sick, thin, lactating, young and unadapted animals are at greatest risk: the strictest class is used"
        " for them."
    ),
    "Published levels are guides, not law, and publishers disagree; the laboratory and the veterinarian come first.",
)
SILAGE = "Silo gas (nitrogen dioxide) kills people: stay out of and away from a fresh silo of hot forage."
PRUSSIC = (
    "Signs of prussic acid poisoning: cherry-red blood, gasping, staggering; death within minutes.",
    "New shoots are the most dangerous and are eaten first. Low spots freeze before the weather station does.",
    (
        "No field test is reliable; only a laboratory can clear a field, and drying the sample before the assay loses"
        " the acid."
    ),
)
ACID = (
    (
        "The field test uses concentrated sulfuric acid: it burns. Eye and skin protection; wash with much water; let"
        " trained people use a made-up kit."
    ),
)
TETANY = ("Tetany: staggering, twitching, going down. Keep noise away and call the veterinarian at once.",)
BLOAT = (
    (
        "A swollen left side, laboured breath or a calf down: take the rest off the pasture and call the veterinarian"
        " at once."
    ),
    "Feed additives for bloat: by their label and the veterinarian only.",
)
RATION = (
    "A laboratory test of your own feeds overrides every table.",
    "Change feeds over one to two weeks. Weigh and mix: a ration on paper is not the ration in the bunk.",
    "Aflatoxin levels are action levels of the Food and Drug Administration; blending feed over them needs permission.",
)


def emergency(*more: str) -> list[str]:
    """The emergency lines first, then what belongs to the question."""
    return [*EMERGENCY, *more]
