"""The paper kit for the shore, made from a plan (field sheet, helper's card, target board), and the pages that it is printed on.

PDF in true millimetres, black on white, 10 pt or more; the same plan gives the same bytes, and no file is replaced without `overwrite`.
What a book names is shown, never interpreted; coordinates, times and (unless asked for) remarks stay out.
"""

from __future__ import annotations

import bisect
import contextlib
import functools
import io
import itertools
import math
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.colors import to_rgba_array
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from . import air, figures, lake, schema, units
from .adjustment import Result, axis_height, longest
from .decision import OUTCOMES, Verdict, decide
from .numbers import checked
from .planning import CAUTIONS, Plan, _board, _stripe
from .prediction import line_of_sight, measured_offset
from .records import FieldBook, Reading
from .refraction import REFERENCE_RADIUS
from .sceptic import against, thresholds
from .uncertainty import COVERAGE

Size = tuple[float, float]  # width and height [mm]
SIZES: dict[str, Size] = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216, and US letter (from memory)
WIDE, HEAD, FOOT, LINE, ROW, TYPE, POINT = 180.0, 24.0, 15.0, 0.47, 8.0, 10.0, 25.4 / 72  # mm; mm/pt; mm; pt; mm
DEPTH, GLANCES, GUSTS = 5.0, 25, 8.0  # m of a lake, glances at the water, m/s at the tripod: common practice, no source
PEGS = (("midway", "peg A", 25.0), ("midway", "peg B", 25.0), ("near A", "peg A", 5.0), ("near A", "peg B", 55.0))  # m; common practice, no source
TILES, LONGEST, AXIS = 100, 4000, 33.0  # pages of a board; signs of a text; mm, of the curvature axis
PRINT = {"font.size": TYPE, **dict.fromkeys(("axes.labelsize", "axes.titlesize", "xtick.labelsize", "ytick.labelsize"), TYPE), "text.parse_math": False, "text.hinting": "none",
         **dict.fromkeys(("figure.facecolor", "axes.facecolor", "savefig.facecolor"), "white"), "savefig.dpi": 200, "pdf.fonttype": 42,
         "svg.fonttype": "none", "svg.hashsalt": "curvelab"}
UNDATED = {".pdf": {"Creator": None, "Producer": None, "CreationDate": None}, ".svg": {"Date": None, "Creator": None}, ".png": {"Software": None}}
ORDER = ("1. Set the watches of both shores together, by phone.  2. Level check before, when the level is as warm as the air.  3. Gauges and thermometers: "
         "now, between the set-ups, at the end.  4. Each set-up from top to bottom: bubble, read, write, read again. Rub nothing out: strike it, and say why.  "
         "5. Tape every height twice.  6. Level check after.  7. Photograph every page of this sheet.")
SCRIPT = (("UP", "mark slowly upwards, until the next word"), ("DOWN", "mark slowly downwards, until the next word"), ("HOLD", "clamp it, hands off, photograph it"),
          ("READ BACK", "say the number digit by digit; wait for “right”"), ("STOP", "put everything down: danger, or the line is cut"))
MOUNT = ("Upright by plumb line or spirit level, face square to the line, on a post or firm ground, never on a boat. Opaque, not shiny, no sun behind it, "
         "nobody in front of it. Tape from the still water to its zero, taut and upright, twice; the pole only just touches the water.")
BOXES = ("watch, mine less the level's [s]", "still water to the zero of the board", "far gauge", "air in the shade; water [°C]", "numbers of the photographs")
CARD = ("Compare watches before the first reading and after the last. Photograph tape and board at every height before anything is moved, a number in the "
        "picture. Switch off the place in the camera; a picture may still show it.")
BLIND = ("A blind offset makes a reading hard to doubt: mount the target higher or lower by a secret amount drawn beforehand (sealing.draw_blind); never say "
         "it on the phone; keep offset and salt until the reduction is done.")
SOURCES = ("Sources: Moritz (2000), GRS80; Karney (2013), geodesics; JCGM 100:2008 and 101:2008, uncertainty; IAG (1999) and Ciddor (1996), refractivity of air; in full "
           "beside each formula of curvelab, by which this was reduced.")
