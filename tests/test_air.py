"""Thermometers to refraction in the network: one strength per air, followed along the path of each ray."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy import integrate

import curvelab
from curvelab import adjustment, air, designs, observation, profile, ray, refraction
from curvelab.fieldbook import compose
from curvelab.records import Air, Stated, Table
from tests.books import book

R = 6_371_000.0
KAPPA = 1 / 6.386e6
SITE = """
[line]
latitude = 50
azimuth = 60
distance = "2000 m ± 0 m"
[instrument.A]
collimation = "0 ± 0 µrad"
setting_accuracy = "0 µrad"
focus_runout = "0 µrad"
pointing = "2 µrad"
reading = "0.2 mm"
[air.lake]
temperature = "15 °C"
pressure = "1013.25 hPa"
water_temperature = "12.0 ± 0.1 °C"
[water]
surfaces = ["near water", "far water"]
touch = "0.2 mm"
touch_common = "0 mm"
between_shores = "0 ± 0 mm"
"""
LAKE = Air("lake", temperature=Stated(15.0), pressure=Stated(1013.25))


def thermometers(strength, water=12.0, heights=(0.3, 1.0, 3.0), names=None, offsets=None, repeats=1):
    """air.csv of perfect readings, with the offsets given by thermometer."""
    names = names or [f"T{i}" for i in range(len(heights))]
    offsets = offsets or {}
    rows = [f"{z},{water + strength * float(profile.logarithmic().rise(z)) - refraction.DRY_ADIABATIC * z + offsets.get(n, 0.0):.4f},{n},{i}"
            for i in range(repeats) for z, n in zip(heights, names)]
    return "height [m],temperature [°C],thermometer,remark\n".replace(",remark", "") + "\n".join(row.rsplit(",", 1)[0] for row in rows) + "\n"


def far_reading(strength, distance, axis, target, kappa=KAPPA, slope=0.0, obukhov=math.inf, vapour=air.vapour_prior(LAKE).value):
    """Reading of a target through a logarithmic (or Monin–Obukhov) profile over a lake that evaporates, by scipy's DOP853."""
    here = dataclasses.replace(air.layer(LAKE), shape=profile.stability(obukhov))

    def bend(x, state):
        return [state[1], kappa - float(here.curvature(max(state[0], 0.01), air.State(strength, 0.0, vapour)))]

    path = integrate.solve_ivp(bend, (0, distance), [axis, slope], method="DOP853", rtol=1e-12, atol=1e-12)
    return path.y[0, -1] - target


def campaign(folder, strength, axes=(1.6,), distance=2000.0, kappa=KAPPA, site=SITE, **kwargs):
    """One set-up per height of the axis, read without error."""
    rows, heights = [], []
    for i, axis in enumerate(axes):
        rows += [f"S{i},near water,5,{axis:.5f}", f"S{i},target {i},{distance:g},{far_reading(strength, distance, axis, axis, kappa):.5f}"]
        heights.append(f"far water,target {i},{axis},0.2")
    return book(folder, site=site.replace("2000 m", f"{distance:g} m"), readings="setup,point,distance [m],reading [m]\n" + "\n".join(rows) + "\n",
                heights="from,to,height [m],u [mm]\n" + "\n".join(heights) + "\n", air=thermometers(strength, **kwargs))


@pytest.mark.parametrize("strength", [0.24, 0.0, -0.20])
@pytest.mark.parametrize("kappa", [KAPPA, 0.0])
def test_the_curvature_comes_back_through_any_profile(strength, kappa, tmp_path):
    """Readings made by scipy's integration of the ray; thermometers without error, and said to be so."""
    exact = SITE.replace("± 0.1 °C", "± 0.0001 °C").replace("[water]", 'wind = "50 ± 0.1 m/s"\nair_minus_water = "0 ± 100 K"\n[water]', 1)
    exact += "".join(f'[thermometer.T{i}]\noffset = "0 ± 0.0001 K"\n' for i in range(3))
    result = curvelab.adjust(campaign(tmp_path, strength, kappa=kappa, site=exact))
    assert result.by_profile
    assert result.curvature.value == pytest.approx(kappa, abs=3e-3 / R)
    assert result.solution.estimate(("strength", "lake")).value == pytest.approx(strength, abs=1e-4)


def test_vapour_bends_by_its_own_gradient():
    """0.249 in k per hPa/m by the IAG 1999 formula (-11.27/T per hPa at 15 °C), 0.234 by Ciddor 1996 (both computed by hand)."""
    moist = air.layer(LAKE).curvature(2.0, air.State(0.0, 0.0, -1.0)) - air.layer(LAKE).curvature(2.0, air.State())
    assert float(moist) * R == pytest.approx(-6371 * 11.27e-3 / 288.15 / 2, rel=2e-3)
    still, other = (refraction.curvature_of_ray(15.0, 1013.25, 0.0, 0.0, e, model="Ciddor 1996") for e in (0.0, 1.0))
    assert (other - still) * R == pytest.approx(0.234, abs=2e-3)


