"""From the text of a field book's files to values in SI, every fault noted.

Each function appends what it can't read to a list of faults and goes on, so
that a reader learns of all of them at once.
"""

from __future__ import annotations

import csv
import datetime
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path

from . import schema, sense, units
from .records import AirReading, Fault, Gauge, Height, Point, Reading, Stated, Table, nearest

RECORDS = {"readings.csv": Reading, "heights.csv": Height, "gauge.csv": Gauge, "air.csv": AirReading,
           "points.csv": Point}
LARGEST = 1e9
FIELDS = {"from": "start", "to": "end"}


def text(path: Path, faults: list[Fault]) -> str | None:
    """The file's text, or None with a fault."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        faults.append(Fault(path.name, None, "", "", "the file is missing; a campaign needs it"))
    except UnicodeDecodeError:
        faults.append(Fault(path.name, None, "", "", "the file is not UTF-8 text; save it as CSV UTF-8 or plain UTF-8"))
    except OSError as error:
        faults.append(Fault(path.name, None, "", "", f"the file can't be read: {error.strerror}"))
    return None


def site(text: str, faults: list[Fault]) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        faults.append(Fault("site.toml", None, "", "", f"not valid TOML: {error}; text stands in quotes, as in title = \"Lake\""))
        return {}


def table(name: str, text: str, faults: list[Fault]) -> Table:
    """Cells as they stand, without blank rows and without columns that are blank throughout."""
    rows, lines = [], []
    head = text.lstrip().partition("\n")[0]
    for sign, word in ((";", "semicolons"), ("\t", "tabs")):
        if sign in head and "," not in head.replace("sep=,", ""):
            faults.append(Fault(name, 1, "", head.strip(), f"the cells are separated by {word}: export with commas between cells and points in decimals"))
            return Table((), (), ())
    reader = csv.reader(text.splitlines(keepends=True), strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append(tuple(cell.strip() for cell in cells))
                lines.append(reader.line_num)
    except csv.Error as error:
        faults.append(Fault(name, reader.line_num, "", "", f"not valid CSV: {error}"))
        return Table((), (), ())
    if not rows or len(rows) < 2 and name == "readings.csv":
        faults.append(Fault(name, None, "", "", "the table is empty; write a header and at least one row" + (
            "" if name == "readings.csv" else ", or leave the file out")))
        return Table((), (), ())
    width = max(len(row) for row in rows)
    while width > 1 and not any(any(row[width - 1:]) for row in rows):
        width -= 1  # a spreadsheet's blank columns
    return Table(rows[0][:width], tuple(row[:width] for row in rows[1:]), tuple(lines[1:]))


def unknown_keys(given: Mapping[str, object], known: object, file: str, where: str, faults: list[Fault]) -> None:
    for key in given:
        if key not in known:
            faults.append(Fault(file, None, f"{where}.{key}".strip("."), "", f"unknown key{nearest(key, known)}"))


def section(section: str, site: dict[str, object], faults: list[Fault]) -> dict:
    """The parsed values of one section: by key, or by name and key where it is named."""
    table = site.get(section, {})
    if not isinstance(table, dict):
        faults.append(Fault("site.toml", None, section, str(table), f"write it as a section: [{section}]"))
        table = {}
    if section not in schema.NAMED:
        return _values(section, section, table, faults)
    parsed = {}
    for name, values in table.items():
        if not isinstance(values, dict):
            faults.append(Fault("site.toml", None, f"{section}.{name}", str(values), f"each {section} needs a name: [{section}.A]"))
            continue
        if section == "instrument":
            values = sense.inherited(name, table, faults)
        parsed[name] = _values(section, f"{section}.{name}", values, faults)
    return parsed


def _values(section: str, where: str, table: Mapping[str, object], faults: list[Fault]) -> dict:
    """Keys of one table, parsed, with its documented defaults filled in."""
    known = schema.SECTIONS[section]
    unknown_keys(table, known, "site.toml", where, faults)
    parsed = {}
    for key, rule in known.items():
        default = key not in table
        raw = table.get(key, schema.DEFAULTS.get(section, {}).get(key))
        if raw is not None:
            parsed[key] = _value(raw, rule, (section, key), f"{where}.{key}", default, faults)
    return parsed


def _value(raw: object, rule: schema.Key, key: tuple[str, str], where: str, default: bool, faults: list[Fault]) -> object:
    """One value of ``site.toml`` by its rule; a fault where it can't be read."""
    where = where.strip(".")
    try:
        return _typed(raw, rule, key, default)
    except ValueError as error:
        faults.append(Fault("site.toml", None, where, str(raw), str(error).removeprefix(f"{raw!r}: ")))
        return {"names": [], "text": "", "bool": False, "coordinate": (math.nan, math.nan)}.get(rule.kind, Stated(math.nan, math.nan))


