"""Pages to print: text and tables in true millimetres, black on white, 10 pt or more, heights as the book's staffs show them, and the file.

The same pages give the same bytes; text is shown, never interpreted; no file is replaced without `overwrite`.
"""

from __future__ import annotations

import bisect
import contextlib
import functools
import io
import math
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.colors import to_rgba_array
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline
from matplotlib.textpath import text_to_path

from . import figures, units
from .records import FieldBook

Size = tuple[float, float]  # width and height [mm]
SIZES: dict[str, Size] = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # ISO 216, and US letter (from memory)
WIDE, HEAD, FOOT, LINE, ROW, TYPE, POINT = 180.0, 24.0, 15.0, 0.47, 8.0, 10.0, 25.4 / 72  # mm; mm/pt; mm; pt; mm
LONGEST, TILES = 20_000, 100  # signs of a text; pages of a board
FOOT_RULE = re.compile(  # one number of a cell in feet; its group holds the inch
    r"[0-9] *(?:(in|inch|inches|\")|(?:(?:US )?survey )?(?:ft|foot|feet|'|yd|mi|mile|miles))(?![a-z])")
SIXTEENTH = 0.0254 / 16  # m
PRINT = {"font.size": TYPE, **dict.fromkeys(("axes.labelsize", "axes.titlesize", "xtick.labelsize", "ytick.labelsize"), TYPE),
         "text.parse_math": False, "text.hinting": "none", **dict.fromkeys(("figure.facecolor", "axes.facecolor", "savefig.facecolor"), "white"),
         "savefig.dpi": 200, "svg.fonttype": "none", "svg.hashsalt": "curvelab",
         "pdf.fonttype": 3 if matplotlib.__version_info__ >= (3, 11) else 42}  # 3 is quicker, but before 3.11 its Greek can't be copied out
CHECK = ("Print at 100 %, never “fit to page”: this bar and the upright one must measure 100 mm{}. Join the pages at their thin frames on an opaque "
         "board, the highest on top. Each number stands on its line, in mm above the 0 line. Write the height of the 0 line above the still water "
         "into heights.csv.")
UNDATED = {".pdf": {"Creator": None, "Producer": None, "CreationDate": None}, ".svg": {"Date": None, "Creator": None},
           ".png": {"Software": None}}


@dataclass(frozen=True)
class Strip:
    """A piece of a page: height [mm], how it is drawn below its top [mm], whether the next stays with it, its table's head."""

    height: float
    draw: Callable[[Axes, float], object]
    keep: bool = False
    head: Strip | None = None


GAP = Strip(2.0, lambda ax, top: None)


def staff(book: FieldBook) -> str:
    """What the book's staffs show, by its readings, heights or distances as they are written: ``"m"``, ``"ft"`` (decimals), ``"ft in"``."""
    for file, column in (("readings.csv", "reading"), ("heights.csv", "height"), ("readings.csv", "distance")):
        table = book.tables.get(file)
        at = table.columns.index(column) if table and column in table.columns else None
        told = [] if at is None else [f"1 {units.split_header(table.headers[at])[1] or ''}", *(row[at] for row in table.rows)]
        found = [inches for cell in told for inches in FOOT_RULE.findall(cell)]
        if found or any(re.search("[0-9] *[a-zµ]", cell) for cell in told):
            return "ft in" if any(found) else "ft" if found else "m"
    return "m"


def feet(book: FieldBook, *metres: float, sign: str = "") -> str:
    """The same heights [m] in brackets as a staff in feet shows them, the second behind ±; nothing in a metric book.

    `sign` "+" shows that of the first. Inches go to the nearest 1/16.
    """
    unit = staff(book)
    if unit == "m":
        return ""
    first, *rest = (units.write(value, unit, 3) for value in metres)
    return f" ({sign if metres[0] >= 0 else ''}{' ± '.join([first, *rest])})"