CHECK = ("Print at 100 %, never “fit to page”: this bar and the upright one must measure 100 mm. Join the pages at their thin frames on an opaque board, the highest "
         "on top. Each number stands on its line, in mm above the 0 line. Write the height of the 0 line above the still water into heights.csv.")


def field_sheet(plan: Plan, path: str | Path, paper: str = "A4", *, depth: float | None = None, remarks: bool = False, overwrite: bool = False) -> Path:
    """What to read, in which order, with boxes to fill, limits, rule and cautions; mean `depth` of the lake [m] if known; planned `remarks` if asked for."""
    strips = [*_deciding(_is_plan(plan)), *headed("Cautions", CAUTIONS), *headed("In this order", [ORDER]), *headed("Go or no go, today"),
              *table((3, 1.7, 4.7), ("what", "go up to", "because"), day_limits(plan, depth)), *_pegs(plan, "before"), *_weather(plan.book),
              *_sights(plan, remarks), *_tapes(plan), *_pegs(plan, "after")]
    return put(path, paper, overwrite, lambda size: paged(strips, size, "Field sheet", plan.book))


def helpers_card(plan: Plan, path: str | Path, paper: str = "A4", *, overwrite: bool = False) -> Path:
    """One page for the helper on the far shore: words on the phone, watches, photographs, how to mount the target, a blind offset."""
    sight, point = longest(_is_plan(plan).result).reading, plan.book.blind.point
    secret = f"A blind offset of {point} is committed to: never say it on the phone; keep offset and salt until the reduction is done." if point else BLIND
    strips = [*headed("On the phone: each word is said back"), *table((1, 3), ("you hear", "you do"), SCRIPT, 9.5, 14.0),
              *headed(f"The target, {sight.distance:.0f} m from the level: {sight.point}", [MOUNT], 11.0), GAP,
              *table((2.2, 1, 1), ("to write down", "first", "second"), [(text, "", "") for text in BOXES], 9.0, 11.0),
              *headed("Watches, photographs, secret", [CARD, secret], 11.0), *headed("Cautions", CAUTIONS, 11.0)]
    return put(path, paper, overwrite, lambda size: paged(strips, size, "Far shore", plan.book))


def target_board(plan: Plan, path: str | Path, paper: str = "A4", *, stripe: float | None = None, height: float | None = None, overwrite: bool = False) -> Path:
    """A striped board at full size in tiles to be joined, 0 at the level mark, with bars of 100 mm that check the printer.

    `stripe` and `height` [m] are those that the telescope and both predictions ask for, where left out.
    """
    sight, result = longest(_is_plan(plan).result).reading, plan.result
    finest = plan.book.instruments[sight.instrument].pointing.value * sight.distance
    step = 1000 * float(checked("stripe", _stripe(finest) if stripe is None else stripe, 0.005, 1.0, "the width of a stripe in metres, 0.005 to 1"))
    span = 1000 * float(checked("height", _board(plan) if height is None else height, step / 1000, 20.0, "metres, at least a stripe, at most 20"))
    middle = 500 * (_offset(result, 0.0)[0] + _offset(result, result.ellipsoid_curvature)[0])
    low, count = step * math.floor((middle - span / 2) / step), math.ceil(span / step - 1e-9) + 1
    return put(path, paper, overwrite, lambda size: _board_pages(plan.book, size, step, low, low + step * count))


def handout(result: Result | Verdict, path: str | Path, paper: str = "A4", *, place: bool = False, overwrite: bool = False) -> Path:
    """One page for the audience (``.pdf``, ``.svg``, ``.png``), from a result or its verdict: what was found, how surely, and what would have gone against it.

    `place` prints the coordinates, and the title of a book that is private.
    """
    verdict = result if isinstance(result, Verdict) else decide(result)
    book = verdict.result.book
    named = book if place or not book.private else replace(book, title="a level line over water")
    return put(path, paper, overwrite, lambda size: paged(_told(verdict, size[1] - HEAD - FOOT, place), size, "What the water shows", named), tuple(UNDATED))


def bands(plan: Plan) -> tuple[float, float]:
    """Offset of the line of sight [m] at the target above which flat water is excluded, and that below which the ellipsoid is."""
    above, below = (_offset(plan.result, kappa)[0] for kappa in thresholds(plan.result))
    return above, below


