"""The decision's place in the record: what was written is what the record names, or it is made anew."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from wideroll import __version__
from wideroll.cli.console import tell
from wideroll.cli.rolls import RollInHand
from wideroll.errors import RecordError
from wideroll.record import Event, Json, digest
from wideroll.report.machine import decision_json
from wideroll.store import RecordStore, json_bytes, read_bytes, sealed_bytes
from wideroll.workflow import Assessment, assess_roll

__all__ = [
    "CutToRecord",
    "assessment_behind",
    "cut_event",
    "decision_document",
    "decision_event",
    "drop_changed_stages",
    "outputs_as_recorded",
    "record_cuts",
    "record_decision",
]

_ACT = "decision"
_CUT = "cut"
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
    database = _database(hand.root)
    if not database.is_file():
        return None
    with RecordStore(f"sqlite:///{database}") as store:
        last = _last_decision(store, hand)
    return last if last is not None and last.body.get("inputs") == hand.fingerprint else None


def cut_event(hand: RollInHand) -> Event | None:
    """The cut that was recorded for the roll after its last decision, if any.

    Raises:
        RecordError: when the record itself doesn't hold.
    """
    database = _database(hand.root)
    if not database.is_file():
        return None
    with RecordStore(f"sqlite:///{database}") as store:
        last = _acts(store, hand)[-1:]
    return last[0] if last and last[0].act == _CUT else None


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
        acts = _acts(store, hand)
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
        tell(
            f"{hand.results.path / name} isn't the file that event {named[name][1]} of the record names; "
            "it is made anew."
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
        last = _acts(store, hand)[-1:]
        if last and last[0].act == _CUT:
            tell(
                f"The cut of {hand.desk.card.name} for the order book (event {last[0].number}) no longer stands: "
                "the roll has the cut made for it alone until `wideroll orders --record` is run again."
            )
        if not last or dict(last[0].body) != body:
            store.append(_ACT, who, _now(), __version__, body)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutToRecord:
    """A cut that takes the place of the one made with the decision; ``outputs`` are the files it put in its place.

    ``said`` is what the record says of it besides.
    """

    hand: RollInHand
    outputs: Mapping[str, bytes]
    said: Mapping[str, Json]


def record_cuts(cuts: Sequence[CutToRecord], *, who: str) -> None:
    """Add a cut for each roll to the record, all or none; those that it has just so are left out.

    Raises:
        RecordError: when the record doesn't hold; nothing is added to it then.
    """
    with RecordStore(f"sqlite:///{_database(cuts[0].hand.root)}") as store:
        bodies = [_cut_body(cut) for cut in cuts]
        last = [_acts(store, cut.hand)[-1:] for cut in cuts]
        new = [body for body, acts in zip(bodies, last, strict=True) if not acts or dict(acts[0].body) != body]
        store.append_all(_CUT, who, _now(), __version__, new)


def _cut_body(cut: CutToRecord) -> dict[str, Json]:
    return {
        "roll": cut.hand.desk.card.name,
        "product": cut.hand.desk.product.name,
        **cut.said,
        "inputs": cut.hand.fingerprint,
        "outputs": {name: digest(data) for name, data in sorted(cut.outputs.items())},
    }


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def _last_decision(store: RecordStore, hand: RollInHand) -> Event | None:
    return next(iter(_acts(store, hand)), None)


def _acts(store: RecordStore, hand: RollInHand) -> list[Event]:
    """The last decision on the roll, and the cut recorded after it if there is one.

    Raises:
        RecordError: when the record doesn't hold.
    """
    report = store.verify()
    if not report.intact:
        raise RecordError(
            where=f"{_database(hand.root)}, event {report.first_bad}",
            rule="the record must hold from first to last event",
            value=report.why,
            mend="Decide nothing on it: keep the file, and restore the record from its last good copy.",
        )
    acts: list[Event] = []
    for event in store.events():
        if event.body.get("roll") != hand.desk.card.name:
            continue
        if event.act == _ACT:
            acts = [event]
        elif event.act == _CUT and acts:
            acts = [acts[0], event]
    return acts


def _database(root: Path) -> Path:
    return root / "wideroll.db"


def _digest_of(path: Path) -> str:
    return digest(sealed_bytes(path)) if path.exists() else ""