def beyond(book: FieldBook, limit: float) -> str:
    """"More than" so much [m], as the book's own staffs show it; one that shows sixteenths can't differ by less."""
    unit = staff(book)
    return f"> {1000 * limit:.1f} mm" if unit == "m" else f"> {units.write(max(limit, SIXTEENTH) if unit == 'ft in' else limit, unit, 3)}"


def also(book: FieldBook, value: float, unit: str) -> str:
    """The same in a unit of a book in feet, whole and in brackets; nothing in a metric book."""
    return "" if staff(book) == "m" else f" ({units.write(value, unit, 0)})"


def short(book: FieldBook, metres: float, digits: int = 0) -> str:
    """A small height in words."""
    return f"{1000 * metres:.{digits}f} mm{feet(book, metres)}"


def far(book: FieldBook, metres: float) -> str:
    """A length of sight in words; a table has it in ``long_unit(book)``."""
    return f"{metres:.0f} m{also(book, metres, 'ft')}"


def wind(book: FieldBook, speed: float) -> str:
    """A speed [m/s] in words."""
    return f"{speed:.1f} m/s{also(book, speed, 'mph')}"


def long_unit(book: FieldBook) -> str:
    """Unit of the lengths of sight in a table."""
    return "m" if staff(book) == "m" else "ft"


def said(text: str, size: float = TYPE, *, bold: bool = False, keep: bool = False, most: int = 30) -> Strip:
    """A paragraph of at most so many lines."""
    lines = wrapped(text, WIDE, size, bold, most)
    return Strip(LINE * size * len(lines), lambda ax, top: write(ax, 0.0, top, lines, size, bold), keep)


def headed(text: str, lines: Iterable[str] = (), size: float = TYPE) -> list[Strip]:
    """A heading that stays with what follows, and paragraphs."""
    title = said(text, 12.0, bold=True, keep=True, most=2)
    return [replace(GAP, keep=True), title, replace(GAP, height=1.0, keep=True), *(said(line, size) for line in lines)]


def table(weights: Sequence[float], names: Sequence[str], rows: Iterable[Sequence[str]], least: float = ROW, size: float = TYPE) -> list[Strip]:
    """A table whose head is said again on every page; cells of at most three lines, rows at least so high [mm]."""
    edges = WIDE * np.cumsum([0.0, *weights]) / sum(weights)
    head = _row(edges, names, least, size)
    return [head, *(_row(edges, cells, least, size, head) for cells in rows)]


def _row(edges: Sequence[float], cells: Sequence[str], least: float, size: float, head: Strip | None = None) -> Strip:
    """A row of a table; the head itself where none is given."""
    texts = [wrapped(cell, right - left - 2.4, size, head is None, 3) for left, right, cell in zip(edges, edges[1:], cells)]
    height = max(least, 1.0 + LINE * size * max(map(len, texts)))

    def draw(ax: Axes, top: float) -> None:
        corners = [(x, y) for a, b in zip(edges, edges[1:]) for x, y in ((a, top - height), (b, top - height), (b, top), (a, top), (a, top))]
        closed = [Outline.MOVETO, *[Outline.LINETO] * 3, Outline.CLOSEPOLY] * len(texts)
        ax.add_artist(PathPatch(Outline(corners, closed), fill=False, linewidth=0.7))
        for left, lines in zip(edges, texts):
            write(ax, left + 1.2, top - (height - LINE * size * len(lines)) / 2, lines, size, head is None)

    return Strip(height, draw, head is None, head)


def under(upper: Strip, lower: Strip) -> Strip:
    """Two strips as one."""
    return Strip(upper.height + lower.height, lambda ax, top: (upper.draw(ax, top), lower.draw(ax, top - upper.height)))


def picture(height: float, left: float, paint: Callable[[Axes], object]) -> Strip:
    """A picture of black and grey, its axes so far from the left [mm]."""
    def draw(ax: Axes, top: float) -> None:
        width, tall = 25.4 * ax.figure.get_size_inches()
        box = (width - WIDE) / 2 + left, top - height + 13, WIDE - left, height - (20 if left else 14)
        own = ax.figure.add_axes(tuple(np.array(box) / (width, tall, width, tall)))
        paint(own)
        for artist in own.findobj():
            _grey(artist)
        for text in own.texts:
            text.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8})

    return Strip(height, draw)


