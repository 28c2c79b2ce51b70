"""The live page in four moves: ask, choose, look, judge. It asks the other rooms and shows what they say."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from . import figures, sceptic
from .adjustment import Result, adjust, longest
from .controls import Control
from .decision import UNDECIDED, decide
from .designs import single_line
from .drawing import SYSTEMS, Units, words
from .fieldbook import read_fieldbook, with_changes
from .page import Page, chooser, parts, unit_switch
from .planning import CAUTIONS, TESTED, as_read, clearance, phoned_in, plan, what_if
from .prediction import measured_offset, predicted_lines
from .records import FieldBook
from .wording import WORDS, length, offset

NO_BOOK, NOTHING = "no field book: only plan", "no row"
ANSWERS = ("above the mark", "on the mark", "below the mark")
CONTROLS = {
    "length": Control("Length of sight", "m", 100.0, 5000.0, 50.0, 2000.0),
    "height": Control("Height of instrument", "m", 0.5, 6.0, 0.1, 1.6),
    "gradient": Control("Temperature gradient", "K/m", -0.50, 0.50, 0.002, -0.01),
    "collimation": Control("Collimation error", "µrad", -100.0, 100.0, 1.0, 0.0),
    "shores": Control("Far water higher by", "mm", -200.0, 200.0, 1.0, 0.0),
    "phoned": Control("Reading above mark", "mm", -1000.0, 3000.0, 1.0, 0.0),
}
GRADIENT_U, TILT_U = 0.03, float(TESTED.partition(" ")[0])  # K/m; µrad
SHORT = 100.0  # m, of the null control
WHAT_IF = {"gradient": "the temperature gradient had been {}", "collimation": f"a peg test had found a collimation error of {{}}, ± {TESTED}",
           "shores": sceptic.WHAT_IF["shores"]}
SIZE, LARGE = (11.6, 3.85), (17.0, 6.0)  # inches at 100 dpi
HEIGHTS, WIDTHS = (134, 276), (782, 378)  # of the parts of the figure, the axis above both
MARGINS = (112, 49, 17, 6), (112, 46, 20, 25), (99, 46, 17, 25)  # pixels left, below, right and above of the axes in their parts, in small type
LABELS, LARGE_LABELS, LARGER = (30.5, (0, 74, 68)), (40.3, (0, 111, 100)), 18 / 11  # pixels below the axes, and left of each, beyond -10000; times the small type


class LivePage(Page):
    """The presenter's page.

    Parameters
    ----------
    folder : path
        Holds field books, one folder each; they can be chosen on the page.

    Attributes
    ----------
    answer : ToggleButtons
        What the audience commits to; nothing is shown before.
    book, left_out : Dropdown
        The field book, and a row of it to leave out.
    called : Checkbox
        Whether a reading has been phoned in (the control ``phoned``).
    units, reset, null, large : Widget
    """

    def __init__(self, folder: str | Path | None = None) -> None:
        self.folder = Path(folder) if folder else None
        names = sorted({p.parent.name for file in ("site.toml", "readings.csv") for p in self.folder.glob(f"*/{file}")}) if self.folder else []
        self.answer = widgets.ToggleButtons(options=ANSWERS, value=None, style={"button_width": "10em"}, layout={"width": "auto"})
        self.units = unit_switch()
        self.large = widgets.ToggleButton(description="Large type", tooltip="for a projector: type grows with the window", layout={"width": "7em"})
        self.reset, self.null = (widgets.Button(description=text, layout={"width": "auto"}) for text in ("Start over", "Null control: a short line"))
        self.book = chooser("Field book", [NO_BOOK, *names], "26em", "book")
        self.left_out = chooser("Leave out", [NOTHING], "30em", "left-out")
        self.called = widgets.Checkbox(description="a reading was phoned in", indent=False, layout={"width": "17em"})
        self._chosen: FieldBook | None = None
        self._as_read: dict[str, float] = {}
        self._typical: dict[str, float] = {}  # errors of what a heckler may suppose otherwise
        self._struck = math.nan  # where the line struck the board, as it was read or phoned in [m above the mark]
        self._tested = False  # a level by pegs
        self.answer.add_class("curvelab-answer"), self.called.add_class("curvelab-called"), self.reset.add_class("curvelab-reset")
        self.large.add_class("curvelab-large"), self.null.add_class("curvelab-null")
        ask, judge = (widgets.HBox(row, layout={"align_items": "center"}) for row in (
            [_move("Ask"), self.answer, _move("Choose"), self.units, self.large, self.null, self.reset], [_move("Judge"), self.book, self.left_out, self.called]))
        super().__init__(CONTROLS, SIZE, LivePage._compute, _describe, [ask], [judge], 3)
        spelt = "".join(f"<div><b>{html.escape(word)}</b>: {html.escape(meaning)}.</div>" for word, meaning in WORDS.items())
        self.children += widgets.HTML(f'<details class="curvelab-words" style="line-height:1.35;max-width:75em"><summary>Words to say aloud</summary>{spelt}</details>'),
        self.book.observe(self._choose, "value")
        for widget in (self.answer, self.called, self.left_out):
            widget.observe(self.update, "value")
        self.units.observe(self.show_in, "value")
        self.large.observe(self._resize, "value")
        self.reset.on_click(self._start_over)
        self.null.on_click(self._null)
        self._choose()

    def update(self, change: Any = None) -> None:
        """Compute and draw, unless a book with a fault is chosen: its message stands. A number phoned in is judged from then on."""
        if change and change.owner is self.fields["phoned"] and not self._setting:
            if math.isnan(self._struck):  # what is moved from now on is a what-if
                self._as_read, self._typical = self.values, {"gradient": GRADIENT_U, "collimation": TILT_U}
            self._struck = self.values["phoned"] / 1000
            with self.together():
                self.called.value = True
        if self.book.value == NO_BOOK or self._chosen is not None:
            super().update(change)

    def _start_over(self, _: Any = None) -> None:
        """The page as a new audience should find it."""
        with self._turn:
            with self.together():
                self.answer.value, self.called.value, self.book.value = None, False, NO_BOOK
            self._choose()

    def _emptied(self, name: str) -> None:
        """Without its number, no reading was phoned in."""
        super()._emptied(name)
        if name == "phoned":
            with self._turn:
                self._hang_up()
                self.update()

    def _hang_up(self) -> None:
        """No reading is phoned in, and its box is blank."""
        with self.together():
            self.called.value = False
        self.fields["phoned"].blank()
        self._struck = math.nan

    def _null(self, _: Any = None) -> None:
        """A line so short that no offset can be seen, and nothing read yet."""
        with self._turn:
            with self.together():
                for name in ("length", "gradient", "collimation", "phoned"):
                    self.fields[name].put(SHORT if name == "length" else CONTROLS[name].start)
            self._hang_up()
            self.update()

    def _resize(self, _: Any = None) -> None:
        """Pictures in the type for a screen, or in large type for a projector."""
        with self._turn:
            self.projected(LARGE if self.large.value else SIZE, self.large.value)
            self.update()

    def _choose(self, change: Any = None) -> None:
        """Open the chosen field book and set the controls to what it says."""
        with self._turn:
            if self._setting:
                return
            self._chosen, self._as_read, self._tested, self._struck = None, {}, False, math.nan
            try:
                if self.book.value != NO_BOOK:
                    book = read_fieldbook(self.folder / self.book.value)
                    result = adjust(book)
                    self._as_read = {name: value for name, value in as_read(result).items() if math.isfinite(value)}
                    self._typical = _typical(result)
                    self._struck = math.nan if book.is_plan else measured_offset(result).value
                    self._tested = bool(sceptic.pegs(result)) and not book.is_plan
                    self._chosen = book
            except Exception as error:  # a fault shows on the page, in words
                self.show_fault(error)
                self.null.disabled = True
                for slider in self.controls.values():
                    slider.disabled = True
                return
            with self.together():  # the controls follow the book, and are not asked in between
                self._choices = sceptic.choices(self._chosen) if self._chosen else {}
                self.left_out.options = [NOTHING, *self._choices]
                self.called.value, self.called.disabled = False, self._chosen is not None
                self.null.disabled = self._chosen is not None
                for name, slider in self.controls.items():
                    self._follow(name, slider)
                self.fields["phoned"].blank()
            self.update()

    def _follow(self, name: str, slider: widgets.FloatSlider) -> None:
        """Set one control to what the book says."""
        control = CONTROLS[name]
        value = self._as_read.setdefault(name, control.start) if self._chosen else control.start
        fixed = self._chosen is not None and name in ("length", "height", "phoned") or self._chosen is None and name == "shores"
        slider.disabled = fixed
        self.fields[name].start(value)

    def _compute(self) -> tuple[str, Iterable[str]]:
        """Draw the result; its sentence and its notes."""
        result, text, notes, outcome, tilt = self._result()
        self._draw(result, outcome, tilt)
        cautions = f'<b>Cautions.</b> {" ".join(map(html.escape, CAUTIONS))}'
        if self.answer.value is None:
            _cover(self.figure, SYSTEMS[self.units.value])
            away = length(longest(result).reading.distance, self.units.value)
            return (f"A line of sight leaves the level, as level as it can. {away} across the water, where will it strike the target: above the mark at its own height, "
                    "on the mark, or below it? Agree on one answer, then look."), [cautions]
        told = [f"{html.escape(note[0].upper() + note[1:])}. " for note in notes]
        sealed = [f"<b>Seal of the plan:</b> {html.escape(result.book.sealed)}. "] if result.book.sealed else []
        return f"You said: {self.answer.value}. {_went(self._struck, self.units.value) if outcome else ''}{text}", [*sealed, *told, cautions]

    def _result(self) -> tuple[Result, str, tuple[str, ...], str, float]:
        """The result to show, what it says, what to know beside it, the outcome, and a tilt that readings were rid of [rad]."""
        values, system = self.values, self.units.value
        if self._chosen is None:
            line = single_line(values["length"], gradient=f"{values['gradient']:.4f} ± {GRADIENT_U} K/m", collimation=f"{values['collimation']:.3f} ± {TESTED}",
                               pointings=1 if self.called.value else 5)
            if self.called.value and not math.isnan(self._struck):
                verdict = decide(adjust(phoned_in(line, values["phoned"] / 1000, values["height"])))
                told = self._supposed(self._moved("gradient", "collimation"), WHAT_IF) + verdict.finding_in(system) + clearance(verdict.result, values["height"], system)
                return verdict.result, told, (self._assumed(), "nothing checks this one reading"), verdict.outcome, 0.0
            planned = plan(line)
            null = "The null control: so short a line shows no curve, and a large offset comes from the level or from the hands. " if values["length"] == SHORT else ""
            ask, one = ("Now set the reading that was phoned in. ", ["this plan counts on one reading; without it, on the mean of five"]) if self.called.value else ("", [])
            return planned.result, null + ask + planned.describe(values["height"], system), (self._assumed(), *one), "", 0.0
        moved = self._moved(*WHAT_IF)
        left = [f"{self.left_out.value} had not been taken"] if self.left_out.value != NOTHING else []
        told = self._supposed(moved, WHAT_IF | ({"collimation": sceptic.WHAT_IF["collimation"]} if self._tested else {}), left)
        book = self._chosen
        if left:
            book = sceptic.without(book, *self._choices[self.left_out.value])
        tilt = (moved.pop("collimation", self._as_read["collimation"]) - self._as_read["collimation"]) * 1e-6 if self._tested else 0.0
        book = with_changes(book, what_if(book, **moved))
        if self._tested:  # its own pegs would hold back what another peg test found; last, since a change writes the book anew
            book = sceptic.tilted(book, tilt)
        if book.is_plan:
            planned = plan(book)
            return planned.result, f"{planned.describe(values['height'], system)} Nothing is read yet.", (), "", tilt
        verdict = decide(adjust(book))
        notes = tuple(note.replace("being as stated", "being as supposed") if "gradient" in moved else note for note in verdict.remarks)
        return verdict.result, told + verdict.finding_in(system), notes, verdict.outcome, tilt

    def _moved(self, *names: str) -> dict[str, float]:
        """What a heckler supposes otherwise than it was read."""
        values = self.values
        return {name: values[name] for name in names if abs(values[name] - self._as_read[name]) > CONTROLS[name].step / 2}

    def _supposed(self, moved: Mapping[str, float], asked: Mapping[str, str], left: Sequence[str] = ()) -> str:
        """The question of a heckler, and how far it goes from what was taken."""
        told = []
        for name, value in moved.items():
            field, was, u = self.fields[name], self._as_read[name], self._typical.get(name, math.nan)
            away = f"{abs(value - was) / u:.1f} typical errors from {field.told(was)}" if u > 0 else f"not {field.told(was)}"
            told.append(f"{sceptic.supposed(asked[name], field.told(value))}, {away}")
        return f"What if {', and '.join([*told, *left])}? " if told or left else ""

    def _assumed(self) -> str:
        """What the page takes for granted where no field book says otherwise."""
        return (f"without a field book the page takes the level as tested, to ± {TESTED}, the gradient as known to ± {self.fields['gradient'].told(GRADIENT_U)}, and the "
                "water as equally high at both shores; an untested level or unmeasured air can tell far less")

    def _draw(self, result: Result, outcome: str, tilt: float) -> None:
        """The three pictures of a result, the curvature axis first; lines are drawn with their tilt, and a reading stays about where it was."""
        along, *lines = predicted_lines(result)
        flat, ellipsoid = ((by + tilt * along, u) for by, u in lines)
        found, units, distance = measured_offset(result), SYSTEMS[self.units.value], along[-1]
        found = replace(found, value=found.value + tilt * distance)
        read = not math.isnan(found.value)
        axes = self.figure.axes or _three(self.figure, self.large.value)
        words(axes[1], "cover", "", (0.5, 0.5), xycoords="axes fraction")
        figures.curvature_axis(result.ellipsoid_curvature, max(result.curvature.u, result.planned_u), found=result.curvature.value,
                               note=outcome if outcome in UNDECIDED else "", units=units, ax=axes[0])
        figures.sight_chart(along, flat, ellipsoid, axis_height=self.values["height"], units=units,
                            points=[(distance, found.value, found.u)] if read else [], ax=axes[1])
        figures.target_board(*((line[0][-1], line[1][-1]) for line in (flat, ellipsoid)), units=units,
                             found=(found.value, found.u) if read else None, ax=axes[2])
        words(axes[2], "invented", "invented data" if result.book.invented and self._chosen is not None else "", (1, 0), xycoords="axes fraction",
              ha="right", va="top", xytext=(0, -8), textcoords="offset points")


def _three(figure: Figure, large: bool) -> list[figures.Axes]:
    """The places of the three pictures, each in a part of the figure that can be drawn alone."""
    grid, times = figure.add_gridspec(2, 2, height_ratios=HEIGHTS, width_ratios=WIDTHS), LARGER if large else 1.0
    width, height = figure.bbox.width / sum(WIDTHS) / times, figure.bbox.height / sum(HEIGHTS) / times
    sizes = [(across * width, up * height) for across, up in ((sum(WIDTHS), HEIGHTS[0]), (WIDTHS[0], HEIGHTS[1]), (WIDTHS[1], HEIGHTS[1]))]
    boxes = [(left / x, low / y, 1 - (left + right) / x, 1 - (low + top) / y) for (left, low, right, top), (x, y) in zip(MARGINS, sizes)]
    return parts(figure, (grid[0, :], grid[1, 0], grid[1, 1]), boxes, *(LARGE_LABELS if large else LABELS))


def _cover(figure: Figure, units: Units) -> None:
    """Hide all that would give the answer away; the level of the instrument and the water stay."""
    for ax in figure.axes:
        for artist in (*ax.lines, *ax.texts, *ax.collections):
            if artist.get_gid() not in ("axis", "level", "water", "still", "gap"):
                artist.set_visible(False)
    figure.axes[0].set_xlabel(figures.of_water(units))
    for ax, gid in ((figure.axes[1], "axis"), (figure.axes[2], "level")):  # neither way is more likely
        level = figures.named(ax)[gid].get_ydata()[0]
        reach = max(abs(end - level) for end in ax.get_ylim())
        ax.set_ylim(level - reach, level + reach)
    figures.scale_told(figure.axes[1], units)
    words(figure.axes[1], "cover", "where will the line of sight go?", (0.5, 0.6), xycoords="axes fraction", ha="center", va="center")


def _typical(result: Result) -> dict[str, float]:
    """Standard uncertainties of what a heckler may suppose otherwise, in the units of the page; NaN where the book states none."""
    book, sight = result.book, longest(result).reading
    gradient = book.airs[sight.air].gradient
    return {"gradient": gradient.u if gradient else math.nan, "collimation": result.collimation[sight.instrument].u * 1e6, "shores": book.water.between_shores.u * 1e3}


def _went(struck: float, system: str) -> str:
    """Where the line of sight struck the board [m above the mark], in words; nothing where that isn't read yet."""
    if math.isnan(struck):
        return ""
    told = offset(abs(struck), system)
    return "It struck the mark. " if told == offset(0.0, system) else f"It struck {told} {'below' if struck < 0 else 'above'} it. "


