"""Where the line of sight should strike, by what is known apart from the long sights.

The same network, with the curvature given and every sight beyond the reach of
a peg test left out.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping

import numpy as np

from .adjustment import Result, axis_height, longest
from .air import State, by_profile
from .air import path as air_path
from .leastsquares import Estimate, Solution, solve
from .numbers import Array
from .resolve import LONG
from .rows import BENDING, CURVATURE, PROFILED, Row, Unknown

BENT = {"curvature", *BENDING}
OPTICS = {*BENT, "collimation", "drift", "setting", "focus", "distance"}


def line_of_sight(result: Result, curvature: float, distances: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Predicted offset of the line of sight from the level surface through the instrument's axis.

    Parameters
    ----------
    result : Result
    curvature : float
        Of the water: 0 if flat, 1/R if it follows the ellipsoid [1/m].
    distances : array (n,)
        From the set-up of the longest sight [m].

    Returns
    -------
    offset, u : arrays (n,)
        [m], + = the line of sight is above. Collimation and air are taken from
        what the book states and from its short sights (a peg test); no sight
        beyond 100 m, and none as long as the longest, is used.
    """
    target = longest(result)
    solution, flat, per_curvature = _known(result)
    means = flat + curvature * per_curvature
    along = np.asarray(distances, dtype=float)
    ratio, bent = along / target.reading.distance, _nearness(result, dict(zip(solution.unknowns, means)), curvature, along)
    matrix = np.zeros((ratio.size, len(solution.unknowns)))
    for key in (key for key in target.terms if key[0] in OPTICS and key in solution.unknowns):
        shape = target.terms[key] * ratio ** (2 if key[0] in BENT else 1)
        shape = shape * {"focus": along > LONG, "strength": bent, "vapour": bent, "departure": bent}.get(key[0], 1.0)
        matrix[:, solution.unknowns.index(key)] = shape
    return matrix @ means, np.sqrt(np.einsum("ij,jk,ik->i", matrix, solution.covariance, matrix))


@functools.lru_cache(4)
def predicted_lines(result: Result) -> tuple[Array, tuple[Array, Array], tuple[Array, Array]]:
    """41 distances along the longest sight [m], and `line_of_sight` there over flat water and over the ellipsoid; a page asks for them several times a move."""
    along = np.linspace(0.0, longest(result).reading.distance, 41)
    return along, line_of_sight(result, 0.0, along), line_of_sight(result, result.ellipsoid_curvature, along)


@functools.lru_cache(4)
def _known(result: Result) -> tuple[Solution, Array, Array]:
    """What is known apart from the long sights, with the curvature given: each unknown over flat water, and its change with the curvature; a page asks for it several times a move."""
    given = Row("curvature as given", "prior", {CURVATURE: 1.0}, 0.0, ())
    rest = [row for row in result.rows if not row.reading or row.reading.distance <= LONG and row.reading.distance < longest(result).reading.distance]
    known = solution = solve([*rest, given])
    if result.book.is_plan:  # nothing is read yet: priors and thermometers are all that is known
        known = solve([*(row for row in rest if row.kind in ("prior", "air")), given])
    values = dict(zip(known.unknowns, zip(known.x, known.gain[:, -1])))
    flat, per_curvature = np.array([values.get(key, (0.0, 0.0)) for key in solution.unknowns]).T
    return solution, flat, per_curvature


def at_target(result: Result, curvature: float) -> Estimate:
    """The same at the end of the longest sight [m]."""
    (offset,), (u,) = line_of_sight(result, curvature, np.array([longest(result).reading.distance]))
    return Estimate(float(offset), float(u))


def _nearness(result: Result, values: Mapping[Unknown, float], curvature: float, distances: np.ndarray) -> np.ndarray:
    """How much more than the longest sight, as it was reduced, a line to each distance sees of the air near the water.

    Through an air with a profile each line has its own path, over water of the given curvature; elsewhere 1.
    """
    target = longest(result)
    sight, mass = target.reading, result.book.airs[target.reading.air]
    if not by_profile(mass):
        return np.ones_like(distances)
    state = State(*(values[kind, sight.air] for kind in PROFILED))
    tilt = values["collimation", sight.instrument]
    here, way = air_path(mass, state, distances, axis_height(result, sight.setup), tilt, curvature)
    reduced = target.terms["strength", sight.air] / (-here.per_gradient * sight.distance**2 / 2)
    return np.asarray(way.mean(here.shape.slope)) / reduced


def measured_offset(result: Result) -> Estimate:
    """What the book found, as an offset at the end of the longest sight [m].

    The line of sight as predicted (`line_of_sight`), with the curvature that
    was found; for a single sight it is the offset that was read. Its
    uncertainty holds pointing, reading, touch and heights by the lake;
    collimation and air belong to the prediction.
    """
    sight = longest(result).reading
    own = [s * row.u for row, s in zip(result.rows, result.sensitivity)
           if (row.reading.air == sight.air if row.reading else not OPTICS & {key[0] for key in row.terms})]
    return Estimate(at_target(result, result.curvature.value).value, math.hypot(*own) * sight.distance**2 / 2)
