"""Quantities as people write them, to inner units and back, in exact fractions.

Inner units: length m, angle rad, ratio 1, temperature °C, temperature difference K,
pressure hPa, temperature gradient K/m, speed m/s, number 1. What can be read in no way,
or in two, is a `UnitError`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction


class UnitError(ValueError):
    """A quantity that can't be read: what was given, why, and what to write instead."""


@dataclass(frozen=True)
class Quantity:
    """A value [inner unit] and its standard uncertainty [the same, K for °C], None if not stated."""

    value: float
    u: float | None = None


# Exact lengths of inch, foot, yard and mile, and the knot: A. Thompson and B. N. Taylor, NIST
# Special Publication 811 (2008), appendix B.8. US survey foot: Federal Register 85 (193), 62698,
# document 2020-21902, 5 Oct 2020 (deprecated after 31 Dec 2022; 2 ppm longer than the foot).
_IN, _FT, _MI = Fraction("0.0254"), Fraction("0.3048"), Fraction("1609.344")
# Conventional mercury, 13.5951 g/cm³ (secondary sources) at 9.80665 m/s²: rounds to the 1.333 224 E+02
# and 3.386 389 E+03 Pa of SP 811, appendix B.8, mmHg and inHg.
_MMHG = Fraction("13.5951") * Fraction("9.80665") / 100
_DEG = Fraction(math.pi) / 180
_K, _F = Fraction(1), Fraction(5, 9)

# Dimension -> names of one unit, the usual one first -> inner units in one of it.
_TABLES: dict[str, dict[str, Fraction]] = {
    "length": {
        "m|metre|metres|meter|meters": Fraction(1), "cm": Fraction(1, 100), "mm": Fraction(1, 1000),
        "km": Fraction(1000), "µm|um": Fraction(1, 10**6), "ft|foot|feet|'": _FT,
        'in|inch|inches|"': _IN, "yd|yard|yards": 3 * _FT, "mi|mile|miles": _MI,
        "survey ft|US survey ft|US survey foot|US survey feet": Fraction(1200, 3937)},
    "angle": {
        "rad": Fraction(1), "mrad": Fraction(1, 1000), "µrad|urad": Fraction(1, 10**6),
        "°|deg|degree|degrees": _DEG, "arcmin|'": _DEG / 60, 'arcsec|"': _DEG / 3600,
        "mm/m": Fraction(1, 1000)},
    "ratio": {"%": Fraction(1, 100), "ppm": Fraction(1, 10**6), "mm/m": Fraction(1, 1000)},
    "temperature": {"°C|C": _K, "°F|F": _F, "K": _K},
    "temperature difference": {"K": _K, "°C|C": _K, "°F|F": _F},
    "pressure": {"hPa": Fraction(1), "Pa": Fraction(1, 100), "kPa": Fraction(10), "mbar": Fraction(1),
                 "inHg": Fraction("25.4") * _MMHG, "mmHg": _MMHG},
    "temperature gradient": {"K/m": _K, "°C/m": _K, "K/km": _K / 1000, "°F/ft": _F / _FT},
    "speed": {"m/s": Fraction(1), "km/h": Fraction(10, 36), "mph": _MI / 3600, "kn": Fraction(1852, 3600)},
    "number": {"": Fraction(1)},
}
_UNITS = {d: {name: f for names, f in t.items() for name in names.split("|")} for d, t in _TABLES.items()}
# What 0 of the unit is in °C (0 °C = 273.15 K = 32 °F: NIST SP 811, appendix B.8).
_ZERO = {"K": Fraction("-273.15"), "°F": -32 * _F, "F": -32 * _F}
# Dimensions that may be written as one unit per so much length, and what stands above the stroke.
_PER_LENGTH = {"angle": "length", "ratio": "length", "temperature gradient": "temperature difference"}
# Units that may follow one another in one quantity: 5 ft 3 in, 1° 30' 15".
_CHAINS = {"length": [(_FT, _IN)], "angle": [(_DEG, _DEG / 60), (_DEG / 60, _DEG / 3600)]}

