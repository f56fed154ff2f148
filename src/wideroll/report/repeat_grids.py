"""Series of marks that return every turn, and the rollers that could have made them."""

from collections.abc import Sequence
from typing import Final

from wideroll.repeats.model import ANOTHER, Candidate, Roller, Series, SeriesSearch
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, show_interval, show_number, show_probability
from wideroll.workflow.maker_words import likely_makers, maker_words

__all__ = ["candidates_grid", "looked_words", "series_grid"]

_LEAST_CHANCE: Final = 1e-6
_LEAST_LIKELY: Final = 0.001
_LIKELY_ENOUGH: Final = 0.01
_BARELY_M: Final = 0.05
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
            Column(head="turns that mark"),
            Column(head="by chance, on the roll"),
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


def looked_words(search: SeriesSearch, length_m: float) -> str:
    """How much of the roll was looked at for repeating marks."""
    seen_m = sum(end - start for start, end in search.observed)
    of = f"{show_number(min(seen_m, length_m), 1)} of {show_number(length_m, 1)} m"
    rest = max(length_m - seen_m, 0.0)
    return f"Looked at {of}" + (
        f"; {show_number(rest, 1)} m were not looked at, and may be marked." if rest > _BARELY_M else "."
    )


def _series_row(number: int, series: Series) -> tuple[Cell, ...]:
    first = series.candidates[0] if series.candidates else None
    named = [f"{one.roller} ({show_probability(one.probability)})" for one in likely_makers(series.candidates)]
    roller = " or ".join(named) if first else maker_words(series)
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
        Cell(text=roller, note=_note(series), tone="strong"),
    )


def _note(series: Series) -> str:
    again = [] if series.same_maker_as is None else [f"taken for the roller of no. {series.same_maker_as + 1}"]
    again += ["not told apart: see next-samples"] if len(likely_makers(series.candidates)) > 1 else []
    why = [series.candidates[0].why] if series.candidates and series.candidates[0].why else []
    return "; ".join((*again, *why))


def _chance(probability: float) -> str:
    return f"{probability:.2g}" if probability >= _LEAST_CHANCE else "under 0.000001"