def repeat_limit(book: FieldBook, reading: Reading) -> float:
    """How far a repeat may lie from the first reading [m]: 3 standard deviations of a difference, pointing and reading as stated."""
    level = book.instruments[reading.instrument]
    return 3 * math.sqrt(2) * (math.hypot(level.pointing.value * reading.distance, level.reading.value) if reading.u is None else reading.u)


def air_range(plan: Plan) -> tuple[float, float]:
    """Least and largest air-minus-water difference [K], air 10 m up, that agrees with the plan's air within 2 u; NaN where nothing is stated to tell.

    A stated k or gradient is taken as a neutral profile that bends the longest sight as much.
    """
    sight = longest(plan.result).reading
    mass = plan.book.airs[sight.air]
    if air.by_profile(mass):
        told = mass.air_minus_water or units.parse(schema.DEFAULT_AIR_MINUS_WATER, "temperature difference")
        return told.value - 2 * told.u, told.value + 2 * told.u
    if not (mass.temperature and mass.pressure):
        return math.nan, math.nan
    chi, height = air.stated(mass), axis_height(plan.result, sight.setup)
    low, high = (air.difference(air.strength_for(mass, chi.value + side * chi.u, sight.distance, height)) for side in (-2, 2))
    return low, high


def day_limits(plan: Plan, depth: float | None = None) -> list[tuple[str, str, str]]:
    """Go or no go on the day by the plan's own touch, water and air: what, up to where, where that comes from; mean `depth` of the lake [m]."""
    deep = float(checked("depth", DEPTH if depth is None else depth, 0.1, 2000.0, "the mean depth of the lake in metres, 0.1 to 2000"))
    touch, shores, away = plan.book.water.touch.value, plan.book.water.between_shores.u, longest(plan.result).reading.distance
    once, often = (touch / float(lake.wave_u(1.0, n)) for n in (1, GLANCES))
    blown, tilting = often / float(lake.fetch_waves(1.0, away)[0]), math.sqrt(shores / float(lake.wind_set_up(1.0, away, deep)))
    known, (low, high) = f"mean depth {deep:g} m" + (" taken: common practice, no source" if depth is None else ""), air_range(plan)
    return [("waves at the pole", f"{once * 1000:.0f} mm high", f"one glance: a quarter of it is the touch, {touch * 1000:.1f} mm"),
            (f"the same, {GLANCES} glances", f"{often * 1000:.0f} mm high", f"their mean; {GLANCES}: common practice, no source"),
            ("wind along the line, waves", f"{blown:.1f} m/s", f"raises {often * 1000:.0f} mm over {away:.0f} m; a stilling tube bears more"),
            ("wind along the line, tilt", f"{tilting:.1f} m/s", f"piles up {shores * 1000:.1f} mm; {known}"),
            ("gusts at the tripod", f"{GUSTS:g} m/s", "common practice, no source"),
            ("air less water", "measure it", "the plan states no weather to tell") if math.isnan(low) else
            ("air less water", f"{low:+.1f} to {high:+.1f} K", "air 10 m up (2 m up: an eighth less); bends as planned, within 2 u")]


def _is_plan(plan: Plan) -> Plan:
    """A plan, or an error in words."""
    if not isinstance(plan, Plan):
        raise TypeError(f"the paper kit is made from plan(book), not from {type(plan).__name__}")
    return plan


def _offset(result: Result, curvature: float) -> tuple[float, float]:
    """Offset at the target and its standard uncertainty [m], over water of a curvature."""
    offset, u = line_of_sight(result, curvature, np.array([longest(result).reading.distance]))
    return float(offset[0]), float(u[0])


