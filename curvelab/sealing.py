"""The sealed plan: a text fixed beforehand, its SHA-256, and where a campaign departed from it; and a blind target."""

from __future__ import annotations

import datetime
import hashlib
import os
import secrets
import tempfile
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path

from . import parsing, schema
from .fieldbook import SEALED_PLAN, compose, csv_text, toml_text
from .privacy import published_line
from .records import Blind, Fault, FieldBook, FieldBookError, Table

_HEAD, _PART, _PREDICTED = "curvelab plan 1", "---- ", "predictions"
READ = {"readings.csv": (), "heights.csv": ("height",), "gauge.csv": ("water_level",), "air.csv": ("temperature", "humidity"), "points.csv": ()}
_FREE = ("title", "invented", "private", "plan", "line")  # compared apart, or free to change


def plan_text(book: FieldBook, predictions: Iterable[str], time: datetime.datetime) -> str:
    """The canonical text of a plan: site, tables, predictions for both hypotheses, and when it was written.

    The line stands in its published form: no coordinates; no title, remarks, observers and photographs either.
    """
    site = {key: value for key, value in book.site.items() if key not in ("plan", "title")} | {"line": published_line(book)}
    parts = {"site.toml": toml_text(site)} | {name: csv_text(_nameless(table)) for name, table in sorted(book.tables.items())}
    parts[_PREDICTED] = "".join(f"{line}\n" for line in predictions)
    return f"{_HEAD}\n{time.isoformat(timespec='seconds')}\n" + "".join(f"{_PART}{name}\n{text.strip()}\n" for name, text in parts.items())


def _nameless(table: Table) -> Table:
    """A table without what could name people or places; its times stay."""
    for name in {"observer", "photo", "remark"} & set(table.columns):
        table = table.filled(name, [""] * len(table.rows))
    return table


def digest(text: str) -> str:
    """SHA-256 of a text in UTF-8, as 64 hexadecimal digits: the seal.

    >>> digest("")[:16]
    'e3b0c44298fc1c14'
    """
    return hashlib.sha256(text.encode()).hexdigest()


def write_sealed(text: str, folder: str | Path) -> Path:
    """Write the text of a plan into a folder, whole or not at all; never overwrites.

    Raises
    ------
    FileExistsError
    """
    path = Path(folder) / SEALED_PLAN
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            out.write(text)
        try:
            os.link(name, path)
        except FileExistsError:
            raise FileExistsError(f"{path.name} is there already: a sealed plan is never overwritten, choose a new folder") from None
    finally:
        os.unlink(name)
    return path


def opened(text: str) -> FieldBook:
    """The plan that a sealed text holds.

    Raises
    ------
    FieldBookError
    """
    faults: list[Fault] = []
    head, *parts = text.split(f"\n{_PART}")
    named = dict(part.split("\n", 1) for part in parts if "\n" in part)
    if not head.startswith(_HEAD) or "site.toml" not in named:
        raise FieldBookError([Fault(SEALED_PLAN, 1, "", head[:40], "this is no sealed plan")])
    site = parsing.site(named["site.toml"], faults)
    tables = {name: parsing.table(name, named[name], faults) for name in schema.TABLES if name in named}
    if faults:
        raise FieldBookError(faults)
    return compose(site, tables)


def sealed_time(text: str) -> datetime.datetime:
    """When a plan was sealed, by its own word."""
    return datetime.datetime.fromisoformat(text.split("\n", 2)[1])


def kept_seal(book: FieldBook) -> bool:
    """Whether the sealed plan beside a book carries the seal that the book names."""
    return bool(book.sealed_plan) and digest(book.sealed_plan) == book.sealed.lower()


