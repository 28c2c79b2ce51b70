"""The network: against closed forms, printed worked examples, scipy, and itself turned round."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import scipy.linalg
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

import curvelab
from curvelab import adjustment, designs, instrument, leastsquares, observation, planning, prediction, priors, refraction
from curvelab.fieldbook import compose, with_changes
from curvelab.observation import single_sight
from curvelab.rows import Row
from curvelab.uncertainty import Contribution
from tests.books import DATA, NAMES, SITE, book, edited

R = 6_371_000.0


@settings(max_examples=40, deadline=None)
@given(*(st.floats(low, high).map(lambda x, n=n: round(x, n)) for low, high, n in
         ((-0.5, 0.5, 6), (-5e-5, 5e-5, 9), (-2, 2, 4), (300, 9000, 2), (0, 100, 3))))
def test_one_sight_equals_the_closed_form(tmp_path_factory, offset, c, k, far, near):
    site = SITE.replace("2000 m ± 2 m", f"{far!r} m ± 0 m").replace("0 ± 5 µrad", f"{c * 1e6!r} ± 5 µrad").replace("0.13 ± 0.1", f"{k!r} ± 0.1")
    text = f"setup,point,distance [m],reading [m]\nS1,near water,{near!r},1.5\nS1,target,{far!r},{offset + 0.25!r}\n"
    result = curvelab.adjust(book(tmp_path_factory.mktemp("one"), site=site, readings=text, heights="from,to,height [m]\nfar water,target,1.25\n"))
    expected = single_sight(offset + 0.25 + 1.25 - 1.5, far, near, float(repr(c * 1e6)) * 1e-6, refraction.ray_curvature(k))
    assert result.dof == 0
    assert result.curvature.value == pytest.approx(expected, rel=1e-9, abs=1e-9 * 2 / far**2)
    assert len(result.unchecked) == 3


def test_uncertainty_of_one_sight_by_hand(tmp_path):
    """The law of propagation, term by term, from the defaults in data/README.md."""
    result = curvelab.adjust(book(tmp_path))
    far, near = 2000.0, 10.0
    half = (far**2 - near**2) / 2
    pointing, second = math.radians(1 / 3600) * 60 / 24, math.radians(1 / 3600)
    kappa, chi = result.curvature.value, 0.13 / R
    parts = {
        "pointing": math.hypot(pointing * far, pointing * near), "reading": 0.5e-3 * math.sqrt(2), "touch": 3e-3 * math.sqrt(2),
        "taped": 1e-3, "tape": 1e-4 * 1.5, "collimation": 5e-6 * (far - near), "setting": second * (far - near), "focus": 6e-6 * far,
        "shores": 1e-6 * far, "refraction": 0.1 / R * half, "distance": 2.0 * (kappa - chi) * far,
    }
    assert result.curvature.u == pytest.approx(math.hypot(*parts.values()) / half, rel=1e-6, abs=0)
    assert sum(row.fraction for row in result.budget()) == pytest.approx(1)
    assert {row.remark for row in result.budget() if row.cause == "focus run-out"} == {"default"}


def test_reciprocal_sights_of_a_printed_example(tmp_path):
    """1530 m across a river, one level on both banks.

    Worked example on a civil engineering teaching page (civilexperiences):
    readings 2.165/3.810 and 0.910/2.355, collimation -0.004 m per 100 m; it
    prints h = 1.545 m and a refraction of 0.0228 m from rounded steps. Here:
    (1 - k) from 0.1000 m = (1 - k)·1530²/2R - 0.0612 m.
    """
    site = """
