"""The four parts of an error, and what becomes of them on the way."""

import pickle
from enum import StrEnum
from fractions import Fraction

import numpy as np
import pytest

from wideroll.errors import ArgumentError, InputError, RecordError, WiderollError


class _Word(StrEnum):
    SPOT = "spot"


def _error(value=None):
    return InputError(where="plant.toml, field web_width", rule="must be greater than 0", value=value, mend="Measure.")


def test_the_message_names_where_rule_value_and_mend():
    """One line holds all four parts."""
    assert str(_error(-3)) == "plant.toml, field web_width: must be greater than 0, got -3. Measure."


def test_an_absent_value_is_not_shown():
    """An error without a value doesn't say that it got None."""
    assert str(_error()) == "plant.toml, field web_width: must be greater than 0. Measure."


def test_placing_an_error_keeps_its_kind_and_parts():
    """An error placed in its file is the same error, and still says nothing of a value it never had."""
    placed = ArgumentError(where="width", rule="must be there", mend="Add it.").at("plant.toml")
    assert type(placed) is ArgumentError
    assert str(placed) == "plant.toml: width: must be there. Add it."


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("4,1x", "'4,1x'"),
        (np.float64(0.5), "0.5"),
        (Fraction(3, 8), "3/8"),
        (_Word.SPOT, "'spot'"),
        ("two\nlines", "'two\\nlines'"),
        ((1, 2), "(1, 2)"),
    ],
)
def test_values_are_shown_as_people_write_them(value, shown):
    """Numbers show as numbers and words as quoted words, on one line."""
    assert f"got {shown}. " in str(_error(value))


def test_a_long_value_is_cut_short():
    """A value of any length leaves the message readable."""
    message = str(_error("x" * 10_000))
    assert len(message) < 300
    assert "…" in message


@pytest.mark.parametrize("kind", [WiderollError, InputError, ArgumentError, RecordError])
def test_an_error_survives_the_way_to_another_process(kind):
    """Pickled and read back, an error has the same kind, parts, message and notes."""
    error = kind(where="roll 7", rule="must be whole", value=3, mend="Scan again.")
    error.add_note("seen on the way")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301  -- our own bytes
    assert type(back) is kind
    assert str(back) == str(error)
    assert (back.where, back.rule, back.value, back.mend) == ("roll 7", "must be whole", 3, "Scan again.")
    assert back.__notes__ == ["seen on the way"]


def test_exit_codes_tell_bad_input_from_a_failed_record():
    """The shell learns 3 for input and 4 for a record that failed verification."""
    assert (InputError.exit_code, ArgumentError.exit_code, RecordError.exit_code) == (3, 3, 4)
