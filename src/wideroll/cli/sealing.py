"""The decision's place in the record: what was written is what the record names, or it is made anew."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wideroll import __version__
from wideroll.cli.console import tell
from wideroll.cli.rolls import RollInHand
from wideroll.errors import RecordError
from wideroll.record import Event, Json, digest
from wideroll.report.machine import decision_json
from wideroll.store import RecordStore, sealed_bytes
from wideroll.workflow import Assessment

__all__ = ["decision_document", "decision_event", "drop_changed_stages", "outputs_as_recorded", "record_decision"]

_ACT = "decision"
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
    database = _database(hand.root)
    if not database.is_file():
        return None
    with RecordStore(f"sqlite:///{database}") as store:
        last = _last_decision(store, hand)
    return last if last is not None and last.body.get("inputs") == hand.fingerprint else None


def outputs_as_recorded(hand: RollInHand) -> bool:
    """Whether every file and folder of the roll's last decision on these inputs is the one that the record names.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    database = _database(hand.root)
    standing = hand.results.path / "decision.json"
    if not database.is_file():
        tell(f"{standing} stands, but there is no record at {database}; the decision is made anew.")
        return False
    with RecordStore(f"sqlite:///{database}") as store:
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
    database = _database(hand.root)
    if not database.is_file():
        return
    with RecordStore(f"sqlite:///{database}") as store:
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


def record_decision(hand: RollInHand, document: Mapping[str, str], outputs: Mapping[str, bytes], *, who: str) -> None:
    """Add the decision to the record, unless its last event on the roll says just the same.

    Args:
        hand: the roll.
        document: the decision, of which the record keeps the verdict in words.
        outputs: what stands for each file and folder that goes with it (``sealed_bytes``), by its name in the
            results folder.
        who: decides.

    Raises:
        RecordError: when the record doesn't hold; nothing is added to it then.
    """
    body: dict[str, Json] = {
        **{name: document[name] for name in ("roll", "product", "verdict", "why")},
        "inputs": hand.fingerprint,
        "stages": dict(hand.desk.fingerprints),
        "outputs": {name: digest(data) for name, data in sorted(outputs.items())},
    }
    with RecordStore(f"sqlite:///{_database(hand.root)}") as store:
        last = _last_decision(store, hand)
        if last is None or dict(last.body) != body:
            when = datetime.now(UTC).isoformat(timespec="seconds")
            store.append(_ACT, who, when, __version__, body)


def _last_decision(store: RecordStore, hand: RollInHand) -> Event | None:
    report = store.verify()
    if not report.intact:
        raise RecordError(
            where=f"{_database(hand.root)}, event {report.first_bad}",
            rule="the record must hold from first to last event",
            value=report.why,
            mend="Decide nothing on it: keep the file, and restore the record from its last good copy.",
        )
    mine = [event for event in store.events() if event.act == _ACT and event.body.get("roll") == hand.desk.card.name]
    return mine[-1] if mine else None


def _database(root: Path) -> Path:
    return root / "wideroll.db"


def _digest_of(path: Path) -> str:
    return digest(sealed_bytes(path)) if path.exists() else ""
