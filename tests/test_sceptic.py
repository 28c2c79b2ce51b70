"""What would turn a verdict, checked by turning it: the network is adjusted anew with the assumption put in."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

import curvelab
from curvelab import decision, designs, diagnosis, planning, sceptic, sceptic_page
from tests.books import DATA, SITE, book, drawn_whole
from tests.test_calibration import thermometers

REJECTING = ("two_kilometres", "builders_level_tested", "feet_and_inches")


def verdict(name):
    return curvelab.decide(curvelab.adjust(curvelab.read_fieldbook(DATA / name)))


def changed(name, **values):
    read = curvelab.read_fieldbook(DATA / name)
    return curvelab.decide(curvelab.adjust(read, planning.what_if(read, **values)))


@pytest.mark.parametrize("name", REJECTING)
@pytest.mark.parametrize("assumption, key", [("refraction along the long sights", "k"), ("far water above the near water", "shores")])
def test_the_verdict_falls_where_it_is_said_to_fall(name, assumption, key):
    flip = next(f for f in sceptic.flips(verdict(name)) if f.assumption == assumption)
    over, under = (flip.falls + 0.03 * (flip.stated - flip.falls) * sign for sign in (-1, 1))
    disagree = {"readings disagree"} if key == "shores" else set()  # both shores are touched and taped: the book itself may contradict a tilt
    assert changed(name, **{key: under}).outcome in {"flat rejected"} | disagree
    assert changed(name, **{key: over}).outcome in {"undecided"} | disagree
    assert changed(name, **{key: flip.flat}).result.curvature.value == pytest.approx(0.0, abs=1e-9)


def test_a_tilt_and_a_low_target_do_what_they_are_said_to_do(tmp_path):
    """The readings are changed by so much tilt, or the tape by so much height: the water found is flat."""
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\nS1,target,2000,0.2730\n"
    found = curvelab.decide(curvelab.adjust(book(tmp_path / "a", readings=text)))
    flips = {f.assumption: f for f in sceptic.flips(found)}
    tilt = flips["tilt of the line of sight at the lake"].flat * 1e-6
    tilted = text.replace("0.2730", f"{0.2730 - 2000 * tilt:.6f}").replace("1.5000", f"{1.5 - 10 * tilt:.6f}")
    assert curvelab.adjust(book(tmp_path / "b", readings=tilted)).curvature.value == pytest.approx(0.0, abs=5e-12)
    low = flips["target lower than it was measured"].flat / 1000
    heights = f"from,to,height [m]\nfar water,target,{1.5 - low:.7f}\n"
    assert curvelab.adjust(book(tmp_path / "c", readings=text, heights=heights)).curvature.value == pytest.approx(0.0, abs=2e-10)


@pytest.mark.parametrize("name", REJECTING)
def test_thresholds_are_where_the_rule_turns(name):
    """A reading that puts κ just beyond a threshold changes the outcome."""
    found = verdict(name)
    low, high = sceptic.thresholds(found.result)
    flat = found.result.contributions()
    rule = found.result.book.rule
    for edge, sign in ((low, 1), (low, -1)):
        p = max(decision.two_sided(edge + sign * 1e-3 * low, flat), decision.worst(edge + sign * 1e-3 * low, flat))
        assert (p < rule.alpha_flat) == (sign > 0)
    assert high < found.result.ellipsoid_curvature and low > 0
    assert f"{found.distance:.0f}" in found.sentence and "would have had to say so" in sceptic.against(found)


def test_thresholds_hold_along_the_paths_of_each_hypothesis():
    """Through warm air each hypothesis has its own path: readings moved to a threshold give the rule's own p."""
    plan = curvelab.plan(thermometers())
    found = curvelab.adjust(curvelab.simulate(plan, curvature=plan.result.ellipsoid_curvature / 2, seed=3))
    for edge, which in zip(sceptic.thresholds(found), ("flat", "ellipsoid")):
        lift = (found.curvature.value - edge) / 2
        moved = replace(found.book, readings=tuple(replace(r, reading=r.reading - lift * r.distance**2) for r in found.book.readings))
        told = curvelab.decide(curvelab.adjust(moved))
        p = max(getattr(told, f"p_{which}"), getattr(told, f"worst_{which}"))
        assert p == pytest.approx(getattr(found.book.rule, f"alpha_{which}"), rel=2e-3)


