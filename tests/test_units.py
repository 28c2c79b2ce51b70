"""Quantities as people write them: every form, every refusal, exact arithmetic, round trips."""

import math
import time
import unicodedata
from contextlib import suppress
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from curvelab import units
from curvelab.units import Quantity, UnitError, check_unit, convert, parse, parse_cell, split_header, write

IN = Fraction(254, 10000)
UNITS = {
    "length": ["m", "cm", "mm", "km", "µm", "ft", "in", "yd", "mi", "survey ft"],
    "angle": ["rad", "mrad", "µrad", "°", "arcmin", "arcsec", "mm/m", "mm per 30 m"],
    "ratio": ["%", "ppm", "mm/m", "mm/km"],
    "temperature": ["°C", "°F", "K"],
    "temperature difference": ["°C", "°F", "K"],
    "pressure": ["hPa", "Pa", "kPa", "mbar", "inHg", "mmHg"],
    "temperature gradient": ["K/m", "°C/m", "°F/ft", "K/km", "°F/100 ft"],
    "speed": ["m/s", "km/h", "mph", "kn"],
    "number": [""],
}
PAIRS = [(dimension, unit) for dimension, names in UNITS.items() for unit in names]


# --- what is read -----------------------------------------------------------------------------

# The expected values are decimal arithmetic by hand: 63.4375 in × 25.4 mm, 5 280 ft × 0.3048 m ...
@pytest.mark.parametrize(("text", "dimension", "value", "u"), [
    ("5 ft 3 7/16 in", "length", 1.6113125, None),
    ("-5 ft 3 1/2 in", "length", -1.6129, None),
    ("3 7/16 in", "length", 0.0873125, None),
    ("5 ft 7/16 in", "length", 1.5351125, None),
    ("5.28 ft", "length", 1.609344, None),
    ("1 1/4 mi", "length", 2011.68, None),
    ("2 yd", "length", 1.8288, None),
    ("3937 survey ft", "length", 1200.0, None),
    ("0 m", "length", 0.0, None),
    ("1e-3 m", "length", 0.001, None),
    ("2140 m ± 5 m", "length", 2140.0, 5.0),
    ("2140 m ± 50 cm", "length", 2140.0, 0.5),
    ("5 ft 3 in ± 1/16 in", "length", 1.6002, 0.0015875),
    ("0 ± 8 µrad", "angle", 0.0, 8e-6),
    ("2 mm per 30 m", "angle", 2 / 30000, None),
    ("1/16 in at 300 ft", "angle", 1 / 57600, None),
    ("1/16 in in 300 ft", "angle", 1 / 57600, None),
    ("2 ± 1 mm per 30 m", "angle", 2 / 30000, 1 / 30000),
    ("0.05 mm/m", "angle", 5e-5, None),
    ("10 mm/km", "angle", 1e-5, None),
    ("0 ± 0.3 mm/m", "angle", 0.0, 3e-4),
    ("0 ± 0.3 mm/m", "ratio", 0.0, 3e-4),
    ("0.3 %", "ratio", 0.003, None),
    ("20 ppm", "ratio", 2e-5, None),
    ("12.4 °C", "temperature", 12.4, None),
    ("71.6 °F", "temperature", 22.0, None),
    ("-40 °F", "temperature", -40.0, None),
    ("285.5 K", "temperature", 12.35, None),
    ("11.0 ± 0.3 °C", "temperature", 11.0, 0.3),
    ("285.5 ± 0.3 K", "temperature", 12.35, 0.3),
    ("71.6 °F ± 0.9 °F", "temperature", 22.0, 0.5),
    ("71.6 ± 0.9 °F", "temperature", 22.0, 0.5),
    ("22 °C ± 0.9 °F", "temperature", 22.0, 0.5),
    ("0 ± 0.3 K", "temperature difference", 0.0, 0.3),
    ("0.9 °F", "temperature difference", 0.5, None),
    ("962 hPa", "pressure", 962.0, None),
    ("96200 Pa", "pressure", 962.0, None),
    ("96.2 kPa", "pressure", 962.0, None),
    ("962 mbar", "pressure", 962.0, None),
    ("-0.018 ± 0.030 K/m", "temperature gradient", -0.018, 0.030),
    ("-18 °C/km", "temperature gradient", -0.018, None),
    ("1.37160 °F/ft", "temperature gradient", 2.5, None),
    ("137.160 °F/100 ft", "temperature gradient", 2.5, None),
    ("7.2 km/h", "speed", 2.0, None),
    ("0.13 ± 0.5", "number", 0.13, 0.5),
    ("24", "number", 24.0, None),
])
def test_form(text, dimension, value, u):
    assert parse(text, dimension) == Quantity(value, u)


