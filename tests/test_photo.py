"""The offset read from a photograph: geometry, uncertainty, the demo picture, the row in a field book, and the page."""

from __future__ import annotations

import html
import importlib.util
import io
import itertools
import math
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import image
from PIL import Image

import curvelab
from curvelab import figures, gum, montecarlo, photo, photo_page
from curvelab.uncertainty import RECTANGULAR
from tests.books import DATA, READINGS, SITE, book, drawn_whole, put

spec = importlib.util.spec_from_file_location("make_photograph", DATA / "make_photograph.py")
make = sys.modules.setdefault("make_photograph", importlib.util.module_from_spec(spec))
spec.loader.exec_module(make)
PICTURE = DATA / "photograph.png"
PLAIN = photo.Lines(crosshair=200, mark=350, upper=100, lower=400, spacing=0.6)
SIGHT = {"setup": "S1", "point": "far mark", "scale": "board"}


def true_lines(**changes):
    """Lines placed to half a pixel on what the script drew."""
    rows = {name: round(2 * make.row(name, column)) / 2 for name, column in make.COLUMNS.items()}
    return photo.Lines(**rows, spacing=make.SPACING, columns=tuple(make.COLUMNS.values()), tilt=make.TILT, **changes)


# The demo picture


def test_the_script_makes_the_committed_picture_pixel_for_pixel():
    committed = np.round(255 * image.imread(PICTURE)[..., :3]).astype(np.uint8)
    assert np.array_equal(committed, make.picture())
    assert PICTURE.stat().st_size <= 60_000
    assert (committed[make.written()] == 255).all() and make.WORD == "INVENTED"


def centre(signal):
    """Middle of the one band that stands out of its surroundings."""
    top = int(np.argmax(signal))
    near = np.arange(max(0, top - 9), top + 10)
    weights = np.clip(signal[near] - np.median(signal[near]), 0, None)
    weights[weights < weights.max() / 4] = 0
    return float(np.sum(near * weights) / weights.sum())


def found_in_the_picture():
    """The four rows and the tilt, from the pixels alone: the red mark, the black ones, the long dark line."""
    pixels = photo_page.read_picture(PICTURE).astype(float)
    c, m, a, _ = (int(make.COLUMNS[name]) for name in photo.NAMES)
    dark, red = 255 - pixels.max(axis=2), pixels[..., 0] - pixels[..., 1]
    bank = (60, 200, 440, 580)
    rows = [centre(dark[120:320, x - 3:x + 4].mean(axis=1)) + 120 for x in bank]
    tilt = math.atan(np.polyfit(bank, rows, 1)[0])
    return {"crosshair": centre(dark[120:320, c - 3:c + 4].mean(axis=1)) + 120, "mark": centre(red[:, m - 3:m + 4].mean(axis=1)),
            "upper": centre(dark[:150, a - 3:a + 4].mean(axis=1)), "lower": centre(dark[340:420, a - 3:a + 4].mean(axis=1)) + 340}, tilt


def test_the_true_offset_of_the_picture_is_recovered_within_its_uncertainty():
    rows, tilt = found_in_the_picture()
    assert tilt == pytest.approx(make.TILT, abs=0.002)
    for name, row in rows.items():
        assert row == pytest.approx(make.row(name, make.COLUMNS[name]), abs=0.5), name
    found = photo.offset(photo.Lines(**rows, spacing=make.SPACING, columns=tuple(make.COLUMNS.values()), tilt=tilt))
    assert abs(found.value - make.OFFSET) < found.u < 0.005


def test_a_tilt_left_out_costs_what_the_columns_say():
    level, tilted = (photo.offset(replace(true_lines(), tilt=tilt)).value for tilt in (0.0, make.TILT))
    apart = (make.COLUMNS["mark"] - make.COLUMNS["crosshair"]) * math.tan(make.TILT) * make.PIXEL
    assert abs(tilted - make.OFFSET) < make.PIXEL / 2 < abs(level - make.OFFSET)
    assert level - tilted == pytest.approx(apart, rel=0.01)


