"""Units against their definitions; SOURCE.md says where each comes from."""

from fractions import Fraction

import pytest

from wideroll.roll import FOOT_MM, INCH_MM, parse_length


def test_inch_and_foot_are_exact():
    """1 in = 25.4 mm and 1 ft = 304.8 mm, to the last digit."""
    assert Fraction("25.4") == INCH_MM
    assert Fraction("304.8") == FOOT_MM


def test_an_eighth_of_an_inch_is_exact():
    """1/8 in = 3.175 mm, the step of the examiner's ruler."""
    assert parse_length("1/8 in").mm == Fraction("3.175")


def test_square_foot_is_exact():
    """1 ft² = 0.09290304 m² exactly, so 1 m² = 10.76391 ft²."""
    square_foot_m2 = parse_length("1 ft").m ** 2
    assert square_foot_m2 == Fraction("0.09290304")
    assert round(float(1 / square_foot_m2), 5) == 10.76391


@pytest.mark.parametrize(
    ("inches", "mm"), [("1.377 in", "34.976"), ("0.628 in", "15.951"), ("0.1870 in", "4.750"), ("0.3000 in", "7.620")]
)
def test_film_sizes_in_inches_are_the_millimetres_in_print(inches, mm):
    """Film widths and pitches in inches agree with the printed millimetres in every printed digit."""
    assert round(parse_length(inches).mm, 3) == Fraction(mm)
