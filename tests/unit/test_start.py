"""What a cold phone-in may import: a library that takes longer than the answer is left alone."""

from __future__ import annotations

import json
import subprocess
import sys

from benchmarks.bench_ask import CASEBOOK, phone_ins

HEAVY = ("pint", "pandas", "scipy", "sqlalchemy", "xarray", "dask", "statsmodels", "msgspec", "starlette", "jinja2")
ASK = """
import json, sys, sideoats
from benchmarks.bench_ask import phone_ins
for name, case in sorted(phone_ins().items()):
    try:
        sideoats.ask(name, {{k: str(v) for k, v in case.get("with", {{}}).items()}}, on=case["on"])
    except sideoats.errors.SideoatsError as error:
        print(name, "was refused:", error)
    for heavy in {heavy!r}:
        if heavy in sys.modules and not any(heavy == h for h, _ in found):
            found.add((heavy, name))
"""


def imported() -> set[tuple[str, str]]:
    """Heavy libraries that the phone-ins of the casebook import, each with the question that was first to."""
    code = "found = set()\n" + ASK.format(heavy=HEAVY) + "print(json.dumps(sorted(found)))"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=CASEBOOK.parents[1]
    )
    return {(heavy, name) for heavy, name in json.loads(done.stdout.splitlines()[-1])}


def test_a_phone_in_imports_nothing_heavy() -> None:
    assert len(phone_ins()) >= 40
    assert imported() == set()
