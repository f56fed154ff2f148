"""Strips of invented films, exposed, processed and read, with the truth about them.

Films are Richards curves, so the truth has a closed form: a shift of speed moves a curve along log H, a contrast factor
stretches it about its speed point, a minimum-density offset lifts it. The process then acts on density: a fog added to
all, and a factor on what lies above the minimum. Last comes the densitometer's noise.
"""

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError
from wideroll.roll import Place
from wideroll.sensitometry import (
    SPEED_DENSITY,
    Aims,
    Curve,
    FilmType,
    Floats,
    Record,
    Strip,
    StripKind,
    log_exposure,
    step_tablet,
)

__all__ = ["StripRecipe", "StripSet", "StripTruth", "aim_curves", "aim_parameters", "make_aims", "make_strips"]

_ILLUMINANCE_LX: Final = 75.0
_TIME_S: Final = 0.01
_NOISE_SD: Final = 0.008


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layer:
    """One record of an invented film: minimum density, rise, skew q, greatest slope, and log H of its speed point."""

    low: float
    rise: float
    skew: float
    gamma: float
    speed_log_h: float

    def parameters(self, speed_density: float) -> Floats:
        """(low, rise, place, k, q) of the Richards curve."""
        k = self.gamma / (self.rise * (1.0 + self.skew) ** (-(1.0 + self.skew) / self.skew))
        place = self.speed_log_h + np.log(((speed_density / self.rise) ** -self.skew - 1.0) / self.skew) / k
        return np.array([self.low, self.rise, place, k, self.skew])


