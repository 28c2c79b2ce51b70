"""Read, check and write a field book: one folder of ``site.toml`` and CSV tables.

Nothing is guessed and nothing is dropped: whatever can't be read is listed in
one `FieldBookError`, with the file, the row, the value and what to do.
"""

from __future__ import annotations

import copy
import csv
import io
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from . import parsing, resolve, schema, sense, units
from .records import Air, Fault, FieldBook, FieldBookError, Rule, Table, nearest

Cells = Mapping[str, str | float]  # one row of a table, by column [SI]
_USUAL = {"length": "m", "temperature": "°C"}
SEALED_PLAN = "sealed_plan.txt"  # beside the book, the text that [plan] sealed is the seal of


def read_fieldbook(folder: str | Path) -> FieldBook:
    """Read a campaign from its folder.

    Parameters
    ----------
    folder : path
        Holds ``site.toml``, ``readings.csv`` and, optionally, ``heights.csv``,
        ``gauge.csv``, ``air.csv``, ``points.csv``.

    Returns
    -------
    FieldBook
        In SI.

    Raises
    ------
    FieldBookError
        With every fault that was found.
    """
    folder, faults = Path(folder), []
    if folder.is_file():
        raise FieldBookError([Fault(folder.name, None, "", "", "this is a file; give the folder that it lies in")])
    if not folder.is_dir():
        raise FieldBookError([Fault(folder.name, None, "", "", "there is no such folder; give the folder of a campaign")])
    text = parsing.text(folder / "site.toml", faults)
    site = parsing.site(text, faults) if text is not None else {}
    tables = {}
    for path in sorted(folder.glob("*.csv")):
        if path.name not in schema.TABLES:
            faults.append(Fault(path.name, None, "", "", f"no table has this name{nearest(path.name, schema.TABLES)}"))
    for name in schema.TABLES:
        if (folder / name).exists() or name == "readings.csv":
            text = parsing.text(folder / name, faults)
            if text is not None:
                tables[name] = parsing.table(name, text, faults)
    sealed = parsing.text(folder / SEALED_PLAN, faults) if (folder / SEALED_PLAN).exists() else ""
    _raise(faults)
    return compose(site, tables, sealed)


def compose(site: dict[str, object], tables: dict[str, Table], sealed_plan: str = "") -> FieldBook:
    """A field book from what stands in its files.

    Parameters
    ----------
    site : dict
        The contents of ``site.toml``.
    tables : dict of Table
        By file name.
    sealed_plan : str
        The text of the plan that was sealed before, if any.

    Raises
    ------
    FieldBookError
        With every fault that was found.
    """
    faults: list[Fault] = []
    parsing.unknown_keys(site, schema.SECTIONS[""] | schema.SECTIONS, "site.toml", "", faults)
    about = parsing.section("", {"": {key: value for key, value in site.items() if key in schema.SECTIONS[""]}}, faults)
    if "format" in about and about["format"].value != 1:
        faults.append(Fault("site.toml", None, "format", str(site["format"]), "this version reads format = 1"))
    sections = {name: parsing.section(name, site, faults) for name in schema.SECTIONS if name}
    records = {name: parsing.records(name, tables[name], faults) if name in tables else () for name in schema.TABLES}
    line = sense.line(sections["line"], faults)
    instruments = {name: sense.instrument(name, values, faults) for name, values in sections["instrument"].items()}
    _raise(faults)
    air = {name: Air(name, **values) for name, values in sections["air"].items()}
    rule = sections["rule"]
    book = FieldBook(
        site=copy.deepcopy(site), tables=dict(tables), title=about.get("title", "untitled"),
        invented=about.get("invented", False), private=about.get("private", False),
        sealed=sections["plan"].get("sealed", ""), sealed_plan=sealed_plan,
        blind=sense.blind(sections["plan"], records["readings.csv"], faults),
        line=line, instruments=instruments, airs=air,
        water=sense.water(sections["water"], records["points.csv"], line.distance.value, faults),
        tapes={name: v["scale"] for name, v in sections["tape"].items()},
        scales={name: v["error"] for name, v in sections["scale"].items()},
        staffs={name: v["zero"] for name, v in sections["staff"].items()},
        thermometers={name: v["offset"] for name, v in sections["thermometer"].items()},
        rule=Rule(rule["alpha_flat"].value, rule["alpha_ellipsoid"].value, rule["power"].value,
                  rule["geoid"].value, not any(rule[key].default for key in ("alpha_flat", "alpha_ellipsoid", "power"))),
        readings=records["readings.csv"], heights=records["heights.csv"], gauge=records["gauge.csv"],
        air_readings=records["air.csv"], points=records["points.csv"])
    book = resolve.unblinded(resolve.filled(book))
    sense.check(book, faults)
    book = resolve.with_airs(book, faults)
    _raise(faults)
    return book


