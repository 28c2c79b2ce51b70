"""Make the four invented field books of this folder, or count their verdicts over many seeds.

    python data/make_fieldbooks.py FOLDER          write the books into FOLDER
    python data/make_fieldbooks.py --seeds 1000    count the verdicts of that many campaigns

Lake Ondrel does not exist. Each campaign is drawn by `curvelab.simulate` from a
seed and the true values below; every error that is not listed there is drawn
from the distribution that the book itself states.
"""

from __future__ import annotations

import argparse
import collections
import dataclasses
import datetime
from dataclasses import dataclass
from pathlib import Path

import curvelab
from curvelab.fieldbook import compose
from curvelab.records import FieldBook, Table
from curvelab.refraction import ray_curvature

LATITUDE, AZIMUTH = 50.0, 60.0
CURVATURE = 1 / float(curvelab.ellipsoid.azimuth_radius(LATITUDE, AZIMUTH))
ZONE = datetime.timezone(datetime.timedelta(hours=2))
RULE = {"alpha_flat": 0.01, "alpha_ellipsoid": 0.01, "power": 0.90, "geoid": "0.3 %"}


@dataclass(frozen=True)
class Campaign:
    """A plan, the truth behind it, its seed, and the verdict that it is planned for."""

    folder: str
    plan: FieldBook
    truth: dict[str, float]
    seed: int
    planned: str
    cell_unit: str = "m"

    def book(self, seed: int | None = None) -> FieldBook:
        """The campaign as one seed draws it."""
        return curvelab.simulate(self.plan, curvature=CURVATURE, seed=self.seed if seed is None else seed, truth=self.truth,
                                 cell_unit=self.cell_unit)


def table(header: str, rows: list[tuple]) -> Table:
    """A table from its header line and its rows."""
    return Table(tuple(h.strip() for h in header.split(",")), tuple(tuple(str(c) for c in row) for row in rows), tuple(range(2, len(rows) + 2)))


def clock(day: int, hour: float) -> str:
    """An invented moment, as a field book writes it."""
    return (datetime.datetime(2031, 5, day, tzinfo=ZONE) + datetime.timedelta(minutes=round(hour * 60))).isoformat()


def peg_sets(sets: int, near: float, middle: float) -> list[tuple]:
    """Rows of a two-peg test: each set once midway and once close to peg A."""
    rows = []
    for i in range(1, sets + 1):
        rows += [(f"P{i} midway", "peg A", middle, ""), (f"P{i} midway", "peg B", middle, ""),
                 (f"P{i} at A", "peg A", near, ""), (f"P{i} at A", "peg B", 2 * middle + near, "")]
    return rows


def two_kilometres() -> Campaign:
    """A 2 km line with a two-peg test, a gauge, and a control from the middle."""
    site = {
        "format": 1, "title": "Lake Ondrel, two kilometres (invented)", "invented": True, "private": True,
        "line": {"latitude": LATITUDE, "azimuth": AZIMUTH, "distance": "2000 m ± 2 m"},
        "instrument": {"A": {"tolerance": "1.5 mm per 30 m", "magnification": 28, "reading": "0.5 mm", "setting_accuracy": "0.8 arcsec",
                             "focus_runout": "6 µrad"}},
        "air": {"lake": {"temperature": "12.4 °C", "pressure": "962 hPa", "gradient": "-0.018 ± 0.030 K/m"},
                "meadow": {"k": "0.1 ± 1"}},
        "water": {"surfaces": ["near water", "far water"], "touch": "3 mm", "touch_common": "1 mm", "between_shores": "0 ± 2 mm"},
        "scale": {"board": {"error": "0 ± 2 mm/m"}},
        "rule": RULE,
    }
    rows = [(*row, "", "meadow", "", clock(14, 7 + i / 30)) for i, row in enumerate(peg_sets(4, 5.0, 25.0))]
    hour = 10.0
    for setup in ("S1", "S2"):
        for point, distance, scale, pointings in (("near water", 9.0, "", 1), ("near mark", 14.0, "", 1), ("far mark", 2000.0, "board", 5)):
            for _ in range(pointings):
                rows.append((setup, point, distance, "", scale, "lake", "", clock(14, hour)))
                hour += 1 / 20
    for point in ("near mark", "far mark"):
        for _ in range(5):
            rows.append(("middle", point, 1000.0, "", "board", "lake", "", clock(14, hour)))
            hour += 1 / 20
    tables = {
        "readings.csv": table("setup, point, distance [m], reading [m], scale, air, remark, time", rows),
        "heights.csv": table("from, to, height [m], u [mm], time", [("near water", "near mark", 0.612, 1, clock(14, 9.5)),
                                                                    ("far water", "far mark", 0.487, 1, clock(14, 9.7))]),
        "gauge.csv": table("time, water_level [m], u [mm]", [(clock(14, 9.0), 0.412, 0.5), (clock(14, 11.0), 0.4085, 0.5), (clock(14, 13.0), 0.405, 0.5)]),
    }
    truth = {"collimation.A": 22e-6, "refraction.lake": float(ray_curvature(0.19)), "axis.middle": 1.91}
    return Campaign("two_kilometres", compose(site, tables), truth, 11, "flat rejected")


def _builders_rows() -> list[tuple]:
    rows = []
    for setup in ("S1", "S2", "S3"):
        rows += [(setup, "near water", 6.0, ""), (setup, "near mark", 9.0, "")] + [(setup, "far mark", 800.0, "")] * 5
    return rows


