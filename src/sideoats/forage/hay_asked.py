"""What a phone-in about a lot of hay is refused for, with one line that says what to do."""

from __future__ import annotations

from typing import Any

import numpy as np

from sideoats.errors import InputError
from sideoats.facts import load
from sideoats.forage import nitrate, stock
from sideoats.forage.hay_case import feed_slip
from sideoats.forage.slips import Slip, refused


def check(values: dict[str, Any]) -> None:
    """Refuse what cannot be judged: no result or two, more cores than bales, a slip that cannot be right, water whose
    form is not stated."""
    slips = [Slip.of(row) for row in values["tests"] or ()]
    if values["result"] is None and not values["single_bales"] and not slips:
        raise InputError(
            "no result given",
            where="hay-nitrate result",
            expected="result='2100 ppm' or single_bales='1200, 2100 ppm'",
            todo="send cores of the bales to a laboratory; a colour test is only a screen (see hay-spot-test)",
        )
    if values["result"] is not None and values["single_bales"]:
        raise InputError("both result and single_bales given", where="hay-nitrate", expected="one of them")
    if values["only_test"] and slips:
        raise InputError(
            "other tests are given although only_test is yes",
            where="hay-nitrate only_test",
            expected="one of the two",
            todo="the highest of all tests counts",
        )
    if (values["cores"] or 0) > (values["bales"] or np.inf):
        raise InputError(
            f"{values['cores']:.0f} cores of {values['bales']:.0f} bales",
            where="hay-nitrate cores",
            expected="bales cored, at most as many as there are",
            todo="one of the two is a slip: read both again",
        )
    stock.check_weight(values, "hay-nitrate")
    facts, own = load(), Slip.of(values)
    _dry(own.form, own.basis, own.moisture)
    for slip in (own, *slips):
        refused(slip, facts, "hay-nitrate")
    for feed in values["feeds"] or ():
        _dry(feed["form"], feed["basis"], feed["moisture"])
        refused(feed_slip(feed), facts, f"hay-nitrate feed {feed['name'][:40]!r}")
    if values["water"] is not None and values["water_form"] is None:
        raise InputError(
            "is missing",
            where="hay-nitrate water_form",
            expected="NO3-N or NO3",
            todo="a water result is judged only with its form: 100 ppm NO3-N is 443 ppm NO3",
        )


def _dry(form: str, basis: str, moisture: Any) -> None:
    """Refuse what no table can be read with."""
    held = float("nan") if moisture is None else float(moisture)
    nitrate.nitrate_nitrogen_dry(0.0, form=form, basis=basis, moisture=held)
