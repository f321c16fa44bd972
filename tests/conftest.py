"""Shared by all tests: what hypothesis tries is fixed in CI, so that a run says something about the change alone."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "ci", derandomize=True, deadline=None, print_blob=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("search", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if os.environ.get("CI") else "search")
