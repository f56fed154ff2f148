"""The desk in a browser: what has been decided, read only.

Nothing here decides or computes: it reads what other acts wrote below ``results/``. It needs the extra ``web``; without
it the import says so.
"""

from importlib.util import find_spec

from wideroll.errors import InputError

__all__ = ["create_app"]

if find_spec("fastapi") is None:
    raise InputError(
        where="wideroll.server",
        rule="the desk needs FastAPI",
        value="not installed",
        mend="Install it with: pip install 'wideroll[web]'",
    )

from wideroll.server.app import create_app  # only once its parts are known to be there
