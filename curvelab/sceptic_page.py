"""A page for a hostile reader: change any assumption, leave a reading out, and watch the verdict."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable
from dataclasses import replace

import ipywidgets as widgets
from matplotlib.figure import Figure

from . import drawing, figures, sceptic
from .adjustment import adjust
from .controls import Control, unit_in
from .decision import UNDECIDED, Verdict, decide
from .fieldbook import with_changes
from .page import Page, parts, unit_switch
from .planning import what_if
from .records import FieldBook

NOTHING = "nothing: every row counts"
CONTROLS = {
    "k": Control("Refraction k", "1", -3.0, 3.0, 0.01, 0.13),
    "collimation": Control("Tilt of the sight", "µrad", -200.0, 200.0, 1.0, 0.0),
    "shores": Control("Far water higher by", "mm", -500.0, 500.0, 1.0, 0.0),
}
SIZE = (11.6, 4.3)  # inches at 100 dpi
HEIGHTS, BOXES, BELOW = (173, 257), ((0.3, 0.32, 0.67, 0.65), (0.3, 0.2, 0.67, 0.7)), 30.5  # pixels of the parts; axes in them; pixels of the labels below
BARS = 6


class ScepticPage(Page):
    """What the verdict of a field book rests on, for whoever doubts it.

    Parameters
    ----------
    book : FieldBook
        With readings.

    Attributes
    ----------
    left_out : Dropdown
    units : ToggleButtons
    verdict : Verdict
        As the page shows it.
    """

    def __init__(self, book: FieldBook) -> None:
        self._book, self.verdict = book, decide(adjust(book))
        start = {flip.assumption: flip.stated for flip in sceptic.flips(self.verdict)}
        self._stated = {"k": self.verdict.result.effective_k, "shores": book.water.between_shores.value * 1e3,
                        "collimation": start.get("tilt of the line of sight at the lake", 0.0)}
        self._choices = sceptic.choices(book)
        self.left_out = widgets.Dropdown(options=[NOTHING, *self._choices], description="Leave out", layout={"width": "44em"},
                                         style={"description_width": "8em"})
        self.left_out.add_class("curvelab-left-out")
        self._start = {name: round(round(self._stated[name] / c.step) * c.step, 2) for name, c in CONTROLS.items()}  # where a slider can stand
        controls = {name: replace(c, start=self._start[name]) for name, c in CONTROLS.items()}
        self.units = unit_switch()
        super().__init__(controls, SIZE, ScepticPage._compute, _describe, [widgets.HBox([self.left_out, self.units])])
        self.left_out.observe(self.update, "value")
        self.units.observe(self.show_in, "value")
        self.update()

    def _compute(self) -> tuple[str, Iterable[str]]:
        """Reduce the changed book, draw it, and say what became of the verdict."""
        book = self._book
        if self.left_out.value != NOTHING:
            book = sceptic.without(book, *self._choices[self.left_out.value])
        moved = {name: value for name, value in self.values.items() if abs(value - self._start[name]) > CONTROLS[name].step / 2}
        tilt = moved.get("collimation", self._stated["collimation"]) - self._stated["collimation"]
        book = with_changes(book, what_if(book, **{name: value for name, value in moved.items() if name != "collimation"}))
        self.verdict = decide(adjust(sceptic.tilted(book, tilt * 1e-6)))
        self._draw(self.verdict)
        told = [sceptic.supposed(sceptic.WHAT_IF[name], self.fields[name].told(value)) for name, value in moved.items()]
        told += [f"{self.left_out.value} had not been taken"] if self.left_out.value != NOTHING else []
        asked = f"What if {' and '.join(told)}? " if told else ""
        return f"{asked}Verdict: {self.verdict.outcome}. {self.verdict.finding_in(self.units.value)}", _notes(self.verdict, self.units.value)

    def _draw(self, verdict: Verdict) -> None:
        """The curvature axis and the budget at the target."""
        result = verdict.result
        axes = self.figure.axes or parts(self.figure, self.figure.add_gridspec(2, 1, height_ratios=HEIGHTS), BOXES, BELOW, (0, 0))
        note = verdict.outcome if verdict.outcome in UNDECIDED else ""
        rows, units = result.offset_budget()[:BARS], drawing.SYSTEMS[self.units.value]
        figures.curvature_axis(result.ellipsoid_curvature, max(result.curvature.u, result.planned_u), found=result.curvature.value, note=note, units=units, ax=axes[0])
        figures.budget_bars([(f"{row.cause}, {row.common_to}", row.u * units.per_metre, row.scope == "new each time") for row in rows], ax=axes[1])
        drawing.put(axes[1], xlabel=f"standard uncertainty at the target [{units.short}]")
        drawing.titled(axes[1], "What the uncertainty is made of")
        drawing.words(axes[1], "invented", "invented data" if result.book.invented else "", (1, 1), xycoords="axes fraction", ha="right", va="bottom")


def _notes(verdict: Verdict, units: str) -> list[str]:
    """What would turn the verdict, which result would have gone against it, and the answers."""
    cells = [[flip.assumption, *(_number(value, flip.unit, units) for value in (flip.stated, flip.u, flip.falls, flip.flat)), flip.measured_by]
             for flip in sceptic.flips(verdict)]
    head = ["Assumption", "taken as", "± (standard uncertainty)", "the verdict falls at", "flat water would need", "what speaks for it"]
    rows = [f"<tr>{''.join(f'<td style=padding-right:1.2em>{html.escape(cell)}</td>' for cell in row)}</tr>" for row in [head, *cells]]
    told = [f"<dt><b>{html.escape(a.objection)}</b></dt><dd>{html.escape(a.answer)} <i>See: {html.escape(a.see)}.</i></dd>" for a in sceptic.answers(verdict, units)]
    return [f"<p>{html.escape(sceptic.against(verdict, units))}</p><table>{''.join(rows)}</table><dl>{''.join(told)}</dl>"]


def _number(value: float, metric: str, units: str) -> str:
    """A number with its unit, or a dash."""
    unit, factor = unit_in(units, metric)
    value *= factor
    return "–" if not math.isfinite(value) else f"{value:z.2f}" if unit == "k" else f"{value:z.1f} {unit}"


def _describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    axis, bars = figures.named(figure.axes[0]), figure.axes[1]
    largest, value = bars.get_yticklabels()[0].get_text(), next(text.xy[0] for text in bars.texts if text.get_gid() == "value 0")
    return (f"found {axis['found'].get_xdata()[0]:.4f} per 1000 {figures.labelled(figure.axes[0]).far}, ellipsoid {axis['ellipsoid'].get_xdata()[0]:.4f}; "
            f"largest part {largest}, {value:.1f} {bars.get_xlabel()[-3:-1]}")
