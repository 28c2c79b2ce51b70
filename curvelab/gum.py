"""The general tools of the GUM: readings, half-widths, sensitivities, correlation, coverage, conformity.

For any measurement, not only that of the network: a model is a function of arrays, its
inputs are values with standard uncertainties. NaN and numbers that can't be raise ValueError. Numbers of clauses are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from .numbers import Array, Floats, checked, plain
from .uncertainty import NORMAL, RECTANGULAR, STUDENT, Contribution, effective_dof

TRIANGULAR, TRAPEZOID, ARCSINE = "triangular", "trapezoid", "arcsine"
_SHAPES = (NORMAL, STUDENT, RECTANGULAR, TRIANGULAR, TRAPEZOID, ARCSINE)
_STENCIL = np.array([-1, 9, -45, 45, -9, 1]) / 60  # of the first derivative at -3, -2, -1, 1, 2, 3 steps
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)


@dataclass(frozen=True)
class Input:
    """What is known of one input of a model.

    Its `value`, standard uncertainty `u` [its unit] with `dof` degrees of freedom, 1 or more, and its
    `distribution`: ``"normal"``, ``"student t"`` (u is its scale; its standard deviation is larger by
    √(dof/(dof - 2))), ``"rectangular"``, ``"triangular"``, ``"trapezoid"`` (its `top` over its base from
    0, a triangle, to 1, a rectangle) or ``"arcsine"``.
    """

    value: float
    u: float
    distribution: str = NORMAL
    dof: float = math.inf
    top: float = 0.5

    def __post_init__(self) -> None:
        """Refuse numbers that can't be."""
        checked("value", self.value, -math.inf, math.inf, "the estimate of the input")
        _uncertainty(self.u)
        _freedom(self.dof)
        checked("top", self.top, 0, 1, "the top of the trapezoid over its base")
        if self.distribution not in _SHAPES:
            raise ValueError(f"distribution {self.distribution!r} is unknown: give one of {', '.join(_SHAPES)}")


Inputs = Mapping[str, Input] | Sequence[Input]  # by name, or in the order of the model's arguments


@dataclass(frozen=True)
class Linear:
    """A result by linear propagation: value, standard uncertainty, |cᵢ|uᵢ of each input, effective dof."""

    value: float
    u: float
    contributions: tuple[Contribution, ...]
    dof: float


def repeated(readings: ArrayLike) -> Input:
    """Type A evaluation: mean of independent readings of one quantity, its u and n - 1 degrees of freedom.

    u = s/√n: JCGM 100:2008, equations (3) to (5); Student's t as its distribution: JCGM 101:2008, 6.4.9.2.

    >>> mean = repeated([5.007, 4.994, 5.005, 4.990, 4.999])  # V, JCGM 100:2008, table H.2
    >>> round(mean.value, 4), round(mean.u, 4), mean.dof
    (4.999, 0.0032, 4)
    """
    values = checked("reading", readings, -math.inf, math.inf, "the readings of one quantity")
    if values.ndim != 1 or values.size < 2:
        raise ValueError(f"readings of shape {values.shape} show no scatter: give a list of two or more")
    return Input(float(values.mean()), float(values.std(ddof=1)) / math.sqrt(values.size), STUDENT, values.size - 1)


def correlation_of_means(readings: ArrayLike) -> Array:
    """Correlation matrix of the means of quantities read together: one row of readings for each quantity.

    JCGM 100:2008, equations (14) and (17).

    >>> correlation_of_means([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0]]).tolist()
    [[1.0, 1.0], [1.0, 1.0]]
    """
    values = checked("reading", readings, -math.inf, math.inf, "one row of readings for each quantity")
    if values.ndim != 2 or values.shape[1] < 2:
        raise ValueError(f"readings of shape {values.shape} are no rows: give two or more readings of each quantity")
    still = np.flatnonzero(np.ptp(values, axis=1) == 0)
    if still.size:
        raise ValueError(f"row {still[0]} of the readings does not scatter, so it has no correlation: leave it out")
    return np.atleast_2d(np.corrcoef(values))


