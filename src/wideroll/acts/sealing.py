"""The decision's place in the record: what was written is what the record names, or it is made anew."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from wideroll import __version__
from wideroll.acts.rolls import RollInHand
from wideroll.acts.telling import tell
from wideroll.errors import RecordError
from wideroll.readers import PlantFolder
from wideroll.record import Event, Json, RecordReport, digest
from wideroll.report.machine import decision_json
from wideroll.store import (
    CHECKPOINTS,
    CUT,
    DECISION,
    RecordStore,
    Standing,
    json_bytes,
    kept_checkpoints,
    one_at_a_time,
    read_bytes,
    sealed_bytes,
)
from wideroll.workflow import Assessment, assess_roll

__all__ = [
    "CutToRecord",
    "Sealed",
    "assessment_behind",
    "check_holds",
    "cut_event",
    "decision_document",
    "decision_event",
    "drop_changed_stages",
    "last_decision",
    "now_utc",
    "open_record",
    "outputs_as_recorded",
    "record_cuts",
    "record_decision",
    "record_held",
    "sealing",
    "standing_on",
    "what_stands",
]

_ACTS: Final = (DECISION, CUT)
_STAGE_FILES = {"state/scan.json": "scan", "state/series.json": "repeats", "state/detection.json": "scan"}
"""What costly stages keep, and whose inputs it is computed from; scan.json itself names the files beside it by their
hash."""


def decision_document(hand: RollInHand, assessment: Assessment) -> dict[str, Any]:
    """What decision.json holds: the decision, and all that it rests on, which is known once the roll was assessed."""
    return decision_json(assessment) | {
        "fingerprint": hand.fingerprint,
        "inputs": hand.inputs,
        "compared_with": hand.compared_with,
        "cleaned_before": hand.cleaned_before,
    }


def assessment_behind(hand: RollInHand, assessment: Assessment | None) -> Assessment:
    """What the standing decision was made from: as it is at hand, or made again from the same inputs.

    Args:
        hand: the roll.
        assessment: as it is at hand; None makes it again.

    Raises:
        RecordError: when the decision made again isn't the one that stands.
    """
    again = assessment or assess_roll(hand.desk)
    standing = hand.results.path / "decision.json"
    if json_bytes(decision_document(hand, again)) != read_bytes(standing):
        raise RecordError(
            where=str(standing),
            rule="the decision made again from the same inputs must be the one that stands, byte by byte",
            value="another decision",
            mend="Keep the plant's folder as it is, and find out by which software the decision was made.",
        )
    return again


def decision_event(hand: RollInHand) -> Event | None:
    """The record's last decision on the roll, if it was made on these inputs.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    last = last_decision(hand)
    return last if last is not None and last.body.get("inputs") == hand.fingerprint else None


def cut_event(hand: RollInHand) -> Event | None:
    """The cut that was recorded for the roll after its last decision, if any.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    return next((act for act in _recorded(hand) or () if act.act == CUT), None)


def outputs_as_recorded(hand: RollInHand) -> bool:
    """Whether every file and folder of the roll's last decision on these inputs is the one that the record names.

    Of a cut recorded after it, those that it put in the place of the decision's.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    standing = hand.results.path / "decision.json"
    acts = _recorded(hand)
    if acts is None:
        where = PlantFolder(hand.root).record_url().removeprefix("sqlite:///")
        tell(f"{standing} stands, but there is no record at {where}; the decision is made anew.")
        return False
    if not acts:
        tell(f"{standing} stands, but the record holds no decision on this roll; it is made anew.")
        return False
    if any(act.body.get("inputs") != hand.fingerprint for act in acts):
        return False
    named: dict[str, tuple[Json, int]] = {}
    for act in acts:
        outputs = act.body.get("outputs")
        if not isinstance(outputs, dict):
            return False
        named |= {name: (sealed, act.number) for name, sealed in outputs.items()}
    changed = [name for name, (sealed, _) in named.items() if _digest_of(hand.results.path / name) != sealed]
    for name in changed:
        _tell_made_anew(hand.results.path / name, named[name][1])
    return not changed


