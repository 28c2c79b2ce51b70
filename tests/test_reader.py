"""Files as spreadsheets save them, and damaged ones: read as a careful human would, or refused; never anything else."""

from __future__ import annotations

import csv
import dataclasses
import io
import itertools
import math
import random
import re
import unicodedata
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

import curvelab
from tests.books import DATA, NAMES, SITE

READINGS = """setup,point,distance [m],reading [m],time,remark
S1,near water,10.0,1.5000,2031-05-03T09:10:00+02:00,"calm, ""glassy"" water"
S1,Pfahl Süd,2000.0,0.2730,2031-05-03T09:20:00+02:00,
S1,Pfahl Süd,2000.0,0.2760,2031-05-03T09:21:00+02:00,½ Strich; über Öl
"""
FILES = {
    "site.toml": SITE,
    "readings.csv": READINGS,
    "heights.csv": "from,to,height,u [mm],time\nfar water,Pfahl Süd,4 ft 11 1/16 in,1,2031-05-03T10:00:00+02:00\n",
    "gauge.csv": "time,water_level [m]\n2031-05-03T09:00:00+02:00,0.20\n2031-05-03T12:00:00+02:00,0.19\n",
    "air.csv": "height [m],temperature [°C],humidity [%],thermometer\n0.5,11.25,81.5,T1\n2.0,11.5,80.0,T1\n",
    "points.csv": "point,kind,position [m],shore\nnear water,water,0.0,near\nfar water,water,2000.0,far\n",
}
KINDS = ("readings", "heights", "gauge", "air_readings", "points")


