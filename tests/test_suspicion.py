"""Slips that are legal, a book to start from, and two gauges."""

from __future__ import annotations

import pytest

import curvelab
from curvelab import suspicion
from tests.books import DATA, NAMES, SITE, book

WIRED = "setup,point,distance [m],reading [m],upper [m],lower [m]\nS1,near water,10,1.5000,,\nS1,peg,50,{},{},{}\nS1,target,2000,0.273,,\n"


@pytest.mark.parametrize("middle, upper, lower, words", [
    (1.5, 1.75, 1.25, None),
    (1.75, 1.75, 1.25, "is 250 mm from half-way"),
    (1.5, 1.62, 1.38, "the wires say 24 m, the row says 50 m"),
])
def test_stadia_wires_against_the_middle_one_and_the_distance(middle, upper, lower, words, tmp_path):
    told = suspicion.suspicions(book(tmp_path, readings=WIRED.format(middle, upper, lower)))
    assert told == [] if words is None else any(words in text for text in told)


def test_a_wire_read_for_the_middle_one_among_repeats(tmp_path):
    """At 60 m the wires are 0.60 m apart, half of it is 0.30 m."""
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,peg,60,1.200\nS1,peg,60,1.201\nS1,peg,60,1.500\nS1,target,2000,0.273\n"
    assert any("row 5 differs from row 4" in t and "stadia wire" in t for t in suspicion.suspicions(book(tmp_path, readings=text)))


def test_a_scatter_sold_as_a_tolerance(tmp_path):
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "1.5 mm per 1000 m"')
    verdict = curvelab.decide(curvelab.adjust(book(tmp_path, site=site)))
    assert "double run" in verdict.sentence and "Looks like a slip" in verdict.sentence


def test_decimals_of_a_foot_beside_inches(tmp_path):
    text = 'setup,point,distance [m],reading\nS1,near water,10,4 ft 11 in\nS1,target,2000,0.9 ft\n'
    assert any("decimals of a foot" in t for t in suspicion.suspicions(book(tmp_path, readings=text)))


def test_a_mark_under_the_water_and_a_line_of_another_length(tmp_path):
    """Both are legal: from and to the other way round, and a site.toml of another line."""
    sound = "from,to,height [m]\nfar water,target,1.5\n"
    assert suspicion.suspicions(book(tmp_path / "a", heights=sound)) == []
    for turned in ("target,far water,1.5", "far water,target,-1.5"):
        told = suspicion.suspicions(book(tmp_path / turned[:3], heights=f"from,to,height [m]\n{turned}\n"))
        assert told == ["heights.csv row 2 puts target 1.50 m under the water: are from and to the other way round?"]
    other = suspicion.suspicions(book(tmp_path / "b", heights=sound, site=SITE.replace("2000 m", "2500 m")))
    assert other == ["the longest sight in readings.csv is 2000 m long, the line in site.toml 2500 m"]


@pytest.mark.parametrize("name", NAMES)
def test_the_demo_books_look_well(name):
    assert suspicion.suspicions(curvelab.read_fieldbook(DATA / name)) == []


def test_a_new_book_is_a_plan_and_is_never_overwritten(tmp_path):
    folder = curvelab.new_fieldbook(tmp_path / "lake")
    assert curvelab.read_fieldbook(folder).is_plan and "10 of them still blank" in curvelab.check_fieldbook(folder)
    assert curvelab.plan(curvelab.read_fieldbook(folder)).separation > 1
    with pytest.raises(FileExistsError, match="already holds"):
        curvelab.new_fieldbook(folder)
    (folder / "readings.csv").write_text("setup,point\nS1,x\n", encoding="utf-8")
    assert "the field book has" in curvelab.check_fieldbook(folder)


def test_a_look_at_a_book_finds_what_only_its_reduction_shows(tmp_path):
    folder = curvelab.new_fieldbook(tmp_path / "lake")
    path = folder / "readings.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("lake 1,far target", "lake 1,far tagret", 1), encoding="utf-8")
    assert "'far tagret': no height names this point; the nearest known one is 'far target'" in curvelab.check_fieldbook(folder)


GAUGED = ("setup,point,distance [m],reading [m],time\nS1,near water,10,1.5000,2026-05-03T09:00:00+02:00\nS1,target,2000,{},2026-05-03T10:00:00+02:00\n")
TAPED = "from,to,height [m],time\nfar water,target,{},2026-05-03T11:00:00+02:00\n"


def gauge(**drops):
    rows = [f"2026-05-03T{hour:02d}:00:00+02:00,{1.0 - drop * (hour - 9) / 2},{name}" for name, drop in drops.items() for hour in (9, 11)]
    return "time,water_level [m],gauge\n" + "\n".join(rows).replace("_", " ") + "\n"


def test_each_shore_by_its_own_gauge(tmp_path):
    """The far water falls by 20 mm before the target is measured from it, the near one stands: only the far gauge counts for the tape."""
    still = curvelab.adjust(book(tmp_path / "a", readings=GAUGED.format(0.273), heights=TAPED.format(1.5), gauge=gauge(near_water=0.0, far_water=0.0)))
    fell = curvelab.adjust(book(tmp_path / "b", readings=GAUGED.format(0.273), heights=TAPED.format(1.52), gauge=gauge(near_water=0.0, far_water=0.02)))
    assert fell.curvature.value == pytest.approx(still.curvature.value, rel=1e-4)  # but for 20 mm more of tape scale
    other = curvelab.adjust(book(tmp_path / "c", readings=GAUGED.format(0.273), heights=TAPED.format(1.52), gauge=gauge(near_water=0.02, far_water=0.0)))
    assert other.curvature.value - still.curvature.value == pytest.approx(0.02 / 2e6, rel=0.01)
    with pytest.raises(curvelab.FieldBookError, match="each is named after the water surface"):
        book(tmp_path / "d", readings=GAUGED.format(0.273), heights=TAPED.format(1.5), gauge=gauge(near_water=0.0, north_pier=0.0))
