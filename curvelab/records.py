"""The parsed field book: plain records in SI, and the error that lists its faults."""

from __future__ import annotations

import difflib
import functools
import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import NoReturn

from .schema import REPEATS_DIFFER_IN
from .units import Quantity, split_header

SHOWN = 12  # kinds of fault that a message names; all faults are in `faults`


@dataclass(frozen=True)
class Fault:
    """One thing wrong in a field book: where, what was found, what to do."""

    file: str
    row: int | None
    column: str
    value: str
    remedy: str

    def __str__(self) -> str:
        place = [self.file]
        place += [f"row {self.row}"] if self.row is not None else []
        place += [f"[{self.column}]" if self.row is None else f"column {self.column}"] if self.column else []
        found = f": {self.value[:80]!r}" if self.value else ""
        return f"{', '.join(place)}{found}: {self.remedy}"


class FieldBookError(ValueError):
    """Every fault of a field book at once; `faults` holds them as records."""

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = tuple(faults)
        alike: dict[object, list[Fault]] = {}
        for fault in faults:
            alike.setdefault(fault if fault.row is None else (fault.file, fault.column, fault.remedy), []).append(fault)
        lines = [f"  {first}{_also(rest)}" for first, *rest in alike.values()]
        lines[SHOWN:] = [f"  and {len(lines) - SHOWN} more"] if len(lines) > SHOWN else []
        count = "one fault" if len(faults) == 1 else f"{len(faults)} faults"
        super().__init__("\n".join([f"the field book has {count}:", *lines]))


def _also(rest: list[Fault]) -> str:
    """Where else the same fault is."""
    if len(rest) < 2:
        return "".join(f" (and in row {fault.row})" for fault in rest)
    return f" (and in {len(rest)} more rows, down to row {rest[-1].row})"


def nearest(word: str, known: Iterable[object]) -> str:
    """``"; the nearest known one is ..."`` or nothing, for error messages."""
    found = difflib.get_close_matches(word, [str(k) for k in known], 1, 0.5)
    return f"; the nearest known one is {found[0]!r}" if found else ""


@dataclass(frozen=True)
class Stated(Quantity):
    """A quantity of ``site.toml``; `default` where the book left it to the default."""

    default: bool = False


@dataclass(frozen=True)
class Table:
    """A table as it stands in the file: headers, cells, and each row's line in the file."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    @property
    def columns(self) -> list[str]:
        """Names of the columns, without their units."""
        return [split_header(header)[0] for header in self.headers]

    @classmethod
    def numbered(cls, headers: Iterable[str], rows: Iterable[tuple[str, ...]]) -> Table:
        """A table that is made, not read: its rows stand on the lines below the header."""
        kept = tuple(rows)
        return cls(tuple(headers), kept, tuple(range(2, len(kept) + 2)))

    def without(self, line: int) -> Table:
        """The same table without one row, by its line in the file."""
        kept = [(row, at) for row, at in zip(self.rows, self.lines) if at != line]
        return replace(self, rows=tuple(row for row, _ in kept), lines=tuple(at for _, at in kept))

    def filled(self, column: str, cells: Iterable[str]) -> Table:
        """The same table with one column written anew."""
        at = self.columns.index(column)
        return replace(self, rows=tuple((*row[:at], cell, *row[at + 1:]) for row, cell in zip(self.rows, cells)))


@dataclass(frozen=True)
class Line:
    """The sightline: longest sight [m], its mid-latitude and azimuth [degrees], which no printed form gives away."""

    distance: Stated
    latitude: float = field(repr=False)
    azimuth: float = field(repr=False)


@dataclass(frozen=True)
class Instrument:
    """A level's uncertainties [rad, reading in m]; `root` is the level it is the same as."""

    name: str
    root: str
    tolerance: Stated | None
    collimation: Stated | None
    setting_accuracy: Stated
    focus_runout: Stated
    drift: Stated
    pointing: Stated
    reading: Stated


@dataclass(frozen=True)
class Air:
    """One air mass: k, or temperature [°C] and pressure [hPa] with a gradient [K/m] or what makes a profile."""

    name: str
    k: Stated | None = None
    gradient: Stated | None = None
    temperature: Stated | None = None
    pressure: Stated | None = None
    water_temperature: Stated | None = None
    wind: Stated | None = None
    air_minus_water: Stated | None = None


@dataclass(frozen=True)
class Water:
    """The water: its surface points with their place from near (0) to far (1), and the touch [m]."""

    surfaces: dict[str, float]
    touch: Stated
    touch_common: Stated
    between_shores: Stated


@dataclass(frozen=True)
class Rule:
    """The decision rule: probabilities, and u of 1/R as a prediction (relative)."""

    alpha_flat: float
    alpha_ellipsoid: float
    power: float
    geoid: float
    stated: bool


