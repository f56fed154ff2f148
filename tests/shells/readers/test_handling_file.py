"""handling.toml says what was done to a wide roll before it was slit."""

from fractions import Fraction

import pytest

from wideroll.errors import InputError
from wideroll.readers.handling_file import read_handling
from wideroll.workflow.handled import CutOut, Joined, WoundOver


def _read(folder, text):
    (folder / "handling.toml").write_text(text)
    return read_handling(folder)


def test_steps_are_read_in_order_and_exactly(tmp_path):
    """Lengths in feet and inches stay fractions, and what isn't said is as usual."""
    text = """\
[[steps]]
did = "wound over"
turned = true

[[steps]]
did = "cut out"
from = "41 ft 3 1/8 in"
to = "350 m"

[[steps]]
did = "joined"
roll = "W-2"
at = "head"
reversed = true
"""
    assert _read(tmp_path, text) == (
        WoundOver(turned=True),
        CutOut(from_m=Fraction("12.576175"), to_m=Fraction(350)),
        Joined(roll="W-2", at_tail=False, reversed=True),
    )


def test_without_the_file_nothing_was_done(tmp_path):
    """Most rolls go from coating to the slitter as they are."""
    assert read_handling(tmp_path) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "field steps: the field must be there"),
        ("steps = []", "steps: the list is too short"),
        ('[[steps]]\ndid = "ironed"', "steps.1.did"),
        ('[[steps]]\ndid = "cut out"\nfrom = "3 m"', 'to: must stand with did = "cut out"'),
        ('[[steps]]\ndid = "joined"', 'roll: must stand with did = "joined"'),
        ('[[steps]]\ndid = "wound over"\nroll = "W-2"', 'roll: doesn\'t go with did = "wound over"'),
        ('[[steps]]\ndid = "cut out"\nfrom = 3\nto = "4 m"', "must be text with a unit"),
        ('[[steps]]\ndid = "wound over"\nturnt = true', "the file has no such field"),
    ],
)
def test_a_fault_is_named(tmp_path, text, said):
    """The error names file, field and rule."""
    with pytest.raises(InputError, match=r"handling\.toml") as caught:
        _read(tmp_path, text)
    assert said in str(caught.value)
