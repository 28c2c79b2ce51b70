"""The paper kit for the shore, made from a plan (field sheet, helper's card, target board), and the handout made from a result.

Coordinates, times and (unless asked for) remarks stay out. A book in feet is answered in millimetres and feet, its tables in feet alone.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from . import air, drawing, figures, lake, schema, units
from .adjustment import Result, axis_height, longest
from .decision import OUTCOMES, Verdict, decide
from .numbers import checked
from .pages import FOOT, GAP, HEAD, LONGEST, POINT, SIZES, TYPE, UNDATED, WIDE, Size, Strip, also, bars, beyond, far, feet, headed, long_unit
from .pages import page, paged, picture, put, said, short, staff, table, tiles, under, width_of, wind, wrapped
from .planning import CAUTIONS, Plan, _board, _stripe
from .prediction import at_target, line_of_sight, measured_offset
from .records import FieldBook, Reading
from .refraction import REFERENCE_RADIUS
from .sceptic import against, thresholds
from .uncertainty import COVERAGE

__all__ = ["SIZES", "air_range", "bands", "day_limits", "field_sheet", "handout", "helpers_card", "repeat_limit", "target_board"]
DEPTH, GLANCES, GUSTS = 5.0, 25, 8.0  # m of a lake, glances at the water, m/s at the tripod: common practice, no source
PEGS = (("midway", "peg A", 25.0), ("midway", "peg B", 25.0), ("near A", "peg A", 5.0), ("near A", "peg B", 55.0))  # m; common practice, no source
AXIS, CHART, SMALL = 33.0, 80.0, 25.0  # mm: curvature axis, sight chart overleaf, stripe below which feet stand beside its number
ORDER = ("1. Set the watches of both shores together, by phone.",
         "2. Level check before, when the level is as warm as the air.",
         "3. Gauges and thermometers: now, between the set-ups, at the end.",
         "4. Each set-up, top to bottom: bubble, read, write, read again. Rub nothing out: strike it, say why.",
         "5. Tape every height twice.  6. Level check after.  7. Photograph every page of this sheet.")
SCRIPT = (("UP", "mark slowly upwards, until the next word"), ("DOWN", "mark slowly downwards, until the next word"),
          ("HOLD", "clamp it, hands off, photograph it"), ("READ BACK", "say the number digit by digit; wait for “right”"),
          ("STOP", "put everything down: danger, or the line is cut"))
MOUNT = ("Upright by plumb line or spirit level, face square to the line, on a post or firm ground, never on a boat. Opaque, not shiny, no sun "
         "behind it, nobody in front of it. Tape from the still water to its zero, taut and upright, twice; the pole only just touches the water.")
BOXES = ("watch, mine less the level's, in seconds", "still water to the zero of the board", "far gauge", "air in the shade; water", "photo numbers")
CARD = ("Compare watches before the first reading and after the last. Photograph tape and board at every height before anything is moved, a number "
        "in the picture. Switch off the place in the camera; a picture may still show it.")
BLIND = ("A blind offset makes a reading hard to doubt: mount the target higher or lower by a secret amount drawn beforehand (sealing.draw_blind); "
         "never say it on the phone; keep offset and salt until the reduction is done.")
SOURCES = ("Sources: Moritz (2000), GRS80; Karney (2013), geodesics; JCGM 100:2008 and 101:2008, uncertainty; IAG (1999) and Ciddor (1996), "
           "refractivity of air; in full beside each formula of curvelab, by which this was reduced.")


def field_sheet(plan: Plan, path: str | Path, paper: str = "A4", *, depth: float | None = None, remarks: bool = False,
                overwrite: bool = False) -> Path:
    """What to read, in which order, with boxes to fill, limits, rule and cautions; mean `depth` of the lake [m] if known; `remarks` if asked for."""
    strips = [*_deciding(_is_plan(plan)), *headed("Cautions", CAUTIONS), *headed("In this order", ORDER), *headed("Go or no go, today"),
              *table((2.7, 2.2, 4.5), ("what", "go up to", "because"), day_limits(plan, depth)), *_pegs(plan, "before"), *_weather(plan.book),
              *_sights(plan, remarks), *_tapes(plan), *_pegs(plan, "after")]
    return put(path, paper, overwrite, lambda size: paged(strips, size, "Field sheet", plan.book))


def helpers_card(plan: Plan, path: str | Path, paper: str = "A4", *, overwrite: bool = False) -> Path:
    """One page for the helper on the far shore: words on the phone, watches, photographs, how to mount the target, a blind offset."""
    sight, point = longest(_is_plan(plan).result).reading, plan.book.blind.point
    known = f"A blind offset of {point} is committed to: never say it on the phone; keep offset and salt until the reduction is done."
    strips = [*headed("On the phone: each word is said back"), *table((1, 3), ("you hear", "you do"), SCRIPT, 9.5, 14.0),
              *headed(f"The target, {far(plan.book, sight.distance)} from the level: {sight.point}", [MOUNT], 11.0), GAP,
              *table((2.2, 1, 1), ("to write down, with its unit", "first", "second"), [(text, "", "") for text in BOXES], 9.0, 11.0),
              *headed("Watches, photographs, secret", [CARD, known if point else BLIND], 11.0), *headed("Cautions", CAUTIONS, 11.0)]
    return put(path, paper, overwrite, lambda size: paged(strips, size, "Far shore", plan.book))


def target_board(plan: Plan, path: str | Path, paper: str = "A4", *, stripe: float | None = None, height: float | None = None,
                 overwrite: bool = False) -> Path:
    """A striped board at full size in tiles to be joined, 0 at the level mark, with bars of 100 mm that check the printer.

    `stripe` and `height` [m] are those that the telescope and both predictions ask for, where left out.
    """
    sight, result = longest(_is_plan(plan).result).reading, plan.result
    finest = plan.book.instruments[sight.instrument].pointing.value * sight.distance
    step = 1000 * float(checked("stripe", _stripe(finest) if stripe is None else stripe, 0.005, 1.0, "the width of a stripe in metres, 0.005 to 1"))
    span = 1000 * float(checked("height", _board(plan) if height is None else height, step / 1000, 20.0, "metres, at least a stripe, at most 20"))
    middle = 500 * (at_target(result, 0.0).value + at_target(result, result.ellipsoid_curvature).value)
    low, count = step * math.floor((middle - span / 2) / step), math.ceil(span / step - 1e-9) + 1
    return put(path, paper, overwrite, lambda size: [_tile(plan.book, size, step, *tile) for tile in tiles(size, step, low, low + step * count)])


def handout(result: Result | Verdict, path: str | Path, paper: str = "A4", *, place: bool = False, overwrite: bool = False) -> Path:
    """For the audience, from a result or its verdict: what was found, how surely, and what would have gone against it.

    One page (``.pdf``, ``.svg``, ``.png``) in the book's own units; where a verdict leaves no room, the rest goes overleaf (``.pdf`` alone).
    `place` prints the coordinates, and the title of a book that is private.
    """
    verdict = result if isinstance(result, Verdict) else decide(result)
    book = verdict.result.book
    named = book if place or not book.private else replace(book, title="a level line over water")
    return put(path, paper, overwrite, lambda size: paged(_told(verdict, size, place), size, "What the water shows", named), tuple(UNDATED))


def bands(plan: Plan) -> tuple[float, float]:
    """Offset of the line of sight [m] at the target above which flat water is excluded, and that below which the ellipsoid is."""
    above, below = (at_target(plan.result, kappa).value for kappa in thresholds(plan.result))
    return above, below


def repeat_limit(book: FieldBook, reading: Reading) -> float:
    """How far a repeat may lie from the first reading [m]: 3 standard deviations of a difference, pointing and reading as stated."""
    level = book.instruments[reading.instrument]
    return 3 * math.sqrt(2) * (math.hypot(level.pointing.value * reading.distance, level.reading.value) if reading.u is None else reading.u)


def air_range(plan: Plan) -> tuple[float, float]:
    """Least and largest air-minus-water difference [K], air 10 m up, that agrees with the plan's air within 2 u; NaN where nothing is stated to tell.

    A stated k or gradient is taken as a neutral profile that bends the longest sight as much.
    """
    sight, mass = longest(plan.result).reading, plan.book.airs[longest(plan.result).reading.air]
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
    book, away, (low, high) = plan.book, longest(plan.result).reading.distance, air_range(plan)
    touch, shores = book.water.touch.value, book.water.between_shores.u
    once, often = (touch / float(lake.wave_u(1.0, n)) for n in (1, GLANCES))
    blown, tilting = often / float(lake.fetch_waves(1.0, away)[0]), math.sqrt(shores / float(lake.wind_set_up(1.0, away, deep)))
    known = f"mean depth {deep:g} m{' taken: common practice, no source' if depth is None else ''}"
    told = [("waves at the pole", f"{short(book, once)} high", f"one glance: a quarter of it is the touch, {short(book, touch, 1)}"),
            (f"the same, {GLANCES} glances", f"{short(book, often)} high", f"their mean; {GLANCES}: common practice, no source"),
            ("wind along the line, waves", wind(book, blown), f"raises {short(book, often)} over {far(book, away)}; a stilling tube bears more"),
            ("wind along the line, tilt", wind(book, tilting), f"piles up {short(book, shores, 1)}; {known}"),
            ("gusts at the tripod", wind(book, GUSTS), "common practice, no source")]
    if math.isnan(low):
        return [*told, ("air less water", "measure it", "the plan states no weather to tell")]
    warm = "" if staff(book) == "m" else f" ({1.8 * low:+.0f} to {1.8 * high:+.0f} °F)"
    return [*told, ("air less water", f"{low:+.1f} to {high:+.1f} K{warm}", "air 10 m up (2 m up: an eighth less); bends as planned, within 2 u")]


def _is_plan(plan: Plan) -> Plan:
    """A plan, or an error in words."""
    if not isinstance(plan, Plan):
        raise TypeError(f"the paper kit is made from plan(book), not from {type(plan).__name__}")
    return plan


def _deciding(plan: Plan) -> list[Strip]:
    """Predictions, bands, rule and seal."""
    book, result, rule, away = plan.book, plan.result, plan.book.rule, longest(plan.result).reading.distance
    ends = (at_target(result, kappa) for kappa in (0.0, result.ellipsoid_curvature))
    flat, curved = (f"{1000 * end.value:+.0f} ± {1000 * COVERAGE * end.u:.0f} mm{feet(book, end.value, COVERAGE * end.u, sign='+')}" for end in ends)
    above, below = bands(plan)
    neither = "nothing is decided" if above > below else "both are excluded: something is not as stated"
    rows = [(where, then if plan.go or then == neither else f"nothing is decided; were this a go: {then}") for where, then in (
        (f"above {1000 * above:+.0f} mm{feet(book, above, sign='+')}", "flat water is excluded"),
        (f"below {1000 * below:+.0f} mm{feet(book, below, sign='+')}", "water that follows the Earth is excluded"), ("in between", neither))]
    state = "GO: this plan can decide." if plan.go else "NO GO: nothing read with this plan decides anything. Mend it first."
    return [said(state, 13.0, bold=True),
            said(f"At {far(book, away)} the line of sight should stand {flat} from the level of the instrument over flat water, {curved} over water "
                 "that follows the Earth (+ = above; 95 of 100). Another tilt of the line, found by the level check, moves all of these: 10 µrad "
                 f"are {short(book, away * 1e-5)}."), GAP,
            *table((1, 2), ("reading − (HI − H)", "then"), rows), GAP,
            *table((1, 1, 1), ("HI: level above still water", "H: target above still water", "reading − (HI − H)"), [("", "", "")], 10.0), GAP,
            said(f"Rule{'' if rule.stated else ' (the default, not fixed beforehand)'}: flat water is rejected in error at most "
                 f"{100 * rule.alpha_flat:g} % of the time, the ellipsoid {100 * rule.alpha_ellipsoid:g} %; power {100 * rule.power:g} %. "
                 f"Separation {plan.separation:.2f}, needed {plan.gate:.2f}."),
            said(f"Seal: {book.sealed}" if book.sealed else "This plan is not sealed.")]


def _pegs(plan: Plan, when: str) -> list[Strip]:
    """A blank two-peg test on one page, and by how much two of them may differ."""
    level = longest(plan.result).reading.instrument
    most = math.hypot(*(repeat_limit(plan.book, Reading(0, at, peg, away, instrument=level)) for at, peg, away in PEGS))
    rows = [(at, peg, f"{units.convert(away, long_unit(plan.book)):.0f}", "", "", "", "") for at, peg, away in PEGS]
    text = (f"x = (B − A, near A) − (B − A, midway): by so much the line rises over {far(plan.book, 50)}. If x before and x after differ by "
            f"more than {short(plan.book, most, 1)} (3 standard deviations), the level has moved: test again, and say so. Where the plan lists peg "
            "readings, those are the test before.")
    names = ("set-up", "point", f"about [{long_unit(plan.book)}]", "reading", "upper", "lower", "time")
    boxes = table((1.5, 1.2, 1.5, 2, 1.6, 1.6, 1.4), names, rows)
    return [*headed(f"Level check {when}"), *(replace(strip, keep=True) for strip in (*boxes, GAP)), said(text)]


def _weather(book: FieldBook) -> list[Strip]:
    """Gauges and thermometers."""
    heights = [(t.height, t.thermometer) for t in book.air_readings] or [(1.5, "in the shade"), (3.0, "in the shade")]
    hung = dict.fromkeys(", ".join(filter(None, (f"air {up:g} m{also(book, up, 'ft')} up", where))) for up, where in heights)
    rows = [(row, "", "", "", "") for row in ("time", "near gauge", "far gauge", *hung, "water, at its surface", "wind, waves")]
    return [*headed("Gauges and thermometers, each with its unit"), *table((2, 1, 1, 1, 1), ("", "start", "between", "between", "end"), rows)]


def _sights(plan: Plan, remarks: bool) -> list[Strip]:
    """The plan's readings by set-up, in their order; a set-up that goes on overleaf is named again there."""
    book, unit, several = plan.book, long_unit(plan.book), len(plan.book.instruments) > 1
    header = next(h for h in book.tables["readings.csv"].headers if units.split_header(h)[0] == "reading")
    weights, names = (2.2, 1.25, 2, 1.3, 1.3, 1.75, 1.2, 1.7), ("point", f"at [{unit}]", header, "upper", "lower", "again if", "time", "remark")
    head, *_ = table(weights, names, ())
    twice = "Read twice at once; where the second differs from the first by more than “again if”, read again. All of them stand."
    strips = [*headed("Readings", [twice]), GAP, head]
    for setup, rows in itertools.groupby((r for r in book.readings if not r.struck), key=lambda r: (r.setup, several and r.instrument, r.visit)):
        named = ", ".join(filter(None, (setup[0], setup[1] and f"level {setup[1]}", setup[2])))
        cells = [(r.point, f"{units.convert(r.distance, unit):.1f}", "", "", "", beyond(book, repeat_limit(book, r)), "", r.remark if remarks else "")
                 for r in rows]
        band, again = (table((1,), (f"Set-up {named}{more}",), (), 7.0)[0] for more in ("", " (continued)"))
        strips += [replace(band, head=head), *(replace(strip, head=under(head, again)) for strip in table(weights, names, cells)[1:])]
    return strips


