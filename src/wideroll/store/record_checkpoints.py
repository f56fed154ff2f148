"""Checkpoints as files, so that they can be kept where the record isn't."""

from pathlib import Path
from typing import Final

from wideroll.errors import InputError
from wideroll.record import Checkpoint, canonical_bytes, checkpoint_json, checkpoint_of
from wideroll.store.files import read_json, write_whole

__all__ = ["CHECKPOINTS", "kept_checkpoints", "read_checkpoint", "save_checkpoint"]

CHECKPOINTS: Final = "checkpoints"
"""Folder of a plant that holds them."""
_SIGNS_OF_KEY: Final = 8


def save_checkpoint(folder: Path, checkpoint: Checkpoint) -> Path:
    """Write a checkpoint to a file named for its number of events and its key.

    Raises:
        InputError: when the disk refuses.
    """
    path = folder / f"{checkpoint.events:09d}-{checkpoint.key[:_SIGNS_OF_KEY]}.json"
    write_whole(path, canonical_bytes(checkpoint_json(checkpoint)) + b"\n")
    return path


def kept_checkpoints(folder: Path) -> tuple[Checkpoint, ...]:
    """All checkpoints in a folder; none where there is no such folder.

    Raises:
        InputError: when a file holds none.
    """
    return tuple(read_checkpoint(path) for path in sorted(folder.glob("*.json")))


def read_checkpoint(path: Path) -> Checkpoint:
    """The checkpoint of a file; its signature isn't looked at.

    Raises:
        InputError: when the file isn't there or holds none.
    """
    value = read_json(path)
    found = checkpoint_of(value) if isinstance(value, dict) else None
    if found is None:
        raise InputError(
            where=str(path),
            rule="must hold a checkpoint (wideroll/checkpoint/1)",
            mend="Give a file that wideroll record sign wrote.",
        )
    return found
