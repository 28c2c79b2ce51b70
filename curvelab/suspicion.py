"""What is legal in a field book and yet looks like a slip: said beside the verdict, never mended."""

from __future__ import annotations

from collections import defaultdict

from .records import FieldBook, Reading
from .schema import TABLES

STADIA = 100.0  # distance over the interval of the stadia wires, of nearly every level (common practice, no source)
WIRES = 0.003  # m or 2 % of the interval, by which wires may be misread
PRECISE = 8e-6  # rad; a tighter limit than any level but a precise one is sold with (common practice, no source)
WAVES, LENGTHS = 0.3, 0.02  # m under the water where nobody puts a mark; share of the line by which its longest sight may differ (judgements)
OUTLIER = 5.0  # standard uncertainties of one pointing


def suspicions(book: FieldBook) -> list[str]:
    """Values that look like a slip, in words; none where all looks well."""
    told = []
    for name, level in book.instruments.items():
        if level.tolerance and 0 < level.tolerance.value < PRECISE:
            told.append(f"instrument {name}: a tolerance of {level.tolerance.value * 1e6:.1f} µrad is that of a precise level; \"mm per km of double run\" is a scatter "
                        "of heights, not a limit of the line of sight")
    told += [f"air {name} states its {'k' if air.k else 'gradient'}, so its thermometers and air_minus_water are not used"
             for name, air in book.airs.items() if (air.k or air.gradient) and (air.air_minus_water or name in {t.air for t in book.air_readings})]
    told += [text for r in book.readings if not r.struck for text in _wires(r)]
    told += _misread_wires(book)
    told += _mixed_feet(book)
    told += _under_water(book)
    longest = max((r.distance for r in book.readings if not r.struck), default=0.0)
    if abs(longest - book.line.distance.value) > max(LENGTHS * book.line.distance.value, 5 * (book.line.distance.u or 0.0)):
        told.append(f"the longest sight in readings.csv is {longest:.0f} m long, the line in site.toml {book.line.distance.value:.0f} m")
    return told


def _wires(r: Reading) -> list[str]:
    """Stadia wires against the middle wire and the distance."""
    if r.upper is None or r.lower is None or r.planned:
        return []
    interval, told = r.upper - r.lower, []
    slack = max(WIRES, 0.02 * interval)
    if abs(r.reading - (r.upper + r.lower) / 2) > slack:
        told.append(f"readings.csv row {r.row}: the middle wire is {abs(r.reading - (r.upper + r.lower) / 2) * 1000:.0f} mm from half-way between the others; one of the three is misread")
    if abs(STADIA * interval - r.distance) > STADIA * slack + 0.02 * r.distance:
        told.append(f"readings.csv row {r.row}: the wires say {STADIA * interval:.0f} m, the row says {r.distance:.0f} m")
    return told


def _misread_wires(book: FieldBook) -> list[str]:
    """A repeat that is off by just what lies between two wires: half an interval, D/200."""
    groups: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for r in book.readings:
        if not r.struck and not r.planned:
            groups[r.setup, r.point].append(r)
    told = []
    for rows in groups.values():
        middle = sorted(rows, key=lambda r: r.reading)[len(rows) // 2]
        half, level = middle.distance / STADIA / 2, book.instruments.get(middle.instrument)
        own = OUTLIER * (level.pointing.value * middle.distance + level.reading.value) if level else 0.0
        told += [f"readings.csv row {r.row} differs from row {middle.row} by {abs(r.reading - middle.reading):.3f} m, as much as two wires are apart at {r.distance:.0f} m: was a stadia wire read?"
                 for r in rows if own < abs(r.reading - middle.reading) and abs(abs(r.reading - middle.reading) - half) < 0.1 * half]
    return told


def _under_water(book: FieldBook) -> list[str]:
    """Heights that put a mark under the water."""
    told = []
    for h in book.heights:
        low, high = (h.start, h.end) if h.height > 0 else (h.end, h.start)
        if abs(h.height) > WAVES and high in book.water.surfaces and low not in book.water.surfaces:
            told.append(f"heights.csv row {h.row} puts {low} {abs(h.height):.2f} m under the water: are from and to the other way round?")
    return told


def _mixed_feet(book: FieldBook) -> list[str]:
    """Decimals of a foot beside feet and inches in one column: 5.7 ft is 5 ft 8 in, not 5 ft 7 in."""
    told = []
    for name, table in book.tables.items():
        for i, header in enumerate(table.headers):
            column = TABLES[name].get(table.columns[i])
            if column is None or column.dimension != "length":
                continue
            cells = [(row[i], line) for row, line in zip(table.rows, table.lines)]
            inches = [line for cell, line in cells if " in" in cell or '"' in cell or "″" in cell]
            decimals = [line for cell, line in cells if cell.endswith("ft") and "." in cell]
            if inches and decimals:
                told.append(f"{name}, column {header}: row {decimals[0]} is in decimals of a foot, row {inches[0]} in inches; is each as it was read?")
    return told
