"""The order book's cut lists: written to look at, or recorded as those by which the rolls are slit."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from wideroll.acts.deciding import Decided, Planned
from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import CutToRecord, assessment_behind, record_cuts, sealing
from wideroll.acts.telling import tell
from wideroll.record import Json, digest
from wideroll.release import Verdict
from wideroll.report import (
    CutHead,
    CutStatus,
    cut_head_of,
    cut_json,
    cut_list_csv,
    render_cut_sheet,
    render_sheet,
    units_of,
)
from wideroll.slitting import BookPlan, CutPlan
from wideroll.store import json_bytes, read_bytes, sealed_bytes, write_whole
from wideroll.workflow import Assessment

__all__ = ["ServedProduct", "WaitingRoll", "orders_digest", "record_lists", "write_lists"]

_PLANNED_FOR: Final = (("planned for", "the order book"),)
_STATE: Final = "state/plan"


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingRoll:
    """A decided roll that waits for the slitter, with its recorded plan."""

    hand: RollInHand
    done: Decided
    plan: CutPlan

    @property
    def name(self) -> str:
        """The roll's."""
        return self.hand.desk.card.name

    @property
    def held(self) -> bool:
        """Whether it is on hold."""
        return self.done.decision.verdict is Verdict.HOLD


@dataclass(frozen=True, slots=True, kw_only=True)
class ServedProduct:
    """The rolls of one product and the cut of all of them."""

    product: str
    rolls: tuple[WaitingRoll, ...]
    book: BookPlan

    @property
    def days(self) -> dict[str, str]:
        """Those on which the rolls are slit."""
        return {roll.name: roll.hand.desk.card.slit_on for roll in self.rolls}

    @property
    def held(self) -> list[str]:
        """Rolls on hold."""
        return [roll.name for roll in self.rolls if roll.held]

    @property
    def planned(self) -> Iterator[tuple[WaitingRoll, CutPlan]]:
        """Each roll with its plan."""
        return zip(self.rolls, (plan for _, plan in self.book.plans), strict=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class _List:
    """What is to stand in a roll's results."""

    roll: WaitingRoll
    plan: CutPlan
    files: dict[str, bytes]
    rolls: tuple[str, ...]


def orders_digest(plant: Path) -> str:
    """What the record knows the orders by; empty where there are none.

    Args:
        plant: its folder.
    """
    path = plant / "orders.toml"
    return digest(read_bytes(path)) if path.is_file() else ""


def write_lists(served: Sequence[ServedProduct], folder: Path) -> None:
    """Under other names than a recorded list has, and marked as none.

    Args:
        served: the plans.
        folder: made where it isn't there.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for roll, plan in (pair for one in served for pair in one.planned):
        for name, content in _cut_files(plan, _what_if_head(roll)):
            write_whole(folder / name.replace("cut", f"{roll.name}-orders"), content)
        tell(f"{roll.name}: {folder / f'{roll.name}-orders.html'}, and .csv and .json beside it")


def record_lists(served: Sequence[ServedProduct], *, who: str) -> None:
    """Put each roll's list in the place of the recorded one, with an act of its own.

    Nothing is written before all is ready, nor where somebody else sealed a decision or a cut on one of the rolls since
    this was planned, and the record takes all acts or none. A list that stands without its act, wherever the work was
    stopped, isn't the one that the record names, and is made anew by the next command.

    Args:
        served: the plans.
        who: plans them.

    Raises:
        OvertakenError: when somebody else came first.
        RecordError: when a standing decision can't be made again from its inputs, or the record doesn't hold.
    """
    rolls = [roll for one in served for roll in one.rolls]
    after = [roll.done.standing for roll in rolls]
    with sealing([roll.hand for roll in rolls], after, who=who) as store:
        lists = [_list(roll, plan, one) for one in served for roll, plan in one.planned]
        for each in lists:
            results = each.roll.hand.results
            for name, content in each.files.items():
                write_whole(results.path / name, content)
            results.save(_STATE, Planned(plan=each.plan), each.roll.hand.fingerprint)
        record_cuts(store, [_to_record(each) for each in lists], who=who, after=after)
    for each in lists:
        tell(f"{each.roll.name}: recorded; {each.roll.hand.results.path / 'cut.html'}, cut.csv and cut.json beside it")


def _list(roll: WaitingRoll, plan: CutPlan, served: ServedProduct) -> _List:
    assessment = replace(assessment_behind(roll.hand, roll.done.assessment), plan=plan)
    sheet = render_sheet(assessment, fingerprint=roll.hand.fingerprint)
    files = {**dict(_cut_files(plan, _head(assessment))), "sheet.html": sheet.encode()}
    return _List(roll=roll, plan=plan, files=files, rolls=tuple(one.name for one in served.rolls))


def _to_record(one: _List) -> CutToRecord:
    results = one.roll.hand.results.path
    filled: dict[str, Json] = {
        number: count for number, count in Counter(r.order for r in one.plan.rolls).items() if number
    }
    return CutToRecord(
        hand=one.roll.hand,
        outputs={**one.files, f"{_STATE}.json": sealed_bytes(results / f"{_STATE}.json")},
        said={
            "planned_for": "order book",
            "orders": orders_digest(one.roll.hand.root),
            "rolls": list(one.rolls),
            "filled": filled,
        },
    )


def _head(assessment: Assessment) -> CutHead:
    return replace(cut_head_of(assessment), facts=_PLANNED_FOR)


def _what_if_head(roll: WaitingRoll) -> CutHead:
    desk = roll.hand.desk
    return CutHead(
        roll=roll.name,
        status=CutStatus.WHAT_IF,
        product=desk.product.name,
        plant=desk.plant.name,
        datum_edge=desk.plant.datum_edge,
        units=units_of(desk.plant.shop_units),
        currency="" if desk.product.costs is None else desk.product.costs.currency,
        facts=_PLANNED_FOR,
    )


def _cut_files(plan: CutPlan, head: CutHead) -> Iterator[tuple[str, bytes]]:
    yield "cut.csv", cut_list_csv(plan, head).encode()
    yield "cut.html", render_cut_sheet(plan, head).encode()
    yield "cut.json", json_bytes(cut_json(plan, head))
