"""Pictures in the coordinates of the observation equation, drawn on Axes.

Each function takes numbers in SI and returns the Axes it drew on; on Axes that hold its picture already it moves what
is there. Flat water is dashed, water on the ellipsoid is solid, what was measured is black; each is labelled where it
stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgba

from .drawing import FLAT, FOUND, HYPOTHESES, METRIC, PAPER, ROUND, US, WATER, Units, band, blocks, dot, hide, line, named, outward, put, rounded, style, titled, words
from .uncertainty import COVERAGE

STRIPE = 0.25  # m, of a board
BETWEEN = 0.26  # of the curvature axis, as much as a note in large type takes
__all__ = ["FLAT", "FOUND", "METRIC", "PAPER", "ROUND", "US", "WATER", "board_as_seen", "budget_bars", "curvature_axis", "named", "ray_fan", "separation_map",
           "sight_chart", "style", "target_board"]


def curvature_axis(expected: float, u: float, *, found: float = math.nan, note: str = "", units: Units = METRIC, ax: Axes | None = None) -> Axes:
    """The curvature axis: flat water at 0, the ellipsoid at 1/R, and what was found.

    Parameters
    ----------
    expected : float
        1/R of the ellipsoid [1/m].
    u : float
        Standard uncertainty of the curvature [1/m].
    found : float
        Estimate [1/m]; while it is NaN, the picture shows where 95 of 100
        measurements would fall under either hypothesis.
    note : str
        Why the estimate decides nothing, if so; it is then drawn in grey.
    units : Units
        In whose kilometres or miles curvature and radius are told.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    unit = 1e3 / units.far_per_metre
    half = COVERAGE * u * unit
    centre = expected * unit
    for value, (name, colour, dash, _, text) in zip((0.0, centre), HYPOTHESES):
        line(ax, name, [value, value], [0, 1], color=colour, linestyle=dash, linewidth=2.2)
        words(ax, f"{name} words", text, (value, 0.97), xytext=(-5 if name == "flat" else 5, 0), textcoords="offset points", color=colour,
              ha="right" if name == "flat" else "left", va="top", fontweight="bold")
    if math.isnan(found):
        hide(ax, "found", "found bar", "found words")
        for value, y, (name, colour, dash, _, _) in zip((0.0, centre), (0.42, 0.18), HYPOTHESES):
            line(ax, f"{name} interval", [value - half, value + half], [y, y], color=colour, linestyle=dash, linewidth=5, alpha=0.75, solid_capstyle="butt")
    else:
        hide(ax, "flat interval", "ellipsoid interval", "bars")
        dot(ax, "found", found * unit, 0.5, across=half, color="0.45" if note else FOUND, linestyle=":" if note else "-")
    reach = max(half, 0.6 * centre)
    ends = [-reach, centre + reach] + ([] if math.isnan(found) else [found * unit - 1.1 * half, found * unit + 1.1 * half])
    room = 0.02 * (max(ends) - min(ends))
    left, right = outward(min(ends) - room, max(ends) + room)
    if not math.isnan(found):
        place = (found * unit - left) / (right - left)
        words(ax, "found words", f"measured, 95 %{note and f': {note}'}", (found * unit, 0.5), xytext=(0, -9), textcoords="offset points",
              ha="left" if place < 0.25 else "right" if place > 0.75 else "center", va="top", color=FOUND, bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1})
    else:  # between the two lines where there is room, else beside them
        between = centre / (right - left) > BETWEEN
        words(ax, "bars", "bars: 95 of 100\nmeasurements", ((centre / 2 - left) / (right - left) if between else 0.005, 0.97), xycoords="axes fraction",
              ha="center" if between else "left", va="top")
    put(ax, xlim=(left, right), ylim=(0, 1), xlabel=f"{of_water(units)}; ellipsoid here {centre:.4f}, radius {units.far_per_metre / expected:.0f} {units.far}")
    put(ax.yaxis, visible=False)
    put(ax.spines["left"], visible=False)
    return ax