# Geometry and uncertainty

finite = st.floats(-2000, 2000)
lines_of_any_picture = st.builds(
    lambda rows, down, columns, tilt, lean: photo.Lines(rows[0], rows[1], rows[2], rows[2] + down, 0.6, columns, tilt=tilt, crosshair_tilt=lean and tilt + lean),
    st.tuples(finite, finite, finite), st.floats(200, 3000) | st.floats(-3000, -200), st.tuples(*[st.floats(0, 100)] * 4),
    st.floats(-0.5, 0.5), st.none() | st.floats(0.001, 0.1))


def moved(lines, point, turn=0.0, **changes):
    """The same lines on a picture whose points (column, row) go elsewhere and which is turned by so much."""
    columns, rows = zip(*(point(x, y) for x, y in zip(lines.columns, lines.rows)))
    lean = lines.crosshair_tilt
    return replace(lines, **dict(zip(photo.NAMES, rows)), columns=columns, tilt=lines.tilt + turn, crosshair_tilt=None if lean is None else lean + turn, **changes)


def same(one, other):
    return (one.value, one.u) == pytest.approx((other.value, other.u), rel=1e-9, abs=1e-12)


@given(lines_of_any_picture, st.floats(0.2, 20))
def test_a_larger_picture_gives_the_same_offset(lines, factor):
    larger = moved(lines, lambda x, y: (factor * x, factor * y), u=factor * lines.u)
    assert same(photo.offset(larger), photo.offset(lines))


@given(lines_of_any_picture, finite, finite)
def test_where_the_board_lies_in_the_picture_is_all_the_same(lines, right, down):
    assert same(photo.offset(moved(lines, lambda x, y: (x + right, y + down))), photo.offset(lines))


@given(lines_of_any_picture)
def test_a_picture_on_its_head_gives_the_same_offset(lines):
    """An inverting telescope; the scale marks change places in the picture, not on the board."""
    headlong = moved(lines, lambda x, y: (640 - x, 480 - y))
    assert (headlong.lower < headlong.upper) != (lines.lower < lines.upper)
    assert same(photo.offset(headlong), photo.offset(lines))


@given(lines_of_any_picture)
def test_scale_marks_taken_for_one_another_turn_the_sign(lines):
    c, m, a, b = lines.columns
    swapped = photo.offset(replace(lines, upper=lines.lower, lower=lines.upper, columns=(c, m, b, a)))
    assert same(replace(swapped, value=-swapped.value), photo.offset(lines))


@given(lines_of_any_picture, st.floats(-0.15, 0.15))
def test_a_picture_turned_by_any_angle_gives_the_same_offset(lines, turn):
    turned = moved(lines, lambda x, y: (x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)), turn)
    assert photo.offset(turned).value == pytest.approx(photo.offset(lines).value, rel=1e-9, abs=1e-9)


def test_the_signs_and_a_board_out_of_plumb_by_hand():
    assert photo.offset(PLAIN).value == pytest.approx(0.3)  # the crosshair is above the mark
    assert photo.offset(replace(PLAIN, mark=150)).value == pytest.approx(-0.1)
    assert photo.offset(replace(PLAIN, error=0.01)).value == pytest.approx(0.3 / 1.01)  # stated too long
    assert photo.offset(replace(PLAIN, columns=(0, 60, 0, 0), tilt=0.05)).value == pytest.approx(0.3 - 0.002 * 60 * math.tan(0.05))
    assert photo.offset(replace(PLAIN, tilt=0.05, crosshair_tilt=0.0)).value == pytest.approx(0.3 / math.cos(0.05))  # 0.6 m span more than 0.6 m of a plumb line


AWRY = photo.Lines(520.0, 1180.0, 230.0, 1650.0, 0.5, (900.0, 1130.0, 700.0, 860.0), 0.003, 0.004, 0.06, 0.04, 0.008, (1.5, 2.0, 1.0, 3.0))


