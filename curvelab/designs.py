"""Designs of observation across a lake, as field books that still wait for their readings; ``with_...`` adds to one of them."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from . import units
from .fieldbook import Cells, compose, with_rows
from .numbers import checked
from .profile import logarithmic, strength
from .records import Air, FieldBook, Table
from .refraction import DRY_ADIABATIC

NEAR, MARK = 10.0, 1.5  # m from the level to the pole in the water beside it; m of a target above the water, where no height is given
LONG = 100.0  # m; no sight of a peg test is as long
MILD = {"temperature": "12 °C", "pressure": "1000 hPa"}
THROUGH_THE_DAY = tuple({"air_minus_water": f"{kelvin} ± 1 K"} for kelvin in (2, 1, 0, -1, -2))
Part = tuple[list[Cells], list[Cells]]  # rows of readings.csv and of heights.csv


@dataclass(frozen=True)
class Facts:
    """What is known of a lake, a level and its air before a design is chosen; texts as a field book writes them.

    `distance` of the line [m] and its relative `distance_u`; `height` of the axis and of each target [m], measured from the
    water (left out, the axis is not measured and targets are 1.5 m high); `collimation` as a peg test left it, or in its
    place the maker's `tolerance`; `gradient` of the air, or in its place `k`, or ``air_minus_water`` in `weather`, which
    holds any keys of an air; heights of `thermometers` [m]; `pointings` at each target; `latitude` and `azimuth` of the line
    [degrees]; `changes`, keys to add to a section of ``site.toml``.
    """

    distance: float
    distance_u: float = 0.001
    height: float | None = None
    collimation: str = "0 ± 10 µrad"
    tolerance: str = ""
    gradient: str = "-0.01 ± 0.03 K/m"
    k: str = ""
    weather: Mapping[str, str] = field(default_factory=dict)
    thermometers: Sequence[float] = ()
    pointings: int = 5
    latitude: float = 50.0
    azimuth: float = 60.0
    changes: Mapping[str, Mapping[str, object]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse numbers that can't be."""
        checked("distance", self.distance, 3 * NEAR, math.inf, f"the length of the line in metres, {3 * NEAR:g} or more")
        checked("height", MARK if self.height is None else self.height, 0.1, 50, "metres above the water, 0.1 to 50")
        checked("pointings", self.pointings, 1, 9999, "how often each target is read, 1 or more")

    @property
    def air(self) -> dict[str, str]:
        """Keys of an air."""
        bending = {} if "air_minus_water" in self.weather else {"k": self.k} if self.k else {"gradient": self.gradient}
        return MILD | dict(self.weather) | bending


def single_line(distance: float, *, gradient: str = "-0.01 ± 0.03 K/m", collimation: str = "0 ± 10 µrad", pointings: int = 5,
                latitude: float = 50.0, azimuth: float = 60.0, changes: Mapping[str, Mapping[str, object]] | None = None) -> FieldBook:
    """The plainest design by the commonest facts: `single_sight` over `distance` [m].

    >>> [r.point for r in single_line(2000.0, pointings=2).readings]
    ['near water', 'far target', 'far target']
    """
    return single_sight(Facts(float(distance), gradient=gradient, collimation=collimation, pointings=pointings,
                              latitude=float(latitude), azimuth=float(azimuth), changes=changes or {}))


def single_sight(facts: Facts) -> FieldBook:
    """One set-up, a pole in the near water and a target above the far water.

    >>> single_sight(Facts(800.0, tolerance="2 mm per 30 m", height=1.6)).heights[0].end
    'axis:S1'
    """
    return _book(facts, [_sights(facts, "S1")])


def two_targets(facts: Facts, u: float = 0.001) -> FieldBook:
    """Targets halfway and at the end of the line, from one set-up: a tilted line of sight no longer looks like curvature.

    The one halfway stands on a stake, a pier or a boat, its height measured from the water beneath it with `u` [m].

    >>> two_targets(Facts(2000.0)).water.surfaces
    {'near water': 0.0, 'far water': 1.0, 'water at 1000 m': 0.5}
    """
    return several_targets(facts, 2, u)


def several_targets(facts: Facts, targets: int = 4, u: float = 0.001) -> FieldBook:
    """Targets at equal steps along the line, from one set-up, those on the way as in `two_targets`.

    >>> sorted({r.distance for r in several_targets(Facts(2000.0)).readings})
    [10.0, 500.0, 1000.0, 1500.0, 2000.0]
    """
    count = int(checked("targets", targets, 1, facts.distance / (2 * NEAR), f"how many, at least {2 * NEAR:g} m apart"))
    away = [facts.distance * i / count for i in range(1, count)]
    stands = {f"target at {d:g} m": (f"water at {d:g} m", d) for d in away} | {"far target": ("far water", facts.distance)}
    readings, heights = _sights(facts, "S1", stands)
    heights = [row | ({"u": u} if str(row["from"]).startswith("water at") else {}) for row in heights]
    points = [{"point": f"water at {d:g} m", "kind": "water", "position": d} for d in away]
    return _book(facts, [(readings, heights)], title=f"{count} targets", points=points)


