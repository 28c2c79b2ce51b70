"""The paper kit and the handout: what the pages say, how large they are, and that nothing breaks or leaves them."""

from __future__ import annotations

import dataclasses
import functools
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
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.text import Text

import curvelab
from curvelab import air, designs, figures, lake, pages, paper, planning, sceptic, units
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


@pytest.fixture(scope="module")
def printed(tmp_path_factory, plans, results):
    """Pages of the demo books, each written once: ``printed(paper.handout, "two_kilometres", "letter")``."""
    folder = tmp_path_factory.mktemp("printed")

    @functools.cache
    def path(make, name, size):
        return make((results if make is paper.handout else plans)[name], folder / f"{make.__name__}_{name}_{size}.pdf", size)

    return lambda make, name, size="A4": path(make, name, size)


@functools.cache
def text(path: Path) -> str:
    """The words of a PDF, one space between them."""
    return " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def renamed(given: FieldBook, title: str, point: str) -> FieldBook:
    """The same book with another title, and another name for its far point."""
    far = max(given.readings, key=lambda r: r.distance).point
    tables = {name: dataclasses.replace(table, rows=tuple(tuple(point if cell == far else cell for cell in row) for row in table.rows))
              for name, table in given.tables.items()}
    return compose(given.site | {"title": title}, tables)


def minus(told: str) -> str:
    """Numbers with a true minus, as they are printed."""
    return re.sub(r"(?<![^\s(])-(?=\d)", "−", told)


def drawn(monkeypatch, make, *given, size="A4", laid_out=True, **asked):
    """The figures of a maker instead of its file, laid out unless only their words are asked for."""
    kept = []

    def put(path, paper_, overwrite, draw, kinds=()):
        with figures.style(), matplotlib.rc_context(pages.PRINT):
            kept.extend(draw(paper.SIZES[paper_]))
            for figure in kept if laid_out else ():
                figure.set_dpi(200)
                FigureCanvasAgg(figure)
                figure.draw_without_rendering()

    with monkeypatch.context() as patch:
        patch.setattr(paper, "put", put)
        make(*given, "x.pdf", size, **asked)
    return kept


def words(monkeypatch, make, *given, **asked) -> str:
    """The words of a maker's pages in the order in which they are drawn, one space between them; no file is written."""
    return " ".join(t.get_text() for figure in drawn(monkeypatch, make, *given, laid_out=False, **asked) for ax in figure.axes for t in ax.texts)


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


@pytest.mark.parametrize("title, size", [("plain", "A4"), ("plain", "letter"), ("hostile", "A4"), ("feet", "letter")])  # text is as wide on both papers
@pytest.mark.parametrize("name, make, kind", CASES, ids=[case[0] for case in CASES])
def test_no_text_leaves_its_page_its_cell_or_meets_another(monkeypatch, name, make, kind, title, size):
    given = curvelab.read_fieldbook(DATA / ("feet_and_inches" if title == "feet" else "builders_level"))
    given = renamed(given, HOSTILE, HOSTILE) if title == "hostile" else given
    asked = {"stripe": 0.01, "height": 0.3} if (name, title, size) == ("board", "feet", "letter") else {}
    if kind == "plan":
        given = with_changes(given, {"rule.power": 0.9})
    made = drawn(monkeypatch, make, curvelab.plan(given) if kind == "plan" else curvelab.adjust(given), size=size, **asked)
    assert len(made) == 1 or name in ("sheet", "board") or (name, title) == ("handout", "hostile")
    wide, tall = paper.SIZES[size]
    for figure in made:
        ax, *pictures = figure.axes
        edge = (wide - pages.WIDE) / 2
        own = [(t, box) for t, box in boxes(figure) if t.axes is ax]
        for t, (left, low, right, high) in own:
            assert left >= edge - 0.1 and right <= wide - edge + 0.1 and low > 7 and high < tall - 5, t.get_text()
        for (one, a), (other, b) in itertools.combinations(own, 2):
            apart = a[0] > b[2] - 0.05 or b[0] > a[2] - 0.05 or a[1] > b[3] - 0.35 or b[1] > a[3] - 0.35
            assert apart, (one.get_text(), other.get_text())
        cells = [corners for row in ax.findobj(PathPatch) for corners in row.get_path().vertices.reshape(-1, 5, 2)]
        for t, (left, low, right, high) in own:
            for (x, y), _, (over, up), *_ in cells:
                if x + edge < left < over + edge and y < (low + high) / 2 < up:
                    assert right < over + edge + 0.1 and low > y - 0.2 and high < up + 0.2, t.get_text()
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
    with matplotlib.rc_context(pages.PRINT):
        figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[:, :, :3].astype(int)
    assert np.ptp(pixels, axis=2).max() <= 1
    assert all(t.get_fontsize() >= 10 for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip())
    assert pixels.mean() > 200  # paper stays white


