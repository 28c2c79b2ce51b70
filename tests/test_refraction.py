"""Refraction coefficient, ray curvature and refractivity against published values and other routes."""

import math

import numpy as np
import pytest
import ref_index
from hypothesis import given
from hypothesis import strategies as st

from curvelab.refraction import (
    MODELS,
    REFERENCE_RADIUS,
    coefficient,
    coefficient_from_curvature,
    gradient_for,
    ray_curvature,
    refractivity,
)

KILOMETRE, MILE, FOOT, INCH = 1000.0, 1609.344, 0.3048, 0.0254  # m
temperatures, pressures = st.floats(-40, 50), st.floats(600, 1100)


# ---- k and the temperature gradient

# °C, hPa, K/m, then k by 503 P/T² (0.0343 + dT/dh) and R/(1 - k) [km], both worked by hand from
# the formula (Hirt et al. 2010, J. Geophys. Res. 115, D21102; formula from memory), and k by
# Ciddor's equation with hydrostatic dry air, computed with ref_index over 2 m of height.
GRADIENTS = [
    (15, 1013.25, -0.0065, 0.1706, 7681.9, 0.16990),
    (15, 1013.25, -0.0098, 0.1504, 7498.7, 0.14957),
    (15, 1013.25, 0.0, 0.2105, 8070.1, 0.20995),
    (15, 1013.25, 0.1, 0.8244, 36276, 0.82612),
    (15, 1013.25, -0.2, -1.0171, 3158.5, -1.02239),
    (15, 1013.25, -0.5, -2.8586, 1651.1, -2.87090),
    (15, 1013.25, 0.5, 3.2797, -2794.7, 3.29081),
    (0, 1013.25, -0.0065, 0.1899, 7864.5, 0.18912),
]
gradients = pytest.mark.parametrize("row", GRADIENTS, ids=[f"{row[0]} °C {row[2]} K/m" for row in GRADIENTS])


@gradients
def test_coefficient_and_effective_radius(row):
    *air, k, radius, _ = row
    found = coefficient(*air)
    assert found == pytest.approx(k, abs=5e-5)
    effective = 1 / (1 / REFERENCE_RADIUS - ray_curvature(found)) / KILOMETRE
    assert effective == pytest.approx(radius, abs=0.5 if radius > 1e4 else 0.05)


@gradients
def test_coefficient_is_the_slope_of_the_refractive_index(row):
    """k = -R dn/dh, where n by Ciddor (1996) falls with temperature and hydrostatic pressure."""
    t, p, gradient, handbook, _, k = row
    fall = -9.80665 / 287.05 * p / (t + 273.15)  # hPa/m, dry air
    dh = 1.0
    above, below = (refractivity(t + s * gradient * dh, p + s * fall * dh, model="Ciddor 1996") for s in (1, -1))
    slope = -REFERENCE_RADIUS * (above - below) / (2 * dh) * 1e-6
    assert slope == pytest.approx(k, abs=1.1e-5)
    assert abs(handbook - slope) <= 5e-3 * abs(slope) + 2e-3  # 503 and 0.0343 are rounded


@pytest.mark.parametrize(("temperature", "slope"), [(0, 6.831), (15, 6.138), (30, 5.546)])
def test_coefficient_is_linear_in_the_gradient(temperature, slope):
    """503 P/T² per K/m, worked by hand."""
    k = coefficient(temperature, 1013.25, [-0.5, 0.0, 0.5])
    assert np.diff(k) / 0.5 == pytest.approx([slope, slope], abs=5.1e-4)


@pytest.mark.parametrize(
    ("k", "temperature", "gradient"),
    [
        (0.13, 15, -0.0131),
        (1 / 7, 15, -0.0110),
        (1.0, 0, 0.1121),  # the ray follows the Earth
        (1.0, 15, 0.1286),
        (1.0, 30, 0.1460),
        (-0.87, 15, -0.176),  # flat water would look like a globe with k = 0.13
        (0.0, 15, -0.0343),
    ],
)
def test_gradient_for(k, temperature, gradient):
    """The formula above solved by hand."""
    assert gradient_for(k, temperature, 1013.25) == pytest.approx(gradient, abs=5e-4 if k == -0.87 else 5.1e-5)