def test_a_hygrometer_tells_how_much_the_lake_evaporates(tmp_path):
    """Dry air over the lake lowers k; unseen it stays in the allowance, two hygrometers find most of it."""
    vapour, full = -0.6, float(refraction.saturation(12.0))
    lake = campaign(tmp_path, 0.1, heights=(0.5, 3.0))
    text = thermometers(0.1, heights=(0.5, 3.0)).splitlines()
    shown = [(full + vapour * float(profile.logarithmic().rise(z))) / float(refraction.saturation(float(row.split(",")[1]))) for z, row in zip((0.5, 3.0), text[1:])]
    (tmp_path / "air.csv").write_text("\n".join([text[0] + ",humidity [%]", *(f"{row},{100 * h:.2f}" for row, h in zip(text[1:], shown))]) + "\n", encoding="utf-8")
    told = curvelab.adjust(curvelab.read_fieldbook(tmp_path))
    found = told.solution.estimate(("vapour", "lake"))
    prior = air.vapour_prior(lake.airs["lake"])
    assert found.u < 0.6 * prior.u
    assert abs(found.value - vapour) < 2 * found.u < abs(prior.value - vapour) + 2 * found.u
    assert "hygrometer" in {row.cause for row in told.budget()}
    drawn = curvelab.simulate(curvelab.plan(told.book), curvature=KAPPA, seed=4)
    assert 0.3 < drawn.air_readings[0].humidity <= 1 and drawn.air_readings[0].humidity != told.book.air_readings[0].humidity


def test_the_chart_follows_each_line_along_its_own_path(tmp_path):
    """Predicted lines at every distance, against scipy's integration of the ray, over flat and over round water."""
    exact = SITE.replace("± 0.1 °C", "± 0.0001 °C").replace("[water]", 'wind = "50 ± 0.1 m/s"\nair_minus_water = "0 ± 100 K"\n[water]', 1)
    exact += "".join(f'[thermometer.T{i}]\noffset = "0 ± 0.0001 K"\n' for i in range(3))
    result = curvelab.adjust(campaign(tmp_path, 0.2, site=exact))
    along = np.array([400.0, 1200.0, 2000.0])
    for kappa in (0.0, KAPPA):
        drawn, u = curvelab.prediction.line_of_sight(result, kappa, along)
        assert drawn == pytest.approx([far_reading(0.2, d, 1.6, 1.6, kappa, obukhov=profile.obukhov_length(0.2, 50.0, 15.0)) for d in along], abs=2e-4)
        assert (np.diff(u) > 0).all()


def test_a_profile_is_no_constant():
    """Per kelvin of air minus water, k changes by about 0.49/z in neutral air (bulk coefficients; computed by hand)."""
    here = air.layer(LAKE)
    for z in (0.5, 1.0, 2.0, 4.0):
        change = float(here.per_gradient * profile.strength(1.0, 10.0, here.shape) * here.shape.slope(z)) * R
        assert change == pytest.approx(0.49 / z, rel=0.02)


def test_the_air_is_one_however_many_sights_and_pointings(tmp_path):
    """Twenty pointings share one strength: refraction's part of u(κ) stays."""
    few = curvelab.adjust(campaign(tmp_path / "few", 0.1))
    text = (tmp_path / "few" / "readings.csv").read_text(encoding="utf-8")
    far = text.splitlines()[-1]
    (tmp_path / "few" / "readings.csv").write_text(text + f"{far}\n" * 19, encoding="utf-8")
    many = curvelab.adjust(curvelab.read_fieldbook(tmp_path / "few"))

    def share(result):
        return math.hypot(*(row.u for row in result.budget() if row.cause in ("refraction", "thermometer offset", "temperature reading", "water temperature")))

    assert share(many) == pytest.approx(share(few), rel=0.05)


def test_fifty_readings_of_two_thermometers_are_two_offsets(tmp_path):
    once, often = (curvelab.adjust(campaign(tmp_path / str(n), 0.1, heights=(0.5, 3.0), repeats=n)) for n in (1, 50))
    u_once, u_often = (r.solution.estimate(("strength", "lake")).u for r in (once, often))
    assert u_often < u_once and u_often > 0.8 * u_once


