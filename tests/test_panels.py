"""The live page without a browser: its artists, its sentence, its faults; and the pictures."""

from __future__ import annotations

import base64
import html
import itertools
import math
import re
import shutil
import threading

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties
from scipy import stats

import curvelab
from curvelab import decision, drawing, figures, panels, prediction, stamps, triptych
from curvelab.controls import unit_in
from curvelab.wording import WORDS
from tests.books import DATA, drawn_whole, put


@pytest.fixture(scope="module")
def page():
    page = panels.LivePage(DATA)
    page.answer.value = "on the mark"
    return page


def answered(folder):
    page = panels.LivePage(folder)
    page.answer.value = "on the mark"
    return page


def offsets(page):
    lines = {line.get_gid(): line for line in page.figure.axes[2].lines if line.get_gid()}
    return {name: lines[name].get_ydata()[0] for name in ("flat", "ellipsoid")}


def test_the_pictures_show_the_equation(page):
    page.controls["length"].value = 2000
    page.controls["gradient"].value = -0.01
    page.controls["collimation"].value = 0
    shown = offsets(page)
    k = curvelab.refraction.coefficient(12, 1000, -0.01)
    assert shown["flat"] == pytest.approx(-k / 6371e3 * 2000**2 / 2 * 1000, rel=1e-6)
    assert shown["ellipsoid"] - shown["flat"] == pytest.approx(2000**2 / 2 / float(curvelab.ellipsoid.azimuth_radius(50, 60)) * 1000, rel=1e-6)
    page.controls["collimation"].value = 30
    assert offsets(page)["flat"] - shown["flat"] == pytest.approx(60.0, abs=0.01)
    page.controls["collimation"].value = 0


def test_the_words_to_say_aloud_are_those_of_the_page():
    """Their numbers are those of the rule, of the normal law and of the Earth."""
    page = answered(DATA)
    page.controls["phoned"].value = 30
    said = page.sentence.value
    page.book.value = "builders_level"
    spelt = page.children[-1].value
    said = " ".join([said, page.null.description, page.sentence.value, page.notes.value, *(control.label for control in panels.CONTROLS.values()),
                     *(text.get_text() for ax in page.figure.axes for text in ax.texts), *(ax.get_title("left") for ax in page.figure.axes)]).lower()
    for word, meaning in WORDS.items():
        assert word in said.replace("&nbsp;", " ") and word in spelt and html.escape(meaning) in spelt
    assert "9 of 10 such measurements exclude the wrong one, 1 of 100 the right one" in WORDS[f"{decision.gate(0.01, 0.90):.2f} are needed"]
    assert [stats.norm.cdf(z) - stats.norm.cdf(-z) for z in (1, 2)] == [pytest.approx(2 / 3, abs=0.02), pytest.approx(19 / 20, abs=0.005)]
    assert f"{1e3**2 / 2 / 6371e3 * 1000:.0f} mm" in WORDS["ellipsoid"] and f"{1609.344**2 / 2 / 6371e3 / 0.0254:.0f} inches" in WORDS["ellipsoid"]
    assert f"{50e-6 * 1609.344 / 0.0254:.0f} inches" in WORDS["collimation error"]


@pytest.mark.parametrize("name, value", [("length", 800), ("height", 3.0), ("gradient", 0.2), ("collimation", -40)])
def test_each_control_changes_the_picture_and_the_description(page, name, value):
    before, told, start = page.picture.value, page.describe(), page.controls[name].value
    page.controls[name].value = value
    assert page.picture.value != before and page.describe() != told
    page.controls[name].value = start
    assert page.describe() == told


def test_a_field_book_brings_its_measurement_and_its_sentence(page):
    page.book.value = "builders_level"
    result = curvelab.adjust(curvelab.read_fieldbook(DATA / "builders_level"))
    assert f"found {result.curvature.value * 1e6:.4f} per 1000 km, {prediction.measured_offset(result).value * 1000:.1f} mm" in page.describe() and "can&#x27;t tell flat water" in page.sentence.value
    assert page.controls["length"].disabled and page.controls["length"].value == 800
    before = page.sentence.value.partition("typical errors")[0][-12:]
    page.controls["collimation"].value = 55
    assert "What if the line of sight had been tilted by 55 µrad (1.4 typical errors from 0 µrad)? Then: over 800 m this measurement can&#x27;t tell" in page.sentence.value
    assert f"{before}typical errors (standard" in page.sentence.value  # a supposed tilt makes no level tested
    page.book.value = panels.NO_BOOK
    assert not page.controls["length"].disabled and "found" not in page.describe()


def test_a_heckler_can_tilt_the_sight_of_a_level_that_was_tested():
    """The book's own pegs don't hold the tilt back: r = HI - H + c d + κ d²/2, near water at 6 m, target at 800 m.

    By hand 2/806 m per rad, and 9 % more: κ also curves the level line by (65² - 5²)/2 m² over the 60 m between the pegs, and
    the pegs weigh 94 % in the collimation: 1/(1 - 0.94 · 70/806).
    """
    def found():
        return float(re.search(r"found (\S+) per 1000 km", page.describe())[1])

    page = answered(DATA)
    page.book.value = "builders_level_tested"
    start = found()
    page.controls["collimation"].value -= 100
    assert "What if the line of sight had been tilted by" in page.sentence.value
    assert found() - start == pytest.approx(100 * 2 / 806 / (1 - 0.94 * 70 / 806), rel=5e-3)


def test_a_tilt_moves_the_lines_and_leaves_the_reading_where_it_was():
    """100 µrad over 806 m from the pole in the water, or 800 m from the level: 80 mm; the mark itself moves but by what the pegs answer."""
    def board():
        return {gid: figures.named(page.figure.axes[2])[gid].get_ydata()[0] for gid in ("flat", "ellipsoid", "found")}

    page = answered(DATA)
    page.book.value = "builders_level_tested"
    start = board()
    page.controls["collimation"].value -= 100
    moved = {gid: at - start[gid] for gid, at in board().items()}
    assert (moved["flat"], moved["ellipsoid"]) == (pytest.approx(-80, abs=1), pytest.approx(-80, abs=1)) and abs(moved["found"]) < 1.5


