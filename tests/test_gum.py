"""The tools of the GUM against scipy, GTC, uncertainties, and the examples of JCGM 100 and 106.

Published values are from memory of the documents, but computed before they were pinned.
"""

from __future__ import annotations

import math
import statistics

import GTC
import numpy as np
import pytest
import uncertainties
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats
from uncertainties import umath

from curvelab import gum
from curvelab.gum import Input, within
from curvelab.uncertainty import NORMAL, RECTANGULAR, STUDENT, Contribution, budget, combine, upper_tail

VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]          # JCGM 100:2008, table H.2
AMPERES = [0.019663, 0.019639, 0.019640, 0.019685, 0.019678]
PHASES = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
numbers = st.floats(-1e3, 1e3)


@given(st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=12))
def test_repeated_readings_against_the_standard_library(readings):
    mean = gum.repeated(readings)
    assert mean.value == pytest.approx(statistics.fmean(readings), abs=1e-12)
    assert mean.u == pytest.approx(statistics.stdev(readings) / math.sqrt(len(readings)), rel=1e-9, abs=1e-12)
    assert (mean.distribution, mean.dof) == (STUDENT, len(readings) - 1)


def test_repeated_readings_against_gtc():
    ours, theirs = gum.repeated(VOLTS), GTC.type_a.estimate(VOLTS)
    assert (ours.value, ours.u, ours.dof) == pytest.approx((theirs.x, theirs.u, theirs.df), rel=1e-12)


def test_correlation_of_means_of_h2():
    """JCGM 100:2008, table H.2: r(V, I) = -0.36, r(V, φ) = 0.86, r(I, φ) = -0.65."""
    r = gum.correlation_of_means([VOLTS, AMPERES, PHASES])
    assert np.round(r, 2).tolist() == [[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]]
    v, i = (np.array(each) - np.mean(each) for each in (VOLTS, AMPERES))
    covariance = v @ i / (5 * 4)  # equation (17) there
    assert r[0, 1] == pytest.approx(covariance / (gum.repeated(VOLTS).u * gum.repeated(AMPERES).u), rel=1e-12)


@pytest.mark.parametrize("shape, top, distribution", [
    ("rectangular", 0.5, stats.uniform(-1, 2)), ("triangular", 0.5, stats.triang(0.5, -1, 2)), ("arcsine", 0.5, stats.arcsine(-1, 2)),
    ("trapezoid", 0.3, stats.trapezoid(0.35, 0.65, -1, 2)), ("trapezoid", 0.0, stats.triang(0.5, -1, 2)), ("trapezoid", 1.0, stats.uniform(-1, 2)),
])
def test_divisors_against_the_distributions_of_scipy(shape, top, distribution):
    assert 1 / gum.divisor(shape, top) == pytest.approx(distribution.std(), rel=1e-9)
    assert within(7.0, 3.0, shape, top=top).u == pytest.approx(3 * distribution.std(), rel=1e-9)


@pytest.mark.parametrize("matrix, words", [
    ([[1, 0.5]], r"shape \(1, 2\) does not fit 2 inputs"),
    ([[1, 0.5, 0], [0.5, 1, 0], [0, 0, 1]], r"shape \(3, 3\) does not fit 2 inputs"),
    ([[1, 0.5], [0.4, 1]], "not symmetric"),
    ([[1, 0.5], [0.5, 0.9]], "diagonal"),
    ([[1, 1.5], [1.5, 1]], "1.5 does not lie between -1 and 1"),
    ([[1, math.nan], [math.nan, 1]], "nan does not lie between -1 and 1"),
])
def test_a_matrix_that_is_no_correlation_is_refused(matrix, words):
    with pytest.raises(ValueError, match=words):
        gum.combined_u([1, 1], [1, 1], matrix)


def test_correlations_that_contradict_each_other_are_refused():
    """a with b and b with c at 0.9 forces a with c to 0.62 or more."""
    forced = 2 * 0.9**2 - 1
    for r in (forced - 1e-6, -0.9):
        with pytest.raises(ValueError, match="not positive semidefinite.*contradict"):
            gum.combined_u([1, 1, 1], [1, 1, 1], [[1, 0.9, r], [0.9, 1, 0.9], [r, 0.9, 1]])
    gum.combined_u([1, 1, 1], [1, 1, 1], [[1, 0.9, forced], [0.9, 1, 0.9], [forced, 0.9, 1]])


@given(st.lists(st.tuples(numbers, st.floats(0, 1e3)), min_size=1, max_size=6))
def test_combination_without_and_with_full_correlation(items):
    c, u = np.array(items).T
    independent = combine([Contribution(str(i), "", abs(share)) for i, share in enumerate(c * u)])
    assert gum.combined_u(c, u) == pytest.approx(independent, rel=1e-12, abs=1e-150)
    assert gum.combined_u(c, u, np.ones((c.size, c.size))) == pytest.approx(abs(c @ u), rel=1e-6, abs=1e-7 * np.abs(c * u).sum() + 1e-150)