def of_water(units: Units) -> str:
    """What stands along a curvature axis."""
    return f"curvature of the water [1/1000 {units.far}]"


def labelled(ax: Axes) -> Units:
    """The units that a curvature axis is labelled in."""
    return next(units for units in (US, METRIC) if ax.get_xlabel().startswith(of_water(units)))


def sight_chart(distances: np.ndarray, flat: tuple[np.ndarray, np.ndarray], ellipsoid: tuple[np.ndarray, np.ndarray], *,
                axis_height: float, points: Sequence[tuple[float, float, float]] = (), units: Units = METRIC, ax: Axes | None = None) -> Axes:
    """The two predicted lines of sight over water drawn straight, and the readings.

    Parameters
    ----------
    distances : array (n,)
        From the instrument [m].
    flat, ellipsoid : pairs of arrays (n,)
        Offset of the line of sight from the level of the instrument's axis, and
        its standard uncertainty [m].
    axis_height : float
        Height of instrument above the still water [m].
    points : sequence of (distance, offset, u)
        What was read [m].
    units : Units
        That the picture is labelled in.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    base, ends, away = axis_height * units.per_metre, [], np.asarray(distances) * units.long_per_metre
    for (offset, u), (name, colour, dash, hatch, text) in zip((flat, ellipsoid), HYPOTHESES):
        height, half = base + offset * units.per_metre, COVERAGE * u * units.per_metre
        band(ax, f"{name} band", away, height - half, height + half, colour, hatch)
        line(ax, name, away, height, color=colour, linestyle=dash, linewidth=2.2)
        ends.append((height[-1], half[-1]))
        up, beside = name == "ellipsoid", height[away >= 0.78 * away[-1]]  # the part of the line that its words stand beside
        words(ax, f"{name} words", text, (away[-1], beside.max() if up else beside.min()), xytext=(-12, 7 if up else -7), textcoords="offset points", color=colour,
              ha="right", va="bottom" if up else "top", fontweight="bold")
    hide(ax, "reading", "reading bar")
    for distance, offset, u in points:
        where, half = base + offset * units.per_metre, COVERAGE * u * units.per_metre
        dot(ax, "reading", distance * units.long_per_metre, where, up=half)
        ends.append((where, half))
    low, high = min(base, *(v - h for v, h in ends)), max(base, *(v + h for v, h in ends))
    room = 0.1 * (high - low)
    (left, right), (bottom, top) = outward(0.0, away[-1] * 1.01), outward(low - 2 * room, high + room)
    line(ax, "axis", [left, right], [base, base], color="0.35", linewidth=1, linestyle=":")
    put(ax, xlim=(left, right), ylim=(bottom, top), xlabel=f"distance from the instrument [{units.long}]", ylabel=f"line of sight above\nthe still water [{units.short}]")
    _water_below(ax, bottom, axis_height * units.long_per_metre, units)
    scale_told(ax, units)
    return ax


def scale_told(ax: Axes, units: Units) -> None:
    """Write into the title of a sight chart how many times its heights are drawn larger than its distances."""
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    times = (right - left) / units.long_per_metre * units.per_metre / (top - bottom) * ax.bbox.height / ax.bbox.width
    titled(ax, f"Sight chart: water straight, heights ×{rounded(times)}")


def _water_below(ax: Axes, bottom: float, axis_height: float, units: Units) -> None:
    """The still water: as a line where it lies in the picture, else below a gap."""
    near = bottom <= 0
    line(ax, "water", ax.get_xlim(), (0, 0), color=WATER, linewidth=5, zorder=1)
    put(ax.spines["bottom"], edgecolor=to_rgba("black" if near else WATER), linewidth=0.8 if near else 5)
    hide(ax, "gap" if near else "water", "" if near else "still")
    if near:
        words(ax, "still", "still water", (0.01, 0), xycoords=("axes fraction", "data"), xytext=(0, 4), textcoords="offset points", va="bottom")
    else:
        words(ax, "gap", f"still water, {axis_height:.2f} {units.long} lower (gap not to scale)", (0.01, 0.02), xycoords="axes fraction", va="bottom")


def target_board(flat: tuple[float, float], ellipsoid: tuple[float, float], *, found: tuple[float, float] | None = None,
                 units: Units = METRIC, ax: Axes | None = None) -> Axes:
    """The target in elevation: where the line of sight strikes it, as predicted and as read.

    Parameters
    ----------
    flat, ellipsoid : (offset, u)
        Above the mark that stands at the level of the instrument's axis [m].
    found : (offset, u), optional
        What was read [m].
    units : Units
        That the picture is labelled in.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    ends = [0.0]
    for pair, (name, colour, dash, hatch, text) in zip((flat, ellipsoid), HYPOTHESES):
        offset, half = pair[0] * units.per_metre, COVERAGE * pair[1] * units.per_metre
        band(ax, f"{name} band", [0.15, 0.85], offset - half, offset + half, colour, hatch)
        line(ax, name, [0.15, 0.85], [offset] * 2, color=colour, linestyle=dash, linewidth=2.5)
        ends += [offset - half, offset + half]
    hide(ax, "found", "found bar")
    if found:
        offset, half = found[0] * units.per_metre, COVERAGE * found[1] * units.per_metre
        dot(ax, "found", 0.5, offset, up=half)
        ends += [offset - half, offset + half]
    line(ax, "level", [0, 1.2], [0, 0], color="0.35", linewidth=1, linestyle=":")
    apart = (ellipsoid[0] - flat[0]) * units.per_metre / (max(ends) - min(ends))
    for (offset, _), side, (name, colour, _, _, text) in zip((flat, ellipsoid), (-apart, apart), HYPOTHESES):  # beside its line, above or below it where the other is near
        words(ax, f"{name} words", text.split()[0], (0.88, offset * units.per_metre), color=colour, va="center" if abs(apart) > 0.1 else "bottom" if side > 0 else "top",
              ha="left", fontweight="bold")
    room = 0.05 * (max(ends) - min(ends))
    put(ax, ylim=outward(min(ends) - room, max(ends) + room), xlim=(0, 1.2), ylabel=f"above the level mark [{units.short}]")
    put(ax.xaxis, visible=False)
    put(ax.spines["bottom"], visible=False)
    titled(ax, "Target board")
    return ax


