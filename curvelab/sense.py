"""Checks of sense on a field book: every contradiction that would make a result meaningless."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Mapping

from . import ellipsoid, instrument as level, schema, units
from .records import Blind, Fault, FieldBook, Instrument, Line, Point, Reading, Stated, Water, nearest
from .resolve import AXIS, LONG, gauge_of

HIGHEST = 50.0  # m; beyond any staff or target
_NAN = Stated(math.nan, math.nan)


def line(values: Mapping[str, object], faults: list[Fault]) -> Line:
    """The sightline from the section ``[line]``; coordinates must agree with the distance."""

    def fault(key: str, value: object, remedy: str) -> Line:
        faults.append(Fault("site.toml", None, f"line.{key}".strip("."), str(value), remedy))
        return Line(_NAN, math.nan, math.nan)

    distance = values.get("distance")
    if distance is None:
        return fault("distance", "", 'the length of the longest sight is missing: distance = "2140 m ± 5 m"')
    if distance.value <= 0:
        return fault("distance", distance.value, "a line needs a length above zero")
    ends, angles = [k in values for k in ("from", "to")], [k in values for k in ("latitude", "azimuth")]
    if any(ends) and any(angles) or not (all(ends) or all(angles)):
        return fault("", "", "give either from and to, or latitude and azimuth")
    if all(angles):
        latitude, azimuth = values["latitude"].value, values["azimuth"].value
        if math.isnan(latitude + azimuth):
            return Line(_NAN, math.nan, math.nan)
        if not -90 <= latitude <= 90:
            return fault("latitude", latitude, "a latitude lies between -90 and 90 degrees")
        if not -360 <= azimuth <= 360:
            return fault("azimuth", azimuth, "an azimuth lies between -360 and 360 degrees")
        return Line(distance, latitude, azimuth)
    start, end = values["from"], values["to"]
    if not all(math.isfinite(v) for v in (*start, *end)):
        return Line(_NAN, math.nan, math.nan)
    for key, (lat, lon) in (("from", start), ("to", end)):
        if not (-90 <= lat <= 90 and -180 <= lon <= 360):
            return fault(key, [lat, lon], "write [latitude, longitude] in degrees; are the two swapped?")
    if start == end:
        return fault("to", list(end), "both shores are the same place: a line needs a length")
    found = ellipsoid.geodesic(start, end)
    if abs(found.distance - distance.value) > 3 * distance.u + 0.5:
        swapped = ellipsoid.geodesic(start[::-1], end[::-1]) if abs(start[1]) <= 90 and abs(end[1]) <= 90 else None
        hint = "; with latitude and longitude swapped they would agree" if (
            swapped and abs(swapped.distance - distance.value) <= 3 * distance.u + 0.5) else ""
        return fault("distance", f"{distance.value:.1f} m", f"the coordinates are {found.distance:.1f} m apart, beyond the "
                     f"distance's uncertainty of {distance.u:.1f} m: correct one of them{hint}")
    return Line(distance, found.latitude, found.azimuth)


def inherited(name: str, table: Mapping[str, dict], faults: list[Fault]) -> dict[str, object]:
    """The keys of one instrument with those of the level it is the same as."""
    values, seen = dict(table[name]), [name]
    while isinstance(values.get("same_as"), str):
        parent = values.pop("same_as")
        if parent in seen or not isinstance(table.get(parent), dict):
            remedy = "an instrument can't be the same as itself" if parent in seen else f"no such instrument{nearest(str(parent), table)}"
            faults.append(Fault("site.toml", None, f"instrument.{name}.same_as", str(parent), remedy))
            break
        seen.append(parent)
        base = {k: v for k, v in table[parent].items()
                if not (k in ("tolerance", "collimation") and {"tolerance", "collimation"} & set(values))
                and not (k in ("magnification", "pointing") and {"magnification", "pointing"} & set(values))}
        values = base | values
    return values | ({"same_as": seen[-1]} if len(seen) > 1 else {})


def instrument(name: str, values: Mapping[str, object], faults: list[Fault]) -> Instrument:
    """One level; its collimation must be stated, by a tolerance or by a value."""
    where = f"instrument.{name}"
    tolerance, collimation = values.get("tolerance"), values.get("collimation")
    if tolerance is None and collimation is None:
        faults.append(Fault("site.toml", None, where, "", "nothing is said of its collimation, so the curvature is undetermined: "
                            'state tolerance = "2 mm per 30 m" (the maker\'s limit) or collimation = "0 ± 8 µrad"; '
                            "peg readings in the book then determine it better"))
    if tolerance is not None and collimation is not None:
        faults.append(Fault("site.toml", None, where, "", "give either tolerance or collimation, not both"))
    if "pointing" in values and not values["magnification"].default:
        faults.append(Fault("site.toml", None, f"{where}.pointing", "", "give either pointing or magnification, not both"))
    pointing = values.get("pointing")
    if pointing is None:
        magnification = values["magnification"]
        if not magnification.value > 0:
            if magnification.value == 0:
                faults.append(Fault("site.toml", None, f"{where}.magnification", "0", "a magnification is above zero"))
            return Instrument(name, name, *[_NAN] * 7)
        pointing = Stated(level.pointing(magnification.value), None, magnification.default)
    return Instrument(name, str(values.get("same_as", name)), tolerance, collimation, values["setting_accuracy"],
                      values["focus_runout"], values["drift"], pointing, values["reading"])


def water(values: Mapping[str, object], points: tuple[Point, ...], distance: float, faults: list[Fault]) -> Water:
    """The water surfaces and their place between the shores: 0 near, 1 far."""
    listed = values.get("surfaces") or []
    described = {p.point: p for p in points}
    names = listed + [p.point for p in points if p.kind == "water" and p.point not in listed]
    places = {}
    for name in names:
        point = described.get(name)
        if listed.count(name) > 1:
            faults.append(Fault("site.toml", None, "water.surfaces", name, "this point stands twice"))
        if point and point.kind != "water":
            faults.append(Fault("points.csv", point.row, "kind", point.kind, f"{name} is listed as a water surface in site.toml; correct one"))
        said = {}
        if name in listed and len(listed) <= 2:
            said["site.toml"] = float(listed.index(name))
        if point and point.shore:
            said["shore"] = float(point.shore == "far")
        if point and point.position is not None:
            said["position"] = point.position / distance
        places[name] = said.get("position", next(iter(said.values()), math.nan))
        if not said:
            faults.append(Fault("site.toml", None, "water.surfaces", name,
                                "say in points.csv where this water surface is: shore near or far, or its position"))
        elif max(said.values()) - min(said.values()) > 0.5 or not -0.05 <= places[name] <= 1.05:
            faults.append(Fault("points.csv", point.row, "shore" if point.shore else "position", name, "this water surface can't be there: "
                                "surfaces in site.toml are near shore first, and a position lies between the shores"))
    between = values.get("between_shores") or Stated(0.0, schema.DEFAULT_SHORES_PER_METRE * distance, True)
    return Water(places, values["touch"], values["touch_common"], between)


def blind(values: Mapping[str, object], readings: tuple[Reading, ...], faults: list[Fault]) -> Blind:
    """The blind target of the section ``[plan]``: what is revealed must match what was committed to."""
    told = {key: values[f"blind_{key}"] for key in ("point", "offset", "salt") if f"blind_{key}" in values}
    if "blind" not in values:
        if told:
            faults.append(Fault("site.toml", None, "plan.blind", "", "the commitment to the blind offset is missing: blind = its 64 digits"))
        return Blind()

    def fault(key: str, value: str, remedy: str) -> Blind:
        faults.append(Fault("site.toml", None, f"plan.blind_{key}", value, remedy))
        return Blind()

    if told.get("point") not in {r.point for r in readings}:
        return fault("point", str(told.get("point", "")), f"name the point that was moved{nearest(str(told.get('point', '')), {r.point for r in readings})}")
    if ("offset" in told) != ("salt" in told):
        return fault("salt", "", "offset and salt are revealed together")
    if "offset" not in told:
        return Blind(values["blind"], told["point"])
    if Blind.commit(told["offset"], told["salt"]) != values["blind"].lower():
        return fault("offset", told["offset"], "offset and salt are not those that were committed to")
    try:
        return Blind(values["blind"], told["point"], units.parse(told["offset"], "length").value)
    except ValueError as error:
        return fault("offset", told["offset"], str(error))


def check(book: FieldBook, faults: list[Fault]) -> None:
    """Every contradiction between the rows of a book, and between rows and site."""
    if not book.instruments:
        faults.append(Fault("site.toml", None, "instrument", "", "nothing is said of the level's collimation, so the curvature is undetermined: "
                            'add [instrument.A] with tolerance = "2 mm per 30 m" or collimation = "0 ± 8 µrad"'))
    for r in book.readings:
        _check_reading(r, book, faults)
    _check_setups(book, faults)
    _check_names(book, faults)
    _check_times(book, faults)
    _check_identical(book, faults)


def _check_reading(r: Reading, book: FieldBook, faults: list[Fault]) -> None:
    """What one reading says of itself."""

    def fault(column: str, value: object, remedy: str) -> None:
        faults.append(Fault("readings.csv", r.row, column, str(value), remedy))

    names = list(book.instruments)
    if r.instrument and r.instrument not in names:
        fault("instrument", r.instrument, f"this instrument is not in site.toml{nearest(r.instrument, names)}")
    if not r.instrument and len(names) > 1:
        fault("instrument", "", "say which instrument: the book names " + ", ".join(names))
    if r.point.startswith(AXIS):
        fault("point", r.point, "a telescope axis can't be read; its height belongs in heights.csv")
    if abs(r.reading) > HIGHEST:
        fault("reading", f"{r.reading:g} m", "no staff is that long: is the unit right?")
    limit = book.line.distance
    if r.distance > limit.value + 3 * limit.u + 0.01 * limit.value:
        fault("distance", f"{r.distance:g} m", f"longer than the longest sight of {limit.value:g} m in site.toml: correct one of them")
    if r.status not in ("", "struck"):
        fault("status", r.status, "write struck, or leave the cell blank")
    if r.struck and not r.remark:
        fault("remark", "", "a struck row needs a remark that says why")
    if r.upper is not None and r.lower is not None and not r.lower <= r.reading <= r.upper and not r.planned:
        fault("upper", r.upper, f"the stadia wires must enclose the reading: {r.lower} ≤ {r.reading} ≤ {r.upper} does not hold")


def _check_setups(book: FieldBook, faults: list[Fault]) -> None:
    """One instrument, one visit and one distance to each point per set-up, and more than one point."""
    setups: dict[str, list[Reading]] = defaultdict(list)
    for r in book.readings:
        if not r.struck:
            setups[r.setup].append(r)
    if not setups:
        faults.append(Fault("readings.csv", None, "", "", "every row is struck: nothing is left to reduce"))
    longest = max((r.distance for rows in setups.values() for r in rows), default=0.0)
    if LONG < longest <= book.line.distance.value / 2:
        faults.append(Fault("site.toml", None, "line.distance", f"{book.line.distance.value:g} m",
                            f"this is to be the longest sight, and the longest one in readings.csv is {longest:g} m: correct one of them"))
    tied = {end for h in book.heights for end in (h.start, h.end)}
    for setup, rows in setups.items():
        for column in ("instrument", "visit"):
            if len({getattr(r, column) for r in rows}) > 1:
                faults.append(Fault("readings.csv", rows[-1].row, column, getattr(rows[-1], column),
                                    f"set-up {setup} has more than one {column}: a new {column} is a new set-up, with a name of its own"))
        first: dict[str, Reading] = {}
        for r in rows:
            seen = first.setdefault(r.point, r)
            if not math.isclose(seen.distance, r.distance, rel_tol=1e-9, abs_tol=1e-6):
                faults.append(Fault("readings.csv", r.row, "distance", f"{r.distance:g} m",
                                    f"row {seen.row} has {seen.distance:g} m from set-up {setup} to {r.point}; if the level was moved "
                                    "in between, the second set-up needs a name of its own"))
        if len(first) == 1 and AXIS + setup not in tied:
            faults.append(Fault("readings.csv", rows[0].row, "setup", setup, "a single reading says nothing, since the height of the "
                                f"instrument is unknown: read a second point, give the height of {AXIS}{setup} in heights.csv, or strike this row too"))
    for h in book.heights:
        for column, end in (("from", h.start), ("to", h.end)):
            if end.startswith(AXIS) and end[len(AXIS):] not in setups:
                faults.append(Fault("heights.csv", h.row, column, end, f"there is no such set-up{nearest(end[len(AXIS):], setups)}"))
        if h.start == h.end:
            faults.append(Fault("heights.csv", h.row, "to", h.end, "a height difference needs two different points"))


def _check_names(book: FieldBook, faults: list[Fault]) -> None:
    """Water surfaces, kinds, shores and airs that are named must exist."""
    used = {r.point for r in book.readings} | {e for h in book.heights for e in (h.start, h.end)}
    for name in book.water.surfaces:
        if name not in used:
            faults.append(Fault("site.toml", None, "water.surfaces", name, "no reading or height names this point" + "; heights.csv is missing or empty" * (not book.heights) + nearest(name, used)))
    for i, p in enumerate(book.points):
        if p.point in {other.point for other in book.points[:i]}:
            faults.append(Fault("points.csv", p.row, "point", p.point, "this point stands twice"))
        for column, value, known in (("kind", p.kind, schema.POINT_KINDS), ("shore", p.shore, ("", *schema.SHORES))):
            if value not in known:
                faults.append(Fault("points.csv", p.row, column, value, f"write one of: {', '.join(filter(None, known))}"))
    for file, rows in (("readings.csv", book.readings), ("air.csv", book.air_readings)):
        for r in rows:
            if r.air and r.air not in book.airs:
                faults.append(Fault(file, r.row, "air", r.air, f"this air is not in site.toml{nearest(r.air, book.airs)}"))
    for t in book.air_readings:
        if not t.air:
            faults.append(Fault("air.csv", t.row, "air", "", "say which air this is: " + (", ".join(book.airs) or "none is in site.toml")))
        if t.height > HIGHEST:
            faults.append(Fault("air.csv", t.row, "height", f"{t.height:g} m", "no thermometer hangs that high over a lake: is the unit right?"))
        if t.height <= 0.01:
            faults.append(Fault("air.csv", t.row, "height", f"{t.height:g} m", "a thermometer hangs above the water; the water's own goes into water_temperature"))
        if (t.humidity or 0) > 1.05:
            faults.append(Fault("air.csv", t.row, "humidity", f"{100 * t.humidity:g} %", "relative humidity goes up to 100 %: is the unit right?"))
        if not -40 <= t.temperature <= 60:
            faults.append(Fault("air.csv", t.row, "temperature", f"{t.temperature:g} °C", "outside -40 to 60 °C: is the unit right (°F, K)?"))
    for name, air in book.airs.items():
        own = [t for t in book.air_readings if t.air == name]
        if len({t.height for t in own if not t.thermometer}) > 1:
            faults.append(Fault("air.csv", own[0].row, "thermometer", "", "name each thermometer: all its readings share one offset, and one that was moved keeps its name"))
        if own and air.temperature and abs(air.temperature.value - sum(t.temperature for t in own) / len(own)) > 15:
            faults.append(Fault("site.toml", None, f"air.{name}.temperature", f"{air.temperature.value:g} °C", "more than 15 K from the rows of air.csv: is the unit right?"))
        if air.wind and air.wind.value < 0:
            faults.append(Fault("site.toml", None, f"air.{name}.wind", f"{air.wind.value:g}", "a wind can't be negative"))
        if air.k and air.gradient:
            faults.append(Fault("site.toml", None, f"air.{name}", "", "give either k or gradient, not both: they state the same thing"))
        if air.gradient and not (air.temperature and air.pressure):
            faults.append(Fault("site.toml", None, f"air.{name}", "", "a gradient needs temperature and pressure beside it"))
        for key, value, low, high in (("temperature", air.temperature, -40, 60), ("pressure", air.pressure, 300, 1100)):
            if value and not low <= value.value <= high:
                faults.append(Fault("site.toml", None, f"air.{name}.{key}", f"{value.value:g}", f"outside {low} to {high}: is the unit right?"))
    rule = book.rule
    for key, value, low, high in (("alpha_flat", rule.alpha_flat, 0, 0.5), ("alpha_ellipsoid", rule.alpha_ellipsoid, 0, 0.5),
                                  ("power", rule.power, 0.5, 1)):
        if not (low < value < high or value == low == 0.5):
            faults.append(Fault("site.toml", None, f"rule.{key}", f"{value:g}", f"a probability between {low} and {high}"))


def _check_times(book: FieldBook, faults: list[Fault]) -> None:
    """Where there is a gauge, each touch of the water needs a time within its record."""
    if not book.gauge:
        return
    names = {g.gauge for g in book.gauge}
    if len(names) > 1 and names != set(book.water.surfaces):
        faults.append(Fault("gauge.csv", book.gauge[-1].row, "gauge", book.gauge[-1].gauge, "where there is more than one gauge, each is named after the water "
                            f"surface that it stands in, and each surface has one: {', '.join(book.water.surfaces)}"))
        return
    for name in names:
        own = [g for g in book.gauge if g.gauge == name]
        for before, after in zip(own, own[1:]):
            if after.time <= before.time:
                faults.append(Fault("gauge.csv", after.row, "time", _clock(after.time), "gauge rows must follow one another in time"))
    touches = [("readings.csv", r.row, r.time, r.point) for r in book.readings if r.point in book.water.surfaces and not r.struck and not r.planned]
    touches += [("heights.csv", h.row, h.time, end) for h in book.heights for end in (h.start, h.end) if end in book.water.surfaces]
    for file, row, time, point in touches:
        record = gauge_of(book, point)
        if time is None:
            faults.append(Fault(file, row, "time", "", "the book has a gauge, so a touch of the water needs its time"))
        elif not record[0].time <= time <= record[-1].time:
            faults.append(Fault(file, row, "time", _clock(time), "outside the gauge's record: read the gauge before the first and after the last touch"))


def _check_identical(book: FieldBook, faults: list[Fault]) -> None:
    """Two rows identical in everything including a time are one row copied twice."""
    for name, table in book.tables.items():
        columns = table.columns
        if "time" not in columns:
            continue
        seen: dict[tuple[str, ...], int] = {}
        told = [columns.index(c) for c in ("time", "reading") if c in columns]
        for cells, row in zip(table.rows, table.lines):
            if all(cells[i] for i in told) and cells in seen:
                faults.append(Fault(name, row, "", ", ".join(cells), f"identical to row {seen[cells]} in everything including the time: remove "
                                    "the copy; if it was a second pointing, give its time to the second"))
            seen.setdefault(cells, row)


def _clock(seconds: float) -> str:
    return datetime.datetime.fromtimestamp(seconds, datetime.timezone.utc).isoformat()
