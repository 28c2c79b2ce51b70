"""Simulated lakes: reproducible, true on average, and drawn from what the book states."""

from __future__ import annotations

import math

import numpy as np
import pytest

import curvelab
from curvelab import designs
from curvelab.simulation import _truth
from tests.books import SITE, book

KAPPA = 1 / 6.386e6
READINGS = "setup,point,distance [m],reading [m]\nS1,near water,10,\n" + "S1,target,2000,\n" * 3


def test_a_seed_gives_the_same_book():
    plan = curvelab.plan(designs.single_line(1500.0))
    first, again, other = (curvelab.simulate(plan, curvature=KAPPA, seed=s).tables for s in (1, 1, 2))
    assert first == again and first != other


def test_without_errors_the_truth_comes_back(tmp_path):
    site = SITE.replace("0 ± 5 µrad", "0 ± 0 µrad").replace("0.13 ± 0.1", "0.13 ± 0").replace("2000 m ± 2 m", "2000 m ± 0 m")
    site = site.replace("[air.lake]", 'setting_accuracy = "0 µrad"\nfocus_runout = "0 µrad"\npointing = "0 µrad"\nreading = "0 mm"\n[air.lake]')
    site = site.replace("[water]", '[water]\ntouch = "0 mm"\ntouch_common = "0 mm"\nbetween_shores = "0 ± 0 mm"')
    plan = book(tmp_path, site=site, readings=READINGS, heights="from,to,height [m],u [mm]\nfar water,target,1.5,0\n")
    found = curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=3)).curvature
    assert found.value == pytest.approx(KAPPA, abs=1.5e-4 / 2e6)      # readings are written to 0.1 mm


def test_a_tolerance_is_drawn_as_a_rectangle(tmp_path):
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "2 mm per 30 m"')
    plan = book(tmp_path, site=site, readings=READINGS)
    limit = 2e-3 / 30
    drawn = np.array([_truth(plan, KAPPA, {}, np.random.default_rng(seed))["collimation", "A"] for seed in range(400)])
    assert np.abs(drawn).max() <= limit
    assert np.mean(np.abs(drawn) < limit / 2) == pytest.approx(0.5, abs=4 * math.sqrt(0.25 / 400))


def test_estimates_scatter_as_the_plan_says():
    plan = curvelab.plan(designs.single_line(2000.0))
    found = np.array([curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=s)).curvature.value for s in range(120)])
    assert found.mean() == pytest.approx(KAPPA, abs=4 * plan.result.planned_u / math.sqrt(120))
    assert found.std(ddof=1) / plan.result.planned_u == pytest.approx(1, abs=4 / math.sqrt(240))


def test_the_error_of_a_distance_is_one_for_all_pointings(tmp_path):
    text = "setup,point,distance [m],reading [m],u_distance [m]\nS1,near water,10,,\n" + "S1,target,2000,,30\n" * 8
    plan = book(tmp_path, readings=text)
    found = [curvelab.adjust(curvelab.simulate(plan, curvature=KAPPA, seed=s)).curvature for s in range(100)]
    z = np.array([(e.value - KAPPA) / e.u for e in found])
    assert z.std(ddof=1) == pytest.approx(1, abs=4 / math.sqrt(200))


def test_a_truth_that_the_book_does_not_know_is_refused():
    with pytest.raises(ValueError, match="collimation.B"):
        curvelab.simulate(designs.single_line(2000.0), curvature=KAPPA, seed=1, truth={"collimation.B": 1e-5})


def test_true_values_can_be_given():
    plan = designs.single_line(2000.0)
    high, low = (curvelab.simulate(plan, curvature=KAPPA, seed=5, truth={"collimation.A": c}).readings[-1].reading for c in (3e-5, 0.0))
    assert high - low == pytest.approx(3e-5 * 2000, abs=2e-4)