def with_changes(book: FieldBook, changes: Mapping[str, object]) -> FieldBook:
    """The same campaign with keys of ``site.toml`` replaced.

    Parameters
    ----------
    book : FieldBook
    changes : mapping
        From a dotted key (``"instrument.A.tolerance"``) to its new value as the
        field book would write it; None removes the key.

    Raises
    ------
    FieldBookError
    """
    site = copy.deepcopy(book.site)
    if not isinstance(changes, Mapping) or not all(isinstance(path, str) for path in changes):
        raise ValueError(f"changes {changes!r}: give a dictionary such as {{'instrument.A.tolerance': '1 mm per 30 m'}}")
    for path, value in changes.items():
        section, _, rest = path.partition(".")
        name, _, key = rest.rpartition(".")
        if section in schema.NAMED and name not in site.get(section, {}):
            raise FieldBookError([Fault("site.toml", None, path, "", f"this book has no {section} {name!r}{nearest(name, site.get(section, {}))}")])
        table = site
        for part in filter(None, (section, name) if rest else ()):
            table = table.setdefault(part, {})
        table[key or section] = value
        if value is None:
            del table[key or section]
    return compose(site, book.tables, book.sealed_plan)


def with_struck(book: FieldBook) -> FieldBook:
    """The same campaign with its struck rows taken back in."""
    table = book.tables["readings.csv"]
    return compose(book.site, book.tables | {"readings.csv": table.filled("status", [""] * len(table.rows))}, book.sealed_plan)


def write_fieldbook(book: FieldBook, folder: str | Path) -> Path:
    """Write a campaign as it was read or made; never overwrites a file.

    Raises
    ------
    FileExistsError
        Where the folder already holds one of the files.
    """
    folder = Path(folder)
    present = [name for name in ("site.toml", *schema.TABLES, SEALED_PLAN) if (folder / name).exists()]
    if present:
        raise FileExistsError(f"{folder.name} already holds {', '.join(present)}; give a new folder")
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "site.toml").open("x", encoding="utf-8") as out:
        out.write(toml_text(book.site))
    texts = {name: csv_text(table) for name, table in book.tables.items()} | ({SEALED_PLAN: book.sealed_plan} if book.sealed_plan else {})
    for name, text in texts.items():
        with (folder / name).open("x", encoding="utf-8", newline="") as out:
            out.write(text)
    return folder


def with_rows(name: str, table: Table | None, rows: Sequence[Cells], at: int | None = None) -> Table:
    """A table, new where there was none, with rows put in (last where `at` is left out) and the columns that they need.

    Lengths and temperatures in the unit of their column's header, or with one of their own where that has none, to nine figures; the rest as texts.
    """
    known = schema.TABLES[name]
    old = table or Table((), (), ())
    needed = [c for c in known if c not in old.columns and (any(c in row for row in rows) or table is None and known[c].required)]
    headers = (*old.headers, *(f"{c} [{_USUAL[known[c].dimension]}]" if known[c].dimension in _USUAL else c for c in needed))
    cells = [(*row, *("" for _ in needed)) for row in old.rows]
    at = len(cells) if at is None else at
    cells[at:at] = [tuple(_written(name, header, row) for header in headers) for row in rows]
    return Table.numbered(headers, cells)


def _written(name: str, header: str, row: Cells) -> str:
    """What a row says under a header."""
    column, unit = units.split_header(header)
    value, dimension = row.get(column, ""), schema.TABLES[name][column].dimension
    if isinstance(value, str):
        return value
    return str(float(f"{units.convert(value, unit, dimension):.9g}")) if unit else units.write(value, _USUAL[dimension], dimension=dimension)


def csv_text(table: Table) -> str:
    """A table as the text of its file."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([table.headers, *table.rows])
    return out.getvalue()


def _raise(faults: list[Fault]) -> None:
    if faults:
        raise FieldBookError(faults)


def toml_text(site: Mapping[str, object], prefix: str = "") -> str:
    """A dictionary of plain values and tables as TOML."""
    lines = [f"{_toml_key(key)} = {_toml_value(value)}" for key, value in site.items() if not isinstance(value, dict)]
    text = "".join(f"{line}\n" for line in lines)
    for key, value in site.items():
        if isinstance(value, dict):
            path = f"{prefix}{_toml_key(key)}"
            inner = toml_text(value, f"{path}.")
            nested = all(isinstance(v, dict) for v in value.values()) and value
            text += inner if nested else f"\n[{path}]\n{inner}"
    return text


def _toml_key(key: str) -> str:
    return key if key.replace("_", "").replace("-", "").isalnum() and key.isascii() else _toml_value(key)


def _toml_value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_toml_value, value))}]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