def separation_map(xs: np.ndarray, ys: np.ndarray, separation: np.ndarray, gate: float, *, ax: Axes | None = None) -> Axes:
    """Lines of equal separation over two choices; what passes the gate is shaded.

    Parameters
    ----------
    xs, ys : arrays (n,), (m,)
        In units that the caller writes on the axes.
    separation : array (m, n)
    gate : float
        Least separation that decides.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    ax.contourf(xs, ys, separation, levels=[gate, 1e9], colors=[ROUND], alpha=0.22)
    lines = ax.contour(xs, ys, separation, levels=[1.0, 2.0, gate, 6.0, 10.0], colors=FOUND, linewidths=[1, 1, 2.5, 1, 1])
    ax.clabel(lines, fmt=lambda value: f"go: {value:.2f}" if abs(value - gate) < 1e-9 else f"{value:g}")
    return ax


def budget_bars(rows: Sequence[tuple[str, float] | tuple[str, float, bool]], *, ax: Axes | None = None) -> Axes:
    """The uncertainty budget by cause, largest on top.

    Parameters
    ----------
    rows : sequence of (label, u) or (label, u, averages)
        In the order in which to draw them; u in any one unit, stated by the caller. What averages out over
        more readings is hatched.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    labels, values = [row[0] for row in rows], [row[1] for row in rows]
    places = np.arange(len(rows))[::-1]
    averages = [len(row) > 2 and row[2] for row in rows]
    for gid, light in (("bars", False), ("averages", True)):
        bars = [(0.0, value, place - 0.33, place + 0.33) for value, place, shrinks in zip(values, places, averages) if shrinks == light]
        blocks(ax, gid, bars, PAPER if light else ROUND, edgecolor=ROUND, linewidth=1, hatch="////" if light else "")
    words(ax, "hatched", "hatched: shrinks with more readings" if any(averages) else "", (1, 0.02), xycoords="axes fraction", ha="right", va="bottom")
    hide(ax, *(text.get_gid() for text in ax.texts if text.get_gid() != "hatched"))
    for i, (place, value) in enumerate(zip(places, values)):
        words(ax, f"value {i}", f"{value:.3g}", (value, place), xytext=(4, 0), textcoords="offset points", va="center")
    if [label.get_text() for label in ax.get_yticklabels()] != labels:
        ax.set_yticks(places, labels)
    put(ax, xlim=outward(0.0, 1.15 * (max(values) or 1.0)), ylim=(-0.6, len(rows) - 0.4))
    return ax