def _deciding(plan: Plan) -> list[Strip]:
    """Predictions, bands, rule and seal."""
    result, rule, away = plan.result, plan.book.rule, longest(plan.result).reading.distance
    flat, curved = (f"{1000 * value:+.0f} ± {1000 * COVERAGE * u:.0f} mm" for value, u in (_offset(result, 0.0), _offset(result, result.ellipsoid_curvature)))
    above, below = bands(plan)
    neither = "nothing is decided" if above > below else "both are excluded: something is not as stated"
    rows = [(where, then if plan.go or then == neither else f"nothing is decided; were this a go: {then}") for where, then in (
        (f"above {1000 * above:+.0f} mm", "flat water is excluded"), (f"below {1000 * below:+.0f} mm", "water that follows the Earth is excluded"), ("in between", neither))]
    return [said("GO: this plan can decide." if plan.go else "NO GO: nothing read with this plan decides anything. Mend it first.", 13.0, bold=True),
            said(f"At {away:.0f} m the line of sight should stand {flat} from the level of the instrument over flat water, {curved} over water that follows the Earth "
                 f"(+ = above; 95 of 100). Another tilt of the line, found by the level check, moves all of these: 10 µrad are {away / 100:.0f} mm."), GAP,
            *table((1, 2), ("reading − (HI − H)", "then"), rows), GAP,
            *table((1, 1, 1), ("HI: level above still water", "H: target above still water", "reading − (HI − H)"), [("", "", "")], 10.0), GAP,
            said(f"Rule{'' if rule.stated else ' (the default, not fixed beforehand)'}: flat water is rejected in error at most {100 * rule.alpha_flat:g} % of the time, the "
                 f"ellipsoid {100 * rule.alpha_ellipsoid:g} %; power {100 * rule.power:g} %. Separation {plan.separation:.2f}, needed {plan.gate:.2f}."),
            said(f"Seal: {plan.book.sealed}" if plan.book.sealed else "This plan is not sealed.")]


def _pegs(plan: Plan, when: str) -> list[Strip]:
    """A blank two-peg test on one page, and by how much two of them may differ."""
    level = longest(plan.result).reading.instrument
    most = math.hypot(*(repeat_limit(plan.book, Reading(0, at, peg, away, instrument=level)) for at, peg, away in PEGS))
    rows = [(at, peg, f"{away:g}", "", "", "", "") for at, peg, away in PEGS]
    text = (f"x = (B − A, near A) − (B − A, midway): by so much the line rises over 50 m. If x before and x after differ by more than {1000 * most:.1f} mm (3 standard "
            "deviations), the level has moved: test again, and say so. Where the plan lists peg readings, those are the test before.")
    boxes = table((1.5, 1.2, 1.5, 2, 1.6, 1.6, 1.4), ("set-up", "point", "about [m]", "reading", "upper", "lower", "time"), rows)
    return [*headed(f"Level check {when}"), *(replace(strip, keep=True) for strip in (*boxes, GAP)), said(text)]


def _weather(book: FieldBook) -> list[Strip]:
    """Gauges and thermometers."""
    hung = dict.fromkeys(", ".join(filter(None, (f"air {t.height:g} m up", t.thermometer))) for t in book.air_readings) or ("air in the shade, 1.5 m up", "air in the shade, 3 m up")
    rows = [(row, "", "", "", "") for row in ("time", "near gauge", "far gauge", *hung, "water, at its surface", "wind, waves")]
    return [*headed("Gauges and thermometers, each with its unit"), *table((2, 1, 1, 1, 1), ("", "start", "between", "between", "end"), rows)]


def _sights(plan: Plan, remarks: bool) -> list[Strip]:
    """The plan's readings by set-up, in their order; a set-up that goes on overleaf is named again there."""
    header = next(h for h in plan.book.tables["readings.csv"].headers if units.split_header(h)[0] == "reading")
    weights, names = (2.2, 1.25, 2, 1.3, 1.3, 1.75, 1.2, 1.7), ("point", "[m]", header, "upper", "lower", "again if", "time", "remark")
    head, *_ = table(weights, names, ())
    several = len(plan.book.instruments) > 1

    def named(r: Reading) -> str:
        return ", ".join(filter(None, (r.setup, r.instrument and several and f"level {r.instrument}", r.visit)))

    strips = [*headed("Readings", ["Read twice at once; where the second differs from the first by more than “again if”, read again. All of them stand."]), GAP, head]
    for setup, rows in itertools.groupby((r for r in plan.book.readings if not r.struck), key=named):
        cells = [(r.point, f"{r.distance:.1f}", "", "", "", f"> {1000 * repeat_limit(plan.book, r):.1f} mm", "", r.remark if remarks else "") for r in rows]
        band, again = (table((1,), (f"Set-up {setup}{more}",), (), 7.0)[0] for more in ("", " (continued)"))
        strips += [replace(band, head=head), *(replace(strip, head=_under(head, again)) for strip in table(weights, names, cells)[1:])]
    return strips