@pytest.mark.parametrize("gradient", [-0.5, -0.01, 0.5])
def test_the_name_of_a_line_stands_clear_of_it(page, gradient):
    """Over the part that it is written along, above the ellipsoid's and below the flat one, however steep they are."""
    put(page, gradient=gradient, length=2000)
    drawn = figures.named(page.figure.axes[1])
    for name, side in (("ellipsoid", 1), ("flat", -1)):
        x, z = drawn[name].get_data()
        words = next(text for text in page.figure.axes[1].texts if text.get_gid() == f"{name} words")
        assert (side * (words.xy[1] - z[x >= 0.8 * x[-1]]) >= 0).all()
    put(page, gradient=-0.01)


def test_the_null_control_forgets_a_reading(page):
    page.controls["phoned"].value = 120.0
    page.null.click()
    assert not page.called.value and page.values["length"] == panels.SHORT and "times that of the ellipsoid" not in page.sentence.value
    page.called.value = True
    assert "Now set the reading that was phoned in." in page.sentence.value
    page.called.value = False
    page.controls["length"].value = 2000


@pytest.mark.parametrize("control, typed, beside", [("length", 1612.0, 1600.0), ("length", 1625.0, 1650.0), ("length", 1625.0, 1600.0), ("height", 1.75, 1.8), ("gradient", -0.013, -0.014)])
def test_a_number_between_the_steps_outlives_a_browser_that_moves_the_slider_to_one(control, typed, beside):
    page = answered(None)
    field, slider, before = page.fields[control], page.controls[control], page.values[control]
    field.children[2].value = f"{typed:g}"
    said = page.sentence.value
    slider.set_state({"value": beside})
    assert (page.values[control], field.children[2].value, slider.value, page.sentence.value) == (typed, f"{typed:g}", beside, said)
    slider.set_state({"value": beside + slider.step})
    assert (page.values[control], float(field.children[2].value)) == (pytest.approx(beside + slider.step), pytest.approx(beside + slider.step))
    field.put(typed)
    slider.value = beside  # from a notebook: no browser's doing
    assert page.values[control] == beside
    field.put(before)


def test_the_scale_told_is_that_of_the_picture_before_an_answer_too():
    page = answered(DATA)
    for answer in ("on the mark", None):
        page.answer.value = answer
        chart = page.figure.axes[1]
        (left, right), (bottom, top) = chart.get_xlim(), chart.get_ylim()
        times = (chart.bbox.height / (top - bottom) * 1000) / (chart.bbox.width / (right - left))  # pixels a metre up, over pixels a metre along
        told = float(re.search("heights ×(.+)", chart.get_title(loc="left"))[1].replace("\u00a0", "").replace(" ", ""))
        assert told == pytest.approx(times, rel=0.05)


@pytest.mark.parametrize("control, typed, words", [
    ("length", "60", "&#x27;60&#x27; lies beyond 100 m to 5000 m"), ("length", "99999", "lies beyond"), ("height", "0", "lies beyond 0.5 m to 6 m"), ("gradient", "7", "lies beyond"),
    ("length", "two", "no number"), ("length", "1,250", "decimals or thousands"), ("length", "1200 ± 5", "without ±"), ("length", "1200 hPa", "length is wanted"), ("height", "1.6 K", "length is wanted")])
def test_what_is_no_number_for_a_control_is_refused_in_words_and_all_stays(page, control, typed, words):
    number, before, said = page.fields[control].children[2], page.values[control], page.sentence.value
    shown = number.value
    number.value = typed
    assert words in page.fault.value and "Not taken" in page.fault.value and page.fields[control].children[0].value in page.fault.value
    assert (page.values[control], number.value, page.sentence.value) == (before, shown, said)
    number.value = ""
    assert number.value == shown
    number.value = f" {shown} "
    assert page.fault.value == "" and page.values[control] == pytest.approx(before)


@pytest.mark.parametrize("control, typed, metric", [
    ("length", "2 km", 2000.0), ("length", "1 mi", 1609.344), ("height", "5 ft 3 in", 1.6002), ("height", "1,5", 1.5), ("gradient", "-10 K/km", -0.01), ("gradient", "−0.02", -0.02),
    ("collimation", "1.5 mm per 30 m", 50.0), ("phoned", "12 1/2 in", 317.5), ("phoned", "0.25 m", 250.0), ("phoned", "-0", 0.0)])
def test_a_control_takes_numbers_as_people_write_them(page, control, typed, metric):
    """One K/km is a thousandth of one K/m; an inch is 25.4 mm, a mile 1609.344 m."""
    before = page.values[control]
    page.fields[control].children[2].value = typed
    assert page.values[control] == pytest.approx(metric, rel=1e-9) and page.fault.value == ""
    page.fields[control].put(before)


def test_a_reading_of_nothing_is_a_reading():
    page = answered(DATA)
    number = page.fields["phoned"].children[2]
    for _ in range(2):
        page.called.value = True
        assert number.value == "" and "Now set the reading" in page.sentence.value
        number.value = "0"
        assert number.value == "0" and "Now set" not in page.sentence.value and "excluded" in page.sentence.value
        page.null.click()
        assert number.value == "" and not page.called.value
        page.fields["length"].put(2000.0)
        number.value = "0"
        assert page.called.value and "excluded" in page.sentence.value
        page.reset.click()
        page.answer.value = "on the mark"


def test_a_line_that_would_run_into_the_water_is_warned_of(page):
    page.controls["length"].value, page.controls["gradient"].value = 5000, 0.2
    assert "run into the water" in page.sentence.value
    page.controls["length"].value, page.controls["gradient"].value, page.controls["height"].value = 2000, -0.01, 0.5
    assert "above the water, where the air bends" in page.sentence.value
    page.controls["height"].value = 1.6
    assert "But" not in page.sentence.value