@pytest.mark.parametrize("texts", [
    ["5 ft 3 7/16 in", "5' 3-7/16\"", "5′ 3-7/16″", "5’ 3 7/16”", "5' 3 7/16''", "5'3 7/16\"", "5 ft. 3 7/16 in.",
     "5 feet 3 7/16 inches", "+5 ft 3 7/16 in", "  5\u00a0ft  3 7/16\tin ", "5 ft 3.4375 in", "63 7⁄16 in"],
    ["5 ft 3 7/16 in", "5'3 7/16", "5' 3-7/16", "5′ 3 7⁄16″", "5‘ 3 7/16“", "5ʹ3 7/16ʺ", "5 ft 3,4375 in", "63.4375 in", "63,4375\""],
    ["5 ft 3 in", "5'3", "5' 3", "5’3”", "5 ft 3.0 in", "63\"", "5.25 ft", "5,25 ft", "5.25'", "5 1/4 ft", "5¼′", "1 3/4 yd"],
    ["5.3 ft", "5.3'", "5,3 ft", "5 3/10 ft", "5 ft 3.6 in", "5'3.6"],
    ["5 ft 7/16 in", "5' 7/16\"", "5'7/16", "5′ 7⁄16″"],
    ["0.25 m", "0,25 m", "25 cm", "¼ m", "1/4 m", ".25 m", "0.25 m."],
    ["1.2345 m", "1,2345 m", "1234,5 mm", "1234.5 mm", "123,45 cm"],
    ["2140.5 m ± 0.5 m", "2140,5 m ± 0,5 m", "(2140,5 ± 0,5) m"],
    ["-3 1/2 in", "\u22123½ in", "– 3 ½ in", "-3-½\"", "-3.5 in"],
    ["2140 ± 5 m", "2140 +/- 5 m", "2140 +- 5 m", "2140±5m", "2140 m ± 5 m", "(2140 ± 5) m"],
    ["6 \u00b5m", "6 \u03bcm", "6 um"],
])
def test_spellings_of_one_length(texts):
    assert {parse(text, "length") for text in texts} == {parse(texts[0], "length")}


@pytest.mark.parametrize("texts", [
    ["8 \u00b5rad", "8 \u03bcrad", "8 urad"],
    ["90 arcsec", '90"', "90″", "1 arcmin 30 arcsec", "1' 30\"", "1.5 arcmin", "1,5 arcminutes", "90 arcseconds", "1′30"],
    ["2 mm per 30 m", "2 mm in 30 m", "2 mm at 30 m", "2 mm / 30 m", "2 mm/30 m", "2,0 mm per 30 m"],
    ["1/16 in at 300 ft", "1⁄16″ at 300′", "1/16 in per 100 yd"],
    ["1.5 °", "1.5 deg", "1° 30'", "1½°"],
])
def test_spellings_of_one_angle(texts):
    first = parse(texts[0], "angle")
    assert {parse(text, "angle") for text in texts} == {first}


@pytest.mark.parametrize("texts", [["71.6 °F", "71.6 F", "71.6 ºF", "71.6 ℉"], ["22 °C", "22 C", "22 ℃"]])
def test_spellings_of_one_temperature(texts):
    assert {parse(text, "temperature").value for text in texts} == {22.0}


