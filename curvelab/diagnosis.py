"""What could have made an offset: the excess as a tilt, an air or a height, and what would tell them apart."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from . import air
from .adjustment import UNCHECKED, Result, axis_height, longest
from .gum import student_factor
from .refraction import REFERENCE_RADIUS, coefficient, gradient_for
from .resolve import AXIS, components
from .rows import Row

GROSS, LONE = 6.0, 3.0  # repeats that scatter so many times more than was stated hold a blunder; so far off may a single one be
SLIPS = {"a metre": 1.0, "a foot": 0.3048, "a decimetre": 0.1, "an inch": 0.0254, "a centimetre": 0.01}  # m, a hand's usual slips: common practice, no source

@dataclass(frozen=True)
class Diagnosis:
    """What one thing alone would explain the excess of κ over what was expected.

    `offset` [m] at the target, `collimation` [rad], `k` [1] of the air by the
    lake, `gradient` [K/m] the same as a mean temperature gradient, `height` [m]
    of a blunder at the target: each alone moves κ by the excess, NaN where the
    design cancels it or the weather is not stated. `limit` [rad] is the tolerance
    of the level, NaN where none is stated. `halfway` gives what a second
    target half-way would show of each cause [m].
    """

    offset: float
    collimation: float
    k: float
    height: float
    gradient: float
    limit: float

    @property
    def within_tolerance(self) -> bool | None:
        """Whether a level within its stated tolerance could have done it; None where none is stated."""
        return None if math.isnan(self.limit + self.collimation) else abs(self.collimation) <= self.limit

    @property
    def halfway(self) -> dict[str, float]:
        """The part of the offset [m] that a second target half-way would show if the cause were a tilt, the air, or a height slip."""
        return {"tilt": self.offset / 2, "air": self.offset / 4, "height": 0.0}


def diagnose(result: Result, excess: float) -> Diagnosis:
    """What one cause alone would move the curvature by `excess` [1/m].

    A tilt of the line of sight, a k, or a height at the far end, in the sights
    of the longest line's part of the network; NaN where the design cancels it.
    """
    sight = longest(result).reading
    level = result.book.instruments[sight.instrument]
    tilt, bend, height = slopes(result)

    def over(slope: float) -> float:
        return float(excess / slope) if slope else math.nan

    k = over(bend) * REFERENCE_RADIUS
    return Diagnosis(excess * sight.distance**2 / 2, over(tilt), k, over(height), k * _gradient_per_k(result),
                     level.tolerance.value if level.tolerance else math.nan)


def slopes(result: Result) -> tuple[float, float, float]:
    """Change of κ per tilt of the line [1/m per rad], per curvature of the ray [1], per height of the target [1/m²].

    Each common to all sights that are tied to the water, on all days; 0 where the design cancels it.
    """
    part, target = components(result.book), longest(result).reading
    lake = [(s, row.reading) for s, row in zip(result.sensitivity, result.rows) if row.reading and part[AXIS + row.reading.setup] == part.get("")]
    lake = lake or [(s, row.reading) for s, row in zip(result.sensitivity, result.rows) if row.reading]
    return tuple(summed(s * size(r) for s, r in lake)
                 for size in (lambda r: r.distance, lambda r: -(r.distance**2) / 2, lambda r: float(r.point == target.point)))


def summed(terms: Iterable[float]) -> float:
    """A sum, 0 where its terms cancel to 1e-4 of their size."""
    values = list(terms)
    total = math.fsum(values)
    return total if abs(total) > 1e-4 * math.fsum(map(abs, values)) else 0.0


def _gradient_per_k(result: Result) -> float:
    """Mean temperature gradient [K/m] per unit of k, by the handbook form; NaN where the weather is not stated."""
    mass = result.book.airs[longest(result).reading.air]
    if not (mass.temperature and mass.pressure):
        return math.nan
    weather = mass.temperature.value, mass.pressure.value
    return 1 / float(coefficient(*weather, 1.0) - coefficient(*weather, 0.0))


@dataclass(frozen=True)
class FlatAir:
    """The air that flat water would need: `k`, mean `gradient` [K/m], `air_minus_water` [K] at 10 m in neutral air."""

    k: float
    gradient: float
    air_minus_water: float


def flat_needs(result: Result) -> FlatAir:
    """The air in which flat water would have shown what was found, all along the longest sight.

    The gradient by the handbook form; gradient and difference are NaN where
    temperature or pressure of the air is not stated.
    """
    sight = longest(result).reading
    mass = result.book.airs[sight.air]
    k = result.effective_k + diagnose(result, result.curvature.value).k
    if not (mass.temperature and mass.pressure):
        return FlatAir(k, math.nan, math.nan)
    strength = air.strength_for(mass, k / REFERENCE_RADIUS, sight.distance, axis_height(result, sight.setup))
    return FlatAir(k, float(gradient_for(k, mass.temperature.value, mass.pressure.value)), air.difference(strength))


@dataclass(frozen=True)
class Misfit:
    """How one reading or height fits the rest.

    `residual` and `movable` in the unit of the row [m, K ...]: what was read
    less what the rest says, and the correction that would make it fit;
    `standardised` the residual over its own standard uncertainty; `redundancy`
    the share of a blunder that its residual shows, 0 (nothing checks it) to 1.
    """

    label: str
    residual: float
    standardised: float
    redundancy: float
    movable: float


def misfits(result: Result) -> list[Misfit]:
    """Every row of the book that others check (redundancy number 0.01 or more), the most at odds first.

    Notes
    -----
    Standardised residual ``v/(u √r)``, r the redundancy number: Baarda, W.
    (1968), A Testing Procedure for Use in Geodetic Networks (title page read).
    Where several are beyond 3, only the first is to be believed: mend it, then
    look again.
    """
    found = []
    for row, v, r in zip(result.rows, result.solution.residuals, result.solution.redundancy):
        if (row.kind != "prior" or row.label.startswith("gauge.csv")) and row.u and r > UNCHECKED:
            found.append(Misfit(row.label, float(v), float(v / (row.u * math.sqrt(r))), float(r), float(-v / r)))
    return sorted(found, key=lambda m: -round(abs(m.standardised), 6))  # alike: as in the book, whatever the last digits are


def gross_repeats(result: Result) -> list[Row]:
    """Repeated readings that scatter far more than any weather explains."""
    return [row for row in result.rows if row.scatter > GROSS]


def odd_one_out(result: Result, row: Row) -> tuple[str, float, float]:
    """Of repeated readings the one furthest from the others, by how much [m], and the standard uncertainty stated for one [m]; of two, both."""
    group = next(g for g in result.book.repeats if g[0] is row.reading)
    values = [r.reading for r in group]
    away = [value - statistics.median(values[:i] + values[i + 1:]) for i, value in enumerate(values)]
    by, odd = max(zip(away, group), key=lambda pair: abs(pair[0]))
    return f"readings.csv row {odd.row}: {odd.setup} to {odd.point}" if len(group) > 2 else row.label, by, statistics.stdev(values) / row.scatter


def lone_repeats(result: Result) -> list[tuple[str, float, float]]:
    """Of repeated readings that agree among themselves a single one that does not: `odd_one_out` of each such group."""
    rows = [row for row in result.rows if row.reading and 1 < row.scatter <= GROSS]
    found = [(odd_one_out(result, row), [r.reading for r in group]) for row in rows for group in result.book.repeats if group[0] is row.reading]
    return [odd for odd, values in found if stands_apart(values, odd[2])]


def stands_apart(values: Sequence[float], u: float) -> bool:
    """Whether a single one of several values is too far from the others, by what they are and by what was stated for each [same unit].

    Notes
    -----
    Its distance from the mean of the others over its standard uncertainty, as they scatter, is Student's t with n - 2 degrees of
    freedom: fewer than one in a hundred groups hold so odd a one. Besides it is so many times as far off as was stated (`LONE`).

    >>> stands_apart([0.398, 0.401, 0.394, 0.403, 0.498], 0.024), stands_apart([0.398, 0.401, 0.394, 0.403, 0.420], 0.024)
    (True, False)
    """
    if len(values) < 3:
        return False
    mean = statistics.fmean(values)
    *rest, odd = sorted(values, key=lambda value: abs(value - mean))
    scatter = max(LONE * u, statistics.stdev(rest) * student_factor(1 - 0.01 / len(values), len(rest) - 1))
    return abs(odd - statistics.fmean(rest)) > scatter * math.sqrt(1 + 1 / len(rest))


def slip(metres: float, u: float) -> str:
    """The round length that a misfit with its standard uncertainty [m] comes near to, as a hand may slip by; nothing where none or all do.

    >>> slip(-0.31, 0.005), slip(0.31, 0.1)
    ('about a foot', '')
    """
    near = [name for name, size in SLIPS.items() if abs(abs(metres) - size) < 2 * u < size / 2]
    return f"about {near[0]}" if near else ""


def culprits(result: Result) -> list[Row]:
    """Priors that fit the rest worst: what was stated beforehand of an instrument, an air or the water, at odds beyond 3."""
    worst = [(abs(v) / (row.u * math.sqrt(r)), row) for row, v, r in zip(result.rows, result.solution.residuals, result.solution.redundancy)
             if row.kind == "prior" and not row.label.startswith("gauge.csv") and row.u and r > UNCHECKED]
    return [row for z, row in sorted(worst, key=lambda pair: -pair[0]) if z > 3]
