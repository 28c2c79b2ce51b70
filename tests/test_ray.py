"""Paths through the air against closed forms, tables of exact rays and scipy's solver of differential equations."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from curvelab import profile
from curvelab.ray import follow, warnings

R = 6_371_000.0  # m
KAPPA = 1 / R
PER_KELVIN = 278e-6 / 288 * 0.0794  # χ · z per kelvin of air over water: refractivity over 288 K, neutral air


def logarithmic(kelvin, constant=2.5e-8):
    """Curvature [1/m] in air so many kelvins warmer than the water."""
    return lambda z: constant + kelvin * PER_KELVIN / z


def solved(distance, height, slope, kappa, chi, floor=0.01):
    """Height as a function of distance, by scipy."""
    def slopes(_, state):
        return [state[1], kappa - float(chi(np.maximum(state[0], floor)))]

    start, tight = [height, slope], {"rtol": 1e-12, "atol": 1e-13}
    found = solve_ivp(slopes, (0, distance), start, method="DOP853", dense_output=True, **tight)
    return lambda x: found.sol(x)[0]


# ---- constant curvature: exact


@given(st.floats(0, 2e4), st.floats(0.5, 50), st.floats(-1e-3, 1e-3), st.floats(0, 2e-7), st.floats(-3e-7, 3e-7))
def test_constant_curvature_is_a_parabola(distance, height, slope, kappa, chi):
    """For one curvature at all heights the equation integrates to a parabola, in the water or above."""
    path = follow(distance, height, slope, kappa, lambda z: np.full_like(z, chi))
    assert path.z == pytest.approx(height + slope * path.x + (kappa - chi) * path.x**2 / 2, abs=1e-12 * (1 + distance))
    assert path.x[-1] == distance
    assert path.end == path.z[-1]
    assert path.mean(lambda z: chi) == pytest.approx(chi, rel=1e-14)
    assert path.residual <= 1e-10


# k and heights [m] above a sphere of 6371 km of a ray that starts level at its surface and keeps k, at 1, 3,
# 5, 10, 50 km along it, worked by hand from r = R cos((1 - k) θ)^(-1/(1 - k)), by Bouguer's invariant.
DISTANCES = np.array([1000.0, 3000.0, 5000.0, 10_000.0, 50_000.0])
EXACT = {
    0.0: (0.0784806160937, 0.706325602848, 1.96201588572, 7.84806958512, 196.206573537),
    0.13: (0.0682781358787, 0.614503264529, 1.70695374381, 6.82781931079, 170.698951281),
    1 / 7: (0.0672690993764, 0.605421934568, 1.68172781925, 6.72691546253, 168.176235048),
    0.5: (0.0392403078051, 0.353162781847, 0.981007791804, 3.92403237566, 98.1017761571),
    1.0: (0.0, 0.0, 0.0, 0.0, 0.0),
    -1.0: (0.156961235088, 1.41265144062, 3.92403358411, 15.6961681731, 392.43127581),
}


@pytest.mark.parametrize("k", EXACT)
def test_exact_ray_over_the_sphere(k):
    """Water drawn straight leaves out q² (3 + 2q) s⁴ / 24 R³, q = 1 - k: 8 µm at 10 km for k = 0, 45 for k = -1."""
    start, q = 1.0, 1 - k
    ours = follow(DISTANCES, start, 0.0, KAPPA, lambda z: k / R).end - start
    left_out = q**2 * (3 + 2 * q) * DISTANCES**4 / (24 * R**3)
    next_term = q**3 * (15 + 30 * q + 16 * q**2) * DISTANCES**6 / (720 * R**5)
    assert ours + left_out + next_term == pytest.approx(EXACT[k], abs=1e-9, rel=2e-12)


# Coefficient c of k(z) = 6.13829 (0.0245 + c/z), 1013.25 hPa and 288.15 K, and rise [m] at 1 and 3 km of a ray that
# starts level 2 m above the sphere, worked by solving the ray equation on it.
@pytest.mark.parametrize(("c", "rise"), [(0.08, (0.047484, 0.432399)), (-0.08, (0.085812, 0.763830))])
def test_logarithmic_profile_over_the_sphere(c, rise):
    """To 2 µm: what straight water leaves out is 5 s⁴ / 24 R³ at most, 0.07 µm at 3 km."""
    path = follow([1000.0, 3000.0], 2.0, 0.0, KAPPA, lambda z: 6.13829 * (0.0245 + c / z) / R)
    assert path.end - 2 == pytest.approx(rise, abs=2e-6)


# ---- profiles of all kinds, against scipy


def clear_lines(distance, kappa, lines, seed):
    """Starts and kelvins of lines that stay 0.3 m off the water, with scipy's heights along them."""
    rng = np.random.default_rng(seed)
    while lines:
        height, kelvin = rng.uniform(1, 3), rng.uniform(-3, 3)
        slope = rng.uniform(-2, 2) * 0.2 / distance
        z = solved(distance, height, slope, kappa, logarithmic(kelvin))
        if z(np.linspace(0, distance, 500)).min() > 0.3:
            lines -= 1
            yield height, slope, kelvin, z