def test_swapping_the_thermometers_reveals_their_offsets(tmp_path):
    """Read at both heights, the two offsets drop out of the difference."""
    offsets = {"T0": 0.3, "T1": -0.25}
    plain = curvelab.adjust(campaign(tmp_path / "a", 0.1, heights=(0.5, 3.0), offsets=offsets))
    swapped = curvelab.adjust(campaign(tmp_path / "b", 0.1, heights=(0.5, 3.0, 3.0, 0.5), names=["T0", "T1", "T0", "T1"], offsets=offsets))
    found = [r.solution.estimate(("thermometer", "T0")).value - r.solution.estimate(("thermometer", "T1")).value for r in (plain, swapped)]
    assert found[1] == pytest.approx(0.55, abs=0.06)
    u = [r.solution.estimate(("strength", "lake")).u for r in (plain, swapped)]
    assert u[1] < u[0]


def test_several_line_heights_separate_refraction_from_curvature(tmp_path):
    """Without a thermometer: one height leaves κ to the prior, three heights through one air measure it."""
    site = SITE.replace('water_temperature = "12.0 ± 0.1 °C"', 'air_minus_water = "0 ± 3 K"\nwind = "9 ± 1 m/s"')
    one, three = (curvelab.adjust(campaign(tmp_path / str(len(axes)), 0.15, axes=axes, site=site)) for axes in ((1.5,), (1.0, 2.0, 6.0)))
    for result in (one, three):
        assert "thermometer offset" not in {row.cause for row in result.budget() if row.fraction > 0.5}
    assert three.curvature.u < 0.5 * one.curvature.u
    assert three.curvature.value == pytest.approx(KAPPA, abs=2 * three.curvature.u)


def test_each_hypothesis_has_its_own_path(tmp_path):
    """Over cold water the line above flat water runs lower, through stronger bending, than above the ellipsoid."""
    campaign_ = campaign(tmp_path, 0.15, distance=3000.0, axes=(2.5,))
    over_flat, over_round = (curvelab.adjust(campaign_, path=k) for k in (0.0, KAPPA))
    assert over_flat.effective_k > over_round.effective_k + 0.005
    found = curvelab.adjust(campaign_)
    for curvature, anew in ((0.0, over_flat), (KAPPA, over_round)):
        again = adjustment.over(found, curvature)  # goes on from where the book's own path was found
        assert again.settled and again.curvature.value == pytest.approx(anew.curvature.value, abs=1e-5 * anew.curvature.u)
        assert again.curvature.u == pytest.approx(anew.curvature.u, rel=1e-5)
    assert curvelab.decide(found).z_flat == pytest.approx(over_flat.curvature.value / over_flat.curvature.u, rel=1e-6)


def test_stable_air_bends_more_than_neutral_air(tmp_path):
    windy = SITE.replace("[water]", 'wind = "3 m/s"\n[water]', 1).replace('°C"\nwind', '°C"\nwind')
    calm = curvelab.adjust(campaign(tmp_path / "n", 0.2))
    mixed = curvelab.adjust(campaign(tmp_path / "w", 0.2, site=windy))
    assert mixed.effective_k != pytest.approx(calm.effective_k, abs=0.01)


@pytest.mark.parametrize("wind, difference", [(2.0, 3.0), (3.0, 2.0), (3.0, 3.0), (4.0, 2.0), (3.0, -3.0), (2.0, -4.0)])
@pytest.mark.parametrize("kappa", [KAPPA, 0.0], ids=["round", "flat"])
def test_a_book_silent_on_the_wind_rejects_no_truth(wind, difference, kappa, tmp_path):
    """Air mixed by a light wind (Monin–Obukhov), a book that knows thermometers but no wind, three line heights."""
    shape, strength = profile.mixed(difference, 10.0, wind, 15.0)
    length, axes, site = profile.obukhov_length(strength, wind, 15.0), (2.0, 4.0, 8.0), SITE.replace("± 0 µrad", "± 5 µrad").replace("± 0.1 °C", "± 0.05 °C")
    rows, heights, warm = [], [], []
    for i, axis in enumerate(axes):
        rows += [f"S{i},near water,5,{axis:.5f}", f"S{i},target {i},2000,{far_reading(strength, 2000.0, axis, axis, kappa, obukhov=length):.5f}"]
        heights.append(f"far water,target {i},{axis},0.2")
    for z in (0.4, 1.5, 4.0):
        warm.append(f"{z},{12 + strength * float(shape.rise(z)) - refraction.DRY_ADIABATIC * z:.3f},T{z:.0f}")
    site += "".join(f'[thermometer.T{z:.0f}]\noffset = "0 ± 0.05 K"\n' for z in (0.4, 1.5, 4.0))
    verdict = curvelab.decide(curvelab.adjust(book(tmp_path, site=site, readings="setup,point,distance [m],reading [m]\n" + "\n".join(rows) + "\n",
                                                   heights="from,to,height [m],u [mm]\n" + "\n".join(heights) + "\n",
                                                   air="height [m],temperature [°C],thermometer\n" + "\n".join(warm) + "\n")))
    assert verdict.outcome not in ("both rejected", "flat rejected" if kappa == 0 else "ellipsoid rejected")
    assert abs(verdict.result.curvature.value - kappa) < 2.6 * verdict.result.curvature.u
    assert "no wind is stated" in verdict.sentence