def _move(text: str) -> widgets.HTML:
    """The heading of one of the four moves."""
    return widgets.HTML(f'<b style="font-size:1.15em">{text}</b>', layout={"min_width": "3.5em", "margin": f"2px 6px 2px {8 if text == 'Choose' else 2}px"})


def _describe(figure: Figure) -> str:
    """What the picture shows, read back from its artists."""
    axis, chart, at = (figures.named(axes) for axes in figure.axes)
    if "flat" not in chart:
        return "the question alone: nothing is shown before an answer"
    units = figures.labelled(figure.axes[0])
    unit, long = units.short, units.long
    text = (f"flat {at['flat'].get_ydata()[0]:z.1f} {unit} and ellipsoid {at['ellipsoid'].get_ydata()[0]:z.1f} {unit} above the level mark; ")
    text += f"1/R = {axis['ellipsoid'].get_xdata()[0]:.4f} per 1000 {units.far}"
    if "found" in axis:
        text += f"; found {axis['found'].get_xdata()[0]:.4f} per 1000 {units.far}, {at['found'].get_ydata()[0]:z.1f} {unit}"
    elif "flat interval" in axis:
        low, high = axis["flat interval"].get_xdata()
        text += f"; 95 of 100 within ± {(high - low) / 2:.4f}"
    return f"{text}; axis {chart['axis'].get_ydata()[0] / (1000 if long == 'm' else 12):.2f} {long} above the water"
