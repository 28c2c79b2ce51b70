"""From a field book to the curvature of its water: iteration, heights, and what nothing checks.

One linear network does the reduction, the budget (its sensitivities) and the
pre-analysis of a plan (the same without readings).
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from .air import State, by_profile
from .determinacy import check_determined
from .fieldbook import with_changes
from .leastsquares import Estimate, Solution, solve
from .observation import NOMINAL, ProfileFactor, air_rows, ellipsoid_curvature, nominal_axes, rows
from .priors import prior
from .records import FieldBook, Step
from .refraction import REFERENCE_RADIUS
from .resolve import AXIS, components
from .rows import BENDING, CURVATURE, PROFILED, STABILITY, Expansion, Row
from .sealing import kept_seal, opened
from .uncertainty import BudgetRow, Contribution, budget, chi2_tail

UNCHECKED, MISFIT = 0.01, 0.01
DETECTABLE = 4.13
ROUNDS, SETTLED, STEADY = 40, 1e-5, 1e-4  # of the iteration, at most; changes of κ and of an air's strength, in standard uncertainties, that no longer show


@dataclass(frozen=True, eq=False)
class Result(Step):
    """A campaign reduced: curvature [1/m], collimation [rad], refraction χ [1/m], heights [m].

    `planned_u` is u(κ) of the same rows without their scatter [1/m];
    `ellipsoid_curvature` is 1/R of the ellipsoid along the line [1/m]; `at` is where its rows were linearised;
    `settled` tells whether the path of the rays agrees with what they show.
    """

    book: FieldBook = field(repr=False)
    rows: tuple[Row, ...] = field(repr=False)
    solution: Solution = field(repr=False)
    at: Expansion = field(repr=False)
    curvature: Estimate
    collimation: dict[str, Estimate]
    refraction: dict[str, Estimate]
    heights: dict[str, Estimate]
    planned_u: float
    ellipsoid_curvature: float
    settled: bool

    @property
    def sensitivity(self) -> np.ndarray:
        """Change of κ per unit of each row (m,) [1/m per unit of the row]."""
        return self.solution.gain[0]

    @property
    def by_profile(self) -> bool:
        """Whether the path of a ray, and so its refraction, depends on the curvature under it."""
        return any(key[0] == "strength" for key in self.solution.unknowns)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the paths of the rays warn of, in words."""
        return tuple(dict.fromkeys(text for row in self.rows if row.reading for text in row.beware()))

    @property
    def effective_k(self) -> float:
        """Coefficient of refraction of the longest sight, as found."""
        sight = longest(self)
        bent = sum(c * self.solution.estimate(key).value for key, c in sight.terms.items() if key[0] in BENDING)
        return -bent * 2 / sight.reading.distance**2 * REFERENCE_RADIUS

    @property
    def dof(self) -> int:
        """Redundancy of the network."""
        return self.solution.dof

    @property
    def chi2(self) -> float:
        """Sum of the squared residuals, each over its uncertainty."""
        u = np.array([row.u for row in self.rows])
        exact = u == 0
        if np.abs(self.solution.residuals[exact]).max(initial=0.0) > 1e-9:
            return math.inf
        return float(np.sum((self.solution.residuals[~exact] / u[~exact]) ** 2))

    @property
    def misfit(self) -> float:
        """Probability of residuals at least this large where all is as stated."""
        return chi2_tail(self.chi2, self.dof)

    @property
    def contradictory(self) -> bool:
        """Whether the readings contradict one another, or what is stated, beyond their uncertainty."""
        return self.dof > 0 and self.misfit < MISFIT or math.isinf(self.chi2)

    @property
    def unchecked(self) -> list[str]:
        """Labels of the readings and heights that no other row checks."""
        return [row.label for row, r in zip(self.rows, self.solution.redundancy)
                if row.kind in ("reading", "height") and r < UNCHECKED]

    @property
    def weak(self) -> list[tuple[str, float]]:
        """Readings, heights and gauge rows whose blunder would pass unseen and move κ by half of 1/R: label, size [m].

        Notes
        -----
        The least blunder that the network shows is ``4.13 u/√r`` (r the
        redundancy number; a test at 0.1 % with power 80 %: z(0.9995) + z(0.80)):
        Baarda, W. (1968), A Testing Procedure for Use in Geodetic Networks (title page read).
        """
        found = []
        for row, s, r in zip(self.rows, self.sensitivity, self.solution.redundancy):
            if row.label.partition(" ")[0].endswith(".csv") and row.kind != "air" and row.u:
                blunder = DETECTABLE * row.u / math.sqrt(max(r, 1e-12))
                needed = self.ellipsoid_curvature / 2 / max(abs(s), 1e-300)
                if blunder > needed:
                    found.append((row.label, needed))
        return found

    def contributions(self) -> list[Contribution]:
        """What each independent input contributes to u(κ) [1/m]."""
        return [part.times(abs(s)) for row, s in zip(self.rows, self.sensitivity) for part in row.parts]

    def budget(self) -> list[BudgetRow]:
        """The uncertainty of κ by cause, largest first [1/m]."""
        return budget(self.contributions())

    def offset_budget(self) -> list[BudgetRow]:
        """The same as an offset at the end of the longest sight [m]."""
        half = longest(self).reading.distance ** 2 / 2
        return [replace(row, u=row.u * half) for row in self.budget()]