[line]
latitude = 50
azimuth = 60
distance = "1530 m ± 0 m"
[instrument.A]
collimation = "-40 ± 0 µrad"
setting_accuracy = "0 arcsec"
focus_runout = "0 µrad"
[air.river]
k = "0 ± 5"
[water]
surfaces = ["A"]
touch = "0 mm"
touch_common = "0 mm"
"""
    readings = "setup,point,distance [m],reading [m]\nat A,A,0,2.165\nat A,B,1530,3.810\nat B,A,1530,0.910\nat B,B,0,2.355\n"
    result = curvelab.adjust(book(tmp_path, site=site, readings=readings, heights=None))
    assert -result.heights["B"].value == pytest.approx(1.545, abs=5e-5)
    difference = result.curvature.value - result.refraction["river"].value
    assert difference * R == pytest.approx(0.877, abs=5e-4)
    assert difference * R == pytest.approx(2 * (0.100 + 0.0612) / 1530**2 * R, rel=1e-9)


def test_two_pegs_by_network_and_closed_form(tmp_path):
    """With a wide tolerance the network's collimation is the closed form, corrected for the same κ - χ."""
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "1 m per 1 m"')
    pegs = "P1,a,30,1.5\nP1,b,30,1.3\nP2,a,5,1.4\nP2,b,65,1.203\n"
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\nS1,target,2000,0.2730\n" + pegs
    result = curvelab.adjust(book(tmp_path, site=site, readings=text))
    chi = result.refraction["over land at P1"].value
    closed = instrument.two_peg((1.5, 1.3, 1.4, 1.203), (30, 30, 5, 65), result.curvature.value, chi)
    assert result.collimation["A"].value == pytest.approx(closed, rel=1e-6, abs=0)
    assert result.refraction["over land at P1"].u * R == pytest.approx(1.0, rel=1e-3)
    assert "a" not in result.heights and "b" not in result.heights


@pytest.mark.parametrize("name", NAMES)
def test_least_squares_against_scipy(name):
    """The same rows, whitened, through scipy's QR-based solver, exact rows as very heavy ones."""
    result = curvelab.adjust(curvelab.read_fieldbook(DATA / name))
    unknowns = result.solution.unknowns
    design = np.array([[row.terms.get(key, 0.0) for key in unknowns] for row in result.rows])
    u = np.array([row.u or 1e-14 for row in result.rows])
    y = np.array([row.value for row in result.rows])
    scale = np.linalg.norm(design / u[:, None], axis=0)
    x = scipy.linalg.lstsq(design / u[:, None] / scale, y / u, lapack_driver="gelsy")[0] / scale
    assert x[0] == pytest.approx(result.curvature.value, rel=1e-6, abs=0)
    q, r = np.linalg.qr(design / u[:, None] / scale)
    assert math.sqrt(np.linalg.inv(r)[0] @ np.linalg.inv(r)[0]) / scale[0] == pytest.approx(result.curvature.u, rel=1e-5, abs=0)
    assert result.solution.redundancy.sum() == pytest.approx(result.dof, abs=1e-6)


@pytest.mark.parametrize("name", NAMES)
def test_the_budget_is_the_uncertainty(name):
    result = curvelab.adjust(curvelab.read_fieldbook(DATA / name))
    assert math.hypot(*(row.u for row in result.budget())) == pytest.approx(result.curvature.u, rel=1e-9, abs=0)


def _with_heights(book_, u):
    """The book with each height known to `u` mm, and neither water, gauge, tape nor board adding to it."""
    tables = dict(book_.tables)
    for name in ("heights.csv", "gauge.csv"):
        table = tables[name]
        at = table.headers.index("u [mm]")
        tables[name] = dataclasses.replace(table, rows=tuple((*row[:at], u if name == "heights.csv" else "0", *row[at + 1:]) for row in table.rows))
    site = book_.site | {"tape": {"T": {"scale": "0 ± 0 mm/m"}}}
    return with_changes(compose(site, tables), {"water.touch": "0 mm", "water.touch_common": "0 mm", "water.between_shores": "0 ± 0 mm",
                                                "scale.board.error": "0 ± 0 mm/m"})


def _without(book_, setup):
    table = book_.tables["readings.csv"]
    keep = [i for i, cells in enumerate(table.rows) if cells[0] != setup]
    return compose(book_.site, book_.tables | {"readings.csv": dataclasses.replace(
        table, rows=tuple(table.rows[i] for i in keep), lines=tuple(table.lines[i] for i in keep))})


def test_a_balanced_middle_changes_nothing_where_heights_are_exact():
    """Equal sights from the middle: curvature, refraction and collimation drop out; the heights are re-measured."""
    whole = curvelab.read_fieldbook(DATA / "two_kilometres")
    exact = _with_heights(whole, "0")
    with_middle, without = curvelab.adjust(exact).curvature, curvelab.adjust(_without(exact, "middle")).curvature
    assert with_middle.value == pytest.approx(without.value, rel=1e-9, abs=0)
    assert with_middle.u == pytest.approx(without.u, rel=1e-9, abs=0)
    vague = _with_heights(whole, "30")
    before, after = (curvelab.adjust(b).heights["far mark"] for b in (_without(vague, "middle"), vague))
    assert after.u < 0.7 * before.u and after.value != pytest.approx(before.value, abs=1e-4)