def modelled(lines):
    """The offset as a model of its inputs, by vectors along the crosshair's normal and the marks'; and those inputs."""
    rows = dict(zip(photo.NAMES, lines.rows))
    places = dict(zip(photo.NAMES, lines.columns))
    inputs = {name: gum.Input(row, u) for (name, row), u in zip(rows.items(), lines.placing)}
    if lines.width is not None:
        inputs["crosshair"] = gum.within(lines.crosshair, lines.width / 2)
    inputs |= {"tilt": gum.Input(lines.tilt, lines.u_tilt), "error": gum.Input(lines.error, lines.u_error)}
    if lines.crosshair_tilt is not None:
        inputs["lean"] = gum.Input(lines.crosshair_tilt, lines.u_tilt)

    def model(crosshair, mark, upper, lower, tilt, error, lean=None):
        def apart(a, at, b, to, angle):
            across = places[to] - places[at] + 0 * angle
            return across * np.cos(angle + np.pi / 2) + (b - a) * np.sin(angle + np.pi / 2)
        sight = apart(crosshair, "crosshair", mark, "mark", tilt if lean is None else lean)
        return lines.spacing / (1 + error) * sight / apart(upper, "upper", lower, "lower", tilt)

    return model, inputs


@pytest.mark.parametrize("lines", [PLAIN, AWRY, replace(AWRY, crosshair_tilt=None), replace(AWRY, width=12.0), true_lines()],
                         ids=["plain", "awry", "turned", "wide crosshair", "demo"])
def test_the_uncertainty_is_that_of_linear_propagation_and_of_monte_carlo(lines):
    model, inputs = modelled(lines)
    found, linear = photo.offset(lines), gum.propagate(model, inputs)
    assert (found.value, found.u) == pytest.approx((linear.value, linear.u), rel=1e-8)
    assert sorted(c.u for c in found.contributions if c.u > 1e-12) == pytest.approx(sorted(c.u for c in linear.contributions if c.u > 1e-12), rel=1e-6)
    trials = 400_000
    drawn = montecarlo.propagate(model, inputs, trials=trials, seed=3)
    assert drawn.u == pytest.approx(found.u, rel=4 / math.sqrt(2 * trials))  # 4 standard deviations of u, normal draws
    assert drawn.mean == pytest.approx(found.value, abs=4 * found.u / math.sqrt(trials) + 2e-3 * found.u)


def test_a_width_of_the_crosshair_is_a_rectangle():
    part = photo.offset(replace(PLAIN, width=6.0)).contributions[0]
    assert part.distribution == RECTANGULAR and part.u == pytest.approx(6 / math.sqrt(12) * 0.002)
    assert photo.offset(replace(PLAIN, u=(0, 0, 0, 0), u_error=0.0, width=0.0)).u == 0.0


@pytest.mark.parametrize("changes, words", [
    ({"crosshair": math.nan}, "place of a line nan"), ({"spacing": 0.0}, "spacing 0"), ({"tilt": 1.0}, "within 45°"), ({"crosshair_tilt": -1.0}, "within 45°"),
    ({"u": -1.0}, "0 or more"), ({"width": -1.0}, "0 or more"), ({"u_error": math.inf}, "0 or more"), ({"u": (1.0, 1.0)}, "don't fit four lines"),
    ({"columns": (0.0, 0.0)}, "don't fit four lines"), ({"error": 0.9}, "a small number"),
])
def test_numbers_that_cannot_be_are_refused(changes, words):
    with pytest.raises(ValueError, match=words):
        replace(PLAIN, **changes)


def test_scale_marks_too_near_one_another_are_refused():
    with pytest.raises(ValueError, match="14.1 pixels apart or more"):
        photo.offset(replace(PLAIN, upper=400 - 14.1))
    assert photo.offset(replace(PLAIN, upper=400 - 14.2)).u > 0
    with pytest.raises(ValueError, match="too near"):
        photo.offset(replace(PLAIN, upper=400.0, u=0.0))


