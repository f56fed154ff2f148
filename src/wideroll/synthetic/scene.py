"""A recipe in the numbers that the loops need."""

import math
from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from wideroll.synthetic.noise import Normal, normal_tables
from wideroll.synthetic.planted import PlantedMark
from wideroll.synthetic.recipe import WebRecipe
from wideroll.synthetic.shapes import Block, Comet, Ellipse, Line, Ring, outline

__all__ = ["CODES", "SOFT_PIXELS", "Here", "Scene", "lay_out"]

SOFT_PIXELS: Final = 0.75
"""Half the width, in pixels, over which the border of a mark or streak fades: a pixel's own width and a little blur."""
CODES: Final = {Ellipse: 0, Comet: 1, Ring: 2, Line: 3, Block: 4}
_PROFILE_WAVES: Final = 5
_WANDER_PERIODS_M: Final = (3.0, 7.0, 17.0, 41.0)
_DRIFT_PERIODS_M: Final = (9.0, 29.0, 83.0)
_SEEDS: Final = 2**62
_MOTTLE: Final = 1

_Rows = np.ndarray[tuple[int], np.dtype[np.void]]


class Here(NamedTuple):
    """A line of the web; along in pixels from the head, where not in metres."""

    begin: float
    end: float
    at: float
    """Its middle, counted so that on steady lines it is the line's number."""
    along_m: float
    """Its middle."""
    edge: float
    """Where the web's datum edge lies, in pixels from the start of the sweep."""


class Scene(NamedTuple):
    """A web in pixels across, and along in units of the same size from the head; waves along in metres."""

    pitch_m: float
    seed: int
    line_gain: float
    datum: float
    width: float
    bead: float
    bead_contrast: float
    web: NDArray[np.float32]
    outside: NDArray[np.float32]
    normal: Normal
    wander: NDArray[np.float64]
    drift: NDArray[np.float64]
    knots: NDArray[np.float64]
    """Lines of known place; none where the pitch is steady."""
    metres: NDArray[np.float64]
    marks: _Rows
    longest: float
    streaks: _Rows
    bands: _Rows
    mottle: _Rows
    splices: _Rows
    dropped: _Rows
    faulty: _Rows


_MARK: Final = (
    ("first", "f8"),
    ("last", "f8"),
    ("along", "f8"),
    ("across", "f8"),
    ("low", "f8"),
    ("high", "f8"),
    ("long", "f8"),
    ("wide", "f8"),
    ("contrast", "f8"),
    ("cos", "f8"),
    ("sin", "f8"),
    ("fade", "f8"),
    ("ring", "f8"),
    ("ring_contrast", "f8"),
    ("code", "i8"),
    ("saturates", "i8"),
)
_STREAK: Final = (
    ("first", "f8"),
    ("last", "f8"),
    ("across", "f8"),
    ("half", "f8"),
    ("contrast", "f8"),
    ("wander", "f8"),
    ("period_m", "f8"),
    ("from_m", "f8"),
    ("fixed", "i8"),
)
_BAND: Final = (
    ("first", "f8"),
    ("last", "f8"),
    ("low", "f8"),
    ("high", "f8"),
    ("amplitude", "f8"),
    ("period_m", "f8"),
    ("phase", "f8"),
    ("from_m", "f8"),
)
_GRAIN: Final = (("size", "f8"), ("size_m", "f8"), ("amplitude", "f8"), ("key", "i8"))
_SPLICE: Final = (("first", "f8"), ("last", "f8"), ("contrast", "f8"))
_FAULT: Final = (("first", "i8"), ("last", "i8"), ("counts", "i8"))


def lay_out(recipe: WebRecipe, channel: int = 0) -> Scene:
    """The scene of a recipe that was checked; a channel above 0 has the same web and its own profile and noise."""
    random = np.random.Generator(np.random.PCG64(recipe.seed))
    profile, seed = _look(recipe, random)
    wander = _waves(random, recipe.edge_wander_mm / recipe.pitch_mm, _WANDER_PERIODS_M)
    drift = _waves(random, recipe.drift, _DRIFT_PERIODS_M)
    if channel:
        profile, seed = _look(recipe, np.random.Generator(np.random.PCG64([recipe.seed, channel])))
    pitch, places = recipe.pitch_mm, recipe.places
    marks = _mark_rows(recipe)
    return Scene(
        pitch_m=pitch / 1000.0,
        seed=seed,
        line_gain=recipe.line_gain,
        datum=recipe.datum_mm / pitch,
        width=recipe.web_width_mm / pitch,
        bead=recipe.bead_mm / pitch,
        bead_contrast=recipe.bead_contrast,
        web=(recipe.level * profile).astype(np.float32),
        outside=(recipe.outside_level * profile).astype(np.float32),
        normal=normal_tables(recipe.noise),
        wander=wander,
        drift=drift,
        knots=np.array(places.lines if places else (), dtype=np.float64),
        metres=np.array(places.metres if places else (), dtype=np.float64),
        marks=marks,
        longest=float((marks["last"] - marks["first"]).max(initial=0.0)),
        streaks=_streak_rows(recipe),
        bands=_band_rows(recipe),
        mottle=_mottle_rows(recipe),
        splices=_rows(((*_lines(s.along_from_m, s.along_to_m, recipe), s.contrast) for s in recipe.splices), _SPLICE),
        dropped=_rows(((d.first, d.first + d.lines, d.counts) for d in recipe.dropped), _FAULT),
        faulty=_rows(((f.first, f.first + f.columns, f.counts) for f in recipe.faulty), _FAULT),
    )