@pytest.mark.parametrize("kappa", [0.0, KAPPA], ids=["flat", "round"])
@pytest.mark.parametrize(("distance", "limit"), [(300.0, 1e-6), (2000.0, 1e-6), (10_000.0, 1e-5)])
def test_heights_agree_with_scipy(distance, limit, kappa):
    """One call for all lines, each in air of its own."""
    height, slope, kelvin, truth = zip(*clear_lines(distance, kappa, 12, seed=5), strict=True)
    path = follow(distance, height, slope, kappa, logarithmic(np.array(kelvin)[:, None]))
    assert path.end == pytest.approx([z(distance) for z in truth], abs=limit)
    for line, z in enumerate(truth):
        assert path.z[line] == pytest.approx(z(path.x[line]), abs=10 * limit)
        assert path.lowest[line] == pytest.approx(z(np.linspace(0, distance, 4000)).min(), abs=1e-3)
    assert np.abs(path.end - [z(distance) for z in truth]).max() <= max(path.residual.max(), 1e-8)
    assert not path.touches.any()


@settings(deadline=None, max_examples=30)
@given(
    st.floats(1, 4000), st.floats(0.5, 3), st.floats(-1, 1), st.floats(-3, 3), st.floats(-0.9, 0.9),
    st.sampled_from([0.0, KAPPA]),
)
def test_any_smooth_profile_agrees_with_scipy(distance, height, tilt, kelvin, stability, kappa):
    """Stable or unstable air, to 1 µm up to 2 km; lines that come down to 0.3 m are left to another test."""
    def chi(z):
        return 2e-8 + kelvin * PER_KELVIN / z * (1 + 0.5 * np.asarray(z)) ** stability

    slope = tilt * 2e-4
    z = solved(distance, height, slope, kappa, chi)
    if z(np.linspace(0, distance, 500)).min() > 0.3:
        path = follow(distance, height, slope, kappa, chi)
        assert path.end == pytest.approx(z(distance), abs=1e-6 if distance <= 2000 else 1e-5)


@pytest.mark.parametrize(("distance", "limit"), [(2000.0, 1e-6), (10_000.0, 1e-5)])
@pytest.mark.parametrize("obukhov", [0.5, 1.5, 3.0, -2.0])
def test_stable_and_unstable_air_of_the_library_agrees_with_scipy(obukhov, distance, limit):
    """Lines that cross the height z = L, where stable air turns from one limit to the other."""
    shape = profile.stability(obukhov)

    def chi(z):
        return 2e-8 + math.copysign(0.3, obukhov) * PER_KELVIN * shape.slope(z)

    heights, slope = np.array([1.2, 1.6, 2.4]), np.array([0.0, 1e-5, 2e-5])
    truth = [solved(distance, h, s, KAPPA, chi)(distance) for h, s in zip(heights, slope, strict=True)]
    assert follow(distance, heights, slope, KAPPA, chi).end == pytest.approx(truth, abs=limit)


def test_a_line_that_dips_into_strong_air_cuts_itself_finer():
    """5 K colder air lifts a line 1 m up, sloping 0.6 mrad, off the water in a few metres."""
    chi, slope = logarithmic(-5.0), -1.3e-3
    z = solved(2000.0, 1.0, slope, KAPPA, chi)
    path, coarse = (follow(2000.0, 1.0, slope, KAPPA, chi, segments=pieces) for pieces in (None, 2))
    lowest = z(np.linspace(0, 2000, 100_001)).min()
    assert 0.01 < lowest < 0.2
    assert not path.touches
    assert path.end == pytest.approx(z(2000.0), abs=1e-6)
    assert path.lowest == pytest.approx(lowest, abs=1e-3)
    assert path.x.size > 18
    assert coarse.x.size == 18  # two segments of eight nodes, and the ends
    assert abs(coarse.end - path.end) <= coarse.residual