def _tapes(plan: Plan) -> list[Strip]:
    """Heights to tape."""
    u = {row.label.partition(":")[0]: part.u for row in plan.result.rows for part in row.parts if part.cause == "taped height"}
    rows = [(", ".join(filter(None, (h.start, h.visit))), h.end, "", "", f"> {3000 * math.sqrt(2) * u[f'heights.csv row {h.row}']:.1f} mm", "") for h in plan.book.heights]
    return [*headed("Heights to tape"), *table((2, 2, 1.5, 1.5, 1.4, 1), ("from", "up to", "first", "second", "again if", "time"), rows)] if rows else []


def _told(verdict: Verdict, room: float, place: bool) -> list[Strip]:
    """A handout's strips, the pictures as high as the words leave room [mm]; a verdict that is too long is cut."""
    book, line = verdict.result.book, verdict.result.book.site["line"]
    by = "fixed beforehand" if book.rule.stated else "NOT fixed beforehand"
    method = (f"A level was read across {verdict.distance:.0f} m of water, on marks whose heights above the still water were measured on both shores. Both predictions hold the bending "
              f"of light and the level's own tilt. All readings together give the curvature of the water; a rule {by} says what it excludes.")
    ends = [GAP, said(SOURCES), GAP, said(f"Cautions. {' '.join(CAUTIONS)}"), *([said(f"Seal of the plan: {book.sealed}", most=2)] if book.sealed else []),
            *([said("Place: " + ", ".join(f"{key} {line[key]}" for key in ("from", "to", "latitude", "azimuth") if key in line))] if place else [])]
    for most in range(16, 2, -1):
        words = [*headed(f"Verdict: {verdict.outcome}"), said(verdict.sentence, most=most), GAP, said(against(verdict)), GAP, said(method), GAP]
        numbers = table((2.1, 2.2, 3.3, 0.8), ("number", "", "uncertainty at the target", "mm"), _numbers(verdict), 5.5)
        free = room - sum(strip.height for strip in (*words, *numbers, *ends)) - 0.1
        if free > AXIS + 50:
            break
    return [*words, *_pictures(verdict, free), *numbers, *ends]


def _numbers(verdict: Verdict) -> list[tuple[str, str, str, str]]:
    """Numbers of a result on the left, its budget [mm] on the right."""
    result, (low, high) = verdict.result, (radius / 1000 for radius in verdict.radius)
    kappa, sight = result.curvature, longest(result).reading
    k = f"{result.effective_k:.2f}" + ("" if result.by_profile else f" ± {result.refraction[sight.air].u * REFERENCE_RADIUS:.2f}")
    radius = "none fits" if math.isnan(low) else f"{low:.0f} km or more" if math.isinf(high) else f"{low:.0f} to {high:.0f} km"
    level = result.collimation[sight.instrument]
    left = [("curvature κ, 1/1000 km", f"{kappa.value * 1e6:.4f} ± {kappa.u * 1e6:.4f}"), ("ellipsoid, 1/1000 km", f"{result.ellipsoid_curvature * 1e6:.4f}"),
            ("separation, gate", f"{verdict.separation:.2f}, {verdict.gate:.2f}"), ("z of flat, of ellipsoid", f"{verdict.z_flat:.2f}, {verdict.z_ellipsoid:.2f}"),
            ("radius, 95 %", radius), ("refraction k", k), ("collimation, µrad", f"{level.value * 1e6:+.1f} ± {level.u * 1e6:.1f}"),
            ("χ², degrees of freedom", f"{result.chi2:.1f}, {result.dof}")]
    budget = [(f"{row.cause}, {row.common_to}", row.u * 1000) for row in result.offset_budget()]
    shown = [*budget[:6], ("all others", math.hypot(*(u for _, u in budget[6:]))), ("together", math.hypot(*(u for _, u in budget)))]
    return [(*one, cause, f"{u:.1f}") for one, (cause, u) in itertools.zip_longest(left, shown, fillvalue=("", 0.0))]


