from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.roll import Extent
from wideroll.scan import LinePlaces
from wideroll.synthetic import Block, PlantedBand, PlantedMark, PlantedSplice, PlantedStreak, WebRecipe, make_web

CHANGING = LinePlaces(lines=(0.0, 400.0, 700.0, 1500.0), metres=(0.0, 0.12, 0.16, 0.4))
"""At 0.3 mm, then slowed to 0.13 mm, then on at 0.3 mm."""
SPOT = PlantedMark(along_m=0.14, across_mm=40.0, length_mm=6.0, width_mm=3.0, contrast=-0.5)
STILL = WebRecipe(
    length_m=0.4,
    web_width_mm=80.0,
    field_mm=100.0,
    level=100.0,
    profile_ripple=0.0,
    noise=0.0,
    line_gain=0.0,
    drift=0.0,
    bead_mm=0.0,
    edge_wander_mm=2.0,
    places=CHANGING,
)


def _middles_m(web):
    starts = web.places.along_m(np.arange(web.shape[0] + 1, dtype=np.float64))
    return (starts[1:] + starts[:-1]) / 2.0


def test_there_are_as_many_lines_as_the_encoder_counted():
    """The raster ends where the web does, at its own line."""
    assert make_web(STILL).shape == (1500, 333)
    assert make_web(replace(STILL, length_m=0.16)).shape == (700, 333)
    assert make_web(STILL).places is CHANGING
    assert make_web(replace(STILL, places=None)).places == LinePlaces.steady(0.3)


@pytest.mark.parametrize("along_m", [0.05, 0.12, 0.14, 0.3])
def test_marks_stay_at_their_metres(along_m):
    """Centre and length of a mark, measured by where the lines lie, are the same at any speed."""
    web = make_web(replace(STILL, marks=(replace(SPOT, along_m=along_m),)))
    middles = _middles_m(web)
    lost = 1.0 - web.rows()[:, 60:240] / 100.0
    weight = lost.sum(axis=1) * np.diff(web.places.along_m(np.arange(1501.0)))
    assert (weight * middles).sum() / weight.sum() == pytest.approx(along_m, abs=3e-5)
    on = np.flatnonzero((lost > 0.25).any(axis=1))
    assert middles[on[-1]] - middles[on[0]] == pytest.approx(0.006, abs=6e-4)


def test_what_lies_between_two_places_does_so_at_any_speed():
    """Splices, streaks and bands start and stop by the middle of a line."""
    extent = Extent(along_from_m=0.118, along_to_m=0.158, across_from_mm=10.0, across_to_mm=20.0)
    web = make_web(
        replace(
            STILL,
            streaks=(PlantedStreak(across_mm=40.0, along_from_m=0.13, along_to_m=0.17, width_mm=2.0, contrast=-0.2),),
            splices=(PlantedSplice(along_from_m=0.119, along_to_m=0.125, contrast=-0.5),),
            bands=(PlantedBand(extent=extent, period_mm=11.0, amplitude=0.3),),
        )
    )
    image, middles = web.rows() / 100.0, _middles_m(web)
    columns = [round((10.0 + across) / 0.3 - 0.5) for across in (60.0, 40.0, 15.0)]
    taped = (middles >= 0.119) & (middles < 0.125)
    assert image[:, columns[0]] == pytest.approx(np.where(taped, 0.5, 1.0), abs=0.01)
    streak = np.where((middles >= 0.13) & (middles < 0.17), 0.8, 1.0)
    assert image[~taped, columns[1]] == pytest.approx(streak[~taped], abs=0.01)
    wave = 1.0 + 0.3 * np.sin(2.0 * np.pi * (middles - 0.118) / 0.011)
    band = np.where((middles >= 0.118) & (middles < 0.158), wave, 1.0)
    assert image[~taped, columns[2]] == pytest.approx(band[~taped], abs=0.01)


def test_a_block_covers_the_lines_between_its_ends():
    """Also where the lines' distance changes, a line changes by the share of it that is covered."""
    block = PlantedMark(along_m=0.12, across_mm=40.0, length_mm=2.0, width_mm=3.0, contrast=0.8, shape=Block())
    web = make_web(replace(STILL, marks=(block,)))
    starts = web.places.along_m(np.arange(1501.0))
    share = np.diff(np.clip(starts, 0.119, 0.121)) / np.diff(starts)
    column = round((web.datum_mm(400, 401)[0] + 40.0) / 0.3 - 0.5)
    assert web.rows()[:, column] / 100.0 - 1.0 == pytest.approx(0.8 * share, abs=0.006)


def test_a_wide_step_misses_no_large_mark():
    """Lines further apart than a mark's border is soft still show every mark that they cross."""
    coarse = LinePlaces.steady(1.5)
    marks = tuple(replace(SPOT, along_m=0.02 * n + 0.01) for n in range(19))
    image = make_web(replace(STILL, places=coarse, marks=marks)).rows()
    lost = (1.0 - image[:, 60:240] / 100.0).sum() * 1.5 * 0.3
    assert lost == pytest.approx(19 * 0.5 * np.pi / 4.0 * 6.0 * 3.0, rel=0.05)


def test_steady_places_are_no_places():
    """An encoder that counts the pitch on every line gives the raster of a steady web, cut anywhere."""
    web = make_web(replace(STILL, noise=0.02, marks=(SPOT,), places=LinePlaces.steady(0.3)))
    steady = make_web(replace(STILL, noise=0.02, marks=(SPOT,), places=None)).rows()
    assert web.shape == steady.shape
    assert (web.rows() == steady).mean() > 0.9999
    assert np.array_equal(np.concatenate([web.rows(0, 401), web.rows(401, 402), web.rows(402)]), web.rows())


@pytest.mark.parametrize(
    "places",
    [
        LinePlaces(lines=(0.0, 100.0), metres=(-0.1, 0.1)),
        LinePlaces(lines=(0.0, 100.0), metres=(0.5, 0.6)),
    ],
)
def test_places_that_show_no_web_are_refused(places):
    """Lines before the head or all past the end are an error that names the places."""
    with pytest.raises(ArgumentError, match="places"):
        make_web(replace(STILL, places=places))
