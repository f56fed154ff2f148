"""The parts that compute are loaded once, in one thread, after the first page.

So it comes sooner, and no two threads load packages that name each other at the same time.
"""

import threading
from importlib import import_module
from pkgutil import iter_modules
from typing import Final

from wideroll.server.desk import Desk

__all__ = ["Loading", "loading_of"]

_PAGES: Final = "wideroll.server.later"
_FIRST: Final = ("wideroll.report", "wideroll.readers", "wideroll.store")
_REST: Final = "wideroll.acts"


class Loading:
    """Begun when somebody waits for it, or some time after the desk was."""

    def __init__(self) -> None:
        """Not begun."""
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._load, name="loading of the desk", daemon=True)
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None

    def begin_after(self, seconds: float) -> None:
        """Begin then, unless somebody needs it sooner."""
        self._timer = threading.Timer(seconds, self._begin)
        self._timer.daemon = True
        self._timer.start()

    def wait(self) -> None:
        """Come back once all is loaded."""
        if not self._over.is_set():
            self._begin()
            self._over.wait()

    def is_over(self) -> bool:
        """Whether nobody needs to wait any longer."""
        return self._over.is_set()

    def stop(self) -> None:
        """Don't begin any more."""
        if self._timer is not None:
            self._timer.cancel()

    def _begin(self) -> None:
        with self._lock:
            if not self._thread.is_alive() and not self._over.is_set():
                self._thread.start()

    def _load(self) -> None:
        try:
            import_module(_PAGES)
            acts = import_module(_REST)
            for name in (*_FIRST, *(f"{_REST}.{one.name}" for one in iter_modules(acts.__path__))):
                import_module(name)
        finally:
            # What can't be loaded is told by the page that needs it.
            self._over.set()


def loading_of(desk: Desk) -> Loading:
    """The desk's loading."""
    loading: Loading = desk.parts.setdefault("loading", _LOADING)
    return loading


_LOADING: Final = Loading()
"""One for all desks of a process: what is loaded, is."""
