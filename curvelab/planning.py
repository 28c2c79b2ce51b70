"""Before anything is carried to the water: what a plan can decide.

The network without readings tells it all; this room only asks.
"""

from __future__ import annotations

import datetime
import functools
import math
import statistics
from dataclasses import dataclass, field
from pathlib import Path
from statistics import NormalDist

import numpy as np

from . import lake, refraction
from .adjustment import MISFIT, Result, adjust, axis_height, longest, outturn
from .air import by_profile, stated
from .decision import critical, gate
from .fieldbook import compose
from .instrument import ARCSECOND, rectangular_u
from .prediction import at_target, predicted_lines
from .records import Air, FieldBook, Step
from .remarks import shared_air
from .sealing import digest, plan_text, write_sealed
from .wording import length, offset
from .uncertainty import NORMAL, RECTANGULAR, STUDENT, BudgetRow, Contribution, combine, normal_cdf

DRAWS = 48  # equally probable sizes of the scatter that a plan may meet
TESTED = "10 µrad"  # what a careful peg test leaves of a collimation error
AIRS = tuple(NormalDist().inv_cdf((i + 0.5) / 11) for i in range(11))  # equally probable strengths of the air, in standard uncertainties
PROFILE_U = 0.1  # in k: what a measured profile leaves of it, where another gradient is tried
CLEAR = 0.5  # m; a line nearer to the water than this is warned of (as teaching pages ask of sights above the ground)
CAUTIONS = (
    "Never point a telescope near the sun.",
    "Keep away from thin ice, from moving water and from traffic; mind the tripod in the wind, and people around it.",
    "Ask for permission to be on both shores, and keep the place private if its people wish so.",
    "Local rules, and where they are needed licensed surveyors, have the last word.",
)


@dataclass(frozen=True)
class Plan(Step):
    """What a book without readings could decide.

    `separation` of flat water and ellipsoid in standard uncertainties, the
    `gate` that the rule asks for.
    """

    book: FieldBook = field(repr=False)
    result: Result = field(repr=False)
    separation: float
    gate: float

    @functools.cached_property
    def power(self) -> float:
        """Probability of rejecting flat water where the ellipsoid holds, few repeats and levels at their limit included.

        That of the test: below its gate a plan decides nothing, whatever its power. Where thermometers are to find the air, a
        mean over what they may find, gate and all: an air that bends more than expected may leave the book too uncertain.
        """
        rng, names = np.random.default_rng(0), list(self.result.solution.named("strength"))
        if not names:
            return _power(self.result, self.gate, self.go)
        airs = zip(*(rng.permutation(AIRS) for _ in names))
        return statistics.fmean(_power(outturn(self.result, dict(zip(names, away))), self.gate, True) for away in airs)

    @property
    def go(self) -> bool:
        """Whether the plan passes its own gate."""
        return self.separation >= self.gate

    def describe(self, axis_height: float | None = None, units: str = "metric") -> str:
        """What the plan predicts and whether it can decide, in plain English.

        Parameters
        ----------
        axis_height : float, optional
            Height of the instrument above the water [m]: is the line clear of it?
        units : {"metric", "us"}
        """
        distance = longest(self.result).reading.distance
        over_flat, over_ellipsoid = (line for line, _ in predicted_lines(self.result)[1:])
        flat, ellipsoid = float(over_flat[-1]), float(over_ellipsoid[-1])
        k = float(refraction.coefficient_from_curvature(8 * (over_flat[20] - flat / 2) / distance**2))  # of the sagitta at half-way, whatever the tilt
        verdict = "This plan can tell them apart" if self.go else "This plan can't tell them apart"
        tilt = (flat / distance + float(refraction.ray_curvature(k)) * distance / 2) * 1e6
        tilted = f" and with a tilt of {tilt:.0f} µrad" if abs(tilt) >= 0.5 else ""
        return (f"At {length(distance, units)}, {_bent(k)}{tilted}, the line of sight would strike {_side(flat, units)} the mark over flat water and "
                f"{_side(ellipsoid, units)} it over water that follows the Earth, however high level and mark both stand. {verdict}: they lie {self.separation:.2f} typical errors (standard uncertainties) apart, and "
                f"{self.gate:.2f} are needed." + ("" if axis_height is None else clearance(self.result, axis_height, units)))

    def predictions(self) -> list[str]:
        """What either hypothesis predicts for the longest sight, and what the rule will ask, a line each."""
        away, rule, lines = longest(self.result).reading.distance, self.book.rule, []
        for name, kappa in (("flat water", 0.0), ("water that follows the ellipsoid", self.result.ellipsoid_curvature)):
            by = at_target(self.result, kappa)
            lines.append(f"{name}: line of sight {by.value * 1000:+.1f} mm from the level of the instrument at {away:.0f} m, standard uncertainty {by.u * 1000:.1f} mm")
        return [*lines, f"separation {self.separation:.2f}, gate {self.gate:.2f}",
                f"rule: flat rejected in error at most {rule.alpha_flat:g}, ellipsoid {rule.alpha_ellipsoid:g}, power {rule.power:g}"]

    def budget(self) -> list[BudgetRow]:
        """The planned uncertainty of κ by cause [1/m]."""
        return self.result.budget()


