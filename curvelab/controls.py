"""Numbers that can be moved: a slider with its name, its unit and a box for the number."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
import traitlets

from . import units

US_UNITS = {"m": "ft", "mm": "in", "K/m": "°F/ft"}  # in place of a control's metric one


@dataclass(frozen=True)
class Control:
    """A number that can be moved: its label, unit, range, step and where it starts; what to say to whoever types one beyond the range."""

    label: str
    unit: str
    low: float
    high: float
    step: float
    start: float
    hint: str = ""


def unit_in(system: str, metric: str) -> tuple[str, float]:
    """A unit in ``"metric"`` or ``"us"``, and how many of it make one of the metric one."""
    unit = US_UNITS.get(metric, metric) if system == "us" else metric
    return unit, 1.0 if unit == metric else units.convert(1.0, unit) / units.convert(1.0, metric)


def round_down(value: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is no larger.

    >>> round_down(164.0), round_down(0.2)
    (100.0, 0.2)
    """
    power = 10.0 ** math.floor(math.log10(value))
    return float(f"{max(times for times in (1, 2, 5) if times * power <= value * (1 + 1e-9)) * power:.1g}")


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


class Field(widgets.HBox):
    """A control with its name, its unit and its number beside it, as people write numbers; the slider itself stays metric, but steps roundly in the unit shown.

    `value` is what was given, though a browser moves a slider to its nearest step; told again, it is given again. `refuse`
    is told why a text isn't taken, `emptied` that a box was emptied; unless it leaves the box blank, it shows again what is.
    `translated` gives the value that a text means in other words [the control's metric unit], or None.
    """

    value = traitlets.Float()

    def __init__(self, name: str, control: Control, refuse: Callable[[Exception], None], emptied: Callable[[], None],
                 translated: Callable[[str], float | None] = lambda text: None) -> None:
        self._control, self._refuse, self._emptied, self._translated = control, refuse, emptied, translated
        self._low, self._high = control.low, control.high
        self.slider = _Slider(value=control.start, min=control.low, max=control.high, step=control.step, readout=False, continuous_update=True, layout={"width": "6em"})
        self._following = self._blank = False
        self._put: deque[float] = deque(maxlen=4)  # values that a browser has yet to answer with the step beside them
        self._label, self._number = widgets.Label(layout={"width": "15em"}), widgets.Text(continuous_update=False, layout={"width": "5em"})
        super().__init__([self._label, self.slider, self._number], value=self.slider.value)
        self.add_class(f"curvelab-{name}")
        widgets.link((self.slider, "disabled"), (self._number, "disabled"))
        self.slider.observe(self._slid, "value")
        self.observe(self._follow, "value")
        self._number.observe(self._typed, "value")
        self.show_in("metric")

    def put(self, value: float) -> None:
        """Give the control a value [its metric unit], between steps too; beyond its range, the end of that."""
        value = min(max(value, self.slider.min), self.slider.max)
        if value != self.slider.value:
            self._expect(value)  # first: a browser may answer while the page still works at it
        self.slider.value = value
        self.value = value

    def _expect(self, value: float) -> None:
        """A browser will answer a value between steps with the step beside it."""
        steps = (value - self.slider.min) / self.slider.step
        if abs(steps - round(steps)) > 1e-6:
            self._put.append(value)

    def blank(self, blank: bool = True) -> None:
        """Show no number until one is given; or that which there is."""
        self._blank = blank
        self._follow()

    def show_in(self, system: str) -> None:
        """Label and number in ``"metric"`` or ``"us"`` units."""
        self.unit, self._factor = unit_in(system, self._control.unit)
        self._label.value = self._control.label if self.unit == "1" else f"{self._control.label} [{self.unit}]"
        self._span(self.value)
        self._follow()

    def start(self, value: float) -> None:
        """Give the control a value [its metric unit] beyond its range, too, which then ends there."""
        self._low, self._high = min(self._control.low, value), max(self._control.high, value)
        self._span(value)

    def _span(self, value: float) -> None:
        """From end to end in steps that are round in the unit shown, and a value given."""
        step, low, high = self._control.step, self._low, self._high
        if self._factor != 1:
            step = round_down(step * self._factor) / self._factor
            low, high = math.floor(low / step) * step, math.ceil(high / step) * step
        with self.slider.hold_sync(), self.slider.hold_trait_notifications():  # a browser that moves the value to a step overlooks what else came with it
            changed = (low, high, step) != (self.slider.min, self.slider.max, self.slider.step)
            self.slider.min, self.slider.max, self.slider.step = low, high, step
            if changed:
                self._expect(self.slider.value)
        self.put(value)

    def told(self, value: float) -> str:
        """A value of the control [its metric unit] in words."""
        return f"{self._shown(value):z.6g} {self.unit}".removesuffix(" 1")

    def _shown(self, value: float) -> float:
        """In the unit shown, with one digit after the point more than a step has."""
        return round(value * self._factor, max(1 - math.floor(math.log10(self._control.step * self._factor)), 0))

    def _slid(self, _: Any = None) -> None:
        """Where the slider stands, unless a browser has but moved it to the step beside what was put there last."""
        if self.slider.moved:
            if abs(self.slider.value - self.value) < 1e-6 * self.slider.step:  # a browser's rounding
                return
            answered = [value for value in self._put if abs(self.slider.value - value) < (0.5 + 1e-6) * self.slider.step]
            if answered:
                self._put.remove(answered[0])
                return
            self._put.clear()
        self.value = self.slider.value

    def _follow(self, change: Any = None) -> None:
        """The number says what the control does."""
        self._blank = self._blank and change is None
        self._following = True
        self._number.value = "" if self._blank else f"{self._shown(self.value):z.10g}"
        self._following = False

    def _typed(self, _: Any = None) -> None:
        """The control takes the number that was typed, if it is one."""
        if self._following:
            return
        text, before = self._number.value, self.value
        try:
            if text.strip():
                self.put(self._read(text))
                self._blank = False
            else:
                self._emptied()
        except ValueError as error:
            self._refuse(ValueError(f"{self._label.value}: {error}"))
            text = ""
        self._follow()
        if text.strip() and self.value == before:
            self.notify_change(traitlets.Bunch(name="value", old=before, new=before, owner=self, type="change"))

    def _read(self, text: str) -> float:
        """The value of a text [the control's metric unit]; ValueError where it is none, or out of range."""
        dimension = units.dimension_of(self._control.unit) or "number"
        shown, metric = (self.unit, self._control.unit) if dimension != "number" else ("", "")
        value = self._translated(text)
        if value is None:
            quantity = units.parse(f"{text} {shown}" if units.is_bare(units.clean(text)) else text, dimension)
            if quantity.u is not None:
                raise ValueError("write one number, without ±")
            value = float(f"{units.convert(quantity.value, metric, dimension):.12g}")
        low, high = self.slider.min, self.slider.max
        if not self._shown(low) <= self._shown(value) <= self._shown(high):
            raise ValueError(f"{text.strip()!r} lies beyond {self.told(low)} to {self.told(high)}" + (f"; {self._control.hint}" if self._control.hint and units.is_bare(units.clean(text)) else ""))
        return value
