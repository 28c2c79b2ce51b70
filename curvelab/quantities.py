"""Numbers as people write them: signs, decimals, fractions, each exact. What may be read in two ways is refused."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from fractions import Fraction

LONGEST = 200
# An exponent has its sign, as programs write it: 2e00 is more likely a mistyped 2000.
NUMBER = r"(?:[0-9]+(?: |- ?)[0-9]+/[0-9]+|[0-9]+/[0-9]+|(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-][0-9]{1,3})?)"
PER = r"(?: ?/ ?| (?:per|in|at) )"
_BARE = re.compile(rf"[+-]? ?{NUMBER}(?: ?± ?{NUMBER})?")
_PIECE = re.compile(rf" ?({NUMBER}) ?([^0-9.]+?{PER}{NUMBER} ?[^0-9.]+|[^0-9.]*)")
_COMMAS = re.compile(r"(?<![0-9.,])[0-9.]*,[0-9.,]*")
_GROUPED = re.compile(r"([1-9][0-9]{0,2}([.,])[0-9]{3}(?:\2[0-9]{3})*)(?:(?!\2)[.,]([0-9]+))?")
_TWO_WAYS = re.compile(r"(?<![0-9.,])[1-9][0-9]{0,2}[.,][0-9]{3}(?![0-9.,])")
_LETTERS = re.compile(r"(?<![A-Za-z])[OolI]+(?=[.,]?[0-9])|(?<=[0-9.,])[OlI]+(?![A-Za-z])")
_INCHES_UNMARKED = re.compile(r"(' ?(?:[0-9]{1,2}(?:\.[0-9]+|(?: |- ?)[0-9]+/[0-9]+)?|[0-9]+/[0-9]+))(?= ?(?:±|$))")
# What scales and speech divide by; any other denominator is more likely a mistyped point.
_DENOMINATORS = (*range(2, 11), 12, 16, 32, 64, 100, 128)
_VULGAR = zip("½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅐⅛⅜⅝⅞⅑⅒", "112131234151135711", [*"23344555566788889", "10"], strict=True)
_SPELLINGS = {"\u2212\u2010\u2011\u2013": "-", "\u2044\u2215": "/", "′’‘ʹ": "'", "″”“ʺ": '"', "\u03bc": "\u00b5",
              "º": "°", "℃": "°C", "℉": "°F"} | {sign: f" {n}/{d} " for sign, n, d in _VULGAR}
_SIGNS = str.maketrans({sign: plain for signs, plain in _SPELLINGS.items() for sign in signs})


class UnitError(ValueError):
    """A quantity that can't be read: what was given, why, and what to write instead."""


@contextmanager
def about(text: str) -> Iterator[None]:
    """Put the given text in front of any UnitError raised inside."""
    try:
        yield
    except UnitError as error:
        raise UnitError(f"{text[:LONGEST]!r}: {error}") from None


def with_points(text: str) -> str:
    """The same text with points for its decimal commas; a comma that may mark anything else is refused.

    >>> with_points("0,25 m"), with_points("1,2345 m")
    ('0.25 m', '1.2345 m')
    """
    return _COMMAS.sub(_with_point, text)


def _with_point(match: re.Match[str]) -> str:
    """One number with a comma, written with a point."""
    number = match[0]
    readings = two_ways(number)
    if readings:
        raise UnitError(f"the comma may mark decimals or thousands; write {readings}")
    if re.fullmatch("(?:0|[1-9][0-9]*),[0-9]+", number):
        return number.replace(",", ".")
    grouped = _GROUPED.fullmatch(number)
    if grouped:
        plain = re.sub("[.,]", "", grouped[1]) + (f".{grouped[3]}" if grouped[3] else "")
        raise UnitError(f"thousands are not set apart; write '{plain}' if that is meant")
    raise UnitError(f"'{number}' is no number; write digits with one decimal point, such as '1.25'")


def two_ways(text: str, mark: str = ".") -> str | None:
    """How to write either reading of a number like 1,397 or 1.397; None where the text holds none.

    >>> two_ways("1,397 m"), two_ways("0,397 m")
    ("'1.3970' or '1397'", None)
    """
    found = _TWO_WAYS.search(text)
    whole, decimals = re.split("[.,]", found[0]) if found else ("", "")
    return f"'{whole}{mark}{decimals}0' or '{whole}{decimals}'" if found else None