@pytest.mark.parametrize("size, mm", [("A4", (210.0, 297.0)), ("letter", (215.9, 279.4))])  # ISO 216; 8.5 in by 11 in
def test_pages_have_the_size_of_the_paper(printed, size, mm):
    counts = {}
    for make in (*MAKERS, paper.handout):
        own = pypdf.PdfReader(printed(make, "two_kilometres", size)).pages
        counts[make.__name__] = len(own)
        for page in own:
            assert (float(page.mediabox.width) / MM, float(page.mediabox.height) / MM) == pytest.approx(mm, abs=0.01)
    assert counts["handout"] == counts["helpers_card"] == 1 and counts["field_sheet"] > 1


@pytest.mark.parametrize("name", NAMES)
def test_bands_are_the_thresholds_of_the_rule(printed, plans, name):
    """The offset is linear in the curvature: c D - χ D²/2 over flat water, and κ D²/2 more."""
    plan = plans[name]
    away = max(r.distance for r in plan.book.readings)
    (flat,), _ = line_of_sight(plan.result, 0.0, np.array([away]))
    expected = [flat + kappa * away**2 / 2 for kappa in sceptic.thresholds(plan.result)]
    assert paper.bands(plan) == pytest.approx(expected, abs=1e-9)
    told = text(printed(paper.field_sheet, name))
    assert minus(f"above {1000 * expected[0]:+.0f} mm") in told and minus(f"below {1000 * expected[1]:+.0f} mm") in told
    assert f"Separation {plan.separation:.2f}, needed {plan.gate:.2f}" in told
    for line in planning.CAUTIONS:
        assert line in told


def test_a_plan_that_is_no_go_says_so_and_excludes_nothing(printed):
    told = text(printed(paper.field_sheet, "builders_level"))
    assert "NO GO" in told and "GO: this plan can decide" not in told
    assert told.count("nothing is decided; were this a go: ") == 2 and "in between nothing is decided" in told
    assert "GO: this plan can decide" in text(printed(paper.field_sheet, "two_kilometres"))


def test_every_reading_and_height_has_its_row_in_the_plan_s_order(printed, plans):
    plan = plans["two_kilometres"]
    told = text(printed(paper.field_sheet, "two_kilometres"))
    setups = list(dict.fromkeys(r.setup for r in plan.book.readings))
    places = [told.index(f"Set-up {name}") for name in setups]
    assert places == sorted(places)
    for r in plan.book.readings:
        assert f"{r.point} {r.distance:.1f} > {1000 * paper.repeat_limit(plan.book, r):.1f} mm" in told
    rows = re.findall(r"(?:near mark|far mark|near water|peg [AB]) [\d.]+ > [\d.]+ mm", told)
    assert len(rows) == len(plan.book.readings)
    assert all(f"{h.start} {h.end} > 4.2 mm" in told for h in plan.book.heights)  # 3 √2 of 1 mm
    assert told.index("Level check before set-up") < min(places) and told.index("Level check after set-up") > told.index("Heights to tape") > max(places)