def test_a_second_target_at_half_the_distance_is_free_of_collimation(tmp_path):
    """Y(D) - m·Y(D₂) with m = (D - d)/(D₂ - d) holds no collimation error."""
    site = SITE.replace("0 ± 5 µrad", "0 ± 1000 µrad").replace("2000 m ± 2 m", "2000 m ± 0 m")
    kappa, chi = 1 / 6.385e6, 0.13 / R

    def curvature(c):
        rows = [f"S1,{p},{d},{h0 - h + c * d + (kappa - chi) * d * d / 2!r}" for p, d, h0, h in
                (("near water", 10, 1.5, 0.0), ("half", 1000, 1.5, 1.2), ("target", 2000, 1.5, 1.5))]
        text = "setup,point,distance [m],reading [m]\n" + "\n".join(rows) + "\n"
        heights = "from,to,height [m],u [mm]\nfar water,target,1.5,1\nnear water,half,1.2,1\n"
        return curvelab.adjust(book(tmp_path / f"{c}", site=site.replace("6 µrad", "0 µrad"), readings=text, heights=heights)).curvature

    assert curvature(0.0).value == pytest.approx(kappa, rel=1e-6, abs=0)
    assert curvature(3e-4).value == pytest.approx(curvature(0.0).value, rel=0.02, abs=0)
    assert curvature(3e-4).u < 0.5 * 1e-3 * 2 / 2010


def test_what_is_shared_is_one_unknown(tmp_path):
    """Three set-ups of five pointings: the compensator averages over 3, the air over nothing."""
    far = "".join(f"S{s},near water,10,1.5\n" + f"S{s},target,2000,\n" * 5 for s in (1, 2, 3)).replace("1.5\n", "\n")
    many = curvelab.plan(book(tmp_path / "a", readings="setup,point,distance [m],reading [m]\n" + far))
    one = curvelab.plan(book(tmp_path / "b", readings="setup,point,distance [m],reading [m]\nS1,near water,10,\nS1,target,2000,\n"))

    def share(plan, cause):
        return sum(row.u**2 for row in plan.budget() if row.cause == cause) ** 0.5

    assert share(many, "compensator setting") == pytest.approx(share(one, "compensator setting") / math.sqrt(3), rel=0.01)
    assert share(many, "pointing") == pytest.approx(share(one, "pointing") / math.sqrt(15), rel=0.01)
    assert share(many, "refraction") == pytest.approx(share(one, "refraction"), rel=1e-6)
    assert share(many, "focus run-out") == pytest.approx(share(one, "focus run-out"), rel=1e-3)


def test_repeats_take_the_larger_of_stated_and_found(tmp_path):
    def far_row(values):
        text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5\n" + "".join(f"S1,target,2000,{v}\n" for v in values)
        return next(row for row in curvelab.adjust(book(tmp_path / str(values[1]), readings=text)).rows if row.label.endswith("target"))

    calm, wild, two = far_row([0.270, 0.271, 0.269]), far_row([0.20, 0.30, 0.40]), far_row([0.20, 0.40])
    assert calm.u == pytest.approx(math.hypot(math.radians(60 / 24 / 3600) * 2000, 0.5e-3) / math.sqrt(3), rel=1e-9)
    assert wild.u == pytest.approx(0.1 / math.sqrt(3), rel=1e-9)
    assert [(p.distribution, p.dof) for p in wild.parts] == [("student t", 2)]
    assert two.u == pytest.approx(0.1, rel=1e-9) and [(p.distribution, p.dof) for p in two.parts] == [("student t", 1)]


def test_gauge_sign_for_marks_and_for_staffs(tmp_path):
    """A mark on land takes the water level of its own touch, a staff on the water that of its sight."""
    gauge = "time,water_level [m],u [mm]\n2031-05-03T08:00:00+02:00,0.500,0\n2031-05-03T10:00:00+02:00,0.480,0\n"
    readings = ("setup,point,distance [m],reading [m],time\nS1,near water,10,1.5100,2031-05-03T09:00:00+02:00\n"
                "S1,target,2000,0.2730,2031-05-03T10:00:00+02:00\n")
    heights = "from,to,height [m],time\nfar water,target,1.5000,2031-05-03T08:30:00+02:00\n"
    result = curvelab.adjust(book(tmp_path, readings=readings, heights=heights, gauge=gauge))
    assert result.heights["target"].value == pytest.approx(1.5 - 0.005, abs=1e-6)
    assert result.solution.estimate(("axis", "S1")).value == pytest.approx(1.51 - 0.010, abs=1e-5)