@settings(max_examples=50)
@given(st.integers(0, 10_000), st.floats(0.01, 100))
def test_combination_scales_and_does_not_mind_the_order(seed, factor):
    rng = np.random.default_rng(seed)
    r, c, u = np.corrcoef(rng.standard_normal((4, 9))), rng.standard_normal((2, 4)), rng.uniform(0, 3, 4)
    order = rng.permutation(4)
    whole = gum.covariance(c, u, r)
    rounding = 1e-14 * np.abs(whole).max()  # where terms cancel, their own last digits are left
    assert gum.covariance(c[:, order], u[order], r[np.ix_(order, order)]) == pytest.approx(whole, rel=1e-12, abs=rounding)
    assert gum.covariance(factor * c, u, r) == pytest.approx(factor**2 * whole, rel=1e-12, abs=factor**2 * rounding)
    assert gum.combined_u(c[0], u, r) ** 2 == pytest.approx(whole[0, 0], rel=1e-12)
    assert gum.combined_u(c, u, r) ** 2 == pytest.approx(np.diag(whole), rel=1e-12)


def test_h2_resistance_reactance_impedance():
    """JCGM 100:2008, tables H.3 and H.4, and GTC. u(X) is printed 0.295; unrounded inputs give 0.2956."""
    means = [gum.repeated(each) for each in (VOLTS, AMPERES, PHASES)]
    r = gum.correlation_of_means([VOLTS, AMPERES, PHASES])

    def model(v, i, phi):
        return np.array([v / i * np.cos(phi), v / i * np.sin(phi), v / i])

    values = model(*(mean.value for mean in means))
    args = gum.sensitivities(model, means), [mean.u for mean in means], r
    u = gum.combined_u(*args)
    found = gum.covariance(*args) / np.outer(u, u)
    assert np.round(values, 3).tolist() == [127.732, 219.847, 254.260]
    assert np.round(u, 3).tolist() == [0.071, 0.296, 0.236]
    assert np.round([found[0, 1], found[0, 2], found[1, 2]], 3).tolist() == [-0.588, -0.485, 0.993]

    v, i, phi = GTC.type_a.multi_estimate_real((VOLTS, AMPERES, PHASES))
    theirs = [v / i * GTC.cos(phi), v / i * GTC.sin(phi), v / i]
    assert u == pytest.approx([each.u for each in theirs], rel=1e-7)
    assert found[0, 1] == pytest.approx(GTC.get_correlation(theirs[0], theirs[1]), rel=1e-6)


@settings(max_examples=50)
@given(st.floats(0.5, 5), st.floats(0.5, 5), st.floats(1e-6, 0.3), st.floats(1e-6, 0.3), st.floats(-1, 1))
def test_sensitivities_and_correlation_against_uncertainties(a, b, share_a, share_b, r):
    inputs = {"a": Input(a, a * share_a), "b": Input(b, b * share_b)}
    us = [each.u for each in inputs.values()]
    x, y = uncertainties.correlated_values_norm([(a, us[0]), (b, us[1])], [[1, r], [r, 1]])
    theirs = x * umath.sin(y) / (1 + x * y)
    slopes = gum.sensitivities(lambda a, b: a * np.sin(b) / (1 + a * b), inputs)
    exact = math.sin(b) / (1 + a * b) ** 2, a * math.cos(b) / (1 + a * b) - a * a * math.sin(b) / (1 + a * b) ** 2
    assert slopes == pytest.approx(exact, rel=1e-6, abs=1e-7)
    ours = gum.propagate(lambda a, b: a * np.sin(b) / (1 + a * b), inputs, [[1, r], [r, 1]])
    assert ours.value == pytest.approx(theirs.nominal_value, rel=1e-12)
    assert ours.u == pytest.approx(theirs.std_dev, rel=1e-5, abs=1e-6 * max(c.u for c in ours.contributions))


def test_an_exact_input_has_a_sensitivity_and_no_share():
    result = gum.propagate(lambda a, b: a**2 * b, [Input(3.0, 0.1), Input(2.0, 0.0)])
    assert gum.sensitivities(lambda a, b: a**2 * b, [Input(3.0, 0.1), Input(2.0, 0.0)]) == pytest.approx([12, 9], rel=1e-8)
    assert [c.u for c in result.contributions] == pytest.approx([1.2, 0], rel=1e-9)