@pytest.fixture(scope="module")
def sixty(tmp_path_factory):
    return paper.field_sheet(curvelab.plan(designs.single_line(2000.0, pointings=59)), tmp_path_factory.mktemp("sixty") / "sheet.pdf")


def test_sixty_readings_go_on_overleaf_with_head_and_set_up(sixty):
    told = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(sixty).pages]
    assert sum(page.count("far target 2000.0") for page in told) == 59
    overleaf = [page for page in told if "far target 2000.0" in page][1:]
    assert len(overleaf) >= 2
    for page in overleaf:
        assert "point at [m] reading [m] upper lower again if time remark Set-up S1 (continued)" in page


def rectangles(path: Path):
    """Rectangles of each page of a PDF [mm]: (left, low, width, height), and whether filled."""
    number, found = r"(-?[\d.]+) (-?[\d.]+)", []
    closed = re.compile(rf"{number} m\n{number} l\n{number} l\n{number} l\n(?:{number} l\n)?h\s+(f|S|B|s|b|(?=-?[\d.]))")
    for page in pypdf.PdfReader(path).pages:
        own = []
        for match in closed.finditer(page.get_contents().get_data().decode("latin-1")):
            xy = np.array([float(v) for v in match.groups()[:8]]).reshape(4, 2) / MM
            own.append((*xy.min(axis=0), *np.ptp(xy, axis=0), match.groups()[-1]))
        found.append(own)
    return found


def test_rows_to_fill_are_seven_millimetres_high_or_more(sixty):
    heights = [height for page in rectangles(sixty) for *_, width, height, _ in page if 5 < width < 185 and height < 100]
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


