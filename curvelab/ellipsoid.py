"""The Earth's ellipsoid: radii of curvature, geodesics, the drop below a horizontal plane.

Angles are in degrees: geodetic latitude, and azimuth clockwise from north. An ellipsoid is
given by its name in `ELLIPSOIDS` or as an `Ellipsoid`. Numbers out of range and NaN raise ValueError.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .numbers import Array, Floats, checked

DEGREE = np.pi / 180
_BLOCK = 8192  # numbers that fit in a processor's cache, with what is worked out from them


@dataclass(frozen=True)
class Ellipsoid:
    """An ellipsoid of revolution: `semimajor_axis` a [m], `flattening` f [-]."""

    semimajor_axis: float
    flattening: float

    @property
    def polar_radius(self) -> float:
        """Radius of curvature at the poles c = a²/b = a/(1 - f) [m]."""
        return self.semimajor_axis / (1 - self.flattening)

    @property
    def second_eccentricity_squared(self) -> float:
        """e'² = (a² - b²)/b² = f(2 - f)/(1 - f)² [-]."""
        return self.flattening * (2 - self.flattening) / (1 - self.flattening) ** 2


Figure = str | Ellipsoid

# GRS80: Moritz, H. (2000), Geodetic Reference System 1980, J. Geodesy 74, 128-133; not seen, a and 1/f read at DGFI and in EPSG 7019.
# WGS84: World Geodetic System 1984, standard NGA.STND.0036 (2014); not seen, a and 1/f as in PROJ and boule.
ELLIPSOIDS = {
    "GRS80": Ellipsoid(6_378_137.0, 1 / 298.257222101),
    "WGS84": Ellipsoid(6_378_137.0, 1 / 298.257223563),
}
_ACCEPTED = {
    "latitude": (-90, 90, "degrees, positive north"),
    "longitude": (-360, 360, "degrees, positive east"),
    "azimuth": (-360, 360, "degrees, clockwise from north"),
    "distance": (0, 1e6, "metres along the surface"),
}


@dataclass(frozen=True)
class Line:
    """A geodesic: `distance` [m], `azimuth` (0 to 360) and `latitude` of its mid-point [degrees]."""

    distance: float
    azimuth: float
    latitude: float


def meridian_radius(latitude: ArrayLike, ellipsoid: Figure = "GRS80") -> Floats:
    r"""Radius of curvature north-south, of the meridian: latitude [degrees] -> M [m].

    Notes
    -----
    .. math:: M = c / V^3, \quad V^2 = 1 + \eta^2, \quad \eta^2 = e'^2 \cos^2\varphi, \quad c = a^2/b

    Torge, W. & Müller, J. (2012), Geodesy, 4th edition, De Gruyter; not seen, the same as a(1 - e²)/W³ in GRASS GIS.

    >>> round(float(meridian_radius(45.0)), 3)
    6367381.816
    """
    shape = _shape(ellipsoid)
    return shape.polar_radius / (1 + _eta_squared(_checked("latitude", latitude), shape)) ** 1.5


def prime_vertical_radius(latitude: ArrayLike, ellipsoid: Figure = "GRS80") -> Floats:
    """Radius of curvature east-west: latitude [degrees] -> N = c/V [m]; symbols as in `meridian_radius`.

    >>> round(float(prime_vertical_radius(45.0)), 3)
    6388838.29
    """
    shape = _shape(ellipsoid)
    return shape.polar_radius / np.sqrt(1 + _eta_squared(_checked("latitude", latitude), shape))


def gaussian_radius(latitude: ArrayLike, ellipsoid: Figure = "GRS80") -> Floats:
    """Radius of the sphere that fits best: latitude [degrees] -> √(MN) = c/V² [m]; symbols as in `meridian_radius`.

    >>> round(float(gaussian_radius(45.0)), 3)
    6378101.03
    """
    shape = _shape(ellipsoid)
    return shape.polar_radius / (1 + _eta_squared(_checked("latitude", latitude), shape))


def azimuth_radius(latitude: ArrayLike, azimuth: ArrayLike, ellipsoid: Figure = "GRS80") -> Floats:
    r"""Radius of curvature of the surface along a line: latitude, azimuth [degrees] -> R_α [m].

    Notes
    -----
    Euler's formula, 1/R_α = cos²α/M + sin²α/N, in a form with two cosines only (symbols and
    reference as in `meridian_radius`), in blocks that stay in the processor's cache and in place.

    .. math:: R_\alpha = c / [V (1 + \eta^2 \cos^2\alpha)]

    >>> round(float(azimuth_radius(45.0, 30.0)), 3)
    6372732.412
    """
    shape = _shape(ellipsoid)
    (phi, alpha), form = _flat(latitude=latitude, azimuth=azimuth)
    radii = np.empty(phi.size)
    for first in range(0, phi.size, _BLOCK):
        block = slice(first, first + _BLOCK)
        eta_squared, half_turns = _eta_squared(phi[block], shape), alpha[block] / 180
        half_turns -= np.rint(half_turns)  # small angles are faster
        factor = _squared_cosine(np.pi * half_turns)
        factor *= eta_squared
        factor += 1
        eta_squared += 1
        factor *= np.sqrt(eta_squared, out=eta_squared)
        np.divide(shape.polar_radius, factor, out=radii[block])
    return _formed(radii, form)


