"""Radii, geodesics and the exact curvature correction, each against an independent route."""

import math
import os
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import boule
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Transformer

from curvelab.ellipsoid import (
    ELLIPSOIDS,
    Ellipsoid,
    azimuth_radius,
    curvature_correction,
    gaussian_radius,
    geodesic,
    meridian_radius,
    prime_vertical_radius,
)

GRS80, WGS84 = ELLIPSOIDS["GRS80"], ELLIPSOIDS["WGS84"]
SPHERE = Ellipsoid(6_371_000.0, 0.0)
COLUMNS = ("lat1", "lon1", "azi1", "lat2", "lon2", "azi2", "s12", "a12", "m12", "S12")
# Karney (2010), Test set for geodesics, doi:10.5281/zenodo.32156; text kept, for its digits exceed a float's.
KARNEY = [
    dict(zip(COLUMNS, row.split(), strict=True))
    for row in (Path(__file__).parent / "geodtest_short_lines.txt").read_text().splitlines()
    if not row.startswith("#")
]
karney = pytest.mark.parametrize("line", KARNEY, ids=[line["s12"] for line in KARNEY])

latitudes = st.floats(-90, 90)
azimuths = st.floats(-360, 360)


def rounding(distance):
    """The relative error that `curvature_correction` admits, with a little for long lines."""
    return 4e-9 / distance + 1e-15


# ---- radii

# Computed with mpmath at 30 digits from M = a(1 - e²)/W³, N = a/W and Euler's formula.
RADII = [
    (0, "GRS80", 6335439.327084, 6378137.000000, 6356752.314140, 6346060.0615, 6356716.4649, 6367408.7174),
    (0, "WGS84", 6335439.327293, 6378137.000000, 6356752.314245, 6346060.0617, 6356716.4650, 6367408.7174),
    (30, "GRS80", 6351377.103584, 6383480.917716, 6367408.777670, 6359372.7459, 6367388.5448, 6375424.5765),
    (45, "GRS80", 6367381.815567, 6388838.290174, 6378101.030201, 6372732.4116, 6378092.0075, 6383460.6261),
    (45, "WGS84", 6367381.815620, 6388838.290121, 6378101.030201, 6372732.4116, 6378092.0075, 6383460.6261),
    (52.5, "GRS80", 6375692.885776, 6391616.773787, 6383649.864555, 6379666.4146, 6383644.8993, 6387628.3493),
    (60, "GRS80", 6383453.857255, 6394209.173927, 6388829.252328, 6386139.2930, 6388826.9891, 6391516.9484),
    (90, "GRS80", 6399593.625864, 6399593.625864, 6399593.625864, 6399593.6259, 6399593.6259, 6399593.6259),
]


@pytest.mark.parametrize("row", RADII, ids=lambda row: f"{row[0]} {row[1]}")
def test_radii_agree_with_the_table(row):
    latitude, name, m, n, gauss, *along = row
    assert meridian_radius(latitude, name) == pytest.approx(m, abs=6e-7)
    assert prime_vertical_radius(latitude, name) == pytest.approx(n, abs=6e-7)
    assert gaussian_radius(latitude, name) == pytest.approx(gauss, abs=6e-7)
    assert azimuth_radius(latitude, [30, 45, 60], name) == pytest.approx(along, abs=5.1e-5)


@pytest.mark.parametrize(
    ("computed", "published"),
    [
        (meridian_radius(0.0), 6335439.3271),  # b²/a
        (gaussian_radius(0.0), 6356752.3141),  # b
        (GRS80.polar_radius, 6399593.6259),  # c
    ],
)
def test_constants_of_grs80(computed, published):
    """Moritz (2000), J. Geodesy 74, 128-133; values seen in tables that quote it."""
    assert computed == pytest.approx(published, abs=5e-5)


def test_second_eccentricity_of_grs80():
    """Moritz (2000), J. Geodesy 74, 128-133; value from memory."""
    assert GRS80.second_eccentricity_squared == pytest.approx(0.00673949677548, abs=5e-15)


@pytest.mark.parametrize("shape", [GRS80, WGS84, Ellipsoid(1.0, 0.2)])
def test_radii_at_equator_and_poles(shape):
    a = shape.semimajor_axis
    b = a * (1 - shape.flattening)
    exact = {"rel": 4e-16}
    assert meridian_radius(0, shape) == pytest.approx(b**2 / a, **exact)
    assert prime_vertical_radius(0, shape) == pytest.approx(a, **exact)
    assert gaussian_radius(0, shape) == pytest.approx(b, **exact)
    for radius in (meridian_radius, prime_vertical_radius, gaussian_radius):
        assert radius([90, -90], shape) == pytest.approx(a**2 / b, **exact)
    assert azimuth_radius(90, [0, 17, 90], shape) == pytest.approx(a**2 / b, **exact)


