"""What is learned from own values lies between what was believed and what was seen, and narrows as they come."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sideoats.decide.learning import believe

heats = st.floats(50, 600)
sds = st.floats(5, 150)
seasons = st.lists(st.lists(heats, min_size=1, max_size=6), min_size=1, max_size=6)


@given(heats, sds, seasons, sds, sds)
def test_between_prior_and_data_and_better_known_than_before(mean, sd, own, between, within) -> None:
    found = believe(mean, sd, own, between, within)
    seen = [np.mean(values) for values in own]
    assert min(mean, *seen) - 1e-6 <= found.mean <= max(mean, *seen) + 1e-6
    assert found.sd < sd and found.spread > found.sd
    assert (found.count, found.seasons) == (sum(map(len, own)), len(own))


@given(heats, sds, seasons, st.lists(heats, min_size=1, max_size=6), sds, sds)
def test_every_further_season_and_field_narrows_it(mean, sd, own, more, between, within) -> None:
    before = believe(mean, sd, own, between, within).sd
    assert believe(mean, sd, [*own, more], between, within).sd < before
    assert believe(mean, sd, [[*own[0], *more], *own[1:]], between, within).sd < before


@given(heats, sds, st.lists(heats, min_size=1, max_size=40), sds, sds)
def test_many_fields_of_one_spring_never_tell_more_than_that_spring(mean, sd, fields, between, within) -> None:
    found = believe(mean, sd, [fields], between, within)
    assert found.sd >= 1 / np.sqrt(1 / sd**2 + 1 / between**2) - 1e-9


@given(heats, sds, sds, sds)
def test_nothing_seen_changes_nothing(mean, sd, between, within) -> None:
    found = believe(mean, sd, [[]], between, within)
    assert (found.count, found.seasons) == (0, 0)
    np.testing.assert_allclose([found.mean, found.sd], [mean, sd])
