"""Canonical bytes agree with the samples of RFC 8785, and the digest with that of FIPS 180-4."""

import json
import struct
from pathlib import Path

import pytest

from wideroll.errors import ArgumentError
from wideroll.record import canonical_bytes, digest

_VECTORS = json.loads((Path(__file__).parent / "vectors.json").read_text(encoding="utf-8"))


def _double(bits):
    return struct.unpack(">d", bytes.fromhex(bits))[0]


@pytest.mark.parametrize(("bits", "text"), _VECTORS["numbers"])
def test_numbers_are_written_as_the_rfc_lists_them(bits, text):
    """Each double of appendix B has the text given there, and reading the text gives the double back."""
    assert canonical_bytes(_double(bits)) == text.encode()
    assert float(text) == _double(bits)


@pytest.mark.parametrize("bits", _VECTORS["not_numbers"])
def test_what_is_no_number_is_refused(bits):
    """NaN and infinities have no form in JSON."""
    with pytest.raises(ArgumentError, match="canonical form"):
        canonical_bytes(_double(bits))


def test_the_example_of_the_rfc_has_its_canonical_form():
    """Numbers, escapes and order of the example come out as printed, in UTF-8."""
    example = _VECTORS["example"]
    assert canonical_bytes(json.loads(example["input"])) == example["canonical"].encode()


def test_keys_are_sorted_by_their_utf_16_units():
    """The sorting example comes out in the order given, where a surrogate pair sorts before U+FB33."""
    sorting = _VECTORS["sorting"]
    written = json.loads(canonical_bytes(json.loads(sorting["input"])))
    assert list(written.values()) == sorting["order"]


def test_the_digest_is_sha_256():
    """The digest of "abc" is the one of the standard's example."""
    assert digest(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
