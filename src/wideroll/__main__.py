"""``wideroll`` and ``python -m wideroll``: the command, with Ctrl-C heeded while it still loads."""

import sys

__all__ = ["run"]

_INTERRUPTED = 130


def run() -> int:
    """Load and run the command; returns its exit code."""
    try:
        from wideroll.cli import main  # noqa: PLC0415  (loading takes a second, in which Ctrl-C must end quietly)
    except KeyboardInterrupt:
        return _INTERRUPTED
    return main()


if __name__ == "__main__":
    sys.exit(run())
