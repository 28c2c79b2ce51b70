"""Pictures in the coordinates of the observation equation, drawn on Axes.

Each function takes numbers in SI and returns the Axes it drew on. Flat water
is dashed, water on the ellipsoid is solid, what was measured is black; each is
labelled where it stands. Artists carry a gid, by which a page can read them.
"""

from __future__ import annotations

import contextlib
import math
import threading
from collections.abc import Iterable, Iterator, Sequence

import matplotlib
import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.lines import Line2D

from .uncertainty import COVERAGE

FLAT, ROUND, FOUND, WATER, PAPER = "#a84300", "#00557f", "#111111", "#7fb2c9", "#fffdf7"
# name, colour, dash, hatching of the band, words
HYPOTHESES = (("flat", FLAT, "--", "////", "flat water"), ("ellipsoid", ROUND, "-", "", "ellipsoid"))
STRIPE = 0.25  # m, of a board

_ONE_AT_A_TIME = threading.RLock()  # matplotlib's settings are shared by all threads
_STYLE = {
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER, "font.family": "DejaVu Sans",
    "font.size": 11.0, "axes.labelsize": 11.0, "axes.titlesize": 12.0, "axes.titlelocation": "left", "axes.spines.top": False,
    "axes.spines.right": False, "axes.axisbelow": True, "hatch.linewidth": 0.6, "legend.frameon": False,
}
_PROJECTOR = {"font.size": 18.0, "axes.labelsize": 18.0, "axes.titlesize": 20.0, "xtick.labelsize": 18.0,
              "ytick.labelsize": 18.0, "lines.linewidth": 3.0}


@contextlib.contextmanager
def style(projector: bool = False) -> Iterator[None]:
    """The look of every picture: for the screen, or in large type for a projector."""
    with _ONE_AT_A_TIME, matplotlib.rc_context(_STYLE | (_PROJECTOR if projector else {})):
        yield


def curvature_axis(expected: float, u: float, *, found: float = math.nan, note: str = "", ax: Axes | None = None) -> Axes:
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
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    unit, half = 1e6, COVERAGE * u * 1e6
    centre = expected * unit
    for value, (name, colour, dash, _, text) in zip((0.0, centre), HYPOTHESES):
        ax.axvline(value, color=colour, linestyle=dash, linewidth=2.2, gid=name)
        ax.annotate(text, (value, 0.97), xycoords=("data", "axes fraction"), xytext=(-5 if name == "flat" else 5, 0),
                    textcoords="offset points", color=colour, ha="right" if name == "flat" else "left", va="top", fontweight="bold")
    if math.isnan(found):
        for value, y, (name, colour, dash, _, _) in zip((0.0, centre), (0.42, 0.18), HYPOTHESES):
            ax.plot([value - half, value + half], [y, y], color=colour, linestyle=dash, linewidth=5, alpha=0.75,
                    solid_capstyle="butt", gid=f"{name} interval")
        ax.annotate("bars: where 95 of 100\nmeasurements would fall", (0.005, 0.97), xycoords="axes fraction", ha="left", va="top")
    else:
        colour = "0.45" if note else FOUND
        _dot(ax, [found * unit], [0.35], "found", xerr=[half], color=colour, linestyle=":" if note else "-")
        ax.annotate(f"measured, 95 %{note and f': {note}'}", (found * unit, 0.35), xytext=(0, -10), textcoords="offset points", ha="center", va="top", color=FOUND)
    reach = max(half, 0.6 * centre)
    ends = [-reach, centre + reach] + ([] if math.isnan(found) else [found * unit - 1.1 * half, found * unit + 1.1 * half])
    ax.set_xlim(min(ends) - 0.1 * centre, max(ends) + 0.1 * centre)
    ax.set_ylim(0, 1)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.set_xlabel(f"curvature of the water [1/1000 km]; the Earth's ellipsoid here {centre:.4f}, a radius of {1e-3 / expected:.0f} km")
    return ax


