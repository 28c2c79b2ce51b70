"""The water level between readings of a gauge."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvelab.water import level_change, level_weights

TIMES, LEVELS = np.array([0.0, 600.0, 900.0, 1800.0]), np.array([1.310, 1.304, 1.307, 1.301])

milliseconds = st.lists(st.integers(0, 10**8), min_size=1, max_size=20, unique=True)
records = milliseconds.map(lambda times: [time / 1000 for time in sorted(times)])


@pytest.mark.parametrize(
    ("time", "weights"),
    [
        (0, [1, 0, 0, 0]),
        (600, [0, 1, 0, 0]),
        (700, [0, 2 / 3, 1 / 3, 0]),
        (1575, [0, 0, 1 / 4, 3 / 4]),
        (1800, [0, 0, 0, 1]),
    ],
)
def test_weights(time, weights):
    """Worked by hand."""
    assert level_weights(TIMES, time) == pytest.approx(weights, abs=1e-15)


@given(records, st.lists(st.floats(0, 1), max_size=5), st.data())
def test_weights_interpolate(times, fractions, data):
    """Against numpy's interpolation, of any levels."""
    wanted = np.clip([times[0] + f * (times[-1] - times[0]) for f in fractions], times[0], times[-1])
    levels = data.draw(st.lists(st.floats(-10, 10), min_size=len(times), max_size=len(times)))
    weights = level_weights(times, wanted)
    assert weights.shape == (len(fractions), len(times))
    assert weights.sum(axis=1) == pytest.approx(np.ones(len(fractions)), abs=1e-15)
    assert np.all((weights >= 0) & (weights <= 1))
    assert np.all(np.count_nonzero(weights, axis=1) <= 2)
    assert weights @ levels == pytest.approx(np.interp(wanted, times, levels), abs=1e-13)


def test_one_row_is_good_at_its_own_time_only():
    assert level_weights([600.0], 600.0) == pytest.approx([1.0])
    with pytest.raises(ValueError, match="time 601 s is outside the record, 600 to 600 s"):
        level_weights([600.0], [600.0, 601.0])


def test_weights_of_scalars_and_arrays():
    assert level_weights(TIMES, 700.0).shape == (4,)
    both = level_weights(TIMES, [700.0, 1575.0])
    assert both == pytest.approx(np.array([level_weights(TIMES, 700.0), level_weights(TIMES, 1575.0)]))


def test_level_change():
    """Worked by hand: at 750 s the level is 1.3055, at 300 s it is 1.307."""
    assert level_change(TIMES, LEVELS, 750, 300) == pytest.approx(-0.0015, abs=1e-15)
    assert isinstance(level_change(TIMES, LEVELS, 750, 300), float)
    assert level_change(TIMES, LEVELS, [300, 750, 1800], 300) == pytest.approx([0, -0.0015, -0.006], abs=1e-15)


@given(st.floats(0, 1800), st.floats(0, 1800), st.floats(-5, 5))
def test_level_change_does_not_depend_on_the_zero_of_the_gauge(time, reference, zero):
    change = level_change(TIMES, LEVELS, time, reference)
    assert level_change(TIMES, LEVELS + zero, time, reference) == pytest.approx(change, abs=1e-14)
    assert level_change(TIMES, LEVELS, reference, time) == pytest.approx(-change, abs=1e-14)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: level_weights(TIMES, -1), "time -1 s is outside.*before the first and after the last touch"),
        (lambda: level_weights(TIMES, [0, 1801]), "time 1801 s is outside.*before the first and after the last touch"),
        (lambda: level_weights(TIMES, math.nan), "time nan s is outside"),
        (lambda: level_weights([0, 600, 300], 100), "300 s follows 600 s: sort the rows"),
        (lambda: level_weights([0, 600, 600], 100), "600 s follows 600 s: .*merge equal times"),
        (lambda: level_weights([], 0), "no record of a gauge: give one time in seconds for each reading"),
        (lambda: level_weights([0, math.nan], 0), "no record of a gauge"),
        (lambda: level_weights(0.0, 0), "no record of a gauge"),
        (lambda: level_change(TIMES, LEVELS[:3], 0, 0), "not one number for each of 4 times"),
        (lambda: level_change(TIMES, [1, 1, math.nan, 1], 0, 0), "not one number for each of 4 times"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()
