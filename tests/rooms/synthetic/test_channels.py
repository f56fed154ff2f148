from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.synthetic import (
    PlantedMark,
    PlantedMottle,
    PlantedStreak,
    WebChannel,
    WebRecipe,
    make_web,
    plant_hole,
    plant_ring,
)

RED = WebChannel(name="red", level=90.0, noise=0.0, profile_ripple=0.0, line_gain=0.0)
SPOT = PlantedMark(along_m=0.1, across_mm=30.0, length_mm=2.0, width_mm=2.0, contrast=-0.4, other_channel=0.5)
STREAK = PlantedStreak(
    across_mm=50.0, along_from_m=0.0, along_to_m=0.3, width_mm=2.0, contrast=-0.2, other_channel=-1.0
)
RECIPE = WebRecipe(
    length_m=0.3,
    web_width_mm=80.0,
    field_mm=100.0,
    seed=11,
    drift=0.0,
    bead_mm=0.0,
    marks=(SPOT, replace(SPOT, along_m=0.2, other_channel=0.0)),
    streaks=(STREAK,),
    channels=(WebChannel(name="blue"), RED),
)


def _column(web, across_mm):
    return round((web.datum_mm().mean() + across_mm) / 0.3 - 0.5)


def test_marks_have_their_share_of_contrast_in_another_channel():
    """Half as dark, not there at all, or bright for dark, as each mark's and streak's factor tells."""
    red = make_web(RECIPE).channel("red")
    image = red.rows() / 90.0 - 1.0
    assert image[round(100.0 / 0.3), _column(red, 30.0)] == pytest.approx(-0.2, abs=0.006)
    assert image[round(200.0 / 0.3), _column(red, 30.0)] == pytest.approx(0.0, abs=0.006)
    assert image[500, _column(red, 50.0)] == pytest.approx(0.2, abs=0.006)
    assert red.truth.marks["contrast"].to_list() == [0.2, 0.0]
    assert red.truth.streaks[0].contrast == 0.2


def test_channels_share_the_webs_geometry():
    """Edges lie in the same place on every line, and so do the marks in the table."""
    web = make_web(RECIPE)
    red = web.channel("red")
    assert np.array_equal(red.datum_mm(), web.datum_mm())
    assert red.shape == web.shape
    places = ["along_m", "across_mm", "length_mm", "width_mm", "kind"]
    assert red.truth.marks.select(places).equals(web.truth.marks.select(places))


def test_channels_have_profile_and_noise_of_their_own():
    """Nothing but what lies on the web is the same: noise, gain of the lines and profile are another's."""
    plain = replace(RECIPE, marks=(), streaks=(), datum_mm=-10.0, web_width_mm=130.0, length_m=0.6)
    web = make_web(plain)
    one, blue = web.rows().astype(float), web.channel("blue").rows().astype(float)
    profiles = [image.mean(axis=0) for image in (one, blue)]
    assert np.abs(profiles[0] - profiles[1]).max() > 2.0
    noise = [image - image.mean(axis=0) - image.mean(axis=1)[:, None] for image in (one, blue)]
    assert abs(np.corrcoef(noise[0].ravel(), noise[1].ravel())[0, 1]) < 5.0 / np.sqrt(one.size)
    gain = [image.mean(axis=1) for image in (one, blue)]
    assert abs(np.corrcoef(gain[0], gain[1])[0, 1]) < 0.15


def test_mottle_lies_on_the_web_in_every_channel():
    """The same unevenness shows in both."""
    web = make_web(replace(RECIPE, marks=(), streaks=(), mottle=(PlantedMottle(size_mm=5.0, amplitude=0.1),)))
    one, blue = (image.rows()[:, 60:240].astype(float) for image in (web, web.channel("blue")))
    assert np.corrcoef(one.ravel(), blue.ravel())[0, 1] > 0.9


def test_holes_saturate_every_channel_and_rings_fade_with_their_core():
    """Light that comes through a hole has every colour; a ring has the same factor as its core."""
    hole = plant_hole(along_m=0.1, across_mm=30.0, size_mm=2.0)
    ring = plant_ring(along_m=0.2, across_mm=30.0, core_mm=2.0, ring_mm=1.0, contrast=-0.4, ring_contrast=0.3)
    web = make_web(replace(RECIPE, marks=(hole, replace(ring, other_channel=0.5)))).channel("red")
    assert web.rows()[round(100.0 / 0.3), _column(web, 30.0)] == 255
    assert web.truth.marks["ring"].to_list() == [0.0, 0.15]
    assert web.truth.marks["contrast"].to_list() == [pytest.approx(255 / 90 - 1), 0.2]


def test_the_first_channel_is_as_if_there_were_no_other():
    """Further channels change nothing in the first; each is the same every time it is asked for, however cut."""
    web = make_web(RECIPE)
    assert np.array_equal(web.rows(), make_web(replace(RECIPE, channels=())).rows())
    blue = web.channel("blue")
    assert np.array_equal(np.concatenate([blue.rows(0, 333), blue.rows(333)]), web.channel("blue").rows())


def test_a_channel_that_is_not_there_is_refused():
    """The error names the channels that there are."""
    with pytest.raises(ArgumentError, match="blue, red"):
        make_web(RECIPE).channel("green")


@pytest.mark.parametrize("channels", [(RED, RED), (replace(RED, noise=-1.0),), (replace(RED, level=float("nan")),)])
def test_impossible_channels_are_refused(channels):
    """Two of one name, or a channel with numbers that can't be."""
    with pytest.raises(ArgumentError):
        make_web(replace(RECIPE, channels=channels))
