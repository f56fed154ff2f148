"""Cards as lines of a file, one JSON document each."""

import fcntl
import os
from dataclasses import dataclass
from pathlib import Path

from wideroll.errors import InputError
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import card_bytes

__all__ = ["FileSink"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileSink:
    """Appends to one file, which others may read and several rolls may share.

    Lines rather than files: a reader follows one file, in order, and knows a card is whole by the end of its line. The
    file is locked for the moment of writing; what the disk took of a line that didn't fit is taken back.
    """

    where: str
    path: Path

    def send(self, card: ActionCard) -> None:
        """Append the card; it has reached the disk on return.

        Raises:
            InputError: when the disk refuses; the file is as it was.
        """
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o666)
            try:
                fcntl.flock(handle, fcntl.LOCK_EX)
                _append(handle, card_bytes(card) + b"\n")
            finally:
                os.close(handle)
        except OSError as error:
            raise InputError(
                where=f"{self.where}, {self.path}",
                rule="the file must be writable",
                value=error.strerror,
                mend="Free some space or check the folder's rights.",
            ) from error


def _append(handle: int, line: bytes) -> None:
    size = os.fstat(handle).st_size
    # A line that a power cut left without its end must not swallow this one.
    begun = size > 0 and os.pread(handle, 1, size - 1) != b"\n"
    data = b"\n" + line if begun else line
    try:
        while data:
            data = data[os.write(handle, data) :]
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, size)
        raise
