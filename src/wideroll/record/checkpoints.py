"""Signed checkpoints: a person's Ed25519 signature under the number of events and the digest of the last."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Final

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from wideroll.errors import ArgumentError
from wideroll.record.canonical import canonical_bytes
from wideroll.record.model import Checkpoint, Json

__all__ = [
    "CHECKPOINT_SCHEMA",
    "checkpoint_json",
    "checkpoint_of",
    "public_key",
    "sign",
    "sign_checkpoint",
    "signature_holds",
    "signed_by",
]

CHECKPOINT_SCHEMA: Final = "wideroll/checkpoint/1"
_KEY_DIGITS: Final = 64
_SIGNATURE_DIGITS: Final = 128
_KINDS: Final = {
    **dict.fromkeys(("head", "who", "when_utc", "version", "says", "key", "signature"), str),
    "events": int,
}


def public_key(secret: bytes) -> bytes:
    """The public key (32 bytes) of a secret key (32 bytes) [@rfc8032].

    Raises:
        ArgumentError: when the key isn't of 32 bytes.

    Example:
        >>> len(public_key(bytes(32)))
        32
    """
    return _private(secret).public_key().public_bytes_raw()


def sign(secret: bytes, message: bytes) -> bytes:
    """The Ed25519 signature (64 bytes) of a message; the same key and message give the same bytes [@rfc8032].

    Raises:
        ArgumentError: when the key isn't of 32 bytes.

    Example:
        >>> len(sign(bytes(32), b"4711"))
        64
    """
    return _private(secret).sign(message)


def signed_by(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether the signature is the message's by this public key.

    Example:
        >>> signed_by(public_key(bytes(32)), b"4711", sign(bytes(32), b"4711"))
        True
    """
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True


def sign_checkpoint(
    secret: bytes, events: int, head: str, *, who: str, when_utc: str, version: str, says: str, event: int | None = None
) -> Checkpoint:
    """A checkpoint under so many events.

    Args:
        secret: key of 32 bytes.
        events: how many there are.
        head: digest of the last.
        who: signs.
        when_utc: as of an event.
        version: of the software.
        says: what the person signs to, in words.
        event: the one event that is signed off, or None.

    Raises:
        ArgumentError: when there is nothing to sign, the event isn't among them, or the key isn't of 32 bytes.

    Example:
        >>> by = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0", "says": "seen"}
        >>> signature_holds(sign_checkpoint(bytes(32), 3, "ab" * 32, **by))
        True
    """
    if events < 1 or (event is not None and not 1 <= event <= events):
        raise ArgumentError(
            where="event to sign off",
            rule=f"must be one of the record's {events} events",
            value=event,
            mend="Correct the number, or leave it out to sign the whole record.",
        )
    unsigned = Checkpoint(
        events=events,
        head=head,
        who=who,
        when_utc=when_utc,
        version=version,
        says=says,
        event=event,
        key=public_key(secret).hex(),
        signature="",
    )
    return checkpoint_of(checkpoint_json(unsigned) | {"signature": sign(secret, _message(unsigned)).hex()}) or unsigned


def signature_holds(checkpoint: Checkpoint) -> bool:
    """Whether the checkpoint is signed with the key it names.

    Example:
        >>> by = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0", "says": ""}
        >>> from dataclasses import replace
        >>> signature_holds(replace(sign_checkpoint(bytes(32), 3, "ab" * 32, **by), events=2))
        False
    """
    try:
        key, signature = bytes.fromhex(checkpoint.key), bytes.fromhex(checkpoint.signature)
        return signed_by(key, _message(checkpoint), signature)
    except (ValueError, ArgumentError):
        return False


def checkpoint_json(checkpoint: Checkpoint) -> dict[str, Json]:
    """The checkpoint as JSON.

    Example:
        >>> by = {"who": "R. Engineer", "when_utc": "2026-03-01T08:00:00Z", "version": "0.1.0", "says": ""}
        >>> checkpoint_json(sign_checkpoint(bytes(32), 3, "ab" * 32, **by))["schema"]
        'wideroll/checkpoint/1'
    """
    return {"schema": CHECKPOINT_SCHEMA, **asdict(checkpoint)}


def checkpoint_of(value: Mapping[str, Json]) -> Checkpoint | None:
    """The checkpoint that JSON holds, or None where it holds none; its signature isn't looked at.

    Example:
        >>> checkpoint_of({"schema": "wideroll/checkpoint/2"}) is None
        True
    """
    fields = {name: found for name, found in value.items() if name != "schema"}
    event = fields.get("event")
    if (
        value.get("schema") != CHECKPOINT_SCHEMA
        or fields.keys() != {*_KINDS, "event"}
        or any(type(fields[name]) is not kind for name, kind in _KINDS.items())
        or not (event is None or type(event) is int)
        or len(str(fields["key"])) != _KEY_DIGITS
        or len(str(fields["signature"])) != _SIGNATURE_DIGITS
    ):
        return None
    return Checkpoint(**fields)  # type: ignore[arg-type]


def _message(checkpoint: Checkpoint) -> bytes:
    whole = checkpoint_json(checkpoint)
    del whole["signature"]
    return canonical_bytes(whole)


def _private(secret: bytes) -> Ed25519PrivateKey:
    try:
        return Ed25519PrivateKey.from_private_bytes(secret)
    except ValueError as error:
        raise ArgumentError(
            where="secret key",
            rule="must have 32 bytes",
            value=len(secret),
            mend="Make one: wideroll record key.",
        ) from error
