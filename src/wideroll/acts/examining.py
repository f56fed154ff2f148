"""What an examiner noted comes among a roll's evidence: lines below those of others, and an event of the record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

from wideroll import __version__
from wideroll.acts.examining_files import ExaminationFiles, read_examination, try_examination
from wideroll.acts.examining_lines import LookedAt, SentSheet, with_looks, without_line
from wideroll.acts.plants import plant_files
from wideroll.acts.sealing import now_utc, record_held
from wideroll.acts.whoever import who_acts
from wideroll.errors import InputError, WiderollError
from wideroll.examination import Sheet
from wideroll.record import Event, Json, digest
from wideroll.store import Lookup, RecordStore, evidence_bodies, evidence_named
from wideroll.store.acts import SIGHTING
from wideroll.store.files import read_bytes, write_whole
from wideroll.store.together import finish_together, write_together
from wideroll.workflow import whole_web

__all__ = ["LookedAt", "Sent", "SentSheet", "finish_sending", "send_looks", "sheet_cells", "take_line_back"]

_JOURNALS: Final = ("desk", "sending")
_SAME_M: Final = 0.0005
_SAME_MM: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """What came among the evidence. ``trouble`` says why the record doesn't name it yet."""

    sheets: tuple[SentSheet, ...]
    events: tuple[Event, ...] = ()
    trouble: str = ""


def send_looks(
    plant: Path,
    roll: str,
    looked: Sequence[LookedAt],
    *,
    who: str | None,
    photographs: Mapping[str, bytes] | None = None,
    with_it: Mapping[str, str] | None = None,
    recorded: str = "",
) -> Sent:
    """Write an examiner's looks below what the files hold, all or none, and let the record name them.

    A sheet that isn't listed is listed with the examiner; one that is gets a further look, also when somebody
    listed it meanwhile.

    Args:
        plant: its folder.
        roll: its name.
        looked: sheets in the order they were looked at.
        who: examined them; None takes the name logged in with.
        photographs: PNG or JPEG files by the names that the lines give.
        with_it: new text of files of the plant that belong to it, by their paths in the plant's folder.
        recorded: who does it in the record, where that isn't the examiner alone.

    Raises:
        InputError: when the files have a fault, or would have one with these lines; then nothing is written.
        RecordError: when the record doesn't hold.
    """
    examiner = who_acts(who)
    with record_held(plant, [plant / "results" / roll]) as store:
        before = _before(plant, roll)
        _check_whole_list(before, looked, examiner)
        sheets, texts = with_looks(before, looked, examiner)
        new = {name: data for name, data in (photographs or {}).items() if not (before.folder / name).is_file()}
        try_examination(before, texts, more=sum(one.sightings for one in sheets), photographs=sorted(new))
        for name, data in new.items():
            write_whole(before.folder / name, data)
        inside = {f"rolls/{roll}/examination/{name}": text for name, text in texts.items()}
        write_together(plant, _journal(plant, roll), {**inside, **(with_it or {})})
        return _recorded(store, plant, roll, recorded or examiner, sheets)


def take_line_back(plant: Path, roll: str, line: str, *, who: str | None, why: str) -> Sent:
    """Write below the sightings that a line no longer holds, and let the record name it; it stays readable.

    Args:
        plant: its folder.
        roll: its name.
        line: name of the line; one that took another back can be taken back, too.
        who: takes it back; None takes the name logged in with.
        why: in words.

    Raises:
        InputError: when no reason is given, no such line holds, or the files have a fault; then nothing is written.
        RecordError: when the record doesn't hold.
    """
    person = who_acts(who)
    if not why:
        raise InputError(where="why", rule="a line is taken back for a reason", mend="Say what was wrong with it.")
    with record_held(plant, [plant / "results" / roll]) as store:
        before = _before(plant, roll)
        texts = without_line(before, line, f"{why} ({person})")
        try_examination(before, texts, more=1)
        inside = {f"rolls/{roll}/examination/{name}": text for name, text in texts.items()}
        write_together(plant, _journal(plant, roll), inside)
        return _recorded(store, plant, roll, person, ())


def _recorded(store: RecordStore, plant: Path, roll: str, who: str, sheets: tuple[SentSheet, ...]) -> Sent:
    """The record names the tables as they are now; where it can't, they stand all the same."""
    try:
        events = store.append_made(partial(_unnamed, plant, roll), who, now_utc(), __version__)
    except WiderollError as error:
        return Sent(sheets=sheets, trouble=str(error))
    return Sent(sheets=sheets, events=events)


def _before(plant: Path, roll: str) -> ExaminationFiles:
    """The examination as it stands, once what a crash left is finished."""
    finish_sending(plant, roll)
    files = plant_files(plant)
    return read_examination(plant, roll, whole_web(files.card(roll).length_m, files.plant().web_width_mm))


def finish_sending(plant: Path, roll: str) -> bool:
    """Finish what a crash left half written; whether there was anything.

    Raises:
        InputError: when somebody changed the files since.
    """
    return finish_together(plant, _journal(plant, roll))


def sheet_cells(sheet: Sheet, whole_width_mm: float) -> dict[str, str]:
    """A listed sheet in the words of sheets.csv.

    Args:
        sheet: it.
        whole_width_mm: of the web; the place across is left out of a sheet as wide.
    """
    extent = sheet.extent
    cells = {"sheet": sheet.name, "along_from": f"{extent.along_from_m!r} m", "along_to": f"{extent.along_to_m!r} m"}
    if extent.width_mm < whole_width_mm - _SAME_MM:
        cells |= {"across_from": f"{extent.across_from_mm!r} mm", "across_to": f"{extent.across_to_mm!r} mm"}
    return cells | {"taken": "drawn" if sheet.drawn else "chosen"}


def _journal(plant: Path, roll: str) -> Path:
    return plant.joinpath(*_JOURNALS, f"{roll}.json")


def _check_whole_list(before: ExaminationFiles, looked: Sequence[LookedAt], examiner: str) -> None:
    """Sheets listed without a table of sightings weren't examined yet; that table would say that nothing was seen."""
    if "sightings.csv" in before.texts or not before.sheets:
        return
    now = {one.sheet for one in looked}
    left = [one.name for one in before.sheets if one.name not in now or one.examiner != examiner]
    if left:
        raise InputError(
            where=str(before.folder / "sheets.csv"),
            rule="sheets listed before anybody noted anything are sent all at once, by the examiner who is listed",
            value=", ".join(left),
            mend="Look at these too, or take their lines out of sheets.csv until somebody does.",
        )


def _unnamed(plant: Path, roll: str, look: Lookup) -> Sequence[tuple[str, dict[str, Json]]]:
    """The acts that make the record name the files of the examination as they are."""
    folder = plant / "rolls" / roll / "examination"
    there = sorted(path for path in folder.rglob("*") if path.is_file())
    files = {path.relative_to(plant).as_posix(): digest(read_bytes(path)) for path in there}
    bodies = evidence_bodies(roll, files, evidence_named(look, roll, files), root=plant)
    return [(act, body) for act, body in bodies if act == SIGHTING]
