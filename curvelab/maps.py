"""Separation over the length of the line and what else may be chosen: of one design, at a glance."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from .adjustment import longest
from .numbers import Array, checked
from .planning import Plan, plan
from .records import FieldBook
from .uncertainty import normal_cdf

# How the part of each cause in u(κ) falls with the length of a single sight: as 1, 1/D or 1/D²; what is not named falls as 1/D².
ANGLES = ("collimation", "drift of the collimation", "compensator setting", "focus run-out", "pointing", "water between the shores")
AIR = ("refraction", "refraction off the profile", "stability of the air", "humidity", "length of sight")


def separation(planned: Plan, distances: ArrayLike, collimation_u: ArrayLike | None = None) -> Array:
    """Separation of a single-sight plan, were its line of another length.

    Parameters
    ----------
    planned : Plan
        Of one set-up with a near and a far point.
    distances : array_like
        [m], broadcast against `collimation_u`.
    collimation_u : array_like, optional
        Standard uncertainty of the collimation [rad] in place of the plan's.

    Notes
    -----
    Each cause keeps its power of the distance (`ANGLES`, `AIR`); the air is
    taken to bend as it does over the plan's line. Within 2 % of `plan` itself from 400 m up.
    """
    d = checked("distances", distances, 100, 1e5, "lengths of the line in metres, 100 or more")
    own = longest(planned.result).reading.distance
    squares = {1: 0.0, 0: 0.0, 2: 0.0}
    for part in planned.result.contributions():
        if not (part.cause == "collimation" and collimation_u is not None):
            squares[1 if part.cause in ANGLES else 0 if part.cause in AIR else 2] += part.u**2
    variance = sum(square * (own / d) ** (2 * power) for power, square in squares.items())
    if collimation_u is not None:
        variance = variance + (2 * checked("collimation_u", collimation_u, 0, 0.1, "a slope in radians, 0 or more") / d) ** 2
    return planned.result.ellipsoid_curvature / np.sqrt(variance)


def power(separations: ArrayLike, alpha: float) -> Array:
    """Probability of rejecting flat water at `alpha` (two-sided) where the ellipsoid holds, in the normal approximation.

    >>> [round(float(p), 3) for p in power([2.5758, 3.8574], 0.01)]
    [0.5, 0.9]
    """
    return normal_cdf(np.asarray(separations, dtype=float) - NormalDist().inv_cdf(1 - alpha / 2))


def shortest_line(planned: Plan, collimation_u: float | None = None) -> float:
    """Least length [m] at which the design passes its gate; infinite where no length does, since the air does not cure with distance.

    Between 100 m and 100 km.
    """
    low, high = 100.0, 1e5
    if separation(planned, high, collimation_u) < planned.gate:
        return math.inf
    while high - low > 0.5:
        middle = (low + high) / 2
        low, high = (low, middle) if separation(planned, middle, collimation_u) >= planned.gate else (middle, high)
    return high


def grid(build: Callable[[float, float], FieldBook], xs: ArrayLike, ys: ArrayLike) -> Array:
    """Separation of any design over two choices, each point planned in full: shape (len(ys), len(xs))."""
    return np.array([[plan(build(float(x), float(y))).separation for x in np.asarray(xs)] for y in np.asarray(ys)])
