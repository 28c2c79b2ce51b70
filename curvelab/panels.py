"""The live page: four controls, three pictures, one sentence. It asks the other rooms and shows what they say."""

from __future__ import annotations

import base64
import html
import io
import math
import threading
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from . import figures
from .adjustment import Result, adjust, longest
from .decision import decide
from .fieldbook import read_fieldbook, with_changes
from .planning import CAUTIONS, TESTED, as_read, plan, single_line, what_if
from .prediction import line_of_sight, measured_offset
from .records import FieldBook

NO_BOOK = "no field book: only plan"

# name: label, unit, lowest, highest, step, start
CONTROLS = {
    "length": ("Length of sight", "m", 100.0, 5000.0, 50.0, 2000.0),
    "height": ("Height of instrument", "m", 0.5, 6.0, 0.1, 1.6),
    "gradient": ("Temperature gradient", "K/m", -0.50, 0.50, 0.002, -0.01),
    "collimation": ("Collimation error", "µrad", -100.0, 100.0, 1.0, 0.0),
}
GRADIENT_U = "0.03 K/m"
WHAT_IF = {"gradient": "the temperature gradient had been {:g} K/m", "collimation": f"a peg test had found a collimation error of {{:g}} ± {TESTED}"}
UNDECIDED = ("readings disagree", "too uncertain to decide")
SIZE = (11.6, 4.3)  # inches at 100 dpi