def several_heights(facts: Facts, heights: Sequence[float] = (1.5, 3.0, 6.0)) -> FieldBook:
    """Set-ups at several heights above the water [m], each with a target as high, through one air.

    >>> [(h.end, h.height) for h in several_heights(Facts(2000.0), (1.5, 6.0)).heights[2:]]
    [('axis:S2', 6.0), ('target at 6 m', 6.0)]
    """
    lines = [_sights(replace(facts, height=height), f"S{i}", {f"target at {height:g} m": ("far water", facts.distance)})
             for i, height in enumerate(heights, 1)]
    return _book(facts, lines, title="several heights")


def reciprocal(facts: Facts, swapped: bool = False) -> FieldBook:
    """Two levels at once, one on each shore, through one air; `swapped`: and again with the levels exchanged.

    Water that stands higher on one shore cancels. A tilted line of sight does not: it looks like curvature from
    either shore, and the exchange only frees the height of one shore above the other from it.

    >>> [(r.setup, r.instrument, r.point) for r in reciprocal(Facts(2000.0, pointings=1)).readings if r.distance > 10]
    [('S1', 'A', 'far target'), ('S2', 'B', 'near target')]
    """
    over, back = ("near water", {"far target": ("far water", facts.distance)}), ("far water", {"near target": ("near water", facts.distance)})
    order = [("A", *over), ("B", *back), ("B", *over), ("A", *back)][:4 if swapped else 2]
    return _book(facts, [_sights(facts, f"S{i}", targets, water, instrument=name) for i, (name, water, targets) in enumerate(order, 1)],
                 title="reciprocal sights", levels=("A", "B"))


def balanced_control(facts: Facts) -> FieldBook:
    """A single sight, and a level halfway, on a spit or a pier, that reads both shores: it must find the heights that the poles found.

    Curvature, air and collimation drop out of equal sights. A book of them alone determines no curvature, and is refused.

    >>> [(r.point, r.distance) for r in balanced_control(Facts(2000.0, pointings=1)).readings[-2:]]
    [('near target', 1000.0), ('far target', 1000.0)]
    """
    near: list[Cells] = [{"from": "near water", "to": "near target", "height": facts.height or MARK}]
    halfway: list[Cells] = [{"setup": "halfway", "point": point, "distance": facts.distance / 2}
                            for point in ("near target", "far target") for _ in range(facts.pointings)]
    return _book(facts, [_sights(facts, "S1"), (halfway, near)], title="a balanced control")


def series(facts: Facts, airs: Sequence[Mapping[str, str]] = THROUGH_THE_DAY) -> FieldBook:
    """Sets of one line through a day, each a set-up with an air of its own, whose difference from the water changes sign.

    `airs` holds keys of each set's air; they take the place of gradient and k.

    >>> [mass.air_minus_water.value for mass in series(Facts(2000.0)).airs.values()]
    [2.0, 1.0, 0.0, -1.0, -2.0]
    """
    named = {f"set {i}": MILD | dict(facts.weather) | dict(told) for i, told in enumerate(airs, 1)}
    return _book(facts, [_sights(facts, f"S{i}", air=name) for i, name in enumerate(named, 1)], title="a series through a day", airs=named)


def several_days(facts: Facts, days: int = 3, *, sets: int = 4, fresh: bool = False, drift: str = "5 µrad") -> FieldBook:
    """One line on several days, each with its own air and water level; the far target stays and is measured anew.

    A peg test of so many `sets` (0 for none) before the first day, or `fresh` on each; `drift` of the level from day to day.

    >>> [(r.visit, r.distance) for r in several_days(Facts(2000.0, pointings=1), 2, sets=0).readings]
    [('day 1', 10.0), ('day 1', 2000.0), ('day 2', 10.0), ('day 2', 2000.0)]
    """
    names = [f"day {i}" for i in range(1, int(checked("days", days, 1, 999, "how many days, 1 or more")) + 1)]
    book = _book(facts, [_sights(facts, f"S{i}", air=name, visit=name) for i, name in enumerate(names, 1)],
                 title="several days", airs=dict.fromkeys(names, facts.air), drift=drift)
    for name in names[:(len(names) if fresh else 1) if sets else 0]:
        book = with_peg_test(book, sets, visit=name)
    return book


DESIGNS: dict[str, Callable[[Facts], FieldBook]] = {
    "single sight": single_sight, "two targets": two_targets, "several targets": several_targets, "several heights": several_heights,
    "reciprocal sights": reciprocal, "balanced control": balanced_control, "series through a day": series, "several days": several_days}