def test_the_contributions_make_a_budget():
    parts = {"a": Input(0, 1.0), "b": within(0, 3.0), "c": within(0, 2.0, "arcsine"), "d": Input(0, 0.5, STUDENT, 4)}
    result = gum.propagate(lambda a, b, c, d: a - 2 * b + c + d, parts)
    rows = budget(result.contributions)
    assert [row.cause for row in rows] == ["b", "c", "a", "d"] and rows[1].remark == "arcsine"
    assert sum(row.fraction for row in rows) == pytest.approx(1)
    assert result.u == pytest.approx(combine(result.contributions), rel=1e-12)
    assert [c.distribution for c in result.contributions] == [NORMAL, RECTANGULAR, NORMAL, STUDENT]
    assert result.dof == pytest.approx(result.u**4 / (0.5**4 / 4))


def test_dof_are_not_defined_for_correlated_inputs_with_finite_ones():
    r = [[1, 0.5], [0.5, 1]]
    assert math.isnan(gum.propagate(lambda a, b: a + b, [Input(0, 1), Input(0, 1, STUDENT, 4)], r).dof)
    assert gum.propagate(lambda a, b: a + b, [Input(0, 1), Input(0, 1)], r).dof == math.inf


def end_gauge():
    """Inputs and model of JCGM 100:2008, H.1: lengths in nm, temperatures in °C."""
    inputs = {
        "standard": Input(50_000_623, 25, STUDENT, 18),
        "difference": Input(215, 5.8, STUDENT, 24), "random": Input(0, 3.9, STUDENT, 5), "systematic": Input(0, 6.7, STUDENT, 8),
        "expansion": within(11.5e-6, 2e-6), "expansions": within(0, 1e-6, dof=50),
        "mean": Input(-0.1, 0.2), "swing": within(0, 0.5, "arcsine"), "temperatures": within(0, 0.05, dof=2),
    }

    def length(standard, difference, random, systematic, expansion, expansions, mean, swing, temperatures):
        warming = expansions * (mean + swing) + expansion * temperatures
        return standard + difference + random + systematic - standard * warming

    return length, inputs


def test_h1_end_gauge():
    """JCGM 100:2008, H.1: l = 50 000 838 nm, u_c = 32 nm, ν_eff = 16, U₉₉ = 93 nm, from u_c rounded to 32 nm."""
    result = gum.propagate(*end_gauge())
    assert (result.value, round(result.u), math.floor(result.dof)) == (pytest.approx(50_000_838, abs=1e-6), 32, 16)
    assert [round(c.u, 1) for c in result.contributions] == [25, 5.8, 3.9, 6.7, 0, 2.9, 0, 0, 16.6]
    assert round(gum.expanded_u(32, 0.99, 16)) == 93 == round(2.92 * 32)
    assert gum.expanded_u(result.u, 0.99, 16) == pytest.approx(92.48, abs=0.005)  # computed: nothing rounded but ν
    assert gum.expanded_u(result.u, 0.99, result.dof) == pytest.approx(91.94, abs=0.005)


def test_h1_end_gauge_against_gtc():
    """GTC: 31.6639 nm, ν = 16.7519."""
    length, inputs = end_gauge()
    theirs = length(**{name: GTC.ureal(each.value, each.u, each.dof) for name, each in inputs.items()})
    ours = gum.propagate(length, inputs)
    assert (ours.u, ours.dof) == pytest.approx((theirs.u, theirs.df), rel=1e-6)
    assert (ours.u, ours.dof) == (pytest.approx(31.6639, abs=5e-5), pytest.approx(16.7519, abs=5e-5))


@settings(max_examples=300)
@given(st.floats(1e-4, 1 - 1e-9), st.one_of(st.floats(1, 100), st.floats(1, 1e9)))
def test_student_factor_against_scipy(probability, dof):
    """x = t²/(ν + t²) has the beta distribution of 1/2 and ν/2, by which scipy is the more exact: its t errs by 1e-8 at 0.0001 and ν = 4."""
    x, rest = special.betaincinv(0.5, dof / 2, probability), special.betaincinv(dof / 2, 0.5, 1 - probability)
    assert gum.student_factor(probability, dof) == pytest.approx(math.sqrt(dof * x / rest), rel=1e-9)
    assert gum.student_factor(probability) == pytest.approx(stats.norm.isf((1 - probability) / 2), rel=1e-9)


@pytest.mark.parametrize("dof, percent, factor", [(1, 95, 12.71), (16, 99, 2.92), (20, 95.45, 2.13), (10, 99.73, 3.96), (math.inf, 95, 1.96)])
def test_student_factors_of_table_g2(dof, percent, factor):
    """JCGM 100:2008, table G.2."""
    assert gum.student_factor(percent / 100, dof) == pytest.approx(factor, abs=0.005)


@given(st.floats(0.01, 0.99), st.floats(4, 200))
def test_student_factor_inverts_the_tail(probability, dof):
    assert upper_tail(gum.student_factor(probability, dof), [Contribution("t", "", 1.0, STUDENT, dof)]) == \
        pytest.approx((1 - probability) / 2, abs=2e-6)


