"""Propagation of distributions by Monte Carlo (JCGM 101:2008), and the check of linear propagation by it.

The model is called with arrays of at most `CHUNK` draws, which the next chunk overwrites. The
same seed gives the same digits, with the same release of numpy. Numbers of clauses are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from . import gum
from .numbers import Array, checked
from .uncertainty import NORMAL, RECTANGULAR, STUDENT, Contribution

CHUNK = 8_000  # draws of an input at a time: they stay in the cache, and sums of them in one thread
Fill = Callable[[Array], object]  # draws into a block, one row for each of its inputs


@dataclass(frozen=True)
class MonteCarlo:
    """A result by Monte Carlo: mean, standard uncertainty, and two intervals of the coverage probability.

    `symmetric` leaves out as much below as above; `shortest` has the same probability. With 10⁶
    trials and 95 % of a result that is nearly normal, the end points of the first are good to 0.01 u
    and those of the second to 0.02 u. Where the density is flat, many intervals are as short.
    """

    mean: float
    u: float
    probability: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]
    trials: int


@dataclass(frozen=True)
class Validation:
    """Differences of the end points, the tolerance, and whether neither exceeds it [unit of the result]."""

    d_low: float
    d_high: float
    delta: float
    validated: bool


def propagate(
    model: Callable[..., ArrayLike], inputs: gum.Inputs, correlation: ArrayLike | None = None, *,
    trials: int = 1_000_000, seed: int = 1, probability: float = 0.95,
) -> MonteCarlo:
    """Distribution of a model of one result, each input drawn from its own.

    Parameters
    ----------
    model, inputs, correlation
        As of `gum.propagate`; only normal inputs can be correlated, and degrees of freedom matter
        to Student's t alone.
    trials : int
        JCGM 101:2008, 7.2.2: 10⁴/(1 - probability) or more; the default suits 95 and 99 %.
    seed : int
        Of the generator, SFC64.
    probability : float
        Coverage probability of the intervals.

    >>> result = propagate(lambda a, b: a + b, [gum.Input(1.0, 0.3), gum.within(2.0, 0.4)])
    >>> round(result.mean, 2), round(result.u, 2), [round(end, 1) for end in result.symmetric]
    (3.0, 0.38, [2.3, 3.7])
    """
    return _summarised(*_deviations(model, inputs, correlation, trials, seed), probability)


def simulate(
    model: Callable[..., ArrayLike], inputs: gum.Inputs, correlation: ArrayLike | None = None, *,
    trials: int = 1_000_000, seed: int = 1,
) -> Array:
    """Results of a model for drawn inputs, (trials,); arguments as of `propagate`.

    >>> simulate(lambda x: 2 * x, [gum.Input(1.0, 0.0)], trials=3)
    array([2., 2., 2.])
    """
    return _deviations(model, inputs, correlation, trials, seed, 0.0)[0]


def draw(contributions: Sequence[Contribution], *, trials: int = 1_000_000, seed: int = 1) -> Array:
    """Drawn sums of the contributions to a result [its unit], about zero, (trials,).

    The same distributions as those of `uncertainty.upper_tail`, so that a budget of the network can
    be checked: `summary(draw(contributions))`.

    >>> drawn = draw([Contribution("touch", "each contact", 3.0), Contribution("tilt", "level A", 4.0)])
    >>> round(summary(drawn).u, 1)
    5.0
    """
    parts = [gum.Input(0.0, abs(c.u), c.distribution, c.dof) for c in contributions]
    return simulate(lambda *rows: sum(rows), parts, trials=trials, seed=seed)


def summary(results: ArrayLike, probability: float = 0.95) -> MonteCarlo:
    """Mean, standard uncertainty and coverage intervals of drawn results: JCGM 101:2008, 7.6 and 7.7.

    >>> summary(range(1, 1001)).symmetric
    (25.0, 975.0)
    """
    values = checked("result", results, -math.inf, math.inf, "finite numbers only").ravel()
    shift = float(values[0]) if values.size else 0.0
    return _summarised(values - shift, shift, probability)


def validate(linear: gum.Linear, monte_carlo: MonteCarlo, digits: int = 2, *, shortest: bool = False) -> Validation:
    """Whether linear propagation gives the interval that Monte Carlo gives: JCGM 101:2008, 8.1.

    The tolerance is half a unit in the last of `digits` significant digits of the Monte Carlo u
    (7.9.2). The linear interval is that of Student's t with the effective dof. Draw so many that
    the Monte Carlo's own end points are good to a fifth of the tolerance (8.2).

    >>> inputs = [gum.within(0.0, math.sqrt(3))] * 3 + [gum.within(0.0, 10 * math.sqrt(3))]  # 9.2.4 there
    >>> add = lambda a, b, c, d: a + b + c + d
    >>> result = validate(gum.propagate(add, inputs), propagate(add, inputs))
    >>> round(result.d_low, 1), result.delta, result.validated
    (2.9, 0.5, False)
    """
    if digits < 1:
        raise ValueError(f"{digits} significant digits say nothing: give 1 or 2")
    spread = gum.expanded_u(linear.u, monte_carlo.probability, linear.dof)
    low, high = monte_carlo.shortest if shortest else monte_carlo.symmetric
    d_low, d_high = abs(linear.value - spread - low), abs(linear.value + spread - high)
    exponent = int(f"{monte_carlo.u:.{digits - 1}e}".partition("e")[2]) - (digits - 1)
    delta = 0.5 * 10.0**exponent
    return Validation(d_low, d_high, delta, max(d_low, d_high) <= delta)


def _deviations(
    model: Callable[..., ArrayLike], inputs: gum.Inputs, correlation: ArrayLike | None, trials: int, seed: int, shift: float | None = None,
) -> tuple[Array, float]:
    """Results of a model for drawn inputs, less a shift near them, and that shift."""
    if trials < 1:
        raise ValueError(f"{trials} trials show nothing: give 10⁴/(1 - probability) or more")
    function, _, parts = gum.positional(model, inputs)
    results, start = np.empty(trials), 0
    for rows in _chunks(_samplers(parts, correlation, np.random.Generator(np.random.SFC64(seed))), len(parts), trials):
        values = np.asarray(function(*rows), dtype=float)
        if values.shape != rows[0].shape:
            raise ValueError(f"the model returned shape {values.shape} for {rows[0].size} draws of each input: "
                             "give a function of arrays that returns one result for each draw")
        if shift is None:
            shift = float(values[0]) if math.isfinite(values[0]) else 0.0
        np.subtract(values, shift, out=results[start:start + values.size])
        start += values.size
    return results, shift or 0.0


def _summarised(results: Array, shift: float, probability: float) -> MonteCarlo:
    """Summary of results, of which a shift was taken; it leaves them partly sorted."""
    n = results.size
    inside = int(probability * n + 0.5) if 0 < probability < 1 else 0
    outside = n - inside
    if not 0 < inside < n:
        raise ValueError(f"{n} results show no interval of probability {probability:g}: "
                         "give a probability between 0 and 1, and 10⁴/(1 - probability) results or more")
    mean, u = _moments(results)
    lows, highs = _tails(results, outside)
    symmetric, shortest = (outside + 1) // 2 - 1, _least(highs - lows)
    intervals = ((float(lows[i]) + shift, float(highs[i]) + shift) for i in (symmetric, shortest))
    return MonteCarlo(mean + shift, u, probability, *intervals, n)


def _moments(results: Array) -> tuple[float, float]:
    """Mean and standard deviation: JCGM 101:2008, equations (16) and (17)."""
    n, total, squares = results.size, 0.0, 0.0
    with np.errstate(invalid="ignore"):
        for start in range(0, n, CHUNK):
            some = results[start:start + CHUNK]
            total += float(np.add.reduce(some))
            squares += float(some @ some)
    if not math.isfinite(squares):
        raise ValueError("some results are no finite numbers: give a model that is defined wherever its inputs may be drawn")
    return total / n, math.sqrt(max(squares - total**2 / n, 0.0) / (n - 1))


def _tails(results: Array, outside: int) -> tuple[Array, Array]:
    """The lowest and the highest of the results, `outside` of each, sorted; it reorders the results."""
    low, high = outside, results.size - outside
    if low >= high:
        results.sort()
    else:  # one after the other, each with numpy's fast selection, which two at once don't get
        results.partition(low)
        results[low:].partition(high - low)
        results[:low].sort()
        results[high:].sort()
    return results[:low], results[high:]


def _least(widths: Array) -> int:
    """Place of the least width, by a cubic through those near it: the least itself is mostly noise."""
    place, reach = int(widths.argmin()), widths.size // 8
    near = np.arange(max(0, place - reach), min(widths.size, place + reach + 1), max(1, reach // 50))
    if near.size < 20:
        return place
    return int(near[np.polynomial.Polynomial.fit(near, widths[near], 3)(near).argmin()])


def _chunks(samplers: Sequence[tuple[list[int], Fill]], count: int, trials: int) -> Iterator[list[Array]]:
    """Draws of the inputs in their order, up to CHUNK at a time, in blocks that are used again."""
    size = 0
    for left in range(trials, 0, -CHUNK):
        if size != min(left, CHUNK):
            size = min(left, CHUNK)
            blocks = [np.empty((len(places), size)) for places, _ in samplers]
            where = {i: row for block, (places, _) in zip(blocks, samplers, strict=True) for i, row in zip(places, block, strict=True)}
            rows = [where[i] for i in range(count)]
        for block, (_, fill) in zip(blocks, samplers, strict=True):
            fill(block)
        yield rows


def _samplers(parts: list[gum.Input], correlation: ArrayLike | None, rng: np.random.Generator) -> list[tuple[list[int], Fill]]:
    """Places of the inputs that are drawn together, and how: normal, Student's t, by inversion."""
    places: tuple[list[int], ...] = ([], [], [])
    for i, part in enumerate(parts):
        limitless = part.distribution == NORMAL or (part.distribution == STUDENT and math.isinf(part.dof))
        places[0 if limitless else 1 if part.distribution == STUDENT else 2].append(i)
    root = None if correlation is None else _root(gum.checked_correlation(correlation, len(parts)), places[0])
    normal, student, inverted = ([parts[i] for i in some] for some in places)
    fills = _normal(normal, root, rng), _student(student, rng), _inverted(inverted, rng)
    return [(some, fill) for some, fill in zip(places, fills, strict=True) if some]