def adjust(book: FieldBook, changes: Mapping[str, object] | None = None, *,
           profile_factor: ProfileFactor | None = None, path: float | None = None) -> Result:
    """Reduce a field book: the curvature of the water and everything else it tells.

    Parameters
    ----------
    book : FieldBook
        One without readings is a plan: its values are NaN, its uncertainties stand.
    changes : mapping, optional
        Keys of ``site.toml`` to replace first, as in
        ``{"instrument.A.tolerance": "1 mm per 30 m"}``.
    profile_factor : callable, optional
        Factor w of refraction for a reading (1 when left out) through an air
        for which k or a gradient is stated.
    path : float, optional
        Curvature of the water that the rays are followed over [1/m]; the one
        that is found when left out. It matters only where an air has a profile.

    Returns
    -------
    Result

    Raises
    ------
    FieldBookError
        Where the curvature, or a height it rests on, is not determined.
    """
    if not isinstance(book, FieldBook):
        raise TypeError(f"adjust takes a field book, not {type(book).__name__}: first book = curvelab.read_fieldbook(folder)")
    if changes:
        book = with_changes(book, changes)
    expected = ellipsoid_curvature(book)
    at = start(book, expected, path)
    found = rows(book, at, planned=True, profile_factor=profile_factor)
    plan = solve(found)
    check_determined(book, plan, found)
    if book.is_plan:
        return _result(book, found, plan, at, _planned_u(book, plan), expected, True)
    return _iterated(book, at, _planned_u(book, plan), expected, profile_factor)


@functools.lru_cache(4)
def over(result: Result, curvature: float) -> Result:
    """What was read, with the rays followed over water of a given curvature [1/m], where that makes a difference; from where the result was found."""
    if not result.by_profile:
        return result
    if result.book.is_plan:
        return adjust(result.book, path=curvature)
    return _iterated(result.book, replace(result.at, path=curvature), result.planned_u, result.ellipsoid_curvature)


def _iterated(book: FieldBook, at: Expansion, planned_u: float, expected: float, profile_factor: ProfileFactor | None = None) -> Result:
    """The readings reduced again and again, from a first point, until neither the curvature found nor an air moves any longer."""
    before = None
    for _ in range(ROUNDS):
        found = rows(book, at, profile_factor=profile_factor)
        solution = solve(found)
        steady = all(abs(now.value - at.air[name].strength) <= STEADY * now.u for name in at.air for now in [solution.estimate(("strength", name))])
        settled = steady and bool(abs(solution.x[0] - at.curvature) <= SETTLED * max(planned_u, 1e-6 * expected))
        if settled:
            break
        at, before = _moved(book, at, solution, *(before or (at, solution))), (at, solution)
    return _result(book, found, solution, at, planned_u, expected, settled)


def _result(book: FieldBook, found: list[Row], solution: Solution, at: Expansion, planned_u: float, expected: float, settled: bool) -> Result:
    return Result(book, tuple(found), solution, at, solution.estimate(CURVATURE), _named(book, solution, "collimation"),
                  _named(book, solution, "refraction"), _heights(book, solution), planned_u, expected, settled)


def _planned_u(book: FieldBook, plan: Solution) -> float:
    """u(κ) as planned [1/m]: of the sealed plan where the book carries out one, else of the same rows without their scatter."""
    return _sealed_u(book.sealed_plan) if kept_seal(book) else plan.estimate(CURVATURE).u


@functools.lru_cache(8)
def _sealed_u(text: str) -> float:
    """u(κ) of a sealed plan [1/m]; a page asks for it at each move."""
    return adjust(opened(text)).planned_u


