"""The commands of the record: make a key, sign, verify, export."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from wideroll import __version__
from wideroll.cli.app import app
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.cli.sealing import open_record
from wideroll.errors import InputError, RecordError
from wideroll.record import Checkpoint, RecordReport, checkpoint_json, checkpoint_of, sign_checkpoint
from wideroll.store import (
    CHECKPOINTS,
    KEPT,
    FilesReport,
    RecordStore,
    check_files,
    check_kept_files,
    is_bundle,
    kept_checkpoints,
    make_key,
    open_bundle,
    prove_read,
    public_path,
    read_checkpoint,
    read_public_key,
    read_secret_key,
    save_checkpoint,
    write_bundle,
)

__all__ = ["export", "key", "sign", "verify"]

_MEND: Final = "Keep everything as it is, find out what happened, and restore the record from its last good copy."

record = typer.Typer(no_args_is_help=True, help="Sign, verify and export the record of a plant.")
app.add_typer(record, name="record")

KeyFile = Annotated[Path, typer.Option("--key", metavar="FILE", help="Your secret key.")]
PublicKeys = Annotated[
    list[Path] | None,
    typer.Option("--key", metavar="FILE", help="A public key that must have signed; may be repeated."),
]
Checkpoints = Annotated[
    list[Path] | None,
    typer.Option("--checkpoint", metavar="FILE", help="A checkpoint kept elsewhere; may be repeated."),
]


@record.command()
def key(file: Annotated[Path, typer.Argument(metavar="FILE", help="Where the secret key goes.")]) -> None:
    """Make a key to sign with: FILE is for you alone, the one beside it that ends in .pub is for everyone.

    \b
    Examples:
      wideroll record key ~/engineer.pem
      wideroll record key /media/stick/examiner.pem
    """
    public = make_key(file)
    say(f"public key {public}")
    say(f"secret: {file}")
    say(f"public: {public_path(file)}")


@record.command()
def sign(
    plant: PlantArg,
    *,
    key: KeyFile,
    who: Annotated[str, typer.Option(help="Who signs.")],
    says: Annotated[str, typer.Option(metavar="TEXT", help="What you sign to, in words.")] = "",
    event: Annotated[int | None, typer.Option(metavar="N", min=1, help="The one event that you sign off.")] = None,
) -> None:
    """Sign the record as it stands; later it can't be changed or shortened unseen.

    \b
    Examples:
      wideroll record sign demo --key ~/engineer.pem --who "R. Engineer"
      wideroll record sign demo --key ~/second.pem --who "A. Second" --event 3 --says "seen and agreed"
    """
    secret = read_secret_key(key)
    store = _record(plant)
    with store:
        _hold(store.verify(kept=kept_checkpoints(plant / CHECKPOINTS)), plant)

        def made(events: int, head: str) -> Checkpoint:
            when = datetime.now(UTC).isoformat(timespec="seconds")
            return sign_checkpoint(
                secret, events, head, who=who, when_utc=when, version=__version__, says=says, event=event
            )

        added = store.append_checkpoint(made)
    one = checkpoint_of(added.body)
    if one is not None:
        path = save_checkpoint(plant / CHECKPOINTS, one)
        say(f"{who} signed {one.events} events; that is event {added.number}.")
        say(f"checkpoint: {path}")
        tell("Keep a copy of the checkpoint where the record isn't: it shows when events are cut off at the end.")


@record.command()
def verify(
    path: Annotated[Path, typer.Argument(metavar="PATH", help="Folder of a plant, or a bundle.")],
    *,
    key: PublicKeys = None,
    checkpoint: Checkpoints = None,
    as_json: Json = False,
) -> None:
    """Prove chain, signatures and files of the record, or name the first event that fails.

    \b
    Examples:
      wideroll record verify demo
      wideroll record verify bundle.zip --key engineer.pub

    Exit code: 0 all holds, 4 it doesn't.
    """
    keys = [read_public_key(one) for one in key or ()]
    kept = [read_checkpoint(one) for one in checkpoint or ()]
    report, files = _of_bundle(path, keys, kept) if is_bundle(path) else _of_plant(path, keys, kept)
    if as_json:
        print_json(_document(report, files))
        raise typer.Exit(0 if report.intact else RecordError.exit_code)
    _hold(report, path, mend=(files and files.mend) or _MEND)
    _show(report, files)


@record.command()
def export(
    plant: PlantArg,
    bundle: Annotated[Path, typer.Argument(metavar="BUNDLE", help="New folder, or a file that ends in .zip.")],
) -> None:
    """Write the record as a bundle that verifies on another machine with public keys alone.

    \b
    Examples:
      wideroll record export demo record.zip
      wideroll record export demo bundle
    """
    with _record(plant) as store:
        report = store.verify(kept=kept_checkpoints(plant / CHECKPOINTS))
        _hold(report, plant)
        write_bundle(bundle, store.rows(), report)
    say(f"bundle of {report.events} events: {bundle}")
    if report.signed < report.events:
        tell(
            f"Events {report.signed + 1} to {report.events} aren't signed, so the bundle doesn't verify with a key. "
            "Sign first: wideroll record sign."
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


def _of_plant(plant: Path, keys: Sequence[str], kept: Sequence[Checkpoint]) -> tuple[RecordReport, FilesReport | None]:
    with _record(plant) as store:
        report = _with_keys(
            store.verify(kept=(*kept, *kept_checkpoints(plant / CHECKPOINTS)), trusted=keys), keys, whole=False
        )
        if not report.intact:
            return report, None
        files = check_files(plant, store.rows())
        files = check_kept_files(plant, store.naming(KEPT), files)
    if files.first_bad is not None:
        return _failed(report, files.first_bad, files.why), files
    return report, files


def _of_bundle(path: Path, keys: Sequence[str], kept: Sequence[Checkpoint]) -> tuple[RecordReport, None]:
    bundle = open_bundle(path)
    report = prove_read(bundle.rows(), kept=kept, trusted=keys)
    if report.intact and (report.events, report.head) != (bundle.events, bundle.head):
        why = f"tail: the bundle says it holds {bundle.events} events, it ends after {report.events}"
        return _failed(report, min(report.events, bundle.events) + 1, why), None
    return _with_keys(report, keys, whole=True), None


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


def _hold(report: RecordReport, path: Path, *, mend: str = _MEND) -> None:
    if not report.intact:
        raise RecordError(
            where=f"record of {path}, event {report.first_bad}", rule="must hold", value=report.why, mend=mend
        )


def _show(report: RecordReport, files: FilesReport | None) -> None:
    say(f"{report.events} events, none changed, moved or left out. Last digest: {report.head}")
    for one in report.checkpoints:
        what = f"event {one.event}" if one.event is not None else f"{one.events} events"
        words = f": {one.says}" if one.says else ""
        say(f"signed: {what} by {one.who}, {one.when_utc}, key {one.key[:8]}…{words}")
    if report.signed < report.events:
        say(f"not signed: events {report.signed + 1} to {report.events}")
    if files is not None:
        say(f"{files.files} files of {files.decisions} standing decisions are those that were sealed.")
        _show_taken_in(files)
        if files.photographs:
            say(f"photographs of complaints, as they were kept: {files.photographs}")
        if files.base_periods:
            say(f"base periods of control charts, as they were frozen: {files.base_periods}")


def _show_taken_in(files: FilesReport) -> None:
    others = len(files.not_taken_in)
    say(f"{files.taken_in - others} of {files.taken_in} files that were taken in are still so.")
    for one in files.not_taken_in:
        say(f"not yet taken in: {one.file} {one.why} (event {one.event})")


def _document(report: RecordReport, files: FilesReport | None) -> dict[str, Any]:
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