def test_water_that_is_touched_has_a_height_by_where_it_lies(tmp_path):
    """The water at the near shore is the zero; that of the far shore stands as much higher as the book says."""
    result = curvelab.adjust(book(tmp_path, site=SITE + 'between_shores = "3 ± 2 mm"\n'))
    assert (result.heights["near water"].value, result.heights["near water"].u) == (0.0, 0.0)
    struck = "setup,point,distance [m],reading [m],status,remark\nS1,near water,10,1.5,,\nS1,target,2000,0.273,,\nS1,far water,1990,1.2,struck,ripples\n"
    bare = book(tmp_path / "bare", site=SITE + 'between_shores = "3 ± 2 mm"\n', readings=struck, heights="from,to,height [m]\nnear water,target,1.5\n")
    assert "far water" not in curvelab.adjust(bare).heights  # nobody touched it
    assert (result.heights["far water"].value, result.heights["far water"].u) == pytest.approx((3e-3, 2e-3), rel=1e-6)


def test_struck_rows_are_left_out_and_the_result_with_them_is_told(tmp_path):
    text = ("setup,point,distance [m],reading [m],status,remark\nS1,near water,10,1.5,,\nS1,target,2000,0.2730,,\n"
            "S1,target,2000,0.9,struck,bumped the tripod\n")
    result = curvelab.adjust(book(tmp_path / "a", readings=text))
    plain = curvelab.adjust(book(tmp_path / "b"))
    assert result.curvature == plain.curvature
    assert "truck: readings.csv row 4; with what was struck the verdict is" in curvelab.decide(result).sentence


def test_the_profile_factor_scales_the_refraction(tmp_path):
    campaign = book(tmp_path)
    plain, half = (curvelab.adjust(campaign, profile_factor=f) for f in (None, lambda reading: 0.5))
    assert plain.curvature.value - half.curvature.value == pytest.approx(0.5 * 0.13 / R, rel=1e-6, abs=0)


def test_predictions_and_what_was_read(tmp_path):
    """For the same air, ellipsoid minus flat is D²/2R, and flat water shows the refraction alone."""
    result = curvelab.adjust(book(tmp_path))
    d = np.array([1000.0, 2000.0])
    (flat, u_flat), (ellipsoid, _) = (prediction.line_of_sight(result, k, d) for k in (0.0, result.ellipsoid_curvature))
    assert flat == pytest.approx(-0.13 / R * d**2 / 2, rel=1e-9)
    assert ellipsoid - flat == pytest.approx(d**2 / 2 * result.ellipsoid_curvature, rel=1e-9)
    second = math.radians(1 / 3600)
    assert u_flat[1] == pytest.approx(math.hypot(5e-6 * 2000, 6e-6 * 2000, second * 2000, 0.1 / R * 2e6, 2 * 0.13 / R * 2000), rel=1e-3)
    found = prediction.measured_offset(result)
    assert found.value == pytest.approx(0.2730 + 1.5 - 1.5, abs=5e-5)


def test_a_line_that_only_the_curvature_would_tie_is_refused(tmp_path):
    extra = "S1,lonely,1900,0.3\n"
    with pytest.raises(curvelab.FieldBookError, match="lonely.*curvature that it is to show"):
        curvelab.adjust(book(tmp_path, readings="setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,target,2000,0.273\n" + extra))


def test_all_exact_is_a_plan_without_limit(tmp_path):
    site = SITE.replace("0 ± 5 µrad", "0 ± 0 µrad").replace("0.13 ± 0.1", "0.13 ± 0").replace("2000 m ± 2 m", "2000 m ± 0 m")
    site = site.replace("[air.lake]", 'setting_accuracy = "0 µrad"\nfocus_runout = "0 µrad"\npointing = "0 µrad"\nreading = "0 mm"\n[air.lake]')
    site += 'touch = "0 mm"\ntouch_common = "0 mm"\nbetween_shores = "0 ± 0 mm"\n[tape.T]\nscale = "0 ± 0 mm/m"\n[rule]\ngeoid = "0 %"\n'
    exact = book(tmp_path, site=site, heights="from,to,height [m],u [mm],tape\nfar water,target,1.5,0,T\n")
    assert curvelab.plan(exact).separation == math.inf
    assert curvelab.decide(curvelab.adjust(exact)).outcome == "both rejected"


