"""What to sample next, in tables and sentences: where each candidate predicts its marks, and how to tell them apart."""

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations
from typing import Final

from wideroll.repeats import ANOTHER, NextSamples, PredictedMark, Prediction, SampleChoice, Separation
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_count, show_interval, show_number, show_probability
from wideroll.roll import Length, Notation, format_length

__all__ = [
    "also_here",
    "choices_grid",
    "foot_inch",
    "predictions_grid",
    "samples_words",
    "telling_words",
]

_DENOMINATOR: Final = 8
_INCH_MM: Final = Fraction(254, 10)


def foot_inch(metres: float) -> str:
    """A length in feet and inches, to an eighth.

    Example:
        >>> foot_inch(1.0), foot_inch(0.127)
        ('3 ft 3 3/8 in', '0 ft 5 in')
    """
    eighths = round(Fraction(metres) * 1000 / _INCH_MM * _DENOMINATOR)
    length = Length(mm=Fraction(eighths, _DENOMINATOR) * _INCH_MM, notation=Notation.FOOT_INCH)
    return format_length(length, denominator=_DENOMINATOR)


def samples_words(found: NextSamples) -> str:
    """Whether to sample, where, and what it would bring."""
    if found.separation is Separation.NONE:
        return "No roller was compared with this series, so there is nothing to tell apart."
    name, probability = found.candidates[0]
    if found.separation is Separation.NAMED:
        return f"Nothing to tell apart: {name} is named with {show_probability(probability)} of what remains."
    if found.separation is Separation.TIED:
        return (
            f"No stretch that can be sampled tells {_listed([one for one, _ in found.candidates])} apart well enough: "
            "their marks would fall alike. Look at the rollers themselves, or compare sides, spans and zones."
        )
    choice = found.choice or found.choices[0]
    least = found.shortest
    shorter = (
        f" {show_number(least.length_m, 2)} m from {show_number(least.from_m, 2)} m tell nearly as much."
        if least is not None and least is not choice
        else ""
    )
    return (
        f"Sample {show_number(choice.from_m, 2)} to {show_number(choice.to_m, 2)} m at "
        f"{show_number(found.across_mm, 0)} mm across: the likeliest roller would then be the right one with "
        f"{show_probability(choice.expected_probability)} (now {show_probability(probability)}).{shorter}"
    )


def choices_grid(found: NextSamples) -> Grid:
    """The best place for each length."""
    return Grid(
        caption="Stretches to sample" if found.choice is not None else "Stretches tried: none is enough",
        columns=(
            Column(head="from, m", number=True),
            Column(head="to, m", number=True),
            Column(head="length, m", number=True),
            Column(head=f"tells, bits of {show_number(found.uncertainty_bits, 2)}", number=True),
            Column(head="likeliest is right"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(one.from_m, 2)),
                Cell(text=show_number(one.to_m, 2)),
                Cell(text=show_number(one.length_m, 2)),
                Cell(text=show_number(one.information_bits, 2)),
                Cell(text=show_probability(one.expected_probability), tone="strong" if rank == 0 else ""),
            )
            for rank, one in enumerate(found.choices)
        ),
        empty=samples_words(found),
    )


def predictions_grid(choice: SampleChoice) -> Grid:
    """Each predicted mark in order along, for those candidates whose phase is known."""
    marks = sorted(
        ((one, mark) for one in choice.predictions if one.phase_known for mark in one.marks),
        key=lambda pair: pair[1].along_m,
    )
    return Grid(
        caption=f"Marks predicted between {show_number(choice.from_m, 2)} and {show_number(choice.to_m, 2)} m",
        columns=(
            Column(head="along, m", number=True),
            Column(head="from the start, mm", number=True),
            Column(head="from the start", keep=True),
            Column(head="give or take, mm", number=True),
            Column(head="roller"),
            Column(head="turn", number=True),
            Column(head="others there"),
            Column(head="seen"),
        ),
        rows=tuple(
            (
                Cell(text=show_number(mark.along_m, 3)),
                Cell(text=show_number((mark.along_m - choice.from_m) * 1000.0, 0)),
                Cell(text=foot_inch(mark.along_m - choice.from_m)),
                Cell(text=show_number((mark.high_m - mark.low_m) * 500.0, 0)),
                Cell(text=one.roller, tone="strong"),
                Cell(text=str(mark.turn)),
                Cell(text=", ".join(also_here(choice, one, mark)) or "none"),
                Cell(text="………"),
            )
            for one, mark in marks
        ),
        empty="So far from the marks known, only the distances between marks tell; their places aren't predicted.",
    )


