r"""The one observation equation, written out as labelled rows.

.. math:: r = HI_s - H_p + c_i d + (\kappa - \chi) d^2 / 2

`r` height of the line of sight above the point [m], `HI` height of the
instrument's axis and `H` height of the point above the level surface through
the still water [m], `c` collimation error [rad, + rises], `d` length of the
sight [m], `κ` curvature of the water (0 flat, 1/R on the ellipsoid) and `χ` of
the light ray [1/m].

What several sights share is one unknown with a prior of its own, so every
row's error is independent of every other's. A key such as ``("axis", "S1")``
names an unknown.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from . import air, ellipsoid, ray, refraction, schema, units, water
from .priors import prior, remark
from .records import AirReading, FieldBook, Height, Reading, Stated
from .resolve import AXIS, LONG, components, gauge_of
from .rows import CURVATURE, STABILITY, Expansion, Row, Unknown
from .uncertainty import STUDENT, Contribution, combine

EYE = 1.45  # m; the axis above the nearest point of a set-up that has not been read
NOMINAL = 1.5  # m; what a planned reading of a graduated target is taken to show
ProfileFactor = Callable[[Reading], float]


def single_sight(offset: float, far: float, near: float = 0.0, collimation: float = 0.0, refraction: float = 0.0) -> float:
    """Curvature from one sight to a near and a far point, in closed form.

    Parameters
    ----------
    offset : float
        ``Y = (r_far + H_far) - (r_near + H_near)`` [m], + = the line of sight is above.
    far, near : float
        Lengths of the two sights [m].
    collimation : float
        [rad], + = the line of sight rises.
    refraction : float
        Curvature of the ray χ [1/m].

    Returns
    -------
    float
        Curvature of the water κ [1/m].

    Notes
    -----
    ``κ = χ + 2 (Y - c (D - d)) / (D² - d²)``: the difference of two observation
    equations. The network does not use this; the two are compared in tests.

    >>> round(1e-3 / single_sight(0.313972, 2000.0), 0)
    6370.0
    """
    if far == near:
        raise ValueError(f"both sights are {far} m long: equal sights are free of curvature, read points at two distances")
    return refraction + 2 * (offset - collimation * (far - near)) / (far**2 - near**2)


def ellipsoid_curvature(book: FieldBook) -> float:
    """Curvature 1/R of the ellipsoid along the book's line [1/m]."""
    return 1 / float(ellipsoid.azimuth_radius(book.line.latitude, book.line.azimuth))


def rows(book: FieldBook, at: Expansion, *, planned: bool = False, profile_factor: ProfileFactor | None = None) -> list[Row]:
    """Every observation and every prior of a field book.

    Parameters
    ----------
    book : FieldBook
    at : Expansion
        Point of linearisation.
    planned : bool
        Whether to take the uncertainties as stated beforehand, without the
        scatter of the readings.
    profile_factor : callable, optional
        Factor w of refraction for a reading, known from the shape of the
        temperature profile along its sight; 1 when left out.

    Returns
    -------
    list of Row
        Readings, heights, then the priors of the unknowns that they use.
    """
    factor = profile_factor or (lambda reading: 1.0)
    pinned = _free_datums(book)
    found = [reading_row(group, book, at, planned, factor(group[0])) for group in book.repeats]
    found += [height_row(h, book) for h in book.heights]
    profiled = {key[1] for row in found for key in row.terms if key[0] == "strength"}
    found += air_rows(book, profiled)
    found = [row if pinned.isdisjoint(row.terms) else replace(row, terms={k: v for k, v in row.terms.items() if k not in pinned}) for row in found]
    used = dict.fromkeys([*(key for row in found for key in row.terms), *[STABILITY][:len(profiled)]])
    return found + [row for key in used if (row := prior(book, key, at))]


def _free_datums(book: FieldBook) -> set[Unknown]:
    """One point of each part without water: heights there have no zero of their own."""
    part = components(book)
    first: dict[str, str] = {}
    for node, root in part.items():
        if root != part.get("") and not node.startswith(AXIS):
            first.setdefault(root, node)
    return {("height", node) for node in first.values()}


