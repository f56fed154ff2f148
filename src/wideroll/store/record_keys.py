"""Keys that sign the record, each in a file of its own (PEM); the secret one is for its owner's eyes only."""

import os
import stat
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from wideroll.errors import InputError
from wideroll.store.files import read_bytes, write_whole

__all__ = ["make_key", "public_path", "read_public_key", "read_secret_key"]

_OWNER_ONLY: Final = 0o600


def public_path(path: Path) -> Path:
    """Where the public key of a secret one lies: the same name, ending in .pub.

    Example:
        >>> public_path(Path("engineer.pem")).name
        'engineer.pub'
    """
    return path.with_suffix(".pub")


def make_key(path: Path) -> str:
    """Make a key: the secret part to ``path``, readable by its owner alone, the public part beside it.

    Returns:
        The public key in hexadecimal.

    Raises:
        InputError: when there is such a file, or the disk refuses.

    Example:
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     made = make_key(Path(folder, "engineer.pem"))
        ...     made == read_public_key(Path(folder, "engineer.pub"))
        True
    """
    for there in (path, public_path(path)):
        if there.exists() or there == path == public_path(path):
            raise InputError(
                where=str(there),
                rule="a key is never written over, and its name doesn't end in .pub",
                mend="Give another name, such as engineer.pem.",
            )
    secret = Ed25519PrivateKey.generate()
    _write_secret(path, secret.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    public = secret.public_key()
    write_whole(public_path(path), public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo))
    return public.public_bytes_raw().hex()


def read_secret_key(path: Path) -> bytes:
    """The 32 bytes of a secret key.

    Raises:
        InputError: when it isn't there, others than its owner may read it, or it is no Ed25519 key.
    """
    data = read_bytes(path)
    rights = stat.S_IMODE(path.stat().st_mode)
    if rights & ~_OWNER_ONLY:
        raise InputError(
            where=str(path),
            rule="a secret key must be for its owner alone (rights 600)",
            value=f"{rights:o}",
            mend=f"Run chmod 600 {path}; if others could read it, make a new key.",
        )
    try:
        key = load_pem_private_key(data, None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise _no_key(path, "secret", "make one with wideroll record key") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise _no_key(path, "secret", "make one with wideroll record key")
    return key.private_bytes_raw()


def read_public_key(path: Path) -> str:
    """A public key in hexadecimal.

    Raises:
        InputError: when it isn't there or is no Ed25519 key.
    """
    try:
        key = load_pem_public_key(read_bytes(path))
    except (ValueError, UnsupportedAlgorithm) as error:
        raise _no_key(path, "public", "give the file that ends in .pub") from error
    if not isinstance(key, Ed25519PublicKey):
        raise _no_key(path, "public", "give the file that ends in .pub")
    return key.public_bytes_raw().hex()


def _write_secret(path: Path, data: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_ONLY)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise InputError(
            where=str(path), rule="the file must be writable", value=error.strerror, mend="Check the folder's rights."
        ) from error


def _no_key(path: Path, kind: str, mend: str) -> InputError:
    return InputError(
        where=str(path), rule=f"must hold a {kind} Ed25519 key as PEM", mend=f"{mend[0].upper()}{mend[1:]}."
    )