def test_simulated_lakes_agree_with_their_own_thermometers():
    """Readings and thermometers are drawn from one truth: κ scatters as its uncertainty says."""
    plan = book_with_thermometers()
    z = []
    for seed in range(60):
        result = curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=seed))
        z.append((result.curvature.value - KAPPA) / result.curvature.u)
    assert abs(np.mean(z)) < 4 / math.sqrt(60)
    assert 0.5 < np.std(z) < 1 + 4 / math.sqrt(120)


def book_with_thermometers():
    """A plan of one sight with three thermometers."""
    plain = designs.single_line(2000.0)
    site = plain.site | {"air": {"lake": {"temperature": "14 °C", "pressure": "1000 hPa", "water_temperature": "12 ± 0.3 °C", "wind": "5 ± 1 m/s"}}}
    warm = Table(("height [m]", "temperature [°C]", "thermometer"), (("0.5", "13.5", "a"), ("1.5", "13.7", "b"), ("3", "13.8", "c")), (2, 3, 4))
    return compose(site, plain.tables | {"air.csv": warm})


def test_a_cold_lake_is_too_uncertain_to_decide(tmp_path):
    """Air 3.5 K above the water, a line 1.6 m high over 4 km, thermometers good to 0.3 K: a constant k would have claimed a triumph or a scandal."""
    strength = float(profile.strength(3.5, 3.0, profile.logarithmic()))
    site = SITE.replace("12.0 ± 0.1 °C", "12.0 ± 0.3 °C").replace('reading = "0.2 mm"', 'reading = "0.5 mm"').replace("± 0 µrad", "± 8 µrad")
    lake = campaign(tmp_path, strength, axes=(1.6,), distance=4000.0, heights=(0.3, 0.8, 1.6, 3.0), site=site)
    verdict = curvelab.decide(curvelab.adjust(lake))
    assert 1.1 < verdict.result.effective_k < 1.7
    assert verdict.outcome == "too uncertain to decide"
    assert "k = " in verdict.sentence and "thermometers" in verdict.sentence


@pytest.mark.parametrize("strength", [0.1, -0.15])
def test_the_air_that_flat_water_would_need(strength, tmp_path):
    """A flat lake read through a profile that its book knows nothing of needs just that profile."""
    site = SITE.replace('water_temperature = "12.0 ± 0.1 °C"', 'k = "0.15 ± 0.02"')
    folder = tmp_path / "lake"
    campaign(folder, strength, kappa=0.0)
    (folder / "air.csv").unlink()
    (folder / "site.toml").write_text(site, encoding="utf-8")
    needs = curvelab.diagnosis.flat_needs(curvelab.adjust(curvelab.read_fieldbook(folder)))
    assert needs.air_minus_water == pytest.approx(strength * float(profile.logarithmic().rise(10.0)) - 0.0976, rel=0.02)  # of air that is mixed, 10 m of it
    assert needs.k == pytest.approx(float(refraction.coefficient(15.0, 1013.25, needs.gradient)), rel=1e-9)


@pytest.mark.parametrize("c, expected", [(-1 / 3, 0.12372), (-0.1, 0.12542)])
def test_levelling_refraction_by_the_power_law(c, expected):
    """Kukkamäki's closed form (formula from memory), S = 50 m, Z_i = 1.5 m, readings 2.0 and 1.0 m, 1 K between 0.3 and 1.3 m, dn/dt = -0.95e-6.

    Against the weights of the rays along the two straight sights; the
    simplified form of NOAA TM NOS NGS 34 (from memory), 70·(S/50)²·δ·D·1e-5 mm
    with D in half-centimetres, gives 0.1400 mm and is meant for larger D.
    """
    sight, axis, back, fore, dn = 50.0, 1.5, 2.0, 1.0, -0.95e-6
    b = 1.0 / (1.3**c - 0.3**c)
    closed = -((sight / (back - axis)) ** 2) * dn * b * ((back ** (c + 1) - fore ** (c + 1)) / (c + 1) - axis**c * (back - fore))
    shape = profile.power(c)
    bent = [ray.follow(sight, axis, (end - axis) / sight).mean(shape.slope) * -dn * b * c * sight**2 / 2 for end in (back, fore)]
    assert abs(bent[0] - bent[1]) == pytest.approx(abs(closed), rel=1e-6)
    assert abs(closed) * 1000 == pytest.approx(expected, abs=6e-6)
    assert 70 * 1.0 * 200 * 1e-5 == pytest.approx(0.1400)