def test_a_book_without_readings_is_a_plan_on_the_page_and_leaves_it_working(tmp_path):
    shutil.copytree(DATA / "two_kilometres", tmp_path / "read")
    curvelab.write_fieldbook(curvelab.planning.blank(curvelab.read_fieldbook(DATA / "builders_level")), tmp_path / "blank")
    page = answered(tmp_path)
    page.book.value = "read"
    page.book.value = "blank"
    assert "Nothing is read yet" in page.sentence.value and "800 m" in page.sentence.value and "found" not in page.describe()
    page.controls["collimation"].value = 30
    assert page.fault.value == "" and "Nothing is read yet" in page.sentence.value
    page.book.value = "read"
    assert "2000 m flat water is excluded" in page.sentence.value
    page.controls["gradient"].value = 0.1
    assert "What if" in page.sentence.value


def test_a_books_own_numbers_stand_in_the_controls(page):
    page.book.value = "feet_and_inches"
    assert page.controls["length"].value == pytest.approx(2011.68) and page.controls["length"].disabled
    page.book.value = panels.NO_BOOK
    assert page.controls["length"].value == 2000 and page.controls["length"].step == 50


def test_a_fault_shows_in_words_and_is_escaped(tmp_path):
    shutil.copytree(DATA / "two_kilometres", tmp_path / "broken")
    readings = tmp_path / "broken" / "readings.csv"
    readings.write_text(readings.read_text(encoding="utf-8").replace("far mark,2000.0", "<script>x</script>,-5", 1), encoding="utf-8")
    page = answered(tmp_path)
    page.book.value = "broken"
    assert "negative" in page.fault.value and 'role="alert"' in page.fault.value and "<script>" not in page.fault.value
    page.book.value = panels.NO_BOOK
    assert page.fault.value == ""


def test_drawing_leaves_no_figure_open_and_no_setting_changed(page):
    import matplotlib.pyplot as plt
    before, settings = plt.get_fignums(), dict(matplotlib.rcParams)
    page.controls["length"].value = 1500
    assert plt.get_fignums() == before and dict(matplotlib.rcParams) == settings


def test_equal_settings_give_equal_bytes():
    assert answered(DATA).picture.value == answered(DATA).picture.value


@pytest.mark.parametrize("seed", range(3))
def test_what_is_drawn_again_in_parts_is_the_whole_picture_pixel_for_pixel(seed):
    """Over moves, units, large type, books and answers; and no part of the picture is cut off at its edge."""
    page, rng = panels.LivePage(DATA), np.random.default_rng(seed)
    switches = [(page.large, [False, True]), (page.units, ["metric", "us"]), (page.book, page.book.options), (page.answer, [None, *panels.ANSWERS]), (page.called, [False, True])]
    for _ in range(16):
        name = rng.choice(list(page.controls))
        slider = page.controls[name]
        if rng.random() < 0.3:
            widget, values = switches[rng.integers(len(switches))]
            widget.value = values[rng.integers(len(values))]
        elif not slider.disabled:
            slider.value = rng.uniform(slider.min, slider.max) if rng.random() < 0.5 else slider.value + slider.step * rng.choice([-1, 1])
        assert page.fault.value == ""
        drawn_whole(page)


@pytest.mark.parametrize("control, typed, metric", [("length", 3280.84, 1000.0), ("height", 10.0, 3.048), ("gradient", 0.05, 0.05 / 0.54864), ("collimation", 30.0, 30.0)])
def test_labels_and_numbers_in_us_units(control, typed, metric):
    """One K/m is 1.8 °F in 3.28084 ft; the slider stays metric beneath."""
    page = panels.LivePage()
    page.answer.value, page.units.value = "on the mark", "us"
    label, slider, number = page.fields[control].children
    assert label.value.endswith({"length": "[ft]", "height": "[ft]", "gradient": "[°F/ft]", "collimation": "[µrad]"}[control])
    number.value = f"{typed}"
    assert slider.value == pytest.approx(metric, rel=1e-7) and float(number.value) == pytest.approx(typed, rel=1e-3)
    page.units.value = "metric"
    assert float(number.value) == pytest.approx(metric, rel=1e-2) and slider.value == pytest.approx(metric, rel=1e-7)
    assert label.value.endswith(f"[{panels.CONTROLS[control].unit}]") and page.fault.value == ""


@pytest.mark.parametrize("control, metric, step", [("length", "m", 100.0), ("height", "m", 0.2), ("gradient", "K/m", 0.002), ("phoned", "mm", 0.02)])
def test_steps_in_us_units_are_round_there(control, metric, step):
    """From end to end, and no number is moved to a step by the switch; each step is one that a what-if tells."""
    page = answered(DATA)
    page.units.value = "us"
    field, slider = page.fields[control], page.controls[control]
    before, per = page.values[control], unit_in("us", metric)[1]
    assert slider.step * per == pytest.approx(step) and slider.step > panels.CONTROLS[control].step / 2
    for end in (slider.min, slider.max):
        assert end * per / step == pytest.approx(round(end * per / step), abs=1e-6)
    slider.set_state({"value": round(slider.value / slider.step) * slider.step})  # as a browser does
    assert page.values[control] == before == panels.CONTROLS[control].start
    slider.set_state({"value": (round(before / slider.step) + 1) * slider.step})
    assert float(field.children[2].value) / step == pytest.approx(round(before * per / step) + 1)
    page.units.value = "metric"
    assert (slider.min, slider.max, slider.step) == (panels.CONTROLS[control].low, panels.CONTROLS[control].high, panels.CONTROLS[control].step)