@pytest.mark.parametrize(("texts", "dimension"), [
    (["10 kn", "10 kt", "10 knots"], "speed"), (["1013 hPa", "1013 mb", "1013 mbar"], "pressure"),
])
def test_spellings_of_one_wind_and_one_pressure(texts, dimension):
    assert len({parse(text, dimension).value for text in texts}) == 1


@pytest.mark.parametrize("sign", "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅐⅛⅜⅝⅞⅑⅒")
def test_fraction_signs_have_the_value_that_unicode_gives_them(sign):
    assert parse(f"3{sign}", "number").value == pytest.approx(3 + unicodedata.numeric(sign), rel=1e-15)


def test_a_double_prime_is_inches_in_a_length_and_seconds_in_an_angle():
    assert parse('10"', "length").value == 0.254
    assert parse('10"', "angle").value == pytest.approx(10 * constants.arcsec, rel=1e-15)


def test_a_tenth_of_a_foot_is_not_an_inch():
    assert parse("5.3 ft", "length").value - parse("5 ft 3 in", "length").value == pytest.approx(0.05 * 0.3048)


def test_a_difference_in_fahrenheit_is_not_a_temperature_in_fahrenheit():
    assert parse("32 °F", "temperature").value == 0.0
    assert parse("32 °F", "temperature difference").value == pytest.approx(17.7778, abs=5e-5)


# --- outside references -----------------------------------------------------------------------

@pytest.mark.parametrize(("text", "dimension", "reference"), [
    ("1 in", "length", constants.inch),
    ("1 ft", "length", constants.foot),
    ("1 yd", "length", constants.yard),
    ("1 mi", "length", constants.mile),
    ("1 survey ft", "length", constants.survey_foot),
    ("1 µm", "length", constants.micron),
    ("1 °", "angle", constants.degree),
    ("1 arcmin", "angle", constants.arcminute),
    ("1 arcsec", "angle", constants.arcsec),
    ("1 km/h", "speed", constants.kmh),
    ("1 mph", "speed", constants.mph),
    ("1 kn", "speed", constants.knot),
    ("1 °F", "temperature difference", constants.degree_Fahrenheit),
    ("71.6 °F", "temperature", constants.convert_temperature(71.6, "F", "C")),
    ("12.35 K", "temperature", constants.convert_temperature(12.35, "K", "C")),
])
def test_factor_against_scipy(text, dimension, reference):
    assert parse(text, dimension).value == pytest.approx(reference, rel=1e-15)


def test_mercury():
    # NIST SP 811 (2008), appendix B.8, conventional units, seven printed digits, in Pa.
    assert round(100 * parse("1 mmHg", "pressure").value, 4) == 133.3224
    assert round(100 * parse("1 inHg", "pressure").value, 3) == 3386.389
    # scipy gives the torr, 101325/760 Pa, from which the conventional mmHg differs by 1.4e-7.
    assert 100 * parse("1 mmHg", "pressure").value == pytest.approx(constants.mmHg, rel=2e-7)


def test_survey_foot():
    # Federal Register document 2020-21902, 5 Oct 2020: 1200/3937 m, 2 parts in a million longer.
    ratio = parse("1 survey ft", "length").value / parse("1 ft", "length").value
    assert ratio - 1 == pytest.approx(2.000004e-6, rel=1e-6)


# --- exact arithmetic -------------------------------------------------------------------------

@given(feet=st.integers(0, 10**6), sixteenths=st.integers(0, 12 * 16 - 1), sign=st.sampled_from(["", "-"]))
def test_feet_and_inches_are_the_nearest_double(feet, sixteenths, sign):
    text = f"{sign}{feet} ft {sixteenths // 16} {sixteenths % 16}/16 in"
    exact = (feet * 12 + Fraction(sixteenths, 16)) * IN
    assert parse(text, "length").value == float(-exact if sign else exact)


@given(value=st.decimals(-10**6, 10**6, places=6))
def test_decimals_are_the_nearest_double(value):
    assert parse(f"{value:f} m", "length").value == float(value)
    assert parse(f"{value:f} in", "length").value == float(Fraction(value) * IN)


