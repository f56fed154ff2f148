"""Units from one into another: what is known, what is the same, and what is refused."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.readers.units import same_unit, unit_change

MICRO, MU = "\N{MICRO SIGN}m", "\N{GREEK SMALL LETTER MU}m"


@pytest.mark.parametrize(
    ("of", "to", "value", "told"),
    [
        ("mil", "um", 5.0, 127.0),
        ("thou", MICRO, 1.0, 25.4),
        ("in", "mm", 0.1875, 4.7625),
        (MU, "mm", 130.0, 0.130),
        ("gf", "N", 1000.0, 9.80665),
        ("lbf/in", "N/m", 1.0, 4.4482216152605 / 0.0254),
        ("gf/cm", "N/m", 1.0, 0.980665),
        ("%", "ratio", 35.0, 0.35),
        ("ratio", "%", 0.35, 35.0),
        ("degF", "degC", 212.0, 100.0),
        ("°C", "degF", -40.0, -40.0),
        ("degC", "K", 20.0, 293.15),
        ("1/m", "1/mm", 1000.0, 1.0),
        ("m^-1", "1/cm", 100.0, 1.0),
        ("g/m²", "kg/m**2", 1000.0, 1.0),
        ("mpm", "m/s", 60.0, 1.0),
    ],
)
def test_numbers_are_told_in_the_other_unit(of, to, value, told):
    """Defined relations: the inch, the standard weight of a gram, the zero of temperatures."""
    assert unit_change(of, to).value(value) == pytest.approx(told, rel=1e-9)
    assert unit_change(to, of).value(told) == pytest.approx(value, rel=1e-9)


def test_a_difference_of_temperatures_has_no_zero():
    """An uncertainty of 1.8 degF is one of 1 degC."""
    assert unit_change("degF", "degC").difference(1.8) == pytest.approx(1.0)
    assert unit_change("degC", "K").difference(0.5) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("of", "to", "rule"),
    [
        ("N", "mm", "of the same kind"),
        ("g", "N", "of the same kind"),
        ("deg", "ratio", "of the same kind"),
        ("%", "mm", "of the same kind"),
        ("pH", "ratio", "of the same kind"),
        ("furl", "mm", "no unit known"),
        ("mm", "furl", "no unit known"),
        ("N/35mm", "N", "no unit known"),
        ("9**9**9", "mm", "no unit known"),
        ("__import__", "mm", "no unit known"),
        ("", "mm", "no unit known"),
        ("dB", "ratio", "can't be told"),
        ("delta_degC", "degC", "can't be told"),
    ],
)
def test_what_is_of_another_kind_is_refused(of, to, rule):
    """Forces aren't lengths, masses no forces, angles no ratios, levels no numbers; the mend ends the sentence."""
    with pytest.raises(ArgumentError) as caught:
        unit_change(of, to)
    assert rule in caught.value.rule
    assert caught.value.mend.endswith(".")
    if (of, to) == ("g", "N"):
        assert "gf" in caught.value.mend


def test_units_written_alike_need_not_be_known():
    """A product may have a scale of its own; both signs for micro, and u, are one."""
    assert unit_change("tack units", "tack units").value(3.0) == 3.0
    assert same_unit(MICRO, MU)
    assert same_unit("um", MU)
    assert not same_unit("N", "mN")


@given(text=st.text(max_size=40))
@example("1/")
@example("µ")
@example("°")
@example("m" * 24)
def test_any_text_is_a_unit_or_refused(text):
    """Nothing that can stand in a cell ends as anything but a change of unit or one error."""
    try:
        change = unit_change(text, "mm")
    except ArgumentError:
        return
    assert change.factor > 0.0