@given(latitudes, azimuths)
def test_azimuth_radius_is_eulers_formula(latitude, azimuth):
    """Against M and N in the first eccentricity, M = a(1 - e²)/W³ and N = a/W."""
    a, e_squared = GRS80.semimajor_axis, GRS80.flattening * (2 - GRS80.flattening)
    w_squared = 1 - e_squared * math.sin(math.radians(latitude)) ** 2
    m, n = a * (1 - e_squared) / w_squared**1.5, a / math.sqrt(w_squared)
    alpha = math.radians(azimuth)
    inverse = math.cos(alpha) ** 2 / m + math.sin(alpha) ** 2 / n
    assert azimuth_radius(latitude, azimuth) == pytest.approx(1 / inverse, rel=2e-15)


@given(latitudes, st.floats(-180, 180))
def test_azimuth_radius_is_the_same_both_ways(latitude, azimuth):
    there, back = azimuth_radius(latitude, [azimuth, azimuth + 180])
    assert there == pytest.approx(back, rel=4e-16)
    assert there == pytest.approx(azimuth_radius(-latitude, -azimuth), rel=4e-16)


@given(latitudes)
def test_azimuth_radius_at_45_degrees_is_the_harmonic_mean(latitude):
    m, n = meridian_radius(latitude), prime_vertical_radius(latitude)
    assert azimuth_radius(latitude, 45) == pytest.approx(2 * m * n / (m + n), rel=1e-15)
    assert azimuth_radius(latitude, [0, 90]) == pytest.approx([m, n], rel=1e-15)
    assert gaussian_radius(latitude) == pytest.approx(math.sqrt(m * n), rel=1e-15)


def test_45_degrees_is_not_the_gaussian_radius():
    assert gaussian_radius(0) - azimuth_radius(0, 45) == pytest.approx(35.849, abs=1e-3)  # from the table above


@pytest.mark.parametrize("name", ["GRS80", "WGS84"])
def test_prime_vertical_radius_agrees_with_boule(name):
    latitude = np.linspace(-90, 90, 37)
    theirs = getattr(boule, name).prime_vertical_radius(np.sin(np.radians(latitude)))
    assert prime_vertical_radius(latitude, name) == pytest.approx(theirs, rel=1e-15)


def test_by_how_much_6371_km_is_wrong():
    """From the table above: what a sphere of 6371 km does to the curvature of a line."""
    error = 6_371_000 / azimuth_radius([0, 45, 45], [0, 0, 90]) - 1
    assert error * 100 == pytest.approx([0.56, 0.057, -0.28], abs=0.005)


@karney
def test_meridian_and_prime_vertical_radius_span_karneys_lines(line):
    """Northing M Δφ and easting N cos φ Δλ at mid-latitude; what is left out is below 1 µm at 1 km."""
    north = float(Decimal(line["lat2"]) - Decimal(line["lat1"]))
    middle = (float(line["lat1"]) + float(line["lat2"])) / 2
    y = meridian_radius(middle, "WGS84") * math.radians(north)
    east = prime_vertical_radius(middle, "WGS84") * math.cos(math.radians(middle))
    x = east * math.radians(float(line["lon2"]))
    assert math.hypot(x, y) == pytest.approx(float(line["s12"]), abs=1e-6)


@karney
def test_gaussian_radius_follows_from_karneys_reduced_length(line):
    """m12 = s - s³/(6 R²): the published lengths alone measure the curvature of the ellipsoid."""
    s, deficit = float(line["s12"]), float(Decimal(line["s12"]) - Decimal(line["m12"]))
    measured = math.sqrt(s**3 / (6 * deficit))
    known_to = measured / 2 * 1e-13 / deficit + 0.01  # m12 is good to 0.1 pm
    middle = (float(line["lat1"]) + float(line["lat2"])) / 2
    assert gaussian_radius(middle, "WGS84") == pytest.approx(measured, abs=known_to)


# ---- geodesics


@karney
def test_geodesic_measures_karneys_lines(line):
    found = geodesic((float(line["lat1"]), 0.0), (float(line["lat2"]), float(line["lon2"])))
    assert found.distance == pytest.approx(float(line["s12"]), abs=3e-9)  # rounding of two latitudes
    direct = Geodesic.WGS84.Direct(float(line["lat1"]), 0.0, float(line["azi1"]), float(line["s12"]) / 2)
    assert found.latitude == pytest.approx(direct["lat2"], abs=3e-14)
    assert found.azimuth == pytest.approx(direct["azi2"], abs=math.degrees(3e-9 / found.distance))