def _root(correlation: Array, normal: list[int]) -> Array:
    """Symmetric root of the correlation matrix of the normal inputs; the others must have none."""
    others = np.delete(correlation - np.eye(len(correlation)), normal, axis=0)
    if np.abs(others).max(initial=0) > 1e-12:
        raise ValueError("only normal inputs can be drawn with correlation: give 0 for the others, or an input for what they share")
    values, vectors = np.linalg.eigh(correlation[np.ix_(normal, normal)])
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0)) @ vectors.T)


def _normal(parts: list[gum.Input], root: Array | None, rng: np.random.Generator) -> Fill:
    """Normal inputs, correlated by the root of their correlation matrix."""
    value, u = _column(part.value for part in parts), _column(part.u for part in parts)
    passes = [(np.multiply, u)] * bool((u != 1).any()) + [(np.add, value)] * bool(value.any())  # many inputs are errors about zero

    def fill(block: Array) -> None:
        """Draw."""
        rng.standard_normal(out=block)
        if root is not None:
            block[...] = root @ block
        for act, column in passes:
            act(block, column, out=block)

    return fill


def _student(parts: list[gum.Input], rng: np.random.Generator) -> Fill:
    """Inputs of Student's t, shifted and scaled: JCGM 101:2008, 6.4.9."""
    def fill(block: Array) -> None:
        """Draw."""
        for row, part in zip(block, parts, strict=True):
            row[...] = part.value + part.u * rng.standard_t(part.dof, row.size)

    return fill


