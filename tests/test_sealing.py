"""The sealed plan, the blind target, and what may be published."""

from __future__ import annotations

import dataclasses
import datetime
import math
import random
import shutil

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import curvelab
from curvelab import adjustment, designs, ellipsoid, planning, privacy, sealing
from curvelab.fieldbook import compose, with_changes
from curvelab.records import FieldBook
from tests.books import DATA, SITE, book

SEALED_AT = datetime.datetime(2026, 5, 2, 18, 0, tzinfo=datetime.timezone.utc)
COORDINATES = SITE.replace('latitude = 50\nazimuth = 60\ndistance = "2000 m ± 2 m"', 'from = [50.12345, 10.54321]\nto = [50.13243, 10.56744]\ndistance = "1999.1 m ± 2 m"')


@pytest.fixture
def campaign(tmp_path):
    """A plan, sealed, and the book that carries it out."""
    plan = curvelab.plan(designs.single_line(2000.0))
    seal = planning.seal(plan, tmp_path, SEALED_AT)
    done = curvelab.simulate(plan, curvature=1.566e-7, seed=3)
    text = (tmp_path / "sealed_plan.txt").read_text(encoding="utf-8")
    return compose(done.site | {"plan": {"sealed": seal}}, done.tables, text), text, seal


def test_a_plan_that_was_kept_says_so(campaign):
    done, text, seal = campaign
    verdict = curvelab.decide(curvelab.adjust(done))
    assert "The sealed plan was kept to" in verdict.sentence
    assert sealing.digest(text) == seal and sealing.sealed_time(text) == SEALED_AT
    assert sealing.opened(text).readings == designs.single_line(2000.0).readings
    assert "flat water: line of sight" in text and "gate 3.86" in text


@settings(max_examples=200)
@given(st.data())
def test_any_one_byte_changed_breaks_the_seal(data):
    text = sealing.plan_text(designs.single_line(2000.0), ["flat: 0 mm"], SEALED_AT)
    at = data.draw(st.integers(0, len(text) - 1))
    changed = text[:at] + chr((ord(text[at]) + data.draw(st.integers(1, 90))) % 0xD000) + text[at + 1:]
    assert sealing.digest(changed) != sealing.digest(text)


@pytest.mark.parametrize("change, words", [
    ({"rule.alpha_flat": 0.05}, "rule.alpha_flat was 0.01 and is 0.05"),
    ({"air.lake.gradient": "-0.01 ± 0.3 K/m"}, "air.lake.gradient was"),
    ({"instrument.A.drift": "1 µrad"}, "instrument.A.drift was not stated and is '1 µrad'"),
    ({"line.azimuth": 0.0}, "line.azimuth was 60.0 and is 0.0"),
])
def test_every_changed_key_is_listed(change, words, campaign):
    changed = with_changes(campaign[0], change)
    assert words in curvelab.decide(curvelab.adjust(changed)).sentence


def test_stopping_when_it_suits_is_listed(campaign):
    done, text, _ = campaign
    table = done.tables["readings.csv"]
    early = compose(done.site, done.tables | {"readings.csv": table.without(table.lines[-1])}, text)
    assert "readings.csv, S1 far target 2000.0: 5 planned, 4 taken" in curvelab.decide(curvelab.adjust(early)).sentence
    assert adjustment.adjust(early).planned_u == pytest.approx(adjustment.adjust(done).planned_u, rel=1e-12)  # the gate is that of the plan


@pytest.mark.parametrize("name, column, cell, words", [
    ("readings.csv", "distance", "1900", "readings.csv, S1 far target 1900: 0 planned, 5 taken"),
    ("readings.csv", "u", "0.0001", "far target 2000.0 0.0001: 0 planned, 5 taken"),
    ("heights.csv", "u", "0.00001", "heights.csv, far water far target 0.00001: 0 planned, 1 taken"),
])
def test_a_changed_row_is_listed_whatever_was_changed(name, column, cell, words, campaign):
    done, text, _ = campaign
    table = done.tables[name]
    if column in table.columns:
        table = table.filled(column, [cell if "far target" in row else row[table.columns.index(column)] for row in table.rows])
    else:
        table = dataclasses.replace(table, headers=(*table.headers, f"{column} [m]"), rows=tuple((*row, cell if "far target" in row else "") for row in table.rows))
    site = done.site | {"line": done.site["line"] | {"distance": "1900 m ± 2 m"}} if cell == "1900" else done.site
    assert words in " ".join(sealing.departures(compose(site, done.tables | {name: table}, text)))


