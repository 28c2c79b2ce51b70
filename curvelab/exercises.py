"""Exercises from plan to verdict: each student's numbers are their own, and feedback names the slip.

``sheet = Sheet("Mira")``, then ``sheet.question(1)``, ``sheet.check(1, "78.5 mm")``, ``sheet.hint(1)``, ``sheet.progress()``; for the
teacher ``answer_key("Mira")``. An exercise is one record of `EXERCISES`; its answer comes from the rooms that hold the formulas.
"""

from __future__ import annotations

import hashlib
import math
import re
import textwrap
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from numbers import Real
from types import SimpleNamespace as Given

from .decision import gate, radius_interval
from .ellipsoid import azimuth_radius, curvature_correction
from .gum import combined_u
from .instrument import rectangular_u, two_peg
from .refraction import ZERO_CELSIUS, coefficient, ray_curvature
from .uncertainty import Contribution, two_sided
from .units import convert, parse
from .water import level_change

Value = float | str | tuple[float, float]  # a number [inner unit], a letter, the two ends of an interval
ASK = {"choice": "Answer with a letter.", "number": "Give 3 significant figures.",
       "interval": "Give both ends to 3 significant figures, such as '5000 km to 9000 km' or '5000 km to no upper end'."}
ENDLESS = ("no upper end", "no upper bound", "no upper limit", "no end", "no limit", "infinity", "infinite", "inf", "∞", "unbounded", "none")
NEAR = "Not yet, but right to two figures: work with more, and round at the end."
USUAL = {"The digits are right, the power of ten is not: look at the unit (mm, cm, m).": [10.0**n for n in (-6, -3, -2, -1, 1, 2, 3, 6)],
         "The size is right, the sign is not: which way is +, or is no sign asked for?": [-1.0], "You are out by a factor of 2.": [0.5, 2.0]}


@dataclass(frozen=True)
class Exercise:
    """One exercise: `draw` gives each number as (least, most, step) or from those before it; `slips` say what led to the `wrong` answers.

    `dimension` is one of `units`, "interval" or "choice"; an answer may be off by 1 in the last of `figures` significant figures.
    """

    title: str
    question: str
    draw: Mapping[str, tuple[float, float, float] | Callable[[Given], object]]
    answer: Callable[[Given], Value]
    slips: tuple[str, ...]
    wrong: Callable[[Given], Sequence[Value]]
    hints: tuple[str, ...]
    meaning: str
    unit: str = "mm"
    dimension: str = "length"
    figures: int = 3


class Sheet:
    """One student's sheet: the questions, feedback, hints and what is done.

    Any name or number will do; the same one gives the same numbers everywhere. Capitals and spaces don't count.

    >>> Sheet("Mira").check(3, "0 mm")
    'Not yet. Flat water does not make light straight: the air bends it over any water.'
    """

    def __init__(self, name: object) -> None:
        """Start with nothing done."""
        self.name = str(name)
        self._tries, self._hints, self._done = dict.fromkeys(EXERCISES, 0), dict.fromkeys(EXERCISES, 0), set[int]()

    def question(self, number: int) -> str:
        """One exercise with the student's own numbers, in lines that a notebook doesn't break inside words."""
        task = _task(number)
        ask = ASK.get(task.dimension, f"Give {task.figures} significant figures and the unit, such as {task.unit}.")
        return textwrap.fill(f"{number}. {task.title}. {task.question.format(**vars(_given(number, self.name)))} {ask}", 100)

    def check(self, number: int, answer: object) -> str:
        """Feedback on an answer, whatever it is; units in any form that `units.parse` reads."""
        try:
            task, value = _task(number), _read(_task(number).dimension, answer)
        except ValueError as error:
            return f"I can't read that yet: {error}.".encode(errors="replace").decode()
        if value is None:
            return f"No answer yet. sheet.question({number}) shows the question, sheet.hint({number}) gives a hint."
        self._tries[number] += 1
        told, right = _judged(task, _given(number, self.name), value)
        self._done |= {number} if right else set()
        return told or f"Not yet, and it is none of the usual slips. sheet.hint({number}) gives a hint."

    def hint(self, number: int) -> str:
        """One more hint each time, up to three."""
        hints = _task(number).hints
        self._hints[number] = min(self._hints[number] + 1, len(hints))
        return " ".join(f"({i}) {hint}" for i, hint in enumerate(hints[:self._hints[number]], 1))

    def progress(self) -> str:
        """What is done, a line for each exercise."""
        lines = [f"{'done' if n in self._done else '-':4s} {n:2d} {task.title}: tries {self._tries[n]}, hints {self._hints[n]}"
                 for n, task in EXERCISES.items()]
        return "\n".join([f"{self.name}: {len(self._done)} done, of {len(EXERCISES)} in the four notebooks", *lines])

    __repr__ = progress