@pytest.mark.parametrize("rows, scale", [(("", ""), 0.03), (("", "other"), 0.0001), (("T", ""), 0.0001)])
def test_the_only_tape_of_a_book_is_the_one_that_nobody_names(rows, scale, tmp_path):
    heights = "from,to,height [m],tape\nnear water,m,0.5," + rows[0] + "\nfar water,target,1.5," + rows[1] + "\n"
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,m,12,1.0\nS1,target,2000,0.273\n"
    result = curvelab.adjust(book(tmp_path, site=SITE + '[tape.T]\nscale = "0 ± 30 mm/m"\n', readings=text, heights=heights))
    far = next(row for row in result.rows if row.label.endswith("to target") and row.kind == "height")
    key = next(k for k in far.terms if k[0] == "tape")
    assert priors.prior(result.book, key).u == pytest.approx(scale)


def test_an_exact_row_is_one_that_nothing_checks(tmp_path):
    result = curvelab.adjust(book(tmp_path, heights="from,to,height [m],u [mm]\nfar water,target,1.5,0\n"))
    assert any(label.startswith("heights.csv row 2") for label in result.unchecked)


def test_without_water_the_air_is_its_own_and_the_verdict_says_so(tmp_path):
    site = SITE.replace('surfaces = ["near water", "far water"]', "")
    heights = "from,to,height [m]\nnear water,target,1.5\n"
    result = curvelab.adjust(book(tmp_path, site=site, heights=heights))
    assert result.refraction["over land at S1"].u * R == pytest.approx(1.0)
    assert "touches the water" in curvelab.decide(result).sentence


@pytest.mark.parametrize("site, more", [(SITE.replace(', "far water"', ""), ""), (SITE.replace('surfaces = ["near water", "far water"]', ""), "; name the points that are the water itself in site.toml, [water] surfaces")])
def test_a_line_whose_target_has_no_height_says_what_would_determine_it(site, more, tmp_path):
    with pytest.raises(curvelab.FieldBookError) as fault:
        curvelab.adjust(book(tmp_path, site=site, heights=None))
    assert str(fault.value).endswith("(a row in heights.csv, or readings from another set-up)" + more)


def test_a_bare_air_over_land_is_the_default_one(tmp_path):
    text = "setup,point,distance [m],reading [m],air\nS1,near water,10,1.5,lake\nS1,target,2000,0.273,lake\nP1,a,5,1.4,meadow\nP1,b,65,1.2,meadow\n"
    result = curvelab.adjust(book(tmp_path, site=SITE + "[air.meadow]\n", readings=text))
    assert priors.prior(result.book, ("refraction", "meadow")).u * R == pytest.approx(1.0)


def test_pegs_on_a_meadow_need_no_tie():
    assert {"peg A", "peg B"}.isdisjoint(curvelab.adjust(curvelab.read_fieldbook(DATA / "two_kilometres")).heights)


BLUNDERS = {
    "near height reversed": ("heights.csv", "near mark,0.", "near mark,-0."),
    "far height reversed": ("heights.csv", "far mark,", "far mark,-"),
    "far reading 0.9 m low": ("readings.csv", "S1,far mark,", None),
    "peg set-up name used twice": ("readings.csv", "P2 midway", "P1 at A"),
}


@pytest.mark.parametrize("name, blunder", [(name, blunder) for name in ("two_kilometres", "builders_level", "builders_level_tested") for blunder in BLUNDERS
                                           if not ("peg" in blunder and name == "builders_level")])