@given(value=st.decimals(-10**4, 10**4, places=3), u=st.decimals(0, 100, places=3), pair=st.sampled_from(PAIRS))
def test_one_unit_for_value_and_u_is_the_unit_of_both(value, u, pair):
    dimension, unit = pair
    both = parse(f"{value} {unit} ± {u} {unit}", dimension)
    assert parse(f"{value} ± {u} {unit}", dimension) == both
    assert parse(f"{value} {unit}", dimension) == Quantity(both.value)


# --- what is refused --------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "dimension", "remedy"), [
    ("5", "length", "write one of m, cm, mm, km, µm, ft, in, yd, mi, survey ft"),
    ("0.003", "ratio", "write one of %, ppm, mm/m or a slope like '2 mm per 30 m'"),
    ("5 ft 3", "length", "write '5 ft 3 in'"),
    ("5 ft 12 in", "length", "write '6 ft 0 in'"),
    ("5 ft 14 1/2 in", "length", "write '6 ft 2 1/2 in'"),
    ("5' 3'", "length", "write '5 ft 3 in'"),
    ("5' 3' ", "length", "write '5 ft 3 in'"),
    ("5'' 3'", "length", "write '5 ft 3 in' or '3 ft 5 in'"),
    ("3 in 5 ft", "length", "write '3 ft 5 in' or '5 ft 3 in'"),
    ("5 ft 3''' in", "length", "no unit known here"),
    ("5' 12\"", "length", "write '6 ' 0 \"' if that is meant"),
    ("1'234 m", "length", "write '1234 m' if that is meant"),
    ("5'008 m", "length", "write '5008 m' if that is meant"),
    ("5'.3", "length", "write '0.3' or '3'"),
    ("5 ft.3 in", "length", "no digit before its point, behind 't'; write '0.3' or '3'"),
    ("5 ft .3 in", "length", "no digit before its point, behind 't'"),
    ("O.29O1 m", "length", "a letter stands among digits; write '0.2901 m' if that is meant"),
    ("2l40 m ± 5 m", "length", "write '2140 m ± 5 m' if that is meant"),
    ("2OO0 m", "length", "write '2000 m' if that is meant"),
    ("1O m", "length", "write '10 m' if that is meant"),
    ("45o", "angle", "is no unit known here"),
    (".0 ft 6 in", "length", "write '0 ft' there"),
    ("5.0 ft 3 in", "length", "write '5 ft' there"),
    ("1 arcmin 2 arcmin", "angle", "write '1 arcmin 2 arcsec'"),
    ("5 %", "length", "a unit of ratio, and length is wanted"),
    ("97/16 in", "length", "write '6 1/16' if that is meant, '9 7/16' if a space was lost"),
    ("5 ft 37/16 in", "length", "write '2 5/16' if that is meant, '3 7/16' if a space was lost"),
    ("0/16 in", "length", "does not lie between 0 and 1; write '0'"),
    ("16/16 in", "length", "write '1'"),
    ("1/3976 m", "length", "denominator 3976; write decimals"),
    ("3/11 in", "length", "denominator 11; write decimals"),
    ("1e3 m", "length", "write '1e+3 m'"),
    ("2e00 m", "length", "an exponent has its sign"),
    ("5. m", "length", "no unit between '5' and '. m'"),
    ("5 survey ft 3 in", "length", "write one unit"),
    ("5 m 3 in", "length", "write one unit"),
    ("5.5 ft 3 in", "length", "write a whole number there; write '5 ft 9 in' if that is meant"),
    ("5.3' 2\"", "length", "write a whole number there"),
    ("5 ft -3 in", "length", "in front of the whole"),
    ("5'-3\"", "length", "in front of the whole"),
    ("--5 m", "length", "no number at '-5 m'"),
    ("5 19/16 in", "length", "write '6 3/16'"),
    ("3/0 in", "length", "denominator 0"),
    ("1 0/0 in", "length", "denominator 0"),
    ("2 140 m", "length", "write '2140 m' if that is meant"),
    ("2\u202f140\u00a0000,5 m", "length", "write '2140000,5 m' if that is meant"),
    ("2 14 m", "length", "no unit between '2' and '14 m'"),
    ("5 f.t 3 in", "length", "no number at '.t 3 in'"),
    ("1/2 1/2 in", "length", "no unit between '1/2' and '1/2 in'"),
    ("½2 in", "length", "no unit between '1/2' and '2 in'"),
    ("5 1.2.3 m", "length", "no unit between"),
    ("2,140 m", "length", "write '2.1400' or '2140'"),
    ("1,532 m", "length", "write '1.5320' or '1532'"),
    ("0,5 m ± 1,532 m", "length", "write '1.5320' or '1532'"),
    ("01,532 m", "length", "'01,532' is no number"),
    ("1,234,567 m", "length", "write '1234567' if that is meant"),
    ("1,234.5 m", "length", "write '1234.5' if that is meant"),
    ("1.234,5 m", "length", "write '1234.5' if that is meant"),
    (",25 m", "length", "',25' is no number; write digits with one decimal point"),
    ("1, 5 m", "length", "'1,' is no number"),
    ("2_140 m", "length", "no unit known here"),
    ("٣ m", "length", "no number at"),
    ("5 m or so", "length", "no unit known here"),
    ("5 FT", "length", "write 'ft'"),
    ("5 in Hg", "pressure", "write 'inHg'"),
    ("71.6 degF", "temperature", "write '°F'"),
    ("5 °C", "length", "a unit of temperature, and length is wanted"),
    ("5 m", "temperature", "write one of °C, °F, K"),
    ("2 mm per 30 m", "length", "a unit of angle, and length is wanted"),
    ("5 m", "angle", "or a slope like '2 mm per 30 m'"),
    ("2 mm per 0 m", "angle", "divides by a length of 0"),
    ("2 mm per 1/0 m", "angle", "denominator 0"),
    ("2 mm per 30", "angle", "write one of"),
    ("5 m", "number", "write the number alone"),
    ("", "length", "write a number, and its unit behind it"),
    ("  ", "number", "no number at ''"),
    ("m", "length", "no number at 'm'"),
    ("nan m", "length", "no number at 'nan m'"),
    ("inf m", "length", "no number at 'inf m'"),
    ("1e+400 m", "length", "too large or too small"),
    ("1e-400 m", "length", "too large or too small"),
    ("5 m ± 1e+999 m", "length", "too large or too small"),
    ("1e+999999999 m", "length", "no unit between '1e+999' and '999999 m'"),
    ("9" * 201 + " m", "length", "203 characters are too many"),
    ("9" * 199 + " m", "length", "201 characters are too many"),
    ("± 0.5 mm", "length", "write something like '0 ± 0.5 mm'"),
    ("1 ± 2 ± 3 m", "length", "before one ±"),
    ("1 m ±", "length", "no number at ''"),
    ("1 m ± -5 mm", "length", "without its sign"),
    ("2140 m ± 5", "length", "write '2140 m ± 5 m'"),
    ("2140 ± 5", "length", "write one of"),
    ("5 ± 1 ft 3 in", "length", "write one of"),
    ("22 °C ± 5 mm", "temperature", "a unit of length, and temperature difference is wanted"),
])
def test_refusal_quotes_the_text_and_names_a_remedy(text, dimension, remedy):
    with pytest.raises(UnitError) as error:
        parse(text, dimension)
    assert repr(text[:200]) in str(error.value)
    assert remedy in str(error.value)