@given(st.floats(-20, 20), temperatures, pressures)
def test_gradient_for_inverts_coefficient(k, temperature, pressure):
    gradient = gradient_for(k, temperature, pressure)
    assert coefficient(temperature, pressure, gradient) == pytest.approx(k, rel=1e-12, abs=1e-12)


@given(st.floats(-20, 20))
def test_ray_curvature_and_its_inverse(k):
    assert coefficient_from_curvature(ray_curvature(k)) == pytest.approx(k, rel=4e-16)
    assert ray_curvature(k) * REFERENCE_RADIUS == pytest.approx(k, rel=4e-16)


def test_ray_that_follows_the_earth():
    assert REFERENCE_RADIUS == 6_371_000
    assert ray_curvature(1.0) == pytest.approx(1.570e-7, abs=5e-11)
    assert ray_curvature(0.0) == 0


# ---- what handbooks make of it


def correction(k, sight):
    """Curvature less refraction over a sight [m], on the sphere that k is quoted for."""
    return (1 / REFERENCE_RADIUS - ray_curvature(k)) * sight**2 / 2


# Curvature 0.667 M² ft and 0.0239 F² ft (M miles, F thousands of feet): Ghilani & Wolf, Elementary
# Surveying, equation 4.1, from memory. 0.0785 K² m: common practice, no source. Combined 0.0675 K² m:
# slides that cite Ghilani & Wolf, 13th edition; 0.574 M² and 0.0206 F² ft from memory.
HANDBOOK = [
    (KILOMETRE, 1.0, 0.0785, 0.0675, 5e-5),
    (MILE, FOOT, 0.667, 0.574, 6e-4),
    (1000 * FOOT, FOOT, 0.0239, 0.0206, 5e-5),
]


@pytest.mark.parametrize(("sight", "unit", "curvature", "combined", "digit"), HANDBOOK, ids=["km", "mile", "1000 ft"])
def test_handbook_coefficients(sight, unit, curvature, combined, digit):
    """6371 km gives the curvature, k = 0.14 with it the combined number (0.574 is 0.5735 rounded up)."""
    assert correction(0.0, sight) / unit == pytest.approx(curvature, abs=digit)
    assert correction(0.14, sight) / unit == pytest.approx(combined, abs=digit)


@pytest.mark.parametrize(
    ("sight", "unit", "combined", "k"),
    [(MILE, FOOT, 0.574, 0.1393), (1000 * FOOT, FOOT, 0.0206, 0.1388), (KILOMETRE, 1.0, 0.0675, 0.1399)],
    ids=["mile", "1000 ft", "km"],
)
def test_handbook_pairs_imply_k_of_0_14_not_0_13(sight, unit, combined, k):
    """A trap: 0.13 and 1/7 are other conventions, and would give another last digit."""
    implied = 1 - combined * unit / correction(0.0, sight)
    assert implied == pytest.approx(k, abs=5e-5)
    half_digit = 10.0 ** -len(str(combined).split(".")[1]) / 2
    assert abs(correction(0.13, sight) / unit - combined) > half_digit


@pytest.mark.parametrize(
    ("k", "sight", "unit", "printed", "digit"),
    [
        (1 / 7, KILOMETRE, 1.0, 0.0673, 5e-5),  # texts that take k = 1/7
        (0.0, MILE, INCH, 8.0, 5e-2),  # "8 inches times miles squared"
        (0.14, 60.0, 1e-3, 0.24, 5e-3),  # a sight of 60 m, in mm
        (0.14, 100.0, 1e-3, 0.675, 5e-4),
    ],
)
def test_other_rounded_numbers_of_the_trade(k, sight, unit, printed, digit):
    """Common practice, no source."""
    assert correction(k, sight) / unit == pytest.approx(printed, abs=digit)


@pytest.mark.parametrize("k", [0.13, 0.14, 1 / 7])
def test_half_a_mile(k):
    """Common practice, no source: curvature is about 2 inches, refraction takes about a quarter inch off."""
    curvature = correction(0.0, MILE / 2) / INCH
    refraction = curvature - correction(k, MILE / 2) / INCH
    assert round(curvature, 1) == 2.0
    assert round(4 * refraction) / 4 == 0.25


# ---- refractivity

