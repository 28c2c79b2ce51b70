"""Refraction: the handbook coefficient k, the curvature of a ray, the refractivity of air.

k is a unit for the curvature χ of a ray, k = χ · 6371 km, whatever the local radius of the
Earth. Numbers out of range and NaN raise ValueError.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from .numbers import GRAVITY, Array, Floats, checked, plain

REFERENCE_RADIUS = 6_371_000.0  # m, the sphere that k is quoted for: a convention
ZERO_CELSIUS = 273.15  # K
DRY_ADIABATIC = 0.00976  # K/m, fall of temperature in well-mixed dry air: g over c_p = 1005 J/(kg K), from memory (9.8 K/km in the IUPAC Gold Book)
AUTOCONVECTIVE = 0.0342  # K/m, fall of temperature that leaves density constant and rays straight: g over R_d, rounded
_DRY_GAS = 287.05  # J/(kg K), R_d: 8.31446 J/(mol K) over 28.965 g/mol of dry air, as public sources give them
_LIGHTNESS = 1 - 18.015 / 28.965  # of water vapour beside dry air, by molar masses in g/mol, as public sources give them
_HOTTEST = 58  # °C of air at a ray, above any weather station's record (56.7 °C, Death Valley 1913, by WMO): more is taken for °F
_SCALE = 503.0  # K²/hPa · m/K: 6371 km times refractivity · T/P of dry air in green light, 503.4 by Ciddor's equation
_NEUTRAL = 0.0343  # K/m, the autoconvective fall of temperature as the handbook form has it
_ACCEPTED = {
    "temperature": (-40, 100, "degrees Celsius (15 °C, not 288 K or 59 °F)"),
    "pressure": (100, 1400, "hectopascals at the place, not reduced to the sea (1013 hPa, not 101325 Pa or 760 mmHg)"),
    "humidity": (0, 1400, "hectopascals of water vapour, not per cent"),
    "wavelength": (0.3, 1.7, "micrometres in vacuum (0.55 µm, not 550 nm)"),
    "gradient": (-1e3, 1e3, "kelvins per metre of height, positive where it is warmer above"),
    "humidity_gradient": (-1e3, 1e3, "hectopascals of water vapour per metre of height, negative where it is drier above"),
    "k": (-1e6, 1e6, "a refraction coefficient, 0 for a straight ray"),
    "chi": (-1, 1, "a curvature per metre, positive where the ray bends down"),
}


def coefficient(temperature: ArrayLike, pressure: ArrayLike, gradient: ArrayLike) -> Floats:
    r"""Refraction coefficient k of a level ray from the temperature gradient, handbook form.

    Parameters
    ----------
    temperature, pressure, gradient : array_like
        Of the air at the ray [°C], [hPa], and its rise of temperature with height [K/m].

    Returns
    -------
    float or ndarray
        k [-], positive where the ray bends down with the Earth.

    Notes
    -----
    .. math:: k = 503\, (P / T^2)\, (0.0343 + dT/dh)

    For dry air and light of 0.55 µm. Humidity that falls with height lowers k.

    References
    ----------
    Hirt, C. et al. (2010), Monitoring of the refraction coefficient in the lower atmosphere,
    J. Geophys. Res. 115, D21102 (abstract read; the form as public programs quote it).

    >>> round(coefficient(15.0, 1013.25, -0.0065), 4)
    0.1706
    """
    kelvin, hectopascal = _kelvin(temperature), _checked("pressure", pressure)
    return plain(_SCALE * hectopascal / kelvin**2 * (_NEUTRAL + _checked("gradient", gradient)))


def gradient_for(k: ArrayLike, temperature: ArrayLike, pressure: ArrayLike) -> Floats:
    """Temperature gradient [K/m] that gives k in air of so many °C and hPa: `coefficient` inverted.

    >>> round(gradient_for(1.0, 15.0, 1013.25), 4)
    0.1286
    """
    kelvin, hectopascal = _kelvin(temperature), _checked("pressure", pressure)
    return plain(_checked("k", k) * kelvin**2 / (_SCALE * hectopascal) - _NEUTRAL)


def ray_curvature(k: ArrayLike) -> Floats:
    """Curvature χ = k / 6371 km of the ray [1/m], positive where it bends down.

    >>> round(ray_curvature(0.13) * 1e9, 3)
    20.405
    """
    return plain(_checked("k", k) / REFERENCE_RADIUS)


def coefficient_from_curvature(chi: ArrayLike) -> Floats:
    """Refraction coefficient k = χ · 6371 km [-] of a ray's curvature χ [1/m]: `ray_curvature` inverted.

    >>> round(coefficient_from_curvature(2e-8), 4)
    0.1274
    """
    return plain(_checked("chi", chi) * REFERENCE_RADIUS)


def refractivity(
    temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.0, wavelength: ArrayLike = 0.55,
    model: str = "IAG 1999",
) -> Floats:
    """Refractivity of air for the phase of light, which is what bends a ray.

    Parameters
    ----------
    temperature, pressure, humidity, wavelength : array_like
        [°C], [hPa] of the air with its vapour, [hPa] of water vapour, [µm] in vacuum.
    model : str
        A key of `MODELS`: "IAG 1999" (closed formula, good to 1 ppm of n) or "Ciddor 1996".

    Returns
    -------
    float or ndarray
        N = (n - 1) · 10⁶ [-].

    >>> round(refractivity(15.0, 1013.25), 3)
    277.889
    """
    return plain(_formula(model)(*_air(temperature, pressure, humidity), _checked("wavelength", wavelength)))


def curvature_of_ray(
    temperature: ArrayLike, pressure: ArrayLike, gradient: ArrayLike, humidity: ArrayLike = 0.0,
    humidity_gradient: ArrayLike = 0.0, wavelength: ArrayLike = 0.55, model: str = "IAG 1999",
) -> Floats:
    r"""Curvature χ of a level ray from the slope of the refractive index in air at rest.

    Parameters
    ----------
    temperature, pressure, gradient : array_like
        Of the air at the ray [°C], [hPa], and its rise of temperature with height [K/m].
    humidity, humidity_gradient : array_like
        Water vapour [hPa] and its rise with height [hPa/m], negative above water that evaporates.
    wavelength : array_like
        Of the light in vacuum [µm].
    model : str
        A key of `MODELS`, for the refractivity N.

    Returns
    -------
    float or ndarray
        χ [1/m], positive where the ray bends down with the Earth.

    Raises
    ------
    ValueError
        What can't be, and more than 58 °C, which is taken for °F. But 760 mmHg passes for 760 hPa on a mountain.

    Notes
    -----
    .. math:: \chi = -\frac{1}{n} \frac{dn}{dh}, \quad \frac{dP}{dh} = -\frac{g P}{R_d T_v},
        \quad T_v = \frac{T}{1 - 0.378\, e / P}

    The slope of N is a complex step, so exact to rounding (1e-14 of its largest term) for any formula
    of plain arithmetic. Above freezing, in dry green light, `coefficient` comes within 0.5 % + 0.002 of χ · 6371 km.

    >>> round(curvature_of_ray(15.0, 1013.25, -0.0065) * 1e9, 3)
    26.671
    """
    checked("temperature", temperature, -40, _HOTTEST, _ACCEPTED["temperature"][2])
    kelvin, air, vapour = _air(temperature, pressure, humidity)
    fall = GRAVITY / _DRY_GAS * (air - _LIGHTNESS * vapour) / kelvin  # hPa/m
    step = 1e-30  # m, upward and imaginary
    higher = (kelvin + 1j * step * _checked("gradient", gradient), air - 1j * step * fall,
              vapour + 1j * step * _checked("humidity_gradient", humidity_gradient))
    found = _formula(model)(*higher, _checked("wavelength", wavelength))
    return plain(-found.imag / step / (1e6 + found.real))


def saturation(temperature: ArrayLike) -> Floats:
    """Pressure of water vapour that saturates air over water of so many °C [hPa].

    Notes
    -----
    Magnus formula, WMO (2008), Guide to Meteorological Instruments (WMO-No. 8), annex 4.B, as two sources quote it.
    Within 0.4 % of Murphy & Koop (2005) from -20 to 50 °C; for vapour alone, which air enhances by another 0.4 %.

    >>> round(saturation(20.0), 2)
    23.33
    """
    t = _checked("temperature", temperature)
    return plain(6.112 * np.exp(17.62 * t / (243.12 + t)))


def _iag_1999(kelvin: Array, pressure: Array, vapour: Array, wavelength: Array) -> Array:
    """N by the closed formula of 1999, 375 ppm of CO2: Rüeger, J.M. (1999), Report of the Ad-Hoc
    Working Party on Refractive Indices of Light, Infrared and Radio Waves in the Atmosphere, IAG
    (abstract read; coefficients as several public programs have them).
    """
    standard = 287.6155 + 1.62887 / wavelength**2 + 0.01360 / wavelength**4
    return ZERO_CELSIUS / 1013.25 * standard * pressure / kelvin - 11.27 * vapour / kelvin


def _ciddor_1996(kelvin: Array, pressure: Array, vapour: Array, wavelength: Array) -> Array:
    """N by Ciddor, P.E. (1996), Refractive index of air, Applied Optics 35, 1566-1573, 450 ppm of CO2.

    Dry air counts by its density relative to 15 °C, 101325 Pa, vapour relative to 20 °C, 1333 Pa,
    densities that Stone, J.A. & Zimmerman, J.H., Index of Refraction of Air, NIST, give as rounded here.
    Paper not seen: coefficients as a public program quotes them, and within 6e-10 of n in NIST's table.
    """
    pascal, sigma = 100 * pressure, wavelength**-2.0
    enhancement = 1.00062 + 3.14e-8 * pascal + 5.60e-7 * (kelvin - ZERO_CELSIUS) ** 2
    x = enhancement * vapour / pressure
    dry = 1e-2 * (5792105 / (238.0185 - sigma) + 167917 / (57.362 - sigma))
    moist = 1.022e-2 * (295.235 + 2.6422 * sigma - 0.03238 * sigma**2 + 0.004028 * sigma**3)
    per_dry = 0.9995922115 * 288.15 / 101325  # m³ K/J, compressibility of the standard state in front
    per_moist = 0.018015 / (8.314472 * 0.00985938)  # kg/mol / (J/mol/K · kg/m³)
    return _density(kelvin, pascal, x) * (dry * (1 - x) * per_dry + moist * x * per_moist)


def _density(kelvin: Array, pascal: Array, x: Array) -> Array:
    """Density of moist air in moles, times the gas constant [Pa/K]; x: mole fraction of vapour [-]."""
    t, ratio = kelvin - ZERO_CELSIUS, pascal / kelvin
    dry, moist = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2, 1.9898e-4 - 2.376e-6 * t
    mixed = 5.707e-6 - 2.051e-8 * t
    return ratio / (1 - ratio * (dry + mixed * x + moist * x**2) + ratio**2 * (1.83e-11 - 0.765e-8 * x**2))


#: Formulas for the refractivity, by author and year.
MODELS: dict[str, Callable[..., Array]] = {"IAG 1999": _iag_1999, "Ciddor 1996": _ciddor_1996}


def _formula(model: str) -> Callable[..., Array]:
    """The formula of this name: of [K], [hPa] of all the air, [hPa] of vapour, [µm]."""
    if model not in MODELS:
        raise ValueError(f"model {model!r} is not known: use one of {', '.join(map(repr, MODELS))}")
    return MODELS[model]


def _air(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike) -> tuple[Array, Array, Array]:
    """Checked state of the air: [K], [hPa] of all the air, [hPa] of vapour."""
    vapour, air = np.broadcast_arrays(_checked("humidity", humidity), _checked("pressure", pressure))
    if (vapour > air).any():
        raise ValueError(f"humidity {vapour[vapour > air].flat[0]:g} hPa exceeds the pressure of all the air: give "
                         + _ACCEPTED["humidity"][2])
    return _kelvin(temperature), air, vapour


def _kelvin(temperature: ArrayLike) -> Array:
    """Checked temperature [°C] -> [K]."""
    return _checked("temperature", temperature) + ZERO_CELSIUS


def _checked(name: str, values: ArrayLike) -> Array:
    """Numbers found to lie within what is accepted under this name."""
    return checked(name, values, *_ACCEPTED[name])
