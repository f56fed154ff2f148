"""In which layer a mark sits, from how it looks through filters and in sections, and from its densities."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from wideroll.errors import ArgumentError
from wideroll.examination.contradictions import contradictions, measured_apart
from wideroll.examination.density_evidence import density_weights, dye_change, dye_matrix_of
from wideroll.examination.hypotheses import Case, cases
from wideroll.examination.model import DensityChange, Floats, Layer, LayerPosterior, Sighting

__all__ = ["ERROR_RATE", "Reliability", "locate_layer"]

ERROR_RATE: Final = 0.05
"""Chance that one answer of an examiner is wrong. A practised examiner is right 95 times of 100 or more (common
practice; this is its cautious end, and repeated blind sheets would measure it)."""

_SURE: Final = 0.9
"""Excess or lack is said from this probability on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """How often each kind of statement is wrong, as the examiner's own repeated sheets would tell.

    A look into a section is more often wrong than one through a filter: the mark may be too faint at that density.
    """

    filters: float = ERROR_RATE
    touch: float = ERROR_RATE
    sections: float = 2.0 * ERROR_RATE
    densities: float = 0.02
    """Chance that something else than the mark was measured."""

    def __post_init__(self) -> None:
        """Refuse chances that can't be."""
        for name in ("filters", "touch", "sections", "densities"):
            if not 0.0 < getattr(self, name) < 0.5:  # noqa: PLR2004  -- at half and more the answer tells the opposite
                raise ArgumentError(
                    where=name, rule="between 0 and 0.5", value=getattr(self, name), mend="Give the share of errors."
                )


def locate_layer(
    sighting: Sighting,
    *,
    change: DensityChange | None = None,
    second: DensityChange | None = None,
    dye_matrix: ArrayLike | None = None,
    reversal: bool = False,
    reliability: Reliability | None = None,
) -> LayerPosterior:
    """Probability of each layer, from filters, sections, touch, and measured densities.

    Bayes with every layer equally probable beforehand, excess and lack too. Each answer is taken to be wrong with its
    probability in ``reliability``, independently, the two wrong answers through a filter being equally likely; what was
    not looked at says nothing. A mark on base or surface holds no dye: it looks the same through all three filters (a
    scratch, a drop) or darker through all three (dirt lying on top), each in half the cases. Red shows cyan, green
    magenta, blue yellow (common practice). A thick or thin coat shows in the sections where its record forms dye; dye
    out of place, like fog, in those where it forms none; something opaque or on the surface in all. Measured densities
    count by ``density_weights``.

    The probabilities come with the test of whether the evidence agrees: ``conflict`` is the product of the
    probabilities of each piece over the probability of all [@jensen1991]. When the model holds its expectation is 1,
    so that 20 is passed in at most 1 of 20 cases (Markov's inequality); from there on it is a contradiction.

    Args:
        sighting: what the examiner saw; its own measured densities are used unless others are given.
        change: measured densities of the mark less its surround's, as from a photograph.
        second: measured in another way; not used, but said when the two can't be of one mark.
        dye_matrix: red, green and blue density (rows) of a unit of cyan, magenta and yellow (columns). Without one
            each dye is taken to absorb in its own third, give or take 15 %.
        reversal: whether the film forms dye where it wasn't exposed, for the sections.
        reliability: how often statements are wrong.

    Returns:
        Probabilities over all layers, whether there is excess or lack of dye (None where that stays below 0.9 or the
        mark is likeliest on the surface), and the statements that contradict one another.

    Raises:
        ArgumentError: when the matrix can't tell the dyes apart.

    Example:
        >>> from wideroll.examination.model import FilterColour, Seen
        >>> from wideroll.roll import MarkKind, Place
        >>> look = {FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME, FilterColour.BLUE: Seen.SAME}
        >>> place = Place(along_m=3.0, across_mm=238.125)
        >>> found = locate_layer(Sighting(sheet="A1", kind=MarkKind.SPOT, place=place, size_mm=0.4, through=look))
        >>> str(found.likeliest), found.excess, found.contradiction
        ('cyan record', True, '')
    """
    rates, possible = reliability or Reliability(), cases(reversal=reversal)
    measured, matrix = change or sighting.density, dye_matrix_of(dye_matrix)
    pieces = dict(_pieces(sighting, possible, rates))
    amounts: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    if measured is not None:
        pieces["densities"] = density_weights(possible, measured, matrix, astray=rates.densities)
        value, covariance = dye_change(measured, matrix)
        amounts = tuple(value.tolist()), tuple(np.sqrt(np.diag(covariance)).tolist())
    apart = measured_apart(measured, second)
    prior = np.array([case.share / len(Layer) for case in possible])
    weights = prior * np.prod(list(pieces.values()), axis=0) if pieces else prior
    probability = _by_layer(possible, weights)
    conflict = float(np.prod([prior @ piece for piece in pieces.values()]) / weights.sum())
    alone = {kind: _by_layer(possible, prior * piece) for kind, piece in pieces.items()}
    return LayerPosterior(
        probability=probability,
        excess=_excess(possible, weights, probability),
        contradiction="; ".join(
            [*contradictions(sighting, change=measured, amounts=amounts, conflict=conflict, alone=alone), *apart]
        ),
        conflict=conflict,
        alone=alone,
        amounts=amounts[0],
        amounts_standard_uncertainty=amounts[1],
    )


def _pieces(sighting: Sighting, possible: Sequence[Case], rates: Reliability) -> Iterator[tuple[str, Floats]]:
    """Each kind of statement that was made, with its likelihood in each case (n,)."""
    if sighting.through:
        yield "filters", np.array([_through(case, sighting, rates.filters) for case in possible])
    if sighting.shows_in:
        yield "sections", np.array([_in_sections(case, sighting, rates.sections) for case in possible])
    surface = np.array([case.layer is Layer.SURFACE for case in possible])
    if sighting.embedded is not None:
        yield "depth", np.where(surface == sighting.embedded, rates.touch, 1.0 - rates.touch)
    if sighting.wipes_off:
        yield "wiping", np.where(surface, 1.0 - rates.touch, rates.touch)
    if sighting.metallic:
        opaque = surface | np.array([case.layer is Layer.OPAQUE for case in possible])
        yield "metallic look", np.where(opaque, 1.0 - rates.touch, rates.touch)


def _through(case: Case, sighting: Sighting, error: float) -> float:
    weight = 1.0
    for colour, answer in sighting.through.items():
        weight *= 1.0 - error if answer is case.look[colour] else error / 2.0
    return weight


def _in_sections(case: Case, sighting: Sighting, error: float) -> float:
    weight = 1.0
    for section, shows in sighting.shows_in.items():
        expected = case.shows_in[section]
        weight *= 0.5 if expected is None else 1.0 - error if shows == expected else error
    return weight


def _by_layer(possible: Sequence[Case], weights: Floats) -> dict[Layer, float]:
    total = float(weights.sum())
    sums = dict.fromkeys(Layer, 0.0)
    for case, weight in zip(possible, weights.tolist(), strict=True):
        sums[case.layer] += weight / total
    return sums


def _excess(possible: Sequence[Case], weights: Floats, probability: Mapping[Layer, float]) -> bool | None:
    signs = np.array([case.sign for case in possible])
    excess, lack = float(weights[signs > 0].sum()), float(weights[signs < 0].sum())
    likeliest = max(probability, key=lambda layer: probability[layer])
    if likeliest is Layer.SURFACE or max(excess, lack) < _SURE * (excess + lack):
        return None
    return excess > lack