def test_the_bars_that_check_the_printer_are_100_mm(printed):
    path = printed(paper.target_board, "two_kilometres")
    for page in pypdf.PdfReader(path).pages:
        lines = re.findall(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l\s+S", page.get_contents().get_data().decode("latin-1"))
        spans = sorted(math.dist(map(float, line[:2]), map(float, line[2:])) / MM for line in lines)
        assert sum(abs(span - 100) < 0.01 for span in spans) == 2


def test_numbers_of_the_board_stand_on_their_lines(printed):
    path = printed(paper.target_board, "two_kilometres")
    for page, shapes in zip(pypdf.PdfReader(path).pages, rectangles(path)):
        low = float(re.search(r"Target board: ([+-]\d+)", page.extract_text())[1])
        foot, seen = max(shapes, key=lambda s: s[2] * s[3] if 179 < s[2] < 181 else 0)[1], []
        page.extract_text(visitor_text=lambda words, user, at, font, size, seen=seen: seen.append((words.strip(), user[5] / MM)))
        numbers = [(float(words), y) for words, y in seen if re.fullmatch(r"[+-]?\d+", words)]
        assert numbers and all(value == pytest.approx(low + y - foot, abs=2.5) for value, y in numbers)


def test_the_board_holds_both_predictions_and_the_default_is_that_of_the_checklist(printed, plans):
    plan = plans["two_kilometres"]
    told = text(printed(paper.target_board, "two_kilometres"))
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


def everything(folder: Path, plan: planning.Plan, result, kinds=("pdf", "svg", "png")) -> dict[str, bytes]:
    """All pages of a plan and its result, the handout in these kinds of file."""
    folder.mkdir()
    for make in MAKERS:
        make(plan, folder / f"{make.__name__}.pdf")
    for kind in kinds:
        paper.handout(result, folder / f"handout.{kind}")
    return {path.name: path.read_bytes() for path in folder.iterdir()}


HABITS = {"font.size": 23, "font.family": "serif", "axes.facecolor": "red", "svg.hashsalt": None, "savefig.bbox": "tight", "text.parse_math": True}


def test_the_same_input_gives_the_same_bytes(tmp_path, printed, results):
    """In another process with another hash seed, another date, and a user's own settings of matplotlib."""
    code = ("import pathlib, curvelab, matplotlib\nfrom tests.test_paper import HABITS, everything\nmatplotlib.rcParams.update(HABITS)\n"
            "book = curvelab.read_fieldbook('data/builders_level')\n"
            f"everything(pathlib.Path({str(tmp_path / 'there')!r}), curvelab.plan(book), curvelab.adjust(book))")
    subprocess.run([sys.executable, "-c", code], check=True, cwd=DATA.parent, env=os.environ | {"PYTHONHASHSEED": "7", "SOURCE_DATE_EPOCH": "86400"})
    here = [printed(make, "builders_level") for make in (*MAKERS, paper.handout)]
    here += [paper.handout(results["builders_level"], tmp_path / f"handout.{kind}") for kind in ("svg", "png")]
    there = {path.name: path.read_bytes() for path in (tmp_path / "there").iterdir()}
    assert len(there) == len(here)
    for path, make in zip(here, (*MAKERS, *[paper.handout] * 3)):
        name, content = f"{make.__name__}{path.suffix}", path.read_bytes()
        assert there[name] == content, name
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
    for name, size in (("page.txt", "A4"), ("page", "A4"), ("other.pdf", "A5"), ("other.pdf", "Letter ")):
        with pytest.raises(ValueError, match="can't be printed: give a name that ends in .pdf.* A4 or letter"):
            make(given, tmp_path / name, size)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["page.pdf"]


def test_a_place_that_can_t_be_written_is_said_in_words(tmp_path):
    """Of all pages, since one function writes them."""
    (tmp_path / "page.pdf").write_text("mine", encoding="utf-8")
    (tmp_path / "folder.pdf").mkdir()

    def draw(size):
        return [Figure()]

    for wrong in (tmp_path / "nowhere" / "page.pdf", tmp_path / "page.pdf" / "page.pdf", tmp_path / "folder.pdf"):
        with pytest.raises(OSError, match="can't be written .* folder that is there|is there already"):
            pages.put(wrong, "A4", False, draw)
    with pytest.raises(OSError, match="can't be written"):
        pages.put(tmp_path / "folder.pdf", "A4", True, draw)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder.pdf", "page.pdf"] and (tmp_path / "page.pdf").read_text(encoding="utf-8") == "mine"


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
    assert pages.plain(given) == shown


@pytest.mark.parametrize("given", ["", "one", "a few short words that fill some lines", "W" * 400, "i" * 1500, "ab " * 400, "\u05d0" * 100])
def test_wrapped_lines_fit_and_lose_nothing(given):
    lines = pages.wrapped(given, 30.0, most=10_000)
    assert all(pages.width_of(line, 10.0, False) <= 30.0 for line in lines)
    assert "".join(lines).replace(" ", "") == pages.plain(given).replace(" ", "")
    cut = pages.wrapped(given, 30.0, most=2)
    assert len(cut) <= 2 and all(pages.width_of(line, 10.0, False) <= 30.0 for line in cut)
    assert (len(lines) > 2) == cut[-1].endswith("…")


PLACE = SITE.replace('latitude = 50\nazimuth = 60\ndistance = "2000 m ± 2 m"', 'from = [50.12345, 10.54321]\nto = [50.13243, 10.56744]\ndistance = "1999.1 m ± 2 m"')
TIMED = ("setup,point,distance [m],reading [m],time,observer,photo,remark\nS1,near water,10,1.5000,2026-05-03T09:10:11+02:00,Anna,IMG1,by the red house\n"
         "S1,target,1999,0.2730,2026-05-03T09:20:12+02:00,Bert,IMG2,white boat\n")


def test_coordinates_times_people_and_remarks_stay_out_unless_asked_for(monkeypatch, tmp_path):
    given = book(tmp_path / "book", site=PLACE, readings=TIMED)
    folder = tmp_path / "pages"
    everything(folder, curvelab.plan(given), curvelab.adjust(given), ("pdf", "svg"))
    told = {path.name: text(path) for path in folder.glob("*.pdf")} | {"svg": (folder / "handout.svg").read_text(encoding="utf-8")}
    for secret in ("50.12", "10.54", "50.13", "10.56", "2026", "09:10", "09:20", "Anna", "IMG", "red house", "white boat"):
        assert not [name for name, page in told.items() if secret in page], secret
    assert "by the red house" in words(monkeypatch, paper.field_sheet, curvelab.plan(given), remarks=True)
    assert "from [50.12345, 10.54321], to [50.13243, 10.56744]" in words(monkeypatch, paper.handout, curvelab.adjust(given), place=True)


def test_the_title_of_a_private_book_stays_out_of_the_handout(monkeypatch, printed, results):
    result = results["two_kilometres"]
    assert result.book.private
    told, asked = text(printed(paper.handout, "two_kilometres")), words(monkeypatch, paper.handout, result, place=True)
    assert "Lake Ondrel" not in told and "Lake Ondrel, two kilometres" in asked
    open_ = curvelab.adjust(with_changes(result.book, {"private": False}))
    assert "Lake Ondrel, two kilometres" in words(monkeypatch, paper.handout, open_)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["pdf", "svg"])
