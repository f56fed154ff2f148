"""What stands on each roll of a plant, by a record that was proven in the same pass."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wideroll.acts.sealing import open_record
from wideroll.errors import RecordError
from wideroll.record import CHECKPOINT, Written
from wideroll.store import CUT, DECISION, prove_read
from wideroll.workflow.tracing_model import Signature, StandingDecision

__all__ = ["StandingActs", "standing_acts"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingActs:
    """The last decision on a roll, and the last cut recorded after it if there is one."""

    decision: Written
    said: Mapping[str, Any]
    """The decision's body."""
    cut: Written | None = None
    outputs: Mapping[str, str] = field(default_factory=dict)
    """Digest of each file that goes with them, by its name in the roll's results."""
    earlier: tuple[int, ...] = ()
    """Events whose cut lists were others."""
    signed: tuple[Signature, ...] = ()

    @property
    def number(self) -> int:
        """The event by which the cut list stands."""
        return self.decision.number if self.cut is None else self.cut.number

    def decided(self) -> StandingDecision:
        """The decision for a trace."""
        return StandingDecision(
            roll=str(self.said["roll"]),
            product=str(self.said["product"]),
            verdict=str(self.said["verdict"]),
            why=str(self.said["why"]),
            event=self.decision.number,
            who=self.decision.who,
            when_utc=self.decision.when_utc,
            digest=self.decision.digest,
            cut_event=None if self.cut is None else self.cut.number,
            earlier=self.earlier,
            signed=self.signed,
        )


def standing_acts(root: Path) -> dict[str, StandingActs]:
    """What stands on each roll, by its name; nothing where there is no record yet.

    Args:
        root: the plant's folder.

    Raises:
        InputError: when plant.toml has a fault, or the database can't be opened.
        RecordError: when the record doesn't hold.
    """
    store = open_record(root)
    if store is None:
        return {}
    kept: list[Written] = []
    with store:
        report = prove_read(_kept(store.rows(), kept))
    if not report.intact:
        raise RecordError(
            where=f"record of {root}, event {report.first_bad}",
            rule="the record must hold from first to last event",
            value=report.why,
            mend="Trust nothing that rests on it: keep the database as it is, and see `wideroll record verify`.",
        )
    signatures = tuple(_signature(row) for row in kept if row.act == CHECKPOINT)
    acts: dict[str, list[tuple[Written, dict[str, Any]]]] = {}
    for row in kept:
        if row.act != CHECKPOINT:
            body = json.loads(row.body)
            acts.setdefault(str(body.get("roll")), []).append((row, body))
    return {roll: one for roll, rows in acts.items() if (one := _standing(rows, signatures)) is not None}


def _kept(rows: Iterable[Written], kept: list[Written]) -> Iterator[Written]:
    for row in rows:
        if row[1] in {DECISION, CUT, CHECKPOINT}:
            kept.append(row)
        yield row


def _signature(row: Written) -> tuple[int, Signature]:
    said = json.loads(row.body)
    return int(said["events"]), Signature(who=str(said["who"]), when_utc=str(said["when_utc"]), event=row.number)


def _standing(
    rows: list[tuple[Written, dict[str, Any]]], signatures: tuple[tuple[int, Signature], ...]
) -> StandingActs | None:
    decided = next((number for number in reversed(range(len(rows))) if rows[number][0].act == DECISION), None)
    if decided is None:
        return None
    decision, said = rows[decided]
    cut, replaced = rows[-1] if decided < len(rows) - 1 else (None, dict[str, Any]())
    outputs = {**said.get("outputs", {}), **replaced.get("outputs", {})}
    number = decision.number if cut is None else cut.number
    by: dict[str, Signature] = {}
    for events, signature in signatures:
        if events >= number:
            by.setdefault(signature.who, signature)
    return StandingActs(
        decision=decision,
        said=said,
        cut=cut,
        outputs=outputs,
        earlier=tuple(row.number for row, body in rows if _cut_list(body) not in {None, outputs.get("cut.json")}),
        signed=tuple(by.values()),
    )


def _cut_list(body: Mapping[str, Any]) -> str | None:
    outputs = body.get("outputs")
    return outputs.get("cut.json") if isinstance(outputs, dict) else None