def put(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Write the files into a folder, text as UTF-8."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    return folder


def only_readings(folder: Path, text: str) -> Path:
    """A book of site, one height, and these readings of a target."""
    if not folder.exists():
        put(folder, {"site.toml": SITE.replace(', "far water"', ""), "heights.csv": "from,to,height [m]\nnear water,target,1.5\n"})
    return put(folder, {"readings.csv": text})


def records(book, rows: bool = False) -> list:
    """The records of all tables, without or with their rows in the file; NaN, a planned reading, as None."""
    found = [dataclasses.replace(r, row=r.row if rows else 0) for kind in KINDS for r in getattr(book, kind)]
    return [dataclasses.replace(r, reading=None) if getattr(r, "planned", False) else r for r in found]


def faults(folder: Path, **changes: str | bytes) -> tuple:
    """The faults of the book with some files replaced (readings=...)."""
    with pytest.raises(curvelab.FieldBookError) as caught:
        curvelab.read_fieldbook(put(folder, FILES | {f"{name}.csv": content for name, content in changes.items()}))
    return caught.value.faults


def dialect(text: str, separator: str = ",", mark: str = ".", newline: str = "\n", quote: int = csv.QUOTE_MINIMAL, blank: int = 0) -> str:
    """A table as another program would save it."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=newline, quoting=quote)
    for row in csv.reader(io.StringIO(text, newline="")):
        writer.writerow([cell.replace(".", mark) if re.fullmatch(r"-?[0-9]+\.[0-9]+", cell) else cell for cell in row] + [""] * blank)
    return out.getvalue()


# --- the same book, saved by many programs ----------------------------------------------------

@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """One folder that many examples write into."""
    return tmp_path_factory.mktemp("reader")


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The book as the library writes it."""
    return curvelab.read_fieldbook(put(tmp_path_factory.mktemp("plain"), FILES))


SAVED = {
    "CRLF": lambda t: dialect(t, newline="\r\n"),
    "CR": lambda t: dialect(t, newline="\r"),
    "byte order mark": lambda t: "\ufeff" + t,
    "every cell quoted": lambda t: dialect(t, quote=csv.QUOTE_ALL),
    "semicolons, points": lambda t: dialect(t, ";"),
    "semicolons, decimal commas": lambda t: dialect(t, ";", ","),
    "semicolons, decimal commas, CRLF, byte order mark": lambda t: "\ufeff" + dialect(t, ";", ",", "\r\n"),
    "tabs": lambda t: dialect(t, "\t"),
    "tabs, decimal commas": lambda t: dialect(t, "\t", ",", "\r\n"),
    "blank columns": lambda t: dialect(t, ";", ",", blank=3),
    "no last line end": lambda t: t.rstrip("\n"),
    "Windows-1252": lambda t: dialect(t, ";", ",", "\r\n").encode("cp1252"),
    "Windows-1252, commas": lambda t: t.encode("cp1252"),
}


@pytest.mark.parametrize("program", SAVED)
def test_the_same_book_saved_by_any_program_gives_the_same_records(program, plain, tmp_path):
    files = {name: SAVED[program](text) if name.endswith(".csv") else text for name, text in FILES.items()}
    assert records(curvelab.read_fieldbook(put(tmp_path, files)), rows=True) == records(plain, rows=True)


@pytest.mark.parametrize("program", ["semicolons, decimal commas", "tabs", "CRLF", "byte order mark"])
@pytest.mark.parametrize("name", NAMES)
def test_the_demo_books_saved_by_other_programs(name, program, tmp_path):
    files = {path.name: path.read_text(encoding="utf-8") for path in (DATA / name).iterdir()}
    saved = {file: SAVED[program](text) if file.endswith(".csv") else text for file, text in files.items()}
    again = curvelab.read_fieldbook(put(tmp_path / "saved", saved))
    assert records(again, rows=True) == records(curvelab.read_fieldbook(DATA / name), rows=True)
    written = curvelab.write_fieldbook(again, tmp_path / "written")
    assert all((written / path.name).read_bytes() == path.read_bytes() for path in (DATA / name).glob("*.csv"))


def test_a_site_file_in_windows_1252_reads_its_signs(plain, tmp_path):
    again = curvelab.read_fieldbook(put(tmp_path, FILES | {"site.toml": SITE.encode("cp1252")}))
    assert (again.line, again.instruments, records(again)) == (plain.line, plain.instruments, records(plain))


@pytest.mark.parametrize("first", ["sep=;\r\n", '"sep=;"\r\n', "SEP=;;;;\r\n", "\r\n;;;\r\n"])
def test_a_first_line_that_names_the_separator_and_blank_rows_are_no_rows(first, plain, tmp_path):
    again = curvelab.read_fieldbook(put(tmp_path, FILES | {"readings.csv": first + dialect(READINGS, ";", ",", "\r\n")}))
    assert records(again) == records(plain)
    assert again.readings[0].row == 2 + first.count("\n")


def test_rows_may_come_in_any_order(plain, tmp_path):
    header, *rows = READINGS.splitlines(keepends=True)
    kappa = curvelab.adjust(plain).curvature.value
    for i, order in enumerate(itertools.permutations(rows)):
        book = curvelab.read_fieldbook(put(tmp_path / str(i), FILES | {"readings.csv": header + "".join(order)}))
        assert sorted(map(repr, records(book))) == sorted(map(repr, records(plain)))
        assert curvelab.adjust(book).curvature.value == pytest.approx(kappa, rel=1e-9)


NUMBER = st.decimals(0, 49, places=4) | st.decimals(0, 49, places=3) | st.decimals(-49, 49, places=2) | st.integers(0, 49).map(Decimal)
TEXT = st.text(st.characters(exclude_categories=("Cc", "Cs"), include_characters="\n\r"), max_size=12).filter(lambda t: "\ufffd" not in t and not re.fullmatch(r"-?[0-9]+\.[0-9]+", t))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(readings=st.lists(NUMBER, min_size=1, max_size=4), remark=TEXT, separator=st.sampled_from(",;\t"), comma=st.booleans(),
       newline=st.sampled_from(["\n", "\r\n"]), quote=st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]), blank=st.integers(0, 2))