# t [°C], relative humidity [%], p [kPa], λ [nm], n by Ciddor's equation: Stone & Zimmerman, Index of
# Refraction of Air, NIST Engineering Metrology Toolbox, table 1, and its calculator (last three rows),
# as quoted in the tests of two public repositories. 450 ppm of CO2.
NIST = [
    (20, 0, 101.325, 633, 1.000271800),
    (20, 0, 120, 633, 1.000321916),
    (5, 0, 100, 633, 1.000282756),
    (-40, 0, 100, 633, 1.000337580),
    (50, 100, 120, 633, 1.000287924),
    (20, 100, 100, 633, 1.000267394),
    (40, 100, 110, 1700, 1.000270247),
    (20, 0, 101.325, 1700, 1.000268479),
    (40, 100, 110, 300, 1.000289000),
    (20, 0, 101.325, 300, 1.000286581),
    (20, 50, 101.325, 500, 1.000273781),
    (20, 50, 101.325, 700, 1.000270657),
    (20, 50, 10, 633, 1.000026385),
]


def vapour(relative_humidity, temperature):
    """Vapour pressure [hPa] as NIST takes it from relative humidity, computed with ref_index."""
    return ref_index.rh2wvpp(relative_humidity, temperature) / 100


@pytest.mark.parametrize("row", NIST, ids=lambda row: f"{row[0]} °C {row[1]} % {row[2]} kPa {row[3]} nm")
def test_ciddor_agrees_with_nist(row):
    t, humidity, kilopascal, nanometre, n = row
    found = refractivity(t, 10 * kilopascal, vapour(humidity, t), nanometre / 1000, "Ciddor 1996")
    assert 1 + found * 1e-6 == pytest.approx(n, rel=0, abs=6e-10)


@pytest.mark.parametrize(
    ("temperature", "kilopascal", "printed"),
    [(20, 80, 21458.0), (20, 100, 26824.4), (20, 120, 32191.6), (10, 100, 27774.7), (30, 100, 25937.2)],
)
def test_ciddors_own_table(temperature, kilopascal, printed):
    """Ciddor (1996), Applied Optics 35, 1566: (n - 1)·10⁸, dry air, 633.0 nm; from memory, ref_index agrees."""
    found = refractivity(temperature, 10 * kilopascal, wavelength=0.633, model="Ciddor 1996")
    assert found * 100 == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize(("wavelength", "printed"), [(0.55, 277.838), (0.5893, 277.147), (0.633, 276.530)])
def test_ciddor_in_standard_air(wavelength, printed):
    """15 °C, 1013.25 hPa, dry, 450 ppm: computed with ref_index."""
    found = refractivity(15, 1013.25, wavelength=wavelength, model="Ciddor 1996")
    assert found == pytest.approx(printed, abs=5.1e-4)


@given(st.floats(-40, 100), st.floats(600, 1200), st.floats(0, 100), st.floats(0.3, 1.7))
def test_ciddor_agrees_with_ref_index(temperature, pressure, humidity, wavelength):
    e = min(vapour(humidity, temperature), 0.3 * pressure)
    x = ref_index.pp2mole_fraction(100 * e, 100 * pressure, temperature)
    theirs = (ref_index.ciddor_ri(1000 * wavelength, temperature, 100 * pressure, x) - 1) * 1e6
    assert refractivity(temperature, pressure, e, wavelength, "Ciddor 1996") == pytest.approx(theirs, rel=1e-11)


# Worked by hand from the closed formula of 1999 (Rüeger, report of the IAG working party; coefficients
# from memory, seen in several public programs) beside Ciddor's equation computed with ref_index for
# 450 ppm of CO2 (0.011 less for the 375 ppm of the closed formula); 0.55 µm.
CLOSED = [(15, 1013.25, 0, 277.889, 277.838), (20, 1013.25, 50, 272.699, 272.662), (30, 1000, 80, 259.421, 259.416)]


@pytest.mark.parametrize(("temperature", "pressure", "humidity", "iag", "ciddor"), CLOSED)
def test_closed_formula(temperature, pressure, humidity, iag, ciddor):
    air = temperature, pressure, vapour(humidity, temperature)
    assert refractivity(*air) == pytest.approx(iag, abs=5.1e-4)
    assert refractivity(*air, model="Ciddor 1996") == pytest.approx(ciddor, abs=5.1e-4)