def ray_fan(rays: Iterable[tuple[np.ndarray, np.ndarray]], level: int, *, distance: float, top: float, ax: Axes | None = None) -> Axes:
    """Lines of sight from one instrument at several slopes, over water drawn straight.

    Parameters
    ----------
    rays : iterable of (distances, heights)
        Each up to where it ends or meets the water [m].
    level : int
        Which of them starts level.
    distance, top : float
        How far and how high the picture goes [m].
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    paths, gap = list(rays), np.full((2, 1), math.nan)
    line(ax, "rays", *np.hstack([gap, *(np.hstack([path, gap]) for path in paths[:level] + paths[level + 1:])]), color=ROUND, linewidth=0.9)
    line(ax, "level", *paths[level], color=FOUND, linewidth=2.5, zorder=2.5)
    line(ax, "water", [0, distance], [0, 0], color=WATER, linewidth=5, zorder=1)
    words(ax, "still", "still water", (0.01, 0), xycoords=("axes fraction", "data"), xytext=(0, 5), textcoords="offset points", va="bottom")
    put(ax, xlim=(0, distance), ylim=(-0.04 * top, top), xlabel="distance from the instrument [m]", ylabel="above the still water [m]")
    titled(ax, "Lines of sight, the thick one starts level")
    return ax


def board_as_seen(apparent: np.ndarray, seen: np.ndarray, *, ax: Axes | None = None) -> Axes:
    """A striped board on the far shore: as it stands, and as the bent light shows it.

    Parameters
    ----------
    apparent : array (n,)
        Heights at which straight light would come from the board [m], rising.
    seen : array (n,)
        Heights of the board from which the light does come [m]; NaN where it comes off the water.
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    hide(ax, *(text.get_gid() for text in ax.texts))
    edges, boxes, colours, numbers = np.append(apparent, 2 * apparent[-1] - apparent[-2]), [], [], 0
    for x, heights in ((0.0, apparent), (1.0, seen)):
        of_board = np.nan_to_num(heights, nan=-1.0) >= 0
        look = np.where(of_board, np.floor(np.nan_to_num(heights) / STRIPE) % 2, 2).astype(int)
        starts = np.flatnonzero(np.diff(look, prepend=-1))
        boxes += [(x, x + 0.8, low, high) for low, high in zip(edges[starts], edges[[*starts[1:], -1]])]
        colours += [(PAPER, ROUND, WATER)[kind] for kind in look[starts]]
        for mark in np.arange(0.0, apparent[-1], 2 * STRIPE):
            above = heights >= mark + STRIPE / 2
            for i in np.flatnonzero((above[1:] != above[:-1]) & ~np.isnan(heights[1:] + heights[:-1])):
                words(ax, f"number {numbers}", f"{mark:g}", (x + 0.4, apparent[i]), ha="center", va="center", fontsize="small")
                numbers += 1
    blocks(ax, "stripes", boxes, colours, antialiased=False)  # no seams
    line(ax, "seen", np.full(apparent.size, np.nan), seen)
    put(ax, xlim=(0, 1.8), ylim=(apparent[0], apparent[-1]), ylabel="above the still water [m]")
    if len(ax.get_xticks()) != 2:
        ax.set_xticks([0.4, 1.4], ["as it stands", "as it is seen"])
    titled(ax, "Board on the far shore")
    return ax
