"""The paper kit and the handout: what the pages say, how large they are, and that nothing breaks or leaves them."""

from __future__ import annotations

import dataclasses
import itertools
import math
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import matplotlib
import numpy as np
import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgba
from matplotlib.patches import Rectangle
from matplotlib.text import Text

import curvelab
from curvelab import air, designs, figures, lake, paper, planning, sceptic
from curvelab.adjustment import axis_height
from curvelab.fieldbook import compose, with_changes
from curvelab.prediction import line_of_sight
from curvelab.records import FieldBook, Reading, Table
from tests.books import DATA, NAMES, SITE, book

MM = 72 / 25.4  # points
MAKERS = (paper.field_sheet, paper.helpers_card, paper.target_board)
HOSTILE = "<script>alert('x')</script> & $\\frac{1}{0}$ 100 % \\n {0} ../../etc/passwd \U0001f6a3 \u05d0\u05d2\u05dd \u202e=HYPERLINK(1) a\u0301\u0302\u0303\u0304 " + "W" * 300


@pytest.fixture(scope="module")
def plans():
    return {name: curvelab.plan(curvelab.read_fieldbook(DATA / name)) for name in NAMES}


@pytest.fixture(scope="module")
def results():
    return {name: curvelab.adjust(curvelab.read_fieldbook(DATA / name)) for name in NAMES}


def text(path: Path) -> str:
    """The words of a PDF, one space between them."""
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def renamed(given: FieldBook, title: str, point: str) -> FieldBook:
    """The same book with another title, and another name for its far point."""
    far = max(given.readings, key=lambda r: r.distance).point
    tables = {name: dataclasses.replace(table, rows=tuple(tuple(point if cell == far else cell for cell in row) for row in table.rows))
              for name, table in given.tables.items()}
    return compose(given.site | {"title": title}, tables)


def long_plan(readings: int) -> planning.Plan:
    """A plan of one set-up with so many readings of the target."""
    return curvelab.plan(designs.single_line(2000.0, pointings=readings - 1))


def drawn(monkeypatch, make, *given, size="A4", **asked):
    """The figures of a maker, laid out, instead of its file."""
    kept = []

    def put(path, paper_, overwrite, draw, kinds=()):
        with figures.style(), matplotlib.rc_context(paper.PRINT):
            kept.extend(draw(paper.SIZES[paper_]))
            for figure in kept:
                figure.set_dpi(200)
                FigureCanvasAgg(figure).draw()

    with monkeypatch.context() as patch:
        patch.setattr(paper, "put", put)
        make(*given, "x.pdf", size, **asked)
    return kept


def boxes(figure):
    """Extents of every text that is shown [mm from the lower left corner], with the text."""
    per = figure.dpi / 25.4
    found = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
    extents = [np.array(t.get_window_extent().extents) / per for t in found]
    for t, box in zip(found, extents):
        box[1] += 0.236 * t.get_fontsize() / MM * t.get_text().strip("+-.").isdigit()  # digits have no descender (that of the font: 0.236)
    return list(zip(found, extents))


CASES = [
    ("sheet", paper.field_sheet, "plan"), ("card", paper.helpers_card, "plan"), ("board", paper.target_board, "plan"), ("handout", paper.handout, "result"),
]


