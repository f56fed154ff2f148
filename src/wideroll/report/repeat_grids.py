"""Series of marks that return every turn, and the rollers that could have made them."""

from collections.abc import Sequence
from typing import Final

from wideroll.repeats.model import ANOTHER, Candidate, Roller, Series, SeriesSearch
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_interval, show_number, show_probability
from wideroll.workflow.maker_words import maker_words

__all__ = ["candidates_grid", "series_grid"]

_LEAST_CHANCE: Final = 1e-6
_LEAST_LIKELY: Final = 0.001
_LIKELY_ENOUGH: Final = 0.01
_NEAR: Final = 0.01
"""A spacing this close to a whole number of turns is named so: five standard deviations of usual slip."""


def series_grid(search: SeriesSearch) -> Grid:
    """One row a series: spacing, place, how often it prints, and the likeliest roller."""
    return Grid(
        caption="Marks that return every turn",
        columns=(
            Column(head="no.", number=True),
            Column(head="spacing, mm", number=True),
            Column(head="interval, mm"),
            Column(head="across, mm", number=True),
            Column(head="marks", number=True),
            Column(head="prints"),
            Column(head="by chance"),
            Column(head="made by (probability)"),
        ),
        rows=tuple(_series_row(number, series) for number, series in enumerate(search, start=1)),
        empty=_none_returns(search),
    )


def candidates_grid(series: Series, rollers: Sequence[Roller] = ()) -> Grid:
    """The rollers that could have made the series, most probable first.

    Args:
        series: the series with its candidates.
        rollers: of the plant, for what each turns out without slip.
    """
    turning = {roller.name: roller for roller in rollers}
    return Grid(
        caption="Rollers that could have made it",
        columns=(
            Column(head="roller"),
            Column(head="probability"),
            Column(head="π × diameter, mm", number=True),
            Column(head="turns a mark", number=True),
            Column(head="slip, %", number=True),
        ),
        rows=tuple(
            _candidate_row(candidate, series.spacing_m, turning.get(candidate.roller), strong=rank == 0)
            for rank, candidate in enumerate(series.candidates)
        ),
        empty=(
            "No roller: it is a lap print, made in the wound roll."
            if series.lap is not None
            else "No roller in the plant's table was compared."
        ),
    )


def _candidate_row(candidate: Candidate, spacing_m: float, roller: Roller | None, *, strong: bool) -> tuple[Cell, ...]:
    unlikely = candidate.probability < _LEAST_LIKELY or candidate.roller == ANOTHER
    return (
        Cell(
            text=candidate.roller,
            note=candidate.why if candidate.probability >= _LEAST_LIKELY else "",
            tone="strong" if strong else "",
        ),
        Cell(text=show_probability(candidate.probability)),
        Cell(text=show_number(roller.pitch_m * 1000.0, 1) if roller else ABSENT),
        Cell(text=_turns(spacing_m, roller.pitch_m) if roller else ABSENT),
        Cell(text=ABSENT if unlikely else show_number(candidate.slip * 100.0, 2, signed=True)),
    )


def _turns(spacing_m: float, pitch_m: float) -> str:
    """How many turns of a roller lie between two marks, where the spacing is near a whole number of them."""
    whole = round(spacing_m / pitch_m)
    near = whole > 0 and abs(spacing_m / (whole * pitch_m) - 1.0) <= _NEAR
    return str(whole) if near else ABSENT


def _none_returns(search: SeriesSearch) -> str:
    if search.marks == 0:
        return "Nothing is known of repeats: there were no marks to search."
    searched = f"{search.marks} marks in {search.lanes} lanes were searched at {search.trials} trial spacings"
    return f"None: {searched}, and none returns clearly enough."


def _series_row(number: int, series: Series) -> tuple[Cell, ...]:
    first = series.candidates[0] if series.candidates else None
    roller = f"{first.roller} ({show_probability(first.probability)})" if first else maker_words(series)
    if first and series.other_kind >= _LIKELY_ENOUGH:
        roller += f", or a lap print ({show_probability(series.other_kind)})"
    return (
        Cell(text=str(number)),
        Cell(text=show_number(series.spacing_m * 1000.0, 1)),
        Cell(text=show_interval(series.spacing_low_m * 1000.0, series.spacing_high_m * 1000.0, 1)),
        Cell(text=show_number(series.across_mm, 0)),
        Cell(text=str(len(series.members))),
        Cell(text=show_probability(series.print_probability)),
        Cell(text=_chance(series.false_alarm)),
        Cell(text=roller, note=first.why if first else "", tone="strong"),
    )


def _chance(probability: float) -> str:
    return f"{probability:.2g}" if probability >= _LEAST_CHANCE else "under 0.000001"
