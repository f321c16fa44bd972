"""docs/files.md lists every format as it is, and what the files beside the project give."""

from __future__ import annotations

import pytest
from tools.layouts import DATA, FILES, PAGE, filled, formats_table


def test_every_format_stands_on_the_page_as_it_is() -> None:
    assert formats_table() in PAGE.read_text("utf-8")  # else run `python -m tools.layouts`


@pytest.mark.skipif(not DATA.is_dir(), reason="../shared/data is not beside the project")
def test_what_the_files_give_stands_on_the_page() -> None:
    here = {f"{p.parent.name}/{p.name}" for folder in ("weather", "markets") for p in (DATA / folder).iterdir()}
    assert here - {"weather/README.md", "markets/README.md"} == set(FILES)
    text = PAGE.read_text("utf-8")
    assert filled(text) == text