@pytest.mark.parametrize(
    ("azimuth", "end"),
    [(0, (45.008998319222, 0.0)), (45, (45.006362421852, 0.008969098766)), (90, (44.999999295778, 0.012682817143))],
)
def test_geodesic_measures_a_kilometre(azimuth, end):
    """Ends computed with geographiclib 2.1, to 1e-12 degrees (0.1 µm)."""
    line = geodesic((45.0, 0.0), end)
    assert line.distance == pytest.approx(1000.0, abs=1e-7)
    middle = Geodesic.WGS84.Direct(45.0, 0.0, azimuth, 500.0)
    assert (line.latitude, line.azimuth) == pytest.approx((middle["lat2"], middle["azi2"]), abs=1e-8)


def test_geodesic_on_the_equator_across_the_date_line():
    line = geodesic((0.0, 179.99), (0.0, -179.99))
    assert line.distance == pytest.approx(WGS84.semimajor_axis * math.radians(0.02), abs=1e-7)
    assert (line.azimuth, line.latitude) == pytest.approx((90.0, 0.0), abs=1e-9)


def test_geodesic_reversed():
    there, back = geodesic((47.0, 9.0), (47.1, 9.2)), geodesic((47.1, 9.2), (47.0, 9.0))
    assert back.distance == pytest.approx(there.distance, abs=1e-8)
    assert back.latitude == pytest.approx(there.latitude, abs=1e-12)
    assert back.azimuth - there.azimuth == pytest.approx(180, abs=1e-9)
    assert 0 <= there.azimuth < 360


def test_geodesic_takes_other_ellipsoids():
    assert geodesic((0, 0), (90, 0), SPHERE).distance == pytest.approx(6_371_000 * math.pi / 2, rel=1e-14)


def test_geodesic_refuses_a_point():
    with pytest.raises(ValueError, match=r"same point.*two different points") as refusal:
        geodesic((47.123, 9.456), (47.123, 9.456))
    assert "47.1" not in str(refusal.value)  # an error gives no address away


# ---- curvature correction


@pytest.mark.parametrize(
    ("distance", "height", "digit"),
    [
        (1000, 0.078525170298, 1e-12),
        (3000, 0.706725845267, 1e-12),
        (10000, 7.852487743357, 1e-12),
        (50000, 196.312893637, 1e-9),
    ],
)
def test_curvature_correction_northward_from_45_degrees(distance, height, digit):
    """Computed from coordinates with 40 digits, along the target's normal, GRS80."""
    tolerance = digit / 2 + height * rounding(distance)
    assert curvature_correction(distance, 45, 0) == pytest.approx(height, rel=0, abs=tolerance)


# Computed with mpmath 1.4 at 40 digits from Karney's end points: -(P₂ - P₁)·n₁ / (n₁·n₂).
HEIGHTS = [0.0390956278567898, 0.00287015218314997, 0.067904619998607, 0.0274590733870616, 0.00677113886596918,
           0.0492324656919332, 0.0950479810055226]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "height"), list(zip(KARNEY, HEIGHTS, strict=True)), ids=[line["s12"] for line in KARNEY]
)
def test_curvature_correction_over_karneys_lines(line, height):
    distance = float(line["s12"])
    found = curvature_correction(distance, float(line["lat1"]), float(line["azi1"]), "WGS84")
    assert found == pytest.approx(height, rel=rounding(distance))


@given(st.floats(0.01, 1e6), latitudes, azimuths)
def test_curvature_correction_on_a_sphere(distance, latitude, azimuth):
    """Closed form R (sec θ - 1), as R (sec θ)(2 sin² θ/2)."""
    theta = distance / SPHERE.semimajor_axis
    height = SPHERE.semimajor_axis * 2 * math.sin(theta / 2) ** 2 / math.cos(theta)
    assert curvature_correction(distance, latitude, azimuth, SPHERE) == pytest.approx(height, rel=rounding(distance))


def test_curvature_correction_on_the_sphere_of_6371_km():
    """R (sec θ - 1), worked out to 12 digits."""
    distance = np.array([500, 1000, 3000, 10000, 50000])
    height = np.array([0.0196201538724, 0.0784806160937, 0.706325602848, 7.84806958512, 196.206573537])
    found = curvature_correction(distance, 30, 60, SPHERE)
    assert np.all(np.abs(found / height - 1) <= 3e-12 + rounding(distance))


def up(latitude, shape):
    """PROJ's transformation from longitude, latitude, height to east, north, up at this latitude."""
    figure = f"+a={shape.semimajor_axis} +f={shape.flattening!r}"
    return Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=cart {figure} +step +proj=topocentric {figure} +lon_0=0 +lat_0={latitude!r} +h_0=0"
    )


