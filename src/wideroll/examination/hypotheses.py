"""What a mark could be, and what each possibility would look like through filters and in the sheet's sections."""

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Final

from wideroll.examination.model import FilterColour, Layer, Section, Seen

__all__ = ["RECORDS", "Case", "cases"]

RECORDS: Final[Mapping[FilterColour, Section]] = {
    FilterColour.RED: Section.CYAN_SEPARATION,
    FilterColour.GREEN: Section.MAGENTA_SEPARATION,
    FilterColour.BLUE: Section.YELLOW_SEPARATION,
}
"""The filter through which a record's dye looks dark, and the section in which that record alone is exposed."""

_TOUCHES: Final[Mapping[Layer, frozenset[FilterColour]]] = {
    Layer.CYAN: frozenset({FilterColour.RED}),
    Layer.MAGENTA: frozenset({FilterColour.GREEN}),
    Layer.YELLOW: frozenset({FilterColour.BLUE}),
    Layer.CYAN_MAGENTA: frozenset({FilterColour.RED, FilterColour.GREEN}),
    Layer.CYAN_YELLOW: frozenset({FilterColour.RED, FilterColour.BLUE}),
    Layer.MAGENTA_YELLOW: frozenset({FilterColour.GREEN, FilterColour.BLUE}),
    Layer.OPAQUE: frozenset(FilterColour),
}
"""Filters through which a lack or an excess in the layer shows: cyan dye absorbs red light, and so on."""

_FAINT: Final = 0.05
_DENSE: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One thing a mark could be."""

    layer: Layer
    share: float
    """Of the layer's cases; those of a layer sum to 1."""
    sign: int
    """1 excess, -1 lack, 0 no dye."""
    look: Mapping[FilterColour, Seen]
    shows_in: Mapping[Section, bool | None]
    """None where it may show or not."""
    dyes: tuple[int, ...] = ()
    """Numbers (0 cyan, 1 magenta, 2 yellow) of the dyes whose amount changes."""
    neutral: float = 0.0
    """Typical density of something without colour; 0 where it is dye that changes."""
    either_way: bool = False
    """Whether that density may be a lack as well."""


@cache
def cases(*, reversal: bool = False) -> tuple[Case, ...]:
    """All that a mark could be, every layer with its shares.

    Args:
        reversal: whether the film forms dye where it wasn't exposed.
    """
    return (*_dye_cases(reversal=reversal), *_opaque(), *_on_surface())


def _dye_cases(*, reversal: bool) -> Iterator[Case]:
    for (layer, touched), sign in itertools.product(_TOUCHES.items(), (1, -1)):
        # half of what is dark through all filters is opaque, and stands on its own
        share = 0.25 if layer is Layer.OPAQUE and sign > 0 else 0.5
        change = Seen.DARKER if sign > 0 else Seen.LIGHTER
        look = {colour: change if colour in touched else Seen.SAME for colour in FilterColour}
        dyes = tuple(number for number, colour in enumerate(FilterColour) if colour in touched)
        where_dyed = _where_dyed(touched, reversal=reversal)
        if sign < 0:
            yield Case(layer=layer, share=share, sign=sign, look=look, shows_in=where_dyed, dyes=dyes)
            continue
        for shows in (where_dyed, _out_of_place(touched, reversal=reversal)):
            yield Case(layer=layer, share=share / 2.0, sign=sign, look=look, shows_in=shows, dyes=dyes)


def _where_dyed(touched: frozenset[FilterColour], *, reversal: bool) -> dict[Section, bool | None]:
    """A coat too thick or too thin shows where its record forms dye."""
    return {section: any(_dyed(section, colour, reversal=reversal) for colour in touched) for section in Section}


def _out_of_place(touched: frozenset[FilterColour], *, reversal: bool) -> dict[Section, bool | None]:
    """Dye where none should be, like fog, shows where its record has none; where it has much, it may drown."""
    shows: dict[Section, bool | None] = {Section.HIGH_DENSITY: None, Section.MID_DENSITY: True}
    for section in Section:
        if section not in shows:
            empty = any(not _dyed(section, colour, reversal=reversal) for colour in touched)
            shows[section] = True if empty else None
    return shows


def _dyed(section: Section, colour: FilterColour, *, reversal: bool) -> bool:
    """Whether a record forms dye in a section."""
    if section in {Section.HIGH_DENSITY, Section.MID_DENSITY}:
        return True
    return (RECORDS[colour] is section) != reversal


def _opaque() -> Iterator[Case]:
    yield _everywhere(Layer.OPAQUE, Seen.DARKER, share=0.25, sign=1, neutral=_DENSE)


def _on_surface() -> Iterator[Case]:
    """A scratch or a drop changes no colour; dirt on top is dark through every filter."""
    yield _everywhere(Layer.SURFACE, Seen.SAME, share=0.5, sign=0, neutral=_FAINT, either_way=True)
    yield _everywhere(Layer.SURFACE, Seen.DARKER, share=0.5, sign=0, neutral=_DENSE)


def _everywhere(layer: Layer, look: Seen, *, share: float, sign: int, neutral: float, either_way: bool = False) -> Case:
    return Case(
        layer=layer,
        share=share,
        sign=sign,
        look=dict.fromkeys(FilterColour, look),
        shows_in=dict.fromkeys(Section, True),
        neutral=neutral,
        either_way=either_way,
    )