# Two readers


def test_two_readers_agree_by_their_placing_not_by_the_scale():
    near, far = (photo.offset(replace(PLAIN, u_error=0.2, crosshair=200 - 2 * shift)) for shift in (0, 4))
    agree, apart = photo.agreement(far, near)
    placed = [math.hypot(*(part.u for part in each.contributions if not part.cause.startswith("spacing"))) for each in (near, far)]
    assert apart.value == pytest.approx(0.016) and apart.u == pytest.approx(math.hypot(*placed))
    assert apart.u < 0.006 < near.u and not agree
    assert photo.agreement(near, near)[0]


def test_readers_who_place_as_stated_disagree_in_one_pair_of_twenty():
    rng, pairs = np.random.default_rng(8), 2000
    errors = rng.normal(0, 1, (pairs, 2, 4))
    agreed = sum(photo.agreement(*(photo.offset(replace(PLAIN, **dict(zip(photo.NAMES, np.array(PLAIN.rows) + e)))) for e in pair))[0] for pair in errors)
    assert agreed == pytest.approx(0.95 * pairs, abs=3.3 * math.sqrt(pairs * 0.95 * 0.05))


# The field book


@pytest.fixture
def lake():
    return curvelab.read_fieldbook(DATA / "builders_level")


def test_a_row_is_what_the_scale_shows():
    row = photo.as_row(replace(PLAIN, error=0.01, u_error=0.2), **SIGHT, distance=800.0, photo="a.png", observer="Ada")
    assert row.reading == pytest.approx(0.3) and row.u == pytest.approx(photo.offset(replace(PLAIN, u_error=0.0)).u)
    assert (row.setup, row.point, row.scale, row.photo, row.observer) == ("S1", "far mark", "board", "a.png", "Ada")
    assert "crosshair 200 at 0" in row.remark and "0.6 m apart" in row.remark
    assert photo.as_row(PLAIN, **SIGHT, distance=800.0, photo="a.png", remark="hazy").remark == "hazy"


def test_two_readers_of_one_photograph_are_two_rows_and_one_observation(lake, tmp_path):
    ada, ben = true_lines(), replace(true_lines(), crosshair=219.0, u=1.2)
    added = photo.with_photograph(lake, {"Ada": ada, "Ben": ben}, photo="photograph.png", **SIGHT)
    rows = added.readings[-2:]
    assert [r.observer for r in rows] == ["Ada", "Ben"] and len(added.readings) == len(lake.readings) + 2
    assert added.readings[:-2] == lake.readings and [r.row for r in rows] == [23, 24]
    assert [r.reading for r in rows] == pytest.approx([photo.offset(lines).value for lines in (ada, ben)], abs=5.1e-6)
    assert rows[0].u == rows[1].u == pytest.approx(photo.as_row(ben, **SIGHT, distance=1.0, photo="").u, rel=0.005)
    assert rows[0].distance == 800.0 and rows[0].instrument == "builder" and rows[0].air == "lake"
    assert added.scales["board"].value == 0.0 and added.scales["board"].u == pytest.approx(0.005)
    result = curvelab.adjust(added)
    (label,) = [row.label for row in result.rows if row.label.startswith("readings.csv rows 23")]
    assert label == "readings.csv rows 23-24: S1 to far mark"
    assert "target scale" in {c.cause for c in result.contributions()}
    assert result.curvature.value == pytest.approx(curvelab.adjust(lake).curvature.value, abs=result.curvature.u / 2)
    again = curvelab.read_fieldbook(curvelab.write_fieldbook(added, tmp_path / "again"))
    assert again.readings == added.readings and again.scales == added.scales
    assert curvelab.adjust(again).curvature == result.curvature
    assert "Ada" not in str(curvelab.privacy.published(added).tables["readings.csv"].rows)