@pytest.mark.parametrize(("text", "last"), [
    ("34/4 in", "if that is meant"), ("10/4 in", "if that is meant"), ("26/16 in", "'2 6/16' if a space was lost"),
    ("19/8 in", "if that is meant"), ("11/8 in", "'1 1/8' if a space was lost"),
])
def test_a_lost_space_is_offered_where_a_proper_fraction_is_left(text, last):
    """3 4/4, 1 0/4 and 1 9/8 are no mixed numbers; 2 6/16 and 1 1/8 are."""
    with pytest.raises(UnitError) as error:
        parse(text, "length")
    assert str(error.value).endswith(last)


@pytest.mark.parametrize("below", [2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16, 32, 64, 100, 128])
def test_parts_of_an_inch_that_scales_show(below):
    """Halves to tenths, twelfths, hundredths, and what halving an inch gives down to its 128ths."""
    assert parse(f"1/{below} in", "length").value == pytest.approx(0.0254 / below, rel=1e-15)


@pytest.mark.parametrize("below", [11, 13, 15, 17, 31, 33, 63, 65, 99, 101, 127, 129])
def test_parts_of_an_inch_that_no_scale_shows(below):
    with pytest.raises(UnitError, match=f"denominator {below}; write decimals"):
        parse(f"1/{below} in", "length")