@pytest.mark.parametrize("latitude", [-90.0, -33.0, 0.0, 12.5, 47.5, 89.99])
@pytest.mark.parametrize("distance", [300.0, 2140.0, 20_000.0, 300_000.0])
def test_curvature_correction_against_topocentric_coordinates(latitude, distance):
    """The point at that height over the target is level with the foot: PROJ's cart and topocentric."""
    shape, transformer = WGS84, up(latitude, WGS84)
    for azimuth in (0.0, 35.0, 90.0, 200.0):
        target = Geodesic.WGS84.Direct(latitude, 0.0, azimuth, distance)
        height = curvature_correction(distance, latitude, azimuth, shape)
        _, _, level = transformer.transform(target["lon2"], target["lat2"], height)
        assert level == pytest.approx(0, abs=5e-9)  # rounding of coordinates of 6e6 m


@pytest.mark.parametrize(
    ("latitude", "azimuth", "cubic"), [(45, 0, -4.142e-5), (52.5, 45, -2.820e-5), (60, 30, -3.095e-5), (45, 90, 0)]
)
def test_curvature_correction_has_a_cubic_term(latitude, azimuth, cubic):
    """κ' s³/6 at 10 km, derived from κ' along the geodesic; it changes sign with the direction."""
    there, back = curvature_correction(10_000, latitude, [azimuth, azimuth + 180])
    assert (there - back) / 2 == pytest.approx(cubic, abs=6e-9)


@given(st.floats(10, 3000), latitudes, azimuths)
def test_curvature_correction_of_short_lines(distance, latitude, azimuth):
    """distance²/2R to 1.2 µm: the cubic term is at most 1.12 µm at 3 km and the next 0.07 µm."""
    simple = distance**2 / (2 * azimuth_radius(latitude, azimuth))
    exact = curvature_correction(distance, latitude, azimuth)
    assert exact == pytest.approx(simple, rel=rounding(distance), abs=1.2e-6 * (distance / 3000) ** 3)


def test_curvature_correction_vanishes_with_distance():
    assert curvature_correction(0, [-90, 0, 51.3, 90], 33) == pytest.approx(0, abs=1e-20)


# ---- scalars, arrays, faults


@pytest.mark.parametrize(
    ("function", "count"),
    [
        (meridian_radius, 1),
        (prime_vertical_radius, 1),
        (gaussian_radius, 1),
        (azimuth_radius, 2),
        (lambda latitude, azimuth, distance: curvature_correction(distance, latitude, azimuth), 3),
    ],
    ids=["meridian", "prime vertical", "gaussian", "azimuth", "curvature"],
)
def test_arrays_hold_what_scalars_give(function, count):
    given_numbers = [np.array([-80.0, 0.0, 47.5]), np.array([[10.0], [200.0]]), np.float64(2140.0)][:count]
    found = function(*given_numbers)
    grids = np.broadcast_arrays(*given_numbers)
    assert found.shape == grids[0].shape
    for place in np.ndindex(found.shape):
        single = function(*(float(grid[place]) for grid in grids))
        assert isinstance(single, float)
        assert single == found[place]


def test_azimuth_radius_of_long_and_empty_arrays():
    latitude, azimuth = np.linspace(-90, 90, 20_001), np.linspace(-360, 360, 20_001)
    found = azimuth_radius(latitude, azimuth)
    picked = [0, 8191, 8192, 16_384, 20_000]
    assert [azimuth_radius(latitude[i], azimuth[i]) for i in picked] == pytest.approx(found[picked], rel=4e-16)
    assert azimuth_radius(np.empty(0), 0.0).shape == (0,)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: meridian_radius(91), "latitude 91 .*-90 and 90.*positive north"),
        (lambda: azimuth_radius([0, 10, -95], 0), "latitude -95 "),
        (lambda: gaussian_radius(math.nan), "latitude nan "),
        (lambda: azimuth_radius(0, [math.inf]), "azimuth inf .*clockwise from north"),
        (lambda: prime_vertical_radius(0, "Bessel"), "'Bessel' is not known: use one of GRS80, WGS84"),
        (lambda: curvature_correction(-1, 0, 0), "distance -1 .*metres along the surface"),
        (lambda: curvature_correction(1.001e6, 0, 0), r"distance 1.001e\+06 "),
        (lambda: azimuth_radius(0, -360.5), "azimuth -360.5 "),
        (lambda: azimuth_radius(0, 360.5), "azimuth 360.5 "),
        (lambda: geodesic((0, 360.5), (0, 0)), "longitude 360.5 "),
        (lambda: geodesic((0, 0), (0, -360.5)), "longitude -360.5 "),
        (lambda: meridian_radius(-90.5), "latitude -90.5 "),
        (lambda: geodesic((0, 400), (0, 0)), "longitude 400 .*positive east"),
        (lambda: geodesic((95, 0), (0, 0)), "latitude 95 "),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()


def test_import_does_not_load_pyproj():
    program = "import sys, curvelab.ellipsoid; sys.exit('pyproj' in sys.modules)"
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    assert subprocess.run([sys.executable, "-c", program], env=environment, check=False).returncode == 0