def geodesic(start: tuple[float, float], end: tuple[float, float], ellipsoid: Figure = "WGS84") -> Line:
    """Shortest line between two points, each (latitude, longitude) [degrees].

    By PROJ, after Karney, C.F.F. (2013), Algorithms for geodesics, J. Geodesy 87, 43-55.

    >>> line = geodesic((45.0, 0.0), (45.0, 0.01))
    >>> round(line.distance, 3), round(line.azimuth, 6)
    (788.468, 90.0)
    """
    from pyproj import Geod

    (lat_1, lat_2), shape = _checked("latitude", [start[0], end[0]]), _shape(ellipsoid)
    lon_1, lon_2 = _checked("longitude", [start[1], end[1]])
    earth = Geod(a=shape.semimajor_axis, f=shape.flattening)
    azimuth, _, distance = earth.inv(lon_1, lat_1, lon_2, lat_2)
    if not distance:
        raise ValueError("start and end are the same point, which has no azimuth: give two different points")
    _, latitude, azimuth = earth.fwd(lon_1, lat_1, azimuth, distance / 2, return_back_azimuth=False)
    return Line(float(distance), float(azimuth) % 360, float(latitude))


def curvature_correction(
    distance: ArrayLike, latitude: ArrayLike, azimuth: ArrayLike, ellipsoid: Figure = "GRS80"
) -> Floats:
    r"""Height above the surface, at the target, of the horizontal plane through the instrument's foot.

    Parameters
    ----------
    distance, latitude, azimuth : array_like
        Length along the surface, foot to foot [m], up to 1000 km; where the instrument stands,
        and the direction of the target from there [degrees].

    Returns
    -------
    float or ndarray
        h [m], along the target's plumb line (the normal of the ellipsoid); never negative.

    Notes
    -----
    Exact; derived here, no source, within 1 nm of Cartesian coordinates up to 100 km. The target is Δφ north and λ east,
    and tan β = (1 - f) tan φ.
    Both feet lie on the ellipsoid, so no large numbers need be subtracted:

    .. math:: h = 2 (a^2/N_1)\, \mathrm{hav}_\beta / (1 - 2\,\mathrm{hav}_\varphi), \quad
        \mathrm{hav}_\varphi = \sin^2(\Delta\varphi/2) + \cos\varphi_1 \cos\varphi_2 \sin^2(\lambda/2)

    The rounding of the target's latitude leaves an error of 4 nm/distance relative to h.
    For short lines h = distance²/(2 R_α).

    >>> round(float(curvature_correction(1000.0, 45.0, 0.0)), 9)
    0.07852517
    """
    from pyproj import Geod

    shape = _shape(ellipsoid)
    (s, phi_1, alpha), form = _flat(distance=distance, latitude=latitude, azimuth=azimuth)
    earth = Geod(a=shape.semimajor_axis, f=shape.flattening)
    given = (values.tolist() for values in (np.zeros_like(s), phi_1, alpha, s))  # numpy before 2.4 warns where pyproj takes an array of one
    longitude, phi_2, _ = map(np.array, earth.fwd(*given))
    step, cosines = DEGREE * (phi_2 - phi_1), np.cos(DEGREE * phi_1) * np.cos(DEGREE * phi_2)
    n_1, n_2 = prime_vertical_radius(phi_1, shape), prime_vertical_radius(phi_2, shape)
    a_squared, hav_lambda = shape.semimajor_axis**2, np.sin(DEGREE * longitude / 2) ** 2
    step_beta = np.arcsin((1 - shape.flattening) * np.sin(step) * n_1 * n_2 / a_squared)
    hav_phi = np.sin(step / 2) ** 2 + cosines * hav_lambda
    hav_beta = np.sin(step_beta / 2) ** 2 + cosines * n_1 * n_2 / a_squared * hav_lambda
    return _formed(2 * a_squared / n_1 * hav_beta / (1 - 2 * hav_phi), form)


def _eta_squared(latitude: Array, shape: Ellipsoid) -> Array:
    """η² = V² - 1 = e'² cos²φ [-]."""
    squared = _squared_cosine(DEGREE * latitude)
    squared *= shape.second_eccentricity_squared
    return squared


def _squared_cosine(angle: ArrayLike) -> Array:
    """cos² [-] of angles [rad], written over the angles: memory is what costs time here."""
    cosine: Array = np.asarray(angle)
    np.cos(cosine, out=cosine)
    cosine *= cosine
    return cosine


def _flat(**given: ArrayLike) -> tuple[list[Array], tuple[int, ...]]:
    """Checked numbers as arrays of one dimension and equal length, and the form to give back."""
    arrays = np.broadcast_arrays(*(_checked(name, values) for name, values in given.items()))
    return [array.ravel() for array in arrays], arrays[0].shape


def _formed(flat: Array, form: tuple[int, ...]) -> Floats:
    """An array of this form, or a number."""
    return flat.reshape(form) if form else float(flat[0])


def _shape(ellipsoid: Figure) -> Ellipsoid:
    """The ellipsoid of this name."""
    shape = ELLIPSOIDS.get(ellipsoid) if isinstance(ellipsoid, str) else ellipsoid
    if shape is None:
        raise ValueError(f"ellipsoid {ellipsoid!r} is not known: use one of {', '.join(ELLIPSOIDS)}, or an Ellipsoid")
    return shape


def _checked(name: str, values: ArrayLike) -> Array:
    """Numbers found to lie within what is accepted under this name."""
    return checked(name, values, *_ACCEPTED[name])