def sight_chart(distances: np.ndarray, flat: tuple[np.ndarray, np.ndarray], ellipsoid: tuple[np.ndarray, np.ndarray], *,
                axis_height: float, points: Sequence[tuple[float, float, float]] = (), ax: Axes | None = None) -> Axes:
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
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    base, ends = axis_height * 1000, []
    for (offset, u), (name, colour, dash, hatch, text) in zip((flat, ellipsoid), HYPOTHESES):
        height, half = base + offset * 1000, COVERAGE * u * 1000
        _band(ax, distances, height - half, height + half, colour, hatch)
        ax.plot(distances, height, color=colour, linestyle=dash, linewidth=2.2, gid=name)
        ends.append((height[-1], half[-1]))
        ax.annotate(text, (distances[-1], height[-1]), xytext=(-6, 7 if name == "ellipsoid" else -7), textcoords="offset points", color=colour,
                    ha="right", va="bottom" if name == "ellipsoid" else "top", fontweight="bold")
    for distance, offset, u in points:
        _dot(ax, [distance], [base + offset * 1000], "reading", yerr=[COVERAGE * u * 1000], color=FOUND)
        ends.append((base + offset * 1000, COVERAGE * u * 1000))
    low, high = min(base, *(v - h for v, h in ends)), max(base, *(v + h for v, h in ends))
    room = 0.12 * (high - low)
    ax.set_xlim(0, distances[-1] * 1.02)
    ax.set_ylim(low - 2 * room, high + room)
    ax.set_yticks([tick for tick in ax.get_yticks() if low - 0.6 * room <= tick <= high + room])
    ax.axhline(base, color="0.35", linewidth=1, linestyle=":", gid="axis")
    if low - 2 * room <= 0:
        ax.axhline(0, color=WATER, linewidth=5)
        ax.annotate("still water", (0.01, 0), xycoords=("axes fraction", "data"), xytext=(0, 4), textcoords="offset points", va="bottom")
    else:
        ax.spines["bottom"].set(color=WATER, linewidth=5)
        ax.annotate(f"still water, {axis_height:.2f} m below the dotted line (gap not to scale)", (0.01, 0.02), xycoords="axes fraction", va="bottom")
    box = ax.get_position()
    width, height = ax.figure.get_size_inches()
    times = distances[-1] * 1.02 * 1000 / (high - low + 3 * room) * (box.height * height) / (box.width * width)
    ax.set_title(f"Sight chart: water drawn straight, heights ×{_rounded(times)}")
    ax.set_xlabel("distance from the instrument [m]")
    ax.set_ylabel("line of sight above\nthe still water [mm]")
    ax.ticklabel_format(style="plain", useOffset=False)
    return ax


def target_board(flat: tuple[float, float], ellipsoid: tuple[float, float], *, found: tuple[float, float] | None = None,
                 ax: Axes | None = None) -> Axes:
    """The target in elevation: where the line of sight strikes it, as predicted and as read.

    Parameters
    ----------
    flat, ellipsoid : (offset, u)
        Above the mark that stands at the level of the instrument's axis [m].
    found : (offset, u), optional
        What was read [m].
    ax : Axes, optional

    Returns
    -------
    Axes
    """
    ax = ax or plt.gca()
    ends = [0.0]
    for (offset, u), (name, colour, dash, hatch, text) in zip((flat, ellipsoid), HYPOTHESES):
        low, high = (offset - COVERAGE * u) * 1000, (offset + COVERAGE * u) * 1000
        _band(ax, [0.15, 0.85], low, high, colour, hatch)
        ax.plot([0.15, 0.85], [offset * 1000] * 2, color=colour, linestyle=dash, linewidth=2.5, gid=name)
        ax.annotate(text.split()[0], (0.88, offset * 1000), color=colour, va="center", ha="left", fontweight="bold", annotation_clip=False)
        ends += [low, high]
    if found:
        _dot(ax, [0.5], [found[0] * 1000], "found", yerr=[COVERAGE * found[1] * 1000], color=FOUND)
        ends += [(found[0] - COVERAGE * found[1]) * 1000, (found[0] + COVERAGE * found[1]) * 1000]
    ax.axhline(0, color="0.35", linewidth=1, linestyle=":")
    room = 0.08 * (max(ends) - min(ends))
    ax.set_ylim(min(ends) - room, max(ends) + room)
    ax.set_xlim(0, 1.2)
    ax.set_xticks([])
    ax.spines["bottom"].set_visible(False)
    ax.set_title("Target board")
    ax.set_ylabel("above the level mark [mm]")
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
    ax.barh(places, values, color=[PAPER if light else ROUND for light in averages], edgecolor=ROUND, hatch=["////" if light else "" for light in averages], height=0.65)
    if any(averages):
        ax.annotate("hatched: shrinks with more readings", (1, 0.02), xycoords="axes fraction", ha="right", va="bottom")
    ax.set_yticks(places, labels)
    for place, value in zip(places, values):
        ax.annotate(f"{value:.3g}", (value, place), xytext=(4, 0), textcoords="offset points", va="center")
    ax.set_xlim(0, 1.15 * max(values))
    return ax