def reading_row(group: list[Reading], book: FieldBook, at: Expansion, planned: bool, factor: float = 1.0) -> Row:
    r, n, d = group[0], len(group), group[0].distance
    level = book.instruments[r.instrument]
    value = math.fsum(g.reading for g in group) / n
    height, changes = _height_terms(r.point, r.visit, [g.time for g in group], book)
    if r.point in book.water.surfaces:
        height[("touch", r.setup, r.point)] = 1.0
    terms = {("axis", r.setup): 1.0} | {key: -v for key, v in height.items()}
    terms |= {("collimation", r.instrument): d, ("drift", level.root, r.visit): d, ("setting", r.setup): d,
              CURVATURE: d**2 / 2}
    bending, chi, beware = _refraction_terms(r, book, at, factor)
    terms |= bending
    if d > LONG:
        terms["focus", level.root] = d
    if _has_zero(r.staff, book):
        terms["staff", r.staff] = 1.0
    if r.scale:
        terms["scale", r.scale] = NOMINAL if r.planned else value
    slope = at.collimation.get(r.instrument, 0.0) + (at.curvature - chi) * d
    parts = [] if r.u_distance is None else [Contribution("length of sight", "each sight", abs(slope) * r.u_distance)]
    if d > book.line.distance.value / 2 and r.u_distance is None:
        terms["distance",] = slope
    own, scatter = _reading_parts(r, level.pointing, level.reading, [g.reading + c for g, c in zip(group, changes)], planned)
    lines = _ranges([g.row for g in group])
    label = f"readings.csv row{'s' if n > 1 else ''} {lines}: {r.setup} to {r.point}"
    return Row(label, "reading", terms, value, (*own, *parts), r, scatter, beware)


def _refraction_terms(r: Reading, book: FieldBook, at: Expansion, factor: float) -> tuple[dict[Unknown, float], float, Callable[[], Sequence[str]]]:
    """What the air adds to a sight, as terms, its effective χ [1/m], and what warns of its path.

    A profile is followed along its path; its strength is shared by all sights
    through that air, and a departure from its shape by those at one height.
    """
    mass, half = book.airs[r.air], r.distance**2 / 2
    if not air.by_profile(mass):
        return {("refraction", r.air): -factor * half}, factor * at.refraction.get(r.air, 0.0), tuple
    state = at.air.get(r.air, air.State())
    under = at.curvature if at.path is None else at.path
    height = at.axis.get(r.setup, NOMINAL)
    here, way = air.path(mass, state, r.distance, height, at.collimation.get(r.instrument, 0.0), under)
    factor = float(way.mean(here.shape.slope))
    scale = -half * factor * air.departure_scale(here, state.strength)
    terms = {("refraction", r.air): -half, ("strength", r.air): -half * here.per_gradient * factor,
             ("stability", r.air): -half * here.per_gradient, ("vapour", r.air): -half * here.per_vapour * factor,
             ("departure", r.air): scale}
    terms |= {("departure", r.air, knot): scale * share for knot, share in air.knots(float(way.z.mean())).items() if share}
    chi = functools.partial(here.curvature, state=state)
    return terms, float(way.mean(chi)), functools.partial(ray.warnings, way, chi) if r.distance > LONG else tuple


def air_rows(book: FieldBook, airs: Iterable[str]) -> list[Row]:
    """Rows of the readings in these airs with a profile: temperatures, then humidities."""
    told = [t for t in book.air_readings if t.air in airs]
    return [thermometer_row(t, book) for t in told] + [humidity_row(t, book) for t in told if t.humidity is not None]


def thermometer_row(t: AirReading, book: FieldBook) -> Row:
    """A thermometer's reading: water's temperature, strength of the profile, the thermometer's own offset."""
    here = air.layer(book.airs[t.air])
    own = units.parse(schema.DEFAULT_THERMOMETER_U, "temperature difference").value if t.u is None else t.u
    terms = {("strength", t.air): float(here.shape.rise(t.height)), ("stability", t.air): t.height,
             ("water temperature", t.air): 1.0, ("thermometer", t.thermometer): 1.0}
    part = Contribution("temperature reading", "each reading", own, remark="default" if t.u is None else "")
    return Row(f"air.csv row {t.row}: {t.height:g} m", "air", terms, t.temperature + refraction.DRY_ADIABATIC * t.height, (part,))


def humidity_row(t: AirReading, book: FieldBook) -> Row:
    """A hygrometer's reading as vapour pressure [hPa] above that at the water, where air is saturated.

    Linear in the water's temperature about the one that is stated (that of the reading, where none is).
    """
    rise = float(air.layer(book.airs[t.air]).shape.rise(t.height))
    around = (book.airs[t.air].water_temperature or Stated(t.temperature)).value
    full, at_water, warmer = (float(refraction.saturation(x)) for x in (t.temperature, around, around + 1.0))
    terms = {("vapour", t.air): rise, ("water temperature", t.air): warmer - at_water, ("hygrometer", t.thermometer): full}
    part = Contribution("humidity", "each reading", air.HUMIDITY_U * full, remark="default")
    return Row(f"air.csv row {t.row}: humidity", "air", terms, t.humidity * full - at_water + (warmer - at_water) * around, (part,))


def nominal_axes(book: FieldBook) -> dict[str, float]:
    """Height of each set-up's axis above the water, as near as heights and plain readings tell [m].

    Where the set-up has not been read yet, 1.45 m above its nearest point.
    """
    known = nominal_heights(book)
    axes: dict[str, float] = {key[1]: value for key, value in known.items() if key[0] == "axis"}
    for r in sorted((r for r in book.readings if not r.struck), key=lambda r: r.distance):
        above = 0.0 if r.point in book.water.surfaces else known.get(("height", r.point))
        if above is not None:
            axes.setdefault(r.setup, above + (EYE if r.planned else r.reading))
    return axes