@pytest.mark.parametrize("name, value", [("gradient", 0.1), ("shores", 40.0)])
def test_a_tilt_and_another_assumption_change_together(name, value):
    """On a level tested by pegs: the tilt moves the found curvature by 2/D of it, whatever else was assumed."""
    page = answered(DATA)
    page.book.value = "two_kilometres"
    page.controls[name].value = value
    before = float(re.search(r"found (-?[0-9.]+) per", page.describe())[1])
    page.controls["collimation"].value += 50.0
    after = float(re.search(r"found (-?[0-9.]+) per", page.describe())[1])
    assert before - after == pytest.approx(2 * 50.0 / 2000.0, rel=0.05)


def test_no_reading_is_judged_before_its_number_is_given():
    page = answered(DATA)
    page.called.value = True
    assert "Now set the reading that was phoned in" in page.sentence.value and "excluded" not in page.sentence.value
    page.controls["phoned"].value = 260.0
    assert "flat water is excluded" in page.sentence.value
    page.reset.click()
    page.answer.value = "on the mark"
    assert not page.called.value and "Now set" not in page.sentence.value
    page.controls["phoned"].value = 5.0
    assert page.called.value and "excluded" in page.sentence.value


def test_the_question_gives_no_answer_away():
    """Before an answer, both axes reach as far up as down from the level of the instrument, and no curvature is named."""
    page = panels.LivePage(DATA)
    for ax, level in zip(page.figure.axes[1:], (1600.0, 0.0)):
        low, high = ax.get_ylim()
        assert high - level == pytest.approx(level - low, rel=1e-6)
    assert "ellipsoid" not in page.figure.axes[0].get_xlabel()
    page.answer.value = "on the mark"
    assert "ellipsoid" in page.figure.axes[0].get_xlabel() and page.figure.axes[2].get_ylim()[0] != -page.figure.axes[2].get_ylim()[1]


def test_a_row_that_holds_all_together_is_named_when_it_is_left_out():
    page = answered(DATA)
    page.book.value = "builders_level"
    page.left_out.value = next(name for name in page.left_out.options if name.startswith("heights.csv row 3"))
    assert "without heights.csv row 3" in page.fault.value and "nothing ties the rest together" in page.fault.value and "has one fault" not in page.fault.value


def test_what_is_moved_after_a_reading_is_a_what_if_and_the_reading_stays():
    """-0.01 ± 0.03 K/m and 0 ± 10 µrad without a book; what the book states and finds with one. What was read is never moved."""
    page = answered(DATA)
    page.fields["phoned"].put(266)
    assert "It struck 266 mm above it. Over 2000 m" in page.sentence.value
    page.controls["gradient"].value, page.controls["collimation"].value = -0.095, 55
    assert "It struck 266 mm above it. What if the temperature gradient had been -0.095 K/m (2.8 typical errors from -0.01 K/m, unlikely), and the line of sight" in page.sentence.value
    assert "tilted by 55 µrad (5.5 typical errors from 0 µrad, next to impossible)? Then: over 2000 m" in page.sentence.value and "if all else is as stated" in page.sentence.value
    page.fields["phoned"].put(150)  # another reading in the same supposed air
    assert "It struck 150 mm above it. What if the temperature gradient" in page.sentence.value
    page.reset.click()
    page.answer.value, page.controls["gradient"].value = "on the mark", -0.1
    assert "What if" not in page.sentence.value and "It struck" not in page.sentence.value
    page.book.value = "two_kilometres"
    read = re.search(r"It struck \d+ mm above it", page.sentence.value)[0]
    assert "as stated, k = 0.10" in page.notes.value
    page.controls["gradient"].value, page.controls["shores"].value = -0.178, -100
    assert f"{read}. What if the temperature gradient had been -0.178 K/m (5.3 typical errors from -0.018 K/m, next to impossible)" in page.sentence.value
    assert f"as supposed, k = {curvelab.refraction.coefficient(12.4, 962, -0.178):.2f}" in page.notes.value and "as stated, k" not in page.notes.value


def test_the_null_control_says_what_it_is_for_and_no_offset_has_a_side():
    page = answered(None)
    page.null.click()
    assert "The null control: so short a line shows no curve" in page.sentence.value
    page.units.value = "us"
    assert "the line of sight would strike on the mark over flat water and" in page.sentence.value and "0.00 in" not in page.sentence.value


def test_a_complaint_goes_with_what_it_was_about():
    page = answered(None)
    box = page.fields["length"].children[2]
    box.value = "abc"
    assert "Not taken" in page.fault.value
    box.value = ""
    assert page.fault.value == "" and box.value == "2000"


def test_a_what_if_is_asked_in_us_units():
    page = answered(DATA)
    page.units.value, page.book.value = "us", "two_kilometres"
    page.controls["shores"].value, page.controls["gradient"].value = 127.0, 0.1
    assert page.figure.axes[0].get_xlabel().endswith("radius 3968 miles")  # 6386 km over 1.609344
    assert "What if the temperature gradient had been 0.0549 °F/ft (3.9 typical errors from -0.0099 °F/ft, very unlikely), and the far water had stood higher by 5 in (" in page.sentence.value
    assert float(page.fields["length"].children[2].value) == pytest.approx(2000 / 0.3048, abs=0.5)


def test_a_small_move_draws_only_what_moves(page, monkeypatch):
    page.controls["gradient"].value = 0.1
    drawn, draw = [], SubFigure.draw
    monkeypatch.setattr(SubFigure, "draw", lambda part, renderer: (drawn.append(part), draw(part, renderer)))
    page.controls["gradient"].value, before = 0.1002, page.picture.value
    assert drawn == [] and page.picture.value != before
    page.controls["height"].value += 1
    assert drawn == [page.figure.subfigs[1]]  # of the three pictures the sight chart alone
    page.controls["height"].value, page.controls["gradient"].value = 1.6, -0.01