@pytest.mark.parametrize("old, new, words", [
    ("0.3,", "0.0,", "hangs above the water"),
    ("12.", "62.", "is the unit right"),
    ("height [m]", "height [hPa]", "length"),
    ("temperature [°C],thermometer\n0.3,", "temperature [°C],thermometer,humidity [%]\n0.3,", "cells"),
])
def test_what_cannot_be_is_refused(old, new, words, tmp_path):
    campaign(tmp_path, 0.1)
    path = tmp_path / "air.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(curvelab.FieldBookError, match=words):
        curvelab.read_fieldbook(tmp_path)


def test_one_thermometer_is_said_to_be_one(tmp_path):
    verdict = curvelab.decide(curvelab.adjust(campaign(tmp_path, 0.1, heights=(1.0,))))
    assert "one thermometer alone" in verdict.sentence


def test_thermometers_that_contradict_one_another_disagree(tmp_path):
    verdict = curvelab.decide(curvelab.adjust(campaign(tmp_path, 0.1, heights=(0.5, 1.5, 3.0), offsets={"T1": 6.0})))
    assert verdict.outcome == "readings disagree"


def test_a_plan_sees_the_air_that_is_measured(tmp_path):
    measured = campaign(tmp_path / "a", 0.1)
    guessed = campaign(tmp_path / "b", 0.1, site=SITE.replace('water_temperature = "12.0 ± 0.1 °C"', 'air_minus_water = "0 ± 3 K"'))
    (tmp_path / "b" / "air.csv").unlink()
    assert curvelab.plan(measured).separation > curvelab.plan(curvelab.read_fieldbook(tmp_path / "b")).separation > 0
    assert guessed.airs["lake"].air_minus_water.u == 3


def test_axes_before_any_solution(tmp_path):
    axes = observation.nominal_axes(campaign(tmp_path, 0.0, axes=(1.6, 3.0)))
    assert axes == pytest.approx({"S0": 1.6, "S1": 3.0}, abs=1e-3)
    assert np.isfinite(list(axes.values())).all()


# ---- what is taken for granted, by hand


def test_stability_by_hand():
    """β S/L with L of the bulk formulas; its u from the wind's and S² of days still open; 50 % of the first order, or a guess of the wind, half of that variance with all airs alike."""
    calm, known = (air.stability_prior(mass, air.State(0.1, 0.0, 0.0, 0.1)) for mass in (LAKE, dataclasses.replace(LAKE, wind=Stated(6.0, 1.0))))
    expected = {wind: 5 * 0.1 / profile.obukhov_length(0.1, wind, 15.0) for wind in (3.0, 6.0)}
    assert calm[0].value == pytest.approx(expected[3.0], rel=1e-12, abs=0) and known[0].value == pytest.approx(expected[6.0], rel=1e-12)
    assert calm[1] == pytest.approx(2 * expected[3.0] / 0.1, rel=1e-12, abs=0)  # of a square
    half = math.sqrt(0.5)  # of the variance
    assert (calm[0].u, calm[2]) == (pytest.approx(2 * half * expected[3.0] + 0.002, rel=1e-12), pytest.approx(2 * half * expected[3.0], rel=1e-12))
    assert known[0].u == pytest.approx(math.hypot(2 / 6, 0.5 * half) * expected[6.0] + 0.002, rel=1e-12)
    assert known[2] == pytest.approx(0.5 * half * expected[6.0], rel=1e-12)
    assert calm[0].default and not known[0].default


