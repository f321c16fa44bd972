"""Every reader takes any bytes: it gives entries that the ledger takes or refuses, or one line that says what is wrong.

Files that once broke a reader stay in ``corpus/FORMAT`` beside good ones; SIDEOATS_FULL=1 tries many more.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.fuzz.fuzzing import CORPUS, FULL, TEXTS, bounded, mutated, seeds

from sideoats.errors import SideoatsError
from sideoats.intake.taken import Taken, find_format, formats
from sideoats.ledger import NewEntry, evidence_kinds
from sideoats.ledger.drafts import draft
from sideoats.schema import read_all

NAMES = sorted(formats())
MAPPING = CORPUS / "mapping.toml"
OPTIONS: dict[str, list[dict[str, str]]] = {
    "buyer-schedule": [{"place": "mill"}],
    "grid": [{"points": "name=a, latitude=38.1, longitude=-99.1"}, {"points": "name=a, latitude=38, longitude=-99",
             "tmax": "tasmax"}],
    "isd-lite": [{"utc_offset": "-6"}],
    "dwml": [{}, {"place": "home.station"}],
    "forecast-grib": [{"latitude": "38.5", "longitude": "-99.2", "place": "home.station"}],
    "weather-service": [{"place": "home.station"}],
    "office-table": [{"kind": "place", "date": "2026-08-01"}, {"kind": "trap_catch", "date": "2026-08-01"}],
    "outlines": [{"date": "2026-08-01"}],
    "normals": [{}, {"station": "ZZC00000001"}],
    "station-csv": [{"mapping": str(MAPPING)}],
    "quotes-csv": [{"market": "m"}, {"market": "m", "commodity": "wheat", "unit": "USD/bu"}],
    "market-news": [{"market": "m"}, {}],
    "quick-stats": [{}, {"market": "m"}],
    "trial-table": [{"on": "2026-08-01", "unit": "bu/ac"}, {"on": "2026-08-01"}],
}  # fmt: skip
EXAMPLES = 3000 if FULL else 120
# h5netcdf's File complains in its destructor when it could not be opened: nothing that we could catch.
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture]


def take(name: str, path: Path, given_options: dict[str, str]) -> None:
    """Read and hand over; raises nothing but our own errors, each of one line."""
    chosen = find_format(name)
    try:
        with bounded():
            taken = chosen.read(path, read_all(chosen.options, given_options, where=f"take {name} "))
            assert isinstance(taken, Taken)
            for number, item in enumerate(taken.drafts[:40]):
                assert len(item.id) == 36
                new = NewEntry(item.kind, item.body, place=item.place, farm=item.farm, seen_at=item.seen_at, id=item.id)
                draft(new, evidence_kinds(), f"entry {number}, ")
    except SideoatsError as error:
        assert "\n" not in str(error) and 0 < len(str(error)) <= 600


def test_every_format_has_files_in_the_corpus() -> None:
    assert {p.name for p in CORPUS.iterdir() if p.is_dir()} >= set(NAMES)


@pytest.mark.parametrize(
    ("name", "path"), [(n, p) for n in NAMES for p in seeds(n)], ids=lambda v: v if isinstance(v, str) else v.name
)
def test_every_file_of_the_corpus_is_used_or_refused(name: str, path: Path) -> None:
    for options in OPTIONS.get(name, [{}]):
        take(name, path, options)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_damaged_files_are_used_or_refused(name: str, tmp_path: Path) -> None:
    files, numbers = seeds(name), iter(range(10**9))

    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=QUIET)
    @given(made=mutated(files), options=st.sampled_from(OPTIONS.get(name, [{}])))
    def damaged(made: tuple[str, bytes], options: dict[str, str]) -> None:
        path = tmp_path / f"file{next(numbers)}{made[0]}"
        path.write_bytes(made[1])
        try:
            take(name, path, options)
        finally:
            path.unlink()

    damaged()


@pytest.mark.slow
@pytest.mark.parametrize("name", [n for n in NAMES if formats()[n].options])
def test_any_option_is_used_or_refused(name: str) -> None:
    fields = formats()[name].options
    texts = st.sampled_from(TEXTS) | st.text(max_size=30)

    @settings(max_examples=EXAMPLES // 2, deadline=None, suppress_health_check=QUIET)
    @given(more=st.dictionaries(st.sampled_from([f.name for f in fields]), texts, max_size=3), base=st.booleans())
    def optional(more: dict[str, str], base: bool) -> None:
        take(name, seeds(name)[0], {**(OPTIONS.get(name, [{}])[0] if base else {}), **more})

    optional()


@pytest.mark.parametrize("name", NAMES)
def test_what_is_no_file_is_refused(name: str, tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.write_bytes(b"")
    for path in (tmp_path, tmp_path / "absent", empty, Path("bad\0name")):
        chosen = find_format(name)
        options: dict[str, Any] = read_all(chosen.options, OPTIONS.get(name, [{}])[0])
        with pytest.raises(SideoatsError) as caught, bounded():
            chosen.read(path, options)
        assert "\n" not in str(caught.value)
