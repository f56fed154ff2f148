"""The commands that keep a plant safe: back it up, put it back."""

from pathlib import Path
from typing import Annotated

import typer

from wideroll.acts.sealing import open_record
from wideroll.cli.app import app
from wideroll.cli.console import Bar, print_json, say, tell
from wideroll.cli.options import Json, PlantArg
from wideroll.readers import PlantFolder, record_note
from wideroll.store import Manifest, RecordStore, restore_backup, write_backup, write_whole

__all__ = ["backup", "restore"]

_FEW = 5
_MEGABYTE = 1e6

Into = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="Where the record goes instead of where the plant says: wideroll.db, or an empty PostgreSQL database.",
    ),
]


@app.command()
def backup(
    plant: PlantArg,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="New file, or an older backup, which is replaced.")],
    *,
    without_scans: Annotated[
        bool, typer.Option("--without-scans", help="Leave the scanner's rasters out; keep these elsewhere.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Copy a plant and its record to one file, while everyone goes on working.

    \b
    Examples:
      wideroll backup demo /media/disk/demo.backup
      wideroll backup demo demo-small.backup --without-scans
    """
    PlantFolder(plant).record_url()
    record = open_record(plant)
    try:
        manifest = write_backup(file, plant, record, Bar(), without_scans=without_scans)
    finally:
        if record is not None:
            record.close()
    if as_json:
        print_json(_document(manifest))
        return
    say(f"backup of {_what(manifest)}: {file}")
    _show_left_out(manifest)


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    plant: Annotated[Path, typer.Argument(metavar="PLANT", help="New or empty folder.")],
    *,
    into: Into = None,
    as_json: Json = False,
) -> None:
    """Put a backup back as a new folder, once every file and event in it has proved to be what was backed up.

    \b
    Examples:
      wideroll restore /media/disk/demo.backup demo-again
      wideroll restore shared.backup look --into wideroll.db

    Exit code: 0 all was put back, 4 the backup is damaged and nothing was.
    """
    note = None if into is None else record_note(into)

    def record_of(folder: Path) -> RecordStore:
        if note is not None:
            write_whole(folder / "record.toml", note.encode())
        return RecordStore(PlantFolder(folder).record_url())

    manifest, files = restore_backup(file, plant, record_of, Bar())
    if as_json:
        print_json(_document(manifest) | {"stale": files.why or None})
        return
    say(f"put back {_what(manifest)}: {plant}")
    _show_left_out(manifest)
    if files.first_bad is not None:
        tell(
            f"record verify will name event {files.first_bad}, as it was when this was backed up "
            f"or since scans are left out: {files.why}."
        )


def _what(manifest: Manifest) -> str:
    size = sum(kept.bytes for kept in manifest.files.values()) / _MEGABYTE
    return f"{len(manifest.files)} files ({size:,.1f} MB) and {manifest.events} events"


def _show_left_out(manifest: Manifest) -> None:
    if not manifest.left_out:
        return
    size = sum(manifest.left_out.values()) / _MEGABYTE
    names = [*manifest.left_out][:_FEW]
    more = len(manifest.left_out) - len(names)
    say(
        f"not in it: {len(manifest.left_out)} files of scans ({size:,.1f} MB): {', '.join(names)}"
        + (f" and {more} more" if more else "")
    )


def _document(manifest: Manifest) -> dict[str, object]:
    return {
        "schema": "wideroll/backup-report/1",
        "version": manifest.version,
        "events": manifest.events,
        "head": manifest.head,
        "files": len(manifest.files),
        "bytes": sum(kept.bytes for kept in manifest.files.values()),
        "left_out": dict(manifest.left_out),
    }
