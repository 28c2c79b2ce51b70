"""What the rows of a field book leave undetermined, said where it can be mended."""

from __future__ import annotations

from dataclasses import replace

from .leastsquares import Solution, solve
from .records import Fault, FieldBook, FieldBookError, nearest
from .resolve import LONG, components
from .rows import CURVATURE, Row


def check_determined(book: FieldBook, plan: Solution, planned: list[Row]) -> None:
    """The curvature, and the heights of the points by the water, must follow from the rows."""
    part = components(book)
    loose = [key[1] for key in plan.unknowns if key[0] == "height" and not plan.determined(key)]
    days = [key[1] for key in plan.unknowns if key[0] == "water level" and not plan.determined(key)]
    first = {r.point: r.row for r in reversed(book.readings)}
    faults = []
    if not plan.determined(CURVATURE):
        what = f"the height of {', '.join(loose)} above the water" if loose else "a sight over a longer distance, with both heights tied to the water"
        remedy = f"the curvature is undetermined: {what} would determine it (a row in heights.csv, or readings from another set-up)"
        if days:
            remedy = (f"the curvature is undetermined: nothing ties the water level of visit {', '.join(map(repr, days))} to that of the other "
                      "visits; give a gauge, touch the water on both at one mark, or correct the name of the visit")
        elif not book.water.surfaces:
            remedy += "; name the points that are the water itself in site.toml, [water] surfaces"
        faults.append(Fault("readings.csv", first.get(loose[0]) if loose and not days else None, "", "", remedy))
    else:
        taped = {end for h in book.heights for end in (h.start, h.end)}
        at_water = [key[1] for key in plan.unknowns if key[0] == "height" and key[1] not in taped and part[key[1]] == part.get("")]
        loose = sorted({*loose, *(p for p in at_water if _only_by_curvature(p, planned))})
        names = {*taped, *book.water.surfaces}
        faults += [Fault("readings.csv", first.get(point), "point", point, f"no height names this point{nearest(point, names)}: its height would follow only from the curvature that it is to show: "
                         "measure it from the water (a row in heights.csv), or read it from another set-up") for point in loose]
    if faults:
        raise FieldBookError(faults)


def _only_by_curvature(point: str, planned: list[Row]) -> bool:
    """Whether a point's height follows from the curvature found elsewhere, and from nothing else."""
    key = ("height", point)
    others = [row for row in planned if key not in row.terms]
    if not solve(others).determined(CURVATURE):
        return False
    own = [replace(row, terms={("own curvature",) if k == CURVATURE else k: v for k, v in row.terms.items()})
           if key in row.terms and row.reading and row.reading.distance > LONG else row for row in planned]
    return not solve(own).determined(key)
