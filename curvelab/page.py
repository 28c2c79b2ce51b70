"""What every page has: labelled controls, one picture, one sentence. A fault shows on the page, in words."""

from __future__ import annotations

import base64
import contextlib
import html
import itertools
import math
import struct
import threading
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import ipywidgets as widgets
import numpy as np
import traitlets
from matplotlib.figure import Figure

from . import figures, units
from .stamps import Canvas

US_UNITS = {"m": "ft", "mm": "in", "K/m": "°F/ft"}  # in place of a control's metric one
DIMENSIONS = {"m": "length", "mm": "length", "K/m": "temperature gradient", "µrad": "angle", "°": "angle", "°C": "temperature", "m/s": "speed"}  # else a plain number


@dataclass(frozen=True)
class Control:
    """A number that can be moved: its label, unit, range, step and where it starts."""

    label: str
    unit: str
    low: float
    high: float
    step: float
    start: float


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
        self._show, self._read, self.projector = show, read, False
        self.controls = {name: _slider(control) for name, control in controls.items()}
        self.figure = Figure(figsize=size, dpi=100, facecolor=figures.PAPER)
        Canvas(self.figure)
        self.picture = widgets.Image(format="png", width=int(size[0] * 100), height=int(size[1] * 100))
        self.sentence, self.fault, self.notes = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self._turn = threading.RLock()  # a kernel may answer two controls at a time
        self._setting = False
        self._still: WeakKeyDictionary = WeakKeyDictionary()  # pixels of what stands still, by subfigure
        self.fields = {name: _Field(name, control, self.controls[name], self._refuse) for name, control in controls.items()}
        for widget, css in ((self.picture, "picture"), (self.sentence, "sentence"), (self.fault, "fault")):
            widget.add_class(f"curvelab-{css}")
        super().__init__([*above, widgets.GridBox([*self.fields.values()], layout={"grid_template_columns": f"repeat({columns}, max-content)", "grid_gap": "0 1.5em"}),
                          *between, self.fault, self.sentence, self.picture, self.notes])
        for field in self.fields.values():
            field.observe(self.update, "value")

    @property
    def values(self) -> dict[str, float]:
        """What the controls say."""
        return {name: field.value for name, field in self.fields.items()}

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
            self.sentence.value = f'<div style="font-size:{25 if self.projector else 17}px;line-height:1.3;max-width:64em;min-height:2.6em">{html.escape(text).replace(" %", "&nbsp;%")}</div>'
            self.notes.value = f'<div style="line-height:1.35;max-width:75em">{"".join(notes)}</div>'

    def show_fault(self, error: Exception) -> None:
        """Say on the page what can't be worked out; the last picture stays."""
        text = html.escape(str(error)).replace("\n", "<br>")
        self.sentence.value = ""
        self.notes.value = ""
        self.fault.value = _alert("This can't be worked out</b> (the picture is still the last one that could be): ", text)

    def _refuse(self, error: Exception) -> None:
        """Say on the page why a number that was typed is not taken; all else stays."""
        self.fault.value = _alert("Not taken</b>: ", html.escape(str(error)))

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
            if part.stale or part not in self._still:
                part.draw(renderer)
                self._still[part] = canvas.copy_from_bbox(part.bbox)
            canvas.restore_region(self._still[part])
            for artist in sorted(itertools.chain(*(ax.get_children() for ax in part.axes)), key=lambda artist: artist.zorder):
                if artist.get_animated():
                    artist.draw(renderer)
        return np.asarray(canvas.buffer_rgba())

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        """The live page; where no kernel runs, its picture and what that shows."""
        still = {"image/png": base64.b64encode(self.picture.value).decode(), "text/plain": self.describe()}
        return still | {k: v for k, v in super()._repr_mimebundle_(**kwargs).items() if k not in still}


def _alert(lead: str, text: str) -> str:
    return f'<div role="alert" style="font-size:16px;border-left:6px solid #a84300;padding-left:0.6em"><b>{lead}{text}</div>'


def png(pixels: np.ndarray) -> bytes:
    """Pixels (rows, columns, RGBA) as a PNG file that takes little time; layout by ISO/IEC 15948, from memory."""
    rows, columns, _ = pixels.shape
    lines = np.zeros((rows, 1 + 4 * columns), np.uint8)  # each after a 0: as it is, not as a difference
    lines[:, 1:] = pixels.reshape(rows, -1)
    parts = (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 8, 6, 0, 0, 0)), (b"IDAT", zlib.compress(lines, 1)), (b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + b"".join(struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data)) for name, data in parts)


