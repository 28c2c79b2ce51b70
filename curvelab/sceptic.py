"""For a hostile reader: what it would take to turn the verdict, what would have gone against it, and answers with their rows."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from statistics import NormalDist

from . import units
from .adjustment import Result, adjust, longest, over
from .decision import Verdict, critical
from .diagnosis import flat_needs, slopes, summed
from .fieldbook import compose
from .prediction import at_target
from .records import Fault, FieldBook, FieldBookError, Reading
from .refraction import REFERENCE_RADIUS
from .resolve import AXIS, LONG, components
from .rows import Row
from .uncertainty import NORMAL, Contribution
from .wording import offset

OFFSET = 1e3  # mm
WHAT_IF = {"k": "refraction k had been {}", "collimation": "the line of sight had been tilted by {}", "shores": "the far water had stood higher by {}"}


@dataclass(frozen=True)
class Flip:
    """What one assumption would have to be, all else as it is.

    `stated` ± `u` is what the book says or found, in `unit`; at `falls` the
    verdict falls (NaN where nothing is rejected), at `flat` the water found is
    flat; `measured_by` says which rows speak for `stated`.
    """

    assumption: str
    unit: str
    stated: float
    u: float
    falls: float
    flat: float
    measured_by: str

    @property
    def times(self) -> float:
        """How many of its standard uncertainties away the verdict falls."""
        return abs(self.falls - self.stated) / self.u if self.u else math.inf


@functools.lru_cache(4)
def thresholds(result: Result) -> tuple[float, float]:
    """The least curvature that rejects flat water, and the largest that rejects the ellipsoid by its rule [1/m].

    Where the first is above the second, there is a range between that decides nothing. Each hypothesis is tested along
    its own paths; what that makes of the curvature found is taken as what it would make of another.
    """
    rule, expected = result.book.rule, result.ellipsoid_curvature
    geoid = Contribution("geoid", "this water", rule.geoid * expected, NORMAL)
    flat, round_ = (over(result, curvature) for curvature in (0.0, expected))
    moved = [0.0 if result.book.is_plan else result.curvature.value - other.curvature.value for other in (flat, round_)]
    return (moved[0] + critical(flat.contributions(), rule.alpha_flat),
            moved[1] + expected - critical([*round_.contributions(), geoid], rule.alpha_ellipsoid))


def against(verdict: Verdict, units: str = "metric") -> str:
    """Which result would have gone against the presenter, as an offset at the target in ``"metric"`` or ``"us"`` units."""
    result = verdict.result
    if not verdict.settled:
        return "The path of the rays doesn't settle, so this campaign can't speak for either side."
    if verdict.separation < verdict.gate:
        return "No result of this design could have decided anything, either way: the plan does not pass its own gate."
    found, excluded, missed = (offset(at_target(result, kappa).value, units, "+") for kappa in (result.curvature.value, *thresholds(result)))
    return (f"The line was found {found} from the level mark (+ = above). Above {excluded} flat water is excluded; below {missed} water "
            f"that follows the Earth would have been, and the presenter would have had to say so.")


def flips(verdict: Verdict) -> list[Flip]:
    """For each assumption, the value at which the verdict would fall, and that at which the water found would be flat."""
    result = verdict.result
    if not verdict.settled:
        return []
    sight = longest(result).reading
    low, high = thresholds(result)
    kappa = result.curvature.value
    edge = low if verdict.outcome == "flat rejected" else high if verdict.outcome == "ellipsoid rejected" else math.nan
    tilt, bend, height = slopes(result)
    k_u = math.hypot(*(c.u for c in result.contributions() if c.cause.startswith("refraction") or c.cause in ("stability of the air", "humidity")))
    level, shores = result.collimation[sight.instrument], result.book.water.between_shores
    length = result.book.line.distance

    def flip(name: str, unit: str, size: float, slope: float, stated: float, u: float, measured_by: str) -> list[Flip]:
        if not slope:
            return []  # the design cancels it
        falls, flat = (stated + (kappa - goal) / slope * size for goal in (edge, 0.0))
        return [Flip(name, unit, stated, u, falls, math.nan if unit == "m" else flat, measured_by)]  # no distance makes a lake flat

    return [
        *flip("refraction along the long sights", "k", REFERENCE_RADIUS, bend, result.effective_k, k_u / abs(bend) * REFERENCE_RADIUS if bend else 0.0,
              f"site.toml [air.{sight.air}]" + (", air.csv" if result.by_profile else "")),
        *flip("tilt of the line of sight at the lake", "µrad", 1e6, tilt, level.value * 1e6, level.u * 1e6, _pegs(result)),
        *flip("target lower than it was measured", "mm", OFFSET, height, 0.0, _height_u(result) * OFFSET, "heights.csv"),
        *flip("far water above the near water", "mm", OFFSET, _slope(result, "shores"), shores.value * OFFSET, shores.u * OFFSET, "site.toml [water] between_shores"),
        *flip("error of the long distance", "m", 1.0, _slope(result, "distance"), 0.0, length.u, "site.toml [line] distance"),
    ]


def _slope(result: Result, kind: str) -> float:
    """Change of κ̂ where what these unknowns stand for is larger by one unit than was taken."""
    return summed(s * c for s, row in zip(result.sensitivity, result.rows) if row.kind != "prior" for key, c in row.terms.items() if key[0] == kind)


def _height_u(result: Result) -> float:
    """Standard uncertainty [m] of what stands between the water and the target: tapes and touches."""
    _, _, slope = slopes(result)
    own = [c.u for c in result.contributions() if c.cause in ("taped height", "touch of the water", "tape scale")]
    return math.hypot(*own) / abs(slope) if slope else 0.0


def pegs(result: Result) -> list[Row]:
    """The readings of a peg test: short ones, through another air than that of the longest sight."""
    lake = longest(result).reading.air
    return [row for row in result.rows if row.reading and row.reading.distance <= LONG and row.reading.air != lake]


def _pegs(result: Result) -> str:
    return f"{len(found)} peg readings" if (found := pegs(result)) else "the stated tolerance alone: no peg test is in the book"


def margin(verdict: Verdict) -> float:
    """By how much all uncertainties could be larger before the verdict falls [-]; NaN where nothing is rejected."""
    low, high = thresholds(verdict.result)
    expected, kappa = verdict.result.ellipsoid_curvature, verdict.result.curvature.value
    reach = {"flat rejected": kappa / low, "ellipsoid rejected": (expected - kappa) / (expected - high)}.get(verdict.outcome, math.nan)
    return min(verdict.separation / verdict.gate, reach) if math.isfinite(reach) else math.nan


@dataclass(frozen=True)
class Answer:
    """An objection, a short answer with this book's own numbers, and the row or test that carries it."""

    objection: str
    answer: str
    see: str


