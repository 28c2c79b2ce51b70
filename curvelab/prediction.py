"""Where the line of sight should strike, by what is known apart from the long sights.

The same network, with the curvature given and every sight beyond the reach of
a peg test left out.
"""

from __future__ import annotations

import math

import numpy as np

from .adjustment import Result, longest
from .leastsquares import Estimate, solve
from .resolve import LONG
from .rows import CURVATURE, Row

OPTICS = {"curvature", "collimation", "drift", "setting", "focus", "refraction", "strength", "stability", "departure", "distance"}
BENT = {"curvature", "refraction", "strength", "stability", "departure"}


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
        beyond 100 m is used.
    """
    target = longest(result)
    known = Row("curvature as given", "prior", {CURVATURE: 1.0}, curvature, ())
    rest = [row for row in result.rows if not row.reading or row.reading.distance <= LONG]
    solution = solve([*rest, known])
    means = solution.x
    if result.book.is_plan:  # nothing is read yet: priors and thermometers are all that is known
        before = solve([*(row for row in rest if row.kind in ("prior", "temperature")), known])
        values = dict(zip(before.unknowns, before.x))
        means = np.array([values.get(key, 0.0) for key in solution.unknowns])
    ratio = np.asarray(distances, dtype=float) / target.reading.distance
    matrix = np.zeros((ratio.size, len(solution.unknowns)))
    for key in (key for key in target.terms if key[0] in OPTICS and key in solution.unknowns):
        shape = target.terms[key] * ratio ** (2 if key[0] in BENT else 1)
        beyond = ratio * target.reading.distance > LONG
        matrix[:, solution.unknowns.index(key)] = shape * beyond if key[0] == "focus" else shape
    return matrix @ means, np.sqrt(np.einsum("ij,jk,ik->i", matrix, solution.covariance, matrix))


def measured_offset(result: Result) -> Estimate:
    """What the book found, as an offset at the end of the longest sight [m].

    The line of sight as predicted (`line_of_sight`), with the curvature that
    was found; for a single sight it is the offset that was read. Its
    uncertainty holds pointing, reading, touch and heights by the lake;
    collimation and air belong to the prediction.
    """
    sight = longest(result).reading
    (offset,), _ = line_of_sight(result, result.curvature.value, np.array([sight.distance]))
    own = [s * row.u for row, s in zip(result.rows, result.sensitivity)
           if (row.reading.air == sight.air if row.reading else not OPTICS & {key[0] for key in row.terms})]
    return Estimate(float(offset), math.hypot(*own) * sight.distance**2 / 2)
