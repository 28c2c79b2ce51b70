"""What every page has: labelled controls, one picture, one sentence. A fault shows on the page, in words."""

from __future__ import annotations

import base64
import contextlib
import functools
import html
import struct
import threading
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any
from weakref import WeakKeyDictionary

import ipywidgets as widgets
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.gridspec import SubplotSpec

from . import figures
from .controls import Control, Field
from .drawing import BENEATH
from .stamps import Canvas

PLACED = "labels placed"  # of axes whose labels don't move with their numbers
STALE = "<style>.curvelab-stale { opacity: 0.2 }</style>"
LARGE_TYPE = STALE + """<style>.curvelab-page { max-width: none;
  --jp-widgets-font-size: clamp(13px, 1.04vw, 20px); --jp-widgets-inline-height: clamp(28px, 2vw, 38px) }
.curvelab-page .jupyter-widgets { font-size: var(--jp-widgets-font-size) }</style>"""


class Page(widgets.VBox):
    """Controls, a sentence and a persistent figure.

    Parameters
    ----------
    controls : mapping of Control
        By name.
    size : (width, height)
        Of the picture [inches at 100 dpi].
    show : callable
        Draws into the page's figure and returns the sentence below the
        controls and the notes below the picture.
    read : callable
        What the picture shows, read back from the figure.
    above, between : iterable of Widget
        What stands above the controls, and between them and the sentence.
    columns : int
        Of controls.

    Attributes
    ----------
    controls : dict of FloatSlider
    fields : dict of Widget
        Each control with its label and number.
    values : dict of float
    figure : Figure
    picture, sentence, notes, fault : Widget
    """

    def __init__(self, controls: Mapping[str, Control], size: tuple[float, float], show: Callable[[Page], tuple[str, Iterable[str]]],
                 read: Callable[[Figure], str], above: Iterable[widgets.Widget] = (), between: Iterable[widgets.Widget] = (),
                 columns: int = 2) -> None:
        self._show, self._read = show, read
        self.figure = Figure(dpi=100, facecolor=figures.PAPER)
        Canvas(self.figure)
        self.picture = widgets.Image(format="png", layout={"margin": "2px 0"})  # none beside it: as wide as the page, it would ask for a scroll bar
        self.sentence, self.fault, self.notes = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._turn = threading.RLock()  # a kernel may answer two controls at a time
        self._setting = False
        self._still: WeakKeyDictionary = WeakKeyDictionary()  # pixels of what stands still, by subfigure
        self.fields = {name: Field(name, control, self._refuse, functools.partial(self._emptied, name), functools.partial(self._translated, name)) for name, control in controls.items()}
        self.controls = {name: field.slider for name, field in self.fields.items()}
        for widget, css in ((self.picture, "picture"), (self.sentence, "sentence"), (self.fault, "fault")):
            widget.add_class(f"curvelab-{css}")
        self._type = widgets.HTML(layout={"display": "none"})
        super().__init__([self._type, *above, widgets.GridBox([*self.fields.values()], layout={"grid_template_columns": f"repeat({columns}, max-content)", "grid_gap": "0 1.5em"}),
                          *between, self.fault, self.sentence, self.picture, self.notes])
        self.add_class("curvelab-page")
        self.projected(size, False)
        for field in self.fields.values():
            field.observe(self.update, "value")

    @property
    def values(self) -> dict[str, float]:
        """What the controls say."""
        return {name: field.value for name, field in self.fields.items()}

    def projected(self, size: tuple[float, float], projector: bool) -> None:
        """A picture of another size [inches at 100 dpi]; for a projector in large type, with controls that grow with the window."""
        self.projector = projector
        self.figure.clear()
        self.figure.set_size_inches(size)
        self.picture.width, self.picture.height = (str(int(100 * side)) for side in size)
        self._type.value = LARGE_TYPE if projector else STALE

    @contextlib.contextmanager
    def together(self) -> Iterator[None]:
        """Set several controls without drawing in between; call `update` afterwards."""
        with self._turn:
            self._setting = True
            try:
                yield
            finally:
                self._setting = False

    def show_in(self, switch: Any) -> None:
        """Labels, numbers and all that is drawn and said in the units that a switch was turned to."""
        with self._turn:
            for field in self.fields.values():
                field.show_in(switch.new)
            self.update()

    def update(self, change: Any = None) -> None:
        """Compute and draw; a fault shows in words and leaves the last picture."""
        with self._turn:
            if self._setting:
                return  # the controls are being set
            try:
                with figures.style(self.projector):
                    text, notes = self._show(self)
                    self.picture.value = png(self._drawn())
            except Exception as error:  # a fault shows on the page, in words
                self.show_fault(error)
                return
            self.fault.value = ""
            self.picture.remove_class("curvelab-stale")
            self.sentence.value = f'<div style="font-size:1.3em;line-height:1.3;max-width:68em;min-height:2.6em">{html.escape(text).replace(" %", "&nbsp;%")}</div>'
            self.notes.value = f'<div style="line-height:1.35;max-width:75em">{"".join(notes)}</div>'

    def show_fault(self, error: Exception) -> None:
        """Say on the page what can't be worked out; the last picture stays, but faded."""
        self.picture.add_class("curvelab-stale")
        text = html.escape(str(error)).replace("\n", "<br>")
        self.sentence.value = ""
        self.notes.value = ""
        self.fault.value = _alert("This can't be worked out", f" (the faded picture and the numbers are those of before): {text}")

    def _refuse(self, error: Exception) -> None:
        """Say on the page why a number that was typed is not taken; all else stays."""
        self.fault.value = _alert("Not taken", f": {html.escape(str(error))}")

    def _emptied(self, name: str) -> None:
        """The box of a control was emptied: no complaint of what stood there is left."""
        self.fault.value = ""

    def _translated(self, name: str, text: str) -> float | None:
        """The value that a text typed beside a control means in other words, where a page knows of such."""
        return None

    def describe(self) -> str:
        """What the picture shows, read back from what was drawn."""
        return self._read(self.figure)

    def _drawn(self) -> np.ndarray:
        """The figure's pixels; what stands still in a subfigure is drawn again only where it has changed."""
        canvas = self.figure.canvas
        if not self.figure.subfigs:
            canvas.draw()
        renderer = canvas.get_renderer()
        for part in self.figure.subfigs:
            for artist in (mark for ax in part.axes for mark in (*ax.images, *ax.lines, *ax.texts, *ax.collections)):
                artist.set_animated(artist.zorder > BENEATH)
            moving = sorted((artist for ax in part.axes for artist in ax.get_children() if artist.get_animated()), key=lambda artist: artist.zorder)
            if part.stale or part not in self._still:
                for tick in (tick for ax in part.axes if ax.get_label() == PLACED for axis in (ax.xaxis, ax.yaxis) for tick in axis.majorTicks):
                    tick.label1.set_in_layout(False)  # matplotlib needn't ask how much room its number takes
                part.draw(renderer)
                self._still[part] = canvas.copy_from_bbox(part.bbox)
            canvas.restore_region(self._still[part])
            for artist in moving:
                artist.draw(renderer)
        return np.asarray(canvas.buffer_rgba())

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        """The live page; where no kernel runs, its picture and what that shows."""
        still = {"image/png": base64.b64encode(self.picture.value).decode(), "text/plain": self.describe()}
        return still | {k: v for k, v in super()._repr_mimebundle_(**kwargs).items() if k not in still}