def _grey(artist: Artist) -> None:
    """Dark colours black, light ones grey."""
    for name in ("color", "edgecolor", "facecolor"):
        get, put_ = getattr(artist, f"get_{name}", None), getattr(artist, f"set_{name}", None)
        if get and put_ and len(shades := to_rgba_array(get())):
            light = shades[:, :3] @ (0.299, 0.587, 0.114)
            shades[:, :3] = np.where(light < 0.5, 0.0, light)[:, None]
            put_(tuple(shades[0]) if len(shades) == 1 else shades)


def paged(strips: Sequence[Strip], size: Size, title: str, book: FieldBook) -> list[Figure]:
    """Strips on as many pages as they take."""
    room, pages = size[1] - HEAD - FOOT, [[]]
    for i, strip in enumerate(strips):
        last = next((j for j in range(i, len(strips)) if not strips[j].keep), len(strips) - 1)
        if sum(s.height for s in (*pages[-1], *strips[i:last + 1])) > room:
            pages.append([strip.head] if strip.head else [])
        pages[-1].append(strip)
    made = []
    for number, own in enumerate(pages, 1):
        figure, ax = page(size, title, book, f"{number} of {len(pages)}")
        for top, strip in zip(size[1] - HEAD - np.cumsum([0.0, *(s.height for s in own)]), own):
            strip.draw(ax, top)
        made.append(figure)
    return made


def page(size: Size, title: str, book: FieldBook, number: str) -> tuple[Figure, Axes]:
    """A page with what it is, the book's title, "invented data" where so, number and seal; axes in millimetres from text and foot."""
    figure, edge = Figure(figsize=(size[0] / 25.4, size[1] / 25.4)), (size[0] - WIDE) / 2
    ax = figure.add_axes((0, 0, 1, 1), xlim=(-edge, WIDE + edge), ylim=(0, size[1]))
    ax.set_axis_off()
    write(ax, 0.0, size[1] - 8, [title], 14.0, True)
    write(ax, WIDE - width_of("invented data", 14.0, True), size[1] - 8, ["invented data"] if book.invented else [], 14.0, True)
    write(ax, 0.0, size[1] - 14.5, wrapped(book.title, WIDE, 11.0, most=1), 11.0)
    ax.plot([0, WIDE], [size[1] - HEAD + 3] * 2, color="black", linewidth=1.2)
    write(ax, 0.0, FOOT - 3, [f"page {number}" + (f", seal {plain(book.sealed)[:16]}" if book.sealed else "")])
    return figure, ax


