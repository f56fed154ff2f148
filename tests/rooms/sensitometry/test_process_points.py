"""What a run puts on its processor's charts is what the process did to the reference film."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.sensitometry import (
    ControlPlaces,
    FilmType,
    ProcessQuantity,
    Record,
    StripKind,
    judge_run,
    process_points,
)
from wideroll.synthetic.strips import StripRecipe, aim_curves, make_aims, make_strips

PLACES = ControlPlaces(speed_log_h=-1.2, contrast_log_h=(-1.65, -0.45))
NEGATIVE = FilmType.COLOUR_NEGATIVE


def judged(film=NEGATIVE, *, fog=0.0, factor=1.0, noise_sd=0.004, seed=0, references=2):
    """A run of the film's reference strips."""
    strips = make_strips(
        StripRecipe(
            name=f"R{n}",
            film_type=film,
            kind=StripKind.REFERENCE,
            run="7",
            process_fog=fog,
            process_factor=factor,
            noise_sd=noise_sd,
            seed=100 * seed + n,
        )
        for n in range(references)
    ).strips
    return judge_run("7", strips, [], make_aims(film), 1.0)


def values(run, film=NEGATIVE, places=PLACES):
    """By record and quantity."""
    return {(point.record, point.quantity): point for point in process_points(run, make_aims(film), places)}


def test_fog_lifts_minimum_and_speed_density_and_leaves_contrast():
    """A fog of 0.05 is 0.05 more at the minimum and at the speed point's log H, and no more difference between two."""
    found = values(judged(fog=0.05))
    assert len(found) == 9
    for (_, quantity), point in found.items():
        expected = 0.0 if quantity is ProcessQuantity.CONTRAST else 0.05
        assert point.value == pytest.approx(expected, abs=0.01)


def test_development_moves_contrast_by_its_share():
    """Three per cent more density above the minimum is 3 % more difference between the two log H."""
    found = values(judged(factor=1.03))
    for record, curve in aim_curves(NEGATIVE).items():
        low, high = curve.at(np.array(PLACES.contrast_log_h))
        assert found[record, ProcessQuantity.CONTRAST].value == pytest.approx(0.03 * (high - low), abs=0.01)
        assert found[record, ProcessQuantity.MINIMUM].value == pytest.approx(0.0, abs=0.01)


def test_the_minimum_of_reversal_film_is_where_it_saw_most_light():
    """Development acts on density above the minimum, so the charted minimum of reversal film stays near 0."""
    film = FilmType.COLOUR_REVERSAL
    found = values(judged(film, factor=1.10), film)
    assert found[Record.GREEN, ProcessQuantity.MINIMUM].value == pytest.approx(0.0, abs=0.02)


def test_uncertainties_are_the_scatter_of_runs_alike():
    """Over 60 runs alike the points scatter by what their standard uncertainties say (0.7 to 1.4 times)."""
    runs = [values(judged(seed=seed)) for seed in range(1, 61)]
    ratios = [
        np.std([run[which].value for run in runs]) / np.mean([run[which].standard_uncertainty for run in runs])
        for which in runs[0]
    ]
    assert 0.7 < np.median(ratios) < 1.4


def test_a_void_run_has_its_points_all_the_same():
    """A run void by its limit is charted, so that its processor's charts show it; an empty one has nothing to chart."""
    strips = make_strips(
        [StripRecipe(name="R", film_type=NEGATIVE, kind=StripKind.REFERENCE, run="7", process_fog=0.2)]
    ).strips
    void = judge_run("7", strips, [], make_aims(NEGATIVE), 0.05)
    assert not void.usable
    assert len(values(void)) == 9
    assert values(judge_run("7", [], [], make_aims(NEGATIVE), 0.05)) == {}


@pytest.mark.parametrize(
    ("places", "rule"),
    [
        (ControlPlaces(speed_log_h=2.0, contrast_log_h=(-1.65, -0.45)), "must lie where"),
        (ControlPlaces(speed_log_h=-1.2, contrast_log_h=(-9.0, -0.45)), "must lie where"),
        (ControlPlaces(speed_log_h=-1.2, contrast_log_h=(-0.45, -1.65)), "the lesser first"),
    ],
)
def test_places_off_the_readings_are_refused(places, rule):
    """Nothing is charted where nothing was read, and a contrast the wrong way round is refused."""
    with pytest.raises(ArgumentError) as caught:
        values(judged(), places=places)
    assert rule in caught.value.rule