def test_a_blunder_is_no_verdict_unless_its_row_is_named_as_unchecked(name, blunder, tmp_path):
    file, old, new = BLUNDERS[blunder]
    if blunder == "far reading 0.9 m low":
        line = next(row for row in (DATA / name / file).read_text(encoding="utf-8").splitlines() if row.startswith(old))
        cells = line.split(",")
        cells[3] = f"{float(cells[3]) - 0.9:.4f}"
        old, new = line, ",".join(cells)
    folder = edited(tmp_path / "wrong", name, file, old, new, count=2)
    try:
        verdict = curvelab.decide(curvelab.adjust(curvelab.read_fieldbook(folder)))
    except curvelab.FieldBookError:
        return
    if verdict.outcome not in ("readings disagree", "too uncertain to decide", "undecided"):
        assert any("far mark" in label and label.startswith("heights.csv") for label in verdict.result.unchecked) and "far height" in blunder
        assert "Nothing checks" in verdict.sentence


def test_a_fully_checked_book_names_no_row():
    verdict = curvelab.decide(curvelab.adjust(curvelab.read_fieldbook(DATA / "two_kilometres")))
    assert verdict.result.unchecked == [] and "othing checks" not in verdict.sentence


def test_several_days_share_the_level_and_not_the_water(tmp_path):
    """Without a gauge each visit has a water level of its own; the collimation stays one unknown."""
    rows = "".join(f"{d}a,near water,10,{1.5 + s},{d}\n{d}a,target,2000,{0.273 + s},{d}\n" for d, s in (("mon", 0.0), ("tue", 0.2)))
    heights = "from,to,height [m],visit\nfar water,target,1.5,mon\nfar water,target,1.5,tue\n"
    result = curvelab.adjust(book(tmp_path, readings="setup,point,distance [m],reading [m],visit\n" + rows, heights=heights))
    assert ("water level", "tue") in result.solution.unknowns
    assert sum(key[0] == "collimation" for key in result.solution.unknowns) == 1
    assert sum(key[0] == "shores" for key in result.solution.unknowns) == 2


def test_estimates_of_an_unused_instrument_are_what_was_stated(tmp_path):
    site = SITE.replace("[air.lake]", '[instrument.B]\ncollimation = "3 ± 1 µrad"\n[air.lake]')
    text = "setup,point,distance [m],reading [m],instrument\nS1,near water,10,1.5,A\nS1,target,2000,0.273,A\n"
    assert curvelab.adjust(book(tmp_path, site=site, readings=text)).collimation["B"].value == pytest.approx(3e-6, abs=0)


def test_a_row_that_touches_nothing_determines_nothing():
    """A coefficient of 0, be the row exact or not: nothing follows, nothing is NaN, and the misfit stays where it was."""
    for u in (0.0, 1.0):
        found = leastsquares.solve([Row("idle", "reading", {("a",): 0.0}, 3.0, (Contribution("", "", u),))])
        assert found.x.tolist() == [0.0, 0.0] and found.residuals.tolist() == [3.0]
        assert not found.determined(("a",)) and not found.determined(("curvature",)) and found.dof == 1


@pytest.mark.parametrize("u", [1e-6, 1.0, 1e6])
def test_the_unit_of_the_rows_does_not_matter(u):
    """a = b exactly, and a = 3 ± u: both are 3 ± u whatever u is, and the curvature, which no row holds, stays open."""
    rows = [Row("tie", "height", {("a",): 1.0, ("b",): -1.0}, 0.0, ()), Row("a", "reading", {("a",): 1.0}, 3.0, (Contribution("", "", u),))]
    found = leastsquares.solve(rows)
    for key in (("a",), ("b",)):
        estimate = found.estimate(key)
        assert found.determined(key) and (estimate.value, estimate.u) == (pytest.approx(3.0, rel=1e-12), pytest.approx(u, rel=1e-12))
    assert not found.determined(("curvature",)) and found.dof == 0


def test_what_one_sight_was_bent_by_is_the_air_as_stated(tmp_path):
    """With nothing redundant the air stays at its prior; an offset is a curvature times D²/2."""
    result = curvelab.adjust(book(tmp_path))
    assert result.effective_k == pytest.approx(0.13, rel=1e-9)
    assert math.hypot(*(row.u for row in result.offset_budget())) == pytest.approx(result.curvature.u * 2000**2 / 2, rel=1e-9)


def test_the_least_blunder_that_shows():
    """A test at 0.1 %, two-sided, with a power of 80 %."""
    assert adjustment.DETECTABLE == round(scipy.stats.norm.ppf(0.9995) + scipy.stats.norm.ppf(0.8), 2)