def test_the_handout_says_what_the_result_says(tmp_path, printed, results, name, kind):
    """In the book's own units; from a result (PDF) and from its verdict (SVG)."""
    result = results[name]
    verdict, path = curvelab.decide(result), tmp_path / "handout.svg"
    told = text(printed(paper.handout, name)) if kind == "pdf" else shown(paper.handout(verdict, path))
    level, away = next(iter(result.collimation.values())), verdict.distance
    system, great, small, digits, over = ("us", "mi", "in", 2, f"{away:.0f} m ({away / 0.3048:.0f} ft)") if "feet" in name else ("metric", "km", "mm", 1, f"{away:.0f} m of")
    budget = [(f"{row.cause}, {row.common_to}", units.convert(row.u, small)) for row in result.offset_budget()]
    low, high = (units.convert(radius, great) for radius in verdict.radius)
    for words in (f"Verdict: {verdict.outcome}", f"{result.curvature.value * 1e6:.4f} ± {result.curvature.u * 1e6:.4f}", f"{result.ellipsoid_curvature * 1e6:.4f}",
                  f"{verdict.separation:.2f}, {verdict.gate:.2f}", f"{verdict.z_flat:.2f}, {verdict.z_ellipsoid:.2f}", f"{result.effective_k:.2f} ±", over,
                  f"{low:.0f} to {high:.0f} {great}", f"{level.value * 1e6:+.1f} ± {level.u * 1e6:.1f}", f"{result.chi2:.1f}, {result.dof}", f"the still water [{small}]",
                  "invented data", *(f"{cause} {u:.{digits}f}" for cause, u in budget[:6]), f"together {math.hypot(*(u for _, u in budget)):.{digits}f}",
                  sceptic.against(verdict, system), verdict.describe(system).replace("\u00a0", " "), "Never point a telescope near the sun."):
        assert minus(words) in told, words


def shown(path: Path) -> str:
    """The words of an SVG."""
    return " ".join(" ".join(node.text for node in ElementTree.parse(path).iter() if node.tag.endswith("text") and node.text).split())