def _alert(lead: str, rest: str) -> str:
    return f'<div role="alert" style="font-size:1.25em;border-left:6px solid #a84300;padding-left:0.6em"><b>{lead}</b>{rest}</div>'


def png(pixels: np.ndarray) -> bytes:
    """Pixels (rows, columns, RGBA) as a PNG file that takes little time; layout by ISO/IEC 15948, from memory."""
    rows, columns, _ = pixels.shape
    lines = np.zeros((rows, 1 + 4 * columns), np.uint8)  # each after a 0: as it is, not as a difference
    lines[:, 1:] = pixels.reshape(rows, -1)
    parts = (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 6, 0, 0, 0)), (b"IDAT", zlib.compress(lines, 1)), (b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in parts)


def parts(figure: Figure, places: Iterable[SubplotSpec], boxes: Iterable[tuple[float, float, float, float]],
          below: float = 0.0, beside: Iterable[float] = ()) -> list[Axes]:
    """Axes, each at its box in a part of the figure that can be drawn alone; labels stand so many pixels below them, and beside each.

    Where it isn't said, matplotlib looks for room for the labels, which takes a third of a draw.
    """
    axes = [figure.add_subfigure(place, facecolor=figures.PAPER).add_axes(box) for place, box in zip(places, boxes)]
    for ax in axes:
        ax.spines[:].set_zorder(BENEATH)
        ax.locator_params(nbins=6)
    for ax, away in zip(axes, beside):
        ax.xaxis.set_label_coords(0.5, -below / ax.bbox.height)
        ax.yaxis.set_label_coords(-away / ax.bbox.width, 0.5)
        ax.set_label(PLACED)
    return axes


def unit_switch() -> widgets.ToggleButtons:
    """Metric or US units."""
    switch = widgets.ToggleButtons(options=[("metric", "metric"), ("US", "us")], style={"button_width": "5em"}, layout={"width": "auto"})
    switch.add_class("curvelab-units")
    return switch


def chooser(label: str, options: Sequence[str], width: str, name: str) -> widgets.Dropdown:
    """A list to choose from, with its label."""
    box = widgets.Dropdown(options=options, description=label, layout={"width": width}, style={"description_width": "6em"})
    box.add_class(f"curvelab-{name}")
    return box
