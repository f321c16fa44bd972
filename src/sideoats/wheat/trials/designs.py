"""Analysis of variance of balanced designs: randomised complete blocks and split plots.

Textbook sums of squares (Cochran and Cox, Experimental Designs, 1957; from memory), checked against published tables.
Unbalanced designs go to `reml`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sideoats.decide.laws import student_score
from sideoats.errors import InputError
from sideoats.wheat.trials.terms import Floats, factor


@dataclass(frozen=True)
class Stratum:
    """One line of the table."""

    name: str
    df: int
    sum_of_squares: float

    @property
    def mean_square(self) -> float:
        """Sum of squares over its degrees of freedom."""
        return self.sum_of_squares / self.df


@dataclass(frozen=True)
class Anova:
    """Lines by name, and which line is the error of which."""

    lines: dict[str, Stratum]
    error_of: dict[str, str]

    def f_ratio(self, name: str) -> float:
        """Mean square over that of its own error."""
        return self.lines[name].mean_square / self.lines[self.error_of[name]].mean_square

    def p_value(self, name: str) -> float:
        """Chance of a larger F if nothing differed."""
        from scipy.special import fdtrc

        line, error = self.lines[name], self.lines[self.error_of[name]]
        return float(fdtrc(line.df, error.df, self.f_ratio(name)))


def least_significant_difference(sed: ArrayLike, df: ArrayLike, level: float = 0.05) -> Floats:
    """t(1 - level/2, df) x standard error of the difference, in its unit."""
    return student_score(1 - level / 2, df) * np.asarray(sed, np.float64)


def complete_blocks(block: ArrayLike, treatment: ArrayLike, response: ArrayLike) -> Anova:
    """Randomised complete block design with one plot of each treatment in each block.

    Raises
    ------
    InputError : a treatment is missing from, or stands twice in, a block
    """
    cube, _ = _cube((block, treatment), response)
    b, t = cube.shape
    grand = cube.mean()
    blocks = t * float(((cube.mean(axis=1) - grand) ** 2).sum())
    treatments = b * float(((cube.mean(axis=0) - grand) ** 2).sum())
    rest = float(((cube - grand) ** 2).sum()) - blocks - treatments
    lines = {
        "blocks": Stratum("blocks", b - 1, blocks),
        "treatments": Stratum("treatments", t - 1, treatments),
        "error": Stratum("error", (b - 1) * (t - 1), rest),
    }
    return Anova(lines, {"treatments": "error", "blocks": "error"})


def split_plot(block: ArrayLike, main: ArrayLike, sub: ArrayLike, response: ArrayLike) -> Anova:
    """Split-plot design in complete blocks: main plots within blocks, sub-plots within main plots.

    Raises
    ------
    InputError : not exactly one plot for each block, main and sub treatment
    """
    cube, _ = _cube((block, main, sub), response)
    r, a, b = cube.shape
    grand = cube.mean()
    blocks = a * b * float(((cube.mean(axis=(1, 2)) - grand) ** 2).sum())
    mains = r * b * float(((cube.mean(axis=(0, 2)) - grand) ** 2).sum())
    subs = r * a * float(((cube.mean(axis=(0, 1)) - grand) ** 2).sum())
    whole = b * float(((cube.mean(axis=2) - grand) ** 2).sum())
    cells = r * float(((cube.mean(axis=0) - grand) ** 2).sum())
    total = float(((cube - grand) ** 2).sum())
    both = cells - mains - subs
    lines = (
        Stratum("blocks", r - 1, blocks),
        Stratum("main", a - 1, mains),
        Stratum("main error", (r - 1) * (a - 1), whole - blocks - mains),
        Stratum("sub", b - 1, subs),
        Stratum("main x sub", (a - 1) * (b - 1), both),
        Stratum("sub error", a * (r - 1) * (b - 1), total - whole - subs - both),
    )
    error = {"blocks": "main error", "main": "main error", "sub": "sub error", "main x sub": "sub error"}
    return Anova({line.name: line for line in lines}, error)


def split_plot_errors(table: Anova, blocks: int, mains: int, subs: int) -> dict[str, float]:
    """Standard errors of differences of a split plot.

    Keys: main (between main means), sub (between sub means), sub in main (same main treatment), main in sub (same sub
    treatment).
    """
    whole = table.lines["main error"].mean_square
    split = table.lines["sub error"].mean_square
    return {
        "main": (2 * whole / (blocks * subs)) ** 0.5,
        "sub": (2 * split / (blocks * mains)) ** 0.5,
        "sub in main": (2 * split / blocks) ** 0.5,
        "main in sub": (2 * ((subs - 1) * split + whole) / (blocks * subs)) ** 0.5,
    }


def _cube(factors: tuple[ArrayLike, ...], response: ArrayLike) -> tuple[Floats, list[tuple[str, ...]]]:
    """The response laid out by factors, one plot in each cell."""
    terms = [factor(f"factor {i}", column) for i, column in enumerate(factors)]
    y = np.asarray(response, np.float64)
    shape = tuple(len(t) for t in terms)
    cell = np.ravel_multi_index(tuple(t.codes for t in terms), shape)
    counts = np.bincount(cell, minlength=int(np.prod(shape)))
    if (counts != 1).any() or not np.isfinite(y).all():
        raise InputError(
            f"{int((counts == 0).sum())} cells are empty and {int((counts > 1).sum())} hold more than one plot",
            where="analysis of variance",
            expected="a balanced design",
            todo="use the mixed model for this trial",
        )
    out = np.empty(len(y))
    out[cell] = y
    return out.reshape(shape), [t.labels for t in terms]