@pytest.mark.parametrize("size", paper.SIZES)
@pytest.mark.parametrize("title", ["plain", "hostile"])
@pytest.mark.parametrize("name, make, kind", CASES, ids=[case[0] for case in CASES])
def test_no_text_leaves_its_page_its_cell_or_meets_another(monkeypatch, name, make, kind, title, size):
    given = curvelab.read_fieldbook(DATA / "builders_level")
    given = renamed(given, HOSTILE, HOSTILE) if title == "hostile" else given
    if kind == "plan":
        given = with_changes(given, {"rule.power": 0.9})
    pages = drawn(monkeypatch, make, curvelab.plan(given) if kind == "plan" else curvelab.adjust(given), size=size)
    assert len(pages) == 1 or name in ("sheet", "board")
    wide, tall = paper.SIZES[size]
    for figure in pages:
        ax, *pictures = figure.axes
        edge = (wide - paper.WIDE) / 2
        own = [(t, box) for t, box in boxes(figure) if t.axes is ax]
        for t, (left, low, right, high) in own:
            assert left >= edge - 0.1 and right <= wide - edge + 0.1 and low > 7 and high < tall - 5, t.get_text()
        for (one, a), (other, b) in itertools.combinations(own, 2):
            apart = a[0] > b[2] - 0.05 or b[0] > a[2] - 0.05 or a[1] > b[3] - 0.35 or b[1] > a[3] - 0.35
            assert apart, (one.get_text(), other.get_text())
        cells = [p for p in ax.findobj(Rectangle) if p is not ax.patch and not p.get_fill() and name != "board"]
        for t, (left, low, right, high) in own:
            for c in cells:
                x, y = c.get_x() + edge, c.get_y()
                if x < left < x + c.get_width() and y < (low + high) / 2 < y + c.get_height():
                    assert right < x + c.get_width() + 0.1 and low > y - 0.2 and high < y + c.get_height() + 0.2, t.get_text()
        for picture in pictures:
            ticks = [t for axis in (picture.xaxis, picture.yaxis) for tick in axis.get_major_ticks() for t in (tick.label1, tick.label2)
                     if not min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())]
            for t, (left, low, right, high) in [(t, box) for t, box in boxes(figure) if t.axes is picture and t not in ticks]:
                assert left > 5 and right < wide - 5 and low > 7, t.get_text()


@pytest.mark.parametrize("make", MAKERS)
def test_black_on_white_and_ten_points_or_more(monkeypatch, plans, make):
    for figure in drawn(monkeypatch, make, plans["two_kilometres"]):
        assert all(t.get_fontsize() >= 10 and to_rgba(t.get_color()) == (0, 0, 0, 1) for t in figure.findobj(Text) if t.get_visible() and t.get_text())


def test_the_handout_is_black_white_and_grey(monkeypatch, results):
    (figure,) = drawn(monkeypatch, paper.handout, results["two_kilometres"])
    pixels = np.asarray(figure.canvas.buffer_rgba())[:, :, :3].astype(int)
    assert np.ptp(pixels, axis=2).max() <= 1
    assert all(t.get_fontsize() >= 10 for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip())
    assert pixels.mean() > 200  # paper stays white


@pytest.mark.parametrize("size, mm", [("A4", (210.0, 297.0)), ("letter", (215.9, 279.4))])  # ISO 216; 8.5 in by 11 in
def test_pages_have_the_size_of_the_paper(tmp_path, plans, results, size, mm):
    for make in MAKERS:
        make(plans["two_kilometres"], tmp_path / f"{make.__name__}.pdf", size)
    paper.handout(results["two_kilometres"], tmp_path / "handout.pdf", size)
    counts = {}
    for path in tmp_path.iterdir():
        pages = pypdf.PdfReader(path).pages
        counts[path.stem] = len(pages)
        for page in pages:
            assert (float(page.mediabox.width) / MM, float(page.mediabox.height) / MM) == pytest.approx(mm, abs=0.01)
    assert counts["handout"] == counts["helpers_card"] == 1 and counts["field_sheet"] > 1


@pytest.mark.parametrize("name", NAMES)
def test_bands_are_the_thresholds_of_the_rule(tmp_path, plans, name):
    """The offset is linear in the curvature: c D - χ D²/2 over flat water, and κ D²/2 more."""
    plan = plans[name]
    away = max(r.distance for r in plan.book.readings)
    (flat,), _ = line_of_sight(plan.result, 0.0, np.array([away]))
    expected = [flat + kappa * away**2 / 2 for kappa in sceptic.thresholds(plan.result)]
    assert paper.bands(plan) == pytest.approx(expected, abs=1e-9)
    told = text(paper.field_sheet(plan, tmp_path / "sheet.pdf"))
    assert f"above {1000 * expected[0]:+.0f} mm" in told and f"below {1000 * expected[1]:+.0f} mm" in told
    assert f"Separation {plan.separation:.2f}, needed {plan.gate:.2f}" in told
    for line in planning.CAUTIONS:
        assert line in told