def test_the_network_takes_the_row_as_if_it_had_been_written_by_hand(tmp_path):
    planned = book(tmp_path / "planned", readings=READINGS.replace("0.2730", ""))
    added = photo.with_photograph(planned, {"": replace(PLAIN, error=0.002, u_error=0.001)}, photo="a.png", setup="S1", point="target", scale="board")
    u = photo.as_row(PLAIN, setup="S1", point="target", distance=2000.0, scale="board", photo="").u
    by_hand = book(tmp_path / "by_hand", site=f'{SITE}[scale.board]\nerror = "2 ± 1 mm/m"\n',
                   readings=f"setup,point,distance [m],reading [m],u [mm],scale\nS1,near water,10,1.5000,,\nS1,target,2000,0.3,{u * 1000:.3g},board\n")
    one, other = (curvelab.adjust(each).curvature for each in (added, by_hand))
    assert (one.value, one.u) == pytest.approx((other.value, other.u), rel=1e-12)


def test_cells_are_written_in_the_units_of_their_columns(tmp_path):
    feet = photo.with_photograph(curvelab.read_fieldbook(DATA / "feet_and_inches"), {"Ada": PLAIN}, photo="a.png", **SIGHT)
    assert feet.readings[-1].reading == pytest.approx(0.3) and feet.readings[-1].distance == pytest.approx(2011.68)
    assert feet.tables["readings.csv"].rows[-1][3] == "0.3 m"
    text = "setup,point,distance [m],reading [mm],u_distance [m],u [in]\nS1,near water,10,1500,,\nS1,target,2000,273,3,0.2\n"
    given_ = book(tmp_path / "mm", readings=text)
    row = photo.with_photograph(given_, {"Ada": PLAIN}, photo="a.png", setup="S1", point="target", scale="board").tables["readings.csv"].rows[-1]
    assert row[2:5] == ("2000", "300.0", "3") and float(row[5]) * 25.4 == pytest.approx(math.sqrt(10), rel=0.005)


def test_what_the_book_cannot_take_is_said(lake, tmp_path):
    with pytest.raises(ValueError, match="S1 to far mark"):
        photo.with_photograph(lake, {"Ada": PLAIN}, photo="a.png", setup="S9", point="far mark", scale="board")
    added = photo.with_photograph(lake, {"Ada": PLAIN}, photo="a.png", **SIGHT)
    with pytest.raises(ValueError, match="'a.png' is in the book already"):
        photo.with_photograph(added, {"Ben": PLAIN}, photo="a.png", **SIGHT)
    with pytest.raises(ValueError, match="has no reader"):
        photo.with_photograph(lake, {}, photo="a.png", **SIGHT)
    with pytest.raises(ValueError, match="several errors, 0 ± 2 mm/m and 0 ± 5 mm/m"):
        photo.with_photograph(added, {"Ben": replace(PLAIN, u_error=0.002)}, photo="b.png", **SIGHT)
    with pytest.raises(ValueError, match="needs a name"):
        photo.with_photograph(lake, {"Ada": PLAIN}, photo="a.png", **SIGHT | {"scale": ""})
    more = photo.with_photograph(added, {"Ben": PLAIN}, photo="b.png", **SIGHT)
    assert len(more.readings) == len(added.readings) + 1 and more.site == added.site
    rows = "S1,near water,10,1.5,struck,slip\nS1,target,2000,0.27,struck,slip\nS2,near water,10,1.5,,\nS2,target,2000,0.3,,\n"
    struck = book(tmp_path / "struck", readings=f"setup,point,distance [m],reading [m],status,remark\n{rows}")
    with pytest.raises(ValueError, match="no row of readings.csv"):
        photo.with_photograph(struck, {"Ada": PLAIN}, photo="a.png", setup="S1", point="target", scale="board")


# The page


def demo(**how):
    return photo_page.PhotoPage(PICTURE, make.SPACING, columns=tuple(make.COLUMNS.values()), **how)


