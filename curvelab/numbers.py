"""Numbers handed to the formulas, checked: in range and no NaN, or a ValueError that says what to give."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Floats = float | Array
GRAVITY = 9.80665  # m/s², standard by definition: 3rd General Conference on Weights and Measures (1901)


def checked(name: str, values: ArrayLike, low: float, high: float, remedy: str) -> Array:
    """Finite numbers between `low` and `high` [their unit], as an array."""
    array = np.asarray(values, dtype=float)
    if not (array.max(initial=-np.inf) <= min(high, 1e300) and array.min(initial=np.inf) >= max(low, -1e300)):
        wrong = array[~((array >= low) & (array <= high) & np.isfinite(array))].flat[0]
        span = f"does not lie between {low:g} and {high:g}" if np.isfinite([low, high]).all() else "can't be"
        raise ValueError(f"{name} {wrong:g} {span}: give {remedy}")
    return array


def plain(array: Array) -> Floats:
    """A number for an array of no dimension."""
    return array if np.ndim(array) else float(array)
