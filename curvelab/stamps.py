"""A canvas that keeps what it has written: most of the time of a picture goes into its letters, and most words come again."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.font_manager import FontProperties, findfont, get_font

KEPT = 1000  # pieces of text


class Canvas(FigureCanvasAgg):
    """matplotlib's own, but every piece of text stands on whole pixels and is kept."""

    _size: tuple[float, ...] = ()

    def get_renderer(self) -> RendererAgg:
        """The same one until the size changes."""
        size = (*self.figure.bbox.size, self.figure.dpi)
        if self._size != size:
            self.renderer, self._size = _Renderer(*size), size
        return self.renderer


class _Renderer(RendererAgg):
    """Writes with stamps."""

    def draw_text(self, gc: GraphicsContextBase, x: float, y: float, s: str, prop: FontProperties, angle: float, ismath: Any = False, mtext: Any = None) -> None:
        """Put a stamp where the text belongs; formulas and what is cut off go matplotlib's way."""
        if ismath or gc.get_clip_rectangle() is not None:
            return super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
        image, left, low = _stamp(s, prop.copy(), angle, gc.get_rgb(), gc.get_alpha(), self.dpi)
        self.draw_image(gc, round(x) + left, round(self.height - y) + low, image)

    def _get_font_height_metrics(self, prop: FontProperties) -> tuple[float, float, float]:
        """Where matplotlib 3.11 asks its canvas before it looks into the file of the font, for every piece of text anew."""
        return _heights(prop.copy(), self.dpi)


@functools.lru_cache(KEPT)
def _heights(font: FontProperties, dpi: float) -> tuple[float, float, float]:
    """Ascent, descent and line gap of a font [pixels]."""
    told = get_font(findfont(font))
    table, per_em = told.get_sfnt_table("OS/2"), told.get_sfnt_table("head")["unitsPerEm"]
    return tuple(sign * table[f"sTypo{name}"] * font.get_size_in_points() * dpi / 72 / per_em for sign, name in ((1, "Ascender"), (-1, "Descender"), (1, "LineGap")))


@functools.lru_cache(KEPT)
def _stamp(text: str, font: FontProperties, angle: float, colour: tuple[float, ...], alpha: float, dpi: float) -> tuple[np.ndarray, int, int]:
    """Pixels of a piece of text, from below, and where they lie from its origin."""
    large = RendererAgg(1, 1, dpi)
    half = int(sum(large.get_text_width_height_descent(text, font, False))) + 8
    paper = RendererAgg(2 * half, 2 * half, dpi)
    pen = paper.new_gc()
    pen.set_foreground(colour, isRGBA=True)
    pen.set_alpha(alpha)
    paper.draw_text(pen, half, half, text, font, angle)
    pixels = np.asarray(paper.buffer_rgba())[::-1]
    rows, columns = (np.flatnonzero(pixels[..., 3].any(axis=axis)) for axis in (1, 0))
    if not rows.size:
        return pixels[:1, :1].copy(), 0, 0
    return pixels[rows[0]:rows[-1] + 1, columns[0]:columns[-1] + 1].copy(), columns[0] - half, rows[0] - half
