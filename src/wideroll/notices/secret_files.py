"""Secrets and certificates, which lie in files of their own."""

import ssl
from pathlib import Path

from wideroll.errors import InputError

__all__ = ["read_secret", "trusted"]


def read_secret(root: Path, name: str, *, where: str) -> bytes:
    """The first line of a file, without its end.

    Args:
        root: the plant's folder, which ``name`` is relative to unless it begins with a slash.
        name: of the file.
        where: name of the notice, for the error.

    Raises:
        InputError: when it can't be read or its first line is empty; never tells what it holds.
    """
    path = root / name
    try:
        lines = path.read_bytes().splitlines()
    except OSError as error:
        raise InputError(
            where=f"{where}, {path}",
            rule="the file with the secret must be readable",
            value=error.strerror,
            mend="Put it in place; it should be readable by the account that runs wideroll, and by no other.",
        ) from error
    if not lines or not lines[0].strip():
        raise InputError(
            where=f"{where}, {path}",
            rule="the first line must hold the secret",
            mend="Write it there, and nothing else.",
        )
    return lines[0].strip()


def trusted(root: Path, name: str | None, *, where: str) -> ssl.SSLContext:
    """TLS that trusts the certificates of a file alone, or the machine's when there is none.

    Raises:
        InputError: when the file can't be read or holds no certificates.
    """
    path = None if name is None else root / name
    try:
        return ssl.create_default_context(cafile=path)
    except OSError as error:
        raise InputError(
            where=f"{where}, {path}",
            rule="the file must hold certificates, as PEM",
            value=error.strerror or str(error),
            mend="Put the certificate of who signed the receiver's there.",
        ) from error
