"""Marks on Axes that can be moved: each has a gid, is made when first asked for and changed in place afterwards.

A picture that is drawn by these functions can be drawn again on the same Axes at little more than the cost of its
pixels, and a page can read back what it shows. What stands still lies beneath what moves (`BENEATH`); nothing of it is
set to what it is already, so that matplotlib knows what has to be drawn again.
"""

from __future__ import annotations

import contextlib
import math
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D

FLAT, ROUND, FOUND, WATER, PAPER = "#a84300", "#00557f", "#111111", "#7fb2c9", "#fffdf7"
BENEATH = 0.9  # zorder of what stands still, beneath bands (1), lines (2) and words (3)
# name, colour, dash, hatching of the band, words
HYPOTHESES = (("flat", FLAT, "--", "////", "flat water"), ("ellipsoid", ROUND, "-", "", "ellipsoid"))

_ONE_AT_A_TIME = threading.RLock()  # matplotlib's settings are shared by all threads
_STYLE = {
    "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER, "font.family": "DejaVu Sans",
    "font.size": 11.0, "axes.labelsize": 11.0, "axes.titlesize": 12.0, "axes.titlelocation": "left", "axes.titley": 1.0, "axes.spines.top": False,
    "axes.spines.right": False, "axes.axisbelow": True, "hatch.linewidth": 0.6, "legend.frameon": False,
}
_PROJECTOR = {"font.size": 18.0, "axes.labelsize": 18.0, "axes.titlesize": 18.0, "xtick.labelsize": 18.0,
              "ytick.labelsize": 18.0, "lines.linewidth": 3.0}


@dataclass(frozen=True)
class Units:
    """What a picture is labelled in: a short, a long and a far unit of length, and how many of them a metre holds."""

    short: str
    per_metre: float
    long: str
    long_per_metre: float
    far: str
    far_per_metre: float


METRIC, US = Units("mm", 1e3, "m", 1.0, "km", 1e-3), Units("in", 1 / 0.0254, "ft", 1 / 0.3048, "miles", 1 / 1609.344)
SYSTEMS = {"metric": METRIC, "us": US}


@contextlib.contextmanager
def style(projector: bool = False) -> Iterator[None]:
    """The look of every picture: for the screen, or in large type for a projector. Its own settings go back at the end, and no other."""
    look = _STYLE | (_PROJECTOR if projector else {})
    with _ONE_AT_A_TIME:
        before = {name: matplotlib.rcParams[name] for name in look}  # rc_context would undo the interactive mode, too, that a notebook's first figure turns on
        try:
            matplotlib.rcParams.update(look)
            yield
        finally:
            matplotlib.rcParams.update(before)


def named(ax: Axes) -> dict[str, Line2D]:
    """Lines that are shown, by their gid."""
    return {line.get_gid(): line for line in ax.lines if line.get_gid() and line.get_visible()}


def line(ax: Axes, gid: str, x: Sequence[float], y: Sequence[float], **look: object) -> Line2D:
    """A line, moved if it is there already."""
    found = _existing(ax.lines, gid)
    if found is None:
        return ax.plot(x, y, gid=gid, **look)[0]
    found.set_data(x, y)
    put(found, visible=True, **look)
    return found


def dot(ax: Axes, gid: str, x: float, y: float, *, across: float = 0.0, up: float = 0.0, color: str = FOUND, linestyle: str = "-") -> None:
    """A measured value with its bar: half as wide as `across`, half as high as `up`."""
    ends = ([x - across, x + across], [y - up, y + up])
    line(ax, f"{gid} bar", *ends, color=color, linestyle=linestyle, linewidth=2.5, marker="|" if across else "_", markersize=12, markeredgewidth=2.0, zorder=4)
    line(ax, gid, [x], [y], color=color, marker="o", markersize=8, linestyle="none", zorder=5)


def band(ax: Axes, gid: str, x: Sequence[float], low: Sequence[float] | float, high: Sequence[float] | float, colour: str, hatch: str) -> None:
    """A band of 95 %: shaded, or hatched where the other one is shaded."""
    found = _existing(ax.collections, gid)
    ends = [np.broadcast_to(np.asarray(values, dtype=float), np.shape(x)) for values in (low, high)]
    if found is None:
        ax.fill_between(x, *ends, gid=gid, facecolor="none" if hatch else colour, edgecolor=colour, alpha=0.55 if hatch else 0.22, hatch=hatch, linewidth=0)
        return
    if np.isfinite(ends).all():  # as fill_between would, ten times as fast
        (low, high), there = ends, np.asarray(x)
        found.set_verts([np.column_stack([np.append(there, there[::-1]), np.append(low, high[::-1])])])
    else:
        found.set_data(x, *ends)
    found.set_visible(True)


def blocks(ax: Axes, gid: str, boxes: Sequence[tuple[float, float, float, float]], colours: str | Sequence[str], **look: object) -> None:
    """Filled rectangles (left, right, low, high), as many as there are now."""
    corners = [[(left, low), (right, low), (right, high), (left, high)] for left, right, low, high in boxes]
    found = _existing(ax.collections, gid)
    if found is None:
        found = ax.add_collection(PolyCollection([], gid=gid, **{"linewidth": 0} | look), autolim=False)
    found.set_verts(corners)
    found.set_facecolor(colours)


def words(ax: Axes, gid: str, text: str, at: tuple[float, float], **look: object) -> None:
    """A piece of text that points nowhere, moved if it is there already; what is not placed by data stands still."""
    found = _existing(ax.texts, gid)
    if found is None:
        ax.annotate(text, at, gid=gid, **{"annotation_clip": False, "zorder": BENEATH if "xycoords" in look else 3} | look)
        return
    if (found.xy, found.xyann) != (at, look.get("xytext", at)):
        found.xy, found.xyann = at, look.get("xytext", at)
    put(found, text=text, visible=True, **{key: value for key, value in look.items() if key in ("ha", "va", "color")})


def hide(ax: Axes, *gids: str) -> None:
    """Marks that are not to be seen for now."""
    for artist in (*ax.lines, *ax.texts, *ax.collections):
        if artist.get_gid() in gids:
            artist.set_visible(False)


def put(artist: Artist, **looks: object) -> None:
    """Set what is not so already."""
    artist.set(**{name: value for name, value in looks.items() if getattr(artist, f"get_{name}")() != value})


def titled(ax: Axes, title: str, **look: object) -> None:
    """Write a title where it is another."""
    if ax.get_title(matplotlib.rcParams["axes.titlelocation"]) != title:
        ax.set_title(title, **look)


def outward(low: float, high: float) -> tuple[float, float]:
    """Limits of an axis, moved outward to whole steps of 1, 2 or 5 times a power of ten, a twentieth to an eighth as long as it.

    >>> outward(-47.3, 331.0)
    (-60.0, 340.0)
    """
    least = (high - low) / 20
    power = 10.0 ** math.floor(math.log10(least))
    step = next(times for times in (1, 2, 5, 10) if times * power >= least) * power
    return math.floor(round(low / step, 6)) * step, math.ceil(round(high / step, 6)) * step


def rounded(value: float) -> str:
    """Two significant figures, in plain digits."""
    return f"{float(f'{value:.1e}'):,.0f}".replace(",", " ")


def _existing(artists: Sequence[Artist], gid: str) -> Artist | None:
    return next((artist for artist in artists if artist.get_gid() == gid), None)