def test_an_e_with_nothing_behind_it_is_no_exponent():
    with pytest.raises(UnitError) as error:
        parse("5 e", "length")
    assert "exponent" not in str(error.value)


def test_two_hundred_characters_are_read():
    assert parse("0" * 197 + "9 m", "length").value == parse("0" * 10 + "9 m", "length").value == 9


def test_no_such_dimension_is_the_programs_fault_and_not_the_texts():
    with pytest.raises(ValueError, match="no dimension 'mass'; there are length, angle") as error:
        parse("5 kg", "mass")
    assert not isinstance(error.value, UnitError)


@given(text=st.text(alphabet="0123456789.,/-+±eE'\"½° mftinaprk%()", max_size=30),
       dimension=st.sampled_from(list(UNITS)))
def test_any_text_is_read_to_finite_numbers_or_refused(text, dimension):
    try:
        quantity = parse(text, dimension)
    except UnitError:
        return
    assert math.isfinite(quantity.value)
    assert quantity.u is None or 0 <= quantity.u < math.inf


@pytest.mark.parametrize("seed", ["1", "1/", "1 ", "in in ", "1 in ", "1 a/1", "a per ", "- ", "/", ".", "1-", "±("])
def test_hostile_text_is_answered_at_once(seed):
    start = time.process_time()
    for dimension in UNITS:
        for text in ((seed * 200)[:200], (seed * 10**6)):
            with pytest.raises(UnitError):
                parse("?" + text, dimension)
            with suppress(UnitError):
                parse(text, dimension)
    assert time.process_time() - start < 2            # some milliseconds; backtracking would take ages


# --- tables -----------------------------------------------------------------------------------

@pytest.mark.parametrize(("text", "dimension", "unit", "expected"), [
    ("2140", "length", "m", Quantity(2140.0)),
    ("5 3/16", "length", "in", Quantity(0.1317625)),
    ("-5½", "length", "ft", Quantity(-1.6764)),
    ("2140 ± 5", "length", "m", Quantity(2140.0, 5.0)),
    ("71.6", "temperature", "°F", Quantity(22.0)),
    ("0.9", "temperature difference", "°F", Quantity(0.5)),
    ("2", "angle", "mm per 30 m", Quantity(2 / 30000)),
    ("5 ft 3 7/16 in", "length", None, Quantity(1.6113125)),
    ("0.13 ± 0.5", "number", None, Quantity(0.13, 0.5)),
])
def test_cell(text, dimension, unit, expected):
    assert parse_cell(text, dimension, unit) == expected