def divisor(shape: str, top: float = 0.5) -> float:
    """Half-width over standard uncertainty of a distribution between limits.

    √3, √6, √2 and √(6/(1 + top²)): JCGM 100:2008, 4.3.7 and 4.3.9; JCGM 101:2008, 6.4.2 to 6.4.6.
    `top` is that of a trapezoid over its base.

    >>> [round(divisor(shape), 4) for shape in ("rectangular", "triangular", "arcsine", "trapezoid")]
    [1.7321, 2.4495, 1.4142, 2.1909]
    """
    beta = float(checked("top", top, 0, 1, "the top of the trapezoid over its base"))
    squares = {RECTANGULAR: 3.0, TRIANGULAR: 6.0, ARCSINE: 2.0, TRAPEZOID: 6 / (1 + beta**2)}
    if shape not in squares:
        raise ValueError(f"distribution {shape!r} has no limits: give one of {', '.join(squares)}")
    return math.sqrt(squares[shape])


def within(value: float, half_width: float, shape: str = RECTANGULAR, *, dof: float = math.inf, top: float = 0.5) -> Input:
    """Input known to lie within value ± half_width [its unit].

    >>> round(within(20.0, 0.5, "arcsine").u, 4)
    0.3536
    """
    checked("half_width", half_width, 0, math.inf, "half the distance between the limits, 0 or more")
    return Input(value, half_width / divisor(shape, top), shape, dof, top)


def checked_correlation(matrix: ArrayLike, size: int) -> Array:
    """A matrix that can be the correlation of `size` quantities, or a ValueError that says why it can't."""
    r = checked("correlation coefficient", matrix, -1 - 1e-12, 1 + 1e-12, "the correlations of the inputs")
    if r.shape != (size, size):
        raise ValueError(f"a correlation matrix of shape {r.shape} does not fit {size} inputs: give {size} rows and columns")
    if np.abs(np.diag(r) - 1).max() > 1e-12:
        raise ValueError(f"correlation matrix with diagonal {np.diag(r)}: give 1, as each input agrees with itself")
    if np.abs(r - r.T).max() > 1e-12:
        raise ValueError("the correlation matrix is not symmetric: give rᵢⱼ = rⱼᵢ")
    least = np.linalg.eigvalsh(r)[0]
    if least < -1e-12 * size:
        raise ValueError(f"the correlation matrix is not positive semidefinite (eigenvalue {least:.2g}): its coefficients "
                         "contradict each other; give them unrounded, or as computed from common readings")
    return r


def covariance(sensitivities: ArrayLike, us: ArrayLike, correlation: ArrayLike | None = None) -> Floats:
    """Variance of a result, or covariance matrix of several: JCGM 100:2008, equation (16), in matrix form.

    `sensitivities` cᵢ [unit of the result / of the input], (k,) or a row for each result, (m, k); `us` of
    the k inputs, and their `correlation`, (k, k); without it they are independent.

    >>> covariance([1.0, 1.0], [3.0, 4.0], [[1.0, 0.5], [0.5, 1.0]])
    37.0
    """
    u = np.atleast_1d(_uncertainty(us))
    c = checked("sensitivity", sensitivities, -math.inf, math.inf, "the derivatives of the result by its inputs")
    if u.ndim != 1 or c.shape[-1:] != u.shape or c.ndim > 2:
        raise ValueError(f"sensitivities of shape {c.shape} do not fit {u.shape} uncertainties: give one for each input")
    return plain(c * u @ (np.eye(u.size) if correlation is None else checked_correlation(correlation, u.size)) @ (c * u).T)