def also_here(choice: SampleChoice, prediction: Prediction, mark: PredictedMark) -> tuple[str, ...]:
    """The other candidates that would mark there too: the place of one lies within the limits of the other."""
    return tuple(
        one.roller
        for one in choice.predictions
        if one is not prediction and (not one.phase_known or any(_alike(mark, theirs) for theirs in one.marks))
    )


def telling_words(choice: SampleChoice) -> tuple[str, ...]:
    """How to tell the candidates apart, one sentence or two each, and which mark alike."""
    alike = tuple(
        _too_near(one, other)
        for one, other in combinations(choice.predictions, 2)
        if one.phase_known and _within(choice, one, other) and _within(choice, other, one)
    )
    return (*(_about(choice, one) for one in choice.predictions), *alike)


def _alike(mark: PredictedMark, other: PredictedMark) -> bool:
    return mark.low_m <= other.along_m <= mark.high_m or other.low_m <= mark.along_m <= other.high_m


def _within(choice: SampleChoice, one: Prediction, other: Prediction) -> bool:
    """Whether the other candidate marks wherever the one does."""
    return all(other.roller in also_here(choice, one, mark) for mark in one.marks)


def _too_near(one: Prediction, other: Prediction) -> str:
    first, second = show_number(one.spacing_m * 1000.0, 1), show_number(other.spacing_m * 1000.0, 1)
    if first == second:
        return f"{_named(one)} and {_named(other)} would mark alike here: this stretch doesn't tell them apart."
    return (
        f"{_named(one)} and {_named(other)} would mark places too near to tell one by one: "
        f"measure over as many turns as there are, {first} against {second} mm each."
    )


def _named(one: Prediction) -> str:
    return one.roller if one.roller != ANOTHER else "Something that isn't in the table"


def _about(choice: SampleChoice, one: Prediction) -> str:
    prints = f"It prints on {show_probability(one.print_probability)} of its turns."
    apart = f"{_named(one)}: marks {show_number(one.spacing_m * 1000.0, 1)} mm apart ({_inches(one.spacing_m)})"
    if not one.phase_known:
        interval = show_interval(one.spacing_low_m * 1000.0, one.spacing_high_m * 1000.0, 1)
        return f"{apart}, {interval} mm, or a multiple of it; where they begin isn't known. {prints}"
    alone = [mark for mark in one.marks if not also_here(choice, one, mark)]
    if not alone:
        others = [other for other in choice.predictions if other is not one and other.phase_known]
        missing = "; what is missing tells" if any(not _within(choice, other, one) for other in others) else ""
        return f"{apart}, at places where others mark too{missing}. {prints}"
    places = _listed([f"{show_number(mark.along_m, 3)} m" for mark in alone[:4]])
    more = f", and at {show_count(len(alone) - 4, 'more place')}" if len(alone) > 4 else ""  # noqa: PLR2004  # as listed
    return f"{apart}. Only it would mark at {places}{more}. {prints}"


def _inches(metres: float) -> str:
    sixteenths = round(Fraction(metres) * 1000 / _INCH_MM * 16)
    return format_length(Length(mm=Fraction(sixteenths, 16) * _INCH_MM, notation=Notation.INCH), denominator=16)


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
