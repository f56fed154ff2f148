"""The kept decision made again from its evidence, and the whole chain behind it."""

import os
from pathlib import Path

from wideroll.acts.rolls import RollInHand
from wideroll.acts.sealing import assessment_behind, decision_event
from wideroll.readers.raster_segments import SegmentedRaster
from wideroll.report.explanation import (
    Entry,
    Input,
    Node,
    Origins,
    Segment,
    explain,
    named_with,
)
from wideroll.scan import LinePlaces
from wideroll.workflow import Assessment

__all__ = ["explain_roll"]


def explain_roll(hand: RollInHand, assessment: Assessment | None, about: str | None) -> Node:
    """The chain behind the roll's decision as it stands on disk and in the record.

    Args:
        hand: the roll, decided.
        assessment: from which the decision was just made; None makes it again from the same inputs.
        about: text that the criteria to explain contain; None explains all.

    Raises:
        RecordError: when the decision made again isn't the one that stands.
    """
    again = assessment_behind(hand, assessment)
    names = dict.fromkeys(finding.criterion for finding in again.decision.findings)
    return explain(again, _origins(hand), about=None if about is None else named_with(about, names))


def _origins(hand: RollInHand) -> Origins:
    event = decision_event(hand)
    outputs = {} if event is None else event.body.get("outputs")
    return Origins(
        roll=hand.desk.card.name,
        fingerprint=hand.fingerprint,
        inputs=tuple(
            Input(name=name, content=content, size_bytes=(hand.root / name).stat().st_size)
            for name, content in hand.inputs.items()
        ),
        segments=_segments(hand),
        entry=None
        if event is None
        else Entry(
            number=event.number,
            who=event.who,
            when_utc=event.when_utc,
            version=event.version,
            digest=event.digest,
            outputs={name: str(content) for name, content in outputs.items()} if isinstance(outputs, dict) else {},
        ),
        compared_with=hand.compared_with,
        measurements=hand.desk.properties(),
    )


def _segments(hand: RollInHand) -> tuple[Segment, ...]:
    """Which stretch of web each file of the scan holds."""
    raster = hand.desk.raster()
    if not isinstance(raster, SegmentedRaster):
        return ()
    along_m = (raster.places or LinePlaces.steady(raster.pitch_mm[0])).along_m
    return tuple(
        Segment(
            name=Path(os.path.relpath(file.path, hand.root)).as_posix(),
            along_from_m=float(along_m(float(start))),
            along_to_m=float(along_m(float(start + file.lines))),
        )
        for start, file in zip(raster.starts, raster.files, strict=True)
    )