@pytest.mark.parametrize("expected, u", [(0.1, 0.0), (0.0, 0.05), (0.1, 0.05), (-0.03, 0.06)])
def test_stability_of_a_strength_that_is_not_known_yet(expected, u):
    """A factor of 2 of all S², root of the mean square over a normal S, and what S² is off its tangent; means by Gauss–Hermite quadrature."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(8)
    strength, weights = expected + u * nodes, weights / weights.sum()
    found, slope, common = air.stability_prior(LAKE, air.State(expected, 0.0, 0.0, expected, u))
    per = 5 / profile.obukhov_length(1.0, 3.0, 15.0)  # G of S² [K/m per K²]
    taken = found.value + slope * (strength - expected)
    assert weights @ taken == pytest.approx(per * (weights @ strength**2), rel=1e-9)
    guessed = weights @ (2 * per * strength**2) ** 2  # half of it with all airs alike
    assert common**2 == pytest.approx(guessed / 2, rel=1e-9)
    assert found.u == pytest.approx(math.sqrt(guessed / 2 + weights @ (per * strength**2 - taken) ** 2) + 0.002, rel=1e-9)


@pytest.mark.parametrize("wind, difference, sets", [(3.0, -3.0, 5), (3.0, 2.0, 8), (5.0, -3.0, 5)])
@pytest.mark.parametrize("kappa", [KAPPA, 0.0], ids=["round", "flat"])
def test_more_days_do_not_average_out_what_is_wrong_with_every_profile(wind, difference, sets, kappa):
    """Days of one kind in Monin–Obukhov air, all that is stated true, no error of reading: the first order errs to one side on all of them."""
    weather = {"temperature": "15 °C", "air_minus_water": f"{difference} ± 0.3 K", "wind": f"{wind} ± 0.3 m/s"}
    plan = designs.series(designs.Facts(2000.0, height=6.0, collimation="0 ± 2 µrad", pointings=1), [weather] * sets)
    here, state = air.windy(15.0, 15.0 - difference, wind)
    struck = ray.follow(2000.0, 6.0, 0.0, kappa, lambda z: here.curvature(z, state)).end - 6.0
    table = plan.tables["readings.csv"]
    read = compose(plan.site, plan.tables | {"readings.csv": table.filled("reading", [f"{6.0 if r.distance < 20 else struck:.5f}" for r in plan.readings])})
    verdict = curvelab.decide(curvelab.adjust(read))
    assert (verdict.p_ellipsoid if kappa else verdict.p_flat) > 0.05
    assert verdict.separation > 2  # it says something


def test_no_wind_is_gentler_than_a_metre_a_second():
    still, least = (air.stability_prior(dataclasses.replace(LAKE, wind=Stated(wind, 0.5)), air.State(0.1))[0].value for wind in (0.2, 1.0))
    assert still == least


def test_a_lake_evaporates_as_stated():
    """0.3 ± 0.25 of saturation, 17.04 hPa at 15 °C (from memory; formulas differ by 0.4 %), in ln(10 m/foot)."""
    prior, far = air.vapour_prior(LAKE), math.log(10.0 / profile.FOOT)
    assert (prior.value * far, prior.u * far) == (pytest.approx(-0.3 * 17.04, rel=4e-3), pytest.approx(0.25 * 17.04, rel=4e-3))


def test_a_difference_of_temperature_is_strength_and_lapse():
    """Air that is mixed is 0.0976 K (9.80665/1005 per metre) colder 10 m up: as warm as the water there, it bends rays as warmer air does."""
    far = math.log(10.0 / profile.FOOT)
    assert air.strength_prior(LAKE, Stated(2.0, 3.0)) == Stated(pytest.approx(2.0976 / far, rel=1e-5), pytest.approx(3 / far), False)
    assert air.difference(air.neutral_strength(-1.5)) == pytest.approx(-1.5, rel=1e-12)
    told = thermometers(air.neutral_strength(1.0), heights=(10.0,)).splitlines()[1].split(",")
    assert float(told[1]) - 12.0 == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("height, weights", [
    (4.0, {"4 m": 1.0}), (0.3, {"0.5 m": 1.0}), (0.5, {"0.5 m": 1.0}),
    (1.0, {"1 m": 1.0}), (math.sqrt(2), {"1 m": 0.5, "2 m": 0.5}), (1.5, {"2 m": math.log2(1.5)}),
    (16.0, {"16 m": 1.0}), (40.0, {"16 m": 1.0}), (2.0**3.25, {"8 m": 0.75, "16 m": 0.25}),
])
def test_knots_are_linear_in_the_logarithm(height, weights):
    found = air.knots(height)
    assert all(-1e-12 <= share <= 1 for near in (height, height * 0.995, height * 1.005) for share in air.knots(near).values())
    assert sum(found.values()) == pytest.approx(1.0) and len(found) == 2
    assert all(found[name] == pytest.approx(share, abs=1e-12) for name, share in weights.items())


def test_a_departure_is_a_fifth_common_to_all_and_a_tenth_at_a_height(tmp_path):
    """As DEVELOPERS.md says; a line near 2 m takes hardly more than that knot."""
    result = curvelab.adjust(campaign(tmp_path, 0.1, axes=(2.0,), distance=500.0))
    rows = {row.common_to: row.u for row in result.budget() if row.cause == "refraction off the profile"}
    assert set(rows) == {"air lake", "each line height"}
    assert rows["air lake"] / rows["each line height"] == pytest.approx(2.0, rel=0.05)


def test_the_least_departure_is_that_of_a_twentieth_of_a_kelvin():
    here = air.layer(LAKE)
    assert air.departure_scale(here, 0.0) == pytest.approx(0.05 * here.per_gradient, abs=0)
    assert air.departure_scale(here, -0.12) == pytest.approx(0.13 * here.per_gradient, abs=0)


def test_a_stated_gradient_by_the_handbook():
    """k = 503 P/T² (0.0343 + g) and its slopes by hand; χ = k/R."""
    mass = Air("lake", temperature=Stated(15.0, 1.0), pressure=Stated(1000.0, 5.0), gradient=Stated(-0.01, 0.015))
    told, per = air.stated(mass), 503 * 1000 / 288.15**2
    k = per * 0.0243
    assert told.value * R == pytest.approx(k, rel=1e-12)
    assert told.u * R == pytest.approx(math.hypot(0.015 * per, 5 / 1000 * k, 2 / 288.15 * k), rel=1e-4)


def test_far_from_the_water_dry_air_is_well_mixed():
    """k = 0.15 ± 0.02 far up: 503 P/T² (0.0343 - 0.00976), to half a per cent as `refraction` says; vapour by its own slope."""
    here = air.layer(LAKE)
    assert here.far.value * R == pytest.approx(503 * 1013.25 / 288.15**2 * (0.0343 - 0.00976), rel=0.015)
    assert here.far.u * R == pytest.approx(0.02)
    state = air.State(0.2, 0.01, -0.3)
    expected = here.far.value + here.per_gradient * (0.01 + 0.2 / 2.5) + here.per_vapour * -0.3 / 2.5
    assert float(here.curvature(2.5, state)) == pytest.approx(expected, rel=1e-12, abs=0)


def test_a_hygrometers_row_by_hand(tmp_path):
    """e/e_s of the air above saturation at the water, linear in the water's temperature about what was stated, 12 °C; u 1 % of saturation."""
    campaign(tmp_path, 0.1, heights=(1.0,))
    (tmp_path / "air.csv").write_text("height [m],temperature [°C],thermometer,humidity [%]\n1,14,T0,70\n", encoding="utf-8")
    told = curvelab.read_fieldbook(tmp_path)
    row = observation.humidity_row(told.air_readings[0], told)
    full, water, warmer = (float(refraction.saturation(t)) for t in (14.0, 12.0, 13.0))
    assert row.terms[("water temperature", "lake")] == pytest.approx(warmer - water, rel=1e-12)
    assert row.terms[("vapour", "lake")] == pytest.approx(math.log(1.0 / profile.FOOT), rel=1e-12)
    assert row.value - row.terms[("water temperature", "lake")] * 12.0 == pytest.approx(0.7 * full - water, rel=1e-12)
    assert (row.terms[("hygrometer", "T0")], row.u) == (pytest.approx(full, rel=1e-12), pytest.approx(0.01 * full, rel=1e-12))


