"""Designs of observation: each plans and reduces, scatters as its plan says, and does what it is meant for."""

from __future__ import annotations

import dataclasses
import functools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import curvelab
from curvelab import designs, planning, profile, refraction
from curvelab.designs import Facts
from curvelab.fieldbook import compose, with_changes
from curvelab.observation import single_sight
from curvelab.records import FieldBook, FieldBookError, Table
from tests.books import DATA, NAMES

KAPPA = 1 / 6.386e6
BREEZE = {"wind": "4 ± 1 m/s"}
EVERY = designs.DESIGNS | {
    "levels exchanged": functools.partial(designs.reciprocal, swapped=True),
    "a level tested each day": functools.partial(designs.several_days, fresh=True),
    "an untested level": functools.partial(designs.several_days, sets=0)}
EXACT = {"distance_u": 0.0, "collimation": "0 ± 0 µrad", "k": "0.13 ± 0"}
NO_ERRORS = {"setting_accuracy": "0 µrad", "focus_runout": "0 µrad", "pointing": "0 µrad", "reading": "0 mm"}
NO_TOUCH = {"water.touch": "0 mm", "water.touch_common": "0 mm", "water.between_shores": "0 ± 0 mm"}


def planned_u(book: FieldBook) -> float:
    """u(κ) of a plan, in units of 1/R."""
    return curvelab.plan(book).result.planned_u / KAPPA


def with_table(book: FieldBook, name: str, headers: tuple[str, ...], rows: list[tuple[str, ...]], **site: object) -> FieldBook:
    """The book with another table, and other sections of site.toml."""
    return compose(book.site | site, book.tables | {name: Table(headers, tuple(rows), tuple(range(2, len(rows) + 2)))})


def without_errors(book: FieldBook) -> FieldBook:
    """The book of an observer, a level and a pole that make none."""
    book = with_changes(book, NO_TOUCH | {f"instrument.{name}.{key}": text for name in book.instruments for key, text in NO_ERRORS.items()})
    table = book.tables["heights.csv"]
    return with_table(book, "heights.csv", (*table.headers[:3], "u [mm]"), [(*row[:3], "0") for row in table.rows])


@pytest.mark.parametrize("distance", [400.0, 2000.0, 5000.0])
def test_a_single_line_is_what_it_was(distance):
    """Word for word the book of the first builder there was."""
    site = {
        "format": 1, "title": "a planned line", "invented": True,
        "line": {"latitude": 48.0, "azimuth": 10.0, "distance": f"{distance!r} m ± {distance / 1000!r} m"},
        "instrument": {"A": {"collimation": "5 ± 8 µrad"}},
        "air": {"lake": {"temperature": "12 °C", "pressure": "1000 hPa", "gradient": "-0.02 ± 0.02 K/m"}},
        "water": {"surfaces": ["near water", "far water"], "touch": "2 mm"},
        "rule": {"alpha_flat": 0.01, "alpha_ellipsoid": 0.01, "power": 0.90},
    }
    rows = (("S1", "near water", "10.0", ""), *[("S1", "far target", repr(distance), "")] * 3)
    tables = {"readings.csv": Table(("setup", "point", "distance [m]", "reading [m]"), rows, (2, 3, 4, 5)),
              "heights.csv": Table(("from", "to", "height [m]"), (("far water", "far target", "1.5"),), (2,))}
    found = designs.single_line(distance, gradient="-0.02 ± 0.02 K/m", collimation="5 ± 8 µrad", pointings=3, latitude=48, azimuth=10,
                                changes={"water": {"touch": "2 mm"}})
    assert found.tables == tables
    assert curvelab.plan(found).separation == pytest.approx(curvelab.plan(compose(site, tables)).separation, rel=1e-9)


@pytest.mark.parametrize("distance", [300.0, 800.0, 5000.0])
@pytest.mark.parametrize("name", EVERY)
def test_every_design_plans_simulates_and_reduces(name, distance):
    plan = curvelab.plan(EVERY[name](Facts(distance)))
    assert plan.book.is_plan and 0.1 < plan.separation < 20
    found = curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=1))
    assert found.curvature.value == pytest.approx(KAPPA, abs=5 * found.curvature.u)
    assert found.planned_u == pytest.approx(plan.result.planned_u, rel=0.25)