def test_the_margin_is_the_factor_that_all_uncertainties_may_grow_by(tmp_path):
    """In a book where all is normal: grow every stated uncertainty by it, and the verdict falls just there."""
    def grown(folder, f):
        site = (SITE.replace("± 5 µrad", f"± {5 * f} µrad").replace("± 0.1", f"± {0.1 * f}").replace("± 2 m", f"± {2 * f} m")
                .replace("[air.lake]", f'pointing = "{12 * f} µrad"\nreading = "{0.5 * f} mm"\nfocus_runout = "{6 * f} µrad"\nsetting_accuracy = "{f} arcsec"\n[air.lake]')
                .replace("[water]", f'[tape.T]\nscale = "0 ± {0.1 * f} mm/m"\n[water]\ntouch = "{3 * f} mm"\ntouch_common = "{f} mm"\nbetween_shores = "0 ± {2 * f} mm"'))
        return curvelab.decide(curvelab.adjust(book(folder, site=site, heights=f"from,to,height [m],u [mm]\nfar water,target,1.5,{f}\n")))

    found = grown(tmp_path / "1", 1.0)
    factor = sceptic.margin(found)
    assert 1 < factor < 3
    assert grown(tmp_path / "2", 0.98 * factor).outcome == "flat rejected"
    assert grown(tmp_path / "3", 1.02 * factor).outcome != "flat rejected"


def test_every_objection_is_answered_from_the_book():
    found = verdict("two_kilometres")
    told = sceptic.answers(found)
    assert len(told) == 7 and all(a.answer and a.see for a in told)
    american = " ".join(a.answer for a in sceptic.answers(found, "us")) + sceptic.against(found, "us")
    assert " in" in american and not re.search(r"\d mm", american)
    text = " ".join(a.answer for a in told)
    assert "nan" not in text and "k = 0.10" in text and "-0.17 K/m" in text
    unfixed = sceptic.answers(curvelab.decide(curvelab.adjust(curvelab.simulate(curvelab.plan(designs.single_line(2000.0)), curvature=0.0, seed=1))))
    assert "nan" not in " ".join(a.answer for a in unfixed)


def test_leaving_a_row_out_leaves_out_what_hangs_on_it():
    read = curvelab.read_fieldbook(DATA / "two_kilometres")
    table, line = sceptic.choices(read)["readings.csv row 2: P1 midway to peg A, 1.4368 m"]
    left = sceptic.without(read, table, line)
    assert {r.row for r in read.readings} - {r.row for r in left.readings} == {2, 3}
    with pytest.raises(curvelab.FieldBookError, match="no such row"):
        sceptic.without(read, "readings.csv", 999)


def test_what_leaves_no_long_sight_is_refused_and_readings_are_told_as_written(tmp_path):
    """The near water of the only set-up by the lake: pegs are left, which say nothing of the water."""
    folder = curvelab.new_fieldbook(tmp_path / "own")
    table = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    read = iter(("1.4", "1.6", "1.3", "1.5035", "1.45", *["0.22"] * 5))
    (folder / "readings.csv").write_text("\n".join([table[0], *(row.removesuffix(",,,") + f",{next(read)},," for row in table[1:])]), encoding="utf-8")
    own = curvelab.read_fieldbook(folder)
    with pytest.raises(ValueError, match="nothing can be said of the water"):
        sceptic.without(own, *sceptic.choices(own)["readings.csv row 6: lake 1 to near water, 1.45 m"])
    feet = sceptic.choices(curvelab.read_fieldbook(DATA / "feet_and_inches"))
    assert any(re.search(r" \d ft \d", label) for label in feet) and not any(label.endswith(" m") for label in feet)


def test_without_its_height_a_mark_is_still_tied_by_a_set_up_half_way():
    read = curvelab.read_fieldbook(DATA / "two_kilometres")
    left = sceptic.without(read, *sceptic.choices(read)["heights.csv row 3: far water to far mark"])
    assert list(left.water.surfaces) == ["near water"]  # as no row names the other any more
    assert curvelab.decide(curvelab.adjust(left)).outcome == "flat rejected"