def test_a_plan_that_is_no_go_says_so_and_excludes_nothing(tmp_path, plans):
    told = text(paper.field_sheet(plans["builders_level"], tmp_path / "sheet.pdf"))
    assert "NO GO" in told and "GO: this plan can decide" not in told
    assert told.count("nothing is decided; were this a go: ") == 2 and "in between nothing is decided" in told
    assert "GO: this plan can decide" in text(paper.field_sheet(plans["two_kilometres"], tmp_path / "go.pdf"))


def test_every_reading_and_height_has_its_row_in_the_plan_s_order(tmp_path, plans):
    plan = plans["two_kilometres"]
    told = text(paper.field_sheet(plan, tmp_path / "sheet.pdf"))
    setups = list(dict.fromkeys(r.setup for r in plan.book.readings))
    places = [told.index(f"Set-up {name}") for name in setups]
    assert places == sorted(places)
    for r in plan.book.readings:
        assert f"{r.point} {r.distance:.1f} > {1000 * paper.repeat_limit(plan.book, r):.1f} mm" in told
    rows = re.findall(r"(?:near mark|far mark|near water|peg [AB]) [\d.]+ > [\d.]+ mm", told)
    assert len(rows) == len(plan.book.readings)
    assert all(f"{h.start} {h.end} > 4.2 mm" in told for h in plan.book.heights)  # 3 √2 of 1 mm
    assert told.index("Level check before set-up") < min(places) and told.index("Level check after set-up") > told.index("Heights to tape") > max(places)


def test_sixty_readings_go_on_overleaf_with_head_and_set_up(tmp_path):
    path = paper.field_sheet(long_plan(60), tmp_path / "sheet.pdf")
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages]
    assert sum(page.count("far target 2000.0") for page in pages) == 59
    overleaf = [page for page in pages if "far target 2000.0" in page][1:]
    assert len(overleaf) >= 2
    for page in overleaf:
        assert "point [m] reading [m] upper lower again if time remark Set-up S1 (continued)" in page


def rectangles(path: Path):
    """Rectangles of each page of a PDF [mm]: (left, low, width, height), and whether filled."""
    number, found = r"(-?[\d.]+) (-?[\d.]+)", []
    closed = re.compile(rf"{number} m\n{number} l\n{number} l\n{number} l\n(?:{number} l\n)?h\s+(f|S|B|s|b)")
    for page in pypdf.PdfReader(path).pages:
        own = []
        for match in closed.finditer(page.get_contents().get_data().decode("latin-1")):
            xy = np.array([float(v) for v in match.groups()[:8]]).reshape(4, 2) / MM
            own.append((*xy.min(axis=0), *np.ptp(xy, axis=0), match.groups()[-1]))
        found.append(own)
    return found


def test_rows_to_fill_are_seven_millimetres_high_or_more(tmp_path):
    pages = rectangles(paper.field_sheet(long_plan(60), tmp_path / "sheet.pdf"))
    heights = [height for page in pages for *_, width, height, _ in page if 5 < width < 185 and height < 100]
    assert len(heights) > 400 and min(heights) >= 7 - 0.01


