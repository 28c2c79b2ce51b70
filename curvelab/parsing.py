"""From the text of a field book's files to values in SI, every fault noted.

Each function appends what it can't read to a list of faults and goes on, so that a reader learns of all of them at once.
"""

from __future__ import annotations

import csv
import datetime
import io
import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

from . import quantities, schema, sense, units
from .records import AirReading, Fault, Gauge, Height, Point, Reading, Stated, Table, nearest

RECORDS = {"readings.csv": Reading, "heights.csv": Height, "gauge.csv": Gauge, "air.csv": AirReading, "points.csv": Point}
LARGEST = 1e9
FIELDS = {"from": "start", "to": "end"}
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
SPREADSHEETS = ("xlsx", "xlsm", "xls", "ods", "numbers", "tsv", "csv", "csv.txt")  # "csv": Heights.CSV
_UTF_8 = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffd]")

Rows = dict[int, tuple[str, ...]]  # the cells of each row, by its line in the file


def text(path: Path, faults: list[Fault]) -> str | None:
    """The file's text, or None with a fault."""
    strays = _strays(path.parent) if path.name == "readings.csv" else {}
    faults += [Fault(found, None, "", "", f"not read; save it from the spreadsheet as {table} (CSV UTF-8)") for table, found in strays.items()]
    try:
        return _decoded(path.read_bytes(), f"save it as {'CSV' if path.suffix == '.csv' else 'plain text'} UTF-8")
    except FileNotFoundError:
        if path.name not in strays:
            faults.append(Fault(path.name, None, "", "", "the file is missing; a field book needs it"))
    except OSError as error:
        faults.append(Fault(path.name, None, "", "", f"the file can't be read: {error.strerror}"))
    except ValueError as error:
        faults.append(Fault(path.name, error.args[1], "", "", error.args[0]))
    return None


def _strays(folder: Path) -> dict[str, str]:
    """Tables that are not there as CSV, each with the spreadsheet, or nearly right name, that is there in its place."""
    names = {f.name.casefold().partition("."): f.name for f in sorted(folder.glob("*.*"))}
    return {f"{stem}.csv": name for (stem, _, kind), name in names.items()
            if f"{stem}.csv" in schema.TABLES and kind in SPREADSHEETS and not (folder / f"{stem}.csv").exists()}


def _decoded(data: bytes, save: str) -> str:
    """UTF-8, or Windows-1252 if nothing in it is UTF-8; ValueError with a remedy and a row where it is no sound text."""
    if data.startswith((b"PK", b"\xd0\xcf\x11\xe0")):
        raise ValueError(f"this is a spreadsheet's own format, not text; open it in the spreadsheet and {save}", None)
    text = data.decode("utf-8", "replace").removeprefix("\ufeff")
    if "\ufffd" in text and not _UTF_8.search(data):
        text = data.decode("cp1252", "replace")
    bad = _CONTROL.search(text)
    if bad:
        raise ValueError(f"not UTF-8 text, or damaged: {bad[0]!a} (UTF-16 is full of NUL, '\\x00'); correct that and {save}",
                         len(re.findall("\r\n?|\n", text[:bad.start()])) + 1)
    return text


def site(text: str, faults: list[Fault]) -> dict[str, object]:
    """What stands in ``site.toml``, or nothing with a fault."""
    try:
        site = tomllib.loads(text)
        _check_plain(site)
    except (ValueError, RecursionError) as error:
        faults.append(Fault("site.toml", None, "", "", f"not valid TOML: {error}; text stands in quotes, as in title = \"Lake\""))
        return {}
    return site


def _check_plain(value: object, depth: int = 0) -> None:
    """Raise ValueError where tables are nested without end, or a whole number is beyond TOML's 64 bits."""
    if depth > 6 or isinstance(value, int) and abs(value) >= 2**63:
        raise ValueError("tables too deep, or a whole number beyond 64 bits")
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        _check_plain(inner, depth + 1)


def table(name: str, text: str, faults: list[Fault]) -> Table:
    """Cells as they stand, with points for decimal commas, without blank rows and columns that are blank throughout."""
    lines, noted = list(io.StringIO(text, newline="")), len(faults)
    separator = _separator(name, lines, faults)
    rows = _cells(name, lines, separator, faults) if separator else {}
    if len(rows) < (2 if name == "readings.csv" else 1):
        remedy = "write a header and at least one row" + ("" if name == "readings.csv" else ", or leave the file out")
        faults += [] if len(faults) > noted else [Fault(name, None, "", "", f"the table is empty; {remedy}")]
        return Table((), (), ())
    rows = rows if separator == "," else _with_points(name, rows, faults)
    width = max(i for row in rows.values() for i, cell in enumerate(row, 1) if cell)  # without a spreadsheet's blank columns
    header, *cells = (row[:width] for row in rows.values())
    found = Table(header, tuple(cells), tuple(rows)[1:])
    if len(faults) > noted:
        records(name, found, faults)  # whatever else is wrong in this table
    return found