def unit_in(system: str, metric: str) -> tuple[str, float]:
    """A unit in ``"metric"`` or ``"us"``, and how many of it make one of the metric one."""
    unit = US_UNITS.get(metric, metric) if system == "us" else metric
    return unit, 1.0 if unit == metric else units.convert(1.0, unit) / units.convert(1.0, metric)


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


class _Slider(widgets.FloatSlider):
    """A slider that knows when a browser moves it."""

    moved = False

    def set_state(self, sync_data: dict[str, Any]) -> None:
        """Take what a browser says."""
        self.moved = True
        try:
            super().set_state(sync_data)
        finally:
            self.moved = False


def _slider(control: Control) -> _Slider:
    """A control with its range and step."""
    return _Slider(value=control.start, min=control.low, max=control.high, step=control.step, readout=False,
                   continuous_update=True, layout={"width": "6.5em"})


class _Field(widgets.HBox):
    """A control with its name, its unit and its number beside it, as people write numbers; the slider itself stays metric.

    `value` is what was given, though a browser moves a slider to its nearest step; told again, it is given again.
    """

    value = traitlets.Float()

    def __init__(self, name: str, control: Control, slider: _Slider, refuse: Callable[[Exception], None]) -> None:
        self._control, self._slider, self._refuse = control, slider, refuse
        self._following = self._put = self._blank = False
        self._label, self._number = widgets.Label(layout={"width": "14em"}), widgets.Text(continuous_update=False, layout={"width": "5.5em"})
        super().__init__([self._label, slider, self._number], value=slider.value)
        self.add_class(f"curvelab-{name}")
        widgets.link((slider, "disabled"), (self._number, "disabled"))
        slider.observe(self._slid, "value")
        self.observe(self._follow, "value")
        self._number.observe(self._typed, "value")
        self.show_in("metric")

    def put(self, value: float) -> None:
        """Give the control a value [its metric unit], between steps too; beyond its range, the end of that."""
        self._slider.value = value
        self._slid()
        self._put = True

    def blank(self) -> None:
        """Show no number until one is given."""
        self._blank = True
        self._follow()

    def show_in(self, system: str) -> None:
        """Label and number in ``"metric"`` or ``"us"`` units."""
        self.unit, self._factor = unit_in(system, self._control.unit)
        self._label.value = self._control.label if self.unit == "1" else f"{self._control.label} [{self.unit}]"
        self._follow()

    def told(self, value: float) -> str:
        """A value of the control [its metric unit] in words."""
        return f"{self._shown(value):z.6g} {self.unit}".removesuffix(" 1")

    def _shown(self, value: float) -> float:
        """In the unit shown, with one digit after the point more than a step has."""
        return round(value * self._factor, max(1 - math.floor(math.log10(self._control.step * self._factor)), 0))

    def _slid(self, _: Any = None) -> None:
        """Where the slider stands, unless a browser has but moved it to the step beside what was put there last."""
        if not (self._put and self._slider.moved and abs(self._slider.value - self.value) < (0.5 + 1e-6) * self._slider.step):
            self.value = self._slider.value
        self._put = False

    def _follow(self, change: Any = None) -> None:
        """The number says what the control does."""
        self._blank &= change is None
        self._following = True
        self._number.value = "" if self._blank else f"{self._shown(self.value):z.10g}"
        self._following = False

    def _typed(self, _: Any = None) -> None:
        """The control takes the number that was typed, if it is one; an emptied box shows again what is."""
        if self._following:
            return
        text, before = self._number.value, self.value
        try:
            if text.strip():
                self.put(self._read(text))
                self._blank = False
        except ValueError as error:
            self._refuse(ValueError(f"{self._label.value}: {error}"))
            text = ""
        self._follow()
        if text.strip() and self.value == before:
            self.notify_change(traitlets.Bunch(name="value", old=before, new=before, owner=self, type="change"))

    def _read(self, text: str) -> float:
        """The value of a text [the control's metric unit]; ValueError where it is none, or out of range."""
        metric, bare = self._control.unit, units.is_bare(units.clean(text))
        dimension = DIMENSIONS.get(metric, "number")
        quantity = units.parse(f"{text} {self.unit}" if bare and metric in DIMENSIONS else text, dimension)
        if quantity.u is not None:
            raise ValueError("write one number, without ±")
        value = float(f"{units.convert(quantity.value, metric if metric in DIMENSIONS else '', dimension):.12g}")
        low, high = self._slider.min, self._slider.max
        if not self._shown(low) <= self._shown(value) <= self._shown(high):
            raise ValueError(f"{text.strip()!r} lies beyond {self.told(low)} to {self.told(high)}")
        return value
