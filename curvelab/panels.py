"""The live page in four moves: ask, choose, look, judge. It asks the other rooms and shows what they say."""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from . import profile, sceptic, triptych, units
from .adjustment import Result, adjust, longest
from .air import by_profile
from .controls import Control
from .decision import Verdict, decide
from .designs import single_line
from .drawing import SYSTEMS
from .fieldbook import read_fieldbook, with_changes
from .page import Page, chooser, unit_switch
from .planning import CAUTIONS, TESTED, as_read, clearance, phoned_in, plan, what_if
from .prediction import measured_offset
from .records import FieldBook
from .refraction import DRY_ADIABATIC
from .remarks import APART
from .uncertainty import COVERAGE
from .wording import WORDS, length, offset

NO_BOOK, NOTHING, CALLED = "no field book: only plan", "no row", "a reading was phoned in"
ANSWERS = ("above the mark", "on the mark", "below the mark")
CONTROLS = {
    "length": Control("Length of sight", "m", 100.0, 5000.0, 50.0, 2000.0),
    "height": Control("Height of instrument", "m", 0.5, 6.0, 0.1, 1.6),
    "gradient": Control("Temperature gradient", "K/m", -0.50, 0.50, 0.005, -0.01, "for air 3 K warmer than the water write 3 K"),
    "collimation": Control("Collimation error", "µrad", -350.0, 350.0, 1.0, 0.0),
    "shores": Control("Far water higher by", "mm", -200.0, 200.0, 1.0, 0.0),
    "phoned": Control("Reading above mark", "mm", -1000.0, 3000.0, 1.0, 0.0),
}
GRADIENT_U, TILT_U = 0.03, float(TESTED.partition(" ")[0])  # K/m; µrad
SHORT, FAR = 100.0, CONTROLS["length"].start  # m, of the null control, and of the line that it is told for
NOT_YET = NO_BOOK, {"length": FAR}, NOTHING  # book, values and row left out, where no null control took their place
LIKELY = {5.0: ", next to impossible", 3.0: ", very unlikely", 2.0: ", unlikely", 0.0: ""}  # from so many typical errors on
WHAT_IF = {"gradient": "the temperature gradient had been {}", "collimation": sceptic.WHAT_IF["collimation"], "shores": sceptic.WHAT_IF["shores"],
           "height": "the instrument had stood at {}"}


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
        self.called = widgets.Checkbox(description=CALLED, indent=False, layout={"width": "17em"})
        self._chosen: FieldBook | None = None
        self._as_read: dict[str, float] = {}
        self._typical: dict[str, float] = {}  # errors of what a heckler may suppose otherwise
        self._struck = math.nan  # where the line struck the board, as it was read or phoned in [m above the mark]
        self._kept: dict[float, float] = {}  # readings of other lines [mm], by their length [m]
        self._aside = ""  # that one of them was put there just now
        self._sound = True  # whether the readings of the book agree
        self._stated: dict[str, float] = {}  # what the page takes for granted without a book
        self._before = NOT_YET  # what the null control took the place of
        self.answer.add_class("curvelab-answer"), self.called.add_class("curvelab-called"), self.reset.add_class("curvelab-reset")
        self.large.add_class("curvelab-large"), self.null.add_class("curvelab-null")
        ask, judge = (widgets.HBox(row, layout={"align_items": "center"}) for row in (
            [_move("Ask"), self.answer, _move("Choose"), self.units, self.large, self.null, self.reset], [_move("Judge"), self.book, self.left_out, self.called]))
        super().__init__(CONTROLS, triptych.SIZE, LivePage._compute, triptych.describe, [ask], [judge], 3)
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
        """Compute and draw, unless a book with a fault is chosen: its message stands. A number phoned in is judged from then on, for this line alone."""
        owner = None if self._setting or not change else change.owner
        if owner is self.fields["phoned"]:
            self._call(self.values["phoned"])
        elif owner is self.fields["length"]:
            self._keep(change.old)
            self._recall()
        else:
            self._aside = ""
        if self.book.value == NO_BOOK or self._chosen is not None:
            super().update(change)

    def _call(self, read: float) -> None:
        """The line struck the board so far above the mark [mm]; what differs from what the page states, or is moved from now on, is a what-if."""
        if math.isnan(self._struck):
            self._as_read = self.values | self._stated
            self._typical = {"gradient": GRADIENT_U, "collimation": TILT_U}
        self._struck, self._aside = read / 1000, ""
        with self.together():
            self.called.value = True
            if read != self.values["phoned"]:
                self.fields["phoned"].put(read)
        self.fields["phoned"].blank(False)

    @property
    def _phoned(self) -> bool:
        """Whether a reading was phoned in and is there."""
        return self.called.value and not math.isnan(self._struck)

    def _keep(self, line: float) -> None:
        """Put the reading aside, if there is one: it belongs to that line [m]."""
        if self._phoned:
            self._kept[line] = self.values["phoned"]
            self._hang_up()
            self._aside = f"The reading over {length(line, self.units.value)} is put aside: it belongs to that line. "

    def _recall(self) -> None:
        """The reading that belongs to this line, if one was put aside."""
        for line in [line for line in self._kept if abs(line - self.values["length"]) < 1]:
            self._call(self._kept.pop(line))

    def _start_over(self, _: Any = None) -> None:
        """The page as a new audience should find it."""
        with self._turn:
            with self.together():
                self.answer.value, self.called.value, self.book.value = None, False, NO_BOOK
            self._kept.clear()
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
        """A line so short that no offset can be seen, all else as it is, without a book; pressed again, what was before."""
        with self._turn:
            book, values, left = now = self.book.value, self.values, self.left_out.value
            if book != NO_BOOK:  # the same level in the same air, not yet read so near
                stated, self.book.value, self._before = self._as_read, NO_BOOK, now
                self._kept.pop(SHORT, None)
                self._stated = {name: stated[name] for name in self._stated if name in stated}
                self._put({name: values[name] for name in ("height", "gradient", "collimation")})
                self.fields["length"].put(SHORT)
            elif values["length"] != SHORT:
                self._before = now
                self.fields["length"].put(SHORT)
            elif self._before[0] == NO_BOOK:
                self.fields["length"].put(self._before[1]["length"])
            else:
                (self.book.value, values, left), self._before = self._before, NOT_YET
                self._put({name: values[name] for name in ("height", "gradient", "collimation", "shores")})
                self.left_out.value = left

    def _put(self, values: Mapping[str, float]) -> None:
        """Set several controls at once."""
        with self.together():
            for name, value in values.items():
                self.fields[name].put(value)
        self.update()

    def _translated(self, name: str, text: str) -> float | None:
        """How much warmer the air at the height of the line is than the water, as the gradient there [K/m] where wind mixes it; None where the text says no such thing."""
        if name != "gradient" or units.is_bare(units.clean(text)):
            return None
        height = self.values["height"]
        try:
            warmer = units.parse(text, "temperature difference").value
        except ValueError:
            return None
        gradient, field = float(profile.strength(warmer, height, profile.logarithmic(), DRY_ADIABATIC)) / height - DRY_ADIABATIC, self.fields[name]
        if abs(gradient) > CONTROLS[name].high:
            raise ValueError(f"{text.strip()} from the water to the instrument makes {field.told(gradient)} at its height, and the page goes to {field.told(CONTROLS[name].high)}: "
                             "raise the instrument, or write less")
        return gradient

    def _resize(self, _: Any = None) -> None:
        """Pictures in the type for a screen, or in large type for a projector."""
        with self._turn:
            self.projected(triptych.LARGE if self.large.value else triptych.SIZE, self.large.value)
            self.update()

    def _choose(self, change: Any = None) -> None:
        """Open the chosen field book and set the controls to what it says."""
        with self._turn:
            if self._setting:
                return
            if self._chosen is None:
                self._keep(self.values["length"])
            self._chosen, self._as_read, self._struck = None, {}, math.nan
            self._stated = {name: CONTROLS[name].start for name in ("gradient", "collimation")}
            try:
                if self.book.value != NO_BOOK:
                    book = read_fieldbook(self.folder / self.book.value)
                    result = adjust(book)
                    self._as_read = {name: value for name, value in as_read(result).items() if math.isfinite(value)}
                    self._typical = _typical(result)
                    self._struck = math.nan if book.is_plan else measured_offset(result).value
                    self._sound = book.is_plan or decide(result).outcome != "readings disagree"
                    self._chosen = book
            except Exception as error:  # a fault shows on the page, in words
                self.show_fault(error)
                for slider in self.controls.values():
                    slider.disabled = True
                return
            with self.together():  # the controls follow the book, and are not asked in between
                self._choices = sceptic.choices(self._chosen) if self._chosen else {}
                self.left_out.options = [NOTHING, *self._choices]
                self.called.value, self.called.disabled = False, self._chosen is not None
                self.called.description = "in grey: what the book says" if self._chosen else CALLED
                for name, slider in self.controls.items():
                    self._follow(name, slider)
                self.fields["phoned"].blank()
            if self._chosen is None:
                self._recall()
            self.update()

    def _follow(self, name: str, slider: widgets.FloatSlider) -> None:
        """Set one control to what the book says."""
        control = CONTROLS[name]
        value = self._as_read.setdefault(name, control.start) if self._chosen else control.start
        mixed = self._chosen is not None and by_profile(self._chosen.airs[self._chosen.longest_sight.air])  # whose light bends otherwise at another height
        slider.disabled = name == "shores" if self._chosen is None else name in ("length", "phoned") or name == "height" and mixed
        self.fields[name].start(value)

    def _compute(self) -> tuple[str, Iterable[str]]:
        """Draw the result; its sentence and its notes."""
        result, text, notes, outcome, tilt = self._result()
        shown = SYSTEMS[self.units.value]
        triptych.draw(self.figure, result, outcome, tilt, self.values["height"], shown, result.book.invented and self._chosen is not None)
        cautions = f'<b>Cautions.</b> {" ".join(map(html.escape, CAUTIONS))}'
        if self.answer.value is None:
            triptych.cover(self.figure, shown)
            away = length(longest(result).reading.distance, self.units.value)
            return (f"A line of sight leaves the level, as level as it can. {away} across the water, where will it strike the target: above the mark at its own height, "
                    "on the mark, or below it? Agree on one answer, then look."), [cautions]
        bands = "bands: where 95 of 100 lines would strike by what is known beforehand; the bar on the board is that of the reading alone" if outcome else ""
        told = [f"{html.escape(note[0].upper() + note[1:])}. " for note in (*notes, bands, self._grey()) if note]
        sealed = [f"<b>Seal of the plan:</b> {html.escape(result.book.sealed)}. "] if result.book.sealed else []
        return f"You said: {self.answer.value}. {_went(self._struck, self.units.value) if outcome else ''}{text}", [*sealed, *told, cautions]

    def _grey(self) -> str:
        """Why some controls can't be moved."""
        return ("in grey is what the field book says: a reading belongs to its line; for another length choose no field book" if self._chosen is not None else
                "in grey is what needs a field book: the water at the far shore, and rows to leave out")

    def _result(self) -> tuple[Result, str, tuple[str, ...], str, float]:
        """The result to show, what it says, what to know beside it, the outcome, and a tilt to draw its lines with [rad]."""
        values, system = self.values, self.units.value
        if self._chosen is not None:
            return self._of_the_book(self._chosen)
        line = single_line(values["length"], gradient=f"{values['gradient']:.4f} ± {GRADIENT_U} K/m", collimation=f"{values['collimation']:.3f} ± {TESTED}", pointings=1)
        if not self._phoned:
            planned = plan(line)
            null = "The null control: so short a line shows no curve, and a large offset comes from the level or from the hands. " if values["length"] == SHORT else ""
            ask = "Now set the reading that was phoned in. " if self.called.value else ""
            return planned.result, self._aside + null + ask + planned.describe(values["height"], system), (self._assumed(),), "", 0.0
        verdict = decide(adjust(phoned_in(line, values["phoned"] / 1000, values["height"])))
        told = _of_the_null(verdict, system) if values["length"] == SHORT else verdict.finding_in(system)
        told = self._supposed(self._moved("gradient", "collimation", "height"), told) + clearance(verdict.result, values["height"], system)
        return verdict.result, told, (self._assumed(), "nothing checks this one reading"), verdict.outcome, 0.0

    def _of_the_book(self, book: FieldBook) -> tuple[Result, str, tuple[str, ...], str, float]:
        """The same of a field book, with what a heckler supposes. Lines are tilted and lowered by it, since what was read never moves."""
        values, system, moved = self.values, self.units.value, self._moved("gradient", "collimation", "shores", "height")
        left = [f"{self.left_out.value} had not been taken"] if self.left_out.value != NOTHING else []
        asked = dict(moved)
        moved.pop("height", None)  # cancels
        if left:
            book = sceptic.without(book, *self._choices[self.left_out.value])
        if book.is_plan:
            planned = plan(with_changes(book, what_if(book, **moved)))
            return planned.result, f"{self._supposed(asked, planned.describe(values['height'], system), left)} Nothing is read yet.", (), "", 0.0
        tilt = 1e-6 * (moved.pop("collimation") - self._as_read["collimation"]) if "collimation" in moved else 0.0
        book = sceptic.tilted(with_changes(book, what_if(book, **moved)), tilt)  # last, since a change writes the book anew
        verdict = decide(adjust(book))
        notes = tuple(note.replace("being as stated", "being as supposed") if "gradient" in moved else note for note in verdict.remarks)
        dry = "" if book.water.surfaces else "No reading or height touches the water, so this says nothing of its shape. "
        higher = 1e-3 * (moved["shores"] - self._as_read["shores"]) / verdict.distance if "shores" in moved else 0.0
        found = verdict.finding_in(system)
        if asked and self._sound and verdict.outcome == "readings disagree":
            found = f"{'that' if len(asked) == 1 else 'together they'} would contradict what was read, beyond its uncertainty. The readings speak against it."
        odd = "".join(f" But {note}." for note in verdict.remarks if note.startswith(APART))
        return verdict.result, dry + self._supposed(asked, found, left) + odd, notes, verdict.outcome, tilt - higher

    def _moved(self, *names: str) -> dict[str, float]:
        """What a heckler supposes otherwise than it was read."""
        values = self.values
        return {name: values[name] for name in names if abs(values[name] - self._as_read[name]) > CONTROLS[name].step / 2}

    def _supposed(self, moved: Mapping[str, float], then: str, left: Sequence[str] = ()) -> str:
        """What is found; where a heckler supposes otherwise, the question, how far it goes from what was taken, and what would be found then."""
        asked = []
        for name, value in moved.items():
            field, was, u = self.fields[name], self._as_read[name], self._typical.get(name, math.nan)
            away = abs(value - was) / u if u > 0 else math.nan
            likely = next((words for least, words in LIKELY.items() if away >= least), "")
            told = f"{away:.1f} typical errors from {field.told(was)}{likely}" if u > 0 else f"not {field.told(was)}"
            asked.append(f"{sceptic.supposed(WHAT_IF[name], field.told(value))} ({'which cancels: the mark stands as high' if name == 'height' else told})")
        if not (asked or left):
            return then
        return f"What if {', and '.join([*asked, *left])}? Then: {then[0].lower()}{then[1:]}".replace("if all is as stated", "if all else is as stated")

    def _assumed(self) -> str:
        """What the page takes for granted where no field book says otherwise."""
        return (f"without a field book the page takes the level as tested, to ± {TESTED}, the gradient as known to ± {self.fields['gradient'].told(GRADIENT_U)}, and the "
                "water as equally high at both shores; an untested level or unmeasured air can tell far less")


