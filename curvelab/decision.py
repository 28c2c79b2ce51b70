"""The verdict: a rule fixed beforehand, applied to one number, said in one sentence.

The order of the outcomes is fixed: where the path of the rays doesn't agree
with what they show, nothing is decided; readings that disagree, over the water
that they show themselves, say nothing; a measurement too uncertain to tell flat
from ellipsoid decides nothing, whatever it found; only then are the two tested,
each at its own rate.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import NormalDist

from .adjustment import Result, adjust, longest, over
from .diagnosis import Diagnosis, diagnose, gross_repeats, slopes
from .fieldbook import with_struck
from .records import FieldBookError, Step
from .refraction import REFERENCE_RADIUS
from .remarks import remarks
from .uncertainty import COVERAGE, NORMAL, RECTANGULAR, Contribution, combine, two_sided
from .wording import finding, numbers

OUTCOMES = ("readings disagree", "too uncertain to decide", "undecided", "flat rejected", "ellipsoid rejected", "both rejected")
UNDECIDED = OUTCOMES[:2]  # whatever the number is


@dataclass(frozen=True)
class Verdict(Step):
    """The outcome and all that it rests on.

    `p_flat` and `p_ellipsoid` are two-sided probabilities under the real
    distribution, `worst_flat` and `worst_ellipsoid` with each tolerance at its
    limit. `radius` is a 95 % interval [m]. Where it isn't `settled`, the path of
    the rays doesn't agree with what they show, and the numbers mean nothing.
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
    settled: bool

    @property
    def distance(self) -> float:
        """Length of the longest sight [m]."""
        return longest(self.result).reading.distance

    def likelihood_ratio(self, more_k: float = 0.0) -> float:
        """How many powers of ten better the ellipsoid predicts what was found than flat water does.

        A secondary figure, never the verdict: it leans on the tails of normal
        distributions. `more_k` adds so much to the standard uncertainty of k
        in quadrature; see how fast the figure falls.
        """
        kappa, expected = self.result.curvature, self.result.ellipsoid_curvature
        air = slopes(self.result)[1] * more_k / REFERENCE_RADIUS
        flat, ellipsoid = math.hypot(kappa.u, air), math.hypot(kappa.u, air, self.result.book.rule.geoid * expected)
        if not flat * ellipsoid:
            return math.copysign(math.inf, abs(kappa.value) - abs(kappa.value - expected))
        zs = self.z_flat * kappa.u / flat, (kappa.value - expected) / ellipsoid
        return ((zs[0] ** 2 - zs[1] ** 2) / 2 - math.log(ellipsoid / flat)) / math.log(10)

    @property
    def finding(self) -> str:
        """What was shown and how surely, without the remarks; metric."""
        return self.finding_in("metric")

    def finding_in(self, units: str) -> str:
        """The same in ``"metric"`` or ``"us"`` units."""
        return finding(self, units)

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
    16:175-185 (as others quote it).

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
    over_flat, over_round = (over(result, curvature) for curvature in (0.0, expected))
    flat, round_ = over_flat.contributions(), [*over_round.contributions(), geoid]
    excess = over_round.curvature.value - expected
    probabilities = [two_sided(over_flat.curvature.value, flat), two_sided(excess, round_),
                     worst(over_flat.curvature.value, flat), worst(excess, round_)]
    separation = expected / max(kappa.u, result.planned_u) if max(kappa.u, result.planned_u) else math.inf
    least = gate(min(rule.alpha_flat, rule.alpha_ellipsoid), rule.power)
    settled = all(found.settled for found in (result, over_flat, over_round))
    return Verdict(
        result, _outcome(result, separation, least, probabilities, settled), _over_u(over_flat.curvature.value, over_flat.curvature.u),
        _over_u(excess, math.hypot(over_round.curvature.u, geoid.u)), separation, least, *probabilities,
        radius_interval(kappa.value, kappa.u), diagnose(result, excess), remarks(result, over_flat, _with_struck(result)), settled)


def _over_u(value: float, u: float) -> float:
    return value / u if u else math.copysign(math.inf, value)


def critical(contributions: Sequence[Contribution], alpha: float) -> float:
    """Least distance from a hypothesis that rejects it at `alpha`, under the real distribution and for the worst level [1/m]."""
    near, far = 0.0, 3 * combine(contributions)
    if not far:
        return 0.0

    def kept(distance: float) -> bool:
        return max(two_sided(distance, contributions), worst(distance, contributions)) >= alpha

    while kept(far):
        near, far = far, 2 * far
    while far - near > 1e-4 * far:
        middle = (near + far) / 2
        near, far = (middle, far) if kept(middle) else (near, middle)
    return far


def worst(value: float, contributions: Sequence[Contribution]) -> float:
    """Largest two-sided p over all levels within tolerance, the rest random: every tolerance helps as far as it can."""
    reach = sum(math.sqrt(3) * c.u for c in contributions if c.distribution == RECTANGULAR)
    left = max(0.0, abs(value) - reach)
    rest = [c for c in contributions if c.distribution != RECTANGULAR]
    return two_sided(left, rest) if combine(rest) else float(left == 0)


def _outcome(result: Result, separation: float, least: float, p: Sequence[float], settled: bool) -> str:
    rule = result.book.rule
    if not result.settled:
        return OUTCOMES[1]
    if result.contradictory or gross_repeats(result):
        return OUTCOMES[0]
    if not settled or separation < least:
        return OUTCOMES[1]
    flat = max(p[0], p[2]) < rule.alpha_flat
    ellipsoid = max(p[1], p[3]) < rule.alpha_ellipsoid
    return OUTCOMES[2 + flat + 2 * ellipsoid]


def _with_struck(result: Result) -> str:
    """What the verdict would be with the struck rows taken back in."""
    if not any(r.struck for r in result.book.readings):
        return ""
    try:
        return f'with what was struck the verdict is "{decide(adjust(with_struck(result.book))).outcome}"'
    except FieldBookError:
        return "with what was struck the book contradicts itself"
