"""A cold `sideoats ask` of every question, against `python -c "import numpy"`: how many times as much processor time.

The phone-ins are the casebook's: the first of each question. Processor time, not the clock's, because both are under a
second and other work on the machine doubles the clock's; the least of `ROUNDS`, each question beside a numpy of its
own.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

ROUNDS = 5
MOST = 2.0  # times, wanted of every question
COMMAND = "from sideoats.cli import main; main()"  # as the installed command `sideoats` starts
CASEBOOK = Path(__file__).parents[1] / "tests" / "casebook"


def phone_ins() -> dict[str, dict[str, Any]]:
    """Question -> its first phone-in in the casebook that is answered at once."""
    found: dict[str, dict[str, Any]] = {}
    for path in sorted(CASEBOOK.glob("*.toml")):
        for case in tomllib.loads(path.read_text(encoding="utf-8")).get("case", []):
            if "vary" not in case and "refused" not in case.get("verdict", ()):
                found.setdefault(case["ask"], case)
    return found


def spent(command: list[str]) -> float:
    """Processor seconds of one process, its start included."""
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONDONTWRITEBYTECODE", "SIDEOATS_LEDGER")}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(command, env=environment, capture_output=True, text=True, cwd=CASEBOOK.parents[1])
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode:
        raise RuntimeError(done.stderr.strip())
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def measured(case: dict[str, Any]) -> tuple[float, float]:
    """Processor seconds of the phone-in, and of numpy beside it."""
    pairs = [f"{name}={value}" for name, value in case.get("with", {}).items()]
    asked = [sys.executable, "-c", COMMAND, "ask", case["ask"], *pairs, "--on", str(case["on"])]
    bare = [sys.executable, "-c", "import numpy"]
    spent(asked)  # modules are compiled and files are put into machine form once an installation, not once an answer
    rounds = [(spent(asked), spent(bare)) for _ in range(ROUNDS)]
    return min(a for a, _ in rounds), min(b for _, b in rounds)


def main() -> None:
    """One line for all, one for each question, the slowest first."""
    from sideoats.question import registry

    cases, lines = phone_ins(), []
    for name in sorted(registry()):
        if name in cases:
            asked, bare = measured(cases[name])
            lines.append((asked / bare, f"{name}: {asked:.2f} s, {asked / bare:.1f} times numpy's {bare:.2f} s"))
    over = sum(times > MOST for times, _ in lines)
    print(f"{len(lines)} questions asked cold: {over} above {MOST:g} times `import numpy`")
    for _, line in sorted(lines, reverse=True):
        print("  " + line)
    if without := sorted(registry().keys() - cases.keys()):
        print("no phone-in in the casebook that could be asked: " + ", ".join(without))


if __name__ == "__main__":
    main()
