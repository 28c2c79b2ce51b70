"""Quantities as people write them, to inner units and back, in exact fractions.

Inner units: length m, angle rad, ratio 1, temperature °C, temperature difference K,
pressure hPa, temperature gradient K/m, speed m/s, number 1. What can be read in no way,
or in two, is a `UnitError`. `quantities` reads the numbers, this room gives them units.
"""

from __future__ import annotations

import functools
import itertools
import math
import re
from dataclasses import dataclass
from fractions import Fraction

from .quantities import LONGEST, NUMBER, PER, UnitError, about, clean, is_bare, mixed, number, pieces, with_points

Piece = tuple[Fraction, str]


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
        **{"|".join((symbol, *(prefix + word for word in ("metre", "metres", "meter", "meters")))): Fraction(size) for symbol, prefix, size in (
            ("m", "", 1), ("cm", "centi", Fraction(1, 100)), ("mm", "milli", Fraction(1, 1000)), ("km", "kilo", 1000))},
        "µm|um": Fraction(1, 10**6), "ft|foot|feet|'": _FT,
        'in|inch|inches|"': _IN, "yd|yard|yards": 3 * _FT, "mi|mile|miles": _MI,
        "survey ft|US survey ft|US survey foot|US survey feet": Fraction(1200, 3937)},
    "angle": {
        "rad": Fraction(1), "mrad": Fraction(1, 1000), "µrad|urad|microradian|microradians": Fraction(1, 10**6),
        "°|deg|degree|degrees": _DEG, "arcmin|arcminute|arcminutes|'": _DEG / 60,
        'arcsec|arcsecond|arcseconds|"': _DEG / 3600,
        "mm/m": Fraction(1, 1000)},
    "ratio": {"%": Fraction(1, 100), "ppm": Fraction(1, 10**6), "mm/m": Fraction(1, 1000)},
    "temperature": {"°C|C": _K, "°F|F": _F, "K": _K},
    "temperature difference": {"K": _K, "°C|C": _K, "°F|F": _F},
    "pressure": {"hPa": Fraction(1), "Pa": Fraction(1, 100), "kPa": Fraction(10), "mbar|mb": Fraction(1),
                 "inHg": Fraction("25.4") * _MMHG, "mmHg": _MMHG},
    "temperature gradient": {"K/m": _K, "°C/m": _K, "K/km": _K / 1000, "°F/ft": _F / _FT},
    "speed": {"m/s": Fraction(1), "km/h": Fraction(10, 36), "mph": _MI / 3600, "kn|kt|knot|knots": Fraction(1852, 3600)},
    "number": {"": Fraction(1)},
}
_UNITS = {d: {name: f for names, f in t.items() for name in names.split("|")} for d, t in _TABLES.items()}
# What 0 of the unit is in °C (0 °C = 273.15 K = 32 °F: NIST SP 811, appendix B.8).
_ZERO = {"K": Fraction("-273.15"), "°F": -32 * _F, "F": -32 * _F}
# Dimensions that may be written as one unit per so much length, and what stands above the stroke.
_PER_LENGTH = {"angle": "length", "ratio": "length", "temperature gradient": "temperature difference"}
# Units that may follow one another in one quantity: 5 ft 3 in, 1° 30' 15".
_CHAINS = {"length": {(_FT, _IN): ("ft", "in")},
           "angle": {(_DEG, _DEG / 60): ("°", "arcmin"), (_DEG / 60, _DEG / 3600): ("arcmin", "arcsec")}}

_RATE = re.compile(rf"(.+?){PER}({NUMBER})? ?(.+)")


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
    run = number(rate[2] or "1") * below
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
        raise UnitError(f"a number without its unit; {remedy}")
    plain = unit.replace(" ", "").replace("deg", "°").casefold()
    meant = [name for name in _UNITS[dimension] if name and name.replace(" ", "").casefold() == plain]
    others = [other for other in _UNITS if _lookup(unit, other) is not None]
    why = f"is a unit of {others[0]}, and {dimension} is wanted" if others else "is no unit known here"
    raise UnitError(f"{unit!r} {why}; " + (f"write '{meant[0]}'" if meant else remedy))


def _follows(first: Piece, second: Piece, dimension: str) -> None:
    """Raise UnitError unless the second may stand behind the first: the unit below, nothing to carry."""
    (before, big), (after, small) = first, second
    above = _factor(big, dimension)
    below = _factor(small, dimension) if small else above
    if (above, below) not in _CHAINS.get(dimension, {}):
        raise UnitError(f"{repr(small) if small else 'a number without a unit'} can't follow {big!r}; write {_meant(mixed(before), above, mixed(after), below, dimension)}")
    ratio = above / below
    total = before * ratio + after
    carried = f"write '{total // ratio} {big} {mixed(total % ratio)} {small}' if that is meant"
    if before.denominator != 1:
        raise UnitError(f"a fraction of {big!r} before {small!r}; write a whole number there; {carried}")
    if after >= ratio:
        raise UnitError(f"{small!r} beside {big!r} stays below {ratio}; {carried}")