def _pictures(verdict: Verdict, height: float) -> list[Strip]:
    """The curvature axis and the sight chart, together so high [mm]; what decides nothing is marked."""
    result, along = verdict.result, np.linspace(0.0, verdict.distance, 81)
    lines, found = [line_of_sight(result, kappa, along) for kappa in (0.0, result.ellipsoid_curvature)], measured_offset(result)
    note = verdict.outcome if verdict.outcome in OUTCOMES[:2] else ""
    return [_picture(AXIS, 0.0, lambda ax: figures.curvature_axis(result.ellipsoid_curvature, max(result.curvature.u, result.planned_u), found=result.curvature.value, note=note, ax=ax)),
            _picture(height - AXIS, 24.0, lambda ax: figures.sight_chart(along, *lines, axis_height=axis_height(result, longest(result).reading.setup),
                                                                      points=[(verdict.distance, found.value, found.u)], ax=ax))]


def _picture(height: float, left: float, paint: Callable[[Axes], object]) -> Strip:
    """A picture of black and grey, its axes so far from the left [mm]."""
    def draw(ax: Axes, top: float) -> None:
        width, tall = 25.4 * ax.figure.get_size_inches()
        own = ax.figure.add_axes((((width - WIDE) / 2 + left) / width, (top - height + 13) / tall, (WIDE - left) / width, (height - (20 if left else 14)) / tall))
        paint(own)
        for artist in own.findobj():
            _grey(artist)
        for text in own.texts:
            text.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8})

    return Strip(height, draw)


def _grey(artist: Artist) -> None:
    """Dark colours black, light ones grey."""
    for name in ("color", "edgecolor", "facecolor"):
        get, put_ = getattr(artist, f"get_{name}", None), getattr(artist, f"set_{name}", None)
        if get and put_ and len(shades := to_rgba_array(get())):
            light = shades[:, :3] @ (0.299, 0.587, 0.114)
            shades[:, :3] = np.where(light < 0.5, 0.0, light)[:, None]
            put_(tuple(shades[0]) if len(shades) == 1 else shades)


def _board_pages(book: FieldBook, size: Size, step: float, low: float, high: float) -> list[Figure]:
    """A board between two heights above its zero [mm], in tiles of whole stripes where a page holds one."""
    room = math.floor(size[1] - HEAD - FOOT - 24)
    tile = step * (room // step) if step <= room else room
    count = math.ceil((high - low) / tile - 1e-9)
    if count > TILES:
        raise ValueError(f"a board of {(high - low) / 1000:.1f} m takes {count} pages, more than {TILES}: give a smaller height")
    return [_tile(book, size, step, max(low, high - (i + 1) * tile), high - i * tile, f"{i + 1} of {count}") for i in range(count)]


def _tile(book: FieldBook, size: Size, step: float, low: float, high: float, number: str) -> Figure:
    """One page of a board: stripes on the left, numbers on their lines on the right."""
    figure, ax = page(size, f"Target board: {low:+g} to {high:+g} mm", book, number)
    foot, half, type_ = FOOT + 22 - low, WIDE / 2, min(0.8 * step, 29.0) / POINT
    for i in range(math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)):
        if i % 2 == 0:
            ax.add_artist(Rectangle((0.0, foot + max(i * step, low)), half, min((i + 1) * step, high) - max(i * step, low), facecolor="black", linewidth=0))
        if i * step >= low - 1e-9:
            ax.plot([half, WIDE], [foot + i * step] * 2, color="black", linewidth=3.0 if i == 0 else 0.8)
            label = f"{i * step:+g}" if i else "0"
            ax.text(half + 3, foot + i * step + 2, label, fontsize=type_ * min(1.0, (half - 5) / _width(label, type_, True)), fontweight="bold")
    ax.add_artist(Rectangle((0.0, foot + low), WIDE, high - low, fill=False, linewidth=0.5))
    for x, y in (([0.0, 100.0], [FOOT + 3] * 2), ([-6.0] * 2, [FOOT + 22, FOOT + 122])):
        ax.plot(x, y, color="black", linewidth=1.2, marker="+", markersize=8)
    _write(ax, 0.0, FOOT + 20, wrapped(CHECK, WIDE))
    return figure