def combined_u(sensitivities: ArrayLike, us: ArrayLike, correlation: ArrayLike | None = None) -> Floats:
    """Combined standard uncertainty of a result, or of each of several; arguments as of `covariance`.

    >>> combined_u([1.0, -1.0], [3.0, 4.0], [[1.0, 1.0], [1.0, 1.0]])
    1.0
    """
    variance = np.asarray(covariance(sensitivities, us, correlation))
    return plain(np.sqrt(np.maximum(np.diag(variance) if variance.ndim else variance, 0)))


def positional(model: Callable[..., ArrayLike], inputs: Inputs) -> tuple[Callable[..., ArrayLike], list[str], list[Input]]:
    """A model as a function of positional arrays, the names of its inputs, and the inputs in that order."""
    if not len(inputs):
        raise ValueError("a model without inputs has no uncertainty: give at least one input")
    if isinstance(inputs, Mapping):
        names = list(inputs)
        return lambda *rows: model(**dict(zip(names, rows, strict=True))), names, list(inputs.values())
    return model, [f"input {i}" for i in range(1, len(inputs) + 1)], list(inputs)


def sensitivities(model: Callable[..., ArrayLike], inputs: Inputs) -> Array:
    """Derivatives of a model by each of its inputs at their values, (k,), or (m, k) if it returns m results.

    Central differences of the sixth order in steps of u/20, all in one call of the model with arrays.

    >>> sensitivities(lambda v, i: v / i, {"v": Input(10.0, 0.1), "i": Input(2.0, 0.01)}).round(9).tolist()
    [0.5, -2.5]
    """
    return _around(model, inputs)[1]


def propagate(model: Callable[..., ArrayLike], inputs: Inputs, correlation: ArrayLike | None = None) -> Linear:
    """Value and uncertainty of a model of one result, linearised at the values of its inputs.

    `model` is a function of arrays, one for each input, by name if the inputs are named; `correlation`,
    (k, k), is that of the inputs in their order. JCGM 100:2008, equations (10), (16) and (G.2b).

    The contributions fit `uncertainty.budget`; a shape that `uncertainty.upper_tail` doesn't know is
    named in the remark, and taken as normal. The dof are NaN where finite ones meet correlation,
    which the Welch–Satterthwaite formula leaves out.

    >>> area = propagate(lambda a, b: a * b, [Input(3.0, 0.1), within(4.0, 0.3)])
    >>> round(area.value, 9), round(area.u, 4)
    (12.0, 0.6557)
    """
    value, slopes = _around(model, inputs)
    if slopes.ndim > 1:
        raise ValueError("the model returns several results: propagate one at a time, or use sensitivities and covariance")
    _, names, parts = positional(model, inputs)
    us = [part.u for part in parts]
    shares = tuple(_contribution(*item) for item in zip(names, parts, np.abs(slopes) * us, strict=True))
    exact = correlation is None or all(math.isinf(part.dof) for part in parts)
    return Linear(float(value), float(combined_u(slopes, us, correlation)), shares, effective_dof(shares) if exact else math.nan)


def student_factor(probability: float, dof: float = math.inf) -> float:
    """Coverage factor: |t| that Student's t exceeds with 1 - probability; dof 1 or more, real or infinite.

    With t = √dof sinh w, P(|T| > t) is the integral of cosh(w)^-dof from w on, over that from 0 on. Its
    logarithm is concave, so Newton's rule from 0 converges. JCGM 100:2008, G.3 and table G.2.

    >>> round(student_factor(0.99, 16), 2), round(student_factor(0.95), 2)
    (2.92, 1.96)
    """
    if not 0 < probability < 1:
        raise ValueError(f"probability {probability:g} can't be: give more than 0 and less than 1, such as 0.95")
    if math.isinf(_freedom(dof)):
        return -NormalDist().inv_cdf((1 - probability) / 2)
    w, aim = 0.0, _log_tail(0.0, dof)[0] + math.log1p(-probability)
    for _ in range(60):
        height, area = _log_tail(w, dof)
        w += (height - aim) * area
        if abs(height - aim) * area <= 1e-13 * w:
            break
    return math.sqrt(dof) * math.sinh(w)