def test_many_lines_in_one_call_agree_with_scipy():
    """The goals of accuracy, for a whole fan of lines over water 3 K warmer than the air."""
    chi = logarithmic(-3.0)
    height = np.linspace(1, 3, 60)
    for distance, limit in ((2000.0, 1e-6), (10_000.0, 1e-5)):
        path = follow(distance, height, 0.0, KAPPA, chi)
        truth = [solved(distance, h, 0.0, KAPPA, chi)(distance) for h in height]
        assert path.end == pytest.approx(truth, abs=limit)
        assert path.residual.max() <= limit


# ---- means


@pytest.mark.parametrize("kelvin", [-3.0, -0.5, 0.0, 1.0, 3.0])
@pytest.mark.parametrize("distance", [100.0, 2000.0])
def test_mean_of_a_shape_agrees_with_scipy(distance, kelvin):
    """2/d² ∫ (d - x) / z dx by scipy's quadrature along scipy's path."""
    chi = logarithmic(kelvin)
    path, z = follow(distance, 2.0, 1e-5, KAPPA, chi), solved(distance, 2.0, 1e-5, KAPPA, chi)
    expected = quad(lambda x: (distance - x) / z(x), 0, distance, epsabs=0, epsrel=1e-10)[0] * 2 / distance**2
    assert path.mean(lambda z: 1 / z) == pytest.approx(expected, rel=1e-7)


def test_mean_of_chi_is_the_effective_curvature():
    chi = logarithmic(2.0)
    path = follow([500.0, 2000.0], 1.8, 1e-4, KAPPA, chi)
    expected = 1.8 + 1e-4 * path.x[:, -1] + (KAPPA - path.mean(chi)) * path.x[:, -1] ** 2 / 2
    assert path.end == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize(("distance", "segments"), [(10.0, None), (2000.0, None), (2000.0, 3), (30_000.0, None)])
def test_weights_of_a_mean(distance, segments):
    """They sum to 1 and weigh the near half of the line with three quarters."""
    path = follow(distance, 2.0, 0.0, KAPPA, logarithmic(-1.0), segments)
    assert path.weight.sum() == pytest.approx(1, abs=1e-14)
    assert path.weight @ path.x == pytest.approx(distance / 3, rel=1e-13)
    assert path.weight[0] == path.weight[-1] == 0
    assert path.mean(lambda z: 7.0) == pytest.approx(7)


# ---- limits and the water


def test_zero_distance():
    path = follow(0.0, 1.5, 1e-3, KAPPA, logarithmic(3.0))
    assert path.end == path.lowest == 1.5
    assert path.mean(lambda z: 1 / z) == pytest.approx(1 / 1.5)
    assert path.residual == 0
    assert not path.touches


def test_a_straight_line_unless_told_otherwise():
    assert follow(1000.0, 2.0, 1e-4).end == pytest.approx(2.1)


def test_lowest_of_a_line_that_dips_between_its_ends():
    """A parabola: h0 - s² / 2κ where it dips, else the lower end."""
    path = follow(3000.0, 2.0, [-2e-4, 1e-4, -1e-3], KAPPA)
    assert path.lowest == pytest.approx([2 - 4e-8 * R / 2, 2, 2 - 3 + 4.5e6 / R], abs=1e-9)
    assert path.touches.tolist() == [False, False, True]


@pytest.mark.parametrize("kelvin", [-3.0, 0.0, 3.0])
@pytest.mark.parametrize("slope", [-5e-3, -2e-3])
def test_contact_is_told_and_harms_no_other_line(kelvin, slope):
    chi = logarithmic(kelvin)
    path = follow(2000.0, [1.0, 2.0], [slope, 0.0], KAPPA, chi)
    assert path.touches.tolist() == [True, False]
    for values in (path.x, path.z, path.end, path.lowest, path.residual, path.mean(chi)):
        assert np.isfinite(values).all()
    assert path.lowest[0] <= 0.01
    assert path.end[1] == pytest.approx(follow(2000.0, 2.0, 0.0, KAPPA, chi).end, abs=1e-7)


