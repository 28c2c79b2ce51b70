"""What helps most: single actions on a plan, ranked by what they do to its separation, and the shortest way to a go."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from . import units
from .adjustment import longest
from .air import by_profile
from .designs import with_another_day, with_peg_test, with_pointings, with_thermometers
from .fieldbook import compose, with_changes
from .planning import Plan, plan
from .records import FieldBook, FieldBookError, Table
from .resolve import AXIS, LONG

HELPS = 1.02  # a separation that grows by less than this factor is no help
THERMOMETERS, MATCHED = (0.5, 1.5, 4.0), "0 ± 0.1 K"
BREEZE = "5 ± 1 m/s"
ANOTHER = "another day"


@dataclass(frozen=True)
class Action:
    """One thing that may be done: its name, its cost in words, and the plan with it (None where it is nothing new)."""

    name: str
    cost: str
    apply: Callable[[FieldBook], FieldBook | None] = field(repr=False)


@dataclass(frozen=True)
class Help:
    """What one action does: the plan with it, and the factor by which the separation grows."""

    action: Action
    plan: Plan = field(repr=False)
    gain: float

    @property
    def useful(self) -> bool:
        """Whether it helps at all."""
        return self.gain > HELPS


def helps(planned: Plan) -> list[Help]:
    """Every affordable single action, the one that helps most first; what does not help at all stands last.

    Parameters
    ----------
    planned : Plan

    Notes
    -----
    An action that the plan can't take (a second target where there is one) is left out.
    """
    found = []
    for action in ACTIONS:
        try:
            book = action.apply(planned.book)
        except FieldBookError:
            continue
        if book is not None:
            with_it = plan(book)
            found.append(Help(action, with_it, with_it.separation / planned.separation))
    return sorted(found, key=lambda helped: -helped.gain)


def route(planned: Plan, steps: int = 5) -> list[Help]:
    """The best action, then the best after it, until the plan can decide; empty if it can already.

    It ends without a go where nothing helps any more, or after so many steps.
    """
    taken: list[Help] = []
    while not planned.go and len(taken) < steps:
        best = next((h for h in helps(planned) if h.useful and h.action not in [t.action for t in taken]), None)
        if best is None:
            break
        taken.append(best)
        planned = best.plan
    return taken


def shopping_list(planned: Plan) -> str:
    """The route to a go, the rest by what it brings, and what does not help, in plain English."""
    told = [f"The plan as it is: separation {planned.separation:.2f} of {planned.gate:.2f}."]
    way = route(planned)
    for i, step in enumerate(way, 1):
        told.append(f"{i}. {step.action.name}: separation {step.plan.separation:.2f}. Cost: {step.action.cost}.")
    end = way[-1].plan if way else planned
    told.append("That is a go." if end.go else "Nothing on this list makes it a go: another lake, or another season.")
    ranked = helps(planned)
    told.append("Each alone: " + "; ".join(f"{h.action.name} ×{h.gain:.2f}" for h in ranked if h.useful) + ".")
    idle = [h.action.name for h in ranked if not h.useful]
    return "\n".join(told + ([f"No smaller uncertainty by: {'; '.join(idle)}."] if idle else []))


def with_half_way_target(book: FieldBook) -> FieldBook | None:
    """A second target half-way, measured from the water beneath it, read from the set-up of the longest sight."""
    far = book.longest_sight
    there = [r for r in book.readings if r.setup == far.setup and 0.3 * far.distance < r.distance < 0.7 * far.distance]
    if there or "water half-way" in book.water.surfaces:
        return None
    half = {"point": "half-way target", "distance": far.distance / 2}
    rows = [row for r, row in zip(book.readings, book.tables["readings.csv"].rows) if (r.setup, r.point) == (far.setup, far.point)]
    readings = _extended(book.tables["readings.csv"], [_changed(book.tables["readings.csv"], row, half) for row in rows])
    target = next((h.height for h in book.heights if h.end == far.point), 1.5)
    heights = book.tables.get("heights.csv", Table(("from", "to", "height [m]"), (), ()))
    heights = _extended(heights, [_changed(heights, ("",) * len(heights.headers), {"from": "water half-way", "to": "half-way target", "height": target, "visit": far.visit})])
    points = book.tables.get("points.csv", Table(("point", "kind", "position [m]"), (), ()))
    points = _extended(points, [_changed(points, ("",) * len(points.headers), {"point": "water half-way", "kind": "water", "position": far.distance / 2})])
    return compose(book.site, book.tables | {"readings.csv": readings, "heights.csv": heights, "points.csv": points})


def raised(book: FieldBook, height: float) -> FieldBook | None:
    """Instrument and target so high above the water [m]; None where the air is stated as one k or gradient for any height."""
    far = book.longest_sight
    if not by_profile(book.airs[far.air]):
        return None
    near = next((r.point for r in book.readings if r.setup == far.setup and r.point in book.water.surfaces), None)
    table = book.tables.get("heights.csv", Table(("from", "to", "height [m]"), (), ()))
    axis = AXIS + far.setup
    if near is None or all(h.height >= height for h in book.heights if h.end in (axis, far.point)) and axis in {h.end for h in book.heights}:
        return None
    rows = [_changed(table, row, {"height": height}) if h.end in (axis, far.point) and h.start in book.water.surfaces else row for h, row in zip(book.heights, table.rows)]
    if axis not in {h.end for h in book.heights}:
        rows.append(_changed(table, ("",) * len(table.headers), {"from": near, "to": axis, "height": height, "visit": far.visit}))
    return compose(book.site, book.tables | {"heights.csv": Table.numbered(table.headers, rows)})


def longer(book: FieldBook, factor: float = 1.5) -> FieldBook:
    """The same design over a line so many times as long, short sights as they are."""
    table, at = book.tables["readings.csv"], book.line.distance
    rows = [_changed(table, row, {"distance": r.distance * factor}) if r.distance > LONG else row for r, row in zip(book.readings, table.rows)]
    line = {key: value for key, value in book.site["line"].items() if key not in ("from", "to")}
    line |= {"latitude": book.line.latitude, "azimuth": book.line.azimuth, "distance": f"{at.value * factor!r} m ± {at.u * factor!r} m"}
    tables = dict(book.tables) | {"readings.csv": Table(table.headers, tuple(rows), table.lines)}
    if points := book.tables.get("points.csv"):
        moved = [_changed(points, row, {"position": p.position * factor}) if p.position is not None else row for p, row in zip(book.points, points.rows)]
        tables["points.csv"] = Table(points.headers, tuple(moved), points.lines)
    return compose(book.site | {"line": line}, tables)


def _better_level(book: FieldBook) -> FieldBook | None:
    """A level of half the tolerance, or of half the uncertainty of its collimation."""
    name = book.longest_sight.instrument
    level = book.instruments[name]
    if level.tolerance:
        return with_changes(book, {f"instrument.{name}.tolerance": f"{level.tolerance.value * 5e5!r} µrad"})
    return with_changes(book, {f"instrument.{name}.collimation": f"{level.collimation.value * 1e6!r} ± {level.collimation.u * 5e5!r} µrad"})


def _in_a_breeze(book: FieldBook) -> FieldBook | None:
    """The wind of a known breeze."""
    air = book.airs[book.longest_sight.air]
    return with_changes(book, {f"air.{air.name}.wind": BREEZE}) if by_profile(air) and not air.wind else None


def _better_air(book: FieldBook) -> FieldBook | None:
    """The stated gradient or k of the longest sight known twice as well."""
    air = book.airs[book.longest_sight.air]
    if air.gradient:
        return with_changes(book, {f"air.{air.name}.gradient": f"{air.gradient.value!r} ± {air.gradient.u / 2!r} K/m"})
    return with_changes(book, {f"air.{air.name}.k": f"{air.k.value!r} ± {air.k.u / 2!r}"}) if air.k else None


def _another_day(book: FieldBook) -> FieldBook | None:
    """One more day, where the plan doesn't have it yet."""
    return with_another_day(book, ANOTHER) if ANOTHER not in {r.visit for r in book.readings} else None