@pytest.mark.parametrize(("text", "dimension", "unit", "reason"), [
    ("2140 m", "length", "m", r"not a bare number, yet the column's header has the unit \[m\]"),
    ("2140 ft", "length", "m", "take the unit out of the header"),
    ("2140", "length", None, "neither the cell nor its column has a unit"),
    ("5 3/16", "length", None, "neither the cell nor its column has a unit"),
    ("2140 ± 5", "length", None, "neither the cell nor its column has a unit"),
    ("2140", "length", "hPa", "a unit of pressure, and length is wanted"),
    ("5", "length", "ft 3 in", "no unit known here"),
    ("5", "length", "m ± 1 m", "no unit known here"),
    ("24", "number", "m", "write the number alone"),
    ("24 m", "number", None, "write the number alone"),
    ("", "length", "m", "not a number"),
    ("2,140", "length", "m", "write '2.1400' or '2140'"),
    ("0,25", "length", "m", "a decimal comma; write '0.25', or semicolons between all cells"),
    ("0,25 m", "length", None, "a decimal comma; write '0.25 m'"),
    ("2 140", "length", "m", "write '2140' if that is meant"),
    ("1'234", "length", "m", "write '1234' if that is meant"),
    ("1/5", "length", "m", "a fraction of 'm' may be a mistyped point"),
    ("1/5 m", "length", None, "a fraction of 'm' may be a mistyped point"),
    ("11/4", "temperature", "°C", "does not lie between 0 and 1|may be a mistyped point"),
    ("0/2896", "length", "m", "may be a mistyped point"),
    ("5/28", "length", "ft", "denominator 28"),
    ("1.", "length", "m", "not a bare number"),
    ("2e00", "length", "m", "not a bare number"),
    ("n/a", "length", None, "no number at 'n/a'"),
])
def test_cell_refused(text, dimension, unit, reason):
    with pytest.raises(UnitError, match=reason):
        parse_cell(text, dimension, unit)


@given(value=st.decimals(-10**4, 10**4, places=3), pair=st.sampled_from(PAIRS[:-1]))
def test_a_unit_says_the_same_in_the_header_and_in_the_cell(value, pair):
    dimension, unit = pair
    assert parse_cell(str(value), dimension, unit) == parse_cell(f"{value} {unit}", dimension, None)


@pytest.mark.parametrize(("text", "expected"), [
    ("distance [m]", ("distance", "m")), ("distance[ft]", ("distance", "ft")), (" point ", ("point", None)),
    ("u [ mm per 30 m ] ", ("u", "mm per 30 m")), ("water_level [µm]", ("water_level", "µm")),
])
def test_header(text, expected):
    assert split_header(text) == expected


@pytest.mark.parametrize("text", ["", "[m]", "distance []", "distance [ ]", "distance [m", "distance m]",
                                  "distance (m)", "distance [m] left", "distance [m] [ft]", "distance [[m]]",
                                  "distance ]m["])
def test_header_refused(text):
    with pytest.raises(UnitError, match="write it like 'distance \\[m\\]'"):
        split_header(text)


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_a_unit_belongs_to_its_dimension_only(dimension, unit):
    check_unit(unit, dimension)
    kin = {"angle", "ratio"} if dimension in ("angle", "ratio") else {"temperature", "temperature difference"}
    for other in set(UNITS) - kin - {dimension}:
        with pytest.raises(UnitError, match="is wanted|a number without its unit"):
            check_unit(unit, other)


# --- the way back -----------------------------------------------------------------------------

@pytest.mark.parametrize(("sixteenths", "expected"), [
    (0, "0 in"), (1, "1/16 in"), (2, "1/8 in"), (16, "1 in"), (55, "3 7/16 in"), (191, "11 15/16 in"), (192, "1 ft"),
    (199, "1 ft 7/16 in"), (208, "1 ft 1 in"), (1015, "5 ft 3 7/16 in"), (-1015, "-5 ft 3 7/16 in"), (-8, "-1/2 in"),
])
def test_write_feet_and_inches(sixteenths, expected):
    assert write(float(sixteenths * IN / 16), "ft in") == expected


def test_write_rounds_up_to_the_next_foot_and_writes_no_minus_zero():
    assert write(float(6 * 12 * IN) - 1e-4, "ft in") == "6 ft"
    assert write(-1e-4, "ft in") == "0 in"
    assert write(-1e-4, "m", 2) == "0.00 m"