def _meant(before: str, above: Fraction, after: str, below: Fraction, dimension: str) -> str:
    """How two numbers whose units can't follow one another may have been meant."""
    words = []
    for (large, little), (name, part) in _CHAINS.get(dimension, {}).items():
        if large == above == below or (little, large) == (above, below):
            words.append(f"'{before} {name} {after} {part}'")
        if (little, large) == (above, below):
            words.append(f"'{after} {name} {before} {part}'")
    return " or ".join(words) or "one unit, or two as in '5 ft 3 in'"


def _total(sign: int, parts: list[Piece], dimension: str) -> float:
    """The double nearest to the sum of the parts, each checked against the one before it."""
    for first, second in itertools.pairwise(parts):
        _follows(first, second, dimension)
    exact = sign * sum((count * _factor(unit, dimension) for count, unit in parts), Fraction(0))
    exact += _ZERO.get(parts[0][1], 0) if dimension == "temperature" else 0
    if exact and not -300 < math.log10(abs(exact.numerator)) - math.log10(exact.denominator) < 300:
        raise UnitError("too large or too small for any measurement; write another exponent")
    return float(exact)


@functools.lru_cache(maxsize=4096)
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
    difference: no 32 °F is taken off. 5.3' and 5.3 ft are five feet and three tenths, 5'3 is
    5 ft 3 in. A comma is read where it can only mark decimals (0,25 m; 1,2345 m).

    >>> parse("5 ft 3 7/16 in", "length"), parse("11.0 ± 0.3 °C", "temperature")
    (Quantity(value=1.6113125, u=None), Quantity(value=11.0, u=0.3))
    """
    with about(text):
        before, plus_minus, after = (part.strip() for part in clean(text).partition("±"))
        if not plus_minus:
            return Quantity(_total(*pieces(before), dimension))
        if not before or "±" in after:
            raise UnitError("one value must stand before one ±; write something like '0 ± 0.5 mm'")
        (sign, value), (u_sign, u) = pieces(before), pieces(after)
        if u_sign < 0:
            raise UnitError("a standard uncertainty can't be negative; write it without its sign")
        if value[-1][1] and not u[-1][1]:
            raise UnitError(f"the number after ± has no unit; write '{before} ± {after} {value[-1][1]}'")
        if len(value) == len(u) == 1 and not value[0][1]:
            value = [(value[0][0], u[0][1])]
        spread = "temperature difference" if dimension == "temperature" else dimension
        return Quantity(_total(sign, value, dimension), _total(1, u, spread))


@functools.lru_cache(maxsize=4096)
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
    with about(text):
        bare = is_bare(clean(text))
        if unit is None and bare and dimension != "number":
            raise UnitError("neither the cell nor its column has a unit; write the unit in one of them")
        if unit is not None and not re.search("[0-9]", text):
            raise UnitError("not a number; write the number alone, or leave the cell blank")
        if unit is not None and not bare:
            raise UnitError(f"not a bare number, yet the column's header has the unit [{unit}]; write the number "
                            "alone, or take the unit out of the header and put one in every cell")
        _check_marks(text, dimension, unit or "")
    return parse(text if unit is None else f"{text} {unit}", dimension)


def _check_marks(text: str, dimension: str, unit: str) -> None:
    """Raise UnitError where a cell has a decimal comma, or a fraction of a decimal unit: rather a mistyped point."""
    if "," in text:
        raise UnitError(f"a decimal comma; write '{with_points(text)}', or semicolons between all cells of the table")
    slash = re.search("[0-9]/[0-9]+ ?(.*)", text)
    factor = slash and _lookup(clean(slash[1]) or unit, dimension)
    if factor and set(f"{factor.numerator}{factor.denominator}") <= {"0", "1"}:
        raise UnitError(f"a fraction of '{clean(slash[1]) or unit}' may be a mistyped point; write decimals")


@functools.lru_cache(maxsize=4096)
def split_header(text: str) -> tuple[str, str | None]:
    """Part a column's header into its name and the unit in square brackets, None if there is none.

    >>> split_header("distance [m]"), split_header("point")
    (('distance', 'm'), ('point', None))
    """
    name, bracket, rest = (part.strip() for part in text.partition("["))
    unit = rest.removesuffix("]").strip()
    closed = bool(unit) and rest.endswith("]") if bracket else True
    if not name or not closed or any(sign in name + unit for sign in "[](){}"):
        raise UnitError(f"{text[:LONGEST]!r}: not a name, or a name and one unit; write it like 'distance [m]'")
    return name, unit or None


def check_unit(unit: str, dimension: str) -> None:
    """Raise UnitError if a header's unit is unknown or of another dimension.

    >>> check_unit("°F", "temperature")
    """
    with about(unit):
        _factor(clean(unit), dimension)


def dimension_of(unit: str) -> str | None:
    """What a unit measures: rather temperatures than differences, lengths than angles; None where it is no unit.

    >>> dimension_of("µrad"), dimension_of("px")
    ('angle', None)
    """
    return next((d for d in _UNITS if _lookup(clean(unit), d) is not None), None)


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
    with about(unit):
        name = clean(unit)
        dimension = dimension or dimension_of(name)
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
    words = [f"{feet} ft"] * (feet > 0) + [f"{mixed(inches)} in"] * (inches > 0 or feet == 0)
    return "-" * (sixteenths < 0) + " ".join(words)