def test_conformity_of_jcgm_106():
    """JCGM 106:2012, 7.4, a breakdown voltage of -5.47 kV (0.05) below -5.40 kV: printed 0.92."""
    assert gum.conformity(-5.47, 0.05, upper=-5.40) == pytest.approx(stats.norm.cdf(1.4), rel=1e-9)
    assert round(gum.conformity(-5.47, 0.05, upper=-5.40), 2) == 0.92


@given(numbers, st.floats(0.01, 100), st.floats(-300, 300), st.floats(0.1, 300))
def test_conformity_between_two_limits(value, u, lower, width):
    found = gum.conformity(value, u, lower, lower + width)
    low, high = (lower - value) / u, (lower + width - value) / u
    assert found == pytest.approx(stats.norm.cdf(high) - stats.norm.cdf(low), abs=1e-12)
    assert found == pytest.approx(1 - gum.conformity(value, u, upper=lower) - gum.conformity(value, u, lower=lower + width), abs=1e-12)
    assert gum.conformity(-value, u, -lower - width, -lower) == pytest.approx(found, rel=1e-9, abs=1e-300)


def test_a_value_far_above_the_limits_keeps_its_digits():
    assert gum.conformity(10.0, 1.0, 0.0, 1.0) == pytest.approx(stats.norm.sf(9.0), rel=1e-6)
    assert (gum.conformity(1.0, 0.0, 0.0, 1.0), gum.conformity(1.1, 0.0, 0.0, 1.0)) == (1.0, 0.0)


@pytest.mark.parametrize("call, words", [
    (lambda: Input(math.nan, 1.0), "value nan can't be"),
    (lambda: Input(0.0, -1.0), "standard uncertainty -1 can't be"),
    (lambda: Input(0.0, 1.0, STUDENT, 0.5), "degrees of freedom 0.5 can't be"),
    (lambda: Input(0.0, 1.0, STUDENT, math.nan), "degrees of freedom nan can't be"),
    (lambda: Input(0.0, 1.0, "cauchy"), "'cauchy' is unknown"),
    (lambda: within(0.0, -1.0), "half_width -1 can't be"),
    (lambda: within(0.0, 1.0, NORMAL), "'normal' has no limits"),
    (lambda: gum.divisor("trapezoid", 1.2), "top 1.2 does not lie between 0 and 1"),
    (lambda: gum.repeated([1.0]), "show no scatter"),
    (lambda: gum.repeated([1.0, math.nan]), "reading nan"),
    (lambda: gum.correlation_of_means([1.0, 2.0]), "are no rows"),
    (lambda: gum.correlation_of_means([[1.0, 2.0], [3.0, 3.0]]), "row 1 of the readings does not scatter"),
    (lambda: gum.combined_u([1, 2, 3], [1, 2]), "do not fit"),
    (lambda: gum.combined_u([1, 2], [1, -2]), "standard uncertainty -2"),
    (lambda: gum.combined_u([1, math.nan], [1, 2]), "sensitivity nan"),
    (lambda: gum.propagate(lambda: 1.0, []), "without inputs"),
    (lambda: gum.propagate(lambda a: np.array([a, a]), [Input(1, 1)]), "several results"),
    (lambda: gum.propagate(lambda a: a.sum(), [Input(1, 1)]), "give a function of arrays"),
    (lambda: gum.propagate(lambda a: a * math.nan, [Input(1, 1)]), "give a function of arrays"),
    (lambda: gum.student_factor(1.0, 5), "probability 1 can't be"),
    (lambda: gum.student_factor(math.nan, 5), "probability nan can't be"),
    (lambda: gum.student_factor(0.95, 0.99), "degrees of freedom 0.99"),
    (lambda: gum.expanded_u(-1.0), "standard uncertainty -1"),
    (lambda: gum.conformity(0.0, -1.0, 0.0, 1.0), "standard uncertainty -1"),
    (lambda: gum.conformity(0.0, 1.0), "enclose no interval"),
    (lambda: gum.conformity(0.0, 1.0, 2.0, 1.0), "enclose no interval"),
    (lambda: gum.conformity(0.0, 1.0, math.nan, 1.0), "enclose no interval"),
])
def test_what_cannot_be_is_refused_in_words(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("z", [-12.0, -8.0, -3.0, 0.0, 2.0])
def test_conformity_keeps_its_digits_far_out(z):
    """One limit above, and its mirror image below: Φ(z) by scipy."""
    assert gum.conformity(0.0, 1.0, upper=z) == pytest.approx(stats.norm.cdf(z), rel=1e-12, abs=0)
    assert gum.conformity(0.0, 1.0, lower=-z) == pytest.approx(stats.norm.cdf(z), rel=1e-12, abs=0)
