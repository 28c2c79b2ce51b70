"""Sets of two-peg tests, ISO 17123-2, the compensator, reciprocal levelling, misclosure."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from curvelab.field_test import (
    CHI2_38,
    F_38,
    T_38,
    Collimation,
    compensator_check,
    drift,
    full_test,
    misclosure,
    reciprocal,
    simplified_test,
    two_peg_sets,
)
from curvelab.instrument import two_peg, two_peg_u
from curvelab.refraction import REFERENCE_RADIUS, ray_curvature

CURVATURE = 1 / REFERENCE_RADIUS
DISTANCES = np.array([(25, 25, 1, 49), (20, 30, 5, 65), (30, 31, 2, 40), (15, 15, 60, 4)], dtype=float).T
READINGS = np.array([(1.924, 1.712, 1.696, 1.487), (1.3021, 1.4105, 1.5512, 1.6654),
                     (1.1, 1.2, 1.4004, 1.5021), (1.7003, 1.5, 1.6050, 1.4008)]).T


# ---- sets of two-peg tests


def network(readings, distances, reading_u, setting_u, chi_u):
    """(c, u, χ²) by plain least squares: in each set two heights of the level and one peg, tilts and χ with priors."""
    n = readings.shape[1]
    unknowns, rows, values = 2 + 5 * n, [], []  # c, χ; then HI 1, HI 2, height of peg B, tilt 1, tilt 2 of each set
    for j in range(n):
        for i in range(4):
            row, d, base = np.zeros(unknowns), distances[i, j], 2 + 5 * j
            row[[0, 1, base + i // 2, base + 3 + i // 2]] = d, -(d**2) / 2, 1, d
            row[base + 2] = -(i % 2)
            rows.append(row / reading_u)
            values.append((readings[i, j] - CURVATURE * d**2 / 2) / reading_u)
        rows += [np.eye(unknowns)[2 + 5 * j + k] / setting_u for k in (3, 4)]
        values += [0, 0]
    rows.append(np.eye(unknowns)[1] / chi_u)
    design, known = np.array(rows), np.array([*values, 0])
    scale = np.linalg.norm(design, axis=0)
    inverse = np.linalg.pinv(design / scale, rcond=1e-13)
    found = inverse @ known
    return found[0] / scale[0], np.linalg.norm(inverse[0]) / scale[0], np.sum((known - design / scale @ found) ** 2)


def test_sets_agree_with_the_network_of_all_readings():
    u = 5e-4, 5e-6, ray_curvature(1.0)
    found = two_peg_sets(READINGS, DISTANCES, *u, CURVATURE)
    c, c_u, chi2 = network(READINGS, DISTANCES, *u)
    assert found.slope == pytest.approx(c, rel=1e-6, abs=0)
    assert found.u == pytest.approx(c_u, rel=1e-6, abs=0)
    assert found.chi2 == pytest.approx(chi2, rel=1e-6)
    assert found.dof == 3


def test_one_set_is_the_two_peg_test():
    one, d, u = READINGS[:, :1], DISTANCES[:, :1], (5e-4, 5e-6, 1e-7)
    found = two_peg_sets(one, d, *u, CURVATURE, 2e-8)
    assert found.slope == pytest.approx(two_peg(one, d, CURVATURE, 2e-8)[0], rel=1e-12, abs=0)
    assert found.u == pytest.approx(two_peg_u(d, *u)[0], rel=1e-12, abs=0)
    assert (found.chi2, found.dof) == (pytest.approx(0, abs=1e-12), 0)


def test_equal_sets_average_but_the_air_does_not():
    """Worked by hand: four readings of 0.5 mm over 60 m, 16.7 µrad, over √4 sets; u(k) = 1 adds 5.494 µrad to all."""
    sets = np.full((4, 4), 1.5)
    assert two_peg_sets(sets, (30, 30, 5, 65), 5e-4).u * 1e6 == pytest.approx(2 * 500 / 60 / 2, rel=1e-9)
    found = two_peg_sets(sets, (30, 30, 5, 65), 5e-4, 0.0, CURVATURE)
    assert found.u * 1e6 == pytest.approx(math.hypot(2 * 500 / 60 / 2, 5.494), rel=1e-4)


def test_sets_by_simulation():
    """2000 tests of four sets, fixed seed: mean, spread and χ², 4 standard errors of each allowed."""
    n, u, chi_u, random = 2000, 5e-4, ray_curvature(1.0), np.random.default_rng(20250311)
    chi = random.normal(0, chi_u, (n, 1, 1))
    readings = 1.5 + (30e-6 * DISTANCES - chi * DISTANCES**2 / 2) + random.normal(0, u, (n, 4, 4))
    found = [two_peg_sets(each, DISTANCES, u, 0.0, chi_u) for each in readings]
    slopes, expected = np.array([each.slope for each in found]), found[0].u
    assert slopes.mean() == pytest.approx(30e-6, abs=4 * expected / math.sqrt(n))
    assert slopes.std() == pytest.approx(expected, rel=4 / math.sqrt(2 * n), abs=0)
    assert np.mean([each.chi2 for each in found]) == pytest.approx(3, abs=4 * math.sqrt(6 / n))


def test_drift():
    """Worked by hand."""
    change, u = drift(Collimation(50e-6, 3e-6, 1, 2), Collimation(38e-6, 4e-6, 1, 2))
    assert (change, u) == (pytest.approx(-12e-6), pytest.approx(5e-6))


# ---- ISO 17123-2:2001, from memory


def test_quantiles():
    """By scipy; and the rounded limits, printed in the standard (from memory), that follow from them."""
    assert CHI2_38 == pytest.approx(stats.chi2.ppf(0.95, 38), abs=5e-7)
    assert F_38 == pytest.approx(stats.f.ppf(0.975, 38, 38), abs=5e-7)
    assert T_38 == pytest.approx(stats.t.ppf(0.975, 38), abs=5e-7)
    assert round(math.sqrt(CHI2_38 / 38), 2) == 1.19
    assert (round(1 / F_38, 2), round(F_38, 2)) == (0.52, 1.91)
    assert round(T_38 / math.sqrt(10), 3) == 0.640


def test_full_test_by_hand():
    """38 s² = 40 · 0.0002² about each mean; 1 km double run is 2.89 s (printed, from memory)."""
    test = full_test([0.5002, 0.4998] * 10, [0.5003, 0.4999] * 10)
    assert test.s == pytest.approx(0.0002 * math.sqrt(40 / 38), rel=1e-9)
    assert round(test.per_km / test.s, 2) == 2.89
    assert test.delta == pytest.approx(-0.0001, abs=1e-12)
    assert (test.as_stated, test.as_earlier) == (None, None)


def test_exchanged_staffs_show_twice_their_zero_difference():
    noise = np.array([2e-4, -2e-4] * 10)
    zero_a, zero_b, height = 0.0, 0.001, 0.25  # staffs 1 and 2; first staff 1 stands on A
    test = full_test(height + zero_a - zero_b + noise, height + zero_b - zero_a + noise)
    assert test.delta == pytest.approx(2 * (zero_a - zero_b), abs=1e-12)
    assert not test.staffs_agree


@pytest.mark.parametrize(("ratio", "agree"), [(0.63, True), (0.65, False), (-0.63, True), (-0.65, False)])
def test_staffs_agree_up_to_0_640_s(ratio, agree):
    noise = np.array([2e-4, -2e-4] * 10)
    s = 2e-4 * math.sqrt(40 / 38)
    assert full_test(noise + ratio * s, noise).staffs_agree is agree


def test_each_answer_errs_in_one_of_twenty():
    """4000 good levels, fixed seed: each question is answered no in 5 %, 4 standard errors allowed."""
    n, random = 4000, np.random.default_rng(17123)
    halves, others = random.normal(0.3, 5e-4, (2, n, 2, 20))
    per_km = 5e-4 * math.sqrt(1000 / 60 / 2)
    earlier = [full_test(*pair).per_km for pair in others]
    tests = [full_test(*pair, per_km, before) for pair, before in zip(halves, earlier, strict=True)]
    for answer in ("staffs_agree", "as_stated", "as_earlier"):
        no = np.mean([not getattr(test, answer) for test in tests])
        assert no == pytest.approx(0.05, abs=4 * math.sqrt(0.05 * 0.95 / n)), answer


def test_a_worse_level_is_seen():
    worse = full_test([0.5008, 0.4992] * 10, [0.5008, 0.4992] * 10, stated=1e-3, earlier=1e-3)
    assert (worse.as_stated, worse.as_earlier, worse.staffs_agree) == (False, False, True)


def test_simplified_test():
    """s = 0.1 mm √(10/9), so 2.5 s = 0.26 mm; the difference is 0.2 mm."""
    midway, near = [0.5001, 0.4999] * 5, [0.5002] * 10
    test = simplified_test(midway, near)
    assert test.s == pytest.approx(1e-4 * math.sqrt(10 / 9), rel=1e-9)
    assert test.permitted == pytest.approx(2.635e-4, abs=1e-7)
    assert test.accepted
    assert not simplified_test(midway, near, permitted=1e-4).accepted
    assert (test.midway, test.near) == (pytest.approx(0.5), pytest.approx(0.5002))


def test_a_difference_as_large_as_permitted_is_accepted():
    """Numbers that are exact in binary."""
    assert simplified_test([0.5] * 10, [0.75] * 10, 0.25).accepted and not simplified_test([0.5] * 10, [0.75] * 10, 0.249).accepted


def test_simplified_test_holds_some_curvature():
    """0.16 mm for k = 0.13, as the docstring says: (κ - χ)(50² - 10²)/2."""
    assert round((CURVATURE - ray_curvature(0.13)) * (50**2 - 10**2) / 2 * 1e3, 2) == 0.16


# ---- compensator


@given(st.floats(-2e-4, 2e-4), st.floats(-1, 1), st.floats(-1, 1), st.floats(1e-4, 5e-3), st.floats(5, 60))
def test_compensator_is_recovered(c, along, across, tilt, distance):
    tilts = along * tilt, -along * tilt, across * tilt, -across * tilt
    found = compensator_check([3 + distance * (c + t) for t in tilts], 3.0, distance, tilt)
    rounding = 16 * np.finfo(float).eps / distance  # of readings up to 4 m
    assert found.collimation == pytest.approx(c, abs=rounding)
    assert (found.along, found.across) == pytest.approx((along, across), abs=2 * rounding / tilt)


# ---- reciprocal levelling


def test_reciprocal_across_1530_m():
    """As printed on a teaching page (civilexperiences.com, read): 1.545 m, and from 0.07849 d² and a level that dips by
    4 mm in 100 m a refraction of 0.0228 m, there from rounded steps; 0.0225 unrounded."""
    height, error = reciprocal((2.165, 3.810), (0.910, 2.355))
    assert (height, error) == (pytest.approx(1.545, abs=1e-12), pytest.approx(0.100, abs=1e-12))
    refraction = 0.07849 * 1.53**2 - 0.004 / 100 * 1530 - error
    assert refraction == pytest.approx(0.0225, abs=5e-5)
    assert round(0.184 - 0.0612 - error, 4) == 0.0228


def test_reciprocal_across_500_m():
    """As printed on a teaching page (ques10.com, read): 1.435 m; collimation -0.0118 m in 500 m after 0.0673 d² = 0.0168 m."""
    height, error = reciprocal((1.155, 2.595), (0.985, 2.415))
    assert height == pytest.approx(1.435, abs=1e-12)
    assert round(error - 0.0673 * 0.5**2, 4) == -0.0118


@given(st.floats(-3, 3), st.floats(-2e-4, 2e-4), st.floats(100, 2000), st.floats(0, 10))
def test_reciprocal_is_free_of_what_both_sights_share(height, c, distance, near):
    bend, hi_a, hi_b = CURVATURE - ray_curvature(0.13), 4.5, 4.2
    error = [c * d + bend * d**2 / 2 for d in (near, distance)]
    from_a = hi_a + error[0], hi_a + height + error[1]
    from_b = hi_b - height + error[1], hi_b + error[0]
    found, total = reciprocal(from_a, from_b)
    assert found == pytest.approx(height, abs=1e-14)
    assert total == pytest.approx(error[1] - error[0], abs=1e-14)


def test_reciprocal_takes_many_at_once():
    height, error = reciprocal([[2.165, 1.155], [3.810, 2.595]], [[0.910, 0.985], [2.355, 2.415]])
    assert height == pytest.approx([1.545, 1.435])
    assert error == pytest.approx([0.100, 0.005])


# ---- misclosure


def test_misclosure():
    """4√K mm: Australian first-order levelling (National Mapping, xnatmap.org, read), 4 km forward and back."""
    off, limit = misclosure([3.2014, 1.1105, -4.3071], 4000.0, 0.004)
    assert (off, limit) == (pytest.approx(0.0048, abs=1e-12), pytest.approx(0.008))
    assert misclosure([3.2014, 1.1105], 4000.0, 0.004, expected=4.3071)[0] == pytest.approx(0.0048, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: two_peg_sets(READINGS, DISTANCES, 0.0), "can't be weighed: .*reading_u above 0"),
        (lambda: two_peg_sets(READINGS, DISTANCES, 5e-4, 0.0, math.nan), "refraction_u nan .*per metre"),
        (lambda: two_peg_sets(READINGS, DISTANCES, -5e-4), "reading_u -0.0005"),
        (lambda: two_peg_sets(READINGS, (25, 25, 30, 30), 5e-4), "equally balanced"),
        (lambda: two_peg_sets(READINGS.reshape(4, 2, 2), (25, 25, 1, 49), 5e-4), "one column a set"),
        (lambda: full_test([0.5] * 20, [0.5] * 20), "do not scatter at all"),
        (lambda: full_test([0.5, 0.4] * 10, [0.5] * 19), "second has 19 numbers: give the 20"),
        (lambda: full_test([0.5, 0.4] * 10, [0.5] * 20, stated=0), "stated 0 .*above 0"),
        (lambda: simplified_test([0.5] * 10, [0.5] * 9), "near has 9 numbers: give the 10"),
        (lambda: simplified_test([0.5] * 10, [math.nan] * 10), "near nan"),
        (lambda: simplified_test([0.5] * 10, [0.5] * 10, -1e-3), "permitted -0.001"),
        (lambda: compensator_check([1.5] * 3, 1.5, 30, 2e-3), "readings has 3 numbers: give the 4"),
        (lambda: compensator_check([1.5] * 4, 1.5, 30, 0), "tilt 0 .*radians above 0"),
        (lambda: compensator_check([1.5] * 4, 1.5, -30, 2e-3), "distance -30 "),
        (lambda: reciprocal((1, 2, 3), (1, 2)), "from_a .* are not two"),
        (lambda: reciprocal((1, 2), (1, math.inf)), "from_b inf"),
        (lambda: misclosure([1, math.nan], 1000, 0.012), "differences nan"),
        (lambda: misclosure([1, -1], 0, 0.012), "length 0 .*above 0"),
        (lambda: misclosure([1, -1], 1000, 0.012, math.nan), "expected nan"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()
