"""How long `sideoats --help` takes, against a Python that starts and does nothing."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time


def _median(command: list[str], rounds: int = 9) -> float:
    taken = []
    for _ in range(rounds):
        started = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main() -> None:
    """One line."""
    shown = _median([sys.executable, "-m", "sideoats", "--help"])
    bare = _median([sys.executable, "-c", "pass"])
    print(f"sideoats --help: {shown:.3f} s (wanted: under 0.3 s), {shown / bare:.1f} times a Python that does nothing")


if __name__ == "__main__":
    main()