@pytest.mark.parametrize("asked, step", [({}, 75.0), ({"stripe": 0.03}, 30.0), ({"stripe": 0.4, "height": 0.9}, 400.0)])
@pytest.mark.parametrize("size", paper.SIZES)
def test_stripes_have_their_true_size_in_the_file(tmp_path, size, asked, step):
    """Every black stripe, put together again from its tiles, is as high as was asked for, at a place that is a whole number of stripes from 0."""
    plan = curvelab.plan(designs.single_line(2000.0))
    path = paper.target_board(plan, tmp_path / "board.pdf", size, **asked)
    ends, pieces = [], []
    for page, shapes in zip(pypdf.PdfReader(path).pages, rectangles(path)):
        low, high = (float(v) for v in re.search(r"Target board: ([+-]\d+) to ([+-]\d+) mm", page.extract_text()).groups())
        frame = max((s for s in shapes if s[2] > 179 and s[2] < 181), key=lambda s: s[3])
        assert frame[3] == pytest.approx(high - low, abs=0.01)
        ends.append((low, high))
        pieces += [(low + s[1] - frame[1], s[3]) for s in shapes if 89 < s[2] < 91 and s[4] in ("f", "B", "b")]
    assert all(a[0] == b[1] for a, b in itertools.pairwise(ends))  # each tile begins where the last one ends
    black = {}
    for low, height in pieces:
        stripe = math.floor((low + height / 2) / step)
        black[stripe] = black.get(stripe, 0.0) + height
    whole = [i for i in range(math.ceil(ends[-1][0] / step - 0.01), math.floor(ends[0][1] / step + 0.01)) if i % 2 == 0]
    assert sorted(black) == whole and len(whole) >= 1
    assert list(black.values()) == pytest.approx([step] * len(black), abs=0.02)