def departures(book: FieldBook) -> list[str]:
    """Where a campaign departed from its sealed plan, in words; empty where it kept to it.

    Parameters
    ----------
    book : FieldBook
        Whose ``[plan] sealed`` names a seal.
    """
    if not book.sealed_plan:
        return [f"the sealed plan is not in the folder ({SEALED_PLAN}), so nothing shows whether it was kept to"]
    if not kept_seal(book):
        return [f"{SEALED_PLAN} does not carry the seal that site.toml names: one of them was changed"]
    plan = opened(book.sealed_plan)
    return [*_changed(plan.site, book.site), *_line_changed(plan, book), *_rows_changed(plan, book), *_early(book)]


def _changed(planned: Mapping[str, object], done: Mapping[str, object], path: str = "") -> list[str]:
    """Keys of the site that differ, with both values."""
    told = []
    for key in dict.fromkeys((*planned, *done)):
        if not path and key in _FREE:
            continue
        before, after = planned.get(key), done.get(key)
        if isinstance(before, Mapping) or isinstance(after, Mapping):
            told += _changed(before or {}, after or {}, f"{path}{key}.")
        elif before != after:
            told.append(f"{path}{key} was {'not stated' if before is None else repr(before)} and is {'left out' if after is None else repr(after)}")
    return told


def _line_changed(plan: FieldBook, book: FieldBook) -> list[str]:
    own = published_line(book)
    return [f"line.{key} was {value!r} and is {own[key]!r}" for key, value in published_line(plan).items() if own[key] != value]


def _rows_changed(plan: FieldBook, book: FieldBook) -> list[str]:
    """Rows that were planned and are not there, or are there and were not planned, by all that is not read on the day."""
    told = []
    for name in schema.TABLES:
        planned, done = _planned_cells(plan, name), _planned_cells(book, name)
        for cells in dict.fromkeys((*planned, *done)):
            if planned[cells] != done[cells]:
                told.append(f"{name}, {' '.join(value for _, value in cells)}: {planned[cells]} planned, {done[cells]} taken")
    struck = sum(r.struck for r in book.readings)
    return told + ([f"{struck} readings were struck"] if struck else [])


def _planned_cells(book: FieldBook, name: str) -> Counter[tuple[tuple[str, str], ...]]:
    """How often each row stands in a table, but for what is read on the day; struck rows left out."""
    if name not in book.tables:
        return Counter()
    table, free = book.tables[name], {*schema.REPEATS_DIFFER_IN, "upper", "lower", "status", *READ[name]}
    struck = {r.row for r in book.readings if r.struck} if name == "readings.csv" else set()
    taken = {r.row for r in book.readings if book.is_plan or not r.planned}
    return Counter(tuple((column, cell) for column, cell in zip(table.columns, row) if column not in free and cell)
                   for row, line in zip(table.rows, table.lines) if line not in struck and (name != "readings.csv" or line in taken))


def _early(book: FieldBook) -> list[str]:
    start = sealed_time(book.sealed_plan).timestamp()
    rows = [str(r.row) for r in book.readings if r.time is not None and r.time < start]
    return [f"readings.csv row {', '.join(rows)} was read before the plan was sealed"] if rows else []


def commit(offset: str, salt: str) -> str:
    """The commitment to a blind offset: SHA-256 of salt and offset, both to be revealed after the reduction.

    >>> commit("37.2 mm", "pepper")[:8]
    '533635cd'
    """
    return Blind.commit(offset, salt)


def draw_blind(limit: float) -> tuple[str, str, str]:
    """A secret offset for a target, drawn evenly within ± limit [m]: offset, salt, commitment.

    The helper on the far shore mounts the target so much higher than the height that is written down, keeps offset
    and salt, and gives away the commitment.
    """
    if not 0 < limit < 10:
        raise ValueError(f"limit {limit!r} m can't be: give the largest offset in metres, as 0.05")
    steps = round(limit * 1e4)
    offset, salt = f"{(secrets.randbelow(2 * steps + 1) - steps) / 10:.1f} mm", secrets.token_hex(8)
    return offset, salt, commit(offset, salt)
