"""What was asked for doesn't go together, or lacks something that the product doesn't say."""

from wideroll.errors import ArgumentError

__all__ = ["AskedError"]


class AskedError(ArgumentError):
    """Something asked for doesn't fit; ``where`` is its option as on the command line, to be said beside its field."""
