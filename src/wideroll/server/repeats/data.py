"""Cases of the plant's rollers, gathered beside the pages and kept until a roll's search changes."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wideroll.server.card_book import cards_of
from wideroll.server.desk import Desk
from wideroll.server.jobs import Job, jobs_of
from wideroll.server.live.sights import record_mark

if TYPE_CHECKING:
    from wideroll.acts.card_states import CardState
    from wideroll.acts.cases import FollowedCases

__all__ = ["CasesNow", "cards_of_roll", "cases_now", "mark_of"]

_SEARCHED: Final = "None: the roll was searched, and nothing that turns marks it clearly enough."
_NOT_SEARCHED: Final = "Nothing is known: no up-to-date search of this roll is kept. Looking at its evidence makes one."


@dataclass(frozen=True, slots=True, kw_only=True)
class CasesNow:
    """What is known of the rollers that a roll makes suspect.

    Args:
        job: that gathers it, while that isn't done.
        document: as ``wideroll/cases/1``, only the cases of the roll.
        grid: the same as a table.
        words: what else to know.
    """

    job: Job | None = None
    document: dict[str, Any] | None = None
    grid: dict[str, Any] | None = None
    words: tuple[str, ...] = ()
    caution: str = ""


def cases_now(desk: Desk, roll: str) -> CasesNow:
    """The cases of a roll, where they are gathered; else they begin to be."""
    mark = _plant_mark(desk.root)
    kept: tuple[object, FollowedCases] | None = desk.parts.get("cases")
    if kept is not None and kept[0] == mark:
        return _of_roll(kept[1], roll)

    def gather(job: Job) -> None:
        from wideroll.acts.cases import follow_cases  # noqa: PLC0415  (loads all rooms)
        from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

        with listening(Listener(tell=job.tell, progress=lambda: job)):
            desk.parts["cases"] = mark, follow_cases(desk.root)

    job = jobs_of(desk).get("cases")
    if job is None or job.state != "failed":
        job = jobs_of(desk).begin("cases", "following rollers from roll to roll", gather)
    return CasesNow(job=job)


def cards_of_roll(desk: Desk, roll: str) -> tuple["CardState", ...]:
    """The roll's cards, the last one first."""
    return tuple(one for one in cards_of(desk).states if one.roll == roll)


def mark_of(desk: Desk, roll: str) -> tuple[object, ...]:
    """Changes when the roll's search is made anew or its decision changes."""
    folder = desk.root / "results" / roll
    return tuple(_written(folder / name) for name in ("state/scan.json", "state/series.json", "decision.json"))


def _of_roll(followed: "FollowedCases", roll: str) -> CasesNow:
    from wideroll.acts.cases import cases_document  # noqa: PLC0415
    from wideroll.report.case_grids import cases_grid, cases_words  # noqa: PLC0415
    from wideroll.report.caution import ROLLER_CAUTION  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    here = tuple(case for case in followed.found.cases if roll in case.rolls)
    none = _SEARCHED if roll in followed.found.searched else _NOT_SEARCHED
    found = replace(followed, found=replace(followed.found, cases=here))
    return CasesNow(
        document=cases_document(found),
        grid=grid_json(replace(cases_grid(found.found), empty=none)),
        words=cases_words(found.found),
        caution=ROLLER_CAUTION if here else "",
    )


def _plant_mark(root: Path) -> tuple[object, ...]:
    try:
        rolls = sorted(path.name for path in (root / "rolls").iterdir())
    except OSError:
        rolls = []
    searches = tuple((name, _written(root / "results" / name / "state" / "series.json")) for name in rolls)
    cards = tuple(_written(root / "rolls" / name / "roll.toml") for name in rolls)
    return searches, cards, _written(root / "plant.toml"), _written(root / "cleanings.csv"), record_mark(root)


def _written(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0