@pytest.fixture(scope="module")
def page():
    return demo()


def place(page, **shifts):
    put(page, tilt=1.2, **{name: round(2 * make.row(name, column)) / 2 + shifts.get(name, 0) for name, column in make.COLUMNS.items()})


def drawn(page):
    return figures.named(page.figure.axes[0])


def test_the_page_shows_what_the_lines_give(page):
    place(page)
    found = photo.offset(true_lines())
    assert page.lines == replace(true_lines(), tilt=math.radians(1.2))
    assert f"The line of sight is {found.value * 1000:.1f} ± {found.u * 1000:.1f} mm above the target mark" in page.sentence.value
    assert page.describe().split(";")[0] in page.sentence.value and page.fault.value == ""
    for name, (_, colour, dash, _) in photo_page.LINES.items():
        line, row = drawn(page)[name], make.row(name, make.COLUMNS[name])
        assert line.get_ydata()[1] == pytest.approx(row, abs=0.26) and line.get_xdata()[1] == make.COLUMNS[name]
        assert np.diff(line.get_ydata()) / np.diff(line.get_xdata()) == pytest.approx(math.tan(math.radians(1.2)))
        assert (line.get_color(), line.get_linestyle()) == (colour, dash)
    labels = [text.get_text() for text in page.figure.axes[0].texts if text.get_gid() != "title"]
    assert labels == [label for label, *_ in photo_page.LINES.values()]
    assert all(len({style[i] for style in photo_page.LINES.values()}) == 4 for i in (0, 1, 2))
    put(page, crosshair=400.0)
    assert "mm below the target mark" in page.sentence.value
    put(page, crosshair=218.0, upper=380.0, lower=87.0)
    assert "stands on its head" in page.sentence.value and "mm below" in page.sentence.value


def test_the_picture_is_drawn_where_its_pixels_are(page):
    whole, pixels = page.figure.axes[0].images[0], make.picture()
    assert np.array_equal(whole.get_array(), pixels) and whole.get_extent() == [-0.5, 639.5, 479.5, -0.5]
    assert page.figure.axes[0].get_ylim() == (479.5, -0.5) and page.figure.axes[0].get_xlim() == (-0.5, 639.5)  # the first row on top
    place(page)
    for close, (name, column) in zip(page.figure.axes[1:], make.COLUMNS.items()):
        left, _, _, top = close.images[0].get_extent()
        part = close.images[0].get_array()
        row, x = int(page.controls[name].value), int(column)
        assert np.array_equal(part[row - int(top + 0.5), x - int(left + 0.5)], pixels[row, x])
        assert close.get_xlim()[0] < column < close.get_xlim()[1] and close.get_ylim()[1] < row < close.get_ylim()[0]


def test_each_control_changes_the_picture_and_the_description(page):
    place(page)
    before, told = page.picture.value, page.describe()
    for name, slider in page.controls.items():
        start = slider.value
        slider.value = start + slider.step
        assert page.picture.value != before and page.describe() != told, name
        drawn_whole(page)
        slider.value = start
        assert page.describe() == told, name
    assert page.picture.value == before


def test_nothing_is_said_before_a_line_is_placed():
    page = demo()
    assert "Move the four lines" in page.sentence.value and page.describe().startswith("Move the four lines onto the crosshair and the three marks; crosshair at row 202.0")
    page._keep()
    assert page.kept == {} and page.reader.value == "first reader"