_COLOUR_NEGATIVE: Final = {
    Record.RED: _Layer(low=0.25, rise=1.95, skew=0.15, gamma=0.63, speed_log_h=-1.854),
    Record.GREEN: _Layer(low=0.65, rise=2.00, skew=0.15, gamma=0.65, speed_log_h=-1.903),
    Record.BLUE: _Layer(low=0.90, rise=2.05, skew=0.15, gamma=0.67, speed_log_h=-1.796),
}
_FILMS: Final[Mapping[FilmType, Mapping[Record, _Layer]]] = {
    FilmType.COLOUR_NEGATIVE: _COLOUR_NEGATIVE,
    FilmType.MOTION_PICTURE_NEGATIVE: {
        Record.RED: _Layer(low=0.18, rise=1.80, skew=0.15, gamma=0.55, speed_log_h=-1.85),
        Record.GREEN: _Layer(low=0.58, rise=1.85, skew=0.15, gamma=0.57, speed_log_h=-1.90),
        Record.BLUE: _Layer(low=0.85, rise=1.90, skew=0.15, gamma=0.59, speed_log_h=-1.87),
    },
    FilmType.BLACK_AND_WHITE: {
        Record.VISUAL: _Layer(low=0.28, rise=2.10, skew=0.15, gamma=0.82, speed_log_h=-2.097),
    },
    FilmType.COLOUR_REVERSAL: {
        Record.RED: _Layer(low=0.16, rise=2.95, skew=0.6, gamma=-1.90, speed_log_h=-1.75),
        Record.GREEN: _Layer(low=0.17, rise=3.05, skew=0.6, gamma=-1.95, speed_log_h=-1.74),
        Record.BLUE: _Layer(low=0.19, rise=3.00, skew=0.6, gamma=-1.92, speed_log_h=-1.76),
        Record.VISUAL: _Layer(low=0.17, rise=3.00, skew=0.6, gamma=-1.93, speed_log_h=-1.75),
    },
}
"""Invented, of the usual size: an orange mask lifts the green and blue minimum of a negative."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripRecipe:
    """One strip to make.

    ``shift_log_h``, ``contrast_factor`` and ``dmin_offset`` are the film's own departures from aim in each record (none
    where not named; a positive shift is slower). ``rise_factor`` and ``skew_factor`` change the shape of its curve and
    leave the log H of its greatest slope; that moves the speed point too, see the truth's parameters. ``process_fog``
    and ``process_factor`` are the run's. ``faulty_steps`` adds a density to single steps, counted from the least
    exposure, in every record.
    """

    name: str
    film_type: FilmType
    kind: StripKind = StripKind.CHECK
    run: str = "1"
    place: Place | None = None
    shift_log_h: Mapping[Record, float] = field(default_factory=dict)
    contrast_factor: Mapping[Record, float] = field(default_factory=dict)
    dmin_offset: Mapping[Record, float] = field(default_factory=dict)
    rise_factor: Mapping[Record, float] = field(default_factory=dict)
    skew_factor: Mapping[Record, float] = field(default_factory=dict)
    process_fog: float = 0.0
    process_factor: float = 1.0
    noise_sd: float = _NOISE_SD
    faulty_steps: Mapping[int, float] = field(default_factory=dict)
    step_density: Floats = field(default_factory=step_tablet)
    illuminance_lx: float = _ILLUMINANCE_LX
    time_s: float = _TIME_S
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripTruth:
    """What is true of one strip: the film's own departures and curve, process and noise left aside."""

    recipe: StripRecipe
    shift_log_h: Mapping[Record, float]
    contrast_factor: Mapping[Record, float]
    dmin_offset: Mapping[Record, float]
    parameters: Mapping[Record, Floats]
    """(low, rise, place, k, q) of each record's Richards curve, see ``CurveFit``."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripSet:
    """Strips and, by strip name, the truth about them."""

    strips: tuple[Strip, ...]
    truth: Mapping[str, StripTruth]


def aim_parameters(film_type: FilmType) -> Mapping[Record, Floats]:
    """Richards parameters (low, rise, place, k, q) of an invented film on aim.

    Example:
        >>> aim_parameters(FilmType.COLOUR_NEGATIVE)[Record.BLUE][:2].tolist()
        [0.9, 2.05]
    """
    return {record: layer.parameters(SPEED_DENSITY[film_type]) for record, layer in _FILMS[film_type].items()}


def aim_curves(film_type: FilmType, log_h: Floats | None = None) -> Mapping[Record, Curve]:
    """Tables of density against log H of an invented film on aim; without ``log_h``, at the usual tablet's exposures.

    Example:
        >>> curve = aim_curves(FilmType.COLOUR_REVERSAL)[Record.GREEN]
        >>> bool(curve.density[0] > curve.density[-1])
        True
    """
    x = log_exposure(_ILLUMINANCE_LX, _TIME_S, step_tablet())[::-1].copy() if log_h is None else log_h
    return {record: Curve(log_h=x, density=_density(p, x)) for record, p in aim_parameters(film_type).items()}


def make_aims(film_type: FilmType, *, tolerance_density: float = 0.05) -> Aims:
    """Aims of an invented film.

    Example:
        >>> sorted(make_aims(FilmType.BLACK_AND_WHITE).curves)
        [<Record.VISUAL: 'visual'>]
    """
    return Aims(film_type=film_type, curves=aim_curves(film_type), tolerance_density=tolerance_density)


def make_strips(recipes: StripRecipe | Iterable[StripRecipe]) -> StripSet:
    """Strips of one or more recipes, with their truth; the same recipes give the same strips.

    Raises:
        ArgumentError: when two recipes share a name, a noise is negative or a factor isn't positive.

    Example:
        >>> made = make_strips(
        ...     StripRecipe(name="a", film_type=FilmType.COLOUR_NEGATIVE, shift_log_h={Record.RED: 0.05})
        ... )
        >>> made.strips[0].density[Record.RED].shape, made.truth["a"].shift_log_h[Record.RED]
        ((21,), 0.05)
    """
    wanted = (recipes,) if isinstance(recipes, StripRecipe) else tuple(recipes)
    truth: dict[str, StripTruth] = {}
    strips: list[Strip] = []
    for recipe in wanted:
        _check(recipe, truth)
        truth[recipe.name] = _truth(recipe)
        strips.append(_strip(recipe, truth[recipe.name]))
    return StripSet(strips=tuple(strips), truth=truth)


def _truth(recipe: StripRecipe) -> StripTruth:
    aims = aim_parameters(recipe.film_type)
    shift = {record: recipe.shift_log_h.get(record, 0.0) for record in aims}
    factor = {record: recipe.contrast_factor.get(record, 1.0) for record in aims}
    offset = {record: recipe.dmin_offset.get(record, 0.0) for record in aims}
    parameters: dict[Record, Floats] = {}
    for record, (low, rise, place, k, q) in aims.items():
        # stretched about the speed point, which then moves by the shift
        speed_x = _FILMS[recipe.film_type][record].speed_log_h
        moved = speed_x + shift[record] + (place - speed_x) / factor[record]
        rise_factor, skew_factor = recipe.rise_factor.get(record, 1.0), recipe.skew_factor.get(record, 1.0)
        parameters[record] = np.array(
            [low + offset[record], rise * rise_factor, moved, k * factor[record], q * skew_factor]
        )
    return StripTruth(
        recipe=recipe, shift_log_h=shift, contrast_factor=factor, dmin_offset=offset, parameters=parameters
    )


def _strip(recipe: StripRecipe, truth: StripTruth) -> Strip:
    noise = np.random.Generator(np.random.PCG64(recipe.seed))
    log_h = np.sort(log_exposure(recipe.illuminance_lx, recipe.time_s, recipe.step_density))
    density: dict[Record, Floats] = {}
    for record, parameters in truth.parameters.items():
        film = _density(parameters, log_h)
        low = parameters[0]
        read = low + recipe.process_fog + recipe.process_factor * (film - low)
        read = read + recipe.noise_sd * noise.standard_normal(len(log_h))
        for step, added in recipe.faulty_steps.items():
            read[step] += added
        density[record] = read
    return Strip(name=recipe.name, kind=recipe.kind, run=recipe.run, log_h=log_h, density=density, place=recipe.place)


def _density(parameters: Floats, log_h: Floats) -> Floats:
    low, rise, place, k, q = parameters
    density: Floats = low + rise * (1.0 + q * np.exp(-k * (log_h - place))) ** (-1.0 / q)
    return density


def _check(recipe: StripRecipe, known: Mapping[str, StripTruth]) -> None:
    where = f"recipe {recipe.name}"
    if recipe.name in known:
        raise ArgumentError(where=where, rule="each strip has its own name", mend="Name the strips apart.")
    if not recipe.noise_sd >= 0.0:
        raise ArgumentError(where=where, rule="noise isn't negative", value=recipe.noise_sd, mend="Give a density.")
    changed = (recipe.contrast_factor, recipe.rise_factor, recipe.skew_factor)
    factors = [recipe.process_factor, *itertools.chain.from_iterable(factor.values() for factor in changed)]
    if not all(factor > 0.0 for factor in factors):
        raise ArgumentError(where=where, rule="factors are greater than 0", value=factors, mend="1 changes nothing.")
