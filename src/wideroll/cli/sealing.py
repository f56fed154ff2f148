"""The decision's place in the record: what was written is what the record names, or it is made anew."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wideroll import __version__
from wideroll.cli.console import tell
from wideroll.cli.rolls import RollInHand
from wideroll.errors import RecordError
from wideroll.readers import PlantFolder
from wideroll.record import Event, Json, digest
from wideroll.report.machine import decision_json
from wideroll.store import DECISION, RecordStore, Standing, one_at_a_time, sealed_bytes
from wideroll.workflow import Assessment

__all__ = [
    "decision_document",
    "decision_event",
    "drop_changed_stages",
    "open_record",
    "outputs_as_recorded",
    "record_decision",
    "sealing",
    "standing_decision",
]

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


def decision_event(hand: RollInHand) -> Event | None:
    """The record's last decision on the roll, if it was made on these inputs.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    store = open_record(hand.root)
    if store is None:
        return None
    with store:
        last = _last_decision(store, hand)
    return last if last is not None and last.body.get("inputs") == hand.fingerprint else None


def outputs_as_recorded(hand: RollInHand) -> bool:
    """Whether every file and folder of the roll's last decision on these inputs is the one that the record names.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    standing = hand.results.path / "decision.json"
    store = open_record(hand.root)
    if store is None:
        where = PlantFolder(hand.root).record_url().removeprefix("sqlite:///")
        tell(f"{standing} stands, but there is no record at {where}; the decision is made anew.")
        return False
    with store:
        last = _last_decision(store, hand)
    if last is None:
        tell(f"{standing} stands, but the record holds no decision on this roll; it is made anew.")
        return False
    if last.body.get("inputs") != hand.fingerprint:
        return False
    named = last.body.get("outputs")
    if not isinstance(named, dict):
        return False
    changed = [name for name, sealed in named.items() if _digest_of(hand.results.path / name) != sealed]
    for name in changed:
        tell(
            f"{hand.results.path / name} isn't the file that event {last.number} of the record names; it is made anew."
        )
    return not changed


def drop_changed_stages(hand: RollInHand) -> None:
    """Take away a kept stage that isn't the one the last decision on the same inputs of it was made from.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    store = open_record(hand.root)
    if store is None:
        return
    with store:
        last = _last_decision(store, hand)
    named, stages = (last.body.get("outputs"), last.body.get("stages")) if last else (None, None)
    if last is None or not isinstance(named, dict) or not isinstance(stages, dict):
        return
    for name, stage in _STAGE_FILES.items():
        path = hand.results.path / name
        same_inputs = stages.get(stage) == hand.desk.fingerprints[stage]
        if same_inputs and name in named and path.is_file() and _digest_of(path) != named[name]:
            tell(f"{path} isn't the file that event {last.number} of the record names; it is made anew.")
            path.unlink()


def standing_decision(hand: RollInHand) -> Standing:
    """What stands on the roll now, for whoever begins to decide."""
    store = open_record(hand.root)
    number = 0
    if store is not None:
        with store:
            last = store.last(DECISION, hand.desk.card.name)
        number = 0 if last is None else last.number
    return Standing(act=DECISION, roll=hand.desk.card.name, number=number)


@contextmanager
def sealing(hand: RollInHand, after: Standing, *, who: str) -> Iterator[RecordStore]:
    """The record, while nobody else writes the roll's files; the first who comes here is the one who decides.

    Args:
        hand: the roll.
        after: what stood when this decision was begun.
        who: decides.

    Raises:
        OvertakenError: when somebody else sealed another decision since; nothing was written.
        RecordError: when the record doesn't hold.
    """
    with one_at_a_time(hand.results.path), RecordStore(PlantFolder(hand.root).record_url()) as store:
        _check_holds(store, hand.root)
        store.check_first(after, who)
        yield store


def record_decision(
    store: RecordStore,
    hand: RollInHand,
    document: Mapping[str, str],
    outputs: Mapping[str, bytes],
    *,
    who: str,
    after: Standing,
) -> None:
    """Add the decision to the record, unless its last event on the roll says just the same.

    Args:
        store: the record, held to be sound.
        hand: the roll.
        document: the decision, of which the record keeps the verdict in words.
        outputs: what stands for each file and folder that goes with it (``sealed_bytes``), by its name in the
            results folder.
        who: decides.
        after: what stood when this decision was begun.

    Raises:
        OvertakenError: when somebody else, on another machine, sealed a decision since; nothing is added then.
    """
    body: dict[str, Json] = {
        **{name: document[name] for name in ("roll", "product", "verdict", "why")},
        "inputs": hand.fingerprint,
        "stages": dict(hand.desk.fingerprints),
        "outputs": {name: digest(data) for name, data in sorted(outputs.items())},
    }
    last = store.last(DECISION, hand.desk.card.name)
    if last is None or dict(last.body) != body:
        when = datetime.now(UTC).isoformat(timespec="seconds")
        store.append(DECISION, who, when, __version__, body, after=after)


def open_record(root: Path) -> RecordStore | None:
    """The plant's record, or None where an SQLite one isn't there yet.

    Raises:
        InputError: when plant.toml has a fault, or the database can't be opened.
        RecordError: when the database isn't sound.
    """
    url = PlantFolder(root).record_url()
    path = url.removeprefix("sqlite:///")
    return None if path != url and not Path(path).is_file() else RecordStore(url)


def _last_decision(store: RecordStore, hand: RollInHand) -> Event | None:
    _check_holds(store, hand.root)
    return store.last(DECISION, hand.desk.card.name)


def _check_holds(store: RecordStore, root: Path) -> None:
    report = store.verify()
    if not report.intact:
        raise RecordError(
            where=f"record of {root}, event {report.first_bad}",
            rule="the record must hold from first to last event",
            value=report.why,
            mend="Decide nothing on it: keep the database as it is, and restore the record from its last good copy.",
        )


def _digest_of(path: Path) -> str:
    return digest(sealed_bytes(path)) if path.exists() else ""
