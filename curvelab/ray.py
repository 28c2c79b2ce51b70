r"""The path of a level's line of sight through air that bends it more at one height than at another.

.. math:: z(x) = h_0 + s x + \kappa x^2 / 2 - \int_0^x (x - \xi)\, \chi(z(\xi))\, d\xi

`z` height above the still water, drawn straight, `x` distance from the instrument, `h0` height of its
axis [m], `s` slope of the line there [rad, + rises], `κ` curvature of the water (0 flat, 1/R on the
ellipsoid) and `χ` of the ray (+ bends down) [1/m]. Numbers out of range and NaN raise ValueError.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike

from .numbers import Array, Floats, checked, plain

Profile = Callable[[Array], ArrayLike]  # of heights [m], nodes on the last axis: as many values, or one for all
_PER_K = 1 / 6_371_000.0  # 1/m, curvature of the ray that follows the Earth, k = 1
_NODES, _SEGMENT, _SEGMENTS, _SWEEPS = 8, 5000.0, 128, 20  # in a segment; its first length [m]; at most; at most
_SETTLED, _RESOLVED, _CUT_OFF = 1e-7, 5e-7, 0.05  # m, last change of the end; m, 1/m: see `_error`
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
    """Lines of sight: distances `x` and heights `z` [m] of nodes on the last axis, from end to end.

    `weight` of the nodes in a mean (sum 1, none at the ends), `residual` that may be left in `end` [m],
    `floor` lowest height that χ was asked for [m], `met` lines with a node there: beyond it they mean nothing.
    """

    x: Array
    z: Array
    weight: Array
    residual: Floats
    floor: float
    met: Array

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
        dips, bend = (grade[..., 0] < 0) & (grade[..., 1] > 0), np.diff(grade)[..., 0] / run.sum(-1)
        slope = (grade * run[..., ::-1]).sum(-1) / run.sum(-1)
        return plain(np.where(dips, z[..., 1] - slope**2 / (4 * np.where(dips, bend, 1.0)), self.z.min(-1)))

    @property
    def touches(self) -> Array:
        """Whether the line comes down to `floor`."""
        return self.met | (np.asarray(self.lowest) <= self.floor)

    def mean(self, function: Profile) -> Floats:
        """Mean along the line with weight 2 (d - x) / d²: of χ, the effective curvature [1/m]."""
        return plain(_values(function, self.z, self.floor) @ self.weight)


def follow(
    distance: ArrayLike, height: ArrayLike, slope: ArrayLike = 0.0, curvature: ArrayLike = 0.0,
    chi: Profile = np.zeros_like, segments: int | None = None, floor: float = 0.01,
) -> Path:
    """Lines of sight through air whose bending depends on the height above the water.

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
    numbers = [checked(name, values, *_ACCEPTED[name]) for name, values in given.items()]
    checked("floor", floor, *_ACCEPTED["floor"]), checked("segments", segments or 1, *_ACCEPTED["segments"])
    shape = np.broadcast(*numbers).shape
    d, h, s, kappa = (np.full(shape, array).ravel() for array in numbers)
    line, square, rule, z = np.array([h, s * d, kappa * d * d / 2]), d * d, (1, 1), np.array([h, h, h])
    pieces = segments or 2 ** int(np.ceil(np.log2(max(d.max(initial=0.0) / _SEGMENT, 1.0))))
    ladder = [(1, 3), (1, 5)]  # a rough path needs no fine rule
    while True:
        for finer in ladder + [(pieces, _NODES)] * _SWEEPS:
            curvatures = _values(chi, z[1:-1].T.reshape(*shape, len(z) - 2), floor)
            bends = square * curvatures.reshape(d.size, len(z) - 2).T
            last, z = z, _sweep(rule, finer) @ np.concatenate([line, bends])
            same, rule, change = rule == finer, finer, np.abs(z[-1] - last[-1])
            largest = change.max(initial=0.0)
            if not largest < np.inf:
                raise ValueError("chi isn't finite somewhere on the line: give a curvature per metre for every height "
                                 f"above the water from {floor:g} m up, or a higher floor")
            if same and largest <= _SETTLED:
                break
        met, error = (z <= floor).any(0) | (last <= floor).any(0), _error(bends)
        wrong = ~met & ((change > _SETTLED) | (error > (np.inf if segments else _RESOLVED)))
        if not wrong.any():
            t, weight = _nodes(rule)
            x, z = (rows.T.reshape(*shape, t.size) for rows in (np.multiply.outer(t, d), z))
            return Path(x, z, weight, plain((change + error).reshape(shape)), floor, met.reshape(shape))
        pieces, ladder = 2 * pieces, []
        if segments or pieces > _SEGMENTS:
            raise ValueError(f"the line of {d[wrong][0]:g} m from {h[wrong][0]:g} m above the water doesn't settle: "
                             "chi changes too fast along it, so give a shorter line, a smoother chi or a higher floor")


