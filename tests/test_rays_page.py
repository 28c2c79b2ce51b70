"""The page of lines of sight without a browser: what it draws against the ray itself, and every corner of its controls."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from curvelab import air, figures, ray, rays_page
from tests import books

R = 6_371_000.0


@pytest.fixture(scope="module")
def page():
    return rays_page.rays_page()


def put(page, **values):
    books.put(page, **values)
    return figures.named(page.figure.axes[0])["level"], figures.named(page.figure.axes[1])["seen"].get_ydata()


@pytest.mark.parametrize("warmer", [-4.0, 0.0, 3.0])
def test_the_level_line_is_the_ray(page, warmer):
    line, seen = put(page, air=12 + warmer, water=12.0, height=1.6, length=2000.0, wind=5.0)
    here, state = air.windy(12 + warmer, 12.0, 5.0)
    way = ray.follow(2000.0, 1.6, 0.0, 1 / R, lambda z: here.curvature(z, state))
    assert line.get_ydata()[-1] == pytest.approx(way.end, abs=1e-5)
    k = float(way.mean(lambda z: here.curvature(z, state))) * R
    assert f"k = {k:.2f}" in page.sentence.value and page.fault.value == ""
    assert f"level line ends {way.end * 1000:z.0f} mm" in page.describe()
    assert ("looks raised" in page.sentence.value) == (k > 0)


def test_a_cold_lake_raises_the_board_and_a_warm_one_hides_its_foot(page):
    _, cold = put(page, air=15.0, water=12.0, height=1.6, length=2000.0, wind=5.0)
    _, warm = put(page, air=9.0, water=14.0, height=1.6, length=2000.0, wind=3.0)
    assert np.nanmin(cold) < 0.15 < np.nanmin(warm)
    assert "seen more than once" in page.sentence.value and "can&#x27;t be seen" in page.sentence.value
    turned = np.diff(warm[~np.isnan(warm)])
    assert (turned < 0).any() and (turned > 0).any()


@pytest.mark.parametrize("air", [14.0, 14.5, 17.0])
@pytest.mark.parametrize("length", [200.0, 300.0, 1000.0, 2000.0])
def test_a_board_seen_upright_is_not_called_doubled(page, air, length):
    _, seen = put(page, air=air, water=14.0, height=1.6, length=length, wind=4.0)
    clear = seen[~np.isnan(seen)]
    assert (np.maximum.accumulate(clear) - clear).max() < 1e-6 and "more than once" not in page.sentence.value


def test_near_by_the_whole_board_is_seen_down_to_the_water(page):
    _, seen = put(page, air=15.0, water=12.0, height=1.6, length=200.0, wind=4.0)
    assert np.nanmin(seen) < rays_page.HIDDEN and "can&#x27;t be seen" not in page.sentence.value


def test_lines_that_meet_the_water_are_drawn_down_to_it(page):
    level, _ = put(page, air=35.0, water=12.0, height=1.6, length=2000.0, wind=4.0)
    x, z = figures.named(page.figure.axes[0])["rays"].get_data()
    last = np.flatnonzero(np.isnan(x))[1:] - 1  # of each line, before the gap behind it
    ends = [*zip(x[last], z[last]), (level.get_xdata()[-1], level.get_ydata()[-1])]
    assert len(ends) > 15 and all(z == 0 or x == 2000 and z > 0 for x, z in ends)
    assert level.get_ydata()[-1] == 0 and 1340 < level.get_xdata()[-1] < 1430
    here, state = air.windy(35.0, 12.0, 4.0)
    fine = ray.follow(2000.0, 1.6, 0.0, 1 / R, lambda z: here.curvature(z, state), segments=128)
    assert level.get_xdata()[-1] == pytest.approx(fine.x[np.argmax(fine.z <= 0)], abs=15)


def test_each_control_changes_the_picture(page):
    start = {name: control.start for name, control in rays_page.CONTROLS.items()}
    put(page, **start)
    before = page.picture.value
    for name, control in rays_page.CONTROLS.items():
        put(page, **start | {name: control.start + 4 * control.step})
        assert page.picture.value != before, name
        books.drawn_whole(page)
    put(page, **start)
    assert page.picture.value == before == rays_page.rays_page().picture.value


def test_every_corner_of_the_controls_gives_a_picture_or_words(page):
    ends = [(control.low, control.high) for control in rays_page.CONTROLS.values()]  # the height at its lowest: the hardest
    for corner in itertools.product(*ends):
        put(page, **dict(zip(rays_page.CONTROLS, corner)))
        assert page.sentence.value or "graze the water" in page.fault.value, corner
        assert "nan" not in page.sentence.value
