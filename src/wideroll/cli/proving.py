"""The commands of the record: make a key, sign, verify, export."""

from pathlib import Path
from typing import Annotated

import typer

from wideroll.acts.proving import export_record, hold, proof_document, prove_record, sign_record
from wideroll.cli.app import app
from wideroll.cli.commands import InFull
from wideroll.cli.console import print_json, say, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.errors import RecordError
from wideroll.record import RecordReport
from wideroll.store import FilesReport, make_key, public_path, read_checkpoint, read_public_key, read_secret_key

__all__ = ["export", "key", "sign", "verify"]

record = typer.Typer(cls=InFull, no_args_is_help=True, help="Sign, verify and export the record of a plant.")
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
    done = sign_record(plant, read_secret_key(key), who=who, says=says, event=event)
    say(f"{who} signed {done.checkpoint.events} events; that is event {done.event.number}.")
    say(f"checkpoint: {done.path}")
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
    proof = prove_record(path, keys, kept)
    if as_json:
        print_json(proof_document(proof))
        raise typer.Exit(0 if proof.report.intact else RecordError.exit_code)
    hold(proof.report, path, mend=proof.mend)
    _show(proof.report, proof.files)


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
    report = export_record(plant, bundle)
    say(f"bundle of {report.events} events: {bundle}")
    if report.signed < report.events:
        tell(
            f"Events {report.signed + 1} to {report.events} aren't signed, so the bundle doesn't verify with a key. "
            "Sign first: wideroll record sign."
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
