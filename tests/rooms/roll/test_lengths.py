"""Lengths are read exactly and shown back so that reading again gives the same."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import INCH_MM, Length, Notation, format_length, parse_length

_UNIT_MM = {
    Notation.MILLIMETRE: Fraction(1),
    Notation.CENTIMETRE: Fraction(10),
    Notation.METRE: Fraction(1000),
    Notation.INCH: Fraction(254, 10),
    Notation.FOOT_INCH: Fraction(254, 10),
}
_notations = st.sampled_from(Notation)
_signs = st.sampled_from([1, -1])
_denominators = st.integers(1, 128)
_fractions = st.builds(Fraction, st.integers(0, 10**9), st.integers(1, 10**6))


@settings(deadline=None)
@given(_notations, _signs, st.integers(0, 10**9), st.integers(0, 9))
def test_ending_decimals_are_read_back_exactly(notation, sign, digits, places):
    """Whatever ends as a decimal in its unit is the same length after writing and reading."""
    length = Length(mm=sign * Fraction(digits, 10**places) * _UNIT_MM[notation], notation=notation)
    assert parse_length(format_length(length)) == length


@settings(deadline=None)
@given(st.sampled_from([Notation.INCH, Notation.FOOT_INCH]), _signs, st.integers(0, 10**7), _denominators)
def test_multiples_of_the_denominator_are_read_back_exactly(notation, sign, count, denominator):
    """An exact multiple of the denominator is written as a fraction and read back exactly."""
    length = Length(mm=sign * Fraction(count, denominator) * INCH_MM, notation=notation)
    text = format_length(length, denominator=denominator)
    assert "." not in text
    assert parse_length(text) == length


@settings(deadline=None)
@given(_notations, st.floats(allow_nan=False, allow_infinity=False, min_value=-1e9, max_value=1e9))
def test_any_float_in_its_unit_is_read_back_exactly(notation, value):
    """A float is a decimal that ends, so even its last digit comes back."""
    length = Length(mm=Fraction(value) * _UNIT_MM[notation], notation=notation)
    assert parse_length(format_length(length)) == length


@settings(deadline=None)
@given(_notations, _signs, _fractions, _denominators)
def test_a_decimal_that_does_not_end_is_the_one_exception(notation, sign, mm, denominator):
    """Other lengths come back within half a millionth of their unit, and writing them a second time changes nothing."""
    length = Length(mm=sign * mm, notation=notation)
    text = format_length(length, denominator=denominator)
    back = parse_length(text)
    assert back.notation is notation
    assert abs(back.mm - length.mm) <= _UNIT_MM[notation] / 2_000_000
    assert format_length(back, denominator=denominator) == text


def test_the_exception_by_example():
    """1 mm in inches is 5/127 in, which no decimal holds."""
    text = format_length(Length(mm=Fraction(1), notation=Notation.INCH))
    assert text == "0.03937 in"
    assert parse_length(text).mm != 1


@pytest.mark.parametrize(
    ("text", "mm", "shown"),
    [
        ("9 3/8 in", "238.125", "9 3/8 in"),
        ('9-3/8"', "238.125", "9 3/8 in"),
        ("41 ft 3 in", "12573", "41 ft 3 in"),
        ("238.1 mm", "238.1", "238.1 mm"),
        ("238,1 mm", "238.1", "238.1 mm"),
        ("9 3/8in", "238.125", "9 3/8 in"),
        ("9\u00a03/8″", "238.125", "9 3/8 in"),
        ("3/8 inch", "9.525", "3/8 in"),
        ("9.375 inches", "238.125", "9 3/8 in"),
        (".5 in", "12.7", "1/2 in"),
        ("41'3\"", "12573", "41 ft 3 in"),
        ("41′ 3″", "12573", "41 ft 3 in"),
        ("41' 3''", "12573", "41 ft 3 in"),
        ("41’ 3 1/2”", "12585.7", "41 ft 3 1/2 in"),
        ("2 feet", "609.6", "2 ft 0 in"),
        ("1 ft 15 in", "685.8", "2 ft 3 in"),
        ("1/2 ft", "152.4", "0 ft 6 in"),
        ("1.5 m", "1500", "1.5 m"),
        ("2 metres", "2000", "2 m"),
        ("23,81 CM", "238.1", "23.81 cm"),
        ("  -9 3/8 in ", "-238.125", "-9 3/8 in"),
        ("−3 mm", "-3", "-3 mm"),
        ("-1 ft 6 in", "-457.2", "-1 ft 6 in"),
        ("0 mm", "0", "0 mm"),
    ],
)
def test_what_the_shop_floor_writes(text, mm, shown):
    """Each common way of writing is read exactly and shown in the reader's units."""
    length = parse_length(text)
    assert length.mm == Fraction(mm)
    assert str(length) == shown
    assert length.m == Fraction(mm) / 1000


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "a number and a unit"),
        ("   ", "a number and a unit"),
        ("-", "a number and a unit"),
        ("9", "a number and a unit"),
        ("9 3/8", "a number and a unit"),
        ("in", "a number and a unit"),
        ("4,1x", "a number and a unit"),
        ("4,1x mm", "a number and a unit"),
        ("9 in.", "a number and a unit"),
        ("--9 in", "a number and a unit"),
        ("1 2 in", "a number and a unit"),
        ("1 380,5,2 mm", "a number and a unit"),
        ("nan mm", "a number and a unit"),
        ("inf mm", "a number and a unit"),
        ("1e3 mm", "a number and a unit"),
        ("9 mmm", "a number and a unit"),
        ("41 ft 3", "a number and a unit"),
        ("9" * 5000 + " mm", "a number and a unit"),
        ("3/0 in", "0 below the line"),
        ("3 in 41 ft", "feet and inches"),
        ("3 in 3 in", "feet and inches"),
        ("1 m 5 cm", "feet and inches"),
        ("1 ft 2 in 3 in", "feet and inches"),
        ("1 ft 20 mm", "feet and inches"),
    ],
)
def test_what_is_not_a_length_is_refused(text, rule):
    """Each gives one clear error that names the field, the rule, the value and the mend."""
    with pytest.raises(InputError) as caught:
        parse_length(text, where="plant.toml, field web_width")
    message = str(caught.value)
    assert message.startswith("plant.toml, field web_width: ")
    assert rule in message
    assert message.endswith('Write it like 9 3/8 in, 9-3/8", 41 ft 3 in or 238.1 mm.')
    assert caught.value.value == text


@settings(deadline=None)
@given(st.text(alphabet="0123456789 .,-−/'\"″mcinft٣½²x\n", max_size=20))
def test_any_text_is_a_length_or_an_input_error(text):
    """No text makes the reader fail in any other way, and what is read can be written and read again."""
    try:
        length = parse_length(text)
    except InputError:
        return
    assert format_length(parse_length(format_length(length))) == format_length(length)


def test_rounding_carries_into_feet():
    """A length a hair under a foot is 1 ft 0 in, never 0 ft 12 in."""
    hair_under = Length(mm=12 * INCH_MM - Fraction(1, 3 * 10**9), notation=Notation.FOOT_INCH)
    assert str(hair_under) == "1 ft 0 in"


def test_nothing_is_not_negative():
    """What rounds to nothing has no minus."""
    assert str(Length(mm=-Fraction(1, 3 * 10**9), notation=Notation.INCH)) == "0 in"


def test_a_denominator_below_one_is_refused():
    """Inches can't be divided into no parts."""
    with pytest.raises(ArgumentError, match="denominator"):
        format_length(Length(mm=Fraction(1)), denominator=0)
