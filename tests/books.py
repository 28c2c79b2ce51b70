"""Small field books for tests, built from text as a person would write them, and what pages are asked."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import numpy as np
from PIL import Image

import curvelab
from curvelab import figures
from curvelab.records import FieldBook

DATA = Path(__file__).resolve().parent.parent / "data"
NAMES = ("builders_level", "builders_level_tested", "feet_and_inches", "two_kilometres")

SITE = """
format = 1
[line]
latitude = 50
azimuth = 60
distance = "2000 m ± 2 m"
[instrument.A]
collimation = "0 ± 5 µrad"
[air.lake]
k = "0.13 ± 0.1"
[water]
surfaces = ["near water", "far water"]
"""
READINGS = """setup,point,distance [m],reading [m]
S1,near water,10,1.5000
S1,target,2000,0.2730
"""
HEIGHTS = """from,to,height [m]
far water,target,1.5000
"""


def write(folder: Path, site: str = SITE, readings: str = READINGS, heights: str | None = HEIGHTS, **tables: str) -> Path:
    """Write the files of a campaign; further tables by name (``gauge="..."``)."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site, encoding="utf-8")
    (folder / "readings.csv").write_text(readings, encoding="utf-8")
    for name, text in ({"heights": heights} | tables).items():
        if text is not None:
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def book(folder: Path, **files: str) -> FieldBook:
    """The same, read back."""
    return curvelab.read_fieldbook(write(folder, **files))


def put(page, **values):
    """Set several controls of a page, and draw once."""
    with page.together():
        for name, value in values.items():
            page.controls[name].value = value
    page.update()


def drawn_whole(page):
    """What a page has drawn again in parts is the whole picture, pixel for pixel, and no part of it is cut off at its edge."""
    out = io.BytesIO()
    with figures.style(page.projector):
        page.figure.savefig(out, format="rgba")
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(page.picture.value))).ravel(), np.frombuffer(out.getvalue(), np.uint8))
    for part in page.figure.subfigs:
        needs, has = part.axes[0].get_tightbbox().extents, part.bbox.extents
        assert (needs[:2] >= has[:2] - 0.5).all() and (needs[2:] <= has[2:] + 0.5).all(), page.values


def edited(folder: Path, name: str, file: str, old: str, new: str, count: int = 1) -> Path:
    """A copy of a demo book with some text replaced, which must be there."""
    shutil.copytree(DATA / name, folder)
    text = (folder / file).read_text(encoding="utf-8")
    assert old in text, f"{old!r} is not in {name}/{file}"
    (folder / file).write_text(text.replace(old, new, count), encoding="utf-8")
    return folder
