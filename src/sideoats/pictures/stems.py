"""The four verdicts drawn as a stem of grass: behind two rails, with three seeds, with one open seed, and bare."""


def _line(way: str, width: float) -> str:
    return f'<path d="{way}" fill="none" stroke="currentColor" stroke-width="{width}" stroke-linecap="round"/>'


_STEM = _line("M4 23.5C4.6 15 5 8 7 1", 1.6)
_SEEDS = "".join(f"M{x} {y}c3.6-1.6 7-.6 9.6 2-3.7 1.7-7.3 1.1-9.6-2z" for x, y in ((6.4, 4.2), (5.6, 10.2), (5, 16.2)))
_OPEN = '<path d="M5.9 9.2c4-2.7 8.2-1.8 11.2 2.1-4.4 3-8.7 2.2-11.2-2.1z" fill="none" stroke="currentColor" '
_RAIL = '<path d="{}" stroke="currentColor" stroke-width="{}"/>'
BODIES = {
    "stop": _line("M8 23.5C8.4 15 8.6 8 10 1", 1.6)
    + _RAIL.format("M1 9.5h16M1 15.5h16", 3.4)
    + _RAIL.format("M2.6 5.5v14.5M15.4 5.5v14.5", 1.8),
    "act": f'{_STEM}<path d="{_SEEDS}" fill="currentColor"/>',
    "look": f'{_STEM}{_OPEN}stroke-width="1.5" stroke-linejoin="round"/>'
    '<circle cx="11.2" cy="10.9" r="1.1" fill="currentColor"/>',
    "wait": _STEM + _line("M4.3 22.8C6 18.5 9 16.5 13 16.4", 1.3),
}
STEMS = {
    name: f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 18 24">{body.replace("currentColor", "#1d1a16")}</svg>'
    for name, body in BODIES.items()
}