def _separator(name: str, lines: list[str], faults: list[Fault]) -> str | None:
    """What parts the cells, by the header or by a first line such as sep=; , which is then blanked; None with a fault where that is open."""
    declared = re.fullmatch(r'"?sep=(.)"?[\s,;]*', lines[0], re.IGNORECASE) if lines else None
    lines[:1] = ["\n"] if declared else lines[:1]
    row, head = next(((i, line.strip()) for i, line in enumerate(lines, 1) if re.search(r"\w", line)), (1, ""))
    plain = re.sub(r"\s*([,;])\s*", r"\1", re.sub('"[^"]*"', "", head))
    found = [sign for sign in SEPARATORS if sign in plain]
    wanted = declared[1] if declared else found[0] if len(found) == 1 else "" if found else ","
    if wanted in (found or SEPARATORS):
        return wanted
    said = ([f"the first line says sep={wanted}"] if declared else []) + [f"the header has {SEPARATORS[sign]}" for sign in found]
    faults.append(Fault(name, row, "", head, f"{' and '.join(said)}: part the cells by commas only, by semicolons only or by tabs only"))
    return None


def _cells(name: str, lines: list[str], separator: str, faults: list[Fault]) -> Rows:
    """The rows that are not blank, line breaks inside a cell all alike; nothing with a fault."""
    rows, reader = {}, csv.reader(lines, delimiter=separator, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows[reader.line_num] = tuple(re.sub("\r\n?", "\n", cell.strip()) for cell in cells)
        return rows
    except csv.Error as error:
        faults.append(Fault(name, reader.line_num, "", "", f"not valid CSV: {error}; in a quoted cell each quotation mark stands twice"))
        return {}


def _with_points(name: str, rows: Rows, faults: list[Fault]) -> Rows:
    """Points for decimal commas. A comma that may mark thousands stays (no cell is read so); a point that may is a fault."""
    header = next(iter(rows.values()))
    rules = [schema.TABLES[name].get(title.partition("[")[0].strip()) for title in header]
    columns = {i for i, rule in enumerate(rules) if rule and rule.dimension not in ("text", "time")}
    rest = [(line, i, row[i]) for line, row in list(rows.items())[1:] for i in columns & set(range(len(row)))]
    for (line, i, cell), (plain, readings) in zip(rest, quantities.one_mark([cell for *_, cell in rest]), strict=True):
        rows[line] = (*rows[line][:i], plain, *rows[line][i + 1:])
        if readings:
            faults.append(Fault(name, line, header[i], cell, f"the point may mark decimals or thousands; write {readings}"))
    return rows


def unknown_keys(given: Mapping[str, object], known: Mapping[str, object], file: str, where: str, faults: list[Fault]) -> None:
    """A fault for each key that is not known, with the nearest known one."""
    faults += [Fault(file, None, f"{where}.{key}".strip("."), "", f"unknown key{nearest(key, known)}") for key in given if key not in known]


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
        values = sense.inherited(name, table, faults) if section == "instrument" else values
        parsed[name] = _values(section, f"{section}.{name}", values, faults)
    return parsed


def _values(section: str, where: str, table: Mapping[str, object], faults: list[Fault]) -> dict:
    """Keys of one table, parsed, with its documented defaults filled in."""
    known = schema.SECTIONS[section]
    unknown_keys(table, known, "site.toml", where, faults)
    parsed = {}
    for key, rule in known.items():
        raw = table.get(key, schema.DEFAULTS.get(section, {}).get(key))
        if raw is not None:
            parsed[key] = _value(raw, rule, (section, key), f"{where}.{key}".strip("."), key not in table, faults)
    return parsed


def _value(raw: object, rule: schema.Key, key: tuple[str, str], where: str, default: bool, faults: list[Fault]) -> object:
    """One value of ``site.toml`` by its rule; a fault where it can't be read."""
    try:
        return _typed(raw, rule, key, default)
    except (ValueError, OverflowError) as error:
        faults.append(Fault("site.toml", None, where, str(raw), str(error).removeprefix(f"{raw!r}: ")))
        return {"names": [], "text": "", "bool": False, "coordinate": (math.nan, math.nan)}.get(rule.kind, Stated(math.nan, math.nan))


def _typed(raw: object, rule: schema.Key, key: tuple[str, str], default: bool) -> object:
    """One value of ``site.toml`` by its rule; ValueError where it can't be read."""
    if rule.kind == "bool":
        return _expect(raw, bool, "true or false, without quotes")
    if rule.kind == "text":
        return _expect(raw, str, "text in quotes")
    if rule.kind == "names":
        names = _expect(raw, list, 'a list of point names, as in ["near water", "far water"]')
        return [_expect(name, str, "a point name in quotes") for name in names]
    if rule.kind == "coordinate":
        pair = _expect(raw, list, "[latitude, longitude] in degrees")
        if len(pair) != 2 or not all(math.isfinite(_expect(v, (int, float), "a number of degrees")) for v in pair):
            raise ValueError("give two numbers: [latitude, longitude] in degrees")
        return tuple(float(v) for v in pair)
    if rule.kind == "float":
        quantity = units.Quantity(float(_expect(raw, (int, float), "a bare number, without quotes")))
    else:
        text = _expect(raw, str, 'text with its unit, as in "2140 m ± 5 m"')
        quantity = units.parse(text.strip().removeprefix("±") if rule.spread == "none" else text, rule.kind)
    if not max(abs(quantity.value), quantity.u or 0) <= LARGEST:
        raise ValueError("no number, or too large for any measurement; is the unit right?")
    if rule.spread == "±" and quantity.u is None:
        raise ValueError("its standard uncertainty is missing: write value ± uncertainty")
    if rule.spread == "none" and quantity.u is not None:
        raise ValueError("write one number, without ±")
    if rule.spread == "none" and quantity.value < 0 and key not in schema.SIGNED:
        raise ValueError("this can't be negative")
    return Stated(quantity.value, quantity.u, default)


def _expect(raw: object, kind: type | tuple[type, ...], words: str) -> object:
    """The value if it is of its kind; ValueError otherwise."""
    if not isinstance(raw, kind) or isinstance(raw, bool) and kind is not bool:
        raise ValueError(f"write {words}")
    return raw


def records(name: str, table: Table, faults: list[Fault]) -> tuple:
    """The rows of a table as records in SI."""
    known = schema.TABLES[name]
    columns = [_column(name, header, faults) for header in table.headers]
    names = [column for column, _ in columns]
    faults += [Fault(name, 1, c, "", "this column is missing") for c in known
               if known[c].required and c not in names and not any(header.startswith(c) for header in table.headers)]
    faults += [Fault(name, 1, c, "", "this column stands twice") for c in known if names.count(c) > 1]
    records = []
    for cells, line in zip(table.rows, table.lines):
        if len(cells) != len(table.headers):
            faults.append(Fault(name, line, "", ",".join(cells), f"{len(cells)} cells under {len(table.headers)} headers; "
                                "a cell that holds a comma needs quotes around it, and decimal commas need semicolons between the cells"))
            continue
        values = {FIELDS.get(c, c): _cell(name, c, unit, cell, line, faults) for (c, unit), cell in zip(columns, cells) if c in known}
        given = {key: value for key, value in values.items() if value is not None}
        if all(FIELDS.get(c, c) in given for c in known if known[c].required and (name, c) not in schema.MAY_BE_BLANK):
            records.append(RECORDS[name](row=line, **given))
    return tuple(records)


def _column(name: str, header: str, faults: list[Fault]) -> tuple[str, str | None]:
    """A column's name and unit by its header; no name, and a fault, where it can't be read."""
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
        if abs(quantity.value) > LARGEST:
            raise ValueError("too large for any measurement; is the unit right?")
        if quantity.value < 0 and column in schema.NOT_NEGATIVE:
            raise ValueError(f"{column} can't be negative")
        return quantity.value
    except ValueError as error:
        faults.append(Fault(name, line, column, cell, str(error).removeprefix(f"{cell!r}: ")))
        return None


def _time(text: str) -> float:
    """Seconds since 1970; ValueError without an offset from UTC, or far from any measurement."""
    try:
        moment = datetime.datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        comma = "; if it is what follows a decimal comma, put semicolons between the cells" if text.isdigit() else ""
        raise ValueError(f"write the time with its offset from UTC, as in 2026-05-03T09:10:00+02:00{comma}")
    if not 1800 <= moment.year <= 2200:
        raise ValueError(f"the year {moment.year} can't be; correct it")
    return moment.timestamp()
