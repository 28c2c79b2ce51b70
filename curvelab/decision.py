"""The verdict: a rule fixed beforehand, applied to one number, said in one sentence.

The order of the outcomes is fixed: readings that disagree say nothing; a
measurement too uncertain to tell flat from ellipsoid decides nothing, whatever
it found; only then are the two tested, each at its own rate.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist


from . import air
from .adjustment import UNCHECKED, Result, adjust, axis_height, longest
from .fieldbook import with_struck
from .refraction import REFERENCE_RADIUS, gradient_for
from .records import FieldBookError
from .resolve import AXIS, components
from .uncertainty import COVERAGE, NORMAL, RECTANGULAR, Contribution, combine, two_sided
from .wording import finding, numbers

MISFIT = 0.01
GROSS = 6.0  # repeats that scatter so many times more than was stated hold a blunder
OUTCOMES = ("readings disagree", "too uncertain to decide", "undecided", "flat rejected", "ellipsoid rejected", "both rejected")


@dataclass(frozen=True)
class Diagnosis:
    """What one thing alone would explain the excess over the ellipsoid.

    `offset` [m] at the target, `collimation` [rad], `k` [1] of the air by the
    lake, `height` [m] of a blunder at the target: each alone moves κ by the
    excess.
    """

    offset: float
    collimation: float
    k: float
    height: float


@dataclass(frozen=True)
class Verdict:
    """The outcome and all that it rests on.

    `p_flat` and `p_ellipsoid` are two-sided probabilities under the real
    distribution, `worst_flat` and `worst_ellipsoid` with each tolerance at its
    limit. `radius` is a 95 % interval [m].
    """

    result: Result = field(repr=False)
    outcome: str
    z_flat: float
    z_ellipsoid: float
    separation: float
    gate: float
    p_flat: float
    p_ellipsoid: float
    worst_flat: float
    worst_ellipsoid: float
    radius: tuple[float, float]
    excess: Diagnosis
    remarks: tuple[str, ...]

    @property
    def distance(self) -> float:
        """Length of the longest sight [m]."""
        return longest(self.result).reading.distance

    @property
    def finding(self) -> str:
        """What was shown and how surely, without the remarks; metric."""
        return finding(self, "metric")

    @property
    def sentence(self) -> str:
        """The finding and the remarks, in plain English, metric."""
        return self.describe()

    def describe(self, units: str = "metric", reader: str = "public") -> str:
        """The verdict in plain English.

        Parameters
        ----------
        units : {"metric", "us"}
        reader : {"public", "lab"}
            The lab is told the numbers behind the sentence as well.
        """
        if units not in ("metric", "us") or reader not in ("public", "lab"):
            raise ValueError(f"units={units!r}, reader={reader!r}: choose units 'metric' or 'us' and reader 'public' or 'lab'")
        notes = [f"{note[0].upper()}{note[1:]}." for note in self.remarks]
        told = [numbers(self)] if reader == "lab" else []
        return " ".join([finding(self, units), *notes, *told])


def gate(alpha: float, power: float) -> float:
    """Least separation at which a test at `alpha` (two-sided) has the given power.

    >>> round(gate(0.01, 0.90), 2)
    3.86
    """
    return NormalDist().inv_cdf(1 - alpha / 2) + NormalDist().inv_cdf(power)


def radius_interval(curvature: float, u: float) -> tuple[float, float]:
    """95 % interval of the radius by inversion of that of the curvature.

    Parameters
    ----------
    curvature, u : float
        [1/m]

    Returns
    -------
    (low, high) : tuple of float
        [m]; `high` is infinite where flat water lies within the interval, both
        are NaN where no positive radius does.

    Notes
    -----
    A ratio's interval by inversion: Fieller, E. C. (1954), J. R. Stat. Soc. B
    16:175-185 (citation from memory).

    >>> [round(r / 1000) for r in radius_interval(1.365e-7, 0.2e-7)]
    [5692, 10277]
    """
    low, high = curvature - COVERAGE * u, curvature + COVERAGE * u
    if high <= 0 or math.isnan(high):
        return math.nan, math.nan
    return 1 / high, 1 / low if low > 0 else math.inf


def decide(result: Result) -> Verdict:
    """Apply the book's rule to its result.

    Parameters
    ----------
    result : Result
        Of `adjust`, with readings.

    Returns
    -------
    Verdict

    Raises
    ------
    ValueError
        Where the book holds no reading yet.
    """
    if not isinstance(result, Result):
        raise TypeError(f"decide takes the result of adjust(book), not {type(result).__name__}")
    if result.book.is_plan:
        raise ValueError("this book holds no readings yet: plan(book) tells what it could decide")
    rule, kappa, expected = result.book.rule, result.curvature, result.ellipsoid_curvature
    geoid = Contribution("geoid", "this water", rule.geoid * expected, NORMAL)
    over_flat, over_round = (_over(result, curvature) for curvature in (0.0, expected))
    flat, round_ = over_flat.contributions(), [*over_round.contributions(), geoid]
    excess = over_round.curvature.value - expected
    probabilities = [two_sided(over_flat.curvature.value, flat), two_sided(excess, round_),
                     worst(over_flat.curvature.value, flat), worst(excess, round_)]
    separation = expected / max(kappa.u, result.planned_u) if max(kappa.u, result.planned_u) else math.inf
    least = gate(min(rule.alpha_flat, rule.alpha_ellipsoid), rule.power)
    return Verdict(
        result, _outcome(result, separation, least, probabilities), _over_u(over_flat.curvature.value, over_flat.curvature.u),
        _over_u(excess, math.hypot(over_round.curvature.u, geoid.u)), separation, least, *probabilities,
        radius_interval(kappa.value, kappa.u), diagnose(result, excess), _remarks(result, over_flat))


def _over(result: Result, curvature: float) -> Result:
    """The result with the rays followed over water of a given curvature, where that makes a difference."""
    return adjust(result.book, path=curvature) if result.by_profile else result


def _over_u(value: float, u: float) -> float:
    return value / u if u else math.copysign(math.inf, value)


def worst(value: float, contributions: Sequence[Contribution]) -> float:
    """Largest two-sided p over all levels within tolerance, the rest random: every tolerance helps as far as it can."""
    reach = sum(math.sqrt(3) * c.u for c in contributions if c.distribution == RECTANGULAR)
    left = max(0.0, abs(value) - reach)
    rest = [c for c in contributions if c.distribution != RECTANGULAR]
    return two_sided(left, rest) if combine(rest) else float(left == 0)


def _outcome(result: Result, separation: float, least: float, p: Sequence[float]) -> str:
    rule = result.book.rule
    if result.dof > 0 and result.misfit < MISFIT or math.isinf(result.chi2) or gross_repeats(result):
        return OUTCOMES[0]
    if separation < least:
        return OUTCOMES[1]
    flat = max(p[0], p[2]) < rule.alpha_flat
    ellipsoid = max(p[1], p[3]) < rule.alpha_ellipsoid
    return OUTCOMES[2 + flat + 2 * ellipsoid]


def gross_repeats(result: Result) -> list[str]:
    """Labels of repeated readings that scatter far more than any weather explains."""
    return [row.label for row in result.rows if row.scatter > GROSS]


def diagnose(result: Result, excess: float) -> Diagnosis:
    """What one cause alone would move the curvature by `excess` [1/m].

    A tilt of the line of sight, a k, or a height at the far end, in the sights
    of the longest line's part of the network; NaN where the design cancels it.
    """
    target = longest(result).reading
    lake = [(s, row.reading) for s, row in zip(result.sensitivity, result.rows) if row.reading and row.reading.air == target.air]
    tilt = sum(s * r.distance for s, r in lake)
    bend = sum(s * -(r.distance**2) / 2 for s, r in lake)
    height = sum(s for s, r in lake if r.point == target.point)

    def over(slope: float, size: float) -> float:
        return excess / slope if abs(slope) > 1e-9 * size else math.nan

    reach = 2 / target.distance
    return Diagnosis(excess * target.distance**2 / 2, over(tilt, reach), over(bend, 1.0) * REFERENCE_RADIUS, over(height, reach / target.distance))


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


def _remarks(result: Result, over_flat: Result) -> tuple[str, ...]:
    """What a reader of the verdict must know beside it."""
    remarks = []
    if not result.book.rule.stated:
        remarks.append("default rule, not fixed beforehand")
    if not result.book.water.surfaces:
        remarks.append("no reading or height touches the water, so this is the curvature of level lines, not of the water")
    if result.book.sealed:
        remarks.append("the seal of the plan is not checked by this version")
    remarks += _air_remarks(result, over_flat)
    remarks += _idle_sights(result)
    for label in gross_repeats(result):
        remarks.append(f"the repeats in {label} scatter more than {GROSS:.0f} times what was stated")
    if result.unchecked:
        remarks.append("nothing checks " + "; ".join(result.unchecked))
    weak = [f"{label} (a blunder of {blunder * 1000:.2g} mm would pass)" for label, blunder in result.weak if label not in result.unchecked]
    if weak:
        remarks.append("hardly anything checks " + "; ".join(weak))
    copies = [h.row for i, h in enumerate(result.book.heights) if any(replace(h, row=0) == replace(o, row=0) for o in result.book.heights[:i])]
    if copies:
        remarks.append(f"a copy is no check: heights.csv row {', '.join(map(str, copies))} says word for word what an earlier one says")
    idle = [f"[{section}.{name}]" for section, names in (("scale", result.book.scales), ("staff", result.book.staffs)) for name in names
            if name not in {getattr(r, section) for r in result.book.readings}]
    if idle:
        remarks.append(f"no row names {', '.join(idle)}")
    struck = [str(r.row) for r in result.book.readings if r.struck]
    if struck:
        remarks.append(f"struck: readings.csv row {', '.join(struck)}; {_with_struck(result)}")
    if result.book.invented:
        remarks.append("invented data")
    return tuple(remarks)


def _idle_sights(result: Result) -> list[str]:
    """Sights that say nothing: set-ups with one point read, balanced pegs, and no sight across the water."""
    read: dict[str, dict[str, float]] = {}
    for row in result.rows:
        if row.reading:
            read.setdefault(row.reading.setup, {})[row.reading.point] = row.reading.distance
    tied = {end for h in result.book.heights for end in (h.start, h.end)}
    single = [setup for setup, points in read.items() if len(points) == 1 and AXIS + setup not in tied]
    found = [f"only one point is read from set-up {', '.join(single)}, which so counts for nothing"] if single else []
    part = components(result.book)
    land = {setup: points for setup, points in read.items() if part[AXIS + setup] != part.get("") and setup not in single}
    if land and all(max(points.values()) - min(points.values()) < 1 for points in land.values()):
        found.append(f"the pegs are read at equal distances from {', '.join(land)}, which says nothing about the level: read them from close to one peg too")
    if longest(result).reading.distance <= result.book.line.distance.value / 2:
        found.append("no sight across the water is among the readings")
    return found


def _air_remarks(result: Result, over_flat: Result) -> list[str]:
    """What the air of the longest sight rests on, and what its path would meet over flat water."""
    name = longest(result).reading.air
    at = next(i for i, row in enumerate(result.rows) if row.kind == "prior" and ("refraction", name) in row.terms)
    stated = result.rows[at]
    if not air.by_profile(result.book.airs[name]):
        told = f"k = {stated.value * REFERENCE_RADIUS:.2f} ± {stated.u * REFERENCE_RADIUS:.2f}"
        weak = result.solution.redundancy[at] < UNCHECKED
        return [f"this rests on the air over the lake being as stated, {told}, which no reading tests"] if weak else []
    thermometers = {t.thermometer for t in result.book.air_readings if t.air == name}
    source = {0: "the stated difference of air and water, no thermometer", 1: "one thermometer alone"}.get(len(thermometers), "the thermometers")
    shape = "shaped by the stated wind" if result.book.airs[name].wind else "assumed for a calm lake, since no wind is stated"
    told = [f"the air over the lake bends the longest sight by k = {result.effective_k:.2f}, by {source} and a profile {shape}"]
    met = [text for text in over_flat.warnings if "meets the water" in text]
    return told + [text.rstrip(".") for text in result.warnings[:1]] + [f"over flat water: {text[0].lower()}{text[1:].rstrip('.')}" for text in met[:1]]


def _with_struck(result: Result) -> str:
    try:
        other = decide(adjust(with_struck(result.book)))
    except FieldBookError:
        return "with what was struck the book contradicts itself"
    return f"with what was struck the verdict is \"{other.outcome}\""