_LONGEST = 200
_NUMBER = r"(?:[0-9]+(?: |- ?)[0-9]+/[0-9]+|[0-9]+/[0-9]+|(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)"
_PER = r"(?: ?/ ?| (?:per|in|at) )"
_BARE = re.compile(rf"[+-]? ?{_NUMBER}(?: ?± ?{_NUMBER})?")
_PIECE = re.compile(rf" ?({_NUMBER}) ?([^0-9.]+?{_PER}{_NUMBER} ?[^0-9.]+|[^0-9.]*)")
_RATE = re.compile(rf"(.+?){_PER}({_NUMBER})? ?(.+)")
_VULGAR = zip("½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞", "112131234151357", "233445555668888", strict=True)
_SPELLINGS = {"\u2212\u2010\u2011\u2013": "-", "\u2044\u2215": "/", "′’": "'", "″”": '"', "\u03bc": "\u00b5",
              "º": "°", "℃": "°C", "℉": "°F"} | {sign: f" {n}/{d} " for sign, n, d in _VULGAR}
_SIGNS = str.maketrans({sign: plain for signs, plain in _SPELLINGS.items() for sign in signs})


@contextmanager
def _about(text: str) -> Iterator[None]:
    """Put the given text in front of any UnitError raised inside."""
    try:
        yield
    except UnitError as error:
        raise UnitError(f"{text[:_LONGEST]!r}: {error}") from None


def _clean(text: str) -> str:
    """One spelling for each sign and space; a text too long or with a comma is refused."""
    if len(text) > _LONGEST:
        raise UnitError(f"{len(text)} characters are too many; write something like '2140 m ± 5 m'")
    if "," in text:
        raise UnitError("a comma may mark decimals or thousands; write "
                        f"'{text.replace(',', '.')}' or '{text.replace(',', '')}'")
    text = text.translate(_SIGNS).replace("+/-", "±").replace("+-", "±").replace("''", '"')
    text = re.sub(r"(?<=[A-Za-z])\.", "", " ".join(text.split()))       # 5 ft. 3 in.
    return re.sub(r"^\(([^()]*±[^()]*)\)", r"\1", text)                  # (2140 ± 5) m


def _number(text: str) -> Fraction:
    """The exact value of '3.5', '7/16', '3 7/16' or '3-7/16'."""
    if "/" not in text:
        return Fraction(text)
    *whole, proper = text.replace("-", " ").split()
    if int(proper.split("/")[1]) == 0:
        raise UnitError(f"the fraction {proper} has denominator 0; write another")
    number = sum((Fraction(part) for part in whole), Fraction(proper))
    if whole and Fraction(proper) >= 1:
        raise UnitError(f"the fraction in '{text}' is not below 1; write '{_mixed(number)}' if that is meant")
    return number


