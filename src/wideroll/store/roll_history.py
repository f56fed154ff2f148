"""The history of decided rolls as a Parquet file, made again only for rolls that were decided since."""

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Final

import polars as pl

from wideroll.control import RollValue, history_table
from wideroll.errors import ArgumentError, InputError
from wideroll.record import Event, digest
from wideroll.store.acts import DECISION
from wideroll.store.files import read_bytes, read_json, write_json, write_whole
from wideroll.store.record_db import RecordStore
from wideroll.workflow.measured import measured_values

__all__ = ["HISTORY", "RollHistory", "update_history"]

HISTORY: Final = "history.parquet"
_STATE: Final = "history.json"
_SCHEMA: Final = "wideroll/history/1"
_MEASURED: Final = "measured.json"
_ORDER: Final = ("quantity", "record", "part", "coated", "roll")
"""Of rows: what is asked for together lies together, so that little of the file is read."""
_GROUP_ROWS: Final = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RollHistory:
    """Where the history lies, how many rolls it holds, and which decided rolls it lacks and why."""

    path: Path
    rolls: int
    left_out: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """What the file was made from: the record up to an event, and the table of earlier rolls."""

    number: int = 0
    digest: str = ""
    earlier: str = ""
    table: str = ""
    left_out: dict[str, str] = field(default_factory=dict)


def update_history(
    results: Path, record: RecordStore | None, earlier: Callable[[], Sequence[RollValue]], *, mark: str
) -> RollHistory:
    """Bring the history up to the record: rolls decided since are put in, in place of what was said of them before.

    The same record and earlier rolls give the same bytes, whichever way it came about. A file that isn't the one that
    was written is made again. Rolls whose measured values can't be taken are left out, each with the reason.

    Args:
        results: folder of the plant's results.
        record: None where there is none yet.
        earlier: gives the values of rolls from before the record; where a roll was decided, its decision counts.
        mark: changes when these do, such as the hash of their file; they are only asked for then.

    Raises:
        InputError: when the disk refuses, or an earlier roll's time of coating is none.
        RecordError: at an event that can't be read.
    """
    path = results / HISTORY
    state = _kept(results, record, mark)
    since, again = _decided(record, state)
    found = {roll: _measured(results / roll, event) for roll, event in (again | since).items()}
    left_out = {roll: one for roll, one in found.items() if isinstance(one, str)}
    if state.table and not since and left_out == state.left_out:
        return _told(path, state)
    last = max((event.number for event in since.values()), default=state.number)
    data = _parquet(_joined(path if state.table else None, found, earlier))
    write_whole(path, data)
    known = _State(
        number=last,
        digest=_digest_at(record, last),
        earlier=mark,
        table=digest(data),
        left_out=dict(sorted(left_out.items())),
    )
    write_json(results / _STATE, {"schema": _SCHEMA, **asdict(known)})
    return _told(path, known)


def _told(path: Path, state: _State) -> RollHistory:
    rolls = int(pl.scan_parquet(path).select(pl.col("roll").n_unique()).collect().item())
    return RollHistory(path=path, rolls=rolls, left_out=dict(state.left_out))


def _kept(results: Path, record: RecordStore | None, earlier: str) -> _State:
    """What stands, where it was made from this record and these earlier rolls; else nothing."""
    try:
        document = read_json(results / _STATE)
        if document.pop("schema") != _SCHEMA:
            return _State()
        state = _State(**document)
        sound = state.earlier == earlier and digest(read_bytes(results / HISTORY)) == state.table
    except (InputError, KeyError, TypeError, AttributeError):
        return _State()
    return state if sound and _digest_at(record, state.number) == state.digest else _State()


def _digest_at(record: RecordStore | None, number: int) -> str:
    """Of the decision with that number; empty where there is none."""
    if record is None or not number:
        return ""
    event = next(record.of_act(DECISION, after=number - 1), None)
    return event.digest if event is not None and event.number == number else ""


def _decided(record: RecordStore | None, state: _State) -> tuple[dict[str, Event], dict[str, Event]]:
    """The last decision of each roll decided since, and of each that was left out: it may have been mended."""
    if record is None:
        return {}, {}
    since = {str(event.body.get("roll")): event for event in record.of_act(DECISION, after=state.number)}
    again = {roll: event for roll in state.left_out if (event := record.last(DECISION, roll)) is not None}
    return since, again


def _measured(folder: Path, event: Event) -> tuple[RollValue, ...] | str:
    """The values kept with a decision, or why they can't be taken."""
    outputs = event.body.get("outputs")
    sealed = outputs.get(_MEASURED) if isinstance(outputs, dict) else None
    if sealed is None:
        return "it was decided by a version that kept no measured values; decide it again"
    path = folder / _MEASURED
    try:
        data = read_bytes(path)
        if digest(data) != sealed:
            return f"{path} isn't the file that event {event.number} of the record names; decide it again"
        values = measured_values(read_json(path), where=str(path))
        history_table(values)
    except InputError as error:
        return str(error)
    except ArgumentError:
        return "when it was coated isn't noted in its roll.toml"
    return values


def _joined(
    path: Path | None, found: Mapping[str, tuple[RollValue, ...] | str], earlier: Callable[[], Sequence[RollValue]]
) -> pl.DataFrame:
    """What stands, with the rolls found in the place of what was said of them; earlier ones where these can't be."""
    taken = {roll: values for roll, values in found.items() if not isinstance(values, str)}
    new = history_table(value for values in taken.values() for value in values)
    if path is None:
        return _sorted(history_table(one for one in earlier() if one.roll not in taken), new)
    before = pl.read_parquet(path, memory_map=False).filter(~pl.col("roll").is_in(list(found)))
    lost = found.keys() - taken.keys()
    return _sorted(before, new, *([history_table(one for one in earlier() if one.roll in lost)] if lost else []))


def _sorted(*tables: pl.DataFrame) -> pl.DataFrame:
    return pl.concat(tables).sort(_ORDER)


def _parquet(table: pl.DataFrame) -> bytes:
    out = io.BytesIO()
    table.write_parquet(out, compression="zstd", row_group_size=_GROUP_ROWS, statistics=True)
    return out.getvalue()
