"""The series of a roll named by more than their spacing: what examiners saw of their marks, and cleanings."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from wideroll.examination import Layer, LayerPosterior
from wideroll.repeats import Cleaning, Series, SeriesKind, SeriesSearch, Sign, days_since_cleaning, weigh_candidates
from wideroll.roll import Side
from wideroll.scan import ScanResult
from wideroll.workflow.model import Examination, Examined, Plant, RollCard
from wideroll.workflow.moments import when

__all__ = ["SIDE_ERROR", "cleaned_before", "name_series", "sign_of", "signs_of"]

SIDE_ERROR: Final = 0.1
"""Chance that the side an examiner names is the wrong one: a dent shows on both. Judgement."""

_SOME: Final = tuple(layer for layer in Layer if layer not in {Layer.OPAQUE, Layer.SURFACE})
_CARRIED: Final = 0.05
"""Share of prints in the emulsion that change the look in another way than their trace usually does. Judgement."""
_METAL_ERROR: Final = 0.1


def name_series(
    search: SeriesSearch, scan: ScanResult | None, examination: Examination, plant: Plant, card: RollCard
) -> SeriesSearch:
    """Weigh the rollers of each series anew, by its marks that were also seen on sheets and by the last cleanings.

    The series themselves stay as they were found; lap prints have no roller.
    """
    since = days_since_cleaning(plant.cleanings, when(card.coated) if card.coated else None)
    return replace(
        search, series=tuple(_named(series, signs_of(series, scan, examination), plant, since) for series in search)
    )


def cleaned_before(plant: Plant, card: RollCard) -> Mapping[str, Cleaning]:
    """By roller, its last cleaning before the roll was coated; none where the day of coating wasn't noted."""
    coated = when(card.coated) if card.coated else None
    last: dict[str, Cleaning] = {}
    for one in sorted(plant.cleanings, key=lambda one: one.on.earliest):
        if coated is not None and one.on.before(coated):
            last[one.roller] = one
    return dict(sorted(last.items()))


def signs_of(series: Series, scan: ScanResult | None, examination: Examination) -> tuple[Sign, ...]:
    """What was said of each mark of a series that was matched with a sighting, in the order of the sightings."""
    matching = examination.matching
    if scan is None or matching is None or series.kind is not SeriesKind.ROLLER:
        return ()
    ids = set(scan.marks["id"].gather(list(series.members)).to_list())
    return tuple(sign_of(examination.examined[one.sighting]) for one in matching.matches if one.mark_id in ids)


def sign_of(examined: Examined) -> Sign:
    """How likely all that was said of a mark is under each trace.

    The layer's probabilities hold what was seen through filters and in sections, measured, felt and wiped; each layer
    was as likely beforehand, so they are likelihoods too. Something dark in all records is embedded or a change of all
    of them: only a metallic look tells which.
    """
    layer, seen = examined.layer, examined.sighting
    opaque, some, surface = _by_depth(layer)
    metal = 1.0 - _METAL_ERROR if seen.metallic else 0.5
    emulsion, base = _by_side(seen.side)
    inside = (1.0 - _CARRIED) * opaque + _CARRIED * some
    return Sign(
        embedded=emulsion * metal * inside,
        all_records=emulsion * (1.0 - metal) * inside,
        some_records=emulsion * 0.5 * ((1.0 - _CARRIED) * some + _CARRIED * opaque),
        on_emulsion=emulsion * 0.5 * surface,
        on_base=base * 0.5 * surface,
    )


def _by_depth(layer: LayerPosterior) -> tuple[float, float, float]:
    """Likelihood of what was said: in all records, in one or two (their mean), and on the surface."""
    some = sum(layer.probability[one] for one in _SOME) / len(_SOME)
    return layer.probability[Layer.OPAQUE], some, layer.probability[Layer.SURFACE]


def _by_side(side: Side | None) -> tuple[float, float]:
    if side is None:
        return 1.0, 1.0
    return (SIDE_ERROR, 1.0 - SIDE_ERROR) if side is Side.BASE else (1.0 - SIDE_ERROR, SIDE_ERROR)


def _named(series: Series, signs: tuple[Sign, ...], plant: Plant, since: Mapping[str, float]) -> Series:
    if series.kind is not SeriesKind.ROLLER or not series.candidates:
        return series
    return replace(
        series,
        candidates=weigh_candidates(
            series.candidates, plant.rollers, signs, days_since=since, usual_days=plant.usual_days
        ),
    )