def test_the_rays_are_followed_through_the_air_that_is_found(tmp_path):
    """Without thermometers S starts at 0: at the end the weight of each sight is that along its own path for the S that was found."""
    site = SITE.replace('water_temperature = "12.0 ± 0.1 °C"', 'air_minus_water = "0 ± 3 K"\nwind = "9 ± 1 m/s"')
    files = campaign(tmp_path / "a", 0.25, axes=(1.0, 2.0, 6.0), site=site)
    (tmp_path / "a" / "air.csv").unlink()
    result = curvelab.adjust(curvelab.read_fieldbook(tmp_path / "a"))
    found = {kind: result.solution.estimate((kind, "lake")).value for kind in ("strength", "stability", "vapour")}
    assert found["strength"] > 0.1
    for row in (row for row in result.rows if row.reading and row.reading.distance > 100):
        axis = result.solution.estimate(("axis", row.reading.setup)).value
        here, way = air.path(files.airs["lake"], air.State(**found), 2000.0, axis, 0.0, result.curvature.value)
        assert row.terms[("strength", "lake")] == pytest.approx(-here.per_gradient * 2000.0**2 / 2 * float(way.mean(here.shape.slope)), rel=1e-3)


@pytest.mark.parametrize("seed, settled", [(1, True), (3, True), (0, False), (6, False)])
def test_a_line_that_is_bent_too_much_decides_nothing(seed, settled):
    """Water of 11 °C under air of 15 °C, 5 km at 1.6 m, k about 2: what is found must be what its own path shows, or nothing is said."""
    weather = {"air_minus_water": "4 ± 0.2 K", "water_temperature": "11 ± 0.3 °C", "wind": "12 ± 1 m/s"}
    plan = curvelab.plan(designs.single_sight(designs.Facts(5000.0, height=1.6, weather=weather, thermometers=(0.5, 1.0, 2.0, 4.0))))
    result = curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=seed))
    assert result.settled == settled
    verdict = curvelab.decide(result)
    assert ("curvature that is sought" in verdict.finding) != settled and (settled or verdict.outcome == "too uncertain to decide")
    if not settled:
        assert curvelab.sceptic.flips(verdict) == [] == curvelab.sceptic.answers(verdict) and "10^" not in verdict.describe(reader="lab")
        assert "mm" not in curvelab.sceptic.against(verdict)
    again = curvelab.adjust(result.book, path=result.curvature.value).curvature.value
    assert (abs(again - result.curvature.value) < 1e-4 * result.curvature.u) == settled