def test_a_long_verdict_is_whole_and_sends_the_rest_overleaf(tmp_path):
    name = "the third nail from the left in the old oak beam of the boat house, " * 12
    result = curvelab.adjust(renamed(curvelab.read_fieldbook(DATA / "builders_level"), "long", name))
    sentence = "".join(minus(curvelab.decide(result).sentence).split())
    assert len(sentence) > 1000
    own = pypdf.PdfReader(paper.handout(result, tmp_path / "long.pdf")).pages
    assert len(own) == 2 and sentence in "".join(own[0].extract_text().split())
    told = " ".join(page.extract_text() for page in own)
    assert told.count("uncertainty at the target") == 1  # the table stays in one piece
    assert "Sight chart" in told and "distance from the instrument" in told and "…" not in told
    for kind in ("svg", "png"):
        with pytest.raises(ValueError, match="can't hold 2 pages: give a name that ends in .pdf"):
            paper.handout(result, tmp_path / f"long.{kind}")
    assert [path.name for path in tmp_path.iterdir()] == ["long.pdf"]


def test_invented_data_and_the_seal_are_said_where_they_are_so_and_nowhere_else(monkeypatch):
    plain = designs.single_line(2000.0)
    real = compose(plain.site | {"invented": False}, plain.tables)
    sealed = compose(plain.site | {"plan": {"sealed": "ab" * 32}}, plain.tables)
    told = {name: words(monkeypatch, paper.field_sheet, curvelab.plan(given)) for name, given in (("plain", plain), ("real", real), ("sealed", sealed))}
    assert "invented data" in told["plain"] and "invented data" not in told["real"]
    assert "ab" * 32 in told["sealed"] and "This plan is not sealed" in told["plain"] and "This plan is not sealed" not in told["sealed"]
    unruled = {key: value for key, value in plain.site.items() if key != "rule"}
    assert "not fixed beforehand" in words(monkeypatch, paper.field_sheet, curvelab.plan(compose(unruled, plain.tables)))
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
        state = air.State(air.neutral_strength(kelvin), 0.0, air.vapour_prior(mass).value)
        here, way = air.path(mass, state, 2000.0, height, 0.0, 0.0)
        bent = float(way.mean(lambda z, here=here, state=state: here.curvature(z, state)))
        assert bent == pytest.approx(stated.value + side * stated.u, rel=1e-3)


def test_an_air_by_profile_goes_by_its_own_difference_and_a_bare_k_says_nothing(monkeypatch, tmp_path):
    measured = designs.single_sight(designs.Facts(1500.0, weather={"air_minus_water": "1 ± 0.5 K"}))
    assert paper.air_range(curvelab.plan(measured)) == pytest.approx((0.0, 2.0))
    bare = curvelab.plan(book(tmp_path / "book"))
    assert all(map(math.isnan, paper.air_range(bare))) and "measure it" in words(monkeypatch, paper.field_sheet, bare)


@pytest.mark.parametrize("depth", [0.0, -1.0, math.nan, math.inf])
def test_a_depth_that_can_t_be_is_refused(plans, depth):
    with pytest.raises(ValueError, match="depth .*: give the mean depth"):
        paper.day_limits(plans["two_kilometres"], depth)


@pytest.mark.parametrize("name", designs.DESIGNS)
def test_every_design_has_its_sheet(monkeypatch, name):
    plan = curvelab.plan(designs.DESIGNS[name](designs.Facts(1500.0, pointings=2)))
    told = words(monkeypatch, paper.field_sheet, plan)
    assert told.count("Set-up ") - told.count("(continued)") == len({(r.setup, r.instrument, r.visit) for r in plan.book.readings})
    assert words(monkeypatch, paper.helpers_card, plan).count("page 1 of 1") == 1


def test_a_table_that_is_missing_leaves_its_part_out(monkeypatch, tmp_path):
    given = book(tmp_path / "book", heights=None, readings="setup,point,distance [m],reading [m]\nS1,near water,10,1.5\nS1,far water,2000,1.8\n")
    told = words(monkeypatch, paper.field_sheet, curvelab.plan(given))
    assert "Heights to tape" not in told and "far water 2000.0" in told


def test_thermometers_are_those_of_the_book(monkeypatch):
    hung = designs.with_thermometers(designs.single_line(2000.0), (0.5, 3.0))
    told = words(monkeypatch, paper.field_sheet, curvelab.plan(hung))
    assert "air 0.5 m up, at 0.5 m" in told and "in the shade" not in told


