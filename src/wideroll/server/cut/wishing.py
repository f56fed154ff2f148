"""Planning with wishes beside the pages: one after the other, and the last answers kept."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

from fastapi import HTTPException

from wideroll.errors import ArgumentError
from wideroll.server.cut.asking import Wished, read_wished, wrong_of, wrongs_of
from wideroll.server.cut.data import StandingCut, cut_of, shown_cut
from wideroll.server.desk import Desk
from wideroll.server.jobs import Job, Jobs

if TYPE_CHECKING:
    from wideroll.acts.wishing import WishAnswer

__all__ = ["SOON_S", "answer_to", "ask_wishes", "await_answer"]

SOON_S: Final = 1.5
"""A page waits so long for an answer before it says that one is being worked out."""
_LONG_S: Final = 60.0
_KEPT: Final = 24
_MOST_WAITING: Final = 8


@dataclass(slots=True)
class _Asked:
    """What was asked of this desk; ``keys`` in the order of asking."""

    jobs: Jobs = field(default_factory=Jobs)
    keys: list[str] = field(default_factory=list)


def ask_wishes(desk: Desk, cut: StandingCut, wished: Wished, setting: dict[str, Any]) -> Job:
    """The work on an answer, begun unless it was asked for before.

    Args:
        desk: whose answers are kept.
        cut: that stands.
        wished: in which nothing is wrong.
        setting: of the roll's cut page.

    Raises:
        HTTPException: 503 when too many are waiting.
    """
    mine: _Asked = desk.parts.setdefault("cut wishes", _Asked())
    key = f"{cut.roll} {cut.mark} {wished.query}"
    known = mine.jobs.get(key)
    if known is not None and (known.state != "failed" or isinstance(known.error, ArgumentError)):
        return known
    states = [job.state for one in mine.keys if (job := mine.jobs.get(one)) is not None]
    if sum(state in {"waiting", "running"} for state in states) >= _MOST_WAITING:
        raise HTTPException(503, "others are asking for cuts just now; ask again in a minute")
    job = mine.jobs.begin(
        key,
        f"planning the cut of {cut.roll} with the wishes and without",
        lambda job: _answer(desk, cut, wished, setting, job),
    )
    mine.keys = [*(one for one in mine.keys if one != key), key]
    for old in mine.keys[:-_KEPT]:
        mine.jobs.drop(old)
    mine.keys = [one for one in mine.keys if mine.jobs.get(one) is not None]
    return job


def await_answer(job: Job, seconds: float) -> "WishAnswer | None":
    """The answer, if it comes in that time.

    Args:
        job: of ``ask_wishes``.
        seconds: to wait.

    Raises:
        WiderollError: why there is none.
    """
    job.over.wait(seconds)
    if job.error is not None:
        raise job.error
    answer: WishAnswer | None = job.result
    return answer


def answer_to(desk: Desk, roll: str, wished: Wished) -> "WishAnswer":
    """The answer to wishes as they were typed, known already or waited for.

    Args:
        desk: whose answers are kept.
        roll: its name.
        wished: as it was typed.

    Raises:
        FileNotFoundError: when nothing is decided about such a roll.
        HTTPException: 422 when a field can't be read or a wish can't be met, 404 when nothing is cut, 503 when it takes
            too long.
    """
    cut = cut_of(desk, roll)
    shown = shown_cut(desk, cut)
    if shown is None or "cut" not in shown or not wished:
        raise HTTPException(404, "there is no such cut; see the roll's cut page")
    setting = shown["cut"]["setting"]
    if wrong := wrongs_of(wished, setting):
        raise HTTPException(422, wrong[0]["words"])
    try:
        answer = await_answer(ask_wishes(desk, cut, wished, setting), _LONG_S)
    except ArgumentError as error:
        raise HTTPException(422, wrong_of(error)) from error
    if answer is None:
        raise HTTPException(503, "the plan isn't ready yet; ask again in a minute")
    return answer


def _answer(desk: Desk, cut: StandingCut, wished: Wished, setting: dict[str, Any], job: Job) -> "WishAnswer":
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415
    from wideroll.acts.wishing import answer_wishes  # noqa: PLC0415  (loads all rooms)

    with listening(Listener(tell=job.tell, progress=lambda: job)):
        return answer_wishes(desk.root, cut.roll, cut.decided, read_wished(wished, setting))
