"""A page on which a photograph through the eyepiece is read: four lines over the picture, and the offset they give."""

from __future__ import annotations

import html
import itertools
import math
import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib import image, patheffects
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from . import figures, photo
from .controls import Control
from .drawing import hide, line, put, titled, words
from .page import Page, parts

LINES = {  # name: label, colour, dash, where it starts as a share of the height
    "crosshair": ("crosshair", "#b34700", "-", 0.42),
    "mark": ("target mark", "#0060a0", "--", 0.58),
    "upper": ("upper scale mark", "#7b3294", "-.", 0.26),
    "lower": ("lower scale mark", "#006b52", ":", 0.74),
}
SIZE, STEP, TILT = (11.6, 4.3), 0.5, Control("Tilt", "°", -10.0, 10.0, 0.1, 0.0)  # inches at 100 dpi; pixels
WIDTHS, BOXES = (776, 192, 192), ((0.1017, 0.115, 0.6428, 0.8), *[(0.06, 0.09, 0.83, 0.74)] * 4)  # pixels of the parts; axes in them
EDGE = [patheffects.withStroke(linewidth=4, foreground="white")]
LEAST, SHOWN, MOST_BYTES = 32, 2000, 60_000_000  # pixels of a side that can be read; of a side that is drawn; of a file


