"""What a web is made of, and what can't be made."""

import math
from dataclasses import dataclass, replace

from wideroll.errors import ArgumentError
from wideroll.scan import LinePlaces
from wideroll.synthetic.faults import DroppedLines, FaultyColumns, PlantedBand, PlantedMottle, PlantedSplice
from wideroll.synthetic.planted import FULL_SCALE, PlantedMark, PlantedStreak
from wideroll.synthetic.shapes import Block, Comet, Line, Ring

__all__ = ["WebChannel", "WebRecipe", "check_recipe", "in_channel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class WebChannel:
    """A further channel of the scanner: the same web in another light, with a profile and noise of its own."""

    name: str
    level: float = 150.0
    outside_level: float = 250.0
    profile_ripple: float = 0.06
    noise: float = 0.02
    line_gain: float = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class WebRecipe:
    """A web to make. Shares are of the signal; levels are counts of the 8-bit scanner (0 to 255)."""

    length_m: float
    web_width_mm: float = 1380.0
    field_mm: float = 1400.0
    """Width that the scanner sweeps."""
    datum_mm: float = 10.0
    """Mean distance of the web's datum edge from the start of the first pixel."""
    pitch_mm: float = 0.3
    """Size of a pixel, along and across."""
    level: float = 150.0
    """Mean signal through the web."""
    outside_level: float = 250.0
    """Mean signal past the web's edges."""
    profile_ripple: float = 0.06
    """Greatest departure of the scanner's fixed, smooth profile across."""
    noise: float = 0.02
    """Standard deviation of a pixel."""
    line_gain: float = 0.006
    """Standard deviation of a line's gain."""
    drift: float = 0.02
    """Greatest slow departure along."""
    edge_wander_mm: float = 0.8
    """Greatest departure of the web sideways; both edges move together."""
    bead_mm: float = 3.0
    """Width of the thick rim of the coating beside each edge."""
    bead_contrast: float = -0.05
    """Signed contrast of the rim at the edge itself; it fades inwards."""
    seed: int = 0
    marks: tuple[PlantedMark, ...] = ()
    streaks: tuple[PlantedStreak, ...] = ()
    bands: tuple[PlantedBand, ...] = ()
    mottle: tuple[PlantedMottle, ...] = ()
    splices: tuple[PlantedSplice, ...] = ()
    dropped: tuple[DroppedLines, ...] = ()
    faulty: tuple[FaultyColumns, ...] = ()
    places: LinePlaces | None = None
    """Where the lines lie when the web's speed changes; None is a line every ``pitch_mm``."""
    channels: tuple[WebChannel, ...] = ()
    """Further channels, see ``Web.channel``."""


def in_channel(recipe: WebRecipe, channel: WebChannel) -> WebRecipe:
    """The recipe of the same web as another channel sees it."""
    return replace(
        recipe,
        level=channel.level,
        outside_level=channel.outside_level,
        profile_ripple=channel.profile_ripple,
        noise=channel.noise,
        line_gain=channel.line_gain,
        marks=tuple(_mark_in_other(mark) for mark in recipe.marks),
        streaks=tuple(replace(s, contrast=s.contrast * s.other_channel) for s in recipe.streaks),
        channels=(),
    )


def _mark_in_other(mark: PlantedMark) -> PlantedMark:
    shape = mark.shape
    if isinstance(shape, Ring):
        shape = replace(shape, contrast=shape.contrast * mark.other_channel)
    return replace(mark, contrast=mark.contrast * mark.other_channel, shape=shape)


def check_recipe(recipe: WebRecipe) -> None:
    """Refuse what can't be made.

    Raises:
        ArgumentError: naming the part of the recipe.
    """
    for name in ("length_m", "web_width_mm", "field_mm", "pitch_mm"):
        value = getattr(recipe, name)
        _require(name, value, holds=0.0 < value < math.inf, rule="must be finite and greater than 0")
    shares = ("profile_ripple", "noise", "line_gain", "drift")
    for name in ("level", "outside_level", *shares, "edge_wander_mm", "bead_mm", "seed"):
        value = getattr(recipe, name)
        _require(name, value, holds=0.0 <= value < math.inf, rule="must be finite and not negative")
    for name in ("datum_mm", "bead_contrast"):
        value = getattr(recipe, name)
        _require(name, value, holds=math.isfinite(value), rule="must be finite")
    for mark in recipe.marks:
        _check_mark(mark, recipe)
    for streak in recipe.streaks:
        _check_streak(streak, recipe)
    _check_unevenness(recipe)
    _check_scanner(recipe)
    names = [channel.name for channel in recipe.channels]
    _require("channels", names, holds=len(set(names)) == len(names), rule="each channel needs a name of its own")
    for channel in recipe.channels:
        check_recipe(in_channel(recipe, channel))


def _check_mark(mark: PlantedMark, recipe: WebRecipe) -> None:
    on_web = 0.0 <= mark.along_m < recipe.length_m and 0.0 <= mark.across_mm < recipe.web_width_mm
    _require("marks", mark, holds=on_web, rule="the centre of a mark must lie on the web")
    _require_shape("marks", mark, mark.length_mm, mark.width_mm)
    _require("marks", mark, holds=math.isfinite(mark.angle_deg), rule="the angle must be finite")
    match mark.shape:
        case Ring(width_mm=width, contrast=contrast):
            holds = 0.0 < width < math.inf and -1.0 <= contrast < math.inf
            rule = "a ring must be wider than 0, its contrast not below -1, both finite"
        case Comet(fade=fade):
            holds = mark.length_mm >= mark.width_mm and 0.0 <= fade <= 1.0
            rule = "a comet must be as long as its head is wide or longer, and fade by 0 to 1"
        case Line():
            holds, rule = mark.length_mm >= mark.width_mm, "a line must not be wider than it is long"
        case Block():
            holds, rule = mark.angle_deg == 0.0, "a block can't be turned"
        case _:
            return
    _require("marks", mark, holds=holds, rule=rule)


def _check_streak(streak: PlantedStreak, recipe: WebRecipe) -> None:
    width_mm = recipe.field_mm if streak.fixed else recipe.web_width_mm
    on_web = 0.0 <= streak.across_mm < width_mm and streak.along_from_m <= streak.along_to_m
    rule = "a streak must lie on the web (a fixed one in the sweep) and end after it starts"
    _require("streaks", streak, holds=on_web, rule=rule)
    _require_shape("streaks", streak, streak.width_mm)
    wanders = 0.0 <= streak.wander_mm < math.inf and 0.0 < streak.wander_period_m < math.inf
    _require("streaks", streak, holds=wanders, rule="wander must not be negative, its period above 0, both finite")


def _check_unevenness(recipe: WebRecipe) -> None:
    for band in recipe.bands:
        holds = 0.0 < band.period_mm < math.inf and 0.0 <= band.amplitude < 1.0 and math.isfinite(band.phase_rad)
        _require("bands", band, holds=holds, rule="the period must be above 0, the amplitude from 0 to below 1")
    for mottle in recipe.mottle:
        holds = 0.0 < mottle.size_mm < math.inf and 0.0 <= mottle.amplitude < math.inf
        _require("mottle", mottle, holds=holds, rule="the size must be above 0, the amplitude not negative")
    for splice in recipe.splices:
        in_order = 0.0 <= splice.along_from_m <= splice.along_to_m < math.inf
        holds = in_order and -1.0 <= splice.contrast < math.inf
        _require("splices", splice, holds=holds, rule="must end after it starts, the contrast not below -1")


def _check_scanner(recipe: WebRecipe) -> None:
    for lines in recipe.dropped:
        holds = lines.first >= 0 and lines.lines >= 1 and 0 <= lines.counts <= FULL_SCALE
        _require("dropped", lines, holds=holds, rule="must be one line or more from 0 on, at 0 to 255 counts")
    for columns in recipe.faulty:
        holds = columns.first >= 0 and columns.columns >= 1 and 0 <= columns.counts <= FULL_SCALE
        _require("faulty", columns, holds=holds, rule="must be one column or more from 0 on, at 0 to 255 counts")
    if recipe.places is not None:
        holds = recipe.places.along_m(0.0) >= 0.0 and recipe.places.line(recipe.length_m) >= 1.0
        rule = "line 0 must not lie before the head, and there must be lines before length_m"
        _require("places", recipe.places, holds=holds, rule=rule)


def _require_shape(where: str, planted: PlantedMark | PlantedStreak, *sizes_mm: float) -> None:
    strong = -1.0 <= planted.contrast < math.inf and -1.0 <= planted.contrast * planted.other_channel < math.inf
    holds = strong and all(0.0 < size < math.inf for size in sizes_mm)
    _require(where, planted, holds=holds, rule="sizes must be greater than 0, the contrast not below -1, all finite")


def _require(where: str, value: object, *, holds: bool, rule: str) -> None:
    if not holds:
        raise ArgumentError(where=where, rule=rule, value=value, mend="Correct the recipe.")
