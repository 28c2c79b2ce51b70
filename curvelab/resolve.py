"""What follows from a field book without computing: which rows hang together, and what a blank cell means."""

from __future__ import annotations

import dataclasses

from . import schema, units
from .records import Air, Fault, FieldBook, Gauge, Stated

LONG = 100.0  # m; a sight beyond a peg test's reach
AXIS = "axis:"


def filled(book: FieldBook) -> FieldBook:
    """The same book with the instruments and visits that blank cells mean."""
    only = next(iter(book.instruments)) if len(book.instruments) == 1 else ""
    visits = {r.visit for r in book.readings}
    named = {h.visit for h in book.heights if h.visit}
    visit = next(iter(visits)) if len(visits) == 1 else ""
    if visits == {""} and len(named) == 1:
        visit = named.pop()
    readings = [dataclasses.replace(r, instrument=r.instrument or only, visit=visit if len(visits) == 1 else r.visit) for r in book.readings]
    heights = [dataclasses.replace(h, visit=h.visit or visit) for h in book.heights]
    air = next(iter(book.airs)) if len(book.airs) == 1 else ""
    temperatures = [dataclasses.replace(t, air=t.air or air) for t in book.air_readings]
    return dataclasses.replace(book, readings=tuple(readings), heights=tuple(heights), air_readings=tuple(temperatures))


def gauge_of(book: FieldBook, surface: str) -> list[Gauge]:
    """The gauge that tells the level of a water surface: the one named after it, or the only one."""
    return [g for g in book.gauge if g.gauge == surface] or list(book.gauge)


def unblinded(book: FieldBook) -> FieldBook:
    """Readings of a blind target above the height that is written down, once its offset is revealed."""
    if book.blind.offset is None:
        return book
    readings = [dataclasses.replace(r, reading=r.reading + book.blind.offset) if r.point == book.blind.point else r for r in book.readings]
    return dataclasses.replace(book, readings=tuple(readings))


def components(book: FieldBook) -> dict[str, str]:
    """Which set-ups and points hang together: node -> a representative.

    Nodes are ``axis:NAME`` for set-ups and the names of points; all water is
    one node, ``""``.
    """
    parent: dict[str, str] = {}

    def root(node: str) -> str:
        parent.setdefault(node, node)
        while parent[node] != node:
            node = parent[node]
        return node

    def name(point: str) -> str:
        return "" if point in book.water.surfaces else point

    for r in book.readings:
        if not r.struck:
            parent[root(AXIS + r.setup)] = root(name(r.point))
    for h in book.heights:
        parent[root(name(h.start))] = root(name(h.end))
    return {node: root(node) for node in list(parent)}


def with_airs(book: FieldBook, faults: list[Fault]) -> FieldBook:
    """Blank airs filled in: pegs away from the water have an air of their own."""
    part = components(book)
    airs, readings = dict(book.airs), []
    for r in book.readings:
        here = part.get(AXIS + r.setup)
        if not r.air and not r.struck and r.instrument:
            at_lake = here == part.get("", object())
            named = sorted({o.air for o in book.readings if o.air and not o.struck and part.get(AXIS + o.setup) == here})
            if at_lake or len(named) > 1:
                named = list(book.airs)
            if not named and not at_lake:
                first = next(o.setup for o in book.readings if part.get(AXIS + o.setup) == here)
                named = [f"over land at {first}"]
                airs[named[0]] = Air(named[0], k=_default(units.parse(schema.DEFAULT_PEG_AIR, "number")))
            if len(named) != 1:
                remedy = ("say which air this sight passes through: " + ", ".join(named)) if named else (
                    "nothing is said of the air, so the curvature is undetermined: give [air.NAME] with k, or with temperature, "
                    "pressure and gradient, in site.toml")
                faults.append(Fault("readings.csv", r.row, "air", "", remedy))
            else:
                r = dataclasses.replace(r, air=named[0])
        readings.append(r)
    by_water = {r.air for r in readings if not r.struck and part.get(AXIS + r.setup) == part.get("", object())}
    for name in sorted({r.air for r in readings if r.air in airs}):
        air = airs[name]
        if air == Air(name) and name not in by_water:
            air = airs[name] = Air(name, k=_default(units.parse(schema.DEFAULT_PEG_AIR, "number")))
        measured = air.air_minus_water or name in {t.air for t in book.air_readings}
        if not (air.k or air.gradient) and not (air.temperature and air.pressure and measured):
            faults.append(Fault("site.toml", None, f"air.{name}", "", 'nothing is said of its refraction, so the curvature is undetermined: '
                                'give k = "0.13 ± 0.5"; or temperature and pressure, with gradient = "-0.02 ± 0.05 K/m", rows of air.csv, or '
                                'air_minus_water = "0 ± 3 K"'))
    return dataclasses.replace(book, readings=tuple(readings), airs=airs)


def _default(quantity: units.Quantity) -> Stated:
    return Stated(quantity.value, quantity.u, True)
