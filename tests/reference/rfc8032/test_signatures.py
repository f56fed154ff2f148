"""Signatures agree with the test vectors of RFC 8032, section 7.1."""

import json
from pathlib import Path

import pytest

from wideroll.record import public_key, sign, signed_by

_VECTORS = json.loads((Path(__file__).parent / "vectors.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("vector", _VECTORS, ids=("1", "2", "3", "SHA(abc)"))
def test_keys_and_signatures_are_those_of_the_rfc(vector):
    """The public key and the signature of each message come out to the last bit, and the signature is accepted."""
    secret, public, message, signature = (
        bytes.fromhex(vector[name]) for name in ("secret", "public", "message", "signature")
    )
    assert public_key(secret) == public
    assert sign(secret, message) == signature
    assert signed_by(public, message, signature)


@pytest.mark.parametrize("vector", _VECTORS, ids=("1", "2", "3", "SHA(abc)"))
def test_any_other_message_key_or_signature_is_refused(vector):
    """One bit changed in message, key or signature, or a signature cut short, is no signature."""
    public, message, signature = (bytes.fromhex(vector[name]) for name in ("public", "message", "signature"))
    other = _VECTORS[0 if vector is not _VECTORS[0] else 1]
    assert not signed_by(public, message + b"\0", signature)
    assert not signed_by(bytes.fromhex(other["public"]), message, signature)
    for at in (0, 31, 32, 63):
        assert not signed_by(public, message, signature[:at] + bytes([signature[at] ^ 1]) + signature[at + 1 :])
    assert not signed_by(public, message, signature[:-1])