class PhotoPage(Page):
    """A photograph, four lines, and the height of the line of sight above the target mark.

    `picture` is a PNG or JPEG file, `turned` clockwise by so many quarters (telephones often store pictures on their side);
    `spacing` that of the two scale marks [m]; `columns` where the four lines are read, the middle where left out; `known`
    what else `photo.Lines` takes. Pixels are those of the file, however small it is shown. One of the `readers` reads after
    the other, and keeps a reading with the button; `blind`, nobody sees another's before all have kept theirs. `kept` is
    what `photo.with_photograph` takes.
    """

    def __init__(self, picture: str | Path, spacing: float, *, readers: Sequence[str] = ("first reader", "second reader"), blind: bool = True,
                 columns: Sequence[float] | None = None, turned: int = 0, **known: Any) -> None:
        self.kept: dict[str, photo.Lines] = {}
        self._readers, self._blind, self._broken = tuple(readers), blind, None
        self._pixels, self._found = np.zeros((LEAST, LEAST), np.uint8), None
        try:
            self._pixels = read_picture(picture, turned)
        except ValueError as error:  # shown on the page
            self._broken = error
        self._small, (rows, across) = _shrunk(self._pixels), self._pixels.shape[:2]
        self._known = {"spacing": spacing, "columns": ((across - 1) / 2,) * 4 if columns is None else tuple(columns)} | known
        self.reader = widgets.Dropdown(options=self._readers, description="Reader", layout={"width": "24em"}).add_class("curvelab-reader")
        self.keep = widgets.Button(description="Keep this reading").add_class("curvelab-keep")
        controls = {name: Control(word.capitalize(), "px", 0.0, rows - 1.0, STEP, round(at * rows)) for name, (word, _, _, at) in LINES.items()}
        super().__init__(controls | {"tilt": TILT}, SIZE, PhotoPage._compute, _describe, [widgets.HBox([self.reader, self.keep])])
        self._start = self.values
        self.reader.observe(self._choose, "value")
        self.keep.on_click(self._keep)
        self.update()
        if self.fault.value:  # there is nothing to place lines on
            self.children = (self.fault,)

    @property
    def lines(self) -> photo.Lines:
        """The four lines as they stand."""
        at = self.values
        return photo.Lines(**{name: at[name] for name in LINES}, tilt=math.radians(at["tilt"]), **self._known)

    def _keep(self, button: Any = None) -> None:
        """Keep a reader's lines, if they give an offset, and hand the picture to the next one."""
        with self._turn:
            if self._found:
                self.kept[self.reader.value] = self.lines
                waiting = tuple(name for name in self._readers if name not in self.kept)
                if self._blind:
                    self.reader.options, self.keep.disabled = waiting or self._readers, not waiting
                self._choose()

    def _choose(self, change: Any = None) -> None:
        """Set the lines to what this reader kept, or to where everyone starts."""
        with self._turn:
            kept = self.kept.get(self.reader.value)
            with self.together():  # the controls follow, and are not asked in between
                for name, value in self._start.items():
                    self.fields[name].put(value if kept is None else math.degrees(kept.tilt) if name == "tilt" else getattr(kept, name))
            self.update()

    def _compute(self) -> tuple[str, Iterable[str]]:
        """Draw the lines, and say what they give."""
        if self._broken:
            raise self._broken
        lines, seen = self.lines, {} if self._blind and len(self.kept) < len(self._readers) else self.kept
        try:
            self._found = None if self.values == self._start else photo.offset(lines)
            text = _told(lines, self._found) if self._found else "Move the four lines onto the crosshair and the three marks."
        except ValueError as error:
            self._found, text = None, f"No offset yet: {error}."
        self._draw(lines, seen, re.split(r" \(|:|\.$", text)[0])
        kept = [html.escape(f"Kept: the reading of {' and of '.join(self.kept)}. ")] if self.kept else []
        return text, kept + [_compared(pair) for pair in itertools.combinations(seen.items(), 2)]

    def _draw(self, lines: photo.Lines, kept: Mapping[str, photo.Lines], title: str) -> None:
        """The whole picture with its lines, and the place of each line close up."""
        rows, across = self._pixels.shape[:2]
        whole, *close = self.figure.axes or self._laid_out()
        hide(whole, *(mark.get_gid() for mark in whole.lines if ", " in mark.get_gid()))
        for reader, each in kept.items():
            for name, row, column in zip(LINES, each.rows, each.columns):
                _line(whole, row, column, each.tilt, across, name, c="0.2", lw=0.9, gid=f"{name}, {reader}", zorder=1.5)
        ends = [_line(whole, row, column, lines.tilt, across, name, gid=name, marker="o", markerfacecolor="none", markevery=[1])
                for name, row, column in zip(LINES, lines.rows, lines.columns)]
        for (label, colour, *_), end, place in zip(LINES.values(), ends, np.argsort(np.argsort(ends))):
            words(whole, label, label, (1, end), xytext=(1.08, rows * (0.2 + 0.2 * place)), xycoords=("axes fraction", "data"), textcoords=("axes fraction", "data"), color=colour,
                  va="center", zorder=3, fontweight="bold", arrowprops={"arrowstyle": "-", "color": colour, "shrinkB": 0, "relpos": (0, .5)})
        words(whole, "title", title, (0, 1), xycoords="axes fraction", xytext=(0, 6), textcoords="offset points", zorder=3, fontsize=12)
        for ax, name, row, column in zip(close, LINES, lines.rows, lines.columns):
            self._close_up(ax, row, column, lines.tilt, name)

    def _laid_out(self) -> list[Axes]:
        """The places of the five pictures; the first is drawn once and for all."""
        grid, (rows, across) = self.figure.add_gridspec(2, 3, width_ratios=WIDTHS), self._pixels.shape[:2]
        axes = parts(self.figure, (grid[:, 0], grid[0, 1], grid[0, 2], grid[1, 1], grid[1, 2]), BOXES)
        _show(axes[0], *self._small)
        axes[0].set(xlim=(-0.5, across - 0.5), ylim=(rows - 0.5, -0.5), anchor="W", xlabel="column [pixels]", ylabel="row [pixels]")
        for ax in axes[1:]:
            ax.set(xticks=[], yticks=[])
        return axes

    def _close_up(self, ax: Axes, row: float, column: float, tilt: float, name: str) -> None:
        """The picture around the place of a line, which ends there so that what it covers shows beside it."""
        half = max(12.0, self._pixels.shape[0] / 60)
        (top, low), (left, right) = ((max(0, int(at - half) - 1), max(0, int(at + half) + 3)) for at in (row, column))
        _show(ax, self._pixels[top:low, left:right], top=top, left=left)
        _line(ax, row, column, tilt, column + 0.5, name, gid=f"{name} close up")
        put(ax, xlim=(column - half, column + half), ylim=(row + half, row - half))
        titled(ax, f"{LINES[name][0]}, {row:.6g}", color=LINES[name][1], fontsize="small")