@pytest.mark.parametrize("seed", range(3))
def test_the_path_of_an_ordinary_book_settles_in_a_few_rounds(monkeypatch, seed):
    """Each round solves how the curvature found answers to the water under the rays; a fixed share of the way would take some 20."""
    weather = {"air_minus_water": "1 ± 1 K", "water_temperature": "11 ± 0.3 °C"}
    plan = curvelab.plan(designs.single_sight(designs.Facts(2000.0, height=3.0, weather=weather, thermometers=(0.5, 1.5, 4.0))))
    lake, asked, rows = curvelab.simulate(plan, curvature=KAPPA, seed=seed), [], adjustment.rows
    monkeypatch.setattr(adjustment, "rows", lambda book, at, **known: asked.append(at.curvature) or rows(book, at, **known))
    result = curvelab.adjust(lake)
    assert result.settled and 3 <= len(asked) <= 6
    assert asked[-1] == pytest.approx(result.curvature.value, abs=1e-4 * result.curvature.u)


def test_what_an_air_may_turn_out_to_be(monkeypatch):
    """By the law of total variance: what thermometers will find scatters by what they take away from the variance known beforehand."""
    plan = curvelab.plan(designs.single_sight(designs.Facts(2000.0, height=3.0, weather={"air_minus_water": "1 ± 1 K"}, thermometers=(0.5, 1.5, 4.0))))
    before, asked, rows = adjustment.start(plan.book, plan.result.ellipsoid_curvature), [], adjustment.rows
    monkeypatch.setattr(adjustment, "rows", lambda book, at, **known: asked.append(at) or rows(book, at, **known))
    adjustment.outturn(plan.result, {"lake": 1.5})
    beforehand, found, now = air.strength_prior(plan.book.airs["lake"], Stated(1.0, 1.0)).u, before.air["lake"], asked[-1].air["lake"]
    assert 0.1 * beforehand < found.expected_u < 0.9 * beforehand
    away = 1.5 * math.sqrt(beforehand**2 - found.expected_u**2)
    assert (now.strength - found.strength, now.expected - found.expected) == (pytest.approx(away), pytest.approx(away))


@pytest.mark.parametrize("seed, slip", [(0, 1.0), (1, 1.0), (2, 1.0), (2, -1.0)])
def test_a_slip_of_a_metre_is_found_though_the_air_swings(seed, slip):
    """Three airs with thermometers: a far reading a metre off bends one of them so that what is found of it swings between two paths."""
    facts = designs.Facts(2000.0, weather={"wind": "4 ± 1 m/s", "temperature": "15 °C"}, height=2.5, thermometers=(0.5, 3.0), pointings=1)
    lake = curvelab.simulate(curvelab.plan(designs.series(facts, [{"air_minus_water": f"{x} ± 1 K"} for x in (-1, 0, 1)])), curvature=KAPPA, seed=seed)
    table = lake.tables["readings.csv"]
    far, column = next(i for i, r in enumerate(lake.readings) if r.distance > 500), table.columns.index("reading")
    rows = [list(row) for row in table.rows]
    rows[far][column] = f"{float(rows[far][column]) + slip:.4f}"
    verdict = curvelab.decide(curvelab.adjust(compose(lake.site, lake.tables | {"readings.csv": dataclasses.replace(table, rows=tuple(map(tuple, rows)))})))
    assert verdict.settled and verdict.outcome == "readings disagree"


def test_over_another_water_a_plan_stays_a_plan():
    plan = curvelab.plan(designs.single_sight(designs.Facts(2000.0, height=4.0, weather={"air_minus_water": "0 ± 1 K", "wind": "6 ± 1 m/s"})))
    flat, anew = adjustment.over(plan.result, 0.0), curvelab.adjust(plan.book, path=0.0)
    assert (flat.curvature.u, flat.settled) == (anew.curvature.u, True) and flat.curvature.u != plan.result.curvature.u
