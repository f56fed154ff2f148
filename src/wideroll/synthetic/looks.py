"""What examiners and densitometers say of invented marks, with the truth about each mark's layer."""

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.examination import FilterColour, Layer, Section, Seen, Sighting, density_change
from wideroll.examination.model import Floats
from wideroll.roll import MarkKind, Place

__all__ = ["DYE_MATRIX", "LookedAt", "look_at_marks"]

DYE_MATRIX: Final = ((1.00, 0.08, 0.02), (0.16, 1.00, 0.09), (0.13, 0.24, 1.00))
"""Red, green and blue density (rows) of a unit of cyan, magenta and yellow, invented."""

_RECORDS: Final = {
    Layer.CYAN: (0,),
    Layer.MAGENTA: (1,),
    Layer.YELLOW: (2,),
    Layer.CYAN_MAGENTA: (0, 1),
    Layer.CYAN_YELLOW: (0, 2),
    Layer.MAGENTA_YELLOW: (1, 2),
    Layer.OPAQUE: (0, 1, 2),
}
_SEPARATIONS: Final = (Section.CYAN_SEPARATION, Section.MAGENTA_SEPARATION, Section.YELLOW_SEPARATION)
_HALF: Final = 0.5
_ASKED_FILTER: Final = 0.8
_ASKED_DEPTH: Final = 0.75

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """A sighting, and what it truly is."""

    sighting: Sighting
    layer: Layer
    excess: bool | None


def look_at_marks(
    count: int,
    *,
    seed: int,
    wrong: float = 0.05,
    wrong_section: float = 0.1,
    density_sd: float | None = 0.02,
    crosstalk: float = 0.0,
) -> tuple[LookedAt, ...]:
    """Marks of every layer alike, each answered for with mistakes, on a film that darkens where it is exposed.

    Filters are answered each with 4 in 5, sections with 1 in 2, depth with 3 in 4. Half of the excess lies where its
    record is exposed, the other half, like fog, where it isn't. Dye amounts are log-normal around 0.15, so not what
    ``locate_layer`` takes them for.

    Args:
        count: of marks.
        seed: another seed, other marks.
        wrong: share of wrong answers through filters and about depth.
        wrong_section: share of wrong answers about sections.
        density_sd: standard deviation of a measured density; None for marks that nobody measured.
        crosstalk: standard deviation by which the film's dye matrix differs from ``DYE_MATRIX``.

    Raises:
        ArgumentError: when there are no marks, or a share isn't one.

    Example:
        >>> one = look_at_marks(1, seed=1)[0]
        >>> one.layer in Layer
        True
    """
    if count < 1 or not 0.0 <= wrong < 1.0 or not 0.0 <= wrong_section < 1.0:
        raise ArgumentError(where="count", rule="1 or more, and shares from 0 to 1", value=count, mend="Correct it.")
    random = np.random.Generator(np.random.PCG64(seed))
    layers = list(Layer)
    film = np.array(DYE_MATRIX) + crosstalk * random.standard_normal((3, 3)) * (1.0 - np.eye(3))
    return tuple(
        _look(random, layers[int(random.integers(len(layers)))], film, (wrong, wrong_section, density_sd))
        for _ in range(count)
    )


def _look(
    random: np.random.Generator, layer: Layer, film: Floats, errors: tuple[float, float, float | None]
) -> LookedAt:
    wrong, wrong_section, density_sd = errors
    looks, shows, change, excess = _truth(random, layer, film)
    through = {
        colour: _mistaken(random, true, list(Seen), wrong)
        for colour, true in zip(FilterColour, looks, strict=True)
        if random.random() < _ASKED_FILTER
    }
    shows_in = {
        section: _mistaken(random, true, [True, False], wrong_section)
        for section, true in shows.items()
        if random.random() < _HALF
    }
    embedded = (
        _mistaken(random, layer is not Layer.SURFACE, [True, False], wrong) if random.random() < _ASKED_DEPTH else None
    )
    density = None
    if density_sd is not None:
        density = density_change(change + density_sd * random.standard_normal(3), density_sd)
    sighting = Sighting(
        sheet="A",
        kind=MarkKind.SPOT,
        place=Place(along_m=1.0, across_mm=100.0),
        size_mm=0.5,
        through=through,
        shows_in=shows_in,
        embedded=embedded,
        density=density,
    )
    return LookedAt(sighting=sighting, layer=layer, excess=excess)


def _truth(
    random: np.random.Generator, layer: Layer, film: Floats
) -> tuple[list[Seen], dict[Section, bool], Floats, bool | None]:
    """Look through each filter, showing in each section, density, and whether there is excess."""
    everywhere = dict.fromkeys(Section, True)
    if layer is Layer.SURFACE:
        if random.random() < _HALF:
            return [Seen.SAME] * 3, everywhere, np.full(3, 0.03 * random.standard_normal()), None
        return [Seen.DARKER] * 3, everywhere, np.full(3, abs(random.standard_normal())), None
    excess = bool(random.random() < _HALF)
    if layer is Layer.OPAQUE and excess and random.random() < _HALF:
        return [Seen.DARKER] * 3, everywhere, np.full(3, abs(random.standard_normal())), True
    records = _RECORDS[layer]
    amounts = np.zeros(3)
    amounts[list(records)] = 0.15 * np.exp(0.6 * random.standard_normal(len(records))) * (1.0 if excess else -1.0)
    changed = Seen.DARKER if excess else Seen.LIGHTER
    looks = [changed if record in records else Seen.SAME for record in range(3)]
    fog = excess and random.random() < _HALF
    return looks, _sections(random, records, fog=fog), film @ amounts, excess


def _sections(random: np.random.Generator, records: tuple[int, ...], *, fog: bool) -> dict[Section, bool]:
    """A coat shows where its record is exposed; fog where it isn't, and elsewhere as it happens."""
    dyed = {
        Section.HIGH_DENSITY: set(range(3)),
        Section.MID_DENSITY: set(range(3)),
        Section.UNEXPOSED: set(),
        **{section: {record} for record, section in enumerate(_SEPARATIONS)},
    }
    if not fog:
        return {section: bool(exposed & set(records)) for section, exposed in dyed.items()}
    return {
        section: section is Section.MID_DENSITY or bool(set(records) - exposed) or bool(random.random() < _HALF)
        for section, exposed in dyed.items()
    }


def _mistaken(random: np.random.Generator, true: Answer, answers: list[Answer], wrong: float) -> Answer:
    if random.random() >= wrong:
        return true
    others = [answer for answer in answers if answer != true]
    return others[int(random.integers(len(others)))]