@pytest.mark.parametrize("text, angle", [("gjÅ−1", 0), ("up [mm]", 90), ("fi askew", 30)])
def test_a_stamp_is_what_matplotlib_writes_on_whole_pixels(text, angle):
    pixels = []
    for canvas in (FigureCanvasAgg, stamps.Canvas):
        figure = Figure(figsize=(3, 2), dpi=100, facecolor=figures.PAPER)
        canvas(figure).draw()
        renderer = figure.canvas.get_renderer()
        pen = renderer.new_gc()
        pen.set_foreground(figures.FLAT)
        renderer.draw_text(pen, 150, 100, text, FontProperties(size=11), angle)
        pixels.append(np.asarray(figure.canvas.buffer_rgba()).astype(int))
    assert np.abs(pixels[0] - pixels[1]).max() <= 1 and np.ptp(pixels[0], axis=(0, 1)).max() > 200


@pytest.mark.parametrize("low, high", [(-47.3, 331.0), (0.0, 1.0), (-0.11, 0.266), (1e-9, 3e-9), (1234.0, 1234.5)])
def test_limits_are_moved_outward_by_little(low, high):
    left, right = drawing.outward(low, high)
    assert left <= low and high <= right and right - left <= 1.25 * (high - low)


def test_two_controls_at_a_time_draw_the_same_as_one_after_the_other():
    """A kernel may answer messages in several threads; matplotlib's settings are shared by all of them."""
    pages = [answered(DATA) for _ in range(3)]
    threads = [threading.Thread(target=setattr, args=(page.book, "value", "builders_level")) for page in pages]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    alone = answered(DATA)
    alone.book.value = "builders_level"
    assert all(page.picture.value == alone.picture.value for page in pages)


def test_without_a_kernel_the_page_is_a_picture_and_a_sentence(page):
    bundle = page._repr_mimebundle_()
    assert base64.b64decode(bundle["image/png"]) == page.picture.value
    assert bundle["text/plain"] == page.describe() and "application/vnd.jupyter.widget-view+json" in bundle


def test_every_figure_draws_on_given_axes():
    ax = Figure().subplots(4)
    d = np.linspace(0, 1000, 5)
    assert figures.curvature_axis(1.57e-7, 3e-8, ax=ax[0]) is ax[0]
    assert figures.sight_chart(d, (d * 0, d * 0), (d * 1e-4, d * 1e-5), axis_height=1.5, points=[(1000, 0.1, 0.01)], ax=ax[1]) is ax[1]
    assert figures.target_board((0.0, 0.01), (0.1, 0.01), found=(0.09, 0.005), ax=ax[2]) is ax[2]
    assert figures.budget_bars([("air", 3.0), ("level", 1.0)], ax=ax[3]) is ax[3]
    assert all("[" in axes.get_xlabel() or "[" in axes.get_ylabel() for axes in ax[:3])
    interval = [line for line in ax[0].lines if line.get_gid() == "flat interval"][0].get_xdata()
    assert interval == pytest.approx([-1.959964 * 0.03, 1.959964 * 0.03], rel=1e-6)


@pytest.mark.parametrize("large", [False, True])
def test_the_water_is_drawn_over_the_bands_as_matplotlib_would(large):
    """A line so low and so tilted that its band lies over the water: marks of one height are drawn in the order in which they were made."""
    page = answered(DATA)
    page.large.value = large
    put(page, length=5000.0, height=0.5, gradient=0.2, collimation=100.0)
    drawn_whole(page)


@pytest.mark.parametrize("typed, told", [("0", "It struck the mark. "), ("0.02 mm", "It struck the mark. "), ("-3", "It struck 3.0 mm below it. "), ("5 in", "It struck 127 mm above it. ")])
def test_what_was_read_is_said_beside_the_answer(typed, told):
    page = answered(None)
    assert "It struck" not in page.sentence.value
    page.fields["phoned"]._number.value = typed
    assert f"You said: on the mark. {told}Over" in page.sentence.value


def test_an_emptied_reading_is_none():
    page = answered(None)
    page.fields["phoned"]._number.value = "200"
    assert page.called.value and "It struck 200 mm above it." in page.sentence.value
    page.fields["phoned"]._number.value = ""
    assert not page.called.value and page.fields["phoned"]._number.value == "" and "struck" not in page.sentence.value
    page.fields["length"]._number.value = ""
    assert page.fields["length"]._number.value == "2000"


def test_the_null_control_shortens_the_line_and_changes_nothing_else_and_back():
    page = answered(None)
    put(page, length=1500.0, collimation=60.0, gradient=0.1)
    before = page.values
    page.null.click()
    assert page.values == before | {"length": 100.0}
    page.null.click()
    assert page.values == before


@pytest.mark.parametrize("tilt, read, passes", [(0.0, 0.0, True), (0.0, 14.0, False), (60.0, 6.0, True), (60.0, -7.0, False)])
def test_the_null_control_passes_or_fails_and_says_nothing_of_the_water(tilt, read, passes):
    """100 m at 60 µrad are 6 mm; curve and air move it by less than 1 mm, touch and pointing by 3 mm and 1 mm."""
    page = answered(None)
    put(page, collimation=tilt)
    page.null.click()
    page.fields["phoned"].children[2].value = f"{read}"
    assert ("and it struck where it should. But a line tilted by 93 µrad would pass here as well, and that is 186 mm over 2000 m" in page.sentence.value) == passes
    assert ("typical errors from where it should: that comes from the level or from the hands" in page.sentence.value) != passes
    assert "excluded" not in page.sentence.value and "times that of the ellipsoid" not in page.sentence.value


@pytest.mark.parametrize("tilt, length, read", [(350.0, 100.0, 35.0), (350.0, 150.0, 53.0), (-200.0, 300.0, -60.0), (0.0, 2000.0, 266.0)])
def test_the_board_shows_the_reading_where_it_struck_and_the_bands_where_they_were(tilt, length, read):
    """Whatever tilt is supposed, on a line as short as a peg test, too. (A reading far from both would pull the instrument's height, which ten metres tie to the water.)"""
    page = answered(None)
    put(page, collimation=tilt, length=length)
    before = [float(text) for text in re.findall(r"(\S+) mm", page.describe())]
    page.fields["phoned"].children[2].value = f"{read}"
    assert [float(text) for text in re.findall(r"(\S+) mm", page.describe())] == [pytest.approx(value, abs=0.1) for value in (*before, read)]