@example(readings=[Decimal("0.25")], remark="two\r\nor\rmore\nlines", separator=";", comma=True, newline="\n", quote=csv.QUOTE_ALL, blank=1)
@example(readings=[Decimal("0.25")], remark="one\u2028line", separator=",", comma=False, newline="\n", quote=csv.QUOTE_MINIMAL, blank=0)
def test_what_is_read_in_any_dialect_is_written_and_read_back_equal(folder, readings, remark, separator, comma, newline, quote, blank):
    out = io.StringIO()
    csv.writer(out).writerows([["setup", "point", "distance [m]", "reading [m]", "remark"], ["S1", "near water", "10.0", "1.5000", remark],
                               *(["S1", "target", "2000.0", f"{value:f}", ""] for value in readings)])
    mark, quote = "," if comma and separator != "," else ".", csv.QUOTE_ALL if "\r" in remark else quote
    place = only_readings(folder / "dialect", dialect(out.getvalue(), separator, mark, newline, quote, blank))
    two_ways = [f"{value:f}".lstrip("-") for value in readings if mark == "," and re.fullmatch(r"-?[1-9][0-9]?\.[0-9]{3}", f"{value:f}")]
    if two_ways:
        with pytest.raises(curvelab.FieldBookError) as caught:
            curvelab.read_fieldbook(place)
        written = [f"'{value}0' or '{value.replace('.', '')}'" for value in two_ways]
        assert [fault.remedy.partition("write ")[2] for fault in caught.value.faults] == written
        return
    book = curvelab.read_fieldbook(place)
    assert [r.reading for r in book.readings] == [1.5, *map(float, readings)]
    assert book.readings[0].remark == re.sub("\r\n?", "\n", remark.strip())
    written = folder / "written"
    for path in written.glob("*"):
        path.unlink()
    again = curvelab.read_fieldbook(curvelab.write_fieldbook(book, written))
    assert records(again) == records(book)
    assert (again.site, {name: (t.headers, t.rows) for name, t in again.tables.items()}) == (
        book.site, {name: (t.headers, t.rows) for name, t in book.tables.items()})


# --- a damaged number is read as a human would, or refused ------------------------------------

_SAME = {sign: plain for signs, plain in (("−‐‑–", "-"), ("⁄∕", "/"), ("′’‘ʹ", "'"), ("″”“ʺ", '"')) for sign in signs}


def spelt(cell: str) -> str:
    """A cell with one spelling for each sign, ½ as 1/2, two primes as a double one."""
    out = "".join(_SAME.get(c, c) for c in cell).replace("''", '"')
    for c in set(out):
        if unicodedata.decomposition(c).startswith("<fraction>"):
            out = out.replace(c, f" {unicodedata.normalize('NFKC', c)} ".replace("\u2044", "/"))
    return " ".join(out.split())


def human_metres(cell: str, comma: bool) -> Fraction | None:
    """What a careful human reads in a cell under [m]: a decimal number, perhaps with ½; None where there is no reading, or two."""
    text = spelt(cell)
    if comma and re.fullmatch(r"[+-]? ?[1-9][0-9]{0,2}[,.][0-9]{3}", text):
        return None
    text = text.replace(",", ".") if comma else text
    decimal, fraction = r"([0-9]*\.?[0-9]+)((?:[eE][+-][0-9]+)?)", r"(?:([0-9]+)(?: |- ?))?([0-9]+)/([0-9]+)"
    match = re.fullmatch(f"([+-]?) ?(?:{decimal}|{fraction})", text)
    if not match or "/" in cell:
        return None
    sign, decimal, power, whole, above, below = match.groups()
    value = Fraction(Decimal(decimal + power)) if decimal else int(whole or 0) + Fraction(int(above), int(below))
    return -value if sign == "-" else value


def human_feet(cell: str) -> Fraction | None:
    """What a careful human reads in a cell such as 4 ft 9 7/16 in, 4'9 7/16 or 13 m, in metres."""
    if cell.strip().endswith("m"):
        return human_metres(cell.strip()[:-1], comma="," in cell)
    number = r"(?:[0-9]*\.?[0-9]+|(?:[0-9]+(?: |- ?))?[0-9]+/[0-9]+)"
    text = re.sub("(0|[1-9][0-9]*),([0-9]{1,2}|[0-9]{4,})(?![0-9])", r"\1.\2", spelt(cell))     # semicolons stand between the cells
    match = re.fullmatch(rf"""([+-]?) ?(?:({number}) ?(ft\.?|'))? ?(?:({number}) ?(in\.?|"|))?""", text)
    if not match or not (match[2] or match[4]) or match[4] and not match[5] and match[3] != "'":
        return None
    feet, inches = (human_fraction(part or "0") for part in match.group(2, 4))
    if feet is None or inches is None or match[2] and match[4] and (not match[2].isdecimal() or match[4][0] == "." or inches >= 12):
        return None
    return (-1 if match[1] == "-" else 1) * (feet * 12 + inches) * Fraction("0.0254")


def human_fraction(text: str) -> Fraction | None:
    """7/16, 3 7/16 or 3.5; a fraction that is none has no reading."""
    whole, above, below = re.fullmatch("(?:(.*?)[ -]+)?([0-9]+)/([0-9]+)", text).groups() if "/" in text else (text, "0", "1")
    return Fraction(whole or 0) + Fraction(int(above), int(below)) if int(above) < int(below) and (whole or int(above)) else None