def in_header(unit: str) -> FieldBook:
    """A planned line whose readings are in a unit of the header."""
    plain = designs.single_line(2000.0)
    table = plain.tables["readings.csv"]
    return compose(plain.site, plain.tables | {"readings.csv": Table(tuple(h.replace("reading [m]", f"reading [{unit}]") for h in table.headers), table.rows, table.lines)})


@pytest.mark.parametrize("unit, staff", [("m", "m"), ("mm", "m"), ("ft", "ft"), ("feet", "ft"), ("US survey ft", "ft"), ("'", "ft"), ("in", "ft in"), ("inches", "ft in")])
def test_a_staff_shows_what_the_readings_are_written_in(unit, staff):
    assert pages.staff(in_header(unit)) == staff


def test_a_staff_whose_readings_are_blank_is_told_by_heights_and_distances(tmp_path, plans):
    assert {name: pages.staff(plan.book) for name, plan in plans.items()} == {name: "ft in" if name == "feet_and_inches" else "m" for name in NAMES}
    blank = "setup,point,distance,reading\nS1,near water,33 ft,\nS1,far water,1.25 mi,\n"
    for folder, heights, told in (("none", None, "ft"), ("metric", "from,to,height\nfar water,far mark,1.2 m\n", "m"), ("inches", "from,to,height\nfar water,far mark,3 ft 1/2 in\n", "ft in")):
        assert pages.staff(book(tmp_path / folder, site=SITE.replace("2000 m ± 2 m", "1.25 mi ± 6 ft"), readings=blank, heights=heights)) == told


@pytest.mark.parametrize("unit, half", [("ft", 0.0005 * 0.3048), ("in", 0.0254 / 32)])
def test_feet_in_brackets_say_the_same_as_the_millimetres_before_them(monkeypatch, printed, unit, half):
    """To half of the last digit of either; with the sign of the millimetres."""
    made = [text(printed(make, "feet_and_inches")) if unit == "in" else words(monkeypatch, make, curvelab.plan(in_header(unit))) for make in MAKERS]
    pairs = re.findall(r"([+−]?[\d.]+)(?: ± [\d.]+)? mm \(([+−]?[\d./ ftin]+?)(?: ± [^)]*)?\)", " ".join(made))
    assert len(pairs) > 10
    for metric, feet in pairs:
        assert metric[0] not in "+−" or metric[0] == feet[0]
        value, digit = float(metric.replace("−", "-")) / 1000, 0.5e-3 / 10 ** len(metric.partition(".")[2])
        assert units.parse(feet.replace("−", "-").lstrip("+"), "length").value == pytest.approx(value, abs=half + digit)


def test_a_book_in_feet_has_its_tables_in_feet(monkeypatch, printed, plans):
    told = text(printed(paper.field_sheet, "feet_and_inches"))
    assert "[m]" not in told and "at [ft] reading upper" in told and "about [ft]" in told
    limit = paper.repeat_limit(plans["feet_and_inches"].book, next(r for r in plans["feet_and_inches"].book.readings if r.point == "near mark"))
    assert f"near mark 40.0 > {units.write(limit, 'ft in')} " in told
    assert "reading [ft]" in words(monkeypatch, paper.field_sheet, curvelab.plan(in_header("ft")))
    assert not re.search(r"\d (ft|in|mph|°F)\b", text(printed(paper.field_sheet, "two_kilometres")))


def test_a_limit_on_a_staff_of_sixteenths_is_never_nothing(plans):
    given = plans["feet_and_inches"].book
    assert [pages.beyond(given, limit) for limit in (0.0001, 0.0016, 0.0069, 0.0957)] == ["> 1/16 in", "> 1/16 in", "> 1/4 in", "> 3 3/4 in"]