def test_what_was_set_before_the_reading_is_supposed_as_well():
    """The page states its own numbers, whenever they are changed."""
    page = answered(None)
    page.controls["collimation"].value = 150
    page.fields["phoned"].put(300.0)
    assert "What if the line of sight had been tilted by 150 µrad (15.0 typical errors from 0 µrad, next to impossible)? Then:" in page.sentence.value
    page.controls["collimation"].value = 0
    assert "What if" not in page.sentence.value


def test_a_reading_comes_back_with_its_line():
    page = answered(None)
    page.fields["phoned"].put(266.0)
    said = page.sentence.value
    page.controls["length"].value = 1000
    assert "The reading over 2000 m is put aside: it belongs to that line." in page.sentence.value and page.fields["phoned"].children[2].value == ""
    page.controls["length"].value = 1500
    assert "The reading over 2000 m is put aside" in page.sentence.value
    page.controls["length"].value = 2000
    assert page.sentence.value == said and page.fields["phoned"].children[2].value == "266" and page.called.value
    page.null.click()
    assert "is put aside" in page.sentence.value and "The null control" in page.sentence.value
    page.fields["phoned"].children[2].value = "2"
    short = page.sentence.value
    page.null.click()
    assert page.sentence.value == said and page.fields["phoned"].children[2].value == "266"
    page.null.click()
    assert page.sentence.value == short and page.fields["phoned"].children[2].value == "2"


def test_the_null_control_takes_the_level_of_a_book_and_leads_back_to_it_and_to_what_was_supposed():
    page = answered(DATA)
    page.book.value = "builders_level_tested"
    level = page.values["collimation"]
    page.controls["gradient"].value, page.controls["shores"].value = 0.1, 5.0
    page.left_out.value = page.left_out.options[1]
    said, before = page.sentence.value, page.values
    page.null.click()
    assert page.book.value == panels.NO_BOOK and "The null control" in page.sentence.value
    assert page.values == before | {"length": panels.SHORT, "shores": 0.0} and level == pytest.approx(50.1, abs=0.1)
    page.fields["phoned"].children[2].value = "5"
    assert "tilted by" not in page.sentence.value.partition("But")[0] and "(3.7 typical errors from -0.01 K/m, very unlikely)" in page.sentence.value
    page.null.click()
    assert page.book.value == "builders_level_tested" and page.sentence.value == said and page.values | {"phoned": 0.0} == before | {"phoned": 0.0}


def test_a_reading_outlives_a_look_into_a_book_and_not_the_next_hall():
    page = answered(DATA)
    page.fields["phoned"].put(250.0)
    said = page.sentence.value
    page.book.value = "builders_level"
    assert page.fields["phoned"].children[2].value == "" and "250" not in page.sentence.value
    page.book.value = panels.NO_BOOK
    assert page.sentence.value == said and page.fields["phoned"].children[2].value == "250"
    page.reset.click()
    page.answer.value = "on the mark"
    assert "It struck" not in page.sentence.value and page.fields["phoned"].children[2].value == ""


def test_what_is_put_aside_is_said_once():
    page = answered(None)
    page.fields["phoned"].put(250.0)
    page.controls["length"].value = 500
    assert "is put aside" in page.sentence.value
    page.controls["gradient"].value = 0.1
    assert "is put aside" not in page.sentence.value and "strike" in page.sentence.value


def test_a_supposition_that_the_readings_contradict_is_answered_so():
    page = answered(DATA)
    page.book.value = "two_kilometres"
    page.controls["shores"].value = 100.0
    assert "Then: that would contradict what was read, beyond its uncertainty. The readings speak against it." in page.sentence.value
    page.controls["gradient"].value = 0.2
    assert "Then: together they would contradict" in page.sentence.value and "find the blunder" not in page.sentence.value


def test_a_browser_that_answers_while_the_page_still_works_moves_nothing():
    """It sends the step beside what was put before `put` has come back."""
    page = answered(None)
    field = page.fields["length"]
    page.picture.observe(lambda change: field.slider.set_state({"value": 1600.0}), "value")
    field.put(1612.0)
    assert (field.value, field.slider.value, field.children[2].value) == (1612.0, 1600.0, "1612")


def test_a_browser_that_answers_two_numbers_late_moves_nothing_and_a_hand_does():
    page = answered(None)
    field = page.fields["length"]
    field.put(1988.0), field.put(112.0)
    for late in (2000.0, 100.0):
        field.slider.set_state({"value": late})
        assert field.value == 112.0
    field.slider.set_state({"value": 150.0})
    assert field.value == 150.0


def test_a_plan_names_the_tilt_that_it_counts_on():
    page = answered(None)
    put(page, collimation=60.0)
    assert "in air that bends light down (k = 0.15) and with a tilt of 60 µrad, the line of sight" in page.sentence.value


def test_the_height_of_the_tripod_may_be_doubted_where_the_air_does_not_hang_on_it():
    page = answered(DATA)
    page.book.value = "builders_level_tested"
    verdict = page.sentence.value.partition("Over 800 m")[2]
    put(page, height=3.0)
    assert "had stood at 3 m (which cancels: the mark stands as high)? Then: over 800 m" in page.sentence.value
    assert page.sentence.value.partition("over 800 m")[2] == verdict.replace("if all is", "if all else is")


def test_kelvins_that_make_too_steep_a_gradient_are_refused_with_the_gradient():
    page = answered(None)
    put(page, height=0.5)
    page.fields["gradient"].children[2].value = "3 K"
    assert "3 K from the water to the instrument makes 0.6165 K/m at its height, and the page goes to 0.5 K/m: raise the instrument" in page.fault.value and "write 3 K" not in page.fault.value