def _typical(result: Result) -> dict[str, float]:
    """Standard uncertainties of what a heckler may suppose otherwise, in the units of the page; NaN where the book states none."""
    book, sight = result.book, longest(result).reading
    gradient = book.airs[sight.air].gradient
    return {"gradient": gradient.u if gradient else math.nan, "collimation": result.collimation[sight.instrument].u * 1e6, "shores": book.water.between_shores.u * 1e3}


def _of_the_null(verdict: Verdict, system: str) -> str:
    """Whether a line too short to show a curve struck where it should, whatever the water."""
    far, slope = min(abs(verdict.z_flat), abs(verdict.z_ellipsoid)), COVERAGE * verdict.result.curvature.u * verdict.distance / 2
    passed = (f"and it struck where it should. But a line tilted by {slope * 1e6:.0f} µrad would pass here as well, and that is {offset(slope * FAR, system)} over "
              f"{length(FAR, system)}: only pegs tell so small a tilt" if far < COVERAGE else
              f"and yet it struck {far:.1f} typical errors from where it should: that comes from the level or from the hands, so find out before the long line")
    return f"The null control: over {length(verdict.distance, system)} curve and air move the line by next to nothing, {passed}."


def _went(struck: float, system: str) -> str:
    """Where the line of sight struck the board [m above the mark], in words; nothing where that isn't read yet."""
    if math.isnan(struck):
        return ""
    told = offset(abs(struck), system)
    return "It struck the mark. " if told == offset(0.0, system) else f"It struck {told} {'below' if struck < 0 else 'above'} it. "


def _move(text: str) -> widgets.HTML:
    """The heading of one of the four moves."""
    return widgets.HTML(f'<b style="font-size:1.15em">{text}</b>', layout={"min_width": "3.5em", "margin": f"2px 6px 2px {8 if text == 'Choose' else 2}px"})