def drop_changed_stages(hand: RollInHand) -> None:
    """Take away a kept stage that isn't the one the last decision on the same inputs of it was made from.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    last = last_decision(hand)
    named, stages = (last.body.get("outputs"), last.body.get("stages")) if last else (None, None)
    if last is None or not isinstance(named, dict) or not isinstance(stages, dict):
        return
    for name, stage in _STAGE_FILES.items():
        path = hand.results.path / name
        same_inputs = stages.get(stage) == hand.desk.fingerprints[stage]
        if same_inputs and name in named and path.is_file() and _digest_of(path) != named[name]:
            _tell_made_anew(path, last.number)
            path.unlink()


def what_stands(hand: RollInHand) -> Standing:
    """The last decision on the roll or cut of it, for whoever begins to make another.

    Args:
        hand: the roll.
    """
    store = open_record(hand.root)
    if store is None:
        return Standing(acts=_ACTS, roll=hand.desk.card.name, number=0)
    with store:
        return standing_on(store, hand)


def standing_on(store: RecordStore, hand: RollInHand) -> Standing:
    """The same of a record that is open."""
    return store.standing(_ACTS, hand.desk.card.name)


@contextmanager
def sealing(hands: Sequence[RollInHand], after: Sequence[Standing], *, who: str) -> Iterator[RecordStore]:
    """The record, while nobody else writes the rolls' files; the first who comes here is the one who decides.

    Args:
        hands: rolls of one plant.
        after: what stood on each when the work was begun.
        who: decides.

    Raises:
        OvertakenError: when somebody else sealed a decision or a cut since; nothing was written.
        RecordError: when the record doesn't hold.
    """
    with record_held(hands[0].root, [hand.results.path for hand in hands]) as store:
        store.check_first(after, who)
        yield store


@contextmanager
def record_held(root: Path, folders: Iterable[Path]) -> Iterator[RecordStore]:
    """The record, which holds, while nobody else on this machine adds anything about some rolls.

    Args:
        root: the plant's folder.
        folders: of the rolls, ``results/<roll>``.

    Raises:
        RecordError: when the record doesn't hold.
    """
    with ExitStack() as held:
        # Everyone takes them in the same order, so that no two wait for each other.
        for folder in sorted(set(folders)):
            held.enter_context(one_at_a_time(folder))
        store = held.enter_context(RecordStore(PlantFolder(root).record_url()))
        check_holds(store, root)
        yield store


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A decision's place in the record."""

    standing: Standing
    added: Event | None = None
    """None where the record held it just so."""
    superseded: Event | None = None


def record_decision(
    store: RecordStore,
    hand: RollInHand,
    document: Mapping[str, str],
    outputs: Mapping[str, bytes],
    *,
    who: str,
    after: Standing,
    because: Sequence[str] = (),
    signed: str = "",
) -> Sealed:
    """Add the decision to the record, unless its last event on the roll says just the same.

    Args:
        store: the record, held to be sound.
        hand: the roll.
        document: the decision, of which the record keeps the verdict in words.
        outputs: what stands for each file and folder that goes with it (``sealed_bytes``), by its name in the
            results folder.
        who: decides.
        after: what stood when this decision was begun.
        because: why it supersedes the one before, in words.
        signed: how whoever decides put their name to it, in words; empty where nobody was asked.

    Returns:
        What stands now, and the decision that was superseded.

    Raises:
        OvertakenError: when somebody else, on another machine, sealed a decision or a cut since; nothing is added then.
    """
    roll = hand.desk.card.name
    body: dict[str, Json] = {
        **{name: document[name] for name in ("roll", "product", "verdict", "why")},
        "inputs": hand.fingerprint,
        "stages": dict(hand.desk.fingerprints),
        "outputs": {name: digest(data) for name, data in sorted(outputs.items())},
    }
    acts = _acts(store, roll)
    last, before = (acts[-1], acts[0]) if acts else (None, None)
    if last is not None and _without_reasons(last.body) == body:
        return Sealed(standing=Standing(acts=_ACTS, roll=roll, number=last.number))
    body |= {"supersedes": None if before is None else before.number, "because": list(because)}
    body |= {"signed": signed} if signed else {}
    added = store.append(DECISION, who, now_utc(), __version__, body, after=after)
    if last is not None and last.act == CUT:
        tell(
            f"The cut of {roll} for the order book (event {last.number}) no longer stands: "
            "the roll has the cut made for it alone until `wideroll orders --record` is run again."
        )
    standing = Standing(acts=_ACTS, roll=roll, number=added.number)
    return Sealed(standing=standing, added=added, superseded=before)


