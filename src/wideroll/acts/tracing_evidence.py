"""What is known of a coated roll, from the files that its standing decision names."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from wideroll.acts.finished_table import sealed_file
from wideroll.acts.standing_acts import StandingActs
from wideroll.errors import InputError
from wideroll.examination import Sheet, Sighting
from wideroll.readers import PlantFolder
from wideroll.repeats import Candidate
from wideroll.roll import Coverage, Extent
from wideroll.scan import Streak
from wideroll.sensitometry import StripKind
from wideroll.store import from_plain, hash_file
from wideroll.workflow import RollCard
from wideroll.workflow.take_in import whole_web
from wideroll.workflow.tracing_model import FilmReading, RollEvidence, StripPlace, TracedSeries

__all__ = ["EvidenceRoom"]

_MARKS, _SCAN, _DECISION, _CHIPS = "marks.parquet", "state/scan.json", "decision.json", "chips"
_READING = "reading"


@dataclass(frozen=True, slots=True)
class EvidenceRoom:
    """Evidence of a plant's coated rolls; each is read when asked for."""

    files: PlantFolder
    standing: Mapping[str, StandingActs]

    def of(self, roll: str) -> RollEvidence:
        """What is known of a roll.

        Raises:
            InputError: when a file has a fault.
            RecordError: when a sealed file isn't the one that the record names.
        """
        card, acts = self.files.card(roll), self.standing.get(roll)
        if acts is None:
            return RollEvidence(
                roll=roll,
                length_m=card.length_m,
                coated=card.coated,
                batches=card.batches,
                splices_m=card.splices_m,
                notes=("No decision stands on this roll: nothing is told of marks, strips and sightings.",),
            )
        return _decided(self.files, card, acts)

    def series_of(self, roll: str) -> tuple[TracedSeries, ...]:
        """The series of a decided roll."""
        acts = self.standing[roll]
        folder = self.files.root / "results" / roll
        document = json.loads(sealed_file(folder, acts, _DECISION))
        return tuple(_series(document["series"], _marks(folder, acts)))


def _decided(files: PlantFolder, card: RollCard, acts: StandingActs) -> RollEvidence:
    folder = files.root / "results" / card.name
    document: dict[str, Any] = json.loads(sealed_file(folder, acts, _DECISION))
    marks = _marks(folder, acts)
    streaks, coverage = _scanned(folder, acts)
    sheets, sightings, strips, notes = _said(files, card, document)
    return RollEvidence(
        roll=card.name,
        length_m=card.length_m,
        coated=card.coated,
        batches=card.batches,
        marks=marks,
        chips=_chips(folder, files.root, acts),
        streaks=streaks,
        series=tuple(_series(document["series"], marks)),
        coverage=coverage,
        sheets=sheets,
        sightings=sightings,
        strips=strips,
        readings=tuple(_readings(document)),
        splices_m=card.splices_m,
        notes=notes,
    )


def _marks(folder: Path, acts: StandingActs) -> pl.DataFrame | None:
    if _MARKS not in acts.outputs:
        return None
    return pl.read_parquet(BytesIO(sealed_file(folder, acts, _MARKS)))


def _scanned(folder: Path, acts: StandingActs) -> tuple[tuple[Streak, ...], Coverage | None]:
    if _SCAN not in acts.outputs:
        return (), None
    value = json.loads(sealed_file(folder, acts, _SCAN))["value"]
    return from_plain(value["streaks"], tuple[Streak, ...]), from_plain(value["coverage"], Coverage)


def _chips(folder: Path, root: Path, acts: StandingActs) -> dict[str, str]:
    """Path of each mark's crop, from the plant's folder."""
    if _CHIPS not in acts.outputs:
        return {}
    sealed_file(folder, acts, _CHIPS)
    listed = json.loads((folder / _CHIPS / "chips.json").read_bytes())["chips"]
    return {one["id"]: (folder / _CHIPS / one["file"]).relative_to(root).as_posix() for one in listed}


def _series(listed: list[dict[str, Any]], marks: pl.DataFrame | None) -> Iterator[TracedSeries]:
    for number, one in enumerate(listed, start=1):
        members = tuple(one["members"])
        if marks is None or not members:
            continue
        yield TracedSeries(
            number=number,
            spacing_m=one["spacing_m"],
            spacing_low_m=one["spacing_low_m"],
            spacing_high_m=one["spacing_high_m"],
            across_mm=one["across_mm"],
            extent=Extent(**one["extent"]),
            members=members,
            places_m=tuple(marks["along_m"].gather(list(members)).to_list()),
            turns=tuple(one["turns"]),
            print_probability=one["print_probability"],
            candidates=from_plain(one["candidates"], tuple[Candidate, ...]),
            kind=one["kind"],
        )


def _readings(document: Mapping[str, Any]) -> Iterator[FilmReading]:
    measured = {one["name"] for one in document["criteria"] if one["measurand"] == _READING}
    for one in document["findings"]:
        if one["criterion"] in measured and one["found"] is not None and one["extent"] is not None:
            names = ("criterion", "found", "low", "high", "limit", "unit", "verdict", "why")
            yield FilmReading(extent=Extent(**one["extent"]), **{name: one[name] for name in names})


def _said(
    files: PlantFolder, card: RollCard, document: Mapping[str, Any]
) -> tuple[tuple[Sheet, ...], tuple[Sighting, ...], tuple[StripPlace, ...], tuple[str, ...]]:
    """What people wrote: sheets, sightings, strips; and what of it isn't as it was when the roll was decided."""
    notes = list(_changed(files.root, card.name, document))
    sheets: tuple[Sheet, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    strips: tuple[StripPlace, ...] = ()
    try:
        whole = whole_web(card.length_m, files.plant().web_width_mm)
        sheets = files.sheets(card.name, whole)
        sightings = files.sightings(card.name, sheets)
        strips = tuple(_strips(files, card.name, document))
    except InputError as error:
        notes.append(f"Left out, as a file has a fault: {error}")
    return sheets, sightings, strips, tuple(notes)


def _strips(files: PlantFolder, roll: str, document: Mapping[str, Any]) -> Iterator[StripPlace]:
    held = {one["run"]: bool(one["usable"]) for one in document["process_runs"]}
    for strip in files.strips(roll):
        if strip.kind is StripKind.CHECK and strip.place is not None:
            yield StripPlace(
                name=strip.name,
                along_m=strip.place.along_m,
                across_mm=strip.place.across_mm,
                run=strip.run,
                usable=held.get(strip.run, False) and not strip.why_unusable,
            )


def _changed(root: Path, roll: str, document: Mapping[str, Any]) -> Iterator[str]:
    """Tables and cards of the roll that aren't those the decision was made from; its scan isn't looked at."""
    for name, sealed in sorted(document["inputs"].items()):
        if not name.startswith(f"rolls/{roll}/") or name.startswith(f"rolls/{roll}/scan/"):
            continue
        try:
            same = hash_file(root / name) == sealed
        except InputError:
            same = False
        if not same:
            yield f"{name} isn't what the decision was made from."