def test_a_pointing_added_and_another_struck_is_listed(campaign):
    done, text, _ = campaign
    table = done.tables["readings.csv"]
    rows = [(*row, "", "") for row in table.rows] + [(*table.rows[-1], "struck", "too high")]
    more = dataclasses.replace(table, headers=(*table.headers, "status", "remark"), rows=tuple(rows), lines=(*table.lines, table.lines[-1] + 1))
    assert "1 readings were struck" in " ".join(sealing.departures(compose(done.site, done.tables | {"readings.csv": more}, text)))


def test_a_title_and_remarks_are_not_in_the_sealed_text():
    plan = designs.single_line(2000.0)
    table = plan.tables["readings.csv"]
    named = compose(plan.site | {"title": "Lake Secret"}, plan.tables | {"readings.csv": dataclasses.replace(
        table, headers=(*table.headers, "observer", "remark"), rows=tuple((*row, "Jane", "by the red house") for row in table.rows))})
    text = sealing.plan_text(named, [], SEALED_AT)
    assert not any(word in text for word in ("Secret", "Jane", "red house")) and sealing.opened(text).readings[0].point == "near water"


def test_a_published_book_leaves_its_sealed_plan_at_home(campaign):
    out = privacy.published(campaign[0])
    assert out.sealed_plan == out.sealed == "" and "sealed" not in curvelab.decide(curvelab.adjust(out)).sentence.lower()


def test_a_broken_or_missing_seal_is_said(campaign):
    done, text, _ = campaign
    assert "does not carry the seal" in curvelab.decide(curvelab.adjust(compose(done.site, done.tables, text + " "))).sentence
    assert "is not in the folder" in curvelab.decide(curvelab.adjust(compose(done.site, done.tables))).sentence


def test_a_sealed_plan_is_never_overwritten_and_travels_with_its_book(campaign, tmp_path):
    done, text, _ = campaign
    with pytest.raises(FileExistsError, match="never overwritten"):
        sealing.write_sealed("other", tmp_path)
    assert (tmp_path / "sealed_plan.txt").read_text(encoding="utf-8") == text and len(list(tmp_path.iterdir())) == 1
    again = curvelab.read_fieldbook(curvelab.write_fieldbook(done, tmp_path / "book"))
    assert again.sealed_plan == text and "was kept to" in curvelab.decide(curvelab.adjust(again)).sentence


def test_readings_before_the_seal_are_listed(campaign):
    done, text, _ = campaign
    late = text.replace("2026-05-02T18", "2027-05-02T18")
    table = done.tables["readings.csv"]
    timed = dataclasses.replace(table, headers=(*table.headers, "time"), rows=tuple((*row, f"2026-05-03T09:00:{i:02d}+00:00") for i, row in enumerate(table.rows)))
    told = sealing.departures(compose(done.site | {"plan": {"sealed": sealing.digest(late)}}, done.tables | {"readings.csv": timed}, late))
    assert any("was read before the plan was sealed" in line for line in told)


def test_what_is_no_sealed_plan_is_refused():
    with pytest.raises(curvelab.FieldBookError, match="no sealed plan"):
        sealing.opened("hello")


def test_a_blind_offset_is_drawn_committed_revealed_and_taken_out(tmp_path):
    """The helper mounts the target 37.2 mm higher than is written down: readings are 37.2 mm lower until it is revealed."""
    salt, seal = "pepper", sealing.commit("37.2 mm", "pepper")
    text = "setup,point,distance [m],reading [m]\nS1,near water,10,1.5000\nS1,target,2000,{:.4f}\n"
    plan = f'[plan]\nblind = "{seal}"\nblind_point = "target"\n'
    hidden = curvelab.decide(curvelab.adjust(book(tmp_path / "a", site=SITE + plan, readings=text.format(0.2730 - 0.0372))))
    assert "is not revealed yet" in hidden.sentence
    told = plan + f'blind_offset = "37.2 mm"\nblind_salt = "{salt}"\n'
    shown = curvelab.adjust(book(tmp_path / "b", site=SITE + told, readings=text.format(0.2730 - 0.0372)))
    plain = curvelab.adjust(book(tmp_path / "c", readings=text.format(0.2730)))
    assert shown.curvature.value == pytest.approx(plain.curvature.value, rel=1e-9, abs=0)
    for wrong, words in ((told.replace("37.2", "-37.2"), "not those that were committed to"), (told.replace("pepper", "salt"), "not those"),
                         (plan.replace('"target"', '"tarmac"'), "name the point"), (plan + 'blind_salt = "x"\n', "revealed together")):
        with pytest.raises(curvelab.FieldBookError, match=words):
            book(tmp_path / str(random.random()), site=SITE + wrong)
    drawn = [sealing.draw_blind(0.05) for _ in range(50)]
    assert all(abs(float(offset.removesuffix(" mm"))) <= 50 and sealing.commit(offset, salt) == seal for offset, salt, seal in drawn)
    assert len({seal for *_, seal in drawn}) == 50


