"""What a plan says beforehand, against the same plan worked out in full, and against simulated campaigns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

import curvelab
from curvelab import actions, adjustment, decision, designs, maps, planning, simulation, uncertainty
from curvelab.fieldbook import compose, with_changes
from tests.books import DATA

UNTESTED = designs.Facts(800.0, tolerance="2 mm per 30 m")
PROFILE = designs.Facts(2000.0, weather={"temperature": "15 °C", "pressure": "1000 hPa", "air_minus_water": "0 ± 3 K"})


@pytest.mark.parametrize("distance", [500.0, 1000.0, 3000.0, 8000.0])
def test_a_scaled_plan_is_the_plan(distance):
    plan = curvelab.plan(designs.single_line(2000.0))
    assert float(maps.separation(plan, distance)) == pytest.approx(curvelab.plan(designs.single_line(distance)).separation, rel=0.02)
    other = with_changes(designs.single_line(distance), {"instrument.A.collimation": "0 ± 30 µrad"})
    assert float(maps.separation(plan, distance, 30e-6)) == pytest.approx(curvelab.plan(other).separation, rel=0.02)


def test_the_shortest_line_passes_its_gate_and_none_shorter_does():
    plan = curvelab.plan(designs.single_line(2000.0))
    least = maps.shortest_line(plan)
    assert curvelab.plan(designs.single_line(1.03 * least)).go and not curvelab.plan(designs.single_line(0.97 * least)).go
    assert maps.shortest_line(curvelab.plan(designs.single_line(2000.0, gradient="-0.01 ± 0.1 K/m"))) == math.inf
    (value,), = maps.grid(lambda d, c: designs.single_line(d, collimation=f"0 ± {c} µrad"), [1500.0], [20.0])
    assert value == pytest.approx(float(maps.separation(plan, 1500.0, 20e-6)), rel=0.02)


@pytest.mark.parametrize("call", [lambda p: maps.separation(p, 50.0), lambda p: maps.separation(p, 1000.0, -1.0)])
def test_what_a_map_cannot_show_is_refused(call):
    with pytest.raises(ValueError, match="or more"):
        call(curvelab.plan(designs.single_line(2000.0)))


def test_the_normal_distribution_of_maps_against_scipy():
    z = np.linspace(-8, 8, 4001)
    assert np.abs(uncertainty.normal_cdf(z) - stats.norm.cdf(z)).max() < 1e-7
    assert maps.power(3.86, 0.01) == pytest.approx(stats.norm.sf(stats.norm.isf(0.005) - 3.86), abs=1e-6)


def test_actions_do_what_their_names_say():
    book = designs.single_sight(PROFILE)
    half = actions.with_half_way_target(book)
    assert {r.distance for r in half.readings} == {10.0, 1000.0, 2000.0} and half.water.surfaces["water half-way"] == 0.5
    assert actions.with_half_way_target(half) is None
    high = actions.raised(book, 6.0)
    assert {h.end: h.height for h in high.heights} == {"far target": 6.0, "axis:S1": 6.0} and actions.raised(high, 3.0) is None
    assert actions.raised(designs.single_sight(UNTESTED), 6.0) is None
    long = actions.longer(half)
    assert max(r.distance for r in long.readings) == 3000.0 == long.line.distance.value and min(r.distance for r in long.readings) == 10.0
    assert long.water.surfaces["water half-way"] == 0.5


@pytest.mark.parametrize("facts", [UNTESTED, PROFILE, designs.Facts(2000.0)], ids=["untested", "profile", "tested"])
def test_what_helps_is_ranked_and_nothing_added_ever_hurts(facts):
    plan = curvelab.plan(designs.single_sight(facts))
    found = actions.helps(plan)
    assert [h.gain for h in found] == sorted((h.gain for h in found), reverse=True)
    for h in found:
        assert h.gain == pytest.approx(h.plan.separation / plan.separation)
        if "thermometers" not in h.action.name:  # those take the place of a stated gradient, which may have been better
            assert h.gain > 1 - 1e-6, h.action.name


def test_the_route_leads_to_a_go_by_its_own_steps():
    plan = curvelab.plan(curvelab.read_fieldbook(DATA / "builders_level"))
    way = actions.route(plan)
    assert not plan.go and way[-1].plan.go and way[0].action.name == "eight sets of a two-peg test"
    told = actions.shopping_list(plan)
    assert "That is a go." in told and "No smaller uncertainty by: " in told and "four times as many pointings" in told
    assert actions.route(curvelab.plan(designs.single_line(3000.0))) == []


def test_a_mistake_that_runs_through_all_airs_is_told_of():
    """Five sets with stated k are worth about what they are worth through one and the same air; with one set nothing is said."""
    facts, alike = designs.Facts(2000.0), []
    for airs in (1, 5):
        book = designs.series(facts, [facts.air] * 5)
        table = book.tables["readings.csv"]
        at = table.columns.index("air")
        names = ["set 1" if airs == 1 or row[at] == "" else row[at] for row in table.rows]
        alike.append(curvelab.plan(compose(book.site, book.tables | {"readings.csv": table.filled("air", names)})))
    one, many = alike
    told = [" ".join(line for line in planning.checklist(plan) if "one mistake runs through" in line) for plan in alike]
    assert one.separation < many.separation / 1.5 and not told[0]
    assert "The k of 5 airs" in told[1] and f"not {many.separation:.2f}" in told[1]
    assert float(told[1].split("lie ")[1].split()[0]) == pytest.approx(one.separation, rel=0.02)
    verdict = curvelab.decide(curvelab.adjust(simulation.simulate(many, curvature=0.0, seed=1)))
    assert "The k of 5 airs" in verdict.sentence


def test_the_checklist_says_what_the_formulas_say():
    told = "\n".join(planning.checklist(curvelab.plan(designs.single_line(3000.0)), depth=10.0))
    assert "period of 10 minutes" in told           # Merian: 605.9 s for 3000 m and 10 m
    assert "48.4 arcseconds" in told                # 3000 m / (2 · 6386 km), by hand
    assert all(caution in told for caution in planning.CAUTIONS)
    assert "50" not in told.split("\n")[0] or "azimuth" not in told


def test_many_campaigns_scatter_as_planned_with_their_rectangles():
    plan = curvelab.plan(designs.single_sight(UNTESTED))
    kappa = plan.result.ellipsoid_curvature
    found = simulation.campaigns(plan, kappa, 200_000, 7)
    assert found.mean() == pytest.approx(kappa, abs=4 * plan.result.planned_u / math.sqrt(200_000))
    assert found.std() == pytest.approx(plan.result.planned_u, rel=0.005)
    parts = plan.result.contributions()
    for x in (1.0, 1.6):
        share = np.mean(np.abs(found - kappa) > x * plan.result.planned_u)
        assert share == pytest.approx(uncertainty.two_sided(x * plan.result.planned_u, parts), abs=4 * math.sqrt(share / 200_000))
    heavy = simulation.campaigns(plan, kappa, 100_000, 7, tails=3.0)
    wild = simulation.campaigns(plan, kappa, 100_000, 7, blunders=0.01)
    assert heavy.mean() == pytest.approx(kappa, abs=5 * heavy.std() / math.sqrt(100_000))
    read = uncertainty.combine(part for part in parts if part.common_to == "each pointing")
    assert wild.std() == pytest.approx(math.hypot(plan.result.planned_u, read), rel=0.02)  # one in a hundred, ten times as large: as much variance again


def test_power_and_false_alarms_over_a_hundred_thousand_lakes():
    """The threshold of the rule, on plans without repeats: the false-alarm rate is the stated one, and the power that of the plan."""
    plan = curvelab.plan(designs.single_line(1500.0, pointings=1))
    limit = decision.critical(plan.result.contributions(), 0.01)
    flat = np.mean(np.abs(simulation.campaigns(plan, 0.0, 100_000, 3)) > limit)
    right = np.mean(simulation.campaigns(plan, plan.result.ellipsoid_curvature, 100_000, 4) > limit)
    assert flat == pytest.approx(0.01, abs=4 * math.sqrt(0.01 / 100_000))
    assert right * (1 - adjustment.MISFIT if plan.result.dof else 1) == pytest.approx(plan.power, abs=4e-3)
