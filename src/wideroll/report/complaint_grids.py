"""Complaints as tables: many cases, and the steps, samples and photographs of one."""

from collections.abc import Sequence
from typing import Final

from wideroll.report.complaint_words import next_words, place_words
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_count
from wideroll.workflow.complaint_model import Complaint, Sample

__all__ = ["complaints_grid", "photographs_grid", "samples_grid", "steps_grid"]

_DAY: Final = 10


def complaints_grid(cases: Sequence[Complaint], *, caption: str = "Complaints") -> Grid:
    """One row a case: how it stands, where and what, what it touches, what is next."""
    return Grid(
        caption=caption,
        columns=(
            Column(head="case", keep=True),
            Column(head="state"),
            Column(head="opened", keep=True),
            Column(head="finished roll"),
            Column(head="seen"),
            Column(head="wide roll and batch"),
            Column(head="next, or how it ended"),
        ),
        rows=tuple(_case_row(case) for case in cases),
        empty="None.",
    )


def steps_grid(case: Complaint) -> Grid:
    """What was done, step by step, as the record has it."""
    return Grid(
        caption="Steps, as the record has them",
        columns=(
            Column(head="event", number=True),
            Column(head="when, UTC", keep=True),
            Column(head="who"),
            Column(head="step"),
            Column(head="said"),
        ),
        rows=tuple(
            (
                Cell(text=str(step.number)),
                Cell(text=_moment(step.when_utc)),
                Cell(text=step.who),
                Cell(text=step.step),
                Cell(text=step.words),
            )
            for step in case.steps
        ),
    )


def samples_grid(case: Complaint) -> Grid:
    """Retained samples: asked for, looked at, and what was seen."""
    return Grid(
        caption="Retained samples",
        columns=(Column(head="sample"), Column(head="state"), Column(head="seen on it")),
        rows=tuple(
            (Cell(text=one.name), Cell(text=_sample_state(one)), Cell(text="; ".join(one.saw) or "–"))
            for one in case.samples
        ),
        empty="None was asked for.",
    )


def photographs_grid(case: Complaint) -> Grid:
    """Photographs by the name they came with, and where they are kept."""
    return Grid(
        caption="Photographs",
        columns=(Column(head="name"), Column(head="kept as")),
        rows=tuple((Cell(text=photo.name), Cell(text=photo.file)) for photo in case.photos),
        empty="None came with it.",
    )


def _case_row(case: Complaint) -> tuple[Cell, ...]:
    return (
        Cell(text=case.name),
        Cell(text=case.state.value, tone="strong"),
        Cell(text=case.steps[0].when_utc[:_DAY]),
        Cell(text=case.finished, note=place_words(case)),
        Cell(text=case.saw[0], note=f"and {show_count(len(case.saw) - 1, 'more')}" if len(case.saw) > 1 else ""),
        Cell(text=", ".join([*case.rolls, *case.batches]) or "not traced"),
        Cell(text=next_words(case) or (f"{case.finding}: {case.outcome}" if case.finding else "")),
    )


def _sample_state(one: Sample) -> str:
    if one.waited_for:
        return "asked for"
    return "looked at" if one.there else "not there any more"


def _moment(text: str) -> str:
    return text[:16].replace("T", " ")