def test_a_near_miss_is_no_contact():
    """3 cm off the water: heights between the sweeps come below it, the line doesn't."""
    chi = logarithmic(-1.8)
    path, z = follow(2000.0, 0.54, -9.6e-4, KAPPA, chi), solved(2000.0, 0.54, -9.6e-4, KAPPA, chi)
    assert 0.01 < z(np.linspace(0, 2000, 100_001)).min() < 0.05
    assert not path.touches
    assert path.end == pytest.approx(z(2000.0), abs=1e-5)


def test_chi_is_never_asked_below_the_floor():
    heights = []
    follow(1000.0, 1.0, -5e-3, 0.0, lambda z: heights.append(z.min()) or 1e-8 / z, floor=0.05)
    assert min(heights) == 0.05
    assert follow(10.0, 0.04, floor=0.05).touches


def test_a_ray_that_follows_the_earth():
    """k = 1 at 2 m and less above, so that a level line stays there, and leaves when it starts elsewhere."""
    def chi(z):
        return 2 * KAPPA / z

    path = follow(10_000.0, [1.9, 2.0, 2.1], 0.0, KAPPA, chi)
    assert path.end[1] == pytest.approx(2, abs=1e-9)
    assert path.end[0] < 1.9
    assert path.end[2] > 2.1


# ---- warnings


def test_nothing_to_warn_of():
    chi = logarithmic(0.5)
    assert warnings(follow([500.0, 2000.0], 2.0, 0.0, KAPPA, chi), chi) == []


def test_warning_of_contact():
    chi = logarithmic(-0.1)
    path = follow(1000.0, [1.0, 2.0, 1.5], [-3e-3, 0.0, -4e-3], KAPPA, chi)
    (told,) = (words for words in warnings(path, chi) if "meets the water" in words)
    assert told.startswith("2 of 3 lines: one meets the water within ")
    assert told.endswith(" m: raise the instrument or shorten the sight.")
    assert 333 <= float(told.split("within ")[1].split(" m")[0]) <= 500


def test_warning_of_ducting():
    """3 K of warmer air, at 1.3 m: k = 0.16 + 1.46 / 1.3."""
    chi = logarithmic(3.0)
    path = follow(100.0, 1.3, 0.0, KAPPA, chi)
    (told,) = warnings(path, chi)
    assert told.startswith(f"The line is bent more than the Earth (k = {chi(1.3) * R:.1f} at 1.30 m above the water)")
    assert "several images" in told


def test_warning_of_strong_air_near_the_water():
    chi = logarithmic(-1.0)
    path = follow(1000.0, [2.0, 2.0], [-1.85e-3, 0.0], KAPPA, chi)
    assert not path.touches.any()
    (told,) = warnings(path, chi)
    assert told.startswith("1 of 2 lines: one comes down to 0.")
    assert "more than three times as much as on average: keep it a metre off the water." in told


# ---- scalars, arrays, faults


def test_arrays_hold_what_scalars_give():
    distance, height = np.array([200.0, 1500.0]), np.array([[1.2], [2.0], [3.0]])
    path = follow(distance, height, 1e-5, KAPPA, logarithmic(-2.0))
    assert path.end.shape == path.lowest.shape == path.touches.shape == path.residual.shape == (3, 2)
    assert path.x.shape == path.z.shape == (3, 2, path.weight.size)
    shapes = path.mean(lambda z: 1 / z)
    for place in np.ndindex(3, 2):
        single = follow(float(distance[place[1]]), float(height[place[0], 0]), 1e-5, KAPPA, logarithmic(-2.0))
        assert isinstance(single.end, float)
        assert isinstance(single.mean(lambda z: 1 / z), float)
        assert single.z.ndim == 1
        assert single.end == pytest.approx(path.end[place], abs=1e-7)
        assert single.lowest == pytest.approx(path.lowest[place], abs=1e-3)
        assert single.mean(lambda z: 1 / z) == pytest.approx(shapes[place], rel=1e-6)
    assert follow(np.array([]), 1.5).end.shape == (0,)


