"""The proof of a record: signed, verified, and exported to be verified elsewhere."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wideroll import __version__
from wideroll.acts.sealing import now_utc, open_record
from wideroll.errors import InputError, RecordError
from wideroll.record import Checkpoint, Event, RecordReport, Written, checkpoint_json, sign_checkpoint
from wideroll.store import (
    CHECKPOINTS,
    KEPT,
    FilesReport,
    Picked,
    RecordStore,
    check_files,
    check_kept_files,
    is_bundle,
    kept_checkpoints,
    open_bundle,
    prove_read,
    save_checkpoint,
    write_bundle,
)
from wideroll.workflow import Progress, Silent

__all__ = [
    "Proof",
    "SignedRecord",
    "export_record",
    "hold",
    "proof_document",
    "prove_record",
    "sign_record",
]

_STEP: Final = 500
_MEND: Final = "Keep everything as it is, find out what happened, and restore the record from its last good copy."


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What was found in a record, and in the files that it names."""

    report: RecordReport
    files: FilesReport | None
    """None of a bundle, which has none, and where the record itself doesn't hold."""

    @property
    def mend(self) -> str:
        """What to do where it doesn't hold."""
        return (self.files and self.files.mend) or _MEND


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedRecord:
    """A signature under a record: its event, what it says, and the file it is kept in beside the record."""

    event: Event
    checkpoint: Checkpoint
    path: Path


def prove_record(
    path: Path, keys: Sequence[str] = (), kept: Sequence[Checkpoint] = (), *, progress: Progress | None = None
) -> Proof:
    """Prove chain, signatures and files of a record; what doesn't hold is said in the report.

    Args:
        path: folder of a plant, or a bundle.
        keys: public keys that must have signed.
        kept: checkpoints kept elsewhere.
        progress: is told how far it is, of a plant's record.

    Raises:
        InputError: when there is no record.
    """
    if not path.exists():
        rule = "must be a plant's folder, or a bundle; nothing is there"
        raise InputError(where=str(path), rule=rule, mend="Check the path.")
    if is_bundle(path):
        return Proof(report=_of_bundle(path, keys, kept), files=None)
    report, files = _of_plant(path, keys, kept, progress or Silent())
    return Proof(report=report, files=files)


def sign_record(plant: Path, secret: bytes, *, who: str, says: str = "", event: int | None = None) -> SignedRecord:
    """Sign the record as it stands; later it can't be changed or shortened unseen.

    Args:
        plant: its folder.
        secret: key to sign with, of ``read_secret_key``.
        who: signs.
        says: what is signed to, in words.
        event: the one event that is signed off; None signs all.

    Raises:
        InputError: when there is no record, or no such event.
        RecordError: when the record doesn't hold.
    """
    signed: list[Checkpoint] = []
    with _record(plant) as store:
        hold(store.verify(kept=kept_checkpoints(plant / CHECKPOINTS)), plant)

        def made(events: int, head: str) -> Checkpoint:
            signed.append(
                sign_checkpoint(
                    secret, events, head, who=who, when_utc=now_utc(), version=__version__, says=says, event=event
                )
            )
            return signed[-1]

        added = store.append_checkpoint(made)
    return SignedRecord(event=added, checkpoint=signed[-1], path=save_checkpoint(plant / CHECKPOINTS, signed[-1]))


def export_record(plant: Path, bundle: Path) -> RecordReport:
    """Write the record as a bundle that verifies on another machine with public keys alone.

    Args:
        plant: its folder.
        bundle: new folder, or a file that ends in .zip.

    Raises:
        InputError: when there is no record, or the bundle is there already.
        RecordError: when the record doesn't hold.
    """
    with _record(plant) as store:
        report = store.verify(kept=kept_checkpoints(plant / CHECKPOINTS))
        hold(report, plant)
        write_bundle(bundle, store.rows(), report)
    return report


