"""GUM tools against scipy, JCGM examples and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from curvelab.uncertainty import (NORMAL, RECTANGULAR, STUDENT, Contribution, budget, characteristic, chi2_tail, combine,
                                  effective_dof, two_sided, upper_tail)


@given(st.floats(0, 400), st.integers(1, 120))
def test_chi_squared_against_scipy(value, dof):
    assert chi2_tail(value, dof) == pytest.approx(stats.chi2.sf(value, dof), rel=1e-9, abs=1e-300)


@pytest.mark.parametrize("dof, tolerance", [(1, 4e-4), (2, 1.5e-5), (3, 1e-6), (4, 1e-6), (9, 1e-6), (40, 1e-9)])
@pytest.mark.parametrize("x", [0.0, 0.3, 1.0, 2.5, 6.0])
def test_student_tail_against_scipy(dof, tolerance, x):
    """The midpoint rule leaves out the tail beyond its period of some 80 scales: that is the tolerance."""
    assert upper_tail(x, [Contribution("x", "", 1.0, STUDENT, dof)]) == pytest.approx(stats.t.sf(x, dof), abs=tolerance)


@given(st.floats(-6, 6), st.floats(0.01, 100))
def test_normal_tail_scales_with_u(x, u):
    assert upper_tail(x * u, [Contribution("x", "", u, NORMAL)]) == pytest.approx(stats.norm.sf(x), abs=1e-12)


def test_rectangle_and_normal_by_convolution():
    """P(U + N > x) integrated by scipy over the rectangle."""
    a, sigma = 1.0, 0.2
    parts = [Contribution("r", "", a / math.sqrt(3), RECTANGULAR), Contribution("n", "", sigma)]
    grid = np.linspace(-a, a, 200001)
    for x in (0.0, 0.5, 1.0, 1.3, 1.6):
        assert upper_tail(x, parts) == pytest.approx(np.trapezoid(stats.norm.sf((x - grid) / sigma), grid) / (2 * a), abs=1e-9)


def test_sum_of_four_rectangles_of_jcgm_101():
    """JCGM 101:2008, 9.2.3 (value from memory, reproduced by Monte Carlo): 95 % interval ± 3.88."""
    parts = [Contribution(str(i), "", 1.0, RECTANGULAR) for i in range(4)]
    assert combine(parts) == pytest.approx(2.0)
    assert two_sided(3.88, parts) == pytest.approx(0.05, abs=5e-4)


def test_one_dominant_rectangle_of_jcgm_101():
    """JCGM 101:2008, 9.2.4 (value from memory, reproduced by Monte Carlo): ± 17.0 where the normal law gives ± 19.8."""
    parts = [Contribution(str(i), "", 1.0, RECTANGULAR) for i in range(3)] + [Contribution("big", "", 10.0, RECTANGULAR)]
    assert combine(parts) == pytest.approx(10.15, abs=0.005)
    assert two_sided(17.0, parts) == pytest.approx(0.05, abs=2e-3)


def test_mixture_against_monte_carlo():
    parts = [Contribution("n", "", 0.5), Contribution("r", "", 1.0, RECTANGULAR), Contribution("t", "", 0.7, STUDENT, 4)]
    rng, n = np.random.default_rng(5), 400_000
    total = 0.5 * rng.standard_normal(n) + rng.uniform(-math.sqrt(3), math.sqrt(3), n) + 0.7 * rng.standard_t(4, n)
    for x in (1.0, 2.5, 4.0):
        share = np.mean(np.abs(total) >= x)
        assert two_sided(x, parts) == pytest.approx(share, abs=4 * math.sqrt(share / n))


def test_characteristic_function_of_student_is_even_and_one_at_zero():
    parts = [Contribution("t", "", 1.0, STUDENT, 3)]
    assert characteristic(parts, np.array([0.0]))[0] == pytest.approx(1.0)
    t = 0.8
    closed = math.exp(-math.sqrt(3) * t) * (1 + math.sqrt(3) * t)     # Student's t with 3 degrees of freedom, standard result
    assert characteristic(parts, np.array([t]))[0] == pytest.approx(closed, rel=1e-9)


def test_welch_satterthwaite():
    """u = (1, 2, 1.5), ν = (4, 9, ∞): 25.92123, computed with scipy's numbers by hand."""
    parts = [Contribution("a", "", 1.0, STUDENT, 4), Contribution("b", "", 2.0, STUDENT, 9), Contribution("c", "", 1.5)]
    assert effective_dof(parts) == pytest.approx(7.25**2 / (1 / 4 + 16 / 9), rel=1e-12)
    assert effective_dof(parts) == pytest.approx(25.92123, abs=1e-5)
    assert effective_dof(parts[2:]) == math.inf


@settings(max_examples=30)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.floats(0, 10)), min_size=1, max_size=8))
def test_a_budget_sums_by_cause(items):
    rows = budget([Contribution(cause, "all", u) for cause, u in items])
    assert math.hypot(*(row.u for row in rows)) == pytest.approx(math.hypot(*(u for _, u in items)))
    assert [row.u for row in rows] == sorted((row.u for row in rows), reverse=True)
    if any(u > 1e-100 for _, u in items):
        assert sum(row.fraction for row in rows) == pytest.approx(1)


def test_nothing_uncertain_has_no_tail():
    assert upper_tail(0.1, []) == 0.0 and upper_tail(-0.1, []) == 1.0 and upper_tail(0.0, []) == 0.5


def test_a_probability_is_never_above_one():
    """The finite sums may round up: 1 + 2e-16 at 0.25 with 22 degrees of freedom."""
    assert max(chi2_tail(value / 4, dof) for value in range(8) for dof in range(1, 60)) == 1.0
    assert chi2_tail(1.0, 0) == 1.0 and chi2_tail(1500.0, 3) == 0.0
