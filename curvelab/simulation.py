"""A lake whose true curvature is known: the readings that a plan would bring home."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from . import refraction, units
from .adjustment import start
from .air import State, difference
from .fieldbook import compose
from .observation import EYE, height_row, humidity_row, nominal_heights, reading_row, rows, thermometer_row
from .planning import Plan, blank
from .priors import prior
from .records import AirReading, FieldBook, Table
from .rows import CURVATURE, PROFILED, Expansion, Row, Unknown
from .uncertainty import RECTANGULAR, Contribution, combine

CHUNK = 4096  # campaigns drawn at a time


def simulate(plan: Plan | FieldBook, *, curvature: float, seed: int, truth: Mapping[str, float] | None = None,
             cell_unit: str = "m") -> FieldBook:
    """Fill a plan with the readings of one imagined campaign.

    Parameters
    ----------
    plan : Plan or FieldBook
        Readings in it are replaced; its heights, its gauge and the weather of its ``air.csv`` are taken as true.
    curvature : float
        True curvature of the water [1/m].
    seed : int
        Of numpy's default generator; the same seed gives the same book.
    truth : mapping, optional
        True values that are not to be drawn, by dotted name: ``"collimation.A"``
        [rad], ``"refraction.lake"`` [1/m], ``"axis.S1"``, ``"height.peg B"`` [m].
    cell_unit : str
        Unit written into the cells of a column whose header has none.

    Returns
    -------
    FieldBook
        Every error drawn from its own distribution, what is shared drawn once.
    """
    book = blank(plan.book if isinstance(plan, Plan) else plan)
    rng = np.random.default_rng(seed)
    true = _truth(book, curvature, {tuple(name.split(".", 1)): value for name, value in (truth or {}).items()}, rng)
    named = {kind: {key[1]: v for key, v in true.items() if key[0] == kind} for kind in ("collimation", "refraction", "axis")}
    at = Expansion(curvature, **named, air=_states(true))
    away: dict[tuple[str, str], float] = {}  # the error of a distance is one for all pointings
    read = [_observed(reading_row([r], book, at, True), true, rng, away) for r in book.readings]
    taped = [_observed(height_row(h, book), true, rng) for h in book.heights]
    warm = [_observed(thermometer_row(t, book), true, rng) - refraction.DRY_ADIABATIC * t.height
            if ("thermometer", t.thermometer) in true else t.temperature for t in book.air_readings]
    moist = [_humidity(replace(t, temperature=degrees), book, true, rng) for t, degrees in zip(book.air_readings, warm)]
    level = [true["gauge", str(g.row)] + prior(book, ("gauge", str(g.row))).u * rng.standard_normal() for g in book.gauge]
    tables = dict(book.tables)
    for name, column, values in (("readings.csv", "reading", read), ("heights.csv", "height", taped), ("gauge.csv", "water_level", level),
                                 ("air.csv", "temperature", warm), ("air.csv", "humidity", moist)):
        if name in tables and column in tables[name].columns:
            tables[name] = _filled(tables[name], column, values, cell_unit)
    return compose(book.site, tables)


def campaigns(plan: Plan, curvature: float, count: int, seed: int, *, tails: float = math.inf, blunders: float = 0.0) -> np.ndarray:
    """Curvatures that many campaigns of one design would find [1/m], by the sensitivities of its plan.

    Parameters
    ----------
    plan : Plan
    curvature : float
        True curvature of the water [1/m].
    count, seed : int
        How many; of numpy's SFC64 generator.
    tails : float
        Degrees of freedom of the errors (3: heavy tails, of the same standard deviation); infinite for those that the plan states.
    blunders : float
        Probability that a reading (or a mean of repeats) carries a blunder of ten times its own standard uncertainty.

    Returns
    -------
    array (count,)
    """
    if not tails > 2:
        raise ValueError(f"tails {tails!r} have no standard deviation: give more than 2 degrees of freedom, or leave it out")
    parts = plan.result.contributions()
    flat = np.array([math.sqrt(3) * part.u for part in parts if part.distribution == RECTANGULAR])
    rest = np.array([part.u for part in parts if part.distribution != RECTANGULAR])
    read = np.array([abs(s) * combine(part for part in row.parts if part.common_to == "each pointing")
                     for row, s in zip(plan.result.rows, plan.result.sensitivity) if row.kind == "reading"])
    rng, found = np.random.Generator(np.random.SFC64(seed)), np.empty(count)
    for at in range(0, count, CHUNK):
        n = min(CHUNK, count - at)
        errors = rng.standard_normal((rest.size, n)) if math.isinf(tails) else rng.standard_t(tails, (rest.size, n)) * math.sqrt(1 - 2 / tails)
        found[at:at + n] = curvature + rest @ errors + flat @ (2 * rng.random((flat.size, n)) - 1)
        if blunders:
            found[at:at + n] += 10 * read @ ((rng.random((read.size, n)) < blunders) * rng.choice((-1.0, 1.0), (read.size, n)))
    return found


def _truth(book: FieldBook, curvature: float, given: dict[Unknown, float], rng: np.random.Generator) -> dict[Unknown, float]:
    """A true value for every unknown of the book."""
    at = Expansion(curvature)
    unknowns = sorted(dict.fromkeys(key for row in rows(book, at) for key in row.terms), key=lambda key: key[0] == "stability")
    true = {CURVATURE: curvature} | _weather(book, curvature) | nominal_heights(book) | {("gauge", str(g.row)): g.water_level for g in book.gauge}
    for key in unknowns:
        row = prior(book, key, replace(at, air=_states(true)))
        if row and key not in true:
            known = sum(c * true[other] for other, c in row.terms.items() if other != key)
            true[key] = row.value - known + sum(_draw(part, rng) for part in row.parts)
        elif key[0] == "height":
            true.setdefault(key, float(rng.uniform(-0.3, 0.3)))
    unknown = sorted(".".join(key) for key in given if key not in true and key[0] != "axis")
    if unknown:
        raise ValueError(f"truth names {', '.join(unknown)}, which this book does not have: it has {', '.join('.'.join(k) for k in true)}")
    true |= given
    for r in sorted((r for r in book.readings if not r.struck), key=lambda r: r.distance):
        true.setdefault(("axis", r.setup), true.get(("height", r.point), 0.0) + EYE + float(rng.uniform(-0.1, 0.1)))
    return true


def _weather(book: FieldBook, curvature: float) -> dict[Unknown, float]:
    """Strength and water of each air whose temperatures the plan gives: that is the weather it is made for."""
    measured = {t.air for t in book.air_readings}
    true = {}
    for name, state in start(book, curvature).air.items():
        if name in measured:
            true["strength", name] = state.strength
            if not book.airs[name].water_temperature:
                true["water temperature", name] = book.airs[name].temperature.value - difference(state.strength)
    return true


def _states(true: Mapping[Unknown, float]) -> dict[str, State]:
    """The true state of each air with a profile, as far as it is drawn."""
    return {key[1]: State(*(true.get((kind, key[1]), 0.0) for kind in PROFILED), expected=true[key]) for key in true if key[0] == "strength"}


def _humidity(t: AirReading, book: FieldBook, true: Mapping[Unknown, float], rng: np.random.Generator) -> float:
    """The humidity that a hygrometer would show [1]; NaN where none was read."""
    if t.humidity is None or ("hygrometer", t.thermometer) not in true:
        return math.nan if t.humidity is None else t.humidity
    row = humidity_row(t, book)
    shown = t.humidity + (_observed(row, true, rng) - row.value) / float(refraction.saturation(t.temperature))
    return min(max(shown, 0.0), 1.0)


def _draw(part: Contribution, rng: np.random.Generator) -> float:
    if part.distribution == RECTANGULAR:
        return math.sqrt(3) * part.u * float(rng.uniform(-1, 1))
    return part.u * float(rng.standard_normal())


def _observed(row: Row, true: Mapping[Unknown, float], rng: np.random.Generator, away: dict[tuple[str, str], float] | None = None) -> float:
    """The row's true value with its own errors; a scale stretches what is read on it."""
    exact = sum(coefficient * true.get(key, 0.0) for key, coefficient in row.terms.items() if key[0] not in ("scale", "tape"))
    stretch = sum(true[key] for key in row.terms if key[0] in ("scale", "tape"))
    errors = 0.0
    for part in row.parts:
        error = _draw(part, rng)
        shared = row.reading and part.cause == "length of sight"
        errors += away.setdefault((row.reading.setup, row.reading.point), error) if shared else error
    return exact * (1 + stretch) + errors


def _filled(table: Table, column: str, values: list[float], cell_unit: str) -> Table:
    """The table with one column written anew, to 0.1 mm (or 1/16 in)."""
    unit = units.split_header(table.headers[table.columns.index(column)])[1]
    written = {"temperature": "°C", "humidity": "%"}.get(column, cell_unit) if unit is None else unit
    decimals = None if written == "ft in" else max(0, round(4 + math.log10(1 / units.convert(1.0, written))))
    cells = [units.write(v, written, decimals) if unit is None else f"{units.convert(v, unit):.{decimals}f}" for v in values if not math.isnan(v)]
    left = iter(cells)
    return table.filled(column, ["" if math.isnan(v) else next(left) for v in values])
