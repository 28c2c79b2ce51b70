"""Error rates and coverage over simulated lakes, also where the truth lies at the edge of what a book states. Bounds by the binomial law."""

from __future__ import annotations

import pytest
from scipy import stats

import curvelab
from curvelab import designs
from curvelab.fieldbook import compose
from curvelab.records import Table

LAKES = 32
LIMIT = 0.7e-3 / 30


def tolerance_dominates():
    """A level known by its tolerance alone, over a line just long enough."""
    plain = designs.single_line(3000.0, gradient="-0.01 ± 0.01 K/m", pointings=1)
    return compose(plain.site | {"instrument": {"A": {"tolerance": "0.7 mm per 30 m"}}}, plain.tables)


def few_readings():
    return designs.single_line(2000.0, pointings=3, gradient="-0.01 ± 0.02 K/m")


def thermometers():
    """Three thermometers over a lake in a breeze, the line 4 m up."""
    plain = designs.single_line(2500.0, collimation="0 ± 5 µrad")
    weather = {"temperature": "14 °C", "pressure": "1000 hPa", "water_temperature": "12 ± 0.3 °C", "wind": "6 ± 1 m/s"}
    warm = Table(("height [m]", "temperature [°C]", "thermometer"), (("0.5", "13.5", "a"), ("1.5", "13.7", "b"), ("4", "13.8", "c")), (2, 3, 4))
    heights = Table(("from", "to", "height [m]"), (("far water", "far target", "4.0"), ("near water", "axis:S1", "4.0")), (2, 3))
    return compose(plain.site | {"air": {"lake": weather}}, plain.tables | {"air.csv": warm, "heights.csv": heights})


def air_of_unknown_strength():
    """Three thermometers in an air of which only a guess is known beforehand: what they find decides whether the book can tell."""
    weather = {"air_minus_water": "1 ± 1 K", "water_temperature": "11 ± 0.3 °C"}
    return designs.single_sight(designs.Facts(2000.0, height=3.0, weather=weather, thermometers=(0.5, 1.5, 4.0)))


CASES = {
    "a dominating tolerance": (tolerance_dominates, {}),
    "a level at its limit": (tolerance_dominates, {"collimation.A": LIMIT}),
    "few readings": (few_readings, {}),
    "thermometers": (thermometers, {}),
    "an air of unknown strength": (air_of_unknown_strength, {}),
    "thermometers that share an offset": (thermometers, {"thermometer.a": 0.3, "thermometer.b": 0.3, "thermometer.c": 0.3}),
    "evaporation twice as strong": (thermometers, {"vapour.lake": -0.75}),
}


@pytest.mark.parametrize("true", ["flat", "ellipsoid"])
@pytest.mark.parametrize("name", CASES)
def test_the_truth_is_hardly_ever_rejected_and_the_rival_as_often_as_planned(name, true):
    """A truth at an edge may use up more than its share of the interval; on average over what is stated, 95 % are covered."""
    build, truth = CASES[name]
    plan = curvelab.plan(build())
    kappa = 0.0 if true == "flat" else plan.result.ellipsoid_curvature
    found = [curvelab.decide(curvelab.adjust(curvelab.simulate(plan, curvature=kappa, seed=seed, truth=truth))) for seed in range(LAKES)]
    wrong = sum(v.outcome in (f"{true} rejected", "both rejected") for v in found)
    assert stats.binom.sf(wrong - 1, LAKES, 0.01) > 1e-3
    if not truth:
        covered = sum(abs(v.result.curvature.value - kappa) < 1.96 * v.result.curvature.u for v in found)
        assert stats.binom.cdf(covered, LAKES, 0.95) > 1e-3
        right = sum(v.outcome == ("ellipsoid rejected" if true == "flat" else "flat rejected") for v in found)
        assert stats.binom.cdf(right, LAKES, plan.power) > 1e-3, (right, plan.power)
