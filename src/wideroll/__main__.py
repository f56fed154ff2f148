"""``wideroll`` and ``python -m wideroll``: the command, with Ctrl-C heeded while it still loads."""

import sys

__all__ = ["run"]

_INTERRUPTED = 130


def run() -> int:
    """Load and run the command; returns its exit code."""
    try:
        if sys.argv[1:2] == ["desk"]:
            from wideroll.server.serving import main as desk_main  # noqa: PLC0415  (the others' parts aren't needed)

            return desk_main(sys.argv[2:])
        from wideroll.cli import app, main  # noqa: PLC0415  (loading takes a second, in which Ctrl-C must end quietly)
        from wideroll.server.serving import desk  # noqa: PLC0415

        app.command()(desk)
    except KeyboardInterrupt:
        return _INTERRUPTED
    return main()


if __name__ == "__main__":
    sys.exit(run())
