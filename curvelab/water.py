"""The water level between readings of a gauge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .numbers import Array, Floats, plain


def level_weights(times: ArrayLike, time: ArrayLike) -> Array:
    """Weights of the gauge's rows in the level at a time, by linear interpolation.

    Parameters
    ----------
    times : (n,) array_like
        When the gauge was read, each later than the one before [s].
    time : number, or (m,) array_like
        When the level is wanted [s], within the record.

    Returns
    -------
    (n,) or (m, n) ndarray
        Weights [-] that sum to 1: level = weights @ levels.

    Raises
    ------
    ValueError
        For a record that is empty or out of order, and a time outside it.

    >>> level_weights([0.0, 600.0, 1200.0], 900.0)
    array([0. , 0.5, 0.5])
    """
    record, wanted = np.asarray(times, dtype=float), np.asarray(time, dtype=float)
    if record.ndim != 1 or not record.size or not np.isfinite(record).all():
        raise ValueError(f"times {times!r} are no record of a gauge: give one time in seconds for each reading")
    late = np.flatnonzero(np.diff(record) <= 0)
    if late.size:
        before, after = record[late[0]], record[late[0] + 1]
        raise ValueError(f"times must increase, but {after:g} s follows {before:g} s: sort the rows, merge equal times")
    outside = wanted[~((wanted >= record[0]) & (wanted <= record[-1]))]
    if outside.size:
        raise ValueError(f"time {outside.flat[0]:g} s is outside the record, {record[0]:g} to {record[-1]:g} s: "
                         "read the gauge before the first and after the last touch")
    after = np.searchsorted(record, wanted)
    before, rows = np.maximum(after - 1, 0), np.arange(record.size)
    share = (wanted - record[before]) / np.where(after > before, record[after] - record[before], 1.0)
    earlier, later = rows == np.expand_dims(before, -1), rows == np.expand_dims(after, -1)
    return np.asarray(earlier * np.expand_dims(1 - share, -1) + later * np.expand_dims(share, -1))


def level_change(times: ArrayLike, levels: ArrayLike, time: ArrayLike, reference: float) -> Floats:
    """Level at a time less the level at a reference time [unit of `levels`], times in seconds.

    >>> round(level_change([0.0, 600.0], [1.310, 1.304], 300.0, 0.0), 4)
    -0.003
    """
    heights, record = np.asarray(levels, dtype=float), np.asarray(times, dtype=float)
    if heights.shape != record.shape or not np.isfinite(heights).all():
        raise ValueError(f"levels {levels!r} are not one number for each of {record.size} times: give one for each")
    return plain((level_weights(record, time) - level_weights(record, reference)) @ heights)