def checklist(planned: Plan, depth: float | None = None) -> list[str]:
    """What to know of the line and to do on the day, a sentence each: prediction, target, water, air, cautions.

    Parameters
    ----------
    planned : Plan
    depth : float, optional
        Mean depth of the lake [m], for the time over which to average its level.
    """
    book, result = planned.book, planned.result
    sight = longest(result).reading
    radius, level = 1 / result.ellipsoid_curvature, book.instruments[sight.instrument]
    apart = sight.distance / 2 / radius
    finest = level.pointing.value * sight.distance
    told = [f"Radius of curvature along the line {radius / 1000:.0f} km, {100 * (radius / refraction.REFERENCE_RADIUS - 1):+.2f} % from the 6371 km of handbooks.",
            f"Flat and curved water differ by {apart * sight.distance * 1000:.0f} mm at the target: {apart / ARCSECOND:.1f} arcseconds as seen from the instrument.",
            f"The telescope points to {finest * 1000:.0f} mm there: draw stripes of {_stripe(finest) * 1000:.0f} mm or more on a board of {_board(planned):.1f} m."]
    if depth:
        period = float(lake.seiche_period(sight.distance, depth))
        told.append(f"The lake may swing with a period of {period / 60:.0f} minutes or so: read the water over {2 * period / 60:.0f} minutes, or on both shores at once.")
    told += [f"{note[0].upper()}{note[1:]}." for note in shared_air(result)]
    told.append("Measure when air and water are equally warm, or in a breeze; noon sun and calm evenings bend light most.")
    return told + list(CAUTIONS)


def _stripe(finest: float) -> float:
    """Width of a stripe that is seen well [m]: three times what can be pointed at, to 5 mm; a rule of thumb."""
    return max(0.005, math.ceil(3 * finest / 0.005) * 0.005)


def _board(planned: Plan) -> float:
    """Height of a board that holds both predictions and their bands [m], to 0.1 m."""
    ends = [by.value + side * 2 * by.u for by in (at_target(planned.result, kappa) for kappa in (0.0, planned.result.ellipsoid_curvature)) for side in (-1, 1)]
    return math.ceil(10 * (max(*ends, 0.0) - min(*ends, 0.0)) + 1) / 10


def plan(book: FieldBook) -> Plan:
    """What a field book without readings could decide.

    Parameters
    ----------
    book : FieldBook
        Readings that are there already are left out of account.

    Returns
    -------
    Plan
    """
    if not isinstance(book, FieldBook):
        raise TypeError(f"plan takes a field book, not {type(book).__name__}: first book = curvelab.read_fieldbook(folder)")
    book = blank(book)
    result, rule = adjust(book), book.rule
    separation = result.ellipsoid_curvature / result.planned_u if result.planned_u else math.inf
    least = gate(min(rule.alpha_flat, rule.alpha_ellipsoid), rule.power)
    return Plan(book, result, separation, least)


