"""Refraction coefficient, ray curvature and refractivity against published values and other routes."""

import math

import numpy as np
import pytest
import ref_index
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from curvelab.refraction import (
    AUTOCONVECTIVE,
    DRY_ADIABATIC,
    MODELS,
    REFERENCE_RADIUS,
    coefficient,
    coefficient_from_curvature,
    curvature_of_ray,
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
    assert change == pytest.approx(slope, rel=2e-4, abs=0)


# ---- curvature of a ray from the slope of the refractive index


models = pytest.mark.parametrize("model", MODELS)
slopes, vapours, rises = st.floats(-0.5, 0.5), st.floats(0, 30), st.floats(-1, 1)  # K/m, hPa, hPa/m


def k_of_ray(*air, **more):
    return coefficient_from_curvature(curvature_of_ray(*air, **more))


# k = -R dn/dh as in GRADIENTS, by Ciddor's equation with hydrostatic dry air of 375 ppm of CO2, computed
# with ref_index to four decimals. Each ppm of CO2 adds 0.534e-6 of N (Ciddor 1996, from memory).
POORER = [0.1699, 0.1496, 0.2099, 0.8261, -1.0224, -2.8708, 3.2907, 0.1891]


@pytest.mark.parametrize(("row", "printed"), list(zip(GRADIENTS, POORER, strict=True)), ids=POORER)
def test_curvature_of_ray_by_ciddor(row, printed):
    """χ n = -dn/dh: the tables leave the division by n out, 0.03 % of k."""
    t, p, gradient, _, _, k = row
    found = k_of_ray(t, p, gradient, model="Ciddor 1996") * (1 + 1e-6 * refractivity(t, p, model="Ciddor 1996"))
    step = (gradient / (t + 273.15)) ** 2  # what differences over 2 m of height add to a slope that goes as 1/T
    assert found * (1 + step) == pytest.approx(k, abs=1.1e-5)
    assert found * (1 - (450 - 375) * 0.534e-6) == pytest.approx(printed, abs=6e-5)  # 450 ppm in its place fails at +0.5 K/m


@given(temperatures, pressures, slopes, vapours, rises, st.floats(0.4, 0.7))
def test_curvature_of_ray_is_the_derivative_worked_by_hand(t, p, gradient, e, rise, wavelength):
    """d/dh of a P/T - 11.27 e/T, with dP = -(dry density + vapour density) g dh."""
    kelvin, n = t + 273.15, 1 + 1e-6 * refractivity(t, p, e, wavelength)
    a = refractivity(0, 1013.25, 0, wavelength) * 273.15 / 1013.25
    fall = 9.80665 * ((p - e) / 287.05 + e / 287.05 * 18.015 / 28.965) / kelvin  # hPa/m
    parts = [a * fall / kelvin, a * p * gradient / kelvin**2, 11.27 * rise / kelvin, -11.27 * e * gradient / kelvin**2]
    assert curvature_of_ray(t, p, gradient, e, rise, wavelength) == pytest.approx(sum(parts) * 1e-6 / n, rel=1e-12, abs=1e-20)


def column(t, p, gradient, e, rise):
    """Temperature, pressure and vapour up to two steps of 0.5 m above and below, the hydrostatic equation integrated."""

    def fall(h, pressure):  # hPa/m: densities of dry air and of vapour, R_d = 287.05 and R_v = 461.52 J/(kg K)
        vapour = e + rise * h
        return -9.80665 * ((pressure - vapour) / 287.05 + vapour / 461.52) / (t + gradient * h + 273.15)

    for h in (-1.0, -0.5, 0.5, 1.0):
        pressure = solve_ivp(fall, (0, h), [p], method="DOP853", rtol=1e-13, atol=1e-13).y[0, -1]
        yield t + gradient * h, pressure, e + rise * h


@models
@pytest.mark.parametrize(
    "air",
    [(15, 1013.25, -0.0065, 0, 0), (0, 1013.25, 0.1121, 3, 0), (30, 950, -0.5, 20, -0.3), (20, 700, 0.2, 15, -1)],
)
def test_curvature_of_ray_is_the_slope_of_the_refractivity_along_a_column(model, air):
    """By differences of fourth order over 2 m, of `refractivity` and, for Ciddor's equation, of ref_index."""
    states, weights = list(column(*air)), np.array([1, -8, 8, -1]) / (12 * 0.5)
    t, p, _, e, _ = air
    along = np.array([refractivity(*state, model=model) for state in states])
    chi = -weights @ along / (1e6 + refractivity(t, p, e, model=model))
    assert curvature_of_ray(*air[:3], e, air[4], model=model) == pytest.approx(chi, rel=1e-7, abs=0)
    if model == "Ciddor 1996":
        theirs = [ref_index.ciddor_ri(550, t, 100 * p, ref_index.pp2mole_fraction(100 * e, 100 * p, t)) for t, p, e in states]
        assert -weights @ np.array(theirs) == pytest.approx(chi, rel=1e-3, abs=0)  # n left out: 3e-4


@models
@given(st.floats(0, 50), pressures, st.floats(-2, 2))
def test_handbook_form_is_close_to_the_curvature_of_the_ray(model, temperature, pressure, gradient):
    """503 and 0.0343 are rounded; in frost Ciddor's real gas departs by a little more."""
    k = k_of_ray(temperature, pressure, gradient, model=model)
    assert abs(coefficient(temperature, pressure, gradient) - k) <= 5e-3 * abs(k) + 2e-3


@pytest.mark.parametrize(("temperature", "gradient"), [(0, 0.1121), (15, 0.1286), (30, 0.1460)])
def test_ducting_gradients(temperature, gradient):
    """The handbook form's, worked by hand; the closed formula gives the same digits, Ciddor 0.4 mK/m less."""

    def excess(slope, model):
        return k_of_ray(temperature, 1013.25, slope, model=model) - 1

    assert brentq(excess, 0, 1, args=("IAG 1999",)) == pytest.approx(gradient, abs=6e-5)
    assert brentq(excess, 0, 1, args=("Ciddor 1996",)) == pytest.approx(gradient - 3.5e-4, abs=1e-4)
    assert gradient_for(1.0, temperature, 1013.25) == pytest.approx(gradient, abs=5.1e-5)


@models
@pytest.mark.parametrize("temperature", [0, 15, 30])
def test_ray_is_straight_where_density_is_constant(model, temperature):
    """At -g/R_d in an ideal gas, to 0.1 mK/m in a real one."""
    straight = brentq(lambda slope: curvature_of_ray(temperature, 1013.25, slope, model=model), -0.1, 0.1, xtol=1e-12)
    assert straight == pytest.approx(-9.80665 / 287.05, abs=1e-11 if model == "IAG 1999" else 1.2e-4)
    assert straight == pytest.approx(-AUTOCONVECTIVE, abs=1.5e-4)
    assert k_of_ray(temperature, 1013.25, [-AUTOCONVECTIVE - 0.01, 0], model=model) @ [-1, 1] > 0


def test_lapse_rates():
    """g/c_p and g/R_d; c_p is 7/2 of R_d in a gas of two-atomed molecules, so their ratio is near 2/7."""
    assert AUTOCONVECTIVE == pytest.approx(9.80665 / 287.05, abs=5e-5)
    assert DRY_ADIABATIC == pytest.approx(9.80665 / 1005, abs=5e-6)
    assert DRY_ADIABATIC / AUTOCONVECTIVE == pytest.approx(2 / 7, abs=5e-4)
    assert k_of_ray(15, 1013.25, -DRY_ADIABATIC) == pytest.approx(0.15, abs=5e-4)


@pytest.mark.parametrize(("model", "slope"), [("Ciddor 1996", -3.665e-8), ("IAG 1999", -3.911e-8)])
def test_drier_air_above_lowers_k(model, slope):
    """Vapour is worth -3.7e-8 of n per hPa (the first computed with ref_index), so k rises by 0.234 per hPa/m.

    Air over water that evaporates is drier above: de/dh is negative, and k is lower than in dry air.
    """
    drier, same, moister = k_of_ray(15, 1013.25, -0.0065, 10, [-0.1, 0, 0.1], model=model)
    assert drier < same < moister
    per_rise = (moister - drier) / 0.2
    assert per_rise == pytest.approx(-REFERENCE_RADIUS * slope, rel=5e-4)
    if model == "Ciddor 1996":
        assert per_rise == pytest.approx(0.234, abs=1e-3)
        per_kelvin = np.diff(k_of_ray(15, 1013.25, [0, 1], model=model))[0]
        assert per_rise / per_kelvin == pytest.approx(0.038, abs=5e-4)  # K/m worth one hPa/m


@pytest.mark.parametrize("gradient", [-0.0065, 0.1, -0.5])
def test_even_humidity_hardly_matters(gradient):
    """10 hPa at every height: lighter air, 0.37 % off the weight; 0.14 % off the index, by hand."""
    weight, heat = 503 * 1013.25 / 288.15**2 * np.array([AUTOCONVECTIVE, gradient])
    dry, moist = k_of_ray(15, 1013.25, gradient, [0, 10])
    assert moist - dry == pytest.approx(-0.0037 * weight - 0.0014 * heat, abs=2e-4)


@models
@pytest.mark.parametrize(("wavelength", "scale"), [(0.55, 503.38), (0.5893, 502.13), (0.633, 501.01)])
def test_colour_behind_503(model, wavelength, scale):
    """6371 km · (n - 1) T/P at 15 °C, 1013.25 hPa by Ciddor's equation, computed with ref_index."""
    air = 15, 1013.25
    found = REFERENCE_RADIUS * 1e-6 * refractivity(*air, wavelength=wavelength, model=model) * 288.15 / 1013.25
    assert found == pytest.approx(scale, abs=0.01 if model == "Ciddor 1996" else 0.1)
    colour = k_of_ray(*air, 0.1, wavelength=wavelength, model=model) / k_of_ray(*air, 0.1, model=model)
    assert colour == pytest.approx(scale / 503.38, abs=3e-5)


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
        (curvature_of_ray, (CELSIUS, HECTOPASCAL, -0.0065, 8.0, [[[-0.1]], [[0.0]]], 0.633)),
        (lambda *air: curvature_of_ray(*air, model="Ciddor 1996"), (CELSIUS, HECTOPASCAL, 0.1, 8.0)),
    ],
    ids=["coefficient", "gradient_for", "ray_curvature", "from_curvature", *MODELS, "of_ray", "of_ray Ciddor"],
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
        (lambda: curvature_of_ray(288.15, 1013, 0), "temperature 288.15 .*degrees Celsius .*not 288 K"),
        (lambda: curvature_of_ray([15, 68], 1013, 0), "temperature 68 does not lie between -40 and 58: .*or 59 °F"),
        (lambda: curvature_of_ray(15, 101325, 0), "pressure 101325 .*hectopascals .*not 101325 Pa or 760 mmHg"),
        (lambda: curvature_of_ray(15, 29.92, 0), "pressure 29.92 .*hectopascals"),
        (lambda: curvature_of_ray(15, 1013, 5000), "gradient 5000 .*kelvins per metre"),
        (lambda: curvature_of_ray(15, 1013, 0, -1), "humidity -1 .*hectopascals of water vapour"),
        (lambda: curvature_of_ray(15, 1013, 0, 1100), "humidity 1100 hPa exceeds the pressure"),
        (lambda: curvature_of_ray(15, 1013, 0, 10, -2000), "humidity_gradient -2000 .*per metre of height"),
        (lambda: curvature_of_ray(15, 1013, 0, wavelength=550), "wavelength 550 .*micrometres"),
        (lambda: curvature_of_ray(15, 1013, 0, model="Edlén"), "'Edlén' is not known"),
        (lambda: refractivity(15, 1013, model="Edlén"), "'Edlén' is not known: use one of 'IAG 1999', 'Ciddor 1996'"),
    ],
)
def test_faults_say_what_to_do(call, words):
    with pytest.raises(ValueError, match=words):
        call()


@pytest.mark.parametrize("place", range(6))
def test_curvature_of_ray_refuses_nan(place):
    numbers = [15, 1013.25, 0.0, 10, 0.0, 0.55]
    numbers[place] = math.nan
    with pytest.raises(ValueError, match="nan .*: give "):
        curvature_of_ray(*numbers)
