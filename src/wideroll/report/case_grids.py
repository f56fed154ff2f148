"""Cases in words: which roller, in which rolls, how it stands, and what to do."""

from math import log, pi
from typing import Final

from wideroll.repeats.cases_model import Case, CaseState
from wideroll.repeats.model import ANOTHER
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import show_count, show_interval, show_number, show_probability, show_quantity
from wideroll.workflow.cases import PlantCases

__all__ = ["case_action", "cases_grid", "cases_words"]

_LEAST_LIKELY: Final = 0.05
_MOST_NAMED: Final = 3


def cases_grid(found: PlantCases) -> Grid:
    """One row a case: roller, place across, rolls, first and last, evidence, state; what to do stands beneath."""
    return Grid(
        caption="Rollers suspected, roll after roll",
        columns=(
            Column(head="no.", number=True),
            Column(head="likeliest roller (probability)"),
            Column(head="spacing, mm", number=True),
            Column(head="across, mm", number=True),
            Column(head="rolls"),
            Column(head="coated", keep=True),
            Column(head="evidence, log10", number=True),
            Column(head="state", keep=True),
        ),
        rows=tuple(_row(number, case) for number, case in enumerate(found.cases, start=1)),
        foot=tuple(f"Case {number}, {case.state}: {case_action(case)}." for number, case in enumerate(found.cases, 1)),
        empty=f"None: {show_count(len(found.searched), 'roll')} searched, and nothing returns clearly enough."
        if found.searched
        else "Nothing is known: no roll's search is kept.",
    )


def cases_words(found: PlantCases) -> tuple[str, ...]:
    """What wasn't searched, and what can't be put in order."""
    words: list[str] = []
    if found.not_searched:
        words.append(
            f"Not searched, or stale, so that nothing is known of them: {', '.join(found.not_searched)}. "
            "`wideroll repeats PLANT ROLL` searches a roll."
        )
    if found.undated and found.cases:
        words.append(
            f"Without a day of coating: {', '.join(found.undated)}. Give coated in roll.toml; until then they can't be "
            "put in order with cleanings."
        )
    for number, case in enumerate(found.cases, start=1):
        words += [f"Case {number}: {note}." for note in case.notes]
    return tuple(words)


def case_action(case: Case) -> str:
    """What to do about a case."""
    if case.state is CaseState.QUIET:
        return f"nothing to do: {_since(case)} would have shown it with {show_probability(case.seen_probability)}"
    if case.state is CaseState.WATCHED:
        seen = f"would have shown it with {show_probability(case.seen_probability)}" if case.rolls_since else ""
        return f"search the next rolls: {_since(case)}{' ' if seen else ''}{seen}"
    place = f"at {show_number(case.across_mm, 0)} mm across"
    if case.roller == ANOTHER:
        low, high = (1000.0 * one / pi for one in (case.spacing_low_m, case.spacing_high_m))
        return f"look for what turns with a diameter of {show_interval(low, high, 1)} mm and touches {place}"
    if case.state is CaseState.RELAPSED:
        return f"look at its surface and bearing {place}: the cleaning of {_moment(case.cleaned)} didn't last"
    return f"look at it {place}, clean or mend it, and note it in cleanings.csv"


def _since(case: Case) -> str:
    if not case.rolls_since:
        return f"no roll was searched that was coated after the cleaning of {_moment(case.cleaned)}"
    count, metres = show_count(len(case.rolls_since), "roll"), show_quantity(case.metres_since, "m")
    return f"{count}, {metres}, since the cleaning of {_moment(case.cleaned)}"


def _row(number: int, case: Case) -> tuple[Cell, ...]:
    return (
        Cell(text=str(number)),
        Cell(text=_makers(case), note=case.candidates[0].why, tone="strong"),
        Cell(text=show_number(case.spacing_m * 1000.0, 1)),
        Cell(text=show_number(case.across_mm, 0)),
        Cell(text=", ".join(case.rolls)),
        Cell(text=_span(case)),
        Cell(text=show_number(case.log_evidence / log(10.0), 1)),
        Cell(text=case.state.value, tone="strong"),
    )


def _makers(case: Case) -> str:
    first, *rest = case.candidates
    named = [first, *(one for one in rest[: _MOST_NAMED - 1] if one.probability >= _LEAST_LIKELY)]
    return " or ".join(f"{one.roller} ({show_probability(one.probability)})" for one in named)


def _span(case: Case) -> str:
    if not case.first:
        return "day not known"
    first, last = _moment(case.first), _moment(case.last)
    return first if first == last else f"{first} to\n{last}"


def _moment(text: str) -> str:
    return text.replace("T", " ")