@pytest.mark.parametrize(("value", "unit", "decimals", "expected"), [
    (1.5, "m", 3, "1.500 m"), (1.5, "m", None, "1.5 m"), (22.0, "°F", 1, "71.6 °F"), (12.35, "K", 2, "285.50 K"),
    (2 / 30000, "mm per 30 m", 1, "2.0 mm per 30 m"), (0.003, "%", 1, "0.3 %"), (0.13, "", 2, "0.13"),
])
def test_write(value, unit, decimals, expected):
    assert write(value, unit, decimals) == expected


@given(sixteenths=st.integers(-10**9, 10**9))
def test_feet_and_inches_there_and_back_exactly(sixteenths):
    value = float(sixteenths * IN / 16)
    assert parse(write(value, "ft in"), "length").value == value


@given(value=st.floats(-1e5, 1e5))
def test_feet_and_inches_there_and_back_within_half_a_step(value):
    back = parse(write(value, "ft in"), "length").value
    assert abs(Fraction(back) - Fraction(value)) <= IN / 32 + Fraction(math.ulp(back))


@given(value=st.floats(-1e4, 1e4).map(lambda x: round(x, 12)), pair=st.sampled_from(PAIRS))
def test_every_unit_there_and_back(value, pair):
    dimension, unit = pair
    back = parse(write(value, unit, dimension=dimension), dimension).value
    # Twelve digits; near 0 °C the zero of the scale, up to 460 °F or 273 K away, limits them.
    offset = 500 if dimension == "temperature" else 0
    assert abs(back - value) <= 1e-11 * (abs(value) + offset)


NAMES = [(dimension, name) for dimension, table in units._UNITS.items() for name in table]


@given(value=st.floats(-1e6, 1e6).filter(lambda v: v == 0 or abs(v) > 1e-280), pair=st.sampled_from(NAMES), decimals=st.none() | st.integers(0, 12))
def test_every_name_of_every_unit_there_and_back_within_its_precision(value, pair, decimals):
    dimension, name = pair
    text = write(value, name, decimals, dimension)
    one = abs(convert(1.0, name, dimension) - convert(0.0, name, dimension))            # what 1 inner unit is in this one
    written = abs(convert(value, name, dimension))
    step = max(written, 1e-300) * 1e-11 if decimals is None else 0.5 * 10.0**-decimals * (1 + 1e-9) + 1e-12 * (written + 500)
    assert abs(parse(text, dimension).value - value) <= step / one + 1e-12 * 500 * (dimension == "temperature")


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_convert_takes_arrays_as_it_takes_scalars(dimension, unit):
    values = np.array([[-1.0, 0.0, 0.5], [22.0, 1013.25, math.nan]])
    converted = convert(values, unit, dimension)
    assert converted.shape == values.shape
    np.testing.assert_array_equal(converted, [[convert(v, unit, dimension) for v in row] for row in values.tolist()])
    assert math.isnan(converted[1, 2])


def test_convert_without_a_dimension_takes_degrees_for_temperatures():
    assert convert(22.0, "°F") == pytest.approx(71.6, rel=1e-15)
    assert convert(22.0, "K") == pytest.approx(295.15, rel=1e-15)
    assert convert(0.5, "°F", "temperature difference") == pytest.approx(0.9, rel=1e-15)


@pytest.mark.parametrize("call", [
    lambda: convert(1.0, "furlong"), lambda: write(1.0, "furlong"), lambda: convert(1.0, "m", "angle"),
    lambda: write(math.nan, "m"), lambda: write(math.inf, "ft in"), lambda: check_unit("furlong", "length"),
    lambda: check_unit("", "length"), lambda: convert(1.0, "ft in"),
])
def test_the_way_back_refuses_too(call):
    with pytest.raises(UnitError, match="write"):
        call()


@pytest.mark.parametrize("text, metres", [("78.5 millimetres", Fraction(785, 10**4)), ("7.85 centimeters", Fraction(785, 10**4)), ("1 kilometre", 1000), ("2 meters", 2)])
def test_metric_lengths_in_words(text, metres):
    assert units.parse(text, "length").value == pytest.approx(float(metres), rel=1e-15)