def answers(verdict: Verdict, units: str = "metric") -> list[Answer]:
    """The usual objections, answered from the book at hand, in ``"metric"`` or ``"us"`` units."""
    return [] if not verdict.settled else [Answer(objection, answer(verdict, units), see) for objection, answer, see in _OBJECTIONS]


def _refraction(verdict: Verdict, _: str) -> str:
    needs = flat_needs(verdict.result)
    told = f" ({needs.gradient:+.2f} K/m all along the line)" if math.isfinite(needs.gradient) else ""
    return (f"Light bends over flat water too, so refraction stands in both predictions. This book has k = {verdict.result.effective_k:.2f}; "
            f"flat water would need k = {needs.k:.2f}{told} to show what was read.")


def _level(verdict: Verdict, units: str) -> str:
    return ("A level makes its line square to gravity where it stands, and that is all that is used of it; what the water does far away is "
            f"read, not assumed. Over flat water this same level would have shown {offset(at_target(verdict.result, 0.0).value, units, '+')}.")


def _radius(verdict: Verdict, _: str) -> str:
    return (f"R stands in the prediction only. The curvature found, {verdict.result.curvature.value * 1e6:.3f} per 1000 km, comes from readings, tapes and the air; "
            f"it is {verdict.z_flat:.1f} standard uncertainties from flat, whatever R may be.")


def _flow(verdict: Verdict, units: str) -> str:
    shores = verdict.result.book.water.between_shores
    slope = _slope(verdict.result, "shores")
    if not slope:
        return "A flowing or wind-blown lake is tilted; sights from both shores cancel a tilt, so it plays no part here."
    needed = verdict.result.curvature.value / slope + shores.value
    return (f"A flowing or wind-blown lake is tilted, which looks like a tilted line, not like a bowl. The budget allows {offset(shores.u, units)} between the shores; "
            f"flat water would need {offset(needed, units)}.")


def _picked(verdict: Verdict, _: str) -> str:
    book = verdict.result.book
    struck = sum(r.struck for r in book.readings)
    rule = "The rule was written down beforehand" if book.rule.stated else "The rule was NOT written down beforehand: a fair objection"
    told = f", {struck} of them struck with a reason and tried again unstruck" if struck else ", none of them struck"
    return f"All {len(book.readings)} readings are in the book{told}. {rule}."


def _perspective(verdict: Verdict, _: str) -> str:
    return ("Perspective makes far things smaller; it moves nothing across a straight line. The crosshair compares two heights along one line, and how large "
            "the target looks is not in the equation.")