def test_blind_readers_do_not_see_each_other_before_both_have_kept():
    page, fresh = demo(readers=("Ada", "Ben & co")), demo(readers=("Ada", "Ben & co"))
    place(page)
    page._keep()
    assert page.reader.options == ("Ben & co",) and list(page.kept) == ["Ada"]
    assert page.picture.value == fresh.picture.value and page.sentence.value == fresh.sentence.value
    assert "Kept: the reading of Ada." in page.notes.value and " mm" not in page.notes.value
    assert page.values == fresh.values and set(drawn(page)) == set(photo_page.LINES)
    place(page, crosshair=1, mark=-1)
    assert "agree" not in page.notes.value and "kept" not in page.describe()
    page._keep()
    assert page.reader.options == ("Ada", "Ben & co") and page.keep.disabled
    assert page.values["crosshair"] == page.kept["Ada"].crosshair and page.describe().endswith("; 8 lines that were kept")
    assert "Ada and Ben &amp; co agree: 293.9 and" in page.notes.value
    page.reader.value = "Ben & co"
    assert page.lines == page.kept["Ben & co"]
    assert photo.with_photograph(curvelab.read_fieldbook(DATA / "builders_level"), page.kept, photo="photograph.png", **SIGHT).readings[-1].observer == "Ben & co"


def test_readers_who_are_not_blind_see_what_was_kept():
    page = demo(blind=False)
    place(page)
    page._keep()
    assert page.reader.options == ("first reader", "second reader") and not page.keep.disabled
    page.reader.value = "second reader"
    assert page.values["crosshair"] == 202 and drawn(page)["crosshair, first reader"].get_ydata()[1] == 218.0
    place(page, crosshair=40)
    page._keep()
    assert "do not agree" in page.notes.value
    drawn_whole(page)


@pytest.fixture
def small(tmp_path):
    """A grey picture of 60 × 48 pixels."""
    path = tmp_path / "small.png"
    Image.fromarray(np.random.default_rng(1).integers(0, 255, (48, 60), dtype=np.uint8)).save(path)
    return path


def test_every_corner_of_the_controls_gives_words_and_a_picture(small):
    page = photo_page.PhotoPage(small, 0.5)
    for corner in itertools.product(*((slider.min, slider.max) for slider in page.controls.values())):
        put(page, **dict(zip(page.controls, corner)))
        assert page.fault.value == "" and "nan" not in page.sentence.value
        assert ("No offset yet: the two scale marks" in page.sentence.value) == (page.controls["upper"].value == page.controls["lower"].value)
        assert ("The line of sight is" in page.sentence.value) == (page.describe().startswith("The line of sight"))
        assert image.imread(io.BytesIO(page.picture.value)).shape[:2] == (430, 1160)


def test_columns_outside_the_picture_still_give_a_picture(small):
    page = photo_page.PhotoPage(small, 0.5, columns=(-500.0, 900.0, 30.0, 30.0))
    put(page, crosshair=10.0)
    assert page.fault.value == "" and "The line of sight is" in page.sentence.value
    assert [len(axes.images) for axes in page.figure.axes] == [1, 0, 0, 1, 1]


@pytest.mark.parametrize("name, content, words", [
    ("words.png", b"this is no picture\n", "words.png can't be read"), ("empty.png", b"", "empty.png can't be read"),
    ("empty.jpg", b"", "empty.jpg can't be read"), ("gone.png", None, "there is no picture gone.png"),
    ("torn.png", PICTURE.read_bytes()[:9000], "torn.png can't be read"), ("head.png", PICTURE.read_bytes()[:40], "head.png can't be read"),
])
def test_a_picture_that_cannot_be_read_is_a_fault_in_words(tmp_path, name, content, words):
    if content is not None:
        (tmp_path / name).write_bytes(content)
    page = photo_page.PhotoPage(tmp_path / name, 0.5)
    said = html.unescape(page.fault.value)
    assert words in said and str(tmp_path) not in said and 'role="alert"' in said
    assert page.children == (page.fault,) and page.describe() == "no picture"
    assert page._repr_mimebundle_()["text/plain"] == "no picture"
    page.controls["crosshair"].value = 3.0
    page._keep()
    assert words in html.unescape(page.fault.value) and page.kept == {}


