"""Tests of a level in the field: sets of two-peg tests, ISO 17123-2, compensator, reciprocal levelling, misclosure.

Lengths in metres, angles in radians; slopes are positive where the line of sight rises.
ISO 17123-2:2001 *Levels* was not at hand: its two procedures are as the University of Genoa's test field describes them (read),
its statistics from memory; no example figures were seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .instrument import two_peg, two_peg_u
from .numbers import Array, Floats, checked, plain

CHI2_38, F_38, T_38 = 53.383541, 1.907004, 2.024394  # quantiles at 0.95, 0.975, 0.975 for 38 degrees of freedom


@dataclass(frozen=True)
class Collimation:
    """Slope of the line of sight and its u [rad]; χ² of the sets about it, over `dof`."""

    slope: float
    u: float
    chi2: float
    dof: int


@dataclass(frozen=True)
class SimplifiedTest:
    """Mean differences from midway and from near one staff, s of one difference, `permitted` |midway - near| [m]."""

    midway: float
    near: float
    s: float
    permitted: float
    accepted: bool


@dataclass(frozen=True)
class FullTest:
    """s of one 60 m difference, of 1 km double run, `delta` [m]; three answers, None where nothing was given to compare."""

    s: float
    per_km: float
    delta: float
    staffs_agree: bool
    as_stated: bool | None
    as_earlier: bool | None


@dataclass(frozen=True)
class Compensator:
    """Collimation in the mean of four bubble positions [rad]; slope per tilt, `along` and `across` the line [-]."""

    collimation: float
    along: float
    across: float


def two_peg_sets(
    readings: ArrayLike, distances: ArrayLike, reading_u: ArrayLike, setting_u: ArrayLike = 0.0,
    refraction_u: float = 0.0, curvature: float = 0.0, refraction: float = 0.0,
) -> Collimation:
    """Collimation from n sets of a two-peg test, by least squares.

    `readings` and `distances` [m] as in `instrument.two_peg`, four rows of n; the other inputs as in `two_peg_u`.
    Pegs count as new in each set, χ as common to all; weights from the covariance of the n slopes.

    >>> found = two_peg_sets([[1.924, 1.801], [1.712, 1.588], [1.696, 1.655], [1.487, 1.447]], [25, 25, 1, 49], 5e-4)
    >>> round(found.slope * 1e6, 1), round(found.u * 1e6, 1), round(found.chi2, 2)
    (83.3, 14.7, 2.0)
    """
    each = np.atleast_1d(two_peg(readings, distances, curvature, refraction))
    own = np.broadcast_to(two_peg_u(distances, reading_u, setting_u), each.shape)
    if each.ndim != 1 or not own.all():
        raise ValueError("the sets can't be weighed: give four rows with one column a set, and a reading_u above 0")
    per_chi = checked("refraction_u", refraction_u, 0.0, math.inf, "a standard uncertainty per metre, 0 or more")
    common = np.broadcast_to(two_peg(np.zeros(4), distances, 0.0, per_chi), each.shape)
    covariance = np.diag(own**2) + np.outer(common, common)
    weights = np.linalg.solve(covariance, np.ones_like(each))
    slope = weights @ each / weights.sum()
    chi2 = (each - slope) @ np.linalg.solve(covariance, each - slope)
    return Collimation(float(slope), float(weights.sum() ** -0.5), float(chi2), each.size - 1)


def drift(before: Collimation, after: Collimation) -> tuple[float, float]:
    """Change of collimation, after less before, and its u [rad]; the airs of the two tests count as independent.

    >>> [round(value * 1e6, 3) for value in drift(Collimation(50e-6, 3e-6, 0.0, 0), Collimation(60e-6, 4e-6, 0.0, 0))]
    [10.0, 5.0]
    """
    return after.slope - before.slope, math.hypot(before.u, after.u)


def simplified_test(midway: ArrayLike, near: ArrayLike, permitted: float | None = None) -> SimplifiedTest:
    """ISO 17123-2, simplified: 10 differences from midway between staffs 60 m apart, 10 from 10 m and 50 m.

    Accepted where the means differ by `permitted` [m] or less; if it is None by 2.5 s, s of a difference from midway.
    Nothing is taken off for curvature and refraction: the means differ by 0.16 mm if k = 0.13.

    >>> simplified_test([0.5001, 0.4999] * 5, [0.5006] * 10).accepted
    False
    """
    first, second = _column("midway", midway, 10), _column("near", near, 10)
    s = float(first.std(ddof=1))
    limit = 2.5 * s if permitted is None else float(_metres("permitted", permitted))
    return SimplifiedTest(float(first.mean()), float(second.mean()), s, limit, bool(abs(first.mean() - second.mean()) <= limit))


def full_test(first: ArrayLike, second: ArrayLike, stated: float | None = None, earlier: float | None = None) -> FullTest:
    """ISO 17123-2, full: 20 differences from midway between staffs 60 m apart, 20 more with the staffs exchanged.

    `stated` by the maker and `earlier` found in another full test: standard deviations of 1 km double run [m].

    Notes
    -----
    s² = Σr²/38 with r from the mean of each half; per km s √(1000/60)/√2; delta = mean of the first less the second half,
    by algebra twice the difference of the staffs' zeros. Kept at 5 %: s ≤ 1.185 σ; 0.52 ≤ s²/s'² ≤ 1.91; |delta| ≤ 0.640 s.

    >>> test = full_test([0.5002, 0.4998] * 10, [0.5003, 0.4999] * 10, stated=5e-4)
    >>> round(test.per_km * 1e3, 2), test.staffs_agree, test.as_stated
    (0.59, True, True)
    """
    halves = _column("first", first, 20), _column("second", second, 20)
    s = math.sqrt(sum(float(((half - half.mean()) ** 2).sum()) for half in halves) / 38)
    if not s:
        raise ValueError("the differences do not scatter at all: give each as it was read, to 0.1 mm")
    per_km, delta = s * math.sqrt(1000 / 60 / 2), float(halves[0].mean() - halves[1].mean())
    as_stated = None if stated is None else bool(per_km <= _some("stated", stated) * math.sqrt(CHI2_38 / 38))
    as_earlier = None if earlier is None else bool(1 / F_38 <= (per_km / _some("earlier", earlier)) ** 2 <= F_38)
    return FullTest(s, per_km, delta, abs(delta) <= T_38 * s / math.sqrt(10), as_stated, as_earlier)


def compensator_check(readings: ArrayLike, level_reading: float, distance: float, tilt: float) -> Compensator:
    """Compensator from one staff, read with the bubble off by `tilt` [rad] towards it, away from it, left and right.

    `level_reading` [m]: what a level line would read there, known from midway. A slope per tilt is 0 for a
    perfect compensator and 1 along the line for one that sticks; times the bubble's care it is a slope. Common practice, no source.

    >>> found = compensator_check([1.5036, 1.5024, 1.5031, 1.5029], 1.5, 30.0, 2e-3)
    >>> round(found.collimation * 1e6), round(found.along, 4), round(found.across, 4)
    (100, 0.01, 0.0017)
    """
    slopes = (_column("readings", readings, 4) - _metres("level_reading", level_reading)) / _some("distance", distance)
    towards, away, left, right = slopes / (2 * _some("tilt", tilt, "radians above 0"))
    return Compensator(float(slopes.mean()), float(towards - away), float(left - right))


def reciprocal(from_a: ArrayLike, from_b: ArrayLike) -> tuple[Floats, Floats]:
    """Height of A above B, and total error of the long sight [m], from readings (on A, on B) beside A, then beside B.

    h = [(b_A - a_A) + (b_B - a_B)]/2, e = [(b_A - a_A) - (b_B - a_B)]/2: the one level and the one air of both long sights, and
    equal short sights, leave h free of e = (κ - χ) s²/2 + c s, + = far staff reads high. Chandra, Surveying, ch. 3 (read).

    >>> [round(value, 3) for value in reciprocal((2.165, 3.810), (0.910, 2.355))]
    [1.545, 0.1]
    """
    fall = [np.diff(_pair(name, pair), axis=0)[0] for name, pair in (("from_a", from_a), ("from_b", from_b))]
    return plain((fall[0] + fall[1]) / 2), plain((fall[0] - fall[1]) / 2)


def misclosure(differences: ArrayLike, length: float, per_root_km: float, expected: float = 0.0) -> tuple[float, float]:
    """Sum of height differences less what it must be, and the limit set to its size [m].

    `expected` is 0 for a loop and for a double run, forward and back; `length` [m] is what the rule counts as K.
    `per_root_km` [m]: 0.012 stands for 12 mm √K, K in km. Common practice; the caller names the rule.

    >>> [round(value, 4) for value in misclosure([1.2345, -0.4012, -0.8301], 2250.0, 0.012)]
    [0.0032, 0.018]
    """
    rises = checked("differences", differences, -math.inf, math.inf, "height differences in metres")
    limit = _some("per_root_km", per_root_km) * math.sqrt(_some("length", length) / 1000)
    return float(rises.sum() - checked("expected", expected, -math.inf, math.inf, "metres, 0 for a loop")), limit


def _metres(name: str, values: ArrayLike) -> Array:
    """Checked lengths [m], 0 or more."""
    return checked(name, values, 0.0, math.inf, "metres, 0 or more")


def _some(name: str, value: float, remedy: str = "metres above 0") -> float:
    """A checked number above 0."""
    return float(checked(name, value, 1e-12, math.inf, remedy))


def _pair(name: str, values: ArrayLike) -> Array:
    """Checked readings on A and on B [m]."""
    pair = _metres(name, values)
    if pair.shape[:1] != (2,):
        raise ValueError(f"{name} {values!r} are not two: give the readings on A and on B in metres")
    return pair


def _column(name: str, values: ArrayLike, count: int) -> Array:
    """So many checked numbers [m]."""
    column = checked(name, values, -math.inf, math.inf, "metres")
    if column.shape != (count,):
        raise ValueError(f"{name} has {column.size} numbers: give the {count} that the test asks for, in metres")
    return column