def _zoom(verdict: Verdict, units: str) -> str:
    causes = {row.cause: row.u for row in verdict.result.offset_budget()}
    seen = next((causes[name] for name in ("pointing", "scatter of repeats", "reading") if name in causes), math.nan)
    return f"A telescope enlarges angles about the crosshair and can't lift what lies on it. Magnification sets how well one can point: {offset(seen, units)} here."


_OBJECTIONS: tuple[tuple[str, Callable[[Verdict, str], str], str], ...] = (
    ("Refraction is a fudge.", _refraction, "budget row: refraction; site.toml [air]"),
    ("The bubble assumes a round Earth.", _level, "the observation equation; prediction for flat water"),
    ("The radius was assumed.", _radius, "adjust(book, path=0) gives z(flat) without R"),
    ("The lake flows.", _flow, "budget row: water between the shores"),
    ("The readings were picked.", _picked, "readings.csv, column status; [rule] and [plan] in site.toml"),
    ("That is perspective.", _perspective, "readings.csv: heights on a graduated board"),
    ("That is the zoom.", _zoom, "budget rows: pointing, reading"),
)


def choices(book: FieldBook) -> dict[str, tuple[str, int]]:
    """What may be left out: a label for each reading and height, and its table and line."""
    rows = [(f"readings.csv row {r.row}: {r.setup} to {r.point}, {_written(book, r)}", ("readings.csv", r.row)) for r in book.readings if not r.struck and not r.planned]
    return dict(rows + [(f"heights.csv row {h.row}: {h.start} to {h.end}", ("heights.csv", h.row)) for h in book.heights])


def _written(book: FieldBook, r: Reading) -> str:
    """A reading as it stands in the book."""
    table = book.tables["readings.csv"]
    if "reading" not in table.columns:
        return f"{r.reading:.4f} m"
    at = table.columns.index("reading")
    return f"{table.rows[table.lines.index(r.row)][at]} {units.split_header(table.headers[at])[1]}".strip()


def without(book: FieldBook, table: str, line: int) -> FieldBook:
    """The same campaign without one row, and without what then says nothing: the other reading of a set-up of two, a surface that no row names.

    Raises
    ------
    ValueError
        Where there is no such row, or nothing can be said without it.
    """
    kept = book.tables[table]
    if line not in kept.lines:
        raise FieldBookError([Fault(table, line, "", "", "there is no such row to leave out")])
    rest = [r for r in book.readings if (table, line) != ("readings.csv", r.row)]
    tied = {end for h in book.heights if (table, line) != ("heights.csv", h.row) for end in (h.start, h.end)}
    points = {r.setup: {o.point for o in rest if o.setup == r.setup} for r in rest}
    idle = [r.row for r in rest if len(points[r.setup]) == 1 and AXIS + r.setup not in tied]
    tables = dict(book.tables) | {table: kept.without(line)}
    for row in idle if table == "readings.csv" else ():
        tables[table] = tables[table].without(row)
    site = dict(book.site)
    if book.water.surfaces:
        site["water"] = book.site["water"] | {"surfaces": [point for point in book.water.surfaces if point in tied.union(*points.values())]}
    try:
        left = compose(site, tables, book.sealed_plan)
        adjust(left)
        if left.longest_sight.distance > LONG or book.longest_sight.distance <= LONG:
            return left
    except FieldBookError:
        pass
    raise ValueError(f"without {table} row {line} nothing ties the rest together, so nothing can be said of the water")


def supposed(text: str, told: str) -> str:
    """A what-if, with its number in words.

    >>> supposed(WHAT_IF["shores"], "-30 mm")
    'the far water had stood lower by 30 mm'
    """
    return text.format(told).replace("higher by -", "lower by ")


def tilted(book: FieldBook, slope: float) -> FieldBook:
    """The same campaign had the line of sight at the lake been tilted by so much more [rad] than the pegs say: its readings less that."""
    part = components(book)
    readings = [replace(r, reading=r.reading - slope * r.distance) if part.get(AXIS + r.setup) == part.get("") else r for r in book.readings]
    return replace(book, readings=tuple(readings))


def linear_sum_power(separation: float, causes: int) -> float:
    """Power of the rule that adds the margins of all causes: |κ̂ - 0| beyond the plain sum of `causes` equal 95 % margins.

    Notes
    -----
    Margins of equal size 1.96 u/√n each sum to 1.96 √n u: with many causes the
    sum is far wider than the spread of the result, and a difference of
    `separation` standard uncertainties is hardly ever found.

    >>> round(linear_sum_power(3.86, 1), 2), round(linear_sum_power(3.86, 9), 2)
    (0.97, 0.02)
    """
    return 1 - NormalDist().cdf(NormalDist().inv_cdf(0.975) * math.sqrt(causes) - separation)