@dataclass(frozen=True)
class Strip:
    """A piece of a page from edge to edge: height [mm], how it is drawn below its top [mm], whether the next stays with it, its table's head."""

    height: float
    draw: Callable[[Axes, float], object]
    keep: bool = False
    head: Strip | None = None


GAP = Strip(2.0, lambda ax, top: None)


def said(text: str, size: float = TYPE, *, bold: bool = False, keep: bool = False, most: int = 30) -> Strip:
    """A paragraph of at most so many lines."""
    lines = wrapped(text, WIDE, size, bold, most)
    return Strip(LINE * size * len(lines), lambda ax, top: _write(ax, 0.0, top, lines, size, bold), keep)


def headed(text: str, lines: Iterable[str] = (), size: float = TYPE) -> list[Strip]:
    """A heading that stays with what follows, and paragraphs."""
    return [replace(GAP, keep=True), said(text, 12.0, bold=True, keep=True, most=2), replace(GAP, height=1.0, keep=True), *(said(line, size) for line in lines)]


def table(weights: Sequence[float], names: Sequence[str], rows: Iterable[Sequence[str]], least: float = ROW, size: float = TYPE) -> list[Strip]:
    """A table whose head is said again on every page; cells of at most three lines, rows at least so high [mm]."""
    edges = WIDE * np.cumsum([0.0, *weights]) / sum(weights)
    head = _row(edges, names, least, size)
    return [head, *(_row(edges, cells, least, size, head) for cells in rows)]


def _row(edges: Sequence[float], cells: Sequence[str], least: float, size: float, head: Strip | None = None) -> Strip:
    """A row of a table; the head itself where none is given."""
    texts = [wrapped(cell, right - left - 2.4, size, head is None, 3) for left, right, cell in zip(edges, edges[1:], cells)]
    height = max(least, 1.0 + LINE * size * max(map(len, texts)))

    def draw(ax: Axes, top: float) -> None:
        for left, right, lines in zip(edges, edges[1:], texts):
            ax.add_artist(Rectangle((left, top - height), right - left, height, fill=False, linewidth=0.7))
            _write(ax, left + 1.2, top - (height - LINE * size * len(lines)) / 2, lines, size, head is None)

    return Strip(height, draw, head is None, head)


def _under(upper: Strip, lower: Strip) -> Strip:
    """Two strips as one."""
    return Strip(upper.height + lower.height, lambda ax, top: (upper.draw(ax, top), lower.draw(ax, top - upper.height)))


def paged(strips: Sequence[Strip], size: Size, title: str, book: FieldBook) -> list[Figure]:
    """Strips on as many pages as they take."""
    room, pages = size[1] - HEAD - FOOT, [[]]
    for i, strip in enumerate(strips):
        last = next((j for j in range(i, len(strips)) if not strips[j].keep), len(strips) - 1)
        if sum(s.height for s in (*pages[-1], *strips[i:last + 1])) > room:
            pages.append([strip.head] if strip.head else [])
        pages[-1].append(strip)
    made = []
    for number, own in enumerate(pages, 1):
        figure, ax = page(size, title, book, f"{number} of {len(pages)}")
        for top, strip in zip(size[1] - HEAD - np.cumsum([0.0, *(s.height for s in own)]), own):
            strip.draw(ax, top)
        made.append(figure)
    return made


def page(size: Size, title: str, book: FieldBook, number: str) -> tuple[Figure, Axes]:
    """A page with what it is, the book's title, "invented data" where so, number and seal; its axes count millimetres from the left of the text and from the foot."""
    figure, edge = Figure(figsize=(size[0] / 25.4, size[1] / 25.4)), (size[0] - WIDE) / 2
    ax = figure.add_axes((0, 0, 1, 1), xlim=(-edge, WIDE + edge), ylim=(0, size[1]))
    ax.set_axis_off()
    _write(ax, 0.0, size[1] - 8, [title], 14.0, True)
    _write(ax, WIDE - _width("invented data", 14.0, True), size[1] - 8, ["invented data"] if book.invented else [], 14.0, True)
    _write(ax, 0.0, size[1] - 14.5, wrapped(book.title, WIDE, 11.0, most=1), 11.0)
    ax.plot([0, WIDE], [size[1] - HEAD + 3] * 2, color="black", linewidth=1.2)
    _write(ax, 0.0, FOOT - 3, [f"page {number}" + (f", seal {plain(book.sealed)[:16]}" if book.sealed else "")])
    return figure, ax