def builders_level_tested() -> Campaign:
    """An 0.8 km line, and a peg test of twelve sets made after the surprise."""
    site = {
        "format": 1, "title": "Lake Ondrel, the short line, level tested (invented)", "invented": True, "private": True,
        "line": {"latitude": LATITUDE, "azimuth": AZIMUTH, "distance": "800 m ± 1 m"},
        "instrument": {"builder": {"tolerance": "2 mm per 30 m", "magnification": 24, "reading": "0.5 mm", "setting_accuracy": "1 arcsec"}},
        "air": {"lake": {"temperature": "9.5 °C", "pressure": "958 hPa", "gradient": "-0.010 ± 0.015 K/m"},
                "meadow": {"k": "0.1 ± 1"}},
        "water": {"surfaces": ["near water", "far water"], "touch": "2 mm", "touch_common": "1 mm"},
        "rule": RULE,
    }
    rows = [(*row, "lake") for row in _builders_rows()] + [(*row, "meadow") for row in peg_sets(12, 5.0, 30.0)]
    tables = {
        "readings.csv": table("setup, point, distance [m], reading [m], air", rows),
        "heights.csv": table("from, to, height [m], u [mm]", [("near water", "near mark", 0.552, 1), ("far water", "far mark", 1.204, 1)]),
    }
    truth = {"collimation.builder": 55e-6, "refraction.lake": float(ray_curvature(0.14))}
    return Campaign("builders_level_tested", compose(site, tables), truth, 23, "flat rejected")


def untested(book: FieldBook) -> FieldBook:
    """The same campaign before anyone thought of a peg test."""
    readings = book.tables["readings.csv"]
    kept = [cells[:-1] for cells in readings.rows if cells[-1] == "lake"]
    site = {**book.site, "title": "Lake Ondrel, the short line, level untested (invented)",
            "air": {"lake": book.site["air"]["lake"]}}
    return compose(site, book.tables | {"readings.csv": Table(readings.headers[:-1], tuple(kept), tuple(range(2, len(kept) + 2)))})


def builders_level() -> Campaign:
    """The same 0.8 km line as it was first written down: a builder's level, untested."""
    tested = builders_level_tested()
    return dataclasses.replace(tested, folder="builders_level", plan=untested(tested.plan), planned="too uncertain to decide")


def feet_and_inches() -> Campaign:
    """A line of a mile and a quarter in feet, inches and sixteenths."""
    site = {
        "format": 1, "title": "Lake Ondrel, a mile and a quarter (invented)", "invented": True, "private": True,
        "line": {"latitude": LATITUDE, "azimuth": AZIMUTH, "distance": "1.25 mi ± 6 ft"},
        "instrument": {"B": {"tolerance": "1/16 in at 100 ft", "magnification": 26, "reading": "1/16 in", "setting_accuracy": "0.8 arcsec"}},
        "air": {"lake": {"temperature": "53.6 °F", "pressure": "28.42 inHg", "gradient": "-0.010 ± 0.016 °F/ft"},
                "lawn": {"k": "0.1 ± 1"}},
        "water": {"surfaces": ["near water", "far water"], "touch": "1/8 in", "touch_common": "1/32 in", "between_shores": "0 ± 1/16 in"},
        "rule": RULE,
    }
    rows = []
    for row in peg_sets(6, 5.0, 30.0):
        rows.append((row[0], row[1], f"{row[2] / 0.3048:.0f} ft", "", "lawn"))
    for setup in ("S1", "S2"):
        rows += [(setup, "near water", "25 ft", "", "lake"), (setup, "near mark", "40 ft", "", "lake")] + [(setup, "far mark", "1.25 mi", "", "lake")] * 5
    tables = {
        "readings.csv": table("setup, point, distance, reading, air", rows),
        "heights.csv": table("from, to, height, u", [("near water", "near mark", "1 ft 11 3/8 in", "1/16 in"), ("far water", "far mark", "1 ft 6 1/2 in", "1/16 in")]),
    }
    truth = {"collimation.B": -18e-6, "refraction.lake": float(ray_curvature(0.10))}
    return Campaign("feet_and_inches", compose(site, tables), truth, 37, "flat rejected", "ft in")


CAMPAIGNS = (two_kilometres, builders_level, builders_level_tested, feet_and_inches)


def drawn(campaign: Campaign, seed: int | None = None) -> FieldBook:
    """A campaign's book; the untested one is the tested one without its peg test."""
    if campaign.folder == "builders_level":
        return untested(builders_level_tested().book(seed))
    return campaign.book(seed)


def main() -> None:
    """Write the books, or count verdicts."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--seeds", type=int, default=0)
    options = parser.parse_args()
    for make in CAMPAIGNS:
        campaign = make()
        plan = curvelab.plan(campaign.plan)
        print(f"{campaign.folder}: planned separation {plan.separation:.2f} (gate {plan.gate:.2f}), power {plan.power:.2f}")
        if options.folder:
            curvelab.write_fieldbook(drawn(campaign), Path(options.folder) / campaign.folder)
        if options.seeds:
            count = collections.Counter(curvelab.decide(curvelab.adjust(drawn(campaign, seed))).outcome for seed in range(options.seeds))
            print("   ", dict(count), "planned:", campaign.planned)


if __name__ == "__main__":
    main()