def answer_key(name: object) -> str:
    """The answers of one student's sheet, for the teacher, to one figure more than asked.

    >>> print(answer_key("Mira").splitlines()[0])
    1. How far apart the rivals are: 34.1 mm
    """
    return "\n".join(f"{n}. {task.title}: {_written(task, task.answer(_given(n, str(name))))}" for n, task in EXERCISES.items())


def _task(number: object) -> Exercise:
    """The exercise of this number."""
    if not isinstance(number, int) or number not in EXERCISES:
        raise ValueError(f"there is no exercise {ascii(number)[:20]}: they are numbered 1 to {len(EXERCISES)}")
    return EXERCISES[number]


def _given(number: int, name: str) -> Given:
    """A student's numbers, from a hash of the name, so that any computer draws the same."""
    v, who = Given(), unicodedata.normalize("NFC", "".join(name.split()).casefold())
    for key, how in EXERCISES[number].draw.items():
        drawn = int.from_bytes(hashlib.sha256(f"{who}\n{number}\n{key}".encode("utf-8", "surrogatepass")).digest())
        setattr(v, key, how(v) if callable(how) else round(how[0] + how[2] * (drawn % (round((how[1] - how[0]) / how[2]) + 1)), 9))
    return v


def _read(dimension: str, answer: object) -> Value | None:
    """What an answer says, None where there is none; "x =" in front is left out."""
    if answer is not None and not isinstance(answer, str | Real):
        raise ValueError(f"an answer is a text such as '78.5 mm', and this is of type {type(answer).__name__}")
    text = "" if answer is None else str(answer).rpartition("=")[2].strip().removeprefix("from ")
    text = re.sub(r"(?<=[0-9])\s(?=[0-9]{3}(?![0-9/]))", "", text)  # 10 470 km, as verdicts write it
    if not text or dimension not in ("choice", "interval"):
        return parse(text, dimension).value if text else None
    letter, (low, to, high) = text.strip("() .").upper(), text.partition(" to ")
    if dimension == "choice" and letter in ("A", "B", "C", "D"):
        return letter
    if dimension == "choice" or not to:
        raise ValueError(f"{text[:40]!r} is no {'letter A to D' if dimension == 'choice' else 'pair of lengths such as 5000 km to 9000 km'}")
    low += re.sub(r".*[0-9.]", "", high) if re.search("[0-9] *$", low) else ""  # 5000 to 9000 km
    return parse(low, "length").value, math.inf if high.strip(" .").casefold() in ENDLESS else parse(high, "length").value


def _judged(task: Exercise, v: Given, value: Value) -> tuple[str, bool]:
    """What to say of an answer, and whether it is right: else the nearest of the slips that lead to it; empty where none does."""
    right = task.answer(v)
    if _steps(value, right, task.figures) <= 1:
        return f"Right. {task.meaning}", True
    known = list(zip(task.slips, task.wrong(v), strict=True))
    if isinstance(right, float):
        known += [(told, factor * right) for told, factors in USUAL.items() for factor in factors]
    steps = [round(_steps(value, wrong, task.figures), 3) for _, wrong in known]
    return f"Not yet. {known[steps.index(min(steps))][0]}" if min(steps) <= 1 else NEAR if _steps(value, right, 2) <= 0.5 else "", False


def _steps(value: Value, other: Value, figures: int) -> float:
    """How far a value is from another, in units of its last significant figure; a letter, 0 and infinity are met or not."""
    if isinstance(value, tuple) and isinstance(other, tuple):
        return max(_steps(a, b, figures) for a, b in zip(value, other))
    if value == other or not isinstance(value, float) or not isinstance(other, float) or not other or math.isinf(other):
        return 0.0 if value == other else math.inf
    return abs(value - other) / 10.0 ** (math.floor(math.log10(abs(other))) - figures + 1) - 1e-6