def standing(cell: str, separator: str) -> str:
    """The cell as it stands in its table: without the table's quotes, and ended by a separator behind which nothing is."""
    return re.sub('^"(.*)"$', r"\1", re.sub(rf"{separator}\s*$", "", cell))


CHARACTER = st.sampled_from("0123456789.,;/-+eE'\" \t\n\r½¼−x±[]") | st.characters(exclude_categories=("Cs",))
EDIT = st.tuples(st.sampled_from(["replace", "insert", "delete"]), st.floats(0, 1, exclude_max=True), CHARACTER)


def edited(cell: str, edit: tuple[str, float, str]) -> str:
    """The cell with one character changed, put in or left out."""
    how, where, character = edit
    at = int(where * (len(cell) + (how == "insert")))
    return cell[:at] + ("" if how == "delete" else character) + cell[at + (how != "insert"):]


def read_one(folder: Path, header: str, cell: str, separator: str) -> float | None:
    """The second reading of a book in which it stands as given; None where the book is refused."""
    first, last = ("1.5 m", "7 in") if header == "reading" else ("1.5", "0.25")
    rows = [["setup", "point", "distance [m]", header], ["S1", "near water", "10", first], *(["S1", "target", "2000", one] for one in (cell, last))]
    text = "".join(separator.join(row) + "\n" for row in rows)
    try:
        book = curvelab.read_fieldbook(only_readings(folder, text))
    except curvelab.FieldBookError as error:
        assert error.faults and all(fault.remedy for fault in error.faults)
        return None
    assert [(r.setup, r.point, r.distance) for r in book.readings] == [("S1", "near water", 10.0), *[("S1", "target", 2000.0)] * 2]
    assert [book.readings[0].reading, book.readings[2].reading] == [1.5, 0.1778 if header == "reading" else 0.25]
    return book.readings[1].reading


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(number=NUMBER, comma=st.booleans(), separator=st.sampled_from(",;\t"), edits=st.lists(EDIT, min_size=4, max_size=10))
def test_one_character_changed_in_a_number_is_refused_or_read_as_a_human_would(folder, number, comma, separator, edits):
    whole = f"{number:f}".replace(".", "," if comma and separator != "," else ".")
    for cell in (edited(whole, edit) for edit in edits):
        found = read_one(folder / "metres", "reading [m]", cell, separator)
        cell = standing(cell, separator)
        if found is not None and math.isnan(found):
            assert not cell.strip()                                 # a blank reading is a planned one
        elif found is not None:
            assert human_metres(cell, comma="," in cell) is not None, cell
            assert found == float(human_metres(cell, comma="," in cell))


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(feet=st.integers(0, 49), sixteenths=st.integers(0, 191), primes=st.booleans(), edits=st.lists(EDIT, min_size=4, max_size=10))
def test_one_character_changed_in_feet_and_inches_is_refused_or_read_as_a_human_would(folder, feet, sixteenths, primes, edits):
    whole = curvelab.units.write(float((feet * 12 + Fraction(sixteenths, 16)) * Fraction("0.0254")), "ft in")
    for cell in (edited(whole.replace(" ft", "'").replace(" in", '"') if primes else whole, edit) for edit in edits):
        found = read_one(folder / "feet", "reading", cell, ";")
        cell = standing(cell, ";")
        if found is not None and not math.isnan(found):
            assert human_feet(cell) is not None, cell
            assert found == float(human_feet(cell))


@pytest.mark.parametrize(("cell", "metres"), [("1.3976", "1.3976"), ("−.5", "-0.5"), ("139½", "139.5"), ("1,3976", "1.3976"), ("1,397", None),
                                              ("1.5e-3", "0.0015"), ("1/2", None), ("1 3976", None), ("2e00", None), ("5.", None), ("", None)])
def test_the_human_reads(cell, metres):
    assert human_metres(cell, comma="," in cell) == (None if metres is None else Fraction(metres))


