"""The pages that a person opens, for tests that walk over all of them."""

from __future__ import annotations

from running_desk import FIELD

PAGES = (
    "/", "/phone-in", "/phone-in/sorghum-aphid", "/phone-in/hay-nitrate", "/enter/by-hand",
    f"/enter/by-hand?kind=leaf_counts&place={FIELD}", "/enter/by-hand?kind=place", "/places", f"/places/{FIELD}",
    f"/call/sorghum-aphid/{FIELD}", f"/call/sorghum-aphid/{FIELD}/last-week", "/round",
    "/call/cull-cows/lone-gate.cow-herd-3", "/call/wheat-planting/stone-post.wheat-1", "/weather", "/markets",
    "/trials", "/done", "/bulletin", "/bulletin?language=es", "/letters", "/letters?farm=two-elms",
    f"/done/new?question=sorghum-aphid&place={FIELD}", "/done/new", "/files", "/help", "/session",
)  # fmt: skip
OFFICE_PAGES = ("/people", "/audit", "/session")
REFUSALS = ("/no-such-page", "/places/nowhere", "/?on=yesterday", f"/call/hay-nitrate/{FIELD}", "/entry/none")
EMPTY = (
    "/",
    "/bulletin",
    "/letters",
    "/round",
    "/places",
    "/weather",
    "/markets",
    "/trials",
    "/done",
    "/files",
    "/phone-in",
    "/enter/by-hand",
)
