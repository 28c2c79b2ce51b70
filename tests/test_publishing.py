"""The published folder, as a stranger meets it, and two reductions side by side."""

from __future__ import annotations

import csv
import dataclasses
import datetime
import hashlib
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pypdf
import pytest

import curvelab
from curvelab import designs, planning, privacy, publishing
from curvelab.fieldbook import compose
from tests.books import DATA, NAMES, SITE, book

PLACE = SITE.replace('latitude = 50\nazimuth = 60\ndistance = "2000 m ± 2 m"', 'from = [50.12345, 10.54321]\nto = [50.13243, 10.56744]\ndistance = "1999.1 m ± 2 m"')
TIMED = ("setup,point,distance [m],reading [m],time,observer,photo,status,remark\nS1,near water,10,1.5000,2026-05-03T09:10:11+02:00,Anna,IMG1,,by the red house\n"
         "S1,{target},1999,0.2730,2026-05-03T09:20:12+02:00,Bert,IMG2,,white boat\nS1,{target},1999,0.9730,2026-05-03T09:21:12+02:00,Bert,IMG2,struck,red house again\n")
HEIGHTS = "from,to,height [m]\nfar water,{target},1.5000\n"
HOSTILE = "<script>$\\frac{1}{0}$ 100 % =HYPERLINK(1) ../../x \U0001f6a3 \u05d0\u05d2"


