"""No phone-in about forage that can kill becomes milder by what is left out, added, respelt or grown old.

`make trials` asks 100,000 phone-ins, each as it is and changed, and prints the count.
"""

from __future__ import annotations

import pytest
from tests.fuzz.fuzzing import FULL
from tests.property.clearance import SAID, milder, tried

NAMES = ("hay-nitrate", *SAID)
ALL = 100_000 if FULL else 3_000


@pytest.mark.parametrize("name", NAMES)
def test_nothing_that_stood_is_cleared(name: str) -> None:
    share = ALL // len(NAMES) + 1
    count, found = tried(name, share, seed=17)
    shown = ", ".join(f"{count[verdict]:,} {verdict}" for verdict in ("stop", "look", "act", "wait", "refused"))
    print(f"\n{name}: {share:,} phone-ins asked twice ({shown}), {len(found)} became milder")
    assert found[:5] == []
    assert min(count["stop"], count["look"]) > share / 20 and count["wait"] + count["act"] > share / 100


def test_what_counts_as_milder() -> None:
    assert milder("left out", "stop", "wait") and milder("noise", "look", "act") and milder("grown old", "stop", "act")
    assert not milder("left out", "stop", "look") and not milder("left out", "look", "wait")
    assert not milder("noise", "wait", "stop") and not milder("respelt", "refused", "wait")