def outturn(planned: Result, away: Mapping[str, float]) -> Result:
    """A plan's result where what is found of an air lies so far `away` from what is expected, in standard uncertainties of what can be found.

    The more an air bends the sights, the less surely is it known; what thermometers will show is known beforehand only as well
    as the difference of air and water is.
    """
    book = planned.book
    at = start(book, planned.ellipsoid_curvature)
    more = {name: away[name] * math.sqrt(max(prior(book, ("strength", name), at).u ** 2 - state.expected_u**2, 0.0)) for name, state in at.air.items()}
    air = {name: replace(state, strength=state.strength + more[name], expected=state.expected + more[name]) for name, state in at.air.items()}
    found = rows(book, replace(at, air=air), planned=True)
    solution = solve(found)
    return replace(planned, rows=tuple(found), solution=solution, planned_u=solution.estimate(CURVATURE).u)


def start(book: FieldBook, curvature: float, path: float | None = None) -> Expansion:
    """Where the first round is linearised: what is known before any reading through the level."""
    at = Expansion(curvature, {name: i.collimation.value if i.collimation else 0.0 for name, i in book.instruments.items()},
                   {name: prior(book, ("refraction", name)).value for name in {r.air for r in book.readings if not r.struck}},
                   axis=nominal_axes(book), path=path)
    profiled = [name for name in at.refraction if by_profile(book.airs[name])]
    warm = air_rows(book, profiled)
    used = dict.fromkeys([STABILITY, *((kind, name) for name in profiled for kind in PROFILED), *(key for row in warm for key in row.terms)])
    for _ in range(5 if profiled else 0):
        at = replace(at, air=_states(solve([*warm, *(row for key in used if (row := prior(book, key, at)))])))
    return at


def _moved(book: FieldBook, at: Expansion, solution: Solution, before: Expansion, earlier: Solution) -> Expansion:
    """The point of the next round: near what was found, by how that answers to what was taken; the last round's point and solution are known."""
    part = components(book)
    named = {kind: solution.named(kind) for kind in ("collimation", "refraction")}
    axis = {name: height for name, height in solution.named("axis").items() if part[AXIS + name] == part.get("")}
    share = _share(at.curvature, solution.x[0], before.curvature, earlier.x[0]) if at.path is None else 1.0
    curvature, states = at.curvature + share * float(solution.x[0] - at.curvature), {}
    for name, new in _states(solution).items():
        old = at.air[name]
        share = _share(old.strength, new.strength, before.air[name].strength, earlier.estimate(("strength", name)).value)
        states[name] = replace(old, **{kind: getattr(old, kind) + share * (getattr(new, kind) - getattr(old, kind)) for kind in PROFILED})
    return replace(at, curvature=curvature, axis=at.axis | axis, air=states, **named)


def _share(taken: float, found: float, before: float, earlier: float) -> float:
    """What share of a change to make: all of it, or less where more taken than `before` made less found than `earlier`."""
    return 1 / (1 + max((earlier - found) / (taken - before), 0.0)) if taken != before else 1.0


def _states(solution: Solution) -> dict[str, State]:
    """The state of each air with a profile."""
    found = [solution.named(kind) for kind in PROFILED]
    return {name: State(*(values[name] for values in found), found[0][name], solution.estimate(("strength", name)).u) for name in found[0]}


def _named(book: FieldBook, solution: Solution, kind: str) -> dict[str, Estimate]:
    """Estimates of one kind by name, with what is exactly known among them."""
    names = book.instruments if kind == "collimation" else {r.air: None for r in book.readings if not r.struck}
    found = {}
    for name in names:
        if (kind, name) in solution.unknowns:
            found[name] = solution.estimate((kind, name))
        else:
            row = prior(book, (kind, name))
            found[name] = Estimate(row.value, row.u)
    return found


def _heights(book: FieldBook, solution: Solution) -> dict[str, Estimate]:
    """Heights above the water of all that is tied to it."""
    part = components(book)
    found = {point: Estimate(0.0, 0.0) for point, place in book.water.surfaces.items() if not place}
    for shore in [solution.estimate(key) for key in solution.unknowns if key[0] == "shores"][:1]:
        found |= {point: Estimate(place * shore.value, place * shore.u) for point, place in book.water.surfaces.items() if place}
    for key in solution.unknowns:
        if key[0] == "height" and part[key[1]] == part.get(""):
            found[key[1]] = solution.estimate(key)
    return found


def axis_height(result: Result, setup: str) -> float:
    """Height of a set-up's axis above the water [m]; of a plan, the one that it was worked out for."""
    return nominal_axes(result.book).get(setup, NOMINAL) if result.book.is_plan else result.solution.estimate(("axis", setup)).value


def longest(result: Result) -> Row:
    """The row of the longest sight."""
    return max((row for row in result.rows if row.reading), key=lambda row: row.reading.distance)