def with_peg_test(book: FieldBook, sets: int = 4, after: bool = False, *, visit: str = "", midway: float = 30.0, near: float = 5.0) -> FieldBook:
    """A two-peg test of each level of a plan: both pegs read from `midway` [m], then from `near` peg A [m], so many `sets` of the four.

    Its rows stand before or `after` those of `visit`, which is the first or the last one where left out.

    >>> [(r.point, r.distance) for r in with_peg_test(single_line(2000.0), sets=1).readings[:4]]
    [('test 1 peg A', 30.0), ('test 1 peg B', 30.0), ('test 1 peg A', 5.0), ('test 1 peg B', 65.0)]
    """
    table, count = _unread(book), int(checked("sets", sets, 1, 999, "how many sets of four readings, 1 or more"))
    visit = visit or (book.readings[-after].visit if "visit" in table.columns else "")
    there = [i for i, r in enumerate(book.readings) if r.visit == visit or not visit] or [len(table.rows)]
    made = max((int(found[1]) for r in book.readings if (found := re.match(r"test (\d+) set ", r.setup))), default=0)
    rows = [row | ({"visit": visit} if visit else {}) | ({"instrument": level} if len(book.instruments) > 1 else {})
            for number, level in enumerate(book.instruments, made + 1) for row in _pegs(f"test {number}", count, midway, near)]
    return compose(book.site, book.tables | {"readings.csv": with_rows("readings.csv", table, rows, there[-1] + 1 if after else there[0])})


def with_thermometers(book: FieldBook, heights: Sequence[float], offset: str = "") -> FieldBook:
    """Thermometers at heights above the water [m] in each air of a plan's long sights; they take the place of its gradient or k.

    The same ones hang in all airs, with an `offset` such as ``"0 ± 0.1 K"`` if they were matched. Before they are read,
    they are taken to show what the stated temperature and air-minus-water difference suggest.

    >>> [t.thermometer for t in with_thermometers(single_line(2000.0), (0.5, 3.0)).air_readings]
    ['at 0.5 m', 'at 3 m']
    """
    _unread(book)
    checked("heights", heights, 0.02, 50, "thermometers above the water in metres, 0.02 to 50")
    names, stated = {float(z): f"at {z:g} m" for z in heights}, dict(book.site["air"])
    airs = [name for name in dict.fromkeys(r.air for r in book.readings if r.distance > LONG) if name in stated]
    rows: list[Cells] = [{"air": name, "height": z, "temperature": _likely(book.airs[name], z), "thermometer": named}
                         for name in airs for z, named in names.items()]
    stated |= {name: MILD | {key: text for key, text in stated[name].items() if key not in ("gradient", "k")} for name in airs}
    matched = {named: {"offset": offset} for named in names.values() if offset}
    site = book.site | {"air": stated, "thermometer": book.site.get("thermometer", {}) | matched}
    return compose(site, book.tables | {"air.csv": with_rows("air.csv", book.tables.get("air.csv"), rows)})


def with_another_day(book: FieldBook, visit: str = "another day") -> FieldBook:
    """A plan's long sights and what belongs to them once more on another `visit`: water, set-ups and air anew, level and targets the same.

    >>> [(r.setup, r.air, r.visit) for r in with_another_day(single_line(2000.0, pointings=1)).readings[1:3]]
    [('S1', 'lake', ''), ('S1, another day', 'lake, another day', 'another day')]
    """
    table, day = _unread(book), book.longest_sight.visit
    if any(r.visit == visit for r in book.readings):
        raise ValueError(f"the plan has a visit named {visit!r} already: give another name")
    long = {r.setup for r in book.readings if r.distance > LONG and r.visit == day}
    again = [(r, dict(zip(table.columns, cells))) for r, cells in zip(book.readings, table.rows) if r.setup in long and r.visit == day]
    airs = {r.air: f"{r.air}, {visit}" for r, _ in again}
    rows: dict[str, list[Cells]] = {"readings.csv": [cells | {"setup": f"{r.setup}, {visit}", "air": airs[r.air], "visit": visit} for r, cells in again]}
    ends = {r.point: r.point for r, _ in again} | {f"axis:{setup}": f"axis:{setup}, {visit}" for setup in long}
    for name, records, own in (("heights.csv", book.heights, lambda h: h.end in ends and h.visit == day and {"to": ends[h.end], "visit": visit}),
                               ("air.csv", book.air_readings, lambda t: t.air in airs and {"air": airs[t.air]})):
        if old := book.tables.get(name):
            rows[name] = [dict(zip(old.columns, cells)) | changed for record, cells in zip(records, old.rows) if (changed := own(record))]
    tables = book.tables | {name: with_rows(name, book.tables[name], more) for name, more in rows.items()}
    stated = dict(book.site["air"])
    named = [r.air if r.air in stated else "" for r in book.readings] + [airs[r.air] for r, _ in again]
    tables["readings.csv"] = tables["readings.csv"].filled("air", named)
    return compose(book.site | {"air": stated | {new: stated[old] for old, new in airs.items()}}, tables)


