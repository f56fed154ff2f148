"""One value has one sequence of bytes, whoever reads it and writes it again."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.record import canonical_bytes

_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
_PLAIN = (
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
)
JSON = st.recursive(
    _PLAIN | _TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_TEXT, inner, max_size=4),
    max_leaves=12,
)


@given(value=JSON)
@settings(deadline=None, max_examples=300)
def test_reading_and_writing_again_gives_the_same_bytes(value):
    """The canonical form is JSON of the same value, and is its own canonical form."""
    written = canonical_bytes(value)
    assert json.loads(written, parse_int=float) == value
    assert canonical_bytes(json.loads(written)) == written


@given(pairs=st.lists(st.tuples(_TEXT, _PLAIN), max_size=6, unique_by=lambda pair: pair[0]))
@settings(deadline=None, max_examples=100)
def test_the_order_of_keys_does_not_matter(pairs):
    """Mappings that are equal have the same bytes."""
    assert canonical_bytes(dict(pairs)) == canonical_bytes(dict(reversed(pairs)))


def test_nothing_is_added_for_the_eye():
    """No spaces and no line ends; text outside ASCII stays as it is."""
    assert canonical_bytes({"µ": [1, 2.50], "a": {"b": None}}) == '{"a":{"b":null},"µ":[1,2.5]}'.encode()


def _nested(levels):
    value = {}
    for _ in range(levels):
        value = {"in": value}
    return value


@pytest.mark.parametrize(
    "body",
    [
        {"x": float("nan")},
        {"x": [float("-inf")]},
        {"x": 2**53 + 1},
        {"x": 10**30},
        {"x": "\ud800"},
        {"\ud800": 1},
        {1: "x"},
        {"x": b"bytes"},
        {"x": {1, 2}},
        {"x": object()},
        _nested(100_000),
    ],
    ids=[
        "nan",
        "infinity",
        "long",
        "longer",
        "half a pair",
        "key half a pair",
        "key",
        "bytes",
        "set",
        "object",
        "deep",
    ],
)
def test_what_has_no_canonical_form_is_refused(body):
    """The error says why and how to mend it, however the value is wrong."""
    with pytest.raises(ArgumentError, match=r"canonical form as JSON .* write long integers as text"):
        canonical_bytes(body)
