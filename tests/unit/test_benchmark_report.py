"""The report of the benchmarks can be made with what the requirements install."""

from __future__ import annotations

import re

from benchmarks.__main__ import HERE, about, machine, report


def test_the_machine_and_every_library_are_named() -> None:
    """It named one that no requirements file installs, and ended before the first benchmark on a new machine."""
    line = machine()
    assert re.match(r"\d{4}-\d\d-\d\d: .+, \d+ cores, \d+ GiB, Python 3\.", line)
    for name in ("numpy", "scipy", "dask", "sqlalchemy", "statsmodels"):
        assert re.search(rf"{name} \d+\.", line)


def test_every_benchmark_says_what_it_measures() -> None:
    names = sorted(p.stem.removeprefix("bench_") for p in HERE.glob("bench_*.py"))
    assert {"scale", "ledger", "startup", "cattle"} <= set(names)
    assert all(about(name).endswith(".") and len(about(name)) > 30 for name in names)
    text = report("here", {"scale": "first line\n  and a part of it\n"})
    assert "## scale" in text and "- first line\n  - and a part of it" in text and about("scale") in text
