"""The air over one water: what is stated or measured of it, as the curvature of a ray.

Either a mean k or gradient is stated, which is then one unknown for all sights;
or the temperature profile is known in shape, and its strength is one unknown
that thermometers, and sights at several heights, determine together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from . import profile, ray, refraction
from .numbers import Array
from .records import Air, Stated

FAR_U = 0.02  # in k: lapse rate and humidity far from the water (from memory, a judgement)
DEPARTURE = 0.3  # relative standard uncertainty of the profile's slope at one line height (a judgement)
LEAST = 0.05  # K; the strength below which the departure is not taken to shrink further
REFERENCE_HEIGHT = 10.0  # m, where air_minus_water is meant


def by_profile(air: Air) -> bool:
    """Whether the refraction of an air follows from a temperature profile (neither k nor gradient is stated)."""
    return not (air.k or air.gradient)


def stated(air: Air) -> Stated:
    """Curvature of the ray χ in an air for which k or a mean gradient is stated [1/m]."""
    if air.k:
        return Stated(float(refraction.ray_curvature(air.k.value)), float(refraction.ray_curvature(air.k.u)), air.k.default)
    inputs = [air.temperature, air.pressure, air.gradient]
    values = [q.value for q in inputs]
    k = refraction.coefficient(*values)
    spread = [refraction.coefficient(*(v + (q.u or 0) * (i == j) for j, v in enumerate(values))) - k
              for i, q in enumerate(inputs)]
    return Stated(float(refraction.ray_curvature(k)), float(refraction.ray_curvature(math.hypot(*spread))))


@dataclass(frozen=True)
class Layer:
    """Air with a profile: χ(z) = far + per_strength · S · slope(z).

    `far` [1/m] the part without the water, `per_strength` [1/K], `shape` of the
    temperature profile.
    """

    far: Stated
    per_strength: float
    shape: profile.Shape

    def curvature(self, height: ArrayLike, strength: float) -> Array:
        """χ [1/m] at heights above the water [m] for a strength S [K]."""
        return self.far.value + self.per_strength * strength * self.shape.slope(height)


def layer(air: Air, strength: float) -> Layer:
    """The profile of an air; where the wind is stated, its shape follows from wind and strength [K].

    Notes
    -----
    Curvature is linear in the temperature gradient: its value for the dry
    adiabatic gradient is the far part, its slope the part per strength.
    """
    weather = (air.temperature.value, air.pressure.value)
    still, unit = (float(refraction.curvature_of_ray(*weather, gradient)) for gradient in (0.0, 1.0))
    far = still - refraction.DRY_ADIABATIC * (unit - still)
    shape = profile.logarithmic()
    if air.wind and abs(strength) > 1e-6:
        shape = profile.stability(profile.obukhov_length(strength, max(air.wind.value, 0.5), air.temperature.value))
    return Layer(Stated(far, float(refraction.ray_curvature(FAR_U)), True), unit - still, shape)


def strength_prior(air: Air, spread: Stated) -> Stated:
    """Strength S [K] of an air by its air-minus-water difference [K] at 10 m."""
    rise = float(profile.logarithmic().rise(REFERENCE_HEIGHT))
    return Stated(spread.value / rise, spread.u / rise, spread.default)


def difference(strength: float) -> float:
    """Air-minus-water difference at 10 m [K] of a strength S [K] in neutral air."""
    return strength * float(profile.logarithmic().rise(REFERENCE_HEIGHT))


def strength_for(air: Air, chi: float, distance: float, height: float) -> float:
    """Strength S [K] of a neutral profile that bends a level sight over flat water by `chi` on the whole [1/m].

    A sight from `height` [m] over `distance` [m]; found by following the ray
    anew until the strength settles.
    """
    here, strength = layer(air, 0.0), 0.0
    for _ in range(30):
        way = ray.follow(distance, height, 0.0, 0.0, lambda z: here.curvature(z, strength))
        found = (chi - here.far.value) / (here.per_strength * float(way.mean(here.shape.slope)))
        if abs(found - strength) < 1e-6:
            break
        strength = (strength + found) / 2
    return strength


def path(air: Air, strength: float, distance: float, height: float, slope: float, curvature: float) -> tuple[Layer, ray.Path]:
    """The line of sight through an air: its layer, and the path with its weights.

    Parameters
    ----------
    strength : float
        S [K].
    distance, height : float
        Length of the sight, and height of the axis above the water [m].
    slope, curvature : float
        Of the line at the instrument [rad], and of the water [1/m].
    """
    here = layer(air, strength)
    return here, ray.follow(distance, max(height, 0.05), slope, curvature, lambda z: here.curvature(z, strength))


def departure_scale(air_layer: Layer, strength: float) -> float:
    """χ per unit of slope that a relative departure from the profile's shape multiplies [1/m · m]."""
    return air_layer.per_strength * float(np.hypot(strength, LEAST))