def with_pointings(book: FieldBook, pointings: int) -> FieldBook:
    """Each sight of a plan beyond 100 m read so many times.

    >>> len(with_pointings(single_line(2000.0), 9).readings)
    10
    """
    table, count = _unread(book), int(checked("pointings", pointings, 1, 9999, "how often each target is read, 1 or more"))
    repeats: dict[tuple, list[tuple[str, ...]]] = {}
    for r, cells in zip(book.readings, table.rows):
        repeats.setdefault((r.distance > LONG and not r.struck, *r.shared), []).append(cells)
    rows = tuple(row for key, same in repeats.items() for row in ((same + same[-1:] * count)[:count] if key[0] else same))
    return compose(book.site, book.tables | {"readings.csv": Table.numbered(table.headers, rows)})


def _book(facts: Facts, parts: Sequence[Part], *, title: str = "", levels: Sequence[str] = ("A",), drift: str = "",
          airs: Mapping[str, Mapping[str, str]] | None = None, points: Sequence[Cells] = ()) -> FieldBook:
    """The field book of a design: the facts, and the rows of its parts; a height that two of them need is measured once."""
    level, far = {"tolerance": facts.tolerance} if facts.tolerance else {"collimation": facts.collimation}, facts.distance
    site: dict[str, object] = {
        "format": 1, "title": f"a planned line: {title}" if title else "a planned line", "invented": True,
        "line": {"latitude": facts.latitude, "azimuth": facts.azimuth, "distance": f"{far!r} m ± {far * facts.distance_u!r} m"},
        "instrument": {name: level | ({"drift": drift} if drift else {}) for name in levels},
        "air": airs or {"lake": facts.air}, "water": {"surfaces": ["near water", "far water"]},
        "rule": {"alpha_flat": 0.01, "alpha_ellipsoid": 0.01, "power": 0.90},
    }
    site |= {section: site.get(section, {}) | dict(keys) for section, keys in facts.changes.items()}
    readings, heights = ([row for part in parts for row in part[side]] for side in (0, 1))
    tables = {"readings.csv": readings, "heights.csv": [row for i, row in enumerate(heights) if row not in heights[:i]], "points.csv": points}
    book = compose(site, {name: with_rows(name, None, rows) for name, rows in tables.items() if rows})
    return with_thermometers(book, facts.thermometers) if facts.thermometers else book


def _sights(facts: Facts, setup: str, targets: Mapping[str, tuple[str, float]] | None = None, near: str = "near water", **cells: str) -> Part:
    """One set-up that reads the water beside it, and targets: the water that each is measured from, and its distance [m]."""
    targets = targets or {"far target": ("far water", facts.distance)}
    read = [(near, NEAR), *((target, away) for target, (_, away) in targets.items() for _ in range(facts.pointings))]
    ends = [(near, f"axis:{setup}")] * (facts.height is not None) + [(water, target) for target, (water, _) in targets.items()]
    return ([{"setup": setup, "point": point, "distance": away} | cells for point, away in read],
            [{"from": water, "to": end, "height": facts.height or MARK} | {key: cells[key] for key in {"visit"} & set(cells)} for water, end in ends])


def _pegs(test: str, sets: int, midway: float, near: float) -> list[Cells]:
    """The readings of a two-peg test."""
    return [{"setup": f"{test} set {i} {place}", "point": f"{test} peg {peg}", "distance": away} for i in range(1, sets + 1)
            for place, sights in (("midway", (midway, midway)), ("near peg A", (near, 2 * midway + near))) for peg, away in zip("AB", sights)]


def _likely(air: Air, height: float) -> float:
    """What a thermometer is taken to show before it is read [°C]: a logarithm from the water's temperature to that 10 m up, less the lapse."""
    warm = air.temperature.value if air.temperature else units.parse(MILD["temperature"], "temperature").value
    difference = air.air_minus_water.value if air.air_minus_water else warm - air.water_temperature.value if air.water_temperature else 0.0
    water = air.water_temperature.value if air.water_temperature else warm - difference
    shape = logarithmic()
    return round(water + float(strength(difference, 10.0, shape, DRY_ADIABATIC) * shape.rise(height)) - DRY_ADIABATIC * height, 2)


def _unread(book: FieldBook) -> Table:
    """The readings' table of a book that holds none yet."""
    if not book.is_plan:
        raise ValueError(f"the book {book.title!r} holds readings, and only a plan can be changed: take them out first with planning.blank(book)")
    return book.tables["readings.csv"]