def test_a_weak_row_moved_by_its_size_moves_the_curvature_by_half_of_that_of_the_earth(tmp_path):
    """The size that is named, put into the reading."""
    result = curvelab.adjust(book(tmp_path / "a"))
    needed = float(dict(result.weak)["readings.csv row 3: S1 to target"])
    text = f"setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\nS1,target,2000,{0.2730 + needed!r}\n"
    moved = curvelab.adjust(book(tmp_path / "b", readings=text)).curvature.value - result.curvature.value
    assert moved == pytest.approx(result.ellipsoid_curvature / 2, rel=1e-6, abs=0)


def test_the_focus_runs_out_beyond_a_hundred_metres(tmp_path):
    """u of a prediction at 100 m and just beyond: 6 µrad of focus run-out come in, as data/README.md says."""
    result = curvelab.adjust(book(tmp_path))
    _, (near, far) = prediction.line_of_sight(result, 0.0, np.array([100.0, 100.001]))
    assert math.sqrt(far**2 - near**2) == pytest.approx(6e-6 * 100, rel=1e-3)


def test_the_uncertainty_of_what_was_read_leaves_collimation_and_air_out(tmp_path):
    """Pointing, reading, touch and taped height by hand, as in the budget of one sight above."""
    found = prediction.measured_offset(curvelab.adjust(book(tmp_path)))
    near, far, lever = 10.0, 2000.0, 2000.0**2 / (2000.0**2 - 10.0**2)
    pointing = math.radians(1 / 3600) * 60 / 24
    parts = [math.hypot(pointing * far, pointing * near), 0.5e-3 * math.sqrt(2), 3e-3 * math.sqrt(2), 1e-3, 1e-4 * 1.5, 1e-6 * far]
    assert found.u == pytest.approx(lever * math.hypot(*parts), rel=1e-3)


def test_repeats_of_falling_water_do_not_scatter(tmp_path):
    """The water falls by 20 mm between two touches, and the reading grows by as much: nothing beyond what was stated."""
    gauge = "time,water_level [m],u [mm]\n2031-05-03T08:00:00+02:00,0.500,0\n2031-05-03T10:00:00+02:00,0.480,0\n"
    readings = ("setup,point,distance [m],reading [m],time\nS1,near water,10,1.5000,2031-05-03T08:00:00+02:00\n"
                "S1,near water,10,1.5200,2031-05-03T10:00:00+02:00\nS1,target,2000,0.2730,2031-05-03T10:00:00+02:00\n")
    heights = "from,to,height [m],time\nfar water,target,1.5000,2031-05-03T08:00:00+02:00\n"
    row = curvelab.adjust(book(tmp_path, readings=readings, heights=heights, gauge=gauge)).rows[0]
    assert row.scatter == pytest.approx(0.0, abs=1e-9) and {part.cause for part in row.parts} == {"pointing", "reading"}


def test_rows_of_repeats_are_named_by_runs(tmp_path):
    near, far = "S1,near water,10,1.5\n", "S1,target,2000,0.273\n"
    text = "setup,point,distance [m],reading [m]\n" + near + far + near + far + far
    labels = [row.label for row in curvelab.adjust(book(tmp_path, readings=text)).rows]
    assert {"readings.csv rows 2, 4: S1 to near water", "readings.csv rows 3, 5-6: S1 to target"} <= set(labels)


def test_what_belongs_to_long_sights_alone(tmp_path):
    """Focus run-out beyond 100 m, the line's own length beyond half of it."""
    sights = {"a": 100.0, "b": 100.5, "c": 999.0, "d": 1001.0}
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,target,2000,0.273\n"
    text += "".join(f"S1,{p},{d},1\n" for p, d in sights.items())
    heights = "from,to,height [m]\nfar water,target,1.5\n" + "".join(f"near water,{p},0.5\n" for p in sights)
    result = curvelab.adjust(book(tmp_path, readings=text, heights=heights))
    rows = {row.reading.point: {key[0] for key in row.terms} for row in result.rows if row.reading}
    assert ["focus" in rows[p] for p in sights] == [False, True, True, True]
    assert ["distance" in rows[p] for p in sights] == [False, False, False, True]