class LivePage(widgets.VBox):
    """The presenter's page.

    Parameters
    ----------
    folder : path
        Holds field books, one folder each; they can be chosen on the page.

    Attributes
    ----------
    controls : dict of FloatSlider
        By name: length, height, gradient, collimation.
    book : Dropdown
    figure : Figure
        One figure, drawn anew at each move.
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self.folder = Path(folder) if folder else None
        names = sorted({p.parent.name for file in ("site.toml", "readings.csv") for p in self.folder.glob(f"*/{file}")}) if self.folder else []
        self.book = widgets.Dropdown(options=[NO_BOOK, *names], description="Field book", layout={"width": "34em"},
                                     style={"description_width": "8em"})
        self.controls = {name: _slider(name) for name in CONTROLS}
        self.figure = Figure(figsize=SIZE, dpi=100)
        FigureCanvasAgg(self.figure)
        self.picture = widgets.Image(format="png", width=int(SIZE[0] * 100), height=int(SIZE[1] * 100))
        self.sentence, self.fault = widgets.HTML(), widgets.HTML()
        self.notes = widgets.HTML()
        self._turn = threading.RLock()  # a kernel may answer two controls at a time
        self._setting = False
        self._chosen: FieldBook | None = None
        self._as_read: dict[str, float] = {}
        boxes = [_labelled(name, slider) for name, slider in self.controls.items()]
        for widget, css in ((self.picture, "picture"), (self.sentence, "sentence"), (self.book, "book"), (self.fault, "fault")):
            widget.add_class(f"curvelab-{css}")
        super().__init__([self.book, widgets.GridBox(boxes, layout={"grid_template_columns": "repeat(2, max-content)", "grid_gap": "0 2em"}),
                          self.fault, self.sentence, self.picture, self.notes])
        self.book.observe(self._choose, "value")
        for slider in self.controls.values():
            slider.observe(self._update, "value")
        self._update()

    def _choose(self, change: Any = None) -> None:
        """Open the chosen field book and set the controls to what it says."""
        with self._turn:
            self._chosen, self._as_read = None, {}
            try:
                if self.book.value != NO_BOOK:
                    book = read_fieldbook(self.folder / self.book.value)
                    self._as_read = _settings(adjust(book))
                    self._chosen = book
            except Exception as error:  # a fault shows on the page, in words
                self._show_fault(error)
                return
            self._setting = True  # the controls follow the book, and are not asked in between
            try:
                for name, slider in self.controls.items():
                    _, _, low, high, step, start = CONTROLS[name]
                    value = self._as_read.setdefault(name, start) if self._chosen else start
                    fixed = name in ("length", "height") and self._chosen is not None
                    slider.min, slider.max = min(low, value), max(high, value)
                    slider.step, slider.disabled = step / 1000 if fixed else step, fixed
                    slider.value = value
            finally:
                self._setting = False
            self._update()

    def _update(self, change: Any = None) -> None:
        """Compute and draw; a fault shows in words and leaves the last picture."""
        with self._turn:
            if self._setting or self.book.value != NO_BOOK and self._chosen is None:
                return  # the controls are being set, or a book with a fault is chosen: its message stands
            try:
                result, text, notes, outcome = self._result()
                self._draw(result, outcome)
            except Exception as error:  # a fault shows on the page, in words
                self._show_fault(error)
                return
            self.fault.value = ""
            self.sentence.value = f'<div style="font-size:17px;line-height:1.3;max-width:64em">{html.escape(text)}</div>'
            told = "".join(f"{html.escape(note[0].upper() + note[1:])}. " for note in notes)
            self.notes.value = f'<div style="line-height:1.35;max-width:75em">{told}<b>Cautions.</b> {" ".join(map(html.escape, CAUTIONS))}</div>'

    def _show_fault(self, error: Exception) -> None:
        text = html.escape(str(error)).replace("\n", "<br>")
        self.sentence.value = ""
        self.notes.value = "The picture is still the last one that could be worked out."
        for slider in self.controls.values():
            slider.disabled = self.book.value != NO_BOOK and self._chosen is None
        self.fault.value = f'<div role="alert" style="font-size:16px;border-left:6px solid #a84300;padding-left:0.6em"><b>This can\'t be worked out.</b> {text}</div>'

    def _result(self) -> tuple[Result, str, tuple[str, ...], str]:
        """The result to show, what it says, what to know beside it, and the outcome."""
        values = {name: slider.value for name, slider in self.controls.items()}
        if self._chosen is None:
            planned = plan(single_line(values["length"], gradient=f"{values['gradient']:.4f} ± {GRADIENT_U}",
                                       collimation=f"{values['collimation']:.3f} ± {TESTED}"))
            return planned.result, planned.describe(values["height"]), (), ""
        moved = {name: values[name] for name in ("gradient", "collimation")
                 if abs(values[name] - self._as_read[name]) > CONTROLS[name][4] / 2}
        changes = what_if(self._chosen, **moved)
        if self._chosen.is_plan:
            planned = plan(with_changes(self._chosen, changes))
            return planned.result, f"{planned.describe(values['height'])} Nothing is read yet.", (), ""
        verdict = decide(adjust(self._chosen, changes))
        told = " and ".join(WHAT_IF[name].format(value) for name, value in moved.items())
        return verdict.result, (f"What if {told}? " if moved else "") + verdict.finding, verdict.remarks, verdict.outcome

    def _draw(self, result: Result, outcome: str) -> None:
        """The three pictures of a result, the curvature axis first."""
        distance = longest(result).reading.distance
        along = np.linspace(0.0, distance, 81)
        flat, ellipsoid = (line_of_sight(result, kappa, along) for kappa in (0.0, result.ellipsoid_curvature))
        found = measured_offset(result)
        read = not math.isnan(found.value)
        with figures.style():
            self.figure.clear()
            grid = self.figure.add_gridspec(2, 2, height_ratios=(1, 2.6), width_ratios=(2.5, 1), left=0.085, right=0.985, top=0.985,
                                            bottom=0.105, hspace=0.52, wspace=0.26)
            axes = [self.figure.add_subplot(place) for place in (grid[0, :], grid[1, 0], grid[1, 1])]
            figures.curvature_axis(result.ellipsoid_curvature, max(result.curvature.u, result.planned_u), found=result.curvature.value, note=outcome if outcome in UNDECIDED else "", ax=axes[0])
            figures.sight_chart(along, flat, ellipsoid, axis_height=self.controls["height"].value,
                                points=[(distance, found.value, found.u)] if read else [], ax=axes[1])
            figures.target_board(*((line[0][-1], line[1][-1]) for line in (flat, ellipsoid)),
                                 found=(found.value, found.u) if read else None, ax=axes[2])
            if result.book.invented and self._chosen is not None:
                axes[2].annotate("invented data", (1, 0), xycoords="axes fraction", ha="right", va="top", xytext=(0, -8), textcoords="offset points")
            out = io.BytesIO()
            self.figure.savefig(out, format="png", metadata={"Software": None}, pil_kwargs={"compress_level": 1})
        self.picture.value = out.getvalue()

    def _repr_mimebundle_(self, **kwargs: Any) -> dict[str, Any]:
        """The live page; where no kernel runs, its picture and what that shows."""
        still = {"image/png": base64.b64encode(self.picture.value).decode(), "text/plain": self.describe()}
        return still | {k: v for k, v in super()._repr_mimebundle_(**kwargs).items() if k not in still}

    def describe(self) -> str:
        """What the picture shows, read back from what was drawn."""
        axis, chart, at = ({line.get_gid(): line for line in axes.lines if line.get_gid()} for axes in self.figure.axes)
        text = (f"flat {at['flat'].get_ydata()[0]:z.1f} mm and ellipsoid {at['ellipsoid'].get_ydata()[0]:z.1f} mm above the level mark; ")
        text += f"1/R = {axis['ellipsoid'].get_xdata()[0]:.4f} per 1000 km"
        if "found" in axis:
            text += f"; found {axis['found'].get_xdata()[0]:.4f} per 1000 km, {at['found'].get_ydata()[0]:z.1f} mm"
        elif "flat interval" in axis:
            low, high = axis["flat interval"].get_xdata()
            text += f"; 95 of 100 within ± {(high - low) / 2:.4f}"
        return f"{text}; axis {chart['axis'].get_ydata()[0] / 1000:.2f} m above the water"


def _slider(name: str) -> widgets.FloatSlider:
    """A control with its range and step."""
    _, _, low, high, step, start = CONTROLS[name]
    return widgets.FloatSlider(value=start, min=low, max=high, step=step, readout=False, continuous_update=True,
                               layout={"width": "15em"})


def _labelled(name: str, slider: widgets.FloatSlider) -> widgets.Box:
    """A control with its name, its unit and a number field beside it."""
    label, unit, low, high, step, start = CONTROLS[name]
    number = widgets.BoundedFloatText(value=start, min=low, max=high, step=step, layout={"width": "6.5em"})
    widgets.link((slider, "min"), (number, "min"))
    widgets.link((slider, "max"), (number, "max"))
    widgets.link((slider, "value"), (number, "value"), transform=(lambda value: round(value, 1 - math.floor(math.log10(step))),) * 2)
    widgets.link((slider, "disabled"), (number, "disabled"))
    box = widgets.HBox([widgets.Label(f"{label} [{unit}]", layout={"width": "14em"}), slider, number])
    box.add_class(f"curvelab-{name}")
    return box


def _settings(result: Result) -> dict[str, float]:
    """Where the controls stand for a field book, as far as it says."""
    return {name: value for name, value in as_read(result).items() if math.isfinite(value)}