def hold(report: RecordReport, path: Path, *, mend: str = _MEND) -> None:
    """Stop where a record doesn't hold.

    Args:
        report: what was found in it.
        path: its plant or bundle.
        mend: what to do then.

    Raises:
        RecordError: naming the first event that fails.
    """
    if not report.intact:
        raise RecordError(
            where=f"record of {path}, event {report.first_bad}", rule="must hold", value=report.why, mend=mend
        )


def _record(plant: Path) -> RecordStore:
    store = open_record(plant)
    if store is None:
        raise InputError(
            where=str(plant / "wideroll.db"),
            rule="there must be a record",
            mend="Check the plant's folder; the first decision makes its record.",
        )
    return store


def _of_plant(
    plant: Path, keys: Sequence[str], kept: Sequence[Checkpoint], progress: Progress
) -> tuple[RecordReport, FilesReport | None]:
    with _record(plant) as store:
        last = next(store.newest(Picked()), None)
        progress.start("events", 0 if last is None else last.number, "events")
        counted = _counted(store.rows(), progress)
        report = prove_read(counted, kept=(*kept, *kept_checkpoints(plant / CHECKPOINTS)), trusted=keys)
        report = _with_keys(report, keys, whole=False)
        if not report.intact:
            return report, None
        progress.start("files that the record names", 0, "files")
        files = check_files(plant, store.rows())
        files = check_kept_files(plant, store.naming(KEPT), files)
        progress.finish()
    if files.first_bad is not None:
        return _failed(report, files.first_bad, files.why), files
    return report, files


def _counted(rows: Iterable[Written], progress: Progress) -> Iterator[Written]:
    for count, row in enumerate(rows, start=1):
        if not count % _STEP:
            progress.advance(_STEP)
        yield row


def _of_bundle(path: Path, keys: Sequence[str], kept: Sequence[Checkpoint]) -> RecordReport:
    bundle = open_bundle(path)
    report = prove_read(bundle.rows(), kept=kept, trusted=keys)
    if report.intact and (report.events, report.head) != (bundle.events, bundle.head):
        why = f"tail: the bundle says it holds {bundle.events} events, it ends after {report.events}"
        return _failed(report, min(report.events, bundle.events) + 1, why)
    return _with_keys(report, keys, whole=True)


def _with_keys(report: RecordReport, keys: Iterable[str], *, whole: bool) -> RecordReport:
    """Each key must have signed something, and of a bundle those together everything."""
    if not report.intact or not keys:
        return report
    for one in keys:
        if all(found.key != one for found in report.checkpoints):
            return _failed(report, report.signed + 1, f"signature: nothing is signed with the key {one[:8]}…")
    if whole and report.signed < report.events:
        why = f"signature: no key that was given signs the events from here to {report.events}"
        return _failed(report, report.signed + 1, why)
    return report


def _failed(report: RecordReport, number: int, why: str) -> RecordReport:
    return RecordReport(
        events=report.events,
        intact=False,
        first_bad=number,
        why=why,
        head=report.head,
        checkpoints=report.checkpoints,
        signed=report.signed,
    )


def proof_document(proof: Proof) -> dict[str, Any]:
    """What was found, for machines.

    Args:
        proof: of ``prove_record``.
    """
    report, files = proof.report, proof.files
    return {
        "schema": "wideroll/record/1",
        "intact": report.intact,
        "events": report.events,
        "first_bad": report.first_bad,
        "why": report.why,
        "head": report.head,
        "signed": report.signed,
        "checkpoints": [checkpoint_json(one) for one in report.checkpoints],
        "files": None if files is None else _files_document(files),
    }


def _files_document(files: FilesReport) -> dict[str, Any]:
    return {
        "decisions": files.decisions,
        "files": files.files,
        "taken_in": files.taken_in,
        "photographs": files.photographs,
        "base_periods": files.base_periods,
        "not_taken_in": [{"file": one.file, "event": one.event, "why": one.why} for one in files.not_taken_in],
    }