def _tapes(plan: Plan) -> list[Strip]:
    """Heights to tape."""
    u = {row.label.partition(":")[0]: part.u for row in plan.result.rows for part in row.parts if part.cause == "taped height"}
    rows = [(", ".join(filter(None, (h.start, h.visit))), h.end, "", "", beyond(plan.book, 3 * math.sqrt(2) * u[f"heights.csv row {h.row}"]), "")
            for h in plan.book.heights]
    return [*headed("Heights to tape"), *table((4, 4, 3, 3, 3, 2), ("from", "up to", "first", "second", "again if", "time"), rows)] if rows else []


def _told(verdict: Verdict, size: Size, place: bool) -> list[Strip]:
    """A handout's strips, the pictures as high as the words leave room, or overleaf."""
    book, line = verdict.result.book, verdict.result.book.site["line"]
    system = "metric" if staff(book) == "m" else "us"
    method = (f"A level was read across {far(book, verdict.distance)} of water, on marks whose heights above the still water were measured on both "
              "shores. Both predictions hold the bending of light and the level's own tilt. All readings together give the curvature of the water; "
              f"a rule {'' if book.rule.stated else 'NOT '}fixed beforehand says what it excludes.")
    ends = [GAP, said(SOURCES), GAP, said(f"Cautions. {' '.join(CAUTIONS)}"),
            *([said(f"Seal of the plan: {book.sealed}", most=2)] if book.sealed else []),
            *([said("Place: " + ", ".join(f"{key} {line[key]}" for key in ("from", "to", "latitude", "azimuth") if key in line))] if place else [])]
    words = [*headed(f"Verdict: {verdict.outcome}"), *map(said, wrapped(verdict.describe(system), WIDE, most=LONGEST)), GAP,
             said(against(verdict, system)), GAP, said(method), GAP]
    named = ("number", "", "uncertainty at the target", "mm" if system == "metric" else "in")
    numbers = [replace(row, keep=True) for row in table((2.1, 2.2, 3.3, 0.8), named, _numbers(verdict, system), 5.5)]
    free = size[1] - HEAD - FOOT - sum(strip.height for strip in (*words, *numbers, *ends)) - 0.1
    return [*words, *_pictures(verdict, free if free > AXIS + 50 else AXIS + CHART, system), *numbers, *ends]


