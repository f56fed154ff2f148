"""What a trace is asked, what it rests on, and what it answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

import polars as pl

from wideroll.examination.model import Sheet, Sighting
from wideroll.repeats.model import Candidate
from wideroll.roll import Coverage, Extent
from wideroll.scan.model import Streak
from wideroll.workflow.model import Batch

__all__ = [
    "Asked",
    "CoatedStretch",
    "End",
    "FilmReading",
    "FinishedFilm",
    "HalfWidth",
    "NearMark",
    "NearSeries",
    "NearSighting",
    "NearStreak",
    "NearStrip",
    "OnFinished",
    "RollEvidence",
    "Signature",
    "StandingDecision",
    "StripPlace",
    "Trace",
    "TracedSeries",
]


class End(StrEnum):
    """The end of a finished roll that somebody measured from."""

    OUTER = "outer end"
    CORE = "core"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Where on a finished roll something was seen: a place, or a stretch where ``to_m`` lies past ``from_m``."""

    words: str
    """As it was said."""
    from_m: Fraction
    to_m: Fraction
    end: End = End.OUTER


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A checkpoint under the record that holds an event: who signed it, when, and by which event."""

    who: str
    when_utc: str
    event: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingDecision:
    """What was decided of a wide roll, by whom, and by which events of the record that its cut list stands."""

    roll: str
    product: str
    verdict: str
    why: str
    event: int
    who: str
    when_utc: str
    digest: str
    cut_event: int | None = None
    """The cut for the order book that took the place of the decision's own."""
    earlier: tuple[int, ...] = ()
    """Events whose cut lists were others: film slit by them can't be traced."""
    signed: tuple[Signature, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishedFilm:
    """A finished roll: where its film was coated, and what was decided of the wide roll."""

    number: str
    rows: pl.DataFrame
    """Of ``FINISHED_SCHEMA``, all of this finished roll."""
    decision: StandingDecision
    status: str
    """Of the cut list."""
    wide_m: float
    """Length of the wide roll that was slit."""
    windings: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedSeries:
    """A series of one roll's marks, by its decision."""

    number: int
    """In the decision's order, from 1."""
    spacing_m: float
    spacing_low_m: float
    spacing_high_m: float
    across_mm: float
    extent: Extent
    members: tuple[int, ...]
    """Row numbers of the marks."""
    places_m: tuple[float, ...]
    """Where along each of them lies, ascending."""
    turns: tuple[int, ...]
    """Turn number of each."""
    print_probability: float
    candidates: tuple[Candidate, ...]
    kind: str = "roller"


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmReading:
    """What the decision found for a stretch by strips or measurements: a criterion, its value with interval, limit."""

    criterion: str
    extent: Extent
    found: float
    low: float | None
    high: float | None
    limit: float | None
    unit: str
    verdict: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StripPlace:
    """A check strip: where it was cut from the web, and whether its process run held."""

    name: str
    along_m: float
    across_mm: float
    run: str
    usable: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RollEvidence:
    """What is known of a coated roll, as its decision had it."""

    roll: str
    length_m: float
    coated: str = ""
    batches: tuple[Batch, ...] = ()
    marks: pl.DataFrame | None = None
    """None where it wasn't scanned."""
    chips: Mapping[str, str] = field(default_factory=dict)
    """Path of the crop of a mark, by the mark's id."""
    streaks: tuple[Streak, ...] = ()
    series: tuple[TracedSeries, ...] = ()
    coverage: Coverage | None = None
    sheets: tuple[Sheet, ...] = ()
    sightings: tuple[Sighting, ...] = ()
    strips: tuple[StripPlace, ...] = ()
    readings: tuple[FilmReading, ...] = ()
    splices_m: tuple[float, ...] = ()
    notes: tuple[str, ...] = ()
    """What of it isn't as the decision had it, or isn't there any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfWidth:
    """A part of the uncertainty along, and what it comes from."""

    why: str
    metres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OnFinished:
    """Where something lies on the finished roll: from its outer end, and from its two edges."""

    from_m: float
    to_m: float
    edge_mm: float
    other_edge_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NearMark:
    """A mark of the scan in the traced film, or just beside its edge (``inside`` false)."""

    id: str
    kind: str
    polarity: str
    along_m: float
    across_mm: float
    length_mm: float
    width_mm: float
    contrast: float
    snr: float
    on: OnFinished
    inside: bool
    chip: str
    """Path of its crop in the plant; empty where none was kept."""
    series: int | None
    """Number of the series that it belongs to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NearStreak:
    """A streak over the traced film."""

    across_mm: float
    width_mm: float
    contrast: float
    along_from_m: float
    along_to_m: float
    on: OnFinished


@dataclass(frozen=True, slots=True, kw_only=True)
class NearSeries:
    """A series whose prints may lie in the traced film."""

    series: TracedSeries
    turns: tuple[int, ...]
    """Turns that fall there."""
    seen: int
    """Of these, those that the scan saw a mark at."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NearSighting:
    """What an examiner saw in the traced film, or on a sheet that the stretch crosses (``inside`` false)."""

    sheet: str
    kind: str
    along_m: float
    across_mm: float
    size_mm: float
    inside: bool
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NearStrip:
    """A check strip beside the traced film, and how far along from it."""

    strip: StripPlace
    away_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatedStretch:
    """One stretch of the traced film as it was coated, and all that is known of it."""

    roll: str
    extent: Extent
    """Of the web as coated; the interval along, the lane across."""
    at_m: float | None
    """The most likely place, where a place was asked for and lies in this stretch."""
    finished_from_m: float
    finished_to_m: float
    """Of the finished roll, from its outer end."""
    reversed: bool
    mirrored: bool
    turned: bool
    batches: tuple[str, ...]
    marks: tuple[NearMark, ...]
    streaks: tuple[NearStreak, ...]
    series: tuple[NearSeries, ...]
    sheets: tuple[str, ...]
    """Sample sheets that were cut over it."""
    sightings: tuple[NearSighting, ...]
    strips: tuple[NearStrip, ...]
    readings: tuple[FilmReading, ...]
    splices_m: tuple[float, ...]
    not_seen: tuple[str, ...]
    """Why the scan says nothing of parts of it; empty where all was looked at."""
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """Where a place on a finished roll was coated, and what is known of it."""

    finished: str
    roll: str
    product: str
    width: str
    quality: str
    order: str
    status: str
    windings: int
    length_m: float
    splices_m: tuple[float, ...]
    """Where its own splices lie, from its outer end."""
    asked: Asked | None
    """None for the whole roll."""
    from_m: float
    to_m: float
    """The interval, from the outer end."""
    half_widths: tuple[HalfWidth, ...]
    """What the interval allows for; empty for the whole roll."""
    half_width_m: float
    stretches: tuple[CoatedStretch, ...]
    decision: StandingDecision
    cautions: tuple[str, ...]

    @property
    def seen(self) -> bool:
        """Whether the scan saw anything in it: a mark inside, a streak, or a mark of a series."""
        return any(one.streaks or any(mark.inside for mark in one.marks) for one in self.stretches)
