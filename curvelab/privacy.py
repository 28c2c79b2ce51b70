"""What of a field book may be published without giving the place away."""

from __future__ import annotations

import datetime

from .fieldbook import compose
from .records import FieldBook, Table

LATITUDE_STEP, AZIMUTH_STEP = 5.0, 30.0  # degrees
DROPPED = ("observer", "photo", "remark")
WITHHELD = "remark withheld"
EPOCH = datetime.datetime(2000, 1, 1, tzinfo=datetime.timezone.utc)


def published_line(book: FieldBook) -> dict[str, object]:
    """The section ``[line]`` without coordinates: latitude to 5°, azimuth to 30°, distance to a metre.

    Notes
    -----
    This changes 1/R along the line by less than 0.2 % anywhere on the
    ellipsoid, less than the geoid may do; a test walks over it.
    """
    line = book.line
    return {"latitude": LATITUDE_STEP * round(line.latitude / LATITUDE_STEP), "azimuth": AZIMUTH_STEP * round(line.azimuth / AZIMUTH_STEP) % 180,
            "distance": f"{line.distance.value:.0f} m ± {max(line.distance.u, 0.5):.1f} m"}


def published(book: FieldBook) -> FieldBook:
    """The same campaign for strangers to re-work: no coordinates, no date, no observers, photos or remarks.

    Times keep their differences, from 2000-01-01 on. A sealed plan bears a date, so it and its seal stay at home. Names of
    points, set-ups, visits and instruments stay: choose them so that they tell nothing. So do pressure and levels, from
    which an altitude may be guessed.
    """
    site = {key: value for key, value in book.site.items() if key != "title"}
    site |= {"title": "a level line over water", "line": published_line(book), "private": True}
    site["plan"] = {key: value for key, value in site.get("plan", {}).items() if key != "sealed"}
    first = min((t for rows in (book.readings, book.heights, book.gauge, book.air_readings) for r in rows if (t := r.time) is not None), default=0.0)
    return compose(site, {name: bare(table, first) for name, table in book.tables.items()})


def bare(table: Table, first: float) -> Table:
    """A table with its times shifted and what could name people or places left out."""
    columns = table.columns
    for name in set(DROPPED) & set(columns):
        struck = [row[columns.index("status")] == "struck" if "status" in columns else False for row in table.rows]
        table = table.filled(name, [WITHHELD if name == "remark" and gone else "" for gone in struck])
    if "time" in columns:
        at = columns.index("time")
        table = table.filled("time", [_shifted(row[at], first) for row in table.rows])
    return table


def _shifted(text: str, first: float) -> str:
    """A time counted from the first one of the book."""
    return (EPOCH + datetime.timedelta(seconds=datetime.datetime.fromisoformat(text).timestamp() - first)).isoformat() if text else ""