def _look(recipe: WebRecipe, random: np.random.Generator) -> tuple[NDArray[np.float64], int]:
    """Profile across, of mean 1, and the seed of the noise."""
    columns = round(recipe.field_mm / recipe.pitch_mm)
    cycles = _waves(random, recipe.profile_ripple, [1.0 / (wave + 1.0) for wave in range(_PROFILE_WAVES)])
    share = (np.arange(columns) + 0.5) / columns
    profile = 1.0 + (cycles[:, :1] * np.sin(math.pi * share / cycles[:, 1:2] + cycles[:, 2:])).sum(axis=0)
    return profile, int(random.integers(_SEEDS))


def _waves(random: np.random.Generator, greatest: float, periods: Sequence[float]) -> NDArray[np.float64]:
    """Rows of amplitude, period and phase whose sum never departs from 0 by more than ``greatest``."""
    number = len(periods)
    share = random.uniform(0.3, 1.0, number)
    phase = random.uniform(0.0, 2.0 * math.pi, number)
    return np.column_stack([greatest * share / share.sum(), np.asarray(periods), phase])


def _rows(rows: Iterable[tuple[Any, ...]], fields: Sequence[tuple[str, str]]) -> _Rows:
    return np.array(list(rows), dtype=np.dtype(list(fields), align=True))


def _lines(from_m: float, to_m: float, recipe: WebRecipe) -> tuple[float, float]:
    """The middle of a line at or past the first and before the second lies between the two places."""
    return from_m * 1000.0 / recipe.pitch_mm - 0.5, to_m * 1000.0 / recipe.pitch_mm - 0.5


def _mark_rows(recipe: WebRecipe) -> _Rows:
    # A block shows on every line it touches, and so does everything else on lines further apart than it fades.
    places = recipe.places
    widest = max(np.diff(places.metres) / np.diff(places.lines)) * 500.0 / recipe.pitch_mm if places else 0.0
    rows = _rows((_mark_row(mark, recipe.pitch_mm, max(SOFT_PIXELS, widest)) for mark in recipe.marks), _MARK)
    # On steady lines, marks that start on the same line keep their order.
    return rows[np.argsort(rows["first"] if places else np.ceil(rows["first"]), kind="stable")]


def _mark_row(mark: PlantedMark, pitch_mm: float, reach: float) -> tuple[float, ...]:
    low, high = outline(mark.shape, length_mm=mark.length_mm, width_mm=mark.width_mm, angle_deg=mark.angle_deg)
    middle, shape = mark.along_m * 1000.0 / pitch_mm - 0.5, mark.shape
    turned = math.radians(mark.angle_deg)
    return (
        middle + low[0] / pitch_mm - reach,
        middle + high[0] / pitch_mm + reach,
        middle,
        mark.across_mm / pitch_mm,
        low[1] / pitch_mm,
        high[1] / pitch_mm,
        mark.length_mm / pitch_mm / 2.0,
        mark.width_mm / pitch_mm / 2.0,
        mark.contrast,
        math.cos(turned),
        math.sin(turned),
        shape.fade if isinstance(shape, Comet) else 0.0,
        shape.width_mm / pitch_mm if isinstance(shape, Ring) else 0.0,
        shape.contrast if isinstance(shape, Ring) else 0.0,
        CODES[type(shape)],
        int(mark.saturates),
    )


def _streak_rows(recipe: WebRecipe) -> _Rows:
    pitch = recipe.pitch_mm
    rows = (
        (
            *_lines(streak.along_from_m, streak.along_to_m, recipe),
            streak.across_mm / pitch,
            streak.width_mm / pitch / 2.0,
            streak.contrast,
            streak.wander_mm / pitch,
            streak.wander_period_m,
            streak.along_from_m,
            int(streak.fixed),
        )
        for streak in recipe.streaks
    )
    return _rows(rows, _STREAK)


def _band_rows(recipe: WebRecipe) -> _Rows:
    pitch = recipe.pitch_mm
    rows = (
        (
            *_lines(band.extent.along_from_m, band.extent.along_to_m, recipe),
            band.extent.across_from_mm / pitch,
            band.extent.across_to_mm / pitch,
            band.amplitude,
            band.period_mm / 1000.0,
            band.phase_rad,
            band.extent.along_from_m,
        )
        for band in recipe.bands
    )
    return _rows(rows, _BAND)


def _mottle_rows(recipe: WebRecipe) -> _Rows:
    """It lies on the web: the same in every channel, so its key comes from the recipe's seed alone."""
    rows = (
        (
            mottle.size_mm / recipe.pitch_mm,
            mottle.size_mm / 1000.0,
            mottle.amplitude,
            int(np.random.Generator(np.random.PCG64([recipe.seed, 0, _MOTTLE, number])).integers(_SEEDS)),
        )
        for number, mottle in enumerate(recipe.mottle)
    )
    return _rows(rows, _GRAIN)
