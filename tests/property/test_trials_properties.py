"""Properties of the trial machinery: same answer by any elimination order, known components recovered, bounds kept."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sideoats.errors import InputError
from sideoats.wheat.trials import fronts, reml
from sideoats.wheat.trials.analyse import analyse
from sideoats.wheat.trials.compare import best_sets, next_season
from sideoats.wheat.trials.stability import complete
from sideoats.wheat.trials.table import from_columns, simulate
from sideoats.wheat.trials.terms import factor, intercept

SDS = {"variety": 3, "site": 8, "year": 5, "site_year": 6, "variety_site": 1.5, "variety_year": 2,
       "variety_site_year": 2.5, "rep": 1, "error": 4}  # fmt: skip


def network(table):
    t = table
    return [
        factor("variety", t.variety), factor("site", t.site), factor("year", t.year),
        factor("site.year", t.site, t.year), factor("variety.site", t.variety, t.site),
        factor("variety.year", t.variety, t.year), factor("variety.site.year", t.variety, t.site, t.year),
        factor("rep", t.environment, t.rep),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "chain", [["site.year"], ["site.year", "site"], ["variety.site", "site"], ["rep", "site.year"]]
)
def test_any_elimination_order_gives_the_same_fit(monkeypatch, chain):
    table = simulate(np.random.default_rng(3), sites=5, years=4, varieties=9, reps=2, deviations=SDS, missing=0.3)
    terms = network(table)
    names = ["mean", *(t.name for t in terms)]
    fits = []
    for order in ([], chain):
        monkeypatch.setattr(fronts, "choose_chain", lambda _, order=order: [names.index(c) for c in order])
        fits.append(reml.fit(table.yields, [intercept(len(table))], terms))
    assert fits[1].tree.chain == tuple(chain)
    assert fits[0].log_likelihood == pytest.approx(fits[1].log_likelihood, abs=1e-8)
    assert fits[0].effects == pytest.approx(fits[1].effects, abs=1e-6)
    combos = np.eye(len(fits[0].effects))[:, 1:8]
    assert fits[0].covariance(combos) == pytest.approx(fits[1].covariance(combos), abs=1e-6)


def test_simulated_trials_recover_their_components():
    table = simulate(np.random.default_rng(11), sites=16, years=6, varieties=40, reps=3, deviations=SDS)
    fitted = reml.fit(table.yields, [intercept(len(table))], network(table))
    assert fitted.converged
    for name, sd in SDS.items():
        name = {"site_year": "site.year", "error": "residual"}.get(name, name.replace("_", "."))
        found = fitted.residual if name == "residual" else fitted.variances[name]
        assert abs(found - sd**2) < 4 * fitted.standard_errors[name], name
    # what replicates and cells by the thousand pin down must be close, not only within its error
    assert fitted.residual == pytest.approx(16, rel=0.03)
    assert fitted.variances["variety.site.year"] == pytest.approx(6.25, rel=0.15)
    assert fitted.variances["variety.year"] == pytest.approx(4, rel=0.4)


def test_blocks_in_incomplete_designs_are_recovered():
    sds = {"variety": 3, "site_year": 4, "rep": 1, "block": 2.5, "error": 2}
    table = simulate(np.random.default_rng(5), sites=6, years=2, varieties=30, reps=3, blocks_per_rep=6, deviations=sds)
    found = analyse(table)
    assert found.variance("block") == pytest.approx(6.25, rel=0.3)
    assert found.random_fit.residual == pytest.approx(4, rel=0.15)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), missing=st.floats(0, 0.4), zero=st.sampled_from(["variety_site", "site", "rep"]))
def test_fit_is_at_a_minimum_and_inside_its_bounds(seed, missing, zero):
    sds = {**SDS, zero: 0.0}
    table = simulate(
        np.random.default_rng(seed), sites=4, years=3, varieties=7, reps=2, deviations=sds, missing=missing
    )
    terms = network(table)
    fitted = reml.fit(table.yields, [intercept(len(table))], terms)
    assert fitted.converged and all(v >= 0 for v in fitted.variances.values()) and fitted.residual > 0
    work = reml._Work(
        table.yields, np.ones(len(table)), (intercept(len(table)),), tuple(terms), np.zeros(1, bool), fitted.tree
    )
    ratio = np.maximum(np.array(list(fitted.variances.values())) / fitted.residual, 1e-8)
    best = work.criterion(ratio)[0]
    for k in range(len(ratio)):
        for step in (0.97, 1.03):
            moved = ratio.copy()
            moved[k] = max(moved[k] * step, 1e-6)
            assert work.criterion(moved)[0] >= best - 1e-6


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_chances_mirror_and_next_year_is_less_sure_than_the_mean(seed):
    table = simulate(np.random.default_rng(seed), sites=4, years=3, varieties=6, reps=2, deviations=SDS, missing=0.1)
    season = next_season(analyse(table))
    chance, mean_higher = season.chance_beats(), season.chance_mean_higher()
    assert chance + chance.T == pytest.approx(np.ones_like(chance))
    assert (np.abs(chance - 0.5) <= np.abs(mean_higher - 0.5) + 1e-12).all()


def test_draws_follow_their_own_chances():
    table = simulate(np.random.default_rng(8), sites=6, years=4, varieties=5, reps=3, deviations=SDS)
    season = next_season(analyse(table))
    draws = season.draws(np.random.default_rng(0).standard_normal((2, 5, 40_000)))
    seen = (draws[:, None, :] > draws[None, :, :]).mean(axis=2)
    off = ~np.eye(5, dtype=bool)
    assert seen[off] == pytest.approx(season.chance_beats()[off], abs=0.01)


def test_a_mixed_set_is_never_worse_in_bad_seasons_than_its_mean_member():
    draws = np.random.default_rng(2).standard_normal((6, 5000)) + np.linspace(0, 0.2, 6)[:, None]
    names = tuple("ABCDEF")
    alone = {s.varieties[0]: s.worst_fifth for s in best_sets(draws, names, 1, 1.0, most=6)}
    for pair in best_sets(draws, names, 2, 1.0, most=15):
        assert pair.worst_fifth >= np.mean([alone[v] for v in pair.varieties]) - 1e-9
    with pytest.raises(InputError, match="sets of 9"):
        best_sets(draws, names, 9, 0.5)


@given(st.integers(3, 8), st.integers(3, 8), st.integers(0, 10_000))
@settings(deadline=None)
def test_complete_leaves_no_gap(rows, columns, seed):
    rng = np.random.default_rng(seed)
    table = rng.normal(size=(rows, columns))
    table[rng.random((rows, columns)) < 0.2] = np.nan
    left, kept_rows, kept_columns = complete(table)
    assert not np.isnan(left).any()
    assert left.shape == (kept_rows.sum(), kept_columns.sum())


@pytest.mark.parametrize("shape", [(2, 2, 4, 1), (3, 2, 5, 1), (2, 2, 4, 2), (4, 3, 6, 1)])
def test_plots_that_a_model_fits_exactly_do_not_break_it(shape):
    """The optimum lies at infinity, and what the arithmetic of a processor rounds decides the way there: many seeds."""
    for seed in range(8):
        deviations = {"variety": 2, "site": 3, "error": 0.0}
        rng = np.random.default_rng(seed)
        sites, years, varieties, reps = shape
        table = simulate(rng, sites=sites, years=years, varieties=varieties, reps=reps, deviations=deviations)
        found = analyse(table)
        assert np.isfinite(found.blue).all() and found.random_fit.residual < 1e-4, seed


def test_two_varieties_in_two_trials_are_never_certain():
    """A is ahead by about the same in both trials: the variance between trials is then estimated as nothing."""
    columns = {
        "variety": ["A", "A", "B", "B"] * 2, "site": ["N"] * 4 + ["S"] * 4, "year": ["1"] * 4 + ["2"] * 4,
        "rep": ["1", "2"] * 4, "yield": [48.0, 46.0, 44.0, 43.0, 55.0, 51.0, 50.0, 49.0],
    }  # fmt: skip
    season = next_season(analyse(from_columns(columns)))
    assert season.df == 1 and any("widened" in note for note in season.notes)
    assert 0.5 < season.chance_beats()[0, 1] < 0.95
    wide = simulate(np.random.default_rng(3), sites=5, years=3, varieties=12, reps=2, deviations=SDS)
    assert next_season(analyse(wide)).df == (12 - 1) * (15 - 1)
