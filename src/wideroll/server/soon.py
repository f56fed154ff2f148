"""Answers that are kept while what they were made from stays as it was; one that takes long is waited for by a page."""

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, Final

from fastapi import HTTPException

from wideroll.server.desk import Desk

__all__ = ["WAIT_S", "Answer", "Answers", "answers_of"]

_KEPT: Final = 48
_AT_ONCE: Final = 2
_MOST_WAITING: Final = 16
WAIT_S: Final = 2.0


@dataclass(slots=True)
class Answer:
    """One answer: ``ready`` once ``value`` or ``error`` stands."""

    value: Any = None
    error: BaseException | None = None
    over: threading.Event = field(default_factory=threading.Event)

    @property
    def ready(self) -> bool:
        """Whether it is there."""
        return self.over.is_set()

    def waited(self, most_s: float) -> Any:
        """The value, waited for.

        Args:
            most_s: so long at most.

        Raises:
            HTTPException: 503 when it takes longer.
            BaseException: whatever finding it out raised.
        """
        if not self.over.wait(most_s):
            raise HTTPException(503, "this takes long and goes on: ask again in a minute")
        if self.error is not None:
            raise self.error
        return self.value


class Answers:
    """What was asked and what is being found out, the last of them kept; a few are found out at a time."""

    def __init__(self) -> None:
        """Nothing was asked yet."""
        self._all: dict[Hashable, Answer] = {}
        self._lock = threading.Lock()
        self._free = threading.Semaphore(_AT_ONCE)

    def ask(self, key: Hashable, find: Callable[[], Any], *, wait_s: float = WAIT_S) -> Answer:
        """The answer under a key, which must name all that it is made from; not ready where it takes longer.

        Args:
            key: of what is asked.
            find: finds it out, in a thread of its own.
            wait_s: so long is waited for it here.

        Raises:
            HTTPException: 503 when too much is asked for already.
            BaseException: whatever ``find`` raised; asked again, it is tried again.
        """
        with self._lock:
            answer = self._all.pop(key, None)
            if answer is None:
                if sum(not one.ready for one in self._all.values()) >= _MOST_WAITING:
                    raise HTTPException(503, "much is being asked for at once: ask again in a minute")
                answer = Answer()
                threading.Thread(target=self._find, args=(answer, find), name="answer of the desk", daemon=True).start()
            self._all[key] = answer
            for old in list(self._all)[:-_KEPT]:
                del self._all[old]
        if answer.over.wait(wait_s) and answer.error is not None:
            with self._lock:
                if self._all.get(key) is answer:
                    del self._all[key]
            raise answer.error
        return answer

    def _find(self, answer: Answer, find: Callable[[], Any]) -> None:
        try:
            with self._free:
                answer.value = find()
        except BaseException as error:  # noqa: BLE001  (raised again where it is asked for)
            answer.error = error
        finally:
            answer.over.set()


def answers_of(desk: Desk) -> Answers:
    """The desk's answers."""
    answers: Answers = desk.parts.setdefault("answers", Answers())
    return answers