def seal(planned: Plan | FieldBook, folder: str | Path, time: datetime.datetime | None = None) -> str:
    """Seal a plan: write its canonical text into a folder, and return the seal for ``[plan] sealed`` of the book.

    Parameters
    ----------
    planned : Plan or FieldBook
    folder : path
        Gets ``sealed_plan.txt``, with no coordinates in it; never overwritten.
    time : datetime, optional
        With its offset; now, when left out.

    Raises
    ------
    FileExistsError
    """
    planned = plan(planned) if isinstance(planned, FieldBook) else planned
    text = plan_text(planned.book, planned.predictions(), time or datetime.datetime.now().astimezone())
    write_sealed(text, folder)
    return digest(text)


def _power(result: Result, least: float, go: bool) -> float:
    """Probability of rejecting flat water where the ellipsoid holds, with all that `decide` will ask.

    A mean over draws of the scatter that repeats will show: where it exceeds what was stated it rules, with its few
    degrees of freedom. What is only known to be within a tolerance must reject at its limit too, and good readings
    are taken to disagree once in a hundred.
    """
    rest, repeats = _spreads(result)
    rng, found = np.random.default_rng(0), []
    limits = np.array([c.u * math.sqrt(3) for c in rest if c.distribution == RECTANGULAR])
    normal = math.sqrt(max(result.planned_u**2 - np.sum(limits**2) / 3, 1e-300))
    centres = result.ellipsoid_curvature + rng.uniform(-1, 1, (512, limits.size)) @ limits
    scatter = [rng.permutation(np.sqrt(np.sort(rng.chisquare(dof, 99 * DRAWS)).reshape(DRAWS, -1)[:, 49] / dof)) for _, dof in repeats]
    for i in range(DRAWS if repeats else 1):
        grown = [(u, dof, drawn[i]) for (u, dof), drawn in zip(repeats, scatter)]
        parts = [*rest, *(Contribution("", "", u * max(g, 1.0), STUDENT if g > 1 else NORMAL, dof if g > 1 else math.inf) for u, dof, g in grown)]
        if go and result.ellipsoid_curvature < least * max(combine(parts), result.planned_u):
            found.append(0.0)  # the plan passed its gate, and this scatter, or this air, does not
            continue
        needed = critical(parts, result.book.rule.alpha_flat)
        found.append(float(np.mean(normal_cdf((centres - needed) / normal))))
    return math.fsum(found) / len(found) * (1 - MISFIT if result.dof else 1.0)


def _spreads(result: Result) -> tuple[list[Contribution], list[tuple[float, int]]]:
    """What contributes to u(κ) [1/m]: all but the scatter of repeats, and that scatter with its degrees of freedom."""
    rest, repeats = [], []
    sizes = [len(group) for group in result.book.repeats] + [1] * len(result.rows)
    for row, n, s in zip(result.rows, sizes, result.sensitivity):
        own = [part.times(abs(s)) for part in row.parts]
        scatter = [part for part in own if n > 1 and part.common_to == "each pointing"]
        rest += [part for part in own if part not in scatter]
        repeats += [(combine(scatter), n - 1)] if scatter else []
    return rest, repeats


def clearance(result: Result, axis_height: float, units: str) -> str:
    """What to say of a longest sight that comes near the water or into it from so high [m]; else nothing."""
    flat, ellipsoid = (axis_height + float(line.min()) for line, _ in predicted_lines(result)[1:])
    lowest = min(flat, ellipsoid)
    if lowest <= 0:
        which = "" if max(flat, ellipsoid) <= 0 else " over flat water" if flat < ellipsoid else " over water that follows the Earth"
        return f" But{which} the line of sight would run into the water: raise the instrument, shorten the line, or wait for other air."
    return f" But the line would pass only {offset(lowest, units)} above the water, where the air bends light most: raise it." if lowest < CLEAR else ""


