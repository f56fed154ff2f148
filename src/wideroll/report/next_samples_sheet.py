"""The stretch to sample next as a page to print and carry to the machine."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from wideroll.repeats import NextSamples, SampleChoice
from wideroll.report.next_samples_picture import draw_samples, samples_caption
from wideroll.report.next_samples_words import predictions_grid, samples_words, telling_words
from wideroll.report.page import page_template
from wideroll.report.quantities import show_number
from wideroll.report.theme import VERDICTS
from wideroll.roll import INCH_MM, Length, Notation, format_length
from wideroll.workflow import CAUTION

__all__ = ["SamplesHead", "render_samples"]

_FOOT_M: Final = 0.3048


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplesHead:
    """What stands above: the roll, its product and plant, the edge places are measured from, and the series."""

    roll: str
    product: str
    plant: str
    datum_edge: str
    series: int


def render_samples(found: NextSamples, choice: SampleChoice, head: SamplesHead) -> str:
    """One self-contained HTML text for one of the choices, the same bytes for the same answer."""
    caution, _, rest = CAUTION.partition(": ")
    return page_template("next_samples.html.j2").render(
        head=head,
        why=samples_words(found),
        place=_place(found, choice),
        picture=draw_samples(choice),
        caption=samples_caption(choice),
        telling=telling_words(choice),
        grid=predictions_grid(choice),
        caution=(caution, rest[:1].upper() + rest[1:]),
        styles=VERDICTS,
        page_foot=f"Roll {head.roll}: what to sample next, series {head.series}, seed {found.tried.seed}",
    )


def _place(found: NextSamples, choice: SampleChoice) -> tuple[tuple[str, str], ...]:
    inches = Fraction(round(found.across_mm / float(INCH_MM) * 8), 8)
    across = format_length(Length(mm=inches * INCH_MM, notation=Notation.INCH), denominator=8)
    return (
        ("from the head", f"{show_number(choice.from_m, 2)} to {show_number(choice.to_m, 2)} m"),
        ("", f"{show_number(choice.from_m / _FOOT_M, 1)} to {show_number(choice.to_m / _FOOT_M, 1)} ft"),
        ("length", f"{show_number(choice.length_m, 2)} m"),
        ("across", f"{show_number(found.across_mm, 0)} mm ({across}) from the datum edge"),
    )
