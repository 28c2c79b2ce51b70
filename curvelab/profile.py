r"""Temperature above still water: shapes of known form and one unknown strength.

.. math:: T(z) = T_w + S\,\mathrm{rise}(z) - \Gamma z

`T_w` temperature of the water surface, `S` strength [K], + = air warmer than
water, `Γ` dry adiabatic lapse rate; ``slope`` = d rise/dz. The shape is known
and the strength is measured, so several thermometers and several sights
through one air share one number.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .numbers import GRAVITY, Array, checked

KARMAN = 0.40  # usual value (from memory)
# Drag of the wind at 10 m: 1.1e-3 to 1.7e-3 over the sea at 4 to 20 m/s, heat 1.15e-3 to 1.26e-3 (Kondo 1975, Boundary-Layer Meteorol. 9:91-112);
# 1.6e-3 and 1.4e-3 over some 30 lakes, more below 3 m/s (Guseva et al., Bulk Transfer Coefficients ... Over Lakes and Reservoirs); abstracts read.
DRAG = 1.2e-3
FOOT = 3.4e-5  # m, where the logarithm reaches the water's temperature: bulk coefficients 1.2e-3 and 1.1e-3 at 10 m
STABLE, UNSTABLE = 5.0, 16.0  # φ of heat: Dyer, A. J. (1974), Boundary-Layer Meteorol. 7:363-372, abstract read
_HIGHEST = 1e4


@dataclass(frozen=True)
class Shape:
    """A profile per kelvin of strength: `slope` [1/m] and `rise` [-] at heights above the water [m]."""

    name: str
    slope: Callable[[ArrayLike], Array]
    rise: Callable[[ArrayLike], Array]


def logarithmic(foot: float = FOOT) -> Shape:
    """Neutral air: slope 1/z, rise ln(z/foot); `foot` [m].

    Notes
    -----
    Law of the wall for temperature (Monin & Obukhov 1954): the φ of `stability` is 1 in the neutral limit.

    >>> float(logarithmic().slope(2.0))
    0.5
    """
    return Shape("logarithmic", lambda z: 1 / _above(z, foot), lambda z: np.log(_above(z, foot) / foot))


def power(exponent: float, foot: float = FOOT) -> Shape:
    """The levelling power law t = a + b z^c: slope z^(c-1), rise (z^c - foot^c)/c.

    Notes
    -----
    Kukkamäki, T. J. (1938), Publ. Finn. Geod. Inst. 25 (from memory); c = -1/3
    in strong sun, about -0.1 to 0.1 otherwise; c = 0 is the logarithm.

    >>> float(power(-1 / 3).slope(1.0))
    1.0
    """
    if not -2 <= exponent <= 2:
        raise ValueError(f"exponent {exponent!r} can't be: give the c of t = a + b z^c, between -2 and 2")
    if exponent == 0:
        return logarithmic(foot)
    return Shape(f"power {exponent:g}", lambda z: _above(z, foot) ** (exponent - 1),
                 lambda z: (_above(z, foot) ** exponent - foot**exponent) / exponent)


def stability(obukhov: float, foot: float = FOOT) -> Shape:
    """Air that the wind mixes against its own buoyancy; `obukhov` length L [m], + = stable, infinite = neutral.

    Notes
    -----
    slope φ(z/L)/z. Unstable, φ = (1 - 16 ζ)^(-1/2), with its integral by Paulson, C. A. (1970), J. Appl. Meteorol.
    9:857-861, as public programs have it. Stable, φ = 1 + 5 ζ/√(1 + ζ²): 1 + 5 ζ near neutral air, as Dyer, A. J. (1974),
    Boundary-Layer Meteorol. 7:363-372 (abstract read), 6 far beyond, as Webb, E. K. (1970), Q. J. R. Meteorol. Soc.
    96:67-90 (from memory); smooth on the way, with ψ of the form of Cheng & Brutsaert (2005), whose φ it meets to 5 %
    beyond ζ = 1, and that of Beljaars & Holtslag (1991) to 2 % up to 0.5. Published forms differ: near ζ = 0.2 it is 19 % below the
    former, at 5 less than half of the latter, at 1 24 % below Webb. Both rises agree with quadrature.

    >>> round(float(stability(50.0).slope(2.0)), 6)
    0.59992
    """
    if not obukhov or math.isnan(obukhov):
        raise ValueError(f"obukhov {obukhov!r} can't be: give a length in metres, + where the air is warmer than the water")
    if math.isinf(obukhov):
        return logarithmic(foot)
    if obukhov > 0:
        def slope(z: ArrayLike) -> Array:
            z = _above(z, foot)
            return 1 / z + STABLE / np.hypot(z, obukhov)

        return Shape("stable", slope, lambda z: np.log(_above(z, foot) / foot) + STABLE * (np.arcsinh(_above(z, foot) / obukhov) - math.asinh(foot / obukhov)))

    def root(z: ArrayLike) -> Array:
        return np.sqrt(1 - UNSTABLE * _above(z, foot) / obukhov)

    def psi(z: ArrayLike) -> Array:
        return 2 * np.log((1 + root(z)) / 2)

    return Shape("unstable", lambda z: 1 / (_above(z, foot) * root(z)),
                 lambda z: np.log(_above(z, foot) / foot) - psi(z) + psi(foot))


def obukhov_length(strength: float, wind: float, temperature: float) -> float:
    """Obukhov length [m] of a strength [K], a wind at 10 m [m/s] and an air temperature [°C].

    Notes
    -----
    ``L = u*² T/(k g θ*)`` with ``u* = √(C_D) U`` and ``θ* = k S`` (k von Kármán's constant).

    >>> round(obukhov_length(0.159, 3.0, 15.0), 1)
    12.5
    """
    checked("wind", wind, 0.1, 60, "metres per second, 0.1 or more")
    checked("temperature", temperature, -40, 60, "degrees Celsius")
    return math.inf if strength == 0 else DRAG * wind**2 * (temperature + 273.15) / (KARMAN**2 * GRAVITY * strength)


def mixed(difference: float, height: float, wind: float, temperature: float, lapse: float = 0.0) -> tuple[Shape, float]:
    """Shape and strength S [K] of air that a wind [m/s] mixes, from an air-minus-water difference [K] at a height [m].

    Notes
    -----
    `strength` and `obukhov_length` hold together: S is found by halving, since
    the difference grows with S for any one wind.

    >>> shape, s = mixed(2.0, 10.0, 3.0, 15.0)
    >>> shape.name, round(s, 3), round(float(s * shape.rise(10.0)), 6)
    ('stable', 0.128, 2.0)
    """
    whole = difference + lapse * height
    if not whole:
        return logarithmic(), 0.0
    near, far = 0.0, whole
    for _ in range(60):
        middle = (near + far) / 2
        shape = stability(obukhov_length(middle, wind, temperature))
        near, far = (middle, far) if abs(middle * shape.rise(height)) < abs(whole) else (near, middle)
    return shape, middle


def strength(difference: ArrayLike, height: float, shape: Shape, lapse: float = 0.0) -> Array:
    """Strength S [K] of an air-minus-water difference [K] measured at a height [m], with the lapse rate Γ [K/m].

    >>> round(float(strength(1.0, 10.0, logarithmic())), 4)
    0.0794
    """
    return (np.asarray(difference, dtype=float) + lapse * height) / shape.rise(height)


def _above(z: ArrayLike, foot: float) -> Array:
    return checked("height", z, foot, _HIGHEST, "metres above the water")
