"""The offset read from a photograph through the eyepiece: four lines placed on it, and two scale marks a known distance apart.

Rows count downwards, columns to the right, from the middle of the first pixel. Not in the uncertainty: what the lens
distorts (keep the marks near the middle of the picture), and what the air does from one picture to the next (take several).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .fieldbook import compose, with_rows
from .numbers import checked
from .records import FieldBook, Reading
from .uncertainty import NORMAL, RECTANGULAR, Contribution, combine, two_sided

NAMES = {"crosshair": "the crosshair", "mark": "the target mark", "upper": "the upper scale mark", "lower": "the lower scale mark"}
READER = "each reader"  # shares an error with nobody else
STEEPEST, RESOLVED = math.pi / 4, 10  # rad of tilt; least distance of the scale marks, in its standard uncertainties
OWN = ("setup", "point", "scale", "photo", "observer", "remark")
SAME_SIGHT = ("instrument", "air", "visit", "distance", "u_distance")  # cells that a new reading takes over


@dataclass(frozen=True)
class Lines:
    """Four lines placed on a picture [rows in pixels, + downwards], and what is known of its scale.

    `crosshair`, target `mark` and the scale marks, `upper` and `lower` as they stand on the board, whichever way up the
    picture is; each where it crosses its column of `columns` [pixels]. `spacing` of the scale marks [m] with its relative
    `error` (+ = stated too long) ± `u_error`. `tilt` by which the marks drop to the right, and `crosshair_tilt` where that
    differs (a board out of plumb), each ± `u_tilt` [rad]. `u` of placing one line, or each of the four [pixels]: more than 1
    where marks are blurred over many; where `width` [pixels] is given, the line of sight lies anywhere within the crosshair.
    """

    crosshair: float
    mark: float
    upper: float
    lower: float
    spacing: float
    columns: Sequence[float] = (0.0, 0.0, 0.0, 0.0)
    error: float = 0.0
    u_error: float = 0.005
    tilt: float = 0.0
    crosshair_tilt: float | None = None
    u_tilt: float = 0.005
    u: float | Sequence[float] = 1.0
    width: float | None = None

    def __post_init__(self) -> None:
        """Refuse numbers that can't be."""
        checked("place of a line", [*self.rows, *self.columns], -1e6, 1e6, "where each line lies, in pixels")
        checked("spacing", self.spacing, 1e-6, 1e6, "the distance between the scale marks in metres")
        checked("relative error of the spacing", self.error, -0.5, 0.5, "a small number such as 0.002")
        checked("tilt", [self.tilt, self.crosshair_tilt or 0.0], -STEEPEST, STEEPEST, "radians, within 45°: turn the picture first")
        checked("uncertainty", [self.u_error, self.u_tilt, self.width or 0.0, *np.ravel(self.u)], 0, math.inf, "standard uncertainties, 0 or more")
        if np.shape(self.columns) != (4,) or np.shape(self.u) not in ((), (4,)):
            raise ValueError(f"columns {self.columns} or u {self.u} don't fit four lines: give four numbers, in the order {', '.join(NAMES)}")

    @property
    def rows(self) -> tuple[float, float, float, float]:
        """The rows of the four lines [pixels]."""
        return self.crosshair, self.mark, self.upper, self.lower

    @property
    def placing(self) -> tuple[float, float, float, float]:
        """Standard uncertainty of each line's row [pixels]; within a width it is rectangular, JCGM 100:2008, 4.3.7."""
        first, *rest = np.broadcast_to(self.u, 4).tolist()
        return (first if self.width is None else self.width / math.sqrt(12), *rest)


@dataclass(frozen=True)
class Offset:
    """Height of the line of sight above the target mark, its standard uncertainty, and what that is made of [m]."""

    value: float
    u: float
    contributions: tuple[Contribution, ...]


def offset(lines: Lines) -> Offset:
    """Height of the line of sight above the target mark [m], + = above.

    Heights are taken at right angles to the crosshair, the spacing at right angles to the scale marks: with tilts φ and
    θ, distances in the picture are Δrow·cos φ - Δcolumn·sin φ, and the same with θ. In a picture that is only turned,
    φ = θ, and both cosines cancel for lines read at one column. The uncertainty is linear, JCGM 100:2008, equation (10).

    >>> found = offset(Lines(crosshair=200, mark=350, upper=100, lower=400, spacing=0.6))
    >>> round(found.value, 4), round(found.u, 4)
    (0.3, 0.0035)
    """
    sight, scale, phi = _between(lines)
    metre = lines.spacing / (1 + lines.error) / scale  # of one pixel
    value, (c, m, a, b) = metre * sight, lines.columns
    placed = (metre * math.cos(phi),) * 2 + (value / scale * math.cos(lines.tilt),) * 2
    shapes = (NORMAL if lines.width is None else RECTANGULAR, *(NORMAL,) * 3)
    parts = [Contribution(f"placing {word}", READER, abs(each) * u, shape)
             for word, each, u, shape in zip(NAMES.values(), placed, lines.placing, shapes)]
    turned = -metre * ((lines.mark - lines.crosshair) * math.sin(phi) + (m - c) * math.cos(phi))
    rolled = value / scale * ((lines.lower - lines.upper) * math.sin(lines.tilt) + (b - a) * math.cos(lines.tilt))
    apart = {"tilt of the crosshair": turned, "tilt of the marks": rolled}
    tilts = {"tilt of the picture": turned + rolled} if lines.crosshair_tilt is None else apart
    parts += [Contribution(cause, READER, abs(each) * lines.u_tilt) for cause, each in tilts.items()]
    parts += [Contribution("spacing of the scale marks", "the board", abs(value) / (1 + lines.error) * lines.u_error)]
    return Offset(value, combine(parts), tuple(parts))