def read_picture(path: str | Path, turned: int = 0) -> np.ndarray:
    """A PNG or JPEG picture, 0 to 255, (rows, columns) or (rows, columns, 3); turned clockwise by so many quarters.

    >>> read_picture("no_such.png")
    Traceback (most recent call last):
    ValueError: there is no picture no_such.png: give the path of a PNG or JPEG file, of at most 60 MB
    """
    path = Path(path)
    if not path.is_file() or path.stat().st_size > MOST_BYTES:
        why = f"{path.name} has more than {MOST_BYTES / 1e6:g} MB" if path.is_file() else f"there is no picture {path.name}"
        raise ValueError(f"{why}: give the path of a PNG or JPEG file, of at most {MOST_BYTES / 1e6:g} MB")
    try:
        with warnings.catch_warnings(action="error", category=RuntimeWarning):  # Pillow's for a picture too large to unpack
            pixels = image.imread(path, format="jpg")  # PNG too: Pillow goes by the contents
    except Exception as error:  # whatever a broken file gives rise to
        why = str(error).replace(str(path), path.name)
        raise ValueError(f"{path.name} can't be read ({why}): open it in a viewer and save it as PNG or JPEG, smaller if it is huge") from error
    if min(pixels.shape[:2]) < LEAST:
        raise ValueError(f"{path.name} has {pixels.shape[1]} × {pixels.shape[0]} pixels, too few for four lines: give {LEAST} or more each way")
    pixels = pixels if pixels.dtype == np.uint8 else np.round(255 * pixels).astype(np.uint8)
    return np.rot90(pixels[..., :3] if pixels.ndim == 3 else pixels, -turned)


def _shrunk(pixels: np.ndarray) -> tuple[np.ndarray, int]:
    """A picture small enough to draw, and how many of its pixels a side make one of those."""
    by = math.ceil(max(pixels.shape[:2]) / SHOWN)
    rows, across = (n // by for n in pixels.shape[:2])
    blocks = pixels[:rows * by, :across * by].reshape(rows, by, across, by, -1)
    return blocks.mean(axis=(1, 3)).astype(np.uint8).reshape(rows, across, *pixels.shape[2:]), by


def _show(ax: Axes, pixels: np.ndarray, by: int = 1, *, top: int = 0, left: int = 0) -> None:
    """Draw pixels where they lie in the picture, each as large as `by` of them."""
    rows, across = pixels.shape[:2]
    extent = [left - 0.5, left + by * across - 0.5, top + by * rows - 0.5, top - 0.5]
    if not pixels.size or not ax.images:
        for old in ax.images:
            old.remove()
        if pixels.size:
            ax.imshow(pixels, cmap="gray", vmin=0, vmax=255, extent=extent)
    elif ax.images[0].get_extent() != extent:
        ax.images[0].set(data=pixels, extent=extent)


def _line(ax: Axes, row: float, column: float, tilt: float, across: float, name: str, **how: Any) -> float:
    """A line from the left edge through where it is read to the right edge, with a white edge; the row where it ends."""
    x = np.array([-0.5, column, across - 0.5])
    look = {"c": LINES[name][1], "ls": LINES[name][2], "lw": 2.2, "path_effects": EDGE} | how
    return float(line(ax, look.pop("gid"), x, row + (x - column) * math.tan(tilt), **look).get_ydata()[-1])


def _told(lines: photo.Lines, found: photo.Offset) -> str:
    """What the lines say, in plain English."""
    turned = " The picture stands on its head, as an inverting telescope shows it." if lines.lower < lines.upper else ""
    made = ", ".join(f"{part.cause} {part.u * 1000:.1f} mm" for part in sorted(found.contributions, key=lambda part: -part.u) if part.u >= 5e-5)
    told = f"{abs(found.value) * 1000:.1f} ± {found.u * 1000:.1f} mm {'below' if found.value < 0 else 'above'}"
    return f"The line of sight is {told} the target mark (± one standard uncertainty: {made}).{turned}"


def _compared(pair: Iterable[tuple[str, photo.Lines]]) -> str:
    """Whether two readings agree."""
    (a, first), (b, second) = ((name, photo.offset(lines)) for name, lines in pair)
    agree, apart = photo.agreement(first, second)
    return html.escape(f"{a} and {b} {'agree' if agree else 'do not agree'}: {first.value * 1000:.1f} and {second.value * 1000:.1f} mm, "
                       f"{abs(apart.value) * 1000:.1f} mm apart, where {apart.u * 1000:.1f} mm is one standard uncertainty. ")


def _describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    if not figure.axes:
        return "no picture"
    drawn = figures.named(figure.axes[0])
    at = ", ".join(f"{LINES[name][0]} at row {drawn[name].get_ydata()[1]:.1f}" for name in LINES)
    (x0, _, x1), (y0, _, y1) = drawn["mark"].get_data()
    others = f"; {len(drawn) - len(LINES)} lines that were kept" if len(drawn) > len(LINES) else ""
    title = next(text.get_text() for text in figure.axes[0].texts if text.get_gid() == "title")
    return f"{title}; {at}; tilt {math.degrees(math.atan2(y1 - y0, x1 - x0)):z.1f}°{others}"