def _bent(k: float) -> str:
    """What the air does to light, in words."""
    return f"in air that bends light {'up' if k < 0 else 'down'} (k = {k:z.2f})" if abs(k) >= 0.005 else "in air that doesn't bend light"


def _side(by: float, units: str) -> str:
    told = offset(abs(by), units)
    return "on" if told == offset(0.0, units) else f"{told} {'above' if by >= 0 else 'below'}"


def phoned_in(book: FieldBook, by: float, height: float) -> FieldBook:
    """A plan of one near and one far point with its readings: the line of sight struck the target so far above the level mark [m].

    Parameters
    ----------
    book : FieldBook
        As `designs.single_line` makes it; the tilt that it states is in the near reading, too.
    by, height : float
        [m]; the height of the instrument above the near water.
    """
    target, table, tilt = book.heights[0].height, book.tables["readings.csv"], book.instruments[book.longest_sight.instrument].collimation
    cells = [repr(height + (tilt.value * r.distance if tilt else 0.0) if r.point in book.water.surfaces else height + by - target) for r in book.readings]
    return compose(book.site | {"invented": False}, book.tables | {"readings.csv": table.filled("reading", cells)})


def as_read(result: Result) -> dict[str, float]:
    """What a book says of the line, in the units of the page.

    Returns
    -------
    dict
        ``length`` [m] of the longest sight, ``height`` of the instrument above
        the water [m], ``gradient`` [K/m] that its refraction amounts to,
        ``collimation`` [µrad] as found.
    """
    book, sight = result.book, longest(result).reading
    air, level = book.airs[sight.air], book.instruments[sight.instrument]
    if book.is_plan:  # nothing is found yet: what is stated
        k = air.k.value if air.k else math.nan
        slope = level.collimation.value if level.collimation else 0.0
    else:
        k = result.effective_k
        slope = result.collimation[sight.instrument].value
    gradient = air.gradient.value if air.gradient else float(refraction.gradient_for(k, *_weather(air))) if math.isfinite(k) else math.nan
    return {"length": sight.distance, "height": axis_height(result, sight.setup), "gradient": gradient, "collimation": slope * 1e6}


def what_if(book: FieldBook, gradient: float | None = None, collimation: float | None = None, k: float | None = None,
            shores: float | None = None) -> dict[str, object]:
    """Changes for `adjust` that put another gradient [K/m] or k, collimation [µrad] or far water above near water [mm] in place of what the book says.

    Uncertainties stay as they are.
    """
    sight = book.longest_sight
    air, changes = book.airs[sight.air], {}
    if gradient is not None:
        k = float(refraction.coefficient(*_weather(air), gradient))
    if k is not None:
        u = PROFILE_U if by_profile(air) else float(refraction.coefficient_from_curvature(stated(air).u))
        changes |= {f"air.{air.name}.gradient": None, f"air.{air.name}.k": f"{k:.6f} ± {u:.6f}"}
    if collimation is not None:
        level = book.instruments[sight.instrument]
        u = level.collimation.u if level.collimation else float(rectangular_u(level.tolerance.value))
        changes |= {f"instrument.{sight.instrument}.tolerance": None, f"instrument.{sight.instrument}.collimation": f"{collimation:.3f} ± {1e6 * u:.3f} µrad"}
    if shores is not None:
        changes["water.between_shores"] = f"{shores:.3f} ± {1000 * book.water.between_shores.u:.3f} mm"
    return changes


def _weather(air: Air) -> tuple[float, float]:
    """Temperature [°C] and pressure [hPa] of an air; those of a mild day where only its k is stated."""
    return (air.temperature.value if air.temperature else 12.0, air.pressure.value if air.pressure else 1000.0)


def blank(book: FieldBook) -> FieldBook:
    """The same book with every reading still to be taken."""
    if book.is_plan:
        return book
    table = book.tables["readings.csv"]
    for column in {"reading", "upper", "lower"} & set(table.columns):
        table = table.filled(column, [""] * len(table.rows))
    return compose(book.site, book.tables | {"readings.csv": table})