def _inverted(parts: list[gum.Input], rng: np.random.Generator) -> Fill:
    """Inputs between limits, by inversion of their distribution functions."""
    halves = [part.u * gum.divisor(part.distribution, part.top) for part in parts]
    width, low = _column(2 * a for a in halves), _column(part.value - a for part, a in zip(parts, halves, strict=True))
    bent = [(i, part) for i, part in enumerate(parts) if part.distribution != RECTANGULAR]

    def fill(block: Array) -> None:
        """Draw."""
        rng.random(out=block)
        for i, part in bent:
            block[i] = _bent(block[i], part)
        np.multiply(block, width, out=block)
        np.add(block, low, out=block)

    return fill


def _bent(p: Array, part: gum.Input) -> Array:
    """Quantiles, in widths from the lower limit, of an arcsine, a triangle or a trapezoid."""
    if part.distribution == gum.ARCSINE:
        return np.asarray(np.sin(math.pi / 2 * p) ** 2)
    top = part.top if part.distribution == gum.TRAPEZOID else 0.0
    middle = np.abs(2 * p - 1)  # probability of lying nearer to the middle
    slope = 1 - np.sqrt((1 - middle) * (1 - top**2))
    reach = np.where(middle * (1 + top) < 2 * top, middle * (1 + top) / 2, slope)
    return np.asarray(0.5 + 0.5 * np.copysign(reach, p - 0.5))


def _column(numbers: Iterable[float]) -> Array:
    """Numbers as a column, one for each row of a block."""
    return np.array(list(numbers), dtype=float)[:, None]
