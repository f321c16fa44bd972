"""Run every ``bench_*.py`` (or those named) in a process of its own and write a small report.

python -m benchmarks [NAME ...] [--out FILE]

docs/benchmarks.md is such a report, of all of them, made on a machine with nothing else to do.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
from collections.abc import Mapping
from datetime import date
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).parent
LIBRARIES = ("numpy", "scipy", "dask", "sqlalchemy", "statsmodels")


def machine() -> str:
    """One line about where and when this was measured."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (
        f"{date.today().isoformat()}: {platform.system()} {platform.machine()}, {os.cpu_count()} cores, "
        f"{memory:.0f} GiB, Python {platform.python_version()}, {libraries}"
    )


def about(name: str) -> str:
    """The first sentence of a benchmark's own description."""
    text = (HERE / f"bench_{name}.py").read_text(encoding="utf-8").split('"""')[1]
    return " ".join(text.strip().split("\n\n")[0].split())


def report(where: str, measured: Mapping[str, str]) -> str:
    """Markdown: the machine, then the lines that each benchmark printed."""
    parts = [
        "# Measured",
        "Made by `python -m benchmarks --out docs/benchmarks.md`. Ratios are taken in one run.",
        where,
    ]
    for name, lines in measured.items():
        shown = [
            ("  - " + line.strip()) if line.startswith(" ") else "- " + line for line in lines.strip().splitlines()
        ]
        parts += [f"## {name}", about(name), "\n".join(shown)]
    return "\n\n".join(parts) + "\n"


def main() -> None:
    """Print each benchmark's lines, and write them to a file if asked."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("names", nargs="*", help="such as weather wheat; all if left out")
    parser.add_argument("--out", type=Path, help="write the report here too")
    chosen = parser.parse_args()
    names = chosen.names or sorted(p.stem.removeprefix("bench_") for p in HERE.glob("bench_*.py"))
    where, measured = machine(), {}
    print(where, flush=True)
    failed = False
    for name in names:
        done = subprocess.run(
            [sys.executable, "-m", f"benchmarks.bench_{name}"], capture_output=True, text=True, cwd=HERE.parent
        )
        measured[name] = done.stdout
        print(f"## {name}\n{done.stdout.strip()}", flush=True)
        if done.returncode:
            failed = True
            print(f"{name} failed: {done.stderr.strip().splitlines()[-1:]}", file=sys.stderr)
    if chosen.out:
        chosen.out.write_text(report(where, measured), encoding="utf-8")
    sys.exit(failed)


if __name__ == "__main__":
    main()