@given(st.floats(0, 35), st.floats(700, 1050), st.floats(0, 100), st.floats(0.4, 0.7))
def test_models_agree_to_better_than_a_part_per_million(temperature, pressure, humidity, wavelength):
    """The closed formula is stated to be good to 1 ppm of n, which is 1 in N."""
    air = temperature, pressure, vapour(humidity, temperature), wavelength
    assert refractivity(*air) == pytest.approx(refractivity(*air, model="Ciddor 1996"), abs=0.15)


def test_index_is_of_phase_not_of_group():
    """A trap: N - λ dN/dλ must be the group formula 287.6155 + 4.88660/λ² + 0.06800/λ⁴ (Rüeger 1999).

    To the rounding of the coefficients: three times 1.62887 is 4.88661.
    """
    wavelength, step = np.array([0.55, 0.633, 0.85]), 1e-5
    below, phase, above = (refractivity(0, 1013.25, 0, wavelength + s * step) for s in (-1, 0, 1))
    group = phase - wavelength * (above - below) / (2 * step)
    assert group == pytest.approx(287.6155 + 4.88660 / wavelength**2 + 0.06800 / wavelength**4, abs=1e-4)


@pytest.mark.parametrize(
    ("model", "vapour", "step", "slope"),
    [
        ("Ciddor 1996", 0.5, (1, 0, 0), -0.9671),  # per K
        ("Ciddor 1996", 0.5, (0, 1, 0), 0.2743),  # per hPa
        ("Ciddor 1996", 10, (0, 0, 1), -0.03665),  # per hPa of vapour
        ("IAG 1999", 10, (0, 0, 1), -0.03911),
    ],
)
def test_sensitivity_of_refractivity(model, vapour, step, slope):
    """15 °C, 1013.25 hPa, 0.55 µm: Ciddor computed with ref_index, the other -11.27/T by hand."""
    centre, half = np.array([15.0, 1013.25, vapour]), np.array(step) / 2
    change = refractivity(*(centre + half), model=model) - refractivity(*(centre - half), model=model)
    assert change == pytest.approx(slope, rel=2e-4)


# ---- scalars, arrays, faults


CELSIUS, HECTOPASCAL = np.array([0.0, 15.0]), np.array([[960.0], [970.0], [1013.25]])


@pytest.mark.parametrize(
    ("function", "numbers"),
    [
        (coefficient, (CELSIUS, HECTOPASCAL, 0.02)),
        (gradient_for, (0.13, CELSIUS, HECTOPASCAL)),
        (ray_curvature, (CELSIUS,)),
        (coefficient_from_curvature, (CELSIUS / 1e9,)),
        (refractivity, (CELSIUS, HECTOPASCAL, 8.0)),
        (lambda *air: refractivity(*air, model="Ciddor 1996"), (CELSIUS, HECTOPASCAL, 8.0)),
    ],
    ids=["coefficient", "gradient_for", "ray_curvature", "from_curvature", *MODELS],
)
def test_arrays_hold_what_scalars_give(function, numbers):
    found, grids = function(*numbers), np.broadcast_arrays(*numbers)
    assert found.shape == grids[0].shape
    for place in np.ndindex(found.shape):
        single = function(*(float(grid[place]) for grid in grids))
        assert isinstance(single, float)
        assert single == pytest.approx(found[place], rel=1e-15)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: coefficient(288.15, 1013, 0), "temperature 288.15 .*Celsius"),
        (lambda: coefficient(15, 101325, 0), "pressure 101325 .*hectopascals"),
        (lambda: coefficient(15, 760e-3, 0), "pressure 0.76 "),
        (lambda: coefficient(15, 1013, math.nan), "gradient nan .*kelvins per metre"),
        (lambda: gradient_for(math.inf, 15, 1013), "k inf .*refraction coefficient"),
        (lambda: ray_curvature([0.1, math.nan]), "k nan "),
        (lambda: coefficient_from_curvature(6371), "chi 6371 .*per metre"),
        (lambda: refractivity(15, 1013, wavelength=550), "wavelength 550 .*micrometres"),
        (lambda: refractivity(15, 1013, humidity=-1), "humidity -1 .*hectopascals of water vapour"),
        (lambda: refractivity(15, [1013, 120], humidity=150), "humidity 150 hPa exceeds the pressure"),
        (lambda: refractivity(15, 1013, model="Edlén"), "'Edlén' is not known: use one of 'IAG 1999', 'Ciddor 1996'"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()
