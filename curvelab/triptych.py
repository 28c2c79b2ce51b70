"""The three pictures of the live page in one figure: curvature axis, sight chart, target board. Results in, marks moved; and what they show, read back."""

from __future__ import annotations

import math
from dataclasses import replace

from matplotlib.figure import Figure

from . import figures
from .adjustment import Result
from .decision import UNDECIDED
from .drawing import Units, words
from .page import parts
from .prediction import measured_offset, predicted_lines

SIZE, LARGE = (11.6, 3.85), (17.0, 6.0)  # inches at 100 dpi
HEIGHTS, WIDTHS = (134, 276), (782, 378)  # of the parts of the figure, the axis above both
MARGINS = (116, 49, 17, 6), (116, 46, 20, 25), (99, 46, 17, 25)  # pixels left, below, right and above of the axes in their parts, in small type
LABELS, LARGE_LABELS, LARGER = (30.5, (0, 78, 68)), (40.3, (0, 117, 100)), 18 / 11  # pixels below the axes, and left of each, beyond -10000; times the small type


def draw(figure: Figure, result: Result, outcome: str, tilt: float, axis_height: float, units: Units, invented: bool) -> None:
    """Show a result; an outcome that decides nothing is marked, lines are drawn with their `tilt` [rad], and a reading stays about where it was."""
    along, *lines = predicted_lines(result)
    flat, ellipsoid = ((by + tilt * along, u) for by, u in lines)
    found, distance = measured_offset(result), along[-1]
    found = replace(found, value=found.value + tilt * distance)
    read = not math.isnan(found.value)
    axes = figure.axes or _three(figure)
    words(axes[1], "cover", "", (0.5, 0.5), xycoords="axes fraction")
    figures.curvature_axis(result.ellipsoid_curvature, max(result.curvature.u, result.planned_u), found=result.curvature.value,
                           note=outcome if outcome in UNDECIDED else "", units=units, ax=axes[0])
    figures.sight_chart(along, flat, ellipsoid, axis_height=axis_height, units=units, points=[(distance, found.value, found.u)] if read else [], ax=axes[1])
    figures.target_board(*((line[0][-1], line[1][-1]) for line in (flat, ellipsoid)), units=units, found=(found.value, found.u) if read else None, ax=axes[2])
    words(axes[2], "invented", "invented data" if invented else "", (1, 0), xycoords="axes fraction", ha="right", va="top", xytext=(0, -8), textcoords="offset points")


def _three(figure: Figure) -> list[figures.Axes]:
    """The places of the three pictures, each in a part of the figure that can be drawn alone."""
    large = figure.get_figwidth() > SIZE[0]
    grid, times = figure.add_gridspec(2, 2, height_ratios=HEIGHTS, width_ratios=WIDTHS), LARGER if large else 1.0
    width, height = figure.bbox.width / sum(WIDTHS) / times, figure.bbox.height / sum(HEIGHTS) / times
    sizes = [(across * width, up * height) for across, up in ((sum(WIDTHS), HEIGHTS[0]), (WIDTHS[0], HEIGHTS[1]), (WIDTHS[1], HEIGHTS[1]))]
    boxes = [(left / x, low / y, 1 - (left + right) / x, 1 - (low + top) / y) for (left, low, right, top), (x, y) in zip(MARGINS, sizes)]
    return parts(figure, (grid[0, :], grid[1, 0], grid[1, 1]), boxes, *(LARGE_LABELS if large else LABELS))


def cover(figure: Figure, units: Units) -> None:
    """Hide all that would give the answer away; the level of the instrument and the water stay."""
    for ax in figure.axes:
        for artist in (*ax.lines, *ax.texts, *ax.collections):
            if artist.get_gid() not in ("axis", "level", "water", "still", "gap"):
                artist.set_visible(False)
    figure.axes[0].set_xlabel(figures.of_water(units))
    for ax, gid in ((figure.axes[1], "axis"), (figure.axes[2], "level")):  # neither way is more likely
        level = figures.named(ax)[gid].get_ydata()[0]
        reach = max(abs(end - level) for end in ax.get_ylim())
        ax.set_ylim(level - reach, level + reach)
    figures.scale_told(figure.axes[1], units)
    words(figure.axes[1], "cover", "where will the line of sight go?", (0.5, 0.6), xycoords="axes fraction", ha="center", va="center")


def describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    axis, chart, at = (figures.named(axes) for axes in figure.axes)
    if "flat" not in chart:
        return "the question alone: nothing is shown before an answer"
    units = figures.labelled(figure.axes[0])
    unit, long = units.short, units.long
    text = (f"flat {at['flat'].get_ydata()[0]:z.1f} {unit} and ellipsoid {at['ellipsoid'].get_ydata()[0]:z.1f} {unit} above the level mark; ")
    text += f"1/R = {axis['ellipsoid'].get_xdata()[0]:.4f} per 1000 {units.far}"
    if "found" in axis:
        text += f"; found {axis['found'].get_xdata()[0]:.4f} per 1000 {units.far}, {at['found'].get_ydata()[0]:z.1f} {unit}"
    elif "flat interval" in axis:
        low, high = axis["flat interval"].get_xdata()
        text += f"; 95 of 100 within ± {(high - low) / 2:.4f}"
    return f"{text}; axis {chart['axis'].get_ydata()[0] / (1000 if long == 'm' else 12):.2f} {long} above the water"
