"""Shapes of the temperature above water: derivative against integral, limits, and published orders of size."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate

from curvelab import profile

SHAPES = [profile.logarithmic(), profile.power(-1 / 3), profile.power(0.2), profile.stability(12.5), profile.stability(2.5), profile.stability(-2.2), profile.stability(-40.0)]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_the_rise_is_the_integral_of_the_slope(shape):
    for z in (0.3, 1.6, 6.0):
        expected = integrate.quad(lambda v: math.exp(v) * float(shape.slope(math.exp(v))), math.log(profile.FOOT), math.log(z), epsabs=1e-12, epsrel=1e-11, limit=200)[0]
        assert float(shape.rise(z)) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_arrays_and_scalars_agree_and_the_foot_is_the_water(shape):
    z = np.array([0.5, 2.0])
    assert shape.slope(z) == pytest.approx([float(shape.slope(v)) for v in z])
    assert float(shape.rise(profile.FOOT)) == pytest.approx(0.0, abs=1e-12)


def test_neutral_limits():
    z = np.array([0.5, 2.0, 6.0])
    plain = profile.logarithmic()
    assert profile.stability(1e7).rise(z) == pytest.approx(plain.rise(z), rel=1e-5)
    assert profile.stability(-1e7).rise(z) == pytest.approx(plain.rise(z), rel=1e-5)
    assert profile.power(1e-7).rise(z) == pytest.approx(plain.rise(z), rel=1e-5)
    assert profile.power(0.0).slope(z) == pytest.approx(plain.slope(z))
    assert profile.stability(math.inf).name == "logarithmic"


def test_stable_air_agrees_with_published_forms():
    """φ of heat, as public programs have them: Beljaars & Holtslag (1991), J. Appl. Meteorol. 30:327-341, up to ζ = 0.5;
    Cheng & Brutsaert (2005), Boundary-Layer Meteorol. 114:519-538, beyond 1."""
    ratio = np.array([0.01, 0.1, 0.2, 0.3, 0.5, 1, 2, 5, 10, 50])
    phi = profile.stability(2.0).slope(2 * ratio) * 2 * ratio
    b, c, d = 0.667, 5, 0.35
    holtslag = 1 + ratio * np.sqrt(1 + 2 / 3 * ratio) + b * ratio * np.exp(-d * ratio) * (1 + c - d * ratio)
    c, d = 5.3, 1.1
    whole = (1 + ratio**d) ** (1 / d)
    brutsaert = 1 + c * (ratio + ratio**d * (1 + ratio**d) ** (1 / d - 1)) / (ratio + whole)
    assert phi[:5] == pytest.approx(holtslag[:5], rel=0.02)
    assert phi[5:] == pytest.approx(brutsaert[5:], rel=0.045)


def test_a_degree_of_difference_in_neutral_air():
    """Bulk coefficients C_D = 1.2e-3, C_H = 1.1e-3 (from memory): θ*/k = C_H ΔT / (√C_D k) = 0.0794 K per K at 10 m."""
    assert float(profile.strength(1.0, 10.0, profile.logarithmic())) == pytest.approx(1.1e-3 / math.sqrt(1.2e-3) / 0.40, rel=2e-3)


@pytest.mark.parametrize("wind, difference, length", [(3, 2, 12.5), (3, -2, -12.5), (2, -5, -2.2), (6, 2, 50)])
def test_obukhov_lengths_of_light_winds(wind, difference, length):
    """Computed by hand from the bulk formulas at 15 °C, to the digits shown."""
    s = float(profile.strength(difference, 10.0, profile.logarithmic()))
    assert profile.obukhov_length(s, wind, 15.0) == pytest.approx(length, rel=0.03)


@pytest.mark.parametrize("difference, wind", [(2.0, 3.0), (4.0, 1.0), (-4.0, 2.0), (-0.1, 8.0)])
def test_mixed_air_holds_together(difference, wind):
    """Strength and stability length belong to each other, and the profile passes through what was measured."""
    shape, s = profile.mixed(difference, 10.0, wind, 15.0, 0.00976)
    assert float(s * shape.rise(10.0)) - 0.0976 == pytest.approx(difference, rel=1e-9)
    again = profile.stability(profile.obukhov_length(s, wind, 15.0))
    assert float(again.slope(3.0)) == pytest.approx(float(shape.slope(3.0)), rel=1e-9)
    assert (float(shape.slope(3.0)) > 1 / 3) == (difference > 0)


def test_air_as_warm_as_the_water_is_neutral():
    shape, s = profile.mixed(0.0, 10.0, 3.0, 15.0)
    assert shape.name == "logarithmic" and s == 0


@pytest.mark.parametrize("call, words", [
    (lambda: profile.logarithmic().slope(0.0), "metres above the water"),
    (lambda: profile.logarithmic().rise(np.nan), "metres above the water"),
    (lambda: profile.stability(0.0), "obukhov"),
    (lambda: profile.power(5.0), "exponent"),
    (lambda: profile.obukhov_length(0.1, 0.0, 15.0), "wind"),
    (lambda: profile.obukhov_length(0.1, 3.0, 288.0), "degrees Celsius"),
])
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_well_mixed_air_has_no_strength():
    """Dry air that is stirred cools by g/c_p = 9.80665/1005 K a metre and tells nothing of the water: by hand, 0.39 K in 40 m."""
    lapse = 9.80665 / 1005
    assert float(profile.strength(-lapse * 40.0, 40.0, profile.logarithmic(), lapse)) == pytest.approx(0.0, abs=1e-15)


@pytest.mark.parametrize("c", [-2.0, 2.0])
def test_the_steepest_powers_by_hand(c):
    """slope z^(c-1) at 2 m: 1/8 and 2; anything beyond is refused."""
    assert float(profile.power(c).slope(2.0)) == pytest.approx(2.0 ** (c - 1), rel=1e-15)
    with pytest.raises(ValueError, match="between -2 and 2"):
        profile.power(c * 1.001)
