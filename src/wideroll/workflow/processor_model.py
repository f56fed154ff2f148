"""The lab's processors: what each is watched by, what ran through it, and what its charts say."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from wideroll.control.model import JointChart
from wideroll.sensitometry.model import Record
from wideroll.sensitometry.process_points import ControlPlaces, ProcessPoint, ProcessQuantity

__all__ = [
    "ChartedQuantity",
    "ProcessLog",
    "ProcessedRun",
    "Processor",
    "ProcessorHistory",
    "ProcessorRun",
    "ProcessorState",
    "Standing",
]

ChartedQuantity: TypeAlias = tuple[Record, ProcessQuantity]


@dataclass(frozen=True, slots=True, kw_only=True)
class Processor:
    """A processing machine of the lab, and how it is watched."""

    name: str
    process: str
    """What it runs, in words."""
    places: ControlPlaces
    baseline_runs: int
    """Good runs since its last adjustment that set the limits of its charts."""
    false_alarm: float
    """Chance that its charts rule out a run of the steady process."""
    action_density: float | None = None
    """A run that departs further than this in anything charted is out of control, whatever the base period says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessorRun:
    """A run on a processor's charts."""

    run: str
    processed_on: str
    """ISO date, or date and time, of the plant; later ones sort after."""
    values: Mapping[ChartedQuantity, float]
    """Departures of its reference strips from aim, in density."""
    adjusted: bool = False
    """Whether the processor was adjusted before it."""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessorHistory:
    """A processor with its runs in the order of time."""

    processor: Processor
    runs: tuple[ProcessorRun, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessedRun:
    """Which processor a run of a roll's strips went through, and when."""

    run: str
    processor: str
    processed_on: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessLog:
    """The processors known, and which runs of a roll went through them."""

    histories: tuple[ProcessorHistory, ...] = ()
    runs: tuple[ProcessedRun, ...] = ()


class Standing(StrEnum):
    """What a processor's charts say of a run."""

    IN_CONTROL = "in control"
    WARNING = "in control, with a warning"
    OUT_OF_CONTROL = "out of control"
    TOO_FEW = "too few runs to say"
    NOT_READ = "nothing to chart"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProcessorState:
    """A processor as its charts show it at one run, its newest: later runs are left out."""

    processor: Processor
    run: str
    standing: Standing
    why: str
    """In words; each broken limit with its record and quantity."""
    warnings: tuple[str, ...] = ()
    """Run rules broken at this run, in words; they don't rule it out."""
    runs: tuple[ProcessorRun, ...] = ()
    """In the order of time, this run last."""
    quantities: tuple[ChartedQuantity, ...] = ()
    chart: JointChart | None = None
    """Of the quantities over the runs, in their order."""
    points: tuple[ProcessPoint, ...] = ()
    """Of this run, with their uncertainty, where its strips were read here."""