def agreement(first: Offset, second: Offset) -> tuple[bool, Offset]:
    """Whether two readings of one board agree (they would differ as much in 5 of 100 cases or more), and their difference [m].

    The spacing of the scale marks is left out of its uncertainty: both share that error.

    >>> agreement(*(offset(Lines(crosshair=row, mark=350, upper=100, lower=400, spacing=0.6)) for row in (200, 203)))[0]
    True
    """
    parts = tuple(part for part in (*first.contributions, *second.contributions) if part.common_to == READER)
    difference = first.value - second.value
    return two_sided(difference, parts) >= 0.05, Offset(difference, combine(parts), parts)


def as_row(lines: Lines, *, setup: str, point: str, distance: float, scale: str, photo: str, observer: str = "", remark: str = "") -> Reading:
    """The offset as a row of ``readings.csv`` that no file holds yet [m].

    It is what the `scale` shows, with the spacing as stated: the error of that stands in the book, in [scale.NAME].

    >>> as_row(Lines(200, 350, 100, 400, 0.6), setup="S1", point="mark", distance=800.0, scale="board", photo="a.png").reading
    0.3
    """
    found, stated = offset(lines), 1 + lines.error
    u = combine(part for part in found.contributions if part.common_to == READER)
    told = "; ".join(f"{name} {row:.6g} at {column:.6g}" for name, row, column in zip(NAMES, lines.rows, lines.columns))
    told = f"row at column [px]: {told}; tilt {math.degrees(lines.tilt):z.2f}°; scale marks {lines.spacing:g} m apart"
    return Reading(0, setup, point, distance, found.value * stated, scale=scale, u=u * stated, photo=photo, observer=observer, remark=remark or told)


def with_photograph(book: FieldBook, readers: Mapping[str, Lines], *, photo: str, setup: str, point: str, scale: str, remark: str = "") -> FieldBook:
    """The same campaign with one photograph, a row for each observer who read it.

    All its rows get the largest u, so that they count as repeats. Level, air, visit and distance are those of a row from
    `setup` to `point`, which must be there, planned or read. The error of the scale is written down where the book doesn't
    know it; ValueError where it is stated otherwise, or the photograph is in the book.
    """
    like = next((r for r in book.readings if (r.setup, r.point) == (setup, point) and not r.struck), None)
    if like is None:
        known = ", ".join(dict.fromkeys(f"{r.setup} to {r.point}" for r in book.readings if not r.struck))
        raise ValueError(f"no row of readings.csv is a sight from {setup!r} to {point!r}: give one of {known}, or add it with a blank reading")
    if not readers or any(r.photo == photo for r in book.readings):
        why = "is in the book already" if readers else "has no reader"
        raise ValueError(f"photograph {photo!r} {why}: give all who read it at once, as {{'name': lines}}")
    sight = {"setup": setup, "point": point, "distance": like.distance, "scale": scale, "photo": photo, "remark": remark}
    rows = [as_row(lines, observer=name, **sight) for name, lines in readers.items()]
    table, widest = book.tables["readings.csv"], max(row.u for row in rows)
    same = dict(zip(table.columns, table.rows[table.lines.index(like.row)]))
    told = {column: same[column] for column in SAME_SIGHT if column in same} | {"u": float(f"{widest:.3g}")}
    table = with_rows("readings.csv", table, [told | {name: getattr(row, name) for name in OWN} | {"reading": round(row.reading, 5)} for row in rows])
    return compose(_with_scale(book, scale, readers), book.tables | {"readings.csv": table}, book.sealed_plan)


def _between(lines: Lines) -> tuple[float, float, float]:
    """From crosshair down to target mark, from upper to lower scale mark [pixels], and the tilt of the crosshair [rad]."""
    (c, m, a, b), phi = lines.columns, lines.tilt if lines.crosshair_tilt is None else lines.crosshair_tilt
    sight = (lines.mark - lines.crosshair) * math.cos(phi) - (m - c) * math.sin(phi)
    scale = (lines.lower - lines.upper) * math.cos(lines.tilt) - (b - a) * math.sin(lines.tilt)
    least = max(RESOLVED * math.hypot(*lines.placing[2:]), 1e-9)
    if abs(scale) < least:
        raise ValueError(f"the two scale marks lie {abs(scale):.3g} pixels apart, too near one another for a scale: place each line on its mark, "
                         f"or take marks {least:.3g} pixels apart or more")
    return sight, scale, phi


def _with_scale(book: FieldBook, scale: str, readers: Mapping[str, Lines]) -> dict[str, object]:
    """The book's ``site.toml`` with the error of the scale, which must be one."""
    told = {f"{lines.error * 1e3:z.9g} ± {lines.u_error * 1e3:.9g} mm/m" for lines in readers.values()}
    known = book.scales.get(scale)
    told |= {f"{known.value * 1e3:z.9g} ± {known.u * 1e3:.9g} mm/m"} if known else set()
    if len(told) > 1 or not scale:
        why = f"has several errors, {' and '.join(sorted(told))}" if scale else "needs a name"
        raise ValueError(f"scale {scale!r} {why}: give one relative error of its spacing, error and u_error, that of [scale.NAME] in site.toml")
    return book.site if known else book.site | {"scale": book.site.get("scale", {}) | {scale: {"error": told.pop()}}}