def test_a_chain_of_heights_before_any_solution(tmp_path):
    """near water - a - b, 0.5 m and 0.7 m, and the telescope taped 1.4 m above a; by hand."""
    heights = "from,to,height [m]\nfar water,target,1.5\nnear water,a,0.5\na,b,0.7\na,axis:S1,1.4\n"
    text = "setup,point,distance [m],reading [m]\nS1,a,10,1.4\nS1,target,2000,0.673\n"
    campaign = book(tmp_path, readings=text, heights=heights)
    known = {("height", "target"): 1.5, ("height", "a"): 0.5, ("height", "b"): 1.2, ("axis", "S1"): 1.9}
    assert observation.nominal_heights(campaign) == pytest.approx(known, abs=1e-12)
    result = curvelab.adjust(campaign)
    assert result.solution.estimate(("axis", "S1")).value == pytest.approx(1.9, abs=1e-4)
    terms = {row.label: row.terms for row in result.rows}["heights.csv row 5: a to axis:S1"]
    assert terms == {("axis", "S1"): 1.0, ("height", "a"): -1.0, ("tape", ""): 1.4}


def test_errors_are_about_zero_and_as_large_as_documented(tmp_path):
    """A tolerance over √3; a hygrometer's 5 %; a fifth for the profile and a tenth at one height (DEVELOPERS.md)."""
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "3 mm per 30 m"')
    campaign = book(tmp_path, site=site)
    expected = {("collimation", "A"): 1e-4 / math.sqrt(3), ("hygrometer", ""): 0.05, ("departure", "lake"): 0.2, ("departure", "lake", "1 m"): 0.1}
    for key, u in expected.items():
        row = priors.prior(campaign, key)
        assert (row.value, row.u) == (0.0, pytest.approx(u, rel=1e-12, abs=0))
    assert [priors.prior(campaign, key).parts[0].common_to for key in list(expected)[2:]] == ["air lake", "each line height"]
    others = ("drift", "A"), ("setting", "S1"), ("focus", "A"), ("touch", "S1"), ("distance",), ("tape", "")
    assert [priors.prior(campaign, key).value for key in others] == [0.0] * 6


def test_one_reading_more_than_needed_can_disagree(tmp_path):
    """Redundancy 1: two tapes to the target that differ by 0.1 m."""
    heights = "from,to,height [m]\nfar water,target,1.5\nfar water,target,1.6\n"
    verdict = curvelab.decide(curvelab.adjust(book(tmp_path, heights=heights)))
    assert verdict.result.dof == 1 and verdict.outcome == "readings disagree"


def test_a_prediction_rests_on_the_peg_test_and_not_on_the_lake(tmp_path):
    """A far reading 0.5 m off changes nothing; a peg reading does, also at 100 m."""
    site = SITE.replace('collimation = "0 ± 5 µrad"', 'tolerance = "1 m per 1 m"')
    d = np.array([2000.0])

    def offset(far, peg):
        text = ("setup,point,distance [m],reading [m]\nS1,near water,10,1.5\n" + f"S1,target,2000,{far!r}\n"
                + f"P1,a,50,1.5\nP1,b,50,1.3\nP2,a,5,1.4\nP2,b,100,{peg!r}\n")
        result = curvelab.adjust(book(tmp_path / f"{far} {peg}", site=site, readings=text))
        return float(prediction.line_of_sight(result, 0.0, d)[0][0])

    assert offset(0.773, 1.2) == pytest.approx(offset(0.273, 1.2), abs=1e-9)
    assert offset(0.273, 1.201) - offset(0.273, 1.2) == pytest.approx(0.001 / 95 * 2000, rel=1e-2)


def test_a_sight_as_short_as_a_peg_test_is_not_predicted_by_its_own_reading():
    """100 m, read 14 mm above what either water lets expect: the lines stay where they were planned."""
    line = designs.single_line(100.0, pointings=1)
    told = [prediction.predicted_lines(curvelab.adjust(planning.phoned_in(line, by, 1.6))) for by in (0.0, 0.014)]
    for (along, *lines), (_, *others) in [told]:
        assert along[0] == 0.0 and along[-1] == 100.0 and np.allclose(np.diff(along), 2.5)
        for (by, u), (same, _), curvature in zip(lines, others, (0.0, 1 / float(curvelab.ellipsoid.azimuth_radius(50, 60)))):
            assert by[0] == 0.0 and np.abs(by - same).max() < 1e-6 and (np.diff(u) > 0).all()
            assert by[-1] == pytest.approx((curvature - 0.15 / 6.371e6) * 100.0**2 / 2, abs=1e-6)