def _typed(raw: object, rule: schema.Key, key: tuple[str, str], default: bool) -> object:
    if rule.kind == "bool":
        return _expect(raw, bool, "true or false, without quotes")
    if rule.kind == "text":
        return _expect(raw, str, "text in quotes")
    if rule.kind == "names":
        names = _expect(raw, list, 'a list of point names, as in ["near water", "far water"]')
        return [_expect(name, str, "a point name in quotes") for name in names]
    if rule.kind == "coordinate":
        pair = _expect(raw, list, "[latitude, longitude] in degrees")
        if len(pair) != 2:
            raise ValueError("give two numbers: [latitude, longitude] in degrees")
        return tuple(float(_expect(v, (int, float), "a number of degrees")) for v in pair)
    if rule.kind == "float":
        quantity = units.Quantity(float(_expect(raw, (int, float), "a bare number, without quotes")))
    else:
        text = _expect(raw, str, 'text with its unit, as in "2140 m ± 5 m"')
        quantity = units.parse(text.strip().removeprefix("±") if rule.spread == "none" else text, rule.kind)
    if not math.isfinite(quantity.value):
        raise ValueError("give a finite number")
    if max(abs(quantity.value), quantity.u or 0) > LARGEST:
        raise ValueError("too large for any measurement; is the unit right?")
    if rule.spread == "±" and quantity.u is None:
        raise ValueError("its standard uncertainty is missing: write value ± uncertainty")
    if rule.spread == "none" and quantity.u is not None:
        raise ValueError("write one number, without ±")
    if rule.spread == "none" and quantity.value < 0 and key not in schema.SIGNED:
        raise ValueError("this can't be negative")
    return Stated(quantity.value, quantity.u, default)


def _expect(raw: object, kind: type | tuple[type, ...], words: str) -> object:
    if not isinstance(raw, kind) or isinstance(raw, bool) and kind is not bool:
        raise ValueError(f"write {words}")
    return raw


def records(name: str, table: Table, faults: list[Fault]) -> tuple:
    """The rows of a table as records in SI."""
    known, columns = schema.TABLES[name], []
    for header in table.headers:
        columns.append(_column(name, header, faults))
    names = [column for column, _ in columns]
    for column in known:
        if known[column].required and column not in names:
            faults.append(Fault(name, 1, column, "", "this column is missing"))
        if names.count(column) > 1:
            faults.append(Fault(name, 1, column, "", "this column stands twice"))
    records = []
    for cells, line in zip(table.rows, table.lines):
        if len(cells) != len(table.headers):
            faults.append(Fault(name, line, "", ",".join(cells), f"{len(cells)} cells under {len(table.headers)} headers; "
                                "a comma inside a cell needs quotes around the cell"))
            continue
        values = {}
        for (column, unit), cell in zip(columns, cells):
            if column in known:
                values[FIELDS.get(column, column)] = _cell(name, column, unit, cell, line, faults)
        given = {key: value for key, value in values.items() if value is not None}
        if all(FIELDS.get(c, c) in given for c in known if known[c].required and (name, c) not in schema.MAY_BE_BLANK):
            records.append(RECORDS[name](row=line, **given))
    return tuple(records)


def _column(name: str, header: str, faults: list[Fault]) -> tuple[str, str | None]:
    known = schema.TABLES[name]
    try:
        column, unit = units.split_header(header)
        if column not in known:
            raise ValueError(f"unknown column{nearest(column, known)}")
        if unit is not None:
            if known[column].dimension in ("text", "time"):
                raise ValueError("this column has no unit")
            units.check_unit(unit, known[column].dimension)
        return column, unit
    except ValueError as error:
        faults.append(Fault(name, 1, header, "", str(error)))
        return "", None


def _cell(name: str, column: str, unit: str | None, cell: str, line: int, faults: list[Fault]) -> object:
    """One cell in SI, None where blank (or where it has a fault)."""
    rule = schema.TABLES[name][column]
    if not cell:
        if rule.required and (name, column) not in schema.MAY_BE_BLANK:
            remedy = "fill it in, or strike the row with a remark" if "status" in schema.TABLES[name] else "fill it in, or remove the row"
            faults.append(Fault(name, line, column, "", f"this cell is empty; {remedy}"))
        return None
    if rule.dimension == "text":
        return cell
    try:
        if rule.dimension == "time":
            return _time(cell)
        quantity = units.parse_cell(cell, rule.dimension, unit)
        if quantity.u is not None:
            raise ValueError("a cell holds one number; its uncertainty goes into the column u")
        if not math.isfinite(quantity.value):
            raise ValueError("give a finite number")
        if abs(quantity.value) > LARGEST:
            raise ValueError("too large for any measurement; is the unit right?")
        if quantity.value < 0 and column in schema.NOT_NEGATIVE:
            raise ValueError(f"{column} can't be negative")
        return quantity.value
    except ValueError as error:
        faults.append(Fault(name, line, column, cell, str(error).removeprefix(f"{cell!r}: ")))
        return None


def _time(text: str) -> float:
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise ValueError("write the time with its offset from UTC, as in 2026-05-03T09:10:00+02:00")
    return moment.timestamp()