def test_the_human_reads_feet():
    assert human_feet("4 ft 9 7/16 in") == human_feet("4' 9-7/16\"") == human_feet("4'9 7⁄16") == Fraction("1.4589125")
    assert [human_feet(cell) for cell in ("4 ft 12 in", "97/16 in", "4.5 ft 3 in", "4", "4 ft 9", "4 ft 9 in 1", "4 ft .9 in", "")] == [None] * 8
    assert [human_feet(".19'"), human_feet("13m")] == [Fraction("0.057912"), 13]


# --- whatever happens to a file, only a FieldBookError comes out -------------------------------

INSERTED = ["\0", "±", "½", "\ufeff", '"', "9" * 400, "-", "\x85", "\u2028", "e", "nan", "1e-400", "[", "\r"]


def corrupted(data: bytes, rng: random.Random) -> bytes:
    """A file after one accident."""
    at, lines = rng.randrange(len(data) + 1), data.splitlines(keepends=True) or [b""]
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    old, new = rng.sample([b",", b";", b"\t", b".", b"\n", b'"', b"=", b"[", b" "], 2)
    return rng.choice([
        lambda: data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1:] if at < len(data) else data,
        lambda: b"".join(lines[:i] + lines[i + 1:]),
        lambda: b"".join([*lines[:i], lines[j], *lines[i:]]),
        lambda: data.replace(old, new),
        lambda: data.replace(old, new, 1),
        lambda: data[:at] + rng.choice(INSERTED).encode() + data[at:],
        lambda: data[:at] + rng.randbytes(rng.randrange(1, 4)) + data[at:],
        lambda: data[:at],
        lambda: data[at:],
        lambda: data.decode("utf-8", "replace").encode(rng.choice(["utf-16", "utf-16-le", "utf-8-sig"])),
        lambda: data.decode("utf-8", "replace").encode("cp1252", "replace"),
        lambda: data + data,
        lambda: b"PK\3\4" + data,
    ])()


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1), name=st.sampled_from(["readings.csv", *FILES]))
def test_only_a_field_book_error_leaves_the_reader(folder, seed, name):
    rng, data, place = random.Random(seed), b"", put(folder / "whole", FILES)
    for accident in range(10):
        data = corrupted(data if accident % 3 else FILES[name].encode(), rng)      # up to three accidents to one file
        (place / name).write_bytes(data)
        try:
            book = curvelab.read_fieldbook(place)
        except curvelab.FieldBookError as error:
            assert error.faults and all(fault.remedy and fault.file for fault in error.faults) and str(error)
        else:
            assert all(math.isfinite(r.distance) for r in book.readings)
            assert math.isfinite(book.line.distance.value + book.line.latitude + book.line.azimuth)


@pytest.mark.parametrize(("old", "new", "words"), [
    ("format = 1", "format = " + "9" * 400, "64 bits"),
    ("format = 1", "format = " + "9" * 5000, "not valid TOML"),
    ("format = 1", "format = 0x" + "f" * 5000, "64 bits"),
    ("latitude = 50", "latitude = 9223372036854775808", "64 bits"),
    ("latitude = 50", "latitude = nan", "no number"),
    ("latitude = 50\nazimuth = 60", "from = [nan, 9.0]\nto = [50.0, inf]", "two numbers"),
    ("[air.lake]", "[air.lake" + ".a" * 2000 + "]", "too deep"),
    ("format = 1", "format = 1\ntitle = " + "[" * 5000, "not valid TOML"),
    ("format = 1", "format = 1\ntitle = 2031-02-30", "not valid TOML"),
])
def test_numbers_and_tables_without_end_in_the_site_file(old, new, words, tmp_path):
    with pytest.raises(curvelab.FieldBookError, match=words):
        curvelab.read_fieldbook(put(tmp_path, FILES | {"site.toml": SITE.replace(old, new)}))


# --- what is refused, with its row and what to do ---------------------------------------------

