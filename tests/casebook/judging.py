"""How a phone-in of the casebook is judged: asked as a caller would, held against what a specialist would accept.

A case (one ``[[case]]`` table of a ``*.toml`` beside this file) has an id, the question it asks, the day, the inputs
(``with``), why the answer is right (``because``: a published source, or common practice) and at least one of

    verdict          verdicts that are right; "refused" is one clear line of bad input
    says, never      patterns that must, or must not, stand anywhere in the answer (case ignored)
    headline_says, headline_never
                     patterns that must, or must not, stand in the headline
    gain             at_least, at_most: the best option that does something over the best that does nothing
    quantity         name (a pattern), at_least, at_most
    vary             input, values, trend: the case is asked once for each value. Trends: gain falls, gain rises,
                     gain falls-one-for-one, gain smooth, severity rises, severity falls

`options` are those of `sideoats.ask`, such as an outlook, where a test gives one with its cases.

`does` names the options that count as doing something (a shell pattern), `rest` the option that does nothing, where the
usual keys do not tell. No answer at all may have two options that read alike.
"""

from __future__ import annotations

import fnmatch
import json
import re
import tomllib
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import sideoats
from sideoats.errors import SideoatsError

SEVERITY = {"wait": 0, "look": 1, "act": 2, "stop": 3}
RESTS = ("never", "leave", "none", "sell-now", "sell_now", "wait", "keep-none", "no-spray", "untreated", "nothing")
Answer = dict[str, Any]
Case = dict[str, Any]


def cases(folder: Path = Path(__file__).parent) -> list[Case]:
    """All cases of the folder's files but the disputed ones, in the files' order."""
    files = [path for path in sorted(folder.glob("*.toml")) if path.name != "disputed.toml"]
    return [case for path in files for case in tomllib.loads(path.read_text("utf-8"))["case"]]


def faults(case: Case) -> list[str]:
    """What a specialist would object to in the answer; empty where it is right."""
    if "vary" in case:
        return _trend_faults(case)
    answer = _asked(case, {})
    if "verdict" in case and answer["verdict"] not in case["verdict"]:
        wanted = "/".join(case["verdict"])
        return [f"{answer['verdict']}, a specialist: {wanted} | {answer['headline'][:200]}"]
    if answer["verdict"] == "refused" and "verdict" in case:
        return [
            f"the refusal does not say /{p}/" for p in case.get("refusal_says", []) if not _in(p, answer["headline"])
        ]
    return [*_reading_faults(answer), *_word_faults(case, answer), *_figure_faults(case, answer)]


def _reading_faults(answer: Answer) -> list[str]:
    """What no reader of any answer would understand."""
    labels = [option["label"] for option in answer["options"]]
    return [f"several options read {label!r}" for label in sorted(set(labels)) if labels.count(label) > 1]


def _asked(case: Case, change: dict[str, str]) -> Answer:
    given = {k: str(v) for k, v in {**case.get("with", {}), **change}.items()}
    try:
        return sideoats.ask(case["ask"], given, on=date.fromisoformat(str(case["on"])), **case.get("options", {}))
    except SideoatsError as error:
        return {"verdict": "refused", "headline": str(error), "options": [], "quantities": {}}


def _in(pattern: str, text: str) -> bool:
    return re.search(pattern, text, re.IGNORECASE) is not None


def _word_faults(case: Case, answer: Answer) -> list[str]:
    whole, head = json.dumps(answer, default=str, ensure_ascii=False), answer["headline"]
    return [
        *(f"does not say /{p}/ | {head[:160]}" for p in case.get("says", []) if not _in(p, whole)),
        *(f"says /{p}/" for p in case.get("never", []) if _in(p, whole)),
        *(f"headline lacks /{p}/ | {head[:160]}" for p in case.get("headline_says", []) if not _in(p, head)),
        *(f"headline says /{p}/ | {head[:160]}" for p in case.get("headline_never", []) if _in(p, head)),
    ]


def _figure_faults(case: Case, answer: Answer) -> list[str]:
    out = []
    if "gain" in case:
        got = _gain(case, answer)
        if got is None or not _within(got, case["gain"]):
            out.append(f"gain {got}, wanted {case['gain']}")
    if "quantity" in case:
        wanted = case["quantity"]
        shown = {k: q["value"] for k, q in answer["quantities"].items() if _in(wanted["name"], k)}
        if not any(isinstance(v, int | float) and _within(v, wanted) for v in shown.values()):
            out.append(f"{wanted['name']} is {shown}, wanted {wanted}")
    return out


def _within(value: float, bounds: dict[str, Any]) -> bool:
    return bool(bounds.get("at_least", -1e18) <= value <= bounds.get("at_most", 1e18))


def _gain(case: Case, answer: Answer) -> float | None:
    usable = {o["key"]: o["expected"] for o in answer["options"] if not o["barred"] and o["expected"] is not None}
    rests = {k for k in usable if (k == case["rest"] if "rest" in case else k in RESTS)}
    does = {k for k in usable if fnmatch.fnmatch(k, case.get("does", "*"))} - rests
    if not does or not rests:
        return None
    return float(max(usable[k] for k in does) - max(usable[k] for k in rests))


def _trend_faults(case: Case) -> list[str]:
    vary = case["vary"]
    values, trend = vary["values"], vary["trend"]
    answers = [_asked(case, {vary["input"]: value}) for value in values]
    if not vary.get("refusal_ok") and (refused := [a["headline"] for a in answers if a["verdict"] == "refused"]):
        return [f"refused: {refused[0][:200]}"]
    if trend.startswith("severity"):
        series: list[float] = [SEVERITY[a["verdict"]] for a in answers if a["verdict"] != "refused"]
    else:
        gains = [_gain(case, a) for a in answers]
        if None in gains:
            return ["no gain can be read from the options"]
        series = [g for g in gains if g is not None]
    shown = ", ".join(f"{v}: {s:.4g}" for v, s in zip(values, series, strict=False))
    return [f"{fault}: {shown}" for fault in _steps(vary, trend, values, series)]


def _steps(vary: Case, trend: str, values: list[str], series: list[float]) -> list[str]:
    steps = [b - a for a, b in pairwise(series)]
    slack, whole, least = vary.get("tolerance", 0.05), series[-1] - series[0], vary.get("by", 0.01)
    if trend == "gain falls-one-for-one":
        rises = [b - a for a, b in pairwise(float(str(v).split()[0]) for v in values)]
        broken = any(abs(step + rise) > slack for step, rise in zip(steps, rises, strict=True))
    elif trend == "gain smooth":
        broken = max(abs(s) for s in steps) > vary["at_most"]
    elif trend in ("gain falls", "severity falls"):
        broken = max(steps) > slack or (trend == "gain falls" and -whole < least)
    elif trend in ("gain rises", "severity rises"):
        broken = min(steps) < -slack or (trend == "gain rises" and whole < least)
    else:
        raise ValueError(f"no trend is called {trend!r}")
    out = [f"{trend}: broken"] if broken else []
    if "ratio_at_least" in vary and series[0] > 0 and series[-1] / series[0] < vary["ratio_at_least"]:
        out.append(f"last over first {series[-1] / series[0]:.1f}")
    return out