def expanded_u(u: float, probability: float = 0.95, dof: float = math.inf) -> float:
    """Expanded uncertainty: half the width of the interval with that coverage probability [unit of u].

    JCGM 100:2008, G.3 and G.4; G.4.1 truncates an effective dof to an integer, here it is taken as it is.

    >>> round(expanded_u(32.0, 0.99, 16), 1)
    93.5
    """
    return student_factor(probability, dof) * float(_uncertainty(u))


def conformity(value: float, u: float, lower: float = -math.inf, upper: float = math.inf) -> float:
    """Probability that a quantity, normal about `value`, lies between the tolerance limits [same unit].

    Φ((upper - value)/u) - Φ((lower - value)/u): JCGM 106:2012, 7.3 to 7.5 (numbers of the clauses from memory).

    >>> round(conformity(-5.47, 0.05, upper=-5.40), 4)
    0.9192
    """
    checked("value", value, -math.inf, math.inf, "what was measured")
    spread = float(_uncertainty(u))
    if not lower < upper or math.isinf(lower) and math.isinf(upper):
        raise ValueError(f"tolerance limits {lower:g} and {upper:g} enclose no interval: give one limit, or the lower first")
    if not spread:
        return float(lower <= value <= upper)
    low, high = (lower - value) / spread, (upper - value) / spread
    low, high = (-high, -low) if low > 0 else (low, high)  # the lower tail keeps its digits
    return (math.erfc(-high / math.sqrt(2)) - math.erfc(-low / math.sqrt(2))) / 2


def _around(model: Callable[..., ArrayLike], inputs: Inputs) -> tuple[Array, Array]:
    """Value of a model at the values of its inputs, and its derivatives there."""
    function, _, parts = positional(model, inputs)
    k, steps = len(parts), np.array([p.u / 20 if p.u else 1e-6 * (abs(p.value) or 1) for p in parts])
    points = np.repeat([[p.value] for p in parts], 6 * k + 1, axis=1).astype(float)
    for i, step in enumerate(steps):
        points[i, 6 * i:6 * i + 6] += step * np.array([-3, -2, -1, 1, 2, 3])
    results = np.asarray(function(*points), dtype=float)
    if results.shape[-1:] != points.shape[1:] or results.ndim > 2 or not np.isfinite(results).all():
        raise ValueError(f"the model gave {results.shape} numbers, or none, for {points.shape[1]} points around the values: "
                         "give a function of arrays that is defined three twentieths of u around each value")
    return results[..., -1], results[..., :-1].reshape(*results.shape[:-1], k, 6) @ _STENCIL / steps


def _contribution(name: str, part: Input, u: float) -> Contribution:
    """An input's share in the result, for a budget."""
    shape, remark = (part.distribution, "") if part.distribution in (NORMAL, RECTANGULAR, STUDENT) else (NORMAL, part.distribution)
    return Contribution(name, "this input", float(u), shape, part.dof, remark)


def _log_tail(w: float, dof: float) -> tuple[float, float]:
    """Log of the integral of cosh^-dof from w on, and that integral in units of its first ordinate."""
    reach = 37 / dof + math.sqrt(w * w + 74 / dof) - w
    x = w + reach / 2 * (_NODES + 1)
    start, rest = (np.log1p(2 * np.sinh(y / 2) ** 2) for y in (w, x))
    area = reach / 2 * float(_WEIGHTS @ np.exp(-dof * (rest - start)))
    return math.log(area) - dof * float(start), area


def _uncertainty(u: ArrayLike) -> Array:
    """Standard uncertainties, checked."""
    return checked("standard uncertainty", u, 0, math.inf, "0 or more")


def _freedom(dof: float) -> float:
    """Degrees of freedom, checked."""
    if not dof >= 1:
        raise ValueError(f"degrees of freedom {dof:g} can't be: give 1 or more, infinity for an exact u")
    return dof