def test_the_page_changes_the_verdict_before_their_eyes():
    page = sceptic_page.ScepticPage(curvelab.read_fieldbook(DATA / "two_kilometres"))
    assert page.verdict.outcome == "flat rejected" and "What if" not in page.sentence.value
    page.controls["k"].value = -0.8
    assert page.verdict.outcome == "ellipsoid rejected" and "What if refraction k had been -0.8?" in page.sentence.value
    page.controls["k"].value = round(page._stated["k"], 2)
    flip = next(f for f in sceptic.flips(page.verdict) if f.unit == "µrad")
    page.controls["collimation"].value = round(flip.falls) + 3
    assert page.verdict.outcome == "undecided"
    page.controls["collimation"].value = round(flip.falls) - 3
    assert page.verdict.outcome == "flat rejected"
    assert f"the line of sight had been tilted by {round(flip.falls) - 3} µrad?" in page.sentence.value
    page.controls["collimation"].value = round(page._stated["collimation"], 2)
    page.controls["shores"].value = -400  # both shores are touched and taped, so such a tilt shows
    assert page.verdict.outcome == "readings disagree"
    page.controls["shores"].value = 0
    page.left_out.value = page.left_out.options[-1]
    assert "had not been taken" in page.sentence.value or page.fault.value
    page.left_out.value = sceptic_page.NOTHING
    assert page.verdict.outcome == "flat rejected" and f"{page.verdict.result.curvature.value * 1e6:.4f}" in page.describe()
    assert "<table>" in page.notes.value and "perspective" in page.notes.value


def test_a_slider_starts_where_it_can_stand_and_its_label_fits():
    """What a browser rounds to a slider's step is no change, and a label has 14 em, some 28 letters."""
    page = sceptic_page.ScepticPage(curvelab.read_fieldbook(DATA / "two_kilometres"))
    for name, control in sceptic_page.CONTROLS.items():
        steps = (page.controls[name].value - control.low) / control.step
        assert steps == pytest.approx(round(steps), abs=1e-6) and abs(page.controls[name].value - page._stated[name]) <= control.step / 2 + 1e-9
        assert len(f"{control.label} [{control.unit}]") <= 28


@pytest.mark.parametrize("k, collimation, shores", [(-3, -200, -500), (3, 200, 500), (3, -200, 500), (-3, 200, -500)])
def test_the_corners_of_the_page(k, collimation, shores):
    page = sceptic_page.ScepticPage(curvelab.read_fieldbook(DATA / "builders_level"))
    for name, value in (("k", k), ("collimation", collimation), ("shores", shores)):
        page.controls[name].value = value
        drawn_whole(page)
    assert page.fault.value == "" and "nan" not in page.sentence.value + page.notes.value


def test_the_reading_most_at_odds_is_the_blunder(tmp_path):
    """A far reading off by 0.4 m among four targets: it is named, with the size that would mend it."""
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\n" + "".join(
        f"S1,t{d},{d},{1.5 + 1.5659e-7 * 0.87 * (d**2 - 100) / 2 - 1.5 + (0.4 if d == 1500 else 0):.5f}\n" for d in (500, 1000, 1500, 2000))
    heights = "from,to,height [m]\n" + "".join(f"far water,t{d},1.5\n" for d in (500, 1000, 1500, 2000))
    found = curvelab.decide(curvelab.adjust(book(tmp_path, readings=text, heights=heights)))
    first = diagnosis.misfits(found.result)[0]
    assert found.outcome == "readings disagree"
    assert "t1500" in first.label and first.movable == pytest.approx(-0.4, abs=0.05)
    assert "is one of these, which nothing tells apart" in found.sentence and "S1 to t1500; heights.csv row 4" in found.sentence


def test_no_row_is_blamed_that_nothing_checks(tmp_path):
    """One set of pegs, its two readings exchanged: the tolerance contradicts them, and no single row can be named."""
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "2 mm per 30 m"')
    pegs = "P1,a,30,1.5000\nP1,b,30,1.3000\nP2,a,5,1.2000\nP2,b,65,1.4000\n"
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\nS1,target,2000,0.2730\n" + pegs
    found = curvelab.decide(curvelab.adjust(book(tmp_path, site=site, readings=text)))
    assert found.outcome == "readings disagree" and "near water, by" not in found.sentence
    assert all(m.redundancy > 0.01 for m in diagnosis.misfits(found.result))


