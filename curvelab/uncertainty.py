"""Uncertainty by the GUM: contributions, the budget by cause, and exact tail probabilities.

Every result of the network is a linear combination of independent inputs,
so one short list of contributions carries the whole uncertainty: summed by
cause it is the budget, and folded together, each with its own shape, it is
the distribution that a test needs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from .numbers import Array

COVERAGE = NormalDist().inv_cdf(0.975)  # of a 95 % interval, in standard uncertainties
COMMON = ("each staff", "each line height")  # shared by whatever is read with it or at it
NORMAL, RECTANGULAR, STUDENT = "normal", "rectangular", "student t"


@dataclass(frozen=True)
class Contribution:
    """One independent input's share in the uncertainty of a result.

    Parameters
    ----------
    cause : str
        What is uncertain ("collimation", "refraction" ...).
    common_to : str
        What shares this one draw ("instrument A", "each set-up" ...).
    u : float
        Contribution to the result's standard uncertainty [unit of the result].
    distribution : str
        ``"normal"``, ``"rectangular"`` or ``"student t"``.
    dof : float
        Degrees of freedom, infinite unless u was found from scatter.
    remark : str
        For instance that the value is a documented default.
    """

    cause: str
    common_to: str
    u: float
    distribution: str = NORMAL
    dof: float = math.inf
    remark: str = ""

    def times(self, factor: float) -> Contribution:
        """The same in a result that is so many times as large."""
        return Contribution(self.cause, self.common_to, self.u * factor, self.distribution, self.dof, self.remark)


@dataclass(frozen=True)
class BudgetRow:
    """One line of an uncertainty budget; `fraction` is the share of the variance."""

    cause: str
    common_to: str
    u: float
    fraction: float
    remark: str = ""

    @property
    def scope(self) -> str:
        """Whether the error is drawn once for all readings, for each visit, or anew each time: only the last averages out."""
        if self.common_to == "each visit":
            return "for each visit"
        anew = self.common_to.startswith("each") and self.common_to not in COMMON
        return "new each time" if anew else "common to all"


def combine(contributions: Iterable[Contribution]) -> float:
    """Combined standard uncertainty of independent contributions [unit of the result].

    Notes
    -----
    Root of the sum of squares: JCGM 100:2008, equation (10), for a linear
    model with independent inputs.

    >>> combine([Contribution("a", "all", 3.0), Contribution("b", "all", 4.0)])
    5.0
    """
    return math.hypot(*(c.u for c in contributions))


def budget(contributions: Sequence[Contribution]) -> list[BudgetRow]:
    """Contributions summed by cause and by what shares them, largest first.

    Returns
    -------
    list of BudgetRow
        Their fractions sum to 1 (where the combined uncertainty is not 0).

    >>> budget([Contribution("touch", "each contact", 4.0), Contribution("touch", "each contact", 3.0)])
    [BudgetRow(cause='touch', common_to='each contact', u=5.0, fraction=1.0, remark='')]
    """
    groups: dict[tuple[str, str], list[Contribution]] = {}
    for item in contributions:
        groups.setdefault((item.cause, item.common_to), []).append(item)
    total = combine(contributions)
    rows = []
    for (cause, common_to), items in groups.items():
        u = combine(items)
        remark = "; ".join(sorted({i.remark for i in items if i.remark}))
        rows.append(BudgetRow(cause, common_to, u, (u / total) ** 2 if total else 0.0, remark))
    return sorted(rows, key=lambda row: -row.u)


def effective_dof(contributions: Sequence[Contribution]) -> float:
    """Effective degrees of freedom of the combined uncertainty.

    Notes
    -----
    Welch–Satterthwaite: JCGM 100:2008, equation (G.2b).

    >>> round(effective_dof([Contribution("a", "", 1, STUDENT, 4), Contribution("b", "", 2, STUDENT, 9)]), 3)
    12.329
    """
    weight = sum(c.u**4 / c.dof for c in contributions)
    return combine(contributions) ** 4 / weight if weight else math.inf


def _student_characteristic(t: np.ndarray, dof: float) -> np.ndarray:
    """Characteristic function of Student's t, as a scale mixture of normals.

    With Y chi-squared, E exp(-dof t² / 2Y) is an integral over v = ln Y; the
    trapezoidal rule converges geometrically on it, the faster the more degrees
    of freedom there are.
    """
    v = math.log(dof) + np.linspace(-56 / dof - 8 / math.sqrt(dof), 4 / dof + 8 / math.sqrt(dof), 41 + round(200 / dof))
    log_density = v * dof / 2 - np.exp(v) / 2
    density = np.exp(log_density - log_density.max())
    weights = density / density.sum()
    return np.concatenate([
        np.exp(-0.5 * dof * part[:, None] ** 2 * np.exp(-v)) @ weights
        for part in np.array_split(t, max(1, t.size // 2000))
    ])


def characteristic(contributions: Sequence[Contribution], t: np.ndarray) -> np.ndarray:
    """Characteristic function of the sum of independent zero-mean contributions.

    Parameters
    ----------
    contributions : sequence of Contribution
    t : array (n,)
        Arguments [1 / unit of the result].

    Returns
    -------
    array (n,)

    Notes
    -----
    Normal ``exp(-u²t²/2)``; rectangular of half-width a = √3 u ``sin(at)/at``;
    Student's t with scale u as a mixture of normals.
    """
    normal = sum(c.u**2 for c in contributions if c.distribution == NORMAL)
    phi = np.exp(-0.5 * normal * t**2)
    for item in contributions:
        if item.distribution == RECTANGULAR:
            phi = phi * np.sinc(math.sqrt(3) * item.u * t / math.pi)
        elif item.distribution == STUDENT:
            phi = phi * _student_characteristic(item.u * t, item.dof)
    return phi


def upper_tail(value: float, contributions: Sequence[Contribution]) -> float:
    """Probability that the sum of the contributions exceeds `value`.

    Parameters
    ----------
    value : float
        [unit of the result]
    contributions : sequence of Contribution
        Each drawn from its own distribution.

    Notes
    -----
    Inversion of the characteristic function, ``P(X > x) = 1/2 - (1/π)∫₀^∞
    φ(t) sin(xt)/t dt`` for a symmetric X (Gil-Pelaez, J., 1951, "Note on the
    inversion theorem", Biometrika 38:481-482, as others quote it), by the
    midpoint rule, which is exact but for the tail beyond its period.
    Good to 1e-6, but for Student's t with 1 or 2 degrees of freedom (4e-4 and
    2e-5) and for a rectangle alone, whose φ decays as 1/t (1e-4).

    >>> round(upper_tail(1.959964, [Contribution("x", "", 1.0)]), 6)
    0.025
    """
    scale = combine(contributions)
    if not scale:
        return 0.5 * (1 - math.copysign(1.0, value)) if value else 0.5
    x = abs(value) / scale
    smooth = math.hypot(*(c.u for c in contributions if c.distribution != RECTANGULAR)) / scale
    step = math.pi / (40 + 2 * x)
    end = min(8.5 / max(smooth, 1e-9), 4000.0)
    t = (np.arange(math.ceil(end / step)) + 0.5) * step
    phi = characteristic(contributions, t / scale)
    tail = 0.5 - step / math.pi * float(np.sum(phi * np.sin(x * t) / t))
    tail = min(max(tail, 0.0), 1.0)
    return tail if value >= 0 else 1 - tail


def two_sided(value: float, contributions: Sequence[Contribution]) -> float:
    """Probability of a sum at least as far from zero as `value` (two-sided p).

    >>> round(two_sided(2.575829, [Contribution("x", "", 1.0)]), 6)
    0.01
    """
    return min(1.0, 2 * upper_tail(abs(value), contributions))


def normal_cdf(z: ArrayLike) -> Array:
    """Standard normal distribution function of any array, to 1e-7.

    Notes
    -----
    Abramowitz & Stegun (1964), 26.2.17 (coefficients as others quote them; 7.5e-8 from scipy at most); one number is better served by
    `statistics.NormalDist`.

    >>> normal_cdf([0.0, 1.959964]).round(6).tolist()
    [0.5, 0.975]
    """
    x = np.asarray(z, dtype=float)
    t = 1 / (1 + 0.2316419 * np.abs(x))
    tail = np.exp(-x * x / 2) * 0.3989422804014327 * t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    return np.where(x > 0, 1 - tail, tail)


def chi2_tail(value: float, dof: int) -> float:
    """Probability that chi-squared with `dof` degrees of freedom exceeds `value`.

    Notes
    -----
    Finite sums for integer dof: Abramowitz & Stegun (1964), 26.4.4 and 26.4.5
    (equation numbers from memory; the values are tested against scipy).

    >>> round(chi2_tail(6.634897, 1), 6)
    0.01
    """
    if dof < 1:
        return 1.0
    half = value / 2
    if half > 700:
        return 0.0
    if dof % 2:
        total, term, first = math.erfc(math.sqrt(half)), math.sqrt(half) * math.exp(-half) / math.gamma(1.5), 3
    else:
        total, term, first = math.exp(-half), half * math.exp(-half), 4
    for k in range(first, dof + 1, 2):
        total += term
        term *= half / (k / 2)
    return min(total, 1.0)
