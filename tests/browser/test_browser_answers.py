"""Pressing the button that a form is for, on every question's form: with scripts and without, and again on a call."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from running_desk import RunningDesk
from watching import Watched

from sideoats.question import find, registry

SLIP = {"result": "11400", "result.unit": "ppm", "form": "NO3", "basis": "dry", "class": "pregnant-cow"}


def press(page: Any, words: str) -> Any:
    """Press a button and give the answer to what it sent."""
    with page.expect_response(lambda r: r.request.method == "POST") as sent:
        page.click(f"button:text-is('{words}')")
    return sent.value


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_answer_is_sent_and_shown_for_every_question(
    desk: RunningDesk, open_page: Callable[..., Watched], scripts: bool
) -> None:
    found = open_page(desk, java_script_enabled=scripts)
    page = found.page
    silent = []
    for name in sorted(registry()):
        found.go(f"/phone-in/{name}")
        answer = press(page, "Answer")
        page.wait_for_selector("#answer [role=alert], #answer .call-head")
        if answer.status not in (200, 422) or not answer.url.endswith(f"/phone-in/{name}"):
            silent.append((name, answer.status, answer.url))
        if any(f.required for f in find(name).inputs) and not page.is_visible("#answer [role=alert] a"):
            silent.append((name, "what is missing is not named beside its box", answer.url))
    assert not silent
    found.complaints = [c for c in found.complaints if "422" not in c]  # a blank form is refused on purpose


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_slip_of_hay_nitrate_is_answered(desk: RunningDesk, open_page: Callable[..., Watched], scripts: bool) -> None:
    found = open_page(desk, java_script_enabled=scripts)
    page = found.page
    found.go("/phone-in/hay-nitrate")
    for name, value in SLIP.items():
        control = page.locator(f"form.no-print [name='q.{name}']")
        kind = control.first.evaluate("e => e.type") if scripts else control.first.get_attribute("type")
        if kind == "radio":
            page.check(f"form.no-print [name='q.{name}'][value='{value}']")
        elif control.evaluate("e => e.tagName") == "SELECT":
            control.select_option(value)
        else:
            control.fill(value)
    assert press(page, "Answer").status == 200
    page.wait_for_selector("#answer .call-head")
    assert page.inner_text("#verdict").startswith("Stop")
    assert page.input_value("form.no-print [name='q.result']") == "11400"


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_ask_again_with_these_on_a_call_of_every_question_of_the_week(
    desk: RunningDesk, open_page: Callable[..., Watched], scripts: bool
) -> None:
    calls = {c.question: c.place for c in desk.wait_for_week().calls}
    assert "hay-nitrate" in calls
    found = open_page(desk, java_script_enabled=scripts)
    page = found.page
    for question, place in calls.items():
        found.go(f"/call/{question}/{place}")
        if page.locator("button:text-is('Ask again with these')").is_hidden():
            page.click("summary:has-text('Change a value')")
        assert press(page, "Ask again with these").status == 200, question
        page.wait_for_selector("#what-if p" if scripts else "#answer p")