def test_lines_that_are_easy_do_not_suffer_from_those_that_are_hard():
    """From clear of the water down to it: the hard ones go on by finer rules, and lines 0.3 m clear end as promised, against scipy; between, to 5 µm."""
    chi, slopes = logarithmic(-4.0), np.linspace(-3e-3, 1e-3, 40).reshape(8, 5)
    path, alone = follow(2000.0, 1.6, slopes, KAPPA, chi), follow(2000.0, 1.6, slopes.max(), KAPPA, chi)
    clear = path.lowest > 0.3
    assert path.touches.any() and path.weight.size > 2 * alone.weight.size and path.residual[clear].max() <= 1e-6
    for place in zip(*np.nonzero(clear)):
        exact = solved(2000.0, 1.6, slopes[place], KAPPA, chi)
        assert path.end[place] == pytest.approx(exact(2000.0), abs=1e-6)
        assert path.z[place] == pytest.approx(exact(path.x[place]), abs=5e-6)


@pytest.mark.parametrize("shape", [(6,), (2, 3), (3, 2)])
def test_an_air_of_its_own_for_each_line_stays_with_its_line(shape):
    """Also where some lines are hard and go on by finer rules, and as many of them as the last axis is long."""
    slopes, kelvins = np.full(shape, 1e-3), np.linspace(-4.0, 1.0, 6).reshape(shape)
    slopes.flat[:3] = -1.1e-3, -0.9e-3, -1.0e-3
    for of_line in (kelvins, kelvins[-1:] if len(shape) > 1 else kelvins):  # one for each, one for each of the last axis
        path = follow(2000.0, 1.6, slopes, KAPPA, logarithmic(of_line[..., None]))
        for place in np.ndindex(shape):
            alone = follow(2000.0, 1.6, slopes[place], KAPPA, logarithmic(np.broadcast_to(of_line, shape)[place]))
            assert bool(path.touches[place]) == alone.touches and (alone.touches or path.end[place] == pytest.approx(alone.end, abs=1e-6))
        assert path.touches.sum() <= 3


def ragged(z):
    """Air in layers of 0.1 mm that bend the ray up and down in turn."""
    return np.where(np.floor(1e4 * z) % 2, 1e-6, -1e-6)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: follow(-1.0, 1.5), "distance -1 .*metres"),
        (lambda: follow(math.nan, 1.5), "distance nan "),
        (lambda: follow(100.0, [1.5, -0.2]), "height -0.2 .*above the still water"),
        (lambda: follow(100.0, 1.5, 30.0), "slope 30 .*radians"),
        (lambda: follow(100.0, 1.5, 0.0, 6.371e6), "curvature 6.371e\\+06 .*1/R"),
        (lambda: follow(100.0, 1.5, floor=0.0), "floor 0 .*lowest height that chi"),
        (lambda: follow(100.0, 1.5, segments=1000), "segments 1000 .*None"),
        (lambda: follow(100.0, 1.5, chi=lambda z: z * math.nan), "chi isn't finite .*give a curvature"),
        (lambda: follow(2e4, 900.0, 0.0, KAPPA, ragged), "20000 m from 900 m .*settle.*give"),
        (lambda: follow(100.0, [1.5, 2, 3], chi=lambda z: np.ones(7)), "broadcast"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("part", [0.03, 0.97])
@pytest.mark.parametrize("segments", [None, 1, 4])
def test_lowest_is_that_of_the_parabola_near_either_end(part, segments):
    """h - s²/2κ at x = -s/κ; straight rays over round water."""
    distance, kappa = 2000.0, 1 / 6.371e6
    slope = -kappa * part * distance
    assert follow(distance, 2.0, slope, kappa, segments=segments).lowest == pytest.approx(2.0 - slope**2 / (2 * kappa), abs=1e-12)


@pytest.mark.parametrize("distance", [1000.0, 2000.0, 5000.0, 10_000.0])
@pytest.mark.parametrize("share", [0.5, 0.49, 0.2, 0.999])
def test_the_lowest_point_of_a_line_that_dips_anywhere(distance, share):
    """z = h + s x + κ x²/2 is lowest at x = -s/κ, by s²/2κ, the middle of the line and the last node's neighbourhood included."""
    slope = -KAPPA * share * distance
    path = follow(distance, 20.0, slope, KAPPA)
    assert path.lowest == pytest.approx(20.0 - slope**2 / (2 * KAPPA), abs=1e-9)
