"""The air over one water: what is stated or measured of it, as the curvature of a ray.

Either a mean k or gradient is stated, which is then one unknown for all sights;
or the temperature profile is known in shape, and its strength is one unknown
that thermometers, and sights at several heights, determine together.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from . import profile, ray, refraction
from .numbers import GRAVITY, Array
from .records import Air, Stated

FAR_U = 0.02  # in k: lapse rate far from the water (from memory, a judgement)
DEPARTURE = 0.2  # relative u of the water's part of the bending, common to all sights through one air (a judgement)
KNOT_U = 0.1  # the same at one height of line, shared with lines near it
KNOTS = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)  # m
CALM, GENTLEST, WIND_U = 3.0, 1.0, 0.3  # m/s of a lake whose wind is not stated; the least; relative u of a stated one
UNKNOWN_WIND, WITHIN_MODEL = 2.0, 0.5  # relative u of G: wind within a factor of 2 or so; the first order itself
ALIKE = 0.5  # share of the variance of those two that all airs have in common (a judgement)
LEAST_GRADIENT = 0.002  # K/m
EVAPORATION, EVAPORATION_U = -0.3, 0.25  # of saturation: vapour 10 m up less that at the water (a judgement)
HYGROMETER_U, HUMIDITY_U = 0.05, 0.01  # of saturation: common to all readings of one hygrometer; each reading (judgements)
LEAST = 0.05  # K; the strength below which the departure is not taken to shrink further
REFERENCE_HEIGHT = 10.0  # m, where air_minus_water is meant
_RISE = float(profile.logarithmic().rise(REFERENCE_HEIGHT))


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
class State:
    """What is not known beforehand of an air with a profile: `strength` S [K], uniform gradient G of `stability` [K/m], `vapour` E [hPa].

    T = T_w + S rise(z) + G z - Γ z, and vapour pressure e = e_w + E rise(z); `expected` ± `expected_u` is what was known of S
    before any long sight [K]: it sets how uncertain G is, whatever the sights say.
    """

    strength: float = 0.0
    stability: float = 0.0
    vapour: float = 0.0
    expected: float = 0.0
    expected_u: float = 0.0


@dataclass(frozen=True)
class Layer:
    """Air with a profile: χ(z) = far + per_gradient · (S · slope(z) + G) + per_vapour · E · slope(z).

    `far` [1/m] the part without the water, `per_gradient` [1/m per K/m],
    `per_vapour` [1/m per hPa/m], `shape` of the profile.
    """

    far: Stated
    per_gradient: float
    per_vapour: float
    shape: profile.Shape

    def curvature(self, height: ArrayLike, state: State) -> Array:
        """χ [1/m] at heights above the water [m]."""
        near = self.per_gradient * state.strength + self.per_vapour * state.vapour
        return self.far.value + self.per_gradient * state.stability + near * self.shape.slope(height)


@functools.lru_cache(64)
def layer(air: Air) -> Layer:
    """The profile of an air: a logarithm, and a uniform gradient beside it that stability adds.

    Notes
    -----
    Curvature is linear in the gradients of temperature and vapour: its value for the dry
    adiabatic gradient is the far part, its slopes the parts per K/m and per hPa/m.
    """
    weather = (air.temperature.value, air.pressure.value)
    still, warmer, moister = (float(refraction.curvature_of_ray(*weather, gradient, 0.0, vapour)) for gradient, vapour in ((0, 0), (1, 0), (0, 1)))
    far = still - refraction.DRY_ADIABATIC * (warmer - still)
    return Layer(Stated(far, float(refraction.ray_curvature(FAR_U)), True), warmer - still, moister - still, profile.logarithmic())


def stability_prior(air: Air, state: State) -> tuple[Stated, float, float]:
    """Uniform gradient G [K/m] that stability adds to the logarithm, dG/dS [1/m], and what G errs by with all airs alike [K/m].

    Notes
    -----
    To first order in z/L, Monin–Obukhov adds β S/L to the slope S/z, with
    S/L proportional to S²/U²: it is positive over cold and over warm water
    alike, so days of opposite sign don't cancel it. Where no wind is stated,
    a calm lake of 3 m/s within a factor of 2 is taken (a judgement).
    S is normal beforehand, e ± s: S⁴ is e⁴ + 6 e² s² + 3 s⁴ on average, and S²
    is above its tangent at e by s² ± √2 s². Not by what sights say of S, lest u follow κ.
    The first order errs to the same side in every air, and so does a guess of the wind: more airs don't average that out.
    """
    wind = max(air.wind.value, GENTLEST) if air.wind else CALM
    per_square = profile.STABLE * profile.KARMAN**2 * GRAVITY / (profile.DRAG * wind**2 * (air.temperature.value + 273.15))
    gusts, model = (2 * (air.wind.u or WIND_U * wind) / wind, WITHIN_MODEL) if air.wind else (0.0, UNKNOWN_WIND)
    own, common = math.hypot(gusts, model * math.sqrt(1 - ALIKE)), model * math.sqrt(ALIKE)
    e, s = state.expected, state.expected_u
    size = math.sqrt(e**4 + 6 * e**2 * s**2 + 3 * s**4)
    u = per_square * math.hypot(own * size, math.sqrt(2) * s**2) + LEAST_GRADIENT
    return Stated(per_square * (state.strength**2 + s**2), u, not air.wind), 2 * per_square * state.strength, per_square * common * size


def strength_prior(air: Air, spread: Stated) -> Stated:
    """Strength S [K] of an air by its air-minus-water difference [K] at 10 m."""
    return Stated(neutral_strength(spread.value), spread.u / _RISE, spread.default)


def vapour_prior(air: Air) -> Stated:
    """Strength E [hPa] of the vapour's profile: a lake evaporates, so E is negative as a rule and lowers k.

    Notes
    -----
    Air 10 m up holds less vapour than saturated air at the water, by 0.3 ± 0.25 of saturation (a judgement:
    relative humidity of 70 % over water as warm as the air).
    """
    unit = float(refraction.saturation(air.temperature.value)) / _RISE
    return Stated(EVAPORATION * unit, EVAPORATION_U * unit, True)


def difference(strength: float) -> float:
    """Air-minus-water difference at 10 m [K] of a strength S [K] in neutral air."""
    return strength * _RISE - refraction.DRY_ADIABATIC * REFERENCE_HEIGHT


def neutral_strength(difference: float) -> float:
    """Strength S [K] of an air-minus-water difference [K] at 10 m in neutral air."""
    return float(profile.strength(difference, REFERENCE_HEIGHT, profile.logarithmic(), refraction.DRY_ADIABATIC))


def strength_for(air: Air, chi: float, distance: float, height: float) -> float:
    """Strength S [K] of a neutral profile that bends a level sight over flat water by `chi` on the whole [1/m].

    With evaporation as it is expected; a sight from `height` [m] over `distance` [m]; found by following the ray
    anew until the strength settles.
    """
    here, strength, vapour = layer(air), 0.0, vapour_prior(air).value
    for _ in range(30):
        state = State(strength, 0.0, vapour)
        _, way = path(air, state, distance, height, 0.0, 0.0)
        missing = (chi - float(way.mean(lambda z: here.curvature(z, state)))) / (here.per_gradient * float(way.mean(here.shape.slope)))
        if abs(missing) < 1e-6:
            break
        strength += missing / 2
    return strength


def path(air: Air, state: State, distance: ArrayLike, height: float, slope: float, curvature: float) -> tuple[Layer, ray.Path]:
    """The line of sight through an air: its layer, and the path with its weights.

    Parameters
    ----------
    state : State
    distance, height : array_like
        Length of the sight, and height of the axis above the water [m].
    slope, curvature : float
        Of the line at the instrument [rad], and of the water [1/m].
    """
    here = layer(air)
    return here, ray.follow(distance, max(height, 0.05), slope, curvature, lambda z: here.curvature(z, state))


def windy(temperature: float, water: float, wind: float, pressure: float = 1000.0) -> tuple[Layer, State]:
    """The air of a lake as a wind mixes it, by Monin–Obukhov, for pictures: the network takes the first order of it.

    Parameters
    ----------
    temperature, water : float
        Of the air 10 m up and of the water's surface [°C].
    wind, pressure : float
        [m/s], [hPa]

    >>> here, state = windy(15.0, 15.0, 5.0)
    >>> round(float(here.curvature(2.0, state)) * 6371e3, 2)
    0.12
    """
    mass = Air("lake", temperature=Stated(temperature), pressure=Stated(pressure))
    shape, strength = profile.mixed(temperature - water, REFERENCE_HEIGHT, wind, temperature, refraction.DRY_ADIABATIC)
    return replace(layer(mass), shape=shape), State(strength, 0.0, vapour_prior(mass).value)


def knots(height: float) -> dict[str, float]:
    """Weights of a line height between the knots at which the shape may depart, linear in ln z."""
    places = np.log(np.clip(height, KNOTS[0], KNOTS[-1])) - np.log(KNOTS)
    after = min(int(np.searchsorted(-places, 0.0, side="right")), len(KNOTS) - 1)
    share = float(places[after - 1] / (places[after - 1] - places[after]))
    return {f"{KNOTS[after - 1]:g} m": 1 - share, f"{KNOTS[after]:g} m": share}


def departure_scale(air_layer: Layer, strength: float) -> float:
    """χ per unit of slope that a relative departure from the profile's shape multiplies [1/m · m]."""
    return air_layer.per_gradient * float(np.hypot(strength, LEAST))