def _without_reasons(body: Mapping[str, Json]) -> dict[str, Json]:
    return {name: value for name, value in body.items() if name not in {"supersedes", "because", "signed"}}


@dataclass(frozen=True, slots=True, kw_only=True)
class CutToRecord:
    """A cut that takes the place of the one made with the decision; ``outputs`` are the files it put in its place.

    ``said`` is what the record says of it besides.
    """

    hand: RollInHand
    outputs: Mapping[str, bytes]
    said: Mapping[str, Json]


def record_cuts(store: RecordStore, cuts: Sequence[CutToRecord], *, who: str, after: Sequence[Standing]) -> None:
    """Add a cut for each roll to the record, all or none; those that it has just so are left out.

    Args:
        store: the record, held to be sound.
        cuts: of rolls of one plant.
        who: plans them.
        after: what stood on each roll when they were planned, also on those left out.

    Raises:
        OvertakenError: when somebody else, on another machine, sealed a decision or a cut since; nothing is added then.
    """
    bodies = [_cut_body(cut) for cut in cuts]
    last = [_acts(store, cut.hand.desk.card.name)[-1:] for cut in cuts]
    new = [body for body, acts in zip(bodies, last, strict=True) if not acts or dict(acts[0].body) != body]
    store.append_all(CUT, who, now_utc(), __version__, new, after=after)


def _cut_body(cut: CutToRecord) -> dict[str, Json]:
    return {
        "roll": cut.hand.desk.card.name,
        "product": cut.hand.desk.product.name,
        **cut.said,
        "inputs": cut.hand.fingerprint,
        "outputs": {name: digest(data) for name, data in sorted(cut.outputs.items())},
    }


def now_utc() -> str:
    """The time as the record has it, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def open_record(root: Path) -> RecordStore | None:
    """The plant's record, or None where an SQLite one isn't there yet.

    Args:
        root: the plant's folder.

    Raises:
        InputError: when plant.toml has a fault, or the database can't be opened.
        RecordError: when the database isn't sound.
    """
    url = PlantFolder(root).record_url()
    path = url.removeprefix("sqlite:///")
    return None if path != url and not Path(path).is_file() else RecordStore(url)


def last_decision(hand: RollInHand) -> Event | None:
    """The record's last decision on the roll, on whatever inputs.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    return next(iter(_recorded(hand) or ()), None)


def _recorded(hand: RollInHand) -> list[Event] | None:
    """As ``_acts``, of a record that holds; None where there is none yet."""
    store = open_record(hand.root)
    if store is None:
        return None
    with store:
        check_holds(store, hand.root)
        return _acts(store, hand.desk.card.name)


def _acts(store: RecordStore, roll: str) -> list[Event]:
    """The last decision on the roll, and the last cut recorded after it if there is one."""
    decision, cut = store.last(DECISION, roll), store.last(CUT, roll)
    if decision is None:
        return []
    return [decision] if cut is None or cut.number < decision.number else [decision, cut]


def check_holds(store: RecordStore, root: Path) -> RecordReport:
    """What was found in the record, chain and checkpoints kept beside it, where it holds.

    Args:
        store: the record.
        root: the plant's folder.

    Raises:
        RecordError: naming the first event that fails.
    """
    report = store.verify(kept=kept_checkpoints(root / CHECKPOINTS))
    if not report.intact:
        raise RecordError(
            where=f"record of {root}, event {report.first_bad}",
            rule="the record must hold from first to last event",
            value=report.why,
            mend="Rely on nothing in it: keep the database as it is, and restore the record from its last good copy.",
        )
    return report


def _tell_made_anew(path: Path, number: int) -> None:
    tell(f"{path} isn't the file that event {number} of the record names; it is made anew.")


def _digest_of(path: Path) -> str:
    return digest(sealed_bytes(path)) if path.exists() else ""