def test_a_decimetre_in_one_repeat_is_told_in_the_sentence(tmp_path):
    shutil.copytree(DATA / "two_kilometres", tmp_path / "own")
    path = tmp_path / "own" / "readings.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("S1,far mark,2000.0,1.2754", "S1,far mark,2000.0,1.3754")
                    .replace("1.2586", "1.2490").replace("1.2235", "1.2470").replace("1.2212", "1.2512"), encoding="utf-8")
    page = answered(tmp_path)
    page.book.value = "own"
    assert "But one repeat stands apart, readings.csv row 23: S1 to far mark" in page.sentence.value


def test_a_height_that_is_doubted_cancels():
    page = answered(None)
    page.fields["phoned"].put(266.0)
    verdict = page.sentence.value.partition("Over 2000 m")[2]
    put(page, height=3.0)
    assert "What if the instrument had stood at 3 m (which cancels: the mark stands as high)? Then: over 2000 m" in page.sentence.value
    assert page.sentence.value.partition("over 2000 m")[2] == verdict.replace("if all is", "if all else is")


@pytest.mark.parametrize("typed, kelvins, height", [("3 K", 3.0, 1.6), ("-2 °C", -2.0, 1.6), ("3 K", 3.0, 4.0), ("5.4 °F", 3.0, 1.6)])
def test_so_much_warmer_than_the_water_is_read_as_the_gradient_there(typed, kelvins, height):
    """T(z) = Tw + S ln(z/foot) - Γz: the slope at z is S/z - Γ, with ΔT = S ln(z/foot) - Γz."""
    page, lapse = answered(None), curvelab.refraction.DRY_ADIABATIC
    put(page, height=height)
    page.fields["gradient"].children[2].value = typed
    assert page.fault.value == "" and page.values["gradient"] == pytest.approx((kelvins + lapse * height) / math.log(height / curvelab.profile.FOOT) / height - lapse)
    page.fields["gradient"].children[2].value = "3"
    assert "lies beyond -0.5 K/m to 0.5 K/m; for air 3 K warmer than the water write 3 K" in page.fault.value


def test_what_is_supposed_of_the_water_lowers_the_lines_and_not_what_was_read():
    """A far shore 20 mm higher puts the mark 20 mm too high: both lines strike 20 mm lower on it."""
    page = answered(DATA)
    page.book.value = "builders_level_tested"

    def shown():
        return [float(text) for text in re.findall(r"(\S+) mm", page.describe())]

    before = shown()
    page.controls["shores"].value = 20.0
    assert shown() == [pytest.approx(before[0] - 20, abs=0.2), pytest.approx(before[1] - 20, abs=0.2), pytest.approx(before[2], abs=0.5)]


def test_what_does_not_touch_the_water_says_so_first(tmp_path):
    shutil.copytree(DATA / "two_kilometres", tmp_path / "dry")
    site = tmp_path / "dry" / "site.toml"
    site.write_text(re.sub(r"surfaces = .*", "", site.read_text(encoding="utf-8")), encoding="utf-8")
    page = answered(tmp_path)
    page.book.value = "dry"
    assert "mm above it. No reading or height touches the water, so this says nothing of its shape." in page.sentence.value


def test_what_is_not_of_the_chosen_book_is_faded():
    page = answered(DATA)
    page.book.value = "builders_level"
    assert "curvelab-stale" not in page.picture._dom_classes
    page.left_out.value = next(name for name in page.left_out.options if name.startswith("heights.csv row 3"))
    assert "curvelab-stale" in page.picture._dom_classes and "of before" in page.fault.value
    page.left_out.value = panels.NOTHING
    assert "curvelab-stale" not in page.picture._dom_classes


def test_a_budget_drawn_again_is_the_new_one():
    ax, fresh = Figure().subplots(2)
    rows = [("air", 3.0), ("level", 1.0, True)]
    figures.budget_bars([("wind", 9.0, True), ("air", 3.0), ("level", 1.0), ("staff", 0.5)], ax=ax)
    for each in (ax, fresh):
        figures.budget_bars(rows, ax=each)
    told = [[(text.get_text(), *text.xy) for text in each.texts if text.get_visible()] for each in (ax, fresh)]
    assert told[0] == told[1] == [("hatched: shrinks with more readings", 1, 0.02), ("3", 3.0, 1), ("1", 1.0, 0)]
    bars = [np.array([path.get_extents().bounds for mark in each.collections for path in mark.get_paths()]) for each in (ax, fresh)]
    assert np.array_equal(*bars) and bars[0] == pytest.approx(np.array([[0, 0.67, 3.0, 0.66], [0, -0.33, 1.0, 0.66]]))
    assert [label.get_text() for label in ax.get_yticklabels()] == ["air", "level"] and ax.get_xlim() == fresh.get_xlim()


def test_projector_type_is_large():
    with figures.style(projector=True):
        assert matplotlib.rcParams["font.size"] >= 18
    assert not math.isclose(matplotlib.rcParams["font.size"], 18)


def test_nothing_is_shown_before_the_audience_has_answered():
    page = panels.LivePage(DATA)
    assert "the question alone" in page.describe() and "above the mark at its own height" in page.sentence.value
    assert all(not line.get_visible() for axes in page.figure.axes for line in axes.lines if line.get_gid() in ("flat", "ellipsoid", "found"))
    page.answer.value = "below the mark"
    assert "You said: below the mark." in page.sentence.value and "flat -47" in page.describe()
    page.reset.click()
    assert page.answer.value is None and "the question alone" in page.describe()