def put(path: str | Path, paper: str, overwrite: bool, draw: Callable[[Size], list[Figure]], kinds: Sequence[str] = (".pdf",)) -> Path:
    """Draw pages and write them, without a date, to a file of one of these kinds."""
    path, size, out = Path(path), SIZES.get(paper), io.BytesIO()
    kind = path.suffix.lower()
    if size is None or kind not in kinds:
        raise ValueError(f"{path.name!r} on {paper!r} can't be printed: give a name that ends in {' or '.join(kinds)}, and paper {' or '.join(SIZES)}")
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path.name} is there already: give a new name, or overwrite=True")
    own = (figures.style(), matplotlib.style.context("default"), figures.style(), matplotlib.rc_context(PRINT))  # whatever the user's settings are
    with contextlib.ExitStack() as stack:
        for setting in own:
            stack.enter_context(setting)
        into = stack.enter_context(PdfPages(out, metadata=UNDATED[kind])) if kind == ".pdf" else out
        for figure in draw(size):
            figure.savefig(into, format=kind[1:], metadata=None if kind == ".pdf" else UNDATED[kind])
    try:
        with path.open("wb" if overwrite else "xb") as file:
            file.write(out.getvalue())
    except OSError as error:
        raise OSError(f"{path.name} can't be written ({error.strerror}): give a name in a folder that is there and open to you") from None
    return path


def _write(ax: Axes, left: float, top: float, lines: Sequence[str], size: float = TYPE, bold: bool = False) -> None:
    """Lines of text below a top [mm]."""
    for i, line in enumerate(lines):
        ax.text(left, top - (0.35 + LINE * i) * size, line, fontsize=size, fontweight="bold" if bold else "normal")


def wrapped(text: str, width: float, size: float = TYPE, bold: bool = False, most: int = 30) -> list[str]:
    """A text in lines of at most a width [mm], the last one cut where they are too many."""
    lines = [""]
    for word in plain(text).split():
        if _width(f"{lines[-1]} {word}".strip(), size, bold) > width:
            lines += [""] if lines[-1] else []
            while len(word) > 1 and _width(word[:400], size, bold) > width:  # no line holds as many
                cut = max(1, bisect.bisect_right(range(1, min(len(word), 400)), width, key=lambda n, word=word: _width(word[:n], size, bold)))
                lines, word = [*lines[:-1], word[:cut], ""], word[cut:]
        lines[-1] = f"{lines[-1]} {word}".strip()
    if len(lines) > most:
        last = lines[most - 1]
        lines[most - 1:] = [last[:bisect.bisect_right(range(1, len(last) + 1), width, key=lambda n: _width(f"{last[:n]}…", size, bold))] + "…"]
    return lines


def plain(text: str) -> str:
    """A text as it may be printed: one line, no control signs, no towers of accents, □ for what the font lacks."""
    shown = unicodedata.normalize("NFC", " ".join(text[:LONGEST].split()))
    kept = [c for before, c in zip(f" {shown}", shown) if unicodedata.category(c)[0] != "C" and not (unicodedata.combining(c) and unicodedata.combining(before))]
    return "".join(c if ord(c) in _glyphs() else "□" for c in kept)


@functools.cache
def _glyphs() -> frozenset[int]:
    """What both weights of the font can show."""
    fonts = (get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight))) for weight in ("normal", "bold"))
    return frozenset.intersection(*(frozenset(font.get_charmap()) for font in fonts))


@functools.lru_cache(4096)
def _width(text: str, size: float, bold: bool) -> float:
    """Width of a text [mm]."""
    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size)
    return text_to_path.get_text_width_height_descent(text, font, False)[0] * POINT