@dataclass(frozen=True)
class Reading:
    """One row of ``readings.csv`` [m, s since 1970]; a planned reading is NaN."""

    row: int
    setup: str
    point: str
    distance: float
    reading: float = math.nan
    instrument: str = ""
    staff: str = ""
    air: str = ""
    visit: str = ""
    scale: str = ""
    u: float | None = None
    u_distance: float | None = None
    upper: float | None = None
    lower: float | None = None
    time: float | None = None
    observer: str = ""
    photo: str = ""
    status: str = ""
    remark: str = ""

    @property
    def struck(self) -> bool:
        """Whether the row was struck out in the field."""
        return self.status == "struck"

    @property
    def planned(self) -> bool:
        """Whether the row still waits for its reading."""
        return math.isnan(self.reading)

    @functools.cached_property
    def shared(self) -> tuple:
        """What it has in common with its repeats, and with no other reading."""
        return tuple(value for key, value in vars(self).items() if key not in ("row", *REPEATS_DIFFER_IN))


@dataclass(frozen=True)
class Height:
    """One row of ``heights.csv`` [m]: positive when `end` is above `start`."""

    row: int
    start: str
    end: str
    height: float
    u: float | None = None
    tape: str = ""
    visit: str = ""
    time: float | None = None
    remark: str = ""


@dataclass(frozen=True)
class Gauge:
    """One row of ``gauge.csv``: water level [m] at a time [s]."""

    row: int
    time: float
    water_level: float
    gauge: str = ""
    u: float | None = None


@dataclass(frozen=True)
class AirReading:
    """One row of ``air.csv``: temperature [°C] at a height above the water [m]."""

    row: int
    height: float
    temperature: float
    air: str = ""
    time: float | None = None
    thermometer: str = ""
    u: float | None = None
    humidity: float | None = None
    position: float | None = None


@dataclass(frozen=True)
class Point:
    """One row of ``points.csv``; `position` in metres along the line from the first shore."""

    row: int
    point: str
    kind: str
    position: float | None = None
    shore: str = ""
    remark: str = ""


@dataclass(frozen=True)
class Blind:
    """A target moved by a secret offset: the commitment, the point, and offset [m] and salt once they are revealed."""

    commitment: str = ""
    point: str = ""
    offset: float | None = None

    @staticmethod
    def commit(offset: str, salt: str) -> str:
        """What is given away of an offset as it is written, and its salt: SHA-256 of salt, a line feed and offset."""
        return hashlib.sha256(f"{salt}\n{offset}".encode()).hexdigest()

    @property
    def hidden(self) -> bool:
        """Whether the offset is still a secret."""
        return bool(self.commitment) and self.offset is None


class Step:
    """A step on the way from a field book to a verdict, which says how the steps follow where it is taken for another."""

    def __getattr__(self, name: str) -> NoReturn:
        raise AttributeError(f"a {type(self).__name__} has no {name!r}: read_fieldbook(folder) gives a FieldBook, plan(book) a Plan, "
                             "adjust(book) a Result, decide(result) a Verdict", name=name, obj=self)


@dataclass(frozen=True)
class FieldBook(Step):
    """A campaign: what was written down, checked for sense and turned into SI.

    `site` and `tables` keep what was written, word for word; everything else is
    derived from them.
    """

    site: dict[str, object] = field(repr=False)
    tables: dict[str, Table] = field(repr=False)
    title: str
    invented: bool
    private: bool
    sealed: str
    blind: Blind
    sealed_plan: str = field(repr=False)
    line: Line
    instruments: dict[str, Instrument]
    airs: dict[str, Air]
    water: Water
    tapes: dict[str, Stated]
    scales: dict[str, Stated]
    staffs: dict[str, Stated]
    thermometers: dict[str, Stated]
    rule: Rule
    readings: tuple[Reading, ...]
    heights: tuple[Height, ...] = ()
    gauge: tuple[Gauge, ...] = ()
    air_readings: tuple[AirReading, ...] = ()
    points: tuple[Point, ...] = ()

    @property
    def longest_sight(self) -> Reading:
        """The first of the longest readings that are not struck, taken or planned."""
        return max((r for r in self.readings if not r.struck), key=lambda r: r.distance)

    @functools.cached_property
    def is_plan(self) -> bool:
        """Whether no reading has been taken yet."""
        return all(r.planned for r in self.readings)

    @functools.cached_property
    def repeats(self) -> list[list[Reading]]:
        """Readings that are repeats of one another, together; struck and, once there are readings, planned rows left out."""
        found: dict[tuple, list[Reading]] = {}
        for r in self.readings:
            if not r.struck and (self.is_plan or not r.planned):
                found.setdefault(r.shared, []).append(r)
        return list(found.values())
