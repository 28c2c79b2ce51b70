"""The level: tolerances, pointing, tilts, classes, and the two-peg test of its line of sight.

Slopes are in radians, positive where the line of sight rises. Numbers that can't be, NaN
among them, raise ValueError.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .numbers import Array, Floats, checked, plain

ARCSECOND = math.pi / 648_000  # rad
_SLOPES = {"µrad": 1e-6, "arcsec": ARCSECOND, "mm per 30 m": 1e-3 / 30, "in per 100 ft": 1 / 1200}  # rad


@dataclass(frozen=True)
class LevelClass:
    """What is expected of a kind of level: limit of collimation [rad], u of the compensator [rad], magnification."""

    collimation_limit: float
    setting_u: float
    magnification: float


LEVELS = {  # common practice, no source
    "builder's level": LevelClass(3e-3 / 30, 5e-6, 22),
    "engineer's level": LevelClass(1.5e-3 / 30, 2.5e-6, 30),
    "precise level": LevelClass(0.6e-3 / 30, 1.5e-6, 40),
}


def rectangular_u(limit: ArrayLike) -> Floats:
    """Standard uncertainty of a quantity known only to lie within ± limit [its unit].

    u = limit/√3: JCGM 100:2008, 4.3.7.

    >>> round(rectangular_u(3.0), 4)
    1.7321
    """
    return plain(_checked("limit", limit, "half the width of the interval, 0 or more") / math.sqrt(3))


def pointing(magnification: ArrayLike) -> Floats:
    """Standard uncertainty of one pointing [rad] of a telescope: 60″/magnification, a rule of thumb.

    A normal eye tells 1′ apart, the 6/6 line of a sight chart.

    >>> round(pointing(24.0) / ARCSECOND, 6)
    2.5
    """
    power = _checked("magnification", magnification, "how many times the telescope magnifies, 20 to 40 as a rule")
    if not power.all():
        raise ValueError("magnification 0 shows no picture: give how many times the telescope magnifies")
    return plain(60 * ARCSECOND / power)


def two_peg(
    readings: ArrayLike, distances: ArrayLike, curvature: ArrayLike = 0.0, refraction: ArrayLike = 0.0
) -> Floats:
    r"""Collimation error from readings of two staffs, A and B, from two set-ups of the level.

    Parameters
    ----------
    readings, distances : four numbers each, or four arrays
        a₁, b₁ from the first set-up, a₂, b₂ from the second, and the lengths of these sights [m].
    curvature, refraction : array_like
        κ of the level surface and χ of the rays [1/m]; 0 and 0 leave them uncorrected.

    Returns
    -------
    float or ndarray
        c [rad], positive where the line of sight rises.

    Notes
    -----
    Heights cancel out of the readings r = HI - H + c d + (κ - χ) d²/2, and with Δ for b less a,
    at the second set-up less at the first,

    .. math:: c = [\Delta r - (\kappa - \chi)\, \Delta(d^2) / 2] / \Delta d

    >>> round(two_peg((1.924, 1.712, 1.696, 1.487), (25.0, 25.0, 1.0, 49.0)) * 1e6, 1)  # 3 mm in 48 m
    62.5
    """
    reading, (distance, imbalance) = _four("readings", readings, -math.inf), _sights(distances)
    kappa = _checked("curvature", curvature, "that of the level surface per metre", -math.inf)
    chi = _checked("refraction", refraction, "the curvature of the rays per metre", -math.inf)
    return plain((_change(reading) - (kappa - chi) / 2 * _change(distance**2)) / imbalance)


def two_peg_u(
    distances: ArrayLike, reading_u: ArrayLike, setting_u: ArrayLike = 0.0, refraction_u: ArrayLike = 0.0
) -> Floats:
    """Standard uncertainty [rad] of what `two_peg` finds: JCGM 100:2008, equation (10), on its formula.

    `distances` as there. `reading_u` [m] of one reading (one number, or four), new at each;
    `setting_u` [rad] of the compensator, new at each set-up; `refraction_u` [1/m] of χ, common
    to the four sights.

    >>> round(two_peg_u((25.0, 25.0, 1.0, 49.0), 0.0005) * 1e6, 1)
    20.8
    """
    distance, imbalance = _sights(distances)
    reading = _checked("reading_u", reading_u, "a standard uncertainty in metres, 0 or more")
    setting = _checked("setting_u", setting_u, "a standard uncertainty in radians, 0 or more")
    refraction = _checked("refraction_u", refraction_u, "a standard uncertainty per metre, 0 or more")
    if reading.ndim and reading.shape[0] != 4:
        raise ValueError(f"reading_u {reading_u!r} is neither one number nor four: give one, or one for a1, b1, a2, b2")
    four = np.sum(reading**2, axis=0) if reading.ndim else 4 * reading**2
    two = setting**2 * ((distance[1] - distance[0]) ** 2 + (distance[3] - distance[2]) ** 2)
    common = refraction / 2 * _change(distance**2)
    return plain(np.sqrt(four + two + common**2) / np.abs(imbalance))


def in_words(slope: float) -> dict[str, float]:
    """A slope [rad] in the units of the trade: µrad, arcsec, mm per 30 m, in per 100 ft.

    >>> {unit: round(value, 2) for unit, value in in_words(1e-4).items()}
    {'µrad': 100.0, 'arcsec': 20.63, 'mm per 30 m': 3.0, 'in per 100 ft': 0.12}
    """
    if not math.isfinite(slope):
        raise ValueError(f"slope {slope!r} is no number: give it in radians")
    return {unit: slope / size for unit, size in _SLOPES.items()}


def crosshair_error(offset: ArrayLike, tilt: ArrayLike) -> Floats:
    """Error of a reading [m] taken `offset` [m] beside the middle of a crosshair tilted by `tilt` [rad]: offset·tan t.

    `offset` is measured at the staff, + = right, and `tilt` + where the right end is high. The tilt itself: one mark, first
    at one end of the crosshair, then at the other. Geometry.

    >>> round(crosshair_error(0.050, 0.01) * 1e3, 2)  # 50 mm beside
    0.5
    """
    aside = checked("offset", offset, -math.inf, math.inf, "metres at the staff")
    return plain(aside * np.tan(checked("tilt", tilt, -0.5, 0.5, "radians")))


def staff_tilt_error(reading: ArrayLike, tilt: ArrayLike) -> Floats:
    """By how much a staff that leans by `tilt` [rad] reads too high [m]: reading·(1 - cos t). Geometry.

    >>> round(staff_tilt_error(2.0, math.radians(1)) * 1e3, 3)
    0.305
    """
    return plain(2 * _checked("reading", reading, "metres, 0 or more") * np.sin(checked("tilt", tilt, -1.5, 1.5, "radians") / 2) ** 2)


def levels_at(distance: float) -> dict[str, dict[str, float]]:
    """What the classes in `LEVELS` mean at a distance [m], in mm: limit of collimation, u of compensator and of one pointing.

    >>> {cause: round(mm, 1) for cause, mm in levels_at(1000.0)["builder's level"].items()}
    {'collimation limit': 100.0, 'compensator': 5.0, 'pointing': 13.2}
    """
    mm = 1e3 * float(_checked("distance", distance, "metres, 0 or more"))
    return {name: {"collimation limit": kind.collimation_limit * mm, "compensator": kind.setting_u * mm,
                   "pointing": float(pointing(kind.magnification)) * mm} for name, kind in LEVELS.items()}


def _change(four: Array) -> Array:
    """(b - a) at the second set-up less (b - a) at the first."""
    return np.asarray((four[3] - four[2]) - (four[1] - four[0]))


def _sights(distances: ArrayLike) -> tuple[Array, Array]:
    """Checked distances [m], and by how much the two set-ups differ in balance [m]."""
    distance = _four("distances", distances, 0.0)
    imbalance = _change(distance)
    if (np.abs(imbalance) <= 1e-9 * distance.sum(axis=0)).any():
        raise ValueError(f"distances {distances!r} make both set-ups equally balanced, which says nothing about "
                         "collimation: set up once midway and once near one staff")
    return distance, imbalance


def _four(name: str, values: ArrayLike, low: float) -> Array:
    """Checked numbers [m], one for each of the four sights."""
    array = _checked(name, values, "metres", low)
    if array.shape[:1] != (4,):
        raise ValueError(f"{name} {values!r} are not four: give those of a1, b1, a2, b2 in metres")
    return array


def _checked(name: str, values: ArrayLike, remedy: str, low: float = 0.0) -> Array:
    """Finite numbers, none below `low`."""
    return checked(name, values, low, math.inf, remedy)