def test_a_reading_phoned_in_is_judged_by_the_rule(page):
    page.controls["length"].value = 2000
    page.controls["phoned"].value, page.called.value = 270, True
    assert "flat water is excluded" in page.sentence.value and "270.0 mm" in page.describe()
    page.controls["phoned"].value = -47
    assert "water that follows the Earth is excluded" in page.sentence.value and "the water: raise" not in page.sentence.value
    page.controls["gradient"].value, page.controls["length"].value = 0.2, 5000
    assert "The reading over 2000 m is put aside: it belongs to that line." in page.sentence.value and not page.called.value and page.fields["phoned"].children[2].value == ""
    page.controls["phoned"].value = -48
    assert page.sentence.value.count("But over flat water the line of sight would run into the water: raise the instrument") == 1 and "put aside" not in page.sentence.value
    put(page, gradient=-0.01, length=2000)
    page.called.value = False
    assert "This plan can tell them apart" in page.sentence.value and "found" not in page.describe()


def test_one_switch_changes_all_units(page):
    page.controls["length"].value = 2000
    before = page.describe()
    page.units.value = "us"
    assert " in and ellipsoid" in page.describe() and "1.24 miles" in page.sentence.value and " mm" not in page.sentence.value
    assert "the gradient as known to ± 0.0165 °F/ft" in page.notes.value and "K/m" not in page.notes.value
    page.units.value = "metric"
    assert page.describe() == before


def test_the_null_control_finds_nothing(page):
    page.null.click()
    assert abs(offsets(page)["ellipsoid"] - offsets(page)["flat"]) < 1
    page.controls["length"].value = 2000


def test_a_heckler_may_change_a_books_assumptions_and_leave_a_row_out(page):
    page.book.value = "two_kilometres"
    page.left_out.value = page.left_out.options[1]
    assert "had not been taken" in page.sentence.value and page.fault.value == ""
    page.left_out.value = page.left_out.options[0]
    page.controls["shores"].value = 30
    assert "the far water had stood higher by 30 mm" in page.sentence.value
    page.book.value = panels.NO_BOOK
    assert page.controls["shores"].value == 0 and page.controls["shores"].disabled


def test_large_type_is_large_and_comes_back(page):
    before = page.describe()
    page.large.value = True
    assert page.describe() == before and min(label.get_fontsize() for label in page.figure.axes[1].get_xticklabels()) >= 18
    page.large.value = False
    assert page.describe() == before and page.figure.get_figheight() == pytest.approx(triptych.SIZE[1])


def test_every_corner_of_the_controls_gives_a_sentence(page):
    for corner in itertools.product(*[(c.low, c.high) for name, c in panels.CONTROLS.items() if name not in ("shores", "phoned")]):
        put(page, **dict(zip(panels.CONTROLS, corner)))
        assert page.fault.value == "" and "nan" not in page.sentence.value and "inf" not in page.describe(), corner
    page.reset.click()
    page.answer.value = "on the mark"


@pytest.mark.parametrize("middle", [0.3, math.nan, math.inf], ids=["number", "nan", "inf"])
def test_a_band_that_was_moved_looks_as_a_new_one(middle):
    x, asked, pixels = np.linspace(0, 1, 5), [0.0, 0.1, middle, 0.1, 0.4], []
    for steps in (([0.1] * 5, asked), (asked,)):
        figure = Figure()
        FigureCanvasAgg(figure)
        ax = figure.add_axes((0, 0, 1, 1), xlim=(0, 1), ylim=(-1, 2))
        for low in steps:
            drawing.band(ax, "band", x, low, 1.0, drawing.FLAT, "")
        figure.canvas.draw()
        pixels.append(np.array(figure.canvas.buffer_rgba()))
    assert (pixels[0] == pixels[1]).all() and (pixels[0] != 255).any()


@pytest.mark.parametrize("large", [False, True], ids=["small", "large type"])
def test_no_axis_label_meets_a_number_or_leaves_the_picture(page, large):
    page.large.value = large
    for corner in [(100.0, 1.6, -0.01, 75.0), *itertools.product(*[(c.low, c.high) for name, c in panels.CONTROLS.items() if name not in ("shores", "phoned")])]:
        put(page, **dict(zip(panels.CONTROLS, corner)))
        for ax in page.figure.axes[1:]:
            label, numbers = ax.yaxis.label.get_window_extent(), [tick for tick in ax.get_yticklabels() if tick.get_text() and ax.get_ylim()[0] <= tick.get_position()[1] <= ax.get_ylim()[1]]
            assert label.x0 >= 0 and label.x1 + 4 < min(number.get_window_extent().x0 for number in numbers), corner
    page.large.value = False


def test_many_moves_keep_no_more_artists(page):
    page.controls["gradient"].value = 0.1
    before = sum(len(axes.lines) + len(axes.texts) + len(axes.collections) for axes in page.figure.axes)
    for i in range(12):
        page.controls["gradient"].value = 0.1 + 0.002 * (i % 5)
    assert sum(len(axes.lines) + len(axes.texts) + len(axes.collections) for axes in page.figure.axes) == before
    page.controls["gradient"].value = -0.01


@pytest.mark.parametrize("colour", ["FLAT", "ROUND", "FOUND"])
def test_colours_stand_out_from_the_paper_and_from_each_other_for_the_colour_blind(colour):
    """Contrast by WCAG 2.2 (relative luminance, 1.4.3); colour blindness by the matrices of Vienot, Brettel & Mollon (1999), from memory."""
    from matplotlib.colors import to_rgb

    def linear(name):
        c = np.array(to_rgb(name))
        return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)

    def luminance(rgb):
        return rgb @ [0.2126, 0.7152, 0.0722]

    assert (luminance(linear(figures.PAPER)) + 0.05) / (luminance(linear(getattr(figures, colour))) + 0.05) > 4.5
    protan = np.array([[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]])
    deutan = np.array([[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]])
    for seen in (protan, deutan):
        flat, round_ = (seen @ linear(name) for name in (figures.FLAT, figures.ROUND))
        assert np.linalg.norm(flat - round_) > 0.08
