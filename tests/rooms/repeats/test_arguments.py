"""Bad arguments are refused with the argument named."""

import numpy as np
import pytest

from wideroll.errors import ArgumentError
from wideroll.repeats import Roller, SeriesSettings, find_series

GOOD = {"along_m": np.array([1.0, 2.0]), "across_mm": np.array([5.0, 5.0]), "length_m": 10.0, "observed": None}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"across_mm": np.array([5.0])}, "along_m, across_mm: must be two rows of the same length"),
        ({"along_m": np.ones((2, 2)), "across_mm": np.ones((2, 2))}, "two rows"),
        ({"along_m": np.array([1.0, np.nan])}, r"along_m\[1\]: must be finite"),
        ({"across_mm": np.array([np.inf, 5.0])}, r"across_mm\[0\]: must be finite"),
        ({"along_m": np.array([-0.1, 2.0])}, r"along_m\[0\]: must lie on the roll"),
        ({"along_m": np.array([1.0, 10.1])}, r"along_m\[1\]: must lie on the roll, 0 to 10 m"),
        ({"length_m": 0.0}, "length_m: must be greater than 0"),
        ({"length_m": np.nan}, "length_m: must be greater than 0"),
        ({"observed": [(1.0, 3.0), (2.0, 4.0)]}, "observed: stretches must not overlap"),
        ({"observed": [(3.0, 1.0)]}, "observed: the end of a stretch must lie after its start"),
        ({"observed": [(1.0, np.nan)]}, "observed: the end of a stretch"),
        ({"observed": [(-1.0, 3.0)]}, "observed: a stretch must lie on the roll"),
        ({"observed": [(1.0, 11.0)]}, "observed: a stretch must lie on the roll"),
    ],
)
def test_impossible_marks_are_refused(change, words):
    """Each impossible argument gives one error that names it and the rule."""
    given = GOOD | change
    with pytest.raises(ArgumentError, match=words):
        find_series(
            given["along_m"], given["across_mm"], length_m=given["length_m"], rollers=(), observed=given["observed"]
        )


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (SeriesSettings(lane_mm=0.0), r"settings\.lane_mm: must be greater than 0"),
        (SeriesSettings(jitter_mm=-1.0), r"settings\.jitter_mm"),
        (SeriesSettings(spacing_step=float("nan")), r"settings\.spacing_step"),
        (SeriesSettings(false_alarm=1.0), r"settings\.false_alarm: must be less than 1"),
        (SeriesSettings(least_turns=1), r"settings\.least_turns: must be at least 2"),
        (SeriesSettings(least_spacing_m=3.0), r"settings\.most_spacing_m: must be greater than least_spacing_m"),
    ],
)
def test_impossible_settings_are_refused(settings, words):
    """Each impossible setting gives one error that names it."""
    with pytest.raises(ArgumentError, match=words):
        find_series(np.array([1.0]), np.array([1.0]), length_m=10.0, rollers=(), settings=settings)


def test_rollers_out_of_the_range_of_spacings():
    """A roller outside the trial spacings adds its own; one smaller than the jitter can tell is left out."""
    along = 0.4 + 4.5 * np.arange(40)
    table = [Roller(name="great", diameter_mm=4500.0 / np.pi), Roller(name="tiny", diameter_mm=1.0)]
    search = find_series(along, np.full(40, 5.0), length_m=181.0, rollers=table)
    assert search[0].spacing_m == pytest.approx(4.5, rel=0.001)
    assert search[0].candidates[0].roller == "great"
    assert "tiny" not in {candidate.roller for candidate in search[0].candidates}