def files(folder: Path) -> dict[str, bytes]:
    """All files of a folder."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def table(folder: Path) -> dict[str, str]:
    with (folder / "result.csv").open(encoding="utf-8", newline="") as lines:
        return {row["name"]: row["value"] for row in csv.DictReader(lines)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return publishing.publish(curvelab.read_fieldbook(DATA / "two_kilometres"), tmp_path_factory.mktemp("published") / "campaign")


def test_the_folder_holds_what_was_promised_and_every_sum_is_right(folder):
    held = files(folder)
    assert set(held) == {"README.md", "LICENCE.txt", "versions.txt", "result.csv", "handout.pdf", "SHA256SUMS",
                         "book/site.toml", "book/readings.csv", "book/heights.csv", "book/gauge.csv"}
    sums = dict(reversed(line.split("  ")) for line in held.pop("SHA256SUMS").decode().splitlines())
    assert sums == {name: hashlib.sha256(content).hexdigest() for name, content in held.items()} and list(sums) == sorted(sums)
    assert b"Creative Commons Attribution 4.0 International (CC BY 4.0)" in held["LICENCE.txt"] and b"https://creativecommons.org/licenses/by/4.0/" in held["LICENCE.txt"]
    assert held["versions.txt"].decode().splitlines() == [f"python {sys.version.split()[0]}", f"numpy {np.__version__}", f"curvelab {curvelab.__version__}"]


def test_a_stranger_s_three_lines_give_the_published_numbers(folder):
    code = re.search(r"```python\n(.*?)\n```", (folder / "README.md").read_text(encoding="utf-8"), re.DOTALL)[1]
    assert len(code.splitlines()) == 3
    told = subprocess.run([sys.executable, "-X", "utf8", "-c", code], cwd=folder, capture_output=True, text=True, check=True, encoding="utf-8").stdout
    numbers, page = table(folder), pypdf.PdfReader(folder / "handout.pdf").pages[0].extract_text()
    kappa, u = float(numbers["curvature of the water"]), float(numbers["its standard uncertainty"])
    assert f"κ = ({kappa:.4f} ± {u:.4f})/1000 km" in told and f"{kappa:.4f} ± {u:.4f}" in page
    assert f"separation {float(numbers['separation']):.2f} (gate {float(numbers['gate']):.2f})" in told
    assert f"χ² = {float(numbers['chi squared']):.1f} for {numbers['degrees of freedom']} degrees of freedom" in told and numbers["outcome"] == "flat rejected"


@pytest.mark.parametrize("name", NAMES)
def test_the_table_holds_the_verdict_of_the_published_book(tmp_path, name):
    own = curvelab.read_fieldbook(DATA / name)
    numbers = table(publishing.publish(own, tmp_path / "out"))
    verdict = curvelab.decide(curvelab.adjust(privacy.published(own)))
    expected = {"curvature of the water": verdict.result.curvature.value * 1e6, "z of flat water": verdict.z_flat, "z of the ellipsoid": verdict.z_ellipsoid,
                "radius, upper end of 95 %": verdict.radius[1] / 1000, "coefficient of refraction": verdict.result.effective_k, "p of flat water": verdict.p_flat}
    for quantity, value in expected.items():
        assert float(numbers[quantity]) == pytest.approx(value, rel=1e-5)
    assert numbers["outcome"] == verdict.outcome == curvelab.decide(curvelab.adjust(own)).outcome


def test_nothing_is_overwritten_and_nothing_lies_outside(tmp_path):
    own = curvelab.read_fieldbook(DATA / "builders_level")
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "mine.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    before = files(tmp_path)
    for name in ("taken", "file"):
        with pytest.raises(FileExistsError, match="is there already and not empty: give a new folder"):
            publishing.publish(own, tmp_path / name)
    assert files(tmp_path) == before
    (tmp_path / "empty").mkdir()
    first = files(publishing.publish(own, tmp_path / "empty"))
    second = files(publishing.publish(own, tmp_path / "deep" / "new"))
    assert first == second  # byte for byte
    assert {name.split("/")[0] for name in files(tmp_path)} == {"taken", "file", "empty", "deep"}
    with pytest.raises(FileExistsError):
        publishing.publish(own, tmp_path / "empty")


def test_no_coordinates_dates_people_or_remarks_are_published(tmp_path):
    own = book(tmp_path / "own", site=PLACE, readings=TIMED.format(target="target"), heights=HEIGHTS.format(target="target"))
    held = files(publishing.publish(own, tmp_path / "out"))
    held["handout"] = pypdf.PdfReader(tmp_path / "out" / "handout.pdf").pages[0].extract_text().encode()
    for secret in ("50.12", "10.54", "50.13", "10.56", "2026", "Anna", "Bert", "IMG", "red house", "white boat"):
        assert not [name for name, content in held.items() if secret.encode() in content], secret


def test_coordinates_that_hide_in_a_name_are_refused(tmp_path):
    target = "mark 50.12345 10.54321"
    own = book(tmp_path / "own", site=PLACE, readings=TIMED.format(target=target), heights=HEIGHTS.format(target=target))
    with pytest.raises(ValueError, match="holds the coordinates of its line"):
        publishing.publish(own, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    half = "mark 50.12345"  # half a place is none
    publishing.publish(book(tmp_path / "half", site=PLACE, readings=TIMED.format(target=half), heights=HEIGHTS.format(target=half)), tmp_path / "out")


def test_hostile_names_stay_names(tmp_path):
    own = book(tmp_path / "own", readings=TIMED.format(target=HOSTILE), heights=HEIGHTS.format(target=HOSTILE), site=f"title = {HOSTILE + chr(92) + 'n..'!r}\n" + SITE)
    out = publishing.publish(own, tmp_path / "out")
    assert curvelab.read_fieldbook(out / "book").heights[0].end == HOSTILE
    assert f"height of {HOSTILE}" in table(out)
    assert HOSTILE[:20] not in (out / "README.md").read_text(encoding="utf-8")
    assert {path.name for path in tmp_path.iterdir()} == {"own", "out"}
    told = publishing.compare(curvelab.adjust(own), curvelab.adjust(own, {"air.lake.k": "0.2 ± 0.1"})).describe()
    assert "air.lake.k" in told


@pytest.fixture(scope="module")
def sealed_book(tmp_path_factory):
    """A sealed plan, carried out the day after."""
    place = tmp_path_factory.mktemp("sealed")
    plan = curvelab.plan(designs.single_line(2000.0))
    seal = planning.seal(plan, place, datetime.datetime(2026, 5, 2, 18, 0, tzinfo=datetime.UTC))
    done = curvelab.simulate(plan, curvature=1.566e-7, seed=3)
    told = done.tables["readings.csv"]
    timed = dataclasses.replace(told, headers=(*told.headers, "time"), rows=tuple((*row, f"2026-05-03T09:00:{i:02d}+00:00") for i, row in enumerate(told.rows)))
    return compose(done.site | {"plan": {"sealed": seal}}, done.tables | {"readings.csv": timed}, (place / "sealed_plan.txt").read_text(encoding="utf-8"))


def test_a_sealed_plan_stays_at_home_or_goes_along_word_for_word(tmp_path, sealed_book):
    """It bears a date; whether it was kept to is said either way, from the whole book."""
    without, with_it = publishing.publish(sealed_book, tmp_path / "without"), publishing.publish(sealed_book, tmp_path / "with", sealed=True)
    pages = [" ".join(pypdf.PdfReader(out / "handout.pdf").pages[0].extract_text().split()) for out in (without, with_it)]
    assert not [name for name, content in files(without).items() if b"2026" in content or sealed_book.sealed.encode() in content] and "sealed_plan.txt" not in files(without)
    assert sealed_book.sealed not in pages[0] and sealed_book.sealed in pages[1]
    assert hashlib.sha256((with_it / "sealed_plan.txt").read_bytes()).hexdigest() == sealed_book.sealed
    assert "sealed_plan.txt" in (with_it / "SHA256SUMS").read_text(encoding="utf-8") and "sealed_plan.txt" in (with_it / "README.md").read_text(encoding="utf-8")
    for page in pages:
        assert "The sealed plan was kept to" in page and "before the plan was sealed" not in page
    for out in (without, with_it):
        assert "sealed" not in curvelab.decide(curvelab.adjust(curvelab.read_fieldbook(out / "book"))).sentence
    assert "sealed_plan.txt" not in files(publishing.publish(curvelab.read_fieldbook(DATA / "builders_level"), tmp_path / "none", sealed=True))


def test_a_plan_is_not_published(tmp_path):
    with pytest.raises(ValueError, match="no readings yet"):
        publishing.publish(designs.single_line(2000.0), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_notebook_works_the_book_again(tmp_path):
    pytest.importorskip("nbclient")
    import nbformat

    out = publishing.publish(curvelab.read_fieldbook(DATA / "builders_level"), tmp_path / "out", notebook=True)
    made = nbformat.read(out / "rework.ipynb", as_version=4)
    nbformat.validate(made)
    told = "".join(output["text"] for cell in made.cells if cell.cell_type == "code" for output in cell.outputs if output.get("name") == "stdout")
    assert f"κ = ({float(table(out)['curvature of the water']):.4f}" in told
    assert "rework.ipynb" in (out / "SHA256SUMS").read_text(encoding="utf-8") and str(tmp_path) not in (out / "rework.ipynb").read_text(encoding="utf-8")


def test_a_notebook_without_its_packages_is_refused_in_words(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "nbclient", None)
    with pytest.raises(ImportError, match="a notebook needs nbformat and nbclient"):
        publishing.publish(curvelab.read_fieldbook(DATA / "builders_level"), tmp_path / "out", notebook=True)


@pytest.fixture(scope="module")
def result():
    return curvelab.adjust(curvelab.read_fieldbook(DATA / "two_kilometres"))


def test_a_reduction_is_the_same_as_itself(result):
    compared = publishing.compare(result, result)
    assert all(row.difference == 0 and row.a == row.b for row in compared.rows) and not compared.changed
    assert compared.describe() == f"Both verdicts are: flat rejected.\n{len(compared.rows)} of {len(compared.rows)} numbers are the same.\nThe books are the same, word for word."


def test_two_airs_are_told_apart_in_standard_uncertainties(result):
    other = curvelab.adjust(result.book, {"air.lake.gradient": "-0.150 ± 0.060 K/m"})
    compared = publishing.compare(result, other)
    row = {r.quantity: r for r in compared.rows}["curvature of the water"]
    assert (row.a, row.b, row.unit) == (result.curvature.value * 1e6, other.curvature.value * 1e6, "1/1000 km")
    assert row.difference == row.b - row.a and row.in_u == pytest.approx((other.curvature.value - result.curvature.value) / max(other.curvature.u, result.curvature.u))
    assert compared.changed == ("air.lake.gradient",)
    told = compared.describe()
    outcomes = [curvelab.decide(r).outcome for r in (result, other)]
    assert f"The verdicts differ: {outcomes[0]}, and {outcomes[1]}." in told and "The books differ in air.lake.gradient." in told
    assert f"curvature of the water: {row.a:.5g} and {row.b:.5g} 1/1000 km, {abs(row.in_u):.2f} standard uncertainties apart." in told
    back = publishing.compare(other, result)
    assert [r.difference for r in back.rows] == [-r.difference for r in compared.rows]


def test_a_struck_row_and_a_published_copy_show_where_the_books_differ(result, folder):
    copy = curvelab.adjust(curvelab.read_fieldbook(folder / "book"))
    compared = publishing.compare(result, copy)
    assert set(compared.changed) == {"title", "readings.csv", "heights.csv", "gauge.csv"}
    assert all(abs(row.in_u) < 0.02 for row in compared.rows if not math.isnan(row.in_u))


def test_values_that_are_infinite_or_missing_compare_as_alike(tmp_path):
    none = curvelab.adjust(book(tmp_path / "none", readings="setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,target,2000,-0.9\n"))
    flat = curvelab.adjust(book(tmp_path / "flat", readings="setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,target,2000,0.0\n"))
    radius = [r for r in publishing.compare(none, none).rows if r.quantity.startswith("radius")]
    assert len(radius) == 2 and all(math.isnan(r.a) and r.difference == 0 for r in radius)
    rows = {r.quantity: r for r in publishing.compare(flat, flat).rows}
    assert math.isinf(rows["radius, upper end of 95 %"].a) and rows["radius, upper end of 95 %"].difference == 0
    assert "nan" in publishing.compare(none, flat).describe()


def test_results_of_two_books_are_refused(tmp_path, result):
    text = "setup,point,distance [m],reading [m]\nS1,hither,10,1.5\nS1,thither,2000,0.27\n"
    site = SITE.replace('["near water", "far water"]', '["hither", "yonder"]')
    other = curvelab.adjust(book(tmp_path / "other", site=site, readings=text, heights="from,to,height [m]\nyonder,thither,1.5\n"))
    with pytest.raises(ValueError, match="no point in common"):
        publishing.compare(result, other)
    with pytest.raises(ValueError, match="no readings yet"):
        publishing.compare(result, curvelab.plan(result.book).result)


def test_the_coordinates_in_a_sealed_plan_are_refused(tmp_path, sealed_book):
    """A name in the sealed plan can't be taken out of it."""
    line = {"from": [50.12345, 10.54321], "to": [50.13243, 10.56744], "distance": "2000 m ± 2 m"}
    told = compose(sealed_book.site | {"line": line}, sealed_book.tables, sealed_book.sealed_plan + "50.12345, 10.54321\n")
    with pytest.raises(ValueError, match="the sealed plan of this book holds the coordinates"):
        publishing.publish(told, tmp_path / "out", sealed=True)
    assert not (tmp_path / "out").exists()
    publishing.publish(told, tmp_path / "out")
