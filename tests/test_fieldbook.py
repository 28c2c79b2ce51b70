"""Reading and writing field books, and every fault named with its place and remedy."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import curvelab
from curvelab import fieldbook, parsing, schema
from tests.books import DATA, HEIGHTS, NAMES, READINGS, SITE, book, write


def faults(folder, **files):
    """The faults that reading and reducing a book gives."""
    with pytest.raises(curvelab.FieldBookError) as caught:
        curvelab.adjust(book(folder, **files))
    return caught.value.faults


@pytest.mark.parametrize("name", NAMES)
def test_round_trip_of_the_demo_books(name, tmp_path):
    first = curvelab.read_fieldbook(DATA / name)
    again = curvelab.read_fieldbook(curvelab.write_fieldbook(first, tmp_path / "copy"))
    assert again == first
    with pytest.raises(FileExistsError, match="already holds"):
        curvelab.write_fieldbook(first, tmp_path / "copy")


def test_units_in_cells_and_in_headers_say_the_same(tmp_path):
    metric = book(tmp_path / "a", readings="setup,point,distance [m],reading [m]\nS1,near water,30.48,1.524\nS1,target,2000,0.25\n")
    mixed = book(tmp_path / "b", readings="setup,point,distance,reading\nS1,near water,100 ft,5 ft\nS1,target,2 km,250 mm\n")
    assert [(r.distance, r.reading) for r in metric.readings] == [(r.distance, r.reading) for r in mixed.readings]


def test_a_blank_reading_is_a_planned_one(tmp_path):
    plan = book(tmp_path, readings="setup,point,distance [m],reading [m]\nS1,near water,10,\nS1,target,2000,\n")
    assert plan.is_plan and all(math.isnan(r.reading) for r in plan.readings)


def test_byte_order_mark_blank_rows_and_quoted_cells_are_read(tmp_path):
    text = "\ufeff" + READINGS.replace("S1,near water", '\n,,,\n"S1","near water"')
    rows = book(tmp_path, readings=text).readings
    assert [r.row for r in rows] == [4, 5]


def test_a_spreadsheets_blank_columns_are_no_columns(tmp_path):
    text = "".join(f"{line},,\n" for line in READINGS.splitlines())
    assert book(tmp_path, readings=text).readings == book(tmp_path / "plain").readings


def test_a_thousand_faults_are_counted_not_printed(tmp_path):
    """Faults that are alike stand in one line, different ones in twelve at most; all of them are in `faults`."""
    rows = "".join(f"S{i},near water,ten,1.5\n" for i in range(1000))
    with pytest.raises(curvelab.FieldBookError, match=r"row 2, .*and in 999 more rows, down to row 1001") as caught:
        book(tmp_path, readings="setup,point,distance [m],reading [m]\n" + rows)
    assert len(caught.value.faults) == 1000 and len(str(caught.value)) < 400
    rows = "".join(f"S{i},near water,{i} ft 13 in,1.5\n" for i in range(1000))
    with pytest.raises(curvelab.FieldBookError, match="and 988 more") as caught:
        book(tmp_path, readings="setup,point,distance,reading [m]\n" + rows)
    assert len(caught.value.faults) == 1000 and len(str(caught.value)) < 3000


def test_a_file_in_place_of_its_folder(tmp_path):
    write(tmp_path)
    with pytest.raises(curvelab.FieldBookError, match="give the folder that it lies in"):
        curvelab.read_fieldbook(tmp_path / "readings.csv")


def test_changes_replace_keys_and_none_removes_them(tmp_path):
    first = book(tmp_path)
    changed = fieldbook.with_changes(first, {"instrument.A.collimation": None, "instrument.A.tolerance": "1 mm per 50 m"})
    assert changed.instruments["A"].collimation is None
    assert changed.instruments["A"].tolerance.value == pytest.approx(2e-5)
    assert first.instruments["A"].tolerance is None
    with pytest.raises(curvelab.FieldBookError, match="nearest known one is 'lake'"):
        fieldbook.with_changes(first, {"air.Lake.k": "9 ± 0.1"})
    with pytest.raises(ValueError, match="dictionary"):
        fieldbook.with_changes(first, {5: 1})
    with pytest.raises(curvelab.FieldBookError, match="tolerance"):
        fieldbook.with_changes(first, {"instrument.A.tolerence": "1 mm per 50 m"})


def test_the_same_level_after_adjustment_shares_all_but_its_collimation(tmp_path):
    site = SITE.replace("[air.lake]", 'magnification = 30\n[instrument.A2]\nsame_as = "A"\ncollimation = "4 ± 2 µrad"\n[air.lake]')
    text = "setup,point,distance [m],reading [m],instrument\nS1,near water,10,1.5,A2\nS1,target,2000,0.3,A2\n"
    level = book(tmp_path, site=site, readings=text).instruments["A2"]
    assert level.root == "A"
    assert level.collimation.value == pytest.approx(4e-6)
    assert level.pointing.value == pytest.approx(math.radians(60 / 3600) / 30)


BAD = {
    "misspelt key": (dict(site=SITE.replace("latitude", "lattitude")), "site.toml", "line.lattitude", "nearest known one is 'latitude'"),
    "unknown section": (dict(site=SITE + "[instrumet.B]\nx = 1\n"), "site.toml", "instrumet", "nearest known one is 'instrument'"),
    "no unit": (dict(readings=READINGS.replace("reading [m]", "reading")), "readings.csv", "reading", "unit"),
    "wrong unit": (dict(readings=READINGS.replace("reading [m]", "reading [hPa]")), "readings.csv", "reading [hPa]", "length"),
    "unit twice": (dict(readings=READINGS.replace("1.5000", "1.5000 m")), "readings.csv", "reading", "unit"),
    "unknown column": (dict(readings=READINGS.replace("point", "pnt")), "readings.csv", "pnt", "nearest known one is 'point'"),
    "missing column": (dict(readings=READINGS.replace("point", "pnt")), "readings.csv", "point", "missing"),
    "not a number": (dict(readings=READINGS.replace("1.5000", "nan")), "readings.csv", "reading", ""),
    "empty cell": (dict(readings=READINGS.replace("near water", "")), "readings.csv", "point", "empty"),
    "ragged row": (dict(readings=READINGS.replace("10,1.5000", "10,1,5000")), "readings.csv", "", "5 cells under 4 headers"),
    "negative distance": (dict(readings=READINGS.replace(",10,", ",-10,")), "readings.csv", "distance", "negative"),
    "zero line": (dict(site=SITE.replace("2000 m ± 2 m", "0 m ± 1 m")), "site.toml", "line.distance", "above zero"),
    "no ± on the distance": (dict(site=SITE.replace("2000 m ± 2 m", "2000 m")), "site.toml", "line.distance", "uncertainty is missing"),
    "latitude out of range": (dict(site=SITE.replace("latitude = 50", "latitude = 95")), "site.toml", "line.latitude", "-90 and 90"),
    "single reading": (dict(readings=READINGS + "S2,target,1990,0.3\n"), "readings.csv", "setup", "axis:S2"),
    "k and gradient": (dict(site=SITE.replace('k = "0.13 ± 0.1"', 'k = "0.13 ± 0.1"\ngradient = "0 ± 0.1 K/m"\ntemperature = "9 °C"\npressure = "960 hPa"')),
                       "site.toml", "air.lake", "not both"),
    "gradient without weather": (dict(site=SITE.replace('k = "0.13 ± 0.1"', 'gradient = "0 ± 0.1 K/m"')), "site.toml", "air.lake", "temperature and pressure"),
    "nothing on collimation": (dict(site=SITE.replace('collimation = "0 ± 5 µrad"', "")), "site.toml", "instrument.A", "peg readings"),
    "no instrument": (dict(site=SITE.replace('[instrument.A]\ncollimation = "0 ± 5 µrad"', "")), "site.toml", "instrument", "undetermined"),
    "nothing on the air": (dict(site=SITE.replace('[air.lake]\nk = "0.13 ± 0.1"', "")), "readings.csv", "air", "undetermined"),
    "an empty air": (dict(site=SITE.replace('k = "0.13 ± 0.1"', "")), "site.toml", "air.lake", "undetermined"),
    "contradictory distance": (dict(readings=READINGS + "S1,target,1900,0.3\n"), "readings.csv", "distance", "row 3"),
    "longer than the line": (dict(readings=READINGS.replace(",2000,", ",2100,")), "readings.csv", "distance", "longest sight"),
    "identical rows": (dict(readings="setup,point,distance [m],reading [m],time\n" + "S1,near water,10,1.5,2031-05-03T09:10:00+02:00\n" * 2
                            + "S1,target,2000,0.3,\n"), "readings.csv", "", "identical to row 2"),
    "time without offset": (dict(readings="setup,point,distance [m],reading [m],time\nS1,near water,10,1.5,2031-05-03T09:10\nS1,target,2000,0.3,\n"),
                            "readings.csv", "time", "offset"),
    "touch without time": (dict(gauge="time,water_level [m]\n2031-05-03T09:00:00+02:00,0.2\n2031-05-03T12:00:00+02:00,0.2\n"), "readings.csv", "time", "gauge"),
    "struck without remark": (dict(readings="setup,point,distance [m],reading [m],status\nS1,near water,10,1.5,\nS1,target,2000,0.3,\nS1,target,2000,9.3,struck\n"),
                              "readings.csv", "remark", "why"),
    "unknown surface": (dict(site=SITE.replace('"far water"', '"far watr"')), "site.toml", "water.surfaces", "nearest known one is 'far water'"),
    "height to itself": (dict(heights=HEIGHTS + "target,target,1\n"), "heights.csv", "to", "two different points"),
    "axis of no set-up": (dict(heights=HEIGHTS + "far water,axis:S9,1\n"), "heights.csv", "to", "no such set-up"),
    "alpha out of range": (dict(site=SITE + "[rule]\nalpha_flat = 1.5\n"), "site.toml", "rule.alpha_flat", "probability"),
    "text without quotes": (dict(site=SITE.replace('"2000 m ± 2 m"', "2000")), "site.toml", "line.distance", "unit"),
    "broken toml": (dict(site=SITE + "[[\n"), "site.toml", "", "not valid TOML"),
    "empty table": (dict(readings=""), "readings.csv", "", "empty"),
    "untied target": (dict(heights=None, site=SITE.replace(', "far water"', "")), "readings.csv", "", "height of target above the water"),
    "magnification as text": (dict(site=SITE.replace("[air.lake]", 'magnification = "24x"\n[air.lake]')), "site.toml", "instrument.A.magnification", "bare number"),
    "no magnification": (dict(site=SITE.replace("[air.lake]", "magnification = 0\n[air.lake]")), "site.toml", "instrument.A.magnification", "above zero"),
    "same as a list": (dict(site=SITE.replace("[air.lake]", "[instrument.B]\nsame_as = [1]\n[air.lake]")), "site.toml", "instrument.B.same_as", "text in quotes"),
    "private as text": (dict(site='private = "false"\n' + SITE), "site.toml", "private", "without quotes"),
    "another format": (dict(site=SITE.replace("format = 1", "format = 2")), "site.toml", "format", "format = 1"),
    "negative u": (dict(heights="from,to,height [m],u [mm]\nfar water,target,1.5,-1\n"), "heights.csv", "u", "negative"),
    "millimetres as metres": (dict(readings=READINGS.replace("1.5000", "1500")), "readings.csv", "reading", "is the unit right?"),
    "a line longer than its sights": (dict(site=SITE.replace("2000 m ± 2 m", "5000 m ± 2 m")), "site.toml", "line.distance", "longest"),
    "shores swapped": (dict(points="point,kind,shore\nnear water,water,far\nfar water,water,near\n"), "points.csv", "shore", "can't be there"),
    "water beyond the shores": (dict(points="point,kind,position [m]\nfar water,water,9000\n"), "points.csv", "position", "can't be there"),
    "a point twice": (dict(points="point,kind\ntarget,target\ntarget,mark\n"), "points.csv", "point", "twice"),
    "three surfaces": (dict(site=SITE.replace('"far water"]', '"far water", "target"]')), "site.toml", "water.surfaces", "shore near or far"),
    "visits that nothing ties": (dict(readings="setup,point,distance [m],reading [m],visit\nS1,near water,10,1.5,mon\nS1,target,2000,0.3,mon\n",
                                      heights="from,to,height [m],visit\nfar water,target,1.5,tue\n"), "readings.csv", "", "nothing ties the water level"),
    "a reading on an axis": (dict(readings=READINGS + "S1,axis:S2,20,1.5\n"), "readings.csv", "point", "heights.csv"),
    "a mistyped point": (dict(readings=READINGS + "S1,targt,1990,0.3\n"), "readings.csv", "point", "nearest known one is 'target'"),
    "same as nobody": (dict(site=SITE.replace("[air.lake]", '[instrument.B]\nsame_as = "Q"\n[air.lake]')), "site.toml", "instrument.B.same_as", "no such instrument"),
}


@pytest.mark.parametrize("case", BAD)
def test_each_fault_says_where_what_and_what_to_do(case, tmp_path):
    files, file, column, remedy = BAD[case]
    found = faults(tmp_path, **files)
    assert any(f.file == file and f.column == column and remedy in f.remedy for f in found), [str(f) for f in found]


def test_pointings_within_one_minute_are_repeats_and_can_be_planned(tmp_path):
    rows = "".join(f"S1,target,2000,{v},2031-05-03T09:10:00+02:00\n" for v in (0.271, 0.272, 0.273))
    first = book(tmp_path, readings="setup,point,distance [m],reading [m],time\nS1,near water,10,1.5,\n" + rows)
    assert curvelab.plan(first).separation == pytest.approx(curvelab.adjust(first).ellipsoid_curvature / curvelab.adjust(first).planned_u)


def test_a_limit_may_be_written_with_its_sign(tmp_path):
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "± 2 mm per 30 m"')
    assert book(tmp_path, site=site).instruments["A"].tolerance.value == pytest.approx(2e-3 / 30)


def test_one_slip_is_one_fault(tmp_path):
    """A header whose unit can't be, and a file that is gone, each said once and where it lies."""
    (unit,) = faults(tmp_path / "a", readings=READINGS.replace("reading [m]", "reading [kg]"))
    assert "'kg' is no unit known here" in unit.remedy
    told = [fault.remedy for fault in faults(tmp_path / "b", heights=None)]
    assert told == ["no reading or height names this point; heights.csv is missing or empty; the nearest known one is 'near water'"]