def test_a_picture_of_one_pixel_and_a_huge_one_are_faults_in_words(tmp_path, monkeypatch):
    Image.fromarray(np.zeros((1, 1), np.uint8)).save(tmp_path / "dot.png")
    assert "1 × 1 pixels, too few" in photo_page.PhotoPage(tmp_path / "dot.png", 0.5).fault.value
    monkeypatch.setattr(photo_page, "MOST_BYTES", 40_000)
    assert "has more than 0.04 MB" in photo_page.PhotoPage(PICTURE, 0.5).fault.value
    monkeypatch.undo()
    Image.fromarray(np.zeros((9500, 9500), np.uint8)).save(tmp_path / "huge.png")
    assert "exceeds limit" in photo_page.PhotoPage(tmp_path / "huge.png", 0.5).fault.value


@pytest.mark.parametrize("how, words", [({"spacing": -1.0}, "spacing -1"), ({"u": -1.0}, "0 or more"), ({"columns": (1.0,)}, "don't fit four lines")])
def test_numbers_that_cannot_be_are_faults_in_words(small, how, words):
    assert words in html.unescape(photo_page.PhotoPage(small, **{"spacing": 0.5} | how).fault.value)


def test_a_large_picture_is_drawn_small_and_read_in_its_own_pixels(monkeypatch):
    monkeypatch.setattr(photo_page, "SHOWN", 100)
    page = demo()
    place(page)
    whole = page.figure.axes[0]
    assert whole.images[0].get_array().shape == (68, 91, 3) and whole.images[0].get_extent() == [-0.5, 636.5, 475.5, -0.5]
    assert np.abs(whole.images[0].get_array()[10, 40] - make.picture()[70:77, 280:287].mean(axis=(0, 1))).max() <= 1
    assert whole.get_xlim() == (-0.5, 639.5) and page.controls["mark"].max == 479.0
    assert "293.9" in page.describe() and page.figure.axes[1].images[0].get_array().shape[0] == 28


@pytest.mark.parametrize("mode", ["L", "1", "P", "RGBA", "LA", "I;16", "JPEG", "CMYK"])
def test_pictures_of_every_kind_are_read(tmp_path, mode):
    tones = np.repeat(np.linspace(0, 255, 40).astype(np.uint8)[:, None], 50, 1)
    path = tmp_path / ("a.png" if mode not in ("JPEG", "CMYK") else "a.jpg")
    picture = Image.fromarray(tones.astype(np.uint16) * 257) if mode == "I;16" else Image.fromarray(tones).convert("RGB" if mode == "JPEG" else mode)
    picture.save(path)
    read = photo_page.read_picture(path)
    assert read.dtype == np.uint8 and read.shape[:2] == (40, 50) and read.shape[2:] in ((), (3,))
    mean = read.reshape(40, 50, -1).mean(axis=(1, 2))
    assert mean[0] < 20 and mean[-1] > 235
    if mode not in ("1", "P", "CMYK"):
        assert np.abs(mean - tones[:, 0]).max() <= 3
    assert photo_page.read_picture(path, turned=1).shape[:2] == (50, 40)
    assert photo_page.read_picture(path, turned=1)[25, 39].mean() < 20  # its top stands on the right


@pytest.mark.parametrize("rows, across", [(1080, 1920), (3000, 4000), (600, 2000), (64, 33)])
def test_no_label_is_cut_off_on_a_picture_of_another_shape(tmp_path, rows, across):
    path = tmp_path / "plain.png"
    Image.fromarray(np.full((rows, across), 180, np.uint8)).save(path)
    page = photo_page.PhotoPage(path, 0.1)
    put(page, upper=rows * 0.36 + 0.5, lower=rows * 0.74 + 0.5, crosshair=rows * 0.4 + 0.5, mark=rows * 0.6 + 0.5)
    drawn_whole(page)
    page.fields["upper"].put(rows * 0.36 + 0.123456)
    drawn_whole(page)


def test_equal_settings_give_equal_bytes():
    assert demo().picture.value == demo().picture.value
