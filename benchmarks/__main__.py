"""Run every ``bench_*.py`` (or those named) in a process of its own and write a small report.

python -m benchmarks [NAME ...] [--out FILE]
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).parent


def machine() -> str:
    """One line about where this was measured."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy"))
    return f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, {libraries}"


def main() -> None:
    """Print each benchmark's lines, and write them to a file if asked."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("names", nargs="*", help="such as weather wheat; all if left out")
    parser.add_argument("--out", type=Path, help="write the report here too")
    chosen = parser.parse_args()
    names = chosen.names or sorted(p.stem.removeprefix("bench_") for p in HERE.glob("bench_*.py"))
    lines = [f"# {machine()}"]
    print(lines[0], flush=True)
    failed = False
    for name in names:
        done = subprocess.run(
            [sys.executable, "-m", f"benchmarks.bench_{name}"], capture_output=True, text=True, cwd=HERE.parent
        )
        lines += [f"## {name}", done.stdout.strip()]
        print("\n".join(lines[-2:]), flush=True)
        if done.returncode:
            failed = True
            print(f"{name} failed: {done.stderr.strip().splitlines()[-1:]}", file=sys.stderr)
    if chosen.out:
        chosen.out.write_text("\n\n".join(lines) + "\n", encoding="utf-8")
    sys.exit(failed)


if __name__ == "__main__":
    main()
