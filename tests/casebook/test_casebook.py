"""Phone-ins with the answers that a specialist would accept (`*.toml` beside this file): each is asked and judged."""

import pytest
from tests.casebook.judging import cases, faults


@pytest.mark.parametrize("case", cases(), ids=lambda case: case["id"])
def test_a_specialist_would_accept_the_answer(case):
    assert case["because"], "a case says why its answer is right"
    assert {"verdict", "says", "never", "headline_says", "headline_never", "gain", "quantity", "vary"} & set(case)
    assert faults(case) == []


def test_no_two_cases_share_an_id():
    ids = [case["id"] for case in cases()]
    assert len(ids) == len(set(ids))