def _more_pointings(book: FieldBook) -> FieldBook:
    own = longest(plan(book).result).reading
    return with_pointings(book, 4 * sum((r.setup, r.point) == (own.setup, own.point) for r in book.readings))


def _changed(table: Table, row: tuple[str, ...], values: dict[str, object]) -> tuple[str, ...]:
    """A row with some columns set [SI]; columns that the table doesn't have are left."""
    cells = list(row)
    for i, header in enumerate(table.headers):
        column, unit = units.split_header(header)
        if column in values:
            value = values[column]
            cells[i] = value if isinstance(value, str) else repr(float(units.convert(value, unit))) if unit else f"{float(value)!r} m"
    return tuple(cells)


def _extended(table: Table, rows: list[tuple[str, ...]]) -> Table:
    """A table with rows put last."""
    return Table.numbered(table.headers, (*table.rows, *rows))


ACTIONS = (
    Action("eight sets of a two-peg test", "two hours on a meadow", lambda book: with_peg_test(book, 8)),
    Action("a level of half the tolerance", "another level, borrowed or hired", _better_level),
    Action("a second target half-way", "a pier or a stake in shallow water, and a boat", with_half_way_target),
    Action("a line half as long again", "another pair of shores", longer),
    Action("the gradient along the line known twice as well", "thermometers at several heights, read by the hour, and a breeze", _better_air),
    Action("three matched thermometers up to 4 m", "three thermometers, one bucket to match them, a pole", lambda book: with_thermometers(book, THERMOMETERS, MATCHED)),
    Action("a day with a breeze, its wind measured", "waiting for it, and a hand anemometer", _in_a_breeze),
    Action("the same again on another day", "another day, with its own air", _another_day),
    Action("the line raised to 3 m", "higher ground or platforms on both shores", lambda book: raised(book, 3.0)),
    Action("the line raised to 6 m", "roofs or towers on both shores", lambda book: raised(book, 6.0)),
    Action("four times as many pointings", "twenty minutes", _more_pointings),
)