def _mixed(number: Fraction) -> str:
    """A number that is not negative as people write it: '3 7/16'."""
    return " ".join(str(part) for part in (number // 1, number % 1) if part) or "0"


def _lookup(unit: str, dimension: str) -> Fraction | None:
    """Inner units in one `unit`; None where `dimension` has no such unit."""
    if dimension not in _UNITS:
        raise ValueError(f"no dimension {dimension!r}; there are {', '.join(_UNITS)}")
    rate = _RATE.fullmatch(unit) if dimension in _PER_LENGTH else None
    if rate is None:
        return _UNITS[dimension].get(unit)
    above, below = _UNITS[_PER_LENGTH[dimension]].get(rate[1]), _UNITS["length"].get(rate[3])
    if above is None or below is None:
        return None
    run = _number(rate[2] or "1") * below
    if run == 0:
        raise UnitError(f"'{unit}' divides by a length of 0; write the length it holds for")
    return above / run


def _factor(unit: str, dimension: str) -> Fraction:
    """As `_lookup`, but a unit that `dimension` has not is an error."""
    factor = _lookup(unit, dimension)
    if factor is not None:
        return factor
    known = ", ".join(names.split("|")[0] for names in _TABLES[dimension])
    slope = " or a slope like '2 mm per 30 m'" if _PER_LENGTH.get(dimension) == "length" else ""
    remedy = f"write one of {known}{slope}" if dimension != "number" else "write the number alone"
    if not unit:
        raise UnitError(f"a number without a unit where the dimension is {dimension}; {remedy}")
    plain = unit.replace(" ", "").replace("deg", "°").casefold()
    meant = [name for name in _UNITS[dimension] if name and name.replace(" ", "").casefold() == plain]
    others = [other for other in _UNITS if _lookup(unit, other) is not None]
    why = f"is a unit of {others[0]}, and {dimension} is wanted" if others else "is no unit known here"
    raise UnitError(f"{unit!r} {why}; " + (f"write '{meant[0]}'" if meant else remedy))


def _pieces(text: str) -> tuple[int, list[tuple[Fraction, str]]]:
    """The sign, and each number with its unit: '-5 ft 3 in' gives -1 and (5, ft), (3, in)."""
    body = re.sub(r"^[+-] ?", "", text)
    pieces: list[tuple[Fraction, str]] = []
    end = 0
    while end < len(body) or not pieces:
        match = _PIECE.match(body, end)
        if match is None:
            raise UnitError(f"no number at '{body[end:]}'; write a number and its unit, such as '5 ft 3 7/16 in'")
        end, unit = match.end(), match[2].strip()
        if unit.endswith(("-", "+")):
            raise UnitError("a sign inside; write it once, in front of the whole, such as '-5 ft 3 in'")
        if not unit and end < len(body):
            raise UnitError(f"no unit between '{match[1]}' and '{body[end:].strip()}'; write one number per unit")
        pieces.append((_number(match[1]), unit))
    return (-1 if text.startswith("-") else 1), pieces


def _total(sign: int, pieces: list[tuple[Fraction, str]], dimension: str) -> float:
    """The double nearest to the sum of the pieces, each checked against the one before it."""
    factors = [_factor(unit, dimension) for _, unit in pieces]
    for i, (ratio, (before, big), (after, small)) in enumerate(zip(factors, pieces, pieces[1:], strict=False)):
        ratio /= factors[i + 1]
        if tuple(factors[i:i + 2]) not in _CHAINS.get(dimension, ()):
            raise UnitError(f"{small!r} can't follow {big!r}; write one unit, or two as in '5 ft 3 in'")
        if before.denominator != 1:
            raise UnitError(f"a fraction of {big!r} before {small!r}; write a whole number there")
        if after >= ratio:
            carried = f"{before + after // ratio} {big} {_mixed(after % ratio)} {small}"
            raise UnitError(f"{small!r} beside {big!r} stays below {ratio}; write '{carried}' if that is meant")
    exact = sign * sum((number * f for (number, _), f in zip(pieces, factors, strict=True)), Fraction(0))
    exact += _ZERO.get(pieces[0][1], 0) if dimension == "temperature" else 0
    if exact and not -300 < math.log10(abs(exact.numerator)) - math.log10(exact.denominator) < 300:
        raise UnitError("too large or too small for any measurement; write another exponent")
    return float(exact)


def parse(text: str, dimension: str) -> Quantity:
    """Read a quantity with its unit, and its standard uncertainty where there is one.

    Parameters
    ----------
    text : str
        Such as ``5 ft 3 7/16 in``, ``2140 ± 5 m``, ``71.6 °F ± 0.5 °F``, ``2 mm per 30 m``.
    dimension : str
        One of those named at the top of this module.

    Returns
    -------
    Quantity
        Value and u [inner unit], the doubles nearest to what is written.

    Notes
    -----
    A slope stands for the angle in rad (tan x = x, within x²/3 of it). What follows ± is a
    difference: no 32 °F is taken off.

    >>> parse("5 ft 3 7/16 in", "length"), parse("11.0 ± 0.3 °C", "temperature")
    (Quantity(value=1.6113125, u=None), Quantity(value=11.0, u=0.3))
    """
    with _about(text):
        before, plus_minus, after = (part.strip() for part in _clean(text).partition("±"))
        if not plus_minus:
            return Quantity(_total(*_pieces(before), dimension))
        if not before or "±" in after:
            raise UnitError("one value must stand before one ±; write something like '0 ± 0.5 mm'")
        (sign, value), (u_sign, u) = _pieces(before), _pieces(after)
        if u_sign < 0:
            raise UnitError("a standard uncertainty can't be negative; write it without its sign")
        if value[-1][1] and not u[-1][1]:
            raise UnitError(f"the number after ± has no unit; write '{before} ± {after} {value[-1][1]}'")
        if len(value) == len(u) == 1 and not value[0][1]:
            value = [(value[0][0], u[0][1])]
        spread = "temperature difference" if dimension == "temperature" else dimension
        return Quantity(_total(sign, value, dimension), _total(1, u, spread))


def parse_cell(text: str, dimension: str, unit: str | None) -> Quantity:
    """Read a cell, its unit standing in the column's header or in the cell, never in both.

    Parameters
    ----------
    text : str
        A bare number (``5 3/16`` is one) where the header has a unit, else with its unit.
    dimension : str
        As for `parse`.
    unit : str or None
        The header's unit.

    >>> parse_cell("5 3/16", "length", "in").value
    0.1317625
    """
    if unit is not None:
        check_unit(unit, dimension)
    with _about(text):
        bare = _BARE.fullmatch(_clean(text))
        if unit is None and bare and dimension != "number":
            raise UnitError("neither the cell nor its column has a unit; write the unit in one of them")
        if unit is not None and not re.search("[0-9]", text):
            raise UnitError("not a number; write the number alone, or leave the cell blank")
        if unit is not None and not bare:
            raise UnitError(f"not a bare number, yet the column's header has the unit [{unit}]; write the number "
                            "alone, or take the unit out of the header and put one in every cell")
    return parse(text if unit is None else f"{text} {unit}", dimension)


def split_header(text: str) -> tuple[str, str | None]:
    """Part a column's header into its name and the unit in square brackets, None if there is none.

    >>> split_header("distance [m]"), split_header("point")
    (('distance', 'm'), ('point', None))
    """
    name, bracket, rest = (part.strip() for part in text.partition("["))
    unit = rest.removesuffix("]").strip()
    closed = bool(unit) and rest.endswith("]") if bracket else True
    if not name or not closed or any(sign in name + unit for sign in "[](){}"):
        raise UnitError(f"{text[:_LONGEST]!r}: not a name, or a name and one unit; write it like 'distance [m]'")
    return name, unit or None


def check_unit(unit: str, dimension: str) -> None:
    """Raise UnitError if a header's unit is unknown or of another dimension.

    >>> check_unit("°F", "temperature")
    """
    with _about(unit):
        _factor(_clean(unit), dimension)


def convert(value: float, unit: str, dimension: str | None = None) -> float:
    """Turn a value, or an array of them, from the inner unit into another; NaN stays NaN.

    Parameters
    ----------
    value : float
        The value [inner unit].
    unit : str
        The unit wanted.
    dimension : str, optional
        For a unit of two dimensions. Left out, °F, °C and K are temperatures, not
        differences, and primes are feet and inches.

    >>> convert(0.3048, "ft"), convert(100.0, "°F"), convert(5.0, "°F", "temperature difference")
    (1.0, 212.0, 9.0)
    """
    with _about(unit):
        name = _clean(unit)
        dimension = dimension or next((d for d in _UNITS if _lookup(name, d) is not None), None)
        if dimension is None:
            raise UnitError("no unit known here; write one like m, ft, µrad, °F, hPa, K/m or mph")
        factor = _factor(name, dimension)
    zero = _ZERO.get(name, Fraction(0)) if dimension == "temperature" else Fraction(0)
    return value / float(factor) - float(zero / factor)


def write(value: float, unit: str, decimals: int | None = None, dimension: str | None = None) -> str:
    """Write a finite value [inner unit] as a text that `parse` reads back.

    Parameters
    ----------
    value : float
        The value [inner unit].
    unit : str
        The unit wanted; ``ft in`` gives feet and inches to the nearest 1/16 in.
    decimals : int, optional
        Digits after the point; left out, 12 significant ones. ``ft in`` has none.
    dimension : str, optional
        As for `convert`.

    >>> write(1.611, "ft in"), write(1.5, "m", 3)
    ('5 ft 3 7/16 in', '1.500 m')
    """
    if not math.isfinite(value):
        raise UnitError(f"{value} is no finite number; write nothing where there is no value")
    if unit != "ft in":
        digits = "z.12g" if decimals is None else f"z.{decimals}f"
        return f"{convert(value, unit, dimension):{digits}} {unit}".strip()
    sixteenths = round(16 * Fraction(float(value)) / _IN)
    feet, inches = divmod(Fraction(abs(sixteenths), 16), 12)
    words = [f"{feet} ft"] * (feet > 0) + [f"{_mixed(inches)} in"] * (inches > 0 or feet == 0)
    return "-" * (sixteenths < 0) + " ".join(words)