def _written(task: Exercise, value: Value) -> str:
    """An answer as a student might write it."""
    if not isinstance(value, float):
        return value if isinstance(value, str) else " to ".join(_written(task, end) for end in value)
    own = convert(value, task.unit, "length" if task.dimension == "interval" else task.dimension)
    return f"{float(f'{own:.{task.figures + 1}g}'):g} {task.unit}".strip() if math.isfinite(own) else ENDLESS[0]


FOOT, rss = parse("1 ft", "length").value, partial(combined_u, (1.0, 1.0, 1.0))
FAR, K = {"d": (620, 2940, 40)}, {"k": (0.1, 0.3, 0.01), "bend": lambda v: ray_curvature(v.k) * v.d**2 / 2}
LINE = {"B": (30, 60, 5), "A": (0, 175, 5), "R": lambda v: azimuth_radius(v.B, v.A) / 1e3, "fall": lambda v: curvature_correction(v.d, v.B, v.A)}
EXERCISES: dict[int, Exercise] = dict(enumerate((
    Exercise("How far apart the rivals are", "A target stands {d:.0f} m away across the lake. Light bends with k = {k:.2f} whatever the water does. "
        "The Earth's radius along the line is {R:.0f} km. How far apart there are the predictions of flat water and of water that follows the Earth?",
        FAR | LINE | K, lambda v: v.fall,
        ("That is d²/R: draw the circle and its tangent again.", "That is d²/(4R): you took the diameter.",
         "It does not grow in proportion to the distance.", "You let the light bend for one rival only; it bends for both."),
        lambda v: (2 * v.fall, v.fall / 2, curvature_correction(1000, v.B, v.A) * v.d / 1000, v.fall - v.bend),
        ("What the air does, it does to both.", "How far is a circle from its tangent, at the distance d?", "It is d²/(2R)."),
        "The air moves both predictions; the distance between them stays."),
    Exercise("A tolerance across a lake", "A level's maker promises {a:g} mm per {b:.0f} m. How far off can its line of sight be at {d:.0f} m?",
        FAR | {"a": (1.5, 4, 0.5), "b": (20, 50, 10), "slope": lambda v: parse(f"{v.a} mm per {v.b} m", "angle").value}, lambda v: v.slope * v.d,
        ("A tolerance is a slope: it grows with the distance.", "You took it for each metre.", "You divided by √3; the limit is asked for."),
        lambda v: (v.a / 1e3, v.a / 1e3 * v.d, rectangular_u(v.slope) * v.d),
        ("The promise is a slope.", "How many times as far is your target?", "Multiply the millimetres by that number."),
        "A level that nobody tested can lift or lower a far target by that much, whatever the water does."),
    Exercise("Flat water, real air", "Let the water be FLAT and the level perfect. Light bends down with k = {k:.2f}; with k = 1 it would follow "
        "a ball of 6371 km radius. How far above (+) or below (-) the instrument's level does the line of sight strike a board {d:.0f} m away?",
        FAR | K, lambda v: -v.bend,
        ("Flat water does not make light straight: the air bends it over any water.", "That is what water that follows the Earth predicts."),
        lambda v: (0.0, ray_curvature(1 - v.k) * v.d**2 / 2),
        ("Only the light bends here.", "A ray with k = 1 falls by d²/(2R).", "So it is k·d²/(2R)."), "So even flat water does not predict 0."),
    Exercise("The two pegs", "Midway between two pegs, {m:.0f} m from each, you read {a1:.4f} m on A and {b1:.4f} m on B. Then, {n:.0f} m behind A, "
        "{far:.0f} m from B, {a2:.4f} m on A and {b2:.4f} m on B. What is the slope of the line of sight, + if it rises? (Leave out the Earth.)",
        {"m": (20, 30, 5), "n": (3, 6, 1), "far": lambda v: 2 * v.m + v.n, "c": (4e-5, 1.2e-4, 1e-6), "s": (-1, 1, 2), "h": (0.1, 0.4, 0.0101),
         "a1": (1.3, 1.6, 0.0103), "b1": lambda v: v.a1 + v.h, "a2": (1.2, 1.6, 0.0107), "b2": lambda v: round(v.a2 + v.h + 2 * v.s * v.c * v.m, 4)},
        lambda v: two_peg((v.a1, v.b1, v.a2, v.b2), (v.m, v.m, v.n, v.far)),
        ("You used the second place alone; B stands lower than A.", "You divided by the distance to B, but A is read wrong too."),
        lambda v: (two_peg((0, 0, v.a2, v.b2), (v.m, v.m, v.n, v.far)), (v.b2 - v.a2 - v.h) / v.far),
        ("From midway both are wrong alike, so b - a is true.", "By how much does b - a change?", "Divide that by the distance of the pegs."),
        "Now you know the level itself, not its maker's promise.", "µrad", "angle"),
    Exercise("From water to water", "The crosshair reads {hi:.3f} m on a pole in the near water. Over the lake a bolt is {a:.3f} m above the water; "
        "a mark hangs {b:.3f} m lower. The line strikes {r:.0f} mm {side} the mark. How far above (+) or below (-) the instrument's level is that?",
        {"hi": (1.3, 1.6, 0.007), "b": (0.2, 0.6, 0.007), "r": (20, 150, 1), "s": (-1, 1, 2), "y": (0.163, 0.293, 0.001),
         "side": lambda v: "above" if v.s > 0 else "below", "x": lambda v: v.s * v.r / 1e3, "a": lambda v: round(v.hi + v.y + v.b - v.x, 3)},
        lambda v: v.a - v.b + v.x - v.hi,
        ("The mark hangs below the bolt; you put it above.", "You put the strike to the wrong side.", "You left out the near shore."),
        lambda v: (v.a + v.b + v.x - v.hi, v.a - v.b - v.x - v.hi, v.a - v.b + v.x),
        ("Both shores start at the water.", "How high above the far water does the line strike?", "Take the near reading off."),
        "One slip of a sign here, and a flat lake looks curved."),
    Exercise("The lake falls", "A gauge shows the water at {l[0]:.0f} mm at 9:00, {l[1]:.0f} mm at 10:00 and {l[2]:.0f} mm at 11:00. At 9:{t:.0f} a "
        "mark on land was taped {h:.4f} m above the water. The long sight follows at 10:{w:.0f}. How high is the mark above the water of 9:00?",
        {"t": (20, 50, 5), "w": (20, 50, 5), "h": (0.55, 0.95, 0.0013), "f": (4, 12, 1), "g": (4, 12, 1), 
         "l": lambda v: (180, 180 - v.f, 180 - v.f - v.g), "rise": lambda v: level_change([0, 60, 120], v.l, [v.t, 60 + v.w], 0) / 1e3},
        lambda v: float(v.h + v.rise[0]),
        ("The gauge has the wrong sign: the water was lower then.", "That is the water at the long sight; the mark was tied to it earlier.",
         "That is the tape alone; the water of 9:00 stood elsewhere.", "The tape was used before 10:00."),
        lambda v: (v.h - v.rise[0], v.h + v.rise[1], v.h, v.h - v.f / 1e3),
        ("A mark on land does not move.", "Where was the water when the tape was used?", "Share the fall of the hour by minutes."),
        "What counts is the water at the moment of the touch.", "m", figures=4),
    Exercise("Feet, tenths, sixteenths", "A staff in decimals of a foot shows {s:.2f} ft. A tape shows {ft:.0f} ft {i:.0f} {n:.0f}/16 in. "
        "How much longer is the first?",
        {"w": (4, 5, 1), "q": (0.31, 0.89, 0.02), "s": lambda v: v.w + v.q, "ft": (2, 3, 1), "i": (2, 9, 1), "n": (3, 15, 2),
         "tape": lambda v: parse(f"{v.ft:.0f} ft {v.i:.0f} {v.n:.0f}/16 in", "length").value}, lambda v: v.s * FOOT - v.tape,
        ("You read the staff's tenths of a foot as inches.", "You took the tape's inches for tenths of a foot.",
         "You took the sixteenths for decimals.", "That is a number of feet."),
        lambda v: ((v.w + v.q / 1.2) * FOOT - v.tape, (v.s - v.ft - (v.i + v.n / 16) / 10) * FOOT,
                   (v.s - v.ft - float(f"{v.i:.0f}.{v.n:.0f}") / 12) * FOOT, v.s - v.tape / FOOT),
        ("A foot has 12 inches, and 10 tenths.", "Bring both to inches, then to metres.", "1 inch is exactly 25.4 mm."),
        "A unit written beside each number would have said so.", "m", figures=4),
    Exercise("Thermometers", "{z1:.1f} m above the water it is {t1:.2f} °C, at {z2:.1f} m {t2:.2f} °C; the pressure is {P:.0f} hPa. What is k by the "
        "handbook form k = 503·(P/T²)·(0.0343 + gradient), with T in kelvins, the mean of both?",
        {"z1": (0.4, 0.8, 0.1), "z2": (2.5, 4, 0.5), "t1": (8, 20, 0.1), "s": (-1, 1, 2), "x": (0.2, 0.8, 0.05), "P": (940, 1020, 1),
         "t2": lambda v: v.t1 + v.s * v.x, "air": lambda v: ((v.t1 + v.t2) / 2, v.P), "g": lambda v: v.s * v.x / (v.z2 - v.z1)},
        lambda v: coefficient(*v.air, v.g),
        ("The gradient has the wrong sign: + is warmer above.", "You took the difference for the gradient; divide it by a height.",
         "You left out the 0.0343, what the falling pressure does.", "You put °C where kelvins belong."),
        lambda v: (coefficient(*v.air, -v.g), coefficient(*v.air, v.s * v.x), coefficient(*v.air, v.g) - coefficient(*v.air, 0),
                   coefficient(*v.air, v.g) * (1 + ZERO_CELSIUS / v.air[0]) ** 2),
        ("How much warmer is it in each metre upwards?", "The kelvin starts at -273.15 °C.", "Mind the sign, and square T."),
        "The usual k = 0.13 says nothing about air close to water.", "", "number"),
    Exercise("What averages, and what does not", "A line of {d:.0f} m. The level: within {a:g} mm per 30 m, untested. The air, one for all: k known "
        "to ± {k:.2f} (typical error). The target: {n:.0f} pointings, each ± {p:.0f} mm. What is the typical error of their mean, all three counted?",
        {"d": (620, 1500, 40)} | K | {"k": (0.1, 0.25, 0.01), "a": (1, 2, 0.25), "p": (25, 40, 1), "n": (4, 16, 5), "most": lambda v: v.a / 3e4 * v.d,
         "us": lambda v: (rectangular_u(v.most), v.bend, v.p / 1e3 / v.n**0.5), "one": lambda v: rss((*v.us[:2], v.p / 1e3))}, lambda v: rss(v.us),
        ("You added the parts; they seldom all point the same way.", "You took the tolerance for a typical error.", "Take the root of the sum.",
         "You let the level and the air average out with the pointings.", "Pointings are new each time, so their part shrinks."),
        lambda v: (sum(v.us), rss((v.most, *v.us[1:])), rss(v.us) ** 2 * 1e3, v.one / v.n**0.5, v.one),
        ("A limit over √3 is a typical error.", "The air: k·d²/(2R). What is new each time shrinks, by √n.", "Square, add, take the root."),
        "More pointings mend neither the level nor the air."),
    Exercise("Choose", "Flat and curved lie {S:.0f} mm apart. Typical errors: level {u[0]:.0f} mm, air {u[1]:.0f} mm, one pointing {u[2]:.0f} mm. "
        "What brings the largest separation (distance over all errors)? (A) 16 pointings. (B) A peg test: a quarter of the level's part is left. "
        "(C) Thermometers: 0.4 of the air's part is left. (D) A line half as long again: distance and air grow 2.25 times, the rest 1.5 times.",
        {"S": (80, 160, 2), "i": (0, 3, 1), "b": (26, 38, 1), "c": (5, 8, 1),
         "u": lambda v: ((v.b, v.c, v.c), (v.c, v.b, v.c), (v.c, v.c, v.b), (v.b, 4, v.b))[int(v.i)], "left": lambda v: {
             x: rss([f * u for f, u in zip(by, v.u)]) for x, by in zip("ABCD", ((1, 1, 0.25), (0.25, 1, 1), (1, 0.4, 1), (2 / 3, 1, 2 / 3)))}},
        lambda v: min(v.left, key=v.left.__getitem__),
        ("Pointings shrink their own part; is it the largest?", "A peg test helps the level alone; is its part the largest?",
         "Thermometers help the air alone; is its part the largest?", "One part is far the largest; what mends it?"), lambda v: "ABCD",
        ("Mend the largest part.", "Of two parts alike, mending one leaves the other.", "Square, add, take the root, four times."),
        "You found the plan's weakest part before the trip.", "", "choice"),
    Exercise("Twice as much", "Sealed beforehand: decide only if the predictions lie 3.86 typical errors or more apart; then exclude each that is "
        "more than 2.58 from the finding. Flat water predicts 0 mm, the Earth's curve {S:.0f} mm; typical error {u:.1f} mm. You find {y:.0f} mm. "
        "(A) Flat is excluded, the Earth's curve fits. (B) The curve is excluded, flat fits. (C) Both are excluded. (D) Too uncertain to decide.",
        {"S": (40, 90, 1), "i": (0, 1, 1), "e": (0, 1, 0.05), "f": (1.8, 2.2, 0.05), "y": lambda v: round(v.f * v.S),
         "u": lambda v: v.S / (1.3 + 3 * v.i + 2 * v.e), "out": lambda v: [two_sided(v.y - x, [Contribution("", "", v.u)]) < 0.01 for x in (0, v.S)]},
        lambda v: "D" if v.S / v.u < gate(0.01, 0.9) else "C" if all(v.out) else "A" if v.out[0] else "B",
        ("The right direction is agreement, not evidence: could this decide, and does the size fit?", "How far is the finding from flat?",
         "The rule comes first: could this measurement decide at all?", "It could decide. Now count from each to the finding."),
        lambda v: "ABCD", ("First the gate.", "How many typical errors apart are the predictions?", "How many is the finding from each?"),
        "Twice the prediction does not prove it: something is not as stated.", "", "choice"),
    Exercise("Refraction forgotten", "The Earth's radius along the line is {R:.0f} km, light bends with {k:.2f} of the Earth's curve. Someone takes "
        "light to be straight, and does all else right. Which radius do they find?",
        {"d": (1e3, 1e3, 1)} | LINE | {"k": (0.25, 0.6, 0.01), "r": lambda v: v.R * 1e3}, lambda v: v.r / (1 - v.k),
        ("That is R(1 + k). Curvatures are subtracted, not radii.", "That is the true radius.", "Bent light makes the ball look larger.",
         "You bent the light upwards."), lambda v: (v.r * (1 + v.k), v.r, v.r * (1 - v.k), v.r / (1 + v.k)),
        ("The level sees the curve of the water less that of the light.", "Curvatures are 1/R and k/R.", "Subtract them, and turn the rest over."),
        "A radius not freed of the air is no radius of the Earth.", "km"),
    Exercise("A radius and its ends", "You found a curvature of {c:.3f} ± {u:.3f} per 1000 km (typical error). Between which radii lie the balls "
        "that fit, at 95 % (1.96 typical errors)?", {"c": (0.11, 0.2, 0.002), "i": (0, 1, 1), "e": (0, 0.6, 0.1), "R": lambda v: 1e6 / v.c,
         "u": lambda v: round(v.c / (1.1 + 1.5 * v.i + v.e), 3), "w": lambda v: 1.96 * v.u}, lambda v: radius_interval(v.c * 1e-6, v.u * 1e-6),
        ("That is R ± the same; turn the ends of the curvature into radii.", "That is one typical error; 95 % needs 1.96.",
         "No ball has a radius below 0: which curvature lies between?", "Is the curvature 0 within its 95 %?"),
        lambda v: ((v.R * (1 - v.w / v.c), v.R * (1 + v.w / v.c)), (1e6 / (v.c + v.u), 1e6 / (v.c - v.u)),
                   (1e6 / (v.c + v.w), 1e6 / (v.c - v.w)), (1e6 / (v.c + v.w), math.inf)),
        ("First the two ends of the curvature.", "R is one over the curvature.", "If 0 lies within, flat water fits: R has no upper end."),
        "The interval is lopsided; where flat water fits, it never ends.", "km", "interval"),
    Exercise("Three signals, 1870", "Telescope, middle and far signal stand at one height above the water, {d:.0f} m from one to the next. Light "
        "bends with k = {k:.2f}. By which angle does the far signal appear below the middle one, over water that follows the Earth ({R:.0f} km)?",
        {"d": (2000, 5000, 100)} | LINE | K, lambda v: (v.fall - v.bend) / v.d,
        ("No step at all is what FLAT water predicts.", "That is from the crosshair; start at the middle one.", "You forgot that light bends."),
        lambda v: (0.0, 2 * (v.fall - v.bend) / v.d, v.fall / v.d),
        ("Over flat water all three stand on one line.", "One at d appears lower by d/2 times the curvature left.", "Far less middle is d/2 again."),
        "Equal steps are what a ball predicts, whatever the tilt.", "arcsec", "angle")), 1))
