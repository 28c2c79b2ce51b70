"""The two-peg test, its uncertainty, and the slopes of the trade."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from curvelab.instrument import (
    ARCSECOND,
    LEVELS,
    crosshair_error,
    in_words,
    levels_at,
    pointing,
    rectangular_u,
    staff_tilt_error,
    two_peg,
    two_peg_u,
)
from curvelab.refraction import REFERENCE_RADIUS, ray_curvature

MIDWAY_THEN_NEAR_A = (25.0, 25.0, 1.0, 49.0)
lengths, heights, slopes = st.floats(0.5, 120), st.floats(-5, 5), st.floats(-1e-3, 1e-3)
curvatures = st.floats(-1e-6, 1e-6)


def staffs(c, distances, heights=(1.5, 1.2, 0.1, 0.4), bend=0.0):
    """Readings r = HI - H + c d + bend d²/2 for HI of two set-ups and H of two pegs."""
    hi_1, hi_2, a, b = heights
    level = np.array([hi_1 - a, hi_1 - b, hi_2 - a, hi_2 - b])
    d = np.asarray(distances)
    return level + c * d + bend * d**2 / 2


# ---- collimation


def test_worked_example():
    """Midway A 1.924 and B 1.712, so A - B = +0.212; close to A, where A reads 1.696, B must read 1.484.

    Users' instructions of two makers of levels, which allow 3 mm.
    """
    assert 1.924 - 1.712 == pytest.approx(0.212)
    expected_b = 1.696 - (1.924 - 1.712)
    assert expected_b == pytest.approx(1.484)
    for error in (0.0, 0.003, -0.003):
        c = two_peg((1.924, 1.712, 1.696, expected_b + error), MIDWAY_THEN_NEAR_A)
        assert c * (49.0 - 1.0) == pytest.approx(error, abs=1e-15)


@given(slopes, st.tuples(*4 * [lengths]), st.tuples(*4 * [heights]), curvatures, curvatures)
def test_collimation_is_recovered(c, distances, levels, curvature, refraction):
    d = np.array(distances)
    lever = (d[3] - d[2]) - (d[1] - d[0])
    assume(abs(lever) > 1)
    readings = staffs(c, d, levels, curvature - refraction)
    rounding = 8 * 16 * np.finfo(float).eps / abs(lever)  # of readings up to 12 m, eight operations
    assert two_peg(readings, distances, curvature, refraction) == pytest.approx(c, abs=rounding)


@given(slopes, st.tuples(*4 * [heights]))
def test_heights_and_the_order_of_set_ups_do_not_matter(c, levels):
    readings = staffs(c, MIDWAY_THEN_NEAR_A, levels)
    a1, b1, a2, b2 = readings
    assert two_peg((a2, b2, a1, b1), (1.0, 49.0, 25.0, 25.0)) == pytest.approx(c, abs=5e-16)
    assert two_peg((b1, a1, b2, a2), (25.0, 25.0, 49.0, 1.0)) == pytest.approx(c, abs=5e-16)


def test_rising_line_is_positive():
    """The far staff, on level ground, reads high."""
    assert two_peg((1.5, 1.5, 1.5, 1.55), MIDWAY_THEN_NEAR_A) > 0


@pytest.mark.parametrize("k", [0.0, 0.13, 1.0])
def test_peg_test_contains_curvature_and_refraction(k):
    """Midway, then 5 m and 65 m away: raw - c = (κ - χ)(5 m + 65 m)/2, and a unit of k is 5.5 µrad."""
    distances, curvature = (30.0, 30.0, 5.0, 65.0), 1 / REFERENCE_RADIUS
    readings = staffs(20e-6, distances, bend=curvature - ray_curvature(k))
    assert two_peg(readings, distances, curvature, ray_curvature(k)) == pytest.approx(20e-6, abs=1e-16)
    excess = two_peg(readings, distances) - 20e-6
    assert excess == pytest.approx((1 - k) / REFERENCE_RADIUS * 35, abs=1e-16)
    assert excess * 1e6 == pytest.approx((1 - k) * 5.5, abs=0.01)


# ---- its uncertainty


@given(st.tuples(*4 * [lengths]), st.tuples(*4 * [st.floats(1e-5, 1e-2)]), st.floats(0, 1e-4), st.floats(0, 1e-6))
def test_uncertainty_is_that_of_the_formula(distances, reading_u, setting_u, refraction_u):
    """Each input moved by its u in turn through `two_peg`, which is linear in all of them."""
    d = np.array(distances)
    lever = (d[3] - d[2]) - (d[1] - d[0])
    assume(abs(lever) > 1)
    zero = np.zeros(4)
    moved = [two_peg(u * row, d) for u, row in zip(reading_u, np.eye(4), strict=True)]
    moved += [two_peg(setting_u * d * in_set_up, d) for in_set_up in np.array([[1, 1, 0, 0], [0, 0, 1, 1]])]
    moved += [two_peg(zero, d, 0.0, refraction_u)]
    assert two_peg_u(distances, reading_u, setting_u, refraction_u) == pytest.approx(math.hypot(*moved), rel=1e-9)


def test_uncertainty_by_simulation():
    """Spread of 200 000 simulated tests, fixed seed; its relative error is 1/√(2n) = 0.16 %, 4 of them allowed."""
    n, distances, u_reading, u_setting, u_chi = 200_000, (30.0, 30.0, 5.0, 65.0), 5e-4, 5e-6, ray_curvature(1.0)
    random = np.random.default_rng(20240607)
    setting = np.repeat(random.normal(0, u_setting, (2, n)), 2, axis=0)
    chi = random.normal(0, u_chi, n)
    d = np.array(distances)[:, None]
    readings = staffs(0, distances)[:, None] + setting * d - chi * d**2 / 2 + random.normal(0, u_reading, (4, n))
    found = two_peg(readings, distances)
    u = two_peg_u(distances, u_reading, u_setting, u_chi)
    assert np.std(found) == pytest.approx(u, rel=4 / math.sqrt(2 * n))
    assert np.mean(found) == pytest.approx(0, abs=4 * u / math.sqrt(n))


@pytest.mark.parametrize(
    ("inputs", "microradian"),
    [
        ((5e-4, 0, 0), 2 * 500 / 60),  # four readings of 0.5 mm over 60 m
        ((0, 5e-6, 0), 5.0),  # the set-up midway is free of it
        ((0, 0, 1 / REFERENCE_RADIUS), 5.494),  # u(k) = 1
    ],
)
def test_uncertainty_from_one_cause(inputs, microradian):
    """Worked by hand for set-ups midway and at 5 m + 65 m."""
    assert two_peg_u((30.0, 30.0, 5.0, 65.0), *inputs) * 1e6 == pytest.approx(microradian, rel=1e-4)


# ---- slopes and limits


@pytest.mark.parametrize(
    ("slope", "unit", "value", "digit"),
    [
        (0.002 / 30, "µrad", 67, 0.5),
        (1 / 16 / 3600, "µrad", 17, 0.5),  # 1/16 in at 300 ft
        (1 / 16 / 3600, "arcsec", 3.581, 5e-4),
        (0.003 / 50, "arcsec", 12.38, 5e-3),
        (0.003 / 30, "arcsec", 20.63, 5e-3),
        (0.001 / 30, "arcsec", 6.88, 5e-3),
        (0.25 / 1200, "arcsec", 42.97, 5e-3),
        (0.25 / 1200, "in per 100 ft", 0.25, 1e-15),
        (-0.002 / 30, "mm per 30 m", -2, 1e-14),
    ],
)
def test_slopes_in_the_units_of_the_trade(slope, unit, value, digit):
    """Worked by hand."""
    assert in_words(slope)[unit] == pytest.approx(value, abs=digit)


def test_arcsecond():
    assert ARCSECOND * 3600 == pytest.approx(math.radians(1), rel=4e-16)


@pytest.mark.parametrize(("magnification", "arcsecond", "at_1_km"), [(24, 2.5, 12.1e-3), (32, 1.88, 9.1e-3)])
def test_pointing(magnification, arcsecond, at_1_km):
    """60″/magnification: a rule from memory, the numbers worked by hand."""
    assert pointing(magnification) / ARCSECOND == pytest.approx(arcsecond, abs=5.1e-3)
    assert pointing(magnification) * 1000 == pytest.approx(at_1_km, abs=5e-5)


def test_rectangular_u_is_the_spread_of_a_rectangle():
    """The middles of 1000 equal strips between ±2; their spread falls short by 1 in 2 n²."""
    strips = (np.arange(1000) + 0.5) / 250 - 2
    assert rectangular_u(2.0) == pytest.approx(np.std(strips), rel=1e-6)
    assert rectangular_u(0.0) == 0


# ---- scalars, arrays, faults


def test_arrays_hold_what_scalars_give():
    limits = np.array([1.0, 2.0])
    assert rectangular_u(limits) == pytest.approx([rectangular_u(1.0), rectangular_u(2.0)], rel=1e-15)
    assert pointing(limits) == pytest.approx([pointing(1.0), pointing(2.0)], rel=1e-15)
    readings = np.array([staffs(c, MIDWAY_THEN_NEAR_A) for c in (1e-5, 2e-5, -3e-5)]).T
    assert two_peg(readings, MIDWAY_THEN_NEAR_A) == pytest.approx([1e-5, 2e-5, -3e-5], abs=1e-16)
    u = two_peg_u(np.array([MIDWAY_THEN_NEAR_A, (30, 30, 5, 65)]).T, 5e-4, 5e-6)
    assert u == pytest.approx([two_peg_u(d, 5e-4, 5e-6) for d in (MIDWAY_THEN_NEAR_A, (30, 30, 5, 65))], rel=1e-15)
    singles = rectangular_u(1), pointing(24), two_peg(readings[:, 0], MIDWAY_THEN_NEAR_A), two_peg_u((1, 1, 1, 9), 1)
    assert all(isinstance(single, float) for single in singles)


# ---- tilts and classes


@pytest.mark.parametrize(("degrees", "millimetres", "digit"), [(1, 0.305, 5e-4), (2, 1.22, 5e-3), (-2, 1.22, 5e-3), (0, 0, 1e-15)])
def test_leaning_staff(degrees, millimetres, digit):
    """2.000 m: computed, 1 - cos t."""
    assert staff_tilt_error(2.0, math.radians(degrees)) * 1e3 == pytest.approx(millimetres, abs=digit)


@given(st.floats(0.1, 5), st.floats(-0.2, 0.2))
def test_leaning_staff_by_geometry(height, tilt):
    """A level line at a height meets a staff that turns about its foot."""
    reading = height / math.cos(tilt)
    assert staff_tilt_error(reading, tilt) == pytest.approx(reading - height, abs=1e-14)


def test_tilted_crosshair():
    """A crosshair that climbs 1 in 100 to the right reads 0.5 mm high 50 mm to the right, low to the left."""
    tilt = math.atan(0.01)
    assert crosshair_error([0.050, -0.050, 0.0], tilt) == pytest.approx([0.0005, -0.0005, 0], abs=1e-15)
    assert crosshair_error(0.050, -tilt) == pytest.approx(-0.0005, abs=1e-15)


def test_classes_of_levels():
    """By hand at 50 m; the precise limit is the 1.0 mm of Australian first-order levelling (National Mapping, xnatmap.org, read)."""
    at_50 = levels_at(50.0)
    assert at_50["precise level"]["collimation limit"] == pytest.approx(1.0)
    assert at_50["engineer's level"]["compensator"] == pytest.approx(0.125)
    assert at_50["builder's level"]["pointing"] == pytest.approx(60 / 22 / 206_264.806 * 50e3)
    better = [[mm[cause] for mm in at_50.values()] for cause in ("collimation limit", "compensator", "pointing")]
    assert all(row == sorted(row, reverse=True) and len(row) == len(LEVELS) for row in better)


READ = (1.924, 1.712, 1.696, 1.484)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: two_peg(READ, (25, 25, 30, 30)), "equally balanced.*once midway and once near one staff"),
        (lambda: two_peg(READ, (0.1, 0.3, 0.2, 0.4)), "equally balanced"),
        (lambda: two_peg(READ, (0, 0, 0, 0)), "equally balanced"),
        (lambda: two_peg(READ[:3], MIDWAY_THEN_NEAR_A), "readings .* not four: give those of a1, b1, a2, b2 in metres"),
        (lambda: two_peg((1.924, math.nan, 1.696, 1.484), MIDWAY_THEN_NEAR_A), "readings nan .*metres"),
        (lambda: two_peg(READ, (25, 25, 1)), "distances .* not four"),
        (lambda: two_peg(READ, (25, -25, 1, 49)), "distances -25 .*metres"),
        (lambda: two_peg(READ, MIDWAY_THEN_NEAR_A, math.nan), "curvature nan .*per metre"),
        (lambda: two_peg_u((25, 25, 30, 30), 5e-4), "equally balanced"),
        (lambda: two_peg_u(MIDWAY_THEN_NEAR_A, -5e-4), "reading_u -0.0005 .*in metres"),
        (lambda: two_peg_u(MIDWAY_THEN_NEAR_A, (5e-4, 5e-4)), "reading_u .*neither one number nor four"),
        (lambda: two_peg_u(MIDWAY_THEN_NEAR_A, 5e-4, math.inf), "setting_u inf .*in radians"),
        (lambda: two_peg_u(MIDWAY_THEN_NEAR_A, 5e-4, 0, math.nan), "refraction_u nan .*per metre"),
        (lambda: rectangular_u(-1), "limit -1 .*half the width"),
        (lambda: pointing(0), "magnification 0 .*how many times"),
        (lambda: pointing(-24), "magnification -24 "),
        (lambda: in_words(math.nan), "slope nan .*radians"),
        (lambda: staff_tilt_error(-1, 0), "reading -1 .*metres"),
        (lambda: staff_tilt_error(1, 2), "tilt 2 .*radians"),
        (lambda: crosshair_error(math.nan, 0), "offset nan .*at the staff"),
        (lambda: crosshair_error(0.05, 1), "tilt 1 .*radians"),
        (lambda: levels_at(-1), "distance -1 .*metres"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()