def _numbers(verdict: Verdict, system: str) -> list[tuple[str, str, str, str]]:
    """Numbers of a result on the left, its budget [mm, in] on the right."""
    great, small, digits = ("km", "mm", 1) if system == "metric" else ("mi", "in", 2)
    result, (low, high) = verdict.result, (units.convert(radius, great) for radius in verdict.radius)
    kappa, expected, sight = result.curvature, result.ellipsoid_curvature, longest(result).reading
    k = f"{result.effective_k:.2f}" + ("" if result.by_profile else f" ± {result.refraction[sight.air].u * REFERENCE_RADIUS:.2f}")
    radius = "none fits" if math.isnan(low) else f"{low:.0f} {great} or more" if math.isinf(high) else f"{low:.0f} to {high:.0f} {great}"
    level = result.collimation[sight.instrument]
    left = [("curvature κ, 1/1000 km", f"{kappa.value * 1e6:.4f} ± {kappa.u * 1e6:.4f}"),
            ("ellipsoid, 1/1000 km", f"{expected * 1e6:.4f}"), ("separation, gate", f"{verdict.separation:.2f}, {verdict.gate:.2f}"),
            ("z of flat, of ellipsoid", f"{verdict.z_flat:.2f}, {verdict.z_ellipsoid:.2f}"),
            ("radius, 95 %", radius), ("refraction k", k), ("collimation, µrad", f"{level.value * 1e6:+.1f} ± {level.u * 1e6:.1f}"),
            ("χ², degrees of freedom", f"{result.chi2:.1f}, {result.dof}")]
    budget = [(f"{row.cause}, {row.common_to}", units.convert(row.u, small)) for row in result.offset_budget()]
    shown = [*budget[:6], ("all others", math.hypot(*(u for _, u in budget[6:]))), ("together", math.hypot(*(u for _, u in budget)))]
    return [(*one, cause, f"{u:.{digits}f}") for one, (cause, u) in itertools.zip_longest(left, shown, fillvalue=("", 0.0))]