def warnings(path: Path, chi: Profile) -> list[str]:
    """What to beware of on these lines in air of curvature χ, a sentence each; none if all is well.

    >>> warnings(follow(1000.0, 1.5, slope=-2e-3), np.zeros_like)
    ['The line meets the water within 763 m: raise the instrument or shorten the sight.']
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


def _values(function: Profile, z: Array, floor: float) -> Array:
    """A function of height at every node, at the floor for those below it."""
    values = np.asarray(function(np.maximum(z, floor)), dtype=float)
    return values if values.shape == z.shape else np.broadcast_to(values, z.shape)


@functools.lru_cache
def _gauss(nodes: int) -> tuple[Array, Array, Array]:
    """Gauss nodes and weights on -1 to 1, and what makes Legendre coefficients of values there."""
    u, w = legendre.leggauss(nodes)
    return u, w, (np.arange(nodes)[:, None] + 0.5) * w * legendre.legvander(u, nodes - 1).T


@functools.lru_cache
def _nodes(rule: tuple[int, int]) -> tuple[Array, Array]:
    """Start, nodes and end of a line of length 1 cut into segments of nodes, and weights 2 (1 - t) dt."""
    pieces, (u, w, _) = rule[0], _gauss(rule[1])
    t = ((np.arange(pieces)[:, None] + (u + 1) / 2) / pieces).ravel()
    return np.array([0, *t, 1]), np.array([0, *(np.tile(w / pieces, pieces) * (1 - t)), 0])


@functools.lru_cache
def _sweep(rule: tuple[int, int], finer: tuple[int, int]) -> Array:
    """What makes heights at the nodes of `finer` of h0, s d, κ d²/2 and χ d² at the inner nodes of `rule`."""
    (pieces, nodes), (u, w, coefficients), t = rule, _gauss(rule[1]), _nodes(finer)[0]
    start = np.arange(pieces)[:, None] / pieces
    half = np.clip(t[:, None, None] - start, 0, 1 / pieces) / 2  # of the part of each segment that t has passed
    xi = start + half * (u + 1)
    values = legendre.legvander(2 * pieces * (xi - start) - 1, nodes - 1) @ coefficients
    twice = (half * w * (t[:, None, None] - xi))[..., None, :] @ values
    return np.column_stack([np.ones_like(t), t, t**2, -twice.reshape(t.size, -1)])


def _error(bends: Array) -> Array:
    """Error of the rule in the end height [m] from the last Legendre coefficients of χ in each segment.

    Gauss rules err by the square of what their polynomial leaves out: 0.05 of it at most over random profiles.
    """
    parts = bends.reshape(len(bends) // _NODES, _NODES, bends.shape[-1])
    return _CUT_OFF * (np.abs(_gauss(_NODES)[2][-2:] @ parts).sum(1).max(0) / len(parts) ** 2) ** 2