@pytest.mark.parametrize("facts", [
    Facts(1500.0, height=2.5, k="0.13 ± 0.25"), Facts(1500.0, tolerance="2 mm per 30 m", pointings=1, latitude=-33.0, azimuth=200.0),
    Facts(1500.0, weather=BREEZE | {"air_minus_water": "1 ± 1 K", "temperature": "50 °F", "pressure": "30 inHg"}),
    Facts(1500.0, weather=BREEZE | {"water_temperature": "11 ± 0.3 °C"}, thermometers=(0.5, 3.0), changes={"water": {"touch": "1 mm"}})],
    ids=["height and k", "tolerance", "profile", "thermometers"])
@pytest.mark.parametrize("name", EVERY)
def test_every_design_takes_every_fact(name, facts):
    book = EVERY[name](facts)
    assert 0.1 < curvelab.plan(book).separation < 30
    assert (book.line.latitude, book.line.azimuth, book.line.distance.u) == (facts.latitude, facts.azimuth, pytest.approx(1.5))
    assert curvelab.adjust(curvelab.simulate(book, curvature=KAPPA, seed=2)).curvature.u > 0


@pytest.mark.parametrize("name, facts", [
    *((name, Facts(1500.0)) for name in EVERY if "series" not in name), ("single sight", Facts(1500.0, tolerance="2 mm per 30 m")),
    ("two targets", Facts(1500.0, tolerance="2 mm per 30 m", height=2.0)), ("series through a day", Facts(1500.0, weather=BREEZE)),
    ("single sight", Facts(1500.0, weather=BREEZE | {"water_temperature": "11 ± 0.3 °C"}, thermometers=(0.5, 3.0)))])
def test_estimates_scatter_as_the_plan_says(name, facts):
    """20 seeds. A rectangular tolerance has the same u as is drawn, so its sd is 1 too. Of a series the wind is stated.

    Where it is not, u is that of a stability within a factor of 2, taken at the strength that was found, and the
    ratio has longer tails than a normal one.
    """
    plan = curvelab.plan(EVERY[name](facts))
    found = [curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=seed)).curvature for seed in range(20)]
    z = np.array([(e.value - KAPPA) / e.u for e in found])
    assert abs(z.mean()) < 4 / math.sqrt(20)
    assert abs(z.std(ddof=1) - 1) < 3.3 / math.sqrt(2 * 19)


@pytest.mark.parametrize("name", ["two targets", "several targets", "levels exchanged"])
def test_without_errors_the_truth_comes_back(name):
    """At both curvatures. A written reading is off by up to 0.05 mm, so a target's curvature by up to 2 · 0.1 mm/d².

    Least squares of up to four of them, which go with d⁴, is off by less than twice that of the longest.
    """
    book = without_errors(EVERY[name](Facts(2000.0, height=1.6, **EXACT)))
    for kappa in (0.0, KAPPA):
        found = curvelab.adjust(curvelab.simulate(book, curvature=kappa, seed=3)).curvature.value
        assert found == pytest.approx(kappa, abs=2 * 2 * 0.1e-3 / 2000**2)


def test_two_targets_are_nearly_free_of_collimation():
    """A level 60 µrad out, of which nothing is known: a single sight is led astray by 2c/(D + d), two targets hardly.

    Readings are written to 0.1 mm, so each can move by that: (1 + m) + (m - 1) times, m = 2, over D²/4.
    """
    moved = {}
    for name in ("single sight", "two targets"):
        plan = EVERY[name](Facts(2000.0, collimation="0 ± 10 mrad"))
        true, out = (curvelab.simulate(plan, curvature=KAPPA, seed=4, truth={"collimation.A": c}) for c in (0.0, 60e-6))
        moved[name] = curvelab.adjust(out).curvature.value - curvelab.adjust(true).curvature.value
    assert moved["single sight"] == pytest.approx(2 * 60e-6 / 2010, rel=0.01)
    assert abs(moved["two targets"]) < 4 * 0.1e-3 / (2000**2 / 4)


@pytest.mark.parametrize("seed", range(3))
def test_two_targets_equal_the_closed_form(seed):
    """κ = χ + 2 [Y(D) - m Y(D2)] / [D² - d² - m (D2² - d²)], m = (D - d)/(D2 - d), where nothing is known of the level."""
    far, half, near = 2000.0, 1000.0, 10.0
    plan = designs.two_targets(Facts(far, collimation="0 ± 1 rad", k="0.13 ± 0.1"))
    book = curvelab.simulate(plan, curvature=KAPPA, seed=seed, truth={"collimation.A": 3e-5})
    r = {d: np.mean([row.reading for row in book.readings if row.distance == d]) for d in (far, half, near)}
    height = {h.end: h.height for h in book.heights}
    y_far, y_half = r[far] + height["far target"] - r[near], r[half] + height["target at 1000 m"] - r[near]
    m = (far - near) / (half - near)
    closed = 0.13 / refraction.REFERENCE_RADIUS + 2 * (y_far - m * y_half) / (far**2 - near**2 - m * (half**2 - near**2))
    assert curvelab.adjust(book).curvature.value == pytest.approx(closed, rel=1e-4, abs=0)
    assert closed != pytest.approx(single_sight(y_far, far, near, 0.0, 0.13 / refraction.REFERENCE_RADIUS), rel=0.01)