def one_mark(cells: Sequence[str]) -> list[tuple[str, str | None]]:
    """The number cells of a table that commas don't part, with points for decimal commas, and how to write those that stay open.

    A comma that may mark thousands stays. So may a point, unless no cell holds a comma and another shows that points mark decimals.

    >>> one_mark(["0,25", "1.397"]), one_mark(["0.25", "1.397"])
    ([('0.25', None), ('1.397', "'1,3970' or '1397'")], [('0.25', None), ('1.397', None)])
    """
    settled = not any("," in cell for cell in cells) and any(re.search(r"\.[0-9]", cell) and not two_ways(cell) for cell in cells)
    found = []
    for cell in cells:
        readings = None if settled or "," in cell else two_ways(cell, ",")
        with suppress(UnitError):
            cell = with_points(cell)
        found.append((cell, readings))
    return found


@functools.lru_cache(maxsize=4096)
def clean(text: str) -> str:
    """One spelling for each sign and space, points for decimal commas; a text that is too long is refused."""
    if len(text) > LONGEST:
        raise UnitError(f"{len(text)} characters are too many; write something like '2140 m ± 5 m'")
    text = text.translate(_SIGNS).replace("+/-", "±").replace("+-", "±").replace("''", '"')
    text = " ".join(text.split())
    digits = _LETTERS.sub(lambda run: run[0].translate({79: "0", 111: "0", 108: "1", 73: "1"}), text)
    if digits != text:
        raise UnitError(f"a letter stands among digits; write '{digits}' if that is meant")
    joined = re.sub("(?<=[0-9])[ '](?=[0-9]{3}(?![0-9/]))", "", text)
    if joined != text:
        raise UnitError(f"thousands are not set apart; write '{joined}' if that is meant")
    text = re.sub(r"(?<=[A-Za-z])\.(?=[ )±]|$)", "", with_points(text))              # 5 ft. 3 in.
    stray = re.search(r"[^0-9 +\-±(] ?(\.[0-9]+)", text)
    if stray:
        raise UnitError(f"a number with no digit before its point, behind '{stray[0][0]}'; write '0{stray[1]}' or '{stray[1][1:]}'")
    text = _INCHES_UNMARKED.sub(r'\1"', text)                           # 5'3
    return re.sub(r"^\(([^()]*±[^()]*)\)", r"\1", text)                  # (2140 ± 5) m


def is_bare(text: str) -> bool:
    """Whether a cleaned text is a number, or number ± number, without any unit."""
    return _BARE.fullmatch(text) is not None


def number(text: str) -> Fraction:
    """The exact value of '3.5', '7/16', '3 7/16' or '3-7/16'."""
    if "/" not in text:
        return Fraction(text)
    *whole, proper = text.replace("-", " ").split()
    above, below = proper.split("/")
    if int(below) not in _DENOMINATORS:
        raise UnitError(f"the fraction {proper} has denominator {below}; write decimals, or halves, quarters, 8ths, 16ths ...")
    value = sum((Fraction(part) for part in whole), Fraction(int(above), int(below)))
    if not int(not whole) <= int(above) < int(below):
        cuts = [] if whole else [f"{above[:i]} {above[i:]}/{below}" for i in range(1, len(above)) if 0 < int(above[i:]) < int(below)]
        lost = "".join(f", '{cut}' if a space was lost" for cut in cuts)
        raise UnitError(f"the fraction in '{text}' does not lie between 0 and 1; write '{mixed(value)}' if that is meant{lost}")
    return value


def mixed(number: Fraction) -> str:
    """A number that is not negative as people write it: '3 7/16'."""
    return " ".join(str(part) for part in (number // 1, number % 1) if part) or "0"


def pieces(text: str) -> tuple[int, list[tuple[Fraction, str]]]:
    """The sign, and each number with its unit: '-5 ft 3 in' gives -1 and (5, ft), (3, in)."""
    body = re.sub(r"^[+-] ?", "", text)
    found: list[tuple[Fraction, str]] = []
    end = 0
    while end < len(body) or not found:
        match = _PIECE.match(body, end)
        if match is None:
            raise UnitError(f"no number at '{body[end:]}'; write a number, and its unit behind it")
        end, unit = match.end(), match[2].strip()
        if unit.endswith(("-", "+")):
            raise UnitError("a sign inside; write it once, in front of the whole, such as '-5 ft 3 in', or a space if it only joins")
        if unit in ("e", "E") and end < len(body):
            raise UnitError(f"an exponent has its sign; write '{body[:end].rstrip()}+{body[end:]}' if that is meant")
        if not unit and end < len(body):
            raise UnitError(f"no unit between '{match[1]}' and '{body[end:].strip()}'; write one number per unit")
        found.append((number(match[1]), unit))
        if "." in match[1] and end < len(body) and found[-1][0].denominator == 1:
            raise UnitError(f"decimals of {unit!r} before another unit; write '{found[-1][0]} {unit}' there")
    return (-1 if text.startswith("-") else 1), found