GERMAN = dialect(READINGS, ";", ",")
REFUSED = {
    "UTF-16 with its mark": (READINGS.encode("utf-16"), 1, "(UTF-16 is full of NUL, '\\x00'); correct that and save it as CSV UTF-8"),
    "UTF-16 without": (READINGS.encode("utf-16-le"), 1, "UTF-16"),
    "a NUL byte": (READINGS.replace("0.2760", "0.27\x0060"), 4, "'\\x00'"),
    "a control character": (READINGS.replace("0.2760", "0.27\x1060"), 4, "'\\x10'"),
    "one damaged character in UTF-8": (READINGS.encode().replace("ü".encode(), b"\xfc", 1), 3, "not UTF-8 text, or damaged"),
    "a byte that Windows-1252 has not": (READINGS.encode("cp1252").replace(b"\xbd", b"\x81"), 4, "not UTF-8 text, or damaged"),
    "an .xlsx under another name": (b"PK\x03\x04\x14\x00\x06\x00", None, "open it in the spreadsheet and save it as CSV UTF-8"),
    "an .xls under another name": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", None, "open it in the spreadsheet"),
    "two separators in the header": (READINGS.replace("setup,", "setup;"), 1, "the header has commas and the header has semicolons"),
    "a first line that contradicts the header": ("sep=;\n" + READINGS, 2, "the first line says sep=; and the header has commas"),
    "a separator that is none": ("sep=|\n" + READINGS.replace(",", "|"), 2, "by commas only, by semicolons only or by tabs only"),
    "a comma that may mark thousands": (GERMAN.replace("0,2760", "1,276"), 4, "write '1.2760' or '1276'"),
    "a point that may mark thousands": (GERMAN.replace("0,2760", "1.276"), 4, "write '1,2760' or '1276'"),
    "only points that may mark thousands": (
        dialect(re.sub(r"0\.(\d\d)\d*", r"1.\g<1>0", READINGS.replace("0.0,", ",").replace("1.5000", "2")), "\t"), 3, "'1,2700' or '1270'"),
    "German thousands": (GERMAN.replace("2000,0", "2.000,0", 1), 3, "write '2000.0' if that is meant"),
    "thousands set apart by a space": (GERMAN.replace("2000,0", "2\u00a0000,0", 1), 3, "write '2000,0' if that is meant"),
    "decimal commas between commas": (READINGS.replace("1.5000", "1,5000"), 2, "decimal commas need semicolons between the cells"),
    "a quoted decimal comma between commas": (
        READINGS.replace("1.5000", '"1,5000"'), 2, "write '1.5000', or semicolons between all cells of the table"),
    "an open quote": (READINGS.replace("0.2760", '"0.2760'), 4, "not valid CSV"),
    "a mistyped point": (READINGS.replace("0.2760", "0/2760"), 4, "may be a mistyped point"),
    "another mistyped point": (READINGS.replace("2000.0", "2e00.0", 1), 3, "not a bare number"),
    "a year before levels": (READINGS.replace("2031-05-03T09:21", "0001-05-03T09:21"), 4, "the year 1 can't be"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_each_fault_of_a_file_says_where_and_what_to_do(case, tmp_path):
    content, row, words = REFUSED[case]
    found = faults(tmp_path, readings=content)
    assert any(f.file == "readings.csv" and f.row == row and words in f.remedy for f in found), [str(f) for f in found]


def test_all_faults_of_a_table_come_at_once(tmp_path):
    text = GERMAN.replace("0,2760", "1.276").replace("10,0", "ten").replace("0,2730", "1,273").replace("1,5000", "1.5000,0")
    found = faults(tmp_path, readings=text)
    assert sorted((f.row, f.column) for f in found) == [(2, "distance"), (2, "reading"), (3, "reading"), (4, "reading [m]")]


@pytest.mark.parametrize("stray", ["heights.xlsx", "heights.ods", "Heights.CSV", "heights.csv.txt", "heights.tsv"])
def test_a_table_in_another_format_is_not_left_out_silently(stray, tmp_path):
    files = {name: text for name, text in FILES.items() if name != "heights.csv"}
    with pytest.raises(curvelab.FieldBookError, match=f"{stray}: .*save it from the spreadsheet as heights.csv"):
        curvelab.read_fieldbook(put(tmp_path, files | {stray: b"PK\x03\x04"}))


def test_a_spreadsheet_in_place_of_the_readings_and_one_beside_them(tmp_path, plain):
    (put(tmp_path / "a", FILES) / "readings.csv").rename(tmp_path / "a" / "readings.xlsx")
    with pytest.raises(curvelab.FieldBookError, match="one fault:\n.*readings.xlsx: not read; save it from the spreadsheet as readings.csv"):
        curvelab.read_fieldbook(tmp_path / "a")
    beside = put(tmp_path / "b", FILES | {"readings.xlsx": b"PK\x03\x04", "~$readings.xlsx": b"", "heights.jpg": b"", "readings.csv~": b""})
    assert records(curvelab.read_fieldbook(beside)) == records(plain)