def tiles(size: Size, step: float, low: float, high: float) -> list[tuple[float, float, str]]:
    """A board between two heights [mm] in pages of whole stripes where a page holds one: ends of each, the highest first, and its number."""
    room = math.floor(size[1] - HEAD - FOOT - 24)
    tile = step * (room // step) if step <= room else room
    count = math.ceil((high - low) / tile - 1e-9)
    if count > TILES:
        raise ValueError(f"a board of {(high - low) / 1000:.1f} m takes {count} pages, more than {TILES}: give a smaller height")
    return [(max(low, high - (i + 1) * tile), high - i * tile, f"{i + 1} of {count}") for i in range(count)]


def bars(ax: Axes, book: FieldBook) -> None:
    """Two bars of 100 mm that check the printer, and what to do with a page of a board."""
    for x, y in (([0.0, 100.0], [FOOT + 3] * 2), ([-6.0] * 2, [FOOT + 22, FOOT + 122])):
        ax.plot(x, y, color="black", linewidth=1.2, marker="+", markersize=8)
    ax.text(103, FOOT + 1.8, "100 mm", fontsize=TYPE)
    write(ax, 0.0, FOOT + 20, wrapped(CHECK.format(feet(book, 0.1)), WIDE))


def put(path: str | Path, paper: str, overwrite: bool, draw: Callable[[Size], list[Figure]], kinds: Sequence[str] = (".pdf",)) -> Path:
    """Draw pages and write them, without a date, to a file of one of these kinds."""
    path, size, out = Path(path), SIZES.get(paper), io.BytesIO()
    kind = path.suffix.lower()
    if size is None or kind not in kinds:
        raise ValueError(f"{path.name!r} on {paper!r} can't be printed: give a name that ends in {' or '.join(kinds)}, "
                         f"and paper {' or '.join(SIZES)}")
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path.name} is there already: give a new name, or overwrite=True")
    own = (figures.style(), matplotlib.style.context("default"), figures.style(), matplotlib.rc_context(PRINT))  # whatever the user's settings are
    with contextlib.ExitStack() as stack:
        for setting in own:
            stack.enter_context(setting)
        into = stack.enter_context(PdfPages(out, metadata=UNDATED[kind])) if kind == ".pdf" else out
        pages = draw(size)
        if len(pages) > 1 and kind != ".pdf":
            raise ValueError(f"{path.name} can't hold {len(pages)} pages: give a name that ends in .pdf")
        for figure in pages:
            figure.savefig(into, format=kind[1:], metadata=None if kind == ".pdf" else UNDATED[kind])
    try:
        with path.open("wb" if overwrite else "xb") as file:
            file.write(out.getvalue())
    except OSError as error:
        raise OSError(f"{path.name} can't be written ({error.strerror}): give a name in a folder that is there and open to you") from None
    return path


def write(ax: Axes, left: float, top: float, lines: Sequence[str], size: float = TYPE, bold: bool = False) -> None:
    """Lines of text below a top [mm]."""
    for i, line in enumerate(filter(None, lines)):
        ax.text(left, top - (0.35 + LINE * i) * size, line, fontsize=size, fontweight="bold" if bold else "normal")


def wrapped(text: str, width: float, size: float = TYPE, bold: bool = False, most: int = 30) -> list[str]:
    """A text in lines of at most a width [mm], the last one cut where they are too many."""
    lines = [""]
    for word in plain(text).split():
        if width_of(f"{lines[-1]} {word}".strip(), size, bold) > width:
            lines += [""] if lines[-1] else []
            while len(word) > 1 and width_of(word[:400], size, bold) > width:  # no line holds as many
                cut = max(1, bisect.bisect_right(range(1, min(len(word), 400)), width, key=lambda n, word=word: width_of(word[:n], size, bold)))
                lines, word = [*lines[:-1], word[:cut], ""], word[cut:]
        lines[-1] = f"{lines[-1]} {word}".strip()
    if len(lines) > most:
        last = lines[most - 1]
        lines[most - 1:] = [last[:bisect.bisect_right(range(1, len(last) + 1), width, key=lambda n: width_of(f"{last[:n]}…", size, bold))] + "…"]
    return lines


def plain(text: str) -> str:
    """A text as it may be printed: one line, no control signs, no towers of accents, a true minus before a number, □ for what the font lacks."""
    shown = re.sub(r"(?<![^\s(])-(?=[0-9])", "−", unicodedata.normalize("NFC", " ".join(text[:LONGEST].split())))
    kept = [c for before, c in zip(f" {shown}", shown)
            if unicodedata.category(c)[0] != "C" and not (unicodedata.combining(c) and unicodedata.combining(before))]
    return "".join(c if ord(c) in _glyphs() else "□" for c in kept)


@functools.cache
def _glyphs() -> frozenset[int]:
    """What both weights of the font can show."""
    fonts = (get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight))) for weight in ("normal", "bold"))
    return frozenset.intersection(*(frozenset(font.get_charmap()) for font in fonts))


@functools.lru_cache(4096)
def width_of(text: str, size: float, bold: bool) -> float:
    """Width of a text [mm]."""
    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=size)
    return text_to_path.get_text_width_height_descent(text, font, False)[0] * POINT