def test_the_bars_that_check_the_printer_are_100_mm(tmp_path, plans):
    path = paper.target_board(plans["two_kilometres"], tmp_path / "board.pdf")
    for page in pypdf.PdfReader(path).pages:
        lines = re.findall(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l\s+S", page.get_contents().get_data().decode("latin-1"))
        spans = sorted(math.dist(map(float, line[:2]), map(float, line[2:])) / MM for line in lines)
        assert sum(abs(span - 100) < 0.01 for span in spans) == 2


def test_numbers_of_the_board_stand_on_their_lines(tmp_path, plans):
    path = paper.target_board(plans["two_kilometres"], tmp_path / "board.pdf")
    for page, shapes in zip(pypdf.PdfReader(path).pages, rectangles(path)):
        low = float(re.search(r"Target board: ([+-]\d+)", page.extract_text())[1])
        foot, seen = max(shapes, key=lambda s: s[2] * s[3] if 179 < s[2] < 181 else 0)[1], []
        page.extract_text(visitor_text=lambda words, user, at, font, size, seen=seen: seen.append((words.strip(), user[5] / MM)))
        numbers = [(float(words), y) for words, y in seen if re.fullmatch(r"[+-]?\d+", words)]
        assert numbers and all(value == pytest.approx(low + y - foot, abs=2.5) for value, y in numbers)


def test_the_board_holds_both_predictions_and_the_default_is_that_of_the_checklist(tmp_path, plans):
    plan = plans["two_kilometres"]
    told = text(paper.target_board(plan, tmp_path / "board.pdf"))
    ends = [float(v) for pair in re.findall(r"Target board: ([+-]\d+) to ([+-]\d+) mm", told) for v in pair]
    at = np.array([2000.0])
    for kappa in (0.0, plan.result.ellipsoid_curvature):
        (offset,), (u,) = line_of_sight(plan.result, kappa, at)
        assert min(ends) < 1000 * (offset - 2 * u) and 1000 * (offset + 2 * u) < max(ends)
    stripe = re.search(r"draw stripes of (\d+) mm", " ".join(planning.checklist(plan)))[1]
    steps = [int(v) for v in re.findall(r"[+-]\d+", told)]
    assert all(step % int(stripe) == 0 for step in steps)


@pytest.mark.parametrize("asked, words", [({"stripe": 0.001}, "stripe 0.001"), ({"stripe": math.nan}, "stripe nan"), ({"height": 50.0}, "height 50"),
                                          ({"height": 20.0, "stripe": 0.13}, "more than 100")])
def test_a_board_that_can_t_be_is_refused_in_words(tmp_path, plans, asked, words):
    with pytest.raises(ValueError, match=words):
        paper.target_board(plans["two_kilometres"], tmp_path / "board.pdf", **asked)
    assert not list(tmp_path.iterdir())


def everything(folder: Path, plan: planning.Plan, result) -> dict[str, bytes]:
    """All pages of a plan and its result, in all kinds of file."""
    folder.mkdir()
    for make in MAKERS:
        make(plan, folder / f"{make.__name__}.pdf")
    for kind in ("pdf", "svg", "png"):
        paper.handout(result, folder / f"handout.{kind}")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_the_same_input_gives_the_same_bytes(tmp_path, plans, results):
    """In one process, whatever the user's own settings of matplotlib are, and in another with another hash seed and another date."""
    first = everything(tmp_path / "a", plans["builders_level"], results["builders_level"])
    with matplotlib.rc_context({"font.size": 23, "font.family": "serif", "axes.facecolor": "red", "svg.hashsalt": None, "savefig.bbox": "tight", "text.parse_math": True}):
        assert everything(tmp_path / "b", plans["builders_level"], results["builders_level"]) == first
    code = ("import pathlib, curvelab\nfrom tests.test_paper import everything\nbook = curvelab.read_fieldbook('data/builders_level')\n"
            f"everything(pathlib.Path({str(tmp_path / 'c')!r}), curvelab.plan(book), curvelab.adjust(book))")
    subprocess.run([sys.executable, "-c", code], check=True, cwd=DATA.parent, env=os.environ | {"PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "86400"})
    assert {path.name: path.read_bytes() for path in (tmp_path / "c").iterdir()} == first
    for name, content in first.items():
        assert not re.search(rb"CreationDate|ModDate|<dc:date|tIME", content), name


@pytest.mark.parametrize("make", [*MAKERS, paper.handout])
def test_nothing_is_overwritten_unless_asked(tmp_path, plans, results, make):
    given = results["builders_level"] if make is paper.handout else plans["builders_level"]
    path = tmp_path / "page.pdf"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(FileExistsError, match="is there already: give a new name"):
        make(given, path)
    assert path.read_text(encoding="utf-8") == "mine"
    assert make(given, path, overwrite=True) == path and path.read_bytes().startswith(b"%PDF")
    (tmp_path / "folder.pdf").mkdir()
    for wrong in (tmp_path / "nowhere" / "page.pdf", tmp_path / "page.pdf" / "page.pdf", tmp_path / "folder.pdf"):
        with pytest.raises(OSError, match="can't be written .* folder that is there|is there already"):
            make(given, wrong)
    with pytest.raises(OSError, match="can't be written"):
        make(given, tmp_path / "folder.pdf", overwrite=True)
    for name, size in (("page.txt", "A4"), ("page", "A4"), ("other.pdf", "A5"), ("other.pdf", "Letter ")):
        with pytest.raises(ValueError, match="can't be printed: give a name that ends in .pdf.* A4 or letter"):
            make(given, tmp_path / name, size)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder.pdf", "page.pdf"]


def test_what_is_no_plan_or_no_result_is_refused_in_words(tmp_path, plans):
    given = curvelab.read_fieldbook(DATA / "builders_level")
    for make in MAKERS:
        with pytest.raises(TypeError, match="made from plan"):
            make(given, tmp_path / "page.pdf")
    with pytest.raises(TypeError, match="adjust"):
        paper.handout(given, tmp_path / "page.pdf")
    with pytest.raises(ValueError, match="no readings yet"):
        paper.handout(plans["builders_level"].result, tmp_path / "page.pdf")
    assert not list(tmp_path.iterdir())


def test_a_hostile_book_is_shown_and_never_interpreted(tmp_path):
    given = renamed(with_changes(curvelab.read_fieldbook(DATA / "builders_level_tested"), {"private": False}), HOSTILE, HOSTILE[:90])
    folder = tmp_path / "pages"
    everything(folder, curvelab.plan(given), curvelab.adjust(given))
    assert {p.name for p in tmp_path.rglob("*")} == {"pages", "field_sheet.pdf", "helpers_card.pdf", "target_board.pdf", "handout.pdf", "handout.svg", "handout.png"}
    for name in ("field_sheet", "helpers_card", "target_board", "handout"):
        told = text(folder / f"{name}.pdf")
        assert "<script>alert('x')</script> & $\\frac{1}{0}$ 100 %" in told, name
        assert "\u202e" not in told
    tree = ElementTree.parse(folder / "handout.svg")
    assert not [node for node in tree.iter() if node.tag.endswith("script")]
    assert any("<script>alert('x')</script> & $\\frac{1}{0}$ 100 %" in (node.text or "") for node in tree.iter())


@pytest.mark.parametrize("given, shown", [("a\nb\t c", "a b c"), ("\x00\x07a\u202eb\ufeff", "ab"), ("\U0001f6a3\ud800", "□"), ("e\u0301", "é"), ("$x$", "$x$"),
                                          ("\u05d0", "\u05d0"), ("q" + "\u0300" * 40, "q\u0300"), ("", "")])
def test_plain_text_is_one_line_of_signs_that_the_font_has(given, shown):
    assert paper.plain(given) == shown


@pytest.mark.parametrize("given", ["", "one", "a few short words that fill some lines", "W" * 400, "i" * 1500, "ab " * 400, "\u05d0" * 100])
def test_wrapped_lines_fit_and_lose_nothing(given):
    lines = paper.wrapped(given, 30.0, most=10_000)
    assert all(paper._width(line, 10.0, False) <= 30.0 for line in lines)
    assert "".join(lines).replace(" ", "") == paper.plain(given).replace(" ", "")
    cut = paper.wrapped(given, 30.0, most=2)
    assert len(cut) <= 2 and all(paper._width(line, 10.0, False) <= 30.0 for line in cut)
    assert (len(lines) > 2) == cut[-1].endswith("…")


PLACE = SITE.replace('latitude = 50\nazimuth = 60\ndistance = "2000 m ± 2 m"', 'from = [50.12345, 10.54321]\nto = [50.13243, 10.56744]\ndistance = "1999.1 m ± 2 m"')
TIMED = ("setup,point,distance [m],reading [m],time,observer,photo,remark\nS1,near water,10,1.5000,2026-05-03T09:10:11+02:00,Anna,IMG1,by the red house\n"
         "S1,target,1999,0.2730,2026-05-03T09:20:12+02:00,Bert,IMG2,white boat\n")


def test_coordinates_times_people_and_remarks_stay_out_unless_asked_for(tmp_path):
    given = book(tmp_path / "book", site=PLACE, readings=TIMED)
    folder = tmp_path / "pages"
    everything(folder, curvelab.plan(given), curvelab.adjust(given))
    told = {path.name: text(path) for path in folder.glob("*.pdf")} | {"svg": (folder / "handout.svg").read_text(encoding="utf-8")}
    for secret in ("50.12", "10.54", "50.13", "10.56", "2026", "09:10", "09:20", "Anna", "IMG", "red house", "white boat"):
        assert not [name for name, words in told.items() if secret in words], secret
    assert "by the red house" in text(paper.field_sheet(curvelab.plan(given), tmp_path / "asked.pdf", remarks=True))
    assert "from [50.12345, 10.54321], to [50.13243, 10.56744]" in text(paper.handout(curvelab.adjust(given), tmp_path / "place.pdf", place=True))


def test_the_title_of_a_private_book_stays_out_of_the_handout(tmp_path, results):
    result = results["two_kilometres"]
    assert result.book.private
    told, asked = text(paper.handout(result, tmp_path / "a.pdf")), text(paper.handout(result, tmp_path / "b.pdf", place=True))
    assert "Lake Ondrel" not in told and "Lake Ondrel, two kilometres" in asked
    open_ = curvelab.adjust(with_changes(result.book, {"private": False}))
    assert "Lake Ondrel, two kilometres" in text(paper.handout(open_, tmp_path / "c.pdf"))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["pdf", "svg"])
def test_the_handout_says_what_the_result_says(tmp_path, results, name, kind):
    result = results[name]
    verdict, path = curvelab.decide(result), tmp_path / f"handout.{kind}"
    paper.handout(verdict, path)
    told = text(path) if kind == "pdf" else " ".join(node.text for node in ElementTree.parse(path).iter() if node.tag.endswith("text") and node.text)
    level = next(iter(result.collimation.values()))
    for words in (f"Verdict: {verdict.outcome}", f"{result.curvature.value * 1e6:.4f} ± {result.curvature.u * 1e6:.4f}", f"{result.ellipsoid_curvature * 1e6:.4f}",
                  f"{verdict.separation:.2f}, {verdict.gate:.2f}", f"{verdict.z_flat:.2f}, {verdict.z_ellipsoid:.2f}", f"{result.effective_k:.2f} ±",
                  f"{verdict.radius[0] / 1000:.0f} to {verdict.radius[1] / 1000:.0f} km", f"{level.value * 1e6:+.1f} ± {level.u * 1e6:.1f}", f"{result.chi2:.1f}, {result.dof}",
                  "invented data", *(f"{row.cause}, {row.common_to} {1000 * row.u:.1f}" for row in result.offset_budget()[:6]), sceptic.against(verdict),
                  verdict.sentence.replace("\u00a0", " ")[:300], "Never point a telescope near the sun."):
        assert words in told, words
    assert f"together {1000 * math.hypot(*(row.u for row in result.offset_budget())):.1f}" in told


def test_invented_data_and_the_seal_are_said_where_they_are_so_and_nowhere_else(tmp_path):
    plain = designs.single_line(2000.0)
    real = compose(plain.site | {"invented": False}, plain.tables)
    sealed = compose(plain.site | {"plan": {"sealed": "ab" * 32}}, plain.tables)
    told = {name: text(paper.field_sheet(curvelab.plan(given), tmp_path / f"{name}.pdf")) for name, given in (("plain", plain), ("real", real), ("sealed", sealed))}
    assert "invented data" in told["plain"] and "invented data" not in told["real"]
    assert "ab" * 32 in told["sealed"] and "This plan is not sealed" in told["plain"] and "This plan is not sealed" not in told["sealed"]
    unruled = {key: value for key, value in plain.site.items() if key != "rule"}
    assert "not fixed beforehand" in text(paper.field_sheet(curvelab.plan(compose(unruled, plain.tables)), tmp_path / "rule.pdf"))
    assert "not fixed beforehand" not in told["plain"]


def test_the_blind_offset_is_never_printed(tmp_path):
    given = book(tmp_path / "book", site=SITE + f'[plan]\nblind = "{curvelab.sealing.commit("37.2 mm", "pepper")}"\nblind_point = "target"\n'
                 'blind_offset = "37.2 mm"\nblind_salt = "pepper"\n')
    plan = curvelab.plan(given)
    for make in MAKERS:
        told = text(make(plan, tmp_path / f"{make.__name__}.pdf"))
        assert "37.2" not in told and "pepper" not in told
    assert "A blind offset of target is committed to" in text(tmp_path / "helpers_card.pdf")


def test_a_repeat_limit_is_passed_by_one_good_pair_in_370(plans):
    """3 standard deviations of a difference: 0.27 % of pairs of good readings differ by more (normal distribution)."""
    plan = plans["two_kilometres"]
    level, rng, n = plan.book.instruments["A"], np.random.default_rng(1), 400_000
    for away in (10.0, 2000.0):
        one, other = (rng.normal(0, level.pointing.value * away, n) + rng.normal(0, level.reading.value, n) for _ in range(2))
        beyond = np.mean(abs(one - other) > paper.repeat_limit(plan.book, Reading(0, "S", "p", away, instrument="A")))
        assert beyond == pytest.approx(0.0027, abs=4 * math.sqrt(0.0027 / n))
    assert paper.repeat_limit(plan.book, Reading(0, "S", "p", 2000.0, instrument="A", u=0.01)) == pytest.approx(0.01 * 3 * math.sqrt(2))


@pytest.mark.parametrize("name, depth", [("two_kilometres", None), ("two_kilometres", 20.0), ("builders_level", 3.0)])
def test_limits_of_the_day_are_where_the_water_does_what_the_plan_allows(plans, name, depth):
    """Put back into the formulas of the lake, each limit gives the touch, or the difference between the shores, that the plan states."""
    plan = plans[name]
    touch, shores, away = plan.book.water.touch.value, plan.book.water.between_shores.u, max(r.distance for r in plan.book.readings)
    values = [float(re.match(r"[\d.]+", told)[0]) if told[0].isdigit() else math.nan for _, told, _ in paper.day_limits(plan, depth)]
    assert lake.wave_u(values[0] / 1000) == pytest.approx(touch, abs=0.5e-3 / 4)
    assert lake.wave_u(values[1] / 1000, 25) == pytest.approx(touch, abs=0.5e-3 / 20)
    assert lake.fetch_waves(values[2], away)[0] == pytest.approx(values[1] / 1000, rel=0.05 / values[2] + 0.5 / values[1])
    assert lake.wind_set_up(values[3], away, depth or 5.0) == pytest.approx(shores, rel=0.11 / values[3])
    told = " ".join(why for *_, why in paper.day_limits(plan, depth))
    assert ("taken: common practice, no source" in told) == (depth is None)


def test_the_air_of_the_day_bends_as_the_plan_s_air_does_at_its_two_u(plans):
    plan = plans["two_kilometres"]
    mass, stated, height = plan.book.airs["lake"], air.stated(plan.book.airs["lake"]), axis_height(plan.result, "S1")
    for kelvin, side in zip(paper.air_range(plan), (-2, 2)):
        state = air.State(kelvin / air.difference(1.0), 0.0, air.vapour_prior(mass).value)
        here, way = air.path(mass, state, 2000.0, height, 0.0, 0.0)
        bent = float(way.mean(lambda z, here=here, state=state: here.curvature(z, state)))
        assert bent == pytest.approx(stated.value + side * stated.u, rel=1e-3)


def test_an_air_by_profile_goes_by_its_own_difference_and_a_bare_k_says_nothing(tmp_path):
    measured = designs.single_sight(designs.Facts(1500.0, weather={"air_minus_water": "1 ± 0.5 K"}))
    assert paper.air_range(curvelab.plan(measured)) == pytest.approx((0.0, 2.0))
    bare = curvelab.plan(book(tmp_path / "book"))
    assert all(map(math.isnan, paper.air_range(bare))) and "measure it" in text(paper.field_sheet(bare, tmp_path / "sheet.pdf"))


@pytest.mark.parametrize("depth", [0.0, -1.0, math.nan, math.inf])
def test_a_depth_that_can_t_be_is_refused(plans, depth):
    with pytest.raises(ValueError, match="depth .*: give the mean depth"):
        paper.day_limits(plans["two_kilometres"], depth)


@pytest.mark.parametrize("name", designs.DESIGNS)
def test_every_design_has_its_sheet(tmp_path, name):
    plan = curvelab.plan(designs.DESIGNS[name](designs.Facts(1500.0, pointings=2)))
    told = text(paper.field_sheet(plan, tmp_path / "sheet.pdf"))
    assert told.count("Set-up ") - told.count("(continued)") == len({(r.setup, r.instrument, r.visit) for r in plan.book.readings})
    assert text(paper.helpers_card(plan, tmp_path / "card.pdf")).count("page 1 of 1") == 1


def test_a_table_that_is_missing_leaves_its_part_out(tmp_path):
    given = book(tmp_path / "book", heights=None, readings="setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,far water,2000,1.8\n")
    told = text(paper.field_sheet(curvelab.plan(given), tmp_path / "sheet.pdf"))
    assert "Heights to tape" not in told and "far water 2000.0" in told


def test_thermometers_and_feet_are_those_of_the_book(tmp_path):
    hung = designs.with_thermometers(designs.single_line(2000.0), (0.5, 3.0))
    told = text(paper.field_sheet(curvelab.plan(hung), tmp_path / "a.pdf"))
    assert "air 0.5 m up, at 0.5 m" in told and "in the shade" not in told
    plain = designs.single_line(2000.0)
    table = plain.tables["readings.csv"]
    feet = Table(tuple(h.replace("reading [m]", "reading [ft]") for h in table.headers), table.rows, table.lines)
    assert "reading [ft]" in text(paper.field_sheet(curvelab.plan(compose(plain.site, plain.tables | {"readings.csv": feet})), tmp_path / "b.pdf"))
