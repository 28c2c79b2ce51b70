r"""The path of a level's line of sight through air that bends it more at one height than at another.

.. math:: z(x) = h_0 + s x + \kappa x^2 / 2 - \int_0^x (x - \xi)\, \chi(z(\xi))\, d\xi

`z` height above the still water, drawn straight, `x` distance from the instrument, `h0` height of its
axis [m], `s` slope of the line there [rad, + rises], `κ` curvature of the water (0 flat, 1/R on the
ellipsoid) and `χ` of the ray (+ bends down) [1/m]. Numbers out of range and NaN raise ValueError.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike

from .numbers import Array, Floats, checked, plain

Profile = Callable[[Array], ArrayLike]  # of heights [m], nodes on the last axis: as many values, or one for all
_PER_K = 1 / 6_371_000.0  # 1/m, curvature of the ray that follows the Earth, k = 1
_SEGMENTS, _NODES, _SWEEPS, _HITS = 128, 8, 30, 3  # at most; in each asked for; at most; rules that make a contact
_RULES = [(1, 6), (1, 8), (1, 12), *((2**halvings, 20) for halvings in range(6))]  # segments, and nodes in each
_LEAST, _PER_M = 4, 1 / 1300  # nodes that a line is followed with, at least, and more with its length
_SETTLED, _RESOLVED, _CUT_OFF = 4e-10, 4.8e-10, 1e-3  # of the length, left by sweeps, by all; 1/m, see `_rule`
_LASTING, _LONGEST = 1 / 60_000, 0.25  # 1/m, share of a change taken to be still to come, at least; at first and on hard lines
_ACCEPTED = {
    "distance": (0, 1e5, "metres from the instrument, 0 or more"),
    "height": (0, 1e4, "metres of the instrument's axis above the still water"),
    "slope": (-0.1, 0.1, "radians, small as a level's are, positive where the line rises"),
    "curvature": (-1e-3, 1e-3, "1/R of the water per metre (1.57e-7, not 6371 km), 0 for flat water"),
    "floor": (1e-6, 1e4, "metres above the still water, the lowest height that chi is asked for"),
    "segments": (1, _SEGMENTS, "pieces to cut the line into, or None to have them chosen"),
}


@dataclass(frozen=True, eq=False)
class Path:
    """Lines of sight: heights `z` [m] at nodes on the last axis, parts `t` of the `distance` [m], from end to end.

    `weight` of the nodes in a mean (sum 1, none at the ends), `residual` that may be left in `end` [m],
    `floor` lowest height that χ was asked for [m]: where a line comes down to it, it means nothing beyond.
    """

    distance: Floats
    t: Array
    weight: Array
    z: Array
    residual: Floats
    floor: float

    @property
    def x(self) -> Array:
        """Distances of the nodes from the instrument [m]."""
        return np.multiply.outer(np.broadcast_to(self.distance, self.z.shape[:-1]), self.t)

    @property
    def end(self) -> Floats:
        """Height of the line at its far end [m]."""
        return plain(self.z[..., -1])

    @functools.cached_property
    def lowest(self) -> Floats:
        """Lowest height along the way [m], both ends included: of a parabola through the lowest nodes."""
        three = np.clip(self.z.argmin(-1), 1, self.weight.size - 2)[..., None] + [-1, 0, 1]
        x, z = (np.take_along_axis(values, three, -1) for values in (self.x, self.z))
        run = np.maximum(np.diff(x), 1e-30)
        grade = np.diff(z) / run
        bend, slope = np.diff(grade)[..., 0] / run.sum(-1), (grade * run[..., ::-1]).sum(-1) / run.sum(-1)
        away = -slope / (2 * np.where(bend > 0, bend, 1.0))  # of the vertex, from the node in the middle
        dips = (bend > 0) & (-run[..., 0] <= away) & (away <= run[..., 1])
        return plain(np.where(dips, z[..., 1] + slope * away / 2, self.z.min(-1)))

    @property
    def touches(self) -> Array:
        """Whether the line comes down to `floor`."""
        return np.asarray(self.lowest) <= self.floor

    def mean(self, function: Profile) -> Floats:
        """Mean along the line with weight 2 (d - x) / d²: of χ, the effective curvature [1/m]."""
        return plain(_values(function, self.z, self.floor) @ self.weight)


def follow(
    distance: ArrayLike, height: ArrayLike, slope: ArrayLike = 0.0, curvature: ArrayLike = 0.0,
    chi: Profile = np.zeros_like, segments: int | None = None, floor: float = 0.01,
) -> Path:
    """Lines of sight through air whose bending depends on the height above the water.

    At least 0.3 m clear of the water, in air whose χ has no kinks and no layers thinner than half a metre, `end` errs by less than 1 µm up to 2 km, 10 µm up to 10 km.

    Parameters
    ----------
    distance, height, slope, curvature : array_like
        Of the far end [m], the axis above the water [m], the line there [rad], the water [1/m].
    chi : callable
        Curvature of the ray [1/m, + bends down] for heights [m]; straight unless given.
    segments, floor : int, float
        Pieces that the line is cut into, chosen unless given; height [m] below which χ doesn't change.

    >>> path = follow(1000.0, 1.5, curvature=1 / 6371e3, chi=lambda z: 2e-8 + 8e-8 / z)
    >>> round(path.end, 4), round(path.mean(lambda z: 1 / z), 4)
    (1.5419, 0.6636)
    """
    given = {"distance": distance, "height": height, "slope": slope, "curvature": curvature}
    numbers = d, h, s, kappa = [_given(*item) for item in given.items()]
    _given("floor", floor), _given("segments", segments or 1)
    far = d if isinstance(d, float) else d.max(initial=0.0)
    rules = [(segments, _NODES)] if segments else [rule for rule in _RULES if rule[0] * rule[1] >= _LEAST + _PER_M * far]
    rule, z, error = _settled(numbers, chi, floor, rules, _HITS if segments else 0, bool(segments))
    return Path(d, *_rule(*rule)[:2], z, plain(error), floor)


def _settled(numbers: Sequence[Floats], chi: Profile, floor: float, rules: Sequence[tuple[int, int]], hits: Array | int, asked_for: bool = False) -> tuple[tuple[int, int], Array, Array]:
    """The first rule by which all lines settle, heights at its nodes, and errors.

    `hits` counts the rules by which a line has come down to the floor. Lines that are harder than others go on without
    them. A rule that was asked for is judged by how far its sweeps have settled alone.
    """
    d, h, s, kappa = numbers
    shape = np.broadcast(*numbers).shape
    square, near, far = (d * d, d, d) if isinstance(d, float) else ((d * d)[..., None], d.min(initial=1e5), d.max(initial=0.0))
    settled, resolved, lasting = 1e-9 + _SETTLED * near, 1e-9 + _RESOLVED * near, min(_LASTING * far, _LONGEST)
    for later, rule in enumerate(rules, 1):
        t, _, coarse, sweep, tail = _rule(*rule)
        terms, moved, known = np.empty((t.size + 1, *shape)), 0.0, 0
        terms[0], terms[1], terms[2] = h, s * d, kappa * d * d
        z, terms = terms[0][..., None], terms.reshape(t.size + 1, math.prod(shape))
        bends, within = terms[3:].T.reshape(*shape, t.size - 2), 2 * t.size // 3  # a change may pass zero at the end alone
        for matrix in coarse:  # of χ at the start, then at a few nodes more
            asked, known = known, known + z.shape[-1]
            np.multiply(square, chi(np.maximum(z, floor)), out=bends[..., asked:known])
            z = matrix.dot(terms[:3 + known]).T.reshape(*shape, len(matrix))
        for _ in range(_SWEEPS):
            np.multiply(square, chi(np.maximum(z[..., 1:-1], floor)), out=bends)
            last, z = z, sweep.dot(terms).T.reshape(*shape, t.size)
            change = np.abs(z[..., -1] - last[..., -1]) + np.abs(z[..., within] - last[..., within])
            move = change.max(initial=0.0)
            rate, moved = min(max(move / moved, lasting), 1.0) if moved else _LONGEST, move
            if move * rate <= settled:
                break
        left, ends = rate * change, tail.dot(terms[3:])
        error = left + np.add.reduce(ends * ends).reshape(shape)
        judged = left if asked_for else error
        if judged.max(initial=0.0) <= resolved:
            return rule, z, error
        low = np.minimum(z, last)
        hits = (hits + 1) * (low <= floor).any(-1)
        wrong = ~(judged <= resolved) & (hits < _HITS)  # past a contact a line may never settle
        z, lasting = np.where(hits[..., None], low, z), _LONGEST
        if not wrong.any():
            return rule, z, error
        if not np.isfinite(error).all():
            raise ValueError("chi isn't finite somewhere on the line: give a curvature per metre for every height "
                             f"above the water from {floor:g} m up, or a higher floor")
        harder = wrong | (hits > 0)
        if rules[later:] and not harder.all() and _by_height_alone(chi, np.maximum(last, floor), harder):
            rule_of_all, z_harder, error[harder] = _settled([np.broadcast_to(number, shape)[harder] for number in numbers], chi, floor, rules[later:], hits[harder])
            z = np.empty((*shape, z_harder.shape[-1]))
            z[harder], z[~harder] = z_harder, (_between(rule, rule_of_all) @ terms[:, ~harder.ravel()]).T
            return rule_of_all, z, error
    d, h = (np.broadcast_to(number, shape)[wrong][0] for number in (d, h))
    raise ValueError(f"the line of {d:g} m from {h:g} m above the water doesn't settle: "
                     "chi changes too fast along it, so give a shorter line, a smoother chi or a higher floor")


def warnings(path: Path, chi: Profile) -> list[str]:
    """What to beware of on these lines in air of curvature χ, a sentence each; none if all is well.

    >>> warnings(follow(1000.0, 1.5, slope=-2e-3), np.zeros_like)
    ['The line meets the water within 831 m: raise the instrument or shorten the sight.']
    """
    bends, lowest = _values(chi, path.z, path.floor), np.asarray(path.lowest)
    near = np.abs(_values(chi, lowest[..., None], path.floor))[..., 0]
    ratio = near / np.maximum(path.mean(lambda z: np.abs(_values(chi, z, path.floor))), 1e-30)
    clear = ~np.asarray(path.touches)  # past a contact, the line means nothing
    steep, most = clear & (ratio > 3) & (lowest < 1), np.unravel_index(bends.argmax(), bends.shape)
    down = path.touches[..., None] & (path.z <= np.maximum(path.z.min(-1), path.floor)[..., None])
    found = {
        f"meets the water within {path.x[down].min(initial=np.inf):.0f} m: raise the instrument or shorten the sight":
            path.touches,
        f"is bent more than the Earth (k = {bends[most] / _PER_K:.1f} at {max(path.z[most], path.floor):.2f} m above "
        "the water): it may be ducted and show several images": clear & (bends > _PER_K).any(-1),
        f"comes down to {lowest[steep].min(initial=np.inf):.2f} m, where air bends it more than three times as much as "
        "on average: keep it a metre off the water": steep,
    }
    who = "The line" if lowest.size == 1 else "{} of {} lines: one"
    return [f"{who.format(lines.sum(), lines.size)} {what}." for what, lines in found.items() if lines.any()]


def _given(name: str, value: ArrayLike) -> Floats:
    """A number handed to `follow`, checked."""
    low, high, remedy = _ACCEPTED[name]
    return float(value) if isinstance(value, (float, int)) and low <= value <= high else checked(name, value, low, high, remedy)


def _by_height_alone(chi: Profile, z: Array, some: Array) -> bool:
    """Whether χ is one function for all lines: asked for some of them, it says what it says of all."""
    try:
        return np.allclose(_values(chi, z[some], 0.0), _values(chi, z, 0.0)[some], rtol=1e-12, atol=0.0)
    except (ValueError, IndexError):  # it holds a value for each line
        return False


def _values(function: Profile, z: Array, floor: float) -> Array:
    """A function of height at every node, at the floor for those below it."""
    values = np.asarray(function(np.maximum(z, floor)), dtype=float)
    return values if values.shape == z.shape else np.broadcast_to(values, z.shape)


@functools.lru_cache
def _rule(pieces: int, nodes: int) -> tuple[Array, Array, tuple[Array, Array], Array, Array]:
    """Of a line of length 1 in pieces of Gauss nodes: start, nodes and end `t`; weights 2 (1 - t) dt; matrices.

    Two that make a first guess, of χ at the start the heights at every other node, and of χ there too all heights; one
    that sweeps; one that makes of χ d² at the nodes its last Legendre coefficients, scaled so that their squares sum
    up to the error of the end: over random profiles Gauss rules hardly ever err by more.
    """
    u, w = legendre.leggauss(nodes)
    coefficients = (np.arange(nodes)[:, None] + 0.5) * w * legendre.legvander(u, nodes - 1).T
    inner = ((np.arange(pieces)[:, None] + (u + 1) / 2) / pieces).ravel()
    t, weight = np.array([0, *inner, 1]), np.array([0, *(np.tile(w / pieces, pieces) * (1 - inner)), 0])
    few = np.array([-1, *u[1::2]])
    coarse = _heights((few[1:] + 1) / 2, few[:1]), _heights(t, few)
    return t, weight, coarse, _heights(t, u, pieces), np.kron(np.eye(pieces), coefficients[-3:]) * _CUT_OFF**0.5 / pieces**2


@functools.lru_cache
def _between(rule: tuple[int, int], other: tuple[int, int]) -> Array:
    """What makes of the terms at the nodes of one rule the heights at those of another."""
    return _heights(_rule(*other)[0], legendre.leggauss(rule[1])[0], rule[0])


def _heights(t: Array, points: Array, pieces: int = 1) -> Array:
    """What makes of h, s d, κ d² and of χ d² at points of each piece, -1 to 1, the heights at parts `t` of a line."""
    u, w = legendre.leggauss(points.size)
    start = np.arange(pieces)[:, None] / pieces
    half = np.clip(t[:, None, None] - start, 0, 1 / pieces) / 2  # of the part of each piece that t has passed
    xi = start + half * (u + 1)
    degree = points.size - 1
    values = legendre.legvander(2 * pieces * (xi - start) - 1, degree) @ np.linalg.inv(legendre.legvander(points, degree))
    share = (half * w * (xi - t[:, None, None]))[..., None, :] @ values
    return np.hstack([t[:, None] ** [0, 1, 2] / [1, 1, 2], share.reshape(t.size, -1)])