def test_all_faults_come_at_once(tmp_path):
    found = faults(tmp_path, site=SITE.replace("latitude", "lattitude"), readings=READINGS.replace("1.5000", "x").replace(",2000,", ",2000 m,"))
    assert {f.file for f in found} == {"site.toml", "readings.csv"}
    assert {f.row for f in found if f.file == "readings.csv"} == {2, 3}
    assert "faults" in str(curvelab.FieldBookError(list(found)))


def test_missing_files_and_folders(tmp_path):
    with pytest.raises(curvelab.FieldBookError, match="no such folder"):
        curvelab.read_fieldbook(tmp_path / "nowhere")
    with pytest.raises(curvelab.FieldBookError, match="readings.csv: the file is missing"):
        (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
        curvelab.read_fieldbook(tmp_path)
    write(tmp_path)
    (tmp_path / "hights.csv").write_text(HEIGHTS, encoding="utf-8")
    with pytest.raises(curvelab.FieldBookError, match="nearest known one is 'heights.csv'"):
        curvelab.read_fieldbook(tmp_path)
    (tmp_path / "hights.csv").unlink()
    (tmp_path / "readings.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(curvelab.FieldBookError, match="not UTF-8"):
        curvelab.read_fieldbook(tmp_path)


COORDINATES = SITE.replace("latitude = 50\nazimuth = 60", "from = [50.0, 9.0]\nto = [50.00899, 9.02418]")


def test_coordinates_give_the_latitude_and_azimuth(tmp_path):
    line = book(tmp_path, site=COORDINATES).line
    assert line.latitude == pytest.approx(50.0045, abs=1e-3)
    assert line.azimuth == pytest.approx(60, abs=0.1)


@pytest.mark.parametrize("old, new, remedy", [
    ("[50.00899, 9.02418]", "[50.0, 9.0]", "same place"),
    ("[50.00899, 9.02418]", "[50.0189, 9.02418]", "correct one of them"),
    ("[50.0, 9.0]", "[150.0, 9.0]", "swapped"),
    ("from = [50.0, 9.0]\nto = [50.00899, 9.02418]", "from = [9.0, 50.0]\nto = [9.02418, 50.00899]", "swapped they would agree"),
    ("to = [50.00899, 9.02418]", "", "give either"),
    ("[50.0, 9.0]", "[50.0]", "two numbers"),
])
def test_coordinates_that_cannot_be(tmp_path, old, new, remedy):
    found = faults(tmp_path, site=COORDINATES.replace(old, new))
    assert any(remedy in f.remedy for f in found), [str(f) for f in found]


def test_every_key_and_column_is_explained():
    text = (DATA / "README.md").read_text(encoding="utf-8")
    for section, keys in schema.SECTIONS.items():
        for key in keys:
            assert f"`{key}`" in text, f"{section}.{key} is not in data/README.md"
    for file, columns in schema.TABLES.items():
        for column in columns:
            assert f"`{column}`" in text, f"{file}: {column} is not in data/README.md"


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=80), st.sampled_from(["site", "readings", "heights"]), st.integers(0, 200))
def test_whatever_is_written_is_read_or_refused_in_words(tmp_path_factory, text, file, place):
    files = {"site": SITE, "readings": READINGS, "heights": HEIGHTS}
    whole = files[file]
    files[file] = (whole[:place] + text + whole[place:]).encode("utf-8", "replace").decode("utf-8")
    try:
        curvelab.adjust(book(tmp_path_factory.mktemp("fuzz"), **files))
    except curvelab.FieldBookError as error:
        assert error.faults and all(fault.remedy for fault in error.faults)


def test_defaults_are_readable():
    for section in schema.DEFAULTS:
        found = []
        parsing._values(section, section, {}, found)
        assert found == []