def test_a_boat_is_worth_less_than_a_pier():
    """And a target on the way, however it rocks, never does harm."""
    facts = Facts(2000.0, tolerance="2 mm per 30 m")
    pier, boat, cork = (planned_u(designs.two_targets(facts, u)) for u in (0.001, 0.03, 10.0))
    assert pier < 0.9 * boat
    assert cork == pytest.approx(planned_u(designs.single_sight(facts)), rel=1e-4)


def test_a_balanced_control_reads_nothing_over_flat_and_over_curved_water():
    """Equal heights, equal sights, no errors: both shores are read alike, whatever the water's shape, the level's tilt and the air."""
    book = without_errors(designs.balanced_control(Facts(2000.0, **EXACT)))
    sights = {}
    for kappa, tilt in ((0.0, 0.0), (KAPPA, 0.0), (KAPPA, 5e-5)):
        read = curvelab.simulate(book, curvature=kappa, seed=5, truth={"collimation.A": tilt}).readings
        near, far = ([r.reading for r in read if r.setup == "halfway" and r.point == point] for point in ("near target", "far target"))
        assert near == pytest.approx(far, abs=1e-4)
        sights[kappa, tilt] = read[1].reading
    assert sights[KAPPA, 0.0] - sights[0.0, 0.0] == pytest.approx(KAPPA * (2000**2 - 10**2) / 2, abs=2e-4)


@pytest.mark.parametrize("line, words", [("2000 m ± 1 m", "this is to be the longest sight"), ("1000 m ± 1 m", "the curvature is undetermined")])
def test_a_control_by_itself_is_refused(line, words):
    """Whether the line is said to be the whole of it, or one of the two sights: equal sights determine no curvature."""
    book = designs.balanced_control(Facts(2000.0))
    table, site = book.tables["readings.csv"], book.site["line"] | {"distance": line}
    water = ("halfway", "near water", "1000.0", "")  # and were the pole itself read from halfway
    with pytest.raises(FieldBookError, match=words):
        curvelab.adjust(with_table(book, "readings.csv", table.headers, [*(row for row in table.rows if row[0] == "halfway"), water], line=site))


def test_a_control_checks_the_heights():
    alone, controlled = (curvelab.adjust(make(Facts(2000.0))) for make in (designs.single_sight, designs.balanced_control))
    assert any("far water to far target" in label for label in alone.unchecked)
    assert not any("far water to far target" in label for label in controlled.unchecked)
    assert 0.98 < controlled.planned_u / alone.planned_u < 1


def test_reciprocal_sights_leave_the_collimation_and_cancel_the_tilt_of_the_water():
    """From either shore a tilted line looks like curvature, so neither the second level nor an exchange helps against it.

    What the exchange frees from collimation is the height of one shore above the other; what reciprocal sights free
    the curvature from is that height.
    """
    shores = {}
    for swapped in (False, True):
        u = [planned_u(designs.reciprocal(Facts(2000.0, collimation=f"0 ± {c} µrad"), swapped)) for c in (10, 100)]
        by_hand = 2 / 1990 * (2000 - 10) / 2010 * math.sqrt((100e-6**2 - 10e-6**2) / 2) / KAPPA
        assert math.sqrt(u[1] ** 2 - u[0] ** 2) == pytest.approx(by_hand, rel=0.001)
        for c in (10, 100):
            loose = designs.reciprocal(Facts(2000.0, collimation=f"0 ± {c} µrad", changes={"water": {"between_shores": "0 ± 10 m"}}), swapped)
            result = curvelab.plan(loose).result
            assert result.planned_u / KAPPA == pytest.approx(u[c == 100], rel=1e-6)
            shores[swapped, c] = result.solution.estimate(("shores", "")).u
    assert shores[False, 100] > 5 * shores[False, 10]
    assert shores[True, 100] == pytest.approx(shores[True, 10], rel=1e-6)
    loose = Facts(2000.0, changes={"water": {"between_shores": "0 ± 1 m"}})
    assert planned_u(designs.single_sight(loose)) > 5 * planned_u(designs.reciprocal(loose))