def nominal_heights(book: FieldBook) -> dict[Unknown, float]:
    """Heights that follow from ``heights.csv`` alone, least squares [m]."""
    ends = {end for h in book.heights for end in (h.start, h.end)} - set(book.water.surfaces)
    names = {name: i for i, name in enumerate(sorted(ends))}
    design = np.zeros((len(book.heights), len(names)))
    for row, h in zip(design, book.heights):
        for end, sign in ((h.start, -1.0), (h.end, 1.0)):
            if end in names:
                row[names[end]] += sign
    found = np.linalg.lstsq(design, np.array([h.height for h in book.heights]), rcond=None)[0] if names else ()
    return {("axis", n[len(AXIS):]) if n.startswith(AXIS) else ("height", n): float(x) for n, x in zip(names, found)}


def _ranges(numbers: list[int]) -> str:
    """Row numbers in words: "3, 5-9"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)


def _reading_parts(r: Reading, pointing: Stated, scale: Stated, values: list[float], planned: bool) -> tuple[list[Contribution], float]:
    """Uncertainty of a mean of n pointings, as stated or by their scatter where that is larger; and the ratio of the two."""
    n = len(values)
    if r.u is not None:
        stated = [Contribution("reading", "each pointing", r.u)]
    else:
        stated = [Contribution("pointing", "each pointing", pointing.value * r.distance, remark=remark(pointing)),
                  Contribution("reading", "each pointing", scale.value, remark=remark(scale))]
    spread = 0.0 if planned or n < 2 or r.planned else float(np.std(values, ddof=1))
    ratio = spread / combine(stated) if combine(stated) else 0.0
    if spread > combine(stated):
        return [Contribution("scatter of repeats", "each pointing", spread / math.sqrt(n), STUDENT, n - 1)], ratio
    return [part.times(1 / math.sqrt(n)) for part in stated], ratio


def height_row(h: Height, book: FieldBook) -> Row:
    start, _ = _height_terms(h.start, h.visit, [h.time], book)
    end, _ = _height_terms(h.end, h.visit, [h.time], book)
    terms = {key: end.get(key, 0.0) - start.get(key, 0.0) for key in (start | end)}
    nameless = len(book.tapes) == 1 and not any(other.tape for other in book.heights)
    tape = next(iter(book.tapes)) if nameless else h.tape
    terms = {key: v for key, v in terms.items() if v} | {("tape", tape): h.height}
    own = units.parse(schema.DEFAULT_HEIGHT_U, "length").value if h.u is None else h.u
    parts = [Contribution("taped height", "each height", own, remark="default" if h.u is None else "")]
    touch = book.water.touch
    parts += [Contribution("touch of the water", "each contact", touch.value, remark=remark(touch))
              for end_ in (h.start, h.end) if end_ in book.water.surfaces]
    return Row(f"heights.csv row {h.row}: {h.start} to {h.end}", "height", terms, h.height, tuple(parts))


def _height_terms(point: str, visit: str, times: list[float | None], book: FieldBook) -> tuple[dict[Unknown, float], list[float]]:
    """A point's height as terms, and the change of the water level at each time [m]."""
    changes = [0.0] * len(times)
    if point.startswith(AXIS):
        return {("axis", point[len(AXIS):]): 1.0}, changes
    if point not in book.water.surfaces:
        return {("height", point): 1.0}, changes
    terms: dict[Unknown, float] = {("touch_common",): 1.0}
    if book.water.surfaces[point]:
        terms["shores", visit] = book.water.surfaces[point]
    if book.gauge and times[0] is not None:
        record = gauge_of(book, point)
        weights = np.array([water.level_weights(np.array([g.time for g in record]), t) for t in times])
        weights[:, 0] -= 1.0  # H = 0 is the water at the first row of its gauge
        changes = list(weights @ np.array([g.water_level for g in record]))
        terms |= {("gauge", str(g.row)): w for g, w in zip(record, weights.mean(axis=0)) if w}
    elif not book.gauge and visit != _first_water_visit(book):
        terms["water level", visit] = 1.0
    return terms, changes


def _first_water_visit(book: FieldBook) -> str:
    touched = [r.visit for r in book.readings if r.point in book.water.surfaces and not r.struck]
    touched += [h.visit for h in book.heights if {h.start, h.end} & set(book.water.surfaces)]
    return touched[0]


def _has_zero(staff: str, book: FieldBook) -> bool:
    """A staff's zero matters where it is stated, or where the book uses two staffs."""
    return bool(staff) and (staff in book.staffs or len({r.staff for r in book.readings if r.staff}) > 1)