def test_the_published_line_changes_the_prediction_by_less_than_the_geoid_may():
    latitude, azimuth = (a.ravel() for a in np.meshgrid(np.linspace(-90, 90, 361), np.linspace(0, 180, 181)))
    exact = 1 / ellipsoid.azimuth_radius(latitude, azimuth)
    rounded = 1 / ellipsoid.azimuth_radius(5.0 * np.round(latitude / 5), 30.0 * np.round(azimuth / 30))
    assert np.abs(rounded / exact - 1).max() < 2e-3


def _outputs_of_a_line(latitude: float, longitude: float, north: float, east: float) -> tuple[list[float], str]:
    """Coordinates of both shores of a line, and all that is written of a book that states them."""
    shores = [(latitude, longitude), (latitude + north / 111_200, longitude + east / (111_200 * math.cos(math.radians(latitude))))]
    plain = designs.single_line(round(math.hypot(north, east)))
    own = compose(plain.site | {"line": {"from": [*shores[0]], "to": [*shores[1]], "distance": f"{math.hypot(north, east):.0f} m ± 50 m"}}, plain.tables)
    plan, done = curvelab.plan(own), curvelab.simulate(own, curvature=1e-7, seed=1)
    verdict, out = curvelab.decide(curvelab.adjust(done)), privacy.published(done)
    return [*shores[0], *shores[1]], "\n".join([
        plan.describe(), sealing.plan_text(own, plan.predictions(), SEALED_AT), repr(own.line), verdict.describe(reader="lab"), repr(verdict),
        repr(plan), "\n".join(map(repr, verdict.result.budget())), repr(out.site), repr(out.tables)])


@settings(max_examples=60, deadline=None)
@given(st.floats(-80, 80), st.floats(-179, 179), st.floats(0, 360), st.floats(300, 9000))
@example(1.0, 3.8573808690935, 0.0, 300.0)  # as the gate of an untouched rule, which every plan tells
def test_no_output_gives_the_place_away(latitude, longitude, azimuth, length):
    """Coordinates stand in no sentence, seal, budget, published book or error message made from a random line.

    Digits that a book of the same line 200 m further on gives, too, are those of a reading.
    """
    north, east = length * math.cos(math.radians(azimuth)), length * math.sin(math.radians(azimuth))
    coordinates, told = _outputs_of_a_line(latitude, longitude, north, east)
    _, elsewhere = _outputs_of_a_line(latitude + 0.002, longitude + 0.002, north, east)
    for value in coordinates:
        if abs(value) > 1 and len(repr(value)) > 9:
            digits = repr(abs(value))[:len(str(int(abs(value)))) + 4]
            assert digits not in told or digits in elsewhere, digits


def test_a_published_book_reduces_to_the_same_curvature(tmp_path):
    shutil.copytree(DATA / "two_kilometres", tmp_path / "own")
    own = curvelab.read_fieldbook(tmp_path / "own")
    out = privacy.published(own)
    before, after = curvelab.adjust(own).curvature, curvelab.adjust(out).curvature
    assert after.value == pytest.approx(before.value, abs=0.02 * before.u) and after.u == pytest.approx(before.u, rel=1e-3)
    assert isinstance(out, FieldBook) and out.private and out.title != own.title
    assert [g.time - out.gauge[0].time for g in out.gauge] == [g.time - own.gauge[0].time for g in own.gauge]
    assert "2000-01-01" in repr(out.tables["gauge.csv"].rows[0]) and "2026" not in repr(out.tables["gauge.csv"].rows)


def test_a_struck_row_keeps_a_remark_that_tells_nothing(tmp_path):
    text = "setup,point,distance [m],reading [m],status,remark,observer\nS1,near water,10,1.5,,by the red house,Anna\nS1,target,2000,0.27,,,\nS1,target,2000,0.9,struck,the red house again,Bert\n"
    out = privacy.published(book(tmp_path, readings=text))
    assert "red house" not in repr(out.tables) and "Anna" not in repr(out.tables) and out.readings[2].struck
