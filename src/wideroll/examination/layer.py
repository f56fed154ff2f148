"""In which layer a mark sits, from how it looks through filters."""

import itertools
from collections.abc import Iterator, Mapping
from typing import Final

from wideroll.examination.model import FilterColour, Layer, LayerPosterior, Seen, Sighting

__all__ = ["ERROR_RATE", "locate_layer"]

ERROR_RATE: Final = 0.05
"""Chance that one answer of an examiner is wrong. A practised examiner is right 95 times of 100 or more (common
practice; this is its cautious end, and repeated blind sheets would measure it)."""

_SURE: Final = 0.9
"""Excess or lack is said from this probability on."""

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

_CHANGED: Final = (Seen.DARKER, Seen.LIGHTER)


def locate_layer(sighting: Sighting) -> LayerPosterior:
    """Probability of each layer, from the filters, from embedded and wipes-off, and from a metallic look.

    Bayes with every layer equally probable beforehand, excess and lack too. Each answer is taken to be wrong with
    probability ``ERROR_RATE``, independently, the two wrong answers being equally likely; filters that were not used
    say nothing. A mark on base or surface holds no dye: it looks the same through all three filters (a scratch, a drop)
    or darker through all three (dirt lying on top), each in half the cases. Red shows cyan, green magenta, blue yellow
    (common practice).

    Returns:
        Probabilities over all layers, whether there is excess or lack of dye (None where that stays below 0.9 or the
        mark is likeliest on the surface), and the statements that contradict one another.

    Example:
        >>> from wideroll.roll import MarkKind, Place
        >>> look = {FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME, FilterColour.BLUE: Seen.SAME}
        >>> place = Place(along_m=3.0, across_mm=238.125)
        >>> found = locate_layer(Sighting(sheet="A1", kind=MarkKind.SPOT, place=place, size_mm=0.4, through=look))
        >>> str(found.likeliest), found.excess, found.contradiction
        ('cyan record', True, '')
    """
    weights = dict.fromkeys(Layer, 0.0)
    excess = lack = 0.0
    for layer, look, share in _hypotheses():
        weight = share * _answers(look, sighting.through) * _touch(layer, sighting)
        weights[layer] += weight
        if layer is not Layer.SURFACE:
            excess += weight * (Seen.DARKER in look.values())
            lack += weight * (Seen.LIGHTER in look.values())
    total = sum(weights.values())
    posterior = {layer: weight / total for layer, weight in weights.items()}
    likeliest = max(posterior, key=lambda layer: posterior[layer])
    sign: bool | None = None
    if likeliest is not Layer.SURFACE and max(excess, lack) >= _SURE * (excess + lack):
        sign = excess > lack
    return LayerPosterior(probability=posterior, excess=sign, contradiction="; ".join(_contradictions(sighting)))


def _hypotheses() -> Iterator[tuple[Layer, dict[FilterColour, Seen], float]]:
    """Each layer with what it would look like, and the share of its cases that do."""
    for (layer, touched), change in itertools.product(_TOUCHES.items(), _CHANGED):
        yield layer, {colour: change if colour in touched else Seen.SAME for colour in FilterColour}, 0.5
    for look in (Seen.SAME, Seen.DARKER):
        yield Layer.SURFACE, dict.fromkeys(FilterColour, look), 0.5


def _answers(look: Mapping[FilterColour, Seen], said: Mapping[FilterColour, Seen]) -> float:
    weight = 1.0
    for colour, answer in said.items():
        weight *= 1.0 - ERROR_RATE if answer is look[colour] else ERROR_RATE / 2.0
    return weight


def _touch(layer: Layer, sighting: Sighting) -> float:
    """Likelihood of what loupe, finger and eye say beside the filters."""
    surface = layer is Layer.SURFACE
    weight = 1.0
    if sighting.embedded is not None:
        weight *= ERROR_RATE if sighting.embedded == surface else 1.0 - ERROR_RATE
    if sighting.wipes_off:
        weight *= 1.0 - ERROR_RATE if surface else ERROR_RATE
    if sighting.metallic:
        weight *= 1.0 - ERROR_RATE if surface or layer is Layer.OPAQUE else ERROR_RATE
    return weight


def _contradictions(sighting: Sighting) -> Iterator[str]:
    by_look: dict[Seen, list[FilterColour]] = {}
    for colour in FilterColour:
        if colour in sighting.through:
            by_look.setdefault(sighting.through[colour], []).append(colour)
    darker, lighter, same = (by_look.get(look, []) for look in (Seen.DARKER, Seen.LIGHTER, Seen.SAME))
    if darker and lighter:
        yield f"darker through {_listed(darker)} but lighter through {_listed(lighter)}: excess and lack at one place"
    if sighting.embedded and sighting.wipes_off:
        yield "embedded, yet it wipes off"
    if sighting.embedded and len(same) == len(FilterColour):
        yield "embedded, yet it looks the same through red, green and blue"
    if sighting.metallic and (lighter or same):
        yield f"metallic, so opaque, yet not darker through {_listed([*lighter, *same])}"


def _listed(colours: list[FilterColour]) -> str:
    return " and ".join(colours)