def named(ax: Axes) -> dict[str, Line2D]:
    """Lines that a page can read, by their gid."""
    return {line.get_gid(): line for line in ax.lines if line.get_gid()}


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
    for i, (x, z) in enumerate(rays):
        ax.plot(x, z, color=FOUND if i == level else ROUND, linewidth=2.5 if i == level else 0.9, gid="level" if i == level else None,
                zorder=3 if i == level else 2)
    ax.axhline(0, color=WATER, linewidth=5, zorder=1)
    ax.annotate("still water", (0.01, 0), xycoords=("axes fraction", "data"), xytext=(0, 5), textcoords="offset points", va="bottom")
    ax.set_xlim(0, distance)
    ax.set_ylim(-0.04 * top, top)
    ax.set_title("Lines of sight, the thick one starts level")
    ax.set_xlabel("distance from the instrument [m]")
    ax.set_ylabel("above the still water [m]")
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
    for x, heights in ((0.0, apparent), (1.0, seen)):
        band = np.where(np.isnan(heights), 2, np.floor(heights / STRIPE) % 2)
        band[np.nan_to_num(heights, nan=0.0) < 0] = 2
        ax.pcolormesh([x, x + 0.8], np.append(apparent, 2 * apparent[-1] - apparent[-2]), band[:, None], cmap=ListedColormap([PAPER, ROUND, WATER]), vmin=0, vmax=2, rasterized=True)
        for mark in np.arange(0.0, apparent[-1], 2 * STRIPE):
            above = np.sign(heights - mark - STRIPE / 2)
            for i in np.flatnonzero(above[1:] * above[:-1] < 0):
                ax.annotate(f"{mark:g}", (x + 0.4, apparent[i]), ha="center", va="center", fontsize="small", gid="number")
    ax.plot(np.full(apparent.size, np.nan), seen, gid="seen")
    ax.set_xticks([0.4, 1.4], ["as it stands", "as it is seen"])
    ax.set_ylim(apparent[0], apparent[-1])
    ax.set_ylabel("above the still water [m]")
    ax.set_title("Board on the far shore")
    return ax


def _dot(ax: Axes, x: Sequence[float], y: Sequence[float], gid: str, *, color: str, linestyle: str = "-", **bars: Sequence[float]) -> None:
    """A measured value with its bar."""
    drawn = ax.errorbar(x, y, **bars, color=color, marker="o", markersize=8, capsize=6, linewidth=2.5, linestyle="none")
    drawn[0].set_gid(gid)
    drawn[2][0].set_linestyle(linestyle)


def _band(ax: Axes, x: Sequence[float], low: object, high: object, colour: str, hatch: str) -> None:
    """A band of 95 %: shaded, or hatched where the other one is shaded."""
    ax.fill_between(x, low, high, facecolor="none" if hatch else colour, edgecolor=colour, alpha=0.55 if hatch else 0.22, hatch=hatch, linewidth=0)


def _rounded(value: float) -> str:
    """Two significant figures, in plain digits."""
    return f"{float(f'{value:.1e}'):,.0f}".replace(",", " ")
