"""Work that takes longer than a request may: done one after the other beside the pages, which say how far it is."""

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from wideroll.errors import WiderollError
from wideroll.server.desk import Desk
from wideroll.server.loading import loading_of

__all__ = ["Job", "Jobs", "jobs_of"]

_KEPT: Final = 200
_LINES: Final = 100


@dataclass(slots=True)
class Job:
    """One piece of work. ``state`` is waiting, running, done or failed; ``key`` says what it is about."""

    key: str
    what: str
    work: Callable[["Job"], Any]
    state: str = "waiting"
    step: str = ""
    done: int = 0
    total: int = 0
    unit: str = ""
    told: list[str] = field(default_factory=list)
    result: Any = None
    error: WiderollError | None = None
    over: threading.Event = field(default_factory=threading.Event)

    def tell(self, words: str) -> None:
        """Keep a message for whoever waits."""
        self.told = [*self.told, words][-_LINES:]

    def start(self, what: str, total: int, unit: str) -> None:
        """A step of the work begins."""
        self.step, self.done, self.total, self.unit = what, 0, total, unit

    def advance(self, amount: int) -> None:
        """So much more of the step is done."""
        self.done += amount

    def note(self, text: str) -> None:
        """Keep what is worth saying in the middle of a step."""
        self.tell(text)

    def finish(self) -> None:
        """The step is done."""
        self.done = self.total

    def run(self) -> None:
        """Do the work; what goes wrong is kept, for the page that asks."""
        self.state = "running"
        try:
            self.result = self.work(self)
            self.state = "done"
        except WiderollError as error:
            self.error, self.state = error, "failed"
        except Exception as error:  # noqa: BLE001  (whatever else happens must reach whoever waits)
            self.error = WiderollError(
                where=self.what,
                rule="work beside the pages must not end in an error of ours",
                value=f"{type(error).__name__}: {error}",
                mend="Try the same act from the command line with --debug, and report it.",
            )
            self.state = "failed"
        finally:
            self.over.set()


class Jobs:
    """All work of a desk; one is done at a time, so that pages stay quick."""

    def __init__(self, loaded: Callable[[], None] = lambda: None) -> None:
        """Nothing is begun until something is asked for, and then not before ``loaded`` comes back."""
        self._loaded = loaded
        self._all: dict[str, Job] = {}
        self._due: queue.SimpleQueue[Job] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._worker: threading.Thread | None = None

    def begin(self, key: str, what: str, work: Callable[[Job], Any]) -> Job:
        """The work under a key: the one that is under way, or else a new one.

        Args:
            key: what it is about, such as ``assess W-2042``.
            what: in words, for whoever waits.
            work: what is done; it may report to the job how far it is.
        """
        with self._lock:
            known = self._all.get(key)
            if known is not None and known.state in {"waiting", "running"}:
                return known
            job = self._all[key] = Job(key=key, what=what, work=work)
            for old in list(self._all)[:-_KEPT]:
                if self._all[old].state in {"done", "failed"}:
                    del self._all[old]
            self._due.put(job)
            if self._worker is None:
                self._worker = threading.Thread(target=self._work, name="work of the desk", daemon=True)
                self._worker.start()
            return job

    def get(self, key: str) -> Job | None:
        """The last work under a key."""
        return self._all.get(key)

    def drop(self, key: str) -> None:
        """Forget work that is over."""
        with self._lock:
            if (job := self._all.get(key)) is not None and job.state in {"done", "failed"}:
                del self._all[key]

    def _work(self) -> None:
        while True:
            job = self._due.get()
            self._loaded()
            job.run()


def jobs_of(desk: Desk) -> Jobs:
    """The desk's work."""
    jobs: Jobs = desk.parts.setdefault("jobs", Jobs(loading_of(desk).wait))
    return jobs