def _pictures(verdict: Verdict, height: float, system: str) -> list[Strip]:
    """The curvature axis and the sight chart, together so high [mm]; what decides nothing is marked."""
    result, along = verdict.result, np.linspace(0.0, verdict.distance, 81)
    lines, found = [line_of_sight(result, kappa, along) for kappa in (0.0, result.ellipsoid_curvature)], measured_offset(result)
    shown, note = drawing.SYSTEMS[system], verdict.outcome if verdict.outcome in OUTCOMES[:2] else ""
    kappa, spread = result.curvature.value, max(result.curvature.u, result.planned_u)
    up, points = axis_height(result, longest(result).reading.setup), [(verdict.distance, found.value, found.u)]
    return [picture(AXIS, 0.0, lambda ax: figures.curvature_axis(result.ellipsoid_curvature, spread, found=kappa, note=note, ax=ax)),
            picture(height - AXIS, 24.0, lambda ax: figures.sight_chart(along, *lines, axis_height=up, points=points, units=shown, ax=ax))]


def _tile(book: FieldBook, size: Size, step: float, low: float, high: float, number: str) -> Figure:
    """One page of a board: stripes on the left, numbers on their lines on the right."""
    figure, ax = page(size, f"Target board: {low:+g} to {high:+g} mm", book, number)
    foot = FOOT + 22 - low
    for i in range(math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)):
        if i % 2 == 0:
            start, end = max(i * step, low), min((i + 1) * step, high)
            ax.add_artist(Rectangle((0.0, foot + start), WIDE / 2, end - start, facecolor="black", linewidth=0))
        if i * step >= low - 1e-9:
            _line(ax, book, foot + i * step, i * step, step)
    ax.add_artist(Rectangle((0.0, foot + low), WIDE, high - low, fill=False, linewidth=0.5))
    bars(ax, book)
    return figure


def _line(ax: Axes, book: FieldBook, at: float, height: float, step: float) -> None:
    """A line of a board [mm on the page] with its height on it [mm]; in feet above that, or beside it where stripes are small."""
    half, room, label = WIDE / 2, WIDE / 2 - (5 if step >= SMALL else 45), f"{height:+g}" if height else "0"
    size = min(0.8 * step, 29.0) / POINT
    size *= min(1.0, room / width_of(label, size, True))
    ax.plot([half, WIDE], [at] * 2, color="black", linewidth=3.0 if label == "0" else 0.8)
    ax.text(half + 3, at + 2, label, fontsize=size, fontweight="bold")
    over = 2 if step < SMALL else 4.5 + 0.73 * POINT * size
    ax.text(WIDE - 2, at + over, feet(book, height / 1000, sign="+").strip() if height else "", fontsize=max(TYPE, 0.2 * size), ha="right")