def test_several_days_need_one_common_change(tmp_path):
    """The tilt and the k at which the verdict falls, put into every day's lake readings, bring κ to the threshold."""
    plan = curvelab.plan(designs.several_days(designs.Facts(2000.0, height=2.0, pointings=1), sets=0))
    done = curvelab.simulate(plan, curvature=plan.result.ellipsoid_curvature, seed=2)
    found = curvelab.decide(curvelab.adjust(done))
    flip = next(f for f in sceptic.flips(found) if f.unit == "µrad")
    again = curvelab.adjust(sceptic.tilted(done, (flip.flat - flip.stated) * 1e-6))
    assert again.curvature.value == pytest.approx(0.0, abs=2e-3 * found.result.ellipsoid_curvature)


def test_what_cancels_is_not_listed(tmp_path):
    plan = curvelab.plan(designs.reciprocal(designs.Facts(2000.0, pointings=1)))
    found = curvelab.decide(curvelab.adjust(curvelab.simulate(plan, curvature=plan.result.ellipsoid_curvature, seed=1)))
    assert "far water above the near water" not in {f.assumption for f in sceptic.flips(found)}
    assert "sights from both shores cancel a tilt" in " ".join(a.answer for a in sceptic.answers(found))


def test_standardised_residuals_are_standard_normal():
    """Over simulated lakes their squares average 1 (10 lakes, tolerance from their number)."""
    plan = curvelab.plan(designs.single_line(2000.0, pointings=1))
    read = curvelab.read_fieldbook(DATA / "two_kilometres")
    squares = [m.standardised**2 for seed in range(20)
               for m in diagnosis.misfits(curvelab.adjust(curvelab.simulate(curvelab.plan(read), curvature=1.57e-7, seed=seed))) if m.redundancy > 0.05]
    assert len(squares) > 200 and plan.result.dof >= 0
    assert sum(squares) / len(squares) == pytest.approx(1.0, abs=0.15)


def test_half_way_tells_the_causes_apart():
    """What a target at D/2 would show of a tilt (half), of air (a quarter), of a height slip at the far target (nothing)."""
    excess = verdict("builders_level").excess
    assert excess.halfway == {"tilt": excess.offset / 2, "air": excess.offset / 4, "height": 0.0}
    assert excess.within_tolerance is False and excess.gradient == pytest.approx(excess.k / 6.2, rel=0.1)
    assert verdict("builders_level_tested").excess.within_tolerance is not None


def test_adding_all_margins_has_hardly_any_power():
    """By simulation: nine equal causes, 95 % margins added plainly, against a separation of 3.86."""
    import numpy as np
    rng = np.random.default_rng(3)
    estimates = 3.86 + rng.standard_normal((200_000, 9)).sum(1) / 3
    share = np.mean(estimates > 9 * 1.959964 / 3)
    assert sceptic.linear_sum_power(3.86, 9) == pytest.approx(share, abs=4 * math.sqrt(share / 200_000))
    assert sceptic.linear_sum_power(3.86, 9) < 0.05 < 0.9 < sceptic.linear_sum_power(3.86, 1)
    assert not np.mean(estimates - 3.86 > 9 * 1.959964 / 3)  # and a flat lake practically never falls outside those margins


def test_the_likelihood_ratio_leans_on_the_air():
    """Two hypotheses 3.86 u apart, found on the ellipsoid: 10^(3.86²/2/ln 10) but for the geoid (computed by hand)."""
    found = verdict("two_kilometres")
    kappa, expected = found.result.curvature, found.result.ellipsoid_curvature
    geoid = math.hypot(kappa.u, 0.003 * expected)
    by_hand = (kappa.value / kappa.u) ** 2 / 2 - ((kappa.value - expected) / geoid) ** 2 / 2 - math.log(geoid / kappa.u)
    assert found.likelihood_ratio() == pytest.approx(by_hand / math.log(10), rel=1e-9)
    assert found.likelihood_ratio(0.2) < 0.6 * found.likelihood_ratio()


def test_the_sceptics_page_speaks_us_units_too():
    page = sceptic_page.ScepticPage(curvelab.read_fieldbook(DATA / "two_kilometres"))
    before = float(page.describe().split()[-2])
    page.units.value = "us"
    page.controls["shores"].value = 254.0
    page.controls["shores"].value = page._start["shores"]
    assert page.describe().endswith(" in") and float(page.describe().split()[-2]) == pytest.approx(before / 25.4, abs=0.06)
    assert " mm" not in page.notes.value.split("<dl>")[0] and " in</td>" in page.notes.value and "miles" in page.sentence.value
    assert page.fields["shores"].children[0].value == "Far water higher by [in]" and page.figure.axes[0].get_xlabel().endswith(" miles")
