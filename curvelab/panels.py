"""The live page: four controls, three pictures, one sentence. It asks the other rooms and shows what they say."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from . import figures
from .adjustment import Result, adjust, longest
from .decision import decide
from .fieldbook import read_fieldbook, with_changes
from .page import Control, Page
from .planning import CAUTIONS, TESTED, as_read, plan, single_line, what_if
from .prediction import line_of_sight, measured_offset
from .records import FieldBook

NO_BOOK = "no field book: only plan"
CONTROLS = {
    "length": Control("Length of sight", "m", 100.0, 5000.0, 50.0, 2000.0),
    "height": Control("Height of instrument", "m", 0.5, 6.0, 0.1, 1.6),
    "gradient": Control("Temperature gradient", "K/m", -0.50, 0.50, 0.002, -0.01),
    "collimation": Control("Collimation error", "µrad", -100.0, 100.0, 1.0, 0.0),
}
GRADIENT_U = "0.03 K/m"
WHAT_IF = {"gradient": "the temperature gradient had been {:g} K/m", "collimation": f"a peg test had found a collimation error of {{:g}} ± {TESTED}"}
UNDECIDED = ("readings disagree", "too uncertain to decide")
SIZE = (11.6, 4.3)  # inches at 100 dpi


class LivePage(Page):
    """The presenter's page.

    Parameters
    ----------
    folder : path
        Holds field books, one folder each; they can be chosen on the page.

    Attributes
    ----------
    book : Dropdown
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self.folder = Path(folder) if folder else None
        names = sorted({p.parent.name for file in ("site.toml", "readings.csv") for p in self.folder.glob(f"*/{file}")}) if self.folder else []
        self.book = widgets.Dropdown(options=[NO_BOOK, *names], description="Field book", layout={"width": "34em"},
                                     style={"description_width": "8em"})
        self.book.add_class("curvelab-book")
        self._chosen: FieldBook | None = None
        self._as_read: dict[str, float] = {}
        super().__init__(CONTROLS, SIZE, LivePage._compute, _describe, [self.book])
        self.book.observe(self._choose, "value")
        self.update()

    def update(self, change: Any = None) -> None:
        """Compute and draw, unless a book with a fault is chosen: its message stands."""
        if self.book.value == NO_BOOK or self._chosen is not None:
            super().update(change)

    def _choose(self, change: Any = None) -> None:
        """Open the chosen field book and set the controls to what it says."""
        with self._turn:
            self._chosen, self._as_read = None, {}
            try:
                if self.book.value != NO_BOOK:
                    book = read_fieldbook(self.folder / self.book.value)
                    self._as_read = {name: value for name, value in as_read(adjust(book)).items() if math.isfinite(value)}
                    self._chosen = book
            except Exception as error:  # a fault shows on the page, in words
                self.show_fault(error)
                for slider in self.controls.values():
                    slider.disabled = True
                return
            self._setting = True  # the controls follow the book, and are not asked in between
            try:
                for name, slider in self.controls.items():
                    self._follow(name, slider)
            finally:
                self._setting = False
            self.update()

    def _follow(self, name: str, slider: widgets.FloatSlider) -> None:
        """Set one control to what the book says."""
        control = CONTROLS[name]
        value = self._as_read.setdefault(name, control.start) if self._chosen else control.start
        fixed = name in ("length", "height") and self._chosen is not None
        slider.min, slider.max = min(control.low, value), max(control.high, value)
        slider.step, slider.disabled = control.step / 1000 if fixed else control.step, fixed
        slider.value = value

    def _compute(self) -> tuple[str, Iterable[str]]:
        """Draw the result; its sentence and its notes."""
        result, text, notes, outcome = self._result()
        self._draw(result, outcome)
        told = [f"{html.escape(note[0].upper() + note[1:])}. " for note in notes]
        return text, [*told, f'<b>Cautions.</b> {" ".join(map(html.escape, CAUTIONS))}']

    def _result(self) -> tuple[Result, str, tuple[str, ...], str]:
        """The result to show, what it says, what to know beside it, and the outcome."""
        values = self.values
        if self._chosen is None:
            planned = plan(single_line(values["length"], gradient=f"{values['gradient']:.4f} ± {GRADIENT_U}",
                                       collimation=f"{values['collimation']:.3f} ± {TESTED}"))
            return planned.result, planned.describe(values["height"]), (), ""
        moved = {name: values[name] for name in ("gradient", "collimation")
                 if abs(values[name] - self._as_read[name]) > CONTROLS[name].step / 2}
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


def _describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    axis, chart, at = (figures.named(axes) for axes in figure.axes)
    text = (f"flat {at['flat'].get_ydata()[0]:z.1f} mm and ellipsoid {at['ellipsoid'].get_ydata()[0]:z.1f} mm above the level mark; ")
    text += f"1/R = {axis['ellipsoid'].get_xdata()[0]:.4f} per 1000 km"
    if "found" in axis:
        text += f"; found {axis['found'].get_xdata()[0]:.4f} per 1000 km, {at['found'].get_ydata()[0]:z.1f} mm"
    elif "flat interval" in axis:
        low, high = axis["flat interval"].get_xdata()
        text += f"; 95 of 100 within ± {(high - low) / 2:.4f}"
    return f"{text}; axis {chart['axis'].get_ydata()[0] / 1000:.2f} m above the water"