def test_several_heights_tell_of_the_air():
    """Nothing is stated but a guess of air and water: one line at one height can't say what three at three heights say."""
    facts = Facts(2000.0, weather=BREEZE | {"air_minus_water": "0 ± 1 K"})
    one = planned_u(designs.several_heights(facts, (1.5,)))
    assert one == pytest.approx(planned_u(designs.single_sight(dataclasses.replace(facts, height=1.5))), rel=1e-9)
    assert planned_u(designs.several_heights(facts)) < 0.5 * one


def test_a_days_airs_are_worth_more_than_one():
    """Each set rests on an air of its own, so five sets are better than any one of them, and not as good as five lakes."""
    facts = Facts(1500.0, weather=BREEZE)
    whole = planned_u(designs.series(facts))
    each = [planned_u(designs.series(facts, (air,))) for air in designs.THROUGH_THE_DAY]
    together = sum(u**-2 for u in each) ** -0.5
    assert together < whole < min(each)


def test_days_and_peg_tests():
    """Tests on each day beat a shared one beats none; three days of independent air beat one, with nothing known beforehand of the level."""
    facts = Facts(2000.0, tolerance="2 mm per 30 m")
    none, shared, fresh = (planned_u(designs.several_days(facts, sets=sets, fresh=fresh)) for sets, fresh in ((0, False), (4, False), (4, True)))
    assert fresh < shared < none
    one, three = (planned_u(designs.several_days(facts, days)) for days in (1, 3))
    assert one / math.sqrt(3) < three < 0.75 * one
    steady = planned_u(designs.several_days(facts, 1, drift="0 µrad"))
    assert steady == pytest.approx(planned_u(designs.with_peg_test(designs.single_sight(facts))), rel=1e-9)
    book = designs.several_days(facts, 2, fresh=True)
    assert [r.visit for r in book.readings] == ["day 1"] * 22 + ["day 2"] * 22
    assert {r.air for r in book.readings if "peg" in r.point} == {f"over land at test {n} set 1 midway" for n in (1, 2)}


@pytest.mark.parametrize("name", NAMES)
def test_any_plan_can_be_added_to(name):
    """Demo books, one of them in feet and inches, one with a gauge, taken back to plans; rows keep their columns and units."""
    plan = planning.blank(curvelab.read_fieldbook(DATA / name))
    book = designs.with_pointings(designs.with_peg_test(designs.with_peg_test(plan, 2), 3, after=True), 7)
    assert [r.setup for r in book.readings][::len(book.readings) - 1] == ["test 1 set 1 midway", "test 2 set 3 near peg A"]
    assert sorted({r.distance for r in book.readings if r.setup.startswith("test")}) == [5.0, 30.0, 65.0]
    assert sum(r.point == "far mark" for r in book.readings) % 7 == 0
    assert planned_u(book) < planned_u(plan)
    warm = designs.with_thermometers(book, (0.5, 3.0), "0 ± 0.1 K")
    assert {t.thermometer for t in warm.air_readings} == set(warm.thermometers) == {"at 0.5 m", "at 3 m"}
    assert {t.air for t in warm.air_readings} == {r.air for r in warm.readings if r.distance > 100}
    assert not any(warm.airs[t.air].gradient for t in warm.air_readings)
    assert curvelab.adjust(curvelab.simulate(warm, curvature=KAPPA, seed=6)).curvature.u > 0


@pytest.mark.parametrize("weather", [{}, {"air_minus_water": "2 ± 1 K"}])
def test_another_day_is_the_design_of_several_days(weather):
    """The same rows come about in another way; and a third day can be added."""
    facts = designs.Facts(2000.0, weather=weather)
    twice = designs.with_another_day(designs.single_sight(facts))
    assert planned_u(twice) == pytest.approx(planned_u(designs.several_days(facts, 2, sets=0, drift="0 µrad")), rel=1e-9)
    assert planned_u(designs.with_another_day(twice, "a third day")) < planned_u(twice)
    with pytest.raises(ValueError, match="already"):
        designs.with_another_day(twice)


def test_struck_rows_and_pegs_keep_their_number():
    book = designs.with_peg_test(designs.single_line(2000.0, pointings=3), 1)
    table = book.tables["readings.csv"]
    rows = tuple((*row, "struck" if i == 6 else "", "bumped" if i == 6 else "") for i, row in enumerate(table.rows))
    struck = with_table(book, "readings.csv", (*table.headers, "status", "remark"), list(rows))
    for n in (1, 2, 9):
        found = designs.with_pointings(struck, n)
        assert sum(r.distance == 2000.0 and not r.struck for r in found.readings) == n
        assert sum(r.struck for r in found.readings) == 1
        assert sum(r.distance < 100 for r in found.readings) == 5


