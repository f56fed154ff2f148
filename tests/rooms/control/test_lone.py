"""Single points far off don't look like a change of level, and a level that lasts does."""

import numpy as np

from wideroll.control import draw_in, find_changes


def _steady():
    return np.random.Generator(np.random.PCG64(4)).normal(0.0, 1.0, 40).tolist()


def test_a_last_point_far_off_is_no_change():
    """The newest point of twelve sigma makes a change by itself, and none once it is drawn in."""
    values = [*_steady(), 12.0]
    assert find_changes(values).changes
    drawn, moved = draw_in(values)
    assert 40 in moved
    assert find_changes(drawn).changes == ()


def test_a_level_that_lasts_is_still_found():
    """A step of three sigma that lasts is found where it is."""
    values = [*_steady(), *(value + 3.0 for value in _steady())]
    (change,) = find_changes(draw_in(values)[0]).changes
    assert change.first <= 40 <= change.last


def test_what_hardly_varies_is_left_alone():
    """Where neighbours mostly don't differ there is no scale to call a point far off by."""
    assert draw_in([0.0, 0.0, 0.0, 5.0, 0.0, 0.0])[1] == ()
    assert draw_in([]) == ((), ())
