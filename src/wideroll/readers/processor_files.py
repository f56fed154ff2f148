"""The lab's processors: which there are, what ran through each, and which runs of a roll went where."""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.csv_tables import Row, read_table
from wideroll.readers.fields import FileModel, Finite, Positive, each_once
from wideroll.readers.toml_files import read_toml
from wideroll.sensitometry import ControlPlaces, ProcessQuantity, Record
from wideroll.workflow.processor_model import (
    ChartedQuantity,
    ProcessedRun,
    ProcessLog,
    Processor,
    ProcessorHistory,
    ProcessorRun,
)

__all__ = ["ProcessorTable", "ProcessorsFile", "process_files", "read_process_log", "read_processors"]

_LIST: Final = "processors.toml"
_RUNS: Final = "runs.csv"
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?")
"""Of one form, so that later ones sort after."""
_WORDS: Final = {
    ProcessQuantity.MINIMUM: "minimum",
    ProcessQuantity.SPEED: "speed",
    ProcessQuantity.CONTRAST: "contrast",
}
_COLUMNS: Final[Mapping[str, ChartedQuantity]] = {
    f"{record.value}_{word}": (record, quantity) for record in Record for quantity, word in _WORDS.items()
}


class ProcessorTable(FileModel):
    """``[[processors]]`` in processors.toml."""

    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$")]
    process: Annotated[str, Field(min_length=1, max_length=120)]
    speed_log_h: Finite
    contrast_log_h: tuple[Finite, Finite]
    baseline_runs: Annotated[int, Field(ge=10, le=200, strict=True)] = 20
    false_alarm_percent: Annotated[float, Field(ge=0.01, le=5.0, strict=True)] = 0.27
    action_density: Positive | None = None

    @model_validator(mode="after")
    def _lesser_first(self) -> "ProcessorTable":
        low, high = self.contrast_log_h
        if not low < high:
            raise ArgumentError(
                where="contrast_log_h", rule="two log H, the lesser first", value=[low, high], mend="Change the two."
            )
        return self

    def build(self) -> Processor:
        """The processor."""
        return Processor(
            name=self.name,
            process=self.process,
            places=ControlPlaces(speed_log_h=self.speed_log_h, contrast_log_h=self.contrast_log_h),
            baseline_runs=self.baseline_runs,
            false_alarm=self.false_alarm_percent / 100.0,
            action_density=self.action_density,
        )


class ProcessorsFile(FileModel):
    """processors.toml of a plant."""

    processors: Annotated[tuple[ProcessorTable, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _names_once(self) -> "ProcessorsFile":
        each_once("processors", (processor.name for processor in self.processors))
        return self


def read_processors(plant: Path) -> tuple[ProcessorHistory, ...]:
    """``processors.toml`` and ``processors/<name>.csv`` of each; none when the first isn't there.

    Raises:
        InputError: naming the file, and line and column or field.
    """
    path = plant / _LIST
    if not path.is_file():
        return ()
    listed = (table.build() for table in read_toml(path, ProcessorsFile).processors)
    return tuple(ProcessorHistory(processor=one, runs=_history(_history_file(plant, one.name))) for one in listed)


def read_process_log(plant: Path, strips: Path) -> ProcessLog:
    """The processors, and ``runs.csv`` beside a roll's strips; a plant without processors has no log.

    Raises:
        InputError: naming the file, and line and column or field.
    """
    path = strips / _RUNS
    if not path.is_file() or not (plant / _LIST).is_file():
        return ProcessLog()
    histories = read_processors(plant)
    names = [history.processor.name for history in histories]
    runs: list[ProcessedRun] = []
    for row in read_table(path, needed=("run", "processor", "processed_on"), may_be_empty=True):
        run, processor = row.text("run"), row.text("processor")
        if any(run == other.run for other in runs):
            raise row.refuse("run", rule="each run is listed once", mend="Remove one of the lines.")
        if processor not in names:
            raise row.refuse(
                "processor",
                rule=f"must be one of {_LIST}'s: {', '.join(names)}",
                mend="Correct its name, or add the processor.",
            )
        runs.append(ProcessedRun(run=run, processor=processor, processed_on=_moment(row)))
    return ProcessLog(histories=histories, runs=tuple(runs))


def process_files(plant: Path, strips: Path) -> tuple[Path, ...]:
    """The files of the plant that the runs of a roll's strips are judged by; there needn't be any."""
    if not (strips / _RUNS).is_file():
        return ()
    return (plant / _LIST, plant / "processors")


def _history_file(plant: Path, name: str) -> Path:
    return plant / "processors" / f"{name}.csv"


def _history(path: Path) -> tuple[ProcessorRun, ...]:
    rows = read_table(path, needed=("run", "processed_on"), allowed=(*_COLUMNS, "adjusted", "note"), may_be_empty=True)
    runs = [_run(row) for row in rows]
    for row, (before, run) in zip(rows[1:], pairwise(runs), strict=True):
        if run.processed_on < before.processed_on:
            raise row.refuse(
                "processed_on",
                rule=f"runs stand in the order of time; the one before was on {before.processed_on}",
                mend="Correct the date, or move the line.",
            )
    seen: set[str] = set()
    for row, run in zip(rows, runs, strict=True):
        if run.run in seen:
            raise row.refuse("run", rule="each run is listed once", mend="Rename or remove one of the lines.")
        seen.add(run.run)
    return tuple(runs)


def _run(row: Row) -> ProcessorRun:
    columns = _charted_columns(row)
    values = {_COLUMNS[column]: row.number(column) for column in columns}
    for column in columns:
        if math.isnan(values[_COLUMNS[column]]):
            raise row.refuse(column, rule="must be a number", mend="Leave out a run that wasn't read in full.")
    return ProcessorRun(
        run=row.text("run"),
        processed_on=_moment(row),
        values=values,
        adjusted=bool(row.answer("adjusted")),
        note=row.cells.get("note", ""),
    )


def _charted_columns(row: Row) -> Sequence[str]:
    """Those of the table, three of each record."""
    columns = [column for column in _COLUMNS if column in row.cells]
    records = dict.fromkeys(_COLUMNS[column][0] for column in columns)
    needed = [f"{record.value}_{word}" for record in records or (Record.VISUAL,) for word in _WORDS.values()]
    for column in needed:
        if column not in row.cells:
            raise row.refuse(
                column,
                rule="the table has minimum, speed and contrast of each record that is charted",
                mend="Add the column; docs/reference/files.md shows an example.",
            )
    return needed


def _moment(row: Row) -> str:
    text = row.text("processed_on")
    try:
        whole = _DATE.fullmatch(text) is not None and datetime.fromisoformat(text) is not None
    except ValueError:
        whole = False
    if not whole:
        raise row.refuse(
            "processed_on",
            rule="must be a date like 2025-03-14, or date and time like 2025-03-14T09:30, of the plant",
            mend="Write it so.",
        )
    return text