@pytest.mark.parametrize("weather, water, difference", [
    ({}, 12.0, 0.0), ({"air_minus_water": "2 ± 1 K"}, 10.0, 2.0), ({"water_temperature": "9 °C"}, 9.0, 3.0),
    ({"air_minus_water": "-3 ± 1 K", "water_temperature": "15 °C"}, 15.0, -3.0)])
def test_thermometers_of_a_plan_show_the_profile_that_is_stated(weather, water, difference):
    """A logarithm, less the lapse, that shows the stated difference 10 m up; to the 0.01 K that is written."""
    book = designs.with_thermometers(designs.single_sight(Facts(2000.0, weather=weather)), (0.1, 1.0, 10.0, 20.0))
    shape = profile.logarithmic()
    for t in book.air_readings:
        expected = water + (difference + 10 * refraction.DRY_ADIABATIC) * float(shape.rise(t.height) / shape.rise(10.0)) - refraction.DRY_ADIABATIC * t.height
        assert t.temperature == pytest.approx(expected, abs=0.005)


def test_thermometers_and_their_match_help():
    plan = designs.single_sight(Facts(2000.0, weather=BREEZE | {"air_minus_water": "1 ± 1 K"}))
    none, some, matched = planned_u(plan), *(planned_u(designs.with_thermometers(plan, (0.5, 3.0), offset)) for offset in ("", "0 ± 0.05 K"))
    assert matched < some < none


@settings(max_examples=25, deadline=None)
@given(name=st.sampled_from(sorted(set(EVERY) - {"series through a day"})), sets=st.integers(0, 3), after=st.booleans(), more=st.integers(5, 9),
       tape=st.floats(0.5, 20), distance=st.sampled_from([400.0, 1500.0, 4000.0]), tolerance=st.sampled_from(["", "2 mm per 30 m"]))
def test_added_rows_never_make_a_plan_worse(name, sets, after, more, tape, distance, tolerance):
    """A peg test, more pointings, the far target measured once more: u(κ) stays or falls, to rounding."""
    book = EVERY[name](Facts(distance, tolerance=tolerance, height=1.5))
    before = planned_u(book)
    added = designs.with_pointings(designs.with_peg_test(book, sets, after) if sets else book, more)
    table = added.tables["heights.csv"]
    last = dict(zip(table.columns, table.rows[-1])) | {"u": f"{tape / 1000:.5f}"}
    if "u" in table.columns:
        added = with_table(added, "heights.csv", table.headers, [*table.rows, tuple(last[column] for column in table.columns)])
    after_ = planned_u(added)
    assert after_ <= before * (1 + 1e-9)
    assert after_ < before or not sets and more == 5


def test_plans_grow_with_the_line():
    """With the air stated, a longer line decides more, the faster the less the level is known; and two targets gain most where it is short."""
    single, two = ([curvelab.plan(make(Facts(d, tolerance="2 mm per 30 m"))).separation for d in (400.0, 800.0, 2000.0, 5000.0)]
                   for make in (designs.single_sight, designs.two_targets))
    assert single == sorted(single) and two == sorted(two)
    gain = [b / a for a, b in zip(single, two)]
    assert gain[1:] == sorted(gain[1:], reverse=True) and min(gain) > 1.05


@pytest.mark.parametrize("wrong, words", [
    (lambda: Facts(5.0), "distance 5"), (lambda: Facts(math.nan), "distance nan"), (lambda: Facts(2000.0, height=0.0), "height 0"),
    (lambda: Facts(2000.0, pointings=0), "pointings 0"), (lambda: designs.several_targets(Facts(100.0), 9), "targets 9"),
    (lambda: designs.several_days(Facts(2000.0), 0), "days 0"), (lambda: designs.series(Facts(2000.0), ()), "nothing is left to reduce"),
    (lambda: designs.single_sight(Facts(2000.0, k="0.13")), "its standard uncertainty is missing"),
    (lambda: designs.with_peg_test(designs.single_line(2000.0), 0), "sets 0"),
    (lambda: designs.with_pointings(designs.single_line(2000.0), 0), "pointings 0"),
    (lambda: designs.with_thermometers(designs.single_line(2000.0), (0.0,)), "heights 0"),
    (lambda: designs.with_peg_test(curvelab.read_fieldbook(DATA / NAMES[0])), "planning.blank")])
def test_what_cannot_be_is_refused(wrong, words):
    with pytest.raises(ValueError, match=words):
        wrong()
